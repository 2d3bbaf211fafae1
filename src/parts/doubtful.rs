//! Which lines of a sized list will not come out as they must, and why.
//!
//! A line misses its limits because they are closer together than this setup's prints spread, which no
//! drawing cures, or because the size to draw is rounded off their middle. The bounds between "will", "may
//! not" and "will not" are common practice, no source.

use serde::Serialize;

use super::sized::percent;
use super::sized_list::SizedLine;

/// Below this chance a line may not fit.
const LIKELY: f64 = 0.8;

/// Below this one it will not: it is more likely to miss.
const EVEN: f64 = 0.5;

/// A line that may miss what it must keep.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Doubtful<'a> {
    /// Line in the file, from 1.
    pub line: u64,
    /// Which part.
    pub part: &'a str,
    /// Which of its dimensions.
    pub dimension: &'a str,
    /// The chance that a print keeps it.
    pub chance: f64,
    /// `will not fit` or `may not fit`.
    pub verdict: &'static str,
    /// Why.
    pub why: String,
}

impl<'a> Doubtful<'a> {
    /// What is doubtful of a line; `None` for one that will fit, or of which nothing is asked.
    pub fn of(line: &SizedLine<'a>) -> Option<Self> {
        let chance = line.chance.filter(|chance| *chance < LIKELY)?;
        Some(Self {
            line: line.line,
            part: line.part,
            dimension: line.dimension,
            chance,
            verdict: if chance < EVEN { "will not fit" } else { "may not fit" },
            why: why(line).unwrap_or_default(),
        })
    }

    /// `line 4, hub rim: may not fit, 62 %: …`.
    pub fn to_text(&self) -> String {
        let what = [self.part, self.dimension].join(" ");
        let what = what.trim();
        let comma = if what.is_empty() { "" } else { ", " };
        let Self { line, verdict, why, .. } = self;
        format!("line {line}{comma}{what}: {verdict}, {} chance: {why}", percent(self.chance))
    }
}

fn why(line: &SizedLine<'_>) -> Option<String> {
    let room_mm = line.upper_mm? - line.lower_mm?;
    let spread_mm = line.high95_mm? - line.low95_mm?;
    if spread_mm > room_mm {
        return Some(format!(
            "its limits are {room_mm:.3} mm apart, and 95 % of prints spread over {spread_mm:.3} mm; wider limits, or \
             fitting by hand"
        ));
    }
    let off_mm = line.expected_mm? - f64::midpoint(line.lower_mm?, line.upper_mm?);
    Some(format!(
        "prints lie {off_mm:+.3} mm from the middle of its limits, {room_mm:.3} mm apart; aim at the middle, or round the \
         size to draw less"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::{Axis, Kind};

    fn line(chance: Option<f64>, limits: [f64; 2], printed: [f64; 3]) -> SizedLine<'static> {
        SizedLine {
            line: 4,
            part: "hub",
            dimension: "rim",
            kind: Kind::Pin,
            axis: Axis::Round,
            target_mm: None,
            lower_mm: Some(limits[0]),
            upper_mm: Some(limits[1]),
            half_fit_mm: None,
            draw_mm: Some(8.0),
            expected_mm: Some(printed[1]),
            low95_mm: Some(printed[0]),
            high95_mm: Some(printed[2]),
            chance,
            tolerance_low_mm: None,
            tolerance_high_mm: None,
            extrapolated: false,
            note: String::new(),
        }
    }

    #[test]
    fn limits_closer_than_prints_spread_are_told_apart_from_a_size_off_their_middle() {
        let close = line(Some(0.3), [8.0, 8.02], [7.94, 8.01, 8.08]);
        assert_eq!(
            Doubtful::of(&close).unwrap().to_text(),
            "line 4, hub rim: will not fit, 30 % chance: its limits are 0.020 mm apart, and 95 % of prints spread over \
             0.140 mm; wider limits, or fitting by hand"
        );
        let off = line(Some(0.6), [8.0, 8.2], [7.94, 8.01, 8.08]);
        assert_eq!(
            Doubtful::of(&off).unwrap().to_text(),
            "line 4, hub rim: may not fit, 60 % chance: prints lie -0.090 mm from the middle of its limits, 0.200 mm \
             apart; aim at the middle, or round the size to draw less"
        );
        assert_eq!(Doubtful::of(&line(Some(0.8), [8.0, 8.2], [8.0; 3])), None);
        assert_eq!(Doubtful::of(&line(None, [8.0, 8.2], [8.0; 3])), None);
    }
}
