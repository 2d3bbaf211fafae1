//! What `materials` answers: properties, which materials a temperature leaves, what warmth does to sizes.

use serde::Serialize;

use super::ceiling::{Ceiling, Screening, ceiling, margin_k};
use super::motor::Warmth;
use super::warm::{FILLED_CAUTION, expansion, growth_mm, loosening_mm, relaxed_share};
use super::{Material, Property, Range, Structure, all, metal};

/// Where the mount's temperature comes from.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(tag = "known_from", rename_all = "snake_case")]
pub enum Temperature {
    /// The person says so, best because it was measured.
    Given {
        /// The mount, °C.
        mount_c: Range,
    },
    /// Reckoned from a motor's loss.
    Estimated {
        /// Case and mount.
        #[serde(flatten)]
        warmth: Warmth,
        /// Until it is as warm as it gets, minutes, where the motor's mass is known.
        minutes_to_steady: Option<Range>,
    },
}

impl Temperature {
    /// The mount, °C.
    pub fn mount_c(&self) -> Range {
        match self {
            Self::Given { mount_c } => *mount_c,
            Self::Estimated { warmth, .. } => warmth.mount_c,
        }
    }
}

/// Sizes of parts in the warm mount, mm; those that were asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sizes {
    /// Bores on a metal shaft or around a metal bush.
    pub bores_mm: Vec<f64>,
    /// How much smaller than the metal each bore is, where it is pressed, mm.
    pub interference_mm: Option<f64>,
    /// How long the press has held, hours.
    pub hours: Option<f64>,
    /// Lengths along the layers.
    pub spans_mm: Vec<f64>,
    /// Lengths across the layers.
    pub heights_mm: Vec<f64>,
    /// Pockets for steel nuts, across flats.
    pub nuts_mm: Vec<f64>,
    /// Holes for brass inserts.
    pub inserts_mm: Vec<f64>,
    /// Centre distances of belt drives on a printed frame.
    pub centres_mm: Vec<f64>,
}

/// What is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Request {
    /// The materials; empty for every polymer.
    pub materials: Vec<&'static Material>,
    /// How warm it gets.
    pub temperature: Option<Temperature>,
    /// Where sizes are right, °C.
    pub from_c: f64,
    /// What is in the mount.
    pub sizes: Sizes,
    /// The metal that bores and spans meet.
    pub mate: &'static Material,
}

/// What is answered.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Answer {
    /// How warm it gets.
    pub temperature: Option<Temperature>,
    /// Where sizes are right, °C.
    pub from_c: f64,
    /// The metal that bores and spans meet.
    pub mate: &'static str,
    /// Whether materials were named.
    #[serde(skip)]
    pub is_named: bool,
    /// The materials: with a temperature, those worth testing first.
    pub materials: Vec<Told>,
    /// What a reader must know.
    pub cautions: Vec<String>,
}

/// One material, told of.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Told {
    /// Its name in the tables.
    pub material: &'static str,
    /// The same for people.
    #[serde(skip)]
    pub label: &'static str,
    /// What a person calls it.
    pub title: &'static str,
    /// How warm it may get, by the tables.
    pub ceiling_c: Option<Ceiling>,
    /// How far that is above the temperature, K.
    pub margin_k: Option<Range>,
    /// What the tables say of the temperature.
    pub screening: Option<Screening>,
    /// How far the temperature is below each of the tables' own; empty without a temperature.
    pub limits: Vec<Limit>,
    /// What the tables have.
    pub properties: Vec<Listed>,
    /// What warmth does to the sizes.
    pub warm: Vec<Warmed>,
}

/// One of the tables' temperatures, and how far a mount is below it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Limit {
    /// Its name in the tables.
    pub property: &'static str,
    /// What a person calls it.
    #[serde(skip)]
    pub title: &'static str,
    /// The temperature, °C.
    pub limit_c: Range,
    /// How far it lies above the mount's, K: the low end meets the highest temperature.
    pub margin_k: Range,
}

/// The tables' temperatures that a mount is held against.
const LIMITS: [Property; 5] = [
    Property::GlassTransition,
    Property::HeatDeflectionLow,
    Property::HeatDeflectionHigh,
    Property::Vicat,
    Property::MaxOperating,
];

