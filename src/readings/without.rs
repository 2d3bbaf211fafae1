//! A readings sheet without the readings that a person sets aside by their lines.
//!
//! Repeats are summarised while a sheet is read, so a reading cannot be taken out afterwards. Its cell is
//! blanked in memory before the sheet is read, which changes no line number; the file is never changed.

use std::collections::BTreeSet;
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::files;
use crate::problem::{Location, Problem};

use super::records::{Workspace, for_each_row};
use super::rows::{MM_PER_INCH, is_size};
use super::{CheckedReadings, Source, check, decode, hexadecimal, layout, number, read_bytes};

/// A reading that a person set aside.
#[derive(Clone, Debug, PartialEq)]
pub struct SetAsideReading {
    /// The setup that it belongs to.
    pub setup: String,
    /// Line in the file.
    pub line: u64,
    /// What was read, mm.
    pub reading_mm: f64,
}

/// Reads and checks a file without the readings on these lines, which the answer lists.
///
/// # Errors
/// Everything that is wrong with the file, and every line that has no reading.
pub fn read_file_without(path: &Path, lines: &BTreeSet<u64>) -> Result<CheckedReadings, Vec<Problem>> {
    let bytes = std::fs::read(path).map_err(|error| {
        let problem = Problem::error(Location::file(path), format!("cannot read: {error}"));
        vec![problem.help_if(files::advice(&error))]
    })?;
    read_bytes_without(path, &bytes, lines)
}

/// The same of the bytes of a file.
///
/// # Errors
/// As [`read_file_without`].
pub fn read_bytes_without(
    path: &Path,
    bytes: &[u8],
    lines: &BTreeSet<u64>,
) -> Result<CheckedReadings, Vec<Problem>> {
    let text = decode::whole(bytes)
        .map_err(|error| vec![Problem::error(Location::file(path), error.to_string()).help(error.help())])?;
    let mut text = text.into_bytes();
    let set_aside = blank(&mut text, lines).map_err(|problems| check::placed(path, problems))?;
    let without_reading = lines.iter().filter(|line| !set_aside.iter().any(|aside| aside.line == **line));
    let mut problems: Vec<Problem> = without_reading
        .map(|line| {
            let place = Location::file(path).line(*line);
            Problem::error(place, "--set-aside: this line has no reading").help(
                "name the line of a row with readings; a text editor and the messages of `fit` count from 1",
            )
        })
        .collect();
    match read_bytes(path, &text) {
        Ok(checked) if problems.is_empty() => {
            let sha256 = hexadecimal(Sha256::digest(bytes).as_slice());
            Ok(CheckedReadings { source: Source { path: path.to_owned(), sha256 }, set_aside, ..checked })
        }
        Ok(_) => Err(problems),
        Err(found) => {
            // A cell that is no number says more than that there is no reading.
            problems
                .retain(|problem| !found.iter().any(|other| other.location.line == problem.location.line));
            problems.extend(found);
            problems.sort_by_key(|problem| problem.location.line);
            Err(problems)
        }
    }
}

/// Overwrites the readings on these lines with spaces; what they were.
fn blank(text: &mut [u8], lines: &BTreeSet<u64>) -> Result<Vec<SetAsideReading>, Vec<Problem>> {
    let layout = layout::read(text)?;
    let (mut found, mut places) = (Vec::new(), Vec::new());
    let body = &text[layout.body..];
    for_each_row(body, layout.delimiter, layout.names.len(), &mut Workspace::default(), |row| {
        let line = row.line + layout.lines_above;
        if !lines.contains(&line) {
            return;
        }
        let setup = match layout.setup.map_or("", |column| row.trimmed(column)) {
            "" => "unnamed",
            name => name,
        };
        for column in &layout.readings {
            // What is no number is left for the reader to say so.
            let Ok(number) = number::parse(row.trimmed(*column)) else { continue };
            let reading_mm = if layout.inches { number.value * MM_PER_INCH } else { number.value };
            if let Some(place) = row.place(*column).filter(|_| is_size(reading_mm)) {
                found.push(SetAsideReading { setup: setup.to_owned(), line, reading_mm });
                places.push(place);
            }
        }
    });
    for place in places {
        text[layout.body + place.start..layout.body + place.end].fill(b' ');
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::{read_bytes, sha256};

    const SHEET: &str = "# unit: mm\nsetup;kind;nominal_mm;reading_1_mm;reading_2_mm;note\n\
        petg;bore;5;4,81;\"4,83\";\"two\nlines\"\npetg;bore;8;8,71;7,83;\npla;pin;8;;;\n\n;pin;8;8,1;8,2;\n";

    fn without(lines: &[u64]) -> Result<CheckedReadings, Vec<Problem>> {
        read_bytes_without(Path::new("r.csv"), SHEET.as_bytes(), &lines.iter().copied().collect())
    }

    #[test]
    fn the_readings_of_a_line_go_and_are_listed_and_everything_else_stays() {
        let all = read_bytes(Path::new("r.csv"), SHEET.as_bytes()).unwrap();
        let left = without(&[3, 8]).unwrap();
        let asides: Vec<(&str, u64, f64)> =
            left.set_aside.iter().map(|aside| (&*aside.setup, aside.line, aside.reading_mm)).collect();
        assert_eq!(asides, [("petg", 3, 4.81), ("petg", 3, 4.83), ("unnamed", 8, 8.1), ("unnamed", 8, 8.2)]);
        assert_eq!((all.readings, left.readings), (6, 2));
        assert_eq!(left.source.sha256, sha256(SHEET.as_bytes()));
        let of = |checked: &CheckedReadings| checked.setup(0).unwrap().features.last().unwrap().clone();
        assert_eq!(of(&left), of(&all));
        assert_eq!(of(&left).repeats.lowest.line, 5);
    }

    #[test]
    fn a_line_without_a_reading_is_named_each_in_its_place() {
        let told: Vec<String> = without(&[2, 5, 6, 99]).unwrap_err().iter().map(Problem::to_string).collect();
        let help = "\n  help: name the line of a row with readings; a text editor and the messages of `fit` count from 1";
        let each = |line: u32| format!("error: r.csv:{line}: --set-aside: this line has no reading{help}");
        assert_eq!(told, [each(2), each(6), each(99)]);
    }

    #[test]
    fn what_is_wrong_with_the_sheet_is_told_as_ever() {
        let text = SHEET.replace("4,81", "4,8l");
        let told = read_bytes_without(Path::new("r.csv"), text.as_bytes(), &BTreeSet::from([3])).unwrap_err();
        assert!(told[0].to_string().starts_with("error: r.csv:3: reading_1_mm: `4,8l` is not a number"));
    }
}
