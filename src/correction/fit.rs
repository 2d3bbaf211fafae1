//! From checked readings to a correction.
//!
//! Repeats are averaged, suspects set aside, the form of the model chosen by AICc or taken as asked, the
//! deviations fitted by ordinary least squares, one observation a feature and print, and the spreads that
//! a new print adds taken from what is left. Standard errors are those of plain least squares: of the
//! prints that were measured, not of all that the printer could make; a prediction adds the print-to-print
//! spread (see [`super::apply`]).

use std::collections::BTreeMap;
use std::convert::Infallible;

use crate::cores;
use crate::kind::Kind;
use crate::readings::{CheckedReadings, Conditions, SetupReadings, SetupView, Source};
use crate::stats::least_squares::NoSolution;

use super::estimate::Estimate;
use super::fitted::{Fit, FittedPoint};
use super::observations::{Observation, observations};
use super::spread::{PRINT_ALLOWANCE_MM, resolution_mm, spread};
use super::structured::lent::Lent;
use super::suspects::{self, LARGEST_SHARE, Suspects};
use super::temperature::ToReference;
use super::{Correction, Coverage, Form, RunnerUp, ScaleForm, criticism, first_layer, shape, structured};

/// Setups that a thread takes at a time.
const AT_A_TIME: usize = 8;

/// With fewer setups the threads cost more than they bring.
const WORTH_THREADS: usize = 16;

/// How the coefficients are estimated.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Method {
    /// Ordinary least squares of the features' means.
    #[default]
    LeastSquares,
    /// Shared swell and scale, own offsets held by priors, print effects: [`super::structured`].
    Structured,
}

/// A word that names no method.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is no method; expected structured or least-squares")]
pub struct UnknownMethod {
    /// The offending text.
    pub text: String,
}

impl Method {
    /// The word used in files and flags.
    pub fn name(self) -> &'static str {
        match self {
            Self::LeastSquares => "least-squares",
            Self::Structured => "structured",
        }
    }
}

impl std::str::FromStr for Method {
    type Err = UnknownMethod;

    fn from_str(text: &str) -> Result<Self, UnknownMethod> {
        let found =
            [Self::Structured, Self::LeastSquares].into_iter().find(|method| method.name() == text.trim());
        found.ok_or_else(|| UnknownMethod { text: text.trim().to_owned() })
    }
}

/// What a fit may be told.
#[derive(Clone, Debug, PartialEq)]
pub struct FitOptions {
    /// The form of the model; `None` lets the data decide.
    pub form: Option<Form>,
    /// How the coefficients are estimated.
    pub method: Method,
    /// Width of the flat of the inside jaws across the bore, mm; only the structured method takes it out.
    pub jaw_flat_mm: Option<f64>,
    /// Linear expansion of the parts, 1/K, in place of what the sheet's material or the setup's name says.
    pub expansion: Option<f64>,
    /// Use every reading, however wrong it looks.
    pub keep_all: bool,
    /// When the coupons were measured, in place of what the readings say.
    pub date: Option<String>,
    /// Give the points behind the fit as well, for plots.
    pub points: bool,
    /// Look for what speaks against the fit.
    pub criticise: bool,
    /// What earlier setups lend; only the structured method borrows.
    pub lent: Option<Lent>,
}

impl Default for FitOptions {
    fn default() -> Self {
        Self {
            form: None,
            method: Method::default(),
            jaw_flat_mm: None,
            expansion: None,
            keep_all: false,
            date: None,
            points: true,
            criticise: true,
            lent: None,
        }
    }
}

/// Why there is no fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// Nothing that a fit is about was measured.
    #[error("nothing to fit: no feature has a reading")]
    NothingMeasured,
    /// A scale was asked for and every kind was measured at one size.
    #[error("no scale can be told from one size: {}", one_size(sizes))]
    OneSize {
        /// The form that was asked for.
        form: Form,
        /// The only size of each kind, mm.
        sizes: Vec<(Kind, f64)>,
    },
    /// The small-bore term was asked for with too few sizes of bores.
    #[error("the small-bore term needs bores of three sizes: there are {sizes}")]
    FewBores {
        /// The form that was asked for.
        form: Form,
        /// How many sizes there are.
        sizes: usize,
    },
    /// Not more observations than coefficients.
    #[error(
        "{observations} measured feature{} cannot tell the {coefficients} coefficient{} of `{form}` and their spread",
        s(*observations),
        s(*coefficients as u64)
    )]
    TooFew {
        /// The form.
        form: Form,
        /// Features measured, counted per print.
        observations: u64,
        /// Coefficients wanted.
        coefficients: usize,
    },
    /// The structured model cannot be fitted.
    #[error(transparent)]
    Structured(#[from] structured::CannotFit),
    /// The coefficients cannot be told apart.
    #[error("`{form}` cannot be fitted: {reason}")]
    NoSolution {
        /// The form.
        form: Form,
        /// Why.
        reason: NoSolution,
    },
}

