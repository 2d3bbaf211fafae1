//! Where the pieces of the program's own sets lie on their plate, for who reads their names in a sheet.
//!
//! A sheet does not say where a piece lay; the plate that came with it does, as long as nobody moved the
//! pieces or asked for another bed. Footprints are those of the layers, without making a solid: packed the
//! same way they come to lie where [`super::kit`] puts them.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::body::Stance;
use super::plate::{Bed, Item, pack};
use super::{Coupon, CouponSet, embedded_sets};
use crate::kind::Kind;

/// The pieces of one set.
#[derive(Clone, Debug, PartialEq)]
pub struct Places {
    /// The set.
    pub set: &'static CouponSet,
    /// The middle of each piece on its bed, x to the right and y to the back, mm.
    pub middle_mm: BTreeMap<&'static str, [f64; 2]>,
}

static PLACES: LazyLock<Vec<Places>> =
    LazyLock::new(|| embedded_sets().iter().filter(|set| !set.heat).filter_map(places).collect());

/// The places of the smallest set of the program that has all of these pieces, with all that is measured on
/// them; `None` where no set has.
pub fn of_pieces(measured: &[(&str, Kind, f64)]) -> Option<&'static Places> {
    // Most sheets that are of no set are told by their first row.
    let has = |set: &CouponSet| measured.iter().all(|row| has(set, row));
    let fewest =
        embedded_sets().iter().filter(|set| !set.heat && has(set)).min_by_key(|set| set.coupons.len())?;
    PLACES.iter().find(|places| places.set.name == fewest.name)
}

fn has(set: &CouponSet, (name, kind, nominal_mm): &(&str, Kind, f64)) -> bool {
    let piece = set.coupons.iter().find(|coupon| coupon.name == *name);
    let is_it =
        |piece: &Coupon| piece.features.iter().any(|of| of.kind == *kind && of.nominal_mm == *nominal_mm);
    piece.is_some_and(is_it)
}

fn places(set: &'static CouponSet) -> Option<Places> {
    let item = |coupon: &Coupon| {
        let [width_mm, depth_mm] = footprint_mm(coupon)?;
        Some(Item { name: coupon.name.clone(), width_mm, depth_mm })
    };
    let items: Vec<Item> = set.coupons.iter().map(item).collect::<Option<_>>()?;
    // All sets of the program fit on the usual bed.
    let plates = pack(&items, Bed::default(), set.plate_gap_mm).ok()?;
    let middle = |place: &super::plate::Place| {
        let item = &items[place.item];
        let middle = [place.x_mm + item.width_mm / 2.0, place.y_mm + item.depth_mm / 2.0];
        (set.coupons[place.item].name.as_str(), middle)
    };
    let middle_mm = plates.iter().flat_map(|plate| plate.places.iter().map(middle)).collect();
    Some(Places { set, middle_mm })
}

/// Width along x and depth along y of a piece as it lies.
fn footprint_mm(coupon: &Coupon) -> Option<[f64; 2]> {
    // The label's letters can be drawn, as a test of the sets proves.
    let body = coupon.body(None).ok()?;
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let bounds = body.layers.iter().flat_map(|layer| [layer.bottom.bounds(), layer.top.bounds()]).flatten();
    for [from, to] in bounds {
        for axis in 0..2 {
            low[axis] = low[axis].min(from[axis]);
            high[axis] = high[axis].max(to[axis]);
        }
    }
    Some(match body.stance {
        Stance::Upright => [high[0] - low[0], high[1] - low[1]],
        Stance::OnEdge => [high[0] - low[0], body.reach()],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coupon::kit::{Kit, Options};

    #[test]
    fn pieces_lie_where_the_plates_have_them() {
        for places in PLACES.iter() {
            let kit = Kit::new(places.set.clone(), Options::default()).unwrap();
            let mut seen = 0;
            for plate in kit.plate_drawings() {
                for piece in &plate.pieces {
                    let [left, upper, width, depth] = piece.rectangle;
                    let middle = [left + width / 2.0, plate.bed[1] - upper - depth / 2.0];
                    let ours = places.middle_mm[piece.name.as_str()];
                    // Solids lie on a grid of 2^-13 mm, and what is packed behind them with them.
                    let apart = (ours[0] - middle[0]).hypot(ours[1] - middle[1]);
                    assert!(apart < 0.005, "{} {}: {ours:?} {middle:?}", places.set.name, piece.name);
                    seen += 1;
                }
            }
            assert_eq!(seen, places.set.coupons.len());
        }
        assert_eq!(PLACES.len(), 4);
    }

    #[test]
    fn a_sheet_is_of_the_smallest_set_that_has_its_pieces() {
        let name = |measured: &[(&str, Kind, f64)]| of_pieces(measured).map(|of| of.set.name.as_str());
        assert_eq!(name(&[("GX", Kind::Gap, 4.0), ("R3", Kind::Bore, 3.0)]), Some("starter"));
        assert_eq!(name(&[("GX", Kind::Gap, 4.0), ("SQ", Kind::Span, 40.0)]), Some("quick"));
        // A piece of that name with a size that ours has not is somebody's own.
        assert_eq!(name(&[("GX", Kind::Gap, 4.5)]), None);
        assert_eq!(name(&[("", Kind::Bore, 3.0)]), None);
    }
}
