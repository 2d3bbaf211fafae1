//! The words on a piece, by which it is told from its neighbour.

use super::limits::LABEL_HEIGHT_MM;
use crate::geometry::lettering::{self, UnknownGlyph};
use crate::geometry::outline::{Outline, Point};

/// Words that can be drawn, and their outline.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    outline: Outline,
    low: Point,
    high: Point,
}

impl Label {
    /// The words as capitals of 5 mm.
    ///
    /// # Errors
    /// When a character has no glyph.
    pub fn new(text: &str) -> Result<Self, UnknownGlyph> {
        let outline = lettering::text(text, LABEL_HEIGHT_MM)?;
        let [low, high] = outline.bounds().unwrap_or_default();
        Ok(Self { outline, low, high })
    }

    /// A piece without words, for where only its features are of interest: words do not move them.
    pub(super) fn blank() -> Self {
        Self { outline: Outline::default(), low: [0.0; 2], high: [0.0; 2] }
    }

    /// How wide they are, mm.
    pub(super) fn width_mm(&self) -> f64 {
        self.high[0] - self.low[0]
    }

    /// Their outline with its middle at `at`, read from the back to the front.
    pub(super) fn turned(&self, at: Point) -> Outline {
        self.centred([0.0; 2]).rotated(-std::f64::consts::FRAC_PI_2).translated(at[0], at[1])
    }

    /// Their outline with its middle at `at`.
    pub(super) fn centred(&self, at: Point) -> Outline {
        let middle = [0, 1].map(|axis| (self.low[axis] + self.high[axis]) / 2.0);
        self.outline.clone().translated(at[0] - middle[0], at[1] - middle[1])
    }
}
