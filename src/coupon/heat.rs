//! Sets that are printed in several materials and measured before and after heat.
//!
//! Every material has pieces of its own with its letter on them, on plates of their own. The sheet has a row
//! for every feature, piece and stage. Pieces come in a shuffled order, another one in each stage, so that a
//! caliper or a room that drifts while one measures does not favour a material; the order is the same in
//! every run. A metal piece that is never heated is measured first, half way and last in each stage: what
//! it changes by is the caliper's.

use std::fmt;
use std::str::FromStr;

use super::sheet::{CONDITIONS, READINGS, Row, rows_to_csv};
use super::{Coupon, CouponSet};
use crate::units::Mm;

/// The stage before heat, that every other is compared with.
pub const BEFORE: &str = "before";

/// The stage after it.
pub const AFTER: &str = "after";

/// The material of the piece that is never heated, measured to see what the caliper does.
pub const REFERENCE: &str = "reference";

/// Size of the metal piece when nobody says otherwise: the outside of a common 608 bearing, mm.
pub const USUAL_REFERENCE_MM: f64 = 22.0;

/// A material that the set is printed in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PrintedMaterial {
    /// The letter on its pieces.
    pub letter: char,
    /// What the sheet calls it.
    pub name: String,
}

/// A text that names no material.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{text}` is no material; expected a capital letter for its pieces, or a letter and a name such as A=PETG"
)]
pub struct NotAMaterial {
    /// The offending text.
    pub text: String,
}

impl FromStr for PrintedMaterial {
    type Err = NotAMaterial;

    fn from_str(text: &str) -> Result<Self, NotAMaterial> {
        let wrong = || NotAMaterial { text: text.to_owned() };
        let (letter, name) = text.trim().split_once('=').unwrap_or((text.trim(), ""));
        let (letter, name) = (letter.trim(), name.trim());
        let mut letters = letter.chars();
        let first = letters.next().filter(char::is_ascii_uppercase).ok_or_else(wrong)?;
        let is_plain = letters.next().is_none() && !name.eq_ignore_ascii_case(REFERENCE);
        let is_named = !text.contains('=') || !name.is_empty();
        if !is_plain || !is_named || name.contains(|c: char| c.is_control()) {
            return Err(wrong());
        }
        Ok(Self { letter: first, name: if name.is_empty() { letter.to_owned() } else { name.to_owned() } })
    }
}

impl fmt::Display for PrintedMaterial {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = self.letter.to_string();
        if self.name == letter { f.write_str(&letter) } else { write!(f, "{letter} ({})", self.name) }
    }
}

/// Two materials that cannot be told apart.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("two of the materials are `{shared}`")]
pub struct Alike {
    /// The letter or the name that they share.
    pub shared: String,
}

/// Whether every material has a letter and a name of its own.
///
/// # Errors
/// The first letter or name that two of them share.
pub fn told_apart(materials: &[PrintedMaterial]) -> Result<(), Alike> {
    for (i, one) in materials.iter().enumerate() {
        for other in &materials[..i] {
            if one.letter == other.letter {
                return Err(Alike { shared: one.letter.to_string() });
            }
            if one.name.eq_ignore_ascii_case(&other.name) {
                return Err(Alike { shared: one.name.clone() });
            }
        }
    }
    Ok(())
}

/// What is printed in what, and what heat it gets.
#[derive(Clone, Debug, PartialEq)]
pub struct HeatPlan {
    /// The materials; at least one.
    pub materials: Vec<PrintedMaterial>,
    /// Temperature of the soak, °C, where it is decided.
    pub soak_c: Option<f64>,
    /// How long it is held, hours, where it is decided.
    pub soak_h: Option<f64>,
    /// What the arm carries in the soak, in a word; empty when the person fills it in.
    pub load: String,
    /// Size of the metal piece.
    pub reference: Mm,
}

impl Default for HeatPlan {
    fn default() -> Self {
        let a = PrintedMaterial { letter: 'A', name: "A".to_owned() };
        let reference = Mm::new(USUAL_REFERENCE_MM).expect("a finite constant");
        Self { materials: vec![a], soak_c: None, soak_h: None, load: String::new(), reference }
    }
}

/// The columns before those that every sheet has.
const STAGE_COLUMNS: [&str; 5] = ["stage", "material", "soak_c", "soak_h", "load"];

