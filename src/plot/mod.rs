//! Pictures of a fit: typed figure data, then drawing with plotters, one file per figure.
pub(crate) mod canvas;
pub(crate) mod font;
pub(crate) mod raster;
pub(crate) mod svg;

/// Why a picture could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum PlotError {
    /// The font that is built into the program cannot be read.
    #[error("the built-in font cannot be read")]
    Font,
    /// PNG.
    #[error("cannot encode the picture as PNG: {0}")]
    Png(#[from] png::EncodingError),
}
