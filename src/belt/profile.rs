//! Belt profiles: from a name and a tooth count to the groove that the standard gives.
//!
//! T profiles have two groove forms: SE (close, shallow) to 20 teeth and N above. AT profiles are known
//! by name only: no groove of theirs is openly published.
//!
//! Source: `data/belts/profiles.csv`; every row carries its own labels.

use std::sync::OnceLock;

use super::table::{self, Row};

const TABLE: &str = include_str!("../../data/belts/profiles.csv");

/// Where the table gives the width of a groove.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WidthAt {
    /// At the floor, between the corners that the flanks make with it.
    Floor,
    /// At the outside diameter, between the corners that the flanks make with it.
    OutsideDiameter,
}

/// The groove that a standard gives for a profile.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StandardGroove {
    /// `straight`, `SE` or `N`.
    pub form: &'static str,
    /// Width, mm.
    pub width_mm: f64,
    /// Where that width is.
    pub width_at: WidthAt,
    /// How much wider and narrower the standard allows it, mm, both positive.
    pub width_tolerance_mm: (f64, f64),
    /// Depth below the outside diameter in the middle of the groove, mm.
    pub depth_mm: f64,
    /// Angle between a flank and the middle of the groove, radians.
    pub half_angle_rad: f64,
    /// Radius between flank and floor, mm.
    pub bottom_radius_mm: f64,
    /// Radius between flank and outside diameter, mm.
    pub tip_radius_mm: f64,
}

/// The belt that runs in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeltSection {
    /// Tooth height, mm.
    pub tooth_height_mm: f64,
    /// Total height, tooth and back, mm.
    pub total_height_mm: f64,
    /// Tooth width at its root; not known of AT belts.
    pub tooth_root_width_mm: Option<f64>,
    /// Angle between a tooth's flank and its middle, radians.
    pub tooth_half_angle_rad: Option<f64>,
    /// Radius between a tooth's flank and its crest, mm; not known of AT belts.
    pub tooth_tip_radius_mm: Option<f64>,
}

/// A standard belt width.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeltWidth {
    /// The code it is sold by.
    pub code: &'static str,
    /// The width, mm.
    pub width_mm: f64,
}

/// One profile in one groove form.
#[derive(Clone, Debug, PartialEq)]
pub struct Profile {
    /// `T5`, `XL`.
    pub name: &'static str,
    /// The standards that have it.
    pub standard: &'static str,
    /// Pitch, mm.
    pub pitch_mm: f64,
    /// Pitch diameter less outside diameter, mm.
    pub two_a_mm: f64,
    /// The groove; `None` when none is published.
    pub groove: Option<StandardGroove>,
    /// The belt.
    pub belt: BeltSection,
    /// Standard belt widths, narrowest first.
    pub widths: Vec<BeltWidth>,
    /// Where the groove comes from.
    pub groove_source: &'static str,
    /// Where the pitch line comes from.
    pub two_a_source: &'static str,
    /// Where the belt's section comes from.
    pub belt_source: &'static str,
    /// Where the belt widths come from.
    pub widths_source: &'static str,
    /// What the table says besides.
    pub note: &'static str,
    teeth: TeethRule,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum TeethRule {
    All,
    UpTo(u32),
    Above(u32),
}

/// Why there is no such profile.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoProfile {
    /// The name is in no table.
    #[error("`{name}` is no belt profile that is known here; known are {}", usable().join(", "))]
    Unknown {
        /// The name that was asked for.
        name: String,
        /// The closest name, when one is close.
        nearest: Option<&'static str>,
    },
    /// The profile exists, but nobody has published its groove.
    #[error("no pulley can be drawn for {name} belts: no published groove")]
    NoGroove {
        /// The profile.
        name: &'static str,
    },
}

impl NoProfile {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Unknown { nearest, .. } => nearest.map(|name| format!("did you mean {name}?")),
            Self::NoGroove { .. } => Some(format!(
                "the groove of this system is found in no open standard table; {} have one",
                usable().join(", ")
            )),
        }
    }
}

/// Every profile and form of the table, in its order.
pub fn all() -> &'static [Profile] {
    static PROFILES: OnceLock<Vec<Profile>> = OnceLock::new();
    PROFILES.get_or_init(|| {
        let rows: &'static [Row] = Box::leak(table::rows(TABLE).into_boxed_slice());
        rows.iter().map(read).collect()
    })
}

/// The names of the profiles that a pulley can be drawn for, in the table's order.
pub fn usable() -> Vec<&'static str> {
    let mut names: Vec<&'static str> =
        all().iter().filter(|profile| profile.groove.is_some()).map(|profile| profile.name).collect();
    names.dedup();
    names
}

