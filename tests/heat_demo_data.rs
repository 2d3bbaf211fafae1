//! The demo's readings before and after heat are invented. This says how, and that the file is what it says.
//!
//! A mount for the stepper motor of a camera slider in three materials that never were: A lets go near 60 °C as
//! PLA does, B near 80 °C as PETG does, C near 100 °C as ABS and ASA do. Each piece is read, put into 60, 75 and
//! 90 °C for 8 h one after the other, and read again after each; A is not put into the last. The third piece of C
//! came off the bed and was never measured, and the other two warped a little. Between the first readings and the second the caliper moved by 0.03 mm, which
//! the metal reference shows. Features are those of the coupon set `heat`.

use std::fmt::Write as _;
use std::path::Path;

use shrinkrule::kind::{Axis, Kind};

/// Coupon, feature, kind, axis, drawn size in mm.
type Row = (&'static str, &'static str, Kind, Axis, f64);

const FEATURES: [Row; 22] = [
    ("M", "b22x", Kind::Bore, Axis::X, 22.0),
    ("M", "b22y", Kind::Bore, Axis::Y, 22.0),
    ("M", "b8x", Kind::Bore, Axis::X, 8.0),
    ("M", "b8y", Kind::Bore, Axis::Y, 8.0),
    ("M", "b3.4x", Kind::Bore, Axis::X, 3.4),
    ("M", "b3.4y", Kind::Bore, Axis::Y, 3.4),
    ("M", "g34.4x", Kind::Gap, Axis::X, 34.4),
    ("M", "g34.4y", Kind::Gap, Axis::Y, 34.4),
    ("M", "s60x", Kind::Span, Axis::X, 60.0),
    ("M", "s60y", Kind::Span, Axis::Y, 60.0),
    ("M", "o77x", Kind::Outer, Axis::X, 77.0),
    ("M", "o77y", Kind::Outer, Axis::Y, 77.0),
    ("M", "z24x", Kind::Height, Axis::Z, 24.0),
    ("M", "z24y", Kind::Height, Axis::Z, 24.0),
    ("M", "z8", Kind::Height, Axis::Z, 8.0),
    ("M", "s6z-arm", Kind::Span, Axis::Z, 6.0),
    ("D80", "p8x", Kind::Pin, Axis::X, 8.0),
    ("D80", "p8y", Kind::Pin, Axis::Y, 8.0),
    ("D79", "p7.9x", Kind::Pin, Axis::X, 7.9),
    ("D79", "p7.9y", Kind::Pin, Axis::Y, 7.9),
    ("D78", "p7.8x", Kind::Pin, Axis::X, 7.8),
    ("D78", "p7.8y", Kind::Pin, Axis::Y, 7.8),
];

/// What a material does to a piece.
struct Material {
    name: &'static str,
    pieces: u32,
    swell_mm: f64,
    shrink: f64,
    bore_extra_mm: f64,
    cost: &'static str,
    print_h: &'static str,
    /// By soak: strain along x, y and z, and how much deeper the arm hangs, mm.
    heat: [[f64; 4]; 3],
    /// How far its pieces differ in strain, at least.
    piece_strain: f64,
}

const MATERIALS: [Material; 3] = [
    Material {
        name: "A",
        pieces: 3,
        swell_mm: 0.035,
        shrink: 0.0021,
        bore_extra_mm: -0.06,
        cost: "18",
        print_h: "2.1",
        heat: [[-0.0062, -0.0012, 0.0085, 0.42], [-0.0185, -0.0031, 0.0270, 1.10], [0.0; 4]],
        piece_strain: 0.00005,
    },
    Material {
        name: "B",
        pieces: 3,
        swell_mm: 0.055,
        shrink: 0.0032,
        bore_extra_mm: -0.09,
        cost: "21",
        print_h: "2.4",
        heat: [
            [-0.0003, -0.0002, 0.0002, 0.02],
            [-0.0009, -0.0005, 0.0008, 0.04],
            [-0.0068, -0.0030, 0.0070, 0.36],
        ],
        piece_strain: 0.00005,
    },
    Material {
        name: "C",
        pieces: 2,
        swell_mm: 0.045,
        shrink: 0.0068,
        bore_extra_mm: -0.07,
        cost: "24",
        print_h: "2.6",
        heat: [
            [-0.0002, -0.0001, 0.0001, 0.01],
            [-0.0003, -0.0002, 0.0002, 0.01],
            [-0.0006, -0.0004, 0.0005, 0.02],
        ],
        piece_strain: 0.0010,
    },
];

