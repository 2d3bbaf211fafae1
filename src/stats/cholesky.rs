//! Small symmetric positive definite systems, stored row by row in one slice.
//!
//! `A = L L'` with `L` lower triangular, computed in place; only the lower triangle of `A` is read. Made
//! for the ten or so coefficients of an error model, many thousand times a second: no allocation inside,
//! and every inner loop goes along a row over numbers that do not wait for each other. For that the factor
//! fills the square: `L` below the diagonal, `L'` above, the reciprocals of the pivots' roots on it.
//!
//! Source: Golub and Van Loan, Matrix Computations, 4.2.

/// The logarithm of a product of positive numbers. Logarithms are dear: of products, taken before they
/// leave the range of a double.
#[derive(Clone, Copy, Debug)]
pub(super) struct LogProduct {
    taken: f64,
    product: f64,
}

impl Default for LogProduct {
    fn default() -> Self {
        Self { taken: 0.0, product: 1.0 }
    }
}

impl LogProduct {
    /// Multiplies by one more.
    pub(super) fn multiply(&mut self, by: f64) {
        self.product *= by;
        if !(1e-100..1e100).contains(&self.product) {
            self.taken += self.product.ln();
            self.product = 1.0;
        }
    }

    /// The logarithm.
    pub(super) fn ln(self) -> f64 {
        self.taken + self.product.ln()
    }
}

/// Turns the lower triangle of the `size` x `size` matrix `a` into the factor; the logarithm of `A`'s
/// determinant.
///
/// `None` when `a` is not positive definite to working precision.
pub fn factor(a: &mut [f64], size: usize) -> Option<f64> {
    let mut determinant = LogProduct::default();
    for j in 0..size {
        let (above, below) = a.split_at_mut((j + 1) * size);
        let (known, own) = above[j * size..].split_at_mut(j);
        let (diagonal, own) = own.split_at_mut(1);
        let pivot = diagonal[0];
        let before = pivot + known.iter().map(|x| x * x).sum::<f64>();
        // What is left of a column that depends on the earlier ones is rounding: a few units of the
        // last place of what it was.
        if pivot.is_nan() || pivot <= before.abs() * 1e-13 {
            return None;
        }
        determinant.multiply(pivot);
        let inverse = 1.0 / pivot.sqrt();
        diagonal[0] = inverse;
        for (own, row) in own.iter_mut().zip(below.chunks_exact_mut(size)) {
            row[j] *= inverse;
            *own = row[j];
        }
        for (i, row) in below.chunks_exact_mut(size).enumerate() {
            subtract_times(&mut row[j + 1..], own[i], &own[..=i]);
        }
    }
    Some(determinant.ln())
}

/// `to -= factor * from`, element by element.
#[inline]
fn subtract_times(to: &mut [f64], factor: f64, from: &[f64]) {
    for (to, from) in to.iter_mut().zip(from) {
        *to -= factor * from;
    }
}

/// Replaces `x` by `L^-1 x`.
pub fn solve_lower(l: &[f64], size: usize, x: &mut [f64]) {
    for i in 0..size {
        let (own, below) = x[i..].split_at_mut(1);
        own[0] *= l[i * size + i];
        subtract_times(below, own[0], &l[i * size + i + 1..(i + 1) * size]);
    }
}

/// Replaces `x` by `L'^-1 x`.
pub fn solve_upper(l: &[f64], size: usize, x: &mut [f64]) {
    for i in (0..size).rev() {
        let (above, own) = x.split_at_mut(i);
        own[0] *= l[i * size + i];
        subtract_times(above, own[0], &l[i * size..i * size + i]);
    }
}

/// `A^-1` from `L`, whole.
pub fn inverse(l: &[f64], size: usize) -> Vec<f64> {
    let mut inverse = Vec::new();
    inverse_into(l, size, &mut inverse);
    inverse
}

/// `L^-1`, the lower triangle, into a buffer.
pub fn inverse_of_factor_into(l: &[f64], size: usize, inverse: &mut Vec<f64>) {
    inverse.clear();
    inverse.resize(size * size, 0.0);
    for i in 0..size {
        let (above, rest) = inverse.split_at_mut(i * size);
        let own = &mut rest[..=i];
        let diagonal = l[i * size + i];
        for k in 0..i {
            let factor = l[i * size + k] * diagonal;
            subtract_times(own, factor, &above[k * size..=k * size + k]);
        }
        own[i] = diagonal;
    }
}

/// `A^-1` from `L`, whole, into a buffer.
///
/// The product of the columns of `L^-1` overwrites it from the top.
pub fn inverse_into(l: &[f64], size: usize, inverse: &mut Vec<f64>) {
    inverse_of_factor_into(l, size, inverse);
    for i in 0..size {
        let (own, below) = inverse[i * size..].split_at_mut(size);
        let diagonal = own[i];
        own[..=i].iter_mut().for_each(|value| *value *= diagonal);
        for row in below.chunks_exact(size) {
            let factor = row[i];
            own[..=i].iter_mut().zip(row).for_each(|(own, value)| *own += factor * value);
        }
    }
    for i in 0..size {
        for j in 0..i {
            inverse[j * size + i] = inverse[i * size + j];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: [f64; 9] = [4.0, 2.0, 0.6, 2.0, 5.0, 1.5, 0.6, 1.5, 3.0];

    #[test]
    fn the_factor_gives_determinant_solution_and_inverse() {
        let mut l = A;
        let determinant_ln = factor(&mut l, 3).unwrap();
        let determinant: f64 = 4.0 * (15.0 - 2.25) - 2.0 * (6.0 - 0.9) + 0.6 * (3.0 - 3.0);
        assert!((determinant_ln - determinant.ln()).abs() < 1e-14);
        let inverse = inverse(&l, 3);
        for i in 0..3 {
            for j in 0..3 {
                let entry: f64 = (0..3).map(|k| A[i * 3 + k] * inverse[k * 3 + j]).sum();
                assert!((entry - f64::from(u8::from(i == j))).abs() < 1e-14);
            }
        }
    }

    #[test]
    fn dependent_columns_are_refused() {
        let mut twice = [1.0, 2.0, 2.0, 4.0];
        assert_eq!(factor(&mut twice, 2), None);
    }
}
