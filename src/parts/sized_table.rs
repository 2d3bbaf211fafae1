//! A sized parts list as a table for the terminal.

use crate::fits::{Source, written};

use super::sized::percent;
use super::sized_list::{SizedLine, SizedList};

/// More lines than this are for the file and not for a screen.
const LONGEST: usize = 60;

const TITLES: [&str; 9] =
    ["part", "dimension", "kind", "target mm", "draw mm", "prints mm", "95 % from", "to", "chance"];

impl SizedList<'_> {
    /// The table: one row a dimension, texts to the left and numbers to the right.
    pub fn to_text(&self) -> String {
        let shown = &self.parts[..self.parts.len().min(LONGEST)];
        let rows: Vec<[String; 9]> =
            std::iter::once(TITLES.map(str::to_owned)).chain(shown.iter().map(row)).collect();
        let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
        let widths: [usize; 9] = std::array::from_fn(width);
        let mut text = String::new();
        for (number, row) in rows.iter().enumerate() {
            for (column, (cell, width)) in row.iter().zip(widths).enumerate() {
                let pad = " ".repeat(width - cell.chars().count());
                let is_text = column < 3;
                text.push_str(&if is_text { format!("{cell}{pad}  ") } else { format!("{pad}{cell}  ") });
            }
            if let Some(part) = number.checked_sub(1).map(|line| &shown[line]) {
                text.push_str(remark(part));
            }
            text.truncate(text.trim_end().len());
            text.push('\n');
        }
        if self.parts.len() > LONGEST {
            text.push_str(&format!("… and {} more\n", self.parts.len() - LONGEST));
        }
        for doubtful in self.doubtful.iter().take(LONGEST) {
            text.push_str(&doubtful.to_text());
            text.push('\n');
        }
        if self.doubtful.len() > LONGEST {
            text.push_str(&format!("… and {} more that may not fit\n", self.doubtful.len() - LONGEST));
        }
        text.push_str(&Source::to_text(&self.sources));
        text
    }
}

fn row(part: &SizedLine<'_>) -> [String; 9] {
    let hundredths = |value: Option<f64>| value.map_or(String::new(), |value| format!("{value:.2}"));
    [
        part.part.to_owned(),
        part.dimension.to_owned(),
        part.kind.name().to_owned(),
        hundredths(part.target_mm),
        part.draw_mm.map_or("-".to_owned(), written),
        hundredths(part.expected_mm),
        hundredths(part.low95_mm),
        hundredths(part.high95_mm),
        part.chance.map_or(String::new(), percent),
    ]
}

fn remark(part: &SizedLine<'_>) -> &'static str {
    if part.draw_mm.is_none() {
        "cannot be met"
    } else if part.extrapolated {
        "beyond the measured range"
    } else {
        ""
    }
}