const STAGES: [(&str, &str); 4] = [("before", ""), ("after", "60"), ("after 75", "75"), ("after 90", "90")];

/// How far pieces of one material differ in what heat does to them, as a share.
const PIECE_SHARE: f64 = 0.06;

const READING_SD_MM: f64 = 0.008;

/// What the caliper moved by from the first stage on, mm.
const DRIFT_MM: f64 = 0.03;

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

impl Material {
    /// What a piece measures before heat.
    fn printed_mm(&self, (_, _, kind, _, nominal_mm): &Row) -> f64 {
        let shrink = if *kind == Kind::Height { 0.3 * self.shrink } else { self.shrink };
        let own = if *kind == Kind::Bore { self.bore_extra_mm } else { 0.0 };
        nominal_mm * (1.0 - shrink) + kind.swell_sign() * self.swell_mm + own
    }

    /// What the soak adds to it in a piece that departs by so much from the rest.
    fn heat_mm(&self, row: &Row, soak: usize, piece: f64) -> f64 {
        let (_, feature, _, axis, nominal_mm) = row;
        let heat = self.heat[soak];
        if feature.ends_with("-arm") {
            return heat[3] * (1.0 + PIECE_SHARE * piece);
        }
        let strain = match axis {
            Axis::X => heat[0],
            Axis::Y => heat[1],
            _ => heat[2],
        };
        nominal_mm * (strain * (1.0 + PIECE_SHARE * piece) + self.piece_strain * piece)
    }
}

fn sheet() -> String {
    let mut text = String::from(
        "# INVENTED for the demo: nobody measured these. tests/heat_demo_data.rs says how they were made\n\
         # unit: mm\n# date: 2026-11-21\n# caliper_resolution_mm: 0.01\n# caliper_error_mm: 0.03\n\
         # temperature_c: 21\n# pieces marked A: like PLA, B: like PETG, C: like ABS or ASA\n\
         stage,material,soak_c,soak_h,load,setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm,cost,print_h,note\n",
    );
    let mut random = Random(2611);
    // What a piece keeps through all its stages: how it was printed, and how it takes the heat.
    let mut pieces = Vec::new();
    for material in &MATERIALS {
        for copy in 1..=material.pieces {
            let printed: Vec<f64> =
                FEATURES.iter().map(|row| material.printed_mm(row) + 0.012 * random.normal()).collect();
            pieces.push((material, copy, printed, random.normal()));
        }
    }
    for (number, (stage, soak_c)) in STAGES.iter().enumerate() {
        let drift = if number > 0 { DRIFT_MM } else { 0.0 };
        let mut read = |size: f64| format!("{:.2}", size + drift + READING_SD_MM * random.normal());
        for time in 1..=3 {
            let (one, two) = (read(22.0), read(22.0));
            writeln!(text, "{stage},reference,,,,,REF,ref,outer,round,22,{time},{one},{two},,,").unwrap();
        }
        for (material, copy, printed, piece) in &pieces {
            if number > 0 && material.heat[number - 1] == [0.0; 4] {
                continue;
            }
            let soak_h = if number > 0 { "8" } else { "" };
            let load = if number > 0 { "own weight" } else { "" };
            for (row, printed) in FEATURES.iter().zip(printed) {
                let heat = if number > 0 { material.heat_mm(row, number - 1, *piece) } else { 0.0 };
                let (one, two) = (read(printed + heat), read(printed + heat));
                let (coupon, feature, kind, axis, nominal_mm) = row;
                writeln!(
                    text,
                    "{stage},{},{soak_c},{soak_h},{load},,{coupon},{feature},{kind},{axis},{nominal_mm},{copy},{one},{two},{},{},",
                    material.name, material.cost, material.print_h
                )
                .unwrap();
            }
        }
    }
    text
}

#[test]
fn the_demo_readings_of_heat_are_what_the_invented_materials_give() {
    let expected = sheet();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/demo/heat-readings.csv");
    if std::env::var_os("SHRINKRULE_REWRITE_GOLDEN").is_some() {
        std::fs::write(&path, &expected).unwrap();
    }
    let found = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(found == expected, "data/demo/heat-readings.csv is not what this file makes; rewrite it");
}
