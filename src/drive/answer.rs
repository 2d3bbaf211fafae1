//! What is said of a drive: the JSON document, with the pairs first.
//!
//! Everything beside `pairs` is about the first pair. Lengths are millimetres, angles degrees.

mod text;

use serde::Serialize;

use crate::belt::lengths::{self, BeltLength};
use crate::belt::tolerance;
use crate::fits::decimal_mm as short;

use super::arrangement::Arrangement;
use super::idler::Rim;
use super::layout::{Drive, Surroundings, USUAL_LEAST_IN_MESH};
use super::load::{Duty, Load};
use super::mesh::Mesh;
use super::meshed::{Meshed, State};
use super::path::Side;
use super::printed::PrintedDrive;
use super::tooth::Place;

/// What anyone who builds a belt drive must know.
pub const CAUTIONS: [&str; 4] = [
    "what the belt may carry is its maker's word: no rating is reckoned here",
    "a belt drive pinches and throws: guard it, and wear eye protection when it first runs",
    "a printed pulley may bear less than a metal one, and a warm motor softens it",
    "rules of your workshop and country go before these",
];

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

/// What a belt round the pulleys would measure at the centre distance that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AtCentre {
    /// The centre distance that was asked for.
    pub centre_distance_mm: f64,
    /// Length of a belt that is right there.
    pub belt_length_mm: f64,
    /// The same in teeth, with a fraction.
    pub belt_teeth: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct LoadAnswer {
    torque_nm: f64,
    large_torque_nm: f64,
    pull_n: f64,
    tooth_n: f64,
    tight_strand_n: f64,
    slack_strand_n: f64,
    set_tension_n: f64,
    shaft_n: f64,
    mesh_factor: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    rpm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    speed_m_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    power_w: Option<f64>,
}