impl FitError {
    /// Whether there was nothing to fit, and not something that could not be.
    pub fn is_without_readings(&self) -> bool {
        matches!(self, Self::NothingMeasured | Self::Structured(structured::CannotFit::NoReadings { .. }))
    }

    /// What the person can do about it.
    pub fn help(&self) -> String {
        match self {
            Self::NothingMeasured | Self::Structured(structured::CannotFit::NoReadings { .. }) => {
                "fill in the readings of at least two features of one kind".to_owned()
            }
            Self::Structured(structured::CannotFit::ImpossibleSize { .. }) => {
                "correct the reading, or leave it blank".to_owned()
            }
            Self::OneSize { .. } => {
                "print and measure a second size, several times larger, or leave --model out".to_owned()
            }
            Self::FewBores { .. } => {
                "print and measure bores of at least three sizes, from about 3 to 10 mm".to_owned()
            }
            Self::TooFew { form, .. } if form.scale != ScaleForm::Offset => {
                "measure more features or a second print, or ask for --model offset".to_owned()
            }
            Self::TooFew { .. } => "measure more features, or a second print of the same coupons".to_owned(),
            Self::NoSolution { .. } => {
                "print and measure sizes further apart, or ask for --model offset".to_owned()
            }
        }
    }
}

fn one_size(sizes: &[(Kind, f64)]) -> String {
    let each: Vec<String> =
        sizes.iter().map(|(kind, size)| format!("{} of {size} mm only", kind.plural())).collect();
    each.join(", ")
}

fn s(count: u64) -> &'static str {
    if count == 1 { "" } else { "s" }
}

/// Fits the correction of one setup.
pub fn fit(setup: &SetupReadings, conditions: &Conditions, options: &FitOptions) -> Result<Fit, FitError> {
    let to_reference = ToReference::of(conditions, &setup.setup, options.expansion);
    if options.method == Method::Structured {
        let told = structured::Options {
            keep_all: options.keep_all,
            print_sd_mm: options.lent.as_ref().and_then(|lent| lent.print).map(|print| print.median),
            lent: options.lent.clone(),
            jaw_flat_mm: options.jaw_flat_mm,
            to_reference: to_reference.as_ref().map_or(1.0, |to| to.factor),
            ..structured::Options::default()
        };
        let mut fit = structured::fit(setup, conditions, &told)?;
        fit.correction.date = options.date.clone().or(fit.correction.date);
        fit.correction.program_version = env!("CARGO_PKG_VERSION").to_owned();
        fit.first_layer = first_layer::spread(setup.into());
        fit.correction.suggest_elsewhere(setup.into());
        if let Some(to_reference) = &to_reference {
            to_reference.account(&mut fit.correction);
        }
        if options.criticise {
            let points = std::mem::take(&mut fit.points);
            let mut rows: Vec<criticism::Row<'_>> = Vec::with_capacity(points.len());
            rows.extend(points.iter().filter(|point| !point.set_aside).map(criticism::Row::from));
            let terms = fit.correction.terms.clone();
            fit.be_criticised(&rows, &terms, false);
            fit.points = points;
        }
        if !options.points {
            fit.points = Vec::new();
        }
        return Ok(fit);
    }
    least_squares(setup.into(), conditions, options)
}

