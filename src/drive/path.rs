//! A closed belt round any row of wheels: arcs and straight spans at its neutral line.
//!
//! The belt runs counter-clockwise as a whole. It goes round each wheel in turn, with the wheel on its left
//! (inside) or on its right (outside, pressing on its back). A wheel on the left has the signed radius
//! `+r`, one on the right `-r`. The span from one wheel to the next runs in the direction
//!
//! ```text
//! theta = alpha + asin((rho_1 - rho_2) / D)       length  sqrt(D^2 - (rho_1 - rho_2)^2)
//! ```
//!
//! with `alpha` the direction and `D` the distance from centre to centre. Turning from one span's direction
//! to the next one's is the wrap, and all wraps together are one turn. A wheel that the belt passes without
//! touching would have to be wrapped the wrong way round; it is refused.
//!
//! Lengths are mm, angles radians, counter-clockwise from +x. Source: plane geometry.

use std::f64::consts::TAU;

use crate::belt::walls::Point;

/// On which side of the belt a wheel runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Inside the loop, where the teeth are.
    Inside,
    /// Outside it, on the belt's back.
    Back,
}

/// A wheel, as the belt's neutral line goes round it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wheel {
    /// Its centre, mm.
    pub centre: Point,
    /// Radius of the belt's neutral line on it, mm.
    pub radius_mm: f64,
    /// On which side of the belt it runs.
    pub side: Side,
}

impl Wheel {
    fn signed_radius(&self) -> f64 {
        match self.side {
            Side::Inside => self.radius_mm,
            Side::Back => -self.radius_mm,
        }
    }
}

/// Where the belt lies on one wheel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arc {
    /// The wheel.
    pub wheel: Wheel,
    /// Direction of travel where the belt comes on, radians.
    pub on_rad: f64,
    /// Angle that the belt covers, radians, not below 0.
    pub wrap_rad: f64,
    /// How far along the belt the arc begins, from where it comes onto the first wheel, mm.
    pub from_mm: f64,
    /// Length of the straight span that follows, mm.
    pub span_mm: f64,
}

/// Why no belt goes round these wheels.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoPath {
    /// Two wheels in the row overlap, or one holds the other.
    #[error("wheels {} and {} are too close for a belt between them", first + 1, second + 1)]
    TooClose {
        /// Index of the first.
        first: usize,
        /// Index of the second.
        second: usize,
    },
    /// The belt passes a wheel without touching it.
    #[error("the belt does not touch wheel {}", wheel + 1)]
    NoTouch {
        /// Its index.
        wheel: usize,
    },
}

/// A closed belt.
#[derive(Clone, Debug, PartialEq)]
pub struct BeltPath {
    /// The arcs, in the order in which the belt runs.
    pub arcs: Vec<Arc>,
    /// Its length, mm.
    pub length_mm: f64,
}

/// A direction as a unit vector.
fn unit(angle: f64) -> Point {
    let (sin, cos) = angle.sin_cos();
    (cos, sin)
}

impl BeltPath {
    /// The belt round these wheels, in this order.
    pub fn around(wheels: &[Wheel]) -> Result<Self, NoPath> {
        let count = wheels.len();
        let mut directions = Vec::with_capacity(count);
        let mut spans = Vec::with_capacity(count);
        for (first, wheel) in wheels.iter().enumerate() {
            let second = (first + 1) % count;
            let next = &wheels[second];
            let (dx, dy) = (next.centre.0 - wheel.centre.0, next.centre.1 - wheel.centre.1);
            let across = wheel.signed_radius() - next.signed_radius();
            let distance = dx.hypot(dy);
            let apart = distance > across.abs();
            if !apart {
                return Err(NoPath::TooClose { first, second });
            }
            directions.push(dy.atan2(dx) + (across / distance).asin());
            spans.push((distance * distance - across * across).sqrt());
        }
        let mut arcs = Vec::with_capacity(count);
        let mut along = 0.0;
        for (index, wheel) in wheels.iter().enumerate() {
            let on_rad = directions[(index + count - 1) % count];
            let turned = directions[index] - on_rad;
            let turned = if wheel.side == Side::Inside { turned } else { -turned };
            let mut wrap_rad = turned.rem_euclid(TAU);
            // A wheel that is just touched may come out a hair the wrong way round.
            if wrap_rad > TAU - 1e-9 {
                wrap_rad = 0.0;
            }
            arcs.push(Arc { wheel: *wheel, on_rad, wrap_rad, from_mm: along, span_mm: spans[index] });
            along += wheel.radius_mm * wrap_rad + spans[index];
        }
        // A closed way turns once as a whole. A wheel that is not touched seems to be wrapped a whole turn more.
        let turned: f64 =
            arcs.iter().map(|arc: &Arc| arc.wrap_rad * arc.wheel.signed_radius().signum()).sum();
        if (turned - TAU).abs() > 1e-6 {
            let most = (0..count).max_by(|a, b| arcs[*a].wrap_rad.total_cmp(&arcs[*b].wrap_rad));
            return Err(NoPath::NoTouch { wheel: most.unwrap_or(0) });
        }
        Ok(Self { arcs, length_mm: along })
    }

