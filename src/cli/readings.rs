//! `readings`: check a readings file and say what is in it.

use std::fmt::Write as _;
use std::path::PathBuf;

use serde::Serialize;

use super::output::Output;
use super::{Error, Status};
use crate::correction::answer::file_stem;
use crate::problem::{Problem, Severity, counted as plural};
use crate::readings::summary::{self, SetupSummary};
use crate::readings::{CheckedReadings, read_file, summed_up};

/// Check a readings file: what is in it, and every problem by line
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The readings sheet, saved as CSV
    file: PathBuf,
}

/// The one JSON document of the command.
#[derive(Debug, Default, Serialize)]
struct Answer {
    file: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    sha256: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    date: Option<String>,
    setups: Vec<SetupSummary>,
    readings: u64,
    not_measured: u64,
    /// Rows that say how a real piece felt.
    #[serde(skip_serializing_if = "is_zero")]
    feel_tests: u64,
    problems: Vec<Said>,
    warnings: Vec<Said>,
}

fn is_zero(count: &u64) -> bool {
    *count == 0
}

/// A problem or a warning.
#[derive(Debug, Serialize)]
struct Said {
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    column: Option<String>,
    message: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    help: Option<String>,
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let mut answer = Answer { file: args.file.display().to_string(), ..Answer::default() };
    match read_file(&args.file) {
        Ok(readings) => {
            output.warnings(&summed_up(&args.file, &readings.warnings, "").0)?;
            answer.sha256 = Some(readings.source.sha256.clone());
            answer.date = readings.conditions.date.clone();
            answer.setups = summary::of(&readings);
            answer.readings = readings.readings;
            answer.not_measured = readings.not_measured;
            answer.feel_tests = readings.trial_count() as u64;
            answer.warnings = said(&readings.warnings, Severity::Warning);
            output.result(&table(&readings, &answer.setups), &answer)?;
            let out = match answer.setups.as_slice() {
                [setup] => format!("{}.correction.toml", file_stem(&setup.setup)),
                _ => "corrections/".to_owned(),
            };
            output.progress(&format!("next: shrinkrule fit {} --out {out}", args.file.display()))?;
            Ok(Status::Done)
        }
        Err(problems) => {
            if output.json {
                answer.problems = said(&problems, Severity::Error);
                answer.warnings = said(&problems, Severity::Warning);
                output.result("", &answer)?;
            }
            let (problems, summary) = summed_up(&args.file, &problems, "nothing was read");
            Err(Error::Input { problems, summary })
        }
    }
}

fn said(problems: &[Problem], severity: Severity) -> Vec<Said> {
    let wanted = problems.iter().filter(|problem| problem.severity == severity);
    wanted
        .map(|problem| Said {
            line: problem.location.line,
            column: problem.location.column.clone(),
            message: problem.message.clone(),
            help: problem.help.clone(),
        })
        .collect()
}

fn table(readings: &CheckedReadings, setups: &[SetupSummary]) -> String {
    let width = setups.iter().map(|setup| setup.setup.chars().count()).max().unwrap_or(0).max(5);
    let mut text = format!("{:<width$}  features  prints  readings  kinds (nominal sizes in mm)\n", "setup");
    for setup in setups {
        let kinds: Vec<String> = setup
            .kinds
            .iter()
            .map(|(kind, part)| {
                if part.min_mm == part.max_mm {
                    format!("{kind} {}", part.min_mm)
                } else {
                    format!("{kind} {} to {}", part.min_mm, part.max_mm)
                }
            })
            .collect();
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{:<width$}  {:>8}  {:>6}  {:>8}  {}",
            setup.setup,
            setup.features,
            setup.prints,
            setup.readings,
            kinds.join(", ")
        );
    }
    let _ = write!(text, "{}", plural(readings.readings, "reading"));
    if readings.trial_count() > 0 {
        let _ = write!(text, ", {}", plural(readings.trial_count() as u64, "feel test"));
    }
    if readings.not_measured > 0 {
        let _ = write!(text, ", {} without a reading", plural(readings.not_measured, "row"));
    }
    if !readings.warnings.is_empty() {
        let _ = write!(text, ", {}", plural(readings.warnings.len() as u64, "warning"));
    }
    text.push('\n');
    text
}
