//! What a caliper measures on a finished piece, and the sheet that `verify` takes.
//!
//! Of the sizes of a piece those are taken that jaws reach and that are a size of one kind: diameters of
//! steps, bores and flats, the height over all. The width of a groove, whose flanks lean, and the outside
//! diameter over an odd number of teeth, where a gap faces a tip, are for the drawing only. The sheet's
//! `nominal_mm` is the drawn size, as `verify` wants it.

use crate::correction::Correction;
use crate::coupon::sheet;
use crate::kind::{Axis, Kind};

use super::build::piece::Piece;
use super::build::sizing::Dimension;
use super::build::step::Side;

/// The narrowest hole that inside jaws enter, mm: as coupons are made (common practice, no source).
const LEAST_INSIDE_MM: f64 = 3.0;

/// A size of a piece, and how it is measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauged<'a> {
    /// What stands for it on the drawing; `None` where no caliper takes it.
    pub letter: Option<char>,
    /// The size.
    pub dimension: &'a Dimension,
    /// Where the caliper goes, or why it does not.
    pub how: &'static str,
}

impl Gauged<'_> {
    /// The direction that it is measured in.
    pub fn axis(&self) -> Axis {
        self.dimension.kind.unnamed_axis()
    }

    /// What it is expected to print as, with half the 95 % interval, mm; empty without a correction.
    pub fn expected(&self) -> String {
        let Some(estimate) = self.dimension.expected else { return String::new() };
        match estimate.half95_mm {
            Some(half) => format!("{:.3} ± {half:.3}", estimate.expected_mm),
            None => "not measured".to_owned(),
        }
    }
}

/// The sizes of a piece in order, those that a caliper takes with letters from A on.
pub fn gauged<'a>(piece: &Piece, dimensions: &'a [Dimension]) -> Vec<Gauged<'a>> {
    let mut letters = 'A'..='Z';
    let each = dimensions.iter().map(|dimension| {
        let (takes, how) = way(piece, dimension);
        Gauged { letter: if takes { letters.next() } else { None }, dimension, how }
    });
    each.collect()
}

/// Whether a caliper takes it, and where it goes or why not.
fn way(piece: &Piece, dimension: &Dimension) -> (bool, &'static str) {
    let teeth = piece.steps.iter().find_map(|step| match step.side {
        Side::Teeth(groove) => Some(groove.teeth),
        _ => None,
    });
    let top = piece.steps.last().map_or(String::new(), |step| format!("bed to {}'s end", step.name));
    let is_narrow = dimension.wanted_mm < LEAST_INSIDE_MM;
    match dimension.kind {
        Kind::Pin if dimension.name == "outside diameter" => match teeth {
            Some(teeth) if teeth % 2 == 1 => {
                (false, "not for the caliper: with an odd number of teeth a gap faces each tip")
            }
            _ => (true, "large jaws on two tips that face each other"),
        },
        Kind::Pin | Kind::Outer => (true, "large jaws across it, above the chamfer"),
        Kind::Gap if dimension.name.starts_with("groove width") => {
            (false, "not for the caliper: the flanks lean")
        }
        Kind::Bore | Kind::Gap | Kind::HorizontalBore if is_narrow => {
            (false, "too narrow for inside jaws: try the part that goes in")
        }
        Kind::Bore => (true, "inside jaws, past the chamfer; the largest reading while they swing"),
        Kind::Gap => (true, "inside jaws from flat to flat or to the round opposite"),
        Kind::HorizontalBore => (true, "inside jaws from the outside, along and across the layers"),
        Kind::Height if dimension.name == top => (true, "large jaws from the bed side to the top"),
        Kind::Height => (false, "inside the part: from the drawing"),
        Kind::Span => (false, "centre to centre: from the drawing"),
    }
}

/// To the micrometre, as the drawing beside the sheet says it: no caliper tells more.
fn micrometres(mm: f64) -> f64 {
    (mm * 1e3).round() / 1e3
}

/// The sheet to write the readings of these pieces into; `verify` takes it as it is.
///
/// Sizes of a kind that the correction has not measured are left out, since it says nothing of them, and sizes
/// between two kinds, such as from a flat to the round opposite, which `verify` would take for one of them.
pub fn readings_sheet(pieces: &[(&Piece, Vec<Gauged<'_>>)], correction: Option<&Correction>) -> String {
    let knows = |kind: Kind| correction.is_none_or(|correction| correction.kinds.contains_key(&kind));
    let rows = pieces.iter().flat_map(|(piece, gauged)| {
        let is_taken =
            |of: &&Gauged<'_>| of.letter.is_some() && of.dimension.is_one_kind && knows(of.dimension.kind);
        let taken = gauged.iter().filter(is_taken);
        taken.map(|of| sheet::Row {
            piece: &piece.name,
            feature: &of.dimension.name,
            kind: of.dimension.kind,
            axis: of.axis(),
            drawn_mm: micrometres(of.dimension.drawn_mm),
            copy: 1,
        })
    });
    sheet::of_rows(rows, correction.map_or("", |correction| &correction.setup), false)
}
