//! How often the criticism speaks against a fit of a printer that errs as the model says.

use shrinkrule::correction::criticism::Doubt;
use shrinkrule::correction::fit::{FitOptions, Method, fit};
use shrinkrule::coupon::feature::is_fitted;
use shrinkrule::coupon::{Coupon, embedded_sets};
use shrinkrule::readings::Conditions;

use crate::design::Feature;
use crate::printer::Printer;
use crate::random::Random;
use crate::study::{Plan, readings};

/// Shares of printers that are told of anything, and of each sort of doubt.
#[derive(Clone, Copy, Debug, Default)]
pub struct Told {
    pub any: f64,
    /// Curve, own scale, coupon, shift, group, lack of fit, slope across the plate. The diagonals are out: x and y of these
    /// printers are out of square.
    pub sorts: [f64; 7],
}

/// `pieces` are those of the design's features.
pub fn told(plan: &Plan, pieces: &[&str], printers: u32, seed: u64) -> Told {
    let options = FitOptions { method: Method::Structured, points: false, ..FitOptions::default() };
    let mut told = Told::default();
    let each = 1.0 / f64::from(printers);
    for printer in 0..printers {
        let mut random = Random::new(seed.wrapping_mul(0x1000_0000).wrapping_add(u64::from(printer) << 8));
        let printer = Printer::draw(plan.population, &mut random);
        let mut setup = readings(plan, &printer, &mut random);
        for (feature, piece) in setup.features.iter_mut().zip(pieces.iter().cycle()) {
            feature.coupon = (*piece).into();
        }
        let fit = fit(&setup, &Conditions::default(), &options).unwrap();
        let mut any = false;
        for criticism in &fit.criticism {
            let sort = match criticism.doubt {
                Doubt::Curve { .. } => 0,
                Doubt::OwnScale { .. } => 1,
                Doubt::Coupon { .. } => 2,
                Doubt::Shift { .. } => 3,
                Doubt::Group { .. } => 4,
                Doubt::LackOfFit { .. } => 5,
                Doubt::Slope { .. } => 6,
                Doubt::Diagonals { .. } => continue,
            };
            told.sorts[sort] += each;
            any = true;
        }
        told.any += each * f64::from(any);
    }
    told
}

/// What a set of the program has measured, and the piece of each.
pub fn of_set(name: &str) -> (Vec<Feature>, Vec<&'static str>) {
    let set = embedded_sets().iter().find(|set| set.name == name).unwrap();
    let of = |coupon: &'static Coupon| {
        let fitted = coupon.features.iter().filter(|feature| is_fitted(&feature.label));
        fitted.map(|of| (Feature { kind: of.kind, axis: of.axis, size: of.nominal_mm }, coupon.name.as_str()))
    };
    set.coupons.iter().flat_map(of).unzip()
}
