//! `coupons`: solids to print, the sheet to fill in, and the guide to measuring; or the list of sets.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::limits::named_fits;
use super::output::Output;
use super::{Error, Status};
use crate::belt::profile;
use crate::coupon::definition;
use crate::coupon::kit::{Kit, KitError, MOST_COPIES, Options, PLA_DENSITY_G_CM3};
use crate::coupon::plate::Bed;
use crate::coupon::summary::{Summary, table};
use crate::coupon::{CouponSet, embedded_sets};
use crate::files::{self, Outputs};
use crate::parts::parts_list::PartsList;
use crate::plan::Wanted;
use crate::plan::direct::{Covered, Direct, direct};
use crate::problem::{Location, Problem, nearest};
use crate::report::guide;

/// Write coupons to print, a readings sheet and a measuring guide; with no SET, list the sets
#[derive(Debug, clap::Args)]
#[command(after_help = HELP)]
pub struct Args {
    /// Sets to make: quick, starter, full, feel
    #[arg(value_name = "SET")]
    sets: Vec<String>,
    /// A set of your own, as TOML; coupons/README.md describes the fields
    #[arg(long = "set", value_name = "FILE")]
    own: Vec<PathBuf>,
    /// Coupons of the kinds and sizes of this parts list
    #[arg(long = "for", value_name = "PARTS")]
    list: Option<PathBuf>,
    /// With --for: a rack of this belt's grooves as well, such as T5; belts that the list names are found
    #[arg(long, value_name = "PROFILE", requires = "list")]
    belt: Vec<String>,
    /// With --for: TOML file with fits of your own, in the form of the bundled data/fits/named.toml
    #[arg(long, value_name = "FILE", requires = "list")]
    fits: Option<PathBuf>,
    /// Folder to make
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Bed of the printer in mm
    #[arg(long, value_name = "WxD", default_value = "200x200")]
    bed: Bed,
    /// How many prints: every copy is numbered, and goes on plates of its own
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=i64::from(MOST_COPIES)))]
    copies: u32,
    /// What the coupons are printed with, for the sheet: printer, nozzle, filament and profile in a word
    #[arg(long, value_name = "NAME", default_value = "")]
    setup: String,
    /// Density of the filament in g/cm3, for the mass (default: typical PLA)
    #[arg(long, value_name = "G", default_value_t = PLA_DENSITY_G_CM3, value_parser = density)]
    density: f64,
}

const HELP: &str = "\
Copies show how one print differs from the next only when each is a print job of its own. Pieces that
are printed together on one plate share that job's temperature, filament and first layer: measured
twice, they are still one print. So each copy has its own plate files, to be printed one after another.

--for is direct: every dimension of the list gets a coupon of its kind and size. A row with the word nut
or hexagon gets a nut pocket, one with the word flat a D bore, one with belt and a profile's name a rack
to try the belt in. `plan --for` weighs instead how much each coupon would tell, and may choose fewer.

Examples:
  shrinkrule coupons
  shrinkrule coupons starter --out coupons-petg --setup petg-0.4
  shrinkrule coupons quick --copies 3 --bed 180x180 --out coupons-abs
  shrinkrule coupons --for slider-parts.csv --out slider-coupons";

/// As many teeth as a rack's grooves are drawn for.
const BELT_TEETH: u32 = 20;

#[derive(Serialize)]
struct Answer {
    sets: Vec<Summary>,
    /// With --for: which coupon is there for which dimension.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    covered: Vec<Covered>,
}

