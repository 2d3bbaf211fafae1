//! A reading that was set aside and would fit another feature: typed into the wrong row, or the outside
//! measured for the inside.
//!
//! Looked for only near by, where a hand slips: on the same coupon of the same print, or two rows away. A
//! slipped decimal point or a wrong unit ([`slips`]) is the likelier explanation and is named instead.

use crate::readings::slips::{self, Slip};
use crate::readings::{Reading, SetupView};

use super::Correction;

/// So many rows away a reading is typed by mistake. Picked by feel.
const ROWS_AWAY: usize = 2;
/// Nearer than this to what the fit predicts, a reading fits, mm: what a caliper and a hand do.
const FITS_WITHIN_MM: f64 = 0.05;

impl Correction {
    /// Adds to the reason of each reading that was set aside the likely slip: of the pen, or of the row.
    pub(super) fn suggest_elsewhere(&mut self, setup: SetupView<'_>) {
        let mut asides = std::mem::take(&mut self.set_aside);
        for aside in asides.iter_mut().filter(|aside| !aside.is_by_person()) {
            let reading = Reading { mm: aside.reading_mm, line: aside.line };
            let Some(own) = place_of(setup, reading) else { continue };
            let slip = slips::likely(reading.mm, setup.feature(own).nominal_mm);
            let slip = slip.filter(|slip| {
                !matches!(slip, Slip::FarFromNominal { .. }) && !aside.reason.contains(&slip.to_string())
            });
            let slip = slip.map(|slip| format!("{} {slip}", reading.mm));
            for words in slip.into_iter().chain(self.elsewhere(setup, own, reading)) {
                aside.reason = format!("{}; {words}", aside.reason);
            }
        }
        self.set_aside = asides;
    }

    fn elsewhere(&self, setup: SetupView<'_>, own_at: usize, reading: Reading) -> Option<String> {
        let own = setup.feature(own_at);
        // Two swapped digits explain a few tenths, and so does a neighbour: both are told.
        if let Some(Slip::DecimalPoint { .. } | Slip::Inches { .. } | Slip::Millimetres { .. }) =
            slips::likely(reading.mm, own.nominal_mm)
        {
            return None;
        }
        let spread = &self.spread;
        let sd_mm = spread.feature.sd_mm.hypot(spread.print.sd_mm);
        let within_mm = (3.0 * sd_mm).max(FITS_WITHIN_MM);
        let off_mm = |at: usize| {
            let other = setup.feature(at);
            let known = self.kinds.contains_key(&other.kind);
            let expected = other.nominal_mm + self.deviation_mm(other.kind, other.axis, other.nominal_mm);
            known.then_some((reading.mm - expected).abs())
        };
        // What fits its own place about as well is in it.
        if off_mm(own_at).is_some_and(|off| off < 3.0 * within_mm) {
            return None;
        }
        let near = (0..setup.len()).filter(|at| {
            let other = setup.feature(*at);
            let same_coupon = !own.coupon.is_empty() && other.coupon == own.coupon;
            *at != own_at && other.copy == own.copy && (same_coupon || at.abs_diff(own_at) <= ROWS_AWAY)
        });
        let fitting = near.filter_map(|at| Some((at, off_mm(at).filter(|off| *off <= within_mm)?)));
        let (at, _) = fitting.min_by(|(_, a), (_, b)| a.total_cmp(b))?;
        let other = setup.feature(at);
        let turned = own.coupon == other.coupon && own.kind.swell_sign() * other.kind.swell_sign() < 0.0;
        let asked = match (turned, own.kind.swell_sign() < 0.0) {
            (true, true) => "was the outside measured for the inside?",
            (true, false) => "was the inside measured for the outside?",
            (false, _) => "was it typed into the wrong row?",
        };
        let line = setup.repeats(at).lowest.line;
        let place = if setup.repeats(at).count > 0 { format!(" on line {line}") } else { String::new() };
        Some(format!("it would fit {}{place}: {asked}", other.feature))
    }
}

