//! A coupon as layers of outlines, from which both its solid and its drawing are made.

use super::feature::{Feature, Jaws, Tool};
use crate::geometry::outline::{Outline, Point, segments_for};

/// One layer; the outline at its top differs from the one at its bottom where it is chamfered.
#[derive(Clone, Debug)]
pub(super) struct Layer {
    pub low: f64,
    pub high: f64,
    pub bottom: Outline,
    pub top: Outline,
}

/// How the layers lie on the bed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stance {
    /// Stacked upwards: outlines are seen from above.
    Upright,
    /// Stacked from back to front: outlines are seen from the front, x to the right and z up.
    OnEdge,
}

/// Layers stacked without a break, and what is measured on them.
#[derive(Clone, Debug)]
pub(super) struct Body {
    pub stance: Stance,
    pub layers: Vec<Layer>,
    /// The outline of the words, in the plane of the outlines.
    pub letters: Outline,
    pub features: Vec<Feature>,
}

impl Body {
    pub(super) fn new(stance: Stance, letters: Outline) -> Self {
        Self { stance, layers: Vec::new(), letters, features: Vec::new() }
    }

    /// How far the layers reach so far.
    pub(super) fn reach(&self) -> f64 {
        self.layers.last().map_or(0.0, |layer| layer.high)
    }

    /// The same outline up to `high`.
    pub(super) fn straight(self, high: f64, outline: Outline) -> Self {
        self.tapered(high, outline.clone(), outline)
    }

    /// From one outline to another up to `high`: loop by loop and point by point.
    pub(super) fn tapered(mut self, high: f64, bottom: Outline, top: Outline) -> Self {
        self.layers.push(Layer { low: self.reach(), high, bottom, top });
        self
    }

    /// Adds a feature.
    pub(super) fn measured(&mut self, feature: Feature) {
        self.features.push(feature);
    }

    /// The body turned about z, counter-clockwise; the features' axes are the caller's business.
    pub(super) fn turned(mut self, angle_rad: f64) -> Self {
        let turn = |[x, y]: Point| {
            let turned = Outline { loops: vec![vec![[x, y]]] }.rotated(angle_rad);
            turned.loops[0][0]
        };
        for layer in &mut self.layers {
            layer.bottom = std::mem::take(&mut layer.bottom).rotated(angle_rad);
            layer.top = std::mem::take(&mut layer.top).rotated(angle_rad);
        }
        self.letters = self.letters.rotated(angle_rad);
        for feature in &mut self.features {
            for place in [&mut feature.jaws.from, &mut feature.jaws.to] {
                let [x, y] = turn([place[0], place[1]]);
                (place[0], place[1]) = (x, y);
            }
            feature.label_at = turn(feature.label_at);
        }
        self
    }
}

/// A circle, wider by `c` all round; circles that differ in `c` alone have corner beside corner.
///
/// Twice as many corners as a part needs: jaws touch corners, and a corner stands out of the true circle
/// by less than 0.001 mm this way.
pub(super) fn circle(center: Point, diameter: f64, c: f64) -> Outline {
    Outline::circle_with(center, diameter + 2.0 * c, 2 * segments_for(diameter))
}

/// Jaws or rod between two places along x, at one y and z.
pub(super) fn along_x(tool: Tool, from: f64, to: f64, y: f64, z: f64) -> Jaws {
    Jaws { tool, from: [from, y, z], to: [to, y, z] }
}

/// Jaws or rod between two places along y, at one x and z.
pub(super) fn along_y(tool: Tool, from: f64, to: f64, x: f64, z: f64) -> Jaws {
    Jaws { tool, from: [x, from, z], to: [x, to, z] }
}

/// Jaws or rod between two places along z, at one x and y.
pub(super) fn along_z(tool: Tool, from: f64, to: f64, x: f64, y: f64) -> Jaws {
    Jaws { tool, from: [x, y, from], to: [x, y, to] }
}
