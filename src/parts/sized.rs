//! One size to draw, with what is to be said of it: interval, chance, warnings.

use serde::Serialize;

use crate::correction::Correction;
use crate::correction::apply::{CannotApply, Size};
use crate::correction::tolerance::ToleranceInterval;
use crate::fits::aim::Aim;
use crate::fits::named::PRESS_CAUTION;
use crate::fits::{Source, decimal_mm, written};
use crate::kind::{Axis, Kind};
use crate::stats::tolerance::Wanted;
use crate::units::Mm;

use super::build::sizing::{Sized, Sizing};
use super::felt::FeelUsed;
use super::pressed::{CannotPress, PressRequest, Pressed};

/// The answer to "what do I draw". Serialised, it is the result of `size --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SizedFeature {
    /// What is sized.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The printed size that is aimed at, mm.
    pub target_mm: f64,
    /// The size to draw, mm; `None`, and so are the next four, when no size prints as the target.
    pub draw_mm: Option<f64>,
    /// Drawn less target, mm.
    pub correction_mm: Option<f64>,
    /// The drawn sizes whose mean print could be the target, 95 %, mm; `None` when it was not asked for or
    /// nothing tells.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub draw_interval95_mm: Option<[f64; 2]>,
    /// What it prints as on average, mm.
    pub expected_mm: Option<f64>,
    /// Lower end of the interval that holds a new print with 95 %, mm; `None` when nothing tells the spread.
    pub low95_mm: Option<f64>,
    /// Its upper end, mm.
    pub high95_mm: Option<f64>,
    /// The chance that a new print keeps what is asked; `None` when nothing is, or nothing tells the spread.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chance: Option<f64>,
    /// The limits that hold a share of all new prints; `None` when not asked for or nothing tells.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<ToleranceInterval>,
    /// The limits that it must keep, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub within: Option<[f64; 2]>,
    /// Whether the drawn size lies outside the measured range.
    pub extrapolated: bool,
    /// What the person should know before drawing it.
    pub warnings: Vec<String>,
    /// The feel tests that the limits come from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub feel: Option<FeelUsed>,
    /// What the plastic bears and what holds, where a press fit is judged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub press: Option<Pressed>,
    /// Where the numbers come from; empty unless it was asked.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<Source>,
    /// What the limits are called.
    #[serde(skip)]
    called: Option<String>,
}

/// The round that a flat is cut off, as wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoundOfFlat {
    /// The kind of bore.
    pub kind: Kind,
    /// Its printed diameter.
    pub target: Mm,
}

impl SizedFeature {
    /// The size to draw, rounded to `step`, for a print that comes out as `aim` says.
    ///
    /// # Errors
    /// As [`Correction::size_for`].
    pub fn new(
        correction: &Correction,
        kind: Kind,
        axis: Axis,
        aim: &Aim,
        step: Mm,
    ) -> Result<Self, CannotApply> {
        let size = correction.size_for(kind, axis, aim.target, step)?;
        let mut sized = Self::of_size(kind, axis, aim, &size);
        let beyond_mm = size.prediction.beyond_mm;
        sized.warnings.extend(correction.extrapolation(kind, size.draw.get(), beyond_mm));
        Ok(sized)
    }

    /// The size to draw across a flat, by the rule that a pulley's D bore has, too: half of it is the bore
    /// and half of a gap of twice what the flat lies from the axis.
    ///
    /// # Errors
    /// As [`Correction::size_for`].
    pub fn across_flat(
        correction: &Correction,
        round: RoundOfFlat,
        aim: &Aim,
        step: Mm,
    ) -> Result<Self, CannotApply> {
        let refused = CannotApply::NothingToDraw { kind: Kind::Gap, target: aim.target };
        let sizing = Sizing::new(Some(correction));
        let bore = correction.size_for(round.kind, round.kind.unnamed_axis(), round.target, step)?.draw.get();
        let flat_mm = sizing.drawn_flat_mm(aim.target.get() - round.target.get() / 2.0)?;
        let far_side_mm = sizing.drawn_mm(round.kind, round.target.get())? / 2.0;
        let draw = Mm::new(flat_mm + far_side_mm).map(|mm| mm.rounded_to(step)).ok_or(refused.clone())?;
        let flat_mm = draw.get() - bore / 2.0;
        let drawn = Sized::across_flat_of("across the flat", round.kind, bore, flat_mm);
        let prediction = sizing.prediction(&drawn)?.ok_or(refused)?;
        let size = Size { target: aim.target, draw, prediction };
        let mut sized = Self::of_size(Kind::Gap, Kind::Gap.unnamed_axis(), aim, &size);
        // The bore's own line says where that one lies.
        let gap = correction.predict(Kind::Gap, Kind::Gap.unnamed_axis(), 2.0 * flat_mm)?;
        sized.warnings.extend(correction.extrapolation(Kind::Gap, 2.0 * flat_mm, gap.beyond_mm));
        Ok(sized)
    }

