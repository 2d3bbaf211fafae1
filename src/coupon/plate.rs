//! Packs pieces onto plates, without turning them: a turned piece would measure another direction.
//!
//! Shelves from the front to the back: the deepest pieces first, each on the first shelf that has room,
//! else on a new shelf, else on a new plate. What is on a plate ends up in the middle of the bed.

use std::str::FromStr;

/// The part of a plate along its edges that stays empty: clips, and first layers that come loose.
pub const MARGIN_MM: f64 = 5.0;

/// The bed of a printer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bed {
    /// Along x, mm.
    pub width_mm: f64,
    /// Along y, mm.
    pub depth_mm: f64,
}

impl Default for Bed {
    fn default() -> Self {
        Self { width_mm: 200.0, depth_mm: 200.0 }
    }
}

/// A text that gives no bed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is no bed; expected width x depth in mm, such as 200x200, each from 20 to 900")]
pub struct NotABed {
    /// The offending text.
    pub text: String,
}

impl FromStr for Bed {
    type Err = NotABed;

    fn from_str(text: &str) -> Result<Self, NotABed> {
        let refuse = || NotABed { text: text.to_owned() };
        let (width, depth) = text.split_once(['x', 'X', '×']).ok_or_else(refuse)?;
        let side = |text: &str| {
            let size = text.trim().parse::<f64>().map_err(|_| refuse())?;
            // NaN is in no range.
            if (20.0..=900.0).contains(&size) { Ok(size) } else { Err(refuse()) }
        };
        Ok(Self { width_mm: side(width)?, depth_mm: side(depth)? })
    }
}

/// A piece that fits on no plate.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "`{name}` is {width_mm:.1} x {depth_mm:.1} mm and does not fit on a bed of {} x {} mm with {MARGIN_MM} mm left \
     free all round",
    bed.width_mm, bed.depth_mm
)]
pub struct TooLarge {
    /// What is on the piece.
    pub name: String,
    /// Its width along x, mm.
    pub width_mm: f64,
    /// Its depth along y, mm.
    pub depth_mm: f64,
    /// The bed.
    pub bed: Bed,
}

/// A piece to be packed.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// What is on the piece.
    pub name: String,
    /// Its width along x, mm.
    pub width_mm: f64,
    /// Its depth along y, mm.
    pub depth_mm: f64,
}

/// Where a piece goes on a plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Which of the pieces that were to be packed.
    pub item: usize,
    /// Lowest x on the bed, mm.
    pub x_mm: f64,
    /// Lowest y on the bed, mm.
    pub y_mm: f64,
}

/// What is printed in one go.
#[derive(Clone, Debug, PartialEq)]
pub struct Plate {
    /// The pieces, in the order in which they were to be packed.
    pub places: Vec<Place>,
    /// Width and depth that they take up together, mm.
    pub size_mm: [f64; 2],
}

struct Shelf {
    front: f64,
    depth: f64,
    /// Where the next piece begins.
    free: f64,
}

/// Packs every piece, with `gap_mm` between neighbours.
///
/// # Errors
/// The first piece that is larger than the bed.
pub fn pack(items: &[Item], bed: Bed, gap_mm: f64) -> Result<Vec<Plate>, TooLarge> {
    let (width, depth) = (bed.width_mm - 2.0 * MARGIN_MM, bed.depth_mm - 2.0 * MARGIN_MM);
    if let Some(item) = items.iter().find(|item| item.width_mm > width || item.depth_mm > depth) {
        let (name, width_mm, depth_mm) = (item.name.clone(), item.width_mm, item.depth_mm);
        return Err(TooLarge { name, width_mm, depth_mm, bed });
    }
    let mut order: Vec<usize> = (0..items.len()).collect();
    order.sort_by(|a, b| items[*b].depth_mm.total_cmp(&items[*a].depth_mm).then(a.cmp(b)));
    let mut plates: Vec<(Vec<Shelf>, Vec<Place>)> = Vec::new();
    for index in order {
        let item = &items[index];
        let place = plates
            .iter_mut()
            .find_map(|(shelves, places)| Some((on_a_shelf(shelves, item, [width, depth], gap_mm)?, places)));
        match place {
            Some(([x, y], places)) => places.push(Place { item: index, x_mm: x, y_mm: y }),
            None => {
                let shelf = Shelf { front: 0.0, depth: item.depth_mm, free: item.width_mm + gap_mm };
                plates.push((vec![shelf], vec![Place { item: index, x_mm: 0.0, y_mm: 0.0 }]));
            }
        }
    }
    Ok(plates.into_iter().map(|(_, places)| in_the_middle(places, items, bed)).collect())
}

