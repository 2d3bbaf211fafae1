//! What a torque does to the belt: speed, pull, load on a tooth, tension of the strands.
//!
//! ```text
//! pull Te = 2 T / d      speed v = pi d n / 60      power P = Te v
//! tight strand T1 = 8 Te / 7, slack strand T2 = Te / 7 (ratio 8), set when still to (T1 + T2) / 2
//! ```
//!
//! The strands' ratio is a design value. What the belt may carry is not reckoned: a rating is its maker's.
//!
//! Source: mechanics; the ratio 8 from memory, ANSI/RMA IP-24 tension constants; worked examples W8 and W9.

use super::layout::{Drive, mesh_factor};

/// Tight over slack strand. Source: from memory, ANSI/RMA IP-24 tension constants.
pub const STRAND_RATIO: f64 = 8.0;

/// What is asked of the small pulley.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Duty {
    /// Torque on the small pulley, N m.
    pub torque_nm: f64,
    /// Speed of the small pulley, revolutions a minute; `None` where it was not said.
    pub rpm: Option<f64>,
}

/// What that does to the belt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Pull that the teeth hand on, N.
    pub pull_n: f64,
    /// The same for each whole tooth of the small pulley in mesh, N.
    pub tooth_n: f64,
    /// Tight strand, N.
    pub tight_n: f64,
    /// Slack strand, N.
    pub slack_n: f64,
    /// Either strand when still, N.
    pub set_n: f64,
    /// Force on either shaft, N.
    pub shaft_n: f64,
    /// Torque on the large pulley, N m, without losses.
    pub large_torque_nm: f64,
    /// How much of its rating the belt may carry with so few teeth in mesh; 1 from 6 on.
    pub mesh_factor: f64,
    /// Speed of the belt, m/s.
    pub speed_m_s: Option<f64>,
    /// Power, W.
    pub power_w: Option<f64>,
}

impl Duty {
    /// What it does to the belt of this drive.
    pub fn load(&self, drive: &Drive) -> Load {
        let pull_n = 2000.0 * self.torque_nm / drive.open.small_mm;
        let slack_n = pull_n / (STRAND_RATIO - 1.0);
        let tight_n = STRAND_RATIO * slack_n;
        // The strands lean towards each other by the slant either way.
        let across = (tight_n - slack_n) * drive.open.slant_rad().sin();
        let along = (tight_n + slack_n) * drive.open.slant_rad().cos();
        let speed_m_s = self.rpm.map(|rpm| speed_m_s(drive.open.small_mm, rpm));
        Load {
            pull_n,
            // One tooth carries at least.
            tooth_n: pull_n / drive.teeth_in_mesh().floor().max(1.0),
            tight_n,
            slack_n,
            set_n: (tight_n + slack_n) / 2.0,
            shaft_n: along.hypot(across),
            large_torque_nm: self.torque_nm * drive.ratio(),
            mesh_factor: mesh_factor(drive.teeth_in_mesh()),
            speed_m_s,
            power_w: speed_m_s.map(|speed| pull_n * speed),
        }
    }
}

/// Speed of a belt on a pulley of this pitch diameter, m/s.
pub fn speed_m_s(pitch_diameter_mm: f64, rpm: f64) -> f64 {
    std::f64::consts::PI * pitch_diameter_mm / 1000.0 * rpm / 60.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::layout::belt_profile;

    fn close(found: f64, printed: f64) {
        assert!((found - printed).abs() < 5.1e-7, "{found} for {printed}");
    }

    /// Source: worked example W8 of the belt tables: XL, 20 teeth, 1 N m at 1000 rev/min, parallel strands.
    #[test]
    fn a_torque_pulls_as_the_worked_example_says() {
        let drive = Drive::new(belt_profile("XL").unwrap(), [20, 20], 80).unwrap();
        let load = Duty { torque_nm: 1.0, rpm: Some(1000.0) }.load(&drive);
        close(load.pull_n, 61.842375);
        close(load.speed_m_s.unwrap(), 1.693333);
        close(load.power_w.unwrap(), 104.719755);
        close(load.tight_n, 70.677000);
        close(load.slack_n, 8.834625);
        close(load.shaft_n, 79.511625);
        close(load.tooth_n, 6.184238);
        assert_eq!((load.large_torque_nm, load.mesh_factor), (1.0, 1.0));
        close(load.tight_n - load.slack_n, load.pull_n);
    }

    /// Source: worked example W9: the handbook's constants 144067 and 18008 for tight and slack side.
    #[test]
    fn the_handbooks_constants_have_the_ratio_of_eight() {
        close(144_067.0 / 18_008.0, 8.000167);
        assert!((144_067.0_f64 / 18_008.0 - STRAND_RATIO).abs() < 2e-4);
        assert_eq!(144_067 - 18_008 - 2 * 63_025, 9);
    }

    /// The two strands as vectors, each along its own span.
    #[test]
    fn the_shaft_bears_the_sum_of_both_strands() {
        let drive = Drive::new(belt_profile("T5").unwrap(), [10, 60], 68).unwrap();
        let load = Duty { torque_nm: 0.4, rpm: None }.load(&drive);
        let slant = drive.open.slant_rad();
        let (x, y) = (
            (load.tight_n + load.slack_n) * slant.cos(),
            load.tight_n * slant.sin() - load.slack_n * slant.sin(),
        );
        assert!((load.shaft_n - x.hypot(y)).abs() < 1e-12);
        assert!(load.shaft_n < load.tight_n + load.slack_n);
        assert!((load.large_torque_nm - 2.4).abs() < 1e-12 && (load.mesh_factor - 0.4).abs() < 1e-12);
        assert_eq!((load.speed_m_s, load.power_w), (None, None));
        // 3 whole teeth share the pull.
        assert!((load.tooth_n - load.pull_n / 3.0).abs() < 1e-12);
    }
}
