//! From readings over a fit to its pictures and its report, with a simulated printer.

mod common;

use common::printer::{Deviates, Printer, Truth, summary};
use shrinkrule::correction::fit::{FitOptions, fit};
use shrinkrule::correction::fitted::Fit;
use shrinkrule::kind::Kind;
use shrinkrule::plot::{DeviationFigure, fit_figures};
use shrinkrule::readings::{Conditions, Reading};
use shrinkrule::report::fit::{SetupReport, fit_report};

/// Three prints with a curve in small bores, and one bore of 6 mm read ten times too large.
fn fitted() -> Fit {
    let mut printer = Printer { print_sd_mm: 0.02, step_mm: 0.01, prints: 3, ..Printer::usual() };
    printer.kinds[0].small_bore_mm2 = -0.35;
    printer.kinds[0].sizes_mm = &[2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 16.0];
    printer.kinds.push(Truth {
        kind: Kind::Span,
        offset_mm: 0.0,
        scale: 0.996,
        small_bore_mm2: 0.0,
        sizes_mm: &[20.0, 50.0, 100.0, 150.0],
    });
    let mut readings = printer.print("slider printer, simulated", &mut Deviates::new(4));
    let slip = &mut readings.features[4];
    let line = slip.repeats.lowest.line.min(slip.repeats.highest.line);
    slip.repeats = summary(&[Reading { mm: 57.1, line }, Reading { mm: 57.2, line: line + 1 }]);
    fit(&readings, &Conditions::default(), &FitOptions::default()).unwrap()
}

#[test]
fn a_fit_of_readings_is_drawn_with_its_slip_named() {
    let fit = fitted();
    let slip = fit.correction.set_aside.first().expect("the slip is set aside").line;
    let figures = fit_figures(&fit).unwrap();
    assert!(figures[0].svg.contains(&format!(">line {slip} ↑ +51 mm</text>")), "{}", figures[0].svg);
    let data = DeviationFigure::of(&fit).unwrap();
    let kinds: Vec<Kind> = data.panels.iter().map(|panel| panel.kind).collect();
    assert_eq!(kinds, [Kind::Bore, Kind::Pin, Kind::Gap, Kind::Outer, Kind::Span]);
    // Every point's fitted deviation lies on the line that is drawn, where the line has a place.
    for panel in &data.panels {
        let curve = &panel.curves[0];
        assert_eq!(panel.curves.len(), 1);
        let (first, last) = (curve.points[0], curve.points[curve.points.len() - 1]);
        for end in [first, last] {
            let point =
                fit.points.iter().find(|p| p.kind == panel.kind && p.nominal_mm == end.drawn).unwrap();
            assert!((point.fitted_mm - end.fitted).abs() < 1e-9, "{:?}", panel.kind);
        }
    }
}

#[test]
fn its_report_names_the_slip_and_the_sizes_to_draw() {
    let fit = fitted();
    let figures = fit_figures(&fit).unwrap();
    let setup = SetupReport { fit: &fit, figures: &figures, correction_file: "slider.correction.toml" };
    let html = fit_report(&[setup], &Conditions::default()).unwrap();
    let slip = &fit.correction.set_aside[0];
    assert!(html.contains(&format!("<td class=\"number\">{}</td>", slip.line)));
    // Truth: 8 = 0.996 x - 0.18 - 0.35 / x at x = 8.256.
    let draw = |size: &str| html.contains(&format!("To get 8 mm, draw {size} mm"));
    assert!(["8.23", "8.24", "8.25", "8.26", "8.27", "8.28"].iter().any(|size| draw(size)));
    if let Some(folder) = std::env::var_os("PICTURES") {
        let folder = std::path::PathBuf::from(folder);
        std::fs::write(folder.join("report.html"), &html).unwrap();
        figures.iter().for_each(|figure| {
            std::fs::write(folder.join(format!("{}.png", figure.name)), &figure.png).unwrap();
        });
    }
}
