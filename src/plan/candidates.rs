//! What may be printed and measured: one size of one coupon form each, and the set that chosen ones make.
//!
//! Sizes are a rising series, the wanted sizes to the half millimetre, and their neighbours, as far as the
//! form and the bed allow. What a candidate measures comes from the coupon itself, by reading a set with
//! nothing else in it; gaps of a comb and treads of a staircase share their piece with others, so only
//! they themselves count.

use std::fmt::Write as _;
use std::path::Path;

use crate::coupon::definition;
use crate::coupon::feature::{Feature, is_fitted};
use crate::coupon::plate::{Bed, MARGIN_MM};
use crate::kind::{Axis, Kind};

use super::Wanted;

/// One size of one form.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Element {
    /// A ring with this bore, mm.
    Ring(f64),
    /// A pin of this diameter, mm.
    Pin(f64),
    /// A gap of a comb in this direction, mm.
    Gap(Axis, f64),
    /// A horizontal bore, mm.
    HorizontalBore(f64),
    /// A bar with a slot this deep in this direction, mm.
    Span(Axis, f64),
    /// A tread this high, mm.
    Height(f64),
    /// A block this wide in this direction, mm.
    Outer(Axis, f64),
    /// A ring with a bore of this diameter and this much from its flat to the round opposite, mm.
    DBore(f64, f64),
    /// A ring with a hexagon this far across flats in this direction, mm.
    Hexagon(Axis, f64),
    /// A rack of this profile's grooves.
    BeltRack(&'static str),
}

/// What is measured: kind, direction, drawn size in mm.
pub type Measured = (Kind, Axis, f64);

/// A candidate with what is measured on it.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// The element.
    pub element: Element,
    /// What is measured and fitted.
    pub features: Vec<Measured>,
    /// How many features one reads on it.
    pub cost: f64,
}

const ROUND_MM: [f64; 11] = [3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0];
const GAPS_MM: [f64; 9] = [2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 12.0, 20.0, 30.0];
const SPANS_MM: [f64; 8] = [25.0, 30.0, 40.0, 50.0, 60.0, 80.0, 100.0, 120.0];
const HEIGHTS_MM: [f64; 5] = [8.0, 12.0, 20.0, 30.0, 50.0];
const OUTERS_MM: [f64; 7] = [10.0, 16.0, 25.0, 40.0, 60.0, 80.0, 100.0];

/// A series with the wanted sizes of `kind` and their neighbours, rising, each once, from `low` to `high`.
fn sizes(series: &[f64], wanted: &[Wanted], kind: Kind, low: f64, high: f64) -> Vec<f64> {
    let near = wanted.iter().filter(|wanted| wanted.kind == kind).flat_map(|wanted| {
        let size = (wanted.target_mm * 2.0).round() / 2.0;
        [size - 1.0, size - 0.5, size, size + 0.5, size + 1.0]
    });
    let mut sizes: Vec<f64> =
        series.iter().copied().chain(near).filter(|size| (low..=high).contains(size)).collect();
    sizes.sort_by(f64::total_cmp);
    sizes.dedup();
    sizes
}

