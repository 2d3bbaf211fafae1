//! Every pair of pulleys and belt that fits a box, the most compact and nearest in ratio first.
//!
//! For each pair the bodies' gap, the box and the wanted centre distances leave a range of centre distances;
//! the belts whose lengths lie in that range are a stretch of the sorted list, found by halving. So a
//! combination that cannot fit costs nothing. One that does costs one solved equation, or none where a shorter
//! belt of the same pair already makes too large a box to come among the best.
//!
//! The cost that drives are ranked by is
//!
//! ```text
//! area of the box around it / mesh factor * (1 + 10 |ratio / wanted - 1|) * (1 + |centre - wanted| / (pitch / 4))
//! ```
//!
//! A belt with few teeth in mesh must be wider in proportion, so it is no more compact for that. That one per
//! cent of ratio counts as ten per cent of area is picked by feel. A quarter pitch of centre distance is what
//! half a tooth of belt is worth; the last factor counts only where one centre distance was asked for.

use std::cmp::Ordering;

use crate::belt::lengths;
use crate::belt::profile::Profile;
use crate::belt::tolerance;

use super::bounds::{Bounds, Room, TeethRange};
use super::layout::{Drive, Surroundings, mesh_factor, pitch_diameter_mm, teeth_at};
use super::open::OpenBelt;

/// A ratio that was given as one number may be off by this share; picked by feel.
pub const RATIO_WITHIN: f64 = 0.02;
/// What one per cent of ratio counts, in per cent of area; picked by feel.
const RATIO_WEIGHT: f64 = 10.0;
/// Longest belt that is tried where no length is listed, teeth.
const LONGEST_UNLISTED: u32 = 1000;

/// Which belts may be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Belts {
    /// Those in the list of standard lengths; every whole number of teeth where there is no list.
    Listed,
    /// Every whole number of teeth.
    Any,
    /// The one of so many teeth.
    Of(u32),
}

/// What is looked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// Belt profiles to try.
    pub profiles: Vec<&'static Profile>,
    /// Teeth of the small pulley; from the profile's least on where not said.
    pub small: Option<TeethRange>,
    /// Teeth of the large pulley.
    pub large: Option<TeethRange>,
    /// Which belts.
    pub belts: Belts,
    /// Large over small.
    pub ratio: Option<Bounds>,
    /// Centre distance, mm.
    pub centre_mm: Option<Bounds>,
    /// The box that the drive must lie in, either way round.
    pub room: Option<Room>,
    /// What stands beside the belt.
    pub surroundings: Surroundings,
    /// How many of the best are kept.
    pub most: usize,
}

/// A drive that fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitting {
    /// The drive.
    pub drive: Drive,
    /// Length along the line of centres and height across it, mm.
    pub extent_mm: (f64, f64),
    /// What it is ranked by; less is better.
    pub cost: f64,
}

/// What was found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// The best, best first.
    pub best: Vec<Fitting>,
    /// How many fit.
    pub fitting: u64,
    /// How many combinations of two pulleys and a belt there were.
    pub combinations: u64,
}

impl Wanted {
    /// All that fits, ranked.
    pub fn search(&self) -> Found {
        let mut found = Found::default();
        let mut best = Best { most: self.most, kept: Vec::new(), worst: f64::INFINITY };
        for profile in &self.profiles {
            self.search_profile(profile, &mut found, &mut best);
        }
        found.best = best.ranked();
        found
    }

    fn belts_of(&self, profile: &'static Profile) -> Vec<u32> {
        let listed = || lengths::listed(profile).map(|belt| belt.teeth).collect::<Vec<_>>();
        match self.belts {
            Belts::Of(teeth) => vec![teeth],
            Belts::Listed if !listed().is_empty() => listed(),
            Belts::Listed | Belts::Any => {
                let longest = listed().last().copied().unwrap_or(0).max(LONGEST_UNLISTED);
                (3..=longest).collect()
            }
        }
    }

    fn search_profile(&self, profile: &'static Profile, found: &mut Found, best: &mut Best) {
        let belts = self.belts_of(profile);
        // A belt that goes round a pulley is longer than its whole circumference.
        let Some(longest) = belts.last().copied() else { return };
        let least = tolerance::fewest_teeth(profile).map_or(3, |cited| cited.value);
        let small = self.small.unwrap_or(TeethRange { fewest: least, most: longest });
        let large = self.large.unwrap_or(TeethRange { fewest: 3, most: longest });
        let beyond_mm = self.surroundings.beyond_line_mm(profile);
        let ratio = self.ratio.map(|ratio| ratio.or_within(RATIO_WITHIN));
        for small_teeth in small.fewest.max(3)..=small.most.min(longest) {
            let (from, to) = match ratio {
                // Ends that are whole but for rounding belong to the range.
                Some(ratio) => (
                    (ratio.low * f64::from(small_teeth) - 1e-9).ceil().max(0.0) as u32,
                    (ratio.high * f64::from(small_teeth) + 1e-9).floor() as u32,
                ),
                None => (0, longest),
            };
            for large_teeth in from.max(small_teeth).max(large.fewest)..=to.min(large.most).min(longest) {
                found.combinations += belts.len() as u64;
                self.try_pair(profile, [small_teeth, large_teeth], &belts, beyond_mm, found, best);
            }
        }
    }

