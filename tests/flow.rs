//! From coupons to a pulley, on a printer whose truth is known: the sheet that `coupons` writes is filled
//! with what that printer prints, `fit` reads it, and what `size` and the pulley draw is printed by the
//! truth again.

mod pulley_setup;

use shrinkrule::correction::Correction;
use shrinkrule::correction::fit::{FitOptions, Method, fit_all};
use shrinkrule::coupon::{embedded_sets, sheet};
use shrinkrule::kind::{Axis, Kind};
use shrinkrule::parts::pulley::Design;
use shrinkrule::parts::pulley_check::deviation_mm;
use shrinkrule::parts::pulley_law::WallLaw;
use shrinkrule::parts::pulley_request::{Build, Flanges, Request};
use shrinkrule::readings::read_bytes;
use shrinkrule::units::Mm;

/// Walls stand out by 0.06 mm a side, bores close by 0.04 mm more and 0.3 mm^2 over their size, and all
/// shrinks by 0.3 %.
fn truth() -> Correction {
    pulley_setup::correction(&pulley_setup::Setup {
        pin: (0.12, -0.003),
        gap: (-0.12, -0.003),
        bore: (-0.16, -0.003),
        ..pulley_setup::INVENTED
    })
}

/// What the truth makes of a feature; the kinds that pulleys do not need are of the same printer.
fn true_size_mm(truth: &Correction, kind: Kind, drawn_mm: f64) -> f64 {
    match kind {
        Kind::Outer => drawn_mm + truth.deviation_mm(Kind::Pin, Axis::Round, drawn_mm),
        Kind::HorizontalBore => drawn_mm - 0.16 - 0.003 * drawn_mm,
        Kind::Span => drawn_mm * 0.997,
        _ => drawn_mm + truth.deviation_mm(kind, Axis::Round, drawn_mm),
    }
}

/// The starter set's own sheet, filled in: prints differ by a swell, features by a wobble, both of a
/// pattern that needs no chance, and the caliper shows hundredths.
fn filled(prints: u32) -> String {
    let set = embedded_sets().iter().find(|set| set.name == "starter").expect("starter is embedded");
    let truth = truth();
    let mut row = 0_u32;
    let lines = sheet::blank(set, "known", prints)
        .lines()
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let Ok(drawn_mm) = cells.get(5).unwrap_or(&"").parse::<f64>() else { return line.to_owned() };
            let kind: Kind = cells[3].parse().unwrap();
            let copy: i32 = cells[6].parse().unwrap();
            row += 1;
            let swell = 0.006 * f64::from(copy - 2) * kind.swell_sign();
            let wobble = 0.012 * (f64::from(row * 7919 % 101) / 50.0 - 1.0);
            let bed = if cells[2].ends_with("-bed") { 0.2 } else { 0.0 };
            let size = true_size_mm(&truth, kind, drawn_mm) + swell + wobble + bed;
            let reading = |step: f64| format!("{:.2}", size + step);
            format!("{},{},{},{},", cells[..7].join(","), reading(-0.008), reading(0.0), reading(0.008))
        })
        .collect::<Vec<_>>();
    lines.join("\n")
}

fn fitted(method: Method) -> Correction {
    let readings = read_bytes("readings.csv".as_ref(), filled(3).as_bytes()).expect("the sheet is whole");
    let options = FitOptions { method, ..FitOptions::default() };
    fit_all(&readings, &options).remove(0).expect("the sheet can be fitted").correction
}

#[test]
fn sizes_drawn_from_the_fit_print_as_wanted_within_their_interval() {
    let truth = truth();
    for method in [Method::Structured, Method::LeastSquares] {
        let fit = fitted(method);
        for (kind, axis, target) in [
            (Kind::Bore, Axis::Round, 5.0),
            (Kind::Bore, Axis::Round, 8.0),
            (Kind::Pin, Axis::Round, 8.0),
            (Kind::Gap, Axis::X, 3.0),
            (Kind::Outer, Axis::Y, 30.0),
            (Kind::Span, Axis::X, 42.0),
        ] {
            let size = fit.size_for(kind, axis, Mm::new(target).unwrap(), Mm::new(0.01).unwrap()).unwrap();
            let printed = true_size_mm(&truth, kind, size.draw.get());
            let (low, high) = size.prediction.interval(0.95);
            assert!((low..=high).contains(&printed), "{kind} {target}: {printed} not in {low}..{high}");
            assert!((printed - target).abs() < 0.02, "{kind} {target} prints {printed}");
            // Drawn as wanted, without a correction, it would have missed by more.
            assert!((true_size_mm(&truth, kind, target) - target).abs() > 0.025, "{kind} {target}");
        }
    }
}

#[test]
fn a_pulley_drawn_from_the_fit_prints_as_wanted() {
    let request = Request {
        belt: "T5".to_owned(),
        teeth: 20,
        bore: Mm::new(5.0).unwrap(),
        flanges: Flanges::from_count(2).unwrap(),
        belt_width: None,
        allow_few_teeth: false,
        build: Build::default(),
    };
    let design = Design::new(&request, Some(&fitted(Method::Structured))).unwrap();
    let (wanted, drawn) = (&design.wanted, &design.drawn);
    let law = WallLaw::of(&truth(), &wanted.groove).unwrap();
    let counts = [8; 8];
    let printed = deviation_mm(&wanted.groove, &drawn.groove, &counts, &law);
    let uncorrected = deviation_mm(&wanted.groove, &wanted.groove, &counts, &law);
    assert!(printed < 0.02, "{printed}");
    assert!(uncorrected > 2.5 * printed, "{uncorrected} and {printed}");
    let bore = true_size_mm(&truth(), Kind::Bore, drawn.bore_mm);
    assert!((bore - 5.0).abs() < 0.02, "{bore}");
}
