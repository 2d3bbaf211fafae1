//! What is known of the spreads when later prints are judged: more than when the correction was fitted.
//!
//! - The later prints show how features scatter, whatever moved: about the mean of each kind on each print
//!   and one slope over the size. Pooled with the correction's own by degrees of freedom.
//! - A correction of one print saw nothing of how prints differ (P). Its allowance is for intervals, where
//!   too narrow is the worse mistake: widened, and with the doubt of its own feature spread on top. A test
//!   has its level for that already, and the same caution twice makes it blind. Here P is what printers
//!   whose features scatter as these do have in the table of [`priors`](crate::correction::structured::priors),
//!   no more and no less, and as uncertain as printers of one class differ. Least squares has an allowance
//!   in mm whatever the printer, and counts it as a print; the same stands in its place, else a third of
//!   bad printers would be called drifted that are not.
//! - How later prints differ from one another tells P, where there are several.
//!
//! What a correction borrowed from other setups stays.

use crate::correction::Correction;
use crate::correction::joint::{FEATURES, FINEST_MM, JointSpread, Origin, PRINTS, scale_over_rms};
use crate::correction::spread::{ALLOWANCE_DOF, PRINT_ALLOWANCE_MM};
use crate::stats::doubtful_sum::{Part, ln_variance};

use super::VerifiedFeature;

/// Print to print over feature to feature of the typical class, 0.030 over [`TYPICAL_FEATURE_SD_MM`].
const PRINT_OVER_FEATURE: f64 = 1.2;
const TYPICAL_FEATURE_SD_MM: f64 = 0.025;
/// How it grows with the feature spread: 1.04 at 0.010 mm and 1.38 at 0.060; the table has 1.0 and 1.33.
const PRINT_OVER_FEATURE_POWER: f64 = 0.16;
/// No printer's features scatter less than the good class's: less is luck.
const LEAST_FEATURE_SD_MM: f64 = 0.01;
/// How printers of one class differ in P: by 0.3 to 0.4 in its logarithm. How well the feature spread is known does
/// not come on top: it tells which class a printer is of, and classes are a factor of 2.5 apart.
const PRINT_LN_SD: f64 = 0.35;
/// Feature and reading over feature, where nothing was read twice: reading scatters 0.8 times as much in the table.
const WITH_READING: f64 = 1.28;

/// Degrees of freedom that a variance with this variance of its logarithm is worth.
fn dof_of(ln_variance: f64) -> f64 {
    1.0 + 2.0 / ln_variance.max(1e-6)
}

/// The square of a standard deviation as the t distribution has it, from the median of its square.
fn scale_mm2(median_mm2: f64, ln_variance: f64) -> f64 {
    median_mm2 / (1.0 + ln_variance / 2.0)
}

impl JointSpread {
    /// Takes in what the later prints and the table of printers say of the spreads.
    pub(super) fn learn_from(
        &mut self,
        correction: &Correction,
        features: &[VerifiedFeature],
        differences: &[f64],
    ) {
        self.learn_features(features, differences);
        self.learn_prints(correction);
        self.learn_from_several(differences);
    }

    /// How features scatter about what their kind and print have in common.
    fn learn_features(&mut self, features: &[VerifiedFeature], differences: &[f64]) {
        let Some((mean_square, dof)) = scatter(features, differences) else { return };
        let before = self.linked.own.iter().sum::<f64>() / self.linked.own.len() as f64;
        let known = self.linked.dofs[FEATURES].min(1e6);
        let pooled = (known * before + dof * mean_square) / (known + dof);
        self.linked.own.iter_mut().for_each(|own| *own = (*own * pooled / before).max(FINEST_MM * FINEST_MM));
        self.linked.dofs[FEATURES] = known + dof;
    }

