//! Keys of a TOML table, taken one by one, each problem with its line and its dotted key.

use std::ops::Range;
use std::path::{Path, PathBuf};
use std::str::FromStr;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::problem::{Location, Problem};

/// The text being read and what was wrong so far.
pub(super) struct Source<'a> {
    text: &'a str,
    path: PathBuf,
    pub problems: Vec<Problem>,
}

/// One table of it.
#[derive(Clone)]
pub(super) struct Keys<'a> {
    table: &'a DeTable<'a>,
    /// Dotted name, empty for the whole file.
    name: String,
    span: Range<usize>,
}

impl<'a> Source<'a> {
    pub fn new(text: &'a str, path: &Path) -> Self {
        Self { text, path: path.to_owned(), problems: Vec::new() }
    }

    /// Notes a problem at a place of the text.
    pub fn problem(&mut self, at: usize, key: impl Into<String>, message: impl Into<String>) {
        let problem = Problem::error(self.location(at, key), message);
        self.problems.push(problem);
    }

    pub fn location(&self, at: usize, key: impl Into<String>) -> Location {
        let before = self.text.as_bytes().get(..at).unwrap_or(self.text.as_bytes());
        let line = 1 + before.iter().filter(|byte| **byte == b'\n').count() as u64;
        let key = key.into();
        let place = Location::file(&self.path).line(line);
        if key.is_empty() { place } else { place.column(key) }
    }
}

impl<'a> Keys<'a> {
    pub fn new(table: &'a Spanned<DeTable<'a>>) -> Self {
        Self { table: table.get_ref(), name: String::new(), span: table.span() }
    }

    fn of(table: &'a DeTable<'a>, name: String, span: Range<usize>) -> Self {
        Self { table, name, span }
    }

    /// The dotted name of a key of this table.
    pub fn dotted(&self, key: &str) -> String {
        if self.name.is_empty() { key.to_owned() } else { format!("{}.{key}", self.name) }
    }

    /// Where a key's value stands, or the table when it is missing.
    pub fn place(&self, key: &str) -> usize {
        self.table.get(key).map_or(self.span.start, |value| value.span().start)
    }

    pub fn has(&self, key: &str) -> bool {
        self.table.contains_key(key)
    }

    /// The keys of this table with their places.
    pub fn names(&self) -> Vec<(String, usize)> {
        self.table.iter().map(|(key, _)| (key.get_ref().to_string(), key.span().start)).collect()
    }

    fn value(&self, source: &mut Source<'_>, key: &str) -> Option<&'a DeValue<'a>> {
        let value = self.table.get(key).map(Spanned::get_ref);
        if value.is_none() {
            source.problem(self.span.start, self.dotted(key), "this key is missing");
        }
        value
    }

    fn wrong(&self, source: &mut Source<'_>, key: &str, found: &DeValue<'_>, expected: &str) {
        let found = match found {
            DeValue::Integer(number) => format!("`{number}`"),
            DeValue::Float(number) => format!("`{number}`"),
            DeValue::String(text) => format!("`{text}`"),
            other => format!("a {}", other.type_str()),
        };
        source.problem(self.place(key), self.dotted(key), format!("{found} is not {expected}"));
    }

    pub fn text(&self, source: &mut Source<'_>, key: &str) -> Option<String> {
        match self.value(source, key)? {
            DeValue::String(text) => Some(text.to_string()),
            other => {
                self.wrong(source, key, other, "a text in quotes");
                None
            }
        }
    }

    /// A word that stands for something.
    pub fn word<T: FromStr<Err = E>, E: std::fmt::Display>(
        &self,
        source: &mut Source<'_>,
        key: &str,
    ) -> Option<T> {
        let text = self.text(source, key)?;
        text.parse()
            .map_err(|error: E| source.problem(self.place(key), self.dotted(key), error.to_string()))
            .ok()
    }

    /// A whole number, 0 or more.
    pub fn whole(&self, source: &mut Source<'_>, key: &str) -> Option<u64> {
        let value = self.value(source, key)?;
        let found = match value {
            DeValue::Integer(number) => u64::from_str_radix(number.as_str(), number.radix()).ok(),
            _ => None,
        };
        if found.is_none() {
            self.wrong(source, key, value, "a whole number");
        }
        found
    }

