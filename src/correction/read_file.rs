//! From the text of a correction file to a correction, or every problem of it by line and key.

use std::collections::BTreeMap;
use std::path::Path;

use nalgebra::DMatrix;
use toml::de::DeTable;

use crate::kind::Kind;
use crate::problem::Problem;

use super::file::FORMAT;
use super::fit::Method;
use super::toml_keys::{Keys, Source};
use super::{
    Correction, Coverage, Form, PrintEffects, RunnerUp, ScaleForm, SetAside, Spread, SpreadEstimate, Term,
};

/// Reads it whole: all problems at once, except where one hides the rest.
pub(super) fn correction(text: &str, path: &Path) -> Result<Correction, Vec<Problem>> {
    let mut source = Source::new(text, path);
    let document = match DeTable::parse(text) {
        Ok(document) => document,
        Err(error) => {
            let at = error.span().map_or(text.len(), |span| span.start);
            let message = error.message().lines().collect::<Vec<_>>().join(", ");
            let place = source.location(at, "");
            return Err(vec![
                Problem::error(place, format!("this is not TOML: {message}"))
                    .help("a correction file is written by `shrinkrule fit`; fit again if it was cut short"),
            ]);
        }
    };
    let keys = Keys::new(&document);
    check_format(&mut source, &keys)?;
    if keys.has("feel") && !keys.has("kinds") && !keys.has("estimate") {
        let place = source.location(keys.place("feel"), "feel");
        let message = "this correction is from feel tests alone: without caliper readings it gives only fits";
        let help = "use `shrinkrule size KIND --mate MM --fit slide --with FILE`, or measure the coupons and fit again";
        return Err(vec![Problem::error(place, message).help(help)]);
    }
    let found = read(&mut source, &keys);
    match found {
        Some(correction) if source.problems.is_empty() => {
            check(&mut source, &keys, &correction);
            if source.problems.is_empty() { Ok(correction) } else { Err(source.problems) }
        }
        _ => {
            source.problems.sort_by_key(|problem| problem.location.line);
            Err(source.problems)
        }
    }
}

/// A file of another kind, or of a newer program, has nothing else worth telling.
fn check_format(source: &mut Source<'_>, keys: &Keys<'_>) -> Result<(), Vec<Problem>> {
    let refused = |source: &Source<'_>, message: String, help: &str| {
        Err(vec![Problem::error(source.location(keys.place("format"), "format"), message).help(help)])
    };
    if !keys.has("format") {
        return refused(
            source,
            "this key is missing: this is no correction file".to_owned(),
            "name a file that `shrinkrule fit` wrote",
        );
    }
    match keys.whole(source, "format") {
        Some(format) if format > FORMAT => refused(
            source,
            format!("format {format} is newer than this program, which reads up to {FORMAT}"),
            "update shrinkrule, or fit again with this version",
        ),
        Some(0) => refused(source, "there is no format 0".to_owned(), "fit again"),
        Some(_) => Ok(()),
        None => Err(std::mem::take(&mut source.problems)),
    }
}

