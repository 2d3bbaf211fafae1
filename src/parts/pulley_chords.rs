//! How finely the curves of a pulley are drawn.
//!
//! An outline in a file is a polygon. Fine chords follow the exact walls closely and cost triangles; a
//! pulley takes the coarsest that leave its predicted print where it must be.

use crate::belt::walls::{Shape, Wall, WallKind, chord_counts};

use crate::belt::groove::Groove;

/// How far chords may lie from the arcs that they stand for, mm: the first with which the predicted print
/// keeps within what is allowed. Coarse chords make small files; uneven swell leaves less room for them.
pub const CHORD_ERRORS_MM: [f64; 3] = [0.003, 0.002, 0.001];
/// Chords for each wall of a pitch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Chords {
    /// Of the teeth.
    pub teeth: [usize; 8],
    /// Of what grows out of them and guides nothing: the chamfer at the bed, the cone of a flange and its
    /// rim. Its corners are some of the teeth's.
    pub guides: [usize; 8],
}

impl Chords {
    /// Chords that keep within `chord_error_mm` of both bodies' arcs, and within a few hundredths of a
    /// rim of this diameter.
    pub fn within(chord_error_mm: f64, wanted: &Groove, drawn: &Groove, rim_mm: f64) -> Self {
        /// Of a rim, which fits nothing.
        const RIM_ERROR_MM: f64 = 0.02;
        let walls = drawn.walls();
        let fine = chord_counts(&wanted.walls(), chord_error_mm);
        let mut teeth = chord_counts(&walls, chord_error_mm);
        let mut guides = [1; 8];
        for (index, wall) in walls.iter().enumerate() {
            teeth[index] = teeth[index].max(fine[index]);
            if matches!(wall.kind, WallKind::Tip | WallKind::Floor) {
                let rim = Shape::Arc {
                    centre: (0.0, 0.0),
                    radius: rim_mm / 2.0,
                    from_rad: 0.0,
                    to_rad: angle_about_axis(wall),
                };
                guides[index] = Wall { kind: wall.kind, shape: rim }.chords(RIM_ERROR_MM);
                teeth[index] = teeth[index].next_multiple_of(guides[index]);
            }
        }
        if drawn.rolling_radius_mm.is_some() {
            // Chords of a rolled curve pass so close to its corners that on the grid they may cross.
            guides = teeth;
        }
        Self { teeth, guides }
    }
}

fn angle_about_axis(wall: &Wall) -> f64 {
    let ((x0, y0), (x1, y1)) = (wall.at(0.0).0, wall.at(1.0).0);
    (x0 * y1 - y0 * x1).atan2(x0 * x1 + y0 * y1).abs()
}
