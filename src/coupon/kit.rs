//! Everything that one run makes of a coupon set: solids, plates, the readings sheet, and what it costs.
//!
//! Several copies are several prints: each is on plates of its own, because only separate print jobs show
//! how one print differs from the next. Copies on one plate would share their job's temperature, filament
//! and first layer, and be one print measured twice.

use std::path::Path;

use super::heat::{self, HeatPlan};
use super::plate::{Bed, Item, Place, Plate, TooLarge, pack};
use super::summary::{CouponSummary, Summary, feature_summary};
use super::{Coupon, CouponError, CouponSet, sheet};
use crate::files::{FileError, Outputs};
use crate::geometry::check::NotASolid;
use crate::geometry::solid::Solid;
use crate::geometry::stl;
use crate::geometry::threemf::Model;

/// Density of typical PLA, g/cm3 (1.21 to 1.27: general polymer handbook range).
pub const PLA_DENSITY_G_CM3: f64 = 1.24;

/// Most prints of one run; the labels have room for its digits.
pub const MOST_COPIES: u32 = 99;

/// What a run may be asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// The printer's bed.
    pub bed: Bed,
    /// How many prints.
    pub copies: u32,
    /// What is printed with what; empty when the person fills it in.
    pub setup: String,
    /// Density of the filament, g/cm3.
    pub density_g_cm3: f64,
    /// For sets that are measured before and after heat.
    pub heat: HeatPlan,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            bed: Bed::default(),
            copies: 1,
            setup: String::new(),
            density_g_cm3: PLA_DENSITY_G_CM3,
            heat: HeatPlan::default(),
        }
    }
}

