//! Do groups have one mean: one-way analysis of variance, with equal spreads and without.
//!
//! Sums of squares are taken about means of values less the first one, and corrected by what the
//! residuals about that mean add up to, so that constant leading digits cost no more than they cost in the
//! values themselves.
//!
//! Source: NIST/SEMATECH e-Handbook of Statistical Methods, 7.4.3 (one-way analysis of variance); B. L.
//! Welch, Biometrika 38 (1951) 330 (unequal spreads).

use super::distribution::f_above;

/// Count, mean and squares about it of one group.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Group {
    /// How many values.
    pub count: usize,
    /// Their mean.
    pub mean: f64,
    /// Sum of squared departures from the mean.
    pub squares: f64,
}

impl Group {
    /// Of these values; `None` of none.
    pub fn of(values: &[f64]) -> Option<Self> {
        Self::about(values, *values.first()?)
    }

    /// The same with the mean less `origin`.
    fn from(values: &[f64], origin: f64) -> Option<Self> {
        let n = values.len() as f64;
        if values.is_empty() {
            return None;
        }
        let rough = values.iter().map(|value| value - origin).sum::<f64>() / n;
        // What the departures add up to is rounding of the mean, and is put back into it.
        let rest = values.iter().map(|value| value - origin - rough).sum::<f64>() / n;
        let mean = rough + rest;
        let squares: f64 = values.iter().map(|value| (value - origin - mean).powi(2)).sum();
        Some(Self { count: values.len(), mean, squares })
    }

    fn about(values: &[f64], origin: f64) -> Option<Self> {
        Self::from(values, origin).map(|group| Self { mean: group.mean + origin, ..group })
    }

    /// Degrees of freedom of the spread.
    pub fn dof(&self) -> f64 {
        self.count as f64 - 1.0
    }

    /// Variance of one value; `None` of a single value.
    pub fn variance(&self) -> Option<f64> {
        (self.count > 1).then(|| self.squares / self.dof())
    }

    /// Variance of the mean; `None` of a single value.
    pub fn variance_of_mean(&self) -> Option<f64> {
        Some(self.variance()? / self.count as f64)
    }
}

/// Whether groups have one mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OneWay {
    /// Degrees of freedom between groups.
    pub dof_between: f64,
    /// Degrees of freedom within groups.
    pub dof_within: f64,
    /// Sum of squares between groups; `None` where spreads differ and it has no meaning.
    pub squares_between: Option<f64>,
    /// Sum of squares within groups.
    pub squares_within: f64,
    /// The ratio of both per degree of freedom.
    pub f: f64,
    /// The chance of such a ratio or a larger one, where all means are one.
    pub p_value: f64,
}

/// One-way analysis of variance; `None` with fewer than two groups or without a spread within them.
pub fn one_way(groups: &[Vec<f64>]) -> Option<OneWay> {
    let origin = *groups.first()?.first()?;
    let parts: Vec<Group> = groups.iter().map(|values| Group::from(values, origin)).collect::<Option<_>>()?;
    let all: f64 = parts.iter().map(|group| group.count as f64).sum();
    let grand = parts.iter().map(|group| group.count as f64 * group.mean).sum::<f64>() / all;
    let rest = parts.iter().map(|group| group.count as f64 * (group.mean - grand)).sum::<f64>() / all;
    let grand = grand + rest;
    let between: f64 = parts.iter().map(|group| group.count as f64 * (group.mean - grand).powi(2)).sum();
    let within: f64 = parts.iter().map(|group| group.squares).sum();
    let (dof_between, dof_within) = (parts.len() as f64 - 1.0, all - parts.len() as f64);
    if dof_between < 1.0 || dof_within < 1.0 {
        return None;
    }
    let f = (between / dof_between) / (within / dof_within);
    Some(OneWay {
        dof_between,
        dof_within,
        squares_between: Some(between),
        squares_within: within,
        f,
        p_value: f_above(f, dof_between, dof_within),
    })
}

