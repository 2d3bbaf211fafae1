//! Borrowing: what a person's earlier setups say of a new one, before and beside its own readings.
//!
//! Every structured correction says how its setup errs and how surely. Pooled ([`super::borrow_pool`])
//! they give the mean of each coefficient over setups and how far setups differ, and the same of the
//! spreads; a new setup's fit takes that as a prior ([`Lent`]). How much it borrows is then decided by the
//! numbers: setups that differ among themselves lend little, one that is measured well borrows little, and
//! one that is unlike the others falls back to the weak priors.
//!
//! An estimate holds its own weak prior, which is taken out again before pooling. A correction that has
//! itself borrowed would lend what it got from the others a second time, so it does not lend.

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use crate::kind::Kind;
use crate::stats::distribution::f_above;

use super::borrow_pool::{Between, Expected, Information, Pool};
use super::structured::lent::{Lent, weak};
use super::structured::priors::{self, LogNormal};
use super::{Correction, Term};

/// Fewer setups than this lend nothing: one cannot tell how far setups differ.
pub const FEWEST: usize = 2;

/// The chance, before anything is read, that a new setup is like the others. Judged: a person gathers in
/// one folder what belongs together, and is wrong one time in five.
pub const CHANCE_ALIKE: f64 = 0.8;

/// Below this probability of such a difference a setup is called unlike the others.
const UNLIKE_BELOW: f64 = 0.01;

/// How the sentence begins that a correction which has borrowed says of itself.
pub const BORROWED: &str = "borrowed from ";

impl Correction {
    /// Whether other setups are in it.
    pub fn has_borrowed(&self) -> bool {
        self.warnings.iter().any(|warning| warning.starts_with(BORROWED))
    }

    /// Why this correction cannot lend; `None` when it can.
    pub fn cannot_lend(&self) -> Option<&'static str> {
        if self.print_effects.is_none() {
            Some("it was fitted by least squares, and only structured corrections lend")
        } else if self.has_borrowed() {
            Some("it has itself borrowed from others")
        } else {
            None
        }
    }
}

/// How far setups of one person are expected to differ: half of what printers of the typical class in
/// [`priors`] do, known to a factor of two.
fn between(term: Term) -> Between {
    let typical = match term {
        Term::Swell => 0.04,
        Term::Scale | Term::ScaleOf(_) | Term::ScaleInPlane => 0.002,
        Term::ScaleZ => 0.002,
        Term::XyDifference => 0.0017,
        Term::Skew => 0.002,
        Term::SmallBore => 0.2,
        Term::Sag => 0.15,
        Term::Offset(Kind::HorizontalBore) => 0.08,
        Term::Offset(Kind::Height | Kind::Bore) => 0.05,
        Term::Offset(_) => 0.02,
    };
    Between { median: 0.5 * typical, ln_sd: 0.8 }
}

/// The same of the logarithm of a spread. Judged: spreads of one person's setups differ by a fifth.
const BETWEEN_SPREADS: Between = Between { median: 0.2, ln_sd: 0.8 };

/// What these corrections lend; `None` when fewer than [`FEWEST`] can, or they say nothing.
pub fn lend(corrections: &[&Correction]) -> Option<Lent> {
    let lenders: Vec<&Correction> =
        corrections.iter().copied().filter(|correction| correction.cannot_lend().is_none()).collect();
    if lenders.len() < FEWEST {
        return None;
    }
    let mut terms: Vec<Term> = lenders.iter().flat_map(|lender| lender.terms.iter().copied()).collect();
    terms.sort_unstable();
    terms.dedup();
    let expected = pooled(&lenders, &terms)?;
    let rows = expected.covariance.row_iter().map(|row| row.iter().copied().collect()).collect();
    Some(Lent {
        terms,
        mean: expected.mean.iter().copied().collect(),
        covariance: rows,
        chance: CHANCE_ALIKE,
        feature: spread(&lenders, feature),
        print: spread(&lenders, print),
        height: spread(&lenders, height),
    })
}

fn pooled(lenders: &[&Correction], terms: &[Term]) -> Option<Expected> {
    let size = terms.len();
    let mut setups = Vec::new();
    let mut spreads_mm = 0.0;
    for lender in lenders {
        let spread_mm = mean_spread_mm(lender);
        spreads_mm += spread_mm / lenders.len() as f64;
        let own: Vec<(f64, f64)> = lender.terms.iter().map(|term| weak(*term, spread_mm)).collect();
        let count = lender.terms.len();
        let covariance = DMatrix::from_fn(count, count, |i, j| lender.covariance[i][j]);
        let mean = DVector::from_column_slice(&lender.coefficients);
        // A covariance that is none was refused when the file was read.
        let information = Information::from_posterior(&mean, &covariance, &own)?;
        let place = |i: usize| lender.terms.iter().position(|term| *term == terms[i]);
        let places: Vec<Option<usize>> = (0..size).map(place).collect();
        let precision = DMatrix::from_fn(size, size, |i, j| match (places[i], places[j]) {
            (Some(i), Some(j)) => information.precision[(i, j)],
            _ => 0.0,
        });
        let weighted = DVector::from_fn(size, |i, _| places[i].map_or(0.0, |i| information.weighted[i]));
        setups.push(Information { precision, weighted });
    }
    let common = terms.iter().map(|term| weak(*term, spreads_mm)).map(|(mean, sd)| (mean, sd.powi(-2)));
    let prior: Vec<Between> = terms.iter().map(|term| between(*term)).collect();
    Pool { setups, common: common.collect() }.expected(&prior)
}

