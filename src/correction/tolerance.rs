//! Tolerance intervals: "95 % of prints, with 95 % confidence".
//!
//! A prediction holds the next print with 95 %, averaged over what the fit may have got wrong. Who makes
//! many parts of one drawing has one fit for all of them: when it is off, it is off for each. A tolerance
//! interval is so wide that, with the confidence, it holds the share of all prints to come.
//!
//! The population is the true size of this feature over new prints: how prints differ and how features of
//! one print do. What is known of its mean is the coefficients' covariance and the caliper's own error;
//! the former grows with the spread that it was estimated from, the latter does not. What is known of its
//! spread is, by least squares, so many degrees of freedom (Welch-Satterthwaite) and, by the structured
//! model, the spread of its logarithm over what the fit thinks possible. A spread that was allowed for and
//! not measured counts as known.

use serde::Serialize;

use crate::kind::{Axis, Kind};
use crate::stats::dof;
use crate::stats::tolerance::{Known, SpreadKnown, Wanted};

use super::Correction;
use super::apply::{CannotApply, relative_variance};

/// The limits that hold a share of new prints with a confidence.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ToleranceInterval {
    /// The share of prints.
    pub share: f64,
    /// The confidence.
    pub confidence: f64,
    /// Lower limit of the interval that holds the share, mm.
    pub low_mm: f64,
    /// Its upper limit, mm.
    pub high_mm: f64,
    /// The share of prints is above this, as a limit by itself, mm.
    pub above_mm: f64,
    /// The share of prints is below this, as a limit by itself, mm.
    pub below_mm: f64,
}

impl ToleranceInterval {
    /// `95 % of prints lie between 8.01 and 8.19, with 95 % confidence (95 % above 8.02, 95 % below 8.18)`
    pub fn to_text(&self) -> String {
        let share = in_percent(self.share);
        format!(
            "{share} of prints lie between {:.2} and {:.2} mm, with {} confidence (as limits by themselves, {share} lie above {:.2}, and {share} below {:.2})",
            self.low_mm,
            self.high_mm,
            in_percent(self.confidence),
            self.above_mm,
            self.below_mm
        )
    }
}

/// `95 %`, with the digits that it was asked for with.
fn in_percent(share: f64) -> String {
    format!("{} %", (share * 1e8).round() / 1e6)
}

impl Correction {
    /// The limits that hold a share of new prints of a feature drawn `drawn_mm`; `None` where nothing tells
    /// how prints spread.
    ///
    /// # Errors
    /// As [`Correction::predict`].
    pub fn tolerance(
        &self,
        kind: Kind,
        axis: Axis,
        drawn_mm: f64,
        demand: Wanted,
    ) -> Result<Option<ToleranceInterval>, CannotApply> {
        let middle = self.predict(kind, axis, drawn_mm)?.expected_mm;
        let known = self.population(kind, axis, drawn_mm);
        let (half, beyond) = (known.half_width(demand), known.one_sided(demand));
        Ok((half.is_finite() && beyond.is_finite()).then_some(ToleranceInterval {
            share: demand.share,
            confidence: demand.confidence,
            low_mm: middle - half,
            high_mm: middle + half,
            above_mm: middle - beyond,
            below_mm: middle + beyond,
        }))
    }

