//! The pictures as a whole: same bytes every time, right colours at the right places, nothing unescaped.

use super::canvas::UNIT;
use super::sample::{Shape, fit};
use super::*;

const WHITE: [u8; 3] = [255, 255, 255];

struct Pixels {
    width: u32,
    rgb: Vec<u8>,
}

impl Pixels {
    fn of(figure: &Figure) -> Self {
        let mut reader = png::Decoder::new(std::io::Cursor::new(&figure.png)).read_info().unwrap();
        let mut rgb = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut rgb).unwrap();
        assert_eq!((info.width, info.height), (2 * plane::SIZE.0, 2 * plane::SIZE.1));
        assert_eq!(info.color_type, png::ColorType::Rgb);
        Self { width: info.width, rgb }
    }

    /// The colour at a place of the sheet.
    fn at(&self, (x, y): (i32, i32)) -> [u8; 3] {
        let to_pixel = |v: i32| (v.unsigned_abs() * raster::PIXELS_PER_UNIT / UNIT.unsigned_abs()) as usize;
        let start = (to_pixel(y) * self.width as usize + to_pixel(x)) * 3;
        [self.rgb[start], self.rgb[start + 1], self.rgb[start + 2]]
    }

    fn share_of(&self, color: [u8; 3]) -> f64 {
        let alike = self.rgb.chunks(3).filter(|pixel| **pixel == color).count();
        alike as f64 / (self.rgb.len() / 3) as f64
    }
}

fn shapes() -> Vec<Shape> {
    vec![
        Shape::default(),
        Shape { kinds: 1, points: 8, prints: 1, set_aside: 0, sizes: (3.0, 12.0), ..Shape::default() },
        Shape { kinds: 1, points: 3, prints: 1, set_aside: 1, ..Shape::default() },
        Shape { kinds: 2, points: 4, sizes: (8.0, 8.0), sd_mm: 0.0, set_aside: 0, ..Shape::default() },
        Shape { kinds: 5, points: 60, prints: 10, sizes: (1.0, 200.0), ..Shape::default() },
        Shape { kinds: 3, points: 2, prints: 200, set_aside: 60, ..Shape::default() },
    ]
}

#[test]
fn the_same_fit_gives_the_same_bytes() {
    let fit = fit(&Shape::default());
    assert_eq!(fit_figures(&fit).unwrap(), fit_figures(&fit).unwrap());
}

#[test]
fn every_shape_of_data_gives_four_pictures_with_paper_and_ink() {
    for shape in shapes() {
        let figures = fit_figures(&fit(&shape)).unwrap();
        let names: Vec<&str> = figures.iter().map(|figure| figure.name).collect();
        assert_eq!(names, ["deviation", "residuals", "quantiles", "copies"]);
        for figure in &figures {
            let pixels = Pixels::of(figure);
            let white = pixels.share_of(WHITE);
            assert!((0.3..0.98).contains(&white), "{} of {shape:?}: {white} white", figure.name);
            assert!(pixels.share_of([0, 114, 178]) > 1e-6, "{} of {shape:?} has no bores", figure.name);
        }
    }
}

/// With one kind the plane's place is known, so each point's colour can be looked up where it must be.
#[test]
fn points_are_painted_where_their_numbers_say() {
    let shape =
        Shape { kinds: 1, points: 5, prints: 1, set_aside: 0, sizes: (4.0, 12.0), ..Shape::default() };
    let fit = fit(&shape);
    let data = ResidualsFigure::of(&fit).unwrap();
    let figures = fit_figures(&fit).unwrap();
    let pixels = Pixels::of(&figures[1]);
    // As the axes are built: the range and 3 % more at each end.
    let (left, top, wide, high) = (84.0, 72.0, 620.0, 432.0);
    let most = data.used.iter().map(|p| p.residual.abs()).fold(2.0 * data.sd, f64::max) * 1.06;
    let sheet = |x: f64, y: f64| {
        let across = (x - (8.0 - 4.0 * 1.06)) / (8.0 * 1.06);
        let up = (y + most) / (2.0 * most);
        ((10.0 * (left + wide * across)).round() as i32, (10.0 * (top + high * (1.0 - up))).round() as i32)
    };
    assert_eq!(data.used.len(), 5);
    for point in &data.used {
        assert_eq!(pixels.at(sheet(point.drawn, point.residual)), [0, 114, 178], "{point:?}");
        // Beside it there is none: the check above could fail.
        assert_ne!(pixels.at(sheet(point.drawn + 0.5, point.residual)), [0, 114, 178], "{point:?}");
    }
}

#[test]
fn svg_is_well_formed_and_holds_nothing_but_numbers_and_escaped_text() {
    let mut fit = fit(&Shape::default());
    fit.correction.setup = "</text><script>alert('&\"')</script>\u{0}".to_owned();
    for figure in fit_figures(&fit).unwrap() {
        let svg = &figure.svg.replace(crate::font::style(), "");
        assert!(svg.len() < figure.svg.len(), "the picture carries its font");
        assert!(svg.contains("&lt;/text&gt;&lt;script&gt;alert(&#39;&amp;&quot;&#39;)&lt;/script&gt;"));
        assert!(!svg.contains("<script") && !svg.contains('\u{0}'), "{}", figure.name);
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{}", figure.name);
        let opened = svg.matches("<text").count();
        assert!(opened > 10);
        assert_eq!(opened, svg.matches("</text>").count());
        // Every element but these three closes itself.
        let own = ["<svg", "<title", "<text", "</svg", "</title", "</text"];
        let others = svg.matches('<').count() - own.iter().map(|tag| svg.matches(tag).count()).sum::<usize>();
        assert_eq!(others, svg.matches("/>").count(), "{}", figure.name);
    }
}

