//! Maximum likelihood where only an interval is known: dead or alive, fits or not, between two sizes.
//!
//! Every observation is the probability of an interval of the link's distribution, `F(u) - F(v)`, or its
//! density at one place, where u and v are linear in the parameters. With v = -infinity this is a go/no-go
//! trial, with both ends an ordered category or an interval-censored value, with a density a value that
//! was seen. A normal value y with mean x'c and standard deviation s is u = y/s - x'(c/s), so that `1/s` and
//! `c/s` are the parameters: in these the logarithm of the likelihood is concave for all three links, and
//! Newton's method with halved steps finds its only maximum.
//!
//! Source: J. W. Pratt, JASA 76 (1981) 103 (concavity for intervals); R. J. Olsen, Econometrica 46 (1978)
//! 1211 (for a mixture of values and limits).

use statrs::distribution::{ContinuousCDF, Normal};

use super::cholesky;

/// The distribution behind the trials.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Link {
    /// Normal: probit.
    Normal,
    /// Logistic: logit.
    Logistic,
    /// Smallest extreme value: complementary log-log; Weibull for the logarithm of a time.
    SmallestExtreme,
}

/// One linear predictor: what each parameter is multiplied with.
pub type Row = Vec<f64>;

/// What one observation says.
#[derive(Clone, Debug, PartialEq)]
pub enum Seen {
    /// The value lies between the two; an end that is `None` is open.
    Between {
        /// Predictor of the lower end.
        lower: Option<Row>,
        /// Predictor of the upper end.
        upper: Option<Row>,
    },
    /// The value itself; `slope` is the parameter that multiplies it, one over the scale.
    At {
        /// Predictor of the value.
        row: Row,
        /// Number of the parameter.
        slope: usize,
    },
}

/// An observation and how often it was made.
#[derive(Clone, Debug, PartialEq)]
pub struct Observation {
    /// What was seen.
    pub seen: Seen,
    /// How often; need not be whole.
    pub weight: f64,
}

/// A maximum of the likelihood.
#[derive(Clone, Debug, PartialEq)]
pub struct Maximum {
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Their covariance, by rows, from the curvature at the maximum.
    pub covariance: Vec<f64>,
    /// Logarithm of the likelihood.
    pub log_likelihood: f64,
    /// Steps until it stood still.
    pub steps: usize,
}

impl Maximum {
    /// Covariance of two parameters.
    pub fn covariance_of(&self, i: usize, j: usize) -> f64 {
        self.covariance[i * self.parameters.len() + j]
    }
}

/// Why there is no maximum.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoMaximum {
    /// The start has probability zero.
    #[error("the starting values make the observations impossible")]
    BadStart,
    /// Parameters that the observations do not tell apart, or that run off to infinity.
    #[error("the observations do not determine every parameter")]
    Undetermined,
}

impl Link {
    /// The probability below `z`.
    pub fn below(self, z: f64) -> f64 {
        match self {
            Self::Normal => Normal::standard().cdf(z),
            Self::Logistic => 1.0 / (1.0 + (-z).exp()),
            Self::SmallestExtreme => -(-z.exp()).exp_m1(),
        }
    }

    /// The probability above `z`.
    fn above(self, z: f64) -> f64 {
        match self {
            Self::Normal => Normal::standard().cdf(-z),
            Self::Logistic => 1.0 / (1.0 + z.exp()),
            Self::SmallestExtreme => (-z.exp()).exp(),
        }
    }

    /// The probability between the two, from the tail in which less is lost.
    fn between(self, lower: f64, upper: f64) -> f64 {
        if lower > 0.0 {
            self.above(lower) - self.above(upper)
        } else {
            self.below(upper) - self.below(lower)
        }
    }

    /// Logarithm of the density, its slope and its curvature.
    fn log_density(self, z: f64) -> (f64, f64, f64) {
        match self {
            Self::Normal => (-0.5 * z * z - 0.5 * std::f64::consts::TAU.ln(), -z, -1.0),
            Self::Logistic => {
                let p = self.below(z);
                (-z.abs() - 2.0 * (-z.abs()).exp().ln_1p(), 1.0 - 2.0 * p, -2.0 * p * (1.0 - p))
            }
            Self::SmallestExtreme => (z - z.exp(), 1.0 - z.exp(), -z.exp()),
        }
    }
}

