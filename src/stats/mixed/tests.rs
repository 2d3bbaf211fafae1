//! Models solved two ways.

use super::*;

fn reduced(y: [f64; 4]) -> Reduced {
    let mut products = Products::new(2, 1, 2);
    for (i, (x, y)) in [1.0, 2.0, 3.0, 5.0].into_iter().zip(y).enumerate() {
        products.add(Row { x: &[1.0, x], z: &[1.0], group: i / 2, y }, 4.0);
    }
    let mut reduced = Reduced::default();
    products.reduce(&[0.3], &mut reduced);
    reduced
}

/// With a mean of zero and no ties it is the other way of solving; a mean shifts the data by what it
/// explains and changes nothing else.
#[test]
fn a_joint_prior_agrees_with_separate_ones_and_its_mean_shifts_the_data() {
    let y = [1.0, 1.4, 2.3, 2.9];
    let (mut separate, mut joint) = (Solution::default(), Solution::default());
    assert!(reduced(y).solve(&[3.0, 7.0], &mut separate));
    let precision = vec![3.0, 0.0, 0.0, 7.0];
    let prior = JointPrior::new(vec![0.0, 0.0], precision.clone()).unwrap();
    assert!(reduced(y).solve_about(&prior, &mut joint));
    assert!((separate.evidence_ln - joint.evidence_ln).abs() < 1e-12);
    assert!((separate.mean[1] - joint.mean[1]).abs() < 1e-14);
    let mean = [0.4, 0.5];
    let about = JointPrior::new(mean.to_vec(), precision).unwrap();
    let x = [1.0, 2.0, 3.0, 5.0];
    let shifted = std::array::from_fn(|i| y[i] + mean[0] + mean[1] * x[i]);
    assert!(reduced(shifted).solve_about(&about, &mut joint));
    assert!((separate.evidence_ln - joint.evidence_ln).abs() < 1e-10);
    for (shift, (joint, separate)) in mean.iter().zip(joint.mean.iter().zip(&separate.mean)) {
        assert!((joint - separate - shift).abs() < 1e-12);
    }
}

/// Rows one by one and with effects as coefficients of the groups' own, taken out by a prior each, are the
/// other way.
#[test]
fn rows_in_blocks_are_the_same_rows() {
    let (factors, sds) = ([0.5, -2.0], [0.3, 0.1]);
    let row = |i: usize| {
        let x = [1.0, i as f64 - 2.0, f64::from(i as u32 % 3)];
        (x, 0.3 * x[1] + f64::from(i as u32 * 7 % 5), [4.0, 1e-9, 2.0, 1.0, 0.5, 3.0, 2.5][i])
    };
    let groups = [0..2, 2..7];
    let rows: Vec<([f64; 3], f64, f64)> = (0..7).map(row).collect();
    let given = groups.iter().map(|group| rows[group.clone()].iter().map(|(x, y, _)| (&x[..], *y)));
    let blocks = blocks::Blocks::new(3, &factors, given);
    let places = blocks.places(&[2, 5]);
    assert_eq!((blocks.len(), &places[..]), (12, &[0, 1, 4, 5, 6, 7, 8][..]));
    let mut weights = [[0.0; blocks::ROWS]; 3];
    let (mut one, mut other) = (Products::new(3, 2, 2), Products::new(3, 2, 2));
    let mut plain = Products::new(7, 1, 1);
    for (i, (x, y, weight)) in rows.iter().enumerate() {
        weights.as_flattened_mut()[places[i]] = *weight;
        let (z, group) = ([factors[0] * x[0], factors[1] * x[1]], usize::from(i > 1));
        one.add(Row { x, z: &z, group, y: *y }, *weight);
        let own = |of: usize| if of == group { z } else { [0.0; 2] };
        let all = [&x[..], &own(0), &own(1)].concat();
        plain.add(Row { x: &all, z: &[0.0], group: 0, y: *y }, *weight);
    }
    other.add_blocks(&blocks, &weights, &mut Vec::new());
    let precisions = [3.0, 7.0, 1.0];
    let solved = |products: &Products, sds: &[f64], precisions: &[f64]| {
        let (mut reduced, mut solution) = (Reduced::default(), Solution::default());
        products.reduce(sds, &mut reduced);
        assert!(reduced.solve(precisions, &mut solution));
        (reduced, solution)
    };
    let (_, by_row) = solved(&one, &sds, &precisions);
    let (reduced, solution) = solved(&other, &sds, &precisions);
    assert!((by_row.evidence_ln - solution.evidence_ln).abs() < 1e-12);
    let own = [sds[0].powi(-2), sds[1].powi(-2)];
    let (_, plain) = solved(&plain, &[0.0], &[&precisions[..], &own, &own].concat());
    let effects = one.effects(&sds, &by_row.mean);
    for (effect, plain) in effects.iter().flatten().zip(&plain.mean[3..]) {
        assert!((effect - plain).abs() < 1e-12, "{effect} {plain}");
    }
    let mut found = blocks::FittedRows::default();
    found.fill(&blocks, &sds, &reduced, &solution);
    let covariance = plain.covariance();
    for (i, (x, ..)) in rows.iter().enumerate() {
        let z = [factors[0] * x[0], factors[1] * x[1]];
        let all = if i > 1 { [&x[..], &[0.0; 2], &z].concat() } else { [&x[..], &z, &[0.0; 2]].concat() };
        let fitted: f64 = all.iter().zip(&plain.mean).map(|(x, b)| x * b).sum();
        let variance: f64 = (0..49).map(|ij| all[ij / 7] * covariance[ij] * all[ij % 7]).sum();
        assert!((found.fitted.as_flattened()[places[i]] - fitted).abs() < 1e-12);
        let other = found.variances.as_flattened()[places[i]];
        assert!((other - variance).abs() < 1e-12 * variance, "{other} {variance}");
    }
}

#[test]
fn a_joint_prior_that_is_not_definite_is_refused() {
    assert_eq!(JointPrior::new(vec![0.0, 0.0], vec![1.0, 2.0, 2.0, 1.0]), None);
}