    /// What is known of the sizes of this feature over new prints, about their expected mean.
    fn population(&self, kind: Kind, axis: Axis, drawn_mm: f64) -> Known {
        let feature = self.spread.feature.sd_mm.powi(2);
        let coefficients = self.coefficient_variance_mm2(kind, axis, drawn_mm);
        let mean_variance = self.spread.caliper_u_mm.powi(2);
        let Some(effects) = &self.print_effects else {
            let print = self.spread.print.sd_mm.powi(2);
            let variance = print + feature;
            let print_dof = self.spread.print.dof.unwrap_or(f64::INFINITY);
            let feature_dof = self.spread.feature.dof.unwrap_or(self.dof);
            let spread =
                SpreadKnown::Estimated { dof: dof::effective([(print, print_dof), (feature, feature_dof)]) };
            let mean = coefficients + print / f64::from(self.prints.max(1));
            return Known { sd: variance.sqrt(), spread, mean_share: share(mean, variance), mean_variance };
        };
        // A prediction lets two parts share the lesser of their doubts. Here all parts are taken to be wrong
        // together, the most that doubts can come to: a confidence is lost where all are, and with the lesser
        // it was 92 to 94 % for printers seen in one print.
        let own = (feature, relative_variance(self.spread.feature.dof.unwrap_or(f64::INFINITY)));
        let [a, b, c] =
            effects.variances_mm2(kind, drawn_mm).map(|(part, dof)| (part, relative_variance(dof)));
        let all = [a, b, c, own];
        let variance: f64 = all.iter().map(|(part, _)| part).sum();
        let doubts = all.iter().map(|(part, doubt)| part * doubt.sqrt()).sum::<f64>().powi(2);
        let ln_variance = if variance > 0.0 { (doubts / (variance * variance)).ln_1p() } else { 0.0 };
        let spread = SpreadKnown::LogNormal { ln_variance };
        Known { sd: variance.sqrt(), spread, mean_share: share(coefficients, variance), mean_variance }
    }
}

/// One variance over another; where there is none, the first counts for nothing either.
fn share(of: f64, variance: f64) -> f64 {
    if variance > 0.0 { of / variance } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::SpreadEstimate;
    use crate::correction::apply::tests::known;

    const NINETY_FIVE: Wanted = Wanted { share: 0.95, confidence: 0.95 };

    /// Sizes that differ only from print to print, and a mean of n prints: the classic factor.
    ///
    /// Source: NIST/SEMATECH e-Handbook 7.2.6.3, n = 43, 90 % with 99 %: 2.217 by Howe's approximation.
    #[test]
    fn least_squares_of_one_population_has_the_classic_factor() {
        let mut correction = known();
        correction.prints = 43;
        correction.spread.print = SpreadEstimate { sd_mm: 0.02, dof: Some(42.0) };
        correction.spread.feature.sd_mm = 0.0;
        correction.spread.caliper_u_mm = 0.0;
        let demand = Wanted { share: 0.90, confidence: 0.99 };
        let limits = correction.tolerance(Kind::Pin, Axis::Round, 8.0, demand).unwrap().unwrap();
        let factor = (limits.high_mm - limits.low_mm) / 2.0 / 0.02;
        assert!((factor / 2.217 - 1.0).abs() < 0.003, "{factor}");
    }

    #[test]
    fn it_is_wider_than_the_prediction_and_says_what_it_holds() {
        let correction = known();
        let limits = correction.tolerance(Kind::Pin, Axis::Round, 8.0, NINETY_FIVE).unwrap().unwrap();
        let (low, high) = correction.predict(Kind::Pin, Axis::Round, 8.0).unwrap().interval(0.95);
        assert!(limits.low_mm < low && limits.high_mm > high);
        assert!(limits.above_mm > limits.low_mm && limits.below_mm < limits.high_mm);
        let text = limits.to_text();
        assert!(text.starts_with("95 % of prints lie between ") && text.contains("with 95 % confidence"));
        let wider = Wanted { share: 0.99, confidence: 0.95 };
        let wider = correction.tolerance(Kind::Pin, Axis::Round, 8.0, wider).unwrap().unwrap();
        assert!(wider.low_mm < limits.low_mm);
    }

    #[test]
    fn without_any_knowledge_of_the_spread_there_are_no_limits() {
        let mut correction = known();
        correction.spread.print.dof = Some(0.0);
        assert_eq!(correction.tolerance(Kind::Pin, Axis::Round, 8.0, NINETY_FIVE), Ok(None));
    }
}
