//! Several small symmetric positive definite systems of one size, abreast.
//!
//! One small system is a chain of steps that wait for each other: a factor of five rows spends most of its
//! time in roots and divisions. Of `W` systems abreast every step is a short loop over numbers that have
//! nothing to do with each other, which the compiler turns into vector instructions. Only lower triangles
//! are read or written; the diagonal of a factor holds the reciprocals, so that nothing is divided twice.
//!
//! Source: as [`super::cholesky`].

/// A number of each system.
pub type Each<const W: usize> = [f64; W];

/// `to -= a * b`, system by system.
#[inline]
pub(super) fn subtract_product<const W: usize>(to: &mut Each<W>, a: &Each<W>, b: &Each<W>) {
    for ((to, a), b) in to.iter_mut().zip(a).zip(b) {
        *to -= a * b;
    }
}

/// `to += a * b`, system by system.
#[inline]
pub(super) fn add_product<const W: usize>(to: &mut Each<W>, a: &Each<W>, b: &Each<W>) {
    for ((to, a), b) in to.iter_mut().zip(a).zip(b) {
        *to += a * b;
    }
}

/// `to *= by`, system by system.
#[inline]
pub(super) fn multiply<const W: usize>(to: &mut Each<W>, by: &Each<W>) {
    to.iter_mut().zip(by).for_each(|(to, by)| *to *= by);
}

/// The logarithm of each.
pub(super) fn ln<const W: usize>(of: &Each<W>) -> Each<W> {
    of.map(f64::ln)
}

/// Sum of the products of two columns of numbers, system by system, taken away from `start`.
#[inline]
fn less_products<'a, const W: usize>(
    start: Each<W>,
    pairs: impl Iterator<Item = (&'a Each<W>, &'a Each<W>)>,
) -> Each<W> {
    let mut left = start;
    for (a, b) in pairs {
        subtract_product(&mut left, a, b);
    }
    left
}

/// Turns the lower triangles of `size` rows into factors; the determinants.
///
/// Where a matrix is not positive definite to working precision its determinant is infinite, and its
/// factor is of no use, but finite. The product of `size` pivots must stay within the range of a double.
pub fn factor<const W: usize>(a: &mut [Each<W>], size: usize) -> Each<W> {
    let mut determinant = [1.0; W];
    for j in 0..size {
        let (above, rest) = a.split_at_mut(j * size);
        let row = &mut rest[..=j];
        for k in 0..j {
            let (known, own) = row.split_at_mut(k);
            let other = &above[k * size..=k * size + k];
            own[0] = less_products(own[0], known.iter().zip(other));
            multiply(&mut own[0], &other[k]);
        }
        let (known, own) = row.split_at_mut(j);
        let before = own[0];
        let pivot = less_products(before, known.iter().zip(&*known));
        for lane in 0..W {
            // As in `cholesky::factor`: what is left of a column that depends on the others is rounding.
            let is_sound = pivot[lane] > before[lane].abs() * 1e-13;
            own[0][lane] = if is_sound { pivot[lane] } else { 1.0 };
            determinant[lane] *= if is_sound { pivot[lane] } else { f64::INFINITY };
        }
        for pivot in &mut own[0] {
            *pivot = 1.0 / pivot.sqrt();
        }
    }
    determinant
}

/// Replaces `x` by `L^-1 x`.
pub fn solve_lower<const W: usize>(l: &[Each<W>], size: usize, x: &mut [Each<W>]) {
    for i in 0..size {
        let row = &l[i * size..=i * size + i];
        let (known, own) = x.split_at_mut(i);
        own[0] = less_products(own[0], row.iter().zip(&*known));
        multiply(&mut own[0], &row[i]);
    }
}

/// Replaces `x` by `L'^-1 x`.
pub fn solve_upper<const W: usize>(l: &[Each<W>], size: usize, x: &mut [Each<W>]) {
    for i in (0..size).rev() {
        let row = &l[i * size..=i * size + i];
        let (above, own) = x.split_at_mut(i);
        multiply(&mut own[0], &row[i]);
        for (x, l) in above.iter_mut().zip(row) {
            subtract_product(x, l, &own[0]);
        }
    }
}

/// The lower triangles of the inverses, from the factors.
///
/// The inverse of the factor is built first; the product of its columns then overwrites it from the top.
pub fn inverse_into<const W: usize>(l: &[Each<W>], size: usize, inverse: &mut Vec<Each<W>>) {
    inverse.resize(size * size, [0.0; W]);
    for i in 0..size {
        let row = &l[i * size..=i * size + i];
        let (above, rest) = inverse.split_at_mut(i * size);
        for j in 0..i {
            let column = above[j * size + j..].iter().step_by(size);
            rest[j] = less_products([0.0; W], row[j..i].iter().zip(column));
            multiply(&mut rest[j], &row[i]);
        }
        rest[i] = row[i];
    }
    for i in 0..size {
        for j in 0..=i {
            let mut sum = [0.0; W];
            for k in i..size {
                add_product(&mut sum, &inverse[k * size + i], &inverse[k * size + j]);
            }
            inverse[i * size + j] = sum;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::cholesky;

    /// One after the other is the other way.
    #[test]
    fn systems_abreast_are_solved_as_each_alone() {
        let alone = [
            [4.0, 0.0, 0.0, 2.0, 5.0, 0.0, 0.6, 1.5, 3.0],
            [1.0, 0.0, 0.0, -0.3, 9.0, 0.0, 0.1, 4.0, 2.5],
            [7.0, 0.0, 0.0, 0.0, 0.2, 0.0, 1.0, 0.1, 1.0],
        ];
        let x = [1.0, -2.0, 0.5];
        let mut a: Vec<Each<3>> = (0..9).map(|i| alone.map(|alone| alone[i])).collect();
        let determinants = factor(&mut a, 3);
        let mut solved: Vec<Each<3>> = x.iter().map(|x| [*x; 3]).collect();
        solve_lower(&a, 3, &mut solved);
        solve_upper(&a, 3, &mut solved);
        let mut inverses = Vec::new();
        inverse_into(&a, 3, &mut inverses);
        for (lane, mut alone) in alone.into_iter().enumerate() {
            let determinant_ln = cholesky::factor(&mut alone, 3).unwrap();
            assert!((determinants[lane].ln() - determinant_ln).abs() < 1e-14);
            let inverse = cholesky::inverse(&alone, 3);
            for i in 0..3 {
                let expected: f64 = (0..3).map(|k| inverse[i * 3 + k] * x[k]).sum();
                assert!((solved[i][lane] - expected).abs() < 1e-13 * expected.abs().max(1.0));
                for j in 0..=i {
                    let (found, expected) = (inverses[i * 3 + j][lane], inverse[i * 3 + j]);
                    assert!((found - expected).abs() < 1e-13 * expected.abs().max(1.0), "{lane} {i} {j}");
                }
            }
        }
    }

    #[test]
    fn dependent_columns_are_refused_without_harm_to_the_system_beside() {
        let mut a = [[1.0, 4.0], [0.0, 0.0], [2.0, 2.0], [4.0, 5.0]];
        let determinants = factor(&mut a, 2);
        assert_eq!(determinants, [f64::INFINITY, 16.0]);
        assert!(a.iter().flatten().all(|value| value.is_finite()));
    }
}
