//! Axes: a range that holds the data and round numbers to mark it with, as a coordinate of plotters.

use std::ops::Range;

use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};

use super::numbers;

/// Largest over smallest size from which sizes may be shown on a logarithmic axis.
const WIDE_RANGE: f64 = 12.0; // by feel: three marks or more of 1, 2, 5 fit in

/// They are when half of them lie in less than this share of the range: small bores beside a long span
/// would fall on one another.
const CROWDED: f64 = 0.3; // by feel

/// One mark of an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Tick {
    /// The value it marks.
    pub at: f64,
    /// What it says.
    pub label: String,
}

/// A range of values and its marks.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// The least value shown.
    pub low: f64,
    /// The greatest.
    pub high: f64,
    /// The marks, rising.
    pub ticks: Vec<Tick>,
    logarithmic: bool,
}

impl Axis {
    /// From `low` to `high` and a little beyond, with at most `most` marks; not narrower than `least`.
    pub fn linear(low: f64, high: f64, least: f64, most: usize) -> Self {
        let middle = (low + high) / 2.0;
        let half = ((high - low) / 2.0).max(least / 2.0) * 1.06;
        let (low, high) = (middle - half, middle + half);
        Self { low, high, ticks: round_ticks(low, high, most), logarithmic: false }
    }

    /// Whole numbers from 1 to `count`, half a step of room at each end, at most `most` of them marked.
    pub fn counted(count: u32, most: usize) -> Self {
        let steps = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];
        let step = steps.into_iter().find(|step| (count / step) as usize <= most).unwrap_or(count.max(1));
        let ticks = (1..=count / step)
            .map(|multiple| multiple * step)
            .map(|number| Tick { at: f64::from(number), label: number.to_string() })
            .collect();
        Self { low: 0.5, high: f64::from(count) + 0.5, ticks, logarithmic: false }
    }

    /// One place after another, from 1, each with its name and half a step of room at both ends.
    pub fn named(names: impl IntoIterator<Item = String>) -> Self {
        let ticks: Vec<Tick> =
            names.into_iter().zip(1..).map(|(label, at)| Tick { at: f64::from(at), label }).collect();
        Self { low: 0.5, high: ticks.len() as f64 + 0.5, ticks, logarithmic: false }
    }

    /// Holds these sizes; logarithmic when it `may_be` and they crowd at the low end of a wide range.
    pub fn sizes(sizes: impl Iterator<Item = f64>, may_be: bool, most: usize) -> Self {
        let mut sizes: Vec<f64> = sizes.filter(|size| size.is_finite()).collect();
        sizes.sort_by(f64::total_cmp);
        let middle = sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
        let (low, high) = span(sizes.into_iter()).unwrap_or((0.0, 1.0));
        let crowded = middle < low + CROWDED * (high - low);
        if !(may_be && crowded && low > 0.0 && high > WIDE_RANGE * low) {
            return Self::linear(low, high, (0.2 * low.abs()).max(1.0), most);
        }
        let room = (high / low).powf(0.04);
        let (low, high) = (low / room, high * room);
        let marks = |steps: &[f64]| -> Vec<Tick> {
            let decades = low.log10().floor() as i32..=high.log10().ceil() as i32;
            decades
                .flat_map(|decade| steps.iter().map(move |step| step * 10.0_f64.powi(decade)))
                .map(|value| Tick { at: value, label: numbers::size(value) })
                .filter(|tick| (low..=high).contains(&tick.at))
                .collect()
        };
        let mut ticks = marks(&[1.0, 2.0, 5.0]);
        if ticks.len() > most {
            ticks = marks(&[1.0]);
        } else if ticks.len() < 5 {
            ticks = marks(&[1.0, 2.0, 3.0, 5.0, 7.0]);
        }
        Self { low, high, ticks, logarithmic: true }
    }

    /// The value, or the nearer end of the axis when it lies outside.
    pub fn held(&self, value: f64) -> f64 {
        // NaN passes a clamp; it belongs nowhere, and the low end is at least on the sheet.
        if value.is_nan() { self.low } else { value.clamp(self.low, self.high) }
    }

    /// Whether the axis shows this value where it is.
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// How far along the axis a value lies: 0 at the low end, 1 at the high one.
    fn share(&self, value: f64) -> f64 {
        if self.logarithmic {
            (value / self.low).ln() / (self.high / self.low).ln()
        } else {
            (value - self.low) / (self.high - self.low)
        }
    }
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        limit.0 + (f64::from(limit.1 - limit.0) * self.share(self.held(*value))).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        if hint.weight().allow_light_points() {
            return Vec::new();
        }
        self.ticks.iter().map(|tick| tick.at).collect()
    }

    fn range(&self) -> Range<f64> {
        self.low..self.high
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        self.ticks.iter().find(|tick| tick.at == *value).map(|tick| tick.label.clone()).unwrap_or_default()
    }
}

