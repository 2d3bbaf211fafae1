use super::*;

fn line(points: &[(f64, f64)]) -> Result<Solution, NoSolution> {
    let mut rows = Rows::new(2);
    points.iter().for_each(|(x, y)| rows.push([1.0, *x], *y));
    rows.solve()
}

#[test]
fn a_planted_line_comes_back() {
    let points: Vec<_> = (1..=9).map(|x| (f64::from(x), 0.25 - 0.004 * f64::from(x))).collect();
    let fit = line(&points).unwrap();
    assert!((fit.coefficients[0] - 0.25).abs() < 1e-15);
    assert!((fit.coefficients[1] + 0.004).abs() < 1e-16);
    assert!(fit.residual_squares < 1e-30);
}

#[test]
fn repeats_of_a_row_may_be_given_as_their_mean() {
    let singly = line(&[(1.0, 0.1), (1.0, 0.4), (1.0, 0.1), (5.0, 0.3), (9.0, 0.9), (9.0, 0.7)]).unwrap();
    let mut rows = Rows::new(2);
    rows.push_repeated(0, [1.0, 1.0], 0.2, 3, 0.06);
    rows.push([1.0, 5.0], 0.3);
    rows.push_repeated(0, [1.0, 9.0], 0.8, 2, 0.02);
    let together = rows.solve().unwrap();
    for (one, other) in singly.coefficients.iter().zip(&together.coefficients) {
        assert!((one - other).abs() < 1e-14);
    }
    assert!((singly.residual_squares - together.residual_squares).abs() < 1e-15);
    assert_eq!((singly.dof(), together.dof()), (4, 4));
    assert!((singly.leverage(&[1.0, 7.0]) - together.leverage(&[1.0, 7.0])).abs() < 1e-14);
}

/// Five points, by hand: Sxx = 10, residual squares 0.3, so s^2 = 0.1, se(slope)^2 = 0.01.
#[test]
fn covariance_and_leverage_are_those_of_the_textbook_line() {
    let fit = line(&[(1.0, 1.0), (2.0, 2.3), (3.0, 2.9), (4.0, 4.1), (5.0, 5.0)]).unwrap();
    let variance = fit.variance().unwrap();
    let covariance = fit.covariance(variance);
    assert!((covariance[1][1] - variance / 10.0).abs() < 1e-15);
    assert!((covariance[0][0] - variance * (0.2 + 0.9)).abs() < 1e-15);
    assert!((covariance[0][1] + variance * 0.3).abs() < 1e-15);
    assert!((fit.leverage(&[1.0, 5.0]) - (0.2 + 0.4)).abs() < 1e-14);
    let trace: f64 = (1..=5).map(|x| fit.leverage(&[1.0, f64::from(x)])).sum();
    assert!((trace - 2.0).abs() < 1e-14, "leverages add up to the number of coefficients");
}

/// linregress answers this with a confident, meaningless line.
#[test]
fn columns_that_say_the_same_are_refused() {
    assert_eq!(line(&[(3.0, 0.1), (3.0, 0.2), (3.0, 0.3)]), Err(NoSolution::Collinear { column: 1 }));
    let mut rows = Rows::new(3);
    (1..9).map(f64::from).for_each(|x| rows.push([1.0, x, 2.0 * x - 1.0], x));
    assert_eq!(rows.solve().unwrap_err(), NoSolution::Collinear { column: 2 });
    let mut rows = Rows::new(2);
    rows.push_repeated(0, [1.0, 4.0], 0.1, 9, 0.5);
    assert_eq!(rows.solve().unwrap_err(), NoSolution::Collinear { column: 1 });
}

