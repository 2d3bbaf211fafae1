//! Many printers through the fit: how near a corrected size comes, and how often the interval holds.
//!
//! Everything is averaged over new prints exactly: given a printer, the size of a feature on a new print is
//! normal about its mean, so the chance that an interval holds it has a closed form and only the printers
//! and their coupons are drawn.

use shrinkrule::correction::Correction;
use shrinkrule::correction::structured::{self, Options};
use shrinkrule::readings::{Conditions, FeatureReadings, Reading, Repeats, SetupReadings};
use shrinkrule::stats::distribution::{t_below, t_quantile};
use shrinkrule::stats::tolerance::Wanted;
use shrinkrule::units::Mm;

use crate::design::Feature;
use crate::oracle::{self, Knows};
use crate::printer::{Gross, Population, Printer};
use crate::random::Random;

#[derive(Clone, Debug)]
pub struct Plan {
    pub population: Population,
    pub design: Vec<Feature>,
    pub prints: u32,
    pub readings: u32,
    pub gross: Option<f64>,
    pub options: Options,
    pub targets: (Vec<Feature>, Vec<Feature>),
    /// Ask for tolerance intervals of every so many of the targets; 0: of none.
    pub tolerance_each: usize,
    /// Ask what those who know more would have, see [`oracle`].
    pub oracles: bool,
}

#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// Root mean square of mean printed size less target, µm, sizes within the coupons' range.
    pub rms_um: f64,
    pub far_rms_um: f64,
    /// Share of new prints' true sizes within the 95 % interval.
    pub cover: f64,
    pub far_cover: f64,
    /// The tenth of printers with the poorest cover begins here.
    pub worst_tenth: f64,
    /// Mean cover and worst tenth of those who know more, see [`Knows::ALL`].
    pub oracles: Option<[(f64, f64); 3]>,
    pub half_um: f64,
    /// Share of the sizes asked for whose 95 %/95 % tolerance interval holds 95 % of new prints, and how
    /// much wider it is than the interval for one; 0 where the plan does not ask.
    pub confident: f64,
    pub tolerance_half_um: f64,
    /// Share of new readings on new prints within the interval with the spread of reading added.
    pub cover_reading: f64,
    pub far_cover_reading: f64,
    pub set_aside_share: f64,
    pub micros_a_fit: f64,
}

pub fn readings(plan: &Plan, printer: &Printer, random: &mut Random) -> SetupReadings {
    let mut line = 1;
    let mut features = Vec::new();
    for copy in 1..=plan.prints {
        let print = printer.print(random);
        for feature in &plan.design {
            let size = printer.feature(&print, feature.kind, feature.axis, feature.size, random);
            let read: Vec<Reading> = (0..plan.readings)
                .map(|_| {
                    line += 1;
                    Reading { mm: printer.reading(feature.kind, size, random), line }
                })
                .collect();
            features.push(FeatureReadings {
                coupon: "".into(),
                feature: format!("{}-{}-{}", feature.kind, feature.axis, feature.size).into(),
                kind: feature.kind,
                axis: feature.axis,
                nominal_mm: feature.size,
                copy,
                repeats: summarised(&read),
            });
        }
    }
    SetupReadings { setup: "simulated".to_owned(), features }
}

pub fn summarised(read: &[Reading]) -> Repeats {
    let count = read.len() as f64;
    let mean = read.iter().map(|reading| reading.mm).sum::<f64>() / count;
    let by_size = |a: &&Reading, b: &&Reading| a.mm.total_cmp(&b.mm);
    Repeats {
        count: read.len() as u32,
        mean_mm: mean,
        sum_of_squares_mm2: read.iter().map(|reading| (reading.mm - mean).powi(2)).sum(),
        lowest: *read.iter().min_by(by_size).unwrap(),
        highest: *read.iter().max_by(by_size).unwrap(),
    }
}

#[derive(Default)]
struct OfPrinter {
    square: f64,
    cover: f64,
    half: f64,
    cover_reading: f64,
}

