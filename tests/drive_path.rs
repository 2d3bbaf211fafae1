//! Random drives: exact centre distance, wraps and idlers against a belt that is walked along and measured.

mod common;

use std::f64::consts::{PI, TAU};

use common::printer::Deviates;
use shrinkrule::drive::arrangement::Arrangement;
use shrinkrule::drive::idler::{Idler, Rim};
use shrinkrule::drive::layout::{Drive, belt_profile};
use shrinkrule::drive::open::OpenBelt;
use shrinkrule::drive::path::{BeltPath, Side};

const PROFILES: [&str; 12] = ["MXL", "XXL", "XL", "L", "H", "XH", "XXH", "T2.5", "T5", "T10", "T20", "AT5"];

/// The same drives on every machine.
struct Chance(Deviates);

impl Chance {
    fn whole(&mut self, from: u32, to: u32) -> u32 {
        from + (self.0.uniform() * f64::from(to - from + 1)) as u32
    }

    fn real(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.0.uniform()
    }

    /// A drive whose pulleys keep apart; every tenth has equal pulleys.
    fn drive(&mut self) -> Drive {
        let profile = belt_profile(PROFILES[self.whole(0, 11) as usize]).unwrap();
        loop {
            let small = self.whole(8, 60);
            let large = if self.whole(0, 9) == 0 { small } else { self.whole(8, 150) };
            let belt = self.whole(20, 400);
            if let Ok(drive) = Drive::new(profile, [small, large], belt) {
                return drive;
            }
        }
    }
}

/// Perimeter of the hull of two circles by Cauchy's formula, the integral of how far it reaches in every
/// direction: `max(r1, C cos t + r2)`. Knows nothing of tangents. Simpson on either side of the kink.
fn hull_mm(open: &OpenBelt) -> f64 {
    let (r1, r2) = (open.small_mm / 2.0, open.large_mm / 2.0);
    let kink = ((r1 - r2) / open.centre_mm).acos();
    let reach = |t: f64| open.centre_mm * t.cos() + r2;
    let simpson = |from: f64, to: f64| {
        let n = 256;
        let h = (to - from) / f64::from(n);
        let inner: f64 =
            (1..n).map(|i| if i % 2 == 1 { 4.0 } else { 2.0 } * reach(from + h * f64::from(i))).sum();
        h / 3.0 * (reach(from) + inner + reach(to))
    };
    2.0 * (simpson(0.0, kink) + r1 * (PI - kink))
}

/// The way walked in so many steps: the sum of the chords, and the largest turn from one to the next.
fn walked(path: &BeltPath, steps: u32) -> (f64, f64) {
    let points: Vec<_> =
        (0..=steps).map(|i| path.at(path.length_mm * f64::from(i) / f64::from(steps)).0).collect();
    let chords: Vec<(f64, f64)> = points.windows(2).map(|p| (p[1].0 - p[0].0, p[1].1 - p[0].1)).collect();
    let turn = |a: &(f64, f64), b: &(f64, f64)| (a.0 * b.1 - a.1 * b.0).atan2(a.0 * b.0 + a.1 * b.1).abs();
    let round = chords.iter().zip(chords.iter().cycle().skip(1));
    (chords.iter().map(|c| c.0.hypot(c.1)).sum(), round.map(|(a, b)| turn(a, b)).fold(0.0, f64::max))
}

fn check_walk(path: &BeltPath, what: &str) {
    let (coarse, _) = walked(path, 150);
    let (fine, turn) = walked(path, 300);
    // Chords cut corners: by a share of the square of the step on arcs. At tangent points the step is cut, so
    // that the remainder is of that size and not of its square.
    let smallest = path.arcs.iter().map(|arc| arc.wheel.radius_mm).fold(f64::INFINITY, f64::min);
    let step = path.length_mm / 300.0 / smallest;
    assert!(fine <= path.length_mm + 1e-9 && fine >= coarse - 1e-9, "{what}: {fine} of {}", path.length_mm);
    assert!(path.length_mm - fine <= path.length_mm * step * step / 24.0 + 1e-9, "{what}: {fine}");
    // No corner anywhere: the way turns by a step's share of the smallest wheel at most.
    assert!(turn <= 1.001 * step + 1e-9, "{what}: turns by {turn} in a step of {step}");
    // Never through a wheel.
    for i in 0..150 {
        let ((x, y), _) = path.at(path.length_mm * f64::from(i) / 150.0);
        for arc in &path.arcs {
            let off = (x - arc.wheel.centre.0).hypot(y - arc.wheel.centre.1);
            assert!(off >= arc.wheel.radius_mm - 1e-9, "{what}: {off} from the middle of {:?}", arc.wheel);
        }
    }
}

