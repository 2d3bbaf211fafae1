//! Coupons for a parts list, directly: for every dimension a coupon of its kind and its size.
//!
//! Where [`super::search`] weighs what each coupon tells, this needs no spreads and no correction: a person
//! who looks at the set sees each of their dimensions in it. A kind that is wanted in one size only gets a
//! second one, since one size cannot tell an offset from a scale. Nut pockets, D flats and belts are
//! recognised by words in their row of the list, as the tests show; the corners of a hexagon print unlike two
//! parallel walls. From a D's flat to the round opposite is half a gap and half a bore, so with the ring, which
//! shows how it comes out, goes a gap of twice the flat's distance from the axis, which tells the fit.

use serde::Serialize;

use crate::belt::profile;
use crate::coupon::plate::{Bed, MARGIN_MM};
use crate::kind::{Axis, Kind};
use crate::parts::parts_list::PartsList;

use super::Wanted;
use super::candidates::{Element, set_toml};

/// A coupon within this much of the wanted size is of its size: what a size prints off by changes by less
/// than a micrometre over it.
const SAME_MM: f64 = 0.0501;

/// What a coupon form can be made in, mm.
const ROUND: [f64; 2] = [3.0, 60.0];
const GAP: [f64; 2] = [2.0, 40.0];
const SPAN: [f64; 2] = [20.0, 140.0];
const HEIGHT: [f64; 2] = [2.0, 120.0];
const OUTER: [f64; 2] = [10.0, 400.0];

/// How one dimension of the list is covered.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Covered {
    /// Line in the parts list.
    pub line: u64,
    /// Which part.
    pub part: String,
    /// Which of its dimensions.
    pub dimension: String,
    /// What it is.
    pub kind: Kind,
    /// The printed size that is wanted, mm.
    pub target_mm: f64,
    /// The size of its coupon, mm.
    pub coupon_mm: f64,
    /// What the coupon is.
    pub coupon: &'static str,
    /// Whether the coupon is not of its size: none can be made so small or so large.
    pub is_off: bool,
}

/// A set for a parts list.
#[derive(Clone, Debug, PartialEq)]
pub struct Direct {
    /// The set, as `coupons --set` reads it.
    pub set: String,
    /// How each dimension is covered, in the list's order.
    pub covered: Vec<Covered>,
    /// The belts whose racks are in it.
    pub belts: Vec<&'static str>,
}

/// The words of a row, in small letters.
fn words(cells: &[String]) -> Vec<String> {
    let parts = cells.iter().flat_map(|cell| cell.split(|c: char| !c.is_alphanumeric() && c != '.'));
    parts.filter(|word| !word.is_empty()).map(str::to_lowercase).collect()
}

