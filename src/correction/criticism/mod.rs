//! What speaks against a fit, in plain words: what the form cannot follow, which features pull it, which
//! coupon or print stands apart, whether sizes change across the plate, which sizes decide what.
//!
//! Each doubt is one further column of the model: a bend of one kind, a scale of its own, a shift of one
//! coupon's walls, of one print, of one size of one kind, a difference of the diagonals, a slope of sizes or
//! of walls along x or y of the plate. Where pieces lay is known of the program's own sets, by their names
//! ([`crate::coupon::places`]); a piece counts with its middle. It is tested by F
//! in an ordinary fit with all terms free and each print's swell, scale and height taken out, in which
//! normal errors make the test exact; no spread and no prior has a say. Where prints repeat features, what
//! is left over is also held against how the prints differ (lack of fit against pure error).
//!
//! The level is 5 % for all that is looked for together: shared evenly between the sorts of doubt that the
//! data can tell, and by Bonferroni within a sort. A doubt that is found is taken into the model before the
//! next is looked for, so that one fault is told once.
//!
//! Source: Draper and Smith, Applied Regression Analysis, 3rd ed. 1998, 2.1 (pure error), 8 (influence); Cook
//! and Weisberg, Residuals and Influence in Regression, 2.2.2 (mean-shift test).

mod basis;
mod design;
pub mod leverage;
mod words;

use std::borrow::Cow;

use crate::kind::{Axis, Kind};
use crate::stats::distribution::{f_above, outlying};

use super::Term;
use super::fitted::FittedPoint;
use basis::{Basis, Further, Left, Tested};
use design::{About, Design};

/// Chance that a sound fit is criticised at all.
const LEVEL: f64 = 0.05;
/// So many doubts are told; with more, the model or the sheet is wrong as a whole.
const MOST_DOUBTS: usize = 4;
/// Of many prints the last ones are looked at: each adds columns.
const MOST_PRINTS: usize = 12;
/// More rows than this are not looked at: no setup of coupons has them.
const MOST_ROWS: usize = 5_000;
/// Nothing closer is told apart, mm: rounding to the usual caliper's step.
const FINEST_MM: f64 = 0.01 / 3.464; // step / sqrt(12)

/// One feature of one print that the fit used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row<'a> {
    /// Which coupon; empty where it has no name.
    pub coupon: &'a str,
    /// What is measured.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The size it is drawn at, mm.
    pub nominal_mm: f64,
    /// Which print.
    pub copy: u32,
    /// Measured less nominal, mm.
    pub deviation_mm: f64,
}

impl<'a> From<&'a FittedPoint> for Row<'a> {
    fn from(point: &'a FittedPoint) -> Self {
        Self {
            coupon: &point.coupon,
            kind: point.kind,
            axis: point.axis,
            nominal_mm: point.nominal_mm,
            copy: point.copy,
            deviation_mm: point.deviation_mm,
        }
    }
}

/// What may be doubted.
#[derive(Clone, Debug, PartialEq)]
pub enum Doubt {
    /// The deviations of one kind bend with size.
    Curve {
        /// The kind.
        kind: Kind,
        /// How far the bend leads from a line at the most, mm.
        most_mm: f64,
    },
    /// One kind's scale is not that of the others.
    OwnScale {
        /// The kind.
        kind: Kind,
        /// How much more of its size it gains than the others, a ratio.
        more: f64,
    },
    /// The walls of one coupon stand elsewhere than those of the others.
    Coupon {
        /// The coupon.
        coupon: String,
        /// How much larger its outsides are, and smaller its insides, mm.
        walls_mm: f64,
    },
    /// All sizes of one print are shifted by the same amount.
    Shift {
        /// Which print.
        copy: u32,
        /// The shift, mm.
        shift_mm: f64,
    },
    /// The features of one kind and size lie apart from what all others say of them.
    Group {
        /// The kind.
        kind: Kind,
        /// The size, mm.
        nominal_mm: f64,
        /// How far, mm.
        shift_mm: f64,
        /// The size of the same kind, or of any, whose prediction they pull most, and by how much, mm.
        pulls: Option<(Kind, f64, f64)>,
    },
    /// Sizes change across the plate.
    Slope {
        /// The set that the pieces are of.
        set: &'static str,
        /// Along y, to the back; else along x, to the right.
        is_to_the_back: bool,
        /// Only walls change: outsides grow where insides close. Else all sizes grow alike.
        is_of_walls: bool,
        /// How much sizes, or outsides, grow from one end to the other, mm.
        grow_mm: f64,
        /// How far the ends are apart, mm.
        over_mm: f64,
    },
    /// The diagonals differ.
    Diagonals {
        /// How far the angle between x and y is open beyond 90 degrees, rad.
        skew_rad: f64,
        /// Whether the model has a term for it.
        is_in_model: bool,
    },
    /// The same features miss the model in every print.
    LackOfFit {
        /// F.
        f: f64,
        /// Its degrees of freedom.
        dofs: (f64, f64),
    },
}

