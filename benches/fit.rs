//! Time of a fit: the solve alone, one setup, a thousand setups.

use shrinkrule::stats::least_squares::Rows;

fn main() {
    divan::main();
}

/// A design of forty distinct rows and nine coefficients, as a coupon set of seven kinds gives.
#[divan::bench]
fn solve_forty_rows_for_nine_coefficients(bencher: divan::Bencher) {
    bencher.bench(|| {
        let mut rows = Rows::new(9);
        for i in 0..40_u32 {
            let x = f64::from(3 + i * 7 % 37);
            let kind = (i % 7) as usize;
            let row = (0..9).map(|j| match j {
                7 => x,
                8 => f64::from(kind == 0) / x,
                kind_column => f64::from(kind_column == kind),
            });
            rows.push_repeated(row, 0.01 * f64::from(i * 31 % 11), 8, 0.003);
        }
        rows.solve()
    });
}
