//! From a history to its control charts: one a setup, with the first date at which it drifted.
//!
//! Two shifts are charted, of walls and of all sizes. Each point is compared with 0 alone (Shewhart, 3
//! standard deviations) and by a moving average (EWMA, lambda 0.2, 3 standard deviations), with limits from
//! the predicted spread and not from the points: a chart that learns its limits from a drifting printer
//! learns the drift. What all verifications of one correction share, its own uncertainty, stays in the
//! limits whatever their number, and the average starts anew with another correction.
//!
//! It drifted where a point, or the average, is beyond its limit *and* beyond what matters.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4: lambda 0.2 to 0.3, width 3.

use jiff::civil::Date;

use crate::stats::control::{Ewma, Value};

use super::super::verify::Verdict;
use super::{Entry, History, KeptShift};

/// The moving average of the chart.
pub const EWMA: Ewma = Ewma { lambda: 0.2, width: 3.0 };
/// Limits of a single point, standard deviations.
const SHEWHART: f64 = 3.0;

/// One shift at one date.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charted {
    /// The shift, mm.
    pub shift_mm: f64,
    /// How far from 0 it may be alone, mm.
    pub limit_mm: f64,
    /// The moving average, mm.
    pub average_mm: f64,
    /// How far from 0 that may be, mm.
    pub average_limit_mm: f64,
}

impl Charted {
    /// The point alone is beyond its limit and beyond what matters.
    pub fn is_far(&self, matters_mm: f64) -> bool {
        self.shift_mm.abs() > self.limit_mm.max(matters_mm)
    }

    /// The average is.
    pub fn has_moved(&self, matters_mm: f64) -> bool {
        self.average_mm.abs() > self.average_limit_mm.max(matters_mm)
    }
}

/// One verification on the chart.
#[derive(Clone, Debug, PartialEq)]
pub struct ChartPoint {
    /// When it was.
    pub date: Date,
    /// It is the first that compares with another correction than the one before.
    pub new_correction: bool,
    /// Walls, where they were measured.
    pub walls: Option<Charted>,
    /// All sizes.
    pub all_sizes: Charted,
    /// The joint p-value.
    pub p_value: f64,
    /// The verdict.
    pub verdict: Verdict,
}

/// The control chart of a setup.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// The setup.
    pub setup: String,
    /// Its verifications, by date.
    pub points: Vec<ChartPoint>,
    /// The change that matters, mm.
    pub matters_mm: f64,
}

/// Where a chart says that a setup drifted.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// When.
    pub date: Date,
    /// What moved: `walls` or `all sizes`.
    pub what: &'static str,
    /// Whether the moving average says so, and not the point alone.
    pub by_average: bool,
    /// The value that is beyond, mm.
    pub value_mm: f64,
    /// Its limit, mm.
    pub limit_mm: f64,
}

/// The charts of all setups of a history, in order of first appearance.
pub fn charts(history: &History, matters_mm: f64) -> Vec<Chart> {
    let mut setups: Vec<&str> = Vec::new();
    for entry in &history.entries {
        if !setups.contains(&entry.setup.as_str()) {
            setups.push(&entry.setup);
        }
    }
    let of = |setup: &str| {
        let mut entries: Vec<&Entry> = history.entries.iter().filter(|entry| entry.setup == setup).collect();
        entries.sort_by_key(|entry| entry.date);
        Chart { setup: setup.to_owned(), points: points(&entries), matters_mm }
    };
    setups.into_iter().map(of).collect()
}

fn points(entries: &[&Entry]) -> Vec<ChartPoint> {
    let mut points = Vec::with_capacity(entries.len());
    for stretch in entries.chunk_by(|a, b| a.correction_sha256 == b.correction_sha256) {
        let all_sizes = charted(&stretch.iter().map(|entry| Some(entry.all_sizes)).collect::<Vec<_>>());
        let walls = charted(&stretch.iter().map(|entry| entry.walls).collect::<Vec<_>>());
        for (at, entry) in stretch.iter().enumerate() {
            // Every entry has all sizes.
            let Some(all_sizes) = all_sizes[at] else { continue };
            points.push(ChartPoint {
                date: entry.date,
                new_correction: at == 0 && !points.is_empty(),
                walls: walls[at],
                all_sizes,
                p_value: entry.p_value,
                verdict: entry.verdict,
            });
        }
    }
    points
}

