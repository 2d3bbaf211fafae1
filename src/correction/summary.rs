//! A correction in the words of the bench: offset, scale and small-bore term of each kind, and by how
//! much its sizes come out wrong at the middle of the measured range.

use crate::kind::{Axis, Kind};
use crate::stats::distribution::t_quantile;

use super::{Correction, Term};

/// What the coefficients say of one kind: `printed = offset + scale * drawn (+ small_bore / drawn)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KindSummary {
    /// The kind.
    pub kind: Kind,
    /// Constant part, mm.
    pub offset_mm: f64,
    /// Its standard error, mm.
    pub offset_se_mm: f64,
    /// Printed over drawn, about 1.
    pub scale: f64,
    /// Its standard error; `None` when the model gives this kind no scale.
    pub scale_se: Option<f64>,
    /// Small-bore term, mm^2; `None` when the kind has none.
    pub small_bore_mm2: Option<f64>,
    /// Its standard error, mm^2.
    pub small_bore_se_mm2: Option<f64>,
    /// A size in the middle of the measured range, mm.
    pub at_mm: f64,
    /// Mean deviation there, mm; positive: comes out larger than drawn.
    pub deviation_mm: f64,
    /// Half the width of its 95 % interval, mm: of the mean over prints like those measured.
    pub half_width_mm: f64,
}

/// The constant, proportional and inverse part of a term for one kind.
fn parts(term: Term, kind: Kind, axis: Axis) -> [f64; 3] {
    // Slopes at two sizes tell the inverse part from the proportional one.
    let inverse = (term.slope(kind, axis, 2.0) - term.slope(kind, axis, 1.0)) / 0.75;
    let proportional = term.slope(kind, axis, 1.0) + inverse;
    [term.value(kind, axis, 1.0) - proportional - inverse, proportional, inverse]
}

/// The direction that a summary of a kind is about.
pub fn usual_axis(kind: Kind) -> Axis {
    match kind {
        Kind::Bore | Kind::HorizontalBore | Kind::Pin => Axis::Round,
        Kind::Gap | Kind::Outer | Kind::Span => Axis::X,
        Kind::Height => Axis::Z,
    }
}

impl Correction {
    /// What the coefficients say of one kind; `None` when it was not measured.
    pub fn summary(&self, kind: Kind) -> Option<KindSummary> {
        let coverage = self.kinds.get(&kind)?;
        let axis = usual_axis(kind);
        let parts: Vec<[f64; 3]> = self.terms.iter().map(|term| parts(*term, kind, axis)).collect();
        let mut row = Vec::with_capacity(parts.len());
        // The value of a mixture of coefficients and its standard error; `None` of a mixture of none.
        let mut told = |shares: &mut dyn Iterator<Item = f64>| {
            row.clear();
            row.extend(shares);
            let is_told = row.iter().any(|share| *share != 0.0);
            is_told.then(|| (self.mixture(&row), self.variance_of(&row).sqrt()))
        };
        let mut part = |which: usize| told(&mut parts.iter().map(|parts| parts[which]));
        let (constant, proportional, inverse) = (part(0), part(1), part(2));
        let at_mm = middle(coverage.min_mm, coverage.max_mm);
        let there = told(&mut self.terms.iter().map(|term| term.value(kind, axis, at_mm)));
        let (offset_mm, offset_se_mm) = constant.unwrap_or_default();
        let (deviation_mm, deviation_se_mm) = there.unwrap_or_default();
        Some(KindSummary {
            kind,
            offset_mm,
            offset_se_mm,
            scale: 1.0 + proportional.map_or(0.0, |(scale, _)| scale),
            scale_se: proportional.map(|(_, se)| se),
            small_bore_mm2: inverse.map(|(term, _)| term),
            small_bore_se_mm2: inverse.map(|(_, se)| se),
            at_mm,
            deviation_mm,
            half_width_mm: t_quantile(0.975, self.dof) * deviation_se_mm,
        })
    }

    /// What to say when a drawn size lies outside the sizes that were measured; `None` inside.
    pub fn extrapolation(&self, kind: Kind, drawn_mm: f64, beyond_mm: f64) -> Option<String> {
        let coverage = self.kinds.get(&kind).filter(|_| beyond_mm > 0.0)?;
        Some(format!(
            "{drawn_mm:.2} mm lies {:.2} mm outside the sizes of {} that were measured, {} to {} mm: the correction is stretched beyond what it knows",
            beyond_mm,
            kind.plural(),
            coverage.min_mm,
            coverage.max_mm
        ))
    }

    fn mixture(&self, row: &[f64]) -> f64 {
        self.coefficients.iter().zip(row).map(|(b, share)| b * share).sum()
    }
}

/// A whole millimetre near the middle of a range, where there is one in it.
fn middle(min_mm: f64, max_mm: f64) -> f64 {
    let middle = 0.5 * (min_mm + max_mm);
    let whole = middle.round();
    if whole >= min_mm && whole <= max_mm && whole > 0.0 { whole } else { middle }
}

impl KindSummary {
    /// `bores come out 0.18 mm small at 8 mm, ± 0.02`.
    pub fn sentence(&self) -> String {
        let (size, half) = (self.deviation_mm.abs(), self.half_width_mm);
        let digits = digits(half);
        let plural = self.kind.plural();
        let at = self.at_mm;
        if size < half {
            return format!(
                "{plural} come out as drawn at {at} mm, within what was measured ({:+.digits$} ± {half:.digits$} mm)",
                self.deviation_mm
            );
        }
        format!("{plural} come out {size:.digits$} mm {} at {at} mm, ± {half:.digits$}", self.side())
    }

    /// Which way it errs, in the words for this kind.
    fn side(&self) -> &'static str {
        match (self.kind, self.deviation_mm < 0.0) {
            (Kind::Span, true) => "short",
            (Kind::Span, false) => "long",
            (Kind::Height, true) => "low",
            (Kind::Height, false) => "high",
            (_, true) => "small",
            (_, false) => "large",
        }
    }
}

/// Decimals that an uncertainty leaves worth printing: two, three where it is below 5 µm.
pub fn digits(half_width_mm: f64) -> usize {
    if half_width_mm < 0.005 { 3 } else { 2 }
}