fn ask(correction: &Correction, printer: &Printer, targets: &[Feature]) -> OfPrinter {
    let mut sums = OfPrinter::default();
    let repeat = correction.spread.repeat.map_or(0.0, |repeat| repeat.sd_mm);
    let mut asked = 0.0;
    for target in targets {
        if !correction.kinds.contains_key(&target.kind) {
            continue;
        }
        let Ok(size) = correction.size_for(
            target.kind,
            target.axis,
            Mm::new(target.size).unwrap(),
            Mm::new(0.0).unwrap(),
        ) else {
            panic!("no size for {target:?}");
        };
        let drawn = size.draw.get();
        let truth = drawn + printer.deviation(target.kind, target.axis, drawn);
        let sd = printer.new_print_variance(target.kind, drawn).sqrt();
        let within = |low: f64, high: f64, sd: f64| {
            t_below((high - truth) / sd, f64::INFINITY) - t_below((low - truth) / sd, f64::INFINITY)
        };
        let (low, high) = size.prediction.interval(0.95);
        let cover = within(low, high, sd);
        sums.square += (truth - target.size).powi(2);
        sums.cover += cover;
        sums.half += (high - low) / 2.0;
        // The spread of reading is well known next to the rest: its variance adds, the doubt does not.
        let log_variance = 2.0 / (size.prediction.dof - 1.0);
        let factor = |log_variance: f64| (-log_variance / 2.0).exp() / (1.0 + log_variance / 2.0);
        let variance = size.prediction.sd_mm.powi(2) / factor(log_variance);
        let total = variance + repeat * repeat;
        let log_variance = ((variance / total).powi(2) * log_variance.exp_m1()).ln_1p();
        let half = t_quantile(0.975, 1.0 + 2.0 / log_variance) * (total * factor(log_variance)).sqrt();
        let middle = size.prediction.expected_mm;
        let read_sd = sd.hypot(printer.read_sd(target.kind)).hypot(0.01 / 12f64.sqrt());
        sums.cover_reading += within(middle - half, middle + half, read_sd);
        asked += 1.0;
    }
    sums.square /= asked;
    sums.cover /= asked;
    sums.half /= asked;
    sums.cover_reading /= asked;
    sums
}

/// Share of the 95 %/95 % tolerance intervals that hold 95 % of new prints, and their mean half-width, mm.
fn tolerance(correction: &Correction, printer: &Printer, plan: &Plan) -> (f64, f64) {
    let known = |target: &&Feature| correction.kinds.contains_key(&target.kind);
    let targets: Vec<&Feature> = plan.targets.0.iter().filter(known).step_by(plan.tolerance_each).collect();
    let (mut held, mut half) = (0.0, 0.0);
    let wanted = Wanted { share: 0.95, confidence: 0.95 };
    for target in &targets {
        let (kind, axis, drawn) = (target.kind, target.axis, target.size);
        let limits = correction.tolerance(kind, axis, drawn, wanted).unwrap().unwrap();
        let truth = drawn + printer.deviation(kind, axis, drawn);
        let sd = printer.new_print_variance(kind, drawn).sqrt();
        let below = |limit: f64| t_below((limit - truth) / sd, f64::INFINITY);
        held += f64::from(below(limits.high_mm) - below(limits.low_mm) >= 0.95);
        half += (limits.high_mm - limits.low_mm) / 2.0;
    }
    let count = targets.len() as f64;
    (held / count, half / count)
}

