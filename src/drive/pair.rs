//! What is said of one pair of pulleys with its belt, and what a reader must know of it.

use serde::Serialize;

use crate::belt::lengths;
use crate::belt::tolerance;
use crate::fits::decimal_mm as short;

use super::arrangement::Arrangement;
use super::layout::{Surroundings, USUAL_LEAST_IN_MESH};
use super::load::Duty;

/// Two pulleys and a belt.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PairAnswer {
    belt: &'static str,
    /// Teeth of the small pulley.
    pub small_teeth: u32,
    /// Teeth of the large pulley.
    pub large_teeth: u32,
    ratio: f64,
    /// Teeth of the belt.
    pub belt_teeth: u32,
    belt_length_mm: f64,
    /// The code that a belt of this length is sold by.
    length_code: u32,
    /// Whether it is in the list of standard lengths.
    listed: bool,
    /// Where the belt is right, or with an idler where the pulleys stand.
    pub centre_distance_mm: f64,
    teeth_in_mesh: f64,
    wrap_small_deg: f64,
    wrap_large_deg: f64,
    small_pitch_diameter_mm: f64,
    large_pitch_diameter_mm: f64,
    /// Along the line of centres, of all that stands beside the belt.
    width_mm: f64,
    /// Across it.
    height_mm: f64,
    notes: Vec<String>,
}

impl PairAnswer {
    /// Of a drive as it stands.
    pub fn new(arrangement: &Arrangement, surroundings: &Surroundings, duty: Option<&Duty>) -> Self {
        let drive = &arrangement.drive;
        let length = lengths::of_teeth(drive.profile, drive.belt_teeth);
        let (small, large) = arrangement.wraps_rad();
        let [low, high] = arrangement.corners_mm(surroundings);
        Self {
            belt: drive.profile.name,
            small_teeth: drive.small_teeth,
            large_teeth: drive.large_teeth,
            ratio: short(drive.ratio()),
            belt_teeth: drive.belt_teeth,
            belt_length_mm: short(drive.belt_length_mm()),
            length_code: length.code,
            listed: length.listed,
            centre_distance_mm: short(arrangement.centre_mm),
            teeth_in_mesh: short(arrangement.teeth_in_mesh()),
            wrap_small_deg: short(small.to_degrees()),
            wrap_large_deg: short(large.to_degrees()),
            small_pitch_diameter_mm: short(drive.open.small_mm),
            large_pitch_diameter_mm: short(drive.open.large_mm),
            width_mm: short(high.0 - low.0),
            height_mm: short(high.1 - low.1),
            notes: notes(arrangement, surroundings, duty),
        }
    }

    /// The line of a list.
    pub fn row(&self) -> String {
        let stock = if self.listed { format!("{}", self.length_code) } else { "-".to_owned() };
        let notes = if self.notes.is_empty() { "" } else { "  *" };
        format!(
            "{:<5}{:>5}{:>6}{:>9.4}{:>7}{:>7}{:>10.3}{:>10.3}{:>8.2}{:>8.1}{:>8.1} x {:<6.1}{notes}",
            self.belt,
            self.small_teeth,
            self.large_teeth,
            self.ratio,
            self.belt_teeth,
            stock,
            self.belt_length_mm,
            self.centre_distance_mm,
            self.teeth_in_mesh,
            self.wrap_small_deg,
            self.width_mm,
            self.height_mm
        )
    }

    /// What a reader must know of it.
    pub fn notes(&self) -> &[String] {
        &self.notes
    }

    /// The head of such a list.
    pub fn head() -> String {
        format!(
            "{:<5}{:>5}{:>6}{:>9}{:>7}{:>7}{:>10}{:>10}{:>8}{:>8}{:>8}\n{:<5}{:>5}{:>6}{:>9}{:>7}{:>7}{:>10}{:>10}{:>8}{:>8}{:>11}",
            "belt",
            "small",
            "large",
            "ratio",
            "belt",
            "code",
            "length",
            "centres",
            "in mesh",
            "wrap",
            "box",
            "",
            "teeth",
            "teeth",
            "",
            "teeth",
            "",
            "mm",
            "mm",
            "teeth",
            "deg",
            "mm"
        )
    }
}

fn notes(arrangement: &Arrangement, surroundings: &Surroundings, duty: Option<&Duty>) -> Vec<String> {
    let drive = &arrangement.drive;
    let mut notes = Vec::new();
    let rpm = duty.and_then(|duty| duty.rpm);
    let fewest = match rpm {
        Some(rpm) => tolerance::fewest_teeth_at(drive.profile, rpm),
        None => tolerance::fewest_teeth(drive.profile),
    };
    if let Some(fewest) = fewest
        && drive.small_teeth < fewest.value
    {
        let speed = rpm.map_or_else(String::new, |rpm| format!(" at {rpm} rpm"));
        notes.push(format!(
            "the small pulley has fewer teeth than the least of {}, {}{speed} ({}): for slow or hand-driven mechanisms",
            drive.profile.name, fewest.value, fewest.source
        ));
    }
    let in_mesh = arrangement.teeth_in_mesh();
    if in_mesh < USUAL_LEAST_IN_MESH {
        notes.push(format!(
            "{in_mesh:.2} teeth in mesh are fewer than the usual {USUAL_LEAST_IN_MESH} (from memory: ISO 5295)"
        ));
    }
    let bodies = surroundings.bodies(
        drive.open.small_mm,
        drive.open.large_mm,
        surroundings.beyond_line_mm(drive.profile),
    );
    let least = surroundings.least_centre_mm(&bodies);
    if arrangement.centre_mm < least {
        notes.push(format!(
            "the bodies beside the belt want a centre distance of {least:.2} mm at least, {:.2} mm more",
            least - arrangement.centre_mm
        ));
    }
    notes
}
