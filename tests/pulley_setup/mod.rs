//! Invented setups for the tests of pulleys.

use std::collections::BTreeMap;

use shrinkrule::correction::{Correction, Coverage, Form, ScaleForm, Spread, SpreadEstimate, Term};
use shrinkrule::kind::Kind;

/// A setup with its own offset and scale for every kind that a pulley needs, mm and ratios.
#[derive(Clone, Copy, Debug)]
pub struct Setup {
    /// Offset and scale less 1 of pins, gaps, bores and heights.
    pub pin: (f64, f64),
    pub gap: (f64, f64),
    pub bore: (f64, f64),
    pub height: (f64, f64),
    /// Small-bore term, mm^2.
    pub small_bore: f64,
}

/// Swells by about 0.08 mm a side and shrinks by 0.4 %.
pub const INVENTED: Setup = Setup {
    pin: (0.14, -0.004),
    gap: (-0.18, -0.004),
    bore: (-0.16, -0.004),
    height: (0.05, -0.001),
    small_bore: -0.3,
};

pub fn correction(setup: &Setup) -> Correction {
    let mut model = vec![(Term::SmallBore, setup.small_bore)];
    let kinds = [
        (Kind::Pin, setup.pin),
        (Kind::Gap, setup.gap),
        (Kind::Bore, setup.bore),
        (Kind::Height, setup.height),
    ];
    for (kind, (offset, scale)) in kinds {
        model.extend([(Term::Offset(kind), offset), (Term::ScaleOf(kind), scale)]);
    }
    let coverage = Coverage { min_mm: 1.0, max_mm: 60.0, features: 6, readings: 18 };
    let size = model.len();
    Correction {
        setup: "invented".to_owned(),
        date: Some("2026-11-25".to_owned()),
        readings_file: "readings.csv".to_owned(),
        readings_sha256: "0123456789abcdef".repeat(4),
        program_version: "0.1.0".to_owned(),
        form: Form { scale: ScaleForm::Own, small_bore: true },
        runners_up: Vec::new(),
        terms: model.iter().map(|(term, _)| *term).collect(),
        coefficients: model.iter().map(|(_, coefficient)| *coefficient).collect(),
        covariance: (0..size).map(|i| (0..size).map(|j| if i == j { 1e-8 } else { 0.0 }).collect()).collect(),
        dof: 20.0,
        prints: 3,
        kinds: kinds.into_iter().map(|(kind, _)| (kind, coverage)).collect::<BTreeMap<_, _>>(),
        spread: Spread {
            print: SpreadEstimate { sd_mm: 0.02, dof: Some(2.0) },
            feature: SpreadEstimate { sd_mm: 0.01, dof: Some(20.0) },
            repeat: None,
            caliper_u_mm: 0.003,
        },
        print_effects: None,
        set_aside: Vec::new(),
        warnings: Vec::new(),
    }
}