pub fn run(plan: &Plan, printers: u32, seed: u64) -> Outcome {
    let mut outcome = Outcome::default();
    let mut covers = Vec::new();
    let mut of_oracles = [const { Vec::new() }; 3];
    let (mut spent, mut set_aside, mut read) = (std::time::Duration::ZERO, 0.0, 0.0);
    let n = f64::from(printers);
    for printer in 0..printers {
        let mut random = Random::new(seed.wrapping_mul(0x1000_0000).wrapping_add(u64::from(printer) << 8));
        let mut printer = Printer::draw(plan.population, &mut random);
        if let Some(chance) = plan.gross {
            printer.gross = Some(Gross::Uniform { chance, low: 0.3, high: 2.0 });
        }
        let setup = readings(plan, &printer, &mut random);
        let began = std::time::Instant::now();
        let fit = structured::fit(&setup, &Conditions::default(), &plan.options).unwrap();
        spent += began.elapsed();
        set_aside += fit.correction.set_aside.len() as f64;
        read += f64::from(plan.readings) * setup.features.len() as f64;
        let near = ask(&fit.correction, &printer, &plan.targets.0);
        let far = ask(&fit.correction, &printer, &plan.targets.1);
        outcome.rms_um += near.square / n;
        outcome.far_rms_um += far.square / n;
        outcome.cover += near.cover / n;
        outcome.far_cover += far.cover / n;
        outcome.cover_reading += near.cover_reading / n;
        outcome.far_cover_reading += far.cover_reading / n;
        outcome.half_um += near.half * 1e3 / n;
        covers.push(near.cover);
        if plan.oracles && covers.len() % 4 == 1 {
            // A third of the sizes tells the same, and of a quarter of the printers the tenth is known to 0.3 %.
            let targets: Vec<Feature> = plan.targets.0.iter().step_by(3).copied().collect();
            printer.gross = None;
            let setup = readings(plan, &printer, &mut random);
            for (covers, knows) in of_oracles.iter_mut().zip(Knows::ALL) {
                covers.push(oracle::cover(plan.population, &printer, &setup, &targets, knows));
            }
        }
        if plan.tolerance_each > 0 {
            let (confident, half) = tolerance(&fit.correction, &printer, plan);
            outcome.confident += confident / n;
            outcome.tolerance_half_um += half * 1e3 / n;
        }
    }
    outcome.worst_tenth = worst_tenth(&mut covers);
    outcome.oracles = plan.oracles.then(|| {
        of_oracles
            .map(|mut covers| (covers.iter().sum::<f64>() / covers.len() as f64, worst_tenth(&mut covers)))
    });
    outcome.rms_um = outcome.rms_um.sqrt() * 1e3;
    outcome.far_rms_um = outcome.far_rms_um.sqrt() * 1e3;
    outcome.set_aside_share = set_aside / read;
    outcome.micros_a_fit = spent.as_secs_f64() * 1e6 / n;
    outcome
}

/// Where the tenth with the poorest cover begins.
fn worst_tenth(covers: &mut [f64]) -> f64 {
    covers.sort_by(f64::total_cmp);
    covers[covers.len() / 10]
}

pub const HEADER: &str = "\
| population | design | prints x readings | gross | rms µm | 30-100 | true size | worst tenth | 30-100 | half µm | reading | 30-100 | set aside | µs a fit |
|---|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|";

pub const HEADER_WITH_ORACLES: &str = "\
| population | design | prints x readings | gross | rms µm | 30-100 | true size | worst tenth | 30-100 | half µm | reading | 30-100 | set aside | µs a fit | knows all | knows the class | its spreads |
|---|---|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|";

pub fn row(plan: &Plan, design: &str, outcome: &Outcome) -> String {
    let percent = |share: f64| format!("{:.1} %", share * 100.0);
    let mut row = format!(
        "| {} | {design} | {} x {} | {} | {:.1} | {:.1} | {} | {} | {} | {:.0} | {} | {} | {:.2} % | {:.0} |",
        plan.population.name(),
        plan.prints,
        plan.readings,
        plan.gross.map_or("as class".to_owned(), percent),
        outcome.rms_um,
        outcome.far_rms_um,
        percent(outcome.cover),
        percent(outcome.worst_tenth),
        percent(outcome.far_cover),
        outcome.half_um,
        percent(outcome.cover_reading),
        percent(outcome.far_cover_reading),
        outcome.set_aside_share * 100.0,
        outcome.micros_a_fit,
    );
    for (_, worst_tenth) in outcome.oracles.iter().flatten() {
        row.push_str(&format!(" {} |", percent(*worst_tenth)));
    }
    row
}
