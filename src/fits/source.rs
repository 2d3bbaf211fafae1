//! Where a number that is used comes from, for those who ask.

use serde::Serialize;

/// A number or a table, and where it comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Source {
    /// What it is, such as `limits of H7`.
    pub what: String,
    /// `looked-up: …`, `from memory: …`, or `common practice, no source`.
    pub label: String,
}

impl Source {
    /// A source of `what`.
    pub fn new(what: impl Into<String>, label: impl Into<String>) -> Self {
        Self { what: what.into(), label: label.into() }
    }

    /// Adds those of `more` that are not there yet.
    pub fn add_to(list: &mut Vec<Self>, more: impl IntoIterator<Item = Self>) {
        for source in more {
            if !list.contains(&source) {
                list.push(source);
            }
        }
    }

    /// The lines for a person: `source of limits of H7: looked-up: …`.
    pub fn to_text(list: &[Self]) -> String {
        list.iter().map(|source| format!("source of {}: {}\n", source.what, source.label)).collect()
    }
}