    fn try_pair(
        &self,
        profile: &'static Profile,
        teeth: [u32; 2],
        belts: &[u32],
        beyond_mm: f64,
        found: &mut Found,
        best: &mut Best,
    ) {
        let [small_mm, large_mm] = teeth.map(|teeth| pitch_diameter_mm(profile, teeth));
        let bodies = self.surroundings.bodies(small_mm, large_mm, beyond_mm);
        let mut shortest = self.surroundings.least_centre_mm(&bodies);
        let mut longest = f64::INFINITY;
        if let Some(room) = &self.room {
            let Some(most) = bodies.most_centre_mm(room) else { return };
            longest = most;
        }
        let quarter = profile.pitch_mm / 4.0;
        let one_centre = self.centre_mm.filter(|centre| centre.is_one()).map(Bounds::middle);
        if let Some(centre) = self.centre_mm {
            let centre = if centre.is_one() { centre.widened(quarter) } else { centre };
            shortest = shortest.max(centre.low);
            longest = longest.min(centre.high);
        }
        if shortest > longest {
            return;
        }
        // Half a thousandth of a tooth, so that a belt at either end is not lost to rounding.
        let from = teeth_at(profile, teeth, shortest) - 5e-4;
        let to = if longest.is_finite() { teeth_at(profile, teeth, longest) + 5e-4 } else { f64::INFINITY };
        let first = belts.partition_point(|belt| f64::from(*belt) < from);
        let last = belts.partition_point(|belt| f64::from(*belt) <= to);
        let belts = &belts[first..last.max(first)];
        // Bodies that keep their gap leave every one of these belts long enough.
        found.fitting += belts.len() as u64;
        let [small_teeth, large_teeth] = teeth;
        let ratio = f64::from(large_teeth) / f64::from(small_teeth);
        let off_ratio = self.ratio.map_or(0.0, |wanted| (ratio / wanted.middle() - 1.0).abs());
        let of_ratio = 1.0 + RATIO_WEIGHT * off_ratio;
        for belt in belts {
            let length = profile.pitch_mm * f64::from(*belt);
            let Some(open) = OpenBelt::of_length(small_mm, large_mm, length) else { continue };
            let extent_mm = bodies.extent_mm(open.centre_mm);
            let at_least = extent_mm.0 * extent_mm.1 * of_ratio;
            // A longer belt makes a longer box, so none after this one can come among the best.
            if at_least > best.worst {
                break;
            }
            let off_centre = one_centre.map_or(0.0, |wanted| (open.centre_mm - wanted).abs() / quarter);
            let drive = Drive { profile, small_teeth, large_teeth, belt_teeth: *belt, open };
            let cost = at_least / mesh_factor(drive.teeth_in_mesh()) * (1.0 + off_centre);
            best.offer(Fitting { drive, extent_mm, cost });
        }
    }
}

/// The best so far: at most twice as many as are wanted, cut back as they come in.
struct Best {
    most: usize,
    kept: Vec<Fitting>,
    /// Nothing dearer can come among the best any more.
    worst: f64,
}

fn order(a: &Fitting, b: &Fitting) -> Ordering {
    let teeth = |fitting: &Fitting| {
        let drive = &fitting.drive;
        (drive.profile.name, drive.belt_teeth, drive.small_teeth, drive.large_teeth)
    };
    a.cost.total_cmp(&b.cost).then_with(|| teeth(a).cmp(&teeth(b)))
}

impl Best {
    fn offer(&mut self, fitting: Fitting) {
        if fitting.cost > self.worst || self.most == 0 {
            return;
        }
        self.kept.push(fitting);
        // Cut back only now and then: each cut looks at all that are kept.
        if self.kept.len() >= self.most.max(16).saturating_mul(2) {
            self.cut();
        }
    }

    fn cut(&mut self) {
        if self.kept.len() > self.most {
            self.kept.select_nth_unstable_by(self.most - 1, order);
            self.worst = self.kept[self.most - 1].cost;
            self.kept.truncate(self.most);
        }
    }

