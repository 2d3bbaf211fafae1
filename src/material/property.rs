//! What the tables give of a material.

use std::fmt;

/// One property.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Property {
    /// Glass transition, °C.
    GlassTransition,
    /// Melting, °C.
    Melting,
    /// Heat deflection at 0.45 MPa, °C.
    HeatDeflectionLow,
    /// Heat deflection at 1.80 MPa, °C.
    HeatDeflectionHigh,
    /// Vicat softening, 50 N and 50 K/h, °C.
    Vicat,
    /// Highest temperature for long use, by ageing, °C.
    MaxOperating,
    /// Expansion along the layers, 1e-6/K; a metal's in every direction.
    ExpansionInPlane,
    /// Expansion across the layers, 1e-6/K.
    ExpansionThroughLayers,
    /// Expansion measured on printed pieces, 1e-6/K.
    ExpansionPrinted,
    /// Tensile modulus, GPa; moulded, dry.
    Modulus,
    /// Tensile modulus of a polyamide in common air, GPa.
    ModulusConditioned,
    /// Tensile modulus across the layers, GPa.
    ModulusThroughLayers,
    /// Poisson's ratio.
    PoissonRatio,
    /// Density, g/cm3.
    Density,
    /// Shrinkage of a moulded part, %.
    MouldShrinkage,
    /// Shrinkage of a printed part along the layers, %.
    PrintShrinkage,
    /// Change of size along the layers in a free anneal, %.
    AnnealInPlane,
    /// Change of height in a free anneal, %.
    AnnealHeight,
    /// Water taken up in a day under water, %.
    WaterDay,
    /// Water taken up in common air, %.
    WaterInAir,
    /// Water taken up until saturated, %.
    WaterSaturated,
    /// Growth in common air, %.
    SwellingInAir,
    /// Growth when saturated with water, %.
    SwellingSaturated,
    /// Thermal conductivity, W/(m K).
    Conductivity,
    /// Strain that a lasting press fit may keep, %.
    StrainLimit,
    /// Exponent n of the relaxation law E(t) = E(1 h) * (t / 1 h)^-n.
    RelaxationExponent,
}

/// Name in the tables, unit there, unit as a person writes it, what a person calls it.
type Words = (&'static str, &'static str, &'static str, &'static str);

impl Property {
    /// Every property, in the order in which they are printed.
    pub const ALL: [Self; 26] = [
        Self::GlassTransition,
        Self::Melting,
        Self::HeatDeflectionLow,
        Self::HeatDeflectionHigh,
        Self::Vicat,
        Self::MaxOperating,
        Self::ExpansionInPlane,
        Self::ExpansionThroughLayers,
        Self::ExpansionPrinted,
        Self::Modulus,
        Self::ModulusConditioned,
        Self::ModulusThroughLayers,
        Self::PoissonRatio,
        Self::Density,
        Self::MouldShrinkage,
        Self::PrintShrinkage,
        Self::AnnealInPlane,
        Self::AnnealHeight,
        Self::WaterDay,
        Self::WaterInAir,
        Self::WaterSaturated,
        Self::SwellingInAir,
        Self::SwellingSaturated,
        Self::Conductivity,
        Self::StrainLimit,
        Self::RelaxationExponent,
    ];

    fn words(self) -> Words {
        let temperature = |name, title| (name, "C", "°C", title);
        let expansion = |name, title| (name, "1e-6/K", "1e-6/K", title);
        let modulus = |name, title| (name, "GPa", "GPa", title);
        let percent = |name, title| (name, "%", "%", title);
        match self {
            Self::GlassTransition => temperature("glass_transition", "glass transition"),
            Self::Melting => temperature("melting", "melting"),
            Self::HeatDeflectionLow => temperature("hdt_0.45MPa", "heat deflection, 0.45 MPa"),
            Self::HeatDeflectionHigh => temperature("hdt_1.80MPa", "heat deflection, 1.80 MPa"),
            Self::Vicat => temperature("vicat_B50", "Vicat, 50 N, 50 K/h"),
            Self::MaxOperating => temperature("max_operating", "long use, by ageing"),
            Self::ExpansionInPlane => expansion("cte_in_plane", "expansion along the layers"),
            Self::ExpansionThroughLayers => expansion("cte_through_layers", "expansion across the layers"),
            Self::ExpansionPrinted => expansion("cte_printed", "expansion, measured on prints"),
            Self::Modulus => modulus("tensile_modulus", "tensile modulus"),
            Self::ModulusConditioned => modulus("tensile_modulus_conditioned", "tensile modulus, in air"),
            Self::ModulusThroughLayers => modulus("tensile_modulus_z", "tensile modulus across the layers"),
            Self::PoissonRatio => ("poisson_ratio", "1", "", "Poisson's ratio"),
            Self::Density => ("density", "g/cm3", "g/cm³", "density"),
            Self::MouldShrinkage => percent("mould_shrinkage", "shrinkage, moulded"),
            Self::PrintShrinkage => {
                percent("print_shrinkage_in_plane", "shrinkage, printed, along the layers")
            }
            Self::AnnealInPlane => {
                percent("anneal_dimension_change_in_plane", "free anneal, along the layers")
            }
            Self::AnnealHeight => percent("anneal_dimension_change_z", "free anneal, height"),
            Self::WaterDay => percent("water_24h", "water after a day in it"),
            Self::WaterInAir => percent("water_50RH", "water in air of 50 % humidity"),
            Self::WaterSaturated => percent("water_saturation", "water when saturated"),
            Self::SwellingInAir => percent("hygroscopic_swelling_50RH", "growth in air of 50 % humidity"),
            Self::SwellingSaturated => {
                percent("hygroscopic_swelling_saturation", "growth when saturated with water")
            }
            Self::Conductivity => ("thermal_conductivity", "W/mK", "W/(m K)", "thermal conductivity"),
            Self::StrainLimit => percent("strain_limit", "lasting strain of a press fit, at most"),
            Self::RelaxationExponent => ("relaxation_exponent", "1", "", "relaxation, exponent of time"),
        }
    }

    /// Its name in the tables and in JSON.
    pub fn name(self) -> &'static str {
        self.words().0
    }

    /// The unit as a person writes it; empty for a plain number.
    pub fn unit(self) -> &'static str {
        self.words().2
    }

    /// What a person calls it.
    pub fn title(self) -> &'static str {
        self.words().3
    }

    /// The property that the tables call so and give in this unit; the metals' tables leave out directions.
    pub(super) fn from_table(name: &str, unit: &str) -> Option<Self> {
        let name = match name {
            "cte" => "cte_in_plane",
            "modulus" => "tensile_modulus",
            name => name,
        };
        Self::ALL.into_iter().find(|property| property.name() == name && property.words().1 == unit)
    }
}

impl fmt::Display for Property {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.title())
    }
}