/// One property, as it is printed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Listed {
    /// Its name in the tables.
    pub property: &'static str,
    /// What a person calls it.
    #[serde(skip)]
    pub title: &'static str,
    /// Its unit; empty for a plain number.
    pub unit: &'static str,
    /// Its value; nothing where the tables have no reliable one.
    #[serde(flatten)]
    pub range: Option<Range>,
    /// What it holds for.
    pub condition: &'static str,
    /// Where the typical value comes from.
    pub source_typical: &'static str,
    /// Where low and high come from.
    pub source_range: &'static str,
}

/// What warmth does to one size.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Warmed {
    /// `bore`, `span`, `height`, `nut`, `insert`, `centre`.
    pub what: &'static str,
    /// The size, mm.
    pub size_mm: f64,
    /// By how much it grows, mm.
    pub growth_mm: Range,
    /// The metal in or beside it.
    pub metal: Option<&'static str>,
    /// By how much more than the metal it grows, mm: clearance gained, interference lost.
    pub over_metal_mm: Option<Range>,
    /// What is left of an interference, mm; below zero it is loose.
    pub interference_left_mm: Option<Range>,
    /// The share of the press's stress that relaxation leaves.
    pub stress_left: Option<Range>,
    /// What to make of it; may be empty.
    pub hint: &'static str,
}

const PRESS_HINT: &str =
    "its stress and what it holds: `shrinkrule size bore` with --fit press, --material and --wall";
const NUT_HINT: &str =
    "a nut is held by its corners: leave the pocket tight when cold, or a floor to stop it";
const INSERT_HINT: &str = "an insert set with heat lets go where the wall softens again, well before the glass transition under load";
const CENTRE_HINT: &str =
    "the belt is stretched by up to twice as much, or the tensioner gives way by as much";