    /// How prints differ, where the correction has an allowance for it.
    fn learn_prints(&mut self, correction: &Correction) {
        let fitted_one = correction.spread.print.dof.is_none();
        if correction.has_borrowed() || (correction.print_effects.is_some() && !fitted_one) {
            return;
        }
        let own = Part::estimated(
            self.linked.own.iter().sum::<f64>() / self.linked.own.len() as f64,
            self.linked.dofs[FEATURES],
        );
        let reading = if correction.spread.repeat.is_some() { 1.0 } else { WITH_READING };
        let feature_mm = (own.median.sqrt() / reading).max(LEAST_FEATURE_SD_MM);
        let growth = (feature_mm / TYPICAL_FEATURE_SD_MM).powf(PRINT_OVER_FEATURE_POWER);
        let median_mm2 = (PRINT_OVER_FEATURE * feature_mm * growth).powi(2);
        let doubt = 4.0 * PRINT_LN_SD * PRINT_LN_SD;
        let Some(effects) = &correction.print_effects else {
            let (mut scale, mut dof) = (scale_mm2(median_mm2, doubt), dof_of(doubt));
            let known_mm2 = correction.spread.print.sd_mm.powi(2);
            if let Some(counted) = correction.spread.print.dof {
                let prints = (counted - ALLOWANCE_DOF).max(0.0);
                let squares = counted * known_mm2 - ALLOWANCE_DOF * PRINT_ALLOWANCE_MM * PRINT_ALLOWANCE_MM;
                scale = (dof * scale + squares.max(0.0)) / (dof + prints);
                dof += prints;
            }
            for part in 0..3 {
                self.rescale(PRINTS + part, scale / known_mm2, dof);
            }
            return;
        };
        // The shrink of a print goes with its swell; heights have an allowance of their own.
        let before = ln_variance(effects.swell_dof);
        let known_mm2 = (2.0 * effects.swell_sd_mm * scale_over_rms(effects.swell_dof)).powi(2);
        let times = median_mm2 / (known_mm2 * (1.0 + before / 2.0));
        let parts = [(PRINTS, effects.swell_dof), (PRINTS + 1, effects.shrink_dof)];
        for (group, dof) in parts.into_iter().filter(|_| known_mm2 > 0.0) {
            let now = (ln_variance(dof) - before).max(0.0) + doubt;
            let median = times * (1.0 + ln_variance(dof) / 2.0);
            self.rescale(group, scale_mm2(median, now), dof_of(now));
        }
    }

    /// Multiplies the variance of a group, and gives it these degrees of freedom.
    fn rescale(&mut self, group: usize, times: f64, dof: f64) {
        if !times.is_finite() {
            return;
        }
        for column in self.linked.columns.iter_mut().filter(|column| column.group == group) {
            column.loadings.iter_mut().for_each(|loading| *loading *= times.sqrt());
        }
        self.linked.dofs[group] = dof;
    }

    /// Several later prints themselves say how far prints differ in their walls.
    ///
    /// A change moves all of them alike, so how they differ from one another tells the spread whatever
    /// happened. It is pooled with what is known by degrees of freedom.
    fn learn_from_several(&mut self, differences: &[f64]) {
        let dof = self.linked.dofs[PRINTS];
        let walls =
            |at: &usize| self.origins[*at] == Origin::NewPrint && self.linked.columns[*at].group == PRINTS;
        let prints: Vec<usize> = (0..self.origins.len()).filter(walls).collect();
        if prints.len() < 2 || !dof.is_finite() {
            return;
        }
        // Of each print, its effect in standard deviations as its features show it, and the variance that
        // these have for themselves.
        let effect = |at: &usize| {
            let loadings = &self.linked.columns[*at].loadings;
            let size: f64 = loadings.iter().map(|loading| loading.abs()).sum();
            let sign = |loading: &f64| if *loading == 0.0 { 0.0 } else { loading.signum() / size };
            let weights: Vec<f64> = loadings.iter().map(sign).collect();
            let effect: f64 = weights.iter().zip(differences).map(|(weight, d)| weight * d).sum();
            let own: f64 = weights.iter().zip(&self.linked.own).map(|(w, own)| w * w * own).sum();
            (effect, own)
        };
        let effects: Vec<(f64, f64)> = prints.iter().map(effect).collect();
        let count = effects.len() as f64;
        let mean = effects.iter().map(|(effect, _)| effect).sum::<f64>() / count;
        let between = effects.iter().map(|(effect, _)| (effect - mean).powi(2)).sum::<f64>() / (count - 1.0);
        let own = effects.iter().map(|(_, own)| own).sum::<f64>() / count;
        let seen = (between - own).max(0.0);
        self.rescale(PRINTS, (dof + (count - 1.0) * seen) / (dof + count - 1.0), dof + count - 1.0);
    }
}

