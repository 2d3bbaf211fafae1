//! From a correction to sizes: what a drawn size will print as, and what to draw for a target.
//!
//! A prediction is for the true size of a feature on a new print. Its variance is the sum of
//!
//! - the covariance of the coefficients at that size,
//! - print to print, P^2 (1 + 1/m): the new print's own shift, and the mean shift of the m prints that
//!   the offsets were measured on,
//! - feature to feature, F^2,
//! - the caliper's own, C^2, which no averaging removes;
//!
//! and its interval is a t interval with effective degrees of freedom.
//!
//! Source of the effective degrees of freedom: Welch-Satterthwaite, JCGM 100:2008, G.4.1.

use crate::kind::{Axis, Kind};
use crate::stats::distribution::{t_below, t_quantile};
use crate::stats::dof;
use crate::units::Mm;

use super::{Correction, Coverage, PrintEffects};

/// What a drawn size will print as.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prediction {
    /// The expected size of a new print, mm.
    pub expected_mm: f64,
    /// Standard uncertainty of one new print's size about it, mm.
    pub sd_mm: f64,
    /// Effective degrees of freedom of that uncertainty.
    pub dof: f64,
    /// How far the drawn size lies outside the measured range, mm; 0 inside.
    pub beyond_mm: f64,
}

impl Prediction {
    /// The two-sided interval that holds a new print's size with probability `level`, mm.
    pub fn interval(&self, level: f64) -> (f64, f64) {
        let half = t_quantile(0.5 + level / 2.0, self.dof) * self.sd_mm;
        (self.expected_mm - half, self.expected_mm + half)
    }

    /// The chance that a new print's size lies within these limits, mm.
    pub fn chance_within(&self, lower_mm: f64, upper_mm: f64) -> f64 {
        let below = |limit: f64| t_below((limit - self.expected_mm) / self.sd_mm, self.dof);
        (below(upper_mm) - below(lower_mm)).max(0.0)
    }
}

/// A size to draw and what comes of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// The printed size that is wanted.
    pub target: Mm,
    /// The size to draw, rounded.
    pub draw: Mm,
    /// What the rounded size will print as.
    pub prediction: Prediction,
}

/// Why a correction cannot answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotApply {
    /// No feature of this kind was measured.
    #[error("the correction of `{setup}` has no {}: none was measured", kind.plural())]
    KindNotMeasured {
        /// The setup.
        setup: String,
        /// The kind that is missing.
        kind: Kind,
    },
    /// The drawn size would not be positive: smaller than what the printer adds by itself.
    #[error("no {kind} prints at {target}: the size to draw would not be above zero")]
    NothingToDraw {
        /// The kind.
        kind: Kind,
        /// The target.
        target: Mm,
    },
    /// The small-bore term is so strong that no drawn size prints this small.
    #[error("no bore prints as small as {target}: below {smallest} they close up")]
    ClosesUp {
        /// The target.
        target: Mm,
        /// The smallest drawn size that still prints open and grows when drawn larger.
        smallest: Mm,
    },
}

impl CannotApply {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::KindNotMeasured { kind, .. } => {
                Some(format!("print and measure a coupon that has {}, and fit again", kind.plural()))
            }
            Self::NothingToDraw { .. } | Self::ClosesUp { .. } => None,
        }
    }
}

impl Correction {
    /// How a feature drawn `drawn_mm` departs from its drawn size on average, mm; positive: larger.
    pub fn deviation_mm(&self, kind: Kind, axis: Axis, drawn_mm: f64) -> f64 {
        self.terms.iter().zip(&self.coefficients).map(|(term, b)| b * term.value(kind, axis, drawn_mm)).sum()
    }

    /// How fast the printed size grows with the drawn one; about 1.
    fn growth(&self, kind: Kind, axis: Axis, drawn_mm: f64) -> f64 {
        let slopes = self.terms.iter().zip(&self.coefficients);
        1.0 + slopes.map(|(term, b)| b * term.slope(kind, axis, drawn_mm)).sum::<f64>()
    }