/// What stands above the header besides.
const HELP: &str = "\
# measure everything in the rows of stage before, heat, let cool down, measure the rows of stage after: heat-protocol.html says how
# the rows are shuffled on purpose: go through them from top to bottom
# a further stage, such as 50 h: copy the rows of stage after and change stage, soak_c and soak_h
# the rows of material reference are a metal piece that is never heated; put its size into nominal_mm
";

/// The blank sheet for this set: stage by stage, as CSV.
pub fn blank(set: &CouponSet, setup: &str, copies: u32, plan: &HeatPlan) -> String {
    let mut top = format!("{CONDITIONS}{HELP}");
    for material in plan.materials.iter().filter(|material| material.name != material.letter.to_string()) {
        // A name comes from the person; a line end in it is refused where it is read.
        top.push_str(&format!("# pieces marked {}: {}\n", material.letter, material.name));
    }
    let mut rows = Vec::new();
    for (stage, seed) in [(BEFORE, 1), (AFTER, 2)] {
        let mut pieces: Vec<(&PrintedMaterial, u32, &Coupon)> = Vec::new();
        for material in &plan.materials {
            for copy in 1..=copies {
                pieces.extend(set.coupons.iter().map(|coupon| (material, copy, coupon)));
            }
        }
        shuffle(&mut pieces, seed);
        let half = pieces.len() / 2;
        for (i, (material, copy, coupon)) in pieces.into_iter().enumerate() {
            if i == 0 {
                rows.push(reference_row(plan, stage, 1));
            } else if i == half {
                rows.push(reference_row(plan, stage, 2));
            }
            for feature in &coupon.features {
                let mut row = state(plan, stage, &material.name);
                row.extend(Row::of(&coupon.name, feature, copy).cells(setup));
                // What is written on the piece goes into the last column, the note.
                row.extend(std::iter::repeat_n(String::new(), READINGS));
                row.push(coupon.marked(material.letter).label((copies > 1).then_some(copy)));
                rows.push(row);
            }
        }
        rows.push(reference_row(plan, stage, 3));
    }
    rows_to_csv(top, &STAGE_COLUMNS, &[], rows)
}

/// The first cells of a row.
fn state(plan: &HeatPlan, stage: &str, material: &str) -> Vec<String> {
    let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    let heat = if stage == BEFORE || material == REFERENCE {
        [String::new(), String::new(), String::new()]
    } else {
        [number(plan.soak_c), number(plan.soak_h), plan.load.clone()]
    };
    [stage.to_owned(), material.to_owned()].into_iter().chain(heat).collect()
}

fn reference_row(plan: &HeatPlan, stage: &str, time: u32) -> Vec<String> {
    let mut row = state(plan, stage, REFERENCE);
    let cells = ["", "REF", "ref", "outer", "round"].map(str::to_owned);
    row.extend(cells);
    row.extend([plan.reference.get().to_string(), time.to_string()]);
    row
}

/// Puts a list into an order that looks drawn by lot and is the same in every run (Fisher and Yates).
fn shuffle<T>(list: &mut [T], seed: u64) {
    let mut state = seed;
    // SplitMix64 (Steele, Lea and Flood 2014): any well-mixed generator does.
    let mut next = move || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    };
    for last in (1..list.len()).rev() {
        let other = (next() % (last as u64 + 1)) as usize;
        list.swap(last, other);
    }
}

