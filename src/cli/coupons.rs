//! `coupons`: solids to print, the sheet to fill in, and the guide to measuring; or the list of sets.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::limits::named_fits;
use super::output::Output;
use super::{Error, Status};
use crate::belt::profile;
use crate::coupon::definition;
use crate::coupon::heat::{HeatPlan, PrintedMaterial, told_apart};
use crate::coupon::kit::{Kit, KitError, MOST_COPIES, Options, PLA_DENSITY_G_CM3};
use crate::coupon::plate::Bed;
use crate::coupon::summary::{Summary, table};
use crate::coupon::{CouponSet, embedded_sets};
use crate::files::{self, Outputs};
use crate::parts::parts_list::PartsList;
use crate::plan::Wanted;
use crate::plan::direct::{Covered, Direct, direct};
use crate::problem::{Location, Problem, nearest};
use crate::report::{guide, heat_protocol};
use crate::units::Mm;

/// Write coupons to print, a readings sheet and a measuring guide; with no SET, list the sets
#[derive(Debug, clap::Args)]
#[command(after_help = HELP)]
pub struct Args {
    /// Sets to make: quick, starter, full, feel, heat
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
    #[command(flatten)]
    heat: HeatArgs,
}

/// For a set that is measured before and after heat
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "For the set heat")]
struct HeatArgs {
    /// Materials to print it in: a letter for the pieces, or a letter and a name, such as A=PETG,B=ASA (default: A)
    #[arg(long, visible_alias = "material", value_name = "A,B,…", value_delimiter = ',')]
    materials: Vec<PrintedMaterial>,
    /// Temperature of the soak in °C, for the sheet and the protocol
    #[arg(long, value_name = "C", value_parser = number(20.0, 400.0))]
    soak_c: Option<f64>,
    /// Hours of the soak, for the sheet and the protocol
    #[arg(long, value_name = "H", value_parser = number(0.1, 100_000.0))]
    soak_h: Option<f64>,
    /// What the arm carries in the soak, for the sheet, such as "3.5 g"
    #[arg(long, value_name = "WORDS")]
    load: Option<String>,
    /// Size of the metal piece that is never heated, in millimetres (default: 22, a 608 bearing's outside)
    #[arg(long, value_name = "MM")]
    reference: Option<Mm>,
}

impl HeatArgs {
    fn is_given(&self) -> bool {
        !self.materials.is_empty()
            || self.soak_c.is_some()
            || self.soak_h.is_some()
            || self.load.is_some()
            || self.reference.is_some()
    }

    fn plan(&self) -> Result<HeatPlan, Error> {
        let refused = |message: String, help: &str| {
            Error::problem(Problem::error(Location::default().column("--materials"), message).help(help))
        };
        let usual = HeatPlan::default();
        told_apart(&self.materials)
            .map_err(|error| refused(error.to_string(), "give each a letter and a name of its own"))?;
        let reference = self.reference.unwrap_or(usual.reference);
        if reference.get() <= 0.0 {
            let problem =
                Problem::error(Location::default().column("--reference"), "expected a size above 0 mm");
            return Err(Error::problem(problem));
        }
        Ok(HeatPlan {
            materials: if self.materials.is_empty() { usual.materials } else { self.materials.clone() },
            soak_c: self.soak_c,
            soak_h: self.soak_h,
            load: self.load.clone().unwrap_or_default(),
            reference,
        })
    }
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
  shrinkrule coupons heat --materials A=PLA,B=PETG,C=ASA --copies 3 --soak-c 60 --soak-h 24 --out coupons-heat
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

/// A number between two ends.
fn number(low: f64, high: f64) -> impl Fn(&str) -> Result<f64, String> + Clone + Send + Sync + 'static {
    move |text| {
        let number = text.parse::<f64>().ok().filter(|number| (low..=high).contains(number));
        number.ok_or_else(|| format!("expected a number from {low} to {high}"))
    }
}

/// Runs the command.
pub fn run(args: &Args, output: &mut Output) -> Result<Status, Error> {
    let options = Options {
        bed: args.bed,
        copies: args.copies,
        setup: args.setup.clone(),
        density_g_cm3: args.density,
        heat: args.heat.plan()?,
    };
    let mut asked = asked_for(args)?;
    if args.heat.is_given() && !asked.iter().any(|set| set.heat) {
        let message = "materials and soak are for a set that is measured before and after heat";
        let problem = Problem::error(Location::default(), message);
        return Err(Error::problem(
            problem.help("such as `shrinkrule coupons heat --materials A,B --out DIR`"),
        ));
    }
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
            folder.join(if kit.set.heat { PROTOCOL } else { GUIDE }).display()
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
const PROTOCOL: &str = "heat-protocol.html";

fn write(kit: &Kit, folder: &Path, mut outputs: Outputs) -> Result<Vec<String>, Error> {
    let page = guide::page(kit).map_err(|error| Error::call(error.to_string()))?;
    kit.write(folder, &mut outputs).map_err(of_kit)?;
    outputs.write(&folder.join(GUIDE), page.as_bytes())?;
    if let Some(page) = heat_protocol::page(kit).map_err(|error| Error::call(error.to_string()))? {
        outputs.write(&folder.join(PROTOCOL), page.as_bytes())?;
    }
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