    /// Variance that the coefficients' uncertainty gives the deviation at this size, mm^2.
    pub fn coefficient_variance_mm2(&self, kind: Kind, axis: Axis, drawn_mm: f64) -> f64 {
        let row: Vec<f64> = self.terms.iter().map(|term| term.value(kind, axis, drawn_mm)).collect();
        self.variance_of(&row)
    }

    /// Variance of a mixture of the coefficients; rounding may leave that of a well-known one below zero.
    pub(super) fn variance_of(&self, row: &[f64]) -> f64 {
        // Most terms are of one kind, and zero for another.
        let lines = self.covariance.iter().zip(row).filter(|(_, a)| **a != 0.0);
        let variance: f64 =
            lines.map(|(line, a)| a * line.iter().zip(row).map(|(c, b)| c * b).sum::<f64>()).sum();
        variance.max(0.0)
    }

    fn coverage(&self, kind: Kind) -> Result<&Coverage, CannotApply> {
        self.kinds.get(&kind).ok_or_else(|| CannotApply::KindNotMeasured { setup: self.setup.clone(), kind })
    }

    /// What a feature drawn `drawn_mm` will measure on a new print.
    pub fn predict(&self, kind: Kind, axis: Axis, drawn_mm: f64) -> Result<Prediction, CannotApply> {
        let coverage = self.coverage(kind)?;
        let beyond_mm = (coverage.min_mm - drawn_mm).max(drawn_mm - coverage.max_mm).max(0.0);
        let expected_mm = drawn_mm + self.deviation_mm(kind, axis, drawn_mm);
        let prints = f64::from(self.prints.max(1));
        if let Some(effects) = &self.print_effects {
            let (sd_mm, dof) = self.structured_spread(effects, kind, axis, drawn_mm);
            return Ok(Prediction { expected_mm, sd_mm, dof, beyond_mm });
        }
        let fitted = self.coefficient_variance_mm2(kind, axis, drawn_mm) + self.spread.feature.sd_mm.powi(2);
        let print = self.spread.print.sd_mm.powi(2) * (1.0 + 1.0 / prints);
        let caliper = self.spread.caliper_u_mm.powi(2);
        // An allowance and the caliper are stated and not estimated: they add no doubt of their own.
        let stated = f64::INFINITY;
        let parts = [(fitted, self.dof), (print, self.spread.print.dof.unwrap_or(stated)), (caliper, stated)];
        Ok(Prediction {
            expected_mm,
            sd_mm: (fitted + print + caliper).sqrt(),
            dof: dof::effective(parts),
            beyond_mm,
        })
    }

    /// Spread and degrees of freedom of a new print's size under the structured model, mm.
    ///
    /// Each part's variance is an average over what the fit thinks possible, and doubtful: its degrees of
    /// freedom tell the spread of its logarithm. The parts' doubts go together, since how prints differ
    /// is judged by how features do: two parts share the lesser of their doubts. The t distribution is
    /// the one whose variance's logarithm has the mean and spread of the sum's. The covariance of the
    /// coefficients already holds what the m measured prints' own effects leave in their mean, about
    /// 1/m of each part; that share is as doubtful as the part and goes with it.
    fn structured_spread(&self, effects: &PrintEffects, kind: Kind, axis: Axis, drawn_mm: f64) -> (f64, f64) {
        let prints = f64::from(self.prints.max(1));
        let coefficients = self.coefficient_variance_mm2(kind, axis, drawn_mm);
        let parts = effects.variances_mm2(kind, drawn_mm);
        let print: f64 = parts.iter().map(|(variance, _)| variance).sum();
        let shared = (print / prints).min(coefficients);
        let share = if print > 0.0 { 1.0 + shared / print } else { 1.0 };
        let rest = coefficients - shared + self.spread.feature.sd_mm.powi(2);
        let variance = print * share + rest + self.spread.caliper_u_mm.powi(2);
        let own_dof = self.spread.feature.dof.unwrap_or(f64::INFINITY);
        let [a, b, c] = parts.map(|(part, dof)| (part * share, relative_variance(dof)));
        let all = [a, b, c, (rest, relative_variance(own_dof))];
        let doubts: f64 = all
            .iter()
            .flat_map(|(one, doubt)| all.iter().map(move |(other, least)| one * other * doubt.min(*least)))
            .sum();
        let log_variance = (doubts / (variance * variance)).ln_1p();
        let t_variance = variance * (-log_variance / 2.0).exp() / (1.0 + log_variance / 2.0);
        (t_variance.sqrt(), if log_variance > 0.0 { 1.0 + 2.0 / log_variance } else { f64::INFINITY })
    }

