//! Polymers to print and the metals that they meet, as tables know them: low, typical, high, and the source.
//!
//! ```text
//! name -> Material -> Property -> Value: range, condition, where it comes from
//!            |-> ceiling: how warm it may get, by the tables;  motor: how warm a mount gets
//!            '-> warm: what grows and loosens at that temperature
//! all of it -> answer: what `materials` prints
//! ```
//!
//! Generic materials, no trade names. A value is never a promise: grades differ, prints differ, and heat
//! deflection and Vicat temperatures compare materials; they are no service limits. What is not known is
//! `None`.
//!
//! Source: `data/materials`; every value carries its own label, the keys are in its README.

pub mod answer;
pub mod ceiling;
pub mod motor;
pub mod property;
mod text;
pub mod value;
pub mod warm;

use std::collections::BTreeMap;
use std::sync::OnceLock;

use crate::problem::nearest;
use crate::tables::built_in::{self, Row};
pub use property::Property;
pub use value::{Range, Value};

const NAMES: &str = include_str!("../../data/materials/names.csv");
const POLYMERS: &str = include_str!("../../data/materials/polymers.csv");
const LONG_TERM: &str = include_str!("../../data/materials/long_term.csv");
const METALS: &str = include_str!("../../data/materials/metals.csv");

/// What a material is made like, which decides what heat does to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Structure {
    /// A polymer that goes soft at its glass transition.
    Amorphous,
    /// A polymer whose crystals carry beyond the glass transition.
    Crystalline,
    /// A polymer with fibres, which carry as well.
    Filled,
    /// A metal.
    Metal,
}

/// One material of the tables.
#[derive(Clone, Debug, PartialEq)]
pub struct Material {
    /// Its name in the tables: `PETG`, `PA_CF`, `steel_carbon`.
    pub name: &'static str,
    /// The same for people: `PETG`, `PA-CF`, `carbon steel`.
    pub label: &'static str,
    /// What a person calls it.
    pub title: &'static str,
    /// What it is made like.
    pub structure: Structure,
    aliases: Vec<&'static str>,
    values: BTreeMap<Property, Value>,
}

impl Material {
    /// What the tables say of this property; `None` when they do not mention it.
    pub fn value(&self, property: Property) -> Option<&Value> {
        self.values.get(&property)
    }

    /// Low, typical and high of this property; `None` when the tables have no reliable value.
    pub fn range(&self, property: Property) -> Option<Range> {
        self.value(property)?.range
    }

    /// Every property that the tables mention, in the order of [`Property::ALL`].
    pub fn values(&self) -> impl Iterator<Item = (Property, &Value)> {
        self.values.iter().map(|(property, value)| (*property, value))
    }

    /// Whether it is printed.
    pub fn is_polymer(&self) -> bool {
        self.structure != Structure::Metal
    }

    fn is_called(&self, folded: &str) -> bool {
        self.spellings().any(|spelling| fold(spelling) == folded)
    }

    fn spellings(&self) -> impl Iterator<Item = &'static str> + '_ {
        [self.name, self.label, self.title].into_iter().chain(self.aliases.iter().copied())
    }
}

/// What a name is looked for among.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Among {
    /// Polymers and metals.
    All,
    /// What can be printed.
    Polymers,
    /// What a print meets.
    Metals,
}

impl Among {
    fn holds(self, material: &Material) -> bool {
        match self {
            Self::All => true,
            Self::Polymers => material.is_polymer(),
            Self::Metals => !material.is_polymer(),
        }
    }

    fn noun(self) -> &'static str {
        match self {
            Self::All => "material",
            Self::Polymers => "polymer",
            Self::Metals => "metal",
        }
    }
}

/// Why there is no such material.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoMaterial {
    /// The name is in no table.
    #[error("`{name}` is no {} of the tables; they know {}", among.noun(), names(*among).join(", "))]
    Unknown {
        /// The name that was asked for.
        name: String,
        /// Where it was looked for.
        among: Among,
        /// The closest name, when one is close.
        nearest: Option<&'static str>,
    },
    /// The name is that of several.
    #[error("`{name}` is several {}s of the tables: {}", among.noun(), candidates.join(", "))]
    Several {
        /// The name that was asked for.
        name: String,
        /// Where it was looked for.
        among: Among,
        /// Those that it may mean.
        candidates: Vec<&'static str>,
    },
}

