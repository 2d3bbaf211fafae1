//! Small symmetric positive definite systems, stored row by row in one slice.
//!
//! `A = L L'` with `L` lower triangular, computed in place; only the lower triangle of `A` is read. Made
//! for the ten or so coefficients of an error model, many thousand times a second: no allocation inside.
//!
//! Source: Golub and Van Loan, Matrix Computations, 4.2.

/// Turns the lower triangle of the `size` x `size` matrix `a` into `L`; the logarithm of `A`'s determinant.
///
/// `None` when `a` is not positive definite to working precision.
pub fn factor(a: &mut [f64], size: usize) -> Option<f64> {
    // Logarithms are dear: of products of pivots, taken before they leave the range of a double. So are
    // divisions: by each pivot only once, as long as there are no more than these.
    let (mut determinant_ln, mut product) = (0.0, 1.0_f64);
    let mut inverses = [0.0; 24];
    for j in 0..size {
        let (above, rest) = a.split_at_mut(j * size);
        let pivot_row = &mut rest[..size];
        for k in 0..j {
            let other = &above[k * size..k * size + k];
            let dot: f64 = pivot_row[..k].iter().zip(other).map(|(x, y)| x * y).sum();
            let left = pivot_row[k] - dot;
            pivot_row[k] = match inverses.get(k) {
                Some(inverse) => left * inverse,
                None => left / above[k * size + k],
            };
        }
        let before = pivot_row[j];
        let pivot = before - pivot_row[..j].iter().map(|x| x * x).sum::<f64>();
        // What is left of a column that depends on the earlier ones is rounding: a few units of the
        // last place of what it was.
        if pivot.is_nan() || pivot <= before.abs() * 1e-13 {
            return None;
        }
        pivot_row[j] = pivot.sqrt();
        if let Some(inverse) = inverses.get_mut(j) {
            *inverse = 1.0 / pivot_row[j];
        }
        product *= pivot;
        if !(1e-100..1e100).contains(&product) {
            determinant_ln += product.ln();
            product = 1.0;
        }
    }
    Some(determinant_ln + product.ln())
}

/// Replaces `x` by `L^-1 x`.
pub fn solve_lower(l: &[f64], size: usize, x: &mut [f64]) {
    for i in 0..size {
        let row = &l[i * size..i * size + i];
        let dot: f64 = row.iter().zip(x.iter()).map(|(a, b)| a * b).sum();
        x[i] = (x[i] - dot) / l[i * size + i];
    }
}

/// Replaces `x` by `L'^-1 x`.
pub fn solve_upper(l: &[f64], size: usize, x: &mut [f64]) {
    for i in (0..size).rev() {
        let row = &l[i * size..=i * size + i];
        x[i] /= row[i];
        let (above, own) = x.split_at_mut(i);
        for (x, l) in above.iter_mut().zip(row) {
            *x -= l * own[0];
        }
    }
}

/// `A^-1` from `L`, whole.
pub fn inverse(l: &[f64], size: usize) -> Vec<f64> {
    let mut inverse = Vec::new();
    inverse_into(l, size, &mut inverse);
    inverse
}

/// `A^-1` from `L`, whole, into a buffer.
///
/// The inverse of `L` goes, transposed, into the upper triangle, its reciprocal diagonal where it belongs;
/// the product of the two triangles then overwrites it from the top.
pub fn inverse_into(l: &[f64], size: usize, inverse: &mut Vec<f64>) {
    inverse.clear();
    inverse.resize(size * size, 0.0);
    for i in 0..size {
        let diagonal = 1.0 / l[i * size + i];
        for j in 0..i {
            let row = &l[i * size + j..i * size + i];
            let column = &mut inverse[j * size..(j + 1) * size];
            let dot: f64 = row.iter().zip(&column[j..i]).map(|(a, b)| a * b).sum();
            column[i] = -dot * diagonal;
        }
        inverse[i * size + i] = diagonal;
    }
    for i in 0..size {
        for j in i..size {
            let (own, other) =
                (&inverse[i * size + j..(i + 1) * size], &inverse[j * size + j..(j + 1) * size]);
            inverse[i * size + j] = own.iter().zip(other).map(|(a, b)| a * b).sum();
        }
    }
    for i in 0..size {
        for j in 0..i {
            inverse[i * size + j] = inverse[j * size + i];
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
