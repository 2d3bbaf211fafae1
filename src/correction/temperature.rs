//! Sizes at 20 °C from readings at another temperature: part and caliper grow together, the part by more.
//!
//! ```text
//! size at 20 = reading (1 + (caliper - part) (T - 20))
//! ```
//!
//! which is one factor for all sizes of a sheet. What is not known of the part's expansion and of the
//! thermometer is a common error of all scales and is added to their variance.
//!
//! Source: ISO 1 (20 °C); the formula is the definition of the two expansions.

use crate::readings::Conditions;
use crate::readings::expansion::Expansion;

use super::{Correction, Term};

/// The temperature that sizes hold at, Celsius.
const REFERENCE_C: f64 = 20.0;
/// A thermometer in a room is off by this at the most, Celsius. Common practice, no source.
const THERMOMETER_C: f64 = 1.0;
/// A person's own value of the expansion is off by this share at the most. Judged.
const OWN_SHARE: f64 = 0.1;

/// How readings become sizes at 20 °C.
#[derive(Clone, Debug, PartialEq)]
pub struct ToReference {
    /// Readings are multiplied by this.
    pub factor: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// What was done and what was assumed, for the person.
    pub said: String,
}

impl ToReference {
    /// For one setup of a sheet; `own` is the expansion that the person gives, 1/K. `None` where the sheet
    /// says no temperature, or 20 °C.
    pub fn of(conditions: &Conditions, setup: &str, own: Option<f64>) -> Option<Self> {
        let celsius = conditions.temperature_c.filter(|celsius| *celsius != REFERENCE_C)?;
        let (part, source) = part(conditions, setup, own);
        let caliper = Expansion::of_caliper();
        let (more, difference) = (celsius - REFERENCE_C, caliper.typical - part.typical);
        let u_thermometer = THERMOMETER_C / 3.0_f64.sqrt();
        let u = (more * part.u()).hypot(more * caliper.u()).hypot(difference * u_thermometer);
        let millionths = |expansion: f64| (expansion * 1e7).round() / 10.0;
        let said = format!(
            "measured at {celsius} °C: sizes are brought to 20 °C, {:+.3} mm on 100 mm, known to ± {:.3} mm (95 %); the part grows by {} millionths per °C ({source}; {} to {}), the steel caliper by {}, and a thermometer is off by up to {THERMOMETER_C} °C",
            100.0 * difference * more,
            200.0 * u,
            millionths(part.typical),
            millionths(part.low),
            millionths(part.high),
            millionths(caliper.typical),
        );
        Some(Self { factor: 1.0 + difference * more, u, said })
    }

    /// Adds what is not known of the factor, and the words, to a correction fitted to brought sizes.
    pub(super) fn account(&self, correction: &mut Correction) {
        let is_scale =
            |term: &Term| matches!(term, Term::Scale | Term::ScaleOf(_) | Term::ScaleInPlane | Term::ScaleZ);
        let scales: Vec<usize> =
            (0..correction.terms.len()).filter(|at| is_scale(&correction.terms[*at])).collect();
        for row in &scales {
            for column in &scales {
                correction.covariance[*row][*column] += self.u * self.u;
            }
        }
        correction.warnings.push(self.said.clone());
    }
}

/// The part's expansion and where it is from.
fn part(conditions: &Conditions, setup: &str, own: Option<f64>) -> (Expansion, String) {
    if let Some(typical) = own {
        let off = OWN_SHARE * typical;
        let expansion = Expansion { low: typical - off, typical, high: typical + off };
        return (expansion, "yours, taken to be good to a tenth".to_owned());
    }
    if let Some(material) = &conditions.material
        && let Some(expansion) = Expansion::of(material)
    {
        return (expansion, material.clone());
    }
    if let (None, Some((material, expansion))) = (&conditions.material, Expansion::named_in(setup)) {
        return (expansion, format!("{material}, by the setup's name"));
    }
    let known = "assumed for a plastic of which nothing is known: write `# material: petg` above the header, or give --expansion";
    (Expansion::of_any_plastic(), known.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(celsius: f64, material: Option<&str>) -> Conditions {
        Conditions {
            temperature_c: Some(celsius),
            material: material.map(str::to_owned),
            ..Conditions::default()
        }
    }

    /// Computed by hand from the two expansions, 68 and 11.5 millionths: a PLA part of 20 mm is 2.3, 5.7 and
    /// 11.3 µm smaller at 20 °C than it reads at 22, 25 and 30 °C.
    #[test]
    fn a_pla_part_of_20_mm_reads_larger_when_it_is_warm() {
        for (celsius, micrometres) in [(22.0, -2.3), (25.0, -5.7), (30.0, -11.3)] {
            let to = ToReference::of(&at(celsius, Some("PLA")), "", None).unwrap();
            assert!((20_000.0 * (to.factor - 1.0) - micrometres).abs() < 0.0501, "{celsius}: {to:?}");
            // The part's own expansion alone, or the wrong way round, is another number.
            assert!((20_000.0 * 68e-6 * (celsius - 20.0) + micrometres).abs() > 0.3);
        }
    }

    #[test]
    fn what_is_assumed_and_how_well_it_is_known_is_said() {
        let to = ToReference::of(&at(30.0, Some("PETG")), "x", None).unwrap();
        assert_eq!(
            to.said,
            "measured at 30 °C: sizes are brought to 20 °C, -0.048 mm on 100 mm, known to ± 0.016 mm (95 %); the \
             part grows by 60 millionths per °C (PETG; 50 to 75), the steel caliper by 11.5, and a thermometer is \
             off by up to 1 °C"
        );
        // 10 K of (75 - 50) / sqrt(12), of (12.5 - 10.5) / sqrt(12), and 48.5 of 1 / sqrt(3), in millionths.
        let u = (72.17_f64.powi(2) + 5.77_f64.powi(2) + 28.0_f64.powi(2)).sqrt() * 1e-6;
        assert!((to.u / u - 1.0).abs() < 1e-3, "{}", to.u);
        let source = |conditions: &Conditions, setup: &str, own| {
            ToReference::of(conditions, setup, own).unwrap().said.contains("by the setup's name")
        };
        assert!(source(&at(30.0, None), "petg-0.4", None));
        assert!(!source(&at(30.0, Some("abs")), "petg-0.4", None));
        assert!(ToReference::of(&at(30.0, None), "x", None).unwrap().said.contains("nothing is known"));
        let own = ToReference::of(&at(30.0, Some("abs")), "x", Some(40e-6)).unwrap();
        assert!(own.said.contains("by 40 millionths per °C (yours, taken to be good to a tenth; 36 to 44)"));
    }

    #[test]
    fn without_a_temperature_or_at_20_degrees_nothing_is_done() {
        assert_eq!(ToReference::of(&Conditions::default(), "petg", None), None);
        assert_eq!(ToReference::of(&at(20.0, Some("PLA")), "petg", None), None);
    }
}
