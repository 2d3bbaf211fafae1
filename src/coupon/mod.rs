//! What gets printed and what is measured on it: coupon sets, their solids, the readings sheet and the
//! measuring guide.
//!
//! ```text
//! coupons/*.toml -> definition -> CouponSet -> Body (layers of outlines + features)
//!                                               |-> Solid -> STL, plates of a 3MF
//!                                               |-> drawing -> measuring guide
//!                                               '-> rows of the readings sheet
//! ```
//!
//! A [`Coupon`] is one printed piece with a name that is on it as a label; a [`feature::Feature`] is one
//! dimension of it. Drawing, sheet and solid come from the same layers, so they cannot disagree. The
//! fields of a definition are listed in `coupons/README.md`.
//!
//! Directions are those of the bed: x to the right, y to the back, z up. A coupon is printed as it lies on
//! the plate; turned on the plate, it would measure another direction than its sheet says.

mod belt_rack;
mod body;
mod bore_block;
mod comb;
pub mod definition;
pub mod drawing;
pub mod feature;
mod fields;
mod first_layer;
mod form;
pub mod heat;
mod height_steps;
pub mod kit;
mod label;
pub mod limits;
mod motor_mount;
mod pin_base;
pub mod places;
pub mod plate;
mod ring;
pub mod sheet;
mod span_bar;
pub mod summary;

use std::sync::LazyLock;

use crate::geometry::check::NotASolid;
use crate::geometry::lettering::UnknownGlyph;
use crate::geometry::solid::{Solid, Stack, Turn};
use body::{Body, Stance};
use feature::Feature;
use form::Form;
use label::Label;

/// Why a piece could not be made.
#[derive(Debug, thiserror::Error)]
pub enum CouponError {
    /// Its label cannot be drawn.
    #[error(transparent)]
    Label(#[from] UnknownGlyph),
    /// Its outlines do not make a solid.
    #[error(transparent)]
    Solid(#[from] NotASolid),
}

/// One printed piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Coupon {
    /// Its name, which is the label on it.
    pub name: String,
    /// What is measured on it, in the order in which one measures.
    pub features: Vec<Feature>,
    form: Form,
    /// The letter of the material that it is printed in, where there are several.
    mark: Option<char>,
}

impl Coupon {
    fn new(name: String, form: Form) -> Self {
        let features = form.body(&Label::blank()).features;
        Self { name, features, form, mark: None }
    }

    /// The same piece with a material's letter on it.
    #[must_use]
    pub fn marked(&self, letter: char) -> Self {
        Self { mark: Some(letter), ..self.clone() }
    }

    /// What is written on the piece: its name; with several materials the letter before it, and with
    /// several copies the copy's number after it.
    pub fn label(&self, copy: Option<u32>) -> String {
        let letter = self.mark.map(|letter| format!("{letter}-")).unwrap_or_default();
        let number = copy.map(|copy| format!("-{copy}")).unwrap_or_default();
        format!("{letter}{}{number}", self.name)
    }

    /// What hangs in the hole of its arm when the arm's root is bent by this stress, grams; `None` of a
    /// piece without an arm.
    pub fn arm_load_g(&self, stress_mpa: f64) -> Option<f64> {
        self.form.arm_load_g(stress_mpa)
    }

    fn body(&self, copy: Option<u32>) -> Result<Body, UnknownGlyph> {
        Ok(self.form.body(&Label::new(&self.label(copy))?))
    }

    /// The piece as it is to be printed, on the plane z = 0, where its features say that the jaws go.
    ///
    /// # Errors
    /// When the outlines do not make a solid, which is a fault of this program.
    pub fn solid(&self, copy: Option<u32>) -> Result<Solid, CouponError> {
        let body = self.body(copy)?;
        let mut stack = Stack::new(self.label(copy));
        for layer in &body.layers {
            stack = if layer.bottom == layer.top {
                stack.slab(layer.low, layer.high, &layer.bottom)
            } else {
                stack.taper(layer.low, layer.high, &layer.bottom, &layer.top)
            };
        }
        let solid = stack.solid()?;
        Ok(match body.stance {
            Stance::Upright => solid,
            Stance::OnEdge => solid.turned(Turn::AxisToMinusY).moved([0.0, body.reach(), 0.0])?,
        })
    }

