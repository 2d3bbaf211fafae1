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

#[test]
#[ignore = "probe"]
fn speed() {
    for keep_all in [true, false] {
        for (name, prints, readings, features) in [
            ("study 3x1", 3, 1, design::study()),
            ("study 1x3", 1, 3, design::study()),
            ("starter 3x3", 3, 3, design::starter()),
            ("quick 1x3", 1, 3, design::quick()),
        ] {
            let plan = Plan {
                population: Population::Misfit,
                design: features,
                prints,
                readings,
                gross: Some(0.0),
                options: Options { keep_all, ..Options::default() },
                targets: design::targets(false),
            };
            let mut random = Random::new(3);
            let setups: Vec<_> = (0..100)
                .map(|_| {
                    let p = Printer::draw(plan.population, &mut random);
                    readings_of(&plan, &p, &mut random)
                })
                .collect();
            let mut all = Vec::new();
            for _ in 0..7 {
                for s in &setups {
                    let began = std::time::Instant::now();
                    std::hint::black_box(structured::fit(s, &Conditions::default(), &plan.options).unwrap());
                    all.push(began.elapsed().as_secs_f64());
                }
            }
            all.sort_by(f64::total_cmp);
            println!("{name} {keep_all}: tenth {:.0} median {:.0} us a fit", all[70] * 1e6, all[350] * 1e6);
        }
    }
}

#[test]
#[ignore = "probe"]
fn parts() {
    for (population, features, prints) in [
        (Population::Typical, design::quick(), 1),
        (Population::Good, design::quick(), 1),
        (Population::Typical, design::starter(), 1),
        (Population::Typical, design::starter(), 3),
    ] {
        let plan = Plan {
            population,
            design: features,
            prints,
            readings: 3,
            gross: Some(0.0),
            options: Options::default(),
            targets: design::targets(true),
        };
        let mut sums = [[0.0; 4]; 7];
        let (mut lnf, mut lnf2, mut dof) = (0.0, 0.0, 0.0);
        let n = 400;
        for k in 0..n {
            let mut random = Random::new(77 + k * 1000);
            let mut p = Printer::draw(population, &mut random);
            p.gross = Some(Gross::Uniform { chance: 0.0, low: 0.0, high: 1.0 });
            let s = readings_of(&plan, &p, &mut random);
            let f = structured::fit(&s, &Conditions::default(), &plan.options).unwrap().correction;
            let l = (f.spread.feature.sd_mm / p.feature_sd).ln();
            lnf += l;
            lnf2 += l * l;
            dof += f.spread.feature.dof.unwrap();
            for t in &plan.targets.0 {
                let row: Vec<f64> = f.terms.iter().map(|term| term.value(t.kind, t.axis, t.size)).collect();
                let mut v = 0.0;
                for i in 0..row.len() {
                    for j in 0..row.len() {
                        v += row[i] * f.covariance[i][j] * row[j];
                    }
                }
                let e = f.deviation_mm(t.kind, t.axis, t.size) - p.deviation(t.kind, t.axis, t.size);
                let new: f64 =
                    f.print_effects.unwrap().variances_mm2(t.kind, t.size).iter().map(|v| v.0).sum::<f64>()
                        + f.spread.feature.sd_mm.powi(2);
                let s = &mut sums[t.kind as usize];
                s[0] += v;
                s[1] += e * e;
                s[2] += new;
                s[3] += p.new_print_variance(t.kind, t.size);
            }
        }
        let n = n as f64;
        println!(
            "{} {} prints; F: geometric {:.2} ln sd {:.2} dof {:.1}; by kind sqrt of: coefficient variance over its error, new print over its truth, and per mille mm of the four",
            population.name(),
            prints,
            (lnf / n).exp(),
            (lnf2 / n - (lnf / n).powi(2)).sqrt(),
            dof / n
        );
        for (k, s) in sums.iter().enumerate() {
            if s[3] > 0.0 {
                println!(
                    "   {:?} {:.2} {:.2}   {:.1?}",
                    shrinkrule::kind::Kind::ALL[k],
                    (s[0] / s[1]).sqrt(),
                    (s[2] / s[3]).sqrt(),
                    s.map(|v| (v / n / 16.0).sqrt() * 1e3)
                );
            }
        }
    }
}
