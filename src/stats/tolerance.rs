//! Tolerance limits: an interval that holds at least a share of a normal population, with confidence.
//!
//! The population is normal about a mean that is known to a variance, with a spread that is known to some
//! degrees of freedom. An interval `centre +- half` holds the share where the centre lies no further from
//! the mean than the width allows; the confidence is the chance of that over what mean and spread may be,
//!
//! ```text
//! P = integral over s of f(s) * P(|centre - mean| <= reach(half, s))
//! ```
//!
//! computed as it stands. With n readings of one population that is the classic two-sided factor: the
//! variance of the mean is `s^2 / n`, the spread has n - 1 degrees of freedom; one-sided it is the one by
//! the noncentral t.
//!
//! Source: Wald and Wolfowitz, Annals of Mathematical Statistics 17 (1946) 208; factors:
//! NIST/SEMATECH e-Handbook 7.2.6.3.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Points of the integral over the spread; ten times as many change the fifth digit of a factor.
const POINTS: u32 = 80;
/// The integral ends where the density has fallen by this, as a logarithm.
const NEGLIGIBLE_LN: f64 = 30.0;
/// Below so many degrees of freedom nothing is known of a spread.
const LEAST_DOF: f64 = 0.1;
/// A factor is found when its confidence is this near, about a millionth of the factor,
const NEAR: f64 = 1e-7;
/// or when where it may lie was halved so often.
const HALVINGS: u32 = 22;

/// What is known of a normal population.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// Its standard deviation, estimated.
    pub sd: f64,
    /// How well that is known.
    pub spread: SpreadKnown,
    /// The mean's variance over that of the population: 1/n for n readings. It grows with the spread.
    pub mean_share: f64,
    /// What else the mean's variance has, whatever the spread.
    pub mean_variance: f64,
}

/// How well a spread is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SpreadKnown {
    /// An estimate with so many degrees of freedom; infinite: known.
    Estimated {
        /// Degrees of freedom.
        dof: f64,
    },
    /// The mean of a log-normal variance.
    LogNormal {
        /// Variance of the variance's logarithm.
        ln_variance: f64,
    },
}

/// What a tolerance interval must hold, both strictly between 0 and 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Share of the population.
    pub share: f64,
    /// Confidence.
    pub confidence: f64,
}

impl Known {
    /// Half-width of the interval about the estimated mean that holds the share with the confidence.
    pub fn half_width(&self, wanted: Wanted) -> f64 {
        let z = Normal::standard().inverse_cdf(0.5 + wanted.share / 2.0);
        self.solve(wanted.confidence, |half, spread| {
            // Where the spread is wider than this, no centre will do; near it the reach goes by a root.
            let widest = half / z;
            spread.mean_up_to(widest, |sd| {
                let Some(reach) = reach(half / sd, wanted.share, z) else { return 0.0 };
                let mean_sd = self.mean_sd(sd);
                if mean_sd > 0.0 { 2.0 * Normal::standard().cdf(reach * sd / mean_sd) - 1.0 } else { 1.0 }
            })
        })
    }

    /// How far beyond the estimated mean a one-sided limit lies: the share is below it (or, mirrored, above)
    /// with the confidence.
    pub fn one_sided(&self, wanted: Wanted) -> f64 {
        let z = Normal::standard().inverse_cdf(wanted.share);
        self.solve(wanted.confidence, |beyond, spread| {
            spread.mean_up_to(f64::INFINITY, |sd| {
                let (room, mean_sd) = (beyond - z * sd, self.mean_sd(sd));
                if mean_sd > 0.0 { Normal::standard().cdf(room / mean_sd) } else { f64::from(room >= 0.0) }
            })
        })
    }

    fn mean_sd(&self, sd: f64) -> f64 {
        (self.mean_share * sd * sd + self.mean_variance).sqrt()
    }