fn least_squares(
    setup: SetupView<'_>,
    conditions: &Conditions,
    options: &FitOptions,
) -> Result<Fit, FitError> {
    // The standard deviation of rounding to the caliper's step: nothing closer is told apart.
    let least_sd_mm = resolution_mm(conditions) / 12.0_f64.sqrt();
    let to_reference = ToReference::of(conditions, setup.name, options.expansion);
    let factor = to_reference.as_ref().map_or(1.0, |to| to.factor);
    let mut seen = observations(setup, factor);
    let mut found = Suspects::default();
    suspects::slips(setup, &mut seen, &mut found);
    suspects::among_repeats(setup, &mut seen, least_sd_mm, &mut found);
    let mut estimate = suspects::among_features(setup, &mut seen, options.form, least_sd_mm, &mut found)?;
    found.set_aside.sort_by_key(|aside| aside.line);
    let mut warnings = Vec::new();
    if options.keep_all && !found.set_aside.is_empty() {
        warnings.push(kept(&found));
        found = Suspects::default();
        seen = observations(setup, factor);
        estimate = Estimate::new(&seen, options.form, least_sd_mm)?;
    }
    if found.too_many {
        warnings.push(format!(
            "more than {:.0} % of the features stand apart from the others: the sheet or the model is wrong, not a few readings",
            100.0 * LARGEST_SHARE
        ));
    }
    let prints = count_prints(&seen);
    let spread = spread(&seen, &estimate, conditions);
    warnings.extend(what_cannot_be_told(&estimate, prints, spread.print.dof.is_none(), options));
    let variance = estimate.solution.variance().unwrap_or(0.0);
    let correction = Correction {
        setup: setup.name.to_owned(),
        date: options.date.clone().or_else(|| conditions.date.clone()),
        readings_file: String::new(),
        readings_sha256: String::new(),
        program_version: env!("CARGO_PKG_VERSION").to_owned(),
        form: estimate.choice.form,
        runners_up: runners_up(&estimate, options),
        terms: estimate.terms.clone(),
        coefficients: estimate.solution.coefficients.clone(),
        covariance: estimate.solution.covariance(variance),
        dof: estimate.solution.dof() as f64,
        prints,
        kinds: coverage(&seen, &estimate),
        spread,
        print_effects: None,
        set_aside: found.set_aside,
        warnings,
    };
    let mut fit = Fit {
        correction,
        points: if options.points { points(setup, &seen, &estimate) } else { Vec::new() },
        r_squared: r_squared(&estimate),
        residual_sd_mm: estimate.residual_sd_mm(),
        first_layer: first_layer::spread(setup),
        criticism: Vec::new(),
        leverage: Vec::new(),
    };
    fit.correction.suggest_elsewhere(setup);
    if let Some(to_reference) = &to_reference {
        to_reference.account(&mut fit.correction);
    }
    if options.criticise {
        // Bends are looked for in `shape`, which is quick enough for a thousand setups.
        fit.be_criticised(&rows(setup, &seen), &estimate.terms, true);
    }
    Ok(fit)
}

/// Fits every setup of a file, in the file's order.
pub fn fit_all(checked: &CheckedReadings, options: &FitOptions) -> Vec<Result<Fit, FitError>> {
    fit_all_with(checked, options, &BTreeMap::new())
}

/// The same, each setup with what it borrows, by the setup's name.
pub fn fit_all_with(
    checked: &CheckedReadings,
    options: &FitOptions,
    lent: &BTreeMap<String, Lent>,
) -> Vec<Result<Fit, FitError>> {
    let source = &checked.source;
    let count = checked.setup_count();
    let threads = if count < WORTH_THREADS { 1 } else { cores::threads() };
    // Each thread takes a few setups at a time, so that none is left waiting for a slower one.
    let mut starts = (0..count).step_by(AT_A_TIME);
    let mut fits = Vec::with_capacity(count);
    let done = cores::in_order::<_, _, _, Infallible>(
        threads,
        || Ok(starts.next()),
        || (),
        |(), start: usize| {
            let views = (start..(start + AT_A_TIME).min(count)).filter_map(|number| checked.view(number));
            let one = |view: SetupView<'_>| {
                let borrowing = lent.get(view.name);
                let borrowing =
                    borrowing.map(|lent| FitOptions { lent: Some(lent.clone()), ..options.clone() });
                let options = borrowing.as_ref().unwrap_or(options);
                fit_view(view, &checked.conditions, options, source).map(|mut fit| {
                    fit.correction.add_set_aside(&checked.set_aside);
                    fit
                })
            };
            views.map(one).collect::<Vec<Result<Fit, FitError>>>()
        },
        |some| {
            fits.extend(some);
            Ok(())
        },
    );
    match done {
        Ok(()) => fits,
    }
}

/// Fits one setup of a file.
pub(super) fn fit_view(
    view: SetupView<'_>,
    conditions: &Conditions,
    options: &FitOptions,
    source: &Source,
) -> Result<Fit, FitError> {
    let mut fit = match options.method {
        Method::LeastSquares => least_squares(view, conditions, options)?,
        Method::Structured => fit(&view.unfold(), conditions, options)?,
    };
    let file = source.path.file_name().unwrap_or_default().to_string_lossy();
    fit.correction.readings_file = file.into_owned();
    fit.correction.readings_sha256.clone_from(&source.sha256);
    Ok(fit)
}

fn kept(found: &Suspects) -> String {
    let lines: Vec<String> = found.set_aside.iter().map(|aside| aside.line.to_string()).collect();
    format!(
        "{} reading{} look{} wrong and {} used because of --keep-all: line{} {}",
        lines.len(),
        s(lines.len() as u64),
        if lines.len() == 1 { "s" } else { "" },
        if lines.len() == 1 { "is" } else { "are" },
        s(lines.len() as u64),
        lines.join(", ")
    )
}

fn count_prints(seen: &[Observation]) -> u32 {
    let mut copies: Vec<u32> = Vec::new();
    let mut last = None;
    for seen in seen.iter().filter(|seen| seen.used) {
        // Neighbours are mostly of one print.
        if last.replace(seen.copy) == Some(seen.copy) {
            continue;
        }
        if let Err(place) = copies.binary_search(&seen.copy) {
            copies.insert(place, seen.copy);
        }
    }
    copies.len() as u32
}

