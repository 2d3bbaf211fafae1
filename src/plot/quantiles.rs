//! Normal quantile plot: whether the residuals scatter as chance would have it.
//!
//! Sorted studentised residuals over the normal quantiles of their ranks. The i-th of n sorted shares
//! follows a beta distribution with i and n + 1 - i; its 2.5, 50 and 97.5 % points, taken through
//! Student t, give the middle line and the envelope. The envelope is for one rank at a time: with many
//! points a few lie outside it by chance.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.3.21 (normal probability plot).

use statrs::distribution::{Beta, ContinuousCDF};

use super::PlotError;
use super::axis::{self, Axis};
use super::canvas::Canvas;
use super::labels::{self, Labels};
use super::legend::{self, Sign};
use super::look::{self, GREY};
use super::plane::{self, Place, Plane, SIZE};
use super::points::{self, Used};
use crate::correction::fitted::Fit;
use crate::stats::distribution::t_quantile;

/// Ranks at which the envelope is computed; between them it is straight.
const ENVELOPE_STEPS: usize = 48;
const MIDDLE: &[f64] = &[6.0, 4.0];

/// A residual and the normal quantile of its rank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ranked {
    /// The point.
    pub point: Used,
    /// What a normal sample would have at this rank.
    pub normal: f64,
    /// Its studentised residual.
    pub studentised: f64,
}

/// What is to be expected at a rank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// The normal quantile of the rank.
    pub normal: f64,
    /// 2.5, 50 and 97.5 % points of the studentised residual there.
    pub low: f64,
    /// The middle.
    pub middle: f64,
    /// The upper end.
    pub high: f64,
}

/// The figure's data.
#[derive(Clone, Debug, PartialEq)]
pub struct QuantilesFigure {
    /// The line below the title.
    pub subtitle: String,
    /// The residuals, rising.
    pub ranked: Vec<Ranked>,
    /// The envelope, from left to right; empty when the fit has too few degrees of freedom.
    pub envelope: Vec<Expected>,
    /// The studentised residual beyond which a point is named.
    pub unusual_beyond: f64,
}

impl QuantilesFigure {
    /// The data of a fit.
    pub fn of(fit: &Fit) -> Result<Self, PlotError> {
        let used = points::used(fit)?;
        let unusual_beyond = points::unusual_beyond(used.len(), fit.correction.dof);
        let mut residuals: Vec<(f64, Used)> =
            used.into_iter().filter_map(|point| Some((point.studentised?, point))).collect();
        residuals.sort_by(|a, b| a.0.total_cmp(&b.0));
        let count = residuals.len();
        let ranked = residuals
            .into_iter()
            .enumerate()
            .map(|(index, (studentised, point))| {
                let normal = t_quantile(middle_share(index + 1, count), f64::INFINITY);
                Ranked { point, normal, studentised }
            })
            .collect();
        let dof = fit.correction.dof - 1.0;
        let envelope = if dof > 0.0 { envelope(count, dof) } else { Vec::new() };
        Ok(Self { subtitle: points::subtitle(fit), ranked, envelope, unusual_beyond })
    }

    /// Draws it.
    pub fn draw(&self, canvas: &mut Canvas) -> Result<(), PlotError> {
        let area = plane::open(canvas, super::QUANTILES.1, &self.subtitle)?;
        let place = Place(84.0, 72.0, f64::from(SIZE.0) - 84.0 - 196.0, f64::from(SIZE.1) - 72.0 - 56.0);
        let reach = self.ranked.last().map_or(1.0, |last| last.normal.abs());
        let across = Axis::linear(-reach, reach, 2.0, 9);
        let values = self.ranked.iter().map(|ranked| ranked.studentised.abs());
        let (_, most) = axis::span(values.chain([reach])).unwrap_or((0.0, 1.0));
        let edges = self.envelope.iter().map(|at| at.high.min(1.5 * most));
        let (_, most) = axis::span(edges.chain([most])).unwrap_or((0.0, most));
        let plane = Plane::new(&area, place, across, Axis::linear(-most, most, 2.0, 9), true)?;
        let edges: Vec<_> = self.envelope.iter().map(|at| (at.normal, at.low, at.high)).collect();
        plane.band(&edges, GREY, 0.18)?;
        plane.line(self.envelope.iter().map(|at| (at.normal, at.middle)), MIDDLE, look::line(GREY, 1.6))?;
        let radius = look::point_radius(self.ranked.len());
        for ranked in &self.ranked {
            let at = plane.at(ranked.normal, ranked.studentised);
            look::draw_point(&area, at, look::of(ranked.point.kind), radius)?;
        }
        plane.frame()?;
        if self.ranked.len() < 3 {
            plane.remark("too few residuals to rank")?;
        }
        self.name_unusual(&plane)?;
        plane::axis_titles(&area, place, "normal quantile of the rank", "studentised residual")?;
        let mut signs = legend::kinds(|kind| self.ranked.iter().any(|ranked| ranked.point.kind == kind));
        if !self.envelope.is_empty() {
            signs.push((Sign::Line(GREY, MIDDLE), "expected".to_owned()));
            signs.push((Sign::Band(GREY, 0.18), "95 % at each rank".to_owned()));
        }
        legend::column(&area, (place.0 + place.2 + 20.0, place.1), &signs)
    }

