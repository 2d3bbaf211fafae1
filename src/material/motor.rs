//! How warm a motor makes its mount: an estimate with its ends carried through, to be measured.
//!
//! ```text
//! case  = ambient + loss * R             R = 1 / (h * A), still air or a fan, from the body's surface A
//! mount = ambient + f * (case - ambient) f = 0.7 to 0.95 where the mount meets the motor's face
//! ```
//!
//! A loss reckoned from the winding's resistance when cold rises as the copper warms, by 0.00393 per kelvin:
//! `T = (ambient + R P (1 - 20 a)) / (1 - R P a)`, and where `R P a` reaches 1 there is no steady state. The
//! high end takes all of the loss as such, low and typical take it as it is given. A mount of plastic
//! leads away next to nothing, so the motor is taken as free in the air.
//!
//! Source: heat balance; film coefficients, f and the copper's coefficient from memory of motor catalogues.

use serde::Serialize;

use super::Range;

/// Rise of copper's resistance with temperature, 1/K, from 20 °C.
const COPPER_PER_K: f64 = 0.00393;

/// Film coefficients in still air, radiation included, W/(m2 K).
const STILL_AIR: Range = Range { low: 8.0, typical: 10.0, high: 12.0 };

/// The same with a fan blowing on it.
const FAN: Range = Range { low: 20.0, typical: 25.0, high: 40.0 };

/// How much of the case's warmth above ambient the mount takes on.
const SHARE: Range = Range { low: 0.7, typical: 0.85, high: 0.95 };

/// Heat capacity of a motor, J/(kg K): mostly iron and copper.
const CAPACITY_J_PER_KG_K: f64 = 480.0;

/// A motor's body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Body {
    /// Square face.
    Square {
        /// Side of the face, mm.
        side_mm: f64,
        /// Length without the shaft, mm.
        length_mm: f64,
    },
    /// Round face.
    Round {
        /// Diameter of the face, mm.
        diameter_mm: f64,
        /// Length without the shaft, mm.
        length_mm: f64,
    },
}

/// A text that is no motor's body.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{text}` is no motor's body; expected side x length in mm, such as 42x48, or d28x30 when it is round"
)]
pub struct NotABody {
    /// The offending text.
    pub text: String,
}

impl std::str::FromStr for Body {
    type Err = NotABody;

    fn from_str(text: &str) -> Result<Self, NotABody> {
        let wrong = || NotABody { text: text.to_owned() };
        let plain = text.trim();
        let (is_round, sizes) = match plain.strip_prefix(['d', 'D']) {
            Some(rest) => (true, rest),
            None => (false, plain),
        };
        let (across, length) = sizes.split_once(['x', 'X', '×']).ok_or_else(wrong)?;
        let size = |text: &str| text.trim().parse::<f64>().ok().filter(|mm| (5.0..=500.0).contains(mm));
        let (Some(across), Some(length_mm)) = (size(across), size(length)) else { return Err(wrong()) };
        Ok(if is_round {
            Self::Round { diameter_mm: across, length_mm }
        } else {
            Self::Square { side_mm: across, length_mm }
        })
    }
}

impl Body {
    /// Its surface, both faces included, m2.
    pub fn surface_m2(self) -> f64 {
        let mm2 = match self {
            Self::Square { side_mm, length_mm } => 4.0 * side_mm * length_mm + 2.0 * side_mm * side_mm,
            Self::Round { diameter_mm, length_mm } => {
                std::f64::consts::PI * diameter_mm * (length_mm + diameter_mm / 2.0)
            }
        };
        mm2 * 1e-6
    }

    /// From its case to the air, K/W; low with the most air.
    pub fn resistance(self, fan: bool) -> Range {
        let film = if fan { FAN } else { STILL_AIR };
        film.map(|h| 1.0 / (h * self.surface_m2()))
    }
}

/// A motor that warms its mount.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WarmMotor {
    /// What it turns into heat, W.
    pub loss_w: Range,
    /// The air around it, °C.
    pub ambient_c: Range,
    /// From its case to the air, K/W.
    pub resistance: Range,
}

/// What becomes of it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Warmth {
    /// The case, °C.
    pub case_c: Range,
    /// The mount where it meets the motor's face, °C.
    pub mount_c: Range,
}

/// The copper warms faster than the air cools.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "no steady state: at {resistance:.1} K/W and {loss_w:.1} W of loss in cold copper, the winding's resistance \
     rises faster than the air cools it"
)]
pub struct RunsAway {
    /// The high end of the resistance, K/W.
    pub resistance: f64,
    /// The high end of the loss, W.
    pub loss_w: f64,
}

