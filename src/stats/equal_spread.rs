//! Do groups have one spread: Bartlett's test, and Levene's about medians, which needs no normal values.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.7 (Bartlett) and 1.3.5.10 (Levene, in
//! Brown and Forsythe's form).

use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::anova::{Group, OneWay, one_way};
use super::robust::median;

/// Bartlett's statistic and its chance where spreads are one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bartlett {
    /// The statistic, about chi-square.
    pub statistic: f64,
    /// Its degrees of freedom.
    pub dof: f64,
    /// The chance of it or a larger one.
    pub p_value: f64,
}

/// Bartlett's test of groups; those of a single value say nothing. `None` with fewer than two that have a
/// spread.
pub fn bartlett(groups: &[Vec<f64>]) -> Option<Bartlett> {
    let parts: Vec<Group> =
        groups.iter().filter_map(|values| Group::of(values)).filter(|group| group.count > 1).collect();
    bartlett_of(&parts.iter().map(|group| (group.variance().unwrap_or(0.0), group.dof())).collect::<Vec<_>>())
}

/// The same from variances with their degrees of freedom.
pub fn bartlett_of(variances: &[(f64, f64)]) -> Option<Bartlett> {
    if variances.len() < 2 || variances.iter().any(|(variance, _)| *variance <= 0.0) {
        return None;
    }
    let k = variances.len() as f64;
    let dof: f64 = variances.iter().map(|(_, dof)| dof).sum();
    let pooled = variances.iter().map(|(variance, dof)| variance * dof).sum::<f64>() / dof;
    let apart = dof * pooled.ln() - variances.iter().map(|(variance, dof)| dof * variance.ln()).sum::<f64>();
    let few = variances.iter().map(|(_, dof)| dof.recip()).sum::<f64>() - dof.recip();
    let statistic = apart / (1.0 + few / (3.0 * (k - 1.0)));
    let p_value = ChiSquared::new(k - 1.0).ok()?.sf(statistic);
    Some(Bartlett { statistic, dof: k - 1.0, p_value })
}

/// Levene's test: whether departures from the groups' medians are of one size.
pub fn levene(groups: &[Vec<f64>]) -> Option<OneWay> {
    let apart = |values: &Vec<f64>| {
        let middle = median(&mut values.clone())?;
        Some(values.iter().map(|value| (value - middle).abs()).collect())
    };
    one_way(&groups.iter().map(apart).collect::<Option<Vec<Vec<f64>>>>()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made() -> [Vec<f64>; 3] {
        [vec![1.0, 2.0, 3.5, 4.0], vec![2.0, 6.0, 9.0], vec![5.0, 5.5, 6.0, 6.5, 5.2]]
    }

    /// Made-up groups, against scipy 1.17.1 (`bartlett`, `levene` with its medians).
    #[test]
    fn both_tests_are_those_of_another_program() {
        let answer = bartlett(&made()).unwrap();
        assert!((answer.statistic - 7.206614255912886).abs() < 1e-9, "{answer:?}");
        assert!((answer.p_value - 0.027233508657409377).abs() < 1e-9);
        let answer = levene(&made()).unwrap();
        assert!((answer.f - 2.9968390174823414).abs() < 1e-9, "{answer:?}");
        assert!((answer.p_value - 0.1005783435200518).abs() < 1e-9);
        // Negative control: about means instead of medians it is another number.
        let about_means: Vec<Vec<f64>> = made()
            .iter()
            .map(|values| {
                let mean = values.iter().sum::<f64>() / values.len() as f64;
                values.iter().map(|value| (value - mean).abs()).collect()
            })
            .collect();
        assert!((one_way(&about_means).unwrap().f - answer.f).abs() > 0.5);
    }

    #[test]
    fn groups_without_a_spread_cannot_be_tested() {
        assert_eq!(bartlett(&[vec![1.0], vec![2.0, 3.0]]), None);
        assert_eq!(bartlett(&[vec![1.0, 1.0], vec![2.0, 3.0]]), None);
        assert_eq!(levene(&[vec![1.0, 2.0]]), None);
    }
}
