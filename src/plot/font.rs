//! The one font of every picture: built in, so that a picture is the same on every machine.
//!
//! A subset of DejaVu Sans (`data/fonts`). Sizes here are the em in units of the picture, as in CSS;
//! plotters and ab_glyph count ascent to descent, which for this font is [`LINE_PER_EM`] em.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, PxScale, ScaleFont};
use plotters::style::{Color as _, FontStyle, RGBColor, TextStyle, register_font};

use super::PlotError;
use super::canvas::UNIT;
use crate::font::{BYTES, FAMILY};

/// Ascent to descent over the em: (1901 + 483) / 2048, from the font's `hhea` table.
pub const LINE_PER_EM: f32 = 2384.0 / 2048.0;

/// Height of a capital over the em: 1493 / 2048, the font's letter H.
pub const CAPITAL_PER_EM: f32 = 1493.0 / 2048.0;

struct Loaded {
    font: FontRef<'static>,
    registered: bool,
}

static LOADED: LazyLock<Option<Loaded>> = LazyLock::new(|| {
    let font = FontRef::try_from_slice(BYTES).ok()?;
    let registered = register_font(FAMILY, FontStyle::Normal, BYTES).is_ok();
    Some(Loaded { font, registered })
});

/// Registers the font with plotters, once, before anything is drawn.
pub fn register() -> Result<(), PlotError> {
    match &*LOADED {
        Some(loaded) if loaded.registered => Ok(()),
        _ => Err(PlotError::Font),
    }
}

/// The font itself; `None` when the built-in file is damaged, which [`register`] reports first.
pub fn font() -> Option<&'static FontRef<'static>> {
    LOADED.as_ref().map(|loaded| &loaded.font)
}

/// A text style for plotters: em in units of the picture.
pub fn style(em: f32, color: RGBColor) -> TextStyle<'static> {
    let mut style = TextStyle::from((FAMILY, f64::from(em * LINE_PER_EM) * f64::from(UNIT)));
    style.color = color.to_backend_color();
    style
}

/// How wide `text` is at this em, in the same unit.
pub fn width(text: &str, em: f32) -> f32 {
    let Some(font) = font() else { return 0.0 };
    let scaled = font.as_scaled(PxScale::from(em * LINE_PER_EM));
    text.chars().map(|c| scaled.h_advance(scaled.glyph_id(c))).sum()
}

/// `text` on one line, cut with an ellipsis where it is wider than `room`; control characters become
/// spaces, since they have no place in a picture.
pub fn fitted(text: &str, em: f32, room: f32) -> String {
    let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if width(&line, em) <= room {
        return line;
    }
    let mut kept = String::new();
    for c in line.chars() {
        kept.push(c);
        if width(&kept, em) + width("…", em) > room {
            kept.pop();
            break;
        }
    }
    kept.trim_end().to_owned() + "…"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_metrics_are_those_of_the_file() {
        let font = font().unwrap();
        assert_eq!(font.units_per_em(), Some(2048.0));
        assert_eq!(font.ascent_unscaled() - font.descent_unscaled(), 2384.0);
        let capital = font.outline(font.glyph_id('H')).unwrap().bounds;
        assert_eq!((capital.max.y - capital.min.y).abs(), 1493.0);
    }

    #[test]
    fn every_sign_that_pictures_use_has_a_glyph() {
        let font = font().unwrap();
        for c in "ABCxyz 0123456789 −±×÷≤≥≈⌀°µ²³⁻₁₀ →↑↓ … – — ‘’“” äöüßéñłž αβσ Жия".chars()
        {
            assert_ne!(font.glyph_id(c).0, 0, "{c}");
        }
    }

    #[test]
    fn a_long_name_is_cut_to_its_room_and_a_short_one_is_left() {
        assert_eq!(fitted("PETG", 12.0, 100.0), "PETG");
        let cut = fitted("a printer with a very long name indeed", 12.0, 100.0);
        assert!(cut.ends_with('…') && width(&cut, 12.0) <= 100.0, "{cut}");
        assert!(width(&cut, 12.0) > 80.0, "{cut}");
        assert_eq!(fitted("two\nlines\u{7}", 12.0, 100.0), "two lines ");
    }
}