    fn of_size(kind: Kind, axis: Axis, aim: &Aim, size: &Size) -> Self {
        let prediction = size.prediction;
        let (low, high) = prediction.interval(0.95);
        let known = low.is_finite() && high.is_finite();
        let mut sized = Self::without_answer(kind, axis, aim);
        sized.draw_mm = Some(size.draw.get());
        sized.correction_mm = Some(decimal_mm(size.draw.get() - aim.target.get()));
        sized.expected_mm = Some(prediction.expected_mm);
        sized.low95_mm = known.then_some(low);
        sized.high95_mm = known.then_some(high);
        sized.chance = aim.chance(&prediction).filter(|_| known);
        sized.extrapolated = prediction.beyond_mm > 0.0;
        if aim.is_pressed {
            sized.warnings.push(PRESS_CAUTION.to_owned());
        }
        sized
    }

    /// The same with a press fit judged: what the plastic bears and what holds.
    ///
    /// # Errors
    /// As [`PressRequest::judge`].
    pub fn with_press(
        mut self,
        correction: &Correction,
        aim: &Aim,
        request: &PressRequest,
    ) -> Result<Self, CannotPress> {
        let printed = self.draw_mm.and_then(|drawn| correction.predict(self.kind, self.axis, drawn).ok());
        if let Some(printed) = printed {
            let pressed = request.judge(&printed, aim.bought)?;
            self.warnings.extend(pressed.cautions.iter().cloned());
            self.press = Some(pressed);
        }
        Ok(self)
    }

    /// The same with how well the size to draw is known, which costs more than the answer itself.
    ///
    /// # Errors
    /// As [`Correction::drawn_interval`].
    pub fn with_drawn_interval(mut self, correction: &Correction) -> Result<Self, CannotApply> {
        if let Some(target) = Mm::new(self.target_mm) {
            let drawn = correction.drawn_interval(self.kind, self.axis, target, 0.95)?;
            self.draw_interval95_mm = drawn.map(|(low, high)| [low, high]);
        }
        Ok(self)
    }

    /// The same with the limits that hold a share of all new prints.
    ///
    /// # Errors
    /// As [`Correction::tolerance`].
    pub fn with_tolerance(mut self, correction: &Correction, demand: Wanted) -> Result<Self, CannotApply> {
        if let Some(draw) = self.draw_mm {
            self.tolerance = correction.tolerance(self.kind, self.axis, draw, demand)?;
        }
        Ok(self)
    }

    /// The answer where no size prints as the target: the reason is a warning.
    pub fn refused(kind: Kind, axis: Axis, aim: &Aim, reason: &CannotApply) -> Self {
        let mut sized = Self::without_answer(kind, axis, aim);
        sized.warnings.push(reason.to_string());
        sized
    }

    fn without_answer(kind: Kind, axis: Axis, aim: &Aim) -> Self {
        Self {
            kind,
            axis,
            target_mm: aim.target.get(),
            draw_mm: None,
            correction_mm: None,
            draw_interval95_mm: None,
            expected_mm: None,
            low95_mm: None,
            high95_mm: None,
            chance: None,
            tolerance: None,
            within: aim.limits.map(|limits| [limits.lower_mm, limits.upper_mm]),
            extrapolated: false,
            warnings: aim.cautions.clone(),
            feel: None,
            press: None,
            sources: Vec::new(),
            called: aim.called.clone(),
        }
    }

