//! A drawing as files: the page or the pictures, and the readings sheet beside.

use std::path::{Path, PathBuf};

use super::{ReportError, part};
use crate::correction::Correction;
use crate::files::{FileError, Outputs};
use crate::parts::build::piece::Piece;
use crate::parts::build::sizing::Dimension;
use crate::parts::gauging::{Gauged, gauged, readings_sheet};
use crate::parts::piece_drawing;

/// The name of a drawing says nothing that can be written.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("--drawing {}: the name must end in .html or .svg", path.display())]
pub struct NoDrawing {
    /// The name.
    pub path: PathBuf,
}

/// Why a drawing could not be written.
#[derive(Debug, thiserror::Error)]
pub enum DrawingError {
    /// The system refuses.
    #[error(transparent)]
    File(#[from] FileError),
    /// The page could not be filled in.
    #[error(transparent)]
    Page(#[from] ReportError),
}

/// Where a drawing of so many pieces and its sheet go.
#[derive(Clone, Debug)]
pub struct DrawingFiles {
    /// One page, or a picture of each piece.
    drawings: Vec<PathBuf>,
    is_page: bool,
    /// `NAME-readings.csv`.
    sheet: PathBuf,
}

impl DrawingFiles {
    /// A page of all pieces (`.html`), or a picture of each (`.svg`, the second `NAME-2.svg`).
    ///
    /// # Errors
    /// Another ending.
    pub fn new(path: &Path, pieces: usize) -> Result<Self, NoDrawing> {
        let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        let is_page = matches!(ending.as_str(), "html" | "htm");
        if !is_page && ending != "svg" {
            return Err(NoDrawing { path: path.to_owned() });
        }
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        let further = (2..=pieces).map(|number| path.with_file_name(format!("{stem}-{number}.svg")));
        let mut drawings = vec![path.to_owned()];
        if !is_page {
            drawings.extend(further);
        }
        let sheet = path.with_file_name(format!("{stem}-readings.csv"));
        Ok(Self { drawings, is_page, sheet })
    }

    /// Every file.
    pub fn paths(&self) -> impl Iterator<Item = &Path> {
        self.drawings.iter().chain([&self.sheet]).map(PathBuf::as_path)
    }
}

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Drawing<'a> {
    /// What all of it is called.
    pub title: &'a str,
    /// The pieces as drawn.
    pub pieces: &'a [Piece],
    /// The sizes of each.
    pub dimensions: &'a [Vec<Dimension>],
    /// The correction, and the file that it was read from.
    pub correction: Option<(&'a Path, &'a Correction)>,
    /// What hurts.
    pub cautions: &'a [&'static str],
}

impl Drawing<'_> {
    /// Stages the files.
    ///
    /// # Errors
    /// The system refuses, or the page cannot be filled in.
    pub fn write(&self, files: &DrawingFiles, outputs: &mut Outputs) -> Result<(), DrawingError> {
        let pieces: Vec<(&Piece, Vec<Gauged<'_>>)> = self
            .pieces
            .iter()
            .zip(self.dimensions)
            .map(|(piece, dimensions)| (piece, gauged(piece, dimensions)))
            .collect();
        let name = |path: &Path| path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if files.is_page {
            let lead = match self.correction {
                Some((_, correction)) => format!("Corrected for setup {}.", correction.setup),
                None => "Not corrected: drawn exactly as wanted, so a print will not measure so.".to_owned(),
            };
            let words = part::Words {
                title: self.title,
                lead: &lead,
                sheet: &name(&files.sheet),
                correction: &self.correction.map_or(String::new(), |(file, _)| name(file)),
                cautions: self.cautions,
            };
            for path in &files.drawings {
                outputs.write(path, part::page(&words, &pieces)?.as_bytes())?;
            }
        } else {
            for (path, (piece, gauged)) in files.drawings.iter().zip(&pieces) {
                outputs.write(path, piece_drawing::sheet(piece, gauged).as_bytes())?;
            }
        }
        let readings = readings_sheet(&pieces, self.correction.map(|(_, correction)| correction));
        Ok(outputs.write(&files.sheet, readings.as_bytes())?)
    }
}