    /// The size to draw, rounded to `step`, so that the print measures `target` on average.
    ///
    /// Solves `drawn + deviation(drawn) = target`; of the two answers that the small-bore term can give,
    /// the one where a larger drawing prints larger.
    pub fn size_for(&self, kind: Kind, axis: Axis, target: Mm, step: Mm) -> Result<Size, CannotApply> {
        let exact = self.drawn_for(kind, axis, target)?;
        let draw = Mm::new(exact)
            .map(|drawn| drawn.rounded_to(step))
            .filter(|drawn| drawn.get() > 0.0)
            .ok_or(CannotApply::NothingToDraw { kind, target })?;
        Ok(Size { target, draw, prediction: self.predict(kind, axis, draw.get())? })
    }

    /// The unrounded size to draw, mm.
    pub(super) fn drawn_for(&self, kind: Kind, axis: Axis, target: Mm) -> Result<f64, CannotApply> {
        self.coverage(kind)?;
        // Every term is constant, proportional or inverse in the drawn size, so three probes give the
        // equation scale * x + offset + inverse / x = target exactly.
        let inverse = self.inverse_coefficient(kind, axis);
        let scale = self.growth(kind, axis, 1.0) + inverse;
        let offset = self.deviation_mm(kind, axis, 1.0) - (scale - 1.0) - inverse;
        let wanted = target.get() - offset;
        let discriminant = wanted * wanted - 4.0 * scale * inverse;
        if discriminant < 0.0 {
            let smallest = Mm::new((inverse / scale).sqrt()).unwrap_or(target);
            return Err(CannotApply::ClosesUp { target, smallest });
        }
        let drawn = (wanted + discriminant.sqrt()) / (2.0 * scale);
        if scale > 0.0 && drawn > 0.0 && wanted > 0.0 {
            Ok(drawn)
        } else {
            Err(CannotApply::NothingToDraw { kind, target })
        }
    }

    /// The coefficient of `1 / drawn` for this kind, mm^2.
    fn inverse_coefficient(&self, kind: Kind, axis: Axis) -> f64 {
        // The slope of every other term is the same at every size.
        (self.growth(kind, axis, 2.0) - self.growth(kind, axis, 1.0)) / (1.0 - 0.25)
    }
}

/// Squared coefficient of variation of a variance that is known with so many degrees of freedom, taken as
/// log-normal: its logarithm's variance, trigamma(dof / 2), is 2 / (dof - 1) to a per cent from 3 up.
pub(super) fn relative_variance(dof: f64) -> f64 {
    (2.0 / (dof - 1.0).max(0.2)).exp_m1()
}

/// The degrees of freedom that [`relative_variance`] comes from.
pub(super) fn dof_of_relative_variance(relative: f64) -> f64 {
    1.0 + 2.0 / relative.max(1e-9).ln_1p()
}

