//! Differences of means with their intervals: paired, and of two groups whose spreads may differ; and
//! whether a mean lies within limits.
//!
//! That no difference was found does not say that there is none. Whether a mean lies within limits is asked
//! the other way round, by two one-sided tests: it does when both that it lies below the lower limit and that
//! it lies above the upper one are refused. At 2.5 % each that is the same as the whole 95 % interval
//! within the limits.
//!
//! Source: B. L. Welch, Biometrika 34 (1947) 28; D. J. Schuirmann, Journal of Pharmacokinetics and
//! Biopharmaceutics 15 (1987) 657 (two one-sided tests).

use super::anova::Group;
use super::distribution::{t_below, t_quantile};

/// An estimate, its standard error, and how well that is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard error.
    pub se: f64,
    /// Degrees of freedom of the standard error.
    pub dof: f64,
}

impl Estimate {
    /// Half the width of the interval that holds the truth in a share `level` of cases.
    pub fn half_width(&self, level: f64) -> f64 {
        t_quantile(0.5 + 0.5 * level, self.dof) * self.se
    }

    /// That interval.
    pub fn interval(&self, level: f64) -> (f64, f64) {
        let half = self.half_width(level);
        (self.value - half, self.value + half)
    }

    /// Estimate over standard error.
    pub fn t(&self) -> f64 {
        self.value / self.se
    }

    /// The chance of an estimate as far from zero or farther, where the truth is zero.
    pub fn p_value(&self) -> f64 {
        2.0 * t_below(-self.t().abs(), self.dof)
    }

    /// The larger of the chances of such an estimate where the truth is at either limit: below 0.025 when
    /// the whole 95 % interval lies within them.
    pub fn p_outside(&self, low: f64, high: f64) -> f64 {
        let at_low = t_below(-(self.value - low) / self.se, self.dof);
        let at_high = t_below(-(high - self.value) / self.se, self.dof);
        at_low.max(at_high)
    }
}

/// The mean of values; `None` of fewer than two.
pub fn mean(values: &[f64]) -> Option<Estimate> {
    let group = Group::of(values)?;
    Some(Estimate { value: group.mean, se: group.variance_of_mean()?.sqrt(), dof: group.dof() })
}

/// The mean of `after` less `before`, pair by pair; `None` of fewer than two pairs.
pub fn paired(before: &[f64], after: &[f64]) -> Option<Estimate> {
    mean(&before.iter().zip(after).map(|(before, after)| after - before).collect::<Vec<_>>())
}

/// The difference of two independent estimates, `second - first`, each with its own spread.
pub fn between(first: Estimate, second: Estimate) -> Estimate {
    let (one, other) = (first.se * first.se, second.se * second.se);
    Estimate {
        value: second.value - first.value,
        se: (one + other).sqrt(),
        dof: super::dof::effective([(one, first.dof), (other, second.dof)]),
    }
}

/// The mean of `second` less that of `first`, each with its own spread; `None` with fewer than two values.
pub fn two_sample(first: &[f64], second: &[f64]) -> Option<Estimate> {
    Some(between(mean(first)?, mean(second)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::anova::tests::groups;

    fn sleep() -> Vec<Vec<f64>> {
        groups(include_str!("../../data/published/sleep.csv"))
    }

    /// Source: Student, Biometrika 6 (1908) 1: mean difference 1.58, t = 4.0621 on 9.
    #[test]
    fn the_sleep_data_paired_are_students() {
        let drugs = sleep();
        let answer = paired(&drugs[0], &drugs[1]).unwrap();
        assert!((answer.value - 1.58).abs() < 1e-12 && answer.dof == 9.0);
        assert!((answer.t() - 4.0621).abs() < 5e-5, "{}", answer.t());
        assert!((answer.p_value() - 0.002833).abs() < 5e-7, "{}", answer.p_value());
        let (low, high) = answer.interval(0.95);
        assert!((low - 0.7001142).abs() < 1e-6 && (high - 2.4598858).abs() < 1e-6, "{low} {high}");
    }

    /// Source: R's documentation of t.test on the same data unpaired: t = -1.8608, 17.776 degrees of freedom,
    /// p = 0.07939, interval -3.3654832 to 0.2054832.
    #[test]
    fn the_sleep_data_unpaired_are_welchs() {
        let drugs = sleep();
        let answer = two_sample(&drugs[1], &drugs[0]).unwrap();
        assert!((answer.t() + 1.8608).abs() < 5e-5 && (answer.dof - 17.776).abs() < 5e-4);
        assert!((answer.p_value() - 0.07939).abs() < 5e-6);
        let (low, high) = answer.interval(0.95);
        assert!((low + 3.3654832).abs() < 1e-6 && (high - 0.2054832).abs() < 1e-6);
        // Negative control: with spreads pooled there are 18 degrees of freedom.
        assert!((answer.dof - 18.0).abs() > 0.1);
    }

    #[test]
    fn a_mean_lies_within_limits_exactly_when_its_whole_interval_does() {
        let estimate = Estimate { value: 0.03, se: 0.02, dof: 6.0 };
        let (low, high) = estimate.interval(0.95);
        assert!(estimate.p_outside(low - 1e-9, high + 1e-9) < 0.025);
        assert!(estimate.p_outside(low + 1e-6, 1.0) > 0.025);
        assert!(estimate.p_outside(-1.0, high - 1e-6) > 0.025);
        // A mean outside the limits does not lie within them, however sure it is.
        assert!(Estimate { value: 0.3, se: 1e-4, dof: 50.0 }.p_outside(-0.1, 0.1) > 0.999);
    }

    #[test]
    fn one_value_has_no_interval() {
        assert_eq!(mean(&[1.0]), None);
        assert_eq!(paired(&[], &[]), None);
    }
}
