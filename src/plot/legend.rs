//! What the signs of a figure mean, beside the plane so that no data are covered.

use plotters::element::{Circle, PathElement};
use plotters::style::RGBColor;
use plotters::style::text_anchor::{HPos, VPos};

use super::PlotError;
use super::font;
use super::look::{self, GREY, INK, Look};
use super::plane::{Area, Place, SMALL, rectangle, sheet, text};
use crate::kind::Kind;

/// A sign to explain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sign {
    /// A kind's point.
    Point(Kind),
    /// A point of this look.
    Mark(Look),
    /// A line of this colour and these dashes.
    Line(RGBColor, &'static [f64]),
    /// A band of this colour and strength.
    Band(RGBColor, f64),
    /// The cross of what was set aside.
    Cross,
    /// The ring round an unusual point.
    Ring,
    /// The mean and spread of a print.
    MeanAndSd,
}

const SIGN_WIDTH: f64 = 26.0;
const ROW: f64 = 19.0;

/// Draws one sign and its words with the left edge and the middle at `at`.
fn entry(area: &Area, at: (f64, f64), sign: Sign, words: &str) -> Result<(), PlotError> {
    let (x, y) = at;
    let middle = (sheet(x + SIGN_WIDTH / 2.0), sheet(y));
    match sign {
        Sign::Point(kind) => look::draw_point(area, middle, look::of(kind), 4.0)?,
        Sign::Mark(look) => look::draw_point(area, middle, look, 4.0)?,
        Sign::Line(color, dashes) => {
            let ends = [(sheet(x), sheet(y)), (sheet(x + SIGN_WIDTH), sheet(y))];
            look::draw_dashed(area, &ends, dashes, look::line(color, 1.8))?;
        }
        Sign::Band(color, alpha) => {
            rectangle(area, Place(x, y - 5.5, SIGN_WIDTH, 11.0), color, alpha)?;
        }
        Sign::Cross => look::draw_cross(area, middle)?,
        Sign::Ring => ring(area, middle)?,
        Sign::MeanAndSd => {
            rectangle(area, Place(x, y - 5.5, SIGN_WIDTH, 11.0), GREY, 0.2)?;
            let ends = vec![(sheet(x), sheet(y)), (sheet(x + SIGN_WIDTH), sheet(y))];
            area.draw(&PathElement::new(ends, look::line(INK, 2.2)))?;
        }
    }
    text(area, (x + SIGN_WIDTH + 7.0, y), words, SMALL, INK, (HPos::Left, VPos::Center))
}

/// The ring round an unusual point.
pub fn ring(area: &Area, at: (i32, i32)) -> Result<(), PlotError> {
    Ok(area.draw(&Circle::new(at, sheet(6.5), look::line(INK, 1.3)))?)
}

/// One sign below another, from the corner `(left, top)`.
pub fn column(area: &Area, (left, top): (f64, f64), signs: &[(Sign, String)]) -> Result<(), PlotError> {
    for (index, (sign, words)) in signs.iter().enumerate() {
        entry(area, (left, top + ROW * (index as f64 + 0.5)), *sign, words)?;
    }
    Ok(())
}

/// One sign beside another, centred in the rectangle's width at the height `y`.
pub fn row(area: &Area, Place(left, y, width, _): Place, signs: &[(Sign, String)]) -> Result<(), PlotError> {
    let gap = 22.0;
    let wide = |words: &str| SIGN_WIDTH + 7.0 + f64::from(font::width(words, SMALL));
    let all: f64 = signs.iter().map(|(_, words)| wide(words) + gap).sum::<f64>() - gap;
    let mut x = left + (width - all).max(0.0) / 2.0;
    for (sign, words) in signs {
        entry(area, (x, y), *sign, words)?;
        x += wide(words) + gap;
    }
    Ok(())
}

/// The kinds of a figure as signs, in the order of tables.
pub fn kinds(present: impl Fn(Kind) -> bool) -> Vec<(Sign, String)> {
    let present = Kind::ALL.into_iter().filter(|&kind| present(kind));
    present.map(|kind| (Sign::Point(kind), kind.plural().to_owned())).collect()
}
