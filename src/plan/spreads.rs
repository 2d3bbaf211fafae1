//! How far prints, features and readings are expected to spread: of printers in general, or as an earlier
//! correction has it.

use std::str::FromStr;

use serde::Serialize;

use crate::correction::Correction;
use crate::correction::structured::priors;

/// Standard deviations of what makes prints and readings differ.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Spreads {
    /// Swell from print to print, mm per side.
    pub print_swell_sd_mm: f64,
    /// Scale in the layer plane from print to print.
    pub print_scale_sd: f64,
    /// All heights from print to print, mm.
    pub print_height_sd_mm: f64,
    /// Feature to feature within a print, mm.
    pub feature_sd_mm: f64,
    /// One reading with the outside jaws or the depth rod, mm.
    pub outside_reading_sd_mm: f64,
    /// One reading with the inside jaws, mm.
    pub inside_reading_sd_mm: f64,
    /// The caliper itself, mm.
    pub caliper_u_mm: f64,
}

/// How printers of one class spread.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Class {
    /// Well kept and tuned.
    Good,
    /// As most are.
    #[default]
    Typical,
    /// Worn, or badly set.
    Bad,
}

/// A word that names no class.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is no class of printers; expected good, typical or bad")]
pub struct UnknownClass {
    /// The offending text.
    pub text: String,
}

impl FromStr for Class {
    type Err = UnknownClass;

    fn from_str(text: &str) -> Result<Self, UnknownClass> {
        match text.trim() {
            "good" => Ok(Self::Good),
            "typical" => Ok(Self::Typical),
            "bad" => Ok(Self::Bad),
            _ => Err(UnknownClass { text: text.to_owned() }),
        }
    }
}

impl Class {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Typical => "typical",
            Self::Bad => "bad",
        }
    }

    /// Its spreads: the table that [`priors`] quotes, with readings of 0.006, 0.010 and 0.020 mm outside
    /// and nearly twice that inside, on a caliper that shows 0.01 mm.
    pub fn spreads(self) -> Spreads {
        let pick = |values: [f64; 3]| values[self as usize];
        Spreads {
            print_swell_sd_mm: pick([0.005, 0.015, 0.040]),
            print_scale_sd: pick([1e-4, 2.5e-4, 6e-4]),
            print_height_sd_mm: pick([0.015, 0.04, 0.08]),
            feature_sd_mm: pick([0.010, 0.025, 0.060]),
            outside_reading_sd_mm: pick([0.006, 0.010, 0.020]),
            inside_reading_sd_mm: pick([0.010, 0.018, 0.035]),
            caliper_u_mm: 0.01 / 12f64.sqrt(),
        }
    }
}

impl Spreads {
    /// As an earlier correction has them; where it was fitted by least squares, all of the print-to-print
    /// spread is taken for swell, with the scale and the heights that usually go with it.
    pub fn of(correction: &Correction) -> Self {
        let spread = &correction.spread;
        let reading =
            spread.repeat.map_or(Class::Typical.spreads().inside_reading_sd_mm, |repeat| repeat.sd_mm);
        let (swell, scale, height) = match correction.print_effects {
            Some(effects) => (effects.swell_sd_mm, effects.shrink_sd, effects.height_sd_mm),
            None => (spread.print.sd_mm / 2.0, 0.0, 0.0),
        };
        let usually = |known: f64, usual: f64| if known > 0.0 { known } else { usual };
        Self {
            print_swell_sd_mm: swell,
            print_scale_sd: usually(scale, 2.0 * swell * priors::SHRINK_OVER_PRINT_PER_MM.median),
            print_height_sd_mm: usually(height, priors::HEIGHT_OVER_FEATURE.median * spread.feature.sd_mm),
            feature_sd_mm: spread.feature.sd_mm.max(0.001),
            outside_reading_sd_mm: reading,
            inside_reading_sd_mm: reading,
            caliper_u_mm: spread.caliper_u_mm,
        }
    }
}
