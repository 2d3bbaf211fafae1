//! What is said of a pulley's pieces, size by size, and of what a print is worth by the standard.

use std::fmt::Write as _;

use serde::Serialize;

use crate::fits::decimal_mm as short;
use crate::geometry::solid::Solid;
use crate::kind::Kind;

use super::build::sizing::Dimension;
use super::pulley::Design;
use super::pulley_standard::{Against, Outcome};

/// What the chances of pitch and runout rest on.
const ASSUMED: &str = "pitch and runout are not measured by coupons: their chances assume that walls scatter as \
     features of one print do";

/// Width of the column of names where none is longer.
const LEAST_NAME_COLUMN: usize = 34;

/// A piece that is printed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct PieceAnswer {
    name: String,
    orientation: String,
    bed_chamfer_mm: f64,
    triangles: usize,
    volume_mm3: f64,
    sizes: Vec<SizeAnswer>,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct SizeAnswer {
    name: String,
    kind: Kind,
    wanted_mm: f64,
    draw_mm: f64,
    expected_mm: Option<f64>,
    half95_mm: Option<f64>,
}

/// A print against ISO 5294; chances from 0 to 1.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct StandardAnswer {
    outside_diameter: Option<AgainstAnswer>,
    /// If it were drawn for the middle of what is allowed: `--aim-at-middle`.
    outside_chance_aimed_at_middle: Option<f64>,
    adjacent_pitch: Option<AgainstAnswer>,
    /// That all pitches keep within, if they scatter independently.
    all_pitches_chance: Option<f64>,
    accumulated_pitch_90_deg: Option<AgainstAnswer>,
    radial_runout: Option<AgainstAnswer>,
    /// Between the belt tooth's root and the groove at the outside diameter.
    play_mm: Option<f64>,
    play_low95_mm: Option<f64>,
    /// The error of the outside diameter that uses the play up over half a turn.
    play_used_up_by_mm: Option<f64>,
    cannot_hold: Vec<&'static str>,
    assumption: &'static str,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct AgainstAnswer {
    allowed_mm: f64,
    chance: f64,
    source: &'static str,
}

impl From<Against> for AgainstAnswer {
    fn from(against: Against) -> Self {
        let chance = (against.chance * 1e4).round() / 1e4;
        Self { allowed_mm: against.allowed.value, chance, source: against.allowed.source }
    }
}

impl From<&Outcome> for StandardAnswer {
    fn from(outcome: &Outcome) -> Self {
        let against = |against: Option<Against>| against.map(AgainstAnswer::from);
        Self {
            outside_diameter: against(outcome.outside_diameter),
            outside_chance_aimed_at_middle: outcome
                .outside_chance_aimed_at_middle
                .map(|chance| (chance * 1e4).round() / 1e4),
            adjacent_pitch: against(outcome.adjacent_pitch),
            all_pitches_chance: outcome.all_pitches_chance.map(|chance| (chance * 1e4).round() / 1e4),
            accumulated_pitch_90_deg: against(outcome.accumulated_pitch),
            radial_runout: against(outcome.radial_runout),
            play_mm: outcome.play_mm.map(|play| short(play.0)),
            play_low95_mm: outcome.play_mm.map(|play| short(play.1)),
            play_used_up_by_mm: outcome.play_used_up_by_mm.map(short),
            cannot_hold: outcome.missed(),
            assumption: ASSUMED,
        }
    }
}

fn size(dimension: &Dimension) -> SizeAnswer {
    SizeAnswer {
        name: dimension.name.clone(),
        kind: dimension.kind,
        wanted_mm: short(dimension.wanted_mm),
        draw_mm: short(dimension.drawn_mm),
        expected_mm: dimension.expected.map(|expected| short(expected.expected_mm)),
        half95_mm: dimension.expected.and_then(|expected| expected.half95_mm).map(short),
    }
}

/// The pieces of a design and their solids.
pub(super) fn pieces(design: &Design, solids: &[Solid]) -> Vec<PieceAnswer> {
    let all = design.drawn_pieces.iter().zip(solids).zip(&design.dimensions);
    all.map(|((piece, solid), dimensions)| PieceAnswer {
        name: piece.name.clone(),
        orientation: piece.orientation.clone(),
        bed_chamfer_mm: short(piece.bed_chamfer_mm),
        triangles: solid.mesh().triangles.len(),
        volume_mm3: (solid.volume_mm3() * 1e3).round() / 1e3,
        sizes: dimensions.iter().map(size).collect(),
    })
    .collect()
}

/// The pieces size by size, and the standard, for the bench.
pub(super) fn write(
    pieces: &[PieceAnswer],
    standard: Option<&StandardAnswer>,
    out: &mut String,
) -> std::fmt::Result {
    if let Some(standard) = standard {
        write_standard(standard, out)?;
    }
    for piece in pieces {
        writeln!(out, "\n{}: {}", piece.name, piece.orientation)?;
        let longest = piece.sizes.iter().map(|size| size.name.chars().count()).max().unwrap_or(0);
        let wide = LEAST_NAME_COLUMN.max(longest + 2);
        writeln!(out, "{:<wide$}{:<17}{:>9}{:>9}  expected print, 95 %", "", "kind", "wanted", "draw")?;
        for size in &piece.sizes {
            let SizeAnswer { name, kind, wanted_mm, draw_mm, .. } = size;
            write!(out, "{name:<wide$}{:<17}{wanted_mm:>9.3}{draw_mm:>9.3}", kind.name())?;
            match (size.expected_mm, size.half95_mm) {
                (Some(expected), Some(half)) => writeln!(out, "  {expected:.3} ± {half:.3}")?,
                (Some(_), None) => writeln!(out, "  not measured")?,
                (None, _) => writeln!(out)?,
            }
        }
        writeln!(out, "edges on the bed are chamfered by {} mm", piece.bed_chamfer_mm)?;
    }
    Ok(())
}

fn write_standard(standard: &StandardAnswer, out: &mut String) -> std::fmt::Result {
    writeln!(out, "\nthe chance that a print lies within ISO 5294")?;
    let percent = |chance: f64| format!("{:.0} %", 100.0 * chance);
    let rows = [
        ("outside diameter, never small", &standard.outside_diameter, "large by at most"),
        ("pitch from one tooth to the next", &standard.adjacent_pitch, "off by at most"),
        ("pitch over 90 degrees", &standard.accumulated_pitch_90_deg, "off by at most"),
        ("radial runout", &standard.radial_runout, "at most"),
    ];
    for (what, against, how) in rows {
        if let Some(against) = against {
            let (chance, allowed) = (percent(against.chance), against.allowed_mm);
            writeln!(out, "  {what:<34}{chance:>6}  ({how} {allowed} mm)")?;
        }
    }
    if let Some(chance) = standard.outside_chance_aimed_at_middle {
        writeln!(out, "  {:<34}{:>6}", "outside diameter --aim-at-middle", percent(chance))?;
    }
    if let (Some(play), Some(least)) = (standard.play_mm, standard.play_low95_mm) {
        writeln!(
            out,
            "  play of a belt tooth in its groove {play:.2} mm, at least {least:.2} mm in 95 % of prints"
        )?;
    }
    writeln!(out, "  {}", standard.assumption)
}