fn on_a_shelf(shelves: &mut Vec<Shelf>, item: &Item, room: [f64; 2], gap: f64) -> Option<[f64; 2]> {
    // The first shelf is as deep as any later piece, since the deepest come first.
    if let Some(shelf) =
        shelves.iter_mut().find(|shelf| shelf.depth >= item.depth_mm && shelf.free + item.width_mm <= room[0])
    {
        let x = shelf.free;
        shelf.free += item.width_mm + gap;
        return Some([x, shelf.front]);
    }
    let front = shelves.last().map_or(0.0, |last| last.front + last.depth + gap);
    if front + item.depth_mm > room[1] {
        return None;
    }
    shelves.push(Shelf { front, depth: item.depth_mm, free: item.width_mm + gap });
    Some([0.0, front])
}

fn in_the_middle(mut places: Vec<Place>, items: &[Item], bed: Bed) -> Plate {
    let right = places.iter().map(|place| place.x_mm + items[place.item].width_mm).fold(0.0, f64::max);
    let back = places.iter().map(|place| place.y_mm + items[place.item].depth_mm).fold(0.0, f64::max);
    for place in &mut places {
        place.x_mm += (bed.width_mm - right) / 2.0;
        place.y_mm += (bed.depth_mm - back) / 2.0;
    }
    places.sort_by_key(|place| place.item);
    Plate { places, size_mm: [right, back] }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn item(name: &str, width_mm: f64, depth_mm: f64) -> Item {
        Item { name: name.to_owned(), width_mm, depth_mm }
    }

    #[test]
    fn a_bed_is_read_and_nonsense_is_refused() {
        assert_eq!("180 x 220.5".parse(), Ok(Bed { width_mm: 180.0, depth_mm: 220.5 }));
        for text in ["200", "200x", "x", "0x200", "nanx200", "200x200x200", "1e9x200"] {
            let error = text.parse::<Bed>().unwrap_err();
            assert!(error.to_string().starts_with(&format!("`{text}` is no bed")), "{text}");
        }
    }

    #[test]
    fn pieces_keep_their_distance_and_stay_on_the_bed() {
        let items: Vec<Item> =
            (0..40).map(|i| item("p", 5.0 + f64::from(i * 7 % 31), 8.0 + f64::from(i * 11 % 23))).collect();
        let bed = Bed { width_mm: 100.0, depth_mm: 80.0 };
        let plates = pack(&items, bed, 6.0).unwrap();
        let mut seen: Vec<usize> = plates.iter().flat_map(|p| p.places.iter().map(|p| p.item)).collect();
        seen.sort_unstable();
        assert_eq!(seen, (0..40).collect::<Vec<_>>());
        for plate in &plates {
            for (i, a) in plate.places.iter().enumerate() {
                let (size_a, right) = (&items[a.item], a.x_mm + items[a.item].width_mm);
                assert!(a.x_mm >= MARGIN_MM && right <= 95.0 + 1e-9);
                assert!(a.y_mm >= MARGIN_MM && a.y_mm + size_a.depth_mm <= 75.0 + 1e-9);
                for b in &plate.places[i + 1..] {
                    let size_b = &items[b.item];
                    let apart_x = (b.x_mm - right).max(a.x_mm - b.x_mm - size_b.width_mm);
                    let apart_y = (b.y_mm - a.y_mm - size_a.depth_mm).max(a.y_mm - b.y_mm - size_b.depth_mm);
                    assert!(apart_x.max(apart_y) >= 6.0 - 1e-9, "{a:?} {b:?}");
                }
            }
        }
    }

    #[test]
    fn a_piece_that_cannot_fit_is_named_with_its_size_and_the_bed() {
        let bed = Bed { width_mm: 100.0, depth_mm: 100.0 };
        let error = pack(&[item("a", 10.0, 10.0), item("SX", 93.0, 22.0)], bed, 6.0).unwrap_err();
        assert_eq!(
            error.to_string(),
            "`SX` is 93.0 x 22.0 mm and does not fit on a bed of 100 x 100 mm with 5 mm left free all round"
        );
        assert_eq!(pack(&[item("SX", 90.0, 90.0)], bed, 6.0).unwrap().len(), 1);
    }
}