    /// A finite number.
    pub fn number(&self, source: &mut Source<'_>, key: &str) -> Option<f64> {
        let value = self.value(source, key)?;
        let found = finite(value);
        if found.is_none() {
            self.wrong(source, key, value, "a finite number");
        }
        found
    }

    /// A finite number that is not below this.
    pub fn number_from(&self, source: &mut Source<'_>, key: &str, least: f64) -> Option<f64> {
        let number = self.number(source, key)?;
        if number < least {
            let message = format!("`{number}` is below {least}");
            source.problem(self.place(key), self.dotted(key), message);
            return None;
        }
        Some(number)
    }

    pub fn number_above(&self, source: &mut Source<'_>, key: &str, limit: f64) -> Option<f64> {
        let number = self.number(source, key)?;
        if number <= limit {
            let message = format!("`{number}` is not above {limit}");
            source.problem(self.place(key), self.dotted(key), message);
            return None;
        }
        Some(number)
    }

    fn array(&self, source: &mut Source<'_>, key: &str) -> Option<&'a [Spanned<DeValue<'a>>]> {
        match self.value(source, key)? {
            DeValue::Array(values) => Some(values),
            other => {
                self.wrong(source, key, other, "a list");
                None
            }
        }
    }

    pub fn texts(&self, source: &mut Source<'_>, key: &str) -> Option<Vec<String>> {
        let values = self.array(source, key)?;
        let texts: Option<Vec<String>> =
            values.iter().map(|value| value.get_ref().as_str().map(str::to_owned)).collect();
        if texts.is_none() {
            source.problem(self.place(key), self.dotted(key), "expected a list of texts in quotes");
        }
        texts
    }

    pub fn numbers(&self, source: &mut Source<'_>, key: &str) -> Option<Vec<f64>> {
        let values = self.array(source, key)?;
        let numbers: Option<Vec<f64>> = values.iter().map(|value| finite(value.get_ref())).collect();
        if numbers.is_none() {
            source.problem(self.place(key), self.dotted(key), "expected a list of finite numbers");
        }
        numbers
    }

    pub fn rows(&self, source: &mut Source<'_>, key: &str) -> Option<Vec<Vec<f64>>> {
        let rows = self.array(source, key)?;
        let numbers = |row: &Spanned<DeValue<'_>>| -> Option<Vec<f64>> {
            row.get_ref().as_array()?.iter().map(|value| finite(value.get_ref())).collect()
        };
        let rows: Option<Vec<Vec<f64>>> = rows.iter().map(numbers).collect();
        if rows.is_none() {
            source.problem(self.place(key), self.dotted(key), "expected rows of finite numbers");
        }
        rows
    }

    pub fn table(&self, source: &mut Source<'_>, key: &str) -> Option<Keys<'a>> {
        match self.value(source, key)? {
            DeValue::Table(table) => {
                let span = self.table.get(key).map_or(0..0, Spanned::span);
                Some(Keys::of(table, self.dotted(key), span))
            }
            other => {
                self.wrong(source, key, other, "a table");
                None
            }
        }
    }

    /// Tables written as `[[key]]`; none when the key is missing.
    pub fn tables(&self, source: &mut Source<'_>, key: &str) -> Vec<Keys<'a>> {
        if !self.has(key) {
            return Vec::new();
        }
        let Some(values) = self.array(source, key) else { return Vec::new() };
        let mut tables = Vec::new();
        for (at, value) in values.iter().enumerate() {
            let name = format!("{}[{at}]", self.dotted(key));
            match value.get_ref() {
                DeValue::Table(table) => tables.push(Keys::of(table, name, value.span())),
                _ => source.problem(value.span().start, name, "expected a table"),
            }
        }
        tables
    }
}

fn finite(value: &DeValue<'_>) -> Option<f64> {
    let number: f64 = match value {
        DeValue::Float(number) => number.as_str().parse().ok()?,
        DeValue::Integer(number) if number.radix() == 10 => number.as_str().parse().ok()?,
        _ => return None,
    };
    number.is_finite().then_some(number)
}
