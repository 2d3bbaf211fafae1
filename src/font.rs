//! The font that pictures are lettered with, kept in the program and carried by every picture.
//!
//! A subset of DejaVu Sans; `data/fonts` says how it was made and under which licence. A picture that
//! carries its font looks the same on every machine, whatever fonts that machine has.

use std::sync::OnceLock;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

/// The family's name, as pictures ask for it.
pub const FAMILY: &str = "DejaVu Sans";

/// The font file, TrueType.
pub static BYTES: &[u8] = include_bytes!("../data/fonts/DejaVuSans-subset.ttf");

/// A `style` element that gives an SVG picture the font.
pub fn style() -> &'static str {
    static STYLE: OnceLock<String> = OnceLock::new();
    STYLE.get_or_init(|| {
        let data = STANDARD.encode(BYTES);
        format!("<style>@font-face{{font-family:\"{FAMILY}\";src:url(data:font/ttf;base64,{data})}}</style>")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_style_carries_the_whole_font() {
        let data = style().split_once("base64,").unwrap().1.split_once(')').unwrap().0;
        assert_eq!(STANDARD.decode(data).unwrap(), BYTES);
    }
}