/// Something that speaks against a fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Criticism {
    /// What.
    pub doubt: Doubt,
    /// The chance that a sound fit shows anything as strong, over all that was looked for.
    pub p_value: f64,
}

/// F below this, of 1 and any degrees of freedom, is above [`LEVEL`] by itself: 1.96 squared.
const LEAST_F: f64 = 3.84;
/// The F that a chance of [`LEVEL`] in so many looks begins at is found to more digits than this leaves out.
const NEARLY: f64 = 0.999;
/// Chances nearer to each other are one.
const DIFFERS: f64 = 1.0 - 1e-6;

/// What speaks against a fit of these terms to these rows, the strongest first.
///
/// `is_curve_tested`: bends of kinds were looked for elsewhere and are left out.
pub fn criticise(rows: &[Row<'_>], terms: &[Term], is_curve_tested: bool) -> Vec<Criticism> {
    let Some((rows, copies)) = looked_at(rows) else { return Vec::new() };
    criticise_prints(&rows, &copies, terms, is_curve_tested)
}

/// The rows that are looked at, and their prints: the last ones where there are many. `None` where there are more
/// than any setup of coupons has.
fn looked_at<'a, 'b>(rows: &'a [Row<'b>]) -> Option<(Cow<'a, [Row<'b>]>, Vec<u32>)> {
    if rows.len() > MOST_ROWS {
        return None;
    }
    let mut copies: Vec<u32> = rows.iter().map(|row| row.copy).collect();
    copies.sort_unstable();
    copies.dedup();
    if copies.len() <= MOST_PRINTS {
        return Some((rows.into(), copies));
    }
    let copies = copies.split_off(copies.len() - MOST_PRINTS);
    let rows: Vec<Row<'b>> = rows.iter().filter(|row| copies.contains(&row.copy)).copied().collect();
    Some((rows.into(), copies))
}

