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

/// About 12 features, as the `quick` set has.
pub fn quick() -> Vec<Feature> {
    [
        along(Kind::Bore, &ROUND, &[4.0, 6.0, 10.0, 16.0]),
        along(Kind::Pin, &ROUND, &[6.0, 12.0]),
        along(Kind::Gap, &XY, &[3.0, 3.0]),
        along(Kind::Outer, &XY, &[60.0, 60.0]),
        along(Kind::Span, &XY, &[50.0, 50.0]),
        along(Kind::Height, &[Axis::Z], &[12.0]),
    ]
    .concat()
}

/// About 40 features, as the `starter` set has.
pub fn starter() -> Vec<Feature> {
    [
        along(Kind::Bore, &ROUND, &[3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 22.0]),
        along(Kind::Pin, &ROUND, &[3.0, 4.0, 5.0, 8.0, 12.0, 20.0]),
        along(Kind::Gap, &[Axis::X], &[1.5, 2.0, 3.0, 4.0]),
        along(Kind::Gap, &[Axis::Y], &[1.5, 2.0, 3.0, 4.0]),
        along(Kind::Outer, &[Axis::X], &[5.0, 8.0, 12.0, 20.0, 80.0]),
        along(Kind::Outer, &[Axis::Y], &[5.0, 8.0, 12.0, 20.0, 80.0]),
        along(Kind::Span, &[Axis::X], &[40.0, 70.0]),
        along(Kind::Span, &[Axis::Y], &[40.0, 70.0]),
        along(Kind::Span, &[Axis::D45, Axis::D135], &[70.0, 70.0]),
        along(Kind::Height, &[Axis::Z], &[3.0, 6.0, 12.0, 20.0]),
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
