//! Control charts: whether a series still varies as it should.
//!
//! A Shewhart chart looks at each value alone and sees a large change at once. An exponentially weighted
//! moving average, `z_i = lambda * x_i + (1 - lambda) * z_(i-1)` from the target on, remembers the earlier
//! values and sees a small change that stays. Of independent values with standard deviation `s`, its own is
//! `s * sqrt(lambda / (2 - lambda) * (1 - (1 - lambda)^(2 i)))`, which settles at the root of
//! `lambda / (2 - lambda)`.
//!
//! Here the values may each have a standard deviation of their own, and share an error besides that stays
//! the same in all of them (that of the standard they are compared with): it does not average away, and a
//! chart that left it out would in time call every standard wrong.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4 (EWMA), 6.3.2.1 (Shewhart constants).

use statrs::function::gamma::ln_gamma;

/// An exponentially weighted moving average and how wide its limits are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ewma {
    /// Weight of the newest value, above 0 and at most 1.
    pub lambda: f64,
    /// Limits in standard deviations.
    pub width: f64,
}

/// One value of a series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// The value, less its target.
    pub value: f64,
    /// Standard deviation that it has for itself.
    pub own_sd: f64,
    /// Standard deviation that it shares with all values of the series.
    pub shared_sd: f64,
}

/// Where the average stands after a value, and the limit that it should stay within.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Averaged {
    /// The average, less the target.
    pub average: f64,
    /// How far from 0 it may be.
    pub limit: f64,
}

impl Ewma {
    /// The average after each of the values, beginning at `start`.
    pub fn averages(&self, start: f64, values: &[f64]) -> Vec<f64> {
        let mut average = start;
        let step = |value: &f64| {
            average = self.lambda * value + (1.0 - self.lambda) * average;
            average
        };
        values.iter().map(step).collect()
    }

    /// How far from the target the average of many values with standard deviation `sd` may be.
    pub fn settled_limit(&self, sd: f64) -> f64 {
        self.width * sd * (self.lambda / (2.0 - self.lambda)).sqrt()
    }

    /// Average and limit after each value of a series.
    pub fn chart(&self, values: &[Value]) -> Vec<Averaged> {
        let (mut average, mut own, mut shared) = (0.0, 0.0, 0.0);
        let kept = 1.0 - self.lambda;
        let step = |value: &Value| {
            average = self.lambda * value.value + kept * average;
            own = self.lambda * self.lambda * value.own_sd * value.own_sd + kept * kept * own;
            // What is shared adds up by its size and not by its square.
            shared = self.lambda * value.shared_sd + kept * shared;
            Averaged { average, limit: self.width * (own + shared * shared).sqrt() }
        };
        values.iter().map(step).collect()
    }
}

/// Constants of charts of samples of `n` normal values: mean and sd of the range, mean of the sd, each
/// in standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Constants {
    /// Mean of the range.
    pub d2: f64,
    /// Standard deviation of the range.
    pub d3: f64,
    /// Mean of the sample standard deviation.
    pub c4: f64,
    n: f64,
}

impl Constants {
    /// For samples of `n` values; `None` below 2, where there is no range, and above 100, where nobody
    /// uses one.
    pub fn of(n: u32) -> Option<Self> {
        if !(2..=100).contains(&n) {
            return None;
        }
        let size = f64::from(n);
        let c4 = (2.0 / (size - 1.0)).sqrt() * (ln_gamma(size / 2.0) - ln_gamma((size - 1.0) / 2.0)).exp();
        let (mean, square) = range_moments(size);
        Some(Self { d2: mean, d3: (square - mean * mean).sqrt(), c4, n: size })
    }

    /// Limits of a mean from the mean range: `A2`.
    pub fn a2(&self) -> f64 {
        3.0 / (self.d2 * self.n.sqrt())
    }

    /// Limits of a mean from the mean standard deviation: `A3`.
    pub fn a3(&self) -> f64 {
        3.0 / (self.c4 * self.n.sqrt())
    }

    /// Lower and upper limit of a range over the mean range: `D3`, `D4`.
    pub fn range_limits(&self) -> (f64, f64) {
        let half = 3.0 * self.d3 / self.d2;
        ((1.0 - half).max(0.0), 1.0 + half)
    }

    /// Lower and upper limit of a standard deviation over the mean one: `B3`, `B4`.
    pub fn sd_limits(&self) -> (f64, f64) {
        let half = 3.0 * (1.0 - self.c4 * self.c4).sqrt() / self.c4;
        ((1.0 - half).max(0.0), 1.0 + half)
    }
}