impl Request {
    /// Answers it.
    pub fn answer(&self) -> Answer {
        let named = !self.materials.is_empty();
        let asked: Vec<&'static Material> = if named {
            self.materials.clone()
        } else {
            all().iter().filter(|material| material.is_polymer()).collect()
        };
        let mut materials: Vec<Told> = asked.iter().map(|material| self.told(material)).collect();
        if self.temperature.is_some() {
            let ceiling =
                |told: &Told| told.ceiling_c.map_or(f64::INFINITY, |ceiling| ceiling.range_c.typical);
            materials.sort_by(|a, b| a.screening.cmp(&b.screening).then(ceiling(a).total_cmp(&ceiling(b))));
        }
        let is_filled = |material: &&&Material| material.structure == Structure::Filled;
        let warm = materials.iter().any(|told| !told.warm.is_empty());
        Answer {
            temperature: self.temperature,
            from_c: self.from_c,
            mate: self.mate.name,
            is_named: named,
            materials,
            cautions: self.cautions(
                warm && asked.iter().any(|material| is_filled(&material)),
                warm && asked.iter().any(|material| self.may_pass_glass(material)),
            ),
        }
    }

    fn told(&self, material: &'static Material) -> Told {
        let ceiling_c = ceiling(material);
        let mount_c = self.temperature.map(|temperature| temperature.mount_c());
        let at = ceiling_c.zip(mount_c);
        let limit = |property: &Property| {
            let (limit_c, at) = (material.range(*property)?, mount_c?);
            let margin_k = margin_k(limit_c, at);
            Some(Limit { property: property.name(), title: property.title(), limit_c, margin_k })
        };
        let listed = |(property, value): (Property, &super::Value)| Listed {
            property: property.name(),
            title: property.title(),
            unit: property.unit(),
            range: value.range,
            condition: value.condition,
            source_typical: value.source_typical,
            source_range: value.source_range,
        };
        Told {
            material: material.name,
            label: material.label,
            title: material.title,
            ceiling_c,
            margin_k: at.map(|(ceiling, at)| ceiling.margin_k(at)),
            screening: at.map(|(ceiling, at)| ceiling.at(at)),
            limits: LIMITS.iter().filter_map(limit).collect(),
            properties: material.values().map(listed).collect(),
            warm: mount_c.map_or_else(Vec::new, |mount_c| self.warmed(material, mount_c)),
        }
    }

    /// What warmth does to every size, in the order in which they are asked for.
    fn warmed(&self, material: &'static Material, mount_c: Range) -> Vec<Warmed> {
        let rise = mount_c.map(|celsius| celsius - self.from_c);
        let sizes = &self.sizes;
        let brass = metal("brass").unwrap_or(self.mate);
        let steel = metal("steel").unwrap_or(self.mate);
        let mut warm = Vec::new();
        let mut take = |what, list: &[f64], across: bool, other: Option<&'static Material>, hint| {
            let Some(alpha) = expansion(material, across) else { return };
            for size_mm in list.iter().copied() {
                let beside = other.and_then(|other| Some((other.name, expansion(other, false)?)));
                warm.push(Warmed {
                    what,
                    size_mm,
                    growth_mm: growth_mm(alpha, size_mm, rise),
                    metal: beside.map(|(name, _)| name),
                    over_metal_mm: beside.map(|(_, metal)| loosening_mm(alpha, metal, size_mm, rise)),
                    interference_left_mm: None,
                    stress_left: None,
                    hint,
                });
            }
        };
        take("bore", &sizes.bores_mm, false, Some(self.mate), "");
        take("span", &sizes.spans_mm, false, Some(self.mate), "");
        take("height", &sizes.heights_mm, true, Some(self.mate), "");
        take("nut", &sizes.nuts_mm, false, Some(steel), NUT_HINT);
        take("insert", &sizes.inserts_mm, false, Some(brass), INSERT_HINT);
        take("centre", &sizes.centres_mm, false, None, CENTRE_HINT);
        for bore in warm.iter_mut().filter(|warmed| warmed.what == "bore") {
            let gained = bore.over_metal_mm.zip(sizes.interference_mm);
            bore.interference_left_mm = gained.map(|(gained, cold)| gained.map(|gained| cold - gained));
            if bore.interference_left_mm.is_some() {
                bore.hint = PRESS_HINT;
                let exponent = material.range(Property::RelaxationExponent);
                bore.stress_left = exponent.zip(sizes.hours).map(|(n, hours)| relaxed_share(n, hours));
            }
        }
        warm
    }

    /// Whether the temperature may be above the material's glass transition.
    fn may_pass_glass(&self, material: &Material) -> bool {
        let glass = material.range(Property::GlassTransition);
        glass.zip(self.temperature).is_some_and(|(glass, at)| at.mount_c().high > glass.low)
    }

    fn cautions(&self, is_filled: bool, passes_glass: bool) -> Vec<String> {
        let mut cautions = vec![
            "tables of generic materials: grades and prints differ, and heat deflection and Vicat temperatures are no service \
             limits; nothing here is a promise. Print and measure: shrinkrule coupons heat"
                .to_owned(),
        ];
        if let Some(Temperature::Estimated { .. }) = self.temperature {
            cautions.push(
                "the temperature is an estimate, its ends those of the inputs: measure at the bolts once the motor is as \
                 warm as it gets. The motor's data sheet decides what the motor itself may get"
                    .to_owned(),
            );
        }
        if self.temperature.is_some() {
            cautions.push(
                "a case above about 60 °C burns on contact; softened parts let go of what they hold. Local rules and the \
                 makers' data sheets come first"
                    .to_owned(),
            );
        }
        if passes_glass {
            cautions.push(
                "growth is reckoned for below the glass transition: above it, polymers expand about twice as much, creep, and do not \
                 come back to their size"
                    .to_owned(),
            );
        }
        if is_filled {
            cautions.push(format!("fibre-filled: expansion is {FILLED_CAUTION}"));
        }
        cautions
    }
}

