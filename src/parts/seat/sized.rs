//! A seat with a correction: what to draw for each of its dimensions.

use serde::Serialize;

use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::fits::{Source, written};
use crate::kind::{Axis, Kind};
use crate::units::Mm;

use super::{Plain, Seat, Wanted};
use crate::parts::pressed::{CannotPress, PressRequest};
use crate::parts::sized::{SizedFeature, allowance, percent};

/// A seat to draw. Serialised, it is the result of `size --mate bearing:608 --json`: the keys of the
/// dimension that fits, and all dimensions in `dimensions`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SizedSeat {
    /// The bought part.
    pub mate: String,
    /// The dimension that fits.
    #[serde(flatten)]
    pub main: SizedFeature,
    /// Every dimension, the one that fits first.
    pub dimensions: Vec<SeatDimension>,
    /// Where the numbers come from; empty unless it was asked.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<Source>,
}

/// One dimension of a seat.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SeatDimension {
    /// What it is called.
    pub name: &'static str,
    /// What it is; `None` for what is drawn as it is.
    pub kind: Option<Kind>,
    /// The direction it is measured in.
    pub axis: Option<Axis>,
    /// The printed size that is aimed at, mm.
    pub target_mm: Option<f64>,
    /// The size to draw, mm; `None` when nothing prints as the target.
    pub draw_mm: Option<f64>,
    /// What it prints as on average, mm.
    pub expected_mm: Option<f64>,
    /// Lower end of the interval that holds a new print with 95 %, mm.
    pub low95_mm: Option<f64>,
    /// Its upper end, mm.
    pub high95_mm: Option<f64>,
    /// The chance that a new print keeps what is asked.
    pub chance: Option<f64>,
    /// The limits that it must keep, mm.
    pub within: Option<[f64; 2]>,
    /// Whether the drawn size lies outside the measured range.
    pub extrapolated: bool,
    /// Whether the size to draw was corrected by measurements.
    pub corrected: bool,
    /// What it is for.
    pub note: String,
}

impl SizedSeat {
    /// What to draw for `seat`, rounded to `step`.
    ///
    /// # Errors
    /// As [`Correction::size_for`], for the dimension that fits. Of the others, those of which nothing was
    /// measured are drawn as they are wanted, and say so.
    pub fn new(seat: &Seat<'_>, correction: &Correction, step: Mm) -> Result<Self, CannotApply> {
        let first = &seat.first;
        let sized = first.sized(correction, step);
        let mut main = match sized.and_then(|sized| sized.with_drawn_interval(correction)) {
            Err(reason @ CannotApply::KindNotMeasured { .. }) => return Err(reason),
            Err(reason) => SizedFeature::refused(first.kind, first.axis, &first.aim, &reason),
            Ok(sized) => sized,
        };
        let mut dimensions = vec![SeatDimension::of(first, &main)];
        let mut unmeasured: Vec<&str> = Vec::new();
        for wanted in &seat.others {
            match wanted.sized(correction, step) {
                Ok(sized) => {
                    let strange = sized.warnings.iter().map(|warning| format!("{}: {warning}", wanted.name));
                    main.warnings.extend(strange);
                    dimensions.push(SeatDimension::of(wanted, &sized));
                }
                Err(reason) => {
                    if matches!(reason, CannotApply::KindNotMeasured { .. }) {
                        if !unmeasured.contains(&wanted.kind.plural()) {
                            unmeasured.push(wanted.kind.plural());
                        }
                    } else {
                        main.warnings.push(format!("{}: {reason}", wanted.name));
                    }
                    dimensions.push(SeatDimension::uncorrected(wanted, &reason, step));
                }
            }
        }
        if !unmeasured.is_empty() {
            let kinds = unmeasured.join(" and ");
            main.warnings.push(format!(
                "the correction has no {kinds}: those sizes are drawn as they are wanted, without correction"
            ));
        }
        dimensions.extend(seat.plain.iter().map(SeatDimension::plain));
        main.warnings.extend(seat.cautions.iter().cloned());
        main.warnings.extend(allowance(correction));
        Ok(Self { mate: seat.title.clone(), main, dimensions, sources: Vec::new() })
    }

