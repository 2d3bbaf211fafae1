//! A dimension of a parts list as a plain view: what it is, and where the caliper goes.
//!
//! A list says no more of a part than its dimensions, so the view shows one of them and nothing else: a hole,
//! a round, two walls, a block, two centres, a height over the bed. It is at 1:1 where it fits, else at a
//! stated scale.

use std::fmt::Write as _;

use crate::kind::Kind;

use super::piece_drawing::{INK, Paper, SCALES, framed};

/// Largest size on paper, mm.
const LARGEST_MM: f64 = 60.0;
/// Width of a view, mm.
const WIDTH_MM: f64 = 90.0;

/// The view of a size of this kind as drawn, as SVG, and its scale in words.
pub fn view(kind: Kind, drawn_mm: f64) -> (String, &'static str) {
    // Not larger than life: people hold the part against the paper.
    let fitting = SCALES.into_iter().find(|(scale, _)| *scale <= 1.0 && scale * drawn_mm <= LARGEST_MM);
    let (scale, words) = fitting.unwrap_or(SCALES[SCALES.len() - 1]);
    let mut paper = Paper { svg: String::new(), scale };
    let half = drawn_mm / 2.0 * paper.scale;
    let reach = match kind {
        Kind::Bore | Kind::HorizontalBore | Kind::Pin => half + 5.0,
        Kind::Gap | Kind::Outer | Kind::Span => 10.0,
        Kind::Height => half + 9.0,
    };
    let [x, y] = [WIDTH_MM / 2.0, reach];
    let plastic = format!("fill=\"#e6ebef\" fill-rule=\"evenodd\" stroke=\"{INK}\" stroke-width=\"0.3\"");
    let block = |left: f64, top: f64, right: f64, low: f64| {
        format!("M{left:.3} {top:.3}L{right:.3} {top:.3}L{right:.3} {low:.3}L{left:.3} {low:.3}Z")
    };
    let circle = |middle: f64, radius: f64| {
        format!(
            "M{0:.3} {y}A{2:.3} {2:.3} 0 0 1 {1:.3} {y}A{2:.3} {2:.3} 0 0 1 {0:.3} {y}Z",
            middle - radius,
            middle + radius,
            radius
        )
    };
    let (left, right) = ([x - half, y], [x + half, y]);
    let shape = match kind {
        Kind::Bore | Kind::HorizontalBore => circle(x, half + 3.0) + &circle(x, half),
        Kind::Pin => circle(x, half),
        Kind::Gap => {
            block(x - half - 6.0, y - 8.0, x - half, y + 8.0)
                + &block(x + half, y - 8.0, x + half + 6.0, y + 8.0)
        }
        Kind::Outer => block(x - half, y - 8.0, x + half, y + 8.0),
        Kind::Span => {
            block(x - half - 6.0, y - 6.0, x + half + 6.0, y + 6.0)
                + &circle(x - half, 2.0)
                + &circle(x + half, 2.0)
        }
        Kind::Height => block(x - 10.0, y - half, x + 10.0, y + half),
    };
    // Writing to a String cannot fail.
    let _ = writeln!(paper.svg, "<path d=\"{shape}\" {plastic}/>");
    match kind {
        Kind::Bore | Kind::HorizontalBore | Kind::Gap => paper.jaws(left, right, false),
        Kind::Pin | Kind::Outer => paper.jaws(left, right, true),
        Kind::Height => {
            let bed = format!("stroke=\"{INK}\" stroke-width=\"0.6\"");
            paper.line([x - 14.0, y + half], [x + 14.0, y + half], &bed);
            paper.jaws([x, y + half], [x, y - half], true);
        }
        Kind::Span => {
            let thin = format!("stroke=\"{INK}\" stroke-width=\"0.2\"");
            paper.line(left, right, &thin);
        }
    }
    (framed(&paper.svg, [WIDTH_MM, 2.0 * reach], kind.name()), words)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_is_drawn_at_full_size_where_it_fits_and_at_a_stated_scale_where_not() {
        let (svg, scale) = view(Kind::Pin, 20.0);
        assert_eq!(scale, "1:1");
        assert!(svg.contains("M35.000 15A10.000 10.000") && svg.contains("width=\"90.000mm\""), "{svg}");
        let (svg, scale) = view(Kind::Outer, 100.0);
        assert_eq!(scale, "1:2");
        assert!(svg.contains("M20.000 2.000L70.000 2.000"), "{svg}");
    }
}