/// Why a kit could not be made.
#[derive(Debug, thiserror::Error)]
pub enum KitError {
    /// A piece is larger than the bed.
    #[error(transparent)]
    TooLarge(#[from] TooLarge),
    /// A piece could not be made.
    #[error(transparent)]
    Coupon(#[from] CouponError),
    /// A piece could not be put in its place.
    #[error(transparent)]
    Place(#[from] NotASolid),
    /// A file could not be written.
    #[error(transparent)]
    File(#[from] FileError),
}

/// One print: its pieces, and the plates that they are on.
#[derive(Clone, Debug)]
struct Print {
    /// The letter of its material; `None` where the set is for one material.
    material: Option<char>,
    /// `None` when there is only one.
    copy: Option<u32>,
    solids: Vec<Solid>,
    plates: Vec<Plate>,
}

impl Print {
    /// The name of a plate's file: `plate-1`, `plate-2`; with copies `plate-copy-1`, `plate-copy-1-2`; with
    /// materials `plate-A-1`, `plate-A-copy-1`.
    fn plate_name(&self, index: usize) -> String {
        let plate = self.material.map_or_else(|| "plate".to_owned(), |letter| format!("plate-{letter}"));
        match self.copy {
            None => format!("{plate}-{}", index + 1),
            Some(copy) if self.plates.len() == 1 => format!("{plate}-copy-{copy}"),
            Some(copy) => format!("{plate}-copy-{copy}-{}", index + 1),
        }
    }
}

/// What lies where on a plate, seen from above with y downwards as SVG wants it.
#[derive(Clone, Debug, PartialEq)]
pub struct PlateDrawing {
    /// The plate's file.
    pub file: String,
    /// Width and depth of the bed, mm.
    pub bed: [f64; 2],
    /// The pieces.
    pub pieces: Vec<PlacedPiece>,
}

/// A piece on a plate.
#[derive(Clone, Debug, PartialEq)]
pub struct PlacedPiece {
    /// What is on it.
    pub name: String,
    /// Left and upper edge, width and height of the room it takes, mm.
    pub rectangle: [f64; 4],
}

/// A coupon set, made.
#[derive(Clone, Debug)]
pub struct Kit {
    /// The set.
    pub set: CouponSet,
    options: Options,
    prints: Vec<Print>,
}

fn size(solid: &Solid) -> [f64; 3] {
    let [low, high] = solid.bounds();
    std::array::from_fn(|axis| high[axis] - low[axis])
}

impl Kit {
    /// Makes and packs every piece of every print.
    ///
    /// # Errors
    /// When a piece does not fit on the bed, or is no solid.
    pub fn new(set: CouponSet, options: Options) -> Result<Self, KitError> {
        let materials: Vec<Option<char>> = if set.heat {
            options.heat.materials.iter().map(|material| Some(material.letter)).collect()
        } else {
            vec![None]
        };
        let copies = 1..=options.copies;
        let numbered = copies.map(|copy| (options.copies > 1).then_some(copy));
        let jobs = materials.into_iter().flat_map(|letter| numbered.clone().map(move |copy| (letter, copy)));
        let prints = jobs.map(|(letter, copy)| print(&set, letter, copy, options.bed));
        let prints = prints.collect::<Result<_, KitError>>()?;
        Ok(Self { set, options, prints })
    }

    /// How many prints of each material.
    pub fn copies(&self) -> u32 {
        self.options.copies
    }

    /// What is printed in what and what heat it gets; `None` of a set that is not for heat.
    pub fn heat(&self) -> Option<&HeatPlan> {
        self.set.heat.then_some(&self.options.heat)
    }

    /// What it is printed with, empty when the person fills it in.
    pub fn setup(&self) -> &str {
        &self.options.setup
    }

    /// Every plate from above: which piece lies where.
    pub fn plate_drawings(&self) -> Vec<PlateDrawing> {
        let drawing = |print: &Print, (index, plate): (usize, &Plate)| {
            let bed = [self.options.bed.width_mm, self.options.bed.depth_mm];
            let piece = |place: &Place| {
                let [width, depth, _] = size(&print.solids[place.item]);
                let name = print.solids[place.item].name().to_owned();
                PlacedPiece { name, rectangle: [place.x_mm, bed[1] - place.y_mm - depth, width, depth] }
            };
            PlateDrawing {
                file: format!("{}.3mf", print.plate_name(index)),
                bed,
                pieces: plate.places.iter().map(piece).collect(),
            }
        };
        let of_print = |print: &Print| {
            print.plates.iter().enumerate().map(|plate| drawing(print, plate)).collect::<Vec<_>>()
        };
        self.prints.iter().flat_map(of_print).collect()
    }

    /// What it is, in numbers; `files` are those that were written.
    pub fn summary(&self, files: Vec<String>) -> Summary {
        let solids = || self.prints.iter().flat_map(|print| &print.solids);
        let volume_mm3: f64 = solids().map(Solid::volume_mm3).sum();
        let first = self.prints.first().map_or(&[][..], |print| &print.solids);
        let coupons = self.set.coupons.iter().zip(first).map(|(coupon, solid)| CouponSummary {
            coupon: coupon.name.clone(),
            form: coupon.title(),
            features: coupon.features.iter().map(feature_summary).collect(),
            volume_mm3: solid.volume_mm3(),
            size_mm: size(solid),
        });
        let features = self.set.feature_count();
        Summary {
            set: self.set.name.clone(),
            summary: self.set.summary.clone(),
            coupons: coupons.collect(),
            features,
            readings: match self.heat() {
                Some(plan) => heat::readings(&self.set, self.options.copies, plan),
                None => features * sheet::READINGS * self.prints.len(),
            },
            copies: self.options.copies,
            volume_mm3,
            mass_g: volume_mm3 / 1000.0 * self.options.density_g_cm3,
            density_g_cm3: self.options.density_g_cm3,
            plates: self.prints.iter().flat_map(|print| &print.plates).map(|plate| plate.size_mm).collect(),
            bed_mm: [self.options.bed.width_mm, self.options.bed.depth_mm],
            files,
        }
    }

    /// Stages the solids, the plates and the readings sheet in `folder`.
    ///
    /// # Errors
    /// When a file cannot be written.
    pub fn write(&self, folder: &Path, outputs: &mut Outputs) -> Result<(), KitError> {
        for print in &self.prints {
            for solid in &print.solids {
                let text = format!("{} of coupon set {}, mm", solid.name(), self.set.name);
                let target = folder.join(format!("{}.stl", solid.name()));
                outputs.write_with(&target, |file| stl::write(&[solid], &text, file))?;
            }
            for (index, plate) in print.plates.iter().enumerate() {
                let name = print.plate_name(index);
                let bytes = self.plate_bytes(print, plate, &name)?;
                let target = folder.join(format!("{name}.3mf"));
                outputs.write_with(&target, |mut file| std::io::Write::write_all(&mut file, &bytes?))?;
            }
        }
        let (setup, copies) = (&self.options.setup, self.options.copies);
        let sheet = match self.heat() {
            Some(plan) => heat::blank(&self.set, setup, copies, plan),
            None => sheet::blank(&self.set, setup, copies),
        };
        Ok(outputs.write(&folder.join("readings.csv"), sheet.as_bytes())?)
    }

    /// The 3MF file of one plate, or why the writer refuses.
    fn plate_bytes(
        &self,
        print: &Print,
        plate: &Plate,
        name: &str,
    ) -> Result<std::io::Result<Vec<u8>>, KitError> {
        let put = |place: &Place| print.solids[place.item].clone().moved([place.x_mm, place.y_mm, 0.0]);
        let solids: Vec<Solid> = plate.places.iter().map(put).collect::<Result<_, _>>()?;
        let setup = match self.options.setup.as_str() {
            "" => "not given".to_owned(),
            setup => setup.to_owned(),
        };
        let mut metadata = vec![
            ("setup", setup),
            ("set", self.set.name.clone()),
            ("copy", print.copy.unwrap_or(1).to_string()),
            ("bed_mm", format!("{} x {}", self.options.bed.width_mm, self.options.bed.depth_mm)),
        ];
        metadata.extend(print.material.map(|letter| ("material", letter.to_string())));
        let model = Model {
            title: &format!("coupon set {}, {name}", self.set.name),
            description: "Print as it lies: do not turn, do not scale. See measuring-guide.html.",
            metadata: &metadata,
            solids: &solids.iter().collect::<Vec<_>>(),
        };
        Ok(model.to_bytes())
    }
}

fn print(set: &CouponSet, material: Option<char>, copy: Option<u32>, bed: Bed) -> Result<Print, KitError> {
    let at_the_origin = |coupon: &Coupon| -> Result<Solid, KitError> {
        let solid = match material {
            Some(letter) => coupon.marked(letter).solid(copy)?,
            None => coupon.solid(copy)?,
        };
        let [low, _] = solid.bounds();
        Ok(solid.moved(low.map(|coordinate| -coordinate))?)
    };
    let solids: Vec<Solid> = set.coupons.iter().map(at_the_origin).collect::<Result<_, _>>()?;
    let item = |solid: &Solid| {
        let [width_mm, depth_mm, _] = size(solid);
        Item { name: solid.name().to_owned(), width_mm, depth_mm }
    };
    let items: Vec<Item> = solids.iter().map(item).collect();
    let plates = pack(&items, bed, set.plate_gap_mm)?;
    Ok(Print { material, copy, solids, plates })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coupon::embedded_sets;

    fn kit(copies: u32, bed: Bed) -> Result<Kit, KitError> {
        Kit::new(embedded_sets()[0].clone(), Options { bed, copies, ..Options::default() })
    }

    #[test]
    fn every_copy_is_a_print_of_its_own_with_its_number_on_every_piece() {
        let kit = kit(2, Bed::default()).unwrap();
        let plates = kit.plate_drawings();
        let files: Vec<&str> = plates.iter().map(|plate| plate.file.as_str()).collect();
        assert_eq!(files, ["plate-copy-1.3mf", "plate-copy-2.3mf"]);
        for (copy, plate) in (1..).zip(&plates) {
            assert_eq!(plate.pieces.len(), kit.set.coupons.len());
            assert!(plate.pieces.iter().all(|piece| piece.name.ends_with(&format!("-{copy}"))));
        }
        let summary = kit.summary(Vec::new());
        assert_eq!((summary.copies, summary.readings), (2, summary.features * 6));
    }

    #[test]
    fn a_small_bed_takes_several_plates_and_too_small_a_bed_is_refused() {
        let bed = Bed { width_mm: 70.0, depth_mm: 60.0 };
        let plates = kit(1, bed).unwrap().plate_drawings();
        assert!(plates.len() > 1);
        assert_eq!(plates[1].file, "plate-2.3mf");
        let bed = Bed { width_mm: 50.0, depth_mm: 60.0 };
        let error = kit(1, bed).unwrap_err();
        assert!(error.to_string().starts_with("`SQ` is 48.0 x 21.8 mm and does not fit"), "{error}");
    }

    #[test]
    fn the_numbers_are_those_of_the_solids() {
        let kit = kit(1, Bed::default()).unwrap();
        let summary = kit.summary(Vec::new());
        let sum: f64 = summary.coupons.iter().map(|coupon| coupon.volume_mm3).sum();
        assert!((summary.volume_mm3 - sum).abs() < 1e-9);
        assert!((summary.mass_g - sum * 1.24e-3).abs() < 1e-9);
        assert_eq!(summary.coupons[0].size_mm, [38.5, 17.800048828125, 12.4000244140625]);
    }
}