    /// The same with the press fit of the dimension that fits judged.
    ///
    /// # Errors
    /// As [`PressRequest::judge`].
    pub fn with_press(
        mut self,
        seat: &Seat<'_>,
        correction: &Correction,
        request: &PressRequest,
    ) -> Result<Self, CannotPress> {
        self.main = self.main.with_press(correction, &seat.first.aim, request)?;
        Ok(self)
    }

    /// Whether every dimension has a size to draw.
    pub fn is_whole(&self) -> bool {
        self.dimensions.iter().all(|dimension| dimension.draw_mm.is_some())
    }

    /// The answer for a person: the dimension that fits in words, and a table of all.
    pub fn to_text(&self) -> String {
        let mut rows = vec![TITLES.map(str::to_owned)];
        rows.extend(self.dimensions.iter().map(SeatDimension::row));
        let widths: [usize; 8] = std::array::from_fn(|column| {
            rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0)
        });
        let mut text = format!("{}: {}", self.mate, self.main.to_text());
        for row in &rows {
            for (column, (cell, width)) in row.iter().zip(widths).enumerate() {
                let pad = " ".repeat(width - cell.chars().count());
                let is_text = column < 2 || column == 7;
                text.push_str(&if is_text { format!("{cell}{pad}  ") } else { format!("{pad}{cell}  ") });
            }
            text.truncate(text.trim_end().len());
            text.push('\n');
        }
        text.push_str(&Source::to_text(&self.sources));
        text
    }
}

const TITLES: [&str; 8] = ["", "kind", "target mm", "draw mm", "95 % from", "to", "chance", ""];

impl SeatDimension {
    fn of(wanted: &Wanted<'_>, sized: &SizedFeature) -> Self {
        Self {
            name: wanted.name,
            kind: Some(sized.kind),
            axis: Some(sized.axis),
            target_mm: Some(sized.target_mm),
            draw_mm: sized.draw_mm,
            expected_mm: sized.expected_mm,
            low95_mm: sized.low95_mm,
            high95_mm: sized.high95_mm,
            chance: sized.chance,
            within: sized.within,
            extrapolated: sized.extrapolated,
            corrected: true,
            note: wanted.note.clone(),
        }
    }

    /// What is drawn as it is wanted because nothing of its kind was measured, or not at all.
    fn uncorrected(wanted: &Wanted<'_>, reason: &CannotApply, step: Mm) -> Self {
        let is_unmeasured = matches!(reason, CannotApply::KindNotMeasured { .. });
        Self {
            name: wanted.name,
            kind: Some(wanted.kind),
            axis: Some(wanted.axis),
            target_mm: Some(wanted.aim.target.get()),
            draw_mm: is_unmeasured.then(|| wanted.aim.target.rounded_to(step).get()),
            expected_mm: None,
            low95_mm: None,
            high95_mm: None,
            chance: None,
            within: wanted.aim.limits.map(|limits| [limits.lower_mm, limits.upper_mm]),
            extrapolated: false,
            corrected: false,
            note: wanted.note.clone(),
        }
    }

    fn plain(plain: &Plain) -> Self {
        Self {
            name: plain.name,
            kind: None,
            axis: None,
            target_mm: None,
            draw_mm: Some(plain.size.get()),
            expected_mm: None,
            low95_mm: None,
            high95_mm: None,
            chance: None,
            within: None,
            extrapolated: false,
            corrected: false,
            note: plain.note.clone(),
        }
    }

