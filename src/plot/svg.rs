//! A list of shapes as SVG.
//!
//! Neighbouring shapes of one colour share a path, which keeps dashes and thousands of markers small.
//! Text stays text, and the picture carries the font that it was measured with.

use std::fmt::Write as _;

use super::canvas::{Align, Canvas, Direction, Painted, Shape, UNIT};
use crate::font::{self, FAMILY};

/// The picture as SVG; `title` is what a screen reader says of it.
pub fn write(canvas: &Canvas, title: &str) -> String {
    let (width, height) = canvas.size;
    let unit = UNIT.unsigned_abs();
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" width=\"{width}\" height=\"{height}\" \
         viewBox=\"0 0 {} {}\" font-family=\"'{FAMILY}', Verdana, sans-serif\" stroke-linejoin=\"round\">\n\
         <title>{}</title>\n{}\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n",
        width * unit,
        height * unit,
        escaped(title),
        font::style()
    );
    let mut rest = canvas.shapes.as_slice();
    while let Some((first, _)) = rest.split_first() {
        let alike = rest.iter().take_while(|next| shares_path(first, next)).count().max(1);
        let (together, after) = rest.split_at(alike);
        element(&mut svg, together);
        rest = after;
    }
    svg.push_str("</svg>\n");
    svg
}

/// `text` with the five characters that mean something to XML replaced, and those it forbids left out.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => {}
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Whether two shapes look the same drawn as one path. Seen through, they would not.
fn shares_path(a: &Painted, b: &Painted) -> bool {
    let alike = match (&a.shape, &b.shape) {
        (Shape::Line { width: a, .. }, Shape::Line { width: b, .. }) => a == b,
        (Shape::Area { .. } | Shape::Disc { .. }, Shape::Area { .. } | Shape::Disc { .. }) => true,
        _ => false,
    };
    alike && a.rgb == b.rgb && a.alpha == 1.0 && b.alpha == 1.0
}

// Writing to a String cannot fail, so the results of `write!` are let go.
fn element(svg: &mut String, together: &[Painted]) {
    let Some(first) = together.first() else { return };
    let (r, g, b) = first.rgb;
    let color = format!("#{r:02x}{g:02x}{b:02x}");
    let see_through =
        if first.alpha < 1.0 { format!(" opacity=\"{:.2}\"", first.alpha) } else { String::new() };
    match &first.shape {
        Shape::Text { text, baseline: (x, y), em, align, direction } => {
            let anchor = match align {
                Align::Start => "",
                Align::Middle => " text-anchor=\"middle\"",
                Align::End => " text-anchor=\"end\"",
            };
            let turn = match direction {
                Direction::Right => String::new(),
                Direction::Up => format!(" transform=\"rotate(-90 {x} {y})\""),
            };
            let _ = writeln!(
                svg,
                "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\" fill=\"{color}\"{see_through}{anchor}{turn}>{}</text>",
                em.round(),
                escaped(text)
            );
        }
        Shape::Line { width, .. } => {
            let _ = write!(
                svg,
                "<path fill=\"none\" stroke=\"{color}\" stroke-width=\"{width}\"{see_through} d=\""
            );
            together.iter().for_each(|painted| outline(svg, &painted.shape));
            svg.push_str("\"/>\n");
        }
        Shape::Area { .. } | Shape::Disc { .. } => {
            let _ = write!(svg, "<path fill=\"{color}\"{see_through} d=\"");
            together.iter().for_each(|painted| outline(svg, &painted.shape));
            svg.push_str("\"/>\n");
        }
    }
}

/// The shape as path data: an absolute start, then relative steps.
fn outline(svg: &mut String, shape: &Shape) {
    match shape {
        Shape::Line { points, .. } | Shape::Area { points } => {
            let closed =
                matches!(shape, Shape::Area { .. }) || (points.len() > 2 && points.first() == points.last());
            let mut last = (0, 0);
            for (index, &(x, y)) in points.iter().enumerate() {
                let _ = match index {
                    0 => write!(svg, "M{x} {y}"),
                    1 => write!(svg, "l{} {}", x - last.0, y - last.1),
                    _ => write!(svg, " {} {}", x - last.0, y - last.1),
                };
                last = (x, y);
            }
            if closed {
                svg.push('z');
            }
        }
        Shape::Disc { center: (x, y), radius } => {
            let (r, across) = (radius, 2 * radius);
            let left = i64::from(*x) - i64::from(*radius);
            // Clockwise, as polygons are.
            let _ = write!(svg, "M{left} {y}a{r} {r} 0 0 1 {across} 0a{r} {r} 0 0 1 -{across} 0z");
        }
        Shape::Text { .. } => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn painted(shape: Shape) -> Painted {
        Painted { shape, rgb: (0, 114, 178), alpha: 1.0 }
    }

    fn line(y: i32) -> Painted {
        painted(Shape::Line { points: vec![(0, y), (40, y)], width: 12 })
    }

    #[test]
    fn texts_from_a_users_file_are_escaped() {
        let mut canvas = Canvas::new((90, 20));
        canvas.shapes.push(painted(Shape::Text {
            text: "<b>\"P&G\"'\u{1}".to_owned(),
            baseline: (10, 150),
            em: 120.0,
            align: Align::End,
            direction: Direction::Up,
        }));
        let svg = write(&canvas, "a < b");
        assert!(svg.contains("<title>a &lt; b</title>"), "{svg}");
        assert!(
            svg.contains(
                "<text x=\"10\" y=\"150\" font-size=\"120\" fill=\"#0072b2\" text-anchor=\"end\" \
                 transform=\"rotate(-90 10 150)\">&lt;b&gt;&quot;P&amp;G&quot;&#39; </text>"
            ),
            "{svg}"
        );
    }

    #[test]
    fn lines_of_one_look_share_a_path_and_others_do_not() {
        let mut canvas = Canvas::new((90, 20));
        let mut wide = line(30);
        wide.shape = Shape::Line { points: vec![(0, 30), (40, 30)], width: 20 };
        canvas.shapes = vec![line(10), line(20), wide];
        let svg = write(&canvas, "");
        assert!(svg.contains("stroke-width=\"12\" d=\"M0 10l40 0M0 20l40 0\"/>"), "{svg}");
        assert_eq!(svg.matches("<path").count(), 2);
    }

    #[test]
    fn what_is_seen_through_keeps_its_own_element() {
        let mut canvas = Canvas::new((90, 20));
        let mut faint = painted(Shape::Disc { center: (50, 50), radius: 20 });
        faint.alpha = 0.5;
        canvas.shapes = vec![faint.clone(), faint];
        let svg = write(&canvas, "");
        assert_eq!(svg.matches("opacity=\"0.50\" d=\"M30 50a20 20 0 0 1 40 0").count(), 2, "{svg}");
    }
}
