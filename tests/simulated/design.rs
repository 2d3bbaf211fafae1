//! What is printed and measured, and for which sizes the correction is asked afterwards.

use shrinkrule::kind::{Axis, Kind};

#[derive(Clone, Copy, Debug)]
pub struct Feature {
    pub kind: Kind,
    pub axis: Axis,
    pub size: f64,
}

fn along(kind: Kind, axes: &[Axis], sizes: &[f64]) -> Vec<Feature> {
    let feature = |(i, size): (usize, &f64)| Feature { kind, axis: axes[i % axes.len()], size: *size };
    sizes.iter().enumerate().map(feature).collect()
}

const XY: [Axis; 2] = [Axis::X, Axis::Y];
const ROUND: [Axis; 1] = [Axis::Round];

const X: [Axis; 1] = [Axis::X];
const Y: [Axis; 1] = [Axis::Y];

/// A comb's gaps, its width over all teeth and its last tooth.
fn comb(axis: &[Axis]) -> Vec<Feature> {
    [along(Kind::Gap, axis, &[2.5, 4.0, 6.0]), along(Kind::Outer, axis, &[38.5, 8.0])].concat()
}

/// Rings: each bore along x and y, the outside along y.
fn rings(bores: &[f64]) -> Vec<Feature> {
    let outsides: Vec<f64> = bores.iter().map(|bore| bore + 8.0).collect();
    [along(Kind::Bore, &X, bores), along(Kind::Bore, &Y, bores), along(Kind::Pin, &Y, &outsides)].concat()
}

/// The 13 features of a short print, as the set `quick` has them: along x, two bores, one span.
pub fn quick() -> Vec<Feature> {
    [comb(&X), rings(&[5.0, 12.0]), along(Kind::Span, &X, &[40.0]), along(Kind::Outer, &X, &[52.0])].concat()
}

/// 40 features like those of the recommended print `starter`, which has a larger ring and one step more.
pub fn starter() -> Vec<Feature> {
    [
        comb(&X),
        comb(&Y),
        rings(&[3.0, 5.0, 8.0, 12.0]),
        along(Kind::Pin, &X, &[5.0, 8.0]),
        along(Kind::Pin, &Y, &[5.0, 8.0]),
        along(Kind::HorizontalBore, &X, &[5.0, 8.0]),
        along(Kind::HorizontalBore, &[Axis::Z], &[5.0, 8.0]),
        along(Kind::Span, &X, &[60.0, 25.0]),
        along(Kind::Outer, &X, &[72.0]),
        along(Kind::Span, &Y, &[60.0, 25.0]),
        along(Kind::Outer, &Y, &[72.0]),
        along(Kind::Span, &[Axis::D45, Axis::D135], &[45.0, 45.0]),
        along(Kind::Height, &[Axis::Z], &[8.0, 16.0]),
    ]
    .concat()
}

/// The 28 features of the accuracy study.
pub fn study() -> Vec<Feature> {
    let sizes = [3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 25.0];
    [
        along(Kind::Bore, &ROUND, &sizes),
        along(Kind::Outer, &XY, &sizes),
        along(Kind::Gap, &XY, &[1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0]),
        along(Kind::Span, &XY, &[20.0, 40.0, 60.0, 100.0]),
    ]
    .concat()
}

fn spaced(low: f64, high: f64, geometric: bool) -> Vec<f64> {
    let at = |i: u32| f64::from(i) / 15.0;
    (0..16)
        .map(|i| if geometric { low * (high / low).powf(at(i)) } else { low + (high - low) * at(i) })
        .collect()
}

/// Sizes asked for: inside the coupons' range, and outers of 30 to 100 mm, pulley rims.
pub fn targets(with_pins: bool) -> (Vec<Feature>, Vec<Feature>) {
    let bores = spaced(3.2, 24.0, true);
    let mut near = [
        along(Kind::Bore, &ROUND, &bores),
        along(Kind::Outer, &XY, &bores),
        along(Kind::Gap, &XY, &spaced(1.1, 5.8, true)),
        along(Kind::Span, &XY, &spaced(22.0, 98.0, false)),
    ]
    .concat();
    if with_pins {
        near.extend(along(Kind::Pin, &ROUND, &bores));
        near.extend(along(Kind::Height, &[Axis::Z], &spaced(3.0, 20.0, true)));
    }
    (near, along(Kind::Outer, &XY, &spaced(30.0, 100.0, true)))
}
