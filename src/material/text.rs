//! The answer as text for the terminal: numbers aligned, units in the titles, readable without colour.

use super::answer::{Answer, Listed, Temperature, Told, Warmed};
use super::{Property, Range};

/// What the list of all materials shows, with a short title.
const SHOWN: [(Property, &str); 6] = [
    (Property::GlassTransition, "glass °C"),
    (Property::HeatDeflectionLow, "0.45 MPa °C"),
    (Property::HeatDeflectionHigh, "1.80 MPa °C"),
    (Property::ExpansionInPlane, "expands 1e-6/K"),
    (Property::Modulus, "modulus GPa"),
    (Property::WaterSaturated, "water %"),
];

impl Answer {
    /// The answer for a person; with `sources`, where every value comes from.
    pub fn to_text(&self, sources: bool) -> String {
        let mut text = String::new();
        if let Some(temperature) = &self.temperature {
            text.push_str(&temperature.in_words());
            text.push_str(&screened(&self.materials));
            if self.is_named {
                text.push_str(&limits(&self.materials));
            }
        }
        for told in self.materials.iter().filter(|told| !told.warm.is_empty()) {
            text.push_str(&warm(told, self.from_c));
        }
        if self.is_named && (self.temperature.is_none() || sources) {
            let properties: Vec<String> =
                self.materials.iter().map(|told| properties(told, sources)).collect();
            text.push_str(&properties.join("\n"));
        } else if self.temperature.is_none() {
            text.push_str(&list(&self.materials));
        }
        for caution in &self.cautions {
            text.push_str(&format!("\ncaution: {caution}\n"));
        }
        text
    }
}

impl Temperature {
    fn in_words(&self) -> String {
        match self {
            Self::Given { mount_c } => format!("at {} °C, by the tables:\n\n", ends(*mount_c, 0)),
            Self::Estimated { warmth, minutes_to_steady } => {
                let after = minutes_to_steady
                    .map(|minutes| format!(", after {} minutes or so", ends(minutes, 0)))
                    .unwrap_or_default();
                format!(
                    "the motor's case gets {} °C, the mount {} °C{after} (an estimate); by the tables:\n\n",
                    typical_and_ends(warmth.case_c, 0),
                    typical_and_ends(warmth.mount_c, 0)
                )
            }
        }
    }
}

/// Which materials a temperature leaves.
fn screened(materials: &[Told]) -> String {
    let titles = ["material", "ceiling °C", "low..high", "margin K", "low..high", "", "set by"];
    let row = |told: &Told| {
        let (ceiling, margin) = (told.ceiling_c?, told.margin_k?);
        Some([
            told.label.to_owned(),
            number(ceiling.range_c.typical, 0),
            ends(ceiling.range_c, 0),
            signed(margin.typical),
            format!("{}..{}", signed(margin.low), signed(margin.high)),
            told.screening.map_or("", |screening| screening.words()).to_owned(),
            ceiling.set_by.to_owned(),
        ])
    };
    let rows = std::iter::once(titles.map(str::to_owned)).chain(materials.iter().filter_map(row));
    table(&rows.collect::<Vec<_>>(), &[1, 2, 3, 4])
}

/// How far the temperature is below the tables' own.
fn limits(materials: &[Told]) -> String {
    let titles =
        ["material", "the tables' own", "°C", "low..high", "margin K", "low..high"].map(str::to_owned);
    let rows = materials.iter().flat_map(|told| {
        told.limits.iter().map(|limit| {
            let margin = limit.margin_k;
            [
                told.label.to_owned(),
                limit.title.to_owned(),
                number(limit.limit_c.typical, 0),
                ends(limit.limit_c, 0),
                signed(margin.typical),
                format!("{}..{}", signed(margin.low), signed(margin.high)),
            ]
        })
    });
    let rows: Vec<[String; 6]> = std::iter::once(titles).chain(rows).collect();
    if rows.len() > 1 { format!("\n{}", table(&rows, &[2, 3, 4, 5])) } else { String::new() }
}

/// What warmth does to the sizes in one material.
fn warm(told: &Told, from_c: f64) -> String {
    let titles = ["", "mm", "grows mm", "low..high", "more than its metal", "low..high", "left of the press"];
    let title = |cell: &str| cell.to_owned();
    let row = |warmed: &Warmed| {
        let over = |pick: fn(Range) -> String| warmed.over_metal_mm.map(pick).unwrap_or_default();
        [
            warmed.what.to_owned(),
            number(warmed.size_mm, 3),
            number(warmed.growth_mm.typical, 3),
            ends(warmed.growth_mm, 3),
            over(|range| number(range.typical, 3)),
            over(|range| ends(range, 3)),
            warmed.interference_left_mm.map(|left| typical_and_ends(left, 3)).unwrap_or_default(),
        ]
    };
    let rows: Vec<[String; 7]> =
        std::iter::once(titles.map(title)).chain(told.warm.iter().map(row)).collect();
    let mut text = format!("\n{}, sizes that are right at {} °C:\n\n", told.label, number(from_c, 1));
    text.push_str(&table(&rows, &[1, 2, 3, 4, 5]));
    for warmed in &told.warm {
        if let Some(left) = warmed.interference_left_mm.filter(|left| left.low <= 0.0) {
            let words = if left.high <= 0.0 { "lets go" } else { "may let go" };
            text.push_str(&format!(
                "  bore {}: the press {words} at this temperature\n",
                number(warmed.size_mm, 3)
            ));
        }
        if let Some(share) = warmed.stress_left {
            text.push_str(&format!(
                "  bore {}: of its stress, relaxation leaves {} % (by a power law from memory)\n",
                number(warmed.size_mm, 3),
                ends(share.map(|share| share * 100.0), 0)
            ));
        }
        if !warmed.hint.is_empty() {
            text.push_str(&format!("  {} {}: {}\n", warmed.what, number(warmed.size_mm, 3), warmed.hint));
        }
    }
    text
}

