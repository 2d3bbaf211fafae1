//! The demo's readings are invented. This says how, and that the file is what it says.
//!
//! Two printers that never were measure the starter set: `petg-0.4` printed three times, `pla-0.4`
//! once. Their truth is written out below, in the middle of what `data/demo/README.md` names. One PLA
//! reading has two digits swapped, as happens at a bench.

use std::fmt::Write as _;
use std::path::Path;

use shrinkrule::coupon::{CouponSet, embedded_sets, feature::Feature};
use shrinkrule::kind::{Axis, Kind};

/// What an invented printer does to every size.
struct Printer {
    setup: &'static str,
    prints: u32,
    swell_mm: f64,
    shrink: f64,
    z_shrink: f64,
    z_offset_mm: f64,
    small_bore_mm2: f64,
    bore_extra_mm: f64,
    first_layer_mm: f64,
    print_swell_sd_mm: f64,
    feature_sd_mm: f64,
    reading_sd_mm: f64,
}

const PRINTERS: [Printer; 2] = [
    Printer {
        setup: "petg-0.4",
        prints: 3,
        swell_mm: 0.055,
        shrink: 0.0032,
        z_shrink: 0.0012,
        z_offset_mm: -0.04,
        small_bore_mm2: 0.28,
        bore_extra_mm: -0.05,
        first_layer_mm: 0.14,
        print_swell_sd_mm: 0.007,
        feature_sd_mm: 0.015,
        reading_sd_mm: 0.012,
    },
    Printer {
        setup: "pla-0.4",
        prints: 1,
        swell_mm: 0.035,
        shrink: 0.0021,
        z_shrink: 0.0008,
        z_offset_mm: -0.02,
        small_bore_mm2: 0.22,
        bore_extra_mm: -0.03,
        first_layer_mm: 0.10,
        print_swell_sd_mm: 0.006,
        feature_sd_mm: 0.012,
        reading_sd_mm: 0.010,
    },
];

impl Printer {
    fn true_size_mm(&self, feature: &Feature, swell_mm: f64) -> f64 {
        let x = feature.nominal_mm;
        let own = match feature.kind {
            Kind::Bore => self.bore_extra_mm - self.small_bore_mm2 / x,
            Kind::HorizontalBore if feature.axis == Axis::Z => -0.18,
            Kind::HorizontalBore => -0.05,
            Kind::Height => self.z_offset_mm,
            _ => 0.0,
        };
        let shrink = if feature.kind == Kind::Height { self.z_shrink } else { self.shrink };
        let bed = if feature.is_at_bed() { 2.0 * self.first_layer_mm } else { 0.0 };
        x * (1.0 - shrink) + feature.kind.swell_sign() * swell_mm + own + bed
    }
}

/// A small generator that is the same everywhere (splitmix64), and normal numbers from it.
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

fn sheet(set: &CouponSet) -> String {
    let mut text = String::from(
        "# INVENTED for the demo: nobody measured these. tests/demo_data.rs says how they were made\n\
         # unit: mm\n# date: 2026-11-20\n# caliper_resolution_mm: 0.01\n# caliper_error_mm: 0.03\n\
         # temperature_c: 20\n\
         setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm,reading_3_mm,note\n",
    );
    for (number, printer) in PRINTERS.iter().enumerate() {
        let mut random = Random(2026 + number as u64);
        for copy in 1..=printer.prints {
            let swell = printer.swell_mm + printer.print_swell_sd_mm * random.normal();
            for coupon in &set.coupons {
                for feature in &coupon.features {
                    let size = printer.true_size_mm(feature, swell) + printer.feature_sd_mm * random.normal();
                    let mut cells =
                        [(); 3].map(|()| format!("{:.2}", size + printer.reading_sd_mm * random.normal()));
                    let mut note = "";
                    if printer.setup == "pla-0.4" && coupon.name == "R8" && feature.label == "b8y" {
                        // 7.85 typed as 8.75, or what that day's reading makes of it.
                        cells[1] = swapped(&cells[1]);
                        note = "invented slip: two digits swapped";
                    }
                    writeln!(
                        text,
                        "{},{},{},{},{},{},{copy},{},{note}",
                        printer.setup,
                        coupon.name,
                        feature.label,
                        feature.kind,
                        feature.axis,
                        feature.nominal_mm,
                        cells.join(",")
                    )
                    .unwrap();
                }
            }
        }
    }
    text
}

/// The first digit changed places with the one behind the point.
fn swapped(cell: &str) -> String {
    let mut letters: Vec<char> = cell.chars().collect();
    letters.swap(0, 2);
    letters.into_iter().collect()
}

#[test]
fn the_demo_readings_are_what_the_invented_printers_give() {
    let set = embedded_sets().iter().find(|set| set.name == "starter").expect("starter is embedded");
    let expected = sheet(set);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/demo/slider-readings.csv");
    if std::env::var_os("SHRINKRULE_REWRITE_GOLDEN").is_some() {
        std::fs::write(&path, &expected).unwrap();
    }
    let found = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(found == expected, "data/demo/slider-readings.csv is not what this file makes; rewrite it");
}
