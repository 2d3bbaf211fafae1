//! Ball bearings: the diameters and widths that a designation stands for, and their tolerances.
//!
//! ISO 492 class Normal limits the *mean* diameter of a ring in a plane; a single reading across it may
//! lie a few micrometres outside, and a very thin ring is round only once it is mounted. Bore and outside
//! diameter lie at or below nominal, so that a seat at exactly the nominal size is already a light clearance.
//!
//! Source: `data/hardware/ball_bearings.csv` and `ball_bearing_tolerances.csv`; every row has its label.

use super::lookup::{self, NotSold, number};
use super::table;
use crate::fits::{Limits, decimal_mm};
use crate::tables::built_in::Row;

/// A ball bearing.
#[derive(Clone, Debug, PartialEq)]
pub struct BallBearing {
    /// What it is sold as, without the suffix for shields: `608`.
    pub designation: &'static str,
    /// Nominal bore, mm.
    pub bore_mm: f64,
    /// Nominal outside diameter, mm.
    pub outside_mm: f64,
    /// Nominal width without shields, mm; `None` where it is sold with shields only.
    pub width_open_mm: Option<f64>,
    /// Nominal width with shields, mm; catalogue practice, and wider than open for some sizes.
    pub width_shielded_mm: Option<f64>,
    /// What the mean bore diameter may be, mm.
    pub bore_limits: Limits,
    /// What the mean outside diameter may be, mm.
    pub outside_limits: Limits,
    /// How much wider and narrower than its nominal width it may be, mm: such as 0 and -0.12.
    pub width_deviation: Limits,
    /// Where the row comes from.
    pub source: &'static str,
}

impl BallBearing {
    /// The nominal width, mm: with shields where they are known to be there, the common form; else without.
    pub fn width_mm(&self) -> f64 {
        self.width_shielded_mm.or(self.width_open_mm).unwrap_or_default()
    }

    /// What that width may be, mm.
    pub fn width_limits(&self) -> Limits {
        let width_mm = self.width_mm();
        Limits {
            lower_mm: decimal_mm(width_mm + self.width_deviation.lower_mm),
            upper_mm: decimal_mm(width_mm + self.width_deviation.upper_mm),
        }
    }
}

/// One size step of the tolerances of class Normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RingTolerance {
    /// `inner` or `outer`.
    pub ring: &'static str,
    /// The step's nominal diameters: over this, mm.
    pub over_mm: f64,
    /// Up to and including this, mm.
    pub to_mm: f64,
    /// How far the mean diameter may lie from nominal, mm.
    pub mean_diameter_deviation: Limits,
    /// The most radial runout of an assembled bearing's ring, mm.
    pub radial_runout_mm: f64,
    /// How far the width may lie from nominal, mm; for inner rings.
    pub width_deviation: Option<Limits>,
    /// Where the row comes from.
    pub source: &'static str,
}

table!(
    /// Every ball bearing of the table, in its order.
    ball_bearings,
    "../../data/hardware/ball_bearings.csv",
    BallBearing,
    read_bearing
);

table!(
    /// The tolerances of class Normal by size step, inner rings first.
    ring_tolerances,
    "../../data/hardware/ball_bearing_tolerances.csv",
    RingTolerance,
    read_tolerance
);

/// The ball bearing of this designation, in any case, with or without a suffix for shields or seals.
///
/// # Errors
/// A designation that the table does not have.
pub fn ball_bearing(designation: &str) -> Result<&'static BallBearing, NotSold> {
    let asked = designation.trim().to_ascii_uppercase();
    let plain = ["-2RS1", "-2RSH", "-2RS", "-2Z", "-ZZ", "2RS", "ZZ", "2Z"]
        .iter()
        .find_map(|suffix| asked.strip_suffix(suffix))
        .unwrap_or(&asked);
    lookup::named(ball_bearings(), |bearing| bearing.designation, plain, "ball bearing")
}

fn deviation(row: &'static Row, lower: &str, upper: &str) -> Option<Limits> {
    Some(Limits { lower_mm: row.number(lower)? / 1000.0, upper_mm: row.number(upper)? / 1000.0 })
}

fn about(nominal_mm: f64, row: &'static Row, lower: &str, upper: &str) -> Limits {
    let end = |column| decimal_mm(nominal_mm + number(row, column) / 1000.0);
    Limits { lower_mm: end(lower), upper_mm: end(upper) }
}

fn read_bearing(row: &'static Row) -> BallBearing {
    let (bore_mm, outside_mm) = (number(row, "bore_d_mm"), number(row, "outside_D_mm"));
    let width_deviation = Limits {
        lower_mm: number(row, "width_dev_lower_um") / 1000.0,
        upper_mm: number(row, "width_dev_upper_um") / 1000.0,
    };
    BallBearing {
        designation: row.text("designation"),
        bore_mm,
        outside_mm,
        width_open_mm: row.number("width_open_mm"),
        width_shielded_mm: row.number("width_shielded_mm"),
        bore_limits: about(bore_mm, row, "bore_dev_lower_um", "bore_dev_upper_um"),
        outside_limits: about(outside_mm, row, "od_dev_lower_um", "od_dev_upper_um"),
        width_deviation,
        source: row.text("label"),
    }
}