/// The constants as columns of ones are the other opinion; the last group has one row of three observations.
#[test]
fn constants_of_groups_are_those_of_columns_of_their_own() {
    let rows = [
        (0, [4.0, 0.25], 0.31, 1, 0.0),
        (1, [5.0, 0.0], -0.12, 2, 0.001),
        (0, [8.0, 0.125], 0.18, 3, 0.004),
        (1, [9.0, 0.0], -0.19, 1, 0.0),
        (0, [16.0, 0.0625], 0.22, 1, 0.0),
        (2, [6.0, 0.0], 0.05, 3, 0.002),
    ];
    let (mut grouped, mut plain) = (Rows::with_constants(3, 2), Rows::new(5));
    for (group, columns, mean, count, squares) in rows {
        grouped.push_repeated(group, columns, mean, count, squares);
        let ones = (0..3).map(|of| f64::from(of == group));
        plain.push_repeated(0, ones.chain(columns), mean, count, squares);
    }
    let (grouped, plain) = (grouped.solve().unwrap(), plain.solve().unwrap());
    let close = |one: f64, other: f64| assert!((one - other).abs() < 1e-12, "{one} {other}");
    grouped.coefficients.iter().zip(&plain.coefficients).for_each(|(one, other)| close(*one, *other));
    close(grouped.residual_squares, plain.residual_squares);
    assert_eq!(grouped.dof(), plain.dof());
    let (one, other) = (grouped.covariance(0.3), plain.covariance(0.3));
    one.concat().iter().zip(other.concat()).for_each(|(one, other)| close(*one, other));
    for row in [[1.0, 0.0, 0.0, 7.0, 1.0 / 7.0], [0.0, 0.0, 1.0, 6.0, 0.0]] {
        close(grouped.at(&row), plain.at(&row));
        close(grouped.leverage(&row), plain.leverage(&row));
    }
}

#[test]
fn what_groups_cannot_tell_is_refused() {
    let solved = |groups: usize, columns: usize, rows: &[(usize, [f64; 2])]| {
        let mut all = Rows::with_constants(groups, columns);
        rows.iter().for_each(|(group, row)| all.push_repeated(*group, row[..columns].to_vec(), 0.1, 2, 0.0));
        all.solve().map(|solution| solution.coefficients)
    };
    // Within a group the column does not vary; a group has no rows; more coefficients than rows.
    let level = [(0, [3.0, 0.0]), (1, [5.0, 0.0]), (0, [3.0, 0.0]), (1, [5.0, 0.0])];
    assert_eq!(solved(2, 1, &level), Err(NoSolution::Collinear { column: 2 }));
    assert_eq!(solved(3, 0, &level), Err(NoSolution::Collinear { column: 2 }));
    let few = [(0, [3.0, 1.0]), (0, [4.0, 3.0])];
    assert_eq!(solved(1, 2, &few), Err(NoSolution::Collinear { column: 2 }));
    let levels = solved(2, 0, &level).unwrap();
    assert!(levels.iter().all(|level| (level - 0.1).abs() < 1e-15) && levels.len() == 2, "{levels:?}");
}

#[test]
fn too_few_rows_and_numbers_that_are_none_are_refused() {
    assert_eq!(line(&[(1.0, 1.0)]), Err(NoSolution::TooFew { observations: 1, coefficients: 2 }));
    assert_eq!(line(&[(1.0, 1.0), (f64::NAN, 1.0), (3.0, 1.0)]), Err(NoSolution::NotFinite));
    assert!(matches!(Rows::new(0).solve(), Err(NoSolution::TooFew { .. })));
}

#[test]
fn one_column_and_no_degrees_of_freedom_are_answered() {
    let mut rows = Rows::new(1);
    [0.1, 0.2, 0.6].iter().for_each(|y| rows.push([1.0], *y));
    assert!((rows.solve().unwrap().coefficients[0] - 0.3).abs() < 1e-15);
    let exact = line(&[(1.0, 1.0), (3.0, 2.0)]).unwrap();
    assert!((exact.coefficients[1] - 0.5).abs() < 1e-15);
    assert_eq!(exact.variance(), None);
}

/// The whole table that linregress gives for the tall matrix, against ours.
#[test]
fn coefficients_and_standard_errors_are_those_of_linregress() {
    let points: Vec<(f64, f64)> = (0..40)
        .map(|i| (3.0 + 0.7 * f64::from(i), 0.1 * f64::from(i * 7919 % 13) - 0.03 * f64::from(i)))
        .collect();
    let fit = line(&points).unwrap();
    let data: Vec<f64> = points.iter().flat_map(|(x, y)| [*y, 1.0, *x]).collect();
    let table = linregress::fit_low_level_regression_model(&data, 40, 3).unwrap();
    let covariance = fit.covariance(fit.variance().unwrap());
    for (i, row) in covariance.iter().enumerate() {
        assert!((fit.coefficients[i] / table.parameters()[i] - 1.0).abs() < 1e-9);
        assert!((row[i].sqrt() / table.se()[i] - 1.0).abs() < 1e-9);
    }
    assert!((fit.variance().unwrap() / table.scale() - 1.0).abs() < 1e-9);
}
