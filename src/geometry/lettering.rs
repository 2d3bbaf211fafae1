//! Labels (empty for now).

use super::outline::Outline;

/// A character for which there is no glyph.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a label cannot show `{0}`; it knows letters, digits, space and . , - + / #")]
pub struct UnknownGlyph(pub char);

/// The outline of `text`, its lower left corner at the origin, capitals `cap_height_mm` tall (at least 5).
///
/// # Errors
/// When a character has no glyph.
pub fn text(_text: &str, _cap_height_mm: f64) -> Result<Outline, UnknownGlyph> {
    Ok(Outline::rectangle(0.0, 0.0, 4.0, 5.0))
}

/// How wide [`text`] comes out, in millimetres.
///
/// # Errors
/// When a character has no glyph.
pub fn text_width(_text: &str, _cap_height_mm: f64) -> Result<f64, UnknownGlyph> {
    Ok(4.0)
}
