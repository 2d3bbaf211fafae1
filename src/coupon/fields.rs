//! Reads one table of a TOML file key by key, and collects every problem instead of stopping at the
//! first.
//!
//! A [`Fields`] hands out typed values and remembers which keys were asked for; what is left over at the
//! end is unknown and answered with the nearest key that was asked for. A value that is missing or wrong
//! is recorded as a problem and replaced by a usable one, so that the rest of the file is checked too; the
//! caller throws the result away when [`Document::problems`] is not empty.

use std::cell::RefCell;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::problem::{Location, Problem, nearest};

/// The text of a file, its name, and what has been found wrong with it.
pub(super) struct Document<'a> {
    file: &'a Path,
    text: &'a str,
    problems: RefCell<Vec<Problem>>,
}

impl<'a> Document<'a> {
    pub(super) fn new(file: &'a Path, text: &'a str) -> Self {
        Self { file, text, problems: RefCell::default() }
    }

    /// The problems so far, in file order.
    pub(super) fn problems(self) -> Vec<Problem> {
        let mut problems = self.problems.into_inner();
        problems.sort_by_key(|problem| problem.location.line);
        problems
    }

    /// Records a problem with the text at byte `offset`.
    pub(super) fn problem(&self, offset: usize, key: &str, message: String, help: &str) {
        let before = self.text.as_bytes().iter().take(offset);
        let line = 1 + before.filter(|byte| **byte == b'\n').count() as u64;
        let mut location = Location::file(self.file).line(line);
        if !key.is_empty() {
            location = location.column(key);
        }
        let problem = Problem::error(location, message);
        let problem = if help.is_empty() { problem } else { problem.help(help) };
        self.problems.borrow_mut().push(problem);
    }
}

/// The sizes that a field may have, and why.
#[derive(Clone, Copy)]
pub(super) struct Limits {
    /// Smallest size, mm.
    pub at_least: f64,
    /// Largest size, mm.
    pub at_most: f64,
    /// Why, in words for the help line.
    pub because: &'static str,
}

/// One table, being read.
pub(super) struct Fields<'a, 'b> {
    document: &'b Document<'a>,
    table: &'b DeTable<'a>,
    /// Where the table begins, for keys that it lacks.
    pub(super) offset: usize,
    name: String,
    asked: Vec<&'static str>,
    problems_before: usize,
}

impl<'a, 'b> Fields<'a, 'b> {
    pub(super) fn new(
        document: &'b Document<'a>,
        table: &'b DeTable<'a>,
        offset: usize,
        name: impl Into<String>,
    ) -> Self {
        let problems_before = document.problems.borrow().len();
        Self { document, table, offset, name: name.into(), asked: Vec::new(), problems_before }
    }

    fn path(&self, key: &str) -> String {
        if self.name.is_empty() { key.to_owned() } else { format!("{}.{key}", self.name) }
    }

    /// The value of `key`, if it is there; from now on the key is known.
    pub(super) fn get(&mut self, key: &'static str) -> Option<&'b Spanned<DeValue<'a>>> {
        self.asked.push(key);
        self.table.iter().find(|(name, _)| name.get_ref() == key).map(|(_, value)| value)
    }

    fn required(&mut self, key: &'static str, expected: &str) -> Option<&'b Spanned<DeValue<'a>>> {
        let value = self.get(key);
        if value.is_none() {
            let message = format!("`{key}` is missing; expected {expected}");
            self.document.problem(self.offset, &self.name, message, "");
        }
        value
    }

    /// Records a problem with the value of `key`, or with the table when the key is absent.
    pub(super) fn problem(&self, key: &str, message: String, help: &str) {
        let found = self.table.iter().find(|(name, _)| name.get_ref() == key);
        let offset = found.map_or(self.offset, |(name, _)| name.span().start);
        self.document.problem(offset, &self.path(key), message, help);
    }

    fn wrong(&self, key: &str, value: &Spanned<DeValue<'_>>, expected: &str, help: &str) {
        let found = &self.document.text[value.span()];
        let message = format!("found `{found}`, expected {expected}");
        self.document.problem(value.span().start, &self.path(key), message, help);
    }