/// The spread of feature means about the fit, mm: features and what reading adds.
fn mean_spread_mm(correction: &Correction) -> f64 {
    let (features, readings) = correction.kinds.values().fold((0.0, 0.0), |(features, readings), of| {
        (features + f64::from(of.features), readings + of.readings as f64)
    });
    let repeats = if features > 0.0 { (readings / features).max(1.0) } else { 1.0 };
    let reading = correction.spread.repeat.map_or(0.0, |repeat| repeat.sd_mm.powi(2) / repeats);
    // Features that do not differ at all would leave own offsets no room.
    correction.spread.feature.sd_mm.powi(2).max(1e-6).sqrt().hypot(reading.sqrt())
}

/// A logarithm, its variance, and the prior's mean and variance that are in it.
type Known = Option<([f64; 2], [f64; 2])>;

/// Median and variance of a spread's logarithm, from its root mean square and degrees of freedom.
fn logarithm(sd: f64, dof: f64) -> Option<[f64; 2]> {
    // As in `apply::relative_variance`: the variance's logarithm varies by 2 / (dof - 1).
    let of_variance = 2.0 / (dof - 1.0).max(0.2);
    (sd > 0.0 && sd.is_finite()).then(|| [sd.ln() - of_variance / 4.0, of_variance / 4.0])
}

fn feature(correction: &Correction) -> Known {
    let own = logarithm(correction.spread.feature.sd_mm, correction.spread.feature.dof?)?;
    Some((own, [priors::SPREAD_MM.median.ln(), priors::SPREAD_MM.ln_sd.powi(2)]))
}

/// A print-to-print spread, of which a ratio to that of features was thought.
fn over_feature(correction: &Correction, own: [f64; 2], ratio: LogNormal, power: f64) -> Known {
    let (feature, _) = feature(correction)?;
    let typical = priors::TYPICAL_FEATURE_SD_MM.ln();
    let expected = ratio.median.ln() + feature[0] + power * (feature[0] - typical);
    Some((own, [expected, ratio.ln_sd.powi(2) + (1.0 + power).powi(2) * feature[1]]))
}

fn print(correction: &Correction) -> Known {
    let effects = correction.print_effects?;
    let own = logarithm(2.0 * effects.swell_sd_mm, effects.swell_dof)?;
    let ratio = priors::print_over_feature(correction.spread.repeat.map(|repeat| repeat.sd_mm));
    over_feature(correction, own, ratio, priors::PRINT_OVER_FEATURE_POWER)
}

fn height(correction: &Correction) -> Known {
    let effects = correction.print_effects?;
    let own = logarithm(effects.height_sd_mm, effects.height_dof)?;
    over_feature(correction, own, priors::HEIGHT_OVER_FEATURE, 0.0)
}

/// What is to be expected of a new setup's spread; `None` when no setup saw it.
fn spread(lenders: &[&Correction], of: impl Fn(&Correction) -> Known) -> Option<LogNormal> {
    let known: Vec<([f64; 2], [f64; 2])> = lenders.iter().filter_map(|lender| of(lender)).collect();
    let one = |value: f64| (DMatrix::from_element(1, 1, value), value);
    let setups: Vec<Information> = known
        .iter()
        .filter_map(|([own, variance], [prior, prior_variance])| {
            let information = 1.0 / variance - 1.0 / prior_variance;
            // Less than a fifth of a degree of freedom is what its parts leave when one print is seen.
            (information > 0.4).then(|| Information {
                precision: one(information).0,
                weighted: DVector::from_element(1, own / variance - prior / prior_variance),
            })
        })
        .collect();
    if setups.is_empty() {
        return None;
    }
    let count = known.len() as f64;
    let mean = known.iter().map(|(_, [mean, _])| mean / count).sum();
    let variance: f64 = known.iter().map(|(_, [_, variance])| variance / count).sum();
    let pool = Pool { setups, common: vec![(mean, 1.0 / variance)] };
    let expected = pool.expected(&[BETWEEN_SPREADS])?;
    Some(LogNormal { median: expected.mean[0].exp(), ln_sd: expected.covariance[(0, 0)].sqrt() })
}