/// The profile of this name, any case, in the form for this tooth count.
pub fn find(name: &str, teeth: u32) -> Result<&'static Profile, NoProfile> {
    let asked = name.trim();
    let mut named = all().iter().filter(|profile| profile.name.eq_ignore_ascii_case(asked)).peekable();
    if named.peek().is_none() {
        let nearest = crate::problem::nearest(asked, usable());
        return Err(NoProfile::Unknown { name: asked.to_owned(), nearest });
    }
    let formed = named.find(|profile| match profile.teeth {
        TeethRule::All => true,
        TeethRule::UpTo(most) => teeth <= most,
        TeethRule::Above(most) => teeth > most,
    });
    let profile = formed.expect("the forms of a profile cover all tooth counts");
    if profile.groove.is_none() {
        return Err(NoProfile::NoGroove { name: profile.name });
    }
    Ok(profile)
}

fn read(row: &'static Row) -> Profile {
    let number = |column| row.number(column).expect("the profile table has its pitch, pitch line and belt");
    Profile {
        name: row.text("profile"),
        standard: row.text("standard"),
        pitch_mm: number("pitch_mm"),
        two_a_mm: number("two_a_mm"),
        groove: read_groove(row),
        belt: BeltSection {
            tooth_height_mm: number("belt_ht_mm"),
            total_height_mm: number("belt_hs_mm"),
            tooth_root_width_mm: row.number("belt_S_mm"),
            tooth_half_angle_rad: row.number("belt_two_beta_deg").map(|deg| deg.to_radians() / 2.0),
            tooth_tip_radius_mm: row.number("belt_tip_radius_mm"),
        },
        widths: row.text("belt_widths_code_mm").split(';').filter_map(read_width).collect(),
        groove_source: row.text("src_groove"),
        two_a_source: row.text("src_two_a"),
        belt_source: row.text("src_belt"),
        widths_source: row.text("src_widths"),
        note: row.text("notes"),
        teeth: read_rule(row.text("z_rule")),
    }
}

fn read_groove(row: &'static Row) -> Option<StandardGroove> {
    let at_top = row.text("groove_width_at").starts_with("top");
    Some(StandardGroove {
        form: row.text("groove_form"),
        width_mm: row.number("groove_width_mm")?,
        width_at: if at_top { WidthAt::OutsideDiameter } else { WidthAt::Floor },
        width_tolerance_mm: (row.number("groove_width_tol_plus")?, row.number("groove_width_tol_minus")?),
        depth_mm: row.number("hg_mm")?,
        half_angle_rad: row.number("two_phi_deg")?.to_radians() / 2.0,
        bottom_radius_mm: row.number("rb_mm")?,
        tip_radius_mm: row.number("rt_mm")?,
    })
}

fn read_width(text: &'static str) -> Option<BeltWidth> {
    let (code, width) = text.split_once(':')?;
    Some(BeltWidth { code, width_mm: width.parse().ok()? })
}

fn read_rule(text: &str) -> TeethRule {
    let count = |text: &str| text.parse().ok();
    if let Some(most) = text.strip_prefix("z<=").and_then(count) {
        TeethRule::UpTo(most)
    } else if let Some(most) = text.strip_prefix("z>").and_then(count) {
        TeethRule::Above(most)
    } else {
        TeethRule::All
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_the_table_is_read_and_labelled() {
        assert_eq!(all().len(), 17);
        for profile in all() {
            let labelled = |source: &str| {
                ["looked-up", "from memory", "derived", "not available"].iter().any(|l| source.starts_with(l))
            };
            assert!(labelled(profile.groove_source) && labelled(profile.two_a_source), "{}", profile.name);
            assert!(labelled(profile.belt_source) && labelled(profile.widths_source), "{}", profile.name);
            assert!(profile.widths.len() >= 3, "{}", profile.name);
            assert_eq!(profile.groove.is_none(), profile.name.starts_with("AT"), "{}", profile.name);
        }
    }

    #[test]
    fn the_close_form_ends_at_twenty_teeth() {
        assert_eq!(find("T5", 20).unwrap().groove.unwrap().form, "SE");
        assert_eq!(find("t5", 21).unwrap().groove.unwrap().form, "N");
        assert_eq!(find("XL", 21).unwrap().groove.unwrap().form, "straight");
    }

    #[test]
    fn an_unknown_belt_is_answered_with_the_nearest_and_an_unpublished_groove_with_the_reason() {
        let error = find("XLL", 20).unwrap_err();
        assert_eq!(error.help().unwrap(), "did you mean XXL?");
        let error = find("T50", 20).unwrap_err();
        assert_eq!(
            error.to_string(),
            "`T50` is no belt profile that is known here; known are MXL, XXL, XL, L, H, XH, XXH, T2.5, T5, T10, T20"
        );
        let error = find("AT5", 20).unwrap_err();
        assert_eq!(error.to_string(), "no pulley can be drawn for AT5 belts: no published groove");
    }
}