/// The set for the dimensions of a list, which are `wanted`; `belts` are wanted besides those that its rows
/// name.
pub fn direct(list: &PartsList, wanted: &[Wanted], belts: &[&'static str], bed: Bed) -> Direct {
    let room = |axis: Axis| {
        let sides = [bed.width_mm, bed.depth_mm].map(|side| side - 2.0 * MARGIN_MM - 20.0);
        if axis == Axis::Y { sides[1] } else { sides[0] }
    };
    let mut elements: Vec<Element> = Vec::new();
    let mut covered = Vec::new();
    let mut belts = belts.to_vec();
    for (of, line) in wanted.iter().zip(&list.lines) {
        let words = words(list.cells(line));
        let has = |any: &[&str]| any.iter().any(|word| words.iter().any(|of| of == word));
        if has(&["belt"]) {
            let named = profile::usable().into_iter().filter(|name| has(&[&name.to_lowercase()]));
            belts.extend(named.filter(|name| !belts.contains(name)).collect::<Vec<_>>());
        }
        let limited =
            |[low, high]: [f64; 2], room: f64| tidy(of.target_mm.clamp(low, high.min(room).max(low)));
        let piece = room(Axis::X).min(room(Axis::Y));
        let along = if of.axis == Axis::Y { Axis::Y } else { Axis::X };
        let (coupon, coupon_mm, element) = match of.kind {
            Kind::Bore => {
                let size = limited(ROUND, piece);
                ("bore ring", size, Element::Ring(size))
            }
            Kind::Pin => {
                let size = limited(ROUND, piece);
                ("shaft pin", size, Element::Pin(size))
            }
            Kind::HorizontalBore => {
                let size = limited(ROUND, piece);
                ("horizontal bore", size, Element::HorizontalBore(size))
            }
            Kind::Gap if has(&["nut", "hex", "hexagon"]) => {
                let size = limited([ROUND[0], GAP[1]], piece);
                ("nut-pocket ring", size, Element::Hexagon(along, size))
            }
            Kind::Gap if has(&["flat"]) => {
                let size = limited([ROUND[0], GAP[1]], piece);
                let bore = bore_of(of, size, wanted);
                // What the fit is told: the ring's round, and a gap of twice the flat's distance from the axis.
                add(&mut elements, Element::Gap(along, tidy((2.0 * size - bore).clamp(GAP[0], GAP[1]))));
                ("D-bore ring", size, Element::DBore(bore, size))
            }
            Kind::Gap => {
                let size = limited(GAP, piece);
                ("comb", size, Element::Gap(along, size))
            }
            Kind::Outer => {
                let size = limited(OUTER, room(along));
                ("block", size, Element::Outer(along, size))
            }
            Kind::Span => {
                let along = if matches!(of.axis, Axis::D45 | Axis::D135) { of.axis } else { along };
                let size = limited(SPAN, room(along));
                ("span bar", size, Element::Span(along, size))
            }
            Kind::Height => {
                let size = limited(HEIGHT, f64::INFINITY);
                ("height step", size, Element::Height(size))
            }
        };
        add(&mut elements, element);
        covered.push(Covered {
            line: of.line,
            part: of.part.clone(),
            dimension: of.dimension.clone(),
            kind: of.kind,
            target_mm: of.target_mm,
            coupon_mm,
            coupon,
            is_off: (coupon_mm - of.target_mm).abs() > SAME_MM,
        });
    }
    for second in seconds(&elements) {
        add(&mut elements, second);
    }
    elements.extend(belts.iter().map(|belt| Element::BeltRack(belt)));
    let comments = vec![
        "One coupon for every dimension of the parts list, and a second size where a kind has one only."
            .to_owned(),
    ];
    let named = ["parts", "the kinds and sizes of a parts list"];
    Direct { set: set_toml(&elements, bed, named, &comments), covered, belts }
}

/// To a tenth of a millimetre: two fits of one size share a coupon, and a label has room for it.
fn tidy(mm: f64) -> f64 {
    // Division gives the nearest number to the decimal; a product with 0.1 may miss it.
    (mm * 10.0).round() / 10.0
}

/// Adds what is not there yet.
fn add(elements: &mut Vec<Element>, element: Element) {
    if !elements.contains(&element) {
        elements.push(element);
    }
}

/// The bore that a flat belongs to: the part's own, if it can have such a flat, else one a ninth larger, as a
/// 5 mm shaft has its flat at 4.5 mm.
fn bore_of(flat: &Wanted, across_mm: f64, wanted: &[Wanted]) -> f64 {
    let bores = wanted.iter().filter(|of| of.kind == Kind::Bore && of.part == flat.part);
    let fitting =
        bores.map(|of| tidy(of.target_mm)).find(|bore| *bore > across_mm && *bore < 2.0 * across_mm);
    fitting.unwrap_or_else(|| tidy(across_mm * 10.0 / 9.0))
}

/// A second size for each kind and direction that has one only: half as large again, or two thirds.
fn seconds(elements: &[Element]) -> Vec<Element> {
    let mut seconds = Vec::new();
    let only = |pick: &dyn Fn(&Element) -> Option<f64>| {
        let mut sizes = elements.iter().filter_map(pick);
        let first = sizes.next()?;
        sizes.next().is_none().then_some(first)
    };
    let other = |size: f64, [low, high]: [f64; 2]| {
        let larger = (size * 1.5).round();
        if larger <= high { larger.max(low) } else { (size / 1.5).round().max(low) }
    };
    if let Some(size) = only(&|of| if let Element::Ring(size) = of { Some(*size) } else { None }) {
        seconds.push(Element::Ring(other(size, ROUND)));
    }
    if let Some(size) = only(&|of| if let Element::Pin(size) = of { Some(*size) } else { None }) {
        seconds.push(Element::Pin(other(size, [ROUND[0], 30.0])));
    }
    if let Some(size) = only(&|of| if let Element::HorizontalBore(size) = of { Some(*size) } else { None }) {
        seconds.push(Element::HorizontalBore(other(size, [ROUND[0], 30.0])));
    }
    if let Some(size) = only(&|of| if let Element::Height(size) = of { Some(*size) } else { None }) {
        seconds.push(Element::Height(other(size, [8.0, 40.0])));
    }
    for axis in [Axis::X, Axis::Y] {
        let gap = |of: &Element| match of {
            Element::Gap(along, size) if *along == axis => Some(*size),
            _ => None,
        };
        if let Some(size) = only(&gap) {
            seconds.push(Element::Gap(axis, other(size, [2.5, 20.0])));
        }
        let outer = |of: &Element| match of {
            Element::Outer(along, size) if *along == axis => Some(*size),
            _ => None,
        };
        if let Some(size) = only(&outer) {
            seconds.push(Element::Outer(axis, other(size, [OUTER[0], 60.0])));
        }
        let span = |of: &Element| match of {
            Element::Span(along, size) if *along == axis => Some(*size),
            _ => None,
        };
        if let Some(size) = only(&span) {
            seconds.push(Element::Span(axis, other(size, [SPAN[0], 100.0])));
        }
    }
    seconds
}

impl Direct {
    /// Which coupon is there for which dimension, for the terminal.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for of in &self.covered {
            let name = format!("{} {}", of.part, of.dimension);
            let off = if of.is_off { ", the nearest that can be made" } else { "" };
            text.push_str(&format!(
                "line {:<4}{:<32}{:>8.2} mm  {} of {} mm{off}\n",
                of.line,
                name.trim(),
                of.target_mm,
                of.coupon,
                of.coupon_mm
            ));
        }
        for belt in &self.belts {
            text.push_str(&format!("{belt} belt: a rack of its grooves, to be tried with the belt\n"));
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::coupon::{CouponSet, definition};
    use crate::fits::named::NamedFits;

    fn direct_of(text: &str) -> (Direct, CouponSet) {
        let list = PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap();
        let fits = NamedFits::bundled();
        let wanted = Wanted::of_list(&list, &fits, Path::new("parts.csv")).unwrap();
        let direct = direct(&list, &wanted, &[], Bed::default());
        let set = definition::parse(Path::new("parts.toml"), &direct.set).unwrap();
        (direct, set)
    }

    #[test]
    fn every_dimension_of_the_sliders_list_has_a_coupon_of_its_kind_and_size() {
        let (direct, set) = direct_of(include_str!("../../data/demo/slider-parts.csv"));
        let features: Vec<_> = set.coupons.iter().flat_map(|coupon| &coupon.features).collect();
        for of in &direct.covered {
            let near = features
                .iter()
                .any(|feature| feature.kind == of.kind && (feature.nominal_mm - of.coupon_mm).abs() < 1e-9);
            assert!(near, "{of:?}\n{}", direct.set);
        }
        // A tongue of 6 mm is less than a block between jaws can be.
        let off: Vec<&str> =
            direct.covered.iter().filter(|of| of.is_off).map(|of| of.dimension.as_str()).collect();
        assert_eq!(off, ["tongue"]);
        assert_eq!(direct.belts, ["T5"]);
        assert!(set.feel && set.coupons.iter().any(|coupon| coupon.title() == "belt rack"));
        assert!(set.coupons.iter().any(|coupon| coupon.title() == "nut-pocket ring"));
    }

    #[test]
    fn a_flat_is_cut_into_the_bore_of_its_part_and_every_kind_gets_a_second_size() {
        let list = "part,dimension,kind,axis,target_mm\n\
                    pulley,shaft bore,bore,,5.1\npulley,D flat,gap,x,4.6\nknob,flat,gap,x,5.4\n";
        let (direct, set) = direct_of(list);
        assert!(direct.set.contains("bores_mm = [5.1]\nacross_mm = [4.6]"), "{}", direct.set);
        assert!(direct.set.contains("bores_mm = [6]\nacross_mm = [5.4]"), "{}", direct.set);
        // With each the gap of twice the flat's distance from the axis: 4.6 - 2.55 and 5.4 - 3.
        assert!(direct.set.contains("axis = \"x\"\ngaps_mm = [4.1, 4.8]"), "{}", direct.set);
        assert!(direct.set.contains("[[ring]]\nname = \"R\"\nbores_mm = [5.1, 8]"), "{}", direct.set);
        let of_ring = set.coupons.iter().filter(|coupon| coupon.title() == "D-bore ring");
        let fitted: Vec<&str> = of_ring
            .flat_map(|coupon| &coupon.features)
            .filter(|feature| crate::coupon::feature::is_fitted(&feature.label))
            .map(|feature| feature.label.as_str())
            .collect();
        assert_eq!(fitted, ["b5.1y", "p13.1y", "b6y", "p14y"]);
        assert_eq!(set.coupons.iter().filter(|coupon| coupon.title() == "D-bore ring").count(), 2);
    }
}
