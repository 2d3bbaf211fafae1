//! The structured model as rows of numbers: which terms a setup's features call for, and what each print
//! may do to them.
//!
//! Heights share nothing with the layer plane but the feature-to-feature spread, so the model is two
//! parts: the plane (random swell and scale of each print) and the heights (a random constant of each).

use std::collections::BTreeSet;

use crate::correction::Term;
use crate::kind::{Axis, Kind};
use crate::readings::FeatureReadings;

/// Effects that prints have in the plane; in height they have one.
pub const MOST_EFFECTS: usize = 2;

/// One part of the model: its terms and its rows.
#[derive(Clone, Debug)]
pub struct Part {
    /// The terms.
    pub terms: Vec<Term>,
    /// The effects that each print has: what the value of each is over that of the term in its place.
    pub effects: &'static [f64],
    /// Which features it holds, as indices into the readings.
    pub features: Vec<usize>,
    /// Values of the terms, row after row.
    pub x: Vec<f64>,
    /// Which print, from 0, for each row.
    pub print: Vec<usize>,
    /// Heights, or the plane.
    pub is_height: bool,
}

/// The parts that have features, and how many prints there are.
pub fn design(features: &[FeatureReadings]) -> (Vec<Part>, usize) {
    let copies: BTreeSet<u32> = features.iter().map(|feature| feature.copy).collect();
    let copies: Vec<u32> = copies.into_iter().collect();
    let part = |is_height: bool| {
        let mut chosen: Vec<usize> = Vec::with_capacity(features.len());
        chosen.extend((0..features.len()).filter(|i| (features[*i].kind == Kind::Height) == is_height));
        let terms = terms(chosen.iter().map(|i| &features[*i]), is_height);
        // Swell of a print is told as what it does to a size, half of a diameter's two walls each.
        let effects: &[f64] = if is_height { &[1.0] } else { &[0.5, 1.0] };
        let x = Vec::with_capacity(chosen.len() * terms.len());
        let print = Vec::with_capacity(chosen.len());
        let mut part = Part { terms, effects, features: chosen, x, print, is_height };
        for index in &part.features {
            let FeatureReadings { kind, axis, nominal_mm, copy, .. } = features[*index];
            part.x.extend(part.terms.iter().map(|term| term.value(kind, axis, nominal_mm)));
            // Every copy is in the list that was made of all of them.
            part.print.push(copies.binary_search(&copy).unwrap_or(0));
        }
        part
    };
    let parts = [part(false), part(true)].into_iter().filter(|part| !part.features.is_empty());
    (parts.collect(), copies.len())
}

fn terms<'a>(features: impl Iterator<Item = &'a FeatureReadings> + Clone, is_height: bool) -> Vec<Term> {
    if is_height {
        return vec![Term::Offset(Kind::Height), Term::ScaleZ];
    }
    let has_kind = |kind: Kind| features.clone().any(|feature| feature.kind == kind);
    let has_axis = |axis: Axis| features.clone().any(|feature| feature.axis == axis);
    let mut terms = vec![Term::Swell, Term::ScaleInPlane];
    if has_axis(Axis::X) || has_axis(Axis::Y) {
        terms.push(Term::XyDifference);
    }
    if has_axis(Axis::D45) || has_axis(Axis::D135) {
        terms.push(Term::Skew);
    }
    if has_kind(Kind::Bore) {
        terms.push(Term::SmallBore);
    }
    if features.clone().any(|feature| feature.kind == Kind::HorizontalBore && feature.axis == Axis::Z) {
        terms.push(Term::Sag);
    }
    terms.extend(Kind::ALL.into_iter().filter(|kind| has_kind(*kind)).map(Term::Offset));
    terms
}

impl Part {
    /// Values of the terms for row `row`.
    pub fn x(&self, row: usize) -> &[f64] {
        &self.x[row * self.terms.len()..(row + 1) * self.terms.len()]
    }

    /// Values of the print effects for row `row`, as many as there are.
    pub fn z(&self, row: usize) -> [f64; MOST_EFFECTS] {
        let x = self.x(row);
        std::array::from_fn(|i| self.effects.get(i).map_or(0.0, |factor| factor * x[i]))
    }
}
