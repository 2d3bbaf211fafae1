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
pub mod leverage;
mod words;

use std::collections::BTreeMap;

use crate::kind::{Axis, Kind};
use crate::stats::distribution::f_above;

use super::Term;
use super::fitted::FittedPoint;
use crate::coupon::places::{self, Places};
use basis::{Basis, Tested};

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

/// A further column, by its rows that are not zero.
type Column = Vec<(usize, f64)>;

/// A doubt that can be tested, with its column.
struct Candidate<'a> {
    about: About<'a>,
    column: Column,
}

#[derive(Clone, Copy, PartialEq)]
enum About<'a> {
    Curve(Kind),
    OwnScale(Kind),
    Coupon(&'a str),
    Shift(u32),
    Group(Kind, f64),
    Diagonals,
    Slope(Slope),
}

/// A slope across the plate of the pieces of a set.
#[derive(Clone, Copy, PartialEq)]
struct Slope {
    places: &'static Places,
    is_to_the_back: bool,
    is_of_walls: bool,
}

impl Slope {
    /// Where a coupon lies along the slope, mm.
    fn at(self, coupon: &str) -> f64 {
        self.places.middle_mm.get(coupon).map_or(0.0, |middle| middle[usize::from(self.is_to_the_back)])
    }
}

impl About<'_> {
    /// The sort of doubt, to share the level by.
    fn sort(self) -> usize {
        match self {
            Self::Curve(_) => 0,
            Self::OwnScale(_) => 1,
            Self::Coupon(_) => 2,
            Self::Shift(_) => 3,
            Self::Group(..) => 4,
            Self::Diagonals => 5,
            Self::Slope(_) => 6,
        }
    }
}

const SORTS: usize = 7;

/// F below this, of 1 and any degrees of freedom, is above [`LEVEL`] by itself: 1.96 squared.
const LEAST_F: f64 = 3.84;

/// What speaks against a fit of these terms to these rows, the strongest first.
///
/// `is_curve_tested`: bends of kinds were looked for elsewhere and are left out.
pub fn criticise<'a>(rows: &[Row<'a>], terms: &[Term], is_curve_tested: bool) -> Vec<Criticism> {
    let Some((rows, copies)) = looked_at(rows) else { return Vec::new() };
    let deviations: Vec<f64> = rows.iter().map(|row| row.deviation_mm).collect();
    let copies = &copies[..];
    let mut basis = Basis::new(model(&rows, terms, copies), &deviations, FINEST_MM * FINEST_MM);
    let of = |basis: &Basis, candidates: Vec<Candidate<'a>>| -> Vec<(Candidate<'a>, Tested)> {
        let tested = candidates.into_iter().map(|candidate| (test(basis, &candidate, &rows), candidate));
        tested.filter_map(|(tested, candidate)| Some((candidate, tested?))).collect()
    };
    let mut candidates = of(&basis, candidates(&rows, copies, is_curve_tested));
    let mut counts = [0_u32; SORTS];
    candidates.iter().for_each(|(candidate, _)| counts[candidate.about.sort()] += 1);
    let pure = pure_error(&rows, copies);
    let sorts = counts.iter().filter(|count| **count > 0).count() + usize::from(pure.is_some());
    let mut found = Vec::new();
    while found.len() < MOST_DOUBTS {
        let notable = candidates.iter().filter(|(_, tested)| tested.f > LEAST_F);
        let judged = notable.map(|(candidate, tested)| {
            let looks = f64::from(counts[candidate.about.sort()]) * sorts as f64;
            (candidate, tested.coefficient, (tested.p_value() * looks).min(1.0))
        });
        let strongest = judged.min_by(|(.., a), (.., b)| a.total_cmp(b));
        let Some((candidate, coefficient, p_value)) = strongest.filter(|(.., p)| *p < LEVEL) else { break };
        let doubt = doubt(&basis, candidate, coefficient, &rows, terms);
        found.push(Criticism { doubt, p_value });
        basis = basis.with(&candidate.column);
        let taken = candidate.about;
        let left = candidates.into_iter().map(|(candidate, _)| candidate);
        candidates = of(&basis, left.filter(|candidate| candidate.about != taken).collect());
    }
    if let Some((squares, dof)) = pure {
        let more = (basis.dof() - dof, (basis.squares() - squares).max(0.0));
        let f = more.1 / more.0 / (squares / dof).max(FINEST_MM * FINEST_MM);
        let p_value = f_above(f, more.0, dof) * sorts as f64;
        if more.0 >= 1.0 && p_value < LEVEL {
            found.push(Criticism { doubt: Doubt::LackOfFit { f, dofs: (more.0, dof) }, p_value });
        }
    }
    found
}

