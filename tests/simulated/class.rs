//! How printers of one class differ: the table that `correction::structured::priors` quotes, in full.

use crate::printer::Gross;

/// Mean and standard deviation over printers.
#[derive(Clone, Copy, Debug)]
pub struct Spread {
    pub mean: f64,
    pub sd: f64,
}

/// Shrink in the layer plane of a filament of middling shrink; classes multiply it.
pub const SHRINK: f64 = 0.003;
/// Of which heights have this much.
pub const HEIGHTS_SHRINK: f64 = 0.45;

/// Lengths in mm.
#[derive(Clone, Copy, Debug)]
pub struct Class {
    pub shrink: Spread,
    pub axis_sd: f64,
    pub axis_z_sd: f64,
    pub swell: Spread,
    /// Inward swell per side that only holes have.
    pub extra: Spread,
    pub small_bore: Spread,
    pub skew_sd_deg: f64,
    pub height_offset: f64,
    pub lost_height: Spread,
    pub lost_width: Spread,
    pub print: Spread,
    pub print_scale_sd: f64,
    pub print_height_sd: f64,
    pub feature: Spread,
    pub read_outside: Spread,
    pub read_inside: Spread,
    pub gross: Gross,
}

const fn spread(mean: f64, sd: f64) -> Spread {
    Spread { mean, sd }
}

pub const GOOD: Class = Class {
    shrink: spread(1.0, 0.1),
    axis_sd: 4e-4,
    axis_z_sd: 3e-4,
    swell: spread(0.01, 0.01),
    extra: spread(0.005, 0.005),
    small_bore: spread(0.1, 0.05),
    skew_sd_deg: 0.03,
    height_offset: -0.01,
    lost_height: spread(-0.1, 0.04),
    lost_width: spread(-0.03, 0.02),
    print: spread(0.01, 0.004),
    print_scale_sd: 1e-4,
    print_height_sd: 0.015,
    feature: spread(0.01, 0.003),
    read_outside: spread(0.006, 0.001),
    read_inside: spread(0.01, 0.002),
    gross: Gross::Normal { chance: 0.003, sd: 0.15 },
};

pub const TYPICAL: Class = Class {
    shrink: spread(1.0, 0.25),
    axis_sd: 12e-4,
    axis_z_sd: 15e-4,
    swell: spread(0.05, 0.03),
    extra: spread(0.03, 0.02),
    small_bore: spread(0.3, 0.15),
    skew_sd_deg: 0.12,
    height_offset: -0.05,
    lost_height: spread(-0.25, 0.1),
    lost_width: spread(-0.08, 0.04),
    print: spread(0.03, 0.01),
    print_scale_sd: 2.5e-4,
    print_height_sd: 0.04,
    feature: spread(0.025, 0.008),
    read_outside: spread(0.01, 0.003),
    read_inside: spread(0.018, 0.005),
    gross: Gross::Normal { chance: 0.01, sd: 0.2 },
};

pub const BAD: Class = Class {
    shrink: spread(1.2, 0.35),
    axis_sd: 35e-4,
    axis_z_sd: 40e-4,
    swell: spread(0.12, 0.05),
    extra: spread(0.08, 0.04),
    small_bore: spread(1.0, 0.4),
    skew_sd_deg: 0.4,
    height_offset: -0.12,
    lost_height: spread(-0.55, 0.2),
    lost_width: spread(-0.2, 0.08),
    print: spread(0.08, 0.03),
    print_scale_sd: 6e-4,
    print_height_sd: 0.08,
    feature: spread(0.06, 0.02),
    read_outside: spread(0.02, 0.006),
    read_inside: spread(0.035, 0.01),
    gross: Gross::Normal { chance: 0.03, sd: 0.3 },
};
