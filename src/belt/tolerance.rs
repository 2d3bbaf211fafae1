//! What the standards allow and ask for: tolerances by size step, fewest teeth, flanges, face widths.
//!
//! Size steps run from above their first to their last number inclusive, as ISO tables read.
//!
//! What the tables leave open is filled by one rule each, labelled `derived`:
//!
//! - A flange of a profile without a row stands as far above the outside diameter as the belt's back is
//!   thick. The inch rows do so within 0.2 mm.
//! - A face for a belt width without a row gives the clearance of the row nearest in width, in the
//!   profile itself if it has rows, else in the profile nearest in pitch.
//!
//! Source: `data/belts/tolerances.csv`; every row carries its own label.

use std::sync::OnceLock;

use super::Cited;
use super::profile::{self, Profile};
use super::table::{self, Row};

const TABLE: &str = include_str!("../../data/belts/tolerances.csv");

/// Rows for belts slower than this apply to hand-driven and other slow mechanisms.
pub const SLOW: &str = "below 900 rpm";

fn rows() -> &'static [Row] {
    static ROWS: OnceLock<Vec<Row>> = OnceLock::new();
    ROWS.get_or_init(|| table::rows(TABLE))
}

fn of_category(category: &'static str) -> impl Iterator<Item = &'static Row> {
    rows().iter().filter(move |row| row.text("category") == category)
}

/// The row of a stepped table whose step holds this size.
fn step(category: &'static str, applies_to: &str, size_mm: f64) -> Option<&'static Row> {
    of_category(category).filter(|row| row.text("applies_to") == applies_to).find(|row| {
        let from = row.number("from_mm_excl").unwrap_or(0.0);
        size_mm > from && row.number("to_mm_incl").is_none_or(|to| size_mm <= to)
    })
}

/// The row of an unstepped table for exactly this.
fn value(category: &'static str, applies_to: &str) -> Option<Cited<f64>> {
    let row = of_category(category).find(|row| row.text("applies_to") == applies_to)?;
    Some(Cited { value: row.number("value")?, source: row.text("source") })
}

/// How much larger than its nominal an outside diameter may be, mm; it may never be smaller.
///
/// Inch profiles by ISO 5294, metric ones by the rounded steps that belt makers print.
pub fn outside_diameter_plus_mm(profile: &Profile, outside_diameter_mm: f64) -> Option<Cited<f64>> {
    let applies_to = if profile.standard.starts_with("ISO 5294") {
        "ISO 5294 all inch pitches"
    } else {
        "belt-maker table, rounded steps"
    };
    let row = step("outside_diameter_tol", applies_to, outside_diameter_mm)?;
    Some(Cited { value: row.number("plus")?, source: row.text("source") })
}

/// Largest deviation between two adjacent grooves by ISO 5294, mm.
pub fn adjacent_pitch_mm(outside_diameter_mm: f64) -> Option<Cited<f64>> {
    let row = step("pitch_adjacent_tol", "ISO 5294", outside_diameter_mm)?;
    Some(Cited { value: row.number("value")?, source: row.text("source") })
}

/// Largest sum of pitch deviations within 90 degrees by ISO 5294, mm.
pub fn accumulated_pitch_mm(outside_diameter_mm: f64) -> Option<Cited<f64>> {
    let row = step("pitch_accumulated_90deg_tol", "ISO 5294", outside_diameter_mm)?;
    Some(Cited { value: row.number("value")?, source: row.text("source") })
}

/// Largest radial runout of the outside against the bore by ISO 5294, total indicator reading, mm.
pub fn radial_runout_mm(outside_diameter_mm: f64) -> Option<Cited<f64>> {
    let flat = |size| {
        let row = step("radial_runout_tir", "ISO 5294", size)?;
        Some((row.number("value")?, row.number("to_mm_incl")?, row.text("source")))
    };
    if let Some((value, _, source)) = flat(outside_diameter_mm) {
        return Some(Cited { value, source });
    }
    let slope = step("radial_runout_tir_slope", "ISO 5294", outside_diameter_mm)?;
    let from = slope.number("from_mm_excl")?;
    let (value, ..) = flat(from)?;
    Some(Cited {
        value: value + slope.number("value")? * (outside_diameter_mm - from),
        source: slope.text("source"),
    })
}

/// The fewest teeth at the slowest speed that the tables list.
pub fn fewest_teeth(profile: &Profile) -> Option<Cited<u32>> {
    let slow = format!("{} at {SLOW}", profile.name);
    let cited = value("min_teeth", &slow).or_else(|| value("min_teeth", profile.name))?;
    Some(Cited { value: cited.value as u32, source: cited.source })
}

/// The fewest teeth at this speed; the slowest speed's where the profile has no steps.
pub fn fewest_teeth_at(profile: &Profile, rpm: f64) -> Option<Cited<u32>> {
    // "XL at 900 to 1200 rpm"; a speed above the last step has that step's.
    let steps = of_category("min_teeth").filter_map(|row| {
        let (name, speed) = row.text("applies_to").split_once(" at ")?;
        let from = match speed.split_once(" to ") {
            Some((from, _)) => from.parse().ok()?,
            None => 0.0,
        };
        (name == profile.name && rpm >= from).then_some((from, row))
    });
    let (_, row) = steps.max_by(|a: &(f64, _), b| a.0.total_cmp(&b.0)).or_else(|| {
        let plain = of_category("min_teeth").find(|row| row.text("applies_to") == profile.name)?;
        Some((0.0, plain))
    })?;
    Some(Cited { value: row.number("value")? as u32, source: row.text("source") })
}

/// The least height of a flange above the outside diameter, mm.
pub fn flange_height_mm(profile: &Profile) -> Cited<f64> {
    value("flange_min_height", profile.name).unwrap_or(Cited {
        value: profile.belt.total_height_mm - profile.belt.tooth_height_mm,
        source: "derived: thickness of the belt's back, which the ISO 5294 flange heights follow within 0.2 mm",
    })
}

/// The least thickness of a flange, mm; only inch profiles have one.
pub fn flange_thickness_mm(profile: &Profile) -> Option<Cited<f64>> {
    value("flange_thickness", profile.name)
}

struct FaceRow {
    profile: &'static str,
    belt_width_mm: f64,
    face_width_mm: f64,
    source: &'static str,
}

fn face_rows(category: &'static str) -> impl Iterator<Item = FaceRow> {
    of_category(category).filter_map(|row| {
        // "XL 025 (6.4 mm belt)"; the supplier's overall width of stock pulleys reads otherwise.
        let (profile, rest) = row.text("applies_to").split_once(' ')?;
        let (_, width) = rest.split_once('(')?;
        Some(FaceRow {
            profile,
            belt_width_mm: width.strip_suffix(" mm belt)")?.parse().ok()?,
            face_width_mm: row.number("value")?,
            source: row.text("source"),
        })
    })
}

/// The least face width for this belt width, between two flanges or without them, mm.
pub fn face_width_mm(profile: &Profile, belt_width_mm: f64, between_flanges: bool) -> Cited<f64> {
    /// Belt widths are printed to 0.1 mm.
    const SAME_WIDTH_MM: f64 = 0.06;
    let category = if between_flanges { "face_width_flanged" } else { "face_width_unflanged" };
    let pitch = |name: &str| profile::all().iter().find(|row| row.name == name).map(|row| row.pitch_mm);
    let far = |row: &FaceRow| {
        let pitches = pitch(row.profile).map_or(f64::INFINITY, |pitch| (pitch - profile.pitch_mm).abs());
        (pitches, (row.belt_width_mm - belt_width_mm).abs())
    };
    let near = face_rows(category)
        .min_by(|a, b| far(a).partial_cmp(&far(b)).unwrap_or(std::cmp::Ordering::Equal))
        .expect("the built-in table has face widths");
    if near.profile == profile.name && (near.belt_width_mm - belt_width_mm).abs() < SAME_WIDTH_MM {
        return Cited { value: near.face_width_mm, source: near.source };
    }
    Cited {
        value: belt_width_mm + near.face_width_mm - near.belt_width_mm,
        source: "derived: the clearance that ISO 5294 (from memory) gives the belt nearest in pitch and width",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::belt::profile::find;

    /// Source: `tolerances.csv`, ISO 5294 steps 0-25.4-50.8-101.6-177.8-304.8-508.
    #[test]
    fn a_size_step_includes_its_upper_end_and_not_its_lower() {
        let xl = find("XL", 20).unwrap();
        let plus = |d| outside_diameter_plus_mm(xl, d).unwrap().value;
        for (edge, below, above) in [
            (25.4, 0.05, 0.08),
            (50.8, 0.08, 0.1),
            (101.6, 0.1, 0.13),
            (177.8, 0.13, 0.15),
            (304.8, 0.15, 0.18),
            (508.0, 0.18, 0.2),
        ] {
            assert_eq!((plus(edge), plus(edge + 1e-9)), (below, above));
        }
        assert!(outside_diameter_plus_mm(xl, 0.0).is_none());
        let adjacent = |d| adjacent_pitch_mm(d).unwrap().value;
        assert_eq!((adjacent(10.0), adjacent(900.0)), (0.03, 0.03));
        let accumulated = |d| accumulated_pitch_mm(d).unwrap().value;
        assert_eq!((accumulated(25.4), accumulated(25.5), accumulated(600.0)), (0.05, 0.08, 0.2));
    }

    /// Source: `tolerances.csv`, ISO 5294: 0.13 mm to 203.2 mm, 0.0005 mm more for each mm above.
    #[test]
    fn runout_grows_with_large_pulleys() {
        let runout = |d| radial_runout_mm(d).unwrap().value;
        assert_eq!((runout(30.0), runout(203.2)), (0.13, 0.13));
        assert!((runout(303.2) - 0.18).abs() < 1e-12);
        assert!(radial_runout_mm(30.0).unwrap().source.starts_with("from memory"));
    }

    #[test]
    fn metric_belts_take_the_rounded_steps() {
        let t5 = find("T5", 20).unwrap();
        let plus = |d| outside_diameter_plus_mm(t5, d).unwrap().value;
        assert_eq!((plus(25.0), plus(25.1), plus(50.1)), (0.05, 0.07, 0.1));
        assert!(outside_diameter_plus_mm(t5, 31.0).unwrap().source.starts_with("looked-up"));
    }

    #[test]
    fn the_fewest_teeth_are_those_of_the_slowest_speed() {
        for (name, fewest) in
            [("MXL", 10), ("XL", 10), ("L", 12), ("H", 14), ("XH", 22), ("T5", 10), ("T10", 12)]
        {
            let cited = fewest_teeth(find(name, 20).unwrap()).unwrap();
            assert_eq!(cited.value, fewest, "{name}");
            assert!(cited.source.starts_with("from memory"), "{name}");
        }
    }

    #[test]
    fn the_fewest_teeth_rise_with_the_speed() {
        let at = |name: &str, rpm| fewest_teeth_at(find(name, 20).unwrap(), rpm).unwrap().value;
        for (rpm, xl, l) in
            [(1.0, 10, 12), (1500.0, 12, 14), (3000.0, 12, 16), (4000.0, 15, 18), (9e3, 15, 18)]
        {
            assert_eq!((at("XL", rpm), at("L", rpm)), (xl, l), "{rpm}");
        }
        assert_eq!(at("T5", 3000.0), 10);
        let slow = find("XL", 20).unwrap();
        assert_eq!(fewest_teeth_at(slow, 0.0), fewest_teeth(slow));
    }

    #[test]
    fn flanges_follow_the_table_and_else_the_back_of_the_belt() {
        assert_eq!(flange_height_mm(find("XL", 20).unwrap()).value, 1.0);
        let t5 = flange_height_mm(find("T5", 20).unwrap());
        assert!((t5.value - 1.0).abs() < 1e-12 && t5.source.starts_with("derived"));
        for name in ["MXL", "XL", "L", "H", "XH", "XXH"] {
            let profile = find(name, 30).unwrap();
            let back = profile.belt.total_height_mm - profile.belt.tooth_height_mm;
            assert!((flange_height_mm(profile).value - back).abs() < 0.2, "{name}");
        }
    }

    #[test]
    fn face_widths_follow_the_table_and_else_the_nearest_row() {
        let xl = find("XL", 20).unwrap();
        assert_eq!(face_width_mm(xl, 6.4, true).value, 7.1);
        assert_eq!(face_width_mm(xl, 9.5, false).value, 12.2);
        // 12 mm is no XL width: the clearance of 9.5 mm, 0.9 mm.
        assert!((face_width_mm(xl, 12.0, true).value - 12.9).abs() < 1e-12);
        // T5 has no rows; XL is nearest in pitch, and 9.5 mm nearest to 10 mm.
        let t5 = face_width_mm(find("T5", 20).unwrap(), 10.0, true);
        assert!((t5.value - 10.9).abs() < 1e-12 && t5.source.starts_with("derived"));
    }
}