    /// The point this far along the belt, from where it comes onto the first wheel, and the direction of
    /// travel there.
    pub fn at(&self, along_mm: f64) -> (Point, f64) {
        let along = along_mm.rem_euclid(self.length_mm);
        let after = self.arcs.iter().rposition(|arc| arc.from_mm <= along).unwrap_or(0);
        let arc = &self.arcs[after];
        let beyond = along - arc.from_mm;
        let on_arc = arc.wheel.radius_mm * arc.wrap_rad;
        if beyond <= on_arc {
            let angle = arc.direction_at(beyond);
            return (arc.point(angle), angle);
        }
        let angle = arc.off_rad();
        let ((x, y), (dx, dy)) = (arc.point(angle), unit(angle));
        ((x + (beyond - on_arc) * dx, y + (beyond - on_arc) * dy), angle)
    }

    /// How much longer the path grows when a wheel moves by a unit along x and along y.
    ///
    /// The spans pull on the wheel with unit vectors; nothing else of the length changes to first order.
    pub fn growth(&self, wheel: usize) -> Point {
        let arc = &self.arcs[wheel];
        let ((on_x, on_y), (off_x, off_y)) = (unit(arc.on_rad), unit(arc.off_rad()));
        (on_x - off_x, on_y - off_y)
    }
}

impl Arc {
    /// Direction of travel where the belt leaves the wheel.
    pub fn off_rad(&self) -> f64 {
        self.direction_at(self.wheel.radius_mm * self.wrap_rad)
    }

    /// Direction of travel this far along the arc.
    fn direction_at(&self, along_mm: f64) -> f64 {
        self.on_rad + along_mm / self.wheel.signed_radius()
    }

    /// The point of the wheel's circle where the belt runs in this direction.
    pub fn point(&self, direction_rad: f64) -> Point {
        let (dx, dy) = unit(direction_rad);
        let radius = self.wheel.signed_radius();
        (self.wheel.centre.0 + radius * dy, self.wheel.centre.1 - radius * dx)
    }

    /// Length of belt on the wheel, mm.
    pub fn length_mm(&self) -> f64 {
        self.wheel.radius_mm * self.wrap_rad
    }

