//! What is said of a drive: the JSON document, with the pairs first.
//!
//! Everything beside `pairs` is about the first pair. Lengths are millimetres, angles degrees.

use serde::Serialize;

use crate::belt::lengths::BeltLength;
use crate::belt::rack::{self, Flank};
use crate::belt::swing::SwingIn;
use crate::belt::tolerance;
use crate::belt::tooth::{AS_PUBLISHED_MM, Place};
use crate::fits::decimal_mm as short;

use super::arrangement::Arrangement;
use super::bounds::Room;
use super::idler::Rim;
use super::layout::{Drive, Surroundings};
use super::load::{Duty, Load};
use super::mesh::Mesh;
use super::meshed::{Meshed, State};
use super::pair::PairAnswer;
use super::path::Side;
use super::printed::PrintedDrive;

/// What anyone who builds a belt drive must know.
pub const CAUTIONS: [&str; 4] = [
    "what the belt may carry is its maker's word: no rating is reckoned here",
    "a belt drive pinches and throws: guard it, and wear eye protection when it first runs",
    "a printed pulley may bear less than a metal one, and a warm motor softens it",
    "rules of your workshop and country go before these",
];

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
pub(super) struct LoadAnswer {
    pub(super) torque_nm: f64,
    pub(super) large_torque_nm: f64,
    pub(super) pull_n: f64,
    pub(super) tooth_n: f64,
    pub(super) tight_strand_n: f64,
    pub(super) slack_strand_n: f64,
    pub(super) set_tension_n: f64,
    pub(super) shaft_n: f64,
    pub(super) mesh_factor: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) rpm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) speed_m_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) power_w: Option<f64>,
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
pub(super) struct IdlerAnswer {
    pub(super) side: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) teeth: Option<u32>,
    pub(super) diameter_mm: f64,
    /// Its axis, from the small pulley's along the line of centres.
    pub(super) x_mm: f64,
    /// And above it.
    pub(super) y_mm: f64,
    pub(super) wrap_deg: f64,
    /// How far it moves for a millimetre of belt.
    pub(super) travel_per_belt_mm: f64,
}