/// The feature that a reading is of, where it is the smallest or the largest of it.
fn place_of(setup: SetupView<'_>, reading: Reading) -> Option<usize> {
    (0..setup.len()).find(|at| {
        let repeats = setup.repeats(*at);
        repeats.count > 0 && (repeats.lowest == reading || repeats.highest == reading)
    })
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use crate::correction::Correction;
    use crate::correction::fit::{FitOptions, Method, fit_all};
    use crate::readings::read_bytes;

    /// Invented readings of two prints: rings with a bore and an outside, a comb's gaps, with `edit` applied.
    fn fitted(method: Method, edit: impl Fn(String) -> String) -> Correction {
        let mut text =
            "coupon,feature,kind,nominal_mm,copy,reading_1_mm,reading_2_mm,reading_3_mm\n".to_owned();
        for copy in 1..=2 {
            for (at, bore) in [4.0, 5.0, 6.0, 8.0, 10.0, 12.0].iter().enumerate() {
                let rows = [("b", "bore", *bore, -0.18), ("p", "pin", bore + 8.0, 0.1)];
                for (name, kind, size, offset) in rows {
                    let wobble = 0.01 * ((at * 3 + copy * 5 + kind.len()) % 4) as f64 - 0.015;
                    let reading = 0.996 * size + offset + wobble;
                    let [a, b, c] = [0.0, 0.01, -0.01].map(|more| format!("{:.2}", reading + more));
                    text += &format!("R{bore},{name}{size},{kind},{size},{copy},{a},{b},{c}\n");
                }
            }
        }
        let checked = read_bytes(Path::new("r.csv"), edit(text).as_bytes()).unwrap();
        let options = FitOptions { method, ..FitOptions::default() };
        fit_all(&checked, &options).remove(0).unwrap().correction
    }

    const METHODS: [Method; 2] = [Method::Structured, Method::LeastSquares];

    fn readings(text: &str, row: &str) -> String {
        let line = text.lines().find(|line| line.contains(row)).unwrap();
        line.splitn(6, ',').nth(5).unwrap().to_owned()
    }

    #[test]
    fn an_outside_measured_for_the_inside_is_named() {
        for method in METHODS {
            let correction = fitted(method, |text| {
                let (bore, pin) = (readings(&text, ",b6,bore,6,1,"), readings(&text, ",p14,pin,14,1,"));
                text.replacen(&format!(",b6,bore,6,1,{bore}"), &format!(",b6,bore,6,1,{pin}"), 1)
            });
            assert!(!correction.set_aside.is_empty());
            for aside in &correction.set_aside {
                let asked = "; it would fit p14 on line 7: was the outside measured for the inside?";
                assert!(aside.line == 6 && aside.reason.ends_with(asked), "{method:?}: {aside:?}");
            }
        }
    }

    #[test]
    fn two_rows_that_changed_places_are_named_each_with_the_other() {
        for method in METHODS {
            let correction =
                fitted(method, |text| {
                    let [one, other] = [",b5,bore,5,1,", ",b6,bore,6,1,"].map(|row| readings(&text, row));
                    text.replacen(&format!(",b5,bore,5,1,{one}"), &format!(",b5,bore,5,1,{other}"), 1)
                        .replacen(&format!(",b6,bore,6,1,{other}"), &format!(",b6,bore,6,1,{one}"), 1)
                });
            let reasons: Vec<&str> = correction.set_aside.iter().map(|aside| aside.reason.as_str()).collect();
            let has = |words: &str| reasons.iter().any(|reason| reason.ends_with(words));
            assert!(
                has("; it would fit b6 on line 6: was it typed into the wrong row?"),
                "{method:?}: {reasons:?}"
            );
            assert!(
                has("; it would fit b5 on line 4: was it typed into the wrong row?"),
                "{method:?}: {reasons:?}"
            );
        }
    }

    /// One of three repeats with its digits swapped.
    #[test]
    fn swapped_digits_among_repeats_are_named() {
        for method in METHODS {
            let correction = fitted(method, |text| {
                let bore = readings(&text, ",b6,bore,6,1,");
                let (first, rest) = bore.split_once(',').unwrap();
                // 5.79 becomes 9.75, far off; 5.78 would become 7.58.
                let swapped: String = [&first[2..3], ".", &first[0..1], &first[3..]].concat();
                text.replacen(&format!(",b6,bore,6,1,{bore}"), &format!(",b6,bore,6,1,{swapped},{rest}"), 1)
            });
            let [aside] = &correction.set_aside[..] else { panic!("{:?}", correction.set_aside) };
            assert_eq!(aside.reason.matches("would fit with two digits swapped: 5.").count(), 1, "{aside:?}");
        }
    }

    #[test]
    fn a_slip_within_the_number_is_named_instead_and_what_fits_nothing_is_not_guessed_at() {
        for method in METHODS {
            let correction = fitted(method, |text| {
                let bore = readings(&text, ",b6,bore,6,1,");
                let tenfold = bore.replace("5.", "5").replace("6.", "6");
                text.replacen(&format!(",b6,bore,6,1,{bore}"), &format!(",b6,bore,6,1,{tenfold}"), 1)
            });
            assert!(!correction.set_aside.is_empty());
            assert!(correction.set_aside.iter().all(|aside| aside.reason.contains("decimal point")));
            let correction = fitted(method, |text| {
                let bore = readings(&text, ",b6,bore,6,1,");
                text.replacen(&format!(",b6,bore,6,1,{bore}"), ",b6,bore,6,1,6.66,6.67,6.66", 1)
            });
            assert!(!correction.set_aside.is_empty());
            assert!(correction.set_aside.iter().all(|aside| !aside.reason.contains("would fit")));
        }
    }
}
