//! Borrowing from earlier setups, on simulated workshops: one printer, several filaments, a folder of
//! corrections, and a new filament that is measured with half the readings.
//!
//! The larger table: `cargo test --release --test borrowing -- --ignored --nocapture`.

mod workshop;

use shrinkrule::correction::Correction;
use shrinkrule::correction::borrow::{Borrowed, lend};
use shrinkrule::correction::structured::{Options, fit};
use shrinkrule::kind::{Axis, Kind};
use shrinkrule::readings::{Conditions, SetupReadings};
use shrinkrule::stats::distribution::t_below;
use shrinkrule::units::Mm;

use workshop::{Feature, Random, Truth, readings};

/// 30 features; every second one is half of them, of every kind and direction.
fn features() -> Vec<Feature> {
    let mut all = Vec::new();
    let mut add = |kind, axes: [Axis; 2], sizes: &[f64]| {
        all.extend(sizes.iter().flat_map(|size| axes.map(|axis| (kind, axis, *size))));
    };
    add(Kind::Bore, [Axis::X, Axis::Y], &[3.0, 5.0, 8.0, 12.0]);
    add(Kind::Pin, [Axis::X, Axis::Y], &[5.0, 8.0]);
    add(Kind::Gap, [Axis::X, Axis::Y], &[2.5, 4.0, 6.0]);
    add(Kind::Outer, [Axis::X, Axis::Y], &[20.0, 33.0, 66.0]);
    add(Kind::Span, [Axis::X, Axis::Y], &[25.0, 40.0, 60.0]);
    all
}

/// Every second size, in x where its neighbour is in y.
fn half() -> Vec<Feature> {
    features().into_iter().enumerate().filter(|(i, _)| i % 4 == 0 || i % 4 == 3).map(|(_, of)| of).collect()
}

fn fitted(readings: &SetupReadings, options: &Options) -> Correction {
    fit(readings, &Conditions::default(), options).unwrap().correction
}

/// What a way of fitting comes to, summed over workshops.
#[derive(Clone, Copy, Default)]
struct Sums {
    squares: f64,
    covered: f64,
    half: f64,
    asked: f64,
}

impl Sums {
    fn add(&mut self, correction: &Correction, truth: &Truth) {
        let mut wanted = Vec::new();
        for size in [3.5, 5.0, 8.0, 15.0, 22.0] {
            wanted.extend([(Kind::Bore, Axis::Round, size), (Kind::Outer, Axis::X, 3.0 * size)]);
            wanted.extend([(Kind::Pin, Axis::Round, size), (Kind::Span, Axis::Y, 4.0 * size)]);
            wanted.push((Kind::Gap, Axis::Y, 0.4 * size));
        }
        for (kind, axis, size) in wanted {
            let step = Mm::new(0.0).unwrap();
            let size = correction.size_for(kind, axis, Mm::new(size).unwrap(), step).unwrap();
            let drawn = size.draw.get();
            let printed = drawn + truth.deviation(kind, axis, drawn);
            let (low, high) = size.prediction.interval(0.95);
            let sd = truth.new_print_sd(kind, drawn);
            let below = |limit: f64| t_below((limit - printed) / sd, f64::INFINITY);
            self.squares += (printed - size.target.get()).powi(2);
            self.covered += below(high) - below(low);
            self.half += (high - low) / 2.0;
            self.asked += 1.0;
        }
    }

    fn rms_um(&self) -> f64 {
        (self.squares / self.asked).sqrt() * 1e3
    }

    fn cover(&self) -> f64 {
        self.covered / self.asked
    }

    fn half_um(&self) -> f64 {
        self.half / self.asked * 1e3
    }
}

/// Full set by itself; half by itself; half with what the others lend.
struct Outcome {
    full: Sums,
    half: Sums,
    borrowed: Sums,
    /// Mean share of the offset of bores that was borrowed.
    bores: f64,
    /// How often the setup was called unlike the others.
    unlike: f64,
}

#[derive(Clone, Copy)]
struct Case {
    lenders: u32,
    half: fn() -> Vec<Feature>,
    half_prints: u32,
    is_other: bool,
    workshops: u32,
}

