//! The blank readings sheet: one row a feature and print, in the order in which one measures.

use super::CouponSet;

/// How many times every feature is read.
pub const READINGS: usize = 3;

/// What stands above the header. The values are examples to be overwritten; an empty date is no date.
const CONDITIONS: &str = "\
# unit: mm
# date:
# caliper_resolution_mm: 0.01
# caliper_error_mm: 0.03
# temperature_c: 21
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

/// The sheet for this set, printed `copies` times, as CSV.
///
/// `setup` fills its column; empty, the person does.
pub fn blank(set: &CouponSet, setup: &str, copies: u32) -> String {
    let mut top = CONDITIONS.as_bytes().to_vec();
    if set.feel {
        top.extend_from_slice(FEEL.as_bytes());
    }
    let mut sheet = csv::Writer::from_writer(top);
    let readings = (1..=READINGS).map(|i| format!("reading_{i}_mm"));
    let columns = ["setup", "coupon", "feature", "kind", "axis", "nominal_mm", "copy"].map(str::to_owned);
    let felt: &[&str] = if set.feel { &["feel", "mate_mm", "mate"] } else { &[] };
    let more = felt.iter().copied().chain(["note"]).map(str::to_owned);
    let header: Vec<String> = columns.into_iter().chain(readings).chain(more).collect();
    let width = header.len();
    let mut rows = vec![header];
    for copy in 1..=copies {
        for coupon in &set.coupons {
            for feature in &coupon.features {
                let mut row = vec![
                    setup.to_owned(),
                    coupon.name.clone(),
                    feature.label.clone(),
                    feature.kind.name().to_owned(),
                    feature.axis.name().to_owned(),
                    feature.nominal_mm.to_string(),
                    copy.to_string(),
                ];
                row.resize(width, String::new());
                rows.push(row);
            }
        }
    }
    for row in rows {
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
            "# unit: mm\n# date:\n# caliper_resolution_mm: 0.01\n# caliper_error_mm: 0.03\n# temperature_c: 21\n# material:\n\
             # fill in the date (such as 2026-11-25) and put your own caliper and room into the lines above\n\
             # leave a row empty if your jaws do not reach\n\
             setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm,reading_3_mm,note\n\
             \"petg, 0.4\",Z1,z5,height,z,5,1,,,,\n\"petg, 0.4\",Z1,z12.5,height,z,12.5,1,,,,\n\
             \"petg, 0.4\",Z1,z5,height,z,5,2,,,,\n\"petg, 0.4\",Z1,z12.5,height,z,12.5,2,,,,\n"
        );
    }
}
