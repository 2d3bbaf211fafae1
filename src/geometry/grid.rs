//! The grid on which solids live, and the exact tests on it.
//!
//! A coordinate is a whole number of 2^-13 mm below 2^23, so a difference fits 24 bits, a product of two
//! 49 bits, and a cross product is exact in 64-bit whole numbers.

/// Grid steps in a millimetre.
pub(super) const STEPS_PER_MM: f64 = 8192.0;

/// Largest coordinate in millimetres: below 2^23 steps, so that a 32-bit float holds it exactly.
pub(super) const LIMIT_MM: f64 = 1000.0;

/// A place in the plane, in grid steps. Ordered by x, then y: the order in which a sweep meets points.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Spot {
    pub(super) x: i32,
    pub(super) y: i32,
}

impl Spot {
    /// The same place in millimetres.
    pub(super) fn mm(self) -> [f64; 2] {
        [to_mm(self.x), to_mm(self.y)]
    }
}

/// The nearest grid coordinate, or `None` when it is no number or beyond the limit.
pub(super) fn snap(mm: f64) -> Option<i32> {
    // NaN fails the comparison too.
    (mm.abs() <= LIMIT_MM).then(|| (mm * STEPS_PER_MM).round() as i32)
}

/// Grid steps as millimetres, exactly.
pub(super) fn to_mm(steps: i32) -> f64 {
    f64::from(steps) / STEPS_PER_MM
}

/// Twice the signed area of the triangle `a`, `b`, `c`: positive when it turns left.
pub(super) fn turn(a: Spot, b: Spot, c: Spot) -> i64 {
    let (ux, uy) = (i64::from(b.x) - i64::from(a.x), i64::from(b.y) - i64::from(a.y));
    let (vx, vy) = (i64::from(c.x) - i64::from(a.x), i64::from(c.y) - i64::from(a.y));
    ux * vy - uy * vx
}

/// Twice the signed area of a closed polygon, in square grid steps.
pub(super) fn twice_area(polygon: &[Spot]) -> i128 {
    let Some(&origin) = polygon.first() else { return 0 };
    polygon.windows(2).map(|edge| i128::from(turn(origin, edge[0], edge[1]))).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn snapping_is_to_the_nearest_step_and_stays_exact_in_32_bits() {
        assert_eq!(snap(1.0), Some(8192));
        assert_eq!(snap(-0.00007), Some(-1));
        for mm in [0.1, 5.05, 31.847, 999.999, -999.999] {
            let steps = snap(mm).unwrap();
            assert!((to_mm(steps) - mm).abs() <= 0.5 / STEPS_PER_MM);
            assert_eq!(f64::from(to_mm(steps) as f32), to_mm(steps));
        }
    }

    #[test]
    fn what_is_too_far_or_no_number_is_refused() {
        for mm in [1000.1, -1000.1, f64::NAN, f64::INFINITY] {
            assert_eq!(snap(mm), None);
        }
    }

    #[test]
    fn the_turn_is_exact_across_the_whole_grid() {
        let far = snap(LIMIT_MM).unwrap();
        let (a, b) = (Spot { x: -far, y: -far }, Spot { x: far, y: far });
        assert_eq!(turn(a, b, Spot { x: far - 1, y: far - 1 }), 0);
        assert_eq!(turn(a, b, Spot { x: far - 1, y: far }), i64::from(far) * 2);
    }
}
