//! Predicted prints of pulleys against their wanted outlines, over profiles, tooth counts and setups.

mod pulley_setup;

use std::f64::consts::{FRAC_PI_2, TAU};

use pulley_setup::{INVENTED, Setup, correction};
use shrinkrule::belt::groove::Groove;
use shrinkrule::belt::profile;
use shrinkrule::belt::rack::Flank;
use shrinkrule::belt::walls::chord_counts;
use shrinkrule::kind::{Axis, Kind};
use shrinkrule::parts::build::bore::Bore;
use shrinkrule::parts::pulley::{ALLOWED_DEVIATION_MM, Design};
use shrinkrule::parts::pulley_check::deviation_mm;
use shrinkrule::parts::pulley_request::{BoreForm, Build, Flanges, Request};
use shrinkrule::units::Mm;

/// Numbers evenly spread over 0 to 1, the same for the same seed (SplitMix64).
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) as f64 / u64::MAX as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + self.next() * (high - low)
    }
}

/// A setup whose walls swell by -0.04 to 0.11 mm a side, tips and grooves up to 0.03 mm apart, that shrinks
/// by up to 1 % or grows by 0.2 %, gaps up to 0.1 % otherwise than pins.
fn random_setup(seed: u64) -> Setup {
    let mut random = Random(seed);
    let swell = random.between(-0.04, 0.11);
    let mut own = || 2.0 * (swell + random.between(-0.015, 0.015));
    let (pin, gap, bore) = (own(), -own(), -own());
    let scale = random.between(-0.01, 0.002);
    Setup {
        pin: (pin, scale),
        gap: (gap, scale + random.between(-0.001, 0.001)),
        bore: (bore, scale),
        height: (random.between(-0.1, 0.1), scale / 2.0),
        small_bore: random.between(-0.4, 0.0),
    }
}

fn request(belt: &str, teeth: u32) -> Request {
    Request {
        belt: belt.to_owned(),
        teeth,
        bore: Mm::new(2.0).unwrap(),
        flanges: Flanges::Two,
        belt_width: None,
        allow_few_teeth: true,
        build: Build::default(),
    }
}

fn with_flanks(belt: &str, teeth: u32, flank: Flank) -> Request {
    Request { build: Build { flank, ..Build::default() }, ..request(belt, teeth) }
}

/// The fewest teeth that the table of racks lists; below that a rack may undercut, and is refused.
fn fewest_by_rack(belt: &str) -> u32 {
    match belt {
        "H" => 14,
        "XH" | "XXH" => 18,
        _ => 10,
    }
}

/// The largest deviation, with what it was found at.
fn worst(
    seeds: std::ops::Range<u64>,
    flank: Flank,
    belts: &[&str],
    teeth: impl Fn(u64) -> Vec<u32>,
) -> (f64, String) {
    let mut worst = (0.0, String::new());
    for seed in seeds {
        let setup = random_setup(seed);
        let correction = correction(&setup);
        for belt in belts {
            for teeth in teeth(seed) {
                if flank == Flank::Involute && teeth < fewest_by_rack(belt) {
                    continue;
                }
                let design = Design::new(&with_flanks(belt, teeth, flank), Some(&correction))
                    .unwrap_or_else(|error| panic!("{belt} {teeth} seed {seed} {setup:?}: {error}"));
                let deviation = design.deviation_mm.unwrap();
                if deviation > worst.0 {
                    worst = (deviation, format!("{belt} {teeth} seed {seed} {setup:?}"));
                }
            }
        }
    }
    worst
}

#[test]
fn the_predicted_print_meets_the_wanted_outline_of_every_profile() {
    let (deviation, at) = worst(0..200, Flank::Straight, &profile::usable(), |seed| {
        (0..3).map(|i| 12 + ((seed + 20 * i) % 61) as u32).collect()
    });
    assert!(deviation <= ALLOWED_DEVIATION_MM, "{deviation} mm at {at}");
    println!("largest deviation {deviation:.5} mm at {at}");
}

