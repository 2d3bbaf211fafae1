//! Simulated printers: how each errs on average, what differs from print to print, and how it is read.
//!
//! Two populations. `Class` is the table of good, typical and bad filament printers that
//! `correction::structured::priors` quotes, drawn with its spreads across printers. `World` is the simpler
//! population of the accuracy study that the project's goal figures come from: `Exact` follows the joint
//! model, `Misfit` adds an own offset per kind and a scale that differs between x and y.

use shrinkrule::kind::{Axis, Kind};

use crate::class::{BAD, Class, GOOD, HEIGHTS_SHRINK, SHRINK, Spread, TYPICAL};
use crate::random::Random;

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Population {
    Good,
    Typical,
    Bad,
    Exact,
    Misfit,
}

impl Population {
    pub fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Typical => "typical",
            Self::Bad => "bad",
            Self::Exact => "exact",
            Self::Misfit => "misfit",
        }
    }
}

impl Population {
    pub fn class(self) -> Option<&'static Class> {
        match self {
            Self::Good => Some(&GOOD),
            Self::Typical => Some(&TYPICAL),
            Self::Bad => Some(&BAD),
            Self::Exact | Self::Misfit => None,
        }
    }
}

/// How gross errors of reading are drawn.
#[derive(Clone, Copy, Debug)]
pub enum Gross {
    Normal { chance: f64, sd: f64 },
    Uniform { chance: f64, low: f64, high: f64 },
}

#[derive(Clone, Debug)]
pub struct Printer {
    swell: f64,
    scale_x: f64,
    scale_y: f64,
    scale_z: f64,
    small_bore: f64,
    skew: f64,
    sag: f64,
    own: [f64; 7],
    pub print_swell_sd: f64,
    pub print_scale_sd: f64,
    pub print_height_sd: f64,
    pub feature_sd: f64,
    read_outside_sd: f64,
    read_inside_sd: f64,
    pub gross: Option<Gross>,
}

/// What one print does to all its features.
pub struct Print {
    swell: f64,
    scale: f64,
    height: f64,
}

impl Printer {
    pub fn draw(population: Population, random: &mut Random) -> Self {
        match population.class() {
            Some(class) => Self::of_class(class, random),
            None => Self::of_world(population == Population::Misfit, random),
        }
    }

    fn of_world(misfit: bool, random: &mut Random) -> Self {
        let one = f64::from(misfit);
        let shrink = random.normal(0.0025, 0.0015);
        let difference = one * random.normal(0.0, 0.0005);
        let mut own = [0.0; 7];
        for offset in &mut own {
            *offset = one * random.normal(0.0, 0.02);
        }
        let read = random.between(0.02, 0.05);
        Self {
            swell: random.normal(0.06, 0.05),
            scale_x: -shrink - difference,
            scale_y: -shrink + difference,
            scale_z: 0.0,
            small_bore: -random.normal(0.30, 0.15).max(0.0),
            skew: 0.0,
            sag: 0.0,
            own,
            print_swell_sd: 0.012,
            print_scale_sd: 0.0003,
            print_height_sd: 0.0,
            feature_sd: 0.015,
            read_outside_sd: read,
            read_inside_sd: read,
            gross: None,
        }
    }