    /// The width at which the confidence is what is wanted.
    fn solve(&self, wanted: f64, confidence: impl Fn(f64, &Spread) -> f64) -> f64 {
        if matches!(self.spread, SpreadKnown::Estimated { dof } if dof.is_nan() || dof < LEAST_DOF) {
            return f64::INFINITY;
        }
        let spread = Spread::new(self.sd, self.spread);
        let unit = self.sd.hypot(self.mean_sd(self.sd));
        if unit == 0.0 {
            return 0.0;
        }
        let missing = |width: f64| confidence(width, &spread) - wanted;
        let (mut low, mut high) = ((0.0, -wanted), (unit, missing(unit)));
        while high.1 < 0.0 {
            low = high;
            high.0 *= 2.0;
            if !high.0.is_finite() {
                return f64::INFINITY;
            }
            high.1 = missing(high.0);
        }
        // Along the chord and in halves, by turns: a spread that is known makes a step.
        for turn in 0..2 * HALVINGS {
            let chord = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
            let at = if turn % 2 == 0 { chord } else { f64::midpoint(low.0, high.0) };
            let found = (at, missing(at));
            if found.1.abs() < NEAR {
                return at;
            }
            if found.1 < 0.0 { low = found } else { high = found }
        }
        high.0
    }
}

/// What the spread may be: the density of `w`, the logarithm of the true variance over the estimate.
struct Spread {
    sd: f64,
    known: SpreadKnown,
    low: f64,
    high: f64,
    total: f64,
}

impl Spread {
    fn new(sd: f64, known: SpreadKnown) -> Self {
        let (low, high) = match known {
            SpreadKnown::Estimated { dof } => {
                let reach = 2.0 * NEGLIGIBLE_LN / dof;
                let narrow = (2.0 * reach).sqrt();
                (-narrow, narrow + reach)
            }
            SpreadKnown::LogNormal { ln_variance } => {
                let reach = (2.0 * NEGLIGIBLE_LN * ln_variance).sqrt();
                (-ln_variance / 2.0 - reach, -ln_variance / 2.0 + reach)
            }
        };
        let mut spread = Self { sd, known, low, high, total: 1.0 };
        spread.total = spread.sum(high, |_| 1.0);
        spread
    }

    /// Whether it is as good as known.
    fn is_known(&self) -> bool {
        self.high - self.low < 1e-4
    }

    /// The density at `w`, up to a constant.
    fn density(&self, w: f64) -> f64 {
        match self.known {
            // The variance is dof s^2 / chi-square.
            SpreadKnown::Estimated { dof } => (-dof / 2.0 * (w + (-w).exp() - 1.0)).exp(),
            SpreadKnown::LogNormal { ln_variance } => {
                (-0.5 * (w + ln_variance / 2.0).powi(2) / ln_variance).exp()
            }
        }
    }

    /// The integral up to `top`, with points that grow dense towards it as a root does.
    fn sum(&self, top: f64, value: impl Fn(f64) -> f64) -> f64 {
        let width = top - self.low;
        let point = |i: u32| {
            let at = (f64::from(i) + 0.5) / f64::from(POINTS);
            let w = top - width * at * at;
            2.0 * at * width / f64::from(POINTS) * self.density(w) * value(self.sd * (w / 2.0).exp())
        };
        (0..POINTS).map(point).sum()
    }

    /// The mean of `value` over all spreads, where it is zero above `widest`.
    fn mean_up_to(&self, widest: f64, value: impl Fn(f64) -> f64) -> f64 {
        if self.is_known() {
            return value(self.sd);
        }
        let top = (2.0 * (widest / self.sd).ln()).min(self.high);
        if top <= self.low { 0.0 } else { self.sum(top, value) / self.total }
    }
}

