//! Materials against each other: every pair, with one chance of error for all pairs of a group and soak, and a
//! rank that shows ties as ties.
//!
//! What a piece changed by is one value. Materials differ in how their pieces scatter, and a handful of pieces is too
//! few for a test to see it: where Levene's test chose between one spread for all and one for each, three to
//! five pieces with spreads of 1 to 5 made the family err in up to 15 %. So every pair has its own spreads
//! (Games-Howell); a material with one piece can only be compared by the spread of the others (Tukey-Kramer).
//! What the reference leaves in doubt is the same for all and drops out.
//!
//! A material is better than another where its change is smaller in size by more than the half width of the
//! pair's interval; its rank is one more than the number of those that are better than it. The chance of a
//! wrong difference is 5 % for the pairs of one group in one soak, not for all groups together.

use crate::stats::anova::Group as Values;
use crate::stats::difference::Estimate;
use crate::stats::equal_spread::levene;
use crate::stats::pairwise::{Method, Pair, games_howell, tukey_kramer, welch_holm};

use super::finding::Finding;
use super::group::Group;
use super::pairing::Study;

/// The materials of one group in one soak.
#[derive(Clone, Debug, PartialEq)]
pub struct Family {
    /// Number of the soak.
    pub condition: usize,
    /// The features.
    pub group: Group,
    /// How pairs were compared.
    pub method: Method,
    /// The chance of such different spreads where they are one; `None` where it cannot be asked.
    pub p_spreads: Option<f64>,
    /// Numbers of the materials; pairs name their places in this list.
    pub materials: Vec<usize>,
    /// Every pair, mm.
    pub pairs: Vec<Pair>,
    /// Rank of each material, 1 the least change; ties have one rank.
    pub ranks: Vec<usize>,
}

/// The families of two materials and more.
pub fn families(study: &Study, findings: &[Finding]) -> Vec<Family> {
    let mut keys: Vec<(usize, Group)> =
        findings.iter().map(|finding| (finding.condition, finding.group)).collect();
    keys.sort_unstable();
    keys.dedup();
    let of = |(condition, group): &(usize, Group)| {
        let members: Vec<&Finding> = findings
            .iter()
            .filter(|finding| (finding.condition, finding.group) == (*condition, *group))
            .collect();
        family(study, &members)
    };
    keys.iter().filter_map(of).collect()
}

fn family(study: &Study, members: &[&Finding]) -> Option<Family> {
    let first = members.first().filter(|_| members.len() > 1)?;
    let values: Vec<Vec<f64>> =
        members.iter().map(|finding| finding.pieces.iter().map(|piece| piece.1).collect()).collect();
    let (method, p_spreads, pairs) = compared(&values, study.rounding_sd_mm)?;
    let size = |at: usize| members[at].mean_mm.abs();
    let beats = |better: usize, other: usize| {
        let pair = pairs.iter().find(|pair| {
            (pair.first, pair.second) == (better, other) || (pair.second, pair.first) == (better, other)
        });
        pair.is_some_and(|pair| size(other) - size(better) > pair.half_width)
    };
    let rank = |own: usize| 1 + (0..members.len()).filter(|other| beats(*other, own)).count();
    Some(Family {
        condition: first.condition,
        group: first.group,
        method,
        p_spreads,
        materials: members.iter().map(|finding| finding.material).collect(),
        ranks: (0..members.len()).map(rank).collect(),
        pairs,
    })
}

/// Every pair of these groups of values, by the method that their spreads call for. `least_sd` is what every
/// value is rounded by.
pub(super) fn compared(values: &[Vec<f64>], least_sd: f64) -> Option<(Method, Option<f64>, Vec<Pair>)> {
    let groups: Vec<Values> = values
        .iter()
        .map(|values| {
            let group = Values::of(values)?;
            // Values that agree to the last digit still were rounded.
            Some(Values { squares: group.squares.max(group.dof() * least_sd * least_sd), ..group })
        })
        .collect::<Option<_>>()?;
    let p_spreads = levene(values).map(|test| test.p_value);
    let single = groups.iter().any(|group| group.count < 2);
    let sharp = if single {
        tukey_kramer(&groups, 0.95).map(|pairs| (Method::TukeyKramer, pairs))
    } else {
        games_howell(&groups, 0.95).map(|pairs| (Method::GamesHowell, pairs))
    };
    let (method, pairs) = sharp.or_else(|| {
        let estimate = |group: &Values| {
            let se = group.variance_of_mean()?.sqrt();
            Some(Estimate { value: group.mean, se, dof: group.dof() })
        };
        let estimates: Vec<Estimate> = groups.iter().map(estimate).collect::<Option<_>>()?;
        Some((Method::Holm, welch_holm(&estimates, 0.95)))
    })?;
    Some((method, p_spreads, pairs))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_pair_has_its_own_spreads_unless_a_material_has_none() {
        let uneven = vec![
            vec![0.100, 0.101, 0.102, 0.099, 0.1],
            vec![0.2, 0.9, -0.5, 0.5, -0.2],
            vec![0.0, 0.001, -0.001, 0.002, 0.001],
        ];
        let (method, p_spreads, _) = compared(&uneven, 1e-4).unwrap();
        assert_eq!(method, Method::GamesHowell);
        assert!(p_spreads.unwrap() < 0.05);
        let single = vec![vec![0.1], vec![0.2, 0.23]];
        assert_eq!(compared(&single, 0.003).unwrap().0, Method::TukeyKramer);
        assert!(compared(&[vec![0.1], vec![0.2]], 0.003).is_none());
    }
}
