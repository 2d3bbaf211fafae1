//! The files of a pulley: meshes to print, sections and solids for a drawing program, and what lies beside.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use crate::files::{FileError, Outputs};
use crate::geometry::brep::NotExact;
use crate::geometry::curve::{CurveLoop, CurveOutline};
use crate::geometry::solid::Solid;
use crate::geometry::{dxf, step, stl, svg, threemf};

use super::build::piece::Piece;
use super::pulley::Design;
use super::pulley_answer::PulleyAnswer;
use super::{pulley_picture, pulley_solid};

/// Clear space between two pieces in a drawing, mm.
const BETWEEN_PIECES_MM: f64 = 10.0;

/// What a file holds, by the ending of its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// A mesh.
    Stl,
    /// A mesh with its unit and where it comes from.
    ThreeMf,
    /// The exact solid.
    Step,
    /// The section, lines and arcs.
    Dxf,
    /// The section at 1:1.
    Svg,
}

/// Names that end in nothing that can be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("--out {}: the name must end in .stl, .3mf, .step, .dxf or .svg", path.display())]
pub struct UnknownFormat {
    /// The name.
    pub path: PathBuf,
}

/// Why files could not be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The system refuses.
    #[error(transparent)]
    File(#[from] FileError),
    /// The solid does not close, which is a fault of this program.
    #[error(transparent)]
    NotExact(#[from] NotExact),
}

/// The files that are wanted of one pulley.
#[derive(Clone, Debug, Default)]
pub struct Targets {
    /// Name, format, and of which piece; a format that takes all of them has those of piece 0.
    files: Vec<(PathBuf, Format, usize)>,
    /// Every size, and the picture of a groove.
    beside: Vec<PathBuf>,
}

impl Targets {
    /// Files of these names, for a pulley of so many pieces. STL and STEP take one piece a file: the second of
    /// `drive.stl` is `drive-2.stl`.
    ///
    /// # Errors
    /// A name whose ending says nothing.
    pub fn new(paths: &[PathBuf], pieces: usize) -> Result<Self, UnknownFormat> {
        let of = |path: &PathBuf| {
            let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
            let format = match ending.as_str() {
                "stl" => Format::Stl,
                "3mf" => Format::ThreeMf,
                "step" | "stp" => Format::Step,
                "dxf" => Format::Dxf,
                "svg" => Format::Svg,
                _ => return Err(UnknownFormat { path: path.clone() }),
            };
            let count = if matches!(format, Format::Stl | Format::Step) { pieces } else { 1 };
            let name = |piece: usize| match piece {
                0 => path.clone(),
                _ => {
                    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
                    path.with_file_name(format!("{stem}-{}.{ending}", piece + 1))
                }
            };
            Ok((0..count).map(|piece| (name(piece), format, piece)).collect::<Vec<_>>())
        };
        let files: Vec<Vec<_>> = paths.iter().map(of).collect::<Result<_, _>>()?;
        let files = files.concat();
        let beside = files.first().map_or(Vec::new(), |(first, ..)| {
            let picture = first.with_extension("svg");
            let is_taken = files.iter().any(|(path, ..)| *path == picture);
            let picture = if is_taken { first.with_extension("groove.svg") } else { picture };
            vec![first.with_extension("json"), picture]
        });
        Ok(Self { files, beside })
    }

    /// Whether nothing is to be written.
    pub fn is_empty(&self) -> bool {
        self.files.is_empty()
    }

    /// Every file, those beside the others last.
    pub fn paths(&self) -> impl Iterator<Item = &Path> {
        self.files.iter().map(|(path, ..)| path.as_path()).chain(self.beside.iter().map(PathBuf::as_path))
    }

    /// Stages every file; the answer gets their names and what an exact solid differs in.
    ///
    /// # Errors
    /// The system refuses, or the exact solid does not close.
    pub fn write(
        &self,
        design: &Design,
        solids: &[Solid],
        answer: &mut PulleyAnswer,
        outputs: &mut Outputs,
    ) -> Result<(), WriteError> {
        // Beside each other, so that the names alone say which is meant.
        let name = |path: &Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        answer.files = self.paths().map(name).collect();
        let placed = pulley_solid::side_by_side(solids);
        for (path, format, piece) in &self.files {
            match format {
                Format::Stl => {
                    let header = answer.short_provenance();
                    let one = solids.get(*piece).into_iter().collect::<Vec<_>>();
                    outputs.write_with(path, |file| stl::write(&one, &header, file))?;
                }
                Format::ThreeMf => {
                    let model = threemf::Model {
                        title: &pulley_solid::name(design),
                        description: &answer.short_provenance(),
                        metadata: &answer.provenance(),
                        solids: &placed.iter().collect::<Vec<_>>(),
                    };
                    outputs.write_with(path, |file| model.write(file))?;
                }
                Format::Step => {
                    let Some(piece) = design.drawn_pieces.get(*piece) else { continue };
                    let exact = piece.exact()?;
                    answer.step_differs.extend(exact.differences);
                    let text = step::text(&exact.brep, answer.date(), &answer.short_provenance());
                    outputs.write(path, text.as_bytes())?;
                }
                Format::Dxf => outputs.write(path, dxf_text(design, answer).as_bytes())?,
                Format::Svg => outputs.write(path, svg_text(design).as_bytes())?,
            }
        }
        if let [json_path, picture_path] = &self.beside[..] {
            outputs.write_with(json_path, |mut file| {
                let mut json = serde_json::to_vec_pretty(answer)?;
                json.push(b'\n');
                file.write_all(&json)
            })?;
            outputs.write(picture_path, pulley_picture::svg(design).as_bytes())?;
        }
        Ok(())
    }
}

/// The circle that the belt's neutral line runs on.
fn pitch_circle(design: &Design) -> CurveOutline {
    CurveOutline::new(CurveLoop::circle([0.0, 0.0], design.pulley.pitch_diameter_mm))
}

/// The sections of the pieces, each outline once, with names such as `WANTED_FACE`: wanted ones first. Pieces
/// lie beside each other.
fn sections(design: &Design) -> Vec<(String, CurveOutline)> {
    let mut named: Vec<(String, CurveOutline)> = Vec::new();
    for (word, pieces) in [("WANTED", &design.pieces), ("DRAWN", &design.drawn_pieces)] {
        let mut left = 0.0;
        // Where the drawn ones lie, so that wanted and drawn share their axis.
        for (piece, drawn) in pieces.iter().zip(&design.drawn_pieces) {
            let reach = drawn.steps.iter().map(|step| step.side.reach_mm()).fold(0.0, f64::max);
            let place = if left == 0.0 { 0.0 } else { left + reach };
            of_piece(word, piece, place, &mut named);
            left = place + reach + BETWEEN_PIECES_MM;
        }
    }
    named
}

fn of_piece(word: &str, piece: &Piece, place_mm: f64, named: &mut Vec<(String, CurveOutline)>) {
    let mut seen: Vec<CurveOutline> = Vec::new();
    for section in piece.sections() {
        // A cone's section is its rim, which the step above has.
        if section.foot_radius_mm.is_some() || seen.contains(&section.outline) {
            continue;
        }
        seen.push(section.outline.clone());
        let plain = section.name.to_uppercase().replace(|c: char| !c.is_ascii_alphanumeric(), "_");
        let name = (1..).map(|number| match number {
            1 => format!("{word}_{plain}"),
            _ => format!("{word}_{plain}_{number}"),
        });
        let free = name.into_iter().find(|name| !named.iter().any(|(other, _)| other == name));
        named.extend(free.map(|name| (name, section.outline.translated(place_mm, 0.0))));
    }
}

fn dxf_text(design: &Design, answer: &PulleyAnswer) -> String {
    let pitch = pitch_circle(design);
    let named: Vec<(String, CurveOutline)> =
        sections(design).into_iter().map(|(name, outline)| (format!("SHRINKRULE_{name}"), outline)).collect();
    let mut layers = vec![dxf::Layer { name: "SHRINKRULE_PITCH", color: 8, outline: &pitch }];
    layers.extend(named.iter().map(|(name, outline)| {
        let color = if name.contains("_WANTED_") { 5 } else { 1 };
        dxf::Layer { name, color, outline }
    }));
    dxf::text(&answer.short_provenance(), &layers)
}

fn svg_text(design: &Design) -> String {
    let pitch = pitch_circle(design);
    let named: Vec<(String, CurveOutline)> = sections(design)
        .into_iter()
        .map(|(name, outline)| (name.to_lowercase().replace('_', "-"), outline))
        .collect();
    let mut groups = vec![svg::Group { name: "pitch-circle", stroke: "#888888", outline: &pitch }];
    groups.extend(named.iter().map(|(name, outline)| {
        let stroke = if name.starts_with("wanted") { "#0b5fa5" } else { "#c0392b" };
        svg::Group { name, stroke, outline }
    }));
    svg::text(&pulley_solid::name(design), &groups)
}
