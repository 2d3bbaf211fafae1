//! How much a material grows with temperature: the table that sizes are brought to 20 °C by.
//!
//! Source: `data/thermal/expansion.csv`, whose rows say where each is from.

/// Linear expansion of a material, 1/K, as a range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expansion {
    /// The least that it may be.
    pub low: f64,
    /// What is usual.
    pub typical: f64,
    /// The most.
    pub high: f64,
}

impl Expansion {
    /// Standard uncertainty of it: anything in the range is as likely.
    pub fn u(self) -> f64 {
        (self.high - self.low) / 12.0_f64.sqrt() // JCGM 100:2008, 4.3.7
    }

    /// That of a material by one of its names, in any case; `None` when the table has no such name.
    pub fn of(name: &str) -> Option<Self> {
        let name = name.trim().to_lowercase();
        rows().find(|(names, _)| names.split(' ').any(|known| known == name)).map(|(_, expansion)| expansion)
    }

    /// That of a caliper's steel.
    pub fn of_caliper() -> Self {
        // The table has the row, a test sees to it.
        Self::of("caliper").unwrap_or(Self { low: 10.5e-6, typical: 11.5e-6, high: 12.5e-6 })
    }

    /// That of a filament of which nothing is known: the range of the unfilled plastics of the table, between the usual
    /// values of PETG and nylon.
    pub fn of_any_plastic() -> Self {
        Self { low: 50e-6, typical: 75e-6, high: 110e-6 }
    }

    /// The material that a setup's name names, such as `petg-0.4`.
    pub fn named_in(setup: &str) -> Option<(String, Self)> {
        let words = setup.split(|letter: char| !letter.is_alphanumeric()).filter(|word| !word.is_empty());
        let words: Vec<String> = words.map(str::to_lowercase).collect();
        let pairs = words.windows(2).map(|pair| pair.join("-"));
        pairs
            .chain(words.iter().cloned())
            .find_map(|word| Some((Self::of(&word)?, word)))
            .map(|(e, word)| (word, e))
    }
}

/// The names that a material may be given by.
pub fn materials() -> impl Iterator<Item = &'static str> {
    rows().skip(1).flat_map(|(names, _)| names.split(' '))
}

fn rows() -> impl Iterator<Item = (&'static str, Expansion)> {
    let table = include_str!("../../data/thermal/expansion.csv");
    let lines = table.lines().filter(|line| !line.starts_with('#')).skip(1);
    lines.filter_map(|line| {
        let mut cells = line.splitn(5, ',');
        let names = cells.next()?;
        let mut number = || cells.next().and_then(|cell| cell.parse::<f64>().ok()).map(|value| value * 1e-6);
        Some((names, Expansion { low: number()?, typical: number()?, high: number()? }))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_of_the_table_is_a_range_and_has_a_name() {
        assert_eq!(rows().count(), 8);
        for (names, expansion) in rows() {
            assert!(!names.is_empty());
            assert!(expansion.low < expansion.typical && expansion.typical < expansion.high, "{names}");
            assert!((10e-6..200e-6).contains(&expansion.typical), "{names}");
        }
        assert_eq!(
            Expansion::of("PETG"),
            Some(Expansion { low: 50.0 * 1e-6, typical: 60.0 * 1e-6, high: 75.0 * 1e-6 })
        );
        assert_eq!(Expansion::of_caliper().typical, 11.5 * 1e-6);
        assert_eq!(Expansion::of("wood"), None);
        assert_eq!(materials().next(), Some("pla"));
    }

    #[test]
    fn a_setup_s_name_may_name_its_material() {
        let of = |setup: &str| Expansion::named_in(setup).map(|(name, _)| name);
        assert_eq!(of("petg-0.4").as_deref(), Some("petg"));
        assert_eq!(of("left printer, PA-CF").as_deref(), Some("pa-cf"));
        assert_eq!(of("Black_ABS").as_deref(), Some("abs"));
        assert_eq!(of("unnamed"), None);
        // A word that only contains one is none.
        assert_eq!(of("plastic"), None);
    }
}
