//! What `fit` says of feel tests: the table for the bench, and the JSON beside the setups.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde::Serialize;

use super::feel::{Feels, Group};

/// The feels of one setup.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FeelAnswer {
    /// The setup.
    pub setup: String,
    /// How many trials.
    pub trials: u32,
    /// On how many prints.
    pub prints: u32,
    /// Scatter about a threshold, mm; `null` when every feel changed cleanly.
    pub sd_mm: Option<f64>,
    /// By group.
    pub groups: BTreeMap<Group, GroupAnswer>,
    /// What a reader must know.
    pub warnings: Vec<String>,
}

/// The feels of one group.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GroupAnswer {
    trials: u32,
    own: bool,
    feels: Vec<FeltAnswer>,
}

/// One feel: drawn clearance, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct FeltAnswer {
    feel: &'static str,
    trials: u32,
    begins_mm: Option<f64>,
    low95_mm: Option<f64>,
    high95_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    between_mm: Option<[f64; 2]>,
}

impl FeelAnswer {
    /// Of one setup's feels.
    pub fn of(feels: &Feels) -> Self {
        let groups = feels.groups.iter().map(|(group, own)| {
            let felt = own.feels.iter().map(|felt| FeltAnswer {
                feel: felt.feel.name(),
                trials: felt.trials,
                begins_mm: felt.begin.map(|begin| begin.at_mm),
                low95_mm: felt.begin.and_then(|begin| begin.low95_mm),
                high95_mm: felt.begin.and_then(|begin| begin.high95_mm),
                between_mm: felt.begin.and_then(|begin| begin.between_mm),
            });
            (*group, GroupAnswer { trials: own.trials, own: own.own, feels: felt.collect() })
        });
        Self {
            setup: feels.setup.clone(),
            trials: feels.trials,
            prints: feels.prints,
            sd_mm: feels.sd_mm,
            groups: groups.collect(),
            warnings: feels.warnings.clone(),
        }
    }

    /// The table.
    pub fn to_text(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        let prints = if self.prints == 1 { "" } else { "s" };
        writeln!(out, "{}: {} feel tests on {} print{prints}\n", self.setup, self.trials, self.prints)?;
        writeln!(out, "  drawn clearance at which a feel begins, mm (inside less outside)")?;
        writeln!(out, "  group           feel   tests  begins  95 %")?;
        for (group, own) in &self.groups {
            for felt in &own.feels {
                write!(out, "  {:<14}  {:<5}  {:>5}", group.plural(), felt.feel, felt.trials)?;
                let Some(begins) = felt.begins_mm else {
                    writeln!(out, "          the tightest that was felt")?;
                    continue;
                };
                let end =
                    |end: Option<f64>| end.map_or_else(|| "open".to_owned(), |end| format!("{end:+.2}"));
                let interval = format!("{} to {}", end(felt.low95_mm), end(felt.high95_mm));
                match felt.between_mm {
                    Some([low, high]) => {
                        writeln!(out, "          {interval}; as tried between {low:.2} and {high:.2}")?
                    }
                    None => writeln!(out, "  {begins:>+6.2}  {interval}")?,
                }
            }
        }
        match self.sd_mm {
            Some(sd) => writeln!(out, "\n  a feel scatters about these by {sd:.3} mm (standard deviation)"),
            None => writeln!(out, "\n  how much a feel scatters about these was not resolved"),
        }
    }
}