/// How far, in standard deviations, an interval of half-width `half` may be off the mean and still hold the
/// share; `None` where it is too narrow even on it. `z` is the half-width that just holds it.
fn reach(half: f64, share: f64, z: f64) -> Option<f64> {
    if half < z {
        return None;
    }
    let normal = Normal::standard();
    // Off the mean by more than half - z_one, one tail alone is too much; Newton from there, where the
    // share held is already a little too small.
    let mut off = half - normal.inverse_cdf(share);
    for _ in 0..20 {
        let held = normal.cdf(half - off) - normal.cdf(-half - off) - share;
        let slope = normal.pdf(half + off) - normal.pdf(half - off);
        if slope == 0.0 {
            break;
        }
        let next = (off - held / slope).max(0.0);
        let still = (next - off).abs() < 1e-12;
        off = next;
        if still {
            break;
        }
    }
    Some(off)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(n: f64, share: f64, confidence: f64) -> (f64, f64) {
        let known = Known {
            sd: 1.0,
            spread: SpreadKnown::Estimated { dof: n - 1.0 },
            mean_share: 1.0 / n,
            mean_variance: 0.0,
        };
        let demand = Wanted { share, confidence };
        (known.half_width(demand), known.one_sided(demand))
    }

    /// Source: NIST/SEMATECH e-Handbook 7.2.6.3, n = 43, 90 % with 99 %: two-sided 2.217 (Howe's
    /// approximation, a few tenths of a per cent short of the exact one), one-sided 1.8752 (Natrella's approximation, a tenth above the exact
    /// noncentral t, which gives 1.8740).
    #[test]
    fn factors_are_those_of_the_nist_handbook() {
        let (two, one) = of(43.0, 0.90, 0.99);
        assert!((0.0..0.003).contains(&(two / 2.217 - 1.0)), "{two}");
        assert!((one - 1.8740).abs() < 1e-4 && (one / 1.8752 - 1.0).abs() < 1e-3, "{one}");
        // Natrella: (z + sqrt(z^2 - a b)) / a.
        let (z, q): (f64, f64) = (1.281552, 2.326348);
        let (a, b) = (1.0 - q * q / 84.0, z * z - q * q / 43.0);
        assert!(((z + (z * z - a * b).sqrt()) / a - 1.8752).abs() < 5e-5);
        // The plausible slips: share and confidence exchanged, or no allowance for the estimates at all.
        let (two, one) = of(43.0, 0.99, 0.90);
        assert!((two - 2.217).abs() > 0.5 && (one - 1.8752).abs() > 0.5);
    }

    /// Howe's factor, `z sqrt(dof (1 + 1/n) / chi2)`, is within a few per cent from n = 10 up.
    /// Chi-square quantiles at 5 %: 3.32511 (9), 10.11701 (19), from any table.
    #[test]
    fn two_sided_factors_are_near_howe_s() {
        for (n, chi2) in [(10.0_f64, 3.32511), (20.0, 10.11701)] {
            let howe = 1.95996 * ((n - 1.0) * (1.0 + 1.0 / n) / chi2).sqrt();
            let (two, _) = of(n, 0.95, 0.95);
            assert!((two / howe - 1.0).abs() < 0.008, "{two} and {howe}");
        }
        // The exact two-sided factor of n = 10, from memory of the published tables: 3.393 (Howe's: 3.379).
        let (two, _) = of(10.0, 0.95, 0.95);
        assert!((two - 3.393).abs() < 0.002, "{two}");
    }

    #[test]
    fn what_is_known_needs_no_factor_beyond_the_normal_s() {
        let known = Known {
            sd: 2.0,
            spread: SpreadKnown::Estimated { dof: f64::INFINITY },
            mean_share: 0.0,
            mean_variance: 0.0,
        };
        let demand = Wanted { share: 0.95, confidence: 0.95 };
        assert!((known.half_width(demand) - 2.0 * 1.959964).abs() < 1e-5);
        assert!((known.one_sided(demand) - 2.0 * 1.644854).abs() < 1e-5);
    }

    /// A log-normal spread that is narrow is nearly the estimate with dof = 2 / variance of the logarithm.
    #[test]
    fn the_two_ways_to_know_a_spread_agree_where_it_is_well_known() {
        let of = |spread| Known { sd: 1.0, spread, mean_share: 0.05, mean_variance: 0.01 };
        let demand = Wanted { share: 0.9, confidence: 0.9 };
        let one = of(SpreadKnown::Estimated { dof: 400.0 }).half_width(demand);
        let other = of(SpreadKnown::LogNormal { ln_variance: 2.0 / 400.0 }).half_width(demand);
        assert!((one / other - 1.0).abs() < 0.01, "{one} {other}");
    }
}
