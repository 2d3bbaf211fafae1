//! `parts`: sizes to draw for a whole parts list, from a saved correction.

use std::path::{Path, PathBuf};

use crate::correction::Correction;
use crate::correction::feel::Feels;
use crate::files::{self, Outputs};
use crate::parts::own_fits::OwnFits;
use crate::parts::parameters::Parameters;
use crate::parts::parts_list::PartsList;
use crate::parts::sized_list::SizedList;
use crate::problem::{Location, Problem};
use crate::report::parts::page;
use crate::report::parts_drawing;
use crate::stats::tolerance::Wanted;
use crate::units::Mm;

use super::limits::{named_fits, step, tolerance};
use super::output::Output;
use super::{Error, Status};

/// More lines than this that cannot be met are counted and not listed.
const MOST_LISTED: usize = 50;

/// Print the sizes to draw for a parts list, and write the list with them
///
/// The list is CSV (comma, semicolon or tab; decimal point or comma) with the columns part, dimension,
/// kind, axis, target_mm, and of what the print must keep one of: lower_mm and upper_mm; class (H7, g6);
/// fit (press, snug, slide, free) with mate_mm. Other columns are kept.
///
/// With limits, target_mm is aimed at, or their middle where it is blank. With a class or a fit, target_mm
/// is the nominal size (mate_mm stands in for it) and the middle of the limits that follow is aimed at;
/// the column note says so. mate_lower_mm and mate_upper_mm give the bought part's own limits: the
/// chance is then that of the clearance over all such parts. The column mate names what is sold instead:
/// bearing:608, shaft:5h7, pin:4m6, screw:M3, nut:M3, insert:4x5.8; kind then says which of its dimensions
/// (a height is how deep it sits), and may be blank for the usual seat.
///
/// Where the correction has your own feel tests, a fit of that name means what felt so.
///
/// A line that cannot be met says why in note, the others still come out, and the exit code is 1.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Parts list
    #[arg(value_name = "FILE")]
    list: PathBuf,
    /// Correction file written by `fit`
    #[arg(long = "with", value_name = "CORRECTION")]
    correction: PathBuf,
    /// CSV to write: the list with draw_mm, expected_mm, low95_mm, high95_mm, chance and note; needed unless
    /// --json, --report or --parameters is given
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Page to write: what will not fit and why, and every line with its limits and prints
    #[arg(long, value_name = "FILE.html")]
    report: Option<PathBuf>,
    /// CSV to write for a CAD's parameter table: name, value, unit; one row a size to draw
    #[arg(long, value_name = "FILE.csv")]
    parameters: Option<PathBuf>,
    /// Print where the numbers come from: standards, tables, common practice
    #[arg(long)]
    sources: bool,
    /// Use the named fits' clearances, even where the correction has your own feel tests
    #[arg(long)]
    ignore_feel: bool,
    /// Drawing to print, FILE.html: every dimension as a plain view; FILE-readings.csv beside it goes to
    /// `verify` when it is filled in
    #[arg(long, value_name = "FILE.html")]
    drawing: Option<PathBuf>,
    /// TOML file with fits of your own, in the form of the bundled data/fits/named.toml
    #[arg(long, value_name = "FILE")]
    fits: Option<PathBuf>,
    /// Step that sizes to draw are rounded to; 0 leaves them as they are
    #[arg(long, value_name = "MM", default_value = "0.01", value_parser = step, allow_hyphen_values = true)]
    step: Mm,
    /// Add tolerance_low_mm and tolerance_high_mm: the limits that hold this share of all prints with this
    /// confidence, both in per cent: 95/95
    #[arg(long, value_name = "SHARE/CONFIDENCE", value_parser = tolerance)]
    tolerance: Option<Wanted>,
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let targets = [&args.out, &args.report, &args.parameters, &args.drawing];
    // Not told to clap, which does not see a --json that stands in front of the command.
    if targets.iter().all(|target| target.is_none()) && !output.json {
        return Err(Error::problem(
            Problem::error(Location::default(), "--out is missing: where to write the list with the sizes")
                .help("add `--out parts-to-draw.csv`, or ask for the numbers with --json"),
        ));
    }
    let mut outputs =
        Outputs::new(output.force).keeping([&args.list, &args.correction].into_iter().chain(&args.fits));
    targets.into_iter().flatten().try_for_each(|target| outputs.check_file(target))?;
    let sheet = args.drawing.as_ref().map(|page| {
        let stem = page.file_stem().unwrap_or_default().to_string_lossy();
        page.with_file_name(format!("{stem}-readings.csv"))
    });
    sheet.iter().try_for_each(|sheet| outputs.check_file(sheet))?;
    let named = named_fits(args.fits.as_ref())?;
    let text = files::read_text(&args.correction)?;
    let correction = Correction::from_toml(&text, &args.correction)?;
    let feels = if args.ignore_feel || args.fits.is_some() {
        None
    } else {
        Feels::from_toml(&text, &args.correction)?
    };
    let list = PartsList::parse(&files::read(&args.list)?, &args.list)
        .map_err(|problems| Error::in_file(problems, &args.list, "nothing was sized"))?;
    let fits = OwnFits::new(&named, feels.as_ref(), &correction);
    let mut sized = SizedList::new(&list, &correction, &fits, args.step);
    if let Some(demand) = args.tolerance {
        sized = sized.with_tolerance(&correction, demand);
    }
    if args.sources {
        sized = sized.with_sources(&fits);
    }
    let parameters = Parameters::of(&sized);
    write(args, &sized, &parameters, &correction, sheet.as_deref(), &mut outputs)?;
    outputs.commit()?;
    output.warnings(&list.warnings)?;
    for warning in &sized.warnings {
        output.warnings(&[Problem::warning(Location::default(), warning)])?;
    }
    output.result(&sized.to_text(), &sized)?;
    report(args, &sized, output)
}

