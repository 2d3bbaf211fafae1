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

/// Rows one by one, and the same column by column; covariance by the inverse, and by the factor.
#[test]
fn rows_given_column_by_column_are_the_same_rows() {
    let x = [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 2.0, 3.0, 5.0, 8.0];
    let (z, y, weights) = ([2.0, -2.0, 0.0, 2.0, 1.0], [1.0, 1.4, 2.3, 2.9, 3.0], [4.0, 1e-9, 2.0, 1.0, 0.5]);
    let groups = [0..2, 2..5];
    let (mut one, mut other) = (Products::new(2, 1, 2), Products::new(2, 1, 2));
    for i in 0..5 {
        let row = Row { x: &[x[i], x[5 + i]], z: &[z[i]], group: usize::from(i > 1), y: y[i] };
        one.add(row, weights[i]);
    }
    other.add_columns(&Columns { x: &x, z: &z, y: &y, groups: &groups }, &weights, &mut Vec::new());
    let solved = |products: &Products| {
        let (mut reduced, mut solution) = (Reduced::default(), Solution::default());
        products.reduce(&[0.3], &mut reduced);
        assert!(reduced.solve(&[3.0, 7.0], &mut solution));
        solution
    };
    let (one, other) = (solved(&one), solved(&other));
    assert!((one.evidence_ln - other.evidence_ln).abs() < 1e-12);
    assert!((one.mean[0] - other.mean[0]).abs() < 1e-14 && (one.mean[1] - other.mean[1]).abs() < 1e-14);
    let (mut fitted, mut variances) = ([0.0; 5], [0.0; 5]);
    other.fitted(&x, &mut fitted);
    other.add_variances(&mut x.clone(), &mut variances);
    let covariance = one.covariance();
    for i in 0..5 {
        let row = [x[i], x[5 + i]];
        assert!((fitted[i] - row[0] * one.mean[0] - row[1] * one.mean[1]).abs() < 1e-13);
        let direct: f64 = (0..4).map(|ij| row[ij / 2] * covariance[ij] * row[ij % 2]).sum();
        assert!((variances[i] - direct).abs() < 1e-13);
    }
}

#[test]
fn a_joint_prior_that_is_not_definite_is_refused() {
    assert_eq!(JointPrior::new(vec![0.0, 0.0], vec![1.0, 2.0, 2.0, 1.0]), None);
}
