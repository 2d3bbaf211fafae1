//! Simulated setups: one printer, several filaments, and what is read of their coupons. Invented figures.
#![allow(dead_code, reason = "each test file uses its own part")]

use shrinkrule::kind::{Axis, Kind};
use shrinkrule::readings::{FeatureReadings, Reading, Repeats, SetupReadings};

/// SplitMix64 (Steele, Lea and Flood 2014) with normal deviates by Box and Muller.
pub struct Random(pub u64);

impl Random {
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (((z ^ (z >> 31)) >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        let radius = (-2.0 * self.uniform().ln()).sqrt();
        mean + sd * radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// How one setup errs. All figures are invented, after the table of typical printers.
#[derive(Clone, Copy)]
pub struct Truth {
    pub swell: f64,
    pub shrink: f64,
    pub difference: f64,
    pub bore: f64,
    pub small_bore: f64,
    pub print_swell_sd: f64,
    pub print_scale_sd: f64,
    pub feature_sd: f64,
}

impl Truth {
    pub fn printer(random: &mut Random) -> Self {
        Self {
            swell: random.normal(0.05, 0.03),
            shrink: random.normal(0.003, 0.001),
            difference: random.normal(0.0, 0.0017),
            bore: random.normal(-0.06, 0.04),
            small_bore: -random.normal(0.3, 0.15).max(0.0),
            print_swell_sd: 0.015 * random.normal(0.0, 0.3).exp(),
            print_scale_sd: 2.5e-4,
            feature_sd: 0.025 * random.normal(0.0, 0.3).exp(),
        }
    }

    /// Another filament on the same printer: a third or so of how printers differ.
    pub fn filament(self, random: &mut Random) -> Self {
        Self {
            swell: self.swell + random.normal(0.0, 0.01),
            shrink: self.shrink + random.normal(0.0, 0.0006),
            difference: self.difference + random.normal(0.0, 0.0002),
            bore: self.bore + random.normal(0.0, 0.012),
            small_bore: (self.small_bore + random.normal(0.0, 0.05)).min(0.0),
            print_swell_sd: self.print_swell_sd * random.normal(0.0, 0.15).exp(),
            print_scale_sd: self.print_scale_sd,
            feature_sd: self.feature_sd * random.normal(0.0, 0.15).exp(),
        }
    }

    /// Another nozzle and material altogether.
    pub fn other(self) -> Self {
        Self { swell: self.swell + 0.05, shrink: self.shrink + 0.004, bore: self.bore - 0.06, ..self }
    }

    pub fn deviation(&self, kind: Kind, axis: Axis, drawn: f64) -> f64 {
        let half = match axis {
            Axis::X => 0.5,
            Axis::Y => -0.5,
            _ => 0.0,
        };
        let own = if kind == Kind::Bore { self.bore + self.small_bore / drawn } else { 0.0 };
        kind.swell_sign() * self.swell + (half * self.difference - self.shrink) * drawn + own
    }

    pub fn new_print_sd(&self, kind: Kind, drawn: f64) -> f64 {
        let swell = kind.swell_sign() * self.print_swell_sd;
        (swell.powi(2) + (drawn * self.print_scale_sd).powi(2) + self.feature_sd.powi(2)).sqrt()
    }
}

/// Kind, direction, drawn size in mm.
pub type Feature = (Kind, Axis, f64);

pub fn readings(truth: &Truth, features: &[Feature], prints: u32, random: &mut Random) -> SetupReadings {
    let mut read = Vec::new();
    for copy in 1..=prints {
        let swell = random.normal(0.0, truth.print_swell_sd);
        let scale = random.normal(0.0, truth.print_scale_sd);
        for (line, (kind, axis, size)) in features.iter().enumerate() {
            let of_print = kind.swell_sign() * swell + scale * size + random.normal(0.0, truth.feature_sd);
            let printed = size + truth.deviation(*kind, *axis, *size) + of_print;
            let sd = if kind.swell_sign() < 0.0 { 0.018 } else { 0.010 };
            let reading = |random: &mut Random| {
                let mm = (random.normal(printed, sd) * 100.0).round() / 100.0;
                Reading { mm, line: line as u64 + 2 }
            };
            let three: Vec<Reading> = (0..3).map(|_| reading(random)).collect();
            let mean_mm = three.iter().map(|reading| reading.mm).sum::<f64>() / 3.0;
            let by = |a: &&Reading, b: &&Reading| a.mm.total_cmp(&b.mm);
            read.push(FeatureReadings {
                coupon: "C".into(),
                feature: format!("{kind}{size}{axis}").into(),
                kind: *kind,
                axis: *axis,
                nominal_mm: *size,
                copy,
                repeats: Repeats {
                    count: 3,
                    mean_mm,
                    sum_of_squares_mm2: three.iter().map(|reading| (reading.mm - mean_mm).powi(2)).sum(),
                    lowest: *three.iter().min_by(by).unwrap(),
                    highest: *three.iter().max_by(by).unwrap(),
                },
            });
        }
    }
    SetupReadings { setup: "new".to_owned(), features: read }
}