/// Every tooth count of 12 to 72 with every setup: 134 200 pulleys.
#[test]
#[ignore = "minutes; the figure is in DEVELOPERS.md"]
fn the_predicted_print_meets_the_wanted_outline_of_every_profile_and_tooth_count() {
    let (deviation, at) = worst(0..200, Flank::Straight, &profile::usable(), |_| (12..=72).collect());
    println!("largest deviation {deviation:.5} mm at {at}");
    assert!(deviation <= ALLOWED_DEVIATION_MM, "{deviation} mm at {at}");
}

/// The profiles with a rack.
const RACKED: [&str; 7] = ["MXL", "XXL", "XL", "L", "H", "XH", "XXH"];

/// Tooth counts from 12 on that the rack can make.
fn makes(belt: &str) -> Vec<u32> {
    (12..=72).filter(|teeth| *teeth >= fewest_by_rack(belt)).collect()
}

#[test]
fn the_predicted_print_meets_the_wanted_involutes() {
    for belt in RACKED {
        let all = makes(belt);
        let (deviation, at) = worst(0..200, Flank::Involute, &[belt], |seed| {
            // Few teeth, whose tips are eased most, in every other setup.
            let most = if seed % 2 == 0 { all.len() } else { 12 };
            vec![all[(seed / 2) as usize % most]]
        });
        println!("largest deviation of involute {belt} {deviation:.5} mm at {at}");
        assert!(deviation <= ALLOWED_DEVIATION_MM, "{deviation} mm at {at}");
    }
}

/// The shortest flanks there are, where the disc that eases the tips is smaller: every setup.
#[test]
fn the_predicted_print_meets_the_shortest_involutes_in_every_setup() {
    let (deviation, at) = worst(0..200, Flank::Involute, &["MXL"], |_| vec![12, 24]);
    assert!(deviation <= ALLOWED_DEVIATION_MM, "{deviation} mm at {at}");
}

/// Negative control: the teeth as the rack makes them have a corner that no bead can fill.
#[test]
fn the_racks_own_corners_could_not_be_printed() {
    let correction = correction(&INVENTED);
    let design = Design::new(&with_flanks("MXL", 12, Flank::Involute), Some(&correction)).unwrap();
    let law = design.law.unwrap();
    let off = |wanted: Groove| {
        let drawn = law.drawn(&wanted);
        deviation_mm(&wanted, &drawn, &chord_counts(&drawn.walls(), 1e-4), &law)
    };
    let (eased, generated) = (off(design.wanted.groove), off(design.wanted.groove.as_generated()));
    assert!(eased < 0.002 && generated > 0.005, "{eased} {generated}");
    assert!(design.meets_the_outline() && design.tip_easing_mm.is_some());
}

/// Every tooth count of 12 to 72 with every setup.
#[test]
#[ignore = "minutes; the figure is in DEVELOPERS.md"]
fn the_predicted_print_meets_the_wanted_involutes_at_every_tooth_count() {
    for belt in RACKED {
        let teeth = makes(belt);
        let (deviation, at) = worst(0..200, Flank::Involute, &[belt], |_| teeth.clone());
        println!("{belt}, {} tooth counts: largest deviation {deviation:.5} mm at {at}", teeth.len());
        assert!(deviation <= ALLOWED_DEVIATION_MM, "{deviation} mm at {at}");
    }
}