/// Smallest probability of an observation that a step may lead to.
const IMPOSSIBLE: f64 = 1e-290;

/// Most steps; ten are common.
const MOST_STEPS: usize = 100;

/// Value, gradient and negative curvature.
struct Surface {
    value: f64,
    gradient: Vec<f64>,
    curvature: Vec<f64>,
}

impl Surface {
    /// Adds what one observation gives: its slope along one predictor and its curvature along two.
    fn add(&mut self, one: &[f64], other: &[f64], first: f64, second: f64) {
        for (i, a) in one.iter().enumerate() {
            self.gradient[i] += first * a;
            for (j, b) in other.iter().enumerate() {
                self.curvature[i * other.len() + j] -= second * a * b;
            }
        }
    }
}

fn dot(row: &[f64], parameters: &[f64]) -> f64 {
    row.iter().zip(parameters).map(|(a, b)| a * b).sum()
}

/// Logarithm of the likelihood at these parameters; minus infinity where an observation is impossible.
pub fn log_likelihood(link: Link, observations: &[Observation], parameters: &[f64]) -> f64 {
    let one = |observation: &Observation| {
        let log = match &observation.seen {
            Seen::Between { lower, upper } => {
                let lower = lower.as_ref().map_or(f64::NEG_INFINITY, |row| dot(row, parameters));
                let upper = upper.as_ref().map_or(f64::INFINITY, |row| dot(row, parameters));
                let p = link.between(lower, upper);
                if p > IMPOSSIBLE { p.ln() } else { f64::NEG_INFINITY }
            }
            Seen::At { row, slope } if parameters[*slope] > 0.0 => {
                parameters[*slope].ln() + link.log_density(dot(row, parameters)).0
            }
            Seen::At { .. } => f64::NEG_INFINITY,
        };
        observation.weight * log
    };
    let sum: f64 = observations.iter().map(one).sum();
    if sum.is_nan() { f64::NEG_INFINITY } else { sum }
}

fn surface(link: Link, observations: &[Observation], parameters: &[f64]) -> Surface {
    let size = parameters.len();
    let mut surface = Surface {
        value: log_likelihood(link, observations, parameters),
        gradient: vec![0.0; size],
        curvature: vec![0.0; size * size],
    };
    for Observation { seen, weight } in observations {
        match seen {
            Seen::Between { lower, upper } => {
                let at = |row: &Option<Row>, open: f64| row.as_ref().map_or(open, |row| dot(row, parameters));
                let (v, u) = (at(lower, f64::NEG_INFINITY), at(upper, f64::INFINITY));
                let p = link.between(v, u);
                let part = |z: f64| {
                    if z.is_infinite() {
                        return (0.0, 0.0);
                    }
                    let (log, slope, _) = link.log_density(z);
                    let density = log.exp() / p;
                    (density, density * slope)
                };
                let ((fu, su), (fv, sv)) = (part(u), part(v));
                if let Some(upper) = upper {
                    surface.add(upper, upper, weight * fu, weight * (su - fu * fu));
                }
                if let Some(lower) = lower {
                    surface.add(lower, lower, -weight * fv, weight * (-sv - fv * fv));
                }
                if let (Some(upper), Some(lower)) = (upper, lower) {
                    surface.add(upper, lower, 0.0, weight * fu * fv);
                    surface.add(lower, upper, 0.0, weight * fu * fv);
                }
            }
            Seen::At { row, slope } => {
                let (_, first, second) = link.log_density(dot(row, parameters));
                surface.add(row, row, weight * first, weight * second);
                let scale = parameters[*slope];
                surface.gradient[*slope] += weight / scale;
                surface.curvature[*slope * size + *slope] += weight / (scale * scale);
            }
        }
    }
    surface
}