/// The same of rows of these prints, which are sorted.
fn criticise_prints(
    rows: &[Row<'_>],
    copies: &[u32],
    terms: &[Term],
    is_curve_tested: bool,
) -> Vec<Criticism> {
    let design = Design::of(rows, copies, terms, is_curve_tested);
    let deviations: Vec<f64> = rows.iter().map(|row| row.deviation_mm).collect();
    let least_variance = FINEST_MM * FINEST_MM;
    let mut left = design.basis.left(&deviations, least_variance);
    let mut found = Vec::new();
    // The basis with what is found taken in, and how the candidates stand to it.
    let mut wider: Option<(Basis, Vec<Option<Further>>)> = None;
    while found.len() < MOST_DOUBTS {
        let (basis, standings) = match &wider {
            Some((basis, standings)) => (basis, standings),
            None => (&design.basis, &design.standings),
        };
        let Some((at, tested, p_value)) = strongest(&design, standings, &left) else { break };
        let candidate = &design.candidates[at];
        let doubt = doubt(basis, candidate.about, design.column(candidate), tested.coefficient, rows, terms);
        found.push(Criticism { doubt, p_value });
        let basis = basis.with(design.column(candidate));
        let mut standings = design.standings_to(&basis);
        standings[at] = None;
        left = basis.left(&deviations, least_variance);
        wider = Some((basis, standings));
    }
    if let Some(pure) = &design.pure {
        let (squares, dof) = (pure.squares(&deviations), pure.dof);
        let basis = wider.as_ref().map_or(&design.basis, |(basis, _)| basis);
        let more = (basis.dof() - dof, (left.squares - squares).max(0.0));
        let f = more.1 / more.0 / (squares / dof).max(least_variance);
        // Whatever its degrees of freedom, F is above 1 three times in ten.
        if more.0 >= 1.0 && f > 1.0 {
            let p_value = f_above(f, more.0, dof) * design.sorts as f64;
            if p_value < LEVEL {
                found.push(Criticism { doubt: Doubt::LackOfFit { f, dofs: (more.0, dof) }, p_value });
            }
        }
    }
    found
}

/// The doubt that is least likely by chance, where it is too unlikely: which, how it stands, and the chance
/// of one as strong among all.
fn strongest(design: &Design, standings: &[Option<Further>], left: &Left) -> Option<(usize, Tested, f64)> {
    let mut strongest: Option<(usize, Tested, f64)> = None;
    for (at, (candidate, further)) in design.candidates.iter().zip(standings).enumerate() {
        let Some(further) = *further else { continue };
        let tested = left.test(further, design.column(candidate), design.beside(candidate));
        let looks = f64::from(design.counts[candidate.about.sort()]) * design.sorts as f64;
        // F of 1 degree of freedom is t squared, and bounds of t are known: nearly all doubts end here.
        if tested.f < LEAST_F || tested.f < NEARLY * outlying(LEVEL, looks, tested.dof).powi(2) {
            continue;
        }
        let p_value = (tested.p_value() * looks).min(1.0);
        // Of two prints either may be the one that is shifted: equals go to the first, not by rounding.
        if p_value < strongest.map_or(LEVEL, |(.., p_value)| DIFFERS * p_value) {
            strongest = Some((at, tested, p_value));
        }
    }
    strongest
}

/// The doubt with its size.
fn doubt(
    basis: &Basis,
    about: About,
    column: &[(usize, f64)],
    coefficient: f64,
    rows: &[Row<'_>],
    terms: &[Term],
) -> Doubt {
    match about {
        About::Curve(kind) => {
            let line: Vec<(usize, f64)> = column.iter().map(|(at, _)| (*at, rows[*at].nominal_mm)).collect();
            let with_line = basis.with(&line);
            let moves = with_line.moves(column, coefficient);
            let bend = column.iter().map(|(at, value)| (coefficient * value + moves[*at]).abs());
            Doubt::Curve { kind, most_mm: bend.fold(0.0, f64::max) }
        }
        About::OwnScale(kind) => Doubt::OwnScale { kind, more: coefficient },
        About::Coupon(first) => {
            Doubt::Coupon { coupon: rows[first].coupon.to_owned(), walls_mm: coefficient }
        }
        About::Shift(copy) => Doubt::Shift { copy, shift_mm: coefficient },
        About::Group(kind, nominal_mm) => {
            let moves = basis.moves(column, coefficient);
            let others =
                rows.iter().zip(&moves).filter(|(row, _)| row.nominal_mm != nominal_mm || row.kind != kind);
            let same_kind = others.clone().filter(|(row, _)| row.kind == kind);
            let largest = |a: &(&Row<'_>, &f64), b: &(&Row<'_>, &f64)| a.1.abs().total_cmp(&b.1.abs());
            let pulled = same_kind.max_by(largest).or_else(|| others.max_by(largest));
            let pulls = pulled.map(|(row, moved)| (row.kind, row.nominal_mm, *moved));
            Doubt::Group { kind, nominal_mm, shift_mm: coefficient, pulls }
        }
        About::Slope(slope) => {
            let along = rows.iter().map(|row| slope.at(row.coupon));
            let over_mm =
                along.clone().fold(f64::NEG_INFINITY, f64::max) - along.fold(f64::INFINITY, f64::min);
            Doubt::Slope {
                set: &slope.places.set.name,
                is_to_the_back: slope.is_to_the_back,
                is_of_walls: slope.is_of_walls,
                grow_mm: coefficient * over_mm,
                over_mm,
            }
        }
        About::Diagonals => {
            Doubt::Diagonals { skew_rad: coefficient, is_in_model: terms.contains(&Term::Skew) }
        }
    }
}

#[cfg(test)]
mod tests;
