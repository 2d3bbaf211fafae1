//! What speaks against a fit, in plain words: what the form cannot follow, which features pull it, which
//! coupon or print stands apart.
//!
//! Each doubt is one further column of the model: a bend of one kind, a scale of its own, a shift of one
//! coupon's walls, of one print, of one size of one kind, a difference of the diagonals. It is tested by F
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
mod words;

use std::ops::Range;

use crate::kind::{Axis, Kind};
use crate::stats::distribution::{f_above, outlying};

use super::Term;
use super::fitted::FittedPoint;
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

/// A doubt that can be tested.
struct Candidate<'a> {
    about: About<'a>,
    /// Where its column is in [`Candidates::entries`].
    column: Range<usize>,
    /// How it stands; `None` where the data cannot tell, or where it is told already.
    tested: Option<Tested>,
}

/// Doubts with their columns, one behind the other.
#[derive(Default)]
struct Candidates<'a> {
    all: Vec<Candidate<'a>>,
    /// The rows of each column that are not zero, with their values.
    entries: Vec<(usize, f64)>,
}

#[derive(Clone, Copy, PartialEq)]
enum About<'a> {
    Curve(Kind),
    OwnScale(Kind),
    Coupon(&'a str),
    Shift(u32),
    Group(Kind, f64),
    Diagonals,
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
        }
    }
}

const SORTS: usize = 6;

/// The F that a chance of [`LEVEL`] in so many looks begins at is found to more digits than this leaves out.
const NEARLY: f64 = 0.999;

