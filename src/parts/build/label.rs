//! A label, engraved into a face that looks up.

use crate::geometry::lettering::{self, MIN_CAP_HEIGHT_MM, UnknownGlyph};
use crate::geometry::outline::Outline;

/// How deep a label is engraved, mm: three layers of 0.2 mm.
pub const DEPTH_MM: f64 = 0.6;
/// How far a label keeps from edges, mm.
pub const CLEAR_MM: f64 = 0.6;

/// A label on the ring between two circles about the axis, read from -y, below the bore.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// What it says.
    pub text: String,
    /// Where the face that it is engraved into lies above the bed, mm.
    pub face_mm: f64,
    /// From the axis to the middle of the letters, mm.
    pub from_axis_mm: f64,
}

impl Label {
    /// The label on a face between two radii; `None` where there is no room.
    pub fn between(
        text: &str,
        face_mm: f64,
        inner_mm: f64,
        outer_mm: f64,
    ) -> Result<Option<Self>, UnknownGlyph> {
        let half = lettering::text_width(text, MIN_CAP_HEIGHT_MM)? / 2.0;
        // As far out as the letters' lower corners allow.
        let reach = (outer_mm - CLEAR_MM).powi(2) - half * half;
        if half <= 0.0 || reach <= 0.0 {
            return Ok(None);
        }
        let top = reach.sqrt() - MIN_CAP_HEIGHT_MM;
        let fits = top >= inner_mm + CLEAR_MM;
        let from_axis_mm = top + MIN_CAP_HEIGHT_MM / 2.0;
        Ok(fits.then(|| Self { text: text.to_owned(), face_mm, from_axis_mm }))
    }

    /// Its outline; empty where a letter is unknown, which `between` has refused.
    pub(crate) fn outline(&self) -> Outline {
        let width = lettering::text_width(&self.text, MIN_CAP_HEIGHT_MM).unwrap_or_default();
        let letters = lettering::text(&self.text, MIN_CAP_HEIGHT_MM).unwrap_or_default();
        letters.translated(-width / 2.0, -self.from_axis_mm - MIN_CAP_HEIGHT_MM / 2.0)
    }

    /// Distances of its nearest and farthest place from the axis, mm, and half its width.
    pub(crate) fn frame_mm(&self) -> (f64, f64, f64) {
        let half = lettering::text_width(&self.text, MIN_CAP_HEIGHT_MM).unwrap_or_default() / 2.0;
        let (near, far) =
            (self.from_axis_mm - MIN_CAP_HEIGHT_MM / 2.0, self.from_axis_mm + MIN_CAP_HEIGHT_MM / 2.0);
        (near, far, half)
    }
}