    /// The answer for a person, in lines.
    ///
    /// ```text
    /// draw 8.33 mm; prints 8.10 mm, 95 % between 8.03 and 8.17; 86 % chance of slide on 8.00 (8.05 to 8.15)
    /// correction +0.23 mm (drawn - target, 8.10 mm)
    /// ```
    pub fn to_text(&self) -> String {
        let target = written(self.target_mm);
        let (Some(draw), Some(expected), Some(correction)) =
            (self.draw_mm, self.expected_mm, self.correction_mm)
        else {
            return format!("no size prints as {target} mm\n");
        };
        let interval = match self.low95_mm.zip(self.high95_mm) {
            Some((low, high)) => format!("95 % between {low:.2} and {high:.2}"),
            None => "how far about it nothing measured tells".to_owned(),
        };
        let chance = self.chance_in_words().unwrap_or_default();
        let feel = self.feel.as_ref().map_or_else(String::new, FeelUsed::to_text);
        let known = self.draw_interval95_mm.map_or_else(String::new, |[low, high]| {
            format!("; the size to draw is known to {low:.2} to {high:.2}, 95 %")
        });
        let held = self.tolerance.as_ref().map_or_else(String::new, |held| held.to_text() + "\n");
        format!(
            "draw {} mm; prints {expected:.2} mm, {interval}{chance}\n\
             correction {correction:+.2} mm (drawn - target, {target} mm){known}\n{held}{feel}{}{}",
            written(draw),
            self.press.as_ref().map_or_else(String::new, Pressed::to_text),
            Source::to_text(&self.sources)
        )
    }

    fn chance_in_words(&self) -> Option<String> {
        let (chance, [lower, upper]) = self.chance.zip(self.within)?;
        let limits = format!("{} to {}", written(lower), written(upper));
        let kept = match &self.called {
            Some(called) => format!("of {called} ({limits})"),
            None => format!("to lie within {limits}"),
        };
        Some(format!("; {} chance {kept}", percent(chance)))
    }
}

/// What is to be said of every size that a correction gives: a spread that was allowed for, not measured.
pub fn allowance(correction: &Correction) -> Option<String> {
    let print = correction.spread.print;
    print.dof.is_none().then(|| {
        format!(
            "how much one print differs from the next was not measured, {:.3} mm (standard deviation) is allowed for it",
            print.sd_mm
        )
    })
}