impl LoadAnswer {
    fn new(duty: &Duty, load: &Load) -> Self {
        Self {
            torque_nm: duty.torque_nm,
            large_torque_nm: short(load.large_torque_nm),
            pull_n: short(load.pull_n),
            tooth_n: short(load.tooth_n),
            tight_strand_n: short(load.tight_n),
            slack_strand_n: short(load.slack_n),
            set_tension_n: short(load.set_n),
            shaft_n: short(load.shaft_n),
            mesh_factor: short(load.mesh_factor),
            rpm: duty.rpm,
            speed_m_s: load.speed_m_s.map(short),
            power_w: load.power_w.map(short),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct IdlerAnswer {
    side: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    teeth: Option<u32>,
    diameter_mm: f64,
    /// Its axis, from the small pulley's along the line of centres.
    x_mm: f64,
    /// And above it.
    y_mm: f64,
    wrap_deg: f64,
    /// How far it moves for a millimetre of belt.
    travel_per_belt_mm: f64,
}

/// What printing does to the place where the belt is right.
#[derive(Clone, Debug, PartialEq, Serialize)]
struct PrintedAnswer {
    setup: String,
    small_outside_diameter: OutsideAnswer,
    large_outside_diameter: OutsideAnswer,
    /// What moves: `centre_distance`, or `idler`.
    moves: &'static str,
    /// Where it is when everything is as wanted.
    nominal_mm: f64,
    /// 95 % from the prints alone, both pulleys of one print.
    prints_half95_mm: f64,
    /// The same with each pulley of a print of its own.
    prints_apart_half95_mm: f64,
    /// From the belt's tolerance, its limits; `null` where none is known.
    belt_half_mm: Option<f64>,
    /// Both together, 95 %.
    half95_mm: f64,
    low95_mm: f64,
    high95_mm: f64,
    /// What the tensioner must travel, from one end of that to the other.
    travel_mm: f64,
    /// Where it would be if the pulleys were drawn as wanted.
    uncorrected_mm: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct OutsideAnswer {
    wanted_mm: f64,
    draw_mm: f64,
    half95_mm: f64,
    uncorrected_mm: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct MeshAnswer {
    state: State,
    centre_distance_mm: f64,
    /// Least play of both pulleys; negative is interference.
    least_mm: f64,
    pulleys: [PulleyMeshAnswer; 2],
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct PulleyMeshAnswer {
    teeth: u32,
    phase_deg: f64,
    least_mm: f64,
    least_tooth: usize,
    least_place: Place,
    pitch_off_mm: f64,
    /// `null` where all teeth bear at once or one does not go in.
    bears_first: Option<usize>,
    bearing_spread_mm: Option<f64>,
    in_mesh: Vec<ToothAnswer>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct ToothAnswer {
    at_deg: f64,
    leading_mm: f64,
    trailing_mm: f64,
    crest_mm: f64,
}

impl PulleyMeshAnswer {
    fn new(teeth: u32, mesh: &Mesh) -> Self {
        let (least_mm, least_tooth, least_place) = mesh.least;
        Self {
            teeth,
            phase_deg: short(mesh.phase_rad.to_degrees().rem_euclid(360.0)) % 360.0,
            least_mm: short(least_mm),
            least_tooth,
            least_place,
            pitch_off_mm: short(mesh.pitch_off_mm),
            bears_first: mesh.bearing.and_then(|bearing| bearing.first_tooth),
            bearing_spread_mm: mesh.bearing.map(|bearing| short(bearing.spread_mm)),
            in_mesh: mesh
                .teeth
                .iter()
                .map(|tooth| ToothAnswer {
                    at_deg: short(tooth.at_rad.to_degrees().rem_euclid(360.0)) % 360.0,
                    leading_mm: short(tooth.play.leading_mm),
                    trailing_mm: short(tooth.play.trailing_mm),
                    crest_mm: short(tooth.play.crest_mm),
                })
                .collect(),
        }
    }
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct SourceAnswer {
    what: &'static str,
    source: &'static str,
}

/// All that is said of a drive.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct DriveAnswer {
    /// Pairs with their belts, the best first.
    pub pairs: Vec<PairAnswer>,
    /// How many combinations were looked at; absent where two pulleys and a belt were given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub combinations: Option<u64>,
    /// How many of them fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitting: Option<u64>,
    /// Where a centre distance was given for two pulleys.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_centre: Option<AtCentre>,
    #[serde(skip_serializing_if = "Option::is_none")]
    load: Option<LoadAnswer>,
    #[serde(skip_serializing_if = "Option::is_none")]
    idler: Option<IdlerAnswer>,
    #[serde(skip_serializing_if = "Option::is_none")]
    printed: Option<PrintedAnswer>,
    /// The mesh check; absent where no groove or no tooth is published.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    mesh: Vec<MeshAnswer>,
    sources: Vec<SourceAnswer>,
    /// What a reader must know.
    pub warnings: Vec<String>,
    cautions: Vec<&'static str>,
    /// What was written.
    pub files: Vec<String>,
}

impl DriveAnswer {
    /// Of pairs, the best first.
    pub fn new(pairs: Vec<PairAnswer>) -> Self {
        Self { pairs, cautions: CAUTIONS.to_vec(), ..Self::default() }
    }

    /// Adds where the first pair's numbers come from.
    pub fn add_sources(&mut self, drive: &Drive, belt: &BeltLength) {
        let profile = drive.profile;
        let mut add = |what, source: &'static str| {
            if !source.is_empty() {
                self.sources.push(SourceAnswer { what, source });
            }
        };
        add("belt length", belt.source);
        add("belt length tolerance", belt.tolerance_source);
        add("pitch line", profile.two_a_source);
        add("belt section", profile.belt_source);
        add("groove", profile.groove_source);
        add("flange height", tolerance::flange_height_mm(profile).source);
        if let Some(fewest) = tolerance::fewest_teeth(profile) {
            add("fewest teeth", fewest.source);
        }
        add("least teeth in mesh, mesh factor", "from memory: ISO 5295");
        if self.load.is_some() {
            add("ratio of the strands' tensions, 8", "from memory: ANSI/RMA IP-24 tension constants");
        }
    }

    /// Adds what a torque does.
    pub fn add_load(&mut self, duty: &Duty, load: &Load) {
        self.load = Some(LoadAnswer::new(duty, load));
    }

    /// Adds the idler of an arrangement, where it has one.
    pub fn add_idler(&mut self, arrangement: &Arrangement) {
        let Some((idler, placed)) = &arrangement.idler else { return };
        self.idler = Some(IdlerAnswer {
            side: match idler.side {
                Side::Inside => "inside",
                Side::Back => "back",
            },
            teeth: match idler.rim {
                Rim::Toothed(teeth) => Some(teeth),
                Rim::Plain(_) => None,
            },
            diameter_mm: short(placed.rim_mm),
            x_mm: short(placed.wheel.centre.0),
            y_mm: short(placed.wheel.centre.1),
            wrap_deg: short(placed.path.arcs[2].wrap_rad.to_degrees()),
            travel_per_belt_mm: short(placed.travel_per_mm),
        });
    }

    /// Adds what printing does.
    pub fn add_printed(
        &mut self,
        arrangement: &Arrangement,
        printed: &PrintedDrive,
        setup: &str,
        belt: &BeltLength,
    ) {
        // What moves is the centre distance, or the idler's height; a longer belt moves either so much.
        let (moves, nominal_mm, per_mm) = match &arrangement.idler {
            Some((_, placed)) => {
                let inwards = if placed.wheel.side == Side::Back { -1.0 } else { 1.0 };
                ("idler", placed.wheel.centre.1, inwards * placed.travel_per_mm)
            }
            None => {
                let drive = &arrangement.drive;
                ("centre_distance", arrangement.centre_mm, 1.0 / (2.0 * drive.open.slant_rad().cos()))
            }
        };
        let half = printed.total().half95_mm() * per_mm.abs();
        let outside = printed.outside.map(|outside| OutsideAnswer {
            wanted_mm: short(outside.wanted_mm),
            draw_mm: short(outside.draw_mm),
            half95_mm: short(outside.half95_mm),
            uncorrected_mm: short(outside.uncorrected_mm),
        });
        self.warnings.extend(printed.warnings.iter().cloned());
        self.printed = Some(PrintedAnswer {
            setup: setup.to_owned(),
            small_outside_diameter: outside[0],
            large_outside_diameter: outside[1],
            moves,
            nominal_mm: short(nominal_mm),
            prints_half95_mm: short(printed.together.half95_mm() * per_mm.abs()),
            prints_apart_half95_mm: short(printed.apart.half95_mm() * per_mm.abs()),
            belt_half_mm: belt.tolerance_mm.map(|tolerance| short(tolerance * per_mm.abs())),
            half95_mm: short(half),
            low95_mm: short(nominal_mm - half),
            high95_mm: short(nominal_mm + half),
            travel_mm: short(2.0 * half),
            // The pulleys take more of the belt, so less of it is left to move by.
            uncorrected_mm: short(nominal_mm - printed.uncorrected_mm * per_mm),
        });
    }

    /// Adds the mesh check.
    pub fn add_mesh(&mut self, all: &[Meshed]) {
        self.mesh = all
            .iter()
            .map(|meshed| MeshAnswer {
                state: meshed.state,
                centre_distance_mm: short(meshed.centre_mm),
                least_mm: short(meshed.least_mm()),
                pulleys: [0, 1].map(|at| PulleyMeshAnswer::new(meshed.grooves[at].teeth, &meshed.meshes[at])),
            })
            .collect();
        for meshed in all.iter().filter(|meshed| meshed.least_mm() < 0.0) {
            self.warnings.push(format!(
                "the belt's teeth do not go into the pulleys {}: {:.3} mm of interference",
                meshed.state.words(),
                -meshed.least_mm()
            ));
        }
    }

    /// Whether the belt meshes with the pulleys that are to be made; true where that was not looked at.
    pub fn meshes(&self) -> bool {
        let made = self.mesh.iter().find(|mesh| mesh.state == State::Printed).or(self.mesh.first());
        made.is_none_or(|mesh| mesh.least_mm >= 0.0)
    }
}