fn density(text: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok().filter(|number| *number > 0.0 && *number < 25.0);
    number.ok_or_else(|| "expected g/cm3, above 0 and below 25".to_owned())
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let options = Options {
        bed: args.bed,
        copies: args.copies,
        setup: args.setup.clone(),
        density_g_cm3: args.density,
    };
    let mut asked = asked_for(args)?;
    let direct = args.list.as_ref().map(|list| for_parts(list, args, output)).transpose()?;
    if let (Some(direct), Some(list)) = (&direct, &args.list) {
        let set = definition::parse(list, &direct.set);
        asked.push(set.map_err(|problems| Error::in_file(problems, list, "nothing was written"))?);
    }
    if asked.is_empty() {
        if args.out.is_some() {
            return Err(Error::problem(
                Problem::error(Location::default(), "nothing to write: no set was named")
                    .help("name one, such as `starter`; without --out, the sets are listed"),
            ));
        }
        let kits = embedded_sets().iter().map(|set| Kit::new(set.clone(), options.clone()).map_err(of_kit));
        let sets = kits.map(|kit| Ok(kit?.summary(Vec::new()))).collect::<Result<Vec<_>, Error>>()?;
        output.result(&table(&sets), &Answer { sets, covered: Vec::new() })?;
        return Ok(Status::Done);
    }
    let outputs = Outputs::new(output.force).keeping(&args.list);
    if let Some(folder) = &args.out {
        outputs.check_new_folder(folder)?;
    }
    let set = CouponSet::merged(asked).map_err(|error| {
        let problem = Problem::error(Location::default(), error.to_string());
        Error::problem(problem.help("write them into folders of their own, or rename the piece"))
    })?;
    let kit = Kit::new(set, options).map_err(of_kit)?;
    let files = match &args.out {
        Some(folder) => write(&kit, folder, outputs)?,
        None => Vec::new(),
    };
    let summary = kit.summary(files);
    match &args.out {
        Some(folder) => output.progress(&format!(
            "{}: {} files; open {} first",
            folder.display(),
            summary.files.len(),
            folder.join(GUIDE).display()
        ))?,
        None => output
            .progress("nothing was written; add --out DIR to write the solids, the sheet and the guide")?,
    }
    let sets = vec![summary];
    let mut text = direct.as_ref().map_or(String::new(), Direct::to_text);
    text.push_str(&table(&sets));
    let covered = direct.map_or(Vec::new(), |direct| direct.covered);
    output.result(&text, &Answer { sets, covered })?;
    Ok(Status::Done)
}

const GUIDE: &str = "measuring-guide.html";

fn write(kit: &Kit, folder: &Path, mut outputs: Outputs) -> Result<Vec<String>, Error> {
    let page = guide::page(kit).map_err(|error| Error::call(error.to_string()))?;
    kit.write(folder, &mut outputs).map_err(of_kit)?;
    outputs.write(&folder.join(GUIDE), page.as_bytes())?;
    Ok(outputs.commit()?.iter().map(|path| path.display().to_string()).collect())
}

/// The set for a parts list; what is doubtful in the list is said.
fn for_parts(path: &Path, args: &Args, output: &mut Output) -> Result<Direct, Error> {
    let fits = named_fits(args.fits.as_ref())?;
    let list = PartsList::parse(&files::read(path)?, path)
        .map_err(|problems| Error::in_file(problems, path, "nothing was written"))?;
    let wanted = Wanted::of_list(&list, &fits, path)
        .map_err(|problems| Error::in_file(problems, path, "nothing was written"))?;
    let belts = args.belt.iter().map(|belt| {
        profile::find(belt, BELT_TEETH).map(|profile| profile.name).map_err(|error| {
            Error::problem(Problem::error(Location::default(), error.to_string()).help_if(error.help()))
        })
    });
    let belts = belts.collect::<Result<Vec<_>, Error>>()?;
    output.warnings(&list.warnings)?;
    Ok(direct(&list, &wanted, &belts, args.bed))
}

/// The sets that were named and the person's own, in that order.
fn asked_for(args: &Args) -> Result<Vec<CouponSet>, Error> {
    let mut sets = Vec::new();
    for name in &args.sets {
        let known = || embedded_sets().iter().map(|set| set.name.as_str());
        match embedded_sets().iter().find(|set| set.name == *name) {
            Some(set) => sets.push(set.clone()),
            None => {
                let list = known().collect::<Vec<_>>().join(", ");
                let help = match nearest(name, known()) {
                    Some(word) => format!("did you mean `{word}`?"),
                    None => "a set of your own is --set FILE.toml".to_owned(),
                };
                let message = format!("`{name}` is no coupon set; expected one of {list}");
                return Err(Error::problem(Problem::error(Location::default(), message).help(help)));
            }
        }
    }
    for path in &args.own {
        let text = files::read_text(path)?;
        let set = definition::parse(path, &text);
        sets.push(set.map_err(|problems| Error::in_file(problems, path, "nothing was written"))?);
    }
    Ok(sets)
}

fn of_kit(error: KitError) -> Error {
    match error {
        KitError::File(error) => Error::File(error),
        KitError::TooLarge(error) => {
            let problem = Problem::error(Location::default(), error.to_string());
            Error::problem(problem.help("give a larger --bed, or a set with a shorter piece"))
        }
        KitError::Coupon(_) | KitError::Place(_) => Error::call(error.to_string()),
    }
}