/// The maximum of the likelihood from this start.
///
/// # Errors
/// A start at which an observation is impossible; parameters that the observations leave open.
pub fn maximise(link: Link, observations: &[Observation], start: &[f64]) -> Result<Maximum, NoMaximum> {
    let size = start.len();
    let mut parameters = start.to_vec();
    let mut here = surface(link, observations, &parameters);
    if !here.value.is_finite() {
        return Err(NoMaximum::BadStart);
    }
    for steps in 1..=MOST_STEPS {
        let mut factor = here.curvature.clone();
        cholesky::factor(&mut factor, size).ok_or(NoMaximum::Undetermined)?;
        let mut step = here.gradient.clone();
        cholesky::solve_lower(&factor, size, &mut step);
        cholesky::solve_upper(&factor, size, &mut step);
        // Twice what a quadratic would still gain.
        let decrement = dot(&step, &here.gradient);
        if decrement < 1e-16 * here.value.abs().max(1.0) {
            let covariance = cholesky::inverse(&factor, size);
            return Ok(Maximum { parameters, covariance, log_likelihood: here.value, steps });
        }
        let mut share = 1.0;
        let next = loop {
            let moved: Vec<f64> = parameters.iter().zip(&step).map(|(at, by)| at + share * by).collect();
            let value = log_likelihood(link, observations, &moved);
            // Rounding may hide the last gain.
            if value >= here.value + 1e-4 * share * decrement || (decrement < 1e-10 && value.is_finite()) {
                break moved;
            }
            share /= 2.0;
            if share < 1e-12 {
                return Err(NoMaximum::Undetermined);
            }
        };
        parameters = next;
        here = surface(link, observations, &parameters);
    }
    Err(NoMaximum::Undetermined)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(text: &str) -> Vec<Vec<f64>> {
        let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
        rows.map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect()
    }

    fn close(value: f64, expected: f64, relative: f64) {
        assert!((value - expected).abs() <= relative * expected.abs(), "{value} is not {expected}");
    }

    /// Killed and surviving beetles by dose: `P(killed) = F(b0 + b1 dose)`.
    fn beetles(link: Link) -> (Maximum, f64) {
        let rows = table(include_str!("../../data/published/beetle.csv"));
        let observations: Vec<Observation> = rows
            .iter()
            .flat_map(|row| {
                let predictor = vec![1.0, row[0]];
                let killed = Seen::Between { lower: None, upper: Some(predictor.clone()) };
                let alive = Seen::Between { lower: Some(predictor), upper: None };
                [
                    Observation { seen: killed, weight: row[2] },
                    Observation { seen: alive, weight: row[1] - row[2] },
                ]
            })
            .collect();
        let fit = maximise(link, &observations, &[0.0, 0.0]).unwrap();
        let part = |share: f64| if share > 0.0 { share * share.ln() } else { 0.0 };
        let saturated: f64 =
            rows.iter().map(|row| row[1] * (part(row[2] / row[1]) + part(1.0 - row[2] / row[1]))).sum();
        let deviance = 2.0 * (saturated - fit.log_likelihood);
        (fit, deviance)
    }

    /// Source: beetle mortality (Bliss 1935); estimates as printed in A. J. Dobson, An Introduction to
    /// Generalized Linear Models (logit -60.72, 34.27; probit -34.94, 19.73; complementary log-log
    /// -39.57, 22.04; deviances 11.23, 10.12, 3.45), here to ten digits from R 4.2.2 `glm`.
    #[test]
    fn the_beetles_come_out_as_published_with_all_three_links() {
        for (link, b0, b1, deviance) in [
            (Link::Logistic, -60.7174545616, 34.2703257341, 11.2322310974),
            (Link::Normal, -34.9352589157, 19.7279342201, 10.119758113),
            (Link::SmallestExtreme, -39.5723106061, 22.0411698207, 3.44643873302),
        ] {
            let (fit, found) = beetles(link);
            close(fit.parameters[0], b0, 1e-7);
            close(fit.parameters[1], b1, 1e-7);
            close(found, deviance, 1e-6);
        }
        // A plausible wrong answer: the probit slope is not the logit's over 1.702.
        assert!((34.2703257341_f64 / 1.702 - 19.7279342201).abs() > 0.1);
    }

    /// Source: the same, R 4.2.2 `glm` and `dose.p` of MASS 7.3-58.2, whose covariance is that of the
    /// expected curvature, which for the logit is the observed one.
    #[test]
    fn the_dose_that_kills_half_has_its_published_standard_error() {
        let (fit, _) = beetles(Link::Logistic);
        close(fit.covariance_of(0, 0).sqrt(), 5.18, 1e-3);
        close(fit.covariance_of(1, 1).sqrt(), 2.91, 1e-3);
        let (b0, b1) = (fit.parameters[0], fit.parameters[1]);
        let half = -b0 / b1;
        let (v00, v01, v11) = (fit.covariance_of(0, 0), fit.covariance_of(0, 1), fit.covariance_of(1, 1));
        close(half, 1.77172096445, 1e-9);
        close(((v00 + 2.0 * half * v01 + half * half * v11) / (b1 * b1)).sqrt(), 0.00385805531143, 1e-6);
        let (fit, _) = beetles(Link::Normal);
        close(-fit.parameters[0] / fit.parameters[1], 1.77085236224, 1e-9);
        // Observed and expected curvature differ for the probit, by little.
        close(fit.covariance_of(1, 1).sqrt(), 1.48723500921, 0.02);
    }

    /// Source: Tobin 1958, durable goods, normal and censored at 0 from below: R 4.2.2, package survival.
    #[test]
    fn tobins_durable_goods_come_out_as_published() {
        let rows = table(include_str!("../../data/published/tobin.csv"));
        let observations: Vec<Observation> = rows
            .iter()
            .map(|row| {
                let predictor = vec![row[0], -1.0, -row[1], -row[2]];
                let seen = if row[0] > 0.0 {
                    Seen::At { row: predictor, slope: 0 }
                } else {
                    Seen::Between { lower: None, upper: Some(predictor) }
                };
                Observation { seen, weight: 1.0 }
            })
            .collect();
        let fit = maximise(Link::Normal, &observations, &[0.1, 0.0, 0.0, 0.0]).unwrap();
        let scale = 1.0 / fit.parameters[0];
        close(scale, 5.5725398, 5e-6);
        close(fit.parameters[1] * scale, 15.144866361, 5e-6);
        close(fit.parameters[2] * scale, -0.129059284, 5e-6);
        close(fit.parameters[3] * scale, -0.045541663, 5e-6);
        let log_scale_se = fit.covariance_of(0, 0).sqrt() / fit.parameters[0];
        assert!(log_scale_se > 0.2 && log_scale_se < 0.5, "{log_scale_se}");
    }

    /// Values known to a tenth only, as intervals, give nearly what the values themselves give.
    #[test]
    fn narrow_intervals_say_what_the_values_say() {
        let values: Vec<f64> = (0..200).map(|i| ((f64::from(i) + 0.5) / 200.0 - 0.5) * 6.0).collect();
        let at = |value: f64| vec![value, -1.0];
        let exact: Vec<Observation> = values
            .iter()
            .map(|value| Observation { seen: Seen::At { row: at(*value), slope: 0 }, weight: 1.0 })
            .collect();
        let within: Vec<Observation> = values
            .iter()
            .map(|value| {
                let low = (value * 10.0).floor() / 10.0;
                let seen = Seen::Between { lower: Some(at(low)), upper: Some(at(low + 0.1)) };
                Observation { seen, weight: 1.0 }
            })
            .collect();
        let exact = maximise(Link::Normal, &exact, &[1.0, 0.0]).unwrap();
        let within = maximise(Link::Normal, &within, &[1.0, 0.0]).unwrap();
        let mean = |fit: &Maximum| fit.parameters[1] / fit.parameters[0];
        // Maximum likelihood divides by n: the standard deviation of an even spread of 6 is 6 / sqrt(12).
        close(1.0 / exact.parameters[0], 6.0 / 12_f64.sqrt(), 1e-4);
        assert!((mean(&exact)).abs() < 1e-9);
        close(within.parameters[0], exact.parameters[0], 1e-3);
        assert!((mean(&within) - mean(&exact)).abs() < 1e-2);
    }

    #[test]
    fn what_runs_off_to_infinity_is_refused_and_does_not_hang() {
        let row = |x: f64| vec![1.0, x];
        let observations = [
            Observation { seen: Seen::Between { lower: Some(row(0.0)), upper: None }, weight: 3.0 },
            Observation { seen: Seen::Between { lower: None, upper: Some(row(1.0)) }, weight: 3.0 },
        ];
        match maximise(Link::Normal, &observations, &[0.0, 0.0]) {
            Err(error) => assert_eq!(error, NoMaximum::Undetermined),
            Ok(fit) => assert!(fit.log_likelihood > -1e-10, "{fit:?}"),
        }
    }
}