#[test]
fn ten_thousand_random_drives_are_as_long_as_their_belts() {
    let mut chance = Chance(Deviates::new(4));
    for count in 0..10_000 {
        let drive = chance.drive();
        let what = format!(
            "drive {count} of seed 4: {} {} {} {}",
            drive.profile.name, drive.small_teeth, drive.large_teeth, drive.belt_teeth
        );
        let wanted = drive.belt_length_mm();
        // The equation, to the last digits.
        assert!((drive.open.length_mm() / wanted - 1.0).abs() < 1e-14, "{what}");
        // By a formula that knows of no tangents.
        let hull = hull_mm(&drive.open);
        assert!((hull / wanted - 1.0).abs() < 1e-9, "{what}: hull {hull}");
        // The way as lines and arcs, summed.
        let path = drive.path().unwrap();
        assert!((path.length_mm / wanted - 1.0).abs() < 1e-13, "{what}");
        let (small, large) = drive.open.wraps_rad();
        assert!(
            (path.arcs[0].wrap_rad - small).abs() < 1e-11 && (path.arcs[1].wrap_rad - large).abs() < 1e-11
        );
        assert!((small + large - TAU).abs() < 1e-12, "{what}");
        check_walk(&path, &what);
    }
}

/// The involute identity in another unknown, solved by halving: `tan t - t = pi (zb - z2) / (z2 - z1)`.
#[test]
fn the_centre_distance_agrees_with_the_involute_identity_to_twelve_digits() {
    let mut chance = Chance(Deviates::new(5));
    let mut compared = 0;
    while compared < 10_000 {
        let drive = chance.drive();
        if drive.small_teeth == drive.large_teeth {
            let exact = drive.profile.pitch_mm * f64::from(drive.belt_teeth - drive.small_teeth) / 2.0;
            assert!((drive.open.centre_mm / exact - 1.0).abs() < 1e-15);
            continue;
        }
        let [z1, z2, zb] = [drive.small_teeth, drive.large_teeth, drive.belt_teeth].map(f64::from);
        let wanted = PI * (zb - z2) / (z2 - z1);
        // In s = cot t, which stays exact where t is near a quarter turn: 1/s - (pi/2 - atan s) = wanted.
        let (mut low, mut high) = (1e-9_f64, 1e9_f64);
        for _ in 0..200 {
            let s = (low * high).sqrt();
            if 1.0 / s - (PI / 2.0 - s.atan()) > wanted { low = s } else { high = s }
        }
        // cos t = s / sqrt(1 + s^2).
        let centre = drive.profile.pitch_mm * (z2 - z1) / TAU * (1.0 + low * low).sqrt() / low;
        assert!((drive.open.centre_mm / centre - 1.0).abs() < 1e-12, "{z1} {z2} {zb}: {centre}");
        compared += 1;
    }
}

#[test]
fn two_thousand_random_idlers_take_up_what_is_left_over() {
    let mut chance = Chance(Deviates::new(6));
    let (mut placed, mut tried) = (0, 0);
    while placed < 2000 {
        tried += 1;
        assert!(tried < 60_000, "only {placed} idlers found a place");
        let drive = chance.drive();
        let side = if chance.whole(0, 1) == 0 { Side::Back } else { Side::Inside };
        let rim = chance.real(0.3, 1.5) * drive.open.small_mm;
        let idler = Idler { side, rim: Rim::Plain(rim), along: chance.real(0.1, 0.9) };
        let centre = drive.open.centre_mm * chance.real(0.8, 1.0);
        let Ok(arrangement) = Arrangement::with_idler(drive, centre, idler) else { continue };
        placed += 1;
        let what = format!(
            "idler {placed} of seed 6: {} {} {} {} {idler:?} at {centre}",
            drive.profile.name, drive.small_teeth, drive.large_teeth, drive.belt_teeth
        );
        let path = &arrangement.path;
        assert!((path.length_mm / drive.belt_length_mm() - 1.0).abs() < 1e-12, "{what}");
        let turned: f64 = path
            .arcs
            .iter()
            .map(|arc| if arc.wheel.side == Side::Back { -arc.wrap_rad } else { arc.wrap_rad })
            .sum();
        assert!((turned - TAU).abs() < 1e-9, "{what}: turns by {turned}");
        check_walk(path, &what);
    }
}
