//! The structured error model: what physics says a printer may do, fitted to one setup's readings.
//!
//! ```text
//! deviation = sign swell + scale x + difference (+-x/2) + small bore / x + own offset of the kind
//!           + sign swell of the print + scale of the print x + feature
//! ```
//!
//! with sign +2 outside, -2 inside, 0 where wall swell cancels. Swell and scale are shared by all kinds;
//! what a kind has of its own, and the difference of x and y, are held towards zero by weak priors
//! ([`priors`]), so a fit never has to choose between "all own" and "none own" and never meets columns
//! that cannot be told apart. Prints differ by a little swell and a little scale. The steps:
//!
//! 1. [`usable`]: what the model is about, without slips of the pen.
//! 2. [`repeats`] and [`cells`]: slips among siblings go; repeats are averaged; how they scatter (R) is
//!    pooled.
//! 3. [`resist`]: the robust fit finds what the model disowns and takes its pull from the rest.
//! 4. [`average`]: the answer averaged over what is not known of the spreads.
//! 5. [`outcome`]: a [`Correction`](super::Correction) that predicts with all of it.
//!
//! Source of the form: the project's design; of averaging over spreads in place of plugging one in:
//! Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, 5.3 and 15.

pub mod average;
pub mod cells;
pub mod choices;
pub mod design;
pub mod lent;
pub mod outcome;
pub mod priors;
pub mod repeats;
pub mod resist;
pub mod usable;

use crate::correction::fitted::Fit;
use crate::correction::spread::resolution_mm;
use crate::kind::Kind;
use crate::readings::{Conditions, SetupReadings};

use average::{Observation, Observed};
use cells::Cells;
use choices::{PrintPrior, Spreads};
use priors::LogNormal;
use resist::{Judged, Resisted};

/// What a person may decide about a fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Use every reading at full weight.
    pub keep_all: bool,
    /// Width of the flat that the inside jaws touch a bore with, across the bore, mm. `None`: their chord
    /// error stays in the small-bore term.
    pub jaw_flat_mm: Option<f64>,
    /// Readings times this are sizes at 20 °C; 1.
    pub to_reference: f64,
    /// Print-to-print standard deviation of a size that swells, from the person's other corrections, mm.
    pub print_sd_mm: Option<f64>,
    /// Multiplies the standard deviations of the priors on coefficients; 1. For studies.
    pub prior_scale: f64,
    /// What the person's other setups lend.
    pub lent: Option<lent::Lent>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            keep_all: false,
            jaw_flat_mm: None,
            to_reference: 1.0,
            print_sd_mm: None,
            prior_scale: 1.0,
            lent: None,
        }
    }
}

/// Why a setup cannot be fitted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotFit {
    /// There is nothing to fit.
    #[error("`{setup}` has no readings")]
    NoReadings {
        /// The setup.
        setup: String,
    },
    /// A size that cannot be: not above zero, or not a number.
    #[error("line {line}: a feature drawn {nominal_mm} mm and measured {measured_mm} mm cannot be fitted")]
    ImpossibleSize {
        /// Line of its first reading.
        line: u64,
        /// The size it is drawn at.
        nominal_mm: f64,
        /// Mean of its readings.
        measured_mm: f64,
    },
}

/// Fits the structured model to one setup.
///
/// The correction's `readings_file`, `readings_sha256` and `program_version` are left empty: the caller
/// knows them.
pub fn fit(setup: &SetupReadings, conditions: &Conditions, options: &Options) -> Result<Fit, CannotFit> {
    for feature in setup.features.iter().filter(|feature| feature.repeats.count > 0) {
        let possible = feature.nominal_mm.is_finite() && feature.nominal_mm > 0.0;
        if !possible || !feature.repeats.mean_mm.is_finite() {
            return Err(CannotFit::ImpossibleSize {
                line: feature.repeats.lowest.line.min(feature.repeats.highest.line),
                nominal_mm: feature.nominal_mm,
                measured_mm: feature.repeats.mean_mm,
            });
        }
    }
    let (features, slips) = usable::usable(&setup.features, options.keep_all);
    if features.is_empty() {
        return Err(CannotFit::NoReadings { setup: setup.setup.clone() });
    }
    let setup = &SetupReadings { setup: setup.setup.clone(), features };
    let resolution_mm = resolution_mm(conditions);
    let mut cells = cells::summarise(&setup.features, options, resolution_mm);
    cells.set_aside.extend(slips);
    let (parts, prints) = design::design(&setup.features);
    let observations = |cells: &Cells| -> Vec<Vec<Observation>> {
        let of = |index: &usize| {
            let cell = &cells.cells[*index];
            Observation { deviation_mm: cell.deviation_mm, reading_variance_mm2: cell.reading_variance_mm2 }
        };
        parts.iter().map(|part| part.features.iter().map(of).collect()).collect()
    };
    let judge = |cells: &Cells| {
        let mut resisted: Vec<Resisted<'_>> = parts
            .iter()
            .zip(observations(cells))
            .map(|(part, rows)| {
                Resisted::new(part, prints, rows, print_over_feature(part, cells), options.prior_scale)
            })
            .collect();
        resist::judge(&mut resisted, options.keep_all)
    };
    let (mut judged, mut feature_sd) = judge(&cells);
    if settle_disputes(&mut cells, setup, &parts, &judged, feature_sd, options) {
        (judged, feature_sd) = judge(&cells);
    }
    leave_no_kind_empty(setup, &parts, &cells, &mut judged);
    let seen = observations(&cells);
    let observed: Vec<Observed<'_>> = parts
        .iter()
        .zip(&judged)
        .zip(&seen)
        .map(|((part, judged), seen)| {
            let rows: Vec<Option<Observation>> = judged
                .iter()
                .zip(seen)
                .map(|(judged, seen)| {
                    judged.pseudo_mm.map(|deviation_mm| Observation { deviation_mm, ..*seen })
                })
                .collect();
            Observed::new(part, prints, &rows)
        })
        .collect();
    let all = cells.cells.iter().map(|cell| cell.reading_variance_mm2).sum::<f64>();
    let reading_variance_mm2 = all / f64::from(u32::try_from(cells.cells.len()).unwrap_or(u32::MAX));
    let spread_mm = feature_sd.hypot(reading_variance_mm2.sqrt());
    let print = parts.iter().map(|part| print_prior(part, &cells, options)).collect();
    let spreads = Spreads {
        spread_mm,
        reading_variance_mm2,
        print,
        prior_scale: options.prior_scale,
        prints,
        lent: options.lent.clone(),
    };
    let posterior = average::average(&observed, &spreads);
    let found = outcome::Found { setup, conditions, options, cells: &cells, parts: &parts, prints };
    Ok(outcome::outcome(&found, &judged, spread_mm, &posterior))
}

