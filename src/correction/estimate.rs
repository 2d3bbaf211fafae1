//! The least-squares fit of one form to the used observations, and how each of them stands to it.

use crate::kind::{Axis, Kind};
use crate::stats::least_squares::{Rows, Solution};

use super::fit::FitError;
use super::form::{Choice, choose};
use super::moments::Moments;
use super::observations::{Cell, Cells, Observation};
use super::{Form, Term};

/// What is left of 1 after the leverage of a point that the fit goes through whatever it is.
const NOT_TOLD: f64 = 1e-9;

/// A fitted form.
#[derive(Clone, Debug)]
pub(super) struct Estimate {
    pub choice: Choice,
    pub kinds: Vec<Moments>,
    pub terms: Vec<Term>,
    pub cells: Cells,
    pub solution: Solution,
    /// Fitted deviation and leverage of an observation of each cell.
    at_cells: Vec<(f64, f64)>,
    /// Residual sd below which nothing is called an outlier, mm.
    least_sd_mm: f64,
}

/// How an observation stands to the fit of all the others.
#[derive(Clone, Copy, Debug)]
pub(super) struct Standing {
    pub fitted_mm: f64,
    pub residual_mm: f64,
    pub leverage: f64,
    /// Externally studentised residual; `None` where the others cannot tell.
    pub studentised: Option<f64>,
}

impl Estimate {
    /// Fits the form that is asked for, or the one that the data prefer.
    pub fn new(
        observations: &[Observation],
        forced: Option<Form>,
        least_sd_mm: f64,
    ) -> Result<Self, FitError> {
        let cells = Cells::gather(observations);
        let kinds: Vec<Moments> = cells.by_kind().filter_map(Moments::of).collect();
        if kinds.is_empty() {
            return Err(FitError::NothingMeasured);
        }
        let choice = choose(&kinds, forced)?;
        let terms = choice.form.terms(&kinds);
        // The first terms are the kinds' offsets.
        let (offsets, others) = terms.split_at(kinds.len());
        let mut rows = Rows::with_constants(offsets.len(), others.len());
        rows.reserve(cells.all.len());
        for (kind, cells) in cells.by_kind().enumerate() {
            for cell in cells {
                let row = values(others, cell.kind, cell.nominal_mm);
                rows.push_repeated(kind, row, cell.mean_mm, cell.count, cell.squares_mm2);
            }
        }
        let form = choice.form;
        let solution = rows.solve().map_err(|reason| FitError::NoSolution { form, reason })?;
        let mut row = Vec::with_capacity(terms.len());
        let mut at_cell = |cell: &Cell| {
            row.clear();
            row.extend(values(&terms, cell.kind, cell.nominal_mm));
            (solution.at(&row), solution.leverage(&row))
        };
        let at_cells = cells.all.iter().map(&mut at_cell).collect();
        Ok(Self { choice, kinds, terms, cells, solution, at_cells, least_sd_mm })
    }

    /// Residual standard deviation, mm.
    pub fn residual_sd_mm(&self) -> f64 {
        self.solution.variance().unwrap_or(0.0).sqrt()
    }

    /// Degrees of freedom of a studentised residual: one less than the fit has.
    pub fn outlier_dof(&self) -> f64 {
        self.solution.dof() as f64 - 1.0
    }

    /// Residual and squared residual over what its leverage leaves, of an observation that is used.
    ///
    /// The second decides the studentised residual of all points alike, without a root or a division.
    #[inline]
    pub fn quick(&self, at: usize, seen: &Observation) -> Option<(f64, f64)> {
        let (fitted_mm, leverage) = self.at_cells[self.cells.of(at)?];
        let residual_mm = seen.deviation_mm() - fitted_mm;
        let rest = 1.0 - leverage;
        Some((residual_mm, if rest > NOT_TOLD { residual_mm * residual_mm / rest } else { 0.0 }))
    }

    /// The value of [`Self::quick`] from which a studentised residual is beyond `bound`.
    pub fn quick_bound(&self, bound: f64) -> f64 {
        let squared = bound * bound;
        if squared.is_infinite() {
            return f64::INFINITY;
        }
        let by_others = squared * self.solution.residual_squares / (self.outlier_dof() + squared);
        by_others.max(squared * self.least_sd_mm * self.least_sd_mm)
    }

    /// How observation number `at` stands to the fit; `None` when its kind is not in the fit.
    pub fn standing(&self, at: usize, seen: &Observation) -> Option<Standing> {
        match self.cells.of(at) {
            Some(cell) => {
                let (fitted_mm, leverage) = self.at_cells[cell];
                let residual_mm = seen.deviation_mm() - fitted_mm;
                let rest = 1.0 - leverage;
                // The fit goes through it whatever it is: nothing else tells its value.
                let told = rest > NOT_TOLD && self.solution.dof() > 1;
                let studentised = told.then(|| {
                    let others = self.solution.residual_squares - residual_mm * residual_mm / rest;
                    let sd = (others.max(0.0) / self.outlier_dof()).sqrt().max(self.least_sd_mm);
                    residual_mm / (sd * rest.sqrt())
                });
                Some(Standing { fitted_mm, residual_mm, leverage, studentised })
            }
            None if self.kinds.iter().any(|of| of.kind == seen.kind) => {
                let row: Vec<f64> = values(&self.terms, seen.kind, seen.nominal_mm).collect();
                let (fitted_mm, leverage) = (self.solution.at(&row), self.solution.leverage(&row));
                let residual_mm = seen.deviation_mm() - fitted_mm;
                let sd = self.residual_sd_mm().max(self.least_sd_mm);
                let studentised = Some(residual_mm / (sd * (1.0 + leverage).sqrt()));
                Some(Standing { fitted_mm, residual_mm, leverage, studentised })
            }
            None => None,
        }
    }
}

/// The row of a feature in the fit.
fn values(terms: &[Term], kind: Kind, nominal_mm: f64) -> impl Iterator<Item = f64> {
    terms.iter().map(move |term| term.value(kind, Axis::Round, nominal_mm))
}