    fn of_class(class: &Class, random: &mut Random) -> Self {
        let mut draw = |of: Spread, low: f64, high: f64| random.clipped(of.mean, of.sd, low, high);
        let shrink = SHRINK * draw(class.shrink, 0.2, 2.2);
        let axis = Spread { mean: 0.0, sd: class.axis_sd };
        let (x, y) = (draw(axis, -0.012, 0.012), draw(axis, -0.012, 0.012));
        let z = draw(Spread { mean: 0.0, sd: class.axis_z_sd }, -0.012, 0.012);
        let extra = draw(class.extra, -0.02, 0.25);
        let mut own = [0.0; 7];
        own[Kind::Bore as usize] = -2.0 * extra;
        own[Kind::Height as usize] = class.height_offset;
        let high = draw(class.lost_height, -1.2, 0.05);
        let wide = draw(class.lost_width, -0.5, 0.1);
        own[Kind::HorizontalBore as usize] = wide;
        let print = draw(class.print, 0.003, 0.2);
        Self {
            swell: draw(class.swell, -0.1, 0.3),
            scale_x: x - shrink,
            scale_y: y - shrink,
            // Heights shrink by 0.3 to 0.6 of the plane's shrink.
            scale_z: z - HEIGHTS_SHRINK * shrink,
            small_bore: -draw(class.small_bore, 0.0, 2.5),
            sag: high - wide,
            skew: draw(Spread { mean: 0.0, sd: class.skew_sd_deg }, -1.2, 1.2).to_radians(),
            own,
            // The table's spread of one dimension between prints is that of a size that swells by two
            // walls; the scale of a print moves by half of what two spools differ by (judged).
            print_swell_sd: print / 2.0,
            print_scale_sd: class.print_scale_sd,
            print_height_sd: class.print_height_sd,
            feature_sd: draw(class.feature, 0.004, 0.15),
            read_outside_sd: draw(class.read_outside, 0.003, 0.05),
            read_inside_sd: draw(class.read_inside, 0.005, 0.08),
            gross: Some(class.gross),
        }
    }

    /// Mean deviation of all prints, mm.
    pub fn deviation(&self, kind: Kind, axis: Axis, drawn: f64) -> f64 {
        let scale = match (kind, axis) {
            (Kind::Height, _) => self.scale_z,
            (_, Axis::X) => self.scale_x,
            (_, Axis::Y) => self.scale_y,
            (_, Axis::D45) => 0.5 * (self.scale_x + self.scale_y + self.skew),
            (_, Axis::D135) => 0.5 * (self.scale_x + self.scale_y - self.skew),
            _ => 0.5 * (self.scale_x + self.scale_y),
        };
        let bore = if kind == Kind::Bore { self.small_bore / drawn } else { 0.0 };
        let sag = if kind == Kind::HorizontalBore && axis == Axis::Z { self.sag } else { 0.0 };
        kind.swell_sign() * self.swell + scale * drawn + bore + sag + self.own[kind as usize]
    }

    /// Variance of one feature's size over new prints, mm^2.
    pub fn new_print_variance(&self, kind: Kind, drawn: f64) -> f64 {
        let height = f64::from(kind == Kind::Height);
        (kind.swell_sign() * self.print_swell_sd).powi(2)
            + ((1.0 - height) * self.print_scale_sd * drawn).powi(2)
            + (height * self.print_height_sd).powi(2)
            + self.feature_sd.powi(2)
    }

    pub fn print(&self, random: &mut Random) -> Print {
        Print {
            swell: random.normal(0.0, self.print_swell_sd),
            scale: random.normal(0.0, self.print_scale_sd),
            height: random.normal(0.0, self.print_height_sd),
        }
    }

    /// The true size of one feature of a print.
    pub fn feature(&self, print: &Print, kind: Kind, axis: Axis, drawn: f64, random: &mut Random) -> f64 {
        let of_print = if kind == Kind::Height {
            print.height
        } else {
            kind.swell_sign() * print.swell + print.scale * drawn
        };
        drawn + self.deviation(kind, axis, drawn) + of_print + random.normal(0.0, self.feature_sd)
    }

    pub fn read_sd(&self, kind: Kind) -> f64 {
        match kind {
            Kind::Bore | Kind::HorizontalBore | Kind::Gap => self.read_inside_sd,
            _ => self.read_outside_sd,
        }
    }

    /// One caliper reading of a true size, rounded to 0.01 mm.
    pub fn reading(&self, kind: Kind, size: f64, random: &mut Random) -> f64 {
        let mut reading = size + random.normal(0.0, self.read_sd(kind));
        match self.gross {
            Some(Gross::Normal { chance, sd }) if random.uniform() < chance => {
                reading += random.normal(0.0, sd);
            }
            Some(Gross::Uniform { chance, low, high }) if random.uniform() < chance => {
                let sign = if random.uniform() < 0.5 { -1.0 } else { 1.0 };
                reading += sign * random.between(low, high);
            }
            _ => {}
        }
        (reading * 100.0).round() / 100.0
    }
}
