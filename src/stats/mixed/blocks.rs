//! A model fitted over and over to the same rows with other weights: rows in blocks of four.
//!
//! The rows stand block by block, in a block column by column, so that four rows are one short loop that
//! the compiler turns into vector instructions. Each group begins a new block and its last one is filled up
//! with rows of nothing. The effects of a group are coefficients of its own: the first ones, times a factor.

use std::ops::Range;

use super::{Products, Reduced, Solution, add_times};
use crate::stats::cholesky::{self, LogProduct};

/// Rows of a block.
pub const ROWS: usize = 4;
/// A number of each row of a block.
pub type Block = [f64; ROWS];

/// Rows in blocks.
#[derive(Clone, Debug)]
pub struct Blocks {
    coefficients: usize,
    /// Columns of a block: the coefficients' terms, the observations, and as many of nothing as fill it up.
    stride: usize,
    values: Vec<Block>,
    /// The blocks of each group.
    groups: Vec<Range<usize>>,
    /// What the value of an effect is over that of the coefficient in its place.
    factors: Vec<f64>,
}

impl Blocks {
    /// Rows of so many coefficients, given group after group: terms and observation. `factors` are those of
    /// the effects.
    pub fn new<'a>(
        coefficients: usize,
        factors: &[f64],
        groups: impl Iterator<Item = impl Iterator<Item = (&'a [f64], f64)>>,
    ) -> Self {
        let stride = (coefficients + 1).next_multiple_of(ROWS);
        let mut blocks =
            Self { coefficients, stride, values: vec![], groups: vec![], factors: factors.to_vec() };
        for group in groups {
            let start = blocks.values.len();
            for (place, (x, y)) in group.enumerate() {
                if place % ROWS == 0 {
                    blocks.values.resize(blocks.values.len() + stride, [0.0; ROWS]);
                }
                let at = blocks.values.len() - stride;
                for (block, value) in blocks.values[at..].iter_mut().zip(x.iter().chain([&y])) {
                    block[place % ROWS] = *value;
                }
            }
            blocks.groups.push(start / stride..blocks.values.len() / stride);
        }
        blocks
    }

    /// Where the rows stand among all places, those of nothing included, in the order given: `rows` of each
    /// group.
    pub fn places(&self, rows: &[usize]) -> Vec<usize> {
        let each = self.groups.iter().zip(rows);
        each.flat_map(|(blocks, rows)| (0..*rows).map(|row| blocks.start * ROWS + row)).collect()
    }

    /// How many places there are.
    pub fn len(&self) -> usize {
        self.values.len() / self.stride * ROWS
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// Adds weighted sums of products of column `column` with the first ones to `sums`, four at a time and
    /// as many as `sums` has.
    fn add_products(&self, column: usize, blocks: &Range<usize>, weights: &[Block], sums: &mut [[f64; 4]]) {
        let values = &self.values[blocks.start * self.stride..blocks.end * self.stride];
        let mut tile = Tile::default();
        for (four, sums) in sums.iter_mut().enumerate() {
            let blocks = values.chunks_exact(self.stride).zip(&weights[blocks.clone()]);
            weighted_products(blocks, column, 4 * four, &mut tile);
            for (sum, [a, b, c, d]) in sums.iter_mut().zip(&tile) {
                *sum += (a + c) + (b + d);
            }
        }
    }
}

/// Four sums for each row of a block: half of the registers that every 64-bit processor has.
type Tile = [Block; 4];

/// Sums over blocks of the products of one column, weighted, with four.
// Not inlined: where the compiler sees what becomes of the sums it orders them by that, and shuffles in the
// loop; that takes five times as long.
#[inline(never)]
fn weighted_products<'a>(
    blocks: impl Iterator<Item = (&'a [Block], &'a Block)>,
    column: usize,
    first: usize,
    into: &mut Tile,
) {
    let mut sums = Tile::default();
    for (block, weights) in blocks {
        let own = &block[column];
        let weighted: Block = std::array::from_fn(|row| own[row] * weights[row]);
        for (sum, other) in sums.iter_mut().zip(&block[first..first + 4]) {
            for ((sum, weighted), other) in sum.iter_mut().zip(&weighted).zip(other) {
                *sum += weighted * other;
            }
        }
    }
    *into = sums;
}