    fn name_unusual(&self, plane: &Plane) -> Result<(), PlotError> {
        let mut labels =
            Labels::clear_of(self.ranked.iter().map(|ranked| plane.at(ranked.normal, ranked.studentised)));
        let unusual = self.ranked.iter().filter(|ranked| ranked.studentised.abs() > self.unusual_beyond);
        let mut unusual: Vec<&Ranked> = unusual.collect();
        unusual.sort_by(|a, b| b.studentised.abs().total_cmp(&a.studentised.abs()));
        for (index, ranked) in unusual.into_iter().enumerate() {
            let at = plane.at(ranked.normal, ranked.studentised);
            legend::ring(&plane.area, at)?;
            if index < labels::MOST {
                labels.write(plane, at, &format!("line {}", ranked.point.line))?;
            }
        }
        Ok(())
    }
}

/// The middle of the distribution of the `rank`-th of `count` sorted shares.
///
/// Filliben's approximation, exact for the first and last: e-Handbook 1.3.3.21.
fn middle_share(rank: usize, count: usize) -> f64 {
    let n = count as f64;
    let last = 0.5_f64.powf(1.0 / n);
    match rank {
        _ if rank == count => last,
        1 => 1.0 - last,
        _ => (rank as f64 - 0.3175) / (n + 0.365),
    }
}

fn envelope(count: usize, dof: f64) -> Vec<Expected> {
    if count < 3 {
        return Vec::new();
    }
    let steps = ENVELOPE_STEPS.min(count);
    // Evenly over the normal quantiles: the ends bend most.
    let reach = t_quantile(middle_share(count, count), f64::INFINITY);
    let share = |normal: f64| crate::stats::distribution::t_below(normal, f64::INFINITY);
    let mut ranks: Vec<usize> = (0..steps)
        .map(|step| -reach + 2.0 * reach * step as f64 / (steps - 1) as f64)
        .map(|normal| {
            (share(normal) * (count as f64 + 0.365) + 0.3175).round().clamp(1.0, count as f64) as usize
        })
        .collect();
    ranks.dedup();
    ranks
        .into_iter()
        .filter_map(|rank| {
            let beta = Beta::new(rank as f64, (count + 1 - rank) as f64).ok()?;
            let at = |p: f64| t_quantile(beta.inverse_cdf(p), dof);
            let normal = t_quantile(middle_share(rank, count), f64::INFINITY);
            Some(Expected { normal, low: at(0.025), middle: at(0.5), high: at(0.975) })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the beta distribution itself; the common (rank - 0.5) / count would be off by 0.014.
    #[test]
    fn ranks_are_placed_at_the_medians_of_sorted_shares() {
        for rank in 1..=5 {
            let exact = Beta::new(rank as f64, (6 - rank) as f64).unwrap().inverse_cdf(0.5);
            assert!((middle_share(rank, 5) - exact).abs() < 5e-4, "rank {rank}");
        }
    }

    #[test]
    fn the_envelope_is_widest_at_its_ends_and_the_same_on_both_sides() {
        let envelope = envelope(40, 30.0);
        let width = |at: &Expected| at.high - at.low;
        let (first, middle, last) = (envelope[0], envelope[envelope.len() / 2], envelope[envelope.len() - 1]);
        assert!(width(&first) > 2.0 * width(&middle));
        assert!((first.low + last.high).abs() < 1e-6 && (first.normal + last.normal).abs() < 1e-9);
        // Five in a hundred of the largest of 40 exceed the upper end; its median is about 2.2 sd.
        assert!((2.0..2.4).contains(&last.middle) && (3.0..4.2).contains(&last.high), "{last:?}");
    }
}