fn read_tolerance(row: &'static Row) -> RingTolerance {
    RingTolerance {
        ring: row.text("ring"),
        over_mm: number(row, "size_over_mm"),
        to_mm: number(row, "size_to_mm"),
        mean_diameter_deviation: Limits {
            lower_mm: number(row, "mean_diameter_dev_lower_um") / 1000.0,
            upper_mm: number(row, "mean_diameter_dev_upper_um") / 1000.0,
        },
        radial_runout_mm: number(row, "radial_runout_max_um") / 1000.0,
        width_deviation: deviation(row, "width_dev_lower_um", "width_dev_upper_um"),
        source: row.text("label"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step_of(ring: &str, size_mm: f64) -> &'static RingTolerance {
        let mut steps = ring_tolerances().iter();
        steps.find(|step| step.ring == ring && step.over_mm < size_mm && size_mm <= step.to_mm).unwrap()
    }

    /// The deviations of each bearing's row are those of ISO 492 for its diameters, all 80 rows of it.
    #[test]
    fn every_bearing_is_whole_and_has_the_deviations_of_its_size_step() {
        assert_eq!((ball_bearings().len(), ring_tolerances().len()), (80, 13));
        for bearing in ball_bearings() {
            let name = bearing.designation;
            assert!(bearing.outside_mm >= bearing.bore_mm + 2.0, "{name}");
            assert!(bearing.width_mm() >= 1.0 && bearing.width_mm() < bearing.outside_mm, "{name}");
            if let (Some(open), Some(shielded)) = (bearing.width_open_mm, bearing.width_shielded_mm) {
                assert!(open <= shielded, "{name}");
            }
            let (inner, outer) = (step_of("inner", bearing.bore_mm), step_of("outer", bearing.outside_mm));
            let from = |limits: Limits, nominal_mm: f64| {
                [limits.lower_mm - nominal_mm, limits.upper_mm - nominal_mm].map(|mm| (mm * 1000.0).round())
            };
            let of = |limits: Limits| from(limits, 0.0);
            assert_eq!(
                from(bearing.bore_limits, bearing.bore_mm),
                of(inner.mean_diameter_deviation),
                "{name}"
            );
            assert_eq!(
                from(bearing.outside_limits, bearing.outside_mm),
                of(outer.mean_diameter_deviation),
                "{name}"
            );
            assert_eq!(of(bearing.width_deviation), of(inner.width_deviation.unwrap()), "{name}");
            assert!(bearing.source.starts_with("from memory: ISO 15"), "{name}");
        }
    }

    #[test]
    fn the_size_steps_of_a_ring_follow_each_other_without_a_gap() {
        for ring in ["inner", "outer"] {
            let steps: Vec<_> = ring_tolerances().iter().filter(|step| step.ring == ring).collect();
            assert!(steps.windows(2).all(|pair| pair[0].to_mm == pair[1].over_mm));
            assert!(steps.windows(2).all(|pair| pair[0].radial_runout_mm <= pair[1].radial_runout_mm));
        }
    }

    /// Source: ISO 15 and ISO 492 class Normal as in the reference table. 6302 and 626 are the two that a
    /// published list misprints, as a bore of 13 and an outside of 16.
    #[test]
    fn designations_stand_for_the_sizes_that_everyone_knows() {
        for (designation, bore_mm, outside_mm, width_mm) in [
            ("608", 8.0, 22.0, 7.0),
            ("625", 5.0, 16.0, 5.0),
            ("626", 6.0, 19.0, 6.0),
            ("6302", 15.0, 42.0, 13.0),
            ("MR105", 5.0, 10.0, 4.0),
        ] {
            let bearing = ball_bearing(designation).unwrap();
            assert_eq!(
                (bearing.bore_mm, bearing.outside_mm, bearing.width_mm()),
                (bore_mm, outside_mm, width_mm)
            );
        }
        let limits = ball_bearing("608").unwrap().outside_limits;
        assert_eq!((limits.lower_mm, limits.upper_mm), (21.991, 22.0));
        let limits = ball_bearing("608").unwrap().width_limits();
        assert_eq!((limits.lower_mm, limits.upper_mm), (6.88, 7.0));
    }

    #[test]
    fn a_suffix_for_shields_is_read_over_and_a_slip_of_the_pen_is_answered() {
        for asked in ["608zz", "608-2RS", " 608-2Z "] {
            assert_eq!(ball_bearing(asked).unwrap().designation, "608");
        }
        let error = ball_bearing("MR1055").unwrap_err();
        assert!(
            error.to_string().starts_with("`MR1055`: no ball bearing here is called so; known are 681, 682")
        );
        assert_eq!(error.help().unwrap(), "did you mean MR105?");
    }
}
