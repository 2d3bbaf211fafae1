//! All pairs of several means, with one chance of error for the whole family.
//!
//! - Tukey-Kramer where spreads are one: exact with equal counts, a little careful with unequal ones.
//! - Games-Howell where they are not: each pair with its own standard error and degrees of freedom.
//! - Holm's correction of any p values: always valid, less sharp.
//!
//! Source: C. Y. Kramer, Biometrics 12 (1956) 307; P. A. Games and J. F. Howell, Journal of Educational
//! Statistics 1 (1976) 113; S. Holm, Scandinavian Journal of Statistics 6 (1979) 65.

use super::anova::Group;
use super::difference::Estimate;
use super::dof::{careful, effective};
use super::studentised_range::{above, quantile};

/// How pairs are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// One spread for all.
    TukeyKramer,
    /// Each its own.
    GamesHowell,
    /// Welch's test of each pair, with Holm's correction.
    Holm,
}

impl Method {
    /// The name that texts know it by.
    pub fn name(self) -> &'static str {
        match self {
            Self::TukeyKramer => "Tukey-Kramer",
            Self::GamesHowell => "Games-Howell",
            Self::Holm => "Welch with Holm's correction",
        }
    }
}

/// The difference of two of the means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Number of the first group.
    pub first: usize,
    /// Number of the second.
    pub second: usize,
    /// Mean of the second less mean of the first.
    pub difference: f64,
    /// Half the width of its interval, at the family's level.
    pub half_width: f64,
    /// The chance of it in a family without differences.
    pub p_value: f64,
}

impl Pair {
    /// Whether the interval excludes zero.
    pub fn is_real(&self) -> bool {
        self.difference.abs() > self.half_width
    }
}

fn pairs(count: usize) -> impl Iterator<Item = (usize, usize)> {
    (0..count).flat_map(move |first| (first + 1..count).map(move |second| (first, second)))
}

/// All pairs of groups with one spread; `None` without degrees of freedom. A group may have a single value.
pub fn tukey_kramer(groups: &[Group], level: f64) -> Option<Vec<Pair>> {
    let dof: f64 = groups.iter().map(Group::dof).sum();
    let pooled = groups.iter().map(|group| group.squares).sum::<f64>() / dof;
    if dof < 1.0 || groups.len() < 2 || pooled <= 0.0 {
        return None;
    }
    let far = quantile(level, groups.len(), dof);
    let pair = |(first, second): (usize, usize)| {
        let (one, other) = (&groups[first], &groups[second]);
        let se = (0.5 * pooled * (1.0 / one.count as f64 + 1.0 / other.count as f64)).sqrt();
        let difference = other.mean - one.mean;
        let p_value = above(difference.abs() / se, groups.len(), dof);
        Pair { first, second, difference, half_width: far * se, p_value }
    };
    Some(pairs(groups.len()).map(pair).collect())
}

/// Groups of fewer values than this make Satterthwaite's degrees of freedom too bold.
const ENOUGH: usize = 3; // with two of the widest group the family errs in 11 %, see DEVELOPERS.md

/// All pairs of groups, each with its own spread; `None` where one has a single value or no spread.
///
/// Pairs with a group of two values have the degrees of freedom of Cochran and Cox's rule in place of
/// Satterthwaite's.
pub fn games_howell(groups: &[Group], level: f64) -> Option<Vec<Pair>> {
    let of_mean: Vec<(f64, f64)> = groups
        .iter()
        .map(|group| Some((group.variance_of_mean().filter(|variance| *variance > 0.0)?, group.dof())))
        .collect::<Option<_>>()?;
    if groups.len() < 2 {
        return None;
    }
    let pair = |(first, second): (usize, usize)| {
        let (one, other) = (of_mean[first], of_mean[second]);
        let few = groups[first].count.min(groups[second].count) < ENOUGH;
        let dof = if few { careful(&[one, other]) } else { effective([one, other]) };
        let se = (0.5 * (one.0 + other.0)).sqrt();
        let difference = groups[second].mean - groups[first].mean;
        let half_width = quantile(level, groups.len(), dof) * se;
        Pair {
            first,
            second,
            difference,
            half_width,
            p_value: above(difference.abs() / se, groups.len(), dof),
        }
    };
    Some(pairs(groups.len()).map(pair).collect())
}

