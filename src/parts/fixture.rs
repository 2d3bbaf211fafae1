//! A known printer for the tests of this folder.

use std::collections::BTreeMap;

use crate::correction::{Correction, Coverage, Form, ScaleForm, Spread, SpreadEstimate, Term};
use crate::kind::Kind;

/// Bores come out 0.2 mm small, pins 0.12 mm large, gaps 0.16 mm small; all shrink by 0.4 %. Heights and
/// horizontal bores were not measured.
pub(super) fn known() -> Correction {
    let coverage = Coverage { min_mm: 3.0, max_mm: 30.0, features: 6, readings: 18 };
    let measured = [Kind::Bore, Kind::Pin, Kind::Gap, Kind::Outer, Kind::Span];
    Correction {
        setup: "known".to_owned(),
        date: None,
        readings_file: String::new(),
        readings_sha256: String::new(),
        program_version: String::new(),
        form: Form { scale: ScaleForm::Shared, small_bore: false },
        runners_up: Vec::new(),
        terms: vec![
            Term::Offset(Kind::Bore),
            Term::Offset(Kind::Pin),
            Term::Offset(Kind::Gap),
            Term::Offset(Kind::Outer),
            Term::Scale,
        ],
        coefficients: vec![-0.2, 0.12, -0.16, 0.15, -0.004],
        covariance: vec![vec![0.0; 5]; 5],
        dof: 20.0,
        prints: 3,
        kinds: BTreeMap::from(measured.map(|kind| (kind, coverage))),
        spread: Spread {
            print: SpreadEstimate { sd_mm: 0.02, dof: Some(4.0) },
            feature: SpreadEstimate { sd_mm: 0.02, dof: Some(20.0) },
            repeat: None,
            caliper_u_mm: 0.01,
        },
        set_aside: Vec::new(),
        warnings: Vec::new(),
    }
}