/// The least and the greatest of the finite values.
pub fn span(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|value| value.is_finite()).fold(None, |span, value| match span {
        None => Some((value, value)),
        Some((low, high)) => Some((low.min(value), high.max(value))),
    })
}

/// Multiples of 1, 2 or 5 times a power of ten within the range, at most `most` of them.
fn round_ticks(low: f64, high: f64, most: usize) -> Vec<Tick> {
    let rough = (high - low) / most.max(1) as f64;
    let exponent = rough.log10().floor();
    let step = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0]
        .iter()
        .map(|digit| digit * 10.0_f64.powf(exponent))
        .find(|step| (high / step).floor() - (low / step).ceil() < most as f64)
        .unwrap_or(rough);
    let decimals = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
    let (first, last) = ((low / step).ceil() as i64, (high / step).floor() as i64);
    (first..=last)
        .map(|multiple| multiple as f64 * step)
        .map(|at| Tick { at, label: numbers::plain(at, decimals) })
        .filter(|tick| (low..=high).contains(&tick.at))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().map(|tick| tick.label.as_str()).collect()
    }

    #[test]
    fn marks_are_round_numbers_with_the_decimals_they_need() {
        assert_eq!(labels(&Axis::linear(-0.23, 0.11, 0.0, 6)), ["−0.2", "−0.1", "0.0", "0.1"]);
        assert_eq!(labels(&Axis::linear(3.0, 20.0, 0.0, 5)), ["5", "10", "15", "20"]);
    }

    #[test]
    fn there_are_never_more_marks_than_asked_for_and_at_least_two() {
        for most in 3..9 {
            for high in [0.013, 0.1, 0.77, 1.0, 3.1, 9.9, 47.0, 200.0, 12345.0] {
                for low in [-1000.0, -0.3, 0.0, 0.9 * high] {
                    let count = Axis::linear(low, high, 0.0, most).ticks.len();
                    assert!((1..=most).contains(&count), "{low} {high} {most}: {count}");
                }
            }
        }
    }

    #[test]
    fn a_wide_range_is_logarithmic_when_small_sizes_crowd_in_it() {
        let wide = Axis::sizes([1.0, 8.0, 200.0].into_iter(), true, 10);
        assert_eq!(labels(&wide), ["1", "2", "5", "10", "20", "50", "100", "200"]);
        let left_half = wide.share((wide.low * wide.high).sqrt());
        assert!((left_half - 0.5).abs() < 1e-12);
        for linear in [[3.0, 4.0, 20.0], [1.0, 100.0, 200.0]] {
            let axis = Axis::sizes(linear.into_iter(), true, 10);
            assert!((axis.share((axis.low + axis.high) / 2.0) - 0.5).abs() < 1e-12, "{linear:?}");
        }
    }

    #[test]
    fn one_size_alone_still_makes_an_axis() {
        let axis = Axis::sizes([8.0].into_iter(), true, 5);
        assert!(axis.low < 7.3 && axis.high > 8.7 && axis.ticks.len() > 1, "{axis:?}");
        assert!(!Axis::sizes(std::iter::empty(), true, 5).ticks.is_empty());
    }

    #[test]
    fn what_lies_outside_is_brought_to_the_end() {
        let axis = Axis::linear(0.0, 1.0, 0.0, 5);
        assert_eq!(axis.held(45.0), axis.high);
        assert_eq!(axis.held(f64::NAN), axis.low);
        assert!(axis.holds(0.5) && !axis.holds(45.0) && !axis.holds(f64::NAN));
    }

    #[test]
    fn many_prints_are_not_all_numbered() {
        assert_eq!(labels(&Axis::counted(3, 12)), ["1", "2", "3"]);
        assert_eq!(labels(&Axis::counted(67, 12)), ["10", "20", "30", "40", "50", "60"]);
    }
}