fn run(case: Case) -> Outcome {
    let mut outcome = Outcome {
        full: Sums::default(),
        half: Sums::default(),
        borrowed: Sums::default(),
        bores: 0.0,
        unlike: 0.0,
    };
    for workshop in 0..case.workshops {
        let mut random = Random(0x5EED_0000 + (u64::from(workshop) << 20));
        let printer = Truth::printer(&mut random);
        let lenders: Vec<Correction> = (0..case.lenders)
            .map(|_| {
                let filament = printer.filament(&mut random);
                fitted(&readings(&filament, &features(), 2, &mut random), &Options::default())
            })
            .collect();
        let lent = lend(&lenders.iter().collect::<Vec<_>>()).unwrap();
        let own = printer.filament(&mut random);
        let truth = if case.is_other { own.other() } else { own };
        let full = readings(&truth, &features(), 2, &mut random);
        let half = readings(&truth, &(case.half)(), case.half_prints, &mut random);
        outcome.full.add(&fitted(&full, &Options::default()), &truth);
        let alone = fitted(&half, &Options::default());
        outcome.half.add(&alone, &truth);
        let options = Options { lent: Some(lent.clone()), ..Options::default() };
        let together = fitted(&half, &options);
        outcome.borrowed.add(&together, &truth);
        let told = Borrowed::new(vec![], &lent, &alone, &together);
        let bores = told.shares.iter().find(|share| share.of == "offset of bores").unwrap().share;
        outcome.bores += bores / f64::from(case.workshops);
        outcome.unlike += f64::from(told.is_unlike()) / f64::from(case.workshops);
    }
    outcome
}

#[test]
fn half_the_readings_and_five_earlier_setups_do_as_well_as_a_full_set() {
    let case = Case { lenders: 5, half, half_prints: 2, is_other: false, workshops: 60 };
    let outcome = run(case);
    let [full, half, borrowed] = [outcome.full, outcome.half, outcome.borrowed].map(|sums| sums.rms_um());
    assert!(borrowed <= 1.03 * full, "{borrowed} um against {full} um");
    assert!(half > 1.15 * borrowed, "{half} um without");
    let cover = outcome.borrowed.cover();
    assert!((0.935..=0.97).contains(&cover), "{cover}");
    assert!(outcome.borrowed.half < outcome.half.half, "narrower than alone");
    assert!(outcome.bores > 0.3 && outcome.bores < 0.95, "{}", outcome.bores);
    assert!(outcome.unlike < 0.1, "{}", outcome.unlike);
}

#[test]
fn a_setup_that_is_unlike_the_others_loses_little() {
    let case = Case { lenders: 5, half, half_prints: 2, is_other: true, workshops: 60 };
    let outcome = run(case);
    let (half, borrowed) = (outcome.half.rms_um(), outcome.borrowed.rms_um());
    assert!(borrowed < 1.1 * half, "{borrowed} um against {half} um");
    assert!(outcome.borrowed.cover() > 0.93, "{}", outcome.borrowed.cover());
    assert!(outcome.unlike > 0.7, "{}", outcome.unlike);
    assert!(outcome.bores < 0.3, "{}", outcome.bores);
}

#[test]
fn one_setup_lends_nothing_and_one_that_borrowed_does_not_lend() {
    let mut random = Random(7);
    let printer = Truth::printer(&mut random);
    let mut one = || fitted(&readings(&printer, &features(), 2, &mut random), &Options::default());
    let (first, second, mut third) = (one(), one(), one());
    assert!(lend(&[&first]).is_none());
    assert!(lend(&[&first, &second]).is_some());
    third.warnings.push("borrowed from your 2 earlier setups (a, b): scale 20 %".to_owned());
    assert_eq!(third.cannot_lend(), Some("it has itself borrowed from others"));
    assert!(lend(&[&first, &third]).is_none());
    assert_eq!(lend(&[&first, &second, &third]), lend(&[&first, &second]));
    third.print_effects = None;
    assert!(third.cannot_lend().unwrap().starts_with("it was fitted by least squares"));
}

#[test]
#[ignore = "the table for DEVELOPERS.md: some minutes"]
fn table_of_what_borrowing_brings() {
    println!(
        "| new setup | lenders | half | full rms um | half alone | half borrowed | full cover | alone | borrowed | full half um | alone | borrowed | bores' share | called unlike |"
    );
    println!("|---|--:|---|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|--:|");
    let workshops =
        std::env::var("SHRINKRULE_WORKSHOPS").ok().and_then(|text| text.parse().ok()).unwrap_or(200);
    for (is_other, name) in [(false, "alike"), (true, "unlike")] {
        for lenders in [2, 3, 5, 10] {
            let one = ("one print", features as fn() -> Vec<Feature>, 1);
            for (what, design, half_prints) in
                [("half of the features", half as fn() -> Vec<Feature>, 2), one]
            {
                let case = Case { lenders, half: design, half_prints, is_other, workshops };
                let outcome = run(case);
                let all = [outcome.full, outcome.half, outcome.borrowed];
                let [a, b, c] = all.map(|sums| format!("{:.1}", sums.rms_um()));
                let [d, e, f] = all.map(|sums| format!("{:.1}%", 100.0 * sums.cover()));
                let [g, h, i] = all.map(|sums| format!("{:.0}", sums.half_um()));
                let (bores, unlike) = (100.0 * outcome.bores, 100.0 * outcome.unlike);
                println!(
                    "| {name} | {lenders} | {what} | {a} | {b} | {c} | {d} | {e} | {f} | {g} | {h} | {i} | {bores:.0}% | {unlike:.1}% |"
                );
            }
        }
    }
}
