//! What a piece had been through when it was measured: its stage, its material, and the heat it stood.
//!
//! A sheet with a column `stage` holds several states of the same pieces. Rows of one state are kept apart
//! from those of another, so that a reading after heat is never taken for a repeat of one before. As
//! setups, which are what a correction is fitted to, only the prints before heat count; what came after is
//! for a comparison, which gets every state as it was written.

use std::borrow::Cow;

use super::table::{Definition, Entry, SetupTable};
use super::{CheckedReadings, SetupReadings};

/// The columns, in the order of [`Exposure`]'s fields.
pub(super) const COLUMNS: [&str; 7] = ["material", STAGE, "soak_c", "soak_h", "load", "cost", "print_h"];

/// The one that makes a sheet one of stages.
pub(super) const STAGE: &str = "stage";

pub use crate::coupon::heat::{BEFORE, REFERENCE};

/// What a row says of the state of its piece, as it is written.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Exposure {
    /// The material's name or letter.
    pub material: String,
    /// `before`, `after`, or any further stage such as `50 h`.
    pub stage: String,
    /// Temperature of the soak, Celsius.
    pub soak_c: String,
    /// How long it was held, hours.
    pub soak_h: String,
    /// What it carried.
    pub load: String,
    /// What the material costs, in the person's own unit.
    pub cost: String,
    /// How long a piece takes to print, hours.
    pub print_h: String,
}

impl Exposure {
    /// Whether this is the state that others are compared with.
    pub fn is_before(&self) -> bool {
        self.stage.eq_ignore_ascii_case(BEFORE)
    }

    /// Whether the piece is there to watch the caliper.
    pub fn is_reference(&self) -> bool {
        self.material.eq_ignore_ascii_case(REFERENCE)
    }

    fn cells(&self) -> [&str; COLUMNS.len()] {
        [&self.material, &self.stage, &self.soak_c, &self.soak_h, &self.load, &self.cost, &self.print_h]
    }
}

/// What the readings of a row are gathered under.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Heading {
    pub(super) setup: String,
    pub(super) exposure: Option<Box<Exposure>>,
}

impl Heading {
    /// Of a row: its setup's cell, the columns of the exposure where the sheet has stages, and its cells.
    #[inline]
    pub(super) fn new<'a>(
        setup: &str,
        columns: Option<[Option<usize>; COLUMNS.len()]>,
        cell: impl Fn(usize) -> &'a str,
    ) -> Self {
        let exposure = columns.map(|columns| {
            let text = |at: usize| columns[at].map_or("", &cell).to_owned();
            Box::new(Exposure {
                material: text(0),
                stage: text(1),
                soak_c: text(2),
                soak_h: text(3),
                load: text(4),
                cost: text(5),
                print_h: text(6),
            })
        });
        let setup = match (setup, &exposure) {
            ("", None) => "unnamed".to_owned(),
            _ => setup.to_owned(),
        };
        Self { setup, exposure }
    }

    /// Bytes that differ where headings do.
    #[inline]
    pub(super) fn key(&self) -> Cow<'_, [u8]> {
        let setup = self.setup.as_bytes();
        let Some(exposure) = &self.exposure else { return Cow::Borrowed(setup) };
        let mut key = setup.to_vec();
        for cell in exposure.cells() {
            // A byte that no text has.
            key.push(0xff);
            key.extend_from_slice(cell.as_bytes());
        }
        Cow::Owned(key)
    }

    /// Whether its pieces were measured as they were printed, before any heat.
    #[inline]
    pub(super) fn is_as_printed(&self) -> bool {
        self.exposure.as_ref().is_none_or(|exposure| exposure.is_before())
    }

    /// The setup that a correction is for: the setup's name and the material's, whichever there are; `None`
    /// where the readings are no calibration.
    fn calibrates(&self) -> Option<String> {
        let Some(exposure) = &self.exposure else { return Some(self.setup.clone()) };
        let names = match (self.setup.as_str(), exposure.material.as_str()) {
            ("", "") => "unnamed".to_owned(),
            ("", one) | (one, "") => one.to_owned(),
            (setup, material) => format!("{setup} {material}"),
        };
        (exposure.is_before() && !exposure.is_reference()).then_some(names)
    }
}

/// The readings of one state.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Exposed {
    pub(super) setup: String,
    pub(super) exposure: Exposure,
    pub(super) table: SetupTable,
}

