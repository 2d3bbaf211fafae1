//! `fit`: from a readings sheet to a correction file a setup.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use super::fit_many;
use super::output::Output;
use super::{Error, Status};
use crate::cores;
use crate::correction::Form;
use crate::correction::answer::{FitAnswer, SetupAnswer, file_stem, text};
use crate::correction::borrow::Borrowed;
use crate::correction::borrow_folder::Lenders;
use crate::correction::feel::{FeelAnswer, Feels};
use crate::correction::fit::{FitError, FitOptions, Method, fit_all_with};
use crate::correction::fitted::Fit;
use crate::correction::pool;
use crate::correction::structured::lent::Lent;
use crate::correction::tally::{MANY_SETUPS, TABLE_HEADER, Tally, table_rows, warnings};
use crate::files::Outputs;
use crate::plot::{Figure, fit_figures};
use crate::problem::{Location, Problem};
use crate::readings::{CheckedReadings, read_file, read_file_without, summed_up};
use crate::report::fit::{SetupReport, fit_report};

/// Fit how a setup errs, from the caliper readings of its coupons
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The readings sheet, saved as CSV
    pub(super) file: PathBuf,
    /// Correction file to write; with several setups in the sheet, the folder for one each
    #[arg(long, value_name = "NAME.correction.toml")]
    pub(super) out: Option<PathBuf>,
    /// Form of the model, in place of the one that the data prefer: offset, shared or own (an offset per
    /// kind with no scale, one scale for all, a scale per kind); +small-bore adds a term for small bores
    #[arg(long, value_name = "MODEL")]
    model: Option<Form>,
    /// How to estimate: structured (what all kinds share, what each has of its own held small, and how
    /// prints differ) or least-squares (the features' means, in the form that --model names or the data
    /// prefer); structured unless --model is given
    #[arg(long, value_name = "METHOD")]
    method: Option<Method>,
    /// Width of the flat of the inside jaws, across the bore, in mm: takes their chord error out of small
    /// bores (structured)
    #[arg(long, value_name = "MM", value_parser = jaw_flat)]
    jaw_flat_mm: Option<f64>,
    /// How much the parts grow per °C, such as 60e-6, where the sheet has a temperature and neither its line
    /// `# material:` nor the setup's name tells
    #[arg(long, value_name = "1/K", value_parser = expansion)]
    expansion: Option<f64>,
    /// Use every reading, also those that look wrong
    #[arg(long)]
    keep_all: bool,
    /// Leave the readings on these lines of the sheet out, as in 14,17: your decision, and the correction
    /// keeps it; with --keep-all all others are used
    #[arg(long, value_name = "LINE", value_delimiter = ',', value_parser = clap::value_parser!(u64).range(1..))]
    set_aside: Vec<u64>,
    /// An earlier readings sheet of the same setups to pool: its prints count as further prints. Whether
    /// both agree is said first; the correction keeps that
    #[arg(long, value_name = "EARLIER.csv")]
    add: Option<PathBuf>,
    /// When the coupons were measured, for example 2026-11-25, where the sheet does not say
    #[arg(long, value_name = "DATE")]
    date: Option<jiff::civil::Date>,
    /// Folder to write plots into, as SVG and PNG
    #[arg(long, value_name = "DIR")]
    plots: Option<PathBuf>,
    /// Table of all setups' coefficients to write, as CSV, a row a kind
    #[arg(long, value_name = "FILE.csv")]
    pub(super) table: Option<PathBuf>,
    /// Page to write, with table, plots and what was set aside
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Folder with corrections of your earlier setups, to borrow from as far as they are alike; with --add the
    /// pooled readings borrow
    #[arg(long, value_name = "FOLDER")]
    like: Option<PathBuf>,
    /// How many setups to fit at once; as many as there are cores unless given. The results are the same
    #[arg(long, value_name = "COUNT")]
    threads: Option<NonZeroUsize>,
}