    fn ranked(mut self) -> Vec<Fitting> {
        self.kept.sort_unstable_by(order);
        self.kept.truncate(self.most);
        self.kept
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::layout::belt_profile;

    fn wanted(belt: &str) -> Wanted {
        Wanted {
            profiles: vec![belt_profile(belt).unwrap()],
            small: None,
            large: None,
            belts: Belts::Listed,
            ratio: None,
            centre_mm: None,
            room: None,
            surroundings: Surroundings { flanges: true, ..Surroundings::default() },
            most: 50,
        }
    }

    /// Against every triple, one by one, judged after the fact.
    #[test]
    fn finds_exactly_what_trying_everything_finds() {
        let room = Room { width_mm: 110.0, height_mm: 48.0 };
        let ratio = Bounds { low: 1.8, high: 2.2 };
        let centre = Bounds { low: 30.0, high: 60.0 };
        let surroundings =
            Surroundings { flanges: true, motor_mm: Some(28.0), motor_behind: true, gap_mm: 2.0 };
        for belt in ["XL", "T5", "MXL"] {
            let search = Wanted {
                ratio: Some(ratio),
                centre_mm: Some(centre),
                room: Some(room),
                surroundings,
                most: 100_000,
                ..wanted(belt)
            };
            let found = search.search();
            let profile = belt_profile(belt).unwrap();
            let mut expected = Vec::new();
            for small in 10..=120 {
                for large in small..=120 {
                    let held = f64::from(large) / f64::from(small);
                    if !(1.8 - 1e-9..=2.2 + 1e-9).contains(&held) {
                        continue;
                    }
                    for belt in lengths::listed(profile) {
                        let Ok(drive) = Drive::new(profile, [small, large], belt.teeth) else { continue };
                        let bodies = surroundings.bodies(
                            drive.open.small_mm,
                            drive.open.large_mm,
                            surroundings.beyond_line_mm(profile),
                        );
                        let (length, height) = bodies.extent_mm(drive.open.centre_mm);
                        let fits = |w: f64, h: f64| length <= w && height <= h;
                        if centre.contains(drive.open.centre_mm)
                            && drive.open.centre_mm >= surroundings.least_centre_mm(&bodies)
                            && (fits(110.0, 48.0) || fits(48.0, 110.0))
                        {
                            expected.push((small, large, belt.teeth));
                        }
                    }
                }
            }
            let mut got: Vec<_> = found
                .best
                .iter()
                .map(|fit| (fit.drive.small_teeth, fit.drive.large_teeth, fit.drive.belt_teeth))
                .collect();
            got.sort_unstable();
            expected.sort_unstable();
            assert!(expected.len() > 3, "{belt}: {}", expected.len());
            assert_eq!(got, expected, "{belt}");
            assert_eq!(found.fitting, expected.len() as u64);
        }
    }

    #[test]
    fn the_best_few_are_the_first_of_all() {
        let search = Wanted { ratio: "2".parse().ok(), most: 100_000, ..wanted("T5") };
        let all = search.search();
        assert!(all.best.windows(2).all(|pair| order(&pair[0], &pair[1]) == Ordering::Less));
        for most in [1, 7, 40] {
            let few = Wanted { most, ..search.clone() }.search();
            assert_eq!(few.best, all.best[..most]);
            assert_eq!((few.fitting, few.combinations), (all.fitting, all.combinations));
        }
        assert!(Wanted { most: 0, ..search }.search().best.is_empty());
    }

    #[test]
    fn one_centre_distance_means_within_half_a_tooth_of_belt() {
        let search = Wanted { belts: Belts::Of(66), centre_mm: "105".parse().ok(), ..wanted("T5") };
        let found = search.search();
        assert!(!found.best.is_empty());
        for fit in &found.best {
            assert!((fit.drive.open.centre_mm - 105.0).abs() <= 1.25, "{fit:?}");
        }
        // Each tooth more on a pulley brings the centres about a quarter pitch closer, so each ratio has some.
        let ratios = found.best.iter().filter(|fit| fit.drive.ratio() < 1.1).count();
        assert!(ratios > 0);
    }

    #[test]
    fn nothing_fits_a_box_that_is_too_small() {
        let room = Some(Room { width_mm: 20.0, height_mm: 10.0 });
        let found = Wanted { room, ..wanted("XL") }.search();
        assert_eq!((found.fitting, found.best.len()), (0, 0));
        assert!(found.combinations > 1000);
    }

    #[test]
    fn a_profile_without_a_list_is_searched_over_every_length() {
        let found = Wanted {
            small: Some(TeethRange::exactly(20)),
            large: Some(TeethRange::exactly(40)),
            ..wanted("T10")
        }
        .search();
        // From where the flanges touch to the longest that is tried.
        assert!(found.fitting > 900 && found.best[0].drive.belt_teeth < 60, "{found:?}");
    }
}