fn read(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<Correction> {
    let setup = keys.text(source, "setup");
    let date = if keys.has("date") { date(source, keys) } else { None };
    let method = keys.word::<Method, _>(source, "method");
    let form = match method {
        Some(Method::Structured) => structured_form(source, keys),
        _ => keys.word::<Form, _>(source, "model"),
    };
    let program_version = keys.text(source, "program_version");
    let prints = keys.whole(source, "prints").and_then(|prints| within(source, keys, "prints", prints));
    let dof = keys.number_from(source, "dof", 1.0);
    let warnings = if keys.has("warnings") { keys.texts(source, "warnings") } else { Some(Vec::new()) };
    let readings = keys.table(source, "readings");
    let file = readings.as_ref().and_then(|keys| keys.text(source, "file"));
    let sha256 = readings.as_ref().and_then(|keys| keys.text(source, "sha256"));
    let kinds = keys.table(source, "kinds").and_then(|table| kinds(source, &table));
    let spread = keys.table(source, "spread").and_then(|table| spread(source, &table));
    let effects = match keys.has("print_effects") {
        true => keys.table(source, "print_effects").and_then(|table| print_effects(source, &table)).map(Some),
        false => Some(None),
    };
    let estimate = keys.table(source, "estimate").and_then(|table| estimate(source, &table));
    let runners_up = runners_up(source, keys);
    let set_aside = set_aside(source, keys);
    let (method, print_effects) = (method?, effects?);
    if (method == Method::Structured) != print_effects.is_some() {
        let message = format!("`{}` does not go with the table print_effects", method.name());
        source.problem(keys.place("method"), "method", message);
    }
    let (terms, coefficients, covariance) = estimate?;
    Some(Correction {
        setup: setup?,
        date,
        readings_file: file?,
        readings_sha256: sha256?,
        program_version: program_version?,
        form: form?,
        runners_up: runners_up?,
        terms,
        coefficients,
        covariance,
        dof: dof?,
        prints: prints?,
        kinds: kinds?,
        spread: spread?,
        print_effects,
        set_aside: set_aside?,
        warnings: warnings?,
    })
}

/// The structured model has one form; its terms say whether it has the small-bore term.
fn structured_form(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<Form> {
    let model = keys.text(source, "model")?;
    if model != Method::Structured.name() {
        let message = format!("`{model}` is a model of least squares, and the method is structured");
        source.problem(keys.place("model"), "model", message);
    }
    let terms = keys.table(source, "estimate").and_then(|table| table.texts(source, "terms"))?;
    Some(Form { scale: ScaleForm::Shared, small_bore: terms.contains(&Term::SmallBore.name()) })
}

fn date(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<String> {
    let text = keys.text(source, "date")?;
    if text.parse::<jiff::civil::Date>().is_err() {
        source.problem(keys.place("date"), "date", format!("`{text}` is not a date like 2026-11-25"));
    }
    Some(text)
}

/// A count of prints or features: one at least, and within reason.
fn within(source: &mut Source<'_>, keys: &Keys<'_>, key: &str, count: u64) -> Option<u32> {
    let found = u32::try_from(count).ok().filter(|count| *count > 0);
    if found.is_none() {
        source.problem(keys.place(key), keys.dotted(key), format!("`{count}` is not a count from 1"));
    }
    found
}

fn kinds(source: &mut Source<'_>, table: &Keys<'_>) -> Option<BTreeMap<Kind, Coverage>> {
    let mut kinds = BTreeMap::new();
    let names = table.names();
    let mut whole = !names.is_empty();
    if names.is_empty() {
        source.problem(table.place(""), "kinds", "no kind is given");
    }
    for (name, place) in names {
        let Ok(kind) = name.parse::<Kind>() else {
            source.problem(place, table.dotted(&name), format!("`{name}` is no kind of feature"));
            whole = false;
            continue;
        };
        let coverage = table.table(source, &name).and_then(|keys| {
            let min_mm = keys.number(source, "min_mm");
            let max_mm = keys.number(source, "max_mm");
            let features = keys.whole(source, "features");
            let features = features.and_then(|features| within(source, &keys, "features", features));
            let readings = keys.whole(source, "readings");
            let (min_mm, max_mm) = (min_mm?, max_mm?);
            if !(min_mm > 0.0 && min_mm <= max_mm) {
                let message = format!("`{min_mm}` to `{max_mm}` is not a range of sizes");
                source.problem(keys.place("min_mm"), keys.dotted("min_mm"), message);
                return None;
            }
            Some(Coverage { min_mm, max_mm, features: features?, readings: readings? })
        });
        match coverage {
            Some(coverage) => drop(kinds.insert(kind, coverage)),
            None => whole = false,
        }
    }
    whole.then_some(kinds)
}

fn spread(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<Spread> {
    let mut one = |name: &str| {
        let sd_mm = keys.number_from(source, &format!("{name}_sd_mm"), 0.0);
        let key = format!("{name}_dof");
        let dof = if keys.has(&key) { Some(keys.number_above(source, &key, 0.0)) } else { None };
        match dof {
            Some(dof) => Some(SpreadEstimate { sd_mm: sd_mm?, dof: Some(dof?) }),
            None => Some(SpreadEstimate { sd_mm: sd_mm?, dof: None }),
        }
    };
    let (print, feature) = (one("print"), one("feature"));
    let repeat = if keys.has("repeat_sd_mm") { Some(one("repeat")) } else { None };
    let caliper_u_mm = keys.number_from(source, "caliper_u_mm", 0.0);
    let repeat = match repeat {
        Some(read) => Some(read?),
        None => None,
    };
    Some(Spread { print: print?, feature: feature?, repeat, caliper_u_mm: caliper_u_mm? })
}

fn print_effects(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<PrintEffects> {
    let mut part = |sd: &str, dof: &str| {
        let sd = keys.number_from(source, sd, 0.0);
        let dof = keys.number_from(source, dof, 1.0);
        Some((sd?, dof?))
    };
    let swell = part("swell_sd_mm", "swell_dof");
    let shrink = part("shrink_sd", "shrink_dof");
    let height = part("height_sd_mm", "height_dof");
    let ((swell_sd_mm, swell_dof), (shrink_sd, shrink_dof), (height_sd_mm, height_dof)) =
        (swell?, shrink?, height?);
    Some(PrintEffects { swell_sd_mm, swell_dof, shrink_sd, shrink_dof, height_sd_mm, height_dof })
}

type Estimate = (Vec<Term>, Vec<f64>, Vec<Vec<f64>>);

fn estimate(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<Estimate> {
    let names = keys.texts(source, "terms");
    let coefficients = keys.numbers(source, "coefficients");
    let covariance = keys.rows(source, "covariance");
    let (names, coefficients, covariance) = (names?, coefficients?, covariance?);
    let before = source.problems.len();
    let mut terms: Vec<Term> = Vec::new();
    for name in &names {
        match Term::from_name(name) {
            Some(term) if terms.contains(&term) => {
                source.problem(keys.place("terms"), keys.dotted("terms"), format!("`{name}` is there twice"));
            }
            Some(term) => terms.push(term),
            None => {
                let message = format!("`{name}` is no term of the model");
                source.problem(keys.place("terms"), keys.dotted("terms"), message);
            }
        }
    }
    let count = names.len();
    if count == 0 {
        source.problem(keys.place("terms"), keys.dotted("terms"), "no term is given");
    }
    if coefficients.len() != count {
        let message = format!("{count} terms need as many coefficients; there are {}", coefficients.len());
        source.problem(keys.place("coefficients"), keys.dotted("coefficients"), message);
    }
    if covariance.len() != count || covariance.iter().any(|row| row.len() != count) {
        let message = format!("{count} terms need {count} rows of {count} numbers");
        source.problem(keys.place("covariance"), keys.dotted("covariance"), message);
    } else if source.problems.len() == before && !is_covariance(&covariance) {
        let message = "these numbers are no covariance: not symmetric, or a variance below zero comes out";
        source.problem(keys.place("covariance"), keys.dotted("covariance"), message);
    }
    (source.problems.len() == before).then_some((terms, coefficients, covariance))
}

/// Whether it is symmetric and no mixture of the coefficients has a negative variance.
fn is_covariance(rows: &[Vec<f64>]) -> bool {
    let size = rows.len();
    let root = |i: usize| if rows[i][i] > 0.0 { rows[i][i].sqrt() } else { 1.0 };
    let symmetric = (0..size).all(|i| (0..i).all(|j| rows[i][j] == rows[j][i]) && rows[i][i] >= 0.0);
    // By the standard errors, so that mm^2 and ratios weigh alike.
    let scaled = DMatrix::from_fn(size, size, |i, j| rows[i][j] / root(i) / root(j));
    symmetric
        && scaled.iter().all(|value| value.abs() <= 1.0 + 1e-9)
        && scaled.symmetric_eigenvalues().iter().all(|value| *value > -1e-9)
}

fn runners_up(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<Vec<RunnerUp>> {
    let tables = keys.tables(source, "runners_up");
    let read: Vec<Option<RunnerUp>> = tables
        .iter()
        .map(|keys| {
            let form = keys.word::<Form, _>(source, "model");
            let aicc_above_best = keys.number(source, "aicc_above_best");
            Some(RunnerUp { form: form?, aicc_above_best: aicc_above_best? })
        })
        .collect();
    read.into_iter().collect()
}

fn set_aside(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<Vec<SetAside>> {
    let tables = keys.tables(source, "set_aside");
    let read: Vec<Option<SetAside>> = tables
        .iter()
        .map(|keys| {
            let line = keys.whole(source, "line");
            let reading_mm = keys.number(source, "reading_mm");
            let reason = keys.text(source, "reason");
            Some(SetAside { line: line?, reading_mm: reading_mm?, reason: reason? })
        })
        .collect();
    read.into_iter().collect()
}

/// Whether what the file says twice agrees.
fn check(source: &mut Source<'_>, keys: &Keys<'_>, correction: &Correction) {
    for kind in Kind::ALL {
        let measured = correction.kinds.contains_key(&kind);
        let fitted = correction.terms.contains(&Term::Offset(kind));
        if measured != fitted {
            let (has, lacks) =
                if measured { ("`kinds`", "`estimate.terms`") } else { ("`estimate.terms`", "`kinds`") };
            source.problem(
                keys.place("estimate"),
                "estimate.terms",
                format!("{has} has {}, {lacks} does not", kind.plural()),
            );
        }
    }
    let Some(tables) = keys.table(source, "kinds") else { return };
    for kind in correction.kinds.keys() {
        let (Some(table), Some(summary)) = (tables.table(source, kind.name()), correction.summary(*kind))
        else {
            continue;
        };
        let repeated = [
            ("offset_mm", Some(summary.offset_mm)),
            ("offset_se_mm", Some(summary.offset_se_mm)),
            ("scale", Some(summary.scale)),
            ("scale_se", summary.scale_se),
            ("small_bore_mm2", summary.small_bore_mm2),
            ("small_bore_se_mm2", summary.small_bore_se_mm2),
        ];
        for (key, told) in repeated {
            if told.is_none() && !table.has(key) {
                continue;
            }
            let Some(written) = table.number(source, key) else { continue };
            // To nine digits, so that a later version may add up in another order.
            let agrees = told.is_some_and(|told| (written - told).abs() <= 1e-9 * told.abs().max(1e-6));
            if !agrees {
                let told = told.map_or_else(|| "none".to_owned(), |told| format!("{told:?}"));
                let place = source.location(table.place(key), table.dotted(key));
                let message = format!("`{written}` does not agree with the coefficients, which give {told}");
                source.problems.push(
                    Problem::error(place, message).help(
                        "this table is for reading and was edited: undo that, or change the readings and fit again",
                    ),
                );
            }
        }
    }
}
