//! The blank readings sheet: one row a feature and print, in the order in which one measures.

use super::CouponSet;
use super::feature::Feature;
use crate::kind::{Axis, Kind};

/// How many times every feature is read.
pub const READINGS: usize = 3;

/// What stands above the header. The values are examples to be overwritten; an empty date is no date.
pub(super) const CONDITIONS: &str = "\
# unit: mm
# date:
# caliper_resolution_mm: 0.01
# caliper_error_mm: 0.03
# temperature_c:
# material:
# fill in the date (such as 2026-11-25) and put your own caliper and room into the lines above
# leave a row empty if your jaws do not reach
";

/// And what stands below it where pieces are tried.
const FEEL: &str = "\
# without a caliper: write into feel how the real piece goes: no-go, press, snug, slide or free
# into mate_mm the size of that piece in mm, and into mate which it was: shaft, bearing, belt
# one line a ring or pin is enough
";

/// One line of a sheet: a feature that is to be read on one print.
#[derive(Clone, Debug, PartialEq)]
pub struct Row<'a> {
    /// The piece that it is on.
    pub piece: &'a str,
    /// Its label or name.
    pub feature: &'a str,
    /// What it is.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The size that it was drawn at, mm.
    pub drawn_mm: f64,
    /// Which print.
    pub copy: u32,
}

/// The sheet for this set, printed `copies` times, as CSV.
///
/// `setup` fills its column; empty, the person does.
pub fn blank(set: &CouponSet, setup: &str, copies: u32) -> String {
    let features = || set.coupons.iter().flat_map(|of| of.features.iter().map(move |feature| (of, feature)));
    let rows = (1..=copies)
        .flat_map(|copy| features().map(move |(coupon, feature)| Row::of(&coupon.name, feature, copy)));
    of_rows(rows, setup, set.feel)
}

impl<'a> Row<'a> {
    /// The row of a coupon's feature.
    pub(super) fn of(piece: &'a str, feature: &'a Feature, copy: u32) -> Self {
        let (kind, axis, drawn_mm) = (feature.kind, feature.axis, feature.nominal_mm);
        Self { piece, feature: &feature.label, kind, axis, drawn_mm, copy }
    }

    /// The cells of the columns from `setup` to `copy`.
    pub(super) fn cells(&self, setup: &str) -> Vec<String> {
        vec![
            setup.to_owned(),
            self.piece.to_owned(),
            self.feature.to_owned(),
            self.kind.name().to_owned(),
            self.axis.name().to_owned(),
            self.drawn_mm.to_string(),
            self.copy.to_string(),
        ]
    }
}

/// The sheet for these features, as CSV; with columns for how the real piece feels, where pieces are tried.
pub fn of_rows<'a>(rows: impl IntoIterator<Item = Row<'a>>, setup: &str, feel: bool) -> String {
    let mut top = CONDITIONS.to_owned();
    if feel {
        top.push_str(FEEL);
    }
    let felt: &[&str] = if feel { &["feel", "mate_mm", "mate"] } else { &[] };
    rows_to_csv(top, &[], felt, rows.into_iter().map(|row| row.cells(setup)).collect())
}

/// The sheet as CSV: `top` above the header, columns before and after those that every sheet has, and rows
/// whose last cells are still blank.
pub(super) fn rows_to_csv(top: String, before: &[&str], after: &[&str], rows: Vec<Vec<String>>) -> String {
    let mut sheet = csv::Writer::from_writer(top.into_bytes());
    let readings = (1..=READINGS).map(|i| format!("reading_{i}_mm"));
    let columns = ["setup", "coupon", "feature", "kind", "axis", "nominal_mm", "copy"];
    let named = before.iter().copied().chain(columns).map(str::to_owned);
    let more = after.iter().copied().chain(["note"]).map(str::to_owned);
    let header: Vec<String> = named.chain(readings).chain(more).collect();
    let width = header.len();
    for mut row in std::iter::once(header).chain(rows) {
        row.resize(width, String::new());
        sheet.write_record(row).expect("rows of one length go into memory");
    }
    String::from_utf8(sheet.into_inner().expect("memory takes everything")).expect("text stays text")
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::coupon::definition;

    #[test]
    fn a_set_to_be_tried_has_columns_for_the_feel() {
        let text =
            "name = \"n\"\nsummary = \"s\"\nfeel = true\n[[height_steps]]\nname = \"Z\"\nheights_mm = [8]\n";
        let set = definition::parse(Path::new("n.toml"), text).unwrap();
        let sheet = blank(&set, "a", 1);
        assert!(sheet.ends_with(
            "copy,reading_1_mm,reading_2_mm,reading_3_mm,feel,mate_mm,mate,note\na,Z,z8,height,z,8,1,,,,,,,\n"
        ));
        assert!(sheet.contains("\n# without a caliper: write into feel"));
    }

    #[test]
    fn the_sheet_has_a_row_a_feature_and_print_with_room_for_three_readings() {
        let text = "name = \"n\"\nsummary = \"s\"\n[[height_steps]]\nname = \"Z1\"\nheights_mm = [12.5, 5]\n";
        let set = definition::parse(Path::new("n.toml"), text).unwrap();
        assert_eq!(
            blank(&set, "petg, 0.4", 2),
            "# unit: mm\n# date:\n# caliper_resolution_mm: 0.01\n# caliper_error_mm: 0.03\n# temperature_c:\n# material:\n\
             # fill in the date (such as 2026-11-25) and put your own caliper and room into the lines above\n\
             # leave a row empty if your jaws do not reach\n\
             setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm,reading_3_mm,note\n\
             \"petg, 0.4\",Z1,z5,height,z,5,1,,,,\n\"petg, 0.4\",Z1,z12.5,height,z,12.5,1,,,,\n\
             \"petg, 0.4\",Z1,z5,height,z,5,2,,,,\n\"petg, 0.4\",Z1,z12.5,height,z,12.5,2,,,,\n"
        );
    }
}
