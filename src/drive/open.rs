//! An open belt round two wheels: length, centre distance, wrap.
//!
//! *Picture*: two circles, diameters `d1 <= d2` at the belt's neutral line, centres `C` apart. The straight
//! spans slant by `phi` against the line of centres:
//!
//! ```text
//! sin phi = (d2 - d1) / 2C       wrap of the small wheel pi - 2 phi, of the large one pi + 2 phi
//! L = 2 C cos phi + pi (d1 + d2) / 2 + phi (d2 - d1)
//! ```
//!
//! The centre distance for a given length is found from that equation itself. With the length as a function
//! of `C`, its slope is `2 cos phi` and it curves upwards, so Newton's method from a distance that is too
//! long comes down on the answer and never passes it. Two such starts are known: `K / 2` with
//! `K = L - pi (d1 + d2) / 2`, since `cos phi + phi sin phi >= 1`, and the usual quadratic, which is always
//! long (0.38 mm on a drive of 10 and 60 teeth).
//!
//! Lengths are mm, angles radians. Source: plane geometry; worked examples W1 to W7 of the belt tables.

use std::f64::consts::PI;

use super::root::bracketed_newton;

/// An open belt round two wheels, seen at its neutral line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OpenBelt {
    /// Diameter of the smaller wheel, mm.
    pub small_mm: f64,
    /// Diameter of the larger wheel, mm.
    pub large_mm: f64,
    /// Centre distance, mm.
    pub centre_mm: f64,
}

impl OpenBelt {
    /// The belt round two wheels at this centre distance; `None` where the large wheel holds the small one.
    pub fn at(small_mm: f64, large_mm: f64, centre_mm: f64) -> Option<Self> {
        let apart = centre_mm > (large_mm - small_mm) / 2.0;
        (small_mm > 0.0 && large_mm >= small_mm && apart && centre_mm.is_finite()).then_some(Self {
            small_mm,
            large_mm,
            centre_mm,
        })
    }

    /// Two wheels at the one centre distance that a belt of this length is right for; `None` where the belt is
    /// too short to go round both, however close they are.
    pub fn of_length(small_mm: f64, large_mm: f64, length_mm: f64) -> Option<Self> {
        let (sum, difference) = (small_mm + large_mm, large_mm - small_mm);
        let straight = length_mm - PI * sum / 2.0;
        let most = straight / 2.0;
        // The shortest belt goes round the large wheel alone.
        if !(small_mm > 0.0 && difference >= 0.0 && length_mm > PI * large_mm && most > 0.0) {
            return None;
        }
        if difference == 0.0 {
            return Self::at(small_mm, large_mm, most);
        }
        let excess = |centre: f64| {
            let sine = difference / (2.0 * centre);
            let cosine = (1.0 - sine * sine).max(0.0).sqrt();
            (2.0 * centre * cosine + sine.min(1.0).asin() * difference - straight, 2.0 * cosine)
        };
        let centre =
            bracketed_newton(excess, difference / 2.0, most, quadratic_centre_mm(straight, difference));
        Self::at(small_mm, large_mm, centre)
    }

    /// Slant of the spans against the line of centres, radians.
    pub fn slant_rad(&self) -> f64 {
        ((self.large_mm - self.small_mm) / (2.0 * self.centre_mm)).asin()
    }

    /// Length of the belt, mm.
    pub fn length_mm(&self) -> f64 {
        let slant = self.slant_rad();
        2.0 * self.centre_mm * slant.cos()
            + PI * (self.small_mm + self.large_mm) / 2.0
            + slant * (self.large_mm - self.small_mm)
    }

    /// Angles that the belt covers on the small and on the large wheel, radians.
    pub fn wraps_rad(&self) -> (f64, f64) {
        let slant = self.slant_rad();
        (PI - 2.0 * slant, PI + 2.0 * slant)
    }

    /// Length of one straight span, mm.
    pub fn span_mm(&self) -> f64 {
        self.centre_mm * self.slant_rad().cos()
    }

    /// How far the right centre distance moves for a wheel that is 1 mm larger, small and large wheel, the belt
    /// staying as it is; negative. About `-pi / 4` on long drives.
    ///
    /// A wheel that is larger by `e` takes `wrap e / 2` more of the belt, and a centre distance longer by `c`
    /// takes `2 cos phi c`.
    pub fn centre_per_diameter(&self) -> (f64, f64) {
        let (small, large) = self.wraps_rad();
        let per = |wrap: f64| -wrap / (4.0 * self.slant_rad().cos());
        (per(small), per(large))
    }
}

