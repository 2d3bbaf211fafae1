//! Text to rows of cells: separators, quotes, comment lines, line numbers.
//!
//! A cell that begins with a quote runs to the closing quote and may hold separators and line ends; a
//! doubled quote stands for one. A quote inside a bare cell is a letter like any other (`6" caliper`).
//! A row that begins with `#` is a comment. Rows end in LF or CR LF.
//!
//! Blocks without a quote, the usual ones, are searched for separators and line ends eight bytes at
//! a time, where a row is not as expected anyway ([`RowReader::expected_row`]). Blocks with quotes are
//! read one cell after the other.

/// Where a cell is: in the block, or behind its end in the scratch text where quotes were undone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Span {
    start: usize,
    end: usize,
}

/// One row that is no comment and not blank.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Row<'a> {
    text: &'a [u8],
    scratch: &'a [u8],
    spans: &'a [Span],
    /// The line it begins on, from 1 at the start of the block.
    pub(crate) line: u64,
    /// The block has no quotes: neighbouring cells are one separator apart.
    pub(crate) plain: bool,
}

impl<'a> Row<'a> {
    /// How many cells.
    pub(crate) fn len(&self) -> usize {
        self.spans.len()
    }

    /// A cell, as typed, without its quotes; empty when the row is shorter.
    #[inline]
    pub(crate) fn cell(&self, column: usize) -> &'a [u8] {
        self.spans.get(column).map_or(&[], |span| {
            if span.start < self.text.len() {
                &self.text[span.start..span.end]
            } else {
                &self.scratch[span.start - self.text.len()..span.end - self.text.len()]
            }
        })
    }

    /// Where a cell is in the text of its block, without its quotes; `None` when the row is shorter, or
    /// where quotes inside it had to be undone.
    pub(crate) fn place(&self, column: usize) -> Option<std::ops::Range<usize>> {
        let span = self.spans.get(column).filter(|span| span.end <= self.text.len())?;
        Some(span.start..span.end)
    }

    /// The text from the first to the last of these columns, in a plain row.
    #[inline]
    pub(crate) fn stretch(&self, first: usize, last: usize) -> &'a [u8] {
        &self.text[self.spans[first].start..self.spans[last].end]
    }

    /// A cell as text without the spaces around it.
    pub(crate) fn trimmed(&self, column: usize) -> &'a str {
        as_text(self.cell(column)).trim()
    }

    /// The row with its cells separated by `delimiter` and without quotes.
    pub(crate) fn rejoined(&self, delimiter: u8) -> Vec<u8> {
        let cells: Vec<&[u8]> = (0..self.len()).map(|column| self.cell(column)).collect();
        cells.join(&delimiter)
    }

    /// Whether every cell from this column on is blank.
    pub(crate) fn is_blank_from(&self, column: usize) -> bool {
        (column..self.len()).all(|column| self.trimmed(column).is_empty())
    }
}

/// Blocks are checked to be UTF-8 and cut at ASCII letters only, so that every piece is text.
pub(crate) fn as_text(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap_or_default()
}

/// What there was besides rows.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Leftover {
    /// Lines in the block.
    pub(crate) lines: u64,
    /// Rows that begin with `#` and have as many cells as were asked for.
    pub(crate) commented: u64,
    /// Line of the first of them.
    pub(crate) first_commented: Option<u64>,
    /// Line of a quote that is never closed.
    pub(crate) open_quote: Option<u64>,
}

/// What rows are read by.
pub(crate) trait RowReader {
    /// Reads the row of `text` that begins at `from`, on this line, when it is as expected; where the next
    /// one begins. The text has no quotes.
    fn expected_row(&mut self, text: &[u8], from: usize, line: u64) -> Option<usize>;

