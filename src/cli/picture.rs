//! Pictures that a command writes where the person says, as SVG or PNG by the name's ending.

use std::path::Path;

use super::Error;
use crate::files::Outputs;
use crate::plot::{Figure, PlotError};
use crate::problem::{Location, Problem};

/// Whether the picture is PNG and not SVG.
pub fn picture_kind(path: &Path) -> Result<bool, Error> {
    match path.extension().and_then(|extension| extension.to_str()).map(str::to_lowercase).as_deref() {
        Some("svg") => Ok(false),
        Some("png") => Ok(true),
        _ => Err(Error::problem(
            Problem::error(Location::file(path), "a picture is written as .svg or .png")
                .help("end its name in one of the two"),
        )),
    }
}

/// Stages the picture.
pub fn write_picture(outputs: &mut Outputs, path: &Path, figure: &Figure) -> Result<(), Error> {
    let bytes = if picture_kind(path)? { &figure.png[..] } else { figure.svg.as_bytes() };
    Ok(outputs.write(path, bytes)?)
}

/// Why there is none.
pub fn cannot_draw(error: PlotError) -> Error {
    Error::call(error.to_string())
}