/// The same where spreads may differ, by Welch's approximation; `None` when a group has a single value or
/// no spread.
pub fn welch(groups: &[Vec<f64>]) -> Option<OneWay> {
    let parts: Vec<Group> = groups.iter().map(|values| Group::of(values)).collect::<Option<_>>()?;
    let k = parts.len() as f64;
    let weights: Vec<f64> = parts
        .iter()
        .map(|group| group.variance_of_mean().filter(|variance| *variance > 0.0).map(f64::recip))
        .collect::<Option<_>>()?;
    if k < 2.0 {
        return None;
    }
    let total: f64 = weights.iter().sum();
    let grand = parts.iter().zip(&weights).map(|(group, weight)| weight * group.mean).sum::<f64>() / total;
    let between: f64 =
        parts.iter().zip(&weights).map(|(group, weight)| weight * (group.mean - grand).powi(2)).sum();
    let doubt: f64 =
        parts.iter().zip(&weights).map(|(group, weight)| (1.0 - weight / total).powi(2) / group.dof()).sum();
    let f = between / (k - 1.0) / (1.0 + 2.0 * (k - 2.0) / (k * k - 1.0) * doubt);
    let dof_within = (k * k - 1.0) / (3.0 * doubt);
    Some(OneWay {
        dof_between: k - 1.0,
        dof_within,
        squares_between: None,
        squares_within: parts.iter().map(|group| group.squares).sum(),
        f,
        p_value: f_above(f, k - 1.0, dof_within),
    })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// The groups of a file of `group,value` rows.
    pub fn groups(text: &str) -> Vec<Vec<f64>> {
        let mut names: Vec<&str> = Vec::new();
        let mut groups: Vec<Vec<f64>> = Vec::new();
        for line in text.lines().filter(|line| !line.starts_with('#')).skip(1) {
            let (name, value) = line.split_once(',').unwrap();
            if !names.contains(&name) {
                names.push(name);
                groups.push(Vec::new());
            }
            let at = names.iter().position(|known| *known == name).unwrap();
            groups[at].push(value.trim().parse().unwrap());
        }
        groups
    }

    fn digits(value: f64, certified: f64) -> f64 {
        if value == certified { 16.0 } else { -((value - certified).abs() / certified.abs()).log10() }
    }

    /// Source: NIST Statistical Reference Datasets, analysis of variance, certified values of "SiRstv",
    /// "SmLs01", "SmLs04", "SmLs07", "AtmWtAg". How many digits a set allows is a matter of its leading
    /// digits, which a double cannot hold beside the rest: half a unit of the last place of SmLs07's values
    /// is 6e-5 of a spread of 0.1, of SmLs04's 6e-11, of AtmWtAg's 7e-15 of 1.5e-5.
    #[test]
    fn one_way_analysis_reproduces_the_certified_sets() {
        let sets = [
            (
                include_str!("../../data/published/nist_sirstv.csv"),
                5.11462616e-2,
                2.1663656e-1,
                1.18046237440255,
                13.0,
            ),
            (include_str!("../../data/published/nist_smls01.csv"), 1.68, 1.8, 21.0, 15.0),
            (include_str!("../../data/published/nist_smls04.csv"), 1.68, 1.8, 21.0, 10.0),
            (include_str!("../../data/published/nist_smls07.csv"), 1.68, 1.8, 21.0, 4.0),
            (
                include_str!("../../data/published/nist_atmwtag.csv"),
                3.638341875e-9,
                1.04951729166667e-8,
                15.9467335677930,
                10.0,
            ),
        ];
        for (text, between, within, f, expected) in sets {
            let answer = one_way(&groups(text)).unwrap();
            let got = [
                digits(answer.squares_between.unwrap(), between),
                digits(answer.squares_within, within),
                digits(answer.f, f),
            ];
            let least = got.into_iter().fold(f64::INFINITY, f64::min);
            println!("{:?}: {got:?} digits", &text[..110].lines().next());
            assert!(least >= expected, "{got:?} digits, {expected} wanted of\n{}", &text[..130]);
        }
        // Negative control: the textbook's sum of squares less the squared sum over n keeps none of SmLs07.
        let all: Vec<f64> =
            groups(include_str!("../../data/published/nist_smls07.csv")).into_iter().flatten().collect();
        let n = all.len() as f64;
        let naive = all.iter().map(|y| y * y).sum::<f64>() - all.iter().sum::<f64>().powi(2) / n;
        assert!(digits(naive, 3.48) < 1.0, "{naive}");
    }

    /// Two groups with Welch's weights are Welch's t test: F is t squared, on the same degrees of freedom.
    /// Source: Student's sleep data, t = -1.8608 on 17.776 (R's documentation of t.test).
    #[test]
    fn welchs_analysis_of_two_groups_is_his_t_test() {
        let answer = welch(&groups(include_str!("../../data/published/sleep.csv"))).unwrap();
        assert!((answer.f.sqrt() - 1.8608).abs() < 5e-5, "{answer:?}");
        assert!((answer.dof_within - 17.776).abs() < 5e-4, "{answer:?}");
        assert!((answer.p_value - 0.07939).abs() < 5e-6, "{answer:?}");
    }

    /// Three groups, against scipy 1.17.1 (`f_oneway(..., equal_var=False)`).
    #[test]
    fn welchs_analysis_of_three_groups_is_that_of_another_program() {
        let groups = [vec![1.0, 2.0, 3.5, 4.0], vec![2.0, 6.0, 9.0], vec![5.0, 5.5, 6.0, 6.5, 5.2]];
        let answer = welch(&groups).unwrap();
        assert!((answer.f - WELCH_F).abs() < 1e-6 && (answer.p_value - WELCH_P).abs() < 1e-7, "{answer:?}");
    }
    const WELCH_F: f64 = 7.010852196411005;
    const WELCH_P: f64 = 0.0572919110371192;

    #[test]
    fn without_a_spread_or_a_second_group_there_is_no_analysis() {
        assert_eq!(one_way(&[vec![1.0, 2.0]]), None);
        assert_eq!(one_way(&[vec![1.0], vec![2.0]]), None);
        assert_eq!(one_way(&[vec![], vec![2.0, 3.0]]), None);
        assert_eq!(welch(&[vec![1.0], vec![2.0, 3.0]]), None);
    }
}