/// Everything that may be chosen for these dimensions on this bed.
pub fn candidates(wanted: &[Wanted], bed: Bed) -> Vec<Candidate> {
    let room = |axis: Axis| {
        let [x, y] = [bed.width_mm, bed.depth_mm].map(|side| side - 2.0 * MARGIN_MM);
        match axis {
            Axis::X => x,
            Axis::Y => y,
            // A bar across the corner, with its own width.
            _ => x.min(y) * std::f64::consts::SQRT_2 - 30.0,
        }
    };
    let along = |axis: Axis| wanted.iter().any(|wanted| wanted.axis == axis);
    let has = |kind: Kind| wanted.iter().any(|wanted| wanted.kind == kind);
    let mut elements = Vec::new();
    let piece = room(Axis::X).min(room(Axis::Y)) - 20.0;
    elements
        .extend(sizes(&ROUND_MM, wanted, Kind::Bore, 3.0, piece.min(60.0)).into_iter().map(Element::Ring));
    elements.extend(sizes(&ROUND_MM, wanted, Kind::Pin, 3.0, piece.min(60.0)).into_iter().map(Element::Pin));
    if has(Kind::HorizontalBore) {
        let sizes = sizes(&ROUND_MM, wanted, Kind::HorizontalBore, 3.0, piece.min(60.0));
        elements.extend(sizes.into_iter().map(Element::HorizontalBore));
    }
    for axis in [Axis::X, Axis::Y, Axis::D45, Axis::D135] {
        if matches!(axis, Axis::D45 | Axis::D135) && !along(Axis::D45) && !along(Axis::D135) {
            continue;
        }
        // A bar ends in the slot's prongs or in its floor, which take about 15 mm more.
        let longest = (room(axis) - 20.0).min(140.0);
        elements.extend(
            sizes(&SPANS_MM, wanted, Kind::Span, 25.0, longest)
                .into_iter()
                .map(|size| Element::Span(axis, size)),
        );
        if matches!(axis, Axis::X | Axis::Y) {
            let gaps = sizes(&GAPS_MM, wanted, Kind::Gap, 2.0, piece.min(40.0));
            elements.extend(gaps.into_iter().map(|size| Element::Gap(axis, size)));
            let outers = sizes(&OUTERS_MM, wanted, Kind::Outer, 10.0, (room(axis) - 10.0).min(400.0));
            elements.extend(outers.into_iter().map(|size| Element::Outer(axis, size)));
        }
    }
    if has(Kind::Height) {
        let heights = sizes(&HEIGHTS_MM, wanted, Kind::Height, 2.0, 120.0);
        elements.extend(heights.into_iter().map(Element::Height));
    }
    elements.into_iter().filter_map(|element| Candidate::new(element, bed)).collect()
}

impl Candidate {
    /// `None` when no coupon can be made of it.
    fn new(element: Element, bed: Bed) -> Option<Self> {
        match element {
            Element::Gap(axis, size) => {
                return Some(Self { element, features: vec![(Kind::Gap, axis, size)], cost: 1.0 });
            }
            Element::Height(size) => {
                return Some(Self { element, features: vec![(Kind::Height, Axis::Z, size)], cost: 1.0 });
            }
            _ => {}
        }
        let features = features(&[element], bed).ok()?;
        let cost = features.len() as f64;
        let fitted = features.into_iter().filter(|feature| is_fitted(&feature.label));
        let features = fitted.map(|feature| (feature.kind, feature.axis, feature.nominal_mm)).collect();
        Some(Self { element, features, cost })
    }

    /// The kind and size that it is there for.
    pub fn main(&self) -> (Kind, f64) {
        match self.element {
            Element::Ring(size) => (Kind::Bore, size),
            Element::Pin(size) => (Kind::Pin, size),
            Element::Gap(_, size) => (Kind::Gap, size),
            Element::HorizontalBore(size) => (Kind::HorizontalBore, size),
            Element::Span(_, size) => (Kind::Span, size),
            Element::Height(size) => (Kind::Height, size),
            Element::Outer(_, size) => (Kind::Outer, size),
            // Its round is what the fit takes; what is across the flat is of two kinds.
            Element::DBore(bore, _) => (Kind::Bore, bore),
            Element::Hexagon(_, across) => (Kind::Gap, across),
            // Tried with the belt and not measured.
            Element::BeltRack(_) => (Kind::Gap, 0.0),
        }
    }
}

/// What is measured on the set of these elements.
///
/// # Errors
/// What is wrong with the set, which is a fault of this program for any choice of candidates.
pub fn features(elements: &[Element], bed: Bed) -> Result<Vec<Feature>, String> {
    let set = definition::parse(Path::new("plan.toml"), &set_toml(elements, bed, NAMED, &[]))
        .map_err(|problems| problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))?;
    Ok(set.coupons.into_iter().flat_map(|coupon| coupon.features).collect())
}

/// What a planned set is called, and what it is for.
pub const NAMED: [&str; 2] = ["plan", "chosen by plan for a parts list"];

/// The longest row of gaps or pins on one piece, mm: end teeth and bases take some 18 mm more.
fn longest_mm(bed: Bed) -> f64 {
    (bed.width_mm.min(bed.depth_mm) - 2.0 * MARGIN_MM - 18.0).min(90.0)
}

