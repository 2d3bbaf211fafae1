//! Reads the tables that are built into the program: cells by header name, text borrowed for good.

use std::collections::BTreeMap;

/// One row of a built-in table.
pub(crate) struct Row {
    columns: &'static BTreeMap<String, usize>,
    cells: csv::StringRecord,
}

impl Row {
    /// The cell under this header.
    pub(crate) fn text(&'static self, column: &str) -> &'static str {
        let index =
            self.columns.get(column).expect("the built-in tables have the columns that are asked for");
        self.cells.get(*index).unwrap_or_default()
    }

    /// The number under this header; `None` for an empty cell or a word.
    pub(crate) fn number(&'static self, column: &str) -> Option<f64> {
        self.text(column).parse().ok()
    }
}

/// All rows of a built-in table.
///
/// Called once a table: the header is leaked, so that rows can hand out text that lives for good.
pub(crate) fn rows(text: &'static str) -> Vec<Row> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = reader.headers().expect("a built-in table has a header");
    let columns: BTreeMap<String, usize> =
        header.iter().enumerate().map(|(index, name)| (name.to_owned(), index)).collect();
    let columns = &*Box::leak(Box::new(columns));
    let records = reader.records().map(|record| record.expect("a built-in table is regular"));
    records.map(|cells| Row { columns, cells }).collect()
}
