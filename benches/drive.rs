//! How long drives take: one solved, a search of a million combinations, a mesh check.

use divan::Bencher;
use shrinkrule::belt::rack::Flank;
use shrinkrule::drive::arrangement::Arrangement;
use shrinkrule::drive::bounds::{Bounds, Room, TeethRange};
use shrinkrule::drive::layout::{Drive, Surroundings, belt_profile};
use shrinkrule::drive::open::OpenBelt;
use shrinkrule::drive::search::{Belts, Wanted};

fn main() {
    divan::main();
}

fn wanted() -> Wanted {
    Wanted {
        profiles: vec![belt_profile("T5").expect("a profile")],
        small: Some(TeethRange { fewest: 10, most: 60 }),
        large: Some(TeethRange { fewest: 10, most: 72 }),
        belts: Belts::Any,
        ratio: None,
        centre_mm: None,
        room: None,
        surroundings: Surroundings { flanges: true, motor_mm: Some(42.0), motor_behind: true, gap_mm: 1.0 },
        most: 20,
    }
}

/// A million combinations, 9 in 10 of which fit.
#[divan::bench]
fn a_million_combinations_without_limits(bencher: Bencher) {
    let wanted = wanted();
    let found = wanted.search();
    assert!(
        found.combinations > 1_000_000 && found.fitting > 900_000,
        "{} {}",
        found.combinations,
        found.fitting
    );
    bencher.bench(|| wanted.search().fitting);
}

/// The same in a box, as a person asks.
#[divan::bench]
fn a_million_combinations_in_a_box(bencher: Bencher) {
    let wanted = Wanted {
        ratio: Some(Bounds { low: 1.8, high: 2.2 }),
        centre_mm: Some(Bounds { low: 30.0, high: 60.0 }),
        room: Some(Room { width_mm: 110.0, height_mm: 60.0 }),
        small: None,
        large: None,
        ..wanted()
    };
    assert!(wanted.search().combinations > 1_000_000);
    bencher.bench(|| wanted.search().fitting);
}

/// Each of a million solved for its centre distance, with nothing left out.
#[divan::bench]
fn a_million_centre_distances(bencher: Bencher) {
    let diameter = |teeth: u32| 5.0 * f64::from(teeth) / std::f64::consts::PI;
    bencher.bench(|| {
        let mut sum = 0.0;
        for small in 10..60 {
            for large in small + 1..small + 21 {
                for belt in 200..1200 {
                    let open = OpenBelt::of_length(diameter(small), diameter(large), 5.0 * f64::from(belt));
                    sum += open.map_or(0.0, |open| open.centre_mm);
                }
            }
        }
        sum
    });
}

#[divan::bench]
fn one_centre_distance(bencher: Bencher) {
    bencher.bench(|| OpenBelt::of_length(divan::black_box(15.9), 95.5, 340.0));
}

#[divan::bench]
fn mesh_check_of_20_and_40_teeth(bencher: Bencher) {
    let drive = Drive::new(belt_profile("T5").expect("a profile"), [20, 40], 100).expect("a drive");
    let arrangement = Arrangement::open(drive).expect("two wheels apart");
    bencher.bench(|| arrangement.meshed(Flank::Straight, None).expect("meshes").len());
}
