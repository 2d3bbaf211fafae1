//! From a change and its interval to a verdict, and to how many more pieces would give one.

use serde::Serialize;

use crate::stats::difference::Estimate;
use crate::stats::distribution::t_quantile;

/// Whether a change stays within the limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The whole interval lies within the limit.
    Holds,
    /// Neither.
    CannotTell,
    /// The whole interval lies beyond it.
    Exceeds,
}

impl Verdict {
    /// Of a change with this estimate; `None`: there is no interval.
    pub fn of(estimate: Option<Estimate>, limit_mm: f64) -> Self {
        let Some(estimate) = estimate else { return Self::CannotTell };
        let (low, high) = estimate.interval(0.95);
        if -limit_mm < low && high < limit_mm {
            Self::Holds
        } else if high < -limit_mm || low > limit_mm {
            Self::Exceeds
        } else {
            Self::CannotTell
        }
    }

    /// In a table.
    pub fn name(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::CannotTell => "cannot tell",
            Self::Exceeds => "does not hold",
        }
    }
}

/// More pieces than this are not worth printing: the change is too near to the limit. By feel.
pub const MOST_MORE: u32 = 20;

/// How many more pieces would give a verdict, if they scatter as these do and the mean stays.
///
/// `piece_sd_mm` is how pieces scatter, `shared_se_mm` what stays however many are printed (the reference's
/// doubt). `None`: more than [`MOST_MORE`].
pub fn more_pieces(
    mean_mm: f64,
    limit_mm: f64,
    pieces: usize,
    piece_sd_mm: f64,
    shared_se_mm: f64,
) -> Option<u32> {
    let room = (limit_mm - mean_mm.abs()).abs();
    (1..=MOST_MORE).find(|more| {
        let n = pieces as f64 + f64::from(*more);
        let se = (piece_sd_mm * piece_sd_mm / n + shared_se_mm * shared_se_mm).sqrt();
        n > 1.0 && t_quantile(0.975, n - 1.0) * se < room
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(value: f64, se: f64) -> Verdict {
        Verdict::of(Some(Estimate { value, se, dof: 4.0 }), 0.10)
    }

    #[test]
    fn only_a_whole_interval_gives_a_verdict() {
        // 2.776 standard errors on either side.
        assert_eq!(at(0.04, 0.021), Verdict::Holds);
        assert_eq!(at(0.04, 0.022), Verdict::CannotTell);
        assert_eq!(at(-0.16, 0.021), Verdict::Exceeds);
        assert_eq!(at(-0.16, 0.022), Verdict::CannotTell);
        assert_eq!(Verdict::of(None, 0.10), Verdict::CannotTell);
        // Negative control: a mean within the limit is not enough.
        assert_ne!(at(0.0, 0.05), Verdict::Holds);
    }

    /// By hand: with a room of 0.06 and a scatter of 0.05, five pieces give 2.776 * 0.05 / sqrt(5) = 0.062, six
    /// 2.571 * 0.05 / sqrt(6) = 0.0525.
    #[test]
    fn more_pieces_are_as_many_as_the_interval_needs() {
        assert_eq!(more_pieces(0.04, 0.10, 3, 0.05, 0.0), Some(3));
        assert_eq!(more_pieces(0.16, 0.10, 3, 0.05, 0.0), Some(3));
        assert_eq!(more_pieces(0.099, 0.10, 3, 0.05, 0.0), None);
        // What the reference leaves in doubt no number of pieces takes away.
        assert_eq!(more_pieces(0.04, 0.10, 3, 0.05, 0.05), None);
        assert_eq!(more_pieces(0.0, 0.10, 1, 0.005, 0.0), Some(1));
    }
}
