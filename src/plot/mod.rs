//! Pictures of a fit, of a verification and of a history, each as SVG and as PNG.
//!
//! A fit becomes typed figure data, one file a figure; those are drawn with plotters on a fine sheet
//! (`canvas`), and from its shapes both files are written (`svg`, `raster`). Nothing here decides
//! anything about a fit: it shows what the fit says, and says how to read it.
//!
//! Pictures depend on the fit alone, so the same fit gives the same bytes.

mod axis;
mod canvas;
mod ceilings;
mod comparison;
mod copies;
mod deviation;
mod font;
mod history;
mod labels;
mod legend;
mod look;
pub mod numbers;
mod outline;
mod plane;
mod points;
mod quantiles;
mod raster;
mod residuals;
pub mod strip;
mod svg;
mod verification;

#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod tests;

pub use ceilings::ceilings_figure;
pub use comparison::comparison_figures;
pub use copies::{CopiesFigure, Print};
pub use deviation::{Curve, CurvePoint, DeviationFigure, Panel};
pub use history::history_figure;
pub use points::{Aside, Used};
pub use quantiles::{Expected, QuantilesFigure, Ranked};
pub use residuals::ResidualsFigure;
pub use verification::verification_figure;

use crate::correction::fitted::Fit;
use canvas::Canvas;

/// A picture, ready to be written to files.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// What its files are called: `deviation`, `residuals`, `quantiles`, `copies`, …
    pub name: &'static str,
    /// What it shows.
    pub title: String,
    /// The picture as SVG.
    pub svg: String,
    /// The same as PNG, twice as fine.
    pub png: Vec<u8>,
}

/// Why a picture could not be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlotError {
    /// There is nothing to draw.
    #[error("the fit used no points, so there is nothing to draw")]
    NoPoints,
    /// A point of the fit is no number, which no fit should give.
    #[error("line {line}: the fit has no finite size here, so it cannot be drawn")]
    NotFinite {
        /// The line of its first reading.
        line: u64,
    },
    /// The font that is built into the program cannot be read.
    #[error("the built-in font cannot be read")]
    Font,
    /// The drawing library refused.
    #[error("cannot draw: {0}")]
    Drawing(String),
    /// The PNG encoder refused.
    #[error("cannot encode the picture as PNG: {0}")]
    Png(String),
    /// The thread that drew it stopped.
    #[error("drawing the figure `{name}` stopped unexpectedly")]
    Stopped {
        /// The figure.
        name: &'static str,
    },
}

impl From<png::EncodingError> for PlotError {
    fn from(error: png::EncodingError) -> Self {
        Self::Png(error.to_string())
    }
}

type Named = (&'static str, &'static str);

const DEVIATION: Named = ("deviation", "How far sizes come out from the drawing");
const RESIDUALS: Named = ("residuals", "What the fitted line leaves over, by size");
const QUANTILES: Named = ("quantiles", "Whether what is left over is ordinary scatter");
const COPIES: Named = ("copies", "What is left over, print by print");

/// The four pictures of a fit: deviation, residuals, quantiles, copies. Drawn side by side in threads.
pub fn fit_figures(fit: &Fit) -> Result<Vec<Figure>, PlotError> {
    font::register()?;
    type Draw = fn(&Fit, &mut Canvas) -> Result<(), PlotError>;
    let figures: [(Named, Draw); 4] = [
        (DEVIATION, |fit, canvas| DeviationFigure::of(fit)?.draw(canvas)),
        (RESIDUALS, |fit, canvas| ResidualsFigure::of(fit)?.draw(canvas)),
        (QUANTILES, |fit, canvas| QuantilesFigure::of(fit)?.draw(canvas)),
        (COPIES, |fit, canvas| CopiesFigure::of(fit)?.draw(canvas)),
    ];
    std::thread::scope(|scope| {
        let drawing = figures.map(|(named, draw)| {
            let thread = scope.spawn(move || {
                let mut canvas = Canvas::new(plane::SIZE);
                draw(fit, &mut canvas)?;
                figure(named, &canvas, &fit.correction.setup)
            });
            (named, thread)
        });
        let joined = drawing
            .into_iter()
            .map(|((name, _), thread)| thread.join().unwrap_or(Err(PlotError::Stopped { name })));
        joined.collect()
    })
}

fn figure((name, title): Named, canvas: &Canvas, setup: &str) -> Result<Figure, PlotError> {
    Ok(Figure {
        name,
        title: title.to_owned(),
        svg: svg::write(canvas, &format!("{title}: {setup}")),
        png: raster::write(canvas)?,
    })
}
