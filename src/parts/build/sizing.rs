//! What a setup makes of sizes: the size to draw for each kind, and what it is expected to print as.
//!
//! A kind that was not measured is stood in for: a round outside by a flat one and the other way round, a
//! hole across the layers by an upright one, the place of a hole by the shrink of the outside. Heights that
//! were not measured are drawn as wanted. Bores and gaps have no stand-in.

use crate::belt::groove::Groove;
use crate::correction::Correction;
use crate::correction::apply::{CannotApply, Prediction};
use crate::kind::{Axis, Kind};
use crate::parts::pulley_estimate::Estimate;
use crate::parts::pulley_law::{WallLaw, exact_mm, tip_kind};
use crate::stats::distribution::t_quantile;

/// A correction applied to features; without one everything is drawn as wanted.
#[derive(Clone, Copy, Debug)]
pub struct Sizing<'a> {
    correction: Option<&'a Correction>,
}

/// A size that a caliper finds, as a mixture of sizes that the setup has laws for: the distance from the
/// far side of a bore to a flat is half the bore and half of a gap about the axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Sized {
    /// What it is, in words.
    pub name: String,
    /// The kind that it is nearest to.
    pub kind: Kind,
    /// Kind, size in mm and share of each part.
    parts: Vec<(Kind, f64, f64)>,
}

impl Sized {
    /// A size of one kind.
    pub fn new(name: impl Into<String>, kind: Kind, size_mm: f64) -> Self {
        Self { name: name.into(), kind, parts: vec![(kind, size_mm, 1.0)] }
    }

    /// From the far side of a bore to a flat at a distance from the axis.
    pub fn across_flat(name: impl Into<String>, bore_mm: f64, flat_mm: f64) -> Self {
        Self::across_flat_of(name, Kind::Bore, bore_mm, flat_mm)
    }

    /// The same of a bore of this kind, such as one that lies across the layers.
    pub fn across_flat_of(name: impl Into<String>, round: Kind, bore_mm: f64, flat_mm: f64) -> Self {
        let parts = vec![(round, bore_mm, 0.5), (Kind::Gap, 2.0 * flat_mm, 0.5)];
        Self { name: name.into(), kind: Kind::Gap, parts }
    }

    /// The size, mm.
    pub fn size_mm(&self) -> f64 {
        self.parts.iter().map(|(_, size, share)| size * share).sum()
    }
}

/// A size of a part: wanted, drawn, and what is expected.
#[derive(Clone, Debug, PartialEq)]
pub struct Dimension {
    /// What it is, in words.
    pub name: String,
    /// How a printer errs on it.
    pub kind: Kind,
    /// The printed size that is wanted, mm.
    pub wanted_mm: f64,
    /// The size to draw, mm.
    pub drawn_mm: f64,
    /// What the drawing is expected to print as; `None` without a correction.
    pub expected: Option<Estimate>,
    /// Whether it is of its kind alone; one between two kinds is predicted by neither.
    pub is_one_kind: bool,
}

impl<'a> Sizing<'a> {
    /// By this correction; as wanted without one.
    pub fn new(correction: Option<&'a Correction>) -> Self {
        Self { correction }
    }

    /// The kind whose law is used for this one; `None` where it is drawn as wanted.
    pub fn law_kind(&self, kind: Kind) -> Result<Option<Kind>, CannotApply> {
        let Some(correction) = self.correction else { return Ok(None) };
        let has = |kind: &Kind| correction.kinds.contains_key(kind);
        let candidates: &[Kind] = match kind {
            Kind::Pin => return tip_kind(correction).map(Some),
            Kind::Outer => &[Kind::Outer, Kind::Pin],
            Kind::HorizontalBore => &[Kind::HorizontalBore, Kind::Bore],
            Kind::Span => &[Kind::Span, Kind::Pin, Kind::Outer],
            Kind::Height if !has(&kind) => return Ok(None),
            Kind::Bore | Kind::Gap | Kind::Height => return Ok(Some(kind)),
        };
        // None at all: the error names the kind that was asked for.
        Ok(Some(candidates.iter().copied().find(has).unwrap_or(kind)))
    }

    /// The size to draw for a printed size of this kind, mm.
    pub fn drawn_mm(&self, kind: Kind, wanted_mm: f64) -> Result<f64, CannotApply> {
        let (Some(correction), Some(law)) = (self.correction, self.law_kind(kind)?) else {
            return Ok(wanted_mm);
        };
        if kind == Kind::Height && wanted_mm <= 0.0 {
            return Ok(wanted_mm);
        }
        if kind == Kind::Span && law != Kind::Span {
            return Ok(wanted_mm / scale(correction, law));
        }
        exact_mm(correction, law, wanted_mm)
    }

