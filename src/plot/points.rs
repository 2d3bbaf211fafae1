//! What the figures have in common: the points of a fit, those set aside, and those worth a second look.

use std::collections::BTreeMap;

use super::PlotError;
use crate::correction::fitted::{Fit, FittedPoint};
use crate::kind::{Axis, Kind};
use crate::problem::counted;
use crate::stats::distribution::outlying;

/// A point that the fit used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Used {
    /// What is measured.
    pub kind: Kind,
    /// Which print.
    pub copy: u32,
    /// Line of its first reading.
    pub line: u64,
    /// Drawn size, mm.
    pub drawn: f64,
    /// Measured less drawn, mm.
    pub deviation: f64,
    /// Measured less fitted, mm.
    pub residual: f64,
    /// Externally studentised residual.
    pub studentised: Option<f64>,
}

/// A point or a reading that the fit did not use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aside {
    /// What is measured.
    pub kind: Kind,
    /// Its line.
    pub line: u64,
    /// Drawn size, mm.
    pub drawn: f64,
    /// Measured less drawn, mm.
    pub deviation: f64,
    /// Measured less fitted, mm.
    pub residual: f64,
}

/// The points that the fit used, in file order; refuses a fit without any, and numbers that are none.
pub fn used(fit: &Fit) -> Result<Vec<Used>, PlotError> {
    let points: Vec<Used> = fit.points.iter().filter(|point| !point.set_aside).map(of).collect();
    if points.is_empty() {
        return Err(PlotError::NoPoints);
    }
    let is_number = |point: &Used| {
        let all = [point.drawn, point.deviation, point.residual];
        all.iter().all(|value| value.is_finite())
    };
    match points.iter().find(|point| !is_number(point)) {
        Some(point) => Err(PlotError::NotFinite { line: point.line }),
        None => Ok(points),
    }
}

fn of(point: &FittedPoint) -> Used {
    Used {
        kind: point.kind,
        copy: point.copy,
        line: point.line,
        drawn: point.nominal_mm,
        deviation: point.deviation_mm,
        residual: point.residual_mm,
        studentised: point.studentised.filter(|value| value.is_finite()),
    }
}

/// What was set aside and can be placed: whole points, and readings whose line is a point's own.
///
/// A reading of a point that was used otherwise is placed by what was read. In long form a repeat
/// stands on a line of its own, which no point names; such a reading is in the report's list only.
pub fn set_aside(fit: &Fit) -> Vec<Aside> {
    let by_line: BTreeMap<u64, &FittedPoint> = fit.points.iter().map(|point| (point.line, point)).collect();
    let whole = fit.points.iter().filter(|point| point.set_aside).map(|point| (point, point.measured_mm));
    let single = fit.correction.set_aside.iter().filter_map(|aside| {
        let point = by_line.get(&aside.line).filter(|point| !point.set_aside)?;
        Some((*point, aside.reading_mm))
    });
    let mut asides: Vec<Aside> = whole
        .chain(single)
        .map(|(point, measured)| Aside {
            kind: point.kind,
            line: point.line,
            drawn: point.nominal_mm,
            deviation: measured - point.nominal_mm,
            residual: measured - point.nominal_mm - point.fitted_mm,
        })
        .filter(|aside| [aside.drawn, aside.deviation, aside.residual].iter().all(|v| v.is_finite()))
        .collect();
    asides.sort_by_key(|aside| aside.line);
    asides
}

/// The studentised residual beyond which a point is marked as unusual.
///
/// With `count` points the largest of them exceeds it in one fit of twenty if all is well: two-sided
/// 5 % shared out over the points (Bonferroni), Student t on one degree of freedom less than the fit's.
pub fn unusual_beyond(count: usize, dof: f64) -> f64 {
    outlying(0.05, count as f64, dof - 1.0)
}

/// The directions in which a kind was measured, in the order of tables.
pub fn axes_of(fit: &Fit, kind: Kind) -> Vec<Axis> {
    let measured = |axis: &Axis| fit.points.iter().any(|point| point.kind == kind && point.axis == *axis);
    Axis::ALL.into_iter().filter(measured).collect()
}

/// `PETG · 84 feature means from 3 prints · measured 2026-11-25`.
pub fn subtitle(fit: &Fit) -> String {
    let correction = &fit.correction;
    let used = fit.points.iter().filter(|point| !point.set_aside).count();
    let (features, prints) =
        (counted(used as u64, "feature mean"), counted(u64::from(correction.prints), "print"));
    let date = correction.date.as_deref().map(|date| format!(" · measured {date}")).unwrap_or_default();
    format!("{} · {features} from {prints}{date}", correction.setup)
}