/// A chance in words, without claiming more than its digits carry.
pub fn percent(chance: f64) -> String {
    if chance > 0.99 {
        "over 99 %".to_owned()
    } else if chance < 0.01 {
        "under 1 %".to_owned()
    } else {
        format!("{:.0} %", chance * 100.0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::fits::Limits;
    use crate::fits::aim::{Demand, Request};
    use crate::fits::named::NamedFits;
    use crate::parts::fixture::known;

    fn sized(kind: Kind, size: f64, demand: Demand<'_>) -> SizedFeature {
        let request = Request { kind, size: Mm::new(size), mate: None, mate_limits: None, demand };
        SizedFeature::new(&known(), kind, Axis::Round, &request.aim().unwrap(), Mm::new(0.01).unwrap())
            .unwrap()
    }

    #[test]
    fn the_answer_reads_as_sentences() {
        let fits = NamedFits::bundled();
        let answer = sized(Kind::Bore, 8.0, Demand::Fit(fits.get("slide").unwrap()));
        assert_eq!(
            answer.to_text(),
            "draw 8.33 mm; prints 8.10 mm, 95 % between 8.03 and 8.17; \
             86 % chance of slide on 8.00 (8.05 to 8.15)\n\
             correction +0.23 mm (drawn - target, 8.10 mm)\n"
        );
        assert!(answer.warnings.is_empty());
        let answer = sized(Kind::Pin, 8.0, Demand::Within(Limits { lower_mm: 7.7, upper_mm: 8.3 }));
        assert_eq!(
            answer.to_text(),
            "draw 7.91 mm; prints 8.00 mm, 95 % between 7.93 and 8.07; \
             over 99 % chance to lie within 7.70 to 8.30\n\
             correction -0.09 mm (drawn - target, 8.00 mm)\n"
        );
    }

    #[test]
    fn a_size_outside_the_measured_range_and_a_press_fit_come_with_warnings() {
        let answer = sized(Kind::Span, 60.0, Demand::None);
        assert!(answer.extrapolated);
        assert_eq!(answer.warnings.len(), 1);
        assert!(answer.warnings[0].starts_with("60.24 mm lies 30.24 mm outside the sizes of spans"));
        assert_eq!((answer.chance, answer.within), (None, None));
        let fits = NamedFits::bundled();
        let answer = sized(Kind::Bore, 22.0, Demand::Fit(fits.get("press").unwrap()));
        assert_eq!(answer.warnings, [PRESS_CAUTION]);
    }

    #[test]
    fn a_spread_that_was_allowed_for_is_told() {
        let mut correction = known();
        assert_eq!(allowance(&correction), None);
        correction.spread.print.dof = None;
        assert_eq!(
            allowance(&correction).unwrap(),
            "how much one print differs from the next was not measured, \
             0.020 mm (standard deviation) is allowed for it"
        );
    }

    #[test]
    fn the_json_has_the_keys_of_the_design() {
        let answer = sized(Kind::Bore, 8.0, Demand::Within(Limits { lower_mm: 7.95, upper_mm: 8.05 }));
        let json = serde_json::to_value(&answer).unwrap();
        let keys: Vec<&str> = json.as_object().unwrap().keys().map(String::as_str).collect();
        for key in [
            "kind",
            "target_mm",
            "draw_mm",
            "expected_mm",
            "low95_mm",
            "high95_mm",
            "chance",
            "within",
            "extrapolated",
            "warnings",
        ] {
            assert!(keys.contains(&key), "{key}");
        }
        assert_eq!(json["within"], serde_json::json!([7.95, 8.05]));
        assert_eq!(json["target_mm"], 8.0);
        let json = serde_json::to_value(sized(Kind::Bore, 8.0, Demand::None)).unwrap();
        assert!(json.get("chance").is_none() && json.get("within").is_none());
    }

    #[test]
    fn a_spread_of_which_nothing_is_known_gives_no_interval_and_no_chance() {
        let mut correction = known();
        correction.spread.print.dof = Some(0.0);
        let request = Request {
            kind: Kind::Bore,
            size: Mm::new(8.0),
            mate: None,
            mate_limits: None,
            demand: Demand::Within(Limits { lower_mm: 7.9, upper_mm: 8.1 }),
        };
        let aim = request.aim().unwrap();
        let answer =
            SizedFeature::new(&correction, Kind::Bore, Axis::Round, &aim, Mm::new(0.01).unwrap()).unwrap();
        assert_eq!((answer.low95_mm, answer.chance), (None, None));
        let text = answer.to_text();
        assert!(text.starts_with("draw 8.23 mm; prints 8.00 mm, how far about it nothing measured tells\n"));
    }

    proptest! {
        #[test]
        fn what_is_drawn_prints_as_what_is_aimed_at_within_the_rounding(
            target in 1.0..60.0_f64, kind in prop::sample::select(vec![Kind::Bore, Kind::Pin, Kind::Gap, Kind::Span]),
        ) {
            let answer = sized(kind, target, Demand::None);
            let (draw, expected) = (answer.draw_mm.unwrap(), answer.expected_mm.unwrap());
            prop_assert!((expected - target).abs() <= 0.005 + 1e-9);
            prop_assert!((draw * 100.0 - (draw * 100.0).round()).abs() < 1e-9);
            let again = known().predict(kind, Axis::Round, draw).unwrap();
            prop_assert_eq!(again.expected_mm, expected);
            let (low, high) = (answer.low95_mm.unwrap(), answer.high95_mm.unwrap());
            prop_assert!((low + high - 2.0 * expected).abs() < 1e-9);
        }

        #[test]
        fn the_chance_grows_with_wider_limits_and_mirrors_about_what_is_expected(
            target in 3.0..30.0_f64, half in 0.001..0.3_f64, more in 0.001..0.1_f64,
        ) {
            let chance = |below: f64, above: f64| {
                let limits = Limits { lower_mm: target - below, upper_mm: target + above };
                sized(Kind::Bore, target, Demand::Within(limits)).chance.unwrap()
            };
            prop_assert!(chance(half, half + more) > chance(half, half));
            prop_assert!(chance(half + more, half) > chance(half, half));
            // About what is expected, which rounding moves off the target.
            let off = sized(Kind::Bore, target, Demand::None).expected_mm.unwrap() - target;
            let (one, other) = (chance(half + 0.01 - off, more + 0.01 + off), chance(more + 0.01 - off, half + 0.01 + off));
            prop_assert!((one - other).abs() < 1e-8, "{one} {other}");
        }
    }
}
