//! What plotters draws on: a list of shapes, from which SVG and PNG are both written.
//!
//! Plotters knows whole pixels only, which makes sloped lines and round markers wavy. So it is told a
//! sheet [`UNIT`] times as fine as the picture; SVG keeps those coordinates behind a `viewBox`, and the
//! PNG is painted from the same shapes with exact coverage, which is faster than painting a large
//! bitmap and shrinking it.

use std::convert::Infallible;

use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
    FontTransform,
    text_anchor::{HPos, VPos},
};

use super::font::{CAPITAL_PER_EM, LINE_PER_EM};

/// Sheet coordinates per unit of the picture (a unit is one CSS pixel of the SVG).
pub const UNIT: i32 = 10;

/// Which way a text runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// As usual.
    Right,
    /// Turned to the left, for the title of a vertical axis.
    Up,
}

/// Which end of a text is at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// The text starts there.
    Start,
    /// The text is centred there.
    Middle,
    /// The text ends there.
    End,
}

/// What to draw, in sheet coordinates.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A line along these points.
    Line {
        /// Its points.
        points: Vec<BackendCoord>,
        /// Its width.
        width: u32,
    },
    /// A filled polygon; its points go round in the sense that makes its area positive.
    Area {
        /// Its corners.
        points: Vec<BackendCoord>,
    },
    /// A filled disc.
    Disc {
        /// Its centre.
        center: BackendCoord,
        /// Its radius.
        radius: u32,
    },
    /// A line of text.
    Text {
        /// What it says.
        text: String,
        /// Where its baseline is, at the end that `align` says.
        baseline: BackendCoord,
        /// Its em.
        em: f32,
        /// Which end is at `baseline`.
        align: Align,
        /// Which way it runs.
        direction: Direction,
    },
}

/// A shape and its colour.
#[derive(Clone, Debug, PartialEq)]
pub struct Painted {
    /// The shape.
    pub shape: Shape,
    /// Red, green, blue.
    pub rgb: (u8, u8, u8),
    /// 0 unseen to 1 opaque.
    pub alpha: f64,
}

/// A list of shapes on a sheet of a given size, last on top.
#[derive(Clone, Debug, PartialEq)]
pub struct Canvas {
    /// Width and height in units of the picture.
    pub size: (u32, u32),
    /// The shapes.
    pub shapes: Vec<Painted>,
}

impl Canvas {
    /// An empty sheet, width and height in units of the picture.
    pub fn new(size: (u32, u32)) -> Self {
        Self { size, shapes: Vec::new() }
    }

    fn push(&mut self, shape: Shape, color: BackendColor) {
        if color.alpha > 0.0 {
            self.shapes.push(Painted { shape, rgb: color.rgb, alpha: color.alpha });
        }
    }
}

/// Twice the polygon's area, positive when its corners go round clockwise on the screen.
fn doubled_area(points: &[BackendCoord]) -> i64 {
    let after = points.iter().cycle().skip(1);
    let terms = points.iter().zip(after);
    terms.map(|(a, b)| i64::from(a.0) * i64::from(b.1) - i64::from(b.0) * i64::from(a.1)).sum()
}

/// One sense for all, so that shapes of one colour can share a path without cutting holes.
fn clockwise(mut points: Vec<BackendCoord>) -> Vec<BackendCoord> {
    if doubled_area(&points) < 0 {
        points.reverse();
    }
    points
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

impl DrawingBackend for &mut Canvas {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        let unit = UNIT.unsigned_abs();
        (self.size.0 * unit, self.size.1 * unit)
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, point: BackendCoord, color: BackendColor) -> Drawn {
        self.draw_rect(point, (point.0 + 1, point.1 + 1), &color, true)
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let ((left, top), (right, bottom)) = (upper_left, bottom_right);
        let corners = [(left, top), (right, top), (right, bottom), (left, bottom)];
        if fill {
            self.fill_polygon(corners, style)
        } else {
            self.draw_path(corners.into_iter().chain([corners[0]]), style)
        }
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        let points: Vec<_> = path.into_iter().collect();
        if points.len() > 1 {
            self.push(Shape::Line { points, width: style.stroke_width() }, style.color());
        }
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        center: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Drawn {
        if fill {
            self.push(Shape::Disc { center, radius }, style.color());
            return Ok(());
        }
        // 24 chords differ from a circle by less than a hundredth of its radius.
        let at = |step: i32| {
            let angle = f64::from(step) * std::f64::consts::TAU / 24.0;
            let (x, y) = (f64::from(radius) * angle.cos(), f64::from(radius) * angle.sin());
            (center.0 + x.round() as i32, center.1 + y.round() as i32)
        };
        self.draw_path((0..=24).map(at), style)
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        vert: I,
        style: &S,
    ) -> Drawn {
        let points = clockwise(vert.into_iter().collect());
        if points.len() > 2 {
            self.push(Shape::Area { points }, style.color());
        }
        Ok(())
    }

    fn draw_text<T: BackendTextStyle>(&mut self, text: &str, style: &T, pos: BackendCoord) -> Drawn {
        let em = style.size() as f32 / LINE_PER_EM;
        let direction = match style.transform() {
            FontTransform::Rotate270 | FontTransform::Rotate90 => Direction::Up,
            FontTransform::None | FontTransform::Rotate180 => Direction::Right,
        };
        let align = match style.anchor().h_pos {
            HPos::Left => Align::Start,
            HPos::Center => Align::Middle,
            HPos::Right => Align::End,
        };
        // Capitals and digits are what is aligned; below the baseline 0.2 em are kept for descenders.
        let below = em
            * match style.anchor().v_pos {
                VPos::Top => CAPITAL_PER_EM,
                VPos::Center => CAPITAL_PER_EM / 2.0,
                VPos::Bottom => -0.2,
            };
        let below = below.round() as i32;
        let baseline = match direction {
            Direction::Right => (pos.0, pos.1 + below),
            Direction::Up => (pos.0 + below, pos.1),
        };
        let text = text.to_owned();
        self.push(Shape::Text { text, baseline, em, align, direction }, style.color());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INK: BackendColor = BackendColor { alpha: 1.0, rgb: (0, 0, 0) };

    #[test]
    fn polygons_go_round_the_same_way_however_they_were_given() {
        let mut canvas = Canvas::new((10, 10));
        let corners = [(0, 0), (10, 0), (10, 10)];
        (&mut canvas).fill_polygon(corners, &INK).unwrap();
        (&mut canvas).fill_polygon(corners.into_iter().rev(), &INK).unwrap();
        for painted in &canvas.shapes {
            let Shape::Area { points } = &painted.shape else { panic!("{painted:?}") };
            assert_eq!(doubled_area(points), 100);
        }
        assert_eq!(canvas.shapes.len(), 2);
    }

    #[test]
    fn what_cannot_be_seen_is_not_kept() {
        let mut canvas = Canvas::new((10, 10));
        (&mut canvas).draw_line((0, 0), (5, 5), &INK.mix(0.0)).unwrap();
        (&mut canvas).draw_path([(1, 1)], &INK).unwrap();
        assert!(canvas.shapes.is_empty());
    }
}
