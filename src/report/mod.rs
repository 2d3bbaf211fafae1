//! Pages from finished results; nothing is computed here.

pub mod compare;
pub mod drawing_files;
pub mod fit;
pub mod guide;
pub mod heat_protocol;
pub mod page;
pub mod part;
pub mod parts;
pub mod parts_drawing;

/// Why a page could not be made.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// The page could not be filled in.
    #[error("cannot fill in the page: {0}")]
    Template(#[from] askama::Error),
}
