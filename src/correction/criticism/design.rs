//! What rows of one design can tell, whatever was read: the model's basis, every doubt that can be tested and
//! its column, and how prints are held against one another.
//!
//! A workshop prints the same coupons again and again, so each thread keeps the designs that it met last.
//! A design is made from nothing but what it is found by: who finds one gets what he would have made.

use std::cell::RefCell;
use std::ops::Range;
use std::rc::Rc;

use crate::coupon::places::{self, Places};
use crate::kind::{Axis, Kind};

use super::Row;
use super::basis::{Basis, Further};
use super::leverage::{self, Leverage};
use crate::correction::Term;

/// Designs that a thread keeps; of two that meet in one place the later stays.
const KEPT: usize = 64;
/// Larger ones are not kept, mindful of memory. A tenth of a megabyte each at the most.
const LARGEST_KEPT: usize = 150;

/// What may be doubted; a coupon by its first row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum About {
    Curve(Kind),
    OwnScale(Kind),
    Coupon(usize),
    Shift(u32),
    Group(Kind, f64),
    Diagonals,
    Slope(Slope),
}

/// The sorts of [`About`].
const SORTS: usize = 7;

impl About {
    /// The sort of doubt, to share the level by.
    pub fn sort(self) -> usize {
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

/// A slope across the plate of the pieces of a set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Slope {
    pub places: &'static Places,
    pub is_to_the_back: bool,
    pub is_of_walls: bool,
}

impl Slope {
    /// Where a coupon lies along the slope, mm.
    pub fn at(self, coupon: &str) -> f64 {
        self.places.middle_mm.get(coupon).map_or(0.0, |middle| middle[usize::from(self.is_to_the_back)])
    }

