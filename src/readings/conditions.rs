//! Comment lines above the header, `# key: value`, to the conditions of the measurement.
//!
//! A blank value is as good as no line. Keys that nobody knows are ignored, since a comment may hold a
//! colon; a key that is nearly one of ours is ignored with a warning.

use jiff::civil::Date;

use crate::problem::{Location, Problem, nearest};

use super::expansion::{self, Expansion};
use super::{Conditions, number};

const KEYS: [&str; 6] =
    ["unit", "date", "caliper_resolution_mm", "caliper_error_mm", "temperature_c", "material"];

/// What the comment lines said, and in which unit the readings are.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Comments {
    pub(super) conditions: Conditions,
    /// Readings are in inches; sizes whose names end in `_mm` are still millimetres.
    pub(super) inches: bool,
    pub(super) problems: Vec<Problem>,
    /// Keys that had a value, with the line.
    given: Vec<(&'static str, u64)>,
}

impl Comments {
    /// Takes in the text of one comment line, without its `#`.
    pub(super) fn take(&mut self, comment: &str, line: u64) {
        let Some((key, value)) = comment.split_once(':') else { return };
        let (key, value) = (key.trim().to_lowercase(), value.trim());
        let Some(known) = KEYS.into_iter().find(|known| *known == key) else {
            if let Some(meant) = nearest(&key, KEYS) {
                let message = format!("`{key}` is no key that is known; the line is ignored");
                let place = Location::default().line(line);
                self.problems.push(Problem::warning(place, message).help(format!("did you mean `{meant}`?")));
            }
            return;
        };
        if value.is_empty() {
            return;
        }
        let place = Location::default().line(line).column(known);
        if let Some((_, first)) = self.given.iter().find(|(given, _)| *given == known) {
            let message = format!("`{known}` is given twice, here and on line {first}");
            self.problems.push(Problem::error(place, message).help("delete one of the two lines"));
            return;
        }
        self.given.push((known, line));
        if let Err(problem) = self.set(known, value, &place) {
            self.problems.push(problem);
        }
    }

    fn set(&mut self, key: &'static str, value: &str, place: &Location) -> Result<(), Problem> {
        let within = |lowest: f64, highest: f64, what: &str| {
            let number = number::parse(value)
                .map_err(|error| Problem::error(place.clone(), error.to_string()).help_if(error.help()))?;
            if (lowest..=highest).contains(&number.value) {
                Ok(Some(number.value))
            } else {
                let message = format!("`{value}` is no {what}: expected {lowest} to {highest}");
                Err(Problem::error(place.clone(), message))
            }
        };
        match key {
            "unit" => match value.to_lowercase().as_str() {
                "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => self.inches = false,
                "in" | "inch" | "inches" => self.inches = true,
                _ => {
                    let message = format!("`{value}` is no unit that a caliper reads in");
                    return Err(Problem::error(place.clone(), message).help("write `mm` or `in`"));
                }
            },
            "date" => match value.parse::<Date>() {
                Ok(date) if value.len() == 10 => self.conditions.date = Some(date.to_string()),
                _ => {
                    let message = format!("`{value}` is no date");
                    let help = "write year, month and day, for example 2026-11-25";
                    return Err(Problem::error(place.clone(), message).help(help));
                }
            },
            "caliper_resolution_mm" => {
                self.conditions.caliper_resolution_mm = within(1e-6, 1.0, "resolution of a caliper in mm")?;
            }
            "caliper_error_mm" => {
                self.conditions.caliper_error_mm = within(0.0, 1.0, "limit of error of a caliper in mm")?;
            }
            "temperature_c" => {
                self.conditions.temperature_c = within(-40.0, 150.0, "temperature in Celsius")?;
            }
            _ => {
                if Expansion::of(value).is_none() {
                    let message = format!("the expansion of `{value}` is not known");
                    let known = expansion::materials().collect::<Vec<_>>().join(", ");
                    let help = format!("known are {known}; `fit --expansion` takes any other");
                    self.problems.push(Problem::warning(place.clone(), message).help(help));
                }
                self.conditions.material = Some(value.to_owned());
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn taken(lines: &[&str]) -> Comments {
        let mut comments = Comments::default();
        for (text, line) in lines.iter().zip(1..) {
            comments.take(text, line);
        }
        comments
    }

    #[test]
    fn conditions_are_read_and_blank_ones_are_not_given() {
        let comments = taken(&[
            " date: 2026-11-25",
            " Unit: in",
            " caliper_resolution_mm: 0,01",
            " caliper_error_mm:",
            " temperature_c: 21.5",
            " material: PETG",
            " printed by: the left printer",
            " a free remark",
        ]);
        assert_eq!(
            comments.conditions,
            Conditions {
                date: Some("2026-11-25".to_owned()),
                caliper_resolution_mm: Some(0.01),
                caliper_error_mm: None,
                temperature_c: Some(21.5),
                material: Some("PETG".to_owned()),
            }
        );
        assert!(comments.inches);
        assert_eq!(comments.problems, []);
    }

    #[test]
    fn a_condition_that_cannot_be_is_a_problem_and_a_misspelt_key_a_warning() {
        let comments = taken(&[
            "date: 25.11.2026",
            "unit: cm",
            "caliper_error_mm: 3",
            "temperature: 20",
            "temperature_c: hot",
            "material: wood",
            "date: 2026-02-30",
        ]);
        let texts: Vec<String> = comments.problems.iter().map(Problem::to_string).collect();
        assert_eq!(
            texts,
            [
                "error: 1: date: `25.11.2026` is no date\n  help: write year, month and day, for example 2026-11-25",
                "error: 2: unit: `cm` is no unit that a caliper reads in\n  help: write `mm` or `in`",
                "error: 3: caliper_error_mm: `3` is no limit of error of a caliper in mm: expected 0 to 1",
                "warning: 4: `temperature` is no key that is known; the line is ignored\n  help: did you mean `temperature_c`?",
                "error: 5: temperature_c: `hot` is not a number\n  help: leave it blank where there is no number",
                "warning: 6: material: the expansion of `wood` is not known\n  help: known are pla, petg, abs, asa, pc, polycarbonate, pa, nylon, pa6, pa12, pa-cf; `fit --expansion` takes any other",
                "error: 7: date: `date` is given twice, here and on line 1\n  help: delete one of the two lines",
            ]
        );
    }
}