/// What printing does to the place where the belt is right.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct PrintedAnswer {
    pub(super) setup: String,
    pub(super) small_outside_diameter: OutsideAnswer,
    pub(super) large_outside_diameter: OutsideAnswer,
    /// What moves: `centre_distance`, or `idler`.
    pub(super) moves: &'static str,
    /// Where it is when everything is as wanted.
    pub(super) nominal_mm: f64,
    /// 95 % from the prints alone, both pulleys of one print.
    pub(super) prints_half95_mm: f64,
    /// The same with each pulley of a print of its own.
    pub(super) prints_apart_half95_mm: f64,
    /// From the belt's tolerance, its limits; `null` where none is known.
    pub(super) belt_half_mm: Option<f64>,
    /// Both together, 95 %.
    pub(super) half95_mm: f64,
    pub(super) low95_mm: f64,
    pub(super) high95_mm: f64,
    /// What the tensioner must travel, from one end of that to the other.
    pub(super) travel_mm: f64,
    /// Where it would be if the pulleys were drawn as wanted.
    pub(super) uncorrected_mm: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub(super) struct OutsideAnswer {
    pub(super) wanted_mm: f64,
    pub(super) draw_mm: f64,
    pub(super) half95_mm: f64,
    pub(super) uncorrected_mm: f64,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct MeshAnswer {
    pub(super) state: State,
    pub(super) centre_distance_mm: f64,
    /// Least play of both pulleys while the belt runs; negative is interference.
    pub(super) least_mm: f64,
    pub(super) pulleys: [PulleyMeshAnswer; 2],
}

#[derive(Clone, Debug, PartialEq, Serialize)]
pub(super) struct PulleyMeshAnswer {
    pub(super) teeth: u32,
    pub(super) phase_deg: f64,
    pub(super) least_mm: f64,
    pub(super) least_tooth: usize,
    pub(super) least_place: Place,
    /// With as many teeth in mesh as there can be while the belt runs.
    pub(super) least_running_mm: f64,
    /// The least play while a tooth swings in from the straight belt; negative where it rubs.
    pub(super) swing_in_mm: f64,
    pub(super) swing_in_place: Place,
    /// How far the pulley has then still to turn until the tooth is in.
    pub(super) swing_in_before_deg: f64,
    pub(super) pitch_off_mm: f64,
    /// `null` where all teeth bear at once or one does not go in.
    pub(super) bears_first: Option<usize>,
    pub(super) bearing_spread_mm: Option<f64>,
    pub(super) in_mesh: Vec<ToothAnswer>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub(super) struct ToothAnswer {
    pub(super) at_deg: f64,
    pub(super) leading_mm: f64,
    pub(super) trailing_mm: f64,
    pub(super) crest_mm: f64,
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
            least_running_mm: short(mesh.least_running_mm),
            swing_in_mm: short(mesh.swing_in.least_mm),
            swing_in_place: mesh.swing_in.place,
            swing_in_before_deg: short(mesh.swing_in.before_rad.to_degrees()),
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
pub(super) struct SourceAnswer {
    pub(super) what: &'static str,
    pub(super) source: &'static str,
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
    pub(super) load: Option<LoadAnswer>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) idler: Option<IdlerAnswer>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) printed: Option<PrintedAnswer>,
    /// The mesh check; absent where no groove or no tooth is published.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) mesh: Vec<MeshAnswer>,
    pub(super) sources: Vec<SourceAnswer>,
    /// Whether the first pair lies in the box that was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fits_room: Option<bool>,
    /// What a reader must know.
    pub warnings: Vec<String>,
    pub(super) cautions: Vec<&'static str>,
    /// What was written.
    pub files: Vec<String>,
}

impl DriveAnswer {
    /// Of pairs, the best first.
    pub fn new(pairs: Vec<PairAnswer>) -> Self {
        Self { pairs, cautions: CAUTIONS.to_vec(), ..Self::default() }
    }

    /// Adds where the first pair's numbers come from.
    pub fn add_sources(&mut self, drive: &Drive, belt: &BeltLength, flank: Flank) {
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
        match flank {
            Flank::Straight => add("groove", profile.groove_source),
            Flank::Involute => {
                let mut racks: Vec<_> = [drive.small_teeth, drive.large_teeth]
                    .into_iter()
                    .filter_map(|teeth| rack::find(profile.name, teeth))
                    .collect();
                racks.dedup_by_key(|rack| rack.source);
                racks.iter().for_each(|rack| add("groove", rack.source));
            }
        }
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

    /// Adds whether an arrangement lies in this box, either way round.
    pub fn add_room(&mut self, arrangement: &Arrangement, surroundings: &Surroundings, room: Room) {
        /// What lies on the edge lies within, whatever its last binary digit.
        const EDGE_MM: f64 = 1e-6;
        let [low, high] = arrangement.corners_mm(surroundings);
        let (length, height) = (high.0 - low.0 - EDGE_MM, high.1 - low.1 - EDGE_MM);
        let fits = |along: f64, across: f64| length <= along && height <= across;
        let lies_within = fits(room.width_mm, room.height_mm) || fits(room.height_mm, room.width_mm);
        if !lies_within {
            self.warnings
                .push(format!("the drive takes {length:.1} x {height:.1} mm and does not lie in {room}"));
        }
        self.fits_room = Some(lies_within);
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
        for meshed in all {
            let state = meshed.state.words();
            if meshed.least_mm() < -AS_PUBLISHED_MM {
                self.warnings.push(format!(
                    "the belt's teeth do not go into the pulleys {state}: {:.3} mm of interference",
                    -meshed.least_mm()
                ));
                continue;
            }
            for (groove, mesh) in meshed.grooves.iter().zip(&meshed.meshes) {
                let SwingIn { least_mm, place, before_rad } = mesh.swing_in;
                if least_mm < -AS_PUBLISHED_MM {
                    self.warnings.push(format!(
                        "a belt tooth rubs on the pulley of {} teeth {state} as it swings in: {:.3} mm at its {}, {:.1} \
                         degrees before it is in; rubber gives, but belt and print wear",
                        groove.teeth,
                        -least_mm,
                        place.words(),
                        before_rad.to_degrees()
                    ));
                }
            }
        }
    }

    /// Whether the belt meshes with the pulleys that are to be made; true where that was not looked at.
    pub fn meshes(&self) -> bool {
        let made = self.mesh.iter().find(|mesh| mesh.state == State::Printed).or(self.mesh.first());
        made.is_none_or(|mesh| mesh.least_mm >= -AS_PUBLISHED_MM)
    }
}
