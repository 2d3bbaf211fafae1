//! The rising or falling course nearest to values: isotonic regression.
//!
//! Neighbours that go the wrong way are pooled to their weighted mean until none does. Between the places
//! that were looked at the course is a straight line, outside it stays where it ends.
//!
//! Source: Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order Restrictions, 1972,
//! 1.2 (pool adjacent violators).

/// The values nearest to `values`, by weighted squares, that never fall.
pub fn rising(values: &[f64], weights: &[f64]) -> Vec<f64> {
    // Mean, weight and count of each pool.
    let mut pools: Vec<(f64, f64, usize)> = Vec::new();
    for (value, weight) in values.iter().zip(weights) {
        let mut pool = (*value, *weight, 1);
        while let Some(last) = pools.last().copied().filter(|last| last.0 > pool.0) {
            let weight = last.1 + pool.1;
            pool = ((last.0 * last.1 + pool.0 * pool.1) / weight, weight, last.2 + pool.2);
            pools.pop();
        }
        pools.push(pool);
    }
    pools.into_iter().flat_map(|(mean, _, count)| std::iter::repeat_n(mean, count)).collect()
}

/// The same, rising or falling, whichever is nearer.
pub fn nearest(values: &[f64], weights: &[f64]) -> Vec<f64> {
    let up = rising(values, weights);
    let turned: Vec<f64> = values.iter().map(|value| -value).collect();
    let down: Vec<f64> = rising(&turned, weights).into_iter().map(|value| -value).collect();
    let apart = |course: &[f64]| -> f64 {
        course.iter().zip(values).zip(weights).map(|((c, v), w)| w * (c - v).powi(2)).sum()
    };
    if apart(&up) <= apart(&down) { up } else { down }
}

/// The straight line between neighbouring places, or the end outside them; `places` rise.
pub fn between(places: &[f64], values: &[f64], at: f64) -> Option<f64> {
    let after = places.iter().position(|place| *place >= at);
    match after {
        Some(0) => values.first().copied(),
        Some(next) => {
            let share = (at - places[next - 1]) / (places[next] - places[next - 1]);
            Some(values[next - 1] + share * (values[next] - values[next - 1]))
        }
        None => values.last().copied(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 3 and 2 pool to 2.5 and leave 1 alone; a weight of 3 pulls the pool to 2.25.
    #[test]
    fn neighbours_that_go_the_wrong_way_are_pooled() {
        assert_eq!(rising(&[1.0, 3.0, 2.0, 4.0], &[1.0; 4]), [1.0, 2.5, 2.5, 4.0]);
        assert_eq!(rising(&[1.0, 3.0, 2.0, 4.0], &[1.0, 1.0, 3.0, 1.0]), [1.0, 2.25, 2.25, 4.0]);
        assert_eq!(rising(&[3.0, 2.0, 1.0], &[1.0; 3]), [2.0, 2.0, 2.0]);
        assert_eq!(nearest(&[3.0, 2.0, 1.0], &[1.0; 3]), [3.0, 2.0, 1.0]);
    }

    /// No other rising course is nearer: any small change away from it is farther.
    #[test]
    fn no_rising_course_is_nearer() {
        let (values, weights) = ([0.2, 0.9, 0.4, 0.7, 0.6, 1.5], [2.0, 1.0, 1.0, 3.0, 1.0, 1.0]);
        let best = rising(&values, &weights);
        let apart = |course: &[f64]| -> f64 {
            course.iter().zip(&values).zip(&weights).map(|((c, v), w)| w * (c - v).powi(2)).sum()
        };
        for step in [-0.01, 0.01] {
            for from in 0..values.len() {
                for to in from..values.len() {
                    let mut course = best.clone();
                    course[from..=to].iter_mut().for_each(|value| *value += step);
                    if course.windows(2).all(|pair| pair[0] <= pair[1]) {
                        assert!(apart(&course) >= apart(&best) - 1e-15, "{course:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn between_places_it_is_a_line_and_outside_an_end() {
        let (places, values) = ([60.0, 80.0, 100.0], [0.0, 0.2, 1.0]);
        assert_eq!(between(&places, &values, 70.0), Some(0.1));
        assert_eq!(between(&places, &values, 100.0), Some(1.0));
        assert_eq!(between(&places, &values, 20.0), Some(0.0));
        assert_eq!(between(&places, &values, 200.0), Some(1.0));
        assert_eq!(between(&[], &[], 1.0), None);
    }
}
