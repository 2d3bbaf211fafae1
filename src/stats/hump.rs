//! Where a function of one hump, the logarithm of a likelihood for example, is worth summing up.

/// Below the maximum by this much a likelihood is left out: a normal curve's 2.8 standard deviations.
const FALL: f64 = 4.0;

/// `count` points, evenly spaced over where `value` comes within 4 of its maximum, all between `low` and
/// `high`; at least two of them.
pub fn points(low: f64, high: f64, count: u32, mut value: impl FnMut(f64) -> f64) -> Vec<f64> {
    let (top, largest) = maximum(low, high, &mut value);
    let mut edge = |away: f64| {
        // How far out grows until it is far enough; what a normal curve would do tells where it was.
        let mut step = 0.05;
        loop {
            let at = (top + away * step).clamp(low, high);
            let fallen = largest - value(at);
            if fallen >= FALL {
                return top + (at - top) * (FALL / fallen).sqrt();
            }
            if at == low || at == high || fallen.is_nan() {
                return at;
            }
            step *= (1.1 * FALL / fallen.max(0.01)).sqrt().clamp(1.3, 4.0);
        }
    };
    let (from, to) = (edge(-1.0), edge(1.0));
    let share = |i: u32| f64::from(i) / f64::from(count.max(2) - 1);
    (0..count.max(2)).map(|i| from + (to - from) * share(i)).collect()
}

/// Where the maximum is, to a hundredth or so, and the value there. Looks at every half first.
fn maximum(low: f64, high: f64, value: &mut impl FnMut(f64) -> f64) -> (f64, f64) {
    let steps = ((high - low) / 0.5).ceil().max(1.0);
    let step = (high - low) / steps;
    let mut best = (low, value(low));
    let mut at = low + step;
    while at < high + 0.5 * step {
        let found = value(at.min(high));
        if found > best.1 {
            best = (at.min(high), found);
        }
        at += step.max(f64::MIN_POSITIVE);
    }
    // Halving the step about the best so far: the hump may be narrower than it.
    let mut half = 0.5 * step;
    while half > 0.01 {
        for at in [best.0 - half, best.0 + half] {
            if (low..=high).contains(&at) {
                let found = value(at);
                if found > best.1 {
                    best = (at, found);
                    break;
                }
            }
        }
        half *= 0.5;
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_normal_curve_is_covered_to_where_it_has_fallen_by_four() {
        for (mean, sd) in [(0.3, 1.0), (-1.7, 0.05), (2.0, 0.4)] {
            let found = points(-5.0, 5.0, 5, |x| -0.5 * ((x - mean) / sd).powi(2));
            let (from, to) = (mean - 8f64.sqrt() * sd, mean + 8f64.sqrt() * sd);
            assert!((found[0] - from).abs() < 0.3 * sd && (found[4] - to).abs() < 0.3 * sd, "{found:?}");
        }
    }

    #[test]
    fn a_hump_beyond_the_end_is_covered_to_the_end() {
        let found = points(0.0, 1.0, 3, |x| -(x - 2.0).powi(2));
        assert_eq!((found[0], found[2]), (0.0, 1.0));
        assert_eq!(points(0.0, 1.0, 3, |_| 0.0), [0.0, 0.5, 1.0]);
    }
}
