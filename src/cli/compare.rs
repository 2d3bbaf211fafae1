//! `compare`: which material keeps its size in the heat, from readings before and after.

use std::path::PathBuf;

use super::output::Output;
use super::{Error, Status};
use crate::compare::answer::CompareAnswer;
use crate::compare::verdict::Verdict;
use crate::compare::{Comparison, Options, USUAL_LIMIT_MM, compare, text};
use crate::files::Outputs;
use crate::plot::{Figure, comparison_figures};
use crate::problem::{Severity, counted};
use crate::readings::{CheckedReadings, few_warnings, read_file, summed_up};
use crate::report::compare::compare_report;
use crate::units::Mm;

/// Compare materials by how they keep their size in the heat, from readings before and after a soak
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Readings sheets with the columns stage, material, soak_c and soak_h, saved as CSV; several are taken
    /// together
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// The change of size that you can bear, in mm, either way
    #[arg(long, value_name = "MM", default_value_t = USUAL_LIMIT_MM, value_parser = limit)]
    limit: f64,
    /// The temperature that the parts must stand, in Celsius; every soak that was measured unless given
    #[arg(long, value_name = "CELSIUS", value_parser = celsius, allow_negative_numbers = true)]
    at: Option<f64>,
    /// Page to write, with the answer, tables and pictures
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// Folder to write pictures into, as SVG and PNG
    #[arg(long, value_name = "DIR")]
    plots: Option<PathBuf>,
}

/// A limit of change.
fn limit(text: &str) -> Result<f64, String> {
    let mm = text.parse::<Mm>().map_err(|error| error.to_string())?.get();
    if mm > 0.0 && mm <= 10.0 { Ok(mm) } else { Err("expected more than 0 and at most 10 mm".to_owned()) }
}

/// A temperature that plastics are used at.
fn celsius(text: &str) -> Result<f64, String> {
    let celsius = text.parse::<f64>().ok().filter(|celsius| (-60.0..=400.0).contains(celsius));
    celsius.ok_or_else(|| "expected a temperature from -60 to 400 °C".to_owned())
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let mut outputs = Outputs::new(output.force).keeping(&args.files);
    for target in args.report.iter().filter(|target| !target.is_dir()) {
        outputs.check_file(target)?;
    }
    let mut files: Vec<CheckedReadings> = Vec::new();
    for file in &args.files {
        let read = read_file(file).map_err(|problems| {
            let (problems, summary) = summed_up(file, &problems, "nothing was compared");
            Error::Input { problems, summary }
        })?;
        // The same file twice would count every reading twice.
        if files.iter().any(|known| known.source.sha256 == read.source.sha256) {
            return Err(Error::call(format!(
                "`{}` holds the same readings as a file before it",
                file.display()
            )));
        }
        files.push(read);
    }
    let options = Options { limit_mm: args.limit, at_c: args.at };
    let comparison = compare(&files, options).map_err(|problems| {
        let errors = problems.iter().filter(|problem| problem.severity == Severity::Error).count();
        let summary = format!("{}; nothing was compared", counted(errors as u64, "problem"));
        Error::Input { problems, summary }
    })?;
    files.iter().try_for_each(|file| output.warnings(&few_warnings(file)))?;
    output.warnings(&comparison.study.warnings)?;
    write(args, &comparison, &mut outputs)?;
    let written = outputs.commit()?;
    output.result(&text::text(&comparison), &CompareAnswer::of(&comparison))?;
    for path in &written {
        output.progress(&format!("wrote {}", path.display()))?;
    }
    // The answer is no only where a temperature was asked for and nothing stands it.
    let is_no =
        args.at.is_some() && comparison.headlines.iter().all(|headline| headline.verdict == Verdict::Exceeds);
    Ok(if is_no { Status::No } else { Status::Done })
}

fn write(args: &Args, comparison: &Comparison, outputs: &mut Outputs) -> Result<(), Error> {
    if args.report.is_none() && args.plots.is_none() {
        return Ok(());
    }
    let figures: Vec<Figure> =
        comparison_figures(comparison).map_err(|error| Error::call(error.to_string()))?;
    if let Some(folder) = &args.plots {
        for figure in &figures {
            outputs.write(&folder.join(format!("{}.svg", figure.name)), figure.svg.as_bytes())?;
            outputs.write(&folder.join(format!("{}.png", figure.name)), &figure.png)?;
        }
    }
    if let Some(page) = &args.report {
        let html = compare_report(comparison, &figures).map_err(|error| Error::call(error.to_string()))?;
        outputs.write(page, html.as_bytes())?;
    }
    Ok(())
}
