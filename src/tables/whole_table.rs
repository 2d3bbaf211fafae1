//! Small tables as a whole: any CSV that a spreadsheet writes to columns and rows of text.
//!
//! The same rules as for readings (encodings, separators, quotes, `#` lines above the header), for files
//! that are held in memory: a parts list, not a million readings.

use std::path::Path;

use crate::problem::{Location, Problem};

use super::number::Separator;
use super::{decode, number, records};

/// A header and the rows below it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Table {
    /// The lines above the header, each with its `#`.
    pub(crate) comments: Vec<String>,
    /// Line of the header, from 1.
    pub(crate) header_line: u64,
    /// The header's cells, without the spaces around them.
    pub(crate) columns: Vec<String>,
    /// The rows that are not blank.
    pub(crate) rows: Vec<Row>,
    /// What stands between cells.
    pub(crate) delimiter: u8,
}

/// One row.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Row {
    /// Line in the file, from 1.
    pub(crate) line: u64,
    /// Its cells, without the spaces around them.
    pub(crate) cells: Vec<String>,
}

impl Table {
    /// Where a column is, in whatever case.
    pub(crate) fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.eq_ignore_ascii_case(name))
    }

    /// A cell by its column's name; empty when there is no such column or the row is shorter.
    pub(crate) fn cell(&self, row: usize, name: &str) -> &str {
        let cell = self.column(name).and_then(|column| self.rows[row].cells.get(column));
        cell.map_or("", String::as_str)
    }
}

/// The table in these bytes of the file `path`.
///
/// # Errors
/// Bytes that are no text, no header, a quote that is not closed.
pub(crate) fn parse(bytes: &[u8], path: &Path) -> Result<Table, Vec<Problem>> {
    let text = decode::whole(bytes).map_err(|error| {
        vec![Problem::error(Location::file(path), error.to_string()).help("save it as CSV (UTF-8)")]
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let mut comments = Vec::new();
    let mut header_line = 1;
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        // A spreadsheet pads a comment with separators, and quotes it when it holds one; some write `sep=;`.
        let content = line.trim().trim_matches(['"', ',', ';', '\t']);
        if content.starts_with('#') {
            comments.push(content.to_owned());
        } else if !content.is_empty() && !content.to_lowercase().starts_with("sep=") {
            break;
        }
        header_line += 1;
        start += line.len();
    }
    let delimiter = delimiter_of(text[start..].lines().next().unwrap_or_default());
    if text[start..].is_empty() {
        return Err(vec![Problem::error(Location::file(path), "there is no header row")]);
    }
    let (columns, header) = records::header_cells(text.as_bytes(), start, delimiter);
    let mut rows = Vec::new();
    let mut workspace = records::Workspace::default();
    let body = &text.as_bytes()[header.end..];
    let lines_above = header_line + header.lines - 1;
    let leftover = records::for_each_row(body, delimiter, columns.len(), &mut workspace, |row| {
        if !row.is_blank_from(0) {
            // Spreadsheets pad every row to the widest one.
            let mut cells: Vec<String> = (0..row.len()).map(|cell| row.trimmed(cell).to_owned()).collect();
            while cells.len() > columns.len() && cells.last().is_some_and(String::is_empty) {
                cells.pop();
            }
            rows.push(Row { line: lines_above + row.line, cells });
        }
    });
    let open = leftover.open_quote.map(|line| lines_above + line).or(header.is_open.then_some(header_line));
    if let Some(line) = open {
        let place = Location::file(path).line(line);
        return Err(vec![Problem::error(place, "a quote is opened here and never closed")]);
    }
    Ok(Table { comments, header_line, columns, rows, delimiter })
}

/// The separator that the header has most of; a comma when it has none.
fn delimiter_of(header: &str) -> u8 {
    let count = |delimiter: u8| header.bytes().filter(|byte| *byte == delimiter).count();
    [b'\t', b';', b','].into_iter().max_by_key(|delimiter| count(*delimiter)).unwrap_or(b',')
}

/// The number in a cell and its decimal separator, or what is wrong with it and what would do.
pub(crate) fn number(cell: &str) -> Result<(f64, Option<char>), (String, Option<String>)> {
    match number::parse(cell) {
        Ok(number) => Ok((
            number.value,
            match number.separator {
                Separator::None => None,
                Separator::Point => Some('.'),
                Separator::Comma => Some(','),
            },
        )),
        Err(error) => Err((error.to_string(), error.help())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(text: &str) -> Table {
        parse(text.as_bytes(), Path::new("list.csv")).unwrap()
    }

    #[test]
    fn the_separator_is_the_headers_and_lines_count_from_the_top_of_the_file() {
        for delimiter in [',', ';', '\t'] {
            let text =
                "\u{feff}# invented\r\n\r\nkind|Target_mm|note\r\nbore|8|\"a|b\"\r\n||\r\n\r\npin|5\r\n";
            let table = table(&text.replace('|', &delimiter.to_string()));
            assert_eq!(table.columns, ["kind", "Target_mm", "note"]);
            assert_eq!(table.comments, ["# invented"]);
            assert_eq!((table.header_line, table.delimiter), (3, delimiter as u8));
            let lines: Vec<u64> = table.rows.iter().map(|row| row.line).collect();
            assert_eq!(lines, [4, 7]);
            assert_eq!(table.cell(0, "note"), format!("a{delimiter}b"));
            assert_eq!((table.cell(1, "target_mm"), table.cell(1, "note")), ("5", ""));
        }
    }

    #[test]
    fn comments_that_a_spreadsheet_padded_or_quoted_are_comments_still() {
        let table = table("sep=,\n# invented,,\n\"# a, b\",,\n,,\nkind,target_mm,\nbore,8,,\n");
        assert_eq!(table.comments, ["# invented", "# a, b"]);
        assert_eq!(table.header_line, 5);
        assert_eq!(table.rows, [Row { line: 6, cells: ["bore", "8", ""].map(str::to_owned).to_vec() }]);
    }

    #[test]
    fn what_is_no_table_is_told() {
        let refusal = |text: &[u8]| parse(text, Path::new("l.csv")).unwrap_err()[0].to_string();
        assert_eq!(refusal(b"# only\n"), "error: l.csv: there is no header row");
        assert_eq!(refusal(b"kind,a\nbore,\"b\n"), "error: l.csv:2: a quote is opened here and never closed");
        assert!(refusal(b"PK\x03\x04").starts_with("error: l.csv: this is a spreadsheet file"));
    }
}