    /// Reads a row.
    fn row(&mut self, row: Row<'_>);
}

/// Memory that is used again for every block.
#[derive(Debug, Default)]
pub(crate) struct Workspace {
    spans: Vec<Span>,
    scratch: Vec<u8>,
}

/// Calls `on_row` for every row of `text`; rows are expected to have `columns` cells.
pub(crate) fn for_each_row(
    text: &[u8],
    delimiter: u8,
    columns: usize,
    workspace: &mut Workspace,
    on_row: impl FnMut(Row<'_>),
) -> Leftover {
    read_rows(text, delimiter, columns, workspace, &mut General(on_row))
}

/// Expects nothing of a row.
struct General<F>(F);

impl<F: FnMut(Row<'_>)> RowReader for General<F> {
    fn expected_row(&mut self, _: &[u8], _: usize, _: u64) -> Option<usize> {
        None
    }

    fn row(&mut self, row: Row<'_>) {
        self.0(row);
    }
}

/// Has every row of `text` read; rows are expected to have `columns` cells.
pub(crate) fn read_rows(
    text: &[u8],
    delimiter: u8,
    columns: usize,
    workspace: &mut Workspace,
    reader: &mut impl RowReader,
) -> Leftover {
    let with_quotes = text.contains(&b'"');
    let Workspace { spans, scratch } = workspace;
    let mut leftover = Leftover::default();
    let mut at = 0;
    while at < text.len() {
        let line = leftover.lines + 1;
        if !with_quotes && let Some(end) = reader.expected_row(text, at, line) {
            at = end;
            leftover.lines = line;
            continue;
        }
        if with_quotes {
            let record = split_record(text, at, delimiter, spans, scratch);
            leftover.lines += record.lines;
            at = record.end;
            if record.is_open {
                leftover.open_quote = Some(line);
                break;
            }
        } else {
            at = split_plain(text, at, delimiter, spans);
            leftover.lines = line;
        }
        if let Some(row) = finished_row(text, scratch, spans, line, !with_quotes) {
            match row.cell(0) {
                [b'#', ..] => {
                    if row.len() == columns && !row.is_blank_from(1) {
                        leftover.commented += 1;
                        leftover.first_commented.get_or_insert(line);
                    }
                }
                _ => reader.row(row),
            }
        }
    }
    leftover
}

/// A row without the carriage return at its end, when it is not blank.
fn finished_row<'a>(
    text: &'a [u8],
    scratch: &'a [u8],
    spans: &'a mut [Span],
    line: u64,
    plain: bool,
) -> Option<Row<'a>> {
    if let Some(last) = spans.last_mut()
        && last.end > last.start
        && last.end <= text.len()
        && text[last.end - 1] == b'\r'
    {
        last.end -= 1;
    }
    let row = Row { text, scratch, spans, line, plain };
    (row.len() > 1 || !row.cell(0).is_empty()).then_some(row)
}

/// Splits the row without quotes that begins at `from` into `spans`; where the next one begins.
fn split_plain(text: &[u8], from: usize, delimiter: u8, spans: &mut Vec<Span>) -> usize {
    const ONES: u64 = u64::from_le_bytes([1; 8]);
    const LOW: u64 = 0x7f * ONES;
    // The top bit of each byte that is zero, exactly: no carry crosses a byte.
    let zeros = |word: u64| !(((word & LOW) + LOW) | word | LOW);
    let (separators, feeds) = (ONES * u64::from(delimiter), ONES * u64::from(b'\n'));
    spans.clear();
    let mut start = from;
    let (words, rest) = text[from..].as_chunks::<8>();
    for (word, at) in words.iter().zip((from..).step_by(8)) {
        let word = u64::from_le_bytes(*word);
        let ends = zeros(word ^ feeds);
        let mut found = zeros(word ^ separators) | ends;
        while found != 0 {
            let end = at + found.trailing_zeros() as usize / 8;
            spans.push(Span { start, end });
            start = end + 1;
            if ends & found & found.wrapping_neg() != 0 {
                return start;
            }
            found &= found - 1;
        }
    }
    for (byte, end) in rest.iter().zip(text.len() - rest.len()..) {
        if *byte == delimiter || *byte == b'\n' {
            spans.push(Span { start, end });
            start = end + 1;
            if *byte == b'\n' {
                return start;
            }
        }
    }
    spans.push(Span { start, end: text.len() });
    text.len()
}

/// One record: where the next begins, how many lines it spans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Record {
    /// Where the next record begins.
    pub(crate) end: usize,
    /// Line ends in it, counting the end of the text as one.
    pub(crate) lines: u64,
    /// A quote is not closed before the text ends.
    pub(crate) is_open: bool,
    /// It ends with a line feed and not with the text.
    pub(crate) is_whole: bool,
}

/// Splits the record that begins at `from` into `spans`.
pub(crate) fn split_record(
    text: &[u8],
    from: usize,
    delimiter: u8,
    spans: &mut Vec<Span>,
    scratch: &mut Vec<u8>,
) -> Record {
    spans.clear();
    scratch.clear();
    let is_comment = text.get(from) == Some(&b'#');
    let mut lines = 1;
    let mut at = from;
    loop {
        let is_quoted = !is_comment && text.get(at) == Some(&b'"');
        let (span, end) = if is_quoted {
            match quoted_cell(text, at, delimiter, scratch) {
                Some(cell) => cell,
                None => {
                    let lines = lines + feeds(&text[at..]);
                    return Record { end: text.len(), lines, is_open: true, is_whole: false };
                }
            }
        } else {
            let end = end_of_bare(text, at, delimiter);
            (Span { start: at, end }, end)
        };
        if is_quoted {
            lines += feeds(&text[at..end]);
        }
        spans.push(span);
        match text.get(end) {
            Some(b'\n') => return Record { end: end + 1, lines, is_open: false, is_whole: true },
            None => return Record { end, lines, is_open: false, is_whole: false },
            Some(_) => at = end + 1,
        }
    }
}