fn charted(shifts: &[Option<KeptShift>]) -> Vec<Option<Charted>> {
    let value = |shift: &KeptShift| Value {
        value: shift.shift_mm,
        own_sd: (shift.se_mm.powi(2) - shift.shared_se_mm.powi(2)).max(0.0).sqrt(),
        shared_sd: shift.shared_se_mm,
    };
    let known: Vec<KeptShift> = shifts.iter().flatten().copied().collect();
    let mut averaged = EWMA.chart(&known.iter().map(value).collect::<Vec<_>>()).into_iter();
    let of = |shift: &Option<KeptShift>| {
        let shift = shift.as_ref()?;
        let averaged = averaged.next()?;
        Some(Charted {
            shift_mm: shift.shift_mm,
            limit_mm: SHEWHART * shift.se_mm,
            average_mm: averaged.average,
            average_limit_mm: averaged.limit,
        })
    };
    shifts.iter().map(of).collect()
}

impl Chart {
    /// The first date at which the setup drifted, or was said to have by its verification alone.
    pub fn first_drift(&self) -> Option<Drift> {
        self.points.iter().find_map(|point| {
            let shifts = [("walls", point.walls), ("all sizes", Some(point.all_sizes))];
            let mut shifts = shifts.into_iter().filter_map(|(what, charted)| Some((what, charted?)));
            shifts.find_map(|(what, charted)| {
                let drift = |by_average, value_mm, limit_mm| {
                    Some(Drift { date: point.date, what, by_average, value_mm, limit_mm })
                };
                if charted.is_far(self.matters_mm) {
                    drift(false, charted.shift_mm, charted.limit_mm)
                } else if charted.has_moved(self.matters_mm) {
                    drift(true, charted.average_mm, charted.average_limit_mm)
                } else {
                    None
                }
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::entry;
    use super::*;

    fn chart(walls: &[(f64, &str)]) -> Chart {
        let mut history = History::default();
        for (month, (shift, correction)) in (1..).zip(walls) {
            history.add(entry(&format!("2027-{month:02}-01"), *shift, correction)).unwrap();
        }
        charts(&history, 0.05).remove(0)
    }

    #[test]
    fn a_small_change_that_stays_is_seen_by_the_average_and_a_large_one_at_once() {
        let steady = chart(&[(0.01, "a"), (-0.02, "a"), (0.02, "a"), (0.0, "a")]);
        assert_eq!(steady.first_drift(), None);
        let mut slow = vec![(0.0, "a"); 2];
        slow.extend(vec![(0.058, "a"); 9]);
        let drift = chart(&slow).first_drift().unwrap();
        assert!(drift.by_average && drift.what == "walls" && drift.value_mm > drift.limit_mm, "{drift:?}");
        assert_eq!(drift.date.to_string(), "2027-11-01");
        let sudden = chart(&[(0.0, "a"), (0.09, "a")]).first_drift().unwrap();
        assert!(!sudden.by_average && sudden.date.to_string() == "2027-02-01");
        assert!((sudden.limit_mm - 0.06).abs() < 1e-12);
    }

    #[test]
    fn beyond_the_limits_but_below_what_matters_is_no_drift() {
        let mut history = History::default();
        let small = KeptShift { shift_mm: 0.03, se_mm: 0.004, shared_se_mm: 0.002 };
        let entry = Entry { walls: Some(small), all_sizes: small, ..entry("2027-01-01", 0.0, "a") };
        history.add(entry).unwrap();
        assert!(charts(&history, 0.05)[0].first_drift().is_none());
        assert!(charts(&history, 0.02)[0].first_drift().is_some());
    }

    #[test]
    fn the_average_starts_anew_with_another_correction_and_dates_are_put_in_order() {
        let chart = chart(&[(0.04, "a"), (0.04, "a"), (0.01, "b")]);
        let walls: Vec<f64> = chart.points.iter().map(|point| point.walls.unwrap().average_mm).collect();
        for (average, expected) in walls.iter().zip([0.008, 0.0144, 0.002]) {
            assert!((average - expected).abs() < 1e-12, "{walls:?}");
        }
        assert_eq!(chart.points.iter().map(|p| p.new_correction).collect::<Vec<_>>(), [false, false, true]);
        let mut history = History::default();
        history.add(entry("2027-02-01", 0.0, "a")).unwrap();
        history.add(entry("2027-01-01", 0.0, "a")).unwrap();
        assert_eq!(charts(&history, 0.05)[0].points[0].date.to_string(), "2027-01-01");
    }
}
