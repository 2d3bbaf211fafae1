//! One equation in one unknown: Newton's method that never leaves its bracket.

/// The `x` between `below` and `above` where `f` is zero, from `start`; `f` gives value and slope.
///
/// The value must be at most 0 at `below` and at least 0 at `above`. Where a step would leave the bracket it
/// is halved instead, so the answer is always found; it is as exact as `f` is.
pub fn bracketed_newton(f: impl Fn(f64) -> (f64, f64), mut below: f64, mut above: f64, start: f64) -> f64 {
    /// A bracket halves at least every other time; 200 are more than a number has bits.
    const MOST_STEPS: usize = 200;
    let mut x = start.clamp(below, above);
    let mut last_step = f64::INFINITY;
    for _ in 0..MOST_STEPS {
        let (value, slope) = f(x);
        if value == 0.0 {
            return x;
        }
        if value > 0.0 {
            above = x;
        } else {
            below = x;
        }
        let newton = x - value / slope;
        let inside = newton >= below && newton <= above;
        // Newton's steps shrink; where one does not, the slope misleads.
        let next =
            if inside && (newton - x).abs() < 0.9 * last_step { newton } else { f64::midpoint(below, above) };
        last_step = (next - x).abs();
        if last_step <= 2.0 * f64::EPSILON * x.abs() || next == below || next == above {
            return next;
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_a_root_that_newton_alone_runs_away_from() {
        // The arc tangent sends Newton off to infinity from 2 on.
        let f = |x: f64| ((x - 1.0).atan(), 1.0 / (1.0 + (x - 1.0).powi(2)));
        assert!((bracketed_newton(f, -50.0, 40.0, 39.0) - 1.0).abs() < 1e-15);
        // A slope of 0 at the start, and a root at an end.
        let f = |x: f64| (x * x * x, 3.0 * x * x);
        assert!(bracketed_newton(f, -1.0, 2.0, 0.0).abs() < 1e-12);
        let f = |x: f64| (x - 3.0, 1.0);
        assert_eq!(bracketed_newton(f, 0.0, 3.0, 1.0), 3.0);
    }

    #[test]
    fn a_square_root_comes_out_to_the_last_digit() {
        for y in [1e-6, 0.3, 2.0, 12345.678] {
            let root = bracketed_newton(|x| (x * x - y, 2.0 * x), 0.0, 1.0 + y, 1.0 + y);
            assert!((root - y.sqrt()).abs() <= 4.0 * f64::EPSILON * y.sqrt(), "{y}");
        }
    }
}
