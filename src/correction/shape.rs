//! Whether the fitted line bends the way the deviations do.
//!
//! A square of the drawn size is added to each kind's own line; when it takes away more than chance
//! would (F test, 1 % over all kinds tested), the line is reported as a poor fit.

use crate::kind::Kind;
use crate::stats::distribution::{f_above, outlying};

use super::estimate::Estimate;
use super::observations::Cell;
use super::{Form, ScaleForm};

/// Chance that a straight printer is called curved.
const LEVEL: f64 = 0.01;
/// The F that a chance begins at is found to more digits than this leaves out.
const NEARLY: f64 = 0.999;
/// A form whose AICc is lower by more than this fits better: Burnham and Anderson, Model Selection and
/// Multimodel Inference, 2.6 ("substantial support" ends at 2).
const BETTER_BY: f64 = 2.0;

/// What is wrong with the form, in plain words.
pub(super) fn poor_fits(estimate: &Estimate, forced: bool) -> Vec<String> {
    let form = estimate.choice.form;
    // A simpler form that is enough is no fault of the one that was asked for.
    let better = estimate.choice.others.first().filter(|other| {
        other.aicc_above_best < -BETTER_BY && other.form.term_count(&estimate.kinds) >= estimate.terms.len()
    });
    let mut better_said = false;
    let mut found = Vec::new();
    for (kind, p) in curved(estimate) {
        let line = match (form.small_bore, kind) {
            (true, Kind::Bore) => "the line with the small-bore term",
            _ => "the straight line",
        };
        let advice = match better.filter(|other| kind == Kind::Bore && other.form.small_bore) {
            Some(other) => {
                better_said = true;
                format!("; `{}` fits better (AICc {:.1} lower)", other.form, -other.aicc_above_best)
            }
            None => String::new(),
        };
        let plural = kind.plural();
        found.push(format!(
            "{line} fits the {plural} poorly: their deviations curve with size (p = {}){advice}",
            chance(p)
        ));
    }
    if let Some(other) = better.filter(|_| forced && !better_said) {
        found.push(format!(
            "the model `{form}` was asked for; `{}` fits better (AICc {:.1} lower)",
            other.form, -other.aicc_above_best
        ));
    }
    found
}

fn chance(p: f64) -> String {
    if p < 0.0001 { "less than 0.0001".to_owned() } else { format!("{p:.4}") }
}

/// The kinds whose deviations curve, with the chance of so much curve on a straight printer.
fn curved(estimate: &Estimate) -> Vec<(Kind, f64)> {
    let form = estimate.choice.form;
    if form.scale == ScaleForm::Offset {
        return Vec::new();
    }
    let mut work = Work::default();
    let tested: Vec<(Kind, Curve)> = estimate
        .cells
        .by_kind()
        .filter_map(|cells| Some((cells.first()?.kind, curve(cells, form, &mut work)?)))
        .collect();
    let count = tested.len() as f64;
    // F of 1 degree of freedom is t squared, and bounds of t are known: nearly all kinds end here.
    let may_be = |curve: &Curve| curve.f >= NEARLY * outlying(LEVEL, count, curve.dof).powi(2);
    let judged = tested.into_iter().filter(|(_, curve)| may_be(curve));
    judged.map(|(kind, of)| (kind, f_above(of.f, 1.0, of.dof))).filter(|(_, p)| *p < LEVEL / count).collect()
}

/// How much the deviations of a kind curve: F, with 1 and `dof` degrees of freedom.
struct Curve {
    f: f64,
    dof: f64,
}

/// Memory that is used again for every kind: columns of its cells, one behind the other.
#[derive(Default)]
struct Work {
    basis: Vec<f64>,
    y: Vec<f64>,
    square: Vec<f64>,
}

fn curve(cells: &[Cell], form: Form, work: &mut Work) -> Option<Curve> {
    let bores = form.small_bore && cells.first()?.kind == Kind::Bore;
    let columns: &[fn(f64) -> f64] = if bores { &[|_| 1.0, |x| x, |x| 1.0 / x] } else { &[|_| 1.0, |x| x] };
    let count: u64 = cells.iter().map(|cell| cell.count).sum();
    let dof = count as f64 - columns.len() as f64 - 1.0;
    if cells.len() <= columns.len() || dof < 2.0 {
        return None;
    }
    let mean = cells.iter().map(|cell| cell.count as f64 * cell.nominal_mm).sum::<f64>() / count as f64;
    let Work { basis, y, square } = work;
    let root = |cell: &Cell| (cell.count as f64).sqrt();
    y.clear();
    y.extend(cells.iter().map(|cell| root(cell) * cell.mean_mm));
    square.clear();
    square.extend(cells.iter().map(|cell| root(cell) * (cell.nominal_mm - mean).powi(2)));
    let whole = dot(square, square);
    basis.clear();
    for value in columns {
        let start = basis.len();
        basis.extend(cells.iter().map(|cell| root(cell) * value(cell.nominal_mm)));
        let (known, next) = basis.split_at_mut(start);
        known.chunks_exact(cells.len()).for_each(|known| take_away(next, known));
    }
    for known in basis.chunks_exact(cells.len()) {
        take_away(y, known);
        take_away(square, known);
    }
    let own = dot(square, square);
    if own < 1e-9 * whole {
        return None;
    }
    let gain = dot(y, square).powi(2) / own;
    let within: f64 = cells.iter().map(|cell| cell.squares_mm2).sum();
    let left = (dot(y, y) - gain).max(0.0) + within;
    // An exact fit has nothing to be compared with.
    (left > 0.0 && gain > 1e-8 * count as f64).then(|| Curve { f: gain * dof / left, dof })
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Takes the part along `known` out of `values`.
fn take_away(values: &mut [f64], known: &[f64]) {
    let share = dot(values, known) / dot(known, known);
    values.iter_mut().zip(known).for_each(|(value, known)| *value -= share * known);
}