/// How many rows and readings the sheet asks for.
pub fn readings(set: &CouponSet, copies: u32, plan: &HeatPlan) -> usize {
    let pieces = plan.materials.len() * copies as usize;
    2 * (pieces * set.feature_count() + 3) * READINGS
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::coupon::embedded_sets;

    fn heat() -> CouponSet {
        embedded_sets().iter().find(|set| set.heat).unwrap().clone()
    }

    fn plan(materials: &[&str]) -> HeatPlan {
        let materials = materials.iter().map(|text| text.parse().unwrap()).collect();
        HeatPlan { materials, soak_c: Some(60.0), load: "own weight".to_owned(), ..HeatPlan::default() }
    }

    fn rows(sheet: &str) -> Vec<Vec<String>> {
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(sheet.as_bytes());
        reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect()
    }

    #[test]
    fn every_feature_of_every_piece_is_asked_for_once_before_and_once_after() {
        let set = heat();
        let sheet = blank(&set, "p1", 2, &plan(&["A=PETG", "B"]));
        assert!(sheet.contains("\n# pieces marked A: PETG\n"));
        assert!(sheet.contains(
            "\nstage,material,soak_c,soak_h,load,setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,\
             reading_2_mm,reading_3_mm,note\n"
        ));
        let rows = rows(&sheet);
        assert_eq!(rows.len() * READINGS, readings(&set, 2, &plan(&["A", "B"])));
        // Stage, material, coupon, feature, copy.
        let places: BTreeSet<[&str; 5]> =
            rows.iter().map(|row| [0, 1, 6, 7, 11].map(|column| row[column].as_str())).collect();
        assert_eq!(places.len(), rows.len(), "no row is asked for twice");
        assert!(places.contains(&["after", "PETG", "M", "s6z-arm", "2"]));
        assert!(places.contains(&["before", "B", "D79", "p7.9y", "1"]));
        for row in &rows {
            let is_heated = row[0] == AFTER && row[1] != REFERENCE;
            assert_eq!(row[2], if is_heated { "60" } else { "" });
            assert_eq!(row[4], if is_heated { "own weight" } else { "" });
            let letter = if row[1] == "PETG" { "A" } else { "B" };
            let label = format!("{letter}-{}-{}", row[6], row[11]);
            assert!(row[1] == REFERENCE || row[15] == label, "{row:?}");
        }
    }

    #[test]
    fn the_order_is_shuffled_another_way_in_each_stage_and_the_same_in_every_run() {
        let (set, plan) = (heat(), plan(&["A", "B", "C"]));
        let sheet = blank(&set, "", 3, &plan);
        assert_eq!(sheet, blank(&set, "", 3, &plan));
        let rows = rows(&sheet);
        let order = |stage: &str| {
            let of_stage = rows.iter().filter(|row| row[0] == stage && row[1] != REFERENCE);
            let mut pieces: Vec<[String; 3]> =
                of_stage.map(|row| [1, 6, 11].map(|column| row[column].clone())).collect();
            pieces.dedup();
            pieces
        };
        let (before, after) = (order(BEFORE), order(AFTER));
        assert_eq!(before.len(), 3 * 3 * set.coupons.len(), "the features of a piece stay together");
        assert_ne!(before, after);
        let mut sorted = before.clone();
        sorted.sort();
        assert_ne!(before, sorted);
        let mut same = after.clone();
        same.sort();
        assert_eq!(sorted, same);
    }

    #[test]
    fn the_metal_piece_is_measured_first_half_way_and_last() {
        let rows = rows(&blank(&heat(), "", 2, &plan(&["A", "B"])));
        for stage in [BEFORE, AFTER] {
            let of_stage: Vec<_> = rows.iter().filter(|row| row[0] == stage).collect();
            let at: Vec<usize> = (0..of_stage.len()).filter(|i| of_stage[*i][1] == REFERENCE).collect();
            let last = of_stage.len() - 1;
            assert_eq!((at.len(), at[0], at[2]), (3, 0, last));
            // Pieces differ in how much is measured on them, so the middle is not that of the rows.
            assert!(at[1] > last / 5 && at[1] < last * 4 / 5, "{at:?} of {last}");
            assert_eq!(of_stage[0][10], "22");
        }
    }

    #[test]
    fn a_material_is_a_letter_or_a_letter_and_a_name() {
        let material: PrintedMaterial = "B=PETG black".parse().unwrap();
        assert_eq!((material.letter, material.name.as_str()), ('B', "PETG black"));
        assert_eq!("C".parse::<PrintedMaterial>().unwrap().to_string(), "C");
        for wrong in ["", "a", "AB", "PETG", "A=", "A=reference", "A=x\ny"] {
            assert!(wrong.parse::<PrintedMaterial>().is_err(), "{wrong}");
        }
        let two = ["A=PETG", "B=petg"].map(|text| text.parse().unwrap());
        assert_eq!(told_apart(&two).unwrap_err().to_string(), "two of the materials are `petg`");
        let two = ["A=PETG", "A"].map(|text| text.parse().unwrap());
        assert_eq!(told_apart(&two).unwrap_err().to_string(), "two of the materials are `A`");
    }
}
