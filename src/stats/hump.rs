//! Where a function of one hump, the logarithm of a likelihood for example, is worth summing up.

/// Below the maximum by this much a likelihood is left out: a normal curve's 2.8 standard deviations.
const FALL: f64 = 4.0;

/// How far apart values are looked at first.
const STEP: f64 = 0.5;

/// `COUNT` points, two at least, evenly spaced over where `value` comes within 4 of its maximum, all
/// between `low` and `high`.
///
/// With a `start` the way up is followed from there: `value` must have one hump only. Without, all of the
/// way from `low` to `high` is looked at.
pub fn points<const COUNT: usize>(
    low: f64,
    high: f64,
    start: Option<f64>,
    mut value: impl FnMut(f64) -> f64,
) -> [f64; COUNT] {
    let top = match start {
        Some(start) => climb(low, high, start.clamp(low, high), &mut value),
        None => scan(low, high, &mut value),
    };
    let mut edge = |away: f64| {
        // A normal curve's is here; how far out it really is grows until it is far enough.
        let mut step = ((2.0 * FALL).sqrt() * top.sd).clamp(0.05, 2.0);
        let mut nearer = 3;
        loop {
            let at = (top.at + away * step).clamp(low, high);
            let fallen = top.value - value(at);
            if fallen >= 2.0 * FALL && nearer > 0 {
                // So far out that the curve is no normal one on the way.
                nearer -= 1;
                step *= (FALL / fallen).sqrt().max(0.2);
                continue;
            }
            if fallen >= FALL {
                return top.at + (at - top.at) * (FALL / fallen).sqrt();
            }
            if at == low || at == high || fallen.is_nan() {
                return at;
            }
            step *= (1.1 * FALL / fallen.max(0.01)).sqrt().clamp(1.3, 4.0);
        }
    };
    let (from, to) = (edge(-1.0), edge(1.0));
    std::array::from_fn(|i| from + (to - from) * i as f64 / (COUNT - 1) as f64)
}

/// The highest point.
struct Top {
    at: f64,
    value: f64,
    /// Standard deviation of the normal curve that is as round there.
    sd: f64,
}

/// Follows the way up.
fn climb(low: f64, high: f64, start: f64, value: &mut impl FnMut(f64) -> f64) -> Top {
    let mut known = vec![(start, value(start))];
    for away in [-STEP, STEP] {
        loop {
            let end = if away < 0.0 { known[0] } else { known[known.len() - 1] };
            let at = (end.0 + away).clamp(low, high);
            if at == end.0 {
                break;
            }
            let next = (at, value(at));
            if away < 0.0 {
                known.insert(0, next)
            } else {
                known.push(next)
            }
            let rises = next.1 > end.1;
            // What is not a number does not.
            if !rises {
                break;
            }
        }
    }
    refined(known, value)
}

/// Looks at every half.
fn scan(low: f64, high: f64, value: &mut impl FnMut(f64) -> f64) -> Top {
    let steps = ((high - low) / STEP).ceil().clamp(1.0, 1e4) as u32;
    let at = |i: u32| low + (high - low) * f64::from(i) / f64::from(steps);
    refined((0..=steps).map(|i| (at(i), value(at(i)))).collect(), value)
}

/// The top between known points in order: where a parabola through the highest and its neighbours has its
/// own, three times over; a tenth of the standard deviation is near enough.
fn refined(mut known: Vec<(f64, f64)>, value: &mut impl FnMut(f64) -> f64) -> Top {
    let mut sd = STEP;
    for _ in 0..4 {
        let best = highest(&known);
        if best == 0 || best + 1 == known.len() {
            // At an end: half way to its neighbour, as long as that is far.
            let neighbour = if best == 0 { 1.min(known.len() - 1) } else { best - 1 };
            let at = 0.5 * (known[best].0 + known[neighbour].0);
            if (at - known[best].0).abs() < 0.05 {
                break;
            }
            known.insert(best.max(neighbour), (at, value(at)));
            continue;
        }
        let [(x0, y0), (x1, y1), (x2, y2)] = [known[best - 1], known[best], known[best + 1]];
        let (left, right) = ((y1 - y0) / (x1 - x0), (y2 - y1) / (x2 - x1));
        let bend = 2.0 * (left - right) / (x2 - x0);
        if !(bend > 0.0 && bend.is_finite()) {
            break;
        }
        sd = bend.sqrt().recip();
        let rise = (left * (x2 - x1) + right * (x1 - x0)) / (x2 - x0);
        let at = x1 + rise / bend;
        // Where the parabola is no nearer than what is known the neighbours are still to be told apart.
        if (at - x1).abs() < 0.1 * sd.min(x2 - x0) {
            break;
        }
        let at = at.clamp(x0 + 0.1 * (x1 - x0), x2 - 0.1 * (x2 - x1));
        known.insert(if at < x1 { best } else { best + 1 }, (at, value(at)));
    }
    let best = highest(&known);
    Top { at: known[best].0, value: known[best].1, sd }
}

fn highest(known: &[(f64, f64)]) -> usize {
    let mut best = 0;
    for (at, (_, value)) in known.iter().enumerate() {
        if *value > known[best].1 {
            best = at;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_normal_curve_is_covered_to_where_it_has_fallen_by_four() {
        for (mean, sd) in [(0.3, 1.0), (-1.7, 0.05), (2.0, 0.4)] {
            for start in [None, Some(0.0), Some(4.0)] {
                let mut asked = 0;
                let found: [f64; 5] = points(-5.0, 5.0, start, |x| {
                    asked += 1;
                    -0.5 * ((x - mean) / sd).powi(2)
                });
                let (from, to) = (mean - 8f64.sqrt() * sd, mean + 8f64.sqrt() * sd);
                assert!((found[0] - from).abs() < 0.3 * sd && (found[4] - to).abs() < 0.3 * sd, "{found:?}");
                assert!(asked < 35, "{asked}");
            }
        }
    }

    /// As the likelihood of the logarithm of a spread has it: steep on one side, long on the other.
    #[test]
    fn a_skewed_hump_is_covered_on_both_sides() {
        let curve = |x: f64| -6.0 * (x + 0.5 * (-2.0 * x).exp());
        for start in [None, Some(-1.0), Some(2.0)] {
            let found: [f64; 5] = points(-4.0, 4.0, start, curve);
            for edge in [found[0], found[4]] {
                assert!((curve(0.0) - curve(edge) - 4.0).abs() < 1.0, "{found:?}");
            }
        }
    }

    #[test]
    fn a_hump_beyond_the_end_is_covered_to_the_end() {
        for start in [None, Some(0.2)] {
            let found: [f64; 3] = points(0.0, 1.0, start, |x| -(x - 2.0).powi(2));
            assert_eq!((found[0], found[2]), (0.0, 1.0));
            assert_eq!(points(0.0, 1.0, start, |_| 0.0), [0.0, 0.5, 1.0]);
        }
    }
}