/// The cell whose opening quote is at `from`, and where it ends; `None` when the quote is not closed.
fn quoted_cell(text: &[u8], from: usize, delimiter: u8, scratch: &mut Vec<u8>) -> Option<(Span, usize)> {
    let copied_from = scratch.len();
    let mut piece = from + 1;
    let mut search = piece;
    let quote = loop {
        let quote = search + text[search..].iter().position(|byte| *byte == b'"')?;
        if text.get(quote + 1) != Some(&b'"') {
            break quote;
        }
        // Keep one of the two.
        scratch.extend_from_slice(&text[piece..=quote]);
        piece = quote + 2;
        search = piece;
    };
    let end = end_of_bare(text, quote + 1, delimiter);
    let behind = text[quote + 1..end].trim_ascii_end();
    if scratch.len() == copied_from && behind.is_empty() {
        return Some((Span { start: piece, end: quote }, end));
    }
    scratch.extend_from_slice(&text[piece..quote]);
    scratch.extend_from_slice(behind);
    Some((Span { start: text.len() + copied_from, end: text.len() + scratch.len() }, end))
}

fn end_of_bare(text: &[u8], from: usize, delimiter: u8) -> usize {
    let length = text[from..].iter().position(|byte| *byte == delimiter || *byte == b'\n');
    length.map_or(text.len(), |length| from + length)
}

fn feeds(text: &[u8]) -> u64 {
    text.iter().filter(|byte| **byte == b'\n').count() as u64
}

/// Where the last whole record of `text` ends; `None` when there is none.
pub(crate) fn end_of_last_record(text: &[u8], delimiter: u8) -> Option<usize> {
    if !text.contains(&b'"') {
        return text.iter().rposition(|byte| *byte == b'\n').map(|at| at + 1);
    }
    let (mut spans, mut scratch) = (Vec::new(), Vec::new());
    let mut end = 0;
    loop {
        let record = split_record(text, end, delimiter, &mut spans, &mut scratch);
        if !record.is_whole {
            return (end > 0).then_some(end);
        }
        end = record.end;
    }
}

/// Where the rows of the last setup of `text` begin, all of them whole; `None` when all rows have the same
/// text in this column. Comments and blank rows belong to what comes after them.
pub(crate) fn start_of_last_setup(text: &[u8], delimiter: u8, column: usize) -> Option<usize> {
    let is_blank = |row: &[u8]| row.iter().all(|byte| byte.is_ascii_whitespace() || *byte == delimiter);
    let is_row = |row: &[u8]| !row.starts_with(b"#") && !is_blank(row);
    if text.contains(&b'"') {
        return start_of_last_quoted_setup(text, delimiter, column, is_row);
    }
    let mut end = text.iter().rposition(|byte| *byte == b'\n')? + 1;
    let mut last = None;
    while end > 0 {
        let start = text[..end - 1].iter().rposition(|byte| *byte == b'\n').map_or(0, |feed| feed + 1);
        let row = &text[start..end - 1];
        let row = row.strip_suffix(b"\r").unwrap_or(row);
        if is_row(row) {
            let setup = row.split(|byte| *byte == delimiter).nth(column).unwrap_or_default();
            if *last.get_or_insert(setup) != setup {
                return Some(end);
            }
        }
        end = start;
    }
    None
}

/// The same, from the front: only from there quotes can be told apart.
fn start_of_last_quoted_setup(
    text: &[u8],
    delimiter: u8,
    column: usize,
    is_row: impl Fn(&[u8]) -> bool,
) -> Option<usize> {
    let (mut spans, mut scratch) = (Vec::new(), Vec::new());
    let (mut at, mut before, mut found) = (0, None, None);
    loop {
        let record = split_record(text, at, delimiter, &mut spans, &mut scratch);
        if !record.is_whole {
            return found;
        }
        if is_row(&text[at..record.end]) {
            let row = Row { text, scratch: &scratch, spans: &spans, line: 1, plain: false };
            let setup = row.cell(column).to_vec();
            if before.as_ref().is_some_and(|before| *before != setup) {
                found = Some(at);
            }
            before = Some(setup);
        }
        at = record.end;
    }
}

