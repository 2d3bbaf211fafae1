//! Tables by size step: one row a step, "over … up to and including", one column a quantity.

/// One table, as embedded: `#` lines say the source, the header names the columns.
pub(super) struct Steps {
    columns: Vec<&'static str>,
    rows: Vec<Row>,
}

struct Row {
    to_mm: f64,
    values: Vec<Option<f64>>,
}

impl Steps {
    /// From text whose first two columns are the step's ends, in rising order. An empty cell is not given.
    pub(super) fn parse(text: &'static str) -> Self {
        let mut lines = text.lines().filter(|line| !line.starts_with('#'));
        let columns = lines.next().unwrap_or_default().split(',').skip(2).collect();
        let rows = lines.filter_map(|line| {
            let mut cells = line.split(',').skip(1).map(|cell| cell.parse().ok());
            Some(Row { to_mm: cells.next()??, values: cells.collect() })
        });
        Self { columns, rows: rows.collect() }
    }

    /// What the table gives at this size; `None` beyond its last step, for an empty cell or no column.
    pub(super) fn at(&self, size_mm: f64, column: &str) -> Option<f64> {
        let column = self.columns.iter().position(|name| *name == column)?;
        let row = self.rows.iter().find(|row| size_mm <= row.to_mm)?;
        *row.values.get(column)?
    }

    /// The end of the last step, mm.
    pub(super) fn largest_mm(&self) -> f64 {
        self.rows.last().map_or(0.0, |row| row.to_mm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = "# source: invented\nover_mm,to_mm,a,b\n0,3,1,\n3,6,-2,0.5\n";

    #[test]
    fn a_size_on_a_step_belongs_to_the_step_that_ends_there() {
        let steps = Steps::parse(TABLE);
        assert_eq!(steps.at(3.0, "a"), Some(1.0));
        assert_eq!(steps.at(3.001, "a"), Some(-2.0));
        assert_eq!(steps.at(6.0, "b"), Some(0.5));
        assert_eq!(steps.largest_mm(), 6.0);
    }

    #[test]
    fn what_is_not_given_is_none() {
        let steps = Steps::parse(TABLE);
        assert_eq!(steps.at(2.0, "b"), None);
        assert_eq!(steps.at(2.0, "c"), None);
        assert_eq!(steps.at(6.001, "a"), None);
    }
}
