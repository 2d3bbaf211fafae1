use crate::design;
use crate::printer::{Gross, Population, Printer};
use crate::random::Random;
use crate::study::*;
use shrinkrule::correction::structured::{self, Options};
use shrinkrule::readings::Conditions;

#[test]
#[ignore = "probe"]
fn probe() {
    let n: u32 = std::env::var("SHRINKRULE_PRINTERS").ok().and_then(|t| t.parse().ok()).unwrap_or(200);
    for (population, features, prints, readings) in [
        (Population::Typical, design::starter(), 1, 3),
        (Population::Typical, design::starter(), 3, 3),
        (Population::Bad, design::starter(), 3, 3),
        (Population::Misfit, design::study(), 3, 3),
        (Population::Misfit, design::study(), 3, 1),
        (Population::Typical, design::quick(), 3, 3),
        (Population::Typical, design::quick(), 1, 3),
        (Population::Good, design::quick(), 1, 3),
        (Population::Bad, design::quick(), 1, 3),
        (Population::Good, design::starter(), 1, 3),
        (Population::Bad, design::starter(), 1, 3),
        (Population::Misfit, design::study(), 1, 3),
    ] {
        for keep_all in [false] {
            let plan = Plan {
                population,
                design: features.clone(),
                prints,
                readings,
                gross: Some(0.0),
                options: Options { keep_all, ..Options::default() },
                targets: design::targets(population != Population::Misfit),
            };
            let o = run(&plan, n, 5);
            let mut l = [0.0; 6];
            for k in 0..n {
                let mut random = Random::new(77 + u64::from(k) * 1000);
                let mut p = Printer::draw(population, &mut random);
                p.gross = Some(Gross::Uniform { chance: 0.0, low: 0.0, high: 1.0 });
                let s = readings_of(&plan, &p, &mut random);
                let f = structured::fit(&s, &Conditions::default(), &plan.options).unwrap();
                let e = f.correction.print_effects.unwrap();
                let sp = f.correction.spread;
                l[0] += (sp.feature.sd_mm / p.feature_sd).ln();
                l[1] += (e.swell_sd_mm / p.print_swell_sd).ln();
                l[2] += (e.shrink_sd / p.print_scale_sd).ln();
                l[3] += sp.feature.dof.unwrap().ln();
                l[4] += e.swell_dof.ln();
                l[5] += e.shrink_dof.ln();
            }
            let l = l.map(|v| (v / f64::from(n)).exp());
            println!("{} keep {keep_all} ratios F P k, dofs {l:.2?} {:.3?}", row(&plan, "", &o), o.cover_of);
        }
    }
}