    /// How far along the belt the middle of the arc lies, mm.
    pub fn middle_mm(&self) -> f64 {
        self.from_mm + self.length_mm() / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    use crate::drive::open::OpenBelt;

    fn inside(x: f64, y: f64, radius_mm: f64) -> Wheel {
        Wheel { centre: (x, y), radius_mm, side: Side::Inside }
    }

    fn back(x: f64, y: f64, radius_mm: f64) -> Wheel {
        Wheel { side: Side::Back, ..inside(x, y, radius_mm) }
    }

    #[test]
    fn two_wheels_are_the_open_belt() {
        let open = OpenBelt::at(20.0, 60.0, 70.0).unwrap();
        let path = BeltPath::around(&[inside(0.0, 0.0, 10.0), inside(70.0, 0.0, 30.0)]).unwrap();
        assert!((path.length_mm - open.length_mm()).abs() < 1e-12);
        let (small, large) = open.wraps_rad();
        assert!((path.arcs[0].wrap_rad - small).abs() < 1e-12);
        assert!((path.arcs[1].wrap_rad - large).abs() < 1e-12);
        // The middle of the small wheel's wrap looks away from the large one.
        let ((x, y), _) = path.at(path.arcs[0].middle_mm());
        assert!((x + 10.0).abs() < 1e-9 && y.abs() < 1e-9);
    }

    /// Three equal wheels at the corners of a triangle: its perimeter and one whole turn.
    #[test]
    fn three_equal_wheels_make_perimeter_and_one_circle() {
        let path = BeltPath::around(&[inside(0.0, 0.0, 5.0), inside(40.0, 0.0, 5.0), inside(0.0, 30.0, 5.0)]);
        assert!((path.unwrap().length_mm - (120.0 + TAU * 5.0)).abs() < 1e-12);
    }

    /// A back idler midway between equal wheels, pressed in so far that its spans slant by 30 degrees.
    #[test]
    fn a_back_idler_turns_the_belt_the_other_way() {
        let slant = PI / 6.0;
        // From the wheel's middle to the idler's: both radii across the span, and the span along it.
        let (r, idler, half) = (10.0, 4.0, 60.0);
        let centre_y = (r + idler) * slant.cos() - (half - (r + idler) * slant.sin()) * slant.tan();
        let path =
            BeltPath::around(&[inside(0.0, 0.0, r), inside(120.0, 0.0, r), back(half, centre_y, idler)])
                .unwrap();
        assert!((path.arcs[2].wrap_rad - 2.0 * slant).abs() < 1e-12);
        assert!((path.arcs[0].wrap_rad - (PI + slant)).abs() < 1e-12);
        let span = (half - (r + idler) * slant.sin()) / slant.cos();
        let expected = 120.0 + 2.0 * r * (PI + slant) + 2.0 * span + idler * 2.0 * slant;
        assert!((path.length_mm - expected).abs() < 1e-12);
    }

    #[test]
    fn wheels_that_no_belt_goes_round_are_refused() {
        let close = BeltPath::around(&[inside(0.0, 0.0, 10.0), inside(15.0, 0.0, 30.0)]).unwrap_err();
        assert_eq!(close.to_string(), "wheels 1 and 2 are too close for a belt between them");
        // Above the upper span by a hair more than its radius.
        let wheels = |y: f64| [inside(0.0, 0.0, 10.0), inside(120.0, 0.0, 10.0), back(60.0, y, 4.0)];
        assert!(BeltPath::around(&wheels(14.0)).unwrap().arcs[2].wrap_rad < 1e-9);
        let error = BeltPath::around(&wheels(14.1)).unwrap_err();
        assert_eq!(error.to_string(), "the belt does not touch wheel 3");
        let within = [inside(0.0, 0.0, 10.0), inside(120.0, 0.0, 10.0), inside(60.0, 5.0, 4.0)];
        assert_eq!(BeltPath::around(&within).unwrap_err(), NoPath::NoTouch { wheel: 2 });
        assert!(BeltPath::around(&[inside(0.0, 0.0, 10.0), inside(f64::NAN, 0.0, 10.0)]).is_err());
    }

    /// Where a wheel is far larger than the other and close by, the belt goes round most of it.
    #[test]
    fn a_wheel_may_be_wrapped_by_more_than_three_quarters() {
        let path = BeltPath::around(&[inside(0.0, 0.0, 2.0), inside(42.0, 0.0, 39.0)]).unwrap();
        assert!(
            path.arcs[1].wrap_rad > 1.6 * PI
                && (path.arcs[0].wrap_rad + path.arcs[1].wrap_rad - TAU).abs() < 1e-12
        );
    }

    #[test]
    fn the_growth_is_the_slope_of_the_length() {
        let wheels =
            |x: f64, y: f64| [inside(0.0, 0.0, 8.0), inside(90.0, 0.0, 25.0), back(30.0 + x, 6.0 + y, 5.0)];
        let length = |x: f64, y: f64| BeltPath::around(&wheels(x, y)).unwrap().length_mm;
        let growth = BeltPath::around(&wheels(0.0, 0.0)).unwrap().growth(2);
        let e = 1e-5;
        assert!(((length(e, 0.0) - length(-e, 0.0)) / (2.0 * e) - growth.0).abs() < 1e-8);
        assert!(((length(0.0, e) - length(0.0, -e)) / (2.0 * e) - growth.1).abs() < 1e-8);
    }
}