/// What speaks against a fit of these terms to these rows, the strongest first.
///
/// `is_curve_tested`: bends of kinds were looked for elsewhere and are left out.
pub fn criticise(rows: &[Row<'_>], terms: &[Term], is_curve_tested: bool) -> Vec<Criticism> {
    if rows.len() > MOST_ROWS {
        return Vec::new();
    }
    let mut copies: Vec<u32> = rows.iter().map(|row| row.copy).collect();
    copies.sort_unstable();
    copies.dedup();
    match copies.len().checked_sub(MOST_PRINTS) {
        None | Some(0) => criticise_prints(rows, &copies, terms, is_curve_tested),
        Some(left_out) => {
            let copies = &copies[left_out..];
            let rows: Vec<Row<'_>> = rows.iter().filter(|row| copies.contains(&row.copy)).copied().collect();
            criticise_prints(&rows, copies, terms, is_curve_tested)
        }
    }
}

/// The same of rows of these prints, which are sorted.
fn criticise_prints(
    rows: &[Row<'_>],
    copies: &[u32],
    terms: &[Term],
    is_curve_tested: bool,
) -> Vec<Criticism> {
    let order = in_order_of_sizes(rows);
    let mut basis = model(rows, terms, copies);
    let mut candidates = Candidates::of(rows, &order, copies, is_curve_tested);
    candidates.test(&basis, rows);
    let mut counts = [0_u32; SORTS];
    for candidate in candidates.all.iter().filter(|candidate| candidate.tested.is_some()) {
        counts[candidate.about.sort()] += 1;
    }
    let pure = pure_error(rows, &order, copies);
    let sorts = counts.iter().filter(|count| **count > 0).count() + usize::from(pure.is_some());
    let mut found = Vec::new();
    while found.len() < MOST_DOUBTS {
        let Some((at, tested, p_value)) = candidates.strongest(&counts, sorts) else { break };
        let column = candidates.column(at);
        let about = candidates.all[at].about;
        found.push(Criticism {
            doubt: doubt(&basis, about, column, tested.coefficient, rows, terms),
            p_value,
        });
        basis = basis.with(column);
        candidates.all.remove(at);
        candidates.test(&basis, rows);
    }
    if let Some((squares, dof)) = pure {
        let more = (basis.dof() - dof, (basis.squares() - squares).max(0.0));
        let f = more.1 / more.0 / (squares / dof).max(FINEST_MM * FINEST_MM);
        // Whatever its degrees of freedom, F is above 1 three times in ten.
        if more.0 >= 1.0 && f > 1.0 {
            let p_value = f_above(f, more.0, dof) * sorts as f64;
            if p_value < LEVEL {
                found.push(Criticism { doubt: Doubt::LackOfFit { f, dofs: (more.0, dof) }, p_value });
            }
        }
    }
    found
}

/// The numbers of the rows by kind, size, coupon and direction.
fn in_order_of_sizes(rows: &[Row<'_>]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_unstable_by(|a, b| {
        let (one, other) = (&rows[*a], &rows[*b]);
        let by_size = one.kind.cmp(&other.kind).then(one.nominal_mm.total_cmp(&other.nominal_mm));
        by_size.then_with(|| one.coupon.cmp(other.coupon)).then(one.axis.cmp(&other.axis)).then(a.cmp(b))
    });
    order
}

/// The span of the model's columns with every term free, and of what each print but the first may do.
fn model(rows: &[Row<'_>], terms: &[Term], copies: &[u32]) -> Basis {
    let free = terms.iter().filter(|term| **term != Term::Skew);
    let width = free.clone().count() + prints_width(copies);
    let mut matrix = Vec::with_capacity(width * rows.len());
    for row in rows {
        matrix.extend(free.clone().map(|term| term.value(row.kind, row.axis, row.nominal_mm)));
        push_prints(row, copies, &mut matrix);
    }
    let deviations = rows.iter().map(|row| row.deviation_mm).collect();
    Basis::new(matrix, width, deviations, FINEST_MM * FINEST_MM)
}

/// Swell, scale and height.
const PARTS: usize = 3;

/// How many columns say what prints may do.
fn prints_width(copies: &[u32]) -> usize {
    PARTS * copies.len().saturating_sub(1)
}

/// A row's values of swell, scale and height of every print but the first.
fn push_prints(row: &Row<'_>, copies: &[u32], matrix: &mut Vec<f64>) {
    let start = matrix.len();
    matrix.resize(start + prints_width(copies), 0.0);
    if let Ok(print) = copies.binary_search(&row.copy)
        && print > 0
    {
        let is_height = row.kind == Kind::Height;
        let parts = [row.kind.swell_sign(), row.nominal_mm * f64::from(!is_height), f64::from(is_height)];
        matrix[start + PARTS * (print - 1)..][..PARTS].copy_from_slice(&parts);
    }
}

impl<'a> Candidates<'a> {
    /// Of these rows, which `order` has by kind and size.
    fn of(rows: &[Row<'a>], order: &[usize], copies: &[u32], is_curve_tested: bool) -> Self {
        let mut all = Self::default();
        for of_kind in order.chunk_by(|a, b| rows[*a].kind == rows[*b].kind) {
            let kind = rows[of_kind[0]].kind;
            if kind != Kind::Height {
                all.add(About::OwnScale(kind), line(of_kind, rows));
            }
            if !is_curve_tested {
                let middle = line(of_kind, rows).map(|(_, size)| size).sum::<f64>() / of_kind.len() as f64;
                all.add(About::Curve(kind), line(of_kind, rows).map(|(at, x)| (at, (x - middle).powi(2))));
            }
        }
        all.add_coupons(rows);
        if copies.len() > 1 {
            for copy in copies {
                let of_copy = rows.iter().enumerate().filter(|(_, row)| row.copy == *copy);
                all.add(About::Shift(*copy), of_copy.map(|(at, _)| (at, 1.0)));
            }
        }
        let same = |a: &usize, b: &usize| {
            rows[*a].kind == rows[*b].kind && rows[*a].nominal_mm.to_bits() == rows[*b].nominal_mm.to_bits()
        };
        for group in order.chunk_by(same) {
            let Row { kind, nominal_mm, .. } = rows[group[0]];
            all.add(About::Group(kind, nominal_mm), group.iter().map(|at| (*at, 1.0)));
        }
        let skew = rows.iter().map(|row| Term::Skew.value(row.kind, row.axis, row.nominal_mm));
        let skew = skew.enumerate().filter(|(_, value)| *value != 0.0);
        if skew.clone().next().is_some() {
            all.add(About::Diagonals, skew);
        }
        all
    }

    /// The walls of each coupon, where there are several.
    fn add_coupons(&mut self, rows: &[Row<'a>]) {
        let has_walls = |row: &Row<'_>| !row.coupon.is_empty() && row.kind.swell_sign() != 0.0;
        let mut walls: Vec<usize> = (0..rows.len()).filter(|at| has_walls(&rows[*at])).collect();
        walls.sort_by_key(|at| rows[*at].coupon);
        let are_several = walls.last().is_some_and(|last| rows[*last].coupon != rows[walls[0]].coupon);
        for coupon in walls.chunk_by(|a, b| rows[*a].coupon == rows[*b].coupon).filter(|_| are_several) {
            let swell = coupon.iter().map(|at| (*at, rows[*at].kind.swell_sign() / 2.0));
            self.add(About::Coupon(rows[coupon[0]].coupon), swell);
        }
    }

    fn add(&mut self, about: About<'a>, column: impl Iterator<Item = (usize, f64)>) {
        let start = self.entries.len();
        self.entries.extend(column);
        self.all.push(Candidate { about, column: start..self.entries.len(), tested: None });
    }

    fn column(&self, at: usize) -> &[(usize, f64)] {
        &self.entries[self.all[at].column.clone()]
    }

    /// Tests all; a bend beside the kind's own straight line.
    fn test(&mut self, basis: &Basis, rows: &[Row<'_>]) {
        let mut shadow = Vec::new();
        for candidate in &mut self.all {
            let column = &self.entries[candidate.column.clone()];
            candidate.tested = match candidate.about {
                About::Curve(_) => basis.test_beside(column, &line_beside(column, rows)),
                _ => basis.test(column, &mut shadow),
            };
        }
    }

    /// The doubt that is least likely by chance, where it is too unlikely: which, how it stands, and the
    /// chance of one as strong among all.
    fn strongest(&self, counts: &[u32; SORTS], sorts: usize) -> Option<(usize, Tested, f64)> {
        let mut strongest: Option<(usize, Tested, f64)> = None;
        for (at, candidate) in self.all.iter().enumerate() {
            let Some(tested) = candidate.tested else { continue };
            let looks = f64::from(counts[candidate.about.sort()]) * sorts as f64;
            // F of 1 degree of freedom is t squared, and bounds of t are known: nearly all doubts end here.
            if tested.f < NEARLY * outlying(LEVEL, looks, tested.dof).powi(2) {
                continue;
            }
            let p_value = (tested.p_value() * looks).min(1.0);
            if p_value < strongest.map_or(LEVEL, |(.., p_value)| p_value) {
                strongest = Some((at, tested, p_value));
            }
        }
        strongest
    }
}

/// The sizes of rows with these numbers.
fn line<'b>(numbers: &'b [usize], rows: &'b [Row<'_>]) -> impl Iterator<Item = (usize, f64)> + Clone + 'b {
    numbers.iter().map(|at| (*at, rows[*at].nominal_mm))
}

/// The straight line of the rows that a column has.
fn line_beside(column: &[(usize, f64)], rows: &[Row<'_>]) -> Vec<(usize, f64)> {
    column.iter().map(|(at, _)| (*at, rows[*at].nominal_mm)).collect()
}

/// The doubt with its size.
fn doubt(
    basis: &Basis,
    about: About<'_>,
    column: &[(usize, f64)],
    coefficient: f64,
    rows: &[Row<'_>],
    terms: &[Term],
) -> Doubt {
    match about {
        About::Curve(kind) => {
            let with_line = basis.with(&line_beside(column, rows));
            let moves = with_line.moves(column, coefficient);
            let bend = column.iter().map(|(at, value)| (coefficient * value + moves[*at]).abs());
            Doubt::Curve { kind, most_mm: bend.fold(0.0, f64::max) }
        }
        About::OwnScale(kind) => Doubt::OwnScale { kind, more: coefficient },
        About::Coupon(coupon) => Doubt::Coupon { coupon: coupon.to_owned(), walls_mm: coefficient },
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
        About::Diagonals => {
            Doubt::Diagonals { skew_rad: coefficient, is_in_model: terms.contains(&Term::Skew) }
        }
    }
}

/// Squares and degrees of freedom of how the same features differ between prints, what each print does as a
/// whole taken out; `None` where prints do not repeat features enough.
fn pure_error(rows: &[Row<'_>], order: &[usize], copies: &[u32]) -> Option<(f64, f64)> {
    if copies.len() < 2 {
        return None;
    }
    // What prints may do, and the deviation behind it.
    let width = prints_width(copies) + 1;
    let mut values = Vec::with_capacity(width * rows.len());
    for at in order {
        push_prints(&rows[*at], copies, &mut values);
        values.push(rows[*at].deviation_mm);
    }
    let same = |a: &usize, b: &usize| {
        let (a, b) = (&rows[*a], &rows[*b]);
        let size = |row: &Row<'_>| (row.kind, row.nominal_mm.to_bits(), row.axis);
        size(a) == size(b) && a.coupon == b.coupon
    };
    let (mut cells, mut rest) = (0, &mut values[..]);
    for cell in order.chunk_by(same) {
        let members;
        (members, rest) = rest.split_at_mut(width * cell.len());
        cells += 1;
        for column in 0..width {
            let own = || (column..members.len()).step_by(width);
            let mean = own().map(|at| members[at]).sum::<f64>() / cell.len() as f64;
            own().for_each(|at| members[at] -= mean);
        }
    }
    let deviations = values.chunks_exact(width).map(|row| row[width - 1]).collect();
    let matrix = values.chunks_exact(width).flat_map(|row| &row[..width - 1]).copied().collect();
    let basis = Basis::new(matrix, width - 1, deviations, 0.0);
    let dof = basis.dof() - f64::from(cells);
    (dof >= 4.0).then(|| (basis.squares(), dof))
}

#[cfg(test)]
mod tests;