/// Sizes in groups whose sum, with `between` each, stays within a piece.
fn in_pieces(mut sizes: Vec<f64>, between: f64, most: usize, longest_mm: f64) -> Vec<Vec<f64>> {
    sizes.sort_by(f64::total_cmp);
    let mut pieces: Vec<Vec<f64>> = Vec::new();
    for size in sizes {
        match pieces.last_mut() {
            Some(piece)
                if piece.len() < most
                    && piece.iter().map(|size| size + between).sum::<f64>() + size <= longest_mm =>
            {
                piece.push(size);
            }
            _ => pieces.push(vec![size]),
        }
    }
    pieces
}

fn list(sizes: &[f64]) -> String {
    let sizes: Vec<String> = sizes.iter().map(ToString::to_string).collect();
    format!("[{}]", sizes.join(", "))
}

/// The definition of the set of these elements, as `coupons --set` reads it, in pieces for this bed; it is
/// `named` so, which is its name and what it is for, and `comments` stand on top.
pub fn set_toml(elements: &[Element], bed: Bed, named: [&str; 2], comments: &[String]) -> String {
    let longest = longest_mm(bed);
    let of = |pick: &dyn Fn(&Element) -> Option<f64>| elements.iter().filter_map(pick).collect::<Vec<f64>>();
    let mut text = String::new();
    for line in comments {
        text.push_str(&format!("# {line}\n"));
    }
    let feel = elements.iter().any(|element| matches!(element, Element::BeltRack(_)));
    let feel = if feel { "feel = true\n" } else { "" };
    text.push_str(&format!("\nname = \"{}\"\nsummary = \"{}\"\n{feel}", named[0], named[1]));
    let mut table = |form: &str, name: &str, fields: &str| {
        // Writing to a String cannot fail.
        let _ = write!(text, "\n[[{form}]]\nname = \"{name}\"\n{fields}\n");
    };
    for (axis, letter) in [(Axis::X, "X"), (Axis::Y, "Y")] {
        let gaps = of(&|element| match element {
            Element::Gap(along, size) if *along == axis => Some(*size),
            _ => None,
        });
        for (number, gaps) in in_pieces(gaps, 5.0, 6, longest).iter().enumerate() {
            let fields = format!("axis = \"{axis}\"\ngaps_mm = {}", list(gaps));
            table("comb", &format!("G{letter}{}", number + 1), &fields);
        }
    }
    let mut rings = of(&|element| if let Element::Ring(size) = element { Some(*size) } else { None });
    rings.sort_by(f64::total_cmp);
    for (number, rings) in rings.chunks(20).enumerate() {
        table("ring", ["R", "Q"][number.min(1)], &format!("bores_mm = {}", list(rings)));
    }
    for (number, element) in elements.iter().filter(|of| matches!(of, Element::DBore(..))).enumerate() {
        let Element::DBore(bore, across) = element else { continue };
        let fields = format!("bores_mm = [{bore}]\nacross_mm = [{across}]");
        table("d_ring", ["D", "E", "C", "B"][number % 4], &fields);
    }
    for (axis, name) in [(Axis::X, "N"), (Axis::Y, "M")] {
        let mut across = of(&|element| match element {
            Element::Hexagon(along, size) if *along == axis => Some(*size),
            _ => None,
        });
        across.sort_by(f64::total_cmp);
        if !across.is_empty() {
            table("hex_ring", name, &format!("across_flats_mm = {}\naxis = \"{axis}\"", list(&across)));
        }
    }
    let pins = of(&|element| if let Element::Pin(size) = element { Some(*size) } else { None });
    for (number, pins) in in_pieces(pins, 12.0, 4, longest).iter().enumerate() {
        table("pin_base", &format!("P{}", number + 1), &format!("diameters_mm = {}", list(pins)));
    }
    let bores = of(&|element| if let Element::HorizontalBore(size) = element { Some(*size) } else { None });
    for (number, bores) in in_pieces(bores, 4.0, 3, longest).iter().enumerate() {
        table("bore_block", &format!("H{}", number + 1), &format!("bores_mm = {}", list(bores)));
    }
    let directed = |pick: &dyn Fn(&Element) -> Option<(Axis, f64)>| {
        let mut all: Vec<(Axis, f64)> = elements.iter().filter_map(pick).collect();
        all.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        all
    };
    let bars = directed(&|element| match element {
        Element::Span(axis, size) => Some((*axis, *size)),
        _ => None,
    });
    for (number, (axis, size)) in bars.into_iter().enumerate() {
        let fields = format!("axis = \"{axis}\"\nspans_mm = [{size}]");
        table("span_bar", &format!("S{}", number + 1), &fields);
    }
    let heights = of(&|element| if let Element::Height(size) = element { Some(*size) } else { None });
    for (number, heights) in heights.chunks(((longest / 10.0) as usize).clamp(1, 6)).enumerate() {
        let mut heights = heights.to_vec();
        heights.sort_by(f64::total_cmp);
        if heights.last().is_some_and(|highest| *highest < 8.0) {
            // The label needs a step that high.
            heights.push(8.0);
        }
        table("height_steps", &format!("Z{}", number + 1), &format!("heights_mm = {}", list(&heights)));
    }
    let blocks = directed(&|element| match element {
        Element::Outer(axis, size) => Some((*axis, *size)),
        _ => None,
    });
    for (number, (axis, size)) in blocks.into_iter().enumerate() {
        let fields = format!("axis = \"{axis}\"\nwidth_mm = {size}");
        table("first_layer", &format!("F{}", number + 1), &fields);
    }
    let racks =
        elements.iter().filter_map(|of| if let Element::BeltRack(belt) = of { Some(belt) } else { None });
    for (number, belt) in racks.enumerate() {
        let fields = format!("belt = \"{belt}\"\nwider_mm = [0, 0.1, 0.2, 0.3, 0.4]");
        table("belt_rack", &format!("B{}", number + 1), &fields);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wanted(kind: Kind, axis: Axis, target_mm: f64) -> Wanted {
        Wanted {
            line: 2,
            part: String::new(),
            dimension: String::new(),
            kind,
            axis,
            target_mm,
            within: None,
            room_mm: None,
        }
    }

    fn every_kind() -> Vec<Wanted> {
        let axis = |kind: Kind| if kind == Kind::Span { Axis::D45 } else { kind.unnamed_axis() };
        Kind::ALL.into_iter().map(|kind| wanted(kind, axis(kind), 7.3)).collect()
    }

    #[test]
    fn every_candidate_alone_and_all_of_them_together_are_a_set_that_can_be_printed() {
        let candidates = candidates(&every_kind(), Bed::default());
        for kind in Kind::ALL {
            assert!(candidates.iter().any(|candidate| candidate.main().0 == kind), "{kind}");
        }
        for candidate in &candidates {
            let measured = features(&[candidate.element], Bed::default()).unwrap();
            for (kind, axis, size) in &candidate.features {
                let same = |feature: &&Feature| {
                    (feature.kind, feature.axis, feature.nominal_mm) == (*kind, *axis, *size)
                };
                assert!(measured.iter().any(|feature| same(&feature)), "{candidate:?}");
            }
        }
        let all: Vec<Element> = candidates.iter().map(|candidate| candidate.element).collect();
        assert!(features(&all, Bed::default()).unwrap().len() > candidates.len());
    }

    #[test]
    fn the_wanted_sizes_and_their_neighbours_are_candidates_within_what_the_form_allows() {
        let candidates = candidates(&[wanted(Kind::Bore, Axis::Round, 3.2)], Bed::default());
        let rings: Vec<f64> = candidates
            .iter()
            .filter_map(|of| if let Element::Ring(size) = of.element { Some(size) } else { None })
            .collect();
        assert_eq!(rings[..3], [3.0, 3.5, 4.0]);
        assert_eq!(
            candidates[0].features,
            [(Kind::Bore, Axis::X, 3.0), (Kind::Bore, Axis::Y, 3.0), (Kind::Pin, Axis::Y, 11.0)]
        );
    }

    #[test]
    fn nothing_is_longer_than_the_bed_lets_it() {
        let bed = Bed { width_mm: 90.0, depth_mm: 90.0 };
        for candidate in candidates(&every_kind(), bed) {
            let (kind, size) = candidate.main();
            assert!(size < 80.0 || kind == Kind::Height, "{candidate:?}");
        }
    }
}