impl WarmMotor {
    /// Case and mount in the steady state.
    ///
    /// # Errors
    /// When there is none at the high end.
    pub fn warmth(&self) -> Result<Warmth, RunsAway> {
        let plain =
            |pick: fn(&Range) -> f64| pick(&self.ambient_c) + pick(&self.loss_w) * pick(&self.resistance);
        let high = copper_case_c(self.ambient_c.high, self.loss_w.high, self.resistance.high)
            .ok_or(RunsAway { resistance: self.resistance.high, loss_w: self.loss_w.high })?;
        let case_c = Range { low: plain(|range| range.low), typical: plain(|range| range.typical), high };
        let mount = |ambient: f64, case: f64, share: f64| ambient + share * (case - ambient);
        let mount_c = Range {
            low: mount(self.ambient_c.low, case_c.low, SHARE.low),
            typical: mount(self.ambient_c.typical, case_c.typical, SHARE.typical),
            high: mount(self.ambient_c.high, case_c.high, SHARE.high),
        };
        Ok(Warmth { case_c, mount_c })
    }

    /// How long until it is as warm as it gets, minutes: four time constants of a motor of this mass.
    pub fn minutes_to_steady(&self, mass_g: f64) -> Range {
        self.resistance.map(|resistance| 4.0 * time_constant_s(resistance, mass_g) / 60.0)
    }
}

/// The case's temperature where all loss is in copper whose resistance was measured at 20 °C; `None` where
/// there is no steady state. The winding is taken to be as warm as the case.
fn copper_case_c(ambient_c: f64, cold_loss_w: f64, resistance: f64) -> Option<f64> {
    let rise = resistance * cold_loss_w;
    let left = 1.0 - rise * COPPER_PER_K;
    (left > 0.0).then(|| (ambient_c + rise * (1.0 - 20.0 * COPPER_PER_K)) / left)
}

/// The time in which a difference falls to 37 %, s.
fn time_constant_s(resistance: f64, mass_g: f64) -> f64 {
    resistance * mass_g / 1000.0 * CAPACITY_J_PER_KG_K
}

#[cfg(test)]
mod tests {
    use super::*;

    fn body(text: &str) -> Body {
        text.parse().unwrap()
    }

    /// Source: worked table of three bodies, surface and K/W at 8, 10, 12 and 25 W/(m2 K), rounded there.
    #[test]
    fn a_bodys_resistance_is_that_of_its_surface() {
        for (text, surface, [slow, usual, fast, fan]) in [
            ("d28x30", 0.0039, [32.0, 26.0, 22.0, 10.0]),
            ("42x48", 0.0116, [10.8, 8.6, 7.2, 3.5]),
            ("d60x60", 0.0170, [7.4, 5.9, 4.9, 2.4]),
        ] {
            assert!((body(text).surface_m2() - surface).abs() < 0.00005, "{text}");
            let still = body(text).resistance(false);
            // Half of the last digit that the table prints.
            let digit = if slow > 20.0 { 0.5 } else { 0.051 };
            assert!(
                (still.high - slow).abs() < digit && (still.low - fast).abs() < digit,
                "{text} {still:?}"
            );
            assert!((still.typical - usual).abs() < digit, "{text}");
            assert!(
                (body(text).resistance(true).typical - fan).abs() < 0.5_f64.min(digit.max(0.06)),
                "{text}"
            );
        }
        for wrong in ["42", "42x", "d42", "3x3", "ax4", "42x4000"] {
            assert!(wrong.parse::<Body>().is_err(), "{wrong}");
        }
    }

    /// Source: worked example, a 42 mm motor of 0.28 kg at 8.6 K/W and 25 °C: 4 W gives 59 °C (65.6 when all of it
    /// is copper), 8 W 94 (121); time constant 1160 s.
    #[test]
    fn a_motor_of_42_mm_gets_as_warm_as_the_worked_example_says() {
        let exactly = Range::exactly;
        for (loss, plain, copper) in [(4.0, 59.0, 65.6), (8.0, 94.0, 121.0)] {
            let motor =
                WarmMotor { loss_w: exactly(loss), ambient_c: exactly(25.0), resistance: exactly(8.6) };
            let warmth = motor.warmth().unwrap();
            assert!((warmth.case_c.typical - plain).abs() < 0.5, "{warmth:?}");
            assert!(
                (warmth.case_c.high - copper).abs() < if copper > 100.0 { 0.5 } else { 0.05 },
                "{warmth:?}"
            );
            let mount = 25.0 + 0.85 * (warmth.case_c.typical - 25.0);
            assert!((warmth.mount_c.typical - mount).abs() < 1e-9);
        }
        assert!((time_constant_s(8.6, 280.0) - 1160.0).abs() < 5.0);
    }

    #[test]
    fn a_winding_that_warms_faster_than_it_cools_is_told() {
        let motor = WarmMotor {
            loss_w: Range::exactly(12.0),
            ambient_c: Range::exactly(25.0),
            resistance: body("d28x30").resistance(false),
        };
        let error = motor.warmth().unwrap_err();
        assert!(error.to_string().starts_with("no steady state: at 32.3 K/W and 12.0 W"), "{error}");
    }
}