/// Writes the files that are asked for.
fn write(
    args: &Args,
    sized: &SizedList<'_>,
    parameters: &Parameters,
    correction: &Correction,
    sheet: Option<&Path>,
    outputs: &mut Outputs,
) -> Result<(), Error> {
    if let Some(out) = &args.out {
        outputs.write(out, &sized.to_csv().map_err(std::io::Error::other)?)?;
    }
    if let Some(file) = &args.parameters {
        outputs.write(file, parameters.to_csv().as_bytes())?;
    }
    if let Some(file) = &args.report {
        let name = args.list.file_name().unwrap_or_default().to_string_lossy();
        let page = page(sized, &name, &correction.setup, &sized.sources).map_err(std::io::Error::other)?;
        outputs.write(file, page.as_bytes())?;
    }
    if let (Some(drawing), Some(sheet)) = (&args.drawing, sheet) {
        let name = |path: &Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let (readings, correction_file) = (name(sheet), name(&args.correction));
        let page = parts_drawing::page(&sized.parts, &correction.setup, &readings, &correction_file);
        outputs.write(drawing, page.map_err(|error| Error::call(error.to_string()))?.as_bytes())?;
        outputs.write(sheet, parts_drawing::readings(&sized.parts, &correction.setup).as_bytes())?;
    }
    Ok(())
}

/// Says on stderr what was written and which lines cannot be met.
fn report(args: &Args, sized: &SizedList<'_>, output: &mut Output) -> Result<Status, Error> {
    for file in [&args.out, &args.report, &args.parameters].into_iter().flatten() {
        output.progress(&format!("wrote {}", file.display()))?;
    }
    if let Some(drawing) = &args.drawing {
        output.progress(&format!("wrote {} and the sheet beside it", drawing.display()))?;
    }
    if sized.not_met.is_empty() {
        return Ok(Status::Done);
    }
    let listed = sized.not_met.iter().take(MOST_LISTED).map(|line| {
        let place = Location::file(&args.list).line(line.line);
        Problem::error(place, line.reason.clone()).help_if(line.help.clone())
    });
    let listed: Vec<Problem> = listed.collect();
    output.failure(&listed, &sized.summary())?;
    Ok(Status::No)
}