/// How much of what is known of one thing came from the other setups.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Share {
    /// What: `offset of bores`, `scale`, `print-to-print spread`.
    pub of: String,
    /// Share of the information, from 0 to 1: by how much the variance is less than without them.
    pub share: f64,
}

/// What a fit has borrowed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Borrowed {
    /// The setups that lent, by name.
    pub lenders: Vec<String>,
    /// How much, coefficient by coefficient.
    pub shares: Vec<Share>,
    /// The probability of a difference from the other setups as large as this one's.
    pub p_alike: f64,
}

impl Borrowed {
    /// Compares the fit of a setup by itself with the one that borrowed.
    pub fn new(lenders: Vec<String>, lent: &Lent, alone: &Correction, together: &Correction) -> Self {
        Self { lenders, shares: shares(alone, together), p_alike: p_alike(lent, alone) }
    }

    /// Whether the setup is unlike those that lent.
    pub fn is_unlike(&self) -> bool {
        self.p_alike < UNLIKE_BELOW
    }

    /// `borrowed from your 5 earlier setups (a, b, c, d, e): offset of bores 70 %, scale 20 %`.
    pub fn sentence(&self) -> String {
        let shares: Vec<String> =
            self.shares.iter().map(|share| format!("{} {:.0} %", share.of, 100.0 * share.share)).collect();
        let unlike = if self.is_unlike() {
            "; this setup is unlike them, so it mostly stands on its own readings"
        } else {
            ""
        };
        format!(
            "{BORROWED}your {} earlier setups ({}): {}{unlike}",
            self.lenders.len(),
            self.lenders.join(", "),
            shares.join(", ")
        )
    }
}

impl Borrowed {
    /// The same for the terminal, with a line for the setups and one for the shares.
    pub fn to_text(&self) -> String {
        format!("{}\n", self.sentence())
    }
}

fn shares(alone: &Correction, together: &Correction) -> Vec<Share> {
    let share = |of: String, before: f64, after: f64| {
        // Where the two disagree the doubt grows, and nothing was borrowed.
        let share = if before > 0.0 { (1.0 - (after / before).powi(2)).clamp(0.0, 1.0) } else { 0.0 };
        Share { of, share }
    };
    let mut shares = Vec::new();
    for kind in alone.kinds.keys() {
        if let (Some(before), Some(after)) = (alone.summary(*kind), together.summary(*kind)) {
            let of = format!("offset of {}", kind.plural());
            shares.push(share(of, before.offset_se_mm, after.offset_se_mm));
        }
    }
    let named = [
        (Term::ScaleInPlane, "scale"),
        (Term::ScaleZ, "scale of heights"),
        (Term::XyDifference, "x and y difference"),
        (Term::Skew, "skew"),
        (Term::SmallBore, "small-bore term"),
        (Term::Sag, "sag"),
    ];
    let error = |correction: &Correction, term: Term| {
        let place = correction.terms.iter().position(|known| *known == term)?;
        Some(correction.covariance[place][place].sqrt())
    };
    for (term, of) in named {
        if let (Some(before), Some(after)) = (error(alone, term), error(together, term)) {
            shares.push(share(of.to_owned(), before, after));
        }
    }
    let doubt = |known: Known| known.map_or(0.0, |([_, variance], _)| variance.sqrt());
    let of = |name: &str| name.to_owned();
    shares.push(share(of("feature-to-feature spread"), doubt(feature(alone)), doubt(feature(together))));
    if alone.kinds.keys().any(|kind| *kind != Kind::Height) {
        shares.push(share(of("print-to-print spread"), doubt(print(alone)), doubt(print(together))));
    }
    shares
}

/// Source: Evans and Moshonov, Checking for prior-data conflict, Bayesian Analysis 1 (2006) 893: where the
/// estimate lies in what the prior expected of it.
fn p_alike(lent: &Lent, alone: &Correction) -> f64 {
    let shared: Vec<(usize, usize)> = alone
        .terms
        .iter()
        .enumerate()
        .filter_map(|(i, term)| Some((i, lent.terms.iter().position(|known| known == term)?)))
        .collect();
    let count = shared.len();
    if count == 0 {
        return 1.0;
    }
    let covariance = DMatrix::from_fn(count, count, |i, j| {
        let ((own_i, lent_i), (own_j, lent_j)) = (shared[i], shared[j]);
        alone.covariance[own_i][own_j] + lent.covariance[lent_i][lent_j]
    });
    let apart = DVector::from_fn(count, |i, _| alone.coefficients[shared[i].0] - lent.mean[shared[i].1]);
    let Some(factor) = covariance.cholesky() else { return 1.0 };
    let count = count as f64;
    // Chi-square over its degrees of freedom is F with no end of them below.
    f_above(apart.dot(&factor.solve(&apart)) / count, count, 1e6)
}