/// Four sums over columns, each times a number of its own.
// Not inlined, as above.
#[inline(never)]
fn combinations<'a>(columns: &[Block], numbers: impl Iterator<Item = &'a [f64; 4]>, into: &mut Tile) {
    let mut sums = Tile::default();
    for (column, numbers) in columns.iter().zip(numbers) {
        for (sum, number) in sums.iter_mut().zip(numbers) {
            sum.iter_mut().zip(column).for_each(|(sum, value)| *sum += number * value);
        }
    }
    *into = sums;
}

impl Products {
    /// Takes in all of these rows; a place of nothing has a weight of zero, any other a positive one.
    /// `sums` is memory that is used again.
    pub fn add_blocks(&mut self, rows: &Blocks, weights: &[Block], sums: &mut Vec<[f64; 4]>) {
        let (q, r) = (self.coefficients, self.effects);
        // The columns that a group has effects of: once for each group.
        for (group, blocks) in rows.groups.iter().enumerate() {
            for (i, factor) in rows.factors.iter().enumerate() {
                sums.clear();
                sums.resize(rows.stride / 4, [0.0; 4]);
                rows.add_products(i, blocks, weights, sums);
                let sums = sums.as_flattened();
                let (zz, zx, zy) = self.group_mut(group);
                for ((zz, factor_j), sum) in zz[i * r..=i * r + i].iter_mut().zip(&rows.factors).zip(sums) {
                    *zz += factor * factor_j * sum;
                }
                add_times(&mut zx[i * q..(i + 1) * q], *factor, sums);
                zy[i] += factor * sums[q];
                add_times(&mut self.xx[i * q..=i * q + i], 1.0, sums);
                self.xy[i] += sums[q];
            }
        }
        // All others, and last the observations.
        let all = 0..weights.len();
        for i in r..=q {
            sums.clear();
            sums.resize(i / 4 + 1, [0.0; 4]);
            rows.add_products(i, &all, weights, sums);
            let sums = sums.as_flattened();
            if i < q {
                add_times(&mut self.xx[i * q..=i * q + i], 1.0, sums);
            } else {
                add_times(&mut self.xy[r..], 1.0, &sums[r..]);
                self.yy += sums[q];
            }
        }
        let mut product = LogProduct::default();
        for weight in weights.as_flattened().iter().filter(|weight| **weight > 0.0) {
            product.multiply(*weight);
            self.rows += 1.0;
        }
        self.weights_ln += product.ln();
    }
}

/// What rows are under a solution, place by place.
#[derive(Clone, Debug, Default)]
pub struct FittedRows {
    /// Fitted values, the groups' effects included.
    pub fitted: Vec<Block>,
    /// Their variances.
    pub variances: Vec<Block>,
    /// Inverse of the factor of the coefficients' precision.
    inverse: Vec<f64>,
    /// Its transpose, and the same as seen by one group: numbers that rows' terms are multiplied by, term by
    /// term. Sums are, first, what is squared for the variance, and last the fitted value.
    shared: Vec<f64>,
    roots: Vec<f64>,
    /// Of one group: what the effects fall by when a coefficient rises, and last what they are without any;
    /// and the root of their covariance. All times the effects' factors.
    pull: Vec<f64>,
    effects_root: Vec<f64>,
}

