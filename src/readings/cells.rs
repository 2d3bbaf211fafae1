//! The cells that say what is measured to kind, axis, nominal size and print, or what is wrong with them.

use crate::kind::{Axis, Kind, UnknownWord};

use super::layout::shortened;
use super::number;
use super::records::Row;
use super::rows::{LARGEST_MM, MOST_COPIES, Reader, is_size, not_a_number};
use super::table::Definition;

impl Reader<'_> {
    /// Understands the defining cells, or says what is wrong with each.
    pub(super) fn understand(&mut self, row: &Row<'_>) -> Option<u32> {
        let kind = self.word::<Kind>(row, self.layout.kind, "kind");
        let axis = match self.layout.axis {
            Some(column) if !row.trimmed(column).is_empty() => self.word::<Axis>(row, column, "axis"),
            // Only a height has one direction that goes without saying.
            _ if kind == Some(Kind::Height) => Some(Axis::Z),
            _ => Some(Axis::Round),
        };
        let nominal_mm = self.nominal(row);
        let (kind, axis, nominal_mm) = (kind?, axis?, nominal_mm?);
        let text = |column: Option<usize>| column.map_or("", |column| row.trimmed(column));
        let feature = match text(self.layout.feature) {
            "" => format!("{kind}-{axis}-{nominal_mm}").into(),
            name => name.into(),
        };
        let coupon = text(self.layout.coupon).into();
        Some(self.definitions.number(Definition { coupon, feature, kind, axis, nominal_mm }))
    }

    pub(super) fn word<T: std::str::FromStr<Err = UnknownWord>>(
        &mut self,
        row: &Row<'_>,
        column: usize,
        what: &str,
    ) -> Option<T> {
        let text = row.trimmed(column);
        if text.is_empty() {
            self.problem(row, column, format!("the {what} is blank"), None);
            return None;
        }
        // `horizontal bore` and `horizontal-bore` are as good.
        match text.replace([' ', '-'], "_").parse::<T>() {
            Ok(word) => Some(word),
            Err(unknown) => {
                let message = format!("`{}` is no {what}", shortened(text));
                let help = match unknown.nearest {
                    // Any letter is one slip away from any other.
                    Some(nearest) if text.len() > 1 => format!("did you mean `{nearest}`?"),
                    _ => format!("expected one of {}", unknown.expected),
                };
                self.problem(row, column, message, Some(help));
                None
            }
        }
    }

    fn nominal(&mut self, row: &Row<'_>) -> Option<f64> {
        let column = self.layout.nominal;
        let text = row.trimmed(column);
        let (message, help) = match number::parse(text) {
            _ if text.is_empty() => ("the nominal size is blank".to_owned(), None),
            Err(error) => not_a_number(&error),
            Ok(number) => {
                self.note_separator(number, row, column);
                if is_size(number.value) {
                    return Some(number.value);
                }
                let help = "write the size that the feature is drawn at, in mm".to_owned();
                (format!("`{{cell}}` is no nominal size: expected above 0 to {LARGEST_MM} mm"), Some(help))
            }
        };
        self.problem(row, column, message.replace("{cell}", text), help);
        None
    }

    /// Which print, 1 when the sheet does not say.
    #[inline]
    pub(super) fn copy(&mut self, row: &Row<'_>) -> Option<u32> {
        let Some(column) = self.layout.copy else { return Some(1) };
        if let Some((copy, length)) = number::whole(row.cell(column))
            && length == row.cell(column).len()
        {
            return Some(copy);
        }
        let number = match number::plain(row.cell(column)) {
            Some(number) => Some(number),
            None => match row.trimmed(column) {
                "" => return Some(1),
                text => number::parse(text).ok(),
            },
        };
        let copy = number.map(|number| number.value);
        if let Some(copy) = copy.filter(|copy| (1.0..=MOST_COPIES).contains(copy) && copy.fract() == 0.0) {
            return Some(copy as u32);
        }
        let message = format!("`{}` is no number of a print", shortened(row.trimmed(column)));
        let help = "number the prints of a coupon 1, 2, 3, …".to_owned();
        self.problem(row, column, message, Some(help));
        None
    }
}