impl Args {
    /// Whether something is asked for that takes all fits at once.
    pub(super) fn needs_all(&self) -> bool {
        self.plots.is_some()
            || self.report.is_some()
            || self.add.is_some()
            || self.like.is_some()
            || !self.set_aside.is_empty()
    }

    /// On how many threads to fit.
    pub(super) fn threads(&self) -> usize {
        self.threads.map_or_else(cores::threads, NonZeroUsize::get)
    }
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let writes = [&args.out, &args.plots, &args.report, &args.table].into_iter().any(Option::is_some);
    if !writes && !output.json {
        return Err(Error::problem(
            Problem::error(Location::default(), "nothing to write to").help(
                "name the correction file, as in `--out petg.correction.toml`, or ask for the numbers with --json",
            ),
        ));
    }
    let mut outputs = Outputs::new(output.force).keeping([&args.file]);
    let named = args.out.iter().chain(&args.report).chain(&args.table);
    for target in named.filter(|target| !target.is_dir()) {
        outputs.check_file(target)?;
    }
    if let Some(status) = fit_many::run(args, &options(args)?, output)? {
        return Ok(status);
    }
    let readings = if args.set_aside.is_empty() {
        read_file(&args.file)
    } else {
        read_file_without(&args.file, &args.set_aside.iter().copied().collect())
    };
    let readings = readings.map_err(|problems| unreadable(&args.file, &problems))?;
    if readings.setup_count() == 0 {
        let message = "no row was read before heat, and what came after is no calibration";
        let problem = Problem::error(Location::file(&args.file).column("stage"), message);
        return Err(Error::problem(
            problem.help("fit a sheet whose prints have the stage `before`, or none"),
        ));
    }
    let earlier =
        args.add.as_deref().map(|file| read_file(file).map_err(|problems| unreadable(file, &problems)));
    let earlier = earlier.transpose()?;
    if earlier.as_ref().is_some_and(|earlier| earlier.source.sha256 == readings.source.sha256) {
        let message = "--add names the same readings again: they would count twice";
        return Err(Error::problem(Problem::error(Location::file(&args.file), message)));
    }
    let (feels, doubts) = feels(args, &readings);
    let mut fits = fits(args, &readings, earlier.as_ref(), &feels, &BTreeMap::new())?;
    output.warnings(&readings.warnings)?;
    output.warnings(&doubts)?;
    output.warnings(earlier.as_ref().map_or(&[], |earlier| &earlier.warnings[..]))?;
    let borrowed = borrow(args, (&readings, earlier.as_ref()), &feels, &mut fits, output)?;
    output.warnings(&warnings(&fits))?;
    write(args, &readings, &fits, &feels, &mut outputs)?;
    let written = outputs.commit()?;
    let felt: Vec<FeelAnswer> = feels.values().map(FeelAnswer::of).collect();
    let mut answer = FitAnswer { setups: fits.iter().map(SetupAnswer::of).collect(), feels: felt.clone() };
    for setup in &mut answer.setups {
        setup.borrowed = borrowed.get(&setup.setup).cloned();
    }
    let stated = readings.conditions.caliper_error_mm.is_some();
    let tables = fits.iter().map(|fit| {
        let told = borrowed.get(&fit.correction.setup).map(Borrowed::to_text);
        text(fit, stated) + &told.unwrap_or_default()
    });
    let tables: Vec<String> = if fits.len() > MANY_SETUPS {
        vec![Tally::of(&fits).to_text()]
    } else {
        tables.chain(felt.iter().map(FeelAnswer::to_text)).collect()
    };
    output.result(&tables.join("\n"), &answer)?;
    for path in &written {
        output.progress(&format!("wrote {}", path.display()))?;
    }
    if let (Some(path), Some(fit)) = (written.first().filter(|_| args.out.is_some()), fits.first())
        && let Some((kind, coverage)) = fit.correction.kinds.first_key_value()
    {
        output.progress(&format!(
            "next: shrinkrule size {kind} {} --with {}",
            coverage.max_mm,
            path.display()
        ))?;
    }
    Ok(Status::Done)
}

