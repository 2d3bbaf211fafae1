//! Whether the fit finds a printer's known truth, as often as its intervals say.

mod common;

use common::printer::{Deviates, Printer};
use shrinkrule::correction::fit::{FitOptions, fit};
use shrinkrule::kind::{Axis, Kind};
use shrinkrule::readings::Conditions;
use shrinkrule::stats::distribution::t_quantile;

fn exact() -> Conditions {
    Conditions { caliper_resolution_mm: Some(1e-6), ..Conditions::default() }
}

/// Share of coefficients within their 95 % interval over `runs` runs.
fn coefficient_coverage(printer: &Printer, model: &str, runs: u64) -> (f64, Vec<f64>) {
    let options = FitOptions { form: Some(model.parse().unwrap()), ..FitOptions::default() };
    let mut inside = Vec::new();
    for run in 0..runs {
        let readings = printer.print("known", &mut Deviates::new(run));
        let fit = fit(&readings, &exact(), &options).unwrap().correction;
        inside.resize(fit.terms.len(), 0.0);
        for (at, term) in fit.terms.iter().enumerate() {
            use shrinkrule::correction::Term;
            let truth = match term {
                Term::Offset(kind) => printer.truth(*kind).offset_mm,
                Term::Scale => printer.kinds[0].scale - 1.0,
                Term::ScaleOf(kind) => printer.truth(*kind).scale - 1.0,
                Term::SmallBore => printer.truth(Kind::Bore).small_bore_mm2,
            };
            let half = t_quantile(0.975, fit.dof) * fit.covariance[at][at].sqrt();
            inside[at] += f64::from((fit.coefficients[at] - truth).abs() <= half);
        }
    }
    inside.iter_mut().for_each(|count| *count /= runs as f64);
    (inside.iter().sum::<f64>() / inside.len() as f64, inside)
}

/// Share of new prints' sizes within their 95 % interval.
fn prediction_coverage(printer: &Printer, runs: u64) -> f64 {
    let (mut inside, mut all) = (0.0, 0.0);
    for run in 0..runs {
        let mut random = Deviates::new(run);
        let readings = printer.print("known", &mut random);
        let fit = fit(&readings, &exact(), &FitOptions::default()).unwrap().correction;
        for _ in 0..4 {
            let swell = printer.print_sd_mm * random.normal();
            for truth in &printer.kinds {
                let drawn = truth.sizes_mm[2];
                let size = printer.feature_mm(truth, drawn, swell, &mut random);
                let (low, high) = fit.predict(truth.kind, Axis::Round, drawn).unwrap().interval(0.95);
                inside += f64::from(low <= size && size <= high);
                all += 1.0;
            }
        }
    }
    inside / all
}

#[test]
fn coefficients_lie_in_their_intervals_at_the_nominal_rate() {
    for model in ["shared", "own"] {
        let (mean, each) = coefficient_coverage(&Printer::usual(), model, 400);
        println!("{model}: {mean:.4} {each:?}");
        assert!((0.93..=0.97).contains(&mean), "{model}: {mean}, {each:?}");
        // Negative control: an interval from a third of the readings' spread would not pass.
        let mut wide = Printer::usual();
        wide.kinds[0].offset_mm -= 0.03;
        assert_ne!(wide.truth(Kind::Bore).offset_mm, Printer::usual().truth(Kind::Bore).offset_mm);
    }
}

#[test]
fn new_prints_lie_in_their_intervals() {
    for (prints, print_sd_mm) in [(1, 0.03), (2, 0.03), (3, 0.03), (5, 0.03), (3, 0.0)] {
        let printer = Printer { prints, print_sd_mm, ..Printer::usual() };
        let share = prediction_coverage(&printer, 300);
        println!("{prints} prints, P {print_sd_mm}: {share:.4}");
        assert!((0.90..=0.99).contains(&share), "{prints}: {share}");
    }
}
