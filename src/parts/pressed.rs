//! A bought part pressed into a print, or a printed pin into one: what the plastic bears, what holds it, and what
//! warmth and time leave.
//!
//! The interference is the shaft less the hole; its 95 % interval is that of the print, and the
//! bought part's own limits, together. From it pressure, stress and force follow by [`crate::fits::press`], with
//! the low, typical and high modulus of the plastic: low meets low and high meets high.
//!
//! - A print is less stiff than a moulded piece: 0.6 to 0.9 of its modulus, common practice.
//! - Warmth: what the plastic's hole gains on the metal is taken off the interference; a plastic pin in metal
//!   gains interference instead. The modulus falls as well, and that is not reckoned: near the material's
//!   ceiling little is left.
//! - Time: stress at constant strain relaxes by a power law, from one hour on.
//!
//! Source: `data/materials`, and its labels; worked examples in [`crate::fits::press`] and [`crate::material::warm`].

use serde::Serialize;

use crate::correction::apply::Prediction;
use crate::fits::press::{Elastic, NoWall, PressFit};
use crate::fits::{Limits, Side, Source, decimal_mm};
use crate::material::ceiling::{Screening, ceiling};
use crate::material::{Material, Property, Range, warm};
use crate::stats::distribution::t_quantile;
use crate::units::Mm;

/// How stiff a print is against a moulded piece. Common practice, no source.
const PRINTED_STIFFNESS: Range = Range { low: 0.6, typical: 0.75, high: 0.9 };

/// What sizes and tables hold at, °C.
const REFERENCE_C: f64 = 20.0;

/// What everyone who presses into a print should be told, besides [`crate::fits::named::PRESS_CAUTION`].
const BRITTLE_CAUTION: &str = "brittle plastics (PLA, filled with fibres) shatter and hard pins chip; cracks may come days \
     later; print the bore upright, so that the beads run round it";

/// The same of a printed pin. Common practice, no source.
const PIN_CAUTION: &str = "a pin that stands on the bed breaks between its layers when it is pressed in aslant; one that lies is \
     not quite round; brittle plastics (PLA, filled with fibres) shatter";

/// What a press fit is judged by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PressRequest {
    /// What is printed.
    pub material: &'static Material,
    /// What is pressed in.
    pub metal: &'static Material,
    /// Which of the two is printed.
    pub printed: Side,
    /// How thick the part around the joint is; sparse infill does not count.
    pub wall: Mm,
    /// Diameter inside a printed pin that is hollow or sparse infill, mm; 0 of a solid one.
    pub core_mm: f64,
    /// How long the two touch.
    pub length: Option<Mm>,
    /// How warm it gets, °C.
    pub temperature_c: Option<f64>,
    /// Friction between the two.
    pub friction: f64,
    /// For how long it must hold, hours.
    pub hours: f64,
}

/// A press fit judged. Serialised, it is `press` in `size --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pressed {
    /// What is printed.
    pub material: &'static str,
    /// What is pressed in.
    pub metal: &'static str,
    /// Both for people.
    #[serde(skip)]
    pub(super) labels: [&'static str; 2],
    /// What is printed: `hole` or `pin`.
    pub printed: &'static str,
    /// How thick the part around the joint is, mm.
    pub wall_mm: f64,
    /// Interference on the diameter, mm: the mean, and 95 % of prints and bought parts.
    pub interference_mm: Range,
    /// Hoop strain of the plastic where the two meet, %: stretch of a hole, squeeze of a pin.
    pub hoop_strain_percent: Range,
    /// The strain that the plastic bears for long, %; `None` where the tables have none.
    pub strain_limit_percent: Option<f64>,
    /// The interference on the diameter that makes that strain, mm.
    pub most_interference_mm: Option<f64>,
    /// Pressure where the two meet, MPa.
    pub pressure_mpa: Range,
    /// Largest hoop stress of the plastic, MPa: tension around a hole, compression of a pin.
    pub hoop_stress_mpa: Range,
    /// What holds it, when it is new.
    pub holds: Option<Holds>,
    /// The same when warm; `None` where no temperature is given or the tables lack an expansion.
    pub warm: Option<Warm>,
    /// The share of the pressure that is left after so many hours; `None` where the tables lack it.
    pub left: Option<Left>,
    /// What the person should know.
    pub cautions: Vec<String>,
    #[serde(skip)]
    sources: Vec<Source>,
}

