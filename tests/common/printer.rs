//! A simulated printer with a known truth: what it prints and what a caliper reads of it.
//!
//! `reading = x + offset + (scale - 1) x (+ small_bore / x) + sign * P + F + R`, the model of the
//! program, with normal spreads from a seeded generator. All its figures are invented.
#![allow(dead_code, reason = "each test file uses its own part")]

use shrinkrule::kind::{Axis, Kind};
use shrinkrule::readings::{FeatureReadings, Reading, Repeats, SetupReadings};

/// Normal deviates from a seed: splitmix64 and Box-Muller.
pub struct Deviates {
    state: u64,
}

impl Deviates {
    pub fn new(seed: u64) -> Self {
        Self { state: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5851_f42d_4c95_7f2d }
    }

    pub fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// How one kind errs.
#[derive(Clone, Copy, Debug)]
pub struct Truth {
    pub kind: Kind,
    pub offset_mm: f64,
    pub scale: f64,
    pub small_bore_mm2: f64,
    pub sizes_mm: &'static [f64],
}

impl Truth {
    /// The mean printed size.
    pub fn printed_mm(&self, drawn_mm: f64) -> f64 {
        self.offset_mm + self.scale * drawn_mm + self.small_bore_mm2 / drawn_mm
    }
}

/// A printer, what is measured on it, and how it spreads.
#[derive(Clone, Debug)]
pub struct Printer {
    pub kinds: Vec<Truth>,
    /// Print to print, a size's sd.
    pub print_sd_mm: f64,
    /// Feature to feature.
    pub feature_sd_mm: f64,
    /// Repeat readings.
    pub repeat_sd_mm: f64,
    /// Step of the caliper; 0 reads exactly.
    pub step_mm: f64,
    pub prints: u32,
    pub repeats: u32,
}

impl Printer {
    /// Four kinds of a coupon set, with one scale for all.
    pub fn usual() -> Self {
        let kind = |kind, offset_mm, sizes_mm| Truth {
            kind,
            offset_mm,
            scale: 0.996,
            small_bore_mm2: 0.0,
            sizes_mm,
        };
        Self {
            kinds: vec![
                kind(Kind::Bore, -0.18, &[4.0, 5.0, 6.0, 8.0, 10.0]),
                kind(Kind::Pin, 0.09, &[4.0, 5.0, 6.0, 8.0, 10.0]),
                kind(Kind::Gap, -0.15, &[2.0, 3.0, 4.0, 6.0, 8.0]),
                kind(Kind::Outer, 0.11, &[5.0, 10.0, 20.0, 40.0, 60.0]),
            ],
            print_sd_mm: 0.0,
            feature_sd_mm: 0.02,
            repeat_sd_mm: 0.01,
            step_mm: 0.0,
            prints: 2,
            repeats: 3,
        }
    }

    pub fn truth(&self, kind: Kind) -> &Truth {
        self.kinds.iter().find(|truth| truth.kind == kind).unwrap()
    }

    /// Prints and measures the coupons.
    pub fn print(&self, setup: &str, random: &mut Deviates) -> SetupReadings {
        let mut features = Vec::new();
        let mut line = 1;
        for copy in 1..=self.prints {
            let swell = self.print_sd_mm * random.normal();
            for truth in &self.kinds {
                for (at, size) in truth.sizes_mm.iter().enumerate() {
                    let printed = self.feature_mm(truth, *size, swell, random);
                    let readings: Vec<Reading> = (0..self.repeats)
                        .map(|_| {
                            line += 1;
                            Reading { mm: self.read_mm(printed, random), line }
                        })
                        .collect();
                    features.push(FeatureReadings {
                        coupon: format!("{}s", truth.kind).into(),
                        feature: format!("{}-{at}", truth.kind).into(),
                        kind: truth.kind,
                        axis: Axis::Round,
                        nominal_mm: *size,
                        copy,
                        repeats: summary(&readings),
                    });
                }
            }
        }
        SetupReadings { setup: setup.to_owned(), features }
    }

    /// The true size of one feature of a print with this swell.
    pub fn feature_mm(&self, truth: &Truth, drawn_mm: f64, swell: f64, random: &mut Deviates) -> f64 {
        let sign = truth.kind.swell_sign() / 2.0;
        truth.printed_mm(drawn_mm) + sign * swell + self.feature_sd_mm * random.normal()
    }

    fn read_mm(&self, printed_mm: f64, random: &mut Deviates) -> f64 {
        let reading = printed_mm + self.repeat_sd_mm * random.normal();
        if self.step_mm > 0.0 { (reading / self.step_mm).round() * self.step_mm } else { reading }
    }
}

/// Repeats, summarised as the reader does.
pub fn summary(readings: &[Reading]) -> Repeats {
    let n = readings.len() as f64;
    let mean_mm = readings.iter().map(|reading| reading.mm).sum::<f64>() / n;
    let by_size = |a: &&Reading, b: &&Reading| a.mm.total_cmp(&b.mm);
    Repeats {
        count: readings.len() as u32,
        mean_mm,
        sum_of_squares_mm2: readings.iter().map(|reading| (reading.mm - mean_mm).powi(2)).sum(),
        lowest: *readings.iter().min_by(by_size).unwrap(),
        highest: *readings.iter().max_by(by_size).unwrap(),
    }
}