/// Mean and mean square of the range of `n` normal values.
///
/// The chance that all lie within a window of width `w` is
/// `n * integral of density(x) * (below(x + w) - below(x))^(n - 1)`; the mean range is the integral of its
/// complement over `w`, and the mean square that of `2 w` times it. By the trapezium rule, which is as good
/// as exact for functions that die away at both ends; for the outer one, Simpson's.
fn range_moments(n: f64) -> (f64, f64) {
    use super::distribution::{t_below, t_density};
    const STEP: f64 = 0.02;
    let below: Vec<f64> = (0..=900).map(|i| t_below(-8.0 + STEP * f64::from(i), f64::INFINITY)).collect();
    let density: Vec<f64> = (0..=800).map(|i| t_density(-8.0 + STEP * f64::from(i), f64::INFINITY)).collect();
    let inside = |w: usize| -> f64 {
        let window = |i: usize| below.get(i + w).unwrap_or(&1.0) - below[i];
        let sum: f64 = (0..density.len()).map(|i| density[i] * window(i).powf(n - 1.0)).sum();
        (n * sum * STEP).min(1.0)
    };
    let (mut mean, mut square) = (0.0, 0.0);
    for w in 0..=600 {
        let weight = if w == 0 || w == 600 {
            1.0
        } else if w % 2 == 1 {
            4.0
        } else {
            2.0
        } * STEP
            / 3.0;
        let outside = 1.0 - inside(w);
        mean += weight * outside;
        square += weight * outside * 2.0 * STEP * w as f64;
    }
    (mean, square)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series() -> Vec<f64> {
        let data = include_str!("../../data/published/ewma_nist.csv");
        data.lines().filter(|line| !line.starts_with('#')).skip(1).map(|line| line.parse().unwrap()).collect()
    }

    /// Source: NIST/SEMATECH e-Handbook, 6.3.2.4: lambda 0.3, target 50, s 2.0539, width 3; the averages
    /// are printed to two digits, the limits to four.
    #[test]
    fn ewma_reproduces_the_handbooks_example() {
        let ewma = Ewma { lambda: 0.3, width: 3.0 };
        let averages = ewma.averages(50.0, &series());
        let printed = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
            49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        assert_eq!(averages.len(), printed.len());
        for (average, printed) in averages.iter().zip(printed) {
            assert!((average - printed).abs() < 5.1e-3, "{average} {printed}");
        }
        let limit = ewma.settled_limit(2.0539);
        assert!((50.0 + limit - 52.5884).abs() < 1e-4 && (50.0 - limit - 47.4115).abs() < 1.1e-4, "{limit}");
        assert!(averages.iter().all(|average| (average - 50.0).abs() < limit));
        // The weights turned round would leave the limits in the eighth value.
        let turned = Ewma { lambda: 0.7, width: 3.0 }.averages(50.0, &series());
        assert!((turned[0] - 50.60).abs() > 0.5);
    }

    /// Source: the same example; the chart with limits that grow gives the same averages, and its limits
    /// settle where the handbook's are.
    #[test]
    fn limits_grow_to_the_settled_ones_and_a_shared_error_stays_in_them() {
        let ewma = Ewma { lambda: 0.3, width: 3.0 };
        let value = |shared_sd: f64| move |y: f64| Value { value: y - 50.0, own_sd: 2.0539, shared_sd };
        let chart = ewma.chart(&series().into_iter().map(value(0.0)).collect::<Vec<_>>());
        assert!((chart[0].limit - 3.0 * 0.3 * 2.0539).abs() < 1e-12);
        assert!((chart[19].limit / ewma.settled_limit(2.0539) - 1.0).abs() < 1e-6);
        assert!((chart[19].average - 1.99).abs() < 5.1e-3);
        let chart = ewma.chart(&vec![value(1.0)(50.0); 200]);
        let settled = ewma.settled_limit(2.0539).hypot(3.0);
        assert!((chart[199].limit - settled).abs() < 1e-9);
    }

    /// Source: control-chart constants, n = 2 to 10, by quadrature and gamma functions to eight digits;
    /// they agree with the tables of ASTM and ISO 7870-2 to the digits printed there.
    #[test]
    fn chart_constants_are_those_of_the_tables() {
        // n, d2, d3, c4, A2, D3, D4, A3, B3, B4
        let table = [
            [
                2.0,
                std::f64::consts::FRAC_2_SQRT_PI,
                0.85250247,
                0.79788456,
                1.87997121,
                0.0,
                3.26653192,
                2.65868078,
                0.0,
                3.26653192,
            ],
            [
                3.0, 1.69256875, 0.88836800, 0.88622693, 1.02332671, 0.0, 2.57459129, 1.95441005, 0.0,
                2.56816960,
            ],
            [
                5.0, 2.32592895, 0.86408194, 0.93998560, 0.57681933, 0.0, 2.11449915, 1.42729929, 0.0,
                2.08899787,
            ],
            [
                7.0, 2.70435675, 0.83320534, 0.95936879, 0.41928396, 0.07570774, 1.92429226, 1.18191610,
                0.11768503, 1.88231497,
            ],
            [
                10.0, 3.07750546, 0.79705067, 0.97265927, 0.30826373, 0.22302266, 1.77697734, 0.97535008,
                0.28370556, 1.71629444,
            ],
        ];
        for row in table {
            let constants = Constants::of(row[0] as u32).unwrap();
            let (range, sd) = (constants.range_limits(), constants.sd_limits());
            let got = [
                constants.d2,
                constants.d3,
                constants.c4,
                constants.a2(),
                range.0,
                range.1,
                constants.a3(),
                sd.0,
                sd.1,
            ];
            for (got, expected) in got.iter().zip(&row[1..]) {
                assert!((got - expected).abs() < 2e-6, "n = {}: {got} {expected}", row[0]);
            }
        }
        assert_eq!(Constants::of(1), None);
    }
}
