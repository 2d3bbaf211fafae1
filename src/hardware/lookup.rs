//! A name as a person types it, to a row of a table, or the nearest names when there is none.

use crate::problem::nearest;
use crate::tables::built_in::{self, Row};

/// A name that no table here has.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("`{text}`: no {what} here is called so; {known}")]
pub struct NotSold {
    /// The offending text.
    pub text: String,
    /// What was looked for, such as `ball bearing`.
    pub what: &'static str,
    /// The names that would do, or from which to which they go.
    pub known: String,
    /// The closest name, when one is close.
    pub nearest: Option<&'static str>,
}

impl NotSold {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        self.nearest.map(|name| format!("did you mean {name}?"))
    }
}

/// All rows of a built-in table.
pub(super) fn read<T>(text: &'static str, read: impl Fn(&'static Row) -> T) -> Vec<T> {
    let rows: &'static [Row] = Box::leak(built_in::rows(text).into_boxed_slice());
    rows.iter().map(read).collect()
}

/// A number that every row of the table has.
pub(super) fn number(row: &'static Row, column: &str) -> f64 {
    // A test reads every row of every table.
    row.number(column).expect("the built-in hardware tables have a number in each column that must have one")
}

/// The row of this name, in any case.
pub(super) fn named<T>(
    rows: &'static [T],
    name_of: impl Fn(&'static T) -> &'static str,
    text: &str,
    what: &'static str,
) -> Result<&'static T, NotSold> {
    let asked = text.trim();
    if let Some(row) = rows.iter().find(|row| name_of(row).eq_ignore_ascii_case(asked)) {
        return Ok(row);
    }
    let mut names: Vec<&'static str> = rows.iter().map(&name_of).collect();
    names.dedup();
    Err(NotSold {
        text: asked.to_owned(),
        what,
        known: format!("known are {}", names.join(", ")),
        nearest: nearest(asked, names.iter().copied()),
    })
}
