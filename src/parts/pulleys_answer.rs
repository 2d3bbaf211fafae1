//! What is said of a batch of pulleys: the JSON document with one entry a pulley, and a line of the table for each.

use std::fmt::Write as _;

use serde::Serialize;

use super::pulley_answer::PulleyAnswer;

/// Many pulleys that differ in their teeth, in the order asked.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PulleysAnswer {
    /// Each as if it were made alone.
    pub pulleys: Vec<PulleyAnswer>,
    /// Whether every one keeps what is wanted.
    pub all_hold: bool,
    /// All that was written.
    pub files: Vec<String>,
}

impl PulleysAnswer {
    /// Each warning once, with the pulleys that it is of where it is not of all.
    pub fn warnings(&self) -> Vec<String> {
        let mut said: Vec<(&str, Vec<u32>)> = Vec::new();
        for pulley in &self.pulleys {
            for warning in pulley.warnings() {
                match said.iter_mut().find(|(text, _)| text == warning) {
                    Some((_, teeth)) => teeth.push(pulley.teeth()),
                    None => said.push((warning, vec![pulley.teeth()])),
                }
            }
        }
        let words = |(text, teeth): (&str, Vec<u32>)| {
            if teeth.len() == self.pulleys.len() {
                return text.to_owned();
            }
            let teeth: Vec<String> = teeth.iter().map(u32::to_string).collect();
            format!("{} teeth: {text}", teeth.join(", "))
        };
        said.into_iter().map(words).collect()
    }

    /// The table for the bench.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut text);
        text
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        let Some(first) = self.pulleys.first() else { return Ok(()) };
        writeln!(out, "{}", first.heading(None))?;
        writeln!(
            out,
            "\n{:>5}{:>12}{:>12}{:>12}{:>12}{:>12}{:>12}{:>10}  holds",
            "teeth", "pitch dia.", "outside", "draw", "groove", "draw", "off by", "cm3"
        )?;
        writeln!(
            out,
            "{:>5}{:>12}{:>12}{:>12}{:>12}{:>12}{:>12}{:>10}",
            "", "mm", "mm", "mm", "mm", "mm", "at most, mm", ""
        )?;
        for pulley in &self.pulleys {
            writeln!(out, "{}", pulley.line())?;
        }
        writeln!(
            out,
            "groove: width at the outside diameter; off by: the predicted print from the wanted outline"
        )?;
        writeln!(out, "cautions")?;
        first.cautions().iter().try_for_each(|caution| writeln!(out, "  {caution}"))
    }
}