    /// What a person calls a piece of this form.
    pub fn title(&self) -> &'static str {
        self.form.title()
    }

    /// How to hold and measure pieces of this form.
    pub fn advice(&self) -> &'static str {
        self.form.advice()
    }
}

/// What is printed together.
#[derive(Clone, Debug, PartialEq)]
pub struct CouponSet {
    /// Its name.
    pub name: String,
    /// What it is for, in a sentence.
    pub summary: String,
    /// Least space between two pieces on a plate, mm.
    pub plate_gap_mm: f64,
    /// Whether pieces are tried with the real part: the sheet then has columns for it.
    pub feel: bool,
    /// Whether it is printed in several materials and measured before and after heat.
    pub heat: bool,
    /// The pieces, in the order in which one measures.
    pub coupons: Vec<Coupon>,
}

impl CouponSet {
    /// The feature of that label on the coupon of that name.
    pub fn find_feature(&self, coupon: &str, feature: &str) -> Option<&Feature> {
        let coupon = self.coupons.iter().find(|candidate| candidate.name == coupon)?;
        coupon.features.iter().find(|candidate| candidate.label == feature)
    }

    /// Several sets as one: a piece that is in several of them is printed once.
    ///
    /// # Errors
    /// The name of a piece that differs between the sets.
    pub fn merged(sets: Vec<Self>) -> Result<Self, NotOnePiece> {
        let mut sets = sets.into_iter();
        let mut all = sets.next().unwrap_or(Self {
            name: String::new(),
            summary: String::new(),
            plate_gap_mm: 0.0,
            feel: false,
            heat: false,
            coupons: Vec::new(),
        });
        for set in sets {
            all.name = format!("{}+{}", all.name, set.name);
            all.summary = format!("{}; {}", all.summary, set.summary);
            all.feel |= set.feel;
            all.heat |= set.heat;
            all.plate_gap_mm = all.plate_gap_mm.max(set.plate_gap_mm);
            for coupon in set.coupons {
                let same_name = |other: &&Coupon| other.name.eq_ignore_ascii_case(&coupon.name);
                match all.coupons.iter().find(same_name) {
                    Some(other) if *other == coupon => {}
                    Some(_) => return Err(NotOnePiece { name: coupon.name }),
                    None => all.coupons.push(coupon),
                }
            }
        }
        Ok(all)
    }

    /// How many features.
    pub fn feature_count(&self) -> usize {
        self.coupons.iter().map(|coupon| coupon.features.len()).sum()
    }
}

/// Two sets give one name to different pieces.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("two of the sets have a piece named `{name}`, and they are not the same")]
pub struct NotOnePiece {
    /// The name.
    pub name: String,
}

/// The definitions that come with the program: name and text.
const DEFINITIONS: [(&str, &str); 5] = [
    ("coupons/quick.toml", include_str!("../../coupons/quick.toml")),
    ("coupons/starter.toml", include_str!("../../coupons/starter.toml")),
    ("coupons/full.toml", include_str!("../../coupons/full.toml")),
    ("coupons/feel.toml", include_str!("../../coupons/feel.toml")),
    ("coupons/heat.toml", include_str!("../../coupons/heat.toml")),
];

static EMBEDDED: LazyLock<Vec<CouponSet>> = LazyLock::new(|| {
    let read = |(file, text): &(&str, &str)| definition::parse(std::path::Path::new(file), text);
    let sets = DEFINITIONS.iter().map(read).collect::<Result<_, _>>();
    sets.expect("the program's own sets are without a problem, as a test proves")
});

/// The sets that come with the program: `quick`, `starter`, `full`, `feel`, `heat`.
pub fn embedded_sets() -> &'static [CouponSet] {
    &EMBEDDED
}

