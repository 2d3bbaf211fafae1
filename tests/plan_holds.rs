//! What `plan` promises against what comes of it: simulated printers of the assumed spreads print the chosen
//! coupons, and the fit's intervals are as wide as was predicted.

mod workshop;

use shrinkrule::correction::structured::{Options, fit};
use shrinkrule::coupon::plate::Bed;
use shrinkrule::kind::{Axis, Kind};
use shrinkrule::plan::Wanted;
use shrinkrule::plan::evaluate::{expected_correction, half_width_mm};
use shrinkrule::plan::search::plan;
use shrinkrule::plan::spreads::Class;
use shrinkrule::readings::Conditions;

use workshop::{Feature, Random, Truth, readings};

fn wanted(kind: Kind, axis: Axis, target_mm: f64, room_mm: f64) -> Wanted {
    Wanted {
        line: 1,
        part: String::new(),
        dimension: String::new(),
        kind,
        axis,
        target_mm,
        within: None,
        room_mm: Some(room_mm),
    }
}

fn dimensions() -> Vec<Wanted> {
    vec![
        wanted(Kind::Bore, Axis::Round, 8.0, 0.12),
        wanted(Kind::Pin, Axis::Round, 10.0, 0.12),
        wanted(Kind::Gap, Axis::X, 6.0, 0.12),
        wanted(Kind::Span, Axis::Y, 50.0, 0.09),
    ]
}

#[test]
fn fits_of_planned_coupons_have_the_intervals_that_were_predicted() {
    let (wanted, spreads) = (dimensions(), Class::Typical.spreads());
    let plan = plan(&wanted, &spreads, "", Bed::default()).unwrap();
    let set = shrinkrule::coupon::definition::parse(std::path::Path::new("plan.toml"), &plan.set).unwrap();
    let features = set.coupons.iter().flat_map(|coupon| &coupon.features).filter(|of| !of.is_at_bed());
    let features: Vec<Feature> = features.map(|of| (of.kind, of.axis, of.nominal_mm)).collect();
    for prints in [1, 2, 3] {
        let expected = expected_correction(&features, &spreads, prints).unwrap();
        let mut random = Random(0xB0_17 + prints as u64);
        let mut sums = vec![0.0; wanted.len()];
        let printers = 40;
        for _ in 0..printers {
            let truth = Truth {
                print_swell_sd: spreads.print_swell_sd_mm,
                print_scale_sd: spreads.print_scale_sd,
                feature_sd: spreads.feature_sd_mm,
                ..Truth::printer(&mut random)
            };
            let readings = readings(&truth, &features, prints as u32, &mut random);
            let fitted = fit(&readings, &Conditions::default(), &Options::default()).unwrap().correction;
            for (sum, wanted) in sums.iter_mut().zip(&wanted) {
                *sum += half_width_mm(&fitted, wanted).unwrap().0 / f64::from(printers);
            }
        }
        for (mean, wanted) in sums.iter().zip(&wanted) {
            let (promised, _) = half_width_mm(&expected, wanted).unwrap();
            assert!((mean / promised - 1.0).abs() < 0.08, "{prints} {}: {mean} {promised}", wanted.kind);
        }
    }
}

/// Every element that the plan has beyond what a kind needs earns its place.
#[test]
fn a_plan_for_wide_limits_is_smaller_than_one_for_narrow_limits() {
    let spreads = Class::Typical.spreads();
    let readings = |room_mm: f64| {
        let wanted: Vec<Wanted> =
            dimensions().into_iter().map(|wanted| Wanted { room_mm: Some(room_mm), ..wanted }).collect();
        let plan = plan(&wanted, &spreads, "", Bed::default()).unwrap();
        plan.features * plan.prints
    };
    let counts = [0.20, 0.10, 0.09].map(readings);
    assert!(counts[0] < counts[1] && counts[1] < counts[2], "{counts:?}");
}