/// What the data cannot tell, in plain words.
fn what_cannot_be_told(
    estimate: &Estimate,
    prints: u32,
    print_allowed_for: bool,
    options: &FitOptions,
) -> Vec<String> {
    let mut warnings = Vec::new();
    if print_allowed_for {
        let why = if prints == 1 { "one print was measured" } else { "no kind was measured on two prints" };
        warnings.push(format!(
            "{why}: how much one print differs from the next cannot be told, and {PRINT_ALLOWANCE_MM} mm (standard deviation) is allowed for it; print and measure the coupons a second time"
        ));
    }
    let one_size = |estimate: &Estimate| {
        let single = estimate.kinds.iter().filter(|of| of.sizes < 2);
        single.map(|of| format!("{} ({} mm)", of.kind.plural(), of.min_mm)).collect::<Vec<_>>().join(", ")
    };
    let form = estimate.choice.form;
    if estimate.kinds.iter().all(|of| of.sizes < 2) {
        warnings.push(format!(
            "no scale can be told from one size: {}; the offset holds near it only",
            one_size(estimate)
        ));
    } else if form.scale == ScaleForm::Own && estimate.kinds.iter().any(|of| of.sizes < 2) {
        warnings
            .push(format!("no scale can be told for what was measured at one size: {}", one_size(estimate)));
    }
    warnings.extend(shape::poor_fits(estimate, options.form.is_some()));
    warnings
}

fn runners_up(estimate: &Estimate, options: &FitOptions) -> Vec<RunnerUp> {
    if options.form.is_some() { Vec::new() } else { estimate.choice.others.clone() }
}

fn coverage(seen: &[Observation], estimate: &Estimate) -> BTreeMap<Kind, Coverage> {
    let mut readings = [0_u64; Kind::ALL.len()];
    for seen in seen.iter().filter(|seen| seen.used) {
        readings[seen.kind as usize] += u64::from(seen.count);
    }
    let of = |of: &super::moments::Moments| Coverage {
        min_mm: of.min_mm,
        max_mm: of.max_mm,
        features: of.count as u32,
        readings: readings[of.kind as usize],
    };
    estimate.kinds.iter().map(|kind| (kind.kind, of(kind))).collect()
}

/// Share of the deviations' squares about their common mean that the fit explains.
fn r_squared(estimate: &Estimate) -> Option<f64> {
    let kinds = &estimate.kinds;
    let count = kinds.iter().map(|of| of.count).sum::<u64>() as f64;
    let mean = kinds.iter().map(|of| of.count as f64 * of.mean_mm).sum::<f64>() / count;
    let total: f64 = kinds.iter().map(|of| of.yy + of.count as f64 * (of.mean_mm - mean).powi(2)).sum();
    (total > 0.0).then(|| 1.0 - estimate.solution.residual_squares / total)
}

/// The used observations as the criticism looks at them.
fn rows<'a>(setup: SetupView<'a>, seen: &[Observation]) -> Vec<criticism::Row<'a>> {
    let row = |seen: &Observation| {
        let feature = setup.feature(seen.feature as usize);
        criticism::Row {
            coupon: feature.coupon,
            kind: seen.kind,
            axis: feature.axis,
            nominal_mm: seen.nominal_mm,
            copy: seen.copy,
            deviation_mm: seen.deviation_mm(),
        }
    };
    seen.iter().filter(|seen| seen.used).map(row).collect()
}

fn points(setup: SetupView<'_>, seen: &[Observation], estimate: &Estimate) -> Vec<FittedPoint> {
    let point = |(at, seen): (usize, &Observation)| {
        let readings = setup.feature(seen.feature as usize);
        let repeats = setup.repeats(seen.feature as usize);
        let standing = estimate.standing(at, seen);
        let used = standing.filter(|_| seen.used);
        let fitted_mm = standing.map_or(0.0, |standing| standing.fitted_mm);
        FittedPoint {
            coupon: readings.coupon.into(),
            feature: readings.feature.into(),
            kind: seen.kind,
            axis: readings.axis,
            copy: seen.copy,
            line: repeats.lowest.line.min(repeats.highest.line),
            nominal_mm: seen.nominal_mm,
            measured_mm: seen.size_mm(),
            count: seen.count,
            deviation_mm: seen.deviation_mm(),
            fitted_mm,
            residual_mm: seen.deviation_mm() - fitted_mm,
            studentised: used.and_then(|standing| standing.studentised),
            leverage: used.map(|standing| standing.leverage),
            set_aside: !seen.used,
        }
    };
    seen.iter().enumerate().map(point).collect()
}
