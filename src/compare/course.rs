//! The change as a function of the soak's temperature, and up to which temperature a material holds.
//!
//! Where pieces stood two temperatures or more for one time, a polynomial of the order that the data bear out goes
//! through the changes of the pieces. Where the repeats say that it misfits (a plastic that lets go at its
//! glass transition makes a step), the nearest rising or falling course does, with the intervals of the soaks it
//! runs between; what is sure is then said of the soaks themselves only. Nothing is said beyond the temperatures that were measured.
//!
//! A piece that went through several temperatures one after the other carries what is its own through all of
//! them. Its points are no independent ones, so the course then is no surer than the soaks it runs between.

use crate::stats::monotone;
use crate::stats::trend::{self, Polynomial};

use super::finding::Finding;
use super::group::Group;
use super::pairing::Study;

/// A misfit that chance would give less often than this sends the polynomial away.
const MISFIT: f64 = 0.05; // the customary level

/// Temperatures are looked at in steps of this, Celsius.
const STEP_C: f64 = 0.5;

/// What runs through the changes.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A polynomial.
    Polynomial(Polynomial),
    /// A rising or falling course through the means: the value at each temperature.
    Monotone(Vec<f64>),
}

/// The change of one group of one material against temperature.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Number of the material.
    pub material: usize,
    /// The features.
    pub group: Group,
    /// How long the soaks lasted, hours.
    pub soak_h: Option<f64>,
    /// The temperatures, rising, Celsius.
    pub temperatures_c: Vec<f64>,
    /// Change of each piece by temperature, mm.
    pub points: Vec<(f64, f64)>,
    /// Half the width of the interval of each soak, mm, in the order of the temperatures; infinite where it
    /// has none.
    half_widths_mm: Vec<f64>,
    /// Whether every piece stood one temperature only.
    independent: bool,
    /// What runs through them.
    pub shape: Shape,
    /// The size that the change is given at, mm.
    pub at_mm: f64,
    /// Up to where it holds.
    pub ceiling: Reach,
}

/// Up to which temperature a change stays within the limit, Celsius.
#[derive(Clone, Copy, Debug, Default, PartialEq, serde::Serialize)]
pub struct Reach {
    /// The mean does up to here; `None`: not even at the coolest soak.
    pub holds_to_c: Option<f64>,
    /// Surely up to here: the whole interval lies within the limit; `None`: not surely at any.
    pub surely_to_c: Option<f64>,
    /// Surely no more from here on: the whole interval lies beyond it; `None`: not within what was measured.
    pub surely_not_from_c: Option<f64>,
    /// The hottest soak.
    pub measured_to_c: f64,
}

/// Up to which temperature a material holds in every group.
#[derive(Clone, Debug, PartialEq)]
pub struct Ceiling {
    /// Number of the material.
    pub material: usize,
    /// Up to where.
    pub reach: Reach,
    /// The group that gives way first.
    pub first: Group,
}

impl Course {
    /// The change at a temperature with half the width of its interval; `None` beyond what was measured.
    pub fn at(&self, celsius: f64) -> Option<(f64, f64)> {
        let (low, high) = (*self.temperatures_c.first()?, *self.temperatures_c.last()?);
        if !(low..=high).contains(&celsius) {
            return None;
        }
        Some(match &self.shape {
            Shape::Polynomial(polynomial) => {
                let fitted = polynomial.at(celsius);
                let least = if self.independent { 0.0 } else { self.half_width(celsius)? };
                (fitted.value, fitted.half_width.max(least))
            }
            Shape::Monotone(values) => {
                (monotone::between(&self.temperatures_c, values, celsius)?, self.half_width(celsius)?)
            }
        })
    }

    /// Half the width of the interval between two soaks.
    fn half_width(&self, celsius: f64) -> Option<f64> {
        monotone::between(&self.temperatures_c, &self.half_widths_mm, celsius)
    }

    /// Coefficients in ascending powers of the temperature, where it is a polynomial.
    pub fn coefficients(&self) -> Option<Vec<f64>> {
        match &self.shape {
            Shape::Polynomial(polynomial) => Some(polynomial.coefficients()),
            Shape::Monotone(_) => None,
        }
    }