/// The rows that are looked at, and their prints: the last ones where there are many. `None` where there are more
/// than any setup of coupons has.
fn looked_at<'a>(rows: &[Row<'a>]) -> Option<(Vec<Row<'a>>, Vec<u32>)> {
    if rows.len() > MOST_ROWS {
        return None;
    }
    let mut copies: Vec<u32> = rows.iter().map(|row| row.copy).collect();
    copies.sort_unstable();
    copies.dedup();
    let copies = copies.split_off(copies.len().saturating_sub(MOST_PRINTS));
    Some((rows.iter().filter(|row| copies.contains(&row.copy)).copied().collect(), copies))
}

/// The model's columns with every term free, and what each print but the first may do.
fn model(rows: &[Row<'_>], terms: &[Term], copies: &[u32]) -> Vec<Vec<f64>> {
    let free = terms.iter().filter(|term| **term != Term::Skew);
    let mut columns: Vec<Vec<f64>> = free
        .map(|term| rows.iter().map(|row| term.value(row.kind, row.axis, row.nominal_mm)).collect())
        .collect();
    columns.extend(prints(rows, copies));
    columns
}

/// Swell, scale and height of every print but the first.
fn prints(rows: &[Row<'_>], copies: &[u32]) -> Vec<Vec<f64>> {
    let parts: [fn(&Row<'_>) -> f64; 3] = [
        |row| row.kind.swell_sign(),
        |row| row.nominal_mm * f64::from(row.kind != Kind::Height),
        |row| f64::from(row.kind == Kind::Height),
    ];
    let of = |copy: u32, part: fn(&Row<'_>) -> f64| -> Vec<f64> {
        rows.iter().map(|row| if row.copy == copy { part(row) } else { 0.0 }).collect()
    };
    copies.iter().skip(1).flat_map(|copy| parts.map(|part| of(*copy, part))).collect()
}

fn candidates<'a>(rows: &[Row<'a>], copies: &[u32], is_curve_tested: bool) -> Vec<Candidate<'a>> {
    let column = |value: &dyn Fn(&Row<'a>) -> f64| -> Column {
        let values = rows.iter().map(value).enumerate();
        values.filter(|(_, value)| *value != 0.0).collect()
    };
    let mut all = Vec::new();
    let mut groups: BTreeMap<(Kind, u64), Column> = BTreeMap::new();
    let mut coupons: BTreeMap<&'a str, Column> = BTreeMap::new();
    for (at, row) in rows.iter().enumerate() {
        groups.entry((row.kind, row.nominal_mm.to_bits())).or_default().push((at, 1.0));
        if !row.coupon.is_empty() && row.kind.swell_sign() != 0.0 {
            coupons.entry(row.coupon).or_default().push((at, row.kind.swell_sign() / 2.0));
        }
    }
    for kind in Kind::ALL {
        if rows.iter().all(|row| row.kind != kind) {
            continue;
        }
        let own = |row: &Row<'a>| if row.kind == kind { row.nominal_mm } else { 0.0 };
        if kind != Kind::Height {
            all.push(Candidate { about: About::OwnScale(kind), column: column(&own) });
        }
        if !is_curve_tested {
            let count = rows.iter().filter(|row| row.kind == kind).count() as f64;
            let middle = rows.iter().map(own).sum::<f64>() / count;
            let square =
                |row: &Row<'a>| if row.kind == kind { (row.nominal_mm - middle).powi(2) } else { 0.0 };
            all.push(Candidate { about: About::Curve(kind), column: column(&square) });
        }
    }
    if coupons.len() > 1 {
        all.extend(
            coupons.into_iter().map(|(coupon, column)| Candidate { about: About::Coupon(coupon), column }),
        );
    }
    if copies.len() > 1 {
        all.extend(copies.iter().map(|copy| Candidate {
            about: About::Shift(*copy),
            column: column(&|row| f64::from(row.copy == *copy)),
        }));
    }
    all.extend(
        groups.into_iter().map(|((kind, bits), column)| Candidate {
            about: About::Group(kind, f64::from_bits(bits)),
            column,
        }),
    );
    all.extend(slopes(rows));
    let skew = column(&|row| Term::Skew.value(row.kind, row.axis, row.nominal_mm));
    if !skew.is_empty() {
        all.push(Candidate { about: About::Diagonals, column: skew });
    }
    all
}

