//! `verify`: whether a correction still holds, by readings of later prints; and the history of that.

use std::path::{Path, PathBuf};

use jiff::civil::Date;

use super::output::Output;
use super::picture::{cannot_draw, picture_kind, write_picture};
use super::{Error, Status};
use crate::correction::Correction;
use crate::correction::history::answer::{self, HistoryAnswer};
use crate::correction::history::chart::charts;
use crate::correction::history::{Entry, History};
use crate::correction::temperature::ToReference;
use crate::correction::verify::answer::VerifyAnswer;
use crate::correction::verify::measured::{of_setup, read_measured};
use crate::correction::verify::{Options, Verdict, Verification, verify};
use crate::files::{self, Outputs};
use crate::plot::{history_figure, verification_figure};
use crate::problem::{Location, Problem};
use crate::readings::{CheckedReadings, sha256, summed_up};
use crate::units::Mm;

/// Say whether a correction still holds, from caliper readings of later prints
///
/// FILE is a readings sheet of coupons printed later, or a parts list that `parts` wrote with a column
/// measured_mm (or reading columns) added: real parts, measured back.
///
/// Drifted takes two tests: the prints differ from the prediction by more than an unchanged printer's do
/// (this happens to at most 5 % of unchanged ones), and by more than matters. The exit code is 1 then, and
/// 0 when the correction holds or the readings cannot tell.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub struct Args {
    /// Readings of later prints, CSV
    #[arg(required_unless_present = "history", conflicts_with = "history")]
    file: Option<PathBuf>,
    /// Correction file that `fit` wrote
    #[arg(long = "with", value_name = "CORRECTION", required_unless_present = "history")]
    correction: Option<PathBuf>,
    /// Change of the mean that matters, mm; 0.05 is what is felt between a snug and a sliding fit
    #[arg(long, value_name = "MM", default_value = "0.05")]
    matters: Mm,
    /// Setup in the file, where it is called otherwise than in the correction
    #[arg(long, value_name = "NAME")]
    setup: Option<String>,
    /// When the prints were measured, for example 2026-11-25, where the file does not say
    #[arg(long, value_name = "DATE")]
    date: Option<Date>,
    /// Width of the flat of the inside jaws, across the bore, in mm, where the correction was fitted with it
    #[arg(long, value_name = "MM", value_parser = super::fit::jaw_flat)]
    jaw_flat_mm: Option<f64>,
    /// Use every reading, also one that stands apart from all the others
    #[arg(long)]
    keep_all: bool,
    /// How much the parts grow per °C, where the file has a temperature; as for `fit`
    #[arg(long, value_name = "1/K", value_parser = super::fit::expansion)]
    expansion: Option<f64>,
    /// History to append the result to, one row; made when it is not there
    #[arg(long, value_name = "HISTORY.csv", conflicts_with = "history")]
    add_to: Option<PathBuf>,
    /// Show this history in place of a verification: its control chart and the first date at which it
    /// drifted (exit code 1 when it did)
    #[arg(long, value_name = "HISTORY.csv")]
    history: Option<PathBuf>,
    /// Picture to write, .svg or .png: the differences, or the chart of a history
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

const EXAMPLES: &str = "\
Examples:
  shrinkrule verify december.csv --with petg.correction.toml --add-to petg-history.csv
  shrinkrule verify slider-parts-measured.csv --with petg.correction.toml --matters 0.1
  shrinkrule verify --history petg-history.csv --plot petg-history.svg";

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    if args.matters.get() <= 0.0 {
        return Err(Error::call(format!(
            "--matters {} is no change: give a length above 0",
            args.matters.get()
        )));
    }
    let outputs = Outputs::new(output.force);
    if let Some(plot) = &args.plot {
        picture_kind(plot)?;
        outputs.check_file(plot)?;
    }
    match (&args.history, &args.file, &args.correction) {
        (Some(history), ..) => show_history(args, history, outputs, output),
        (None, Some(file), Some(correction)) => show_verification(args, file, correction, outputs, output),
        // Clap asks for both.
        _ => Err(Error::call("name the readings and the correction, or a history")),
    }
}

