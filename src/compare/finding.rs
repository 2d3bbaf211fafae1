//! The mean change of a group of features, of each material in each soak, with its interval.
//!
//! ```text
//! change = beta * f + u_piece * f + e        f = 1, or drawn size / longest drawn size
//! ```
//!
//! `f` says how a change goes with size: the same in mm at every size, or in proportion. Which of the two is
//! asked of the data, group by group over all materials and soaks, and kept where they do not differ in it
//! clearly: lengths in proportion, bores the same. `beta` is then the change at the longest size measured,
//! where a change in proportion is largest.
//!
//! The variances are estimated by REML. The interval is Student's t with one degree of freedom less than
//! pieces, whatever the split of the variances: with pieces measured alike that is exact where pieces differ, and
//! careful where they do not. The reference's doubt comes in by Cochran and Cox's rule, which never covers less.

use std::collections::BTreeMap;

use crate::stats::difference::{Estimate, mean};
use crate::stats::dof::careful;
use crate::stats::reml::variance_components_along;

use super::group::{Group, Sort};
use super::pairing::{Change, Study};
use super::verdict::{Verdict, more_pieces};

/// How a change goes with size.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// In proportion to the drawn size.
    InProportion,
    /// The same at every size.
    Same,
}

/// What is known of one group of one material in one soak.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Number of the material.
    pub material: usize,
    /// Number of the soak.
    pub condition: usize,
    /// The features.
    pub group: Group,
    /// How their changes go with size.
    pub form: Form,
    /// The size that the change is given at, mm: the longest, or the mean one where it is the same at all.
    pub at_mm: f64,
    /// The mean change there, mm.
    pub mean_mm: f64,
    /// With its standard error; `None` with a single piece.
    pub estimate: Option<Estimate>,
    /// Change of each piece, mm at the same size, by the piece's number; the reference is taken out.
    pub pieces: Vec<(usize, f64)>,
    /// How many features, counted once however many pieces have them.
    pub features: usize,
    /// Standard deviation of pieces' changes, mm; `None` with a single piece.
    pub piece_sd_mm: Option<f64>,
    /// Whether it stays within the limit.
    pub verdict: Verdict,
    /// How many more pieces would tell; `None` where it is told, or where no bearable number would.
    pub more_pieces: Option<u32>,
}

impl Finding {
    /// Ends of the 95 % interval, mm.
    pub fn interval_mm(&self) -> Option<(f64, f64)> {
        self.estimate.map(|estimate| estimate.interval(0.95))
    }

    /// A length as a share of the size it is given at, percent.
    pub fn percent(&self, mm: f64) -> f64 {
        100.0 * mm / self.at_mm
    }

    /// Whether the interval excludes zero.
    pub fn is_real(&self) -> bool {
        self.interval_mm().is_some_and(|(low, high)| low > 0.0 || high < 0.0)
    }
}

/// Every finding, by material, condition and group.
pub fn findings(study: &Study, limit_mm: f64) -> Vec<Finding> {
    let mut cells: BTreeMap<(usize, usize, Group), Vec<&Change>> = BTreeMap::new();
    for change in &study.changes {
        cells.entry((change.material, change.condition, change.group)).or_default().push(change);
    }
    let mut groups: BTreeMap<Group, Vec<&Vec<&Change>>> = BTreeMap::new();
    for ((_, _, group), changes) in &cells {
        groups.entry(*group).or_default().push(changes);
    }
    let forms: BTreeMap<Group, (Form, f64)> =
        groups.iter().map(|(group, cells)| (*group, form(*group, cells))).collect();
    let of = |((material, condition, group), changes): (&(usize, usize, Group), &Vec<&Change>)| {
        let (form, at_mm) = forms[group];
        finding(study, (*material, *condition, *group), changes, (form, at_mm), limit_mm)
    };
    cells.iter().map(of).collect()
}

/// Sizes nearer to each other than this ratio tell no form from the other. By feel.
const DISTINCT: f64 = 1.3;

/// The other form has to be so much likelier: a difference of AIC of 6 is strong evidence. Source: Burnham and
/// Anderson 2002, 2.6.
const CLEARLY: f64 = 6.0;

