//! From the states of several files to materials, soaks and pieces, with everything that is wrong told.
//!
//! A stage is one soak: all pieces that were measured in it stood the same temperature for the same time.
//! Different soaks need stages with different names, or nobody could tell which reading belongs to which.

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde::Serialize;

use crate::problem::{Location, Problem, nearest};
use crate::readings::exposure::{BEFORE, State};
use crate::readings::{CheckedReadings, FeatureReadings};
use crate::tables::whole_table::number;

/// A material that is compared.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Material {
    /// Its name or letter.
    pub name: String,
    /// What it costs, in the person's own unit.
    pub cost: Option<f64>,
    /// How long a piece takes to print, hours.
    pub print_h: Option<f64>,
}

/// A stage after the first: what the pieces stood before they were measured again.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Condition {
    /// The stage's name.
    pub stage: String,
    /// Temperature of the soak, Celsius.
    pub soak_c: Option<f64>,
    /// How long it was held, hours.
    pub soak_h: Option<f64>,
    /// What the pieces carried; several, separated by commas.
    pub load: String,
}

impl Condition {
    /// `after 8 h at 60 °C`, or the stage's name.
    pub fn in_words(&self) -> String {
        let hours = self.soak_h.map(|hours| format!("{hours} h"));
        match (self.soak_c, hours) {
            (Some(celsius), Some(hours)) => format!("{hours} at {celsius} °C"),
            (Some(celsius), None) => format!("{celsius} °C"),
            (None, Some(hours)) => format!("{hours} ({})", self.stage),
            (None, None) => format!("stage `{}`", self.stage),
        }
    }
}

/// Where a reading stands.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Place {
    pub(super) file: PathBuf,
    pub(super) line: u64,
}

impl Place {
    pub(super) fn location(&self) -> Location {
        Location::file(&self.file).line(self.line)
    }
}

/// One feature of one piece in one stage.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    pub(super) readings: FeatureReadings,
    pub(super) place: Place,
}

/// A piece: a print of a material, or the reference.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct PieceKey {
    /// `None`: the reference.
    pub(super) material: Option<usize>,
    pub(super) setup: String,
    pub(super) copy: u32,
}

/// Features of one piece in one stage, by coupon, feature and axis.
pub(super) type Features = BTreeMap<(String, String, &'static str), Measured>;

/// A soak and where it was first said: temperature, hours.
type Soak = (Place, Option<f64>, Option<f64>);

/// What all files say together.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    pub(super) materials: Vec<Material>,
    pub(super) conditions: Vec<Condition>,
    /// By piece; the stage is `None` before heat, else the number of its condition.
    pub(super) pieces: BTreeMap<PieceKey, BTreeMap<Option<usize>, Features>>,
    /// Where a soak was first said, and by which words, for the message when another contradicts it.
    soaks: Vec<Option<Soak>>,
    pub(super) problems: Vec<Problem>,
}

/// Warmer than a room: a stage before heat does not have it. Common practice, no source.
const WARM_C: f64 = 35.0;

pub(super) fn gather(files: &[CheckedReadings]) -> Gathered {
    let mut all = Gathered::default();
    let mut any_before = false;
    for file in files {
        let mut any = false;
        for state in file.states() {
            any = true;
            any_before |= state.exposure.is_before();
            all.take(&file.source.path, state);
        }
        if !any {
            let problem = Problem::error(Location::file(&file.source.path), "no column `stage`");
            all.problems.push(problem.help(
                "say in a column `stage` of each row whether it was read `before` or `after` heat; \
                 `shrinkrule coupons heat` writes such a sheet",
            ));
        }
    }
    if !any_before && all.problems.is_empty() {
        let stages: Vec<&str> = all.conditions.iter().map(|condition| condition.stage.as_str()).collect();
        let file = files.first().map(|file| file.source.path.clone()).unwrap_or_default();
        let message = format!("no row has the stage `{BEFORE}`, only {}", quoted(&stages));
        let help = match nearest(BEFORE, stages.iter().copied()) {
            Some(meant) => format!("is `{meant}` meant? write `{BEFORE}`"),
            None => format!("a change needs readings from before the heat: their stage is `{BEFORE}`"),
        };
        all.problems.push(Problem::error(Location::file(file), message).help(help));
    }
    all
}

pub(super) fn quoted(words: &[&str]) -> String {
    words.iter().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", ")
}