#[test]
fn all_that_is_drawn_lies_on_the_sheet() {
    for shape in shapes() {
        let fit = fit(&shape);
        font::register().unwrap();
        let mut canvas = Canvas::new(plane::SIZE);
        DeviationFigure::of(&fit).unwrap().draw(&mut canvas).unwrap();
        ResidualsFigure::of(&fit).unwrap().draw(&mut canvas).unwrap();
        QuantilesFigure::of(&fit).unwrap().draw(&mut canvas).unwrap();
        CopiesFigure::of(&fit).unwrap().draw(&mut canvas).unwrap();
        for painted in &canvas.shapes {
            let corners = match &painted.shape {
                canvas::Shape::Line { points, .. } | canvas::Shape::Area { points } => points.clone(),
                canvas::Shape::Disc { center, .. } => vec![*center],
                canvas::Shape::Text { text, baseline, em, align, direction } => {
                    let wide = font::width(text, *em) as i32;
                    let start = match align {
                        canvas::Align::Start => 0,
                        canvas::Align::Middle => -wide / 2,
                        canvas::Align::End => -wide,
                    };
                    match direction {
                        canvas::Direction::Right => {
                            vec![(baseline.0 + start, baseline.1), (baseline.0 + start + wide, baseline.1)]
                        }
                        canvas::Direction::Up => vec![*baseline],
                    }
                }
            };
            let on_sheet = |&(x, y): &(i32, i32)| (0..=9000).contains(&x) && (0..=5600).contains(&y);
            assert!(corners.iter().all(on_sheet), "{painted:?} of {shape:?}");
        }
    }
}

#[test]
fn a_wild_reading_does_not_squeeze_the_others_and_is_named_at_the_edge() {
    let shape = Shape { set_aside: 1, ..Shape::default() };
    let figures = fit_figures(&fit(&shape)).unwrap();
    // Ten times 25.2 mm: 226 mm off, on an axis of a fraction of a millimetre.
    assert!(figures[0].svg.contains("line 9 ↑ +226 mm"));
    assert!(figures[0].svg.contains(">−0.4</text>"));
}

#[test]
fn the_mean_of_each_print_is_that_of_its_residuals() {
    let data = CopiesFigure::of(&fit(&Shape { prints: 3, ..Shape::default() })).unwrap();
    assert_eq!(data.prints.iter().map(|print| print.copy).collect::<Vec<_>>(), [1, 2, 3]);
    for print in &data.prints {
        let sum: f64 = print.points.iter().map(|point| point.residual).sum();
        assert!((print.mean - sum / print.points.len() as f64).abs() < 1e-12);
        let departures = print.points.iter().map(|point| (point.residual - print.mean).powi(2));
        let sd = (departures.sum::<f64>() / (print.points.len() - 1) as f64).sqrt();
        assert!((print.sd.unwrap() - sd).abs() < 1e-12);
    }
}

#[test]
fn the_bands_are_those_of_the_correction() {
    let fit = fit(&Shape::default());
    let data = DeviationFigure::of(&fit).unwrap();
    let pins = &data.panels[2];
    let end = pins.curves[0].points.last().unwrap();
    assert_eq!(pins.kind, crate::kind::Kind::Pin);
    let prediction = fit.correction.predict(pins.kind, pins.curves[0].axes[0], end.drawn).unwrap();
    let (low, high) = prediction.interval(0.95);
    let (band_low, band_high) = end.new_print.unwrap();
    assert!((band_low - (low - end.drawn)).abs() < 1e-12 && (band_high - (high - end.drawn)).abs() < 1e-12);
    let (mean_low, mean_high) = end.mean.unwrap();
    assert!(band_low < mean_low && mean_low < end.fitted && end.fitted < mean_high && mean_high < band_high);
}

#[test]
fn what_is_no_number_is_refused_by_line() {
    let mut fit = fit(&Shape { set_aside: 0, ..Shape::default() });
    fit.points[3].residual_mm = f64::NAN;
    let error = fit_figures(&fit).unwrap_err();
    assert_eq!(error, PlotError::NotFinite { line: 9 });
    fit.points.clear();
    assert_eq!(fit_figures(&fit).unwrap_err(), PlotError::NoPoints);
}

#[test]
fn an_unusual_point_is_ringed_and_named() {
    let mut fit = fit(&Shape { set_aside: 0, ..Shape::default() });
    let before = ResidualsFigure::of(&fit).unwrap();
    assert!(before.unusual.is_empty());
    fit.points[10].studentised = Some(-4.5);
    let after = ResidualsFigure::of(&fit).unwrap();
    assert_eq!(after.unusual.iter().map(|point| point.line).collect::<Vec<_>>(), [16]);
    let figures = fit_figures(&fit).unwrap();
    assert!(figures[1].svg.contains(">line 16</text>") && figures[2].svg.contains(">line 16</text>"));
}

/// Writes all pictures of all shapes into a folder, to be looked at:
/// `PICTURES=some/folder cargo test --lib pictures_to_look_at -- --ignored`.
#[test]
#[ignore = "writes pictures for a person to look at"]
fn pictures_to_look_at() {
    let folder = std::path::PathBuf::from(std::env::var_os("PICTURES").expect("PICTURES names a folder"));
    for (index, shape) in shapes().iter().enumerate() {
        for figure in fit_figures(&fit(shape)).unwrap() {
            std::fs::write(folder.join(format!("{index}-{}.svg", figure.name)), &figure.svg).unwrap();
            std::fs::write(folder.join(format!("{index}-{}.png", figure.name)), &figure.png).unwrap();
        }
    }
}
