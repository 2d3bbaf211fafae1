//! Outlines of discs and lines, in pixels, for the painter to fill.

use ab_glyph_rasterizer::{Point, point};

/// Where a mitre would stick out further than this many half widths, the corner is cut off.
pub const MITRE_LIMIT: f32 = 3.0; // by feel; data lines bend gently

/// The outline of a disc.
pub fn disc(center: Point, radius: f32) -> Vec<Point> {
    // Chords that leave a circle by at most a fiftieth of a pixel.
    let corners = (std::f32::consts::PI / (1.0 - 0.02 / radius.max(0.1)).max(0.0).acos()).ceil().max(8.0);
    let turn = std::f32::consts::TAU / corners;
    (0..corners as u32)
        .map(|step| (step as f32 * turn).sin_cos())
        .map(|(sin, cos)| point(center.x + radius * cos, center.y + radius * sin))
        .collect()
}

/// The outline of a line of this width: one polygon, or two where the line is closed.
pub fn stroke(points: &[Point], width: f32) -> Vec<Vec<Point>> {
    let mut points = points.to_vec();
    points.dedup();
    let closed = points.len() > 3 && points.first() == points.last();
    if closed {
        points.pop();
    }
    if points.len() < 2 {
        return Vec::new();
    }
    if let [a, b] = points[..] {
        return vec![straight(a, b, width)];
    }
    let half = width / 2.0;
    let (mut left, mut right) = (Vec::new(), Vec::new());
    let count = points.len();
    for (index, &at) in points.iter().enumerate() {
        let before = if index > 0 { Some(points[index - 1]) } else { closed.then(|| points[count - 1]) };
        let after = if index + 1 < count { Some(points[index + 1]) } else { closed.then(|| points[0]) };
        let arriving = before.map(|before| normal(before, at));
        let leaving = after.map(|after| normal(at, after));
        let (a, b) = match (arriving, leaving) {
            (Some(a), Some(b)) => (a, b),
            (Some(only), None) | (None, Some(only)) => (only, only),
            (None, None) => continue,
        };
        for (side, sign) in [(&mut left, half), (&mut right, -half)] {
            let cosine = 1.0 + a.x * b.x + a.y * b.y;
            let mitre = point((a.x + b.x) / cosine, (a.y + b.y) / cosine);
            if mitre.x.hypot(mitre.y) < MITRE_LIMIT {
                side.push(point(at.x + sign * mitre.x, at.y + sign * mitre.y));
            } else {
                side.push(point(at.x + sign * a.x, at.y + sign * a.y));
                side.push(point(at.x + sign * b.x, at.y + sign * b.y));
            }
        }
    }
    right.reverse();
    if closed {
        vec![left, right]
    } else {
        left.append(&mut right);
        vec![left]
    }
}

/// A straight line's outline, on whole pixels where it is horizontal or vertical.
fn straight(a: Point, b: Point, width: f32) -> Vec<Point> {
    let whole = nearest(width).max(1.0);
    let edge = |center: f32| nearest(center - whole / 2.0);
    if a.y == b.y {
        let top = edge(a.y);
        return vec![point(a.x, top), point(b.x, top), point(b.x, top + whole), point(a.x, top + whole)];
    }
    if a.x == b.x {
        let left = edge(a.x);
        return vec![point(left, a.y), point(left, b.y), point(left + whole, b.y), point(left + whole, a.y)];
    }
    let n = normal(a, b);
    let half = width / 2.0;
    let beside = |p: Point, sign: f32| point(p.x + sign * half * n.x, p.y + sign * half * n.y);
    vec![beside(a, 1.0), beside(b, 1.0), beside(b, -1.0), beside(a, -1.0)]
}

/// The nearest whole pixel, upwards from a half.
pub fn nearest(at: f32) -> f32 {
    (at + 0.5).floor()
}

/// The unit vector to the side of the way from `a` to `b`.
fn normal(a: Point, b: Point) -> Point {
    let (x, y) = (b.x - a.x, b.y - a.y);
    let length = x.hypot(y);
    if length > 0.0 { point(-y / length, x / length) } else { point(0.0, 0.0) }
}