#[cfg(test)]
pub(super) mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::correction::{Coverage, Form, ScaleForm, Spread, SpreadEstimate, Term};

    /// A printer that closes bores by 0.2 mm and 0.3 mm^2 / x, and shrinks by 0.4 %.
    pub(in crate::correction) fn known() -> Correction {
        let coverage = Coverage { min_mm: 3.0, max_mm: 20.0, features: 6, readings: 18 };
        Correction {
            setup: "known".to_owned(),
            date: None,
            readings_file: String::new(),
            readings_sha256: String::new(),
            program_version: String::new(),
            form: Form { scale: ScaleForm::Own, small_bore: true },
            runners_up: Vec::new(),
            terms: vec![
                Term::Offset(Kind::Bore),
                Term::ScaleOf(Kind::Bore),
                Term::SmallBore,
                Term::Offset(Kind::Pin),
            ],
            coefficients: vec![-0.2, -0.004, -0.3, 0.12],
            covariance: vec![vec![0.0; 4]; 4],
            dof: 10.0,
            prints: 2,
            kinds: BTreeMap::from([(Kind::Bore, coverage), (Kind::Pin, coverage)]),
            spread: Spread {
                print: SpreadEstimate { sd_mm: 0.02, dof: Some(1.0) },
                feature: SpreadEstimate { sd_mm: 0.01, dof: Some(10.0) },
                repeat: None,
                caliper_u_mm: 0.003,
            },
            print_effects: None,
            set_aside: Vec::new(),
            warnings: Vec::new(),
        }
    }

    #[test]
    fn the_size_to_draw_prints_as_the_target() {
        let correction = known();
        for target in [2.5, 3.0, 5.0, 8.0, 22.0, 60.0] {
            let target = Mm::new(target).unwrap();
            let size = correction.size_for(Kind::Bore, Axis::Round, target, Mm::new(0.0).unwrap()).unwrap();
            assert!((size.prediction.expected_mm - target.get()).abs() < 1e-12, "{target}");
        }
    }

    /// 8 = 0.996 x - 0.2 - 0.3 / x has the root 8.26936...; the other one, 0.0364, closes up.
    #[test]
    fn a_bore_is_drawn_larger_and_rounded_to_a_hundredth() {
        let size =
            known().size_for(Kind::Bore, Axis::Round, Mm::new(8.0).unwrap(), Mm::new(0.01).unwrap()).unwrap();
        assert_eq!(size.draw.get(), 8.27);
        let exact = (8.2 + (8.2_f64 * 8.2 + 4.0 * 0.996 * 0.3).sqrt()) / (2.0 * 0.996);
        assert!((exact - 8.26936).abs() < 1e-5);
        assert!((size.prediction.expected_mm - (0.996 * 8.27 - 0.2 - 0.3 / 8.27)).abs() < 1e-12);
    }

    #[test]
    fn a_prediction_adds_the_spreads_in_squares() {
        let prediction = known().predict(Kind::Pin, Axis::Round, 8.0).unwrap();
        let variance: f64 = 0.01_f64.powi(2) + 0.02_f64.powi(2) * 1.5 + 0.003_f64.powi(2);
        assert!((prediction.sd_mm - variance.sqrt()).abs() < 1e-15);
        let print = 0.02_f64.powi(2) * 1.5;
        let doubts = 0.01_f64.powi(4) / 10.0 + print * print;
        assert!((prediction.dof - variance * variance / doubts).abs() < 1e-9);
        let (low, high) = prediction.interval(0.95);
        assert!((prediction.chance_within(low, high) - 0.95).abs() < 1e-6);
    }

    /// The same printer as the structured model has it.
    fn structured() -> Correction {
        let mut correction = known();
        correction.spread.feature = SpreadEstimate { sd_mm: 0.01, dof: Some(9.0) };
        correction.print_effects = Some(PrintEffects {
            swell_sd_mm: 0.01,
            swell_dof: 4.0,
            shrink_sd: 0.0002,
            shrink_dof: 3.0,
            height_sd_mm: 0.5,
            height_dof: 3.0,
        });
        correction
    }

    #[test]
    fn a_structured_prediction_adds_the_parts_that_its_kind_and_size_have() {
        let mut correction = structured();
        let prediction = correction.predict(Kind::Pin, Axis::Round, 50.0).unwrap();
        // Twice the swell outside, the scale over 50 mm, no part of the heights'.
        let variance = 0.02_f64.powi(2) + 0.01_f64.powi(2) + 0.01_f64.powi(2) + 0.003_f64.powi(2);
        // 95 % of a well-behaved mixture lies within about twice its root mean square.
        let (low, high) = prediction.interval(0.95);
        assert!(((high - low) / 2.0 / variance.sqrt() - 2.0).abs() < 0.06, "{prediction:?}");
        // What the two measured prints left in the mean counts in the covariance and not once more.
        correction.covariance[3][3] = 0.02_f64.powi(2) / 2.0;
        let wider = correction.predict(Kind::Pin, Axis::Round, 50.0).unwrap().interval(0.95);
        let expected = ((variance + 0.0002) / variance).sqrt();
        assert!(((wider.1 - wider.0) / (high - low) - expected).abs() < 0.02);
    }

    /// With nothing but the feature-to-feature spread left, and that known from a sample, the interval is
    /// Student's: its root mean square over what is possible is sqrt(dof / (dof - 2)) times the sample's.
    #[test]
    fn a_structured_interval_of_one_part_is_students() {
        for dof in [6.0_f64, 9.0, 20.0, 60.0] {
            let mut correction = structured();
            correction.print_effects = Some(PrintEffects {
                swell_sd_mm: 0.0,
                shrink_sd: 0.0,
                height_sd_mm: 0.0,
                ..correction.print_effects.unwrap()
            });
            correction.spread.caliper_u_mm = 0.0;
            let known_from_a_sample = dof_of_relative_variance(2.0 / (dof - 4.0));
            correction.spread.feature =
                SpreadEstimate { sd_mm: 0.01 * (dof / (dof - 2.0)).sqrt(), dof: Some(known_from_a_sample) };
            let (low, high) = correction.predict(Kind::Pin, Axis::Round, 8.0).unwrap().interval(0.95);
            let expected = 2.0 * 0.01 * t_quantile(0.975, dof);
            assert!(((high - low) / expected - 1.0).abs() < 0.03, "{dof}: {} {expected}", high - low);
        }
    }

    #[test]
    fn a_size_outside_the_measured_range_says_by_how_much() {
        assert_eq!(known().predict(Kind::Pin, Axis::Round, 25.0).unwrap().beyond_mm, 5.0);
        assert_eq!(known().predict(Kind::Pin, Axis::Round, 2.0).unwrap().beyond_mm, 1.0);
        assert_eq!(known().predict(Kind::Pin, Axis::Round, 20.0).unwrap().beyond_mm, 0.0);
    }

    #[test]
    fn a_kind_that_was_not_measured_is_refused_with_advice() {
        let error = known().predict(Kind::Gap, Axis::X, 3.0).unwrap_err();
        assert_eq!(error.to_string(), "the correction of `known` has no gaps: none was measured");
        assert_eq!(error.help().unwrap(), "print and measure a coupon that has gaps, and fit again");
    }

    #[test]
    fn a_pin_thinner_than_the_swell_is_refused() {
        let target = Mm::new(0.1).unwrap();
        let error = known().size_for(Kind::Pin, Axis::Round, target, Mm::new(0.01).unwrap()).unwrap_err();
        assert!(matches!(error, CannotApply::NothingToDraw { .. }));
    }

    #[test]
    fn a_bore_that_opens_instead_of_closing_is_refused_where_no_size_prints_so_small() {
        let mut correction = known();
        correction.coefficients[2] = 0.3;
        let target = Mm::new(0.5).unwrap();
        let error = correction.size_for(Kind::Bore, Axis::Round, target, Mm::new(0.01).unwrap()).unwrap_err();
        assert!(matches!(error, CannotApply::ClosesUp { .. }), "{error}");
    }
}