/// The cells of the record that begins at `from`, as text without the spaces around, and the record.
pub(crate) fn header_cells(text: &[u8], from: usize, delimiter: u8) -> (Vec<String>, Record) {
    let (mut spans, mut scratch) = (Vec::new(), Vec::new());
    let record = split_record(text, from, delimiter, &mut spans, &mut scratch);
    let row = Row { text, scratch: &scratch, spans: &spans, line: 1, plain: false };
    ((0..row.len()).map(|column| row.trimmed(column).to_owned()).collect(), record)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn rows(text: &str, delimiter: u8) -> (Vec<(u64, Vec<String>)>, Leftover) {
        let mut rows = Vec::new();
        let leftover = for_each_row(text.as_bytes(), delimiter, 2, &mut Workspace::default(), |row| {
            let cells = (0..row.len()).map(|column| as_text(row.cell(column)).to_owned());
            rows.push((row.line, cells.collect()));
        });
        (rows, leftover)
    }

    fn row(line: u64, cells: &[&str]) -> (u64, Vec<String>) {
        (line, cells.iter().map(|cell| (*cell).to_owned()).collect())
    }

    #[test]
    fn rows_carry_their_lines_past_blank_lines_and_comments() {
        let (found, leftover) = rows("a,b\r\n\n# skipped, c\n#\nc,\nlast", b',');
        assert_eq!(found, [row(1, &["a", "b"]), row(5, &["c", ""]), row(6, &["last"])]);
        assert_eq!(leftover.lines, 6);
        assert_eq!((leftover.commented, leftover.first_commented), (1, Some(3)));
    }

    #[test]
    fn quotes_hold_separators_line_ends_and_quotes() {
        let (found, leftover) =
            rows("\"a,\n1\",\"say \"\"so\"\"\"\r\n6\" caliper,x\n# a \" in a comment\ny,\"z\"t\n", b',');
        assert_eq!(
            found,
            [row(1, &["a,\n1", "say \"so\""]), row(3, &["6\" caliper", "x"]), row(5, &["y", "zt"])]
        );
        assert_eq!(leftover.lines, 5);
    }

    #[test]
    fn a_quote_that_is_never_closed_is_reported_with_the_line_of_its_row() {
        let (found, leftover) = rows("a,b\nc,\"d\ne,f\n", b',');
        assert_eq!(found, [row(1, &["a", "b"])]);
        assert_eq!(leftover.open_quote, Some(2));
    }

    #[test]
    fn a_block_is_cut_behind_its_last_whole_record() {
        assert_eq!(end_of_last_record(b"a,b\nc", b','), Some(4));
        assert_eq!(end_of_last_record(b"a,b", b','), None);
        assert_eq!(end_of_last_record(b"a,\"b\nc", b','), None);
        assert_eq!(end_of_last_record(b"a\nc,\"b\nc", b','), Some(2));
        assert_eq!(end_of_last_record(b"a,\"b\nc\"\nd", b','), Some(8));
    }

    #[test]
    fn the_last_setup_begins_where_its_rows_differ_from_those_before() {
        let start = |text: &str| start_of_last_setup(text.as_bytes(), b',', 1);
        assert_eq!(start("1,a\n2,a\n3,b\n4,b\n5"), Some(8));
        assert_eq!(start("1,a\n2,b\n# c,d\n\n,,\n3,b\r\n"), Some(4));
        assert_eq!(start("1,a\n2,a\n"), None);
        assert_eq!(start("1,a"), None);
        assert_eq!(start("\"1\n,x\",a\n2,\"b\"\n3,b\n4,\"b"), Some(9));
        assert_eq!(start("\"1\",a\n2,\"a\"\n"), None);
    }

    proptest! {
        /// csv-core, the usual reader of such files, is the other opinion.
        #[test]
        fn cells_are_those_that_the_csv_crate_reads(text in "[ab,;\"\n]{0,40}") {
            let mut reader = csv::ReaderBuilder::new()
                .has_headers(false).flexible(true).from_reader(text.as_bytes());
            let expected: Vec<Vec<String>> = reader.records()
                .map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
            let (found, leftover) = rows(&text, b',');
            let mut found: Vec<Vec<String>> = found.into_iter().map(|(_, cells)| cells).collect();
            // A blank quoted cell alone on its row is no row here.
            let expected: Vec<_> = expected.into_iter().filter(|cells| cells.as_slice() != [""]).collect();
            found.truncate(expected.len());
            let whole = expected.len() - usize::from(leftover.open_quote.is_some() && !expected.is_empty());
            prop_assert!(found.len() >= whole);
            prop_assert_eq!(&found[..whole], &expected[..whole]);
        }

        #[test]
        fn quoting_every_cell_changes_nothing(text in "[ab ,\n]{0,60}") {
            let quoted: String = text.split('\n')
                .map(|line| line.split(',').map(|cell| format!("\"{cell}\"")).collect::<Vec<_>>().join(","))
                .collect::<Vec<_>>().join("\n");
            prop_assert_eq!(rows(&text, b',').0, rows(&quoted, b',').0);
        }
    }
}
