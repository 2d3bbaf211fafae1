//! The files of a pulley: meshes to print, sections and solids for a drawing program, and what lies beside.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use crate::files::{FileError, Outputs};
use crate::geometry::brep::NotExact;
use crate::geometry::curve::{CurveLoop, CurveOutline};
use crate::geometry::solid::Solid;
use crate::geometry::{dxf, step, stl, svg, threemf};

use super::pulley::Design;
use super::pulley_answer::PulleyAnswer;
use super::{pulley_curves, pulley_picture};

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
    files: Vec<(PathBuf, Format)>,
    /// Every size, and the picture of a groove.
    beside: Vec<PathBuf>,
}

impl Targets {
    /// Files of these names.
    ///
    /// # Errors
    /// A name whose ending says nothing.
    pub fn new(paths: &[PathBuf]) -> Result<Self, UnknownFormat> {
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
            Ok((path.clone(), format))
        };
        let files: Vec<(PathBuf, Format)> = paths.iter().map(of).collect::<Result<_, _>>()?;
        let beside = files.first().map_or(Vec::new(), |(first, _)| {
            let picture = first.with_extension("svg");
            let is_taken = files.iter().any(|(path, _)| *path == picture);
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
        self.files.iter().map(|(path, _)| path.as_path()).chain(self.beside.iter().map(PathBuf::as_path))
    }

    /// Stages every file; the answer gets their names and what an exact solid differs in.
    ///
    /// # Errors
    /// The system refuses, or the exact solid does not close.
    pub fn write(
        &self,
        design: &Design,
        solid: &Solid,
        answer: &mut PulleyAnswer,
        outputs: &mut Outputs,
    ) -> Result<(), WriteError> {
        // Beside each other, so that the names alone say which is meant.
        let name = |path: &Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        answer.files = self.paths().map(name).collect();
        for (path, format) in &self.files {
            match format {
                Format::Stl => {
                    let header = answer.short_provenance();
                    outputs.write_with(path, |file| stl::write(&[solid], &header, file))?;
                }
                Format::ThreeMf => {
                    let model = threemf::Model {
                        title: solid.name(),
                        description: &answer.short_provenance(),
                        metadata: &answer.provenance(),
                        solids: &[solid],
                    };
                    outputs.write_with(path, |file| model.write(file))?;
                }
                Format::Step => {
                    let exact = pulley_curves::exact(design)?;
                    answer.step_differs = exact.differences.clone();
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

fn dxf_text(design: &Design, answer: &PulleyAnswer) -> String {
    let (wanted, drawn) = (pulley_curves::section(&design.wanted), pulley_curves::section(&design.drawn));
    let pitch = pitch_circle(design);
    let layer = |name, color, outline| dxf::Layer { name, color, outline };
    let layers = [
        layer("SHRINKRULE_WANTED", 5, &wanted),
        layer("SHRINKRULE_PITCH", 8, &pitch),
        layer("SHRINKRULE_DRAWN", 1, &drawn),
    ];
    dxf::text(&answer.short_provenance(), &layers)
}

fn svg_text(design: &Design) -> String {
    let (wanted, drawn) = (pulley_curves::section(&design.wanted), pulley_curves::section(&design.drawn));
    let pitch = pitch_circle(design);
    let group = |name, stroke, outline| svg::Group { name, stroke, outline };
    let groups = [
        group("wanted", "#0b5fa5", &wanted),
        group("pitch-circle", "#888888", &pitch),
        group("drawn", "#c0392b", &drawn),
    ];
    svg::text(&super::pulley_solid::name(design), &groups)
}