/// What the real pieces felt like by the setup's number, and what is to be said of it.
fn feels(args: &Args, readings: &CheckedReadings) -> (BTreeMap<usize, Feels>, Vec<Problem>) {
    let (mut feels, mut doubts) = (BTreeMap::new(), Vec::new());
    for (number, result) in Feels::fit_all(readings) {
        match result {
            Ok(mut felt) => {
                felt.date = args.date.map(|date| date.to_string()).or(felt.date);
                let said = felt.warnings.iter().map(|warning| format!("{}: {warning}", felt.setup));
                doubts.extend(said.map(|said| Problem::warning(Location::default(), said)));
                feels.insert(number, felt);
            }
            Err(error) => {
                let setup = readings.setup(number).map(|readings| readings.setup).unwrap_or_default();
                let problem =
                    Problem::warning(Location::file(&args.file), format!("setup `{setup}`: {error}"));
                doubts.push(problem.help(error.help()));
            }
        }
    }
    (feels, doubts)
}

/// Fits again with what the earlier setups lend, where --like names some; what each setup has borrowed.
fn borrow(
    args: &Args,
    (readings, earlier): (&CheckedReadings, Option<&CheckedReadings>),
    feels: &BTreeMap<usize, Feels>,
    fits: &mut Vec<Fit>,
    output: &mut Output,
) -> Result<BTreeMap<String, Borrowed>, Error> {
    let Some(folder) = &args.like else { return Ok(BTreeMap::new()) };
    if method(args)? != Method::Structured {
        let problem = Problem::error(Location::default(), "least squares does not borrow");
        return Err(Error::problem(problem.help("leave --like out, or --model and --method")));
    }
    let lenders = Lenders::read(folder)?;
    output.warnings(&lenders.left_out)?;
    let mut lent: BTreeMap<String, Lent> = BTreeMap::new();
    for alone in fits.iter().map(|fit| &fit.correction) {
        match lenders.lend_to(alone) {
            Some(of) => drop(lent.insert(alone.setup.clone(), of)),
            None => output.warnings(&[lenders.too_few(folder, alone)])?,
        }
    }
    let mut together = self::fits(args, readings, earlier, feels, &lent)?;
    let mut told = BTreeMap::new();
    for (together, alone) in together.iter_mut().zip(fits.iter()) {
        let Some(lent) = lent.get(&alone.correction.setup) else { continue };
        let borrowed = lenders.compare(lent, &alone.correction, &together.correction);
        together.correction.warnings.push(borrowed.sentence());
        told.insert(alone.correction.setup.clone(), borrowed);
    }
    *fits = together;
    Ok(told)
}

/// Every setup's fit, or what is wrong with each that has none; feel tests alone will do. `lent` is what
/// setups borrow, by name.
fn fits(
    args: &Args,
    readings: &CheckedReadings,
    earlier: Option<&CheckedReadings>,
    feels: &BTreeMap<usize, Feels>,
    lent: &BTreeMap<String, Lent>,
) -> Result<Vec<Fit>, Error> {
    let options = options(args)?;
    let results = match earlier {
        Some(earlier) => pool::fit_all_with(readings, earlier, &options, lent),
        None => fit_all_with(readings, &options, lent),
    };
    let mut problems = Vec::new();
    let mut fits = Vec::new();
    for (number, result) in results.into_iter().enumerate() {
        match result {
            Ok(fit) => fits.push(fit),
            Err(error) if error.is_without_readings() && feels.contains_key(&number) => {}
            Err(error) => {
                let setup = readings.setup(number).map(|readings| readings.setup).unwrap_or_default();
                problems.push(cannot_fit(&args.file, &setup, &error));
            }
        }
    }
    if problems.is_empty() {
        return Ok(fits);
    }
    let count = problems.len();
    Err(none_can_be_written(problems, count, readings.setup_count()))
}