impl Answer {
    /// Whether every material that was named is out at the temperature.
    pub fn is_no(&self) -> bool {
        let out = |told: &Told| told.screening == Some(Screening::Out);
        self.is_named && self.materials.iter().all(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::material::{Among, find};

    fn request(names: &[&str], at: Option<&str>) -> Request {
        let mount_c = at.map(|at| at.parse().unwrap());
        Request {
            materials: names.iter().map(|name| find(name, Among::All).unwrap()).collect(),
            temperature: mount_c.map(|mount_c| Temperature::Given { mount_c }),
            from_c: 20.0,
            sizes: Sizes::default(),
            mate: metal("steel").unwrap(),
        }
    }

    #[test]
    fn at_75_to_90_degrees_what_may_hold_comes_first_and_what_is_out_last() {
        let answer = request(&[], Some("75..90")).answer();
        let of = |screening| {
            let told = answer.materials.iter().filter(|told| told.screening == Some(screening));
            told.map(|told| told.material).collect::<Vec<_>>()
        };
        assert_eq!(of(Screening::WorthTesting), ["PPS", "PC", "PEEK", "PEI", "PPS_CF"]);
        assert_eq!(of(Screening::Doubtful), ["ASA", "PC_ABS", "PET_CF", "PA_CF"]);
        assert_eq!(of(Screening::Out), ["PLA", "PA12", "PP", "PLA_annealed", "PA6", "PETG", "ABS"]);
        assert_eq!(answer.materials[0].material, "PPS");
        assert!(!answer.is_no(), "nobody asked for one material");
        assert!(request(&["PLA", "PETG"], Some("75..90")).answer().is_no());
        assert!(!request(&["PLA", "PC"], Some("75..90")).answer().is_no());
    }

    /// Source: worked examples of ABS from 20 to 60 °C on steel: 8 mm loosen by 0.0251 mm, so 0.05 mm of
    /// interference become 0.0249.
    #[test]
    fn a_press_fit_keeps_what_expansion_leaves() {
        let mut request = request(&["ABS"], Some("60"));
        request.sizes = Sizes {
            bores_mm: vec![8.0],
            interference_mm: Some(0.05),
            hours: Some(1000.0),
            ..Sizes::default()
        };
        let answer = request.answer();
        let bore = &answer.materials[0].warm[0];
        assert!((bore.over_metal_mm.unwrap().typical - 0.0251).abs() < 0.00005, "{bore:?}");
        let left = bore.interference_left_mm.unwrap();
        assert!((left.typical - 0.0249).abs() < 0.00005 && left.low < left.typical, "{left:?}");
        // The tables' exponents of ABS are 0.06 to 0.12.
        let share = bore.stress_left.unwrap();
        assert!(
            (share.low - 1000_f64.powf(-0.12)).abs() < 1e-12
                && (share.high - 1000_f64.powf(-0.06)).abs() < 1e-12
        );
    }

    #[test]
    fn the_margin_to_each_of_the_tables_temperatures_is_told() {
        let answer = request(&["PETG"], Some("55..65")).answer();
        let limits = &answer.materials[0].limits;
        let told: Vec<(&str, f64, f64, f64)> = limits
            .iter()
            .map(|limit| (limit.property, limit.margin_k.low, limit.margin_k.typical, limit.margin_k.high))
            .collect();
        // Of the tables' 70, 81, 88 and so on.
        assert_eq!(
            told,
            [
                ("glass_transition", 5.0, 21.0, 33.0),
                ("hdt_0.45MPa", 3.0, 13.0, 23.0),
                ("hdt_1.80MPa", -3.0, 9.0, 17.0),
                ("vicat_B50", 9.0, 20.0, 30.0),
            ]
        );
        assert!(request(&["PETG"], None).answer().materials[0].limits.is_empty());
    }

    #[test]
    fn a_metal_has_properties_and_no_ceiling() {
        let answer = request(&["steel"], None).answer();
        let told = &answer.materials[0];
        assert_eq!((told.material, told.ceiling_c, told.properties.len()), ("steel_carbon", None, 5));
        assert_eq!(told.properties[0].title, "expansion along the layers");
    }

    #[test]
    fn a_drive_on_a_warm_frame_and_heights_take_their_own_direction() {
        let mut request = request(&["PETG"], Some("60"));
        request.sizes = Sizes {
            heights_mm: vec![50.0],
            spans_mm: vec![50.0],
            centres_mm: vec![100.0],
            inserts_mm: vec![4.0],
            ..Sizes::default()
        };
        let answer = request.answer();
        let warm = &answer.materials[0].warm;
        let typical: Vec<f64> = warm.iter().map(|warmed| (warmed.growth_mm.typical * 1e4).round()).collect();
        // 68e-6 along and 75e-6 across the layers, 40 K.
        assert_eq!(
            warm.iter().map(|warmed| warmed.what).collect::<Vec<_>>(),
            ["span", "height", "insert", "centre"]
        );
        assert_eq!(typical, [1360.0, 1500.0, 109.0, 2720.0]);
        assert_eq!(warm[2].metal, Some("brass_free_cutting"));
        assert_eq!(warm[3].over_metal_mm, None);
        let says_glass =
            |answer: &Answer| answer.cautions.iter().any(|caution| caution.contains("glass transition"));
        assert!(!says_glass(&answer));
        request.temperature = Some(Temperature::Given { mount_c: Range::exactly(72.0) });
        // PETG's is 70 to 88 °C.
        assert!(says_glass(&request.answer()));
    }
}
