//! Loops of lines and arcs drawn in evenly: lines stay parallel and arcs concentric, so that a taper between the two
//! has walls of planes and cones.

use super::curve::{Corner, Curve, CurveLoop, Edge};
use super::outline::Point;

/// Directions that count as one, radians.
const SMOOTH_RAD: f64 = 1e-8;
/// Of an arc's radius at least so much must be left.
const LEAST_SHARE: f64 = 0.25;

/// The directions in which a curve sets out and arrives, of length one.
fn directions(edge: &Edge) -> [Point; 2] {
    match (edge.curve, edge.radius()) {
        (Curve::Arc { center, sweep_rad }, Some(radius)) => [edge.from, edge.to].map(|place| {
            let side = sweep_rad.signum() / radius;
            [-(place[1] - center[1]) * side, (place[0] - center[0]) * side]
        }),
        _ => {
            let length = edge.length();
            [[(edge.to[0] - edge.from[0]) / length, (edge.to[1] - edge.from[1]) / length]; 2]
        }
    }
}

impl CurveLoop {
    /// The smallest radius of the arcs that bulge away from the region on the loop's left; `None` without any.
    pub fn least_bulge(&self) -> Option<f64> {
        let bulges = |edge: &Edge| matches!(edge.curve, Curve::Arc { sweep_rad, .. } if sweep_rad > 0.0);
        self.edges().filter(bulges).filter_map(|edge| edge.radius()).reduce(f64::min)
    }

    /// The loop moved to its left by so much, corner for corner. `None` where an arc would all but vanish, or where
    /// a corner that is not smooth would leave its arc.
    pub fn drawn_in(&self, by: f64) -> Option<Self> {
        let edges: Vec<Edge> = self.edges().collect();
        let before = edges.iter().cycle().skip(edges.len() - 1);
        let corner = |(before, edge): (&Edge, &Edge)| {
            if let (Curve::Arc { sweep_rad, .. }, Some(radius)) = (edge.curve, edge.radius())
                && sweep_rad > 0.0
                && radius - by < LEAST_SHARE * radius * (1.0 - 1e-9)
            {
                return None;
            }
            let ([_, into], [out, _]) = (directions(before), directions(edge));
            let turn = into[0] * out[1] - into[1] * out[0];
            let ahead = into[0] * out[0] + into[1] * out[1];
            let is_smooth = turn.abs() <= SMOOTH_RAD && ahead > 0.0;
            // Not one so sharp that its mitre would run far off.
            let is_mitred = before.curve == Curve::Line && edge.curve == Curve::Line && ahead > -0.9;
            if !is_smooth && !is_mitred {
                return None;
            }
            // Along the one's normal, and on in its direction until the other one's distance is right, too.
            let along = if is_smooth { 0.0 } else { by * (1.0 - ahead) / turn };
            let at = [
                edge.from[0] - by * into[1] - along * into[0],
                edge.from[1] + by * into[0] - along * into[1],
            ];
            Some(Corner { at, curve: edge.curve })
        };
        let corners = before.zip(&edges).map(corner).collect::<Option<Vec<_>>>()?;
        Some(Self { corners })
    }
}

#[cfg(test)]
mod tests {
    use super::super::curve::CurveOutline;
    use super::super::curve::tests::slot;
    use super::*;

    #[test]
    fn a_slot_is_drawn_in_to_a_narrower_one_of_the_same_centres() {
        let inner = slot().drawn_in(0.5).unwrap();
        assert_eq!(CurveOutline::new(inner.clone()).bounds(), Some([[-6.5, -1.5], [6.5, 1.5]]));
        let (inner, outer) = (CurveOutline::new(inner), CurveOutline::new(slot()));
        assert!(inner.tapers_to(&outer));
        // Less than the perimeter times the way in, by the rounded ends: pi by^2.
        let expected = outer.area() - slot().length() * 0.5 + std::f64::consts::PI * 0.25;
        assert!((inner.area() - expected).abs() < 1e-12, "{}", inner.area());
    }

    #[test]
    fn straight_corners_are_mitred_and_hollow_arcs_widen() {
        let square = CurveLoop::polygon([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]]);
        let inner = CurveOutline::new(square.drawn_in(1.0).unwrap());
        assert_eq!(inner.bounds(), Some([[1.0, 1.0], [3.0, 3.0]]));
        assert_eq!(inner.area(), 4.0);
        assert_eq!(
            slot().reversed().drawn_in(0.5).map(|of| -of.area()),
            slot().drawn_in(-0.5).map(|of| of.area())
        );
        assert_eq!(slot().least_bulge(), Some(2.0));
        assert_eq!(slot().reversed().least_bulge(), None);
    }

    #[test]
    fn what_would_vanish_or_leave_its_arc_is_refused() {
        assert_eq!(slot().drawn_in(1.6), None);
        let half = CurveLoop {
            corners: vec![
                Corner {
                    at: [2.0, 0.0],
                    curve: Curve::Arc { center: [0.0, 0.0], sweep_rad: std::f64::consts::PI },
                },
                Corner { at: [-2.0, 0.0], curve: Curve::Line },
            ],
        };
        assert_eq!(half.drawn_in(0.1), None);
    }
}