    /// A row's value in the slope's column. Heights do not grow with the flow of walls, nor with the directions of
    /// the bed.
    fn value(self, row: &Row<'_>, middle_mm: f64) -> f64 {
        let share = match (row.kind, self.is_of_walls) {
            (Kind::Height, _) => 0.0,
            (kind, true) => kind.swell_sign() / 2.0,
            (_, false) => 1.0,
        };
        share * (self.at(row.coupon) - middle_mm)
    }
}

/// A doubt with the place of its column, and of the column that it stands beside.
#[derive(Debug)]
pub(super) struct Candidate {
    pub about: About,
    column: Range<usize>,
    beside: Range<usize>,
}

/// What a design can tell.
#[derive(Debug)]
pub(super) struct Design {
    key: Key,
    /// The span of the model's columns with every term free, and of what each print but the first may do.
    pub basis: Basis,
    pub candidates: Vec<Candidate>,
    /// How each stands to the basis; `None` where the data cannot tell.
    pub standings: Vec<Option<Further>>,
    /// How many of each sort can be told.
    pub counts: [u32; SORTS],
    /// How many sorts can be told at all, with the lack of fit.
    pub sorts: usize,
    pub pure: Option<PureError>,
    /// The sizes that decide much by themselves.
    pub leverage: Vec<Leverage>,
    /// The rows of each column that are not zero, with their values.
    entries: Vec<(usize, f64)>,
}

/// All that a design is made from.
#[derive(Debug)]
struct Key {
    rows: Vec<(Box<str>, Kind, Axis, f64, u32)>,
    terms: Vec<Term>,
    is_curve_tested: bool,
}

impl Key {
    fn is_of(&self, rows: &[Row<'_>], terms: &[Term], is_curve_tested: bool) -> bool {
        let is_row =
            |((coupon, kind, axis, nominal_mm, copy), row): (&(Box<str>, Kind, Axis, f64, u32), &Row<'_>)| {
                (*kind, *axis, *copy) == (row.kind, row.axis, row.copy)
                    && nominal_mm.to_bits() == row.nominal_mm.to_bits()
                    && **coupon == *row.coupon
            };
        self.is_curve_tested == is_curve_tested
            && self.terms == terms
            && self.rows.len() == rows.len()
            && self.rows.iter().zip(rows).all(is_row)
    }
}

thread_local! {
    static DESIGNS: RefCell<[Option<Rc<Design>>; KEPT]> = const { RefCell::new([const { None }; KEPT]) };
}

impl Design {
    /// Of these rows, all of these prints, which are sorted.
    ///
    /// `is_curve_tested`: bends of kinds are left out.
    pub fn of(rows: &[Row<'_>], copies: &[u32], terms: &[Term], is_curve_tested: bool) -> Rc<Self> {
        if rows.len() > LARGEST_KEPT {
            return Rc::new(Self::new(rows, copies, terms, is_curve_tested));
        }
        DESIGNS.with_borrow_mut(|designs| {
            let place = &mut designs[place_of(rows, terms)];
            if let Some(known) = place
                && known.key.is_of(rows, terms, is_curve_tested)
            {
                return Rc::clone(known);
            }
            let design = Rc::new(Self::new(rows, copies, terms, is_curve_tested));
            *place = Some(Rc::clone(&design));
            design
        })
    }

    fn new(rows: &[Row<'_>], copies: &[u32], terms: &[Term], is_curve_tested: bool) -> Self {
        let order = in_order_of_sizes(rows);
        let row = |row: &Row<'_>| (row.coupon.into(), row.kind, row.axis, row.nominal_mm, row.copy);
        let key = Key { rows: rows.iter().map(row).collect(), terms: terms.to_vec(), is_curve_tested };
        let mut design = Self {
            key,
            basis: model(rows, terms, copies),
            candidates: Vec::new(),
            standings: Vec::new(),
            counts: [0; SORTS],
            sorts: 0,
            pure: PureError::of(rows, &order, copies),
            leverage: leverage::of_design(rows, copies, terms),
            entries: Vec::new(),
        };
        design.add_candidates(rows, &order, copies);
        design.standings = design.standings_to(&design.basis);
        for (candidate, _) in
            design.candidates.iter().zip(&design.standings).filter(|(_, told)| told.is_some())
        {
            design.counts[candidate.about.sort()] += 1;
        }
        design.sorts =
            design.counts.iter().filter(|count| **count > 0).count() + usize::from(design.pure.is_some());
        design
    }

    fn add_candidates(&mut self, rows: &[Row<'_>], order: &[usize], copies: &[u32]) {
        for of_kind in order.chunk_by(|a, b| rows[*a].kind == rows[*b].kind) {
            let kind = rows[of_kind[0]].kind;
            let line = || of_kind.iter().map(|at| (*at, rows[*at].nominal_mm));
            if kind != Kind::Height {
                self.add(About::OwnScale(kind), line());
            }
            if !self.key.is_curve_tested {
                let middle = line().map(|(_, size)| size).sum::<f64>() / of_kind.len() as f64;
                self.add(About::Curve(kind), line().map(|(at, size)| (at, (size - middle).powi(2))));
                // A bend is one beside the kind's own straight line.
                let start = self.entries.len();
                self.entries.extend(line());
                if let Some(curve) = self.candidates.last_mut() {
                    curve.beside = start..self.entries.len();
                }
            }
        }
        self.add_coupons(rows);
        if copies.len() > 1 {
            for copy in copies {
                let of_copy = rows.iter().enumerate().filter(|(_, row)| row.copy == *copy);
                self.add(About::Shift(*copy), of_copy.map(|(at, _)| (at, 1.0)));
            }
        }
        for group in order.chunk_by(|a, b| size(&rows[*a]) == size(&rows[*b])) {
            let Row { kind, nominal_mm, .. } = rows[group[0]];
            self.add(About::Group(kind, nominal_mm), group.iter().map(|at| (*at, 1.0)));
        }
        self.add_slopes(rows);
        let skew = rows.iter().map(|row| Term::Skew.value(row.kind, row.axis, row.nominal_mm));
        let skew = skew.enumerate().filter(|(_, value)| *value != 0.0);
        if skew.clone().next().is_some() {
            self.add(About::Diagonals, skew);
        }
    }

    /// The walls of each coupon, where there are several.
    fn add_coupons(&mut self, rows: &[Row<'_>]) {
        let has_walls = |row: &Row<'_>| !row.coupon.is_empty() && row.kind.swell_sign() != 0.0;
        let mut walls: Vec<usize> = (0..rows.len()).filter(|at| has_walls(&rows[*at])).collect();
        walls.sort_by_key(|at| rows[*at].coupon);
        let are_several = walls.last().is_some_and(|last| rows[*last].coupon != rows[walls[0]].coupon);
        for coupon in walls.chunk_by(|a, b| rows[*a].coupon == rows[*b].coupon).filter(|_| are_several) {
            let swell = coupon.iter().map(|at| (*at, rows[*at].kind.swell_sign() / 2.0));
            self.add(About::Coupon(coupon[0]), swell);
        }
    }

    /// Slopes along x and y of the plate, of all sizes and of walls alone, where pieces of a set were measured.
    fn add_slopes(&mut self, rows: &[Row<'_>]) {
        let measured: Vec<(&str, Kind, f64)> =
            rows.iter().map(|row| (row.coupon, row.kind, row.nominal_mm)).collect();
        let Some(places) = places::of_pieces(&measured) else { return };
        let mut coupons: Vec<&str> = rows.iter().map(|row| row.coupon).collect();
        coupons.sort_unstable();
        coupons.dedup();
        // Two coupons that differ are just that.
        if coupons.len() < 3 {
            return;
        }
        for (is_to_the_back, is_of_walls) in [(false, false), (true, false), (false, true), (true, true)] {
            let slope = Slope { places, is_to_the_back, is_of_walls };
            let middle = rows.iter().map(|row| slope.at(row.coupon)).sum::<f64>() / rows.len() as f64;
            let values = rows.iter().map(|row| slope.value(row, middle)).enumerate();
            self.add(About::Slope(slope), values.filter(|(_, value)| *value != 0.0));
        }
    }

    fn add(&mut self, about: About, column: impl Iterator<Item = (usize, f64)>) {
        let start = self.entries.len();
        self.entries.extend(column);
        self.candidates.push(Candidate { about, column: start..self.entries.len(), beside: 0..0 });
    }

    /// A candidate's column: its rows that are not zero, and their values.
    pub fn column(&self, candidate: &Candidate) -> &[(usize, f64)] {
        &self.entries[candidate.column.clone()]
    }

    /// The column that it stands beside, of the same rows; empty where it stands alone.
    pub fn beside(&self, candidate: &Candidate) -> &[(usize, f64)] {
        &self.entries[candidate.beside.clone()]
    }

    /// How all candidates stand to a basis.
    pub fn standings_to(&self, basis: &Basis) -> Vec<Option<Further>> {
        let standing = |candidate: &Candidate| match self.beside(candidate) {
            [] => basis.further(self.column(candidate)),
            beside => basis.further_beside(self.column(candidate), beside),
        };
        self.candidates.iter().map(standing).collect()
    }
}

/// Where a design is kept: scattered by what mostly differs.
fn place_of(rows: &[Row<'_>], terms: &[Term]) -> usize {
    let row = |hash: u64, row: &Row<'_>| {
        let word = row.nominal_mm.to_bits() ^ u64::from(row.copy) << 8 ^ row.kind as u64;
        // An odd number with well spread bits: 2^64 divided by the golden ratio.
        (hash.rotate_left(5) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15)
    };
    (rows.iter().fold(terms.len() as u64, row) >> (u64::BITS - KEPT.ilog2())) as usize
}

/// Kind and nominal size, to be compared.
fn size(row: &Row<'_>) -> (Kind, u64) {
    (row.kind, row.nominal_mm.to_bits())
}

/// The numbers of the rows by kind, size, coupon and direction.
fn in_order_of_sizes(rows: &[Row<'_>]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_by_key(|at| (size(&rows[*at]), rows[*at].coupon, rows[*at].axis));
    order
}

fn model(rows: &[Row<'_>], terms: &[Term], copies: &[u32]) -> Basis {
    let free = terms.iter().filter(|term| **term != Term::Skew);
    let width = free.clone().count() + prints_width(copies);
    let mut matrix = Vec::with_capacity(width * rows.len());
    for row in rows {
        matrix.extend(free.clone().map(|term| term.value(row.kind, row.axis, row.nominal_mm)));
        push_prints(row, copies, &mut matrix);
    }
    Basis::new(matrix, rows.len(), width)
}

/// Swell, scale and height.
const PARTS: usize = 3;

/// How many columns say what prints may do.
pub(super) fn prints_width(copies: &[u32]) -> usize {
    PARTS * copies.len().saturating_sub(1)
}

/// A row's values of swell, scale and height of every print but the first.
pub(super) fn push_prints(row: &Row<'_>, copies: &[u32], matrix: &mut Vec<f64>) {
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

/// How the same features differ between prints, what each print does as a whole taken out.
#[derive(Debug)]
pub(super) struct PureError {
    /// The rows, cell after cell: those of one feature on all prints.
    order: Vec<usize>,
    /// How many rows each cell has.
    cells: Vec<usize>,
    /// The span of what prints may do, within cells.
    basis: Basis,
    pub dof: f64,
}

impl PureError {
    /// `None` where prints do not repeat features enough.
    fn of(rows: &[Row<'_>], order: &[usize], copies: &[u32]) -> Option<Self> {
        if copies.len() < 2 {
            return None;
        }
        let same = |a: &usize, b: &usize| {
            let (a, b) = (&rows[*a], &rows[*b]);
            size(a) == size(b) && a.axis == b.axis && a.coupon == b.coupon
        };
        let cells: Vec<usize> = order.chunk_by(same).map(<[usize]>::len).collect();
        let width = prints_width(copies);
        let mut matrix = Vec::with_capacity(width * rows.len());
        order.iter().for_each(|at| push_prints(&rows[*at], copies, &mut matrix));
        take_means_out(&mut matrix, width, &cells);
        let basis = Basis::new(matrix, rows.len(), width);
        let dof = basis.dof() - cells.len() as f64;
        (dof >= 4.0).then(|| Self { order: order.to_vec(), cells, basis, dof })
    }

    /// The squares of what is left of the deviations.
    pub fn squares(&self, deviations: &[f64]) -> f64 {
        let mut within: Vec<f64> = self.order.iter().map(|at| deviations[*at]).collect();
        take_means_out(&mut within, 1, &self.cells);
        self.basis.left(&within, 0.0).squares
    }
}

/// Takes each cell's means out of its rows, `width` values a row.
fn take_means_out(matrix: &mut [f64], width: usize, cells: &[usize]) {
    let mut rest = matrix;
    for count in cells {
        let cell;
        (cell, rest) = rest.split_at_mut(width * count);
        for column in 0..width {
            let own = || (column..width * count).step_by(width);
            let mean = own().map(|at| cell[at]).sum::<f64>() / *count as f64;
            own().for_each(|at| cell[at] -= mean);
        }
    }
}