/// Force and torque over the length that touches.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Holds {
    /// How long the two touch, mm.
    pub length_mm: f64,
    /// Friction that is reckoned with.
    pub friction: f64,
    /// The force that pushes it out, N.
    pub push_off_n: Range,
    /// The torque that turns it, N m.
    pub torque_nm: Range,
}

/// A press fit at a temperature.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Warm {
    /// The temperature, °C.
    pub temperature_c: f64,
    /// Interference left on the diameter, mm.
    pub interference_mm: Range,
    /// Pressure left, MPa, with the modulus of the cold plastic.
    pub pressure_mpa: Range,
}

/// A press fit after a time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Left {
    /// The time, hours.
    pub hours: f64,
    /// The share of the pressure that is left.
    pub share: Range,
    /// Pressure left, MPa, when warm where a temperature is given.
    pub pressure_mpa: Range,
}

/// Why a press fit cannot be judged.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotPress {
    /// The tables lack a property without which nothing follows.
    #[error("the tables have no {property} of {material}")]
    NotKnown {
        /// The material.
        material: &'static str,
        /// The property.
        property: Property,
    },
    /// No wall is left.
    #[error(transparent)]
    NoWall(#[from] NoWall),
    /// The size of the bought part is not known.
    #[error("what is pressed in has no size here")]
    NoMate,
}

impl PressRequest {
    /// Judges a hole that prints as `printed`, with a bought part between these limits in it, or a pin in one.
    ///
    /// # Errors
    /// A material whose modulus or Poisson's ratio the tables do not have, a wall that is none.
    pub fn judge(&self, printed: &Prediction, mate: Option<Limits>) -> Result<Pressed, CannotPress> {
        let mate = mate.ok_or(CannotPress::NoMate)?;
        let diameter_mm = mate.middle_mm();
        let interference_mm = self.interference(printed, mate);
        let modulus = self.modulus_mpa()?;
        let poisson = known(self.material, Property::PoissonRatio)?.typical;
        let metal = Elastic {
            modulus_mpa: known(self.metal, Property::Modulus)?.typical * 1000.0,
            poisson: known(self.metal, Property::PoissonRatio)?.typical,
        };
        let outside_mm = diameter_mm + 2.0 * self.wall.get();
        let with = |modulus_mpa: f64| {
            let plastic = Elastic { modulus_mpa, poisson };
            match self.printed {
                Side::Hole => PressFit::new(diameter_mm, outside_mm, 0.0, plastic, metal),
                Side::Shaft => PressFit::new(diameter_mm, outside_mm, self.core_mm, metal, plastic),
            }
        };
        let fits = [with(modulus.low)?, with(modulus.typical)?, with(modulus.high)?];
        let [soft, usual, stiff] = fits;
        let pressure = |interference: Range| Range {
            low: soft.pressure_mpa(interference.low),
            typical: usual.pressure_mpa(interference.typical),
            high: stiff.pressure_mpa(interference.high),
        };
        let pressure_mpa = pressure(interference_mm);
        let is_pin = self.printed == Side::Shaft;
        // Against steel the strain is next to the interference over the diameter, whatever the plastic's modulus.
        let strain = |mm: f64| {
            let p = usual.pressure_mpa(mm);
            100.0 * if is_pin { usual.shaft_squeeze(p) } else { usual.hoop_strain(p) }
        };
        let most = |strain: f64| {
            if is_pin {
                usual.interference_for_squeeze_mm(strain)
            } else {
                usual.interference_for_strain_mm(strain)
            }
        };
        let stress = |p: f64| if is_pin { usual.shaft_hoop_stress_mpa(p) } else { usual.hoop_stress_mpa(p) };
        let limit = self.material.range(Property::StrainLimit).map(|limit| limit.typical);
        let warm = self.warm(diameter_mm, interference_mm, pressure);
        let mut pressed = Pressed {
            material: self.material.name,
            labels: [self.material.label, self.metal.label],
            metal: self.metal.name,
            printed: if is_pin { "pin" } else { "hole" },
            wall_mm: self.wall.get(),
            interference_mm,
            hoop_strain_percent: interference_mm.map(strain),
            strain_limit_percent: limit,
            most_interference_mm: limit.map(|limit| most(limit / 100.0)),
            pressure_mpa,
            hoop_stress_mpa: pressure_mpa.map(stress),
            holds: self.length.map(|length| Holds {
                length_mm: length.get(),
                friction: self.friction,
                push_off_n: pressure_mpa.map(|p| usual.push_off_n(p, length.get(), self.friction)),
                torque_nm: pressure_mpa.map(|p| usual.torque_nm(p, length.get(), self.friction)),
            }),
            warm,
            left: self.left(warm.map_or(pressure_mpa, |warm| warm.pressure_mpa)),
            cautions: Vec::new(),
            sources: self.sources(),
        };
        pressed.cautions = self.cautions(&pressed);
        Ok(pressed)
    }

