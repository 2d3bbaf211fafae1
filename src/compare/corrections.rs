//! How each material prints, from the readings before heat: the same pieces are a calibration, so the choice of
//! a material and the sizes to draw in it come from the same prints.

use serde::Serialize;

use crate::correction::Correction;
use crate::correction::fit::{FitOptions, Method, fit_all};
use crate::kind::Kind;
use crate::readings::CheckedReadings;

use super::pairing::Study;

/// How one kind of feature comes out in one material.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PrintedKind {
    /// The kind.
    pub kind: Kind,
    /// Constant part, mm.
    pub offset_mm: f64,
    /// Its standard error, mm.
    pub offset_se_mm: f64,
    /// Printed over drawn.
    pub scale: f64,
    /// Its standard error; `None` where the model gives it none.
    pub scale_se: Option<f64>,
    /// A size in the middle of those measured, mm.
    pub at_mm: f64,
    /// Mean deviation there, mm.
    pub deviation_mm: f64,
    /// Half the width of its 95 % interval, mm.
    pub half_width_mm: f64,
}

/// The correction of one material's prints before heat.
#[derive(Clone, Debug, PartialEq)]
pub struct Printed {
    /// The setup's name, which holds the material's.
    pub setup: String,
    /// What the coefficients say, kind by kind.
    pub kinds: Vec<PrintedKind>,
    /// The correction, or in words why there is none.
    pub correction: Result<Correction, String>,
}

/// The correction of every setup of the files, in their order.
pub fn printed(files: &[CheckedReadings], study: &Study) -> Vec<Printed> {
    let mut all = Vec::new();
    let options = FitOptions { method: Method::Structured, ..FitOptions::default() };
    for file in files {
        let names: Vec<String> = file.setups().map(|setup| setup.setup).collect();
        for (setup, fit) in names.into_iter().zip(fit_all(file, &options)) {
            let correction = fit.map(|fit| fit.correction).map_err(|error| error.to_string());
            let kinds = correction.as_ref().map(kinds).unwrap_or_default();
            all.push(Printed { setup, kinds, correction });
        }
    }
    // Whatever the order of the rows, as the materials are listed.
    let place = |printed: &Printed| {
        study.materials.iter().position(|material| {
            printed.setup == material.name || printed.setup.ends_with(&format!(" {}", material.name))
        })
    };
    all.sort_by_key(|printed| place(printed).unwrap_or(usize::MAX));
    all
}

fn kinds(correction: &Correction) -> Vec<PrintedKind> {
    let of = |kind: &Kind| {
        let summary = correction.summary(*kind)?;
        Some(PrintedKind {
            kind: *kind,
            offset_mm: summary.offset_mm,
            offset_se_mm: summary.offset_se_mm,
            scale: summary.scale,
            scale_se: summary.scale_se,
            at_mm: summary.at_mm,
            deviation_mm: summary.deviation_mm,
            half_width_mm: summary.half_width_mm,
        })
    };
    correction.kinds.keys().filter_map(of).collect()
}
