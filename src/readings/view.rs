//! The readings of one setup as a fit looks at them, unfolded or still folded in the compact table.
//!
//! A fit by least squares looks at sizes and readings a few times and names a feature only where it sets
//! one aside, so a file of a thousand setups is fitted without unfolding any.

use crate::kind::{Axis, Kind};

use super::table::{Definition, SetupTable};
use super::{FeatureReadings, Repeats, SetupReadings};

/// The readings of one setup, borrowed.
#[derive(Clone, Copy)]
pub(crate) struct SetupView<'a> {
    /// The setup's name.
    pub(crate) name: &'a str,
    kept: Kept<'a>,
}

#[derive(Clone, Copy)]
enum Kept<'a> {
    Unfolded(&'a [FeatureReadings]),
    Folded(&'a SetupTable, &'a [Definition]),
}

/// What one feature of one print is: [`FeatureReadings`] with borrowed names and without its readings.
#[derive(Clone, Copy)]
pub(crate) struct FeatureView<'a> {
    pub(crate) coupon: &'a str,
    pub(crate) feature: &'a str,
    pub(crate) kind: Kind,
    pub(crate) axis: Axis,
    pub(crate) nominal_mm: f64,
    pub(crate) copy: u32,
}

impl<'a> From<&'a SetupReadings> for SetupView<'a> {
    fn from(setup: &'a SetupReadings) -> Self {
        Self { name: &setup.setup, kept: Kept::Unfolded(&setup.features) }
    }
}

impl<'a> SetupView<'a> {
    pub(super) fn folded(name: &'a str, table: &'a SetupTable, definitions: &'a [Definition]) -> Self {
        Self { name, kept: Kept::Folded(table, definitions) }
    }

    /// The same unfolded.
    pub(crate) fn unfold(&self) -> SetupReadings {
        match self.kept {
            Kept::Unfolded(features) => {
                SetupReadings { setup: self.name.to_owned(), features: features.to_vec() }
            }
            Kept::Folded(table, definitions) => table.expand(self.name, definitions),
        }
    }

    /// How many features, counted per print.
    pub(crate) fn len(&self) -> usize {
        match self.kept {
            Kept::Unfolded(features) => features.len(),
            Kept::Folded(table, _) => table.entries.len(),
        }
    }

    /// A feature by its number from 0, in file order.
    #[inline]
    pub(crate) fn feature(&self, number: usize) -> FeatureView<'a> {
        match self.kept {
            Kept::Unfolded(features) => {
                let known = &features[number];
                FeatureView {
                    coupon: &known.coupon,
                    feature: &known.feature,
                    kind: known.kind,
                    axis: known.axis,
                    nominal_mm: known.nominal_mm,
                    copy: known.copy,
                }
            }
            Kept::Folded(table, definitions) => {
                let entry = &table.entries[number];
                let definition = &definitions[entry.definition as usize];
                FeatureView {
                    coupon: &definition.coupon,
                    feature: &definition.feature,
                    kind: definition.kind,
                    axis: definition.axis,
                    nominal_mm: definition.nominal_mm,
                    copy: entry.copy,
                }
            }
        }
    }

    /// The readings of a feature by its number.
    #[inline]
    pub(crate) fn repeats(&self, number: usize) -> Repeats {
        match self.kept {
            Kept::Unfolded(features) => features[number].repeats,
            Kept::Folded(table, _) => table.repeats(&table.entries[number]),
        }
    }

    /// All features with their numbers, in file order.
    #[inline]
    pub(crate) fn features(self) -> impl Iterator<Item = (usize, FeatureView<'a>)> {
        (0..self.len()).map(move |number| (number, self.feature(number)))
    }
}