/// Slopes along x and y of the plate, of all sizes and of walls alone, where pieces of a set were measured.
fn slopes<'a>(rows: &[Row<'a>]) -> Vec<Candidate<'a>> {
    let measured: Vec<(&str, Kind, f64)> =
        rows.iter().map(|row| (row.coupon, row.kind, row.nominal_mm)).collect();
    let Some(places) = places::of_pieces(&measured) else { return Vec::new() };
    let mut coupons: Vec<&str> = rows.iter().map(|row| row.coupon).collect();
    coupons.sort_unstable();
    coupons.dedup();
    // Two coupons that differ are just that.
    if coupons.len() < 3 {
        return Vec::new();
    }
    let of = |(is_to_the_back, is_of_walls): (bool, bool)| {
        let slope = Slope { places, is_to_the_back, is_of_walls };
        let middle = rows.iter().map(|row| slope.at(row.coupon)).sum::<f64>() / rows.len() as f64;
        let value = |row: &Row<'_>| {
            // Heights do not grow with the flow of walls, nor with the directions of the bed.
            let share = match (row.kind, is_of_walls) {
                (Kind::Height, _) => 0.0,
                (kind, true) => kind.swell_sign() / 2.0,
                (_, false) => 1.0,
            };
            share * (slope.at(row.coupon) - middle)
        };
        let values = rows.iter().map(value).enumerate();
        let column = values.filter(|(_, value)| *value != 0.0).collect();
        Candidate { about: About::Slope(slope), column }
    };
    [(false, false), (true, false), (false, true), (true, true)].map(of).into()
}

/// Tests a doubt; a bend is one beside the kind's own straight line.
fn test(basis: &Basis, candidate: &Candidate<'_>, rows: &[Row<'_>]) -> Option<Tested> {
    let About::Curve(kind) = candidate.about else { return basis.test(&candidate.column) };
    basis.test_beside(&candidate.column, &line(kind, rows))
}

fn line(kind: Kind, rows: &[Row<'_>]) -> Column {
    let of_kind = rows.iter().enumerate().filter(|(_, row)| row.kind == kind);
    of_kind.map(|(at, row)| (at, row.nominal_mm)).collect()
}

/// The doubt with its size.
fn doubt(
    basis: &Basis,
    candidate: &Candidate<'_>,
    coefficient: f64,
    rows: &[Row<'_>],
    terms: &[Term],
) -> Doubt {
    match candidate.about {
        About::Curve(kind) => {
            let with_line = basis.with(&line(kind, rows));
            let moves = with_line.moves(&candidate.column, coefficient);
            let bend = candidate.column.iter().map(|(at, value)| (coefficient * value + moves[*at]).abs());
            Doubt::Curve { kind, most_mm: bend.fold(0.0, f64::max) }
        }
        About::OwnScale(kind) => Doubt::OwnScale { kind, more: coefficient },
        About::Coupon(coupon) => Doubt::Coupon { coupon: coupon.to_owned(), walls_mm: coefficient },
        About::Shift(copy) => Doubt::Shift { copy, shift_mm: coefficient },
        About::Group(kind, nominal_mm) => {
            let moves = basis.moves(&candidate.column, coefficient);
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

/// Squares and degrees of freedom of how the same features differ between prints, what each print does as a
/// whole taken out; `None` where prints do not repeat features enough.
fn pure_error(rows: &[Row<'_>], copies: &[u32]) -> Option<(f64, f64)> {
    if copies.len() < 2 {
        return None;
    }
    let mut cells: BTreeMap<(&str, Kind, Axis, u64), Vec<usize>> = BTreeMap::new();
    for (at, row) in rows.iter().enumerate() {
        cells.entry((row.coupon, row.kind, row.axis, row.nominal_mm.to_bits())).or_default().push(at);
    }
    let within = |mut values: Vec<f64>| -> Vec<f64> {
        for members in cells.values() {
            let mean = members.iter().map(|at| values[*at]).sum::<f64>() / members.len() as f64;
            members.iter().for_each(|at| values[*at] -= mean);
        }
        values
    };
    let columns: Vec<Vec<f64>> = prints(rows, copies).into_iter().map(within).collect();
    let deviations = within(rows.iter().map(|row| row.deviation_mm).collect());
    let basis = Basis::new(columns, &deviations, 0.0);
    let dof = basis.dof() - cells.len() as f64;
    (dof >= 4.0).then(|| (basis.squares(), dof))
}

#[cfg(test)]
mod tests;