    /// What it is called.
    pub fn name(&self) -> &'static str {
        match &self.shape {
            Shape::Polynomial(polynomial) => {
                ["constant", "line", "parabola", "cubic"][polynomial.order.min(3)]
            }
            Shape::Monotone(_) => "monotone course",
        }
    }

    fn reach(&self, limit_mm: f64) -> Reach {
        let (low, high) = match (self.temperatures_c.first(), self.temperatures_c.last()) {
            (Some(low), Some(high)) => (*low, *high),
            _ => return Reach::default(),
        };
        let mut reach = Reach { measured_to_c: high, ..Reach::default() };
        let (mut holds, mut surely) = (true, true);
        // Between two soaks of a course that no formula fits, anything may happen.
        let by_formula = matches!(self.shape, Shape::Polynomial(_)) && self.independent;
        let is_sure = |celsius: f64| by_formula || self.temperatures_c.contains(&celsius);
        let steps = ((high - low) / STEP_C).round() as u32;
        for step in 0..=steps {
            let celsius = (low + STEP_C * f64::from(step)).min(high);
            let Some((value, half)) = self.at(celsius) else { break };
            holds &= value.abs() < limit_mm;
            surely &= !is_sure(celsius) || value.abs() + half < limit_mm;
            if holds {
                reach.holds_to_c = Some(celsius);
            }
            if surely && is_sure(celsius) {
                reach.surely_to_c = Some(celsius);
            }
            if is_sure(celsius) && value.abs() - half > limit_mm {
                reach.surely_not_from_c = Some(celsius);
                break;
            }
        }
        reach
    }
}

/// The courses of materials that stood two temperatures or more, for each time that they stood them.
pub fn courses(study: &Study, findings: &[Finding], limit_mm: f64) -> Vec<Course> {
    let mut keys: Vec<(usize, Group, Option<u64>)> = findings
        .iter()
        .filter(|finding| study.conditions[finding.condition].soak_c.is_some())
        .map(|finding| {
            let hours = study.conditions[finding.condition].soak_h;
            (finding.material, finding.group, hours.map(f64::to_bits))
        })
        .collect();
    keys.sort_unstable();
    keys.dedup();
    let of = |(material, group, hours): &(usize, Group, Option<u64>)| {
        let mut members: Vec<(f64, &Finding)> = findings
            .iter()
            .filter(|finding| (finding.material, finding.group) == (*material, *group))
            .filter(|finding| study.conditions[finding.condition].soak_h.map(f64::to_bits) == *hours)
            .filter_map(|finding| Some((study.conditions[finding.condition].soak_c?, finding)))
            .collect();
        members.sort_by(|a, b| a.0.total_cmp(&b.0));
        course(&members, hours.map(f64::from_bits), limit_mm)
    };
    keys.iter().filter_map(of).collect()
}

fn course(members: &[(f64, &Finding)], soak_h: Option<f64>, limit_mm: f64) -> Option<Course> {
    let first = members.first()?.1;
    let mut temperatures_c: Vec<f64> = members.iter().map(|member| member.0).collect();
    temperatures_c.dedup();
    if temperatures_c.len() < 2 {
        return None;
    }
    let points: Vec<(f64, f64)> = members
        .iter()
        .flat_map(|(celsius, finding)| finding.pieces.iter().map(|piece| (*celsius, piece.1)))
        .collect();
    let shape = match trend::chosen(&points) {
        Some(best) if best.p_lack_of_fit.is_none_or(|p| p >= MISFIT) => Shape::Polynomial(best),
        _ => Shape::Monotone(monotone_values(members, &temperatures_c)?),
    };
    let half_width = |celsius: &f64| {
        let of = members.iter().filter(|member| member.0 == *celsius);
        let widths = of.map(|(_, finding)| finding.estimate.map_or(f64::INFINITY, |it| it.half_width(0.95)));
        widths.fold(0.0, f64::max)
    };
    let mut pieces: Vec<usize> =
        members.iter().flat_map(|(_, finding)| finding.pieces.iter().map(|piece| piece.0)).collect();
    pieces.sort_unstable();
    let mut course = Course {
        material: first.material,
        group: first.group,
        soak_h,
        half_widths_mm: temperatures_c.iter().map(half_width).collect(),
        independent: pieces.windows(2).all(|pair| pair[0] != pair[1]),
        temperatures_c,
        points,
        shape,
        at_mm: first.at_mm,
        ceiling: Reach::default(),
    };
    course.ceiling = course.reach(limit_mm);
    Some(course)
}

