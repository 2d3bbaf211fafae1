//! Sums of squares and products of one kind's cells, about their means: what the forms of the model are
//! compared by, without fitting each of them row by row.

use crate::kind::Kind;

use super::observations::Cell;

/// Centred sums over the observations of one kind: `x` drawn size, `z` its inverse, `y` deviation.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moments {
    pub kind: Kind,
    pub count: u64,
    /// How many distinct sizes.
    pub sizes: usize,
    pub min_mm: f64,
    pub max_mm: f64,
    pub xx: f64,
    pub xy: f64,
    pub yy: f64,
    pub xz: f64,
    pub yz: f64,
    pub zz: f64,
    /// Mean deviation.
    pub mean_mm: f64,
}

impl Moments {
    /// Of cells of one kind, sorted by size. `None` when there are none.
    pub fn of(cells: &[Cell]) -> Option<Self> {
        let (first, last) = (cells.first()?, cells.last()?);
        let (mut count, mut x, mut y, mut z) = (0, 0.0, 0.0, 0.0);
        for cell in cells {
            let n = cell.count as f64;
            count += cell.count;
            x += n * cell.nominal_mm;
            y += n * cell.mean_mm;
            z += n / cell.nominal_mm;
        }
        let [x, y, z] = [x, y, z].map(|sum| sum / count as f64);
        let mut sums = Self {
            kind: first.kind,
            count,
            sizes: cells.len(),
            min_mm: first.nominal_mm,
            max_mm: last.nominal_mm,
            xx: 0.0,
            xy: 0.0,
            yy: cells.iter().map(|cell| cell.squares_mm2).sum(),
            xz: 0.0,
            yz: 0.0,
            zz: 0.0,
            mean_mm: y,
        };
        if cells.len() > 1 {
            for cell in cells {
                let n = cell.count as f64;
                let (x, y, z) = (cell.nominal_mm - x, cell.mean_mm - y, 1.0 / cell.nominal_mm - z);
                sums.xx += n * x * x;
                sums.xy += n * x * y;
                sums.yy += n * y * y;
                sums.xz += n * x * z;
                sums.yz += n * y * z;
                sums.zz += n * z * z;
            }
        }
        Some(sums)
    }
}

/// What is left of `yy` after the best multiple of one regressor: `yy - xy^2 / xx`.
pub(super) fn after_one(yy: f64, xx: f64, xy: f64) -> f64 {
    (yy - xy * xy / xx).max(0.0)
}

/// What is left of `yy` after the best mixture of two regressors.
///
/// `None` when the two say the same: their squared correlation is 1 to nine digits.
pub(super) fn after_two(yy: f64, (xx, xy): (f64, f64), (zz, yz): (f64, f64), xz: f64) -> Option<f64> {
    let free = zz - xz * xz / xx;
    (free > 1e-9 * zz).then(|| {
        let product = yz - xz * xy / xx;
        (after_one(yy, xx, xy) - product * product / free).max(0.0)
    })
}
