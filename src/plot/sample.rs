//! Made-up fits of many shapes, for the tests of pictures and reports.

use std::collections::BTreeMap;

use crate::correction::fitted::{Fit, FittedPoint};
use crate::correction::{
    Correction, Coverage, Form, RunnerUp, ScaleForm, SetAside, Spread, SpreadEstimate, Term,
};
use crate::kind::{Axis, Kind};

/// The shape of a made-up fit.
#[derive(Clone, Debug)]
pub struct Shape {
    /// How many kinds, from the first of the list.
    pub kinds: usize,
    /// How many points of each kind and print.
    pub points: usize,
    /// How many prints.
    pub prints: u32,
    /// The range of sizes, mm.
    pub sizes: (f64, f64),
    /// Scatter, mm.
    pub sd_mm: f64,
    /// How many points are set aside.
    pub set_aside: usize,
}

impl Default for Shape {
    fn default() -> Self {
        Self { kinds: 7, points: 6, prints: 2, sizes: (3.0, 40.0), sd_mm: 0.025, set_aside: 2 }
    }
}

/// Numbers between -1 and 1 that look random and are always the same; their sum of three is near
/// enough to normal here.
struct Scatter(u64);

impl Scatter {
    fn next(&mut self) -> f64 {
        let mut draw = || {
            self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
        };
        draw() + draw() + draw()
    }
}

const OFFSETS: [f64; 7] = [-0.18, -0.26, 0.11, -0.14, 0.12, 0.0, 0.05];

/// A fit of this shape.
pub fn fit(shape: &Shape) -> Fit {
    let mut scatter = Scatter(7);
    let kinds: Vec<Kind> = Kind::ALL.into_iter().take(shape.kinds).collect();
    let scale = -0.0035;
    let terms: Vec<Term> = kinds.iter().flat_map(|&kind| [Term::Offset(kind), Term::ScaleOf(kind)]).collect();
    let coefficients: Vec<f64> = OFFSETS.iter().take(shape.kinds).flat_map(|&d| [d, scale]).collect();
    let middle = (shape.sizes.0 + shape.sizes.1) / 2.0;
    let reach = ((shape.sizes.1 - shape.sizes.0) / 2.0).max(1.0);
    let mut covariance = vec![vec![0.0; terms.len()]; terms.len()];
    let count = (shape.points * shape.prints as usize) as f64;
    for first in (0..terms.len()).step_by(2) {
        let slope = shape.sd_mm.powi(2) / count / (0.33 * reach * reach);
        covariance[first][first] = shape.sd_mm.powi(2) / count + slope * middle * middle;
        covariance[first][first + 1] = -slope * middle;
        covariance[first + 1][first] = -slope * middle;
        covariance[first + 1][first + 1] = slope;
    }
    let mut points = Vec::new();
    let mut set_aside = Vec::new();
    for copy in 1..=shape.prints {
        let print = 0.6 * shape.sd_mm * scatter.next();
        for (index, &kind) in kinds.iter().enumerate() {
            for number in 0..shape.points {
                let share = number as f64 / (shape.points.max(2) - 1) as f64;
                let nominal_mm = shape.sizes.0 + (shape.sizes.1 - shape.sizes.0) * share;
                let fitted_mm = OFFSETS[index] + scale * nominal_mm;
                let line = points.len() as u64 + 6;
                let aside = number == shape.points / 2 && set_aside.len() < shape.set_aside;
                let slip = if !aside {
                    0.0
                } else if set_aside.len() % 2 == 0 {
                    9.0 * nominal_mm
                } else {
                    0.4
                };
                let residual_mm = slip + shape.sd_mm * scatter.next() + print * kind.swell_sign() / 2.0;
                let measured_mm = nominal_mm + fitted_mm + residual_mm;
                if aside {
                    let reason = "ten times too large: a decimal shift".to_owned();
                    set_aside.push(SetAside { line, reading_mm: measured_mm, reason });
                }
                points.push(FittedPoint {
                    coupon: format!("{kind}-coupon").into(),
                    feature: format!("{kind} {nominal_mm:.1}").into(),
                    kind,
                    axis: if kind.swell_sign() == 0.0 { Axis::X } else { Axis::Round },
                    copy,
                    line,
                    nominal_mm,
                    measured_mm,
                    count: 3,
                    deviation_mm: fitted_mm + residual_mm,
                    fitted_mm,
                    residual_mm,
                    studentised: (!aside).then_some(residual_mm / shape.sd_mm.max(1e-9)),
                    leverage: (!aside).then_some(0.1),
                    set_aside: aside,
                });
            }
        }
    }
    let coverage = Coverage {
        min_mm: shape.sizes.0,
        max_mm: shape.sizes.1,
        features: (shape.points * shape.prints as usize) as u32,
        readings: 3 * (shape.points * shape.prints as usize) as u64,
    };
    let dof = (points.len() as f64 - terms.len() as f64 - set_aside.len() as f64).max(0.0);
    let correction = Correction {
        setup: "Slider printer, 0.4 mm, PETG <black> & profile \"fine\"".to_owned(),
        date: Some("2026-11-25".to_owned()),
        readings_file: "slider-petg.csv".to_owned(),
        readings_sha256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08".to_owned(),
        program_version: "0.1.0".to_owned(),
        form: Form { scale: ScaleForm::Own, small_bore: false },
        runners_up: vec![RunnerUp {
            form: Form { scale: ScaleForm::Shared, small_bore: false },
            aicc_above_best: 6.3,
        }],
        terms,
        coefficients,
        covariance,
        dof,
        prints: shape.prints,
        kinds: kinds.iter().map(|&kind| (kind, coverage)).collect::<BTreeMap<_, _>>(),
        spread: Spread {
            print: SpreadEstimate {
                sd_mm: 0.6 * shape.sd_mm,
                dof: (shape.prints > 1).then(|| f64::from(shape.prints) - 1.0),
            },
            feature: SpreadEstimate { sd_mm: shape.sd_mm, dof: Some(dof) },
            repeat: Some(SpreadEstimate { sd_mm: 0.012, dof: Some(2.0 * points.len() as f64) }),
            caliper_u_mm: 0.0115,
        },
        print_effects: None,
        set_aside,
        warnings: vec!["spans were measured along x only, so y is taken to shrink alike".to_owned()],
    };
    Fit {
        correction,
        points,
        r_squared: Some(0.982),
        residual_sd_mm: shape.sd_mm,
        first_layer: None,
        criticism: Vec::new(),
        leverage: Vec::new(),
    }
}