fn show_verification(
    args: &Args,
    file: &Path,
    correction_file: &Path,
    mut outputs: Outputs,
    output: &mut Output,
) -> Result<Status, Error> {
    let correction = Correction::read(correction_file)?;
    let readings = read_measured(file).map_err(|problems| {
        let (problems, summary) = summed_up(file, &problems, "nothing was verified");
        Error::Input { problems, summary }
    })?;
    let verification = verification(args, file, &correction, &readings)?;
    // The reader has checked that it is a date.
    let said = readings.conditions.date.as_ref().and_then(|date| date.parse().ok());
    let measured_on: Option<Date> = args.date.or(said);
    let date = measured_on.map(|date| date.to_string());
    if let Some(plot) = &args.plot {
        let figure = verification_figure(&verification, date.as_deref()).map_err(cannot_draw)?;
        write_picture(&mut outputs, plot, &figure)?;
    }
    let mut history = Outputs::new(true);
    if let Some(add_to) = &args.add_to {
        history
            .write(add_to, &with_entry(add_to, &verification, measured_on, correction_file, &readings)?)?;
    }
    // The picture first: it alone can be refused, and a history must not have a row of a run that failed.
    let mut written = outputs.commit()?;
    written.extend(history.commit()?);
    output.warnings(&readings.warnings)?;
    let to_reference = ToReference::of(&readings.conditions, &correction.setup, args.expansion);
    for warning in to_reference.iter().map(|to| &to.said).chain(&verification.warnings) {
        output.warnings(&[Problem::warning(Location::file(file), warning)])?;
    }
    let answer = VerifyAnswer::of(&verification, date.as_deref());
    output.result(&verification.to_text(date.as_deref()), &answer)?;
    for path in &written {
        output.progress(&format!("wrote {}", path.display()))?;
    }
    Ok(if verification.verdict == Verdict::Drifted { Status::No } else { Status::Done })
}

fn verification(
    args: &Args,
    file: &Path,
    correction: &Correction,
    readings: &CheckedReadings,
) -> Result<Verification, Error> {
    let wanted = args.setup.as_deref().unwrap_or(&correction.setup);
    let setup = of_setup(readings, wanted).map_err(|error| {
        let help = match error.found.first() {
            Some(found) => {
                format!("give the correction of that setup, or say `--setup {found}` if it is the same")
            }
            None => "type the readings into the sheet".to_owned(),
        };
        let message =
            if error.found.is_empty() { "no feature has a reading".to_owned() } else { error.to_string() };
        Error::problem(Problem::error(Location::file(file), message).help(help))
    })?;
    let to_reference = ToReference::of(&readings.conditions, &correction.setup, args.expansion);
    let options = Options {
        matters_mm: args.matters.get(),
        keep_all: args.keep_all,
        jaw_flat_mm: args.jaw_flat_mm,
        to_reference: to_reference.map_or(1.0, |to| to.factor),
    };
    verify(correction, &setup, &options).map_err(|error| {
        Error::problem(Problem::error(Location::file(file), error.to_string()).help(error.help()))
    })
}

/// The bytes of the history with one row more.
fn with_entry(
    add_to: &Path,
    verification: &Verification,
    measured_on: Option<Date>,
    correction_file: &Path,
    readings: &CheckedReadings,
) -> Result<Vec<u8>, Error> {
    let source = &readings.source;
    let Some(date) = measured_on else {
        return Err(Error::problem(
            Problem::error(Location::file(&source.path), "the file does not say when it was measured")
                .help("write `# date: 2026-11-25` above the header, or say --date 2026-11-25"),
        ));
    };
    let sha256 = sha256(&files::read(correction_file)?);
    let entry = Entry::of(verification, date, (correction_file, &sha256), source);
    let mut history = if add_to.exists() { read_history(add_to)? } else { History::default() };
    history.add(entry).map_err(|error| {
        Error::problem(Problem::error(Location::file(add_to), error.to_string()).help(error.help()))
    })?;
    Ok(history.to_csv().map_err(std::io::Error::other)?)
}

fn read_history(path: &Path) -> Result<History, Error> {
    History::parse(&files::read(path)?, path)
        .map_err(|problems| Error::in_file(problems, path, "nothing was written"))
}

fn show_history(
    args: &Args,
    path: &Path,
    mut outputs: Outputs,
    output: &mut Output,
) -> Result<Status, Error> {
    let history = read_history(path)?;
    let charts = charts(&history, args.matters.get());
    if let Some(plot) = &args.plot {
        let wanted = args.setup.as_deref();
        let chosen: Vec<_> =
            charts.iter().filter(|chart| wanted.is_none_or(|name| chart.setup == name)).collect();
        let [chart] = chosen.as_slice() else {
            let setups: Vec<&str> = charts.iter().map(|chart| chart.setup.as_str()).collect();
            return Err(Error::problem(
                Problem::error(
                    Location::file(path),
                    format!("a picture shows one setup, and the history has {}", setups.join(", ")),
                )
                .help("say which one with --setup NAME"),
            ));
        };
        let figure = history_figure(chart).map_err(cannot_draw)?;
        write_picture(&mut outputs, plot, &figure)?;
    }
    let written = outputs.commit()?;
    output.result(&answer::text(&charts), &HistoryAnswer::of(&charts, args.matters.get()))?;
    for path in &written {
        output.progress(&format!("wrote {}", path.display()))?;
    }
    Ok(if charts.iter().any(|chart| chart.first_drift().is_some()) { Status::No } else { Status::Done })
}
