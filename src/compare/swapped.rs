//! Pieces whose stages look swapped: they changed the other way round than their siblings, by as much.
//!
//! For each piece, the changes of its features are laid beside the mean changes of the other pieces of its
//! material in the same soak. Where they are the mirror image of it, well beyond what reading does, the rows of
//! the two stages were probably exchanged. That every piece is swapped cannot be seen this way.

use crate::problem::{Location, Problem};
use crate::readings::CheckedReadings;

use super::pairing::{Change, Piece};

/// A typical change below this is too small to tell which way it goes, mm. By feel: three times what a
/// reading scatters.
const SMALL_MM: f64 = 0.05;

/// Mirror images: the best factor of the siblings' changes lies between these.
const MIRROR: (f64, f64) = (-2.0, -0.5); // by feel: exact would be -1

pub(super) fn suspects(changes: &[Change], pieces: &[Piece], files: &[CheckedReadings]) -> Vec<Problem> {
    let mut found: Vec<Problem> = Vec::new();
    let mut runs: Vec<(usize, usize)> =
        changes.iter().map(|change| (change.condition, change.piece)).collect();
    runs.sort_unstable();
    runs.dedup();
    for (condition, piece) in runs {
        let material = pieces[piece].material;
        let of = |change: &&Change| change.condition == condition && change.material == material;
        let (mut both, mut squares, mut count) = (0.0, 0.0, 0.0);
        let mut lines = (u64::MAX, u64::MAX);
        for own in changes.iter().filter(of).filter(|change| change.piece == piece) {
            let same = |other: &&Change| {
                other.piece != piece
                    && (&other.coupon, &other.feature, other.axis) == (&own.coupon, &own.feature, own.axis)
            };
            let others: Vec<f64> =
                changes.iter().filter(of).filter(same).map(|other| other.change_mm).collect();
            if others.len() < 2 {
                // Of two pieces nobody can say which is the wrong one.
                continue;
            }
            let mean = others.iter().sum::<f64>() / others.len() as f64;
            both += mean * own.change_mm;
            squares += mean * mean;
            count += 1.0;
            lines = (lines.0.min(own.line_before), lines.1.min(own.line_after));
        }
        if count < 1.0 || (squares / count).sqrt() < SMALL_MM {
            continue;
        }
        if (MIRROR.0..=MIRROR.1).contains(&(both / squares)) {
            let message = format!(
                "piece {} changed the other way round than the other pieces of its material, by about as much: \
                 its stages look swapped (before on line {}, after on line {})",
                pieces[piece].name, lines.0, lines.1
            );
            // Of several files nobody can say here which has the lines.
            let place = match files {
                [file] => Location::file(&file.source.path).line(lines.0.min(lines.1)).column("stage"),
                _ => Location::default(),
            };
            found.push(Problem::warning(place, message).help(
                "look at your notes; swap `before` and its later stage in the rows of this piece, or leave the piece out",
            ));
        }
    }
    found
}