impl Gathered {
    fn take(&mut self, file: &std::path::Path, state: State) {
        let place = Place { file: file.to_owned(), line: state.line };
        let exposure = &state.exposure;
        if exposure.stage.is_empty() {
            let help = "write `before` or `after`, or another name for a further soak, such as `50 h`";
            self.error(&place, "stage", "the stage is blank".to_owned(), help);
            return;
        }
        let soak_c = self.cell(&place, "soak_c", &exposure.soak_c, "the temperature of the soak, Celsius");
        let soak_h = self.cell(&place, "soak_h", &exposure.soak_h, "how long it was held, in hours");
        let (cost, print_h) = (
            self.cell(&place, "cost", &exposure.cost, "what the material costs, a number"),
            self.cell(&place, "print_h", &exposure.print_h, "how long a piece takes to print, in hours"),
        );
        let named = if exposure.material.is_empty() { &state.readings.setup } else { &exposure.material };
        let material = if exposure.is_reference() {
            None
        } else if named.is_empty() {
            let help = "name the material, or its letter, in a column `material`; the metal piece that is \
                        measured along is `reference`";
            self.error(&place, "material", "no material is named".to_owned(), help);
            return;
        } else {
            Some(self.material(named, cost, print_h))
        };
        let stage = if exposure.is_before() {
            self.check_before(&place, soak_c, soak_h);
            None
        } else {
            let condition = self.condition(&exposure.stage, &exposure.load);
            // The reference is not put into the heat.
            if material.is_some() {
                self.soak(condition, &place, soak_c, soak_h);
            }
            Some(condition)
        };
        for readings in state.readings.features {
            let key = PieceKey { material, setup: state.readings.setup.clone(), copy: readings.copy };
            let name = (readings.coupon.to_string(), readings.feature.to_string(), readings.axis.name());
            let line = readings.repeats.lowest.line.min(readings.repeats.highest.line);
            let features = self.pieces.entry(key).or_default().entry(stage).or_default();
            let measured = Measured { readings, place: Place { line, ..place.clone() } };
            match features.get_mut(&name) {
                // The same feature in rows that differ in load or cost, or in two files.
                Some(known) => known.readings.repeats.merge(&measured.readings.repeats),
                None => drop(features.insert(name, measured)),
            }
        }
    }

    fn error(&mut self, place: &Place, column: &str, message: String, help: &str) {
        self.problems.push(Problem::error(place.location().column(column), message).help(help));
    }

    fn cell(&mut self, place: &Place, column: &str, text: &str, what: &str) -> Option<f64> {
        if text.is_empty() {
            return None;
        }
        match number(text) {
            Ok((value, _)) => Some(value),
            Err((message, help)) => {
                let message = message.replace("{cell}", text);
                self.error(place, column, message, &help.unwrap_or_else(|| format!("expected {what}")));
                None
            }
        }
    }

    fn material(&mut self, name: &str, cost: Option<f64>, print_h: Option<f64>) -> usize {
        let known = self.materials.iter().position(|known| known.name.eq_ignore_ascii_case(name));
        let at = known.unwrap_or_else(|| {
            self.materials.push(Material { name: name.to_owned(), cost: None, print_h: None });
            self.materials.len() - 1
        });
        let material = &mut self.materials[at];
        material.cost = material.cost.or(cost);
        material.print_h = material.print_h.or(print_h);
        at
    }

    fn condition(&mut self, stage: &str, load: &str) -> usize {
        let known = self.conditions.iter().position(|known| known.stage.eq_ignore_ascii_case(stage));
        let at = known.unwrap_or_else(|| {
            let load = String::new();
            self.conditions.push(Condition { stage: stage.to_owned(), soak_c: None, soak_h: None, load });
            self.soaks.push(None);
            self.conditions.len() - 1
        });
        let loads = &mut self.conditions[at].load;
        if !load.is_empty() && !loads.split(", ").any(|known| known == load) {
            *loads = if loads.is_empty() { load.to_owned() } else { format!("{loads}, {load}") };
        }
        at
    }

    /// Heat in a stage before heat.
    fn check_before(&mut self, place: &Place, soak_c: Option<f64>, soak_h: Option<f64>) {
        let warm = soak_c.is_some_and(|celsius| celsius > WARM_C);
        if soak_h.is_some_and(|hours| hours > 0.0) || (warm && soak_h != Some(0.0)) {
            let soak = match (soak_c, soak_h) {
                (Some(celsius), Some(hours)) => format!("{hours} h at {celsius} °C"),
                (Some(celsius), None) => format!("{celsius} °C"),
                (None, hours) => format!("{} h", hours.unwrap_or_default()),
            };
            self.error(
                place,
                "stage",
                format!("a row of the stage `{BEFORE}` has stood {soak}: are the stages swapped?"),
                "`before` is what was read before any heat: swap the words, or leave its soak blank",
            );
        }
    }

    /// The soak of a stage, which must be the same in all its rows.
    fn soak(&mut self, condition: usize, place: &Place, soak_c: Option<f64>, soak_h: Option<f64>) {
        let Some((first, celsius, hours)) = self.soaks[condition].clone() else {
            self.soaks[condition] = Some((place.clone(), soak_c, soak_h));
            let known = &mut self.conditions[condition];
            (known.soak_c, known.soak_h) = (soak_c, soak_h);
            return;
        };
        for (column, unit, here, there) in [("soak_c", "°C", soak_c, celsius), ("soak_h", "h", soak_h, hours)]
        {
            if here == there {
                continue;
            }
            let said =
                |value: Option<f64>| value.map_or("blank".to_owned(), |value| format!("{value} {unit}"));
            let stage = self.conditions[condition].stage.clone();
            let file =
                if first.file == place.file { String::new() } else { format!("{}:", first.file.display()) };
            let message = format!(
                "the stage `{stage}` has two soaks: {} here and {} on line {file}{}",
                said(here),
                said(there),
                first.line
            );
            let help = match here {
                Some(value) => format!(
                    "one stage is one soak: give each its own name, such as `{stage} {value} {unit}`, or correct the cell"
                ),
                None => "write the soak into every row of the stage".to_owned(),
            };
            self.error(place, column, message, &help);
        }
    }
}
