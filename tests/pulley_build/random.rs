//! Random pulleys with everything on them, the same for the same seed.

use shrinkrule::belt::profile;
use shrinkrule::belt::pulley::Pulley;
use shrinkrule::belt::rack::Flank;
use shrinkrule::parts::build::recess::End;
use shrinkrule::parts::pulley_request::{
    BoreForm, Build, CircleAsked, DowelsAsked, Flanges, Hub, RecessAsked, Request, RingHold, ScrewsAsked,
};
use shrinkrule::units::Mm;

/// Numbers evenly spread over 0 to 1, the same for the same seed (SplitMix64).
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) as f64 / u64::MAX as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + self.next() * (high - low)
    }

    pub fn one_of<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[((self.next() * choices.len() as f64) as usize).min(choices.len() - 1)]
    }

    pub fn chance(&mut self, of: f64) -> bool {
        self.next() < of
    }
}

/// A pulley that somebody might ask for; most of them go together.
pub fn request(seed: u64) -> Request {
    let mut random = Random(seed);
    let belt = random.one_of(&profile::usable());
    let teeth = 12 + (random.next() * 60.0) as u32;
    let flank = if random.chance(0.3) { Flank::Involute } else { Flank::Straight };
    let floor = Pulley::standard(belt, teeth, true).unwrap().groove.floor_mm;
    let room = 2.0 * (floor - 1.4);
    let bore = random.between(2.0, room.clamp(2.1, 16.0) * 0.8);
    let form = match (random.next() * 5.0) as u32 {
        0 => BoreForm::Flat { across_mm: bore * random.between(0.82, 0.96) },
        1 => BoreForm::Key { width_mm: bore * 0.3, depth_mm: bore * 0.15 },
        2 => BoreForm::Hexagon,
        3 => BoreForm::Square,
        _ => BoreForm::Round,
    };
    let mut build = Build { flank, bore: form, ..Build::default() };
    let flanges = random.one_of(&[Flanges::None, Flanges::One, Flanges::Two, Flanges::Two]);
    let mut ends = Vec::new();
    if random.chance(0.6) {
        ends.push(End::Top);
    }
    if random.chance(0.2) {
        ends.push(End::Bed);
    }
    let widest = (2.0 * floor - 2.0).max(bore + 4.0);
    build.hubs = ends
        .iter()
        .map(|end| Hub {
            end: *end,
            diameter_mm: random.between(bore + 3.0, widest.max(bore + 3.5)),
            length_mm: random.between(4.0, 12.0),
        })
        .collect();
    if !build.hubs.is_empty() && random.chance(0.7) {
        let hole_mm = random.between(1.2, 3.4);
        let nut_mm = random.chance(0.5).then_some((hole_mm * 1.8, hole_mm * 0.8));
        let count = if random.chance(0.3) { 2 } else { 1 };
        build.set_screws = Some(ScrewsAsked { count, hole_mm, nut_mm });
    }
    if flanges == Flanges::Two && random.chance(0.25) {
        build.ring = Some(RingHold::Pressed);
    } else if random.chance(0.2) {
        let circle_mm = (bore + 2.0 * floor) / 2.0;
        let circle = CircleAsked { count: 3, diameter_mm: random.between(1.5, 3.1), circle_mm };
        build.split = Some(DowelsAsked { circle, depth_mm: 2.0 });
    } else if random.chance(0.4) {
        let circle_mm = (bore + 2.0 * floor) / 2.0;
        let diameter_mm = random.between(1.5, (floor - bore / 2.0 - 2.0).clamp(1.6, 8.0));
        let circle = CircleAsked { count: 3 + (random.next() * 4.0) as u32, diameter_mm, circle_mm };
        if random.chance(0.5) { build.lightening = Some(circle) } else { build.screw_circle = Some(circle) }
    }
    if random.chance(0.3) {
        let end = random.one_of(&[End::Bed, End::Top]);
        let diameter_mm = bore + random.between(2.0, 6.0);
        build.recesses.push(RecessAsked {
            name: "bearing seat",
            end,
            diameter_mm,
            depth_mm: random.between(1.0, 3.0),
            shoulder: None,
        });
    }
    if random.chance(0.5) {
        build.label = Some(teeth.to_string());
    }
    if random.chance(0.5) {
        build.first_layer_mm = Some(random.between(0.0, 0.4));
    }
    Request {
        belt: belt.to_owned(),
        teeth,
        bore: Mm::new(bore).unwrap(),
        flanges,
        belt_width: None,
        allow_few_teeth: true,
        build,
    }
}