/// Everything that the tables have of one material.
fn properties(told: &Told, sources: bool) -> String {
    let row = |listed: &Listed| {
        let value =
            |pick: fn(Range) -> f64| listed.range.map_or("-".to_owned(), |range| number(pick(range), 3));
        [
            listed.title.to_owned(),
            value(|range| range.low),
            value(|range| range.typical),
            value(|range| range.high),
            listed.unit.to_owned(),
            listed.condition.to_owned(),
        ]
    };
    let titles = ["", "low", "typical", "high", "", ""].map(str::to_owned);
    let rows: Vec<[String; 6]> = std::iter::once(titles).chain(told.properties.iter().map(row)).collect();
    let mut lines = match told.title {
        title if title == told.label => format!("{title}\n"),
        title => format!("{}: {title}\n", told.label),
    };
    let printed = table(&rows, &[1, 2, 3]);
    let mut printed = printed.lines();
    lines.extend(printed.next().map(|line| format!("{line}\n")));
    for (line, listed) in printed.zip(&told.properties) {
        lines.push_str(&format!("{line}\n"));
        if sources {
            lines.push_str(&format!("    typical: {}\n", listed.source_typical));
            if !listed.source_range.is_empty() && listed.source_range != listed.source_typical {
                lines.push_str(&format!("    low, high: {}\n", listed.source_range));
            }
        }
    }
    if let Some(ceiling) = told.ceiling_c {
        let range = typical_and_ends(ceiling.range_c, 0);
        lines.push_str(&format!("worth testing up to {range} °C, steady: {}\n", ceiling.set_by));
    }
    lines
}

/// A line a material.
fn list(materials: &[Told]) -> String {
    let mut titles: Vec<String> = vec!["material".to_owned()];
    titles.extend(SHOWN.map(|(_, title)| title.to_owned()));
    titles.push("worth testing to °C".to_owned());
    let row = |told: &Told| {
        let value = |(property, _): (Property, &str)| {
            let listed = told.properties.iter().find(|listed| listed.property == property.name());
            listed.and_then(|listed| listed.range).map_or("-".to_owned(), |range| typical_and_ends(range, 2))
        };
        let mut cells = vec![told.label.to_owned()];
        cells.extend(SHOWN.map(value));
        cells.push(told.ceiling_c.map_or("-".to_owned(), |ceiling| typical_and_ends(ceiling.range_c, 0)));
        cells
    };
    let rows: Vec<Vec<String>> = std::iter::once(titles).chain(materials.iter().map(row)).collect();
    let numbers: Vec<usize> = (1..=SHOWN.len() + 1).collect();
    let mut text = table(&rows, &numbers);
    text.push_str("\ntypical (low..high); 0.45 and 1.80 MPa are heat deflection. `shrinkrule materials NAME` tells all of one.\n");
    text
}

/// Rows of cells, those of `numbers` to the right.
fn table<R: AsRef<[String]>>(rows: &[R], numbers: &[usize]) -> String {
    let columns = rows.first().map_or(0, |row| row.as_ref().len());
    let widest =
        |column: usize| rows.iter().map(|row| row.as_ref()[column].chars().count()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns).map(widest).collect();
    let mut text = String::new();
    for row in rows {
        let mut line = String::new();
        for (column, (cell, width)) in row.as_ref().iter().zip(&widths).enumerate() {
            let pad = " ".repeat(width - cell.chars().count());
            line.push_str(&if numbers.contains(&column) {
                format!("{pad}{cell}  ")
            } else {
                format!("{cell}{pad}  ")
            });
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

/// With so many decimals at most.
fn number(value: f64, decimals: i32) -> String {
    let step = 10_f64.powi(decimals);
    // Adding zero makes a plain zero of a negative one.
    ((value * step).round() / step + 0.0).to_string()
}

fn signed(value: f64) -> String {
    let text = number(value, 0);
    if value > 0.0 && text != "0" { format!("+{text}") } else { text }
}

fn ends(range: Range, decimals: i32) -> String {
    let (low, high) = (number(range.low, decimals), number(range.high, decimals));
    if low == high { low } else { format!("{low}..{high}") }
}

fn typical_and_ends(range: Range, decimals: i32) -> String {
    let typical = number(range.typical, decimals);
    let ends = ends(range, decimals);
    if ends == typical { typical } else { format!("{typical} ({ends})") }
}