impl NoMaterial {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Unknown { nearest, .. } => nearest.map(|name| format!("did you mean {name}?")),
            Self::Several { .. } => Some("name the one that you mean".to_owned()),
        }
    }
}

/// Every material of the tables, polymers first.
pub fn all() -> &'static [Material] {
    static MATERIALS: OnceLock<Vec<Material>> = OnceLock::new();
    MATERIALS.get_or_init(read)
}

/// The names of those that are looked for here, in the tables' order.
pub fn names(among: Among) -> Vec<&'static str> {
    all().iter().filter(|material| among.holds(material)).map(|material| material.label).collect()
}

/// The material of this name; capitals, spaces, `-`, `_` and `/` do not matter.
///
/// # Errors
/// When the tables do not have it, or the name is that of several.
pub fn find(name: &str, among: Among) -> Result<&'static Material, NoMaterial> {
    let folded = fold(name);
    let known = || all().iter().filter(|material| among.holds(material));
    if let Some(material) = known().find(|material| material.is_called(&folded)) {
        return Ok(material);
    }
    let begins = |material: &&Material| {
        let mut spellings = material.spellings();
        !folded.is_empty() && spellings.any(|spelling| fold(spelling).starts_with(&folded))
    };
    let candidates: Vec<&'static str> = known().filter(begins).map(|material| material.label).collect();
    let name = name.trim().to_owned();
    if candidates.len() > 1 {
        return Err(NoMaterial::Several { name, among, candidates });
    }
    let nearest = candidates.first().copied().or_else(|| {
        let spellings = known().flat_map(|material| material.spellings().map(|word| (material.label, word)));
        let spellings: Vec<(&'static str, &'static str)> = spellings.collect();
        let word = nearest(&name, spellings.iter().map(|(_, word)| *word))?;
        spellings.iter().find(|(_, spelling)| *spelling == word).map(|(name, _)| *name)
    });
    Err(NoMaterial::Unknown { name, among, nearest })
}

/// The polymer of this name; see [`find`].
///
/// # Errors
/// When the tables do not have it.
pub fn polymer(name: &str) -> Result<&'static Material, NoMaterial> {
    find(name, Among::Polymers)
}

/// The metal of this name; see [`find`].
///
/// # Errors
/// When the tables do not have it.
pub fn metal(name: &str) -> Result<&'static Material, NoMaterial> {
    find(name, Among::Metals)
}

/// A name without what people write differently.
fn fold(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn read() -> Vec<Material> {
    let leak = |text| -> &'static [Row] { Box::leak(built_in::rows(text).into_boxed_slice()) };
    let mut materials: Vec<Material> = leak(NAMES).iter().map(read_name).collect();
    for (rows, sources) in [
        (leak(POLYMERS), ["source_typical", "source_range"]),
        (leak(LONG_TERM), ["source_typical", "source_range"]),
        (leak(METALS), ["source", "source"]),
    ] {
        for row in rows {
            let name = row.text("material");
            let material = materials.iter_mut().find(|material| material.name == name);
            let material = material.expect("every material of the tables has a name in names.csv");
            let property = Property::from_table(row.text("property"), row.text("unit"));
            let property = property.expect("every property of the tables is known here, in its unit");
            material.values.insert(property, read_value(row, sources));
        }
    }
    materials
}

fn read_name(row: &'static Row) -> Material {
    let structure = match row.text("structure") {
        "amorphous" => Structure::Amorphous,
        "crystalline" => Structure::Crystalline,
        "filled" => Structure::Filled,
        _ => Structure::Metal,
    };
    Material {
        name: row.text("material"),
        label: row.text("label"),
        title: row.text("title"),
        structure,
        aliases: row.text("aliases").split(';').filter(|alias| !alias.is_empty()).collect(),
        values: BTreeMap::new(),
    }
}

/// A value whose low or high is left out has only the typical one.
fn read_value(row: &'static Row, [typical_source, range_source]: [&str; 2]) -> Value {
    let range = row.number("typical").map(|typical| Range {
        low: row.number("low").unwrap_or(typical),
        typical,
        high: row.number("high").unwrap_or(typical),
    });
    Value {
        range,
        condition: row.text("condition"),
        source_typical: row.text(typical_source),
        source_range: row.text(range_source),
    }
}

#[cfg(test)]
mod tests;
