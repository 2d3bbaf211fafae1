//! A plan for the terminal: what to print, what each dimension then keeps, and the trade.

use std::fmt::Write as _;

use crate::fits::written;

use super::Wanted;
use super::search::{Dimension, Plan, Verdict};

/// A size this near to a measured one is as good as measured.
const NEAR_MM: f64 = 0.5;

impl Plan {
    /// Whether every dimension keeps its limits.
    pub fn keeps_all(&self) -> bool {
        self.dimensions.iter().all(|of| matches!(of.verdict, Verdict::Keeps | Verdict::NoLimits))
    }

    /// The dimensions that do not keep their limits, each with what would help.
    pub fn shortfalls(&self) -> Vec<(u64, String)> {
        let short = self.dimensions.iter().filter_map(|of| Some((of.wanted.line, self.shortfall(of)?)));
        short.collect()
    }

    fn shortfall(&self, of: &Dimension) -> Option<String> {
        let room = of.wanted.room_mm?;
        let name = name(&of.wanted);
        let (half, least) = (of.half_width_mm, of.least_half_width_mm);
        match of.verdict {
            Verdict::Keeps | Verdict::NoLimits => None,
            Verdict::OutOfReach => Some(format!(
                "{name}: how prints and features differ is ±{least:.3} mm alone; no number of coupons reaches \
                 ±{:.3}; it takes limits of ±{:.2} mm, or a process that repeats better: ream or file it to size",
                room.max(0.0),
                up(half + 0.005)
            )),
            Verdict::NotQuite => Some(format!(
                "{name}: ±{half:.3} mm with this plan, where ±{room:.3} is wanted and ±{least:.3} the least that \
                 any number of coupons reaches; limits of ±{:.2} mm would do, or more prints",
                up(half + 0.005)
            )),
        }
    }

    /// The whole of it.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        let prints = if self.prints == 1 { "once".to_owned() } else { format!("{} times", self.prints) };
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "print this set {prints}, {} features each; spreads {}\n",
            self.features, self.spreads_from
        );
        text.push_str(&table(&self.rows()));
        text.push_str("\nhalf of the 95 % interval, mm, by prints x features\n\n");
        text.push_str(&table(&self.trade_rows()));
        text
    }

    fn rows(&self) -> Vec<Vec<String>> {
        let titles = ["part", "dimension", "kind", "wanted mm", "room ± mm", "plan ± mm", "least ± mm", ""];
        let mut rows = vec![titles.map(str::to_owned).to_vec()];
        rows.extend(self.dimensions.iter().map(|of| {
            let word = match of.verdict {
                Verdict::Keeps => "keeps",
                Verdict::NotQuite => "not quite",
                Verdict::OutOfReach => "out of reach",
                Verdict::NoLimits => "",
            };
            let beyond = if of.beyond_mm > NEAR_MM { ", beyond what coupons measure" } else { "" };
            vec![
                of.wanted.part.clone(),
                of.wanted.dimension.clone(),
                of.wanted.kind.to_string(),
                written(of.wanted.target_mm),
                of.wanted.room_mm.map_or(String::new(), |room| format!("{room:.3}")),
                format!("{:.3}", of.half_width_mm),
                format!("{:.3}", of.least_half_width_mm),
                format!("{word}{beyond}").trim_start_matches(", ").to_owned(),
            ]
        }));
        rows
    }

    fn trade_rows(&self) -> Vec<Vec<String>> {
        let mut titles = vec!["part".to_owned(), "dimension".to_owned(), String::new()];
        titles.extend(self.trade.iter().map(|way| format!("{}x{}", way.prints, way.features)));
        let mut rows = vec![titles];
        rows.extend(self.dimensions.iter().enumerate().map(|(i, of)| {
            let mut row = vec![of.wanted.part.clone(), of.wanted.dimension.clone(), String::new()];
            row.extend(self.trade.iter().map(|way| format!("{:.3}", way.half_widths_mm[i])));
            row
        }));
        rows
    }
}

/// To the next hundredth, with what rounding to binary adds left out.
fn up(mm: f64) -> f64 {
    (mm * 100.0 - 1e-6).ceil() / 100.0
}

fn name(wanted: &Wanted) -> String {
    let words = format!("{} {}", wanted.part, wanted.dimension);
    let words = words.trim();
    if words.is_empty() { format!("{} {}", wanted.kind, written(wanted.target_mm)) } else { words.to_owned() }
}

/// Texts to the left, numbers to the right: the first three columns and whatever ends a line are texts.
fn table(rows: &[Vec<String>]) -> String {
    let columns = rows.first().map_or(0, Vec::len);
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    for row in rows {
        let mut line = String::new();
        for (column, cell) in row.iter().enumerate() {
            let width = width(column);
            if width == 0 {
                continue;
            }
            let pad = " ".repeat(width - cell.chars().count());
            let is_text = column < 3 || (column + 1 == columns && rows[0][column].is_empty());
            line.push_str(&if is_text { format!("{cell}{pad}  ") } else { format!("{pad}{cell}  ") });
        }
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}
