//! A TOML file of named fits, to the fits or every problem in it by line and key.

use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::problem::{Location, Problem, nearest};

use super::Limits;
use super::named::NamedFit;

const FIELDS: [&str; 4] = ["clearance_mm", "growth_mm_per_mm", "means", "source"];

/// The fits of a file, tightest first, or every problem in it.
pub(super) fn parse(text: &str, path: &Path) -> Result<Vec<NamedFit>, Vec<Problem>> {
    let line = |at: usize| 1 + text[..at].matches('\n').count() as u64;
    let (table, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        let problem = |error: &toml::de::Error| {
            let place = Location::file(path).line(line(error.span().map_or(0, |span| span.start)));
            Problem::error(place, error.message().to_owned())
        };
        return Err(errors.iter().map(problem).collect());
    }
    let mut file = FitsFile { path, line: &line, problems: Vec::new() };
    let entries = table.get_ref().iter();
    let mut fits: Vec<NamedFit> =
        entries.filter_map(|(name, value)| file.fit(name.get_ref(), value)).collect();
    if !file.problems.is_empty() {
        // Tables come in the order of their names.
        file.problems.sort_by_key(|problem| problem.location.line);
        return Err(file.problems);
    }
    fits.sort_by(|a, b| a.clearance.lower_mm.total_cmp(&b.clearance.lower_mm));
    Ok(fits)
}

struct FitsFile<'a> {
    path: &'a Path,
    line: &'a dyn Fn(usize) -> u64,
    problems: Vec<Problem>,
}

impl FitsFile<'_> {
    fn problem(&mut self, at: usize, key: String, message: String) -> &mut Problem {
        let place = Location::file(self.path).line((self.line)(at)).column(key);
        self.problems.push(Problem::error(place, message));
        let last = self.problems.len() - 1;
        &mut self.problems[last]
    }

    /// The fit of one table; `None` when something is wrong with it.
    fn fit(&mut self, name: &str, value: &Spanned<DeValue<'_>>) -> Option<NamedFit> {
        let before = self.problems.len();
        let at = value.span().start;
        let DeValue::Table(table) = value.get_ref() else {
            let problem = self.problem(at, name.to_owned(), "a fit is a table of its own".to_owned());
            problem.help = Some(format!("write `[{name}]`, and below it `clearance_mm = [0.05, 0.15]`"));
            return None;
        };
        let mut fit = NamedFit {
            name: name.to_owned(),
            clearance: Limits { lower_mm: 0.0, upper_mm: 0.0 },
            growth: 0.0,
            means: String::new(),
            source: String::new(),
        };
        for (field, value) in table {
            let key = format!("{name}.{}", field.get_ref());
            let at = value.span().start;
            match field.get_ref().as_ref() {
                "clearance_mm" => match clearance(value.get_ref()) {
                    Some(limits) => fit.clearance = limits,
                    None => {
                        let message = "expected two clearances in mm, the least first".to_owned();
                        self.problem(at, key, message).help = Some("such as [0.05, 0.15]".to_owned());
                    }
                },
                "growth_mm_per_mm" => match number(value.get_ref()).filter(|growth| growth.abs() < 0.1) {
                    Some(growth) => fit.growth = growth,
                    None => {
                        let message = "expected a number between -0.1 and 0.1".to_owned();
                        self.problem(at, key, message);
                    }
                },
                "means" | "source" => match value.get_ref().as_str() {
                    Some(words) if field.get_ref() == "means" => fit.means = words.to_owned(),
                    Some(words) => fit.source = words.to_owned(),
                    None => {
                        self.problem(at, key, "expected words in quotes".to_owned());
                    }
                },
                unknown => {
                    let help = match nearest(unknown, FIELDS) {
                        Some(known) => format!("did you mean `{known}`?"),
                        None => format!("expected one of {}", FIELDS.join(", ")),
                    };
                    let place = field.span().start;
                    self.problem(place, key, "a fit has no such field".to_owned()).help = Some(help);
                }
            }
        }
        if !table.contains_key("clearance_mm") {
            let problem = self.problem(at, name.to_owned(), "`clearance_mm` is missing".to_owned());
            problem.help = Some("such as clearance_mm = [0.05, 0.15]".to_owned());
        }
        (self.problems.len() == before).then_some(fit)
    }
}

fn clearance(value: &DeValue<'_>) -> Option<Limits> {
    let mut ends = value.as_array()?.iter().map(|end| number(end.get_ref()));
    let limits = Limits { lower_mm: ends.next()??, upper_mm: ends.next()?? };
    (ends.next().is_none() && limits.lower_mm < limits.upper_mm).then_some(limits)
}

fn number(value: &DeValue<'_>) -> Option<f64> {
    let text = match value {
        DeValue::Integer(whole) if whole.radix() == 10 => whole.as_str(),
        DeValue::Float(float) => float.as_str(),
        _ => return None,
    };
    text.parse().ok().filter(|number: &f64| number.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_problem_of_a_file_is_told_in_file_order() {
        let text = "tight = 0.1\n[slide]\nclearence_mm = [0.05, 0.15]\n[free]\nclearance_mm = [0.4, 0.2]\n\
                    means = 3\ngrowth_mm_per_mm = 2\n[a]\nclearance_mm = [0, 1, 2]\ncolour = \"red\"\n";
        let problems: Vec<String> =
            parse(text, Path::new("f.toml")).unwrap_err().iter().map(ToString::to_string).collect();
        assert_eq!(
            problems,
            [
                "error: f.toml:1: tight: a fit is a table of its own\n  \
                 help: write `[tight]`, and below it `clearance_mm = [0.05, 0.15]`",
                "error: f.toml:2: slide: `clearance_mm` is missing\n  \
                 help: such as clearance_mm = [0.05, 0.15]",
                "error: f.toml:3: slide.clearence_mm: a fit has no such field\n  \
                 help: did you mean `clearance_mm`?",
                "error: f.toml:5: free.clearance_mm: expected two clearances in mm, the least first\n  \
                 help: such as [0.05, 0.15]",
                "error: f.toml:6: free.means: expected words in quotes",
                "error: f.toml:7: free.growth_mm_per_mm: expected a number between -0.1 and 0.1",
                "error: f.toml:9: a.clearance_mm: expected two clearances in mm, the least first\n  \
                 help: such as [0.05, 0.15]",
                "error: f.toml:10: a.colour: a fit has no such field\n  \
                 help: expected one of clearance_mm, growth_mm_per_mm, means, source",
            ]
        );
        assert_eq!(parse("[slide\n", Path::new("f.toml")).unwrap_err()[0].location.line, Some(1));
    }
}