/// The usual approximate centre distance, `(K + sqrt(K^2 - 2 D^2)) / 4`; never shorter than the exact one.
///
/// `straight`: belt length less half of both circumferences; `difference`: of the two diameters; mm.
fn quadratic_centre_mm(straight: f64, difference: f64) -> f64 {
    // Below zero where the wheels differ so much that the quadratic has no answer: then its upper bound.
    let root = straight * straight - 2.0 * difference * difference;
    if root > 0.0 { (straight + root.sqrt()) / 4.0 } else { straight / 2.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pitch_diameter(pitch_mm: f64, teeth: u32) -> f64 {
        pitch_mm * f64::from(teeth) / PI
    }

    fn drive(pitch_mm: f64, small: u32, large: u32, belt: u32) -> OpenBelt {
        let (d1, d2) = (pitch_diameter(pitch_mm, small), pitch_diameter(pitch_mm, large));
        OpenBelt::of_length(d1, d2, pitch_mm * f64::from(belt)).unwrap()
    }

    fn quadratic(pitch_mm: f64, small: u32, large: u32, belt: u32) -> f64 {
        let (d1, d2) = (pitch_diameter(pitch_mm, small), pitch_diameter(pitch_mm, large));
        quadratic_centre_mm(pitch_mm * f64::from(belt) - PI * (d1 + d2) / 2.0, d2 - d1)
    }

    fn mesh(belt: &OpenBelt, teeth: u32) -> f64 {
        f64::from(teeth) * belt.wraps_rad().0 / (2.0 * PI)
    }

    /// Printed to 6 decimals.
    fn close(found: f64, printed: f64) {
        assert!((found - printed).abs() < 5.1e-7, "{found} for {printed}");
    }

    /// Source: worked example W1 of the belt tables (exact): equal pulleys, `C = p (zb - z) / 2`.
    #[test]
    fn equal_pulleys_have_a_closed_form() {
        let belt = drive(5.0, 20, 20, 60);
        close(belt.centre_mm, 100.0);
        close(mesh(&belt, 20), 10.0);
        assert_eq!(belt.slant_rad(), 0.0);
    }

    /// Source: worked example W2 (exact): spans at 30 degrees.
    #[test]
    fn spans_at_thirty_degrees_have_a_closed_form() {
        let centre = 200.0 / PI;
        let belt = OpenBelt::at(pitch_diameter(5.0, 20), pitch_diameter(5.0, 60), centre).unwrap();
        close(belt.centre_mm, 63.661977);
        close(belt.length_mm(), 343.599112);
        close(3.0_f64.sqrt() * centre + 200.0 + PI / 6.0 * centre, 343.599112);
        close(belt.wraps_rad().0.to_degrees(), 120.0);
        close(mesh(&belt, 20), 6.666667);
        // Negative controls: the handbook's length and mesh formula.
        let handbook = 2.0 * centre + 200.0 + centre * centre / (4.0 * centre);
        close(handbook, 343.239449);
        close(handbook - belt.length_mm(), -0.359664);
        let series =
            -2.0 * centre * (0.5_f64.powi(4) / 24.0 + 0.5_f64.powi(6) / 80.0 + 5.0 * 0.5_f64.powi(8) / 896.0);
        close(series, -0.359216);
        close(10.0 - 5.0 * 20.0 * 40.0 / (2.0 * PI * PI * centre), 6.816901);
    }

    /// Source: worked examples W3, W4 and W5 (exact), and the same by another route, the involute identity
    /// `tan t - t = pi (zb - z2) / (z2 - z1)`, `C = p (z2 - z1) / (2 pi cos t)`, solved by halving.
    #[test]
    fn centre_distances_are_exact_where_the_quadratic_is_not() {
        for (pitch, small, large, belt, exact, quad, wrap_deg, teeth_in_mesh) in [
            (5.08, 20, 40, 70, 100.293614, 100.296497, 161.443634, 8.969091),
            (9.525, 14, 36, 80, 259.793841, 259.796820, 165.248640, 6.426336),
            (5.0, 10, 60, 68, 71.032788, 71.416053, 111.868202, 3.107450),
        ] {
            let found = drive(pitch, small, large, belt);
            close(found.centre_mm, exact);
            close(involute(pitch, small, large, belt), exact);
            close(quadratic(pitch, small, large, belt), quad);
            close(mesh(&found, small), teeth_in_mesh);
            assert!((found.wraps_rad().0.to_degrees() - wrap_deg).abs() < 3e-5);
        }
        // W3: the length at a centre distance that is given.
        let belt = OpenBelt::at(pitch_diameter(5.08, 20), pitch_diameter(5.08, 40), 100.0).unwrap();
        close(belt.length_mm(), 355.020478);
        close(belt.length_mm() / 5.08, 69.885921);
        // The usual approximation of it, 2C + pi (D + d) / 2 + (D - d)^2 / 4C, is 0.0057 mm short.
        let [small, large] = [pitch_diameter(5.08, 20), pitch_diameter(5.08, 40)];
        close(200.0 + PI * (large + small) / 2.0 + (large - small).powi(2) / 400.0, 355.014735);
        // W4: what the quadratic is long by.
        close(quadratic(9.525, 14, 36, 80) - drive(9.525, 14, 36, 80).centre_mm, 0.002979);
        // W5: the quadratic is 0.38 mm long, and its own estimate of that 0.35 mm.
        let short = drive(5.0, 10, 60, 68);
        close(quadratic(5.0, 10, 60, 68) - short.centre_mm, 0.383265);
        let sine = short.slant_rad().sin();
        close(sine, 0.560146);
        close(short.centre_mm * sine.powi(4) / (24.0 * (1.0 - sine * sine / 2.0)), 0.345592);
        close(5.0 - 5.0 * 10.0 * 50.0 / (2.0 * PI * PI * short.centre_mm), 3.217000);
    }

    fn involute(pitch: f64, small: u32, large: u32, belt: u32) -> f64 {
        let [small, large, belt] = [small, large, belt].map(f64::from);
        let wanted = PI * (belt - large) / (large - small);
        let (mut low, mut high) = (0.0_f64, PI / 2.0);
        for _ in 0..200 {
            let t = f64::midpoint(low, high);
            if t.tan() - t < wanted { low = t } else { high = t }
        }
        pitch * (large - small) / (2.0 * PI * low.cos())
    }

    /// Source: worked example W6 (from memory: Shigley's Mechanical Engineering Design, first flat-belt
    /// example): 6 in and 18 in pulleys, 8 ft centres.
    #[test]
    fn the_wrap_is_that_of_the_textbook() {
        let belt = OpenBelt::at(6.0, 18.0, 96.0).unwrap();
        close(belt.wraps_rad().0, 3.016511);
        close((0.8 * belt.wraps_rad().0).exp(), 11.169746);
    }

    /// Source: worked example W7 (from memory: Khurmi and Gupta, Theory of Machines): a crossed belt has the
    /// length and wrap of an open one between wheels of the negative diameter; here from the same formulas,
    /// with the sum of the diameters in place of their difference.
    #[test]
    fn a_crossed_belt_of_a_textbook_follows_from_the_same_formulas() {
        let (d1, d2, centre) = (0.2_f64, 0.45_f64, 1.95_f64);
        let phi = ((d1 + d2) / (2.0 * centre)).asin();
        close((PI + 2.0 * phi).to_degrees(), 199.188136);
        close(2.0 * centre * phi.cos() + PI * (d1 + d2) / 2.0 + phi * (d1 + d2), 4.975311);
        close(PI * (d1 + d2) / 2.0 + 2.0 * centre + (d1 + d2).powi(2) / (4.0 * centre), 4.975184);
        let ratio = (0.25 * (PI + 2.0 * phi)).exp();
        close(ratio, 2.384817);
        let speed = PI * d2 * 200.0 / 60.0;
        close((1000.0 - 1000.0 / ratio) * speed / 1000.0, 2.736393);
    }

    /// Source: worked example W10: a supplier's table (published, wrong) gives 55.0 mm for 30 and 60 teeth of
    /// 2 mm pitch on 200 mm of belt. Outside diameters in place of pitch diameters make that error.
    #[test]
    fn outside_diameters_in_place_of_pitch_diameters_are_the_bad_tables_error() {
        close(drive(2.0, 30, 60, 100).centre_mm, 54.155885);
        let outside = |teeth| pitch_diameter(2.0, teeth) - (pitch_diameter(2.0, 60) - 37.68);
        close(OpenBelt::of_length(outside(30), outside(60), 200.0).unwrap().centre_mm, 54.981013);
        assert!((drive(2.0, 30, 60, 100).centre_mm - 55.0).abs() > 0.8);
    }

    #[test]
    fn a_belt_too_short_for_both_wheels_is_none() {
        assert!(OpenBelt::of_length(30.0, 60.0, PI * 60.0).is_none());
        assert!(OpenBelt::of_length(30.0, 60.0, PI * 60.0 + 1e-6).is_some());
        assert!(OpenBelt::of_length(30.0, 30.0, PI * 30.0).is_none());
        assert!(OpenBelt::of_length(0.0, 30.0, 500.0).is_none());
        assert!(OpenBelt::of_length(30.0, 60.0, f64::NAN).is_none());
        assert!(OpenBelt::at(30.0, 60.0, 15.0).is_none());
        assert!(OpenBelt::at(30.0, 60.0, f64::INFINITY).is_none());
    }

    #[test]
    fn a_larger_wheel_moves_the_centre_as_its_wrap_says() {
        for (small, large, length) in [(31.8, 31.8, 400.0), (15.9, 95.5, 340.0), (20.0, 40.0, 2000.0)] {
            let centre =
                |e1: f64, e2: f64| OpenBelt::of_length(small + e1, large + e2, length).unwrap().centre_mm;
            let belt = OpenBelt::of_length(small, large, length).unwrap();
            let (per_small, per_large) = belt.centre_per_diameter();
            let e = 1e-5;
            // A small wheel is made smaller, so that it stays the smaller one.
            assert!(((centre(-e, 0.0) - centre(0.0, 0.0)) / -e - per_small).abs() < 1e-4);
            assert!(((centre(0.0, e) - centre(0.0, 0.0)) / e - per_large).abs() < 1e-4);
        }
        let long = OpenBelt::of_length(20.0, 20.0, 2000.0).unwrap();
        assert!((long.centre_per_diameter().0 + PI / 4.0).abs() < 1e-12);
    }
}