/// All pairs of estimates by Welch's test, with Holm's correction; intervals at Bonferroni's level, since
/// Holm's steps have none of their own.
pub fn welch_holm(estimates: &[Estimate], level: f64) -> Vec<Pair> {
    let count = (estimates.len() * estimates.len().saturating_sub(1) / 2) as f64;
    let each = 1.0 - (1.0 - level) / count.max(1.0);
    let mut all: Vec<Pair> = pairs(estimates.len())
        .map(|(first, second)| {
            let difference = super::difference::between(estimates[first], estimates[second]);
            let half_width = difference.half_width(each);
            Pair { first, second, difference: difference.value, half_width, p_value: difference.p_value() }
        })
        .collect();
    let corrected = holm(&all.iter().map(|pair| pair.p_value).collect::<Vec<_>>());
    all.iter_mut().zip(corrected).for_each(|(pair, p_value)| pair.p_value = p_value);
    all
}

/// P values of a family, each corrected for all: below a level where it may be called real at that level.
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut corrected = vec![1.0; p_values.len()];
    let mut least = 0.0_f64;
    for (rank, at) in order.into_iter().enumerate() {
        least = least.max(p_values[at] * (p_values.len() - rank) as f64).min(1.0);
        corrected[at] = least;
    }
    corrected
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made() -> Vec<Group> {
        [vec![1.0, 2.0, 3.5, 4.0], vec![2.0, 6.0, 9.0], vec![5.0, 5.5, 6.0, 6.5, 5.2]]
            .iter()
            .map(|values| Group::of(values).unwrap())
            .collect()
    }

    fn assert_pairs(got: &[Pair], expected: [(f64, f64, f64); 3]) {
        for (pair, (p_value, low, high)) in got.iter().zip(expected) {
            // scipy gives first less second.
            let (least, most) = (pair.difference - pair.half_width, pair.difference + pair.half_width);
            assert!((pair.p_value - p_value).abs() < 1e-6, "{pair:?} {p_value}");
            assert!((least + high).abs() < 1e-5 && (most + low).abs() < 1e-5, "{pair:?} {low} {high}");
        }
        assert_eq!(got.len(), 3);
    }

    /// Made-up groups of unequal counts and spreads, against scipy 1.17.1 (`tukey_hsd`, with equal spreads
    /// and without).
    #[test]
    fn pairs_are_those_of_another_program() {
        let equal = [
            (0.1410935928244057, -7.0529377342451305, 0.9696044009117966),
            (0.09337331232194257, -6.5381397547195474, 0.5081397547195481),
            (0.9997922795379591, -3.80884208514541, 3.8621754184787447),
        ];
        let unequal = [
            (0.4535942338580681, -13.384471703190684, 7.301138369857351),
            (0.03353280425577754, -5.67167144243192, -0.35832855756807946),
            (0.9999063433324783, -11.57970136884044, 11.633034702173775),
        ];
        assert_pairs(&tukey_kramer(&made(), 0.95).unwrap(), equal);
        assert_pairs(&games_howell(&made(), 0.95).unwrap(), unequal);
    }

    #[test]
    fn a_single_value_needs_the_spread_of_the_others() {
        let groups: Vec<Group> =
            [vec![1.0], vec![2.0, 2.2, 2.1]].iter().map(|values| Group::of(values).unwrap()).collect();
        assert_eq!(games_howell(&groups, 0.95), None);
        let pairs = tukey_kramer(&groups, 0.95).unwrap();
        // A t test on two degrees of freedom: 4.30265 times 0.1 times the root of 4/3.
        assert!((pairs[0].half_width - 4.302653 * 0.1 * (4.0_f64 / 3.0).sqrt()).abs() < 1e-6);
        assert!(pairs[0].is_real());
    }

    /// Source: Holm 1979; by hand: 0.01 * 4, then 0.013 * 3 held up at 0.04, 0.03 * 2, and 0.04 held up.
    #[test]
    fn holms_correction_goes_down_in_steps_and_never_turns_round() {
        let corrected = holm(&[0.03, 0.01, 0.04, 0.013]);
        for (got, expected) in corrected.iter().zip([0.06, 0.04, 0.06, 0.04]) {
            assert!((got - expected).abs() < 1e-12, "{corrected:?}");
        }
        assert_eq!(holm(&[0.9, 0.8]), [1.0, 1.0]);
        assert!(holm(&[]).is_empty());
    }

    #[test]
    fn welch_with_holm_is_wider_than_games_howell_and_agrees_on_signs() {
        let estimates: Vec<Estimate> = made()
            .iter()
            .map(|group| Estimate {
                value: group.mean,
                se: group.variance_of_mean().unwrap().sqrt(),
                dof: group.dof(),
            })
            .collect();
        for (plain, sharp) in welch_holm(&estimates, 0.95).iter().zip(games_howell(&made(), 0.95).unwrap()) {
            assert!(plain.half_width > sharp.half_width);
            assert_eq!(plain.difference, sharp.difference);
        }
    }
}