impl FittedRows {
    /// Fills itself from a solution and what it is a solution of.
    ///
    /// ```text
    /// fitted = x b + z u        u = pulled by y - x b
    /// variance = |L^-1 (x - z pull)|^2 + |l^-1 sd z|^2      L L' the coefficients' precision, l l' the effects'
    /// ```
    pub fn fill(&mut self, rows: &Blocks, effect_sds: &[f64], reduced: &Reduced, solution: &Solution) {
        let (q, r) = (rows.coefficients, rows.factors.len());
        let blocks = rows.len() / ROWS;
        self.fitted.resize(blocks, [0.0; ROWS]);
        self.variances.resize(blocks, [0.0; ROWS]);
        cholesky::inverse_of_factor_into(&solution.l, q, &mut self.inverse);
        let stride = (q + r + 1).next_multiple_of(4);
        self.shared.clear();
        self.shared.resize(q * stride, 0.0);
        for (term, numbers) in self.shared.chunks_exact_mut(stride).enumerate() {
            for (i, number) in numbers[..q].iter_mut().enumerate().skip(term) {
                *number = self.inverse[i * q + term];
            }
            numbers[q + r] = solution.mean[term];
        }
        for (group, own) in rows.groups.iter().enumerate() {
            self.pull(group, rows, effect_sds, reduced);
            self.roots.clear();
            self.roots.extend_from_slice(&self.shared);
            for (i, pull) in self.pull.chunks_exact(q + 1).enumerate() {
                let numbers = &mut self.roots[i * stride..(i + 1) * stride];
                // As a sum of what is squared it is taken from what its own coefficient does; as a fitted
                // value it is what is left of the effect with the coefficients as they are.
                for (pull, shared) in pull.iter().zip(self.shared.chunks_exact(stride)) {
                    add_times(numbers, -pull, shared);
                }
                numbers[q + r] += pull[q];
                for (row, number) in numbers[q..q + r].iter_mut().enumerate().skip(i) {
                    *number = self.effects_root[row * r + i];
                }
            }
            self.fill_group(rows, own.clone());
        }
    }

    /// What the effects of a group are pulled by: `sd l'^-1 l^-1 sd` times their products; and `l^-1 sd`.
    fn pull(&mut self, group: usize, rows: &Blocks, effect_sds: &[f64], reduced: &Reduced) {
        let (q, r) = (rows.coefficients, rows.factors.len());
        let factor = &reduced.factor[group * r * r..(group + 1) * r * r];
        self.pull.clear();
        self.pull.extend_from_slice(&reduced.scaled[group * r * (q + 1)..(group + 1) * r * (q + 1)]);
        for i in (0..r).rev() {
            let (above, rest) = self.pull.split_at_mut(i * (q + 1));
            let pull = &mut rest[..=q];
            pull.iter_mut().for_each(|pull| *pull *= factor[i * r + i]);
            for k in 0..i {
                add_times(&mut above[k * (q + 1)..=k * (q + 1) + q], -factor[i * r + k], pull);
            }
            pull.iter_mut().for_each(|pull| *pull *= effect_sds[i] * rows.factors[i]);
        }
        cholesky::inverse_of_factor_into(factor, r, &mut self.effects_root);
        for row in self.effects_root.chunks_exact_mut(r) {
            row.iter_mut().zip(effect_sds.iter().zip(&rows.factors)).for_each(|(l, (sd, f))| *l *= sd * f);
        }
    }

    fn fill_group(&mut self, rows: &Blocks, own: Range<usize>) {
        let (q, r) = (rows.coefficients, rows.factors.len());
        let tiles = (q + r + 1).div_ceil(4);
        let (numbers, _) = self.roots.as_chunks::<4>();
        let to = self.fitted[own.clone()].iter_mut().zip(&mut self.variances[own.clone()]);
        let values = &rows.values[own.start * rows.stride..own.end * rows.stride];
        let mut sums = Tile::default();
        for ((fitted, variances), block) in to.zip(values.chunks_exact(rows.stride)) {
            let mut squares = [0.0; ROWS];
            for tile in 0..tiles {
                // Terms further down have nothing to do with these sums.
                let last = 4 * tile + 4;
                let end = if last > q { q } else { last.max(r) };
                combinations(&block[..end], numbers[tile..].iter().step_by(tiles), &mut sums);
                if tile + 1 == tiles {
                    *fitted = std::mem::take(&mut sums[(q + r) % 4]);
                }
                for sum in &sums {
                    squares.iter_mut().zip(sum).for_each(|(to, root)| *to += root * root);
                }
            }
            *variances = squares;
        }
    }
}