    /// The text of `key`, which must be there.
    pub(super) fn text(&mut self, key: &'static str, expected: &str) -> String {
        let Some(value) = self.required(key, expected) else { return String::new() };
        value.get_ref().as_str().map(str::to_owned).unwrap_or_else(|| {
            self.wrong(key, value, expected, "write it in double quotes");
            String::new()
        })
    }

    /// One of some words for `key`, or the first of them when the key is absent.
    pub(super) fn word<T: Copy>(&mut self, key: &'static str, words: &[(&str, T)]) -> T {
        let Some(value) = self.get(key) else { return words[0].1 };
        let text = value.get_ref().as_str().unwrap_or_default();
        if let Some((_, meaning)) = words.iter().find(|(word, _)| *word == text) {
            return *meaning;
        }
        let quoted: Vec<String> = words.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        let help = match nearest(text, words.iter().map(|(word, _)| *word)) {
            Some(word) if !text.is_empty() => format!("did you mean \"{word}\"?"),
            _ => String::new(),
        };
        self.wrong(key, value, &quoted.join(" or "), &help);
        words[0].1
    }

    /// `true` or `false` for `key`, or `default` when it is absent.
    pub(super) fn flag(&mut self, key: &'static str, default: bool) -> bool {
        let Some(value) = self.get(key) else { return default };
        value.get_ref().as_bool().unwrap_or_else(|| {
            self.wrong(key, value, "true or false, without quotes", "");
            default
        })
    }

    /// A size in mm for `key`, or `default` when it is absent.
    pub(super) fn length_or(&mut self, key: &'static str, default: f64, limits: Limits) -> f64 {
        let value = self.get(key);
        value.and_then(|value| self.size(key, value, limits)).unwrap_or(default)
    }

    /// Sizes in mm for `key`, which must be there: `count` of them at most, all different.
    pub(super) fn lengths(&mut self, key: &'static str, limits: Limits, count: usize) -> Vec<f64> {
        let expected = format!("a list of 1 to {count} sizes in mm, such as [{}, ...]", limits.at_least);
        let Some(value) = self.required(key, &expected) else { return Vec::new() };
        let DeValue::Array(items) = value.get_ref() else {
            self.wrong(key, value, &expected, "write the sizes in square brackets");
            return Vec::new();
        };
        if items.is_empty() || items.len() > count {
            self.wrong(key, value, &expected, "");
        }
        let mut sizes: Vec<f64> = Vec::new();
        for item in items.iter() {
            if let Some(size) = self.size(key, item, limits) {
                if sizes.contains(&size) {
                    self.wrong(key, item, "each size once", "a second print of the piece is --copies 2");
                }
                sizes.push(size);
            }
        }
        sizes
    }

    fn size(&self, key: &str, value: &Spanned<DeValue<'_>>, limits: Limits) -> Option<f64> {
        let number = match value.get_ref() {
            DeValue::Integer(whole) if whole.radix() == 10 => whole.as_str().parse::<f64>().ok(),
            DeValue::Float(real) => real.as_str().parse::<f64>().ok(),
            _ => None,
        };
        let range = format!("a size from {} to {} mm", limits.at_least, limits.at_most);
        let Some(number) = number.filter(|number| number.is_finite()) else {
            self.wrong(key, value, &range, "write a plain number, without quotes or a unit");
            return None;
        };
        if number < limits.at_least || number > limits.at_most {
            self.wrong(key, value, &range, limits.because);
            return None;
        }
        // Labels, the sheet and the drawing all carry the size as it is written.
        if ((number * 1000.0).round() - number * 1000.0).abs() > 1e-6 {
            self.wrong(key, value, "at most three decimals", "");
            return None;
        }
        Some(number)
    }

    /// Whether no problem was found in this table so far, so that its values are those of the file.
    pub(super) fn is_whole(&self) -> bool {
        self.document.problems.borrow().len() == self.problems_before
    }

    /// Names the keys that nobody asked for.
    pub(super) fn finish(self) {
        for name in self.table.keys() {
            let key = name.get_ref().as_ref();
            if self.asked.contains(&key) {
                continue;
            }
            let help = match nearest(key, self.asked.iter().copied()) {
                Some(known) => format!("did you mean `{known}`?"),
                None => format!("known here: {}", self.asked.join(", ")),
            };
            let message = "no such field".to_owned();
            self.document.problem(name.span().start, &self.path(key), message, &help);
        }
    }
}
