//! A drawing to print of each piece: its views, the table of its sizes, and how to measure it back.

use askama::Template;

use super::ReportError;
use crate::parts::build::piece::Piece;
use crate::parts::gauging::Gauged;
use crate::parts::piece_drawing;

#[derive(Template)]
#[template(path = "part_drawing.html", config = "src/report/askama.toml")]
struct Page<'a> {
    title: &'a str,
    lead: &'a str,
    sheet: &'a str,
    correction: &'a str,
    pieces: Vec<Drawn<'a>>,
    cautions: &'a [&'static str],
}

struct Drawn<'a> {
    name: &'a str,
    orientation: &'a str,
    svg: String,
    scale: &'static str,
    rows: Vec<Row<'a>>,
}

struct Row<'a> {
    letter: String,
    name: &'a str,
    kind: String,
    wanted: String,
    drawn: String,
    expected: String,
    how: &'static str,
}

/// What the page says besides its pieces.
#[derive(Clone, Copy, Debug)]
pub struct Words<'a> {
    /// Its heading.
    pub title: &'a str,
    /// What was corrected by what.
    pub lead: &'a str,
    /// The readings sheet's name.
    pub sheet: &'a str,
    /// The correction's file; empty without one.
    pub correction: &'a str,
    /// What hurts.
    pub cautions: &'a [&'static str],
}

/// The page for these pieces.
///
/// # Errors
/// When the page cannot be filled in, which is a fault of this program.
pub fn page(words: &Words<'_>, pieces: &[(&Piece, Vec<Gauged<'_>>)]) -> Result<String, ReportError> {
    let drawn = pieces.iter().map(|(piece, gauged)| {
        let (svg, scale) = piece_drawing::svg(piece, gauged);
        let rows = gauged.iter().map(row).collect();
        Drawn { name: &piece.name, orientation: &piece.orientation, svg, scale, rows }
    });
    let page = Page {
        title: words.title,
        lead: words.lead,
        sheet: words.sheet,
        correction: words.correction,
        pieces: drawn.collect(),
        cautions: words.cautions,
    };
    Ok(page.render()?)
}

fn row<'a>(of: &Gauged<'a>) -> Row<'a> {
    let dimension = of.dimension;
    Row {
        letter: of.letter.map_or(String::new(), String::from),
        name: &dimension.name,
        kind: dimension.kind.name().replace('_', " "),
        wanted: format!("{:.3}", dimension.wanted_mm),
        drawn: format!("{:.3}", dimension.drawn_mm),
        expected: of.expected(),
        how: of.how,
    }
}