    /// The distance from the axis to draw for a flat that is wanted at this distance, plastic beyond it, mm.
    pub fn drawn_flat_mm(&self, wanted_mm: f64) -> Result<f64, CannotApply> {
        Ok(self.drawn_mm(Kind::Gap, 2.0 * wanted_mm)? / 2.0)
    }

    /// The teeth to draw.
    pub fn drawn_teeth(&self, wanted: &Groove) -> Result<Groove, CannotApply> {
        match self.correction {
            Some(correction) => Ok(WallLaw::of(correction, wanted)?.drawn(wanted)),
            None => Ok(*wanted),
        }
    }

    /// The table of sizes, from the same sizes as wanted and as drawn.
    pub fn dimensions(&self, wanted: &[Sized], drawn: &[Sized]) -> Result<Vec<Dimension>, CannotApply> {
        let row = |(wanted, drawn): (&Sized, &Sized)| {
            Ok(Dimension {
                name: wanted.name.clone(),
                kind: wanted.kind,
                wanted_mm: wanted.size_mm(),
                drawn_mm: drawn.size_mm(),
                is_one_kind: wanted.parts.len() == 1,
                expected: self.expected(drawn)?,
            })
        };
        wanted.iter().zip(drawn).map(row).collect()
    }

    /// What a drawn size is expected to print as.
    fn expected(&self, drawn: &Sized) -> Result<Option<Estimate>, CannotApply> {
        if self.correction.is_none() {
            return Ok(None);
        }
        Ok(Some(match self.prediction(drawn)? {
            Some(Prediction { expected_mm, sd_mm, dof, .. }) => {
                Estimate { expected_mm, half95_mm: Some(t_quantile(0.975, dof) * sd_mm) }
            }
            None => Estimate { expected_mm: drawn.size_mm(), half95_mm: None },
        }))
    }

    /// What a drawn size will measure on a new print, the parts' uncertainties added as if independent;
    /// `None` where a part of it is drawn as wanted.
    pub fn prediction(&self, drawn: &Sized) -> Result<Option<Prediction>, CannotApply> {
        let Some(correction) = self.correction else { return Ok(None) };
        let (mut expected_mm, mut variance) = (0.0, 0.0);
        let (mut dof, mut beyond_mm) = (f64::INFINITY, 0.0_f64);
        for (kind, size, share) in &drawn.parts {
            let Some(part) = self.predicted(correction, *kind, *size)? else { return Ok(None) };
            expected_mm += share * part.expected_mm;
            variance += (share * part.sd_mm).powi(2);
            dof = dof.min(part.dof);
            beyond_mm = beyond_mm.max(part.beyond_mm);
        }
        Ok(Some(Prediction { expected_mm, sd_mm: variance.sqrt(), dof, beyond_mm }))
    }

    fn predicted(
        &self,
        correction: &Correction,
        kind: Kind,
        drawn_mm: f64,
    ) -> Result<Option<Prediction>, CannotApply> {
        match self.law_kind(kind)? {
            // The outside's swell is no part of a distance between centres.
            Some(law) if kind == Kind::Span && law != Kind::Span => {
                let prediction = correction.predict(law, Axis::Round, drawn_mm)?;
                Ok(Some(Prediction { expected_mm: drawn_mm * scale(correction, law), ..prediction }))
            }
            Some(law) => correction.predict(law, law.unnamed_axis(), drawn_mm).map(Some),
            None => Ok(None),
        }
    }

    /// What stands in for kinds that were not measured, in words.
    pub fn stand_ins(&self, used: &[Sized]) -> Result<Vec<String>, CannotApply> {
        let mut said = Vec::new();
        for kind in Kind::ALL {
            if !used.iter().any(|sized| sized.parts.iter().any(|part| part.0 == kind)) {
                continue;
            }
            let text = match self.law_kind(kind)? {
                Some(law) if law != kind && kind == Kind::Span => {
                    format!("no span was measured: places of holes are drawn by the shrink of {}", law.plural())
                }
                Some(law) if law != kind && kind == Kind::Pin => {
                    "no pin was measured: tips, hubs and flanges are corrected as outside widths, which are flat"
                        .to_owned()
                }
                Some(law) if law != kind => {
                    format!("no {} was measured: it is corrected as {}", kind.name().replace('_', " "), law.plural())
                }
                None if self.correction.is_some() => {
                    "no height was measured: heights are drawn as wanted".to_owned()
                }
                _ => continue,
            };
            said.push(text);
        }
        Ok(said)
    }
}

/// Printed over drawn, of an outside.
fn scale(correction: &Correction, outside: Kind) -> f64 {
    // A unit of size apart, since the terms of an outside are constant or proportional.
    let deviation = |mm| correction.deviation_mm(outside, Axis::Round, mm);
    1.0 + deviation(11.0) - deviation(10.0)
}