fn options(args: &Args) -> Result<FitOptions, Error> {
    Ok(FitOptions {
        form: args.model,
        method: method(args)?,
        jaw_flat_mm: args.jaw_flat_mm,
        expansion: args.expansion,
        keep_all: args.keep_all,
        date: args.date.map(|date| date.to_string()),
        points: args.plots.is_some() || args.report.is_some(),
        criticise: true,
        lent: None,
    })
}

/// Why nothing comes of a sheet with these problems.
pub(super) fn unreadable(file: &Path, problems: &[Problem]) -> Error {
    let (problems, summary) = summed_up(file, problems, "nothing was fitted");
    Error::Input { problems, summary }
}

/// What is wrong with one setup.
pub(super) fn cannot_fit(file: &Path, setup: &str, error: &FitError) -> Problem {
    Problem::error(Location::file(file), format!("setup `{setup}`: {error}")).help(error.help())
}

/// Why nothing comes of a sheet of which some setups cannot be fitted.
pub(super) fn none_can_be_written(problems: Vec<Problem>, count: usize, of: usize) -> Error {
    let s = if count == 1 { "" } else { "s" };
    Error::Input {
        problems,
        summary: format!("{count} setup{s} of {of} cannot be fitted; nothing was written"),
    }
}

/// A form of the model is a form of least squares.
fn method(args: &Args) -> Result<Method, Error> {
    match (args.method, args.model) {
        (Some(Method::Structured), Some(_)) => Err(Error::problem(
            Problem::error(
                Location::default(),
                "--model is a form of least squares, and --method structured has none",
            )
            .help("leave one of the two out"),
        )),
        (Some(method), _) => Ok(method),
        (None, Some(_)) => Ok(Method::LeastSquares),
        (None, None) => Ok(Method::Structured),
    }
}

/// A width that the flat of a caliper's inside jaws may have, mm.
pub(super) fn jaw_flat(text: &str) -> Result<f64, String> {
    let width = text.parse::<f64>().ok().filter(|width| (0.0..=3.0).contains(width));
    width.ok_or_else(|| "expected a width from 0 to 3 mm".to_owned())
}

/// An expansion that a solid may have, 1/K.
pub(super) fn expansion(text: &str) -> Result<f64, String> {
    let expansion = text.parse::<f64>().ok().filter(|expansion| (0.0..=500e-6).contains(expansion));
    expansion.ok_or_else(|| "expected an expansion per °C from 0 to 500e-6, such as 60e-6".to_owned())
}

fn write(
    args: &Args,
    readings: &CheckedReadings,
    fits: &[Fit],
    feels: &BTreeMap<usize, Feels>,
    outputs: &mut Outputs,
) -> Result<(), Error> {
    if let Some(out) = &args.out {
        let setups: Vec<String> = readings.setups().map(|setup| setup.setup).collect();
        let targets = targets(out, &setups)?;
        for ((number, setup), target) in readings.setups().enumerate().zip(&targets) {
            let felt = feels.get(&number);
            let fit = fits.iter().find(|fit| fit.correction.setup == setup.setup);
            let toml = match (fit, felt) {
                (Some(fit), _) => fit.correction.to_toml_with(fit.first_layer.as_ref(), felt),
                (None, Some(felt)) => felt.to_toml(),
                (None, None) => continue,
            };
            outputs.write(target, toml.as_bytes())?;
        }
    }
    if let Some(table) = &args.table {
        let rows = fits.iter().map(|fit| table_rows(&fit.correction));
        let text: String = std::iter::once(TABLE_HEADER.to_owned()).chain(rows).collect();
        outputs.write(table, text.as_bytes())?;
    }
    if fits.is_empty() {
        // Plots and page show readings; feel tests have none.
        return Ok(());
    }
    if args.plots.is_some() || args.report.is_some() {
        let figures: Vec<Vec<Figure>> = fits
            .iter()
            .map(|fit| fit_figures(fit).map_err(|error| cannot_draw(fit, &error)))
            .collect::<Result<_, _>>()?;
        if let Some(folder) = &args.plots {
            plots(folder, fits, &figures, outputs)?;
        }
        if let Some(page) = &args.report {
            let html = report(args, page, readings, fits, &figures)?;
            outputs.write(page, html.as_bytes())?;
        }
    }
    Ok(())
}