/// Mean square of the differences about the mean of each kind on each print and one slope over the drawn size, mm^2,
/// with its degrees of freedom. `None` when there are none.
fn scatter(features: &[VerifiedFeature], differences: &[f64]) -> Option<(f64, f64)> {
    let mut groups: Vec<_> = features.iter().map(|feature| (feature.copy, feature.kind)).collect();
    groups.sort_unstable();
    groups.dedup();
    let (mut squares, mut products, mut sizes) = (0.0, 0.0, 0.0);
    for group in &groups {
        let members: Vec<(f64, f64)> = features
            .iter()
            .zip(differences)
            .filter(|(feature, _)| (feature.copy, feature.kind) == *group)
            .map(|(feature, difference)| (feature.drawn_mm, *difference))
            .collect();
        let count = members.len() as f64;
        let mean_size = members.iter().map(|(size, _)| size).sum::<f64>() / count;
        let mean = members.iter().map(|(_, difference)| difference).sum::<f64>() / count;
        for (size, difference) in members {
            squares += (difference - mean).powi(2);
            products += (difference - mean) * (size - mean_size);
            sizes += (size - mean_size).powi(2);
        }
    }
    let sloped = sizes > 0.0;
    let explained = if sloped { products * products / sizes } else { 0.0 };
    let dof = features.len() as f64 - groups.len() as f64 - f64::from(u8::from(sloped));
    (dof >= 1.0).then(|| ((squares - explained).max(0.0) / dof, dof))
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::correction::joint::LaterFeature;
    use crate::correction::{PrintEffects, SpreadEstimate};
    use crate::kind::{Axis, Kind};

    /// Least squares, three prints that differ by 0.02 mm, features by 0.02 mm.
    fn known() -> Correction {
        let path = Path::new("tests/data/known.correction.toml");
        Correction::from_toml(include_str!("../../../tests/data/known.correction.toml"), path).unwrap()
    }

    fn feature(kind: Kind, drawn_mm: f64, copy: u32) -> VerifiedFeature {
        VerifiedFeature {
            name: String::new(),
            line: 1,
            copy,
            kind,
            axis: Axis::Round,
            drawn_mm,
            expected_mm: drawn_mm,
            reading_mm: drawn_mm,
            readings: 1,
            sd_mm: 0.0,
            beyond_mm: 0.0,
            set_aside: false,
        }
    }

    fn spread(correction: &Correction, features: &[VerifiedFeature]) -> JointSpread {
        let later = |of: &VerifiedFeature| LaterFeature {
            kind: of.kind,
            axis: of.axis,
            drawn_mm: of.drawn_mm,
            print: of.copy,
            readings: of.readings,
        };
        correction.joint_spread(&features.iter().map(later).collect::<Vec<_>>())
    }

    /// What one print moves a pin by, one standard deviation, mm.
    fn moves_mm(joint: &JointSpread) -> f64 {
        let first: Vec<f64> = (0..joint.linked.own.len()).map(|at| f64::from(u8::from(at == 0))).collect();
        joint.variance_from(&first, &[Origin::NewPrint], false).sqrt()
    }

    #[test]
    fn later_prints_that_differ_more_widen_the_spread_of_prints_and_a_common_shift_does_not() {
        let features = [1, 1, 2, 2, 3, 3].map(|print| feature(Kind::Pin, 8.0, print));
        let learnt = |differences: [f64; 6]| {
            let mut joint = spread(&known(), &features);
            let dof = joint.linked.dofs[PRINTS];
            joint.learn_from_several(&differences);
            assert_eq!(joint.linked.dofs[PRINTS], dof + 2.0);
            moves_mm(&joint)
        };
        // 4 degrees of freedom of 0.02 mm and two of nothing, whatever all have in common.
        for shift in [0.0, 0.3] {
            assert!((learnt([shift; 6]) - 0.02 * (4.0_f64 / 6.0).sqrt()).abs() < 1e-12);
        }
        let apart = learnt([0.1, 0.1, -0.1, -0.1, 0.0, 0.0]);
        // Two of 0.1^2 less what two features of 0.02 mm have for themselves.
        let expected = ((4.0 * 0.0004 + 2.0 * (0.01 - 0.0002)) / 6.0_f64).sqrt();
        assert!((apart - expected).abs() < 1e-12, "{apart} {expected}");
    }

    #[test]
    fn features_scatter_about_the_mean_of_their_kind_and_one_slope() {
        let features = [4.0, 6.0, 8.0, 5.0, 7.0, 9.0].map(|size| feature(Kind::Pin, size, 1));
        let mut features = features.to_vec();
        features[3..].iter_mut().for_each(|of| of.kind = Kind::Bore);
        // A slope of 0.01, kinds 0.1 mm apart, and (+1, -2, +1) and (-1, +2, -1) hundredths about it.
        let wobble = [0.01, -0.02, 0.01, -0.01, 0.02, -0.01];
        let differences: Vec<f64> = features
            .iter()
            .zip(wobble)
            .map(|(of, wobble)| 0.01 * of.drawn_mm + if of.kind == Kind::Bore { 0.1 } else { 0.0 } + wobble)
            .collect();
        let (mean_square, dof) = scatter(&features, &differences).unwrap();
        assert_eq!(dof, 3.0);
        assert!((mean_square - 12e-4 / 3.0).abs() < 1e-12, "{mean_square}");
        // Pooled with 20 degrees of freedom of 0.02 mm.
        let mut joint = spread(&known(), &features);
        joint.learn_features(&features, &differences);
        assert!((joint.linked.own[0] - (20.0 * 4e-4 + 12e-4) / 23.0).abs() < 1e-12, "{:?}", joint.linked.own);
        assert_eq!(joint.linked.dofs[FEATURES], 23.0);
        assert_eq!(scatter(&features[..2], &differences[..2]), None);
    }

    /// The table's typical printer: features 0.025 mm, prints 0.030 mm.
    #[test]
    fn the_allowance_of_one_print_is_what_printers_with_such_features_have() {
        let features = [feature(Kind::Pin, 8.0, 1)];
        let mut one = known();
        one.spread.feature = SpreadEstimate { sd_mm: 0.025, dof: Some(1e6) };
        // How `known` was read is not said; as if its features had been read twice.
        one.spread.repeat = Some(SpreadEstimate { sd_mm: 0.0, dof: Some(9.0) });
        one.spread.print = SpreadEstimate { sd_mm: 0.09, dof: None };
        let scale_of = |median_mm: f64| median_mm / (1.0 + 2.0 * PRINT_LN_SD * PRINT_LN_SD).sqrt();
        let learnt = |correction: &Correction| {
            let mut joint = spread(correction, &features);
            joint.learn_prints(correction);
            (moves_mm(&joint), joint.linked.dofs[PRINTS])
        };
        let (found, dof) = learnt(&one);
        assert!((found / scale_of(0.03) - 1.0).abs() < 1e-5, "{found}");
        assert!((ln_variance(dof) - 4.0 * PRINT_LN_SD * PRINT_LN_SD).abs() < 1e-12);
        // The structured model the same way; two prints, or what was borrowed, stay as they are.
        let effects = PrintEffects {
            swell_sd_mm: 0.045,
            swell_dof: 3.0,
            shrink_sd: 0.0,
            shrink_dof: 3.0,
            height_sd_mm: 0.0,
            height_dof: 3.0,
        };
        one.print_effects = Some(effects);
        let (found, _) = learnt(&one);
        assert!((found / scale_of(0.03) - 1.0).abs() < 1e-5, "{found}");
        let stated = 0.09 * scale_over_rms(3.0);
        let mut two = one.clone();
        two.spread.print.dof = Some(3.0);
        assert!((learnt(&two).0 - stated).abs() < 1e-12);
        one.warnings.push("borrowed from your 2 earlier setups (a, b): scale 20 %".to_owned());
        assert!((learnt(&one).0 - stated).abs() < 1e-12);
    }

    /// Least squares counts 0.03 mm as one print; by hand, with the features' 0.02 mm in its place.
    #[test]
    fn the_print_that_least_squares_adds_is_one_of_such_a_printer() {
        let features = [feature(Kind::Pin, 8.0, 1)];
        let mut known = known();
        known.spread.repeat = Some(SpreadEstimate { sd_mm: 0.0, dof: Some(9.0) });
        known.spread.feature = SpreadEstimate { sd_mm: 0.02, dof: Some(1e6) };
        known.spread.print = SpreadEstimate { sd_mm: 0.05, dof: Some(3.0) };
        let mut joint = spread(&known, &features);
        joint.learn_prints(&known);
        let doubt = 0.49; // 4 * 0.35^2
        let median = 1.2 * 0.02 * 0.8_f64.powf(0.16);
        let (prior, weight) = (median * median / (1.0 + doubt / 2.0), 1.0 + 2.0 / doubt);
        let expected = (weight * prior + (3.0 * 0.0025 - 0.0009)) / (weight + 2.0);
        assert!((moves_mm(&joint) - expected.sqrt()).abs() < 1e-7, "{}", moves_mm(&joint));
        assert!((joint.linked.dofs[PRINTS] - (weight + 2.0)).abs() < 1e-9);
    }
}
