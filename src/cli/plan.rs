//! `plan`: which coupons to print, and how often, for the dimensions of a parts list.

use std::path::PathBuf;

use super::limits::named_fits;
use super::output::Output;
use super::{Error, Status};
use crate::correction::Correction;
use crate::coupon::plate::Bed;
use crate::files::{self, Outputs};
use crate::parts::parts_list::PartsList;
use crate::plan::Wanted;
use crate::plan::search::plan;
use crate::plan::spreads::{Class, Spreads};
use crate::problem::{Location, Problem};

/// Choose coupons and number of prints so that the dimensions of a parts list keep their limits
///
/// The list is the one that `parts` takes. Each dimension's 95 % interval is predicted for one to five
/// prints of three sets of coupons, chosen for these very sizes; the smallest that keeps every limit is
/// written as a set for `coupons --set`. A limit that no number of coupons reaches is named, with what
/// would do, and the exit code is 1.
#[derive(Debug, clap::Args)]
#[command(after_help = HELP)]
pub struct Args {
    /// Parts list
    #[arg(long = "for", value_name = "FILE")]
    list: PathBuf,
    /// Bed of the printer in mm
    #[arg(long, value_name = "WxD", default_value = "200x200")]
    bed: Bed,
    /// Coupon set to write
    #[arg(long, value_name = "FILE.toml")]
    out: Option<PathBuf>,
    /// Take the spreads of prints and features from this correction
    #[arg(long = "with", value_name = "CORRECTION")]
    correction: Option<PathBuf>,
    /// Without a correction: how well the printer repeats: good, typical or bad
    #[arg(long, value_name = "CLASS", default_value = "typical", conflicts_with = "correction")]
    printer: Class,
    /// TOML file with fits of your own, in the form of the bundled data/fits/named.toml
    #[arg(long, value_name = "FILE")]
    fits: Option<PathBuf>,
}

const HELP: &str = "\
Examples:
  shrinkrule plan --for slider-parts.csv
  shrinkrule plan --for slider-parts.csv --with petg.correction.toml --out slider-set.toml
  shrinkrule coupons --set slider-set.toml --copies 3 --out slider-coupons";

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let mut outputs = Outputs::new(output.force);
    if let Some(out) = &args.out {
        outputs.check_file(out)?;
    }
    let fits = named_fits(args.fits.as_ref())?;
    let (spreads, from) = match &args.correction {
        Some(path) => {
            let correction = Correction::read(path)?;
            let from = format!("as `{}` has them", correction.setup);
            (Spreads::of(&correction), from)
        }
        None => (args.printer.spreads(), format!("of a {} printer", args.printer.name())),
    };
    let list = PartsList::parse(&files::read(&args.list)?, &args.list)
        .map_err(|problems| Error::in_file(problems, &args.list, "nothing was planned"))?;
    let wanted = Wanted::of_list(&list, &fits, &args.list)
        .map_err(|problems| Error::in_file(problems, &args.list, "nothing was planned"))?;
    let plan = plan(&wanted, &spreads, &from, args.bed)
        .map_err(|error| Error::problem(Problem::error(Location::file(&args.list), error.to_string())))?;
    if let Some(out) = &args.out {
        outputs.write(out, plan.set.as_bytes())?;
        outputs.commit()?;
    }
    output.warnings(&list.warnings)?;
    output.result(&plan.to_text(), &plan)?;
    if let Some(out) = &args.out {
        output.progress(&format!("wrote {}", out.display()))?;
        output.progress(&format!(
            "next: shrinkrule coupons --set {} --copies {} --out coupons",
            out.display(),
            plan.prints
        ))?;
    }
    let shortfalls = plan.shortfalls();
    if shortfalls.is_empty() {
        return Ok(Status::Done);
    }
    let count = shortfalls.len();
    let problem =
        |(line, reason): (u64, String)| Problem::error(Location::file(&args.list).line(line), reason);
    let problems: Vec<Problem> = shortfalls.into_iter().map(problem).collect();
    let verb = if count == 1 { "does" } else { "do" };
    let summary = format!("{count} of {} dimensions {verb} not keep the limits", plan.dimensions.len());
    output.failure(&problems, &summary)?;
    Ok(Status::No)
}