/// The form of a group over all materials and soaks, and the size that its changes are given at.
fn form(group: Group, cells: &[&Vec<&Change>]) -> (Form, f64) {
    let all = || cells.iter().flat_map(|changes| changes.iter());
    let longest = all().map(|change| change.nominal_mm).fold(0.0, f64::max);
    let shortest = all().map(|change| change.nominal_mm).fold(f64::INFINITY, f64::min);
    let usual = match group.sort {
        Sort::Length => Form::InProportion,
        _ => Form::Same,
    };
    let aic = |form: Form| -> f64 {
        cells
            .iter()
            .map(|changes| {
                let f = |change: &Change| factor(form, change.nominal_mm, longest);
                let slope = slope(changes.iter().map(|change| (f(change), change.change_mm)));
                let left: f64 =
                    changes.iter().map(|change| (change.change_mm - slope * f(change)).powi(2)).sum();
                let n = changes.len() as f64;
                // Rounded readings leave at least this.
                n * (left / n).max(1e-6).ln()
            })
            .sum()
    };
    let other = match usual {
        Form::InProportion => Form::Same,
        Form::Same => Form::InProportion,
    };
    let form = if longest > DISTINCT * shortest && aic(other) < aic(usual) - CLEARLY { other } else { usual };
    let count = all().count() as f64;
    match form {
        Form::InProportion => (form, longest),
        Form::Same => (form, all().map(|change| change.nominal_mm).sum::<f64>() / count),
    }
}

fn factor(form: Form, nominal_mm: f64, longest_mm: f64) -> f64 {
    match form {
        Form::InProportion => nominal_mm / longest_mm,
        Form::Same => 1.0,
    }
}

/// The least-squares slope through the origin.
fn slope(points: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (xy, xx) = points.fold((0.0, 0.0), |(xy, xx), (x, y)| (xy + x * y, xx + x * x));
    xy / xx
}

fn finding(
    study: &Study,
    (material, condition, group): (usize, usize, Group),
    changes: &[&Change],
    (form, at_mm): (Form, f64),
    limit_mm: f64,
) -> Finding {
    let f = |change: &Change| factor(form, change.nominal_mm, at_mm);
    let mut numbers: Vec<usize> = changes.iter().map(|change| change.piece).collect();
    numbers.dedup();
    let of_piece = |piece: usize| {
        let own = changes.iter().filter(|change| change.piece == piece);
        (piece, slope(own.map(|change| (f(change), change.change_mm))))
    };
    let pieces: Vec<(usize, f64)> = numbers.iter().map(|piece| of_piece(*piece)).collect();
    let x: Vec<Vec<f64>> = changes.iter().map(|change| vec![f(change)]).collect();
    let z: Vec<f64> = x.iter().map(|row| row[0]).collect();
    let y: Vec<f64> = changes.iter().map(|change| change.change_mm).collect();
    let piece_of: Vec<usize> =
        changes.iter().map(|change| numbers.partition_point(|piece| *piece < change.piece)).collect();
    let n = pieces.len() as f64;
    let fitted = variance_components_along(&x, &z, &piece_of, &y).filter(|_| pieces.len() > 1);
    // Readings that agree to the last digit still were rounded.
    let rounding = study.rounding_sd_mm.powi(2) / z.iter().map(|f| f * f).sum::<f64>();
    // Pieces that agree in all their features, to the last digit, leave REML no residual to go by.
    let scatter =
        mean(&pieces.iter().map(|piece| piece.1).collect::<Vec<_>>()).map_or(0.0, |it| it.se.powi(2));
    let own = fitted.as_ref().map(|fit| fit.covariance[0].max(scatter).max(rounding));
    let reference = study.references[condition].map(|reference| reference.estimate);
    let shared = reference.map_or((0.0, f64::INFINITY), |estimate| (estimate.se.powi(2), estimate.dof));
    // What is taken out of a reading in mm goes into the slope as the mean of the factors' pull.
    let pull = slope(z.iter().map(|f| (*f, 1.0)));
    let shared = (shared.0 * pull * pull, shared.1);
    let mean_mm = fitted
        .as_ref()
        .map_or_else(|| pieces.iter().map(|piece| piece.1).sum::<f64>() / n, |fit| fit.coefficients[0]);
    let estimate = own.map(|own| Estimate {
        value: mean_mm,
        se: (own + shared.0).sqrt(),
        dof: careful(&[(own, n - 1.0), shared]),
    });
    let verdict = Verdict::of(estimate, limit_mm);
    let piece_sd_mm = own.map(|own| (own * n).sqrt());
    let more = piece_sd_mm
        .filter(|_| verdict == Verdict::CannotTell)
        .and_then(|sd| more_pieces(mean_mm, limit_mm, pieces.len(), sd, shared.0.sqrt()));
    let mut names: Vec<_> =
        changes.iter().map(|change| (&change.coupon, &change.feature, change.axis)).collect();
    names.sort_unstable();
    names.dedup();
    Finding {
        material,
        condition,
        group,
        form,
        at_mm,
        mean_mm,
        estimate,
        features: names.len(),
        piece_sd_mm,
        verdict,
        more_pieces: more,
        pieces,
    }
}
