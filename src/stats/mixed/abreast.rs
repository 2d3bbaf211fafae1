//! The group effects eliminated under several sets of their standard deviations at once.

use super::{Products, Reduced};
use crate::stats::abreast::{Each, factor, ln, multiply, subtract_product};

/// Models without their group effects, one for each set of standard deviations.
#[derive(Clone, Debug)]
pub struct ReducedAbreast<const W: usize> {
    pub(in crate::stats) size: usize,
    /// Lower triangles, row by row.
    pub(in crate::stats) xx: Vec<Each<W>>,
    pub(in crate::stats) xy: Vec<Each<W>>,
    pub(in crate::stats) yy: Each<W>,
    pub(in crate::stats) determinant_ln: Each<W>,
    pub(in crate::stats) constant: f64,
    factor: Vec<Each<W>>,
    scaled: Vec<Each<W>>,
}

impl<const W: usize> Default for ReducedAbreast<W> {
    fn default() -> Self {
        Self {
            size: 0,
            xx: Vec::new(),
            xy: Vec::new(),
            yy: [0.0; W],
            determinant_ln: [0.0; W],
            constant: 0.0,
            factor: Vec::new(),
            scaled: Vec::new(),
        }
    }
}

impl Products {
    /// As [`Self::reduce`], with `W` values of each effect's standard deviation.
    pub fn reduce_abreast<const W: usize>(&self, effect_sds: &[Each<W>], into: &mut ReducedAbreast<W>) {
        let (q, r) = (self.coefficients, self.effects);
        into.size = q;
        into.xx.clear();
        into.xx.extend(self.xx.iter().map(|value| [*value; W]));
        into.xy.clear();
        into.xy.extend(self.xy.iter().map(|value| [*value; W]));
        into.yy = [self.yy; W];
        into.constant = self.constant();
        into.determinant_ln = [0.0; W];
        into.factor.resize(r * r, [0.0; W]);
        into.scaled.resize(r * (q + 1), [0.0; W]);
        for group in self.groups() {
            for i in 0..r {
                for j in 0..=i {
                    let product = group.zz[i * r + j];
                    into.factor[i * r + j] =
                        std::array::from_fn(|lane| effect_sds[i][lane] * product * effect_sds[j][lane]);
                }
                into.factor[i * r + i].iter_mut().for_each(|value| *value += 1.0);
            }
            let determinant_ln = ln(&factor(&mut into.factor, r));
            into.determinant_ln.iter_mut().zip(determinant_ln).for_each(|(sum, ln)| *sum += ln);
            for (i, sds) in effect_sds.iter().enumerate() {
                for c in 0..=q {
                    let own = if c == q { group.zy[i] } else { group.zx[i * q + c] };
                    let (known, rest) = into.scaled.split_at_mut(i * (q + 1));
                    let scaled = &mut rest[c];
                    *scaled = sds.map(|sd| sd * own);
                    for k in 0..i {
                        subtract_product(scaled, &into.factor[i * r + k], &known[k * (q + 1) + c]);
                    }
                    multiply(scaled, &into.factor[i * r + i]);
                }
                let row = &into.scaled[i * (q + 1)..(i + 1) * (q + 1)];
                let y = &row[q];
                for a in 0..q {
                    for (sum, value) in into.xx[a * q..=a * q + a].iter_mut().zip(row) {
                        subtract_product(sum, &row[a], value);
                    }
                    subtract_product(&mut into.xy[a], &row[a], y);
                }
                subtract_product(&mut into.yy, y, y);
            }
        }
    }
}

impl<const W: usize> ReducedAbreast<W> {
    /// One of them.
    pub fn one_into(&self, lane: usize, into: &mut Reduced) {
        into.size = self.size;
        let of = |from: &[Each<W>], to: &mut Vec<f64>| {
            to.clear();
            to.extend(from.iter().map(|value| value[lane]));
        };
        of(&self.xx, &mut into.xx);
        of(&self.xy, &mut into.xy);
        into.yy = self.yy[lane];
        into.determinant_ln = self.determinant_ln[lane];
        into.constant = self.constant;
    }
}