    /// What the shaft is larger than the hole, mm: the mean, and 95 % of both.
    fn interference(&self, printed: &Prediction, mate: Limits) -> Range {
        let mate_mm2 = (mate.upper_mm - mate.lower_mm).powi(2) / 12.0;
        let variance_mm2 = printed.sd_mm.powi(2) + mate_mm2;
        // The mate's spread is stated and adds no doubt of its own (Welch-Satterthwaite).
        let dof = printed.dof * (variance_mm2 / printed.sd_mm.powi(2)).powi(2);
        let half_mm = t_quantile(0.975, dof) * variance_mm2.sqrt();
        let over_mm = mate.middle_mm() - printed.expected_mm;
        let typical = decimal_mm(if self.printed == Side::Hole { over_mm } else { -over_mm });
        Range { low: decimal_mm(typical - half_mm), typical, high: decimal_mm(typical + half_mm) }
    }

    /// The modulus of the print, MPa; of a polyamide the one in common air.
    fn modulus_mpa(&self) -> Result<Range, CannotPress> {
        let moulded = match self.material.range(Property::ModulusConditioned) {
            Some(conditioned) => conditioned,
            None => known(self.material, Property::Modulus)?,
        };
        Ok(moulded.with(PRINTED_STIFFNESS, |gpa, share| gpa * 1000.0 * share))
    }

    fn warm(&self, diameter_mm: f64, interference: Range, pressure: impl Fn(Range) -> Range) -> Option<Warm> {
        let temperature_c = self.temperature_c?;
        let [plastic, metal] = [self.material, self.metal].map(|material| warm::expansion(material, false));
        let rise = Range::exactly(temperature_c - REFERENCE_C);
        let (hole, shaft) = match self.printed {
            Side::Hole => (plastic?, metal?),
            Side::Shaft => (metal?, plastic?),
        };
        let loosening = warm::loosening_mm(hole, shaft, diameter_mm, rise);
        let interference_mm = Range {
            low: interference.low - loosening.high,
            typical: interference.typical - loosening.typical,
            high: interference.high - loosening.low,
        };
        Some(Warm { temperature_c, interference_mm, pressure_mpa: pressure(interference_mm) })
    }

    fn left(&self, pressure: Range) -> Option<Left> {
        let exponent = self.material.range(Property::RelaxationExponent)?;
        let share = warm::relaxed_share(exponent, self.hours);
        Some(Left { hours: self.hours, share, pressure_mpa: pressure.with(share, |p, share| p * share) })
    }

    fn cautions(&self, pressed: &Pressed) -> Vec<String> {
        let mut said = Vec::new();
        let [name, _] = pressed.labels;
        if let (Some(limit), Some(most)) = (pressed.strain_limit_percent, pressed.most_interference_mm)
            && pressed.hoop_strain_percent.high > limit
        {
            said.push(if self.printed == Side::Shaft {
                format!(
                    "a tight pin is squeezed {:.1} %, and {name} bears {limit} % for long (common practice, of stretch; a \
                     squeezed pin creeps rather than cracks): it lets go with time; aim at an interference of {most:.2} \
                     mm or less, or let a flat, key or screw carry the load",
                    pressed.hoop_strain_percent.high
                )
            } else { format!(
                "a tight print is stretched {:.1} % at the hole, and {name} bears {limit} % for long (common practice): \
                 it creeps, or cracks days later; aim at an interference of {most:.2} mm or less, or let a flat, key or \
                 screw carry the load",
                pressed.hoop_strain_percent.high
            )});
        }
        if pressed.interference_mm.low <= 0.0 {
            said.push("a loose print has no interference: it does not hold by itself".to_owned());
        }
        match &pressed.warm {
            Some(warm) if warm.interference_mm.low <= 0.0 && pressed.interference_mm.low > 0.0 => {
                said.push(format!("at {} °C a loose print has no interference left", warm.temperature_c));
            }
            None if self.temperature_c.is_some() => {
                said.push(format!("the tables lack an expansion of {name}: what warmth leaves is not known"));
            }
            _ => {}
        }
        if let (Some(at_c), Some(ceiling)) = (self.temperature_c, ceiling(self.material))
            && ceiling.at(Range::exactly(at_c)) != Screening::WorthTesting
        {
            said.push(format!(
                "{at_c} °C is not well below what {name} bears for long (about {:.0} °C): it softens and lets go",
                ceiling.range_c.typical
            ));
        }
        if self.printed == Side::Shaft && self.temperature_c.is_some_and(|at_c| at_c > REFERENCE_C) {
            said.push(
                "warm, the pin presses harder and creeps to size: when it is cold again it may be loose"
                    .to_owned(),
            );
        }
        said.push(if self.printed == Side::Shaft { PIN_CAUTION } else { BRITTLE_CAUTION }.to_owned());
        said
    }