    fn row(&self) -> [String; 8] {
        let hundredths = |value: Option<f64>| value.map_or(String::new(), |value| format!("{value:.2}"));
        let uncorrected = if self.kind.is_some() && !self.corrected { "not corrected; " } else { "" };
        [
            self.name.to_owned(),
            self.kind.map_or("", Kind::name).to_owned(),
            self.target_mm.map_or(String::new(), written),
            self.draw_mm.map_or("-".to_owned(), written),
            hundredths(self.low95_mm),
            hundredths(self.high95_mm),
            self.chance.map_or(String::new(), percent),
            format!("{uncorrected}{}", self.note).trim_end_matches("; ").to_owned(),
        ]
    }
}

impl Wanted<'_> {
    fn sized(&self, correction: &Correction, step: Mm) -> Result<SizedFeature, CannotApply> {
        let mut sized = match self.round {
            Some(round) => SizedFeature::across_flat(correction, round, &self.aim, step)?,
            None => SizedFeature::new(correction, self.kind, self.axis, &self.aim, step)?,
        };
        if let Some((chosen, mate)) = &self.chosen {
            chosen.credit(&mut sized, *mate);
        }
        Ok(sized)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fits::named::NamedFits;
    use crate::parts::fixture::known;
    use crate::parts::own_fits::OwnFits;
    use crate::parts::seat::bought::BoughtPart;
    use crate::parts::seat::{Ask, CannotSeat, How};

    fn seat(part: &str, kind: Option<Kind>, how: How<'_>) -> Result<SizedSeat, CannotSeat> {
        let fits = NamedFits::bundled();
        let part: BoughtPart = part.parse().unwrap();
        let seat = Seat::new(Ask { part: &part, kind, axis: None, how }, &OwnFits::named(&fits))?;
        Ok(SizedSeat::new(&seat, &known(), Mm::new(0.01).unwrap()).unwrap())
    }

    /// (name, kind, target, limits) of every dimension.
    fn shape(part: &str, kind: Option<Kind>, how: How<'_>) -> Vec<(&'static str, f64, Option<[f64; 2]>)> {
        let seat = seat(part, kind, how).unwrap();
        seat.dimensions.iter().map(|d| (d.name, d.target_mm.or(d.draw_mm).unwrap(), d.within)).collect()
    }

    /// A 608 is 22 mm outside (21.991 to 22), 8 mm inside, 7 mm wide: pressed, a print is 0.044 + 0.02 to
    /// 0.044 + 0.12 smaller than its middle.
    #[test]
    fn a_bearing_has_a_seat_a_shoulder_a_depth_and_a_lead_in() {
        assert_eq!(
            shape("bearing:608", None, How::Fit("press")),
            [
                ("seat", 21.8815, Some([21.8315, 21.9315])),
                ("shoulder", 18.85, Some([17.8, 19.9])),
                ("depth", 7.1, Some([7.0, 7.2])),
                ("lead-in chamfer", 0.5, None),
            ]
        );
        let shaft = shape("bearing:608", Some(Kind::Pin), How::Fit("snug"));
        assert_eq!(shaft[0], ("journal", 7.981, Some([7.946, 8.016])));
        assert_eq!(shaft[1], ("shoulder", 10.8, Some([10.1, 11.5])));
    }

    #[test]
    fn the_bearings_own_limits_spread_the_chance() {
        let seat = seat("bearing:608", None, How::Fit("press")).unwrap();
        // The same as from the limits by hand.
        assert!((seat.main.chance.unwrap() - 0.851).abs() < 0.005, "{:?}", seat.main.chance);
        assert!(seat.main.warnings.iter().any(|warning| warning.contains("a pressed part can burst")));
        assert!(seat.main.warnings.iter().any(|warning| warning.contains("the correction has no heights")));
        assert!(!seat.dimensions[2].corrected && seat.dimensions[2].draw_mm == Some(7.1));
    }

    /// ISO 273 medium for M3 is 3.4 H13 (+0.18), the head is 5.68 at most (free: 0.2 to 0.4), and 3 high.
    #[test]
    fn a_screw_has_its_hole_and_a_counterbore() {
        assert_eq!(
            shape("screw:M3", None, How::Usual),
            [
                ("through hole", 3.49, Some([3.4, 3.58])),
                ("counterbore", 5.98, Some([5.88, 6.08])),
                ("counterbore depth", 3.1, Some([3.0, 3.2])),
            ]
        );
        assert_eq!(shape("screw:M3:fine", None, How::Usual)[0].1, 3.26);
        assert_eq!(shape("screw:M3", None, How::Fit("slide"))[0].2, Some([3.05, 3.15]));
    }

    #[test]
    fn a_nut_has_a_pocket_that_takes_the_largest() {
        assert_eq!(
            shape("nut:M3", None, How::Usual),
            [
                ("across flats", 5.6, Some([5.55, 5.65])),
                ("pocket depth", 2.5, Some([2.4, 2.6])),
                ("screw hole", 3.49, Some([3.4, 3.58])),
                ("lead-in chamfer", 0.5, None),
            ]
        );
        let square = shape("nut:M3:square", None, How::Usual);
        assert_eq!(square[1], ("slot for its thickness", 1.9, Some([1.85, 1.95])));
        let warned = seat("nut:M5", None, How::Usual).unwrap().main.warnings;
        assert!(
            warned
                .iter()
                .any(|warning| warning.contains("older M5 nuts (DIN 934) are 8.00 across flats and 4.00"))
        );
    }

    #[test]
    fn a_shaft_that_a_shop_rounds_off_is_named_and_a_flat_is_a_gap() {
        let seat_of = seat("shaft:3.17", None, How::Fit("snug")).unwrap();
        assert!(
            seat_of.main.warnings.contains(
                &"a shaft sold as 3.17 mm is most often 1/8 inch, 3.175 mm: measure it, and ask for 3.175 if so"
                    .to_owned()
            ),
            "{:?}",
            seat_of.main.warnings
        );
        let flat = shape("shaft:5D4.5", None, How::Fit("snug"));
        assert_eq!(flat[1], ("across the flat", 4.515, Some([4.48, 4.55])));
    }

    #[test]
    fn a_class_says_which_fit_it_makes() {
        let warned = |class: &str| {
            let class = How::Class(class.parse().unwrap());
            seat("shaft:25h6", None, class).unwrap().main.warnings
        };
        let fit = "H7 and the limits of the shaft of 25.00 mm h6: clearance fit, clearance 0.00 to 0.034 mm";
        assert!(warned("H7").contains(&fit.to_owned()), "{:?}", warned("H7"));
        assert!(
            warned("K7").iter().any(|warning| warning.contains("transition fit, clearance -0.015 to 0.019"))
        );
        assert!(warned("S7").iter().any(|warning| warning.contains("interference fit")));
    }

    #[test]
    fn an_insert_and_a_pin_come_out_by_their_sizes() {
        let insert = shape("insert:4x5.8", None, How::Usual);
        assert_eq!(insert[0], ("hole", 4.05, Some([4.0, 4.1])));
        assert_eq!(insert[1].2, Some([6.8, 7.0]));
        let pin = shape("pin:4m6", None, How::Fit("press"));
        // The middle of 4.004 to 4.012, less 0.02 to 0.12 and 0.002 for each mm.
        assert_eq!(pin[0].2, Some([3.88, 3.98]));
    }

    #[test]
    fn what_does_not_go_together_says_why() {
        let refused = |part: &str, kind, how| seat(part, kind, how).unwrap_err().to_string();
        assert_eq!(refused("bearing:608", None, How::Usual), "a mate is given, but not how it fits");
        assert_eq!(
            refused("nut:M3", Some(Kind::Pin), How::Usual),
            "pins do not go with a nut: expected gap across its flats"
        );
        assert_eq!(
            refused("nut:M3", None, How::Class("H7".parse().unwrap())),
            "a nut is fitted by name, not by a class"
        );
    }
}