/// The feature of that label on the coupon of that name, in the first set of the program that has it.
///
/// A coupon of one name is the same piece in every set of the program.
pub fn known_feature(coupon: &str, feature: &str) -> Option<&'static Feature> {
    embedded_sets().iter().find_map(|set| set.find_feature(coupon, feature))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_set_of_the_program_reads() {
        for (file, text) in DEFINITIONS {
            let set = definition::parse(std::path::Path::new(file), text).unwrap_or_else(|problems| {
                panic!("{}", problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))
            });
            assert_eq!(file, format!("coupons/{}.toml", set.name));
        }
        assert_eq!(embedded_sets().len(), DEFINITIONS.len());
    }

    #[test]
    fn the_sets_are_as_large_as_they_are_said_to_be() {
        let counts: Vec<usize> = embedded_sets().iter().map(CouponSet::feature_count).collect();
        let [quick, starter, full, feel, heat] = counts[..] else { panic!("five sets") };
        assert_eq!(heat, 16 + 3 * 2);
        assert_eq!(feel, 9 * 3 + 7 * 2 + 7);
        assert!((10..=14).contains(&quick), "quick: {quick}");
        assert!((36..=44).contains(&starter), "starter: {starter}");
        assert!(full >= 2 * starter, "full: {full}");
    }

    #[test]
    fn a_name_is_one_piece_in_all_sets() {
        let merged = CouponSet::merged(embedded_sets().to_vec()).unwrap();
        assert_eq!(merged.name, "quick+starter+full+feel+heat");
        let names: std::collections::BTreeSet<&str> =
            merged.coupons.iter().map(|coupon| coupon.name.as_str()).collect();
        assert_eq!(names.len(), merged.coupons.len());
        let mut other = embedded_sets()[0].clone();
        other.coupons[0].form = merged.coupons[1].form.clone();
        let error = CouponSet::merged(vec![merged, other]).unwrap_err();
        assert_eq!(error.to_string(), "two of the sets have a piece named `GX`, and they are not the same");
    }

    #[test]
    fn a_feature_is_found_by_coupon_and_label() {
        let feature = known_feature("R8", "b8y").unwrap();
        assert_eq!((feature.kind.name(), feature.axis.name(), feature.nominal_mm), ("bore", "y", 8.0));
        assert!(known_feature("F1", "o20-bed").unwrap().is_at_bed());
        assert!(!known_feature("F1", "o20").unwrap().is_at_bed());
        assert_eq!(known_feature("R8", "b5y"), None);
        assert_eq!(known_feature("R7", "b8y"), None);
    }

    #[test]
    fn every_character_that_a_name_may_have_has_a_glyph() {
        let allowed = (b'0'..=b'9').chain(b'a'..=b'z').chain(b'A'..=b'Z').chain(*b"-.");
        for character in allowed.map(char::from) {
            assert!(Label::new(&character.to_string()).is_ok(), "{character}");
        }
    }

    /// The jaws' two places are the drawn size apart, in the direction that the sheet says.
    #[test]
    fn the_jaws_stand_the_drawn_size_apart_along_their_axis() {
        let diagonal = std::f64::consts::FRAC_1_SQRT_2;
        for coupon in embedded_sets().iter().flat_map(|set| &set.coupons) {
            for feature in &coupon.features {
                let wanted = match feature.axis {
                    crate::kind::Axis::X => [1.0, 0.0, 0.0],
                    crate::kind::Axis::Y => [0.0, 1.0, 0.0],
                    crate::kind::Axis::Z => [0.0, 0.0, 1.0],
                    crate::kind::Axis::D45 => [diagonal, diagonal, 0.0],
                    crate::kind::Axis::D135 => [-diagonal, diagonal, 0.0],
                    crate::kind::Axis::Round => panic!("no coupon leaves the direction open"),
                };
                let (from, to) = (feature.jaws.from, feature.jaws.to);
                let along: f64 = (0..3).map(|axis| (to[axis] - from[axis]) * wanted[axis]).sum();
                let what = format!("{} {}", coupon.name, feature.label);
                assert!((along.abs() - feature.nominal_mm).abs() < 1e-9, "{what}: {along}");
                assert!((feature.jaws.distance_mm() - feature.nominal_mm).abs() < 1e-9, "{what}");
                assert!(feature.label.contains(&feature.nominal_mm.to_string()), "{what}");
            }
        }
    }

    #[test]
    fn words_do_not_move_what_is_measured() {
        for coupon in &embedded_sets()[2].coupons {
            assert_eq!(coupon.body(Some(88)).unwrap().features, coupon.features, "{}", coupon.name);
        }
    }
}