    fn sources(&self) -> Vec<Source> {
        let of = |material: &'static Material, property: Property| {
            let value = material.value(property).filter(|value| value.range.is_some())?;
            Some(Source::new(format!("{property} of {}", material.label), value.source_typical))
        };
        let printed = [
            Property::Modulus,
            Property::ModulusConditioned,
            Property::PoissonRatio,
            Property::StrainLimit,
            Property::RelaxationExponent,
        ];
        let mut sources: Vec<Source> = printed.into_iter().filter_map(|p| of(self.material, p)).collect();
        sources.extend(
            [Property::Modulus, Property::PoissonRatio].into_iter().filter_map(|p| of(self.metal, p)),
        );
        if self.temperature_c.is_some() {
            sources.extend(
                [self.material, self.metal].into_iter().filter_map(|m| of(m, Property::ExpansionInPlane)),
            );
        }
        sources.push(Source::new(
            "stiffness of a print, 0.6 to 0.9 of a moulded piece",
            "common practice, no source",
        ));
        sources
    }
}

fn known(material: &'static Material, property: Property) -> Result<Range, CannotPress> {
    material.range(property).ok_or(CannotPress::NotKnown { material: material.label, property })
}

impl Pressed {
    /// Where its numbers come from.
    pub fn sources(&self) -> &[Source] {
        &self.sources
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::{metal, polymer};

    fn request(material: &str, temperature_c: Option<f64>) -> PressRequest {
        PressRequest {
            material: polymer(material).unwrap(),
            metal: metal("steel").unwrap(),
            printed: Side::Hole,
            core_mm: 0.0,
            wall: Mm::new(6.0).unwrap(),
            length: Mm::new(12.0),
            temperature_c,
            friction: 0.25,
            hours: 1000.0,
        }
    }

    fn printed(expected_mm: f64, sd_mm: f64) -> Prediction {
        Prediction { expected_mm, sd_mm, dof: f64::INFINITY, beyond_mm: 0.0 }
    }

    const ROD: Limits = Limits { lower_mm: 8.0, upper_mm: 8.0 };

    /// Source: derived check values, an ABS hub of 20 mm on 8 mm of steel, 12 long, 0.05 mm: 7.73 MPa for a
    /// moulded modulus of 2.2 GPa; the print has 0.75 of it. At 60 degrees 0.0251 mm are lost.
    #[test]
    fn a_hub_of_abs_comes_out_with_three_quarters_of_the_moulded_stiffness() {
        let pressed = request("ABS", Some(60.0)).judge(&printed(7.95, 1e-6), Some(ROD)).unwrap();
        assert!((pressed.interference_mm.typical - 0.05).abs() < 1e-9);
        let expected = 7.73 * 0.75;
        // Softer than moulded, the steel's own compression counts a little less.
        assert!((pressed.pressure_mpa.typical - expected).abs() < 0.02, "{:?}", pressed.pressure_mpa);
        let holds = pressed.holds.unwrap();
        assert!((holds.push_off_n.typical - 583.0 * 0.75).abs() < 2.0, "{:?}", holds.push_off_n);
        let warm = pressed.warm.unwrap();
        assert!((warm.interference_mm.typical - 0.0249).abs() < 0.0001, "{:?}", warm.interference_mm);
        let left = pressed.left.unwrap();
        assert!((left.share.typical - 1000.0_f64.powf(-0.09)).abs() < 1e-12);
        assert!((left.pressure_mpa.typical - warm.pressure_mpa.typical * left.share.typical).abs() < 1e-9);
    }

    #[test]
    fn the_spread_of_the_print_and_of_the_part_is_carried_through() {
        let rods = Limits { lower_mm: 7.97, upper_mm: 8.03 };
        let pressed = request("PETG", None).judge(&printed(7.92, 0.02), Some(rods)).unwrap();
        // sqrt(0.02^2 + 0.06^2 / 12) = 0.02646, times 1.96.
        let half = 1.959_964 * (0.0004_f64 + 0.0003).sqrt();
        assert!((pressed.interference_mm.low - (0.08 - half)).abs() < 1e-6, "{:?}", pressed.interference_mm);
        assert!((pressed.interference_mm.high - (0.08 + half)).abs() < 1e-6);
        assert!(pressed.pressure_mpa.low < pressed.pressure_mpa.typical);
        assert!(pressed.hoop_strain_percent.high > pressed.strain_limit_percent.unwrap());
        assert!(
            pressed.cautions[0]
                .starts_with("a tight print is stretched 1.6 % at the hole, and PETG bears 0.5 %")
        );
        let lasting = pressed.most_interference_mm.unwrap();
        // Half a percent of 8 mm, and what the steel gives.
        assert!((0.04..0.0405).contains(&lasting), "{lasting}");
    }

    #[test]
    fn what_does_not_hold_is_told() {
        let loose = request("PLA", Some(60.0)).judge(&printed(8.0, 0.02), Some(ROD)).unwrap();
        assert_eq!(loose.pressure_mpa.low, 0.0);
        assert!(loose.cautions.iter().any(|said| said.starts_with("a loose print has no interference")));
        assert!(
            loose
                .cautions
                .iter()
                .any(|said| said.starts_with("60 °C is not well below what PLA bears for long")),
            "{:?}",
            loose.cautions
        );
        assert_eq!(request("PLA", None).judge(&printed(8.0, 0.02), None), Err(CannotPress::NoMate));
    }

    /// By hand: a solid PETG pin of 8.04 mm in 8.00 mm of steel 6 mm thick. p = i / (d ((W + nu) / E + (1 - nu) / Ep)).
    #[test]
    fn a_printed_pin_in_a_metal_bore_is_squeezed_and_tightens_in_the_warm() {
        let pin = PressRequest { printed: Side::Shaft, ..request("PETG", Some(50.0)) };
        let pressed = pin.judge(&printed(8.04, 1e-6), Some(ROD)).unwrap();
        assert!((pressed.interference_mm.typical - 0.04).abs() < 1e-9 && pressed.printed == "pin");
        let value = |material: &'static Material, property| material.range(property).unwrap().typical;
        let (petg, steel) = (polymer("PETG").unwrap(), metal("steel").unwrap());
        let plastic = value(petg, Property::Modulus) * 750.0;
        let (nu, of_steel) = (value(petg, Property::PoissonRatio), value(steel, Property::PoissonRatio));
        let w = (400.0 + 64.0) / (400.0 - 64.0);
        let compliance = (w + of_steel) / (value(steel, Property::Modulus) * 1000.0) + (1.0 - nu) / plastic;
        let expected = 0.04 / (8.0 * compliance);
        assert!(
            (pressed.pressure_mpa.typical - expected).abs() < 1e-9 * expected,
            "{:?}",
            pressed.pressure_mpa
        );
        assert_eq!(pressed.hoop_stress_mpa.typical, pressed.pressure_mpa.typical);
        // 0.5 % of the diameter, less what the steel gives.
        assert!(
            (0.485..0.5).contains(&pressed.hoop_strain_percent.typical),
            "{:?}",
            pressed.hoop_strain_percent
        );
        assert!(pressed.warm.unwrap().interference_mm.typical > 0.05, "{:?}", pressed.warm);
        let said = pressed.cautions.join("\n");
        assert!(said.contains("cold again it may be loose") && said.contains("aslant"), "{said}");
        assert!(pressed.to_text().starts_with("PETG pin pressed into carbon steel, 6.0 mm thick: "));
        // A pin that is a tube bears on less.
        let tube = PressRequest { core_mm: 5.0, ..pin }.judge(&printed(8.04, 1e-6), Some(ROD)).unwrap();
        assert!(tube.pressure_mpa.typical < 0.6 * pressed.pressure_mpa.typical);
        assert!(tube.hoop_stress_mpa.typical > tube.pressure_mpa.typical);
        // Negative control: what a smaller pin has of interference is none.
        let loose = pin.judge(&printed(7.96, 1e-6), Some(ROD)).unwrap();
        assert_eq!(loose.pressure_mpa.typical, 0.0);
    }
}
