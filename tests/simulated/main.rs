//! The structured fit against simulated printers.
//!
//! The small form runs with `cargo test`; the large one, whose figures are in DEVELOPERS.md, with
//! `cargo test --release --test simulated -- --ignored --nocapture`.

mod design;
mod printer;
mod probe;
mod random;
mod study;

use printer::Population;
use shrinkrule::correction::structured::Options;
use study::{HEADER, Plan, row, run};

fn printers(default: u32) -> u32 {
    std::env::var("SHRINKRULE_PRINTERS").ok().and_then(|text| text.parse().ok()).unwrap_or(default)
}

fn study_plan(population: Population, prints: u32, readings: u32, gross: f64) -> Plan {
    Plan {
        population,
        design: design::study(),
        prints,
        readings,
        gross: Some(gross),
        options: Options::default(),
        targets: design::targets(false),
    }
}

#[test]
#[ignore = "minutes; figures in DEVELOPERS.md"]
fn table_of_the_accuracy_study() {
    println!("{HEADER}");
    for population in [Population::Exact, Population::Misfit] {
        for (prints, readings, gross) in
            [(3, 1, 0.0), (1, 3, 0.0), (3, 1, 0.05), (3, 1, 0.2), (3, 3, 0.0), (3, 3, 0.05), (1, 3, 0.05)]
        {
            let plan = study_plan(population, prints, readings, gross);
            println!("{}", row(&plan, "study", &run(&plan, printers(2000), 11)));
        }
    }
}

#[test]
#[ignore = "minutes; figures in DEVELOPERS.md"]
fn table_of_the_classes() {
    println!("{HEADER}");
    for population in [Population::Good, Population::Typical, Population::Bad] {
        for (name, features) in [("quick", design::quick()), ("starter", design::starter())] {
            for prints in 1..=3 {
                let plan = Plan {
                    population,
                    design: features.clone(),
                    prints,
                    readings: 3,
                    gross: None,
                    options: Options::default(),
                    targets: design::targets(true),
                };
                let outcome = run(&plan, printers(2000), 12);
                println!("{} {:.3?}", row(&plan, name, &outcome), outcome.cover_of);
            }
        }
    }
}