fn cannot_draw(fit: &Fit, error: &impl std::fmt::Display) -> Error {
    Error::call(format!("setup `{}`: {error}", fit.correction.setup))
}

/// Every figure as SVG and PNG, with the setup's name in front where there are several.
fn plots(folder: &Path, fits: &[Fit], figures: &[Vec<Figure>], outputs: &mut Outputs) -> Result<(), Error> {
    for (fit, figures) in fits.iter().zip(figures) {
        let setup =
            if fits.len() > 1 { format!("{}-", file_stem(&fit.correction.setup)) } else { String::new() };
        for figure in figures {
            outputs.write(&folder.join(format!("{setup}{}.svg", figure.name)), figure.svg.as_bytes())?;
            outputs.write(&folder.join(format!("{setup}{}.png", figure.name)), &figure.png)?;
        }
    }
    Ok(())
}

/// The page about all setups.
fn report(
    args: &Args,
    page: &Path,
    readings: &CheckedReadings,
    fits: &[Fit],
    figures: &[Vec<Figure>],
) -> Result<String, Error> {
    // Without --out the page still says how to go on.
    let files = match &args.out {
        Some(out) => {
            let setups: Vec<String> = fits.iter().map(|fit| fit.correction.setup.clone()).collect();
            targets(out, &setups)?
        }
        None => fits.iter().map(|fit| correction_name(&fit.correction.setup).into()).collect(),
    };
    // Named from the page's folder where they lie below it, so that a folder can be moved as a whole.
    let folder = page.parent().unwrap_or(Path::new(""));
    let from_page = |file: &PathBuf| file.strip_prefix(folder).unwrap_or(file).display().to_string();
    let files: Vec<String> = files.iter().map(from_page).collect();
    let setups: Vec<SetupReport> = fits
        .iter()
        .zip(figures)
        .zip(&files)
        .map(|((fit, figures), file)| SetupReport { fit, figures, correction_file: file })
        .collect();
    fit_report(&setups, &readings.conditions).map_err(|error| Error::call(error.to_string()))
}

pub(super) fn correction_name(setup: &str) -> String {
    format!("{}.correction.toml", file_stem(setup))
}

/// Where each correction goes: the file itself for one setup, a file a setup in a folder for several.
fn targets(out: &Path, setups: &[String]) -> Result<Vec<PathBuf>, Error> {
    let ends_as_folder = out.as_os_str().to_string_lossy().ends_with(std::path::is_separator);
    if setups.len() == 1 && !out.is_dir() && !ends_as_folder {
        return Ok(vec![out.to_owned()]);
    }
    if out.extension() == Some(OsStr::new("toml")) && !out.is_dir() {
        return Err(Error::problem(
            Problem::error(
                Location::file(out),
                format!("the sheet has {} setups, and this names one file", setups.len()),
            )
            .help("name a folder: each setup gets its own correction file in it"),
        ));
    }
    let mut taken: BTreeMap<String, &str> = BTreeMap::new();
    for setup in setups {
        if let Some(other) = taken.insert(file_stem(setup), setup) {
            return Err(names_meet(out, other, setup));
        }
    }
    Ok(setups.iter().map(|setup| out.join(correction_name(setup))).collect())
}

/// Two setups of which the corrections would have one name.
pub(super) fn names_meet(out: &Path, one: &str, other: &str) -> Error {
    let message = format!("the setups `{one}` and `{other}` would both be written here");
    let problem = Problem::error(Location::file(out.join(correction_name(other))), message);
    Error::problem(problem.help("give the setups names that differ in letters or digits"))
}