/// Takes a kind of which everything was set aside as it is: the fit has no better word on it, and a
/// kind that was measured must not count as one that was not.
fn leave_no_kind_empty(
    setup: &SetupReadings,
    parts: &[design::Part],
    cells: &Cells,
    judged: &mut [Vec<Judged>],
) {
    for (part, judged) in parts.iter().zip(judged) {
        for kind in Kind::ALL {
            let of_kind = |row: &usize| setup.features[part.features[*row]].kind == kind;
            let rows: Vec<usize> = (0..judged.len()).filter(of_kind).collect();
            if rows.iter().all(|row| judged[*row].pseudo_mm.is_none()) {
                for row in rows {
                    judged[row].pseudo_mm = Some(cells.cells[part.features[row]].deviation_mm);
                }
            }
        }
    }
}

fn print_over_feature(part: &design::Part, cells: &Cells) -> LogNormal {
    if part.is_height {
        priors::HEIGHT_OVER_FEATURE
    } else {
        priors::print_over_feature(cells.repeat.map(|repeat| repeat.sd_mm))
    }
}

/// What is thought of how prints differ: as the person's other corrections have it or, failing that, as
/// printers usually are.
fn print_prior(part: &design::Part, cells: &Cells, options: &Options) -> PrintPrior {
    let usual = print_over_feature(part, cells);
    let lent = options.lent.as_ref().and_then(|lent| if part.is_height { lent.height } else { lent.print });
    if let Some(spread) = lent {
        return PrintPrior { spread, over_feature: None };
    }
    match options.print_sd_mm {
        Some(median) if !part.is_height && median > 0.0 => {
            PrintPrior { spread: LogNormal { median, ..usual }, over_feature: None }
        }
        _ => {
            let power = if part.is_height { 0.0 } else { priors::PRINT_OVER_FEATURE_POWER };
            PrintPrior { spread: usual, over_feature: Some(power) }
        }
    }
}

/// Of two readings that disagree, sets aside the one that the fit disowns where it owns the other;
/// whether any was.
fn settle_disputes(
    cells: &mut Cells,
    setup: &SetupReadings,
    parts: &[design::Part],
    judged: &[Vec<Judged>],
    feature_sd: f64,
    options: &Options,
) -> bool {
    let reading_sd = cells.repeat.map_or(0.0, |repeat| repeat.sd_mm);
    let expected_sd = feature_sd.hypot(reading_sd);
    let mut any = false;
    for (part, judged) in parts.iter().zip(judged) {
        for (index, judged) in part.features.iter().zip(judged) {
            let feature = &setup.features[*index];
            let Some(pair) = cells.cells[*index].disputed else { continue };
            let fitted_mm = cells.cells[*index].deviation_mm - judged.residual_mm;
            let mut away = pair.map(|reading| {
                let size = cells::size_mm(feature, reading.mm, options);
                (reading, size - feature.nominal_mm - fitted_mm)
            });
            away.sort_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            let [(kept, near), (slip, far)] = away;
            if near.abs() > 3.0 * expected_sd || far.abs() < repeats::CUT * expected_sd {
                continue;
            }
            any = true;
            let size = cells::size_mm(feature, kept.mm, options);
            let cell = &mut cells.cells[*index];
            // One reading where two were counted on.
            *cell = cells::Cell {
                deviation_mm: size - feature.nominal_mm,
                count: 1,
                reading_variance_mm2: 2.0 * cell.reading_variance_mm2,
                disputed: None,
            };
            cells.set_aside.push(crate::correction::SetAside {
                line: slip.line,
                reading_mm: slip.mm,
                reason: format!(
                    "the two readings of this feature differ by {:.3} mm, and this one lies {far:+.3} mm from the fit",
                    (slip.mm - kept.mm).abs()
                ),
            });
        }
    }
    any
}

#[cfg(test)]
mod tests;