/// The error model applied to the polygon that is drawn, corner by corner and side by side: each wall scaled
/// about the axis and moved by its own kind, against the wanted shape. Knows nothing of how it was drawn.
#[test]
fn the_predicted_print_meets_the_wanted_bore_of_every_form() {
    let forms = [
        BoreForm::Round,
        BoreForm::Flat { across_mm: 7.2 },
        BoreForm::Key { width_mm: 2.5, depth_mm: 1.2 },
        BoreForm::Hexagon,
        BoreForm::Square,
    ];
    let mut worst: f64 = 0.0;
    for seed in 0..200 {
        let setup = random_setup(seed);
        let correction = correction(&setup);
        for form in forms {
            let build = Build { bore: form, ..Build::default() };
            let request = Request { bore: Mm::new(8.0).unwrap(), build, ..request("T5", 30) };
            let design = Design::new(&request, Some(&correction)).unwrap();
            let drawn = design.drawn_pieces[0].bore;
            // Half a round wall prints by the law of its diameter, half a gap by that of twice its distance.
            let round = |r: f64| {
                let d = 2.0 * r;
                (d * (1.0 + setup.bore.1) + setup.bore.0 + setup.small_bore / d) / 2.0
            };
            let flat = |f: f64| (2.0 * f * (1.0 + setup.gap.1) + setup.gap.0) / 2.0;
            let corners = drawn.corners();
            for (a, b) in corners.iter().zip(corners.iter().cycle().skip(1)) {
                for i in 0..5 {
                    let share = f64::from(i) / 5.0;
                    let (x, y) = (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1]));
                    let far = x.hypot(y);
                    // How far the printed wall lies from the wanted one, whichever wall this is of.
                    let on_round = (far - drawn.size_mm() / 2.0).abs() < 0.006;
                    let off = match form {
                        BoreForm::Flat { across_mm } if !on_round => flat(y) - (across_mm - 4.0),
                        BoreForm::Key { width_mm, .. }
                            if !on_round && (x.abs() - drawn_half_width(&drawn)).abs() < 1e-9 =>
                        {
                            flat(x.abs()) - width_mm / 2.0
                        }
                        BoreForm::Key { depth_mm, .. } if !on_round => flat(y) - 4.0 - depth_mm,
                        BoreForm::Hexagon | BoreForm::Square => {
                            let step = TAU / if form == BoreForm::Square { 4.0 } else { 6.0 };
                            let normal = ((y.atan2(x) - FRAC_PI_2) / step).round() * step + FRAC_PI_2;
                            flat(x * normal.cos() + y * normal.sin()) - 4.0
                        }
                        _ => round(far) - 4.0,
                    };
                    assert!(off.abs() <= ALLOWED_DEVIATION_MM, "{form:?} seed {seed}: {off} at ({x}, {y})");
                    worst = worst.max(off.abs());
                }
            }
        }
    }
    println!("largest deviation of a bore {worst:.5} mm");
    // Negative control: drawn as wanted, a flat prints closer to the axis.
    assert!(((2.0 * 3.2 * 0.996 - 0.18) / 2.0 - 3.2_f64).abs() > 0.09);
}

fn drawn_half_width(bore: &Bore) -> f64 {
    match bore {
        Bore::Keyed { width_mm, .. } => width_mm / 2.0,
        _ => f64::NAN,
    }
}

/// The sizes that a caliper would find on the print, each by its own law and not by the pulley's code.
#[test]
fn diameter_bore_and_gap_print_by_their_own_laws() {
    for seed in 0..50 {
        let setup = random_setup(seed);
        let correction = correction(&setup);
        let design = Design::new(&request("T5", 20), Some(&correction)).unwrap();
        let (wanted, drawn) = (design.wanted, design.drawn);
        let pin = 2.0 * drawn.groove.outside_radius_mm * (1.0 + setup.pin.1) + setup.pin.0;
        assert!((pin - design.pulley.outside_diameter_mm()).abs() < 1e-9, "seed {seed}");
        let bore = drawn.bore_mm * (1.0 + setup.bore.1) + setup.bore.0 + setup.small_bore / drawn.bore_mm;
        assert!((bore - wanted.bore_mm).abs() < 1e-9, "seed {seed}");
        let law = design.law.unwrap();
        let width = wanted.groove.outer_width_mm();
        let gap = (width - setup.gap.0) / (1.0 + setup.gap.1);
        assert!((law.scale * gap - 2.0 * law.groove_swell_mm - width).abs() < 1e-9, "seed {seed}");
        assert!(correction.deviation_mm(Kind::Gap, Axis::Round, gap) + gap - width < 1e-9, "seed {seed}");
    }
}

/// Negative control: a pulley that is drawn as wanted prints too large by what the walls swell.
#[test]
fn a_pulley_drawn_as_wanted_does_not_meet_it() {
    let design = Design::new(&request("T5", 20), Some(&correction(&INVENTED))).unwrap();
    let (groove, law) = (design.wanted.groove, design.law.unwrap());
    let off = deviation_mm(&groove, &groove, &design.chords.teeth, &law);
    // The flanks: 0.09 mm a side, less 0.4 % of the 4.92 mm that they pass the axis by.
    assert!((off - (0.09 - 0.004 * groove.flank_mm)).abs() < 1e-3, "{off}");
}
