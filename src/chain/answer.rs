//! A chain added up, in words.

use crate::fits::{Source, written};
use crate::parts::sized::percent;

use super::stack::{StackUp, StackedMember};

const TITLES: [&str; 8] = ["member", "", "made", "draw mm", "mean mm", "from", "to", "share"];

impl StackUp {
    /// The answer for a person.
    ///
    /// ```text
    /// pinion clearance: 0.42 mm on average, 95 % between 0.21 and 0.63 (simulated); 2 % chance that the parts clash
    /// ```
    pub fn to_text(&self) -> String {
        let simulated = &self.simulated;
        let mut text = format!(
            "{}: {:.2} mm on average, 95 % between {:.2} and {:.2}; {} chance that the parts clash\n",
            self.gap,
            self.mean_mm,
            simulated.low95_mm,
            simulated.high95_mm,
            percent(simulated.chance_clash)
        );
        if let Some(chance) = simulated.chance_wanted {
            let wanted = match (self.least_mm, self.most_mm) {
                (Some(least), Some(most)) => format!("{} to {}", written(least), written(most)),
                (Some(least), None) => format!("at least {}", written(least)),
                (_, most) => format!("at most {}", written(most.unwrap_or_default())),
            };
            text.push_str(&format!("{} chance that it is as wanted, {wanted} mm", percent(chance)));
            let sides = [("below", simulated.chance_below), ("above", simulated.chance_above)];
            for (side, chance) in sides.into_iter().filter_map(|(side, chance)| Some((side, chance?))) {
                text.push_str(&format!("; {} {side}", percent(chance)));
            }
            text.push('\n');
        }
        let [worst_low, worst_high] = self.worst_case_mm;
        let [root_low, root_high] = self.root_sum_square_mm;
        text.push_str(&format!(
            "worst case {worst_low:.2} to {worst_high:.2}, root sum square {root_low:.2} to {root_high:.2}, \
             simulated from {} assemblies\n",
            simulated.trials
        ));
        if let Some(member) = self.matters_most() {
            text.push_str(&format!(
                "{} matters most: {:.0} % of the gap's variance\n",
                member.name,
                member.share * 100.0
            ));
        }
        text.push_str(&self.table());
        text.push_str(&Source::to_text(&self.sources));
        text
    }

    fn table(&self) -> String {
        let mut rows = vec![TITLES.map(str::to_owned)];
        rows.extend(self.members.iter().map(row));
        let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
        let widths: [usize; 8] = std::array::from_fn(width);
        let mut text = String::new();
        for row in &rows {
            for (column, (cell, width)) in row.iter().zip(widths).enumerate() {
                let pad = " ".repeat(width - cell.chars().count());
                let is_text = column < 3;
                text.push_str(&if is_text { format!("{cell}{pad}  ") } else { format!("{pad}{cell}  ") });
            }
            text.truncate(text.trim_end().len());
            text.push('\n');
        }
        text
    }
}

fn row(member: &StackedMember) -> [String; 8] {
    [
        member.name.clone(),
        if member.sign < 0.0 { "-" } else { "+" }.to_owned(),
        member.made.to_owned(),
        member.draw_mm.map_or(String::new(), written),
        format!("{:.3}", member.mean_mm),
        format!("{:.3}", member.low_mm),
        format!("{:.3}", member.high_mm),
        format!("{:.0} %", member.share * 100.0),
    ]
}