/// The setups that corrections are for, for each heading which of them it went to, and every state.
pub(super) type Sorted = (Vec<(String, SetupTable)>, Vec<Option<usize>>, Vec<Exposed>);

/// Sorts what was gathered into setups and states.
pub(super) fn sorted(gathered: Vec<(Heading, SetupTable)>) -> Sorted {
    let (mut setups, mut went, mut exposed): Sorted = Default::default();
    for (heading, table) in gathered {
        let name = heading.calibrates();
        let Some(exposure) = heading.exposure else {
            went.push(Some(setups.len()));
            setups.push((heading.setup, table));
            continue;
        };
        went.push(name.map(|name| {
            if let Some(known) = setups.iter().position(|(setup, _)| *setup == name) {
                setups[known].1.join(&table);
                setups[known].1.finish();
                return known;
            }
            setups.push((name, table.clone()));
            setups.len() - 1
        }));
        exposed.push(Exposed { setup: heading.setup, exposure: *exposure, table });
    }
    (setups, went, exposed)
}

/// One state of some pieces: what it is, where it first appears, and its readings.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// What the rows say.
    pub exposure: Exposure,
    /// Line of its first reading.
    pub line: u64,
    /// The readings; the setup's name as it was written, empty where it was not.
    pub readings: SetupReadings,
}

impl CheckedReadings {
    /// Every state in order of first appearance; empty where the sheet has no column `stage`.
    pub fn states(&self) -> impl Iterator<Item = State> {
        self.exposed.iter().map(|exposed| state(exposed, &self.definitions))
    }
}

fn state(exposed: &Exposed, definitions: &[Definition]) -> State {
    let line = exposed.table.entries.iter().map(Entry::line).min().unwrap_or_default();
    State {
        exposure: exposed.exposure.clone(),
        line,
        readings: exposed.table.expand(&exposed.setup, definitions),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use crate::readings::{CheckedReadings, read_bytes};

    fn read(text: &str) -> CheckedReadings {
        read_bytes(Path::new("h.csv"), text.as_bytes()).unwrap()
    }

    const SHEET: &str = "material,stage,soak_c,soak_h,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm\n\
        A,before,,,L,span,x,60,1,59.80,59.82\n\
        A,before,,,L,span,x,60,2,59.81,\n\
        A,after,60,8,L,span,x,60,1,59.50,59.51\n\
        reference,before,,,L,outer,x,60,1,60.00,\n\
        A,after,60,8,L,span,x,60,2,59.52,\n";

    #[test]
    fn a_reading_after_heat_is_no_repeat_of_one_before() {
        let sheet = read(SHEET);
        let states: Vec<_> = sheet.states().collect();
        assert_eq!(states.len(), 3);
        assert_eq!((states[1].exposure.stage.as_str(), states[1].line), ("after", 4));
        assert_eq!(states[1].readings.features.len(), 2);
        assert!((states[1].readings.features[0].repeats.mean_mm - 59.505).abs() < 1e-9);
        assert!(states[2].exposure.is_reference());
    }

    /// Heat takes a part anywhere; a print before it that is far from its size is a slip still.
    #[test]
    fn only_readings_before_heat_are_checked_for_slips() {
        let far = |stage: &str, reading: &str| {
            read(&format!("{SHEET}A,{stage},60,8,L,span,x,60,3,{reading},\n")).warnings.len()
        };
        assert_eq!((far("before", "5.981"), far("after", "5.981"), far("after", "31.5")), (1, 0, 0));
    }

    #[test]
    fn only_prints_before_heat_are_a_setup_to_correct() {
        let sheet = read(SHEET);
        assert_eq!(sheet.setup_count(), 1);
        let setup = sheet.setup(0).unwrap();
        assert_eq!((setup.setup.as_str(), setup.features.len()), ("A", 2));
        assert!((setup.features[0].repeats.mean_mm - 59.81).abs() < 1e-9);
    }

    #[test]
    fn without_a_stage_a_material_is_a_word_like_any_other() {
        let text = "material,kind,nominal_mm,reading_mm\nA,bore,8,7.9\nB,bore,8,7.8\n";
        let sheet = read(text);
        assert_eq!((sheet.setup_count(), sheet.states().count()), (1, 0));
        assert_eq!(sheet.setup(0).unwrap().features[0].repeats.count, 2);
    }
}