/// The nearest rising or falling course through the means.
fn monotone_values(members: &[(f64, &Finding)], temperatures_c: &[f64]) -> Option<Vec<f64>> {
    let at = |celsius: &f64| {
        let finding = members.iter().find(|member| member.0 == *celsius)?.1;
        // A soak with one piece has no spread of its own and counts least.
        let se = finding.estimate.map_or(1.0, |estimate| estimate.se.max(1e-6));
        Some((finding.mean_mm, se.powi(-2)))
    };
    let at: Vec<(f64, f64)> = temperatures_c.iter().map(at).collect::<Option<_>>()?;
    let (values, weights): (Vec<f64>, Vec<f64>) = at.into_iter().unzip();
    Some(monotone::nearest(&values, &weights))
}

/// Up to where each material holds in all groups at once; of several times, the longest.
pub fn ceilings(study: &Study, courses: &[Course], findings: &[Finding]) -> Vec<Ceiling> {
    let of = |material: usize| {
        let own: Vec<&Course> = courses.iter().filter(|course| course.material == material).collect();
        let longest = own.iter().filter_map(|course| course.soak_h).max_by(f64::total_cmp);
        let own: Vec<&&Course> = own.iter().filter(|course| course.soak_h == longest).collect();
        let groups = findings.iter().filter(|finding| finding.material == material);
        let mut groups: Vec<Group> = groups.map(|finding| finding.group).collect();
        groups.sort_unstable();
        groups.dedup();
        // A group without a course could give way anywhere.
        if own.len() < groups.len() {
            return None;
        }
        let end = |value: Option<f64>| value.unwrap_or(f64::NEG_INFINITY);
        let least = |which: fn(&Reach) -> Option<f64>| -> Option<f64> {
            let least = own.iter().map(|course| end(which(&course.ceiling))).fold(f64::INFINITY, f64::min);
            least.is_finite().then_some(least)
        };
        let first = own.iter().min_by(|a, b| {
            end(a.ceiling.holds_to_c)
                .total_cmp(&end(b.ceiling.holds_to_c))
                .then(end(a.ceiling.surely_to_c).total_cmp(&end(b.ceiling.surely_to_c)))
        })?;
        let gone = own.iter().filter_map(|course| course.ceiling.surely_not_from_c).min_by(f64::total_cmp);
        let reach = Reach {
            holds_to_c: least(|reach| reach.holds_to_c),
            surely_to_c: least(|reach| reach.surely_to_c),
            surely_not_from_c: gone,
            measured_to_c: own
                .iter()
                .map(|course| course.ceiling.measured_to_c)
                .fold(f64::INFINITY, f64::min),
        };
        Some(Ceiling { material, reach, first: first.group })
    };
    (0..study.materials.len()).filter_map(of).collect()
}

impl Reach {
    /// `holds to 72 °C (surely to 68 °C, surely no more from 76 °C on)`.
    pub fn in_words(&self) -> String {
        let to = match self.holds_to_c {
            Some(celsius) if celsius >= self.measured_to_c => {
                format!("holds to {celsius:.0} °C, the hottest measured")
            }
            Some(celsius) => format!("holds to {celsius:.0} °C"),
            None => "does not hold at the coolest soak".to_owned(),
        };
        let surely = self.surely_to_c.map(|celsius| format!("surely to {celsius:.0} °C"));
        let not = self.surely_not_from_c.map(|celsius| format!("surely no more from {celsius:.0} °C on"));
        let doubts: Vec<String> = surely.into_iter().chain(not).collect();
        if doubts.is_empty() {
            format!("{to}, without certainty")
        } else {
            format!("{to} ({})", doubts.join(", "))
        }
    }
}
