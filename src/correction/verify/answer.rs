//! What `verify` says: the JSON document, and the table for the bench.

use std::fmt::Write as _;

use serde::Serialize;

use crate::kind::{Axis, Kind};

use super::verdict::{OTHER_LEVEL, WALLS_LEVEL};
use super::{Shift, Verdict, Verification, VerifiedFeature};

/// Features that are listed one by one; of more, those that differ most.
const MOST_LISTED: usize = 30;
/// How many of those.
const MOST_DIFFERENT: usize = 12;

/// The result of a verification.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct VerifyAnswer {
    /// `false` exactly when the correction has drifted; whether it was shown to hold is for `verdict`.
    pub holds: bool,
    /// `holds`, `drifted` or `cannot_tell`.
    pub verdict: Verdict,
    /// Why it is not `holds`.
    pub reasons: Vec<String>,
    /// The joint test's.
    pub p_value: f64,
    /// The shift of all sizes alike, mm.
    pub mean_shift_mm: f64,
    /// Its 95 % interval, mm.
    pub mean_shift_low95_mm: f64,
    /// Upper end, mm.
    pub mean_shift_high95_mm: f64,
    /// 95 % of unchanged printers stay within plus and minus this, mm.
    pub mean_shift_usual_mm: f64,
    /// The shift of walls; `null` where nothing measured has one.
    pub walls: Option<WallsAnswer>,
    /// The change of the mean that matters, mm.
    pub matters_mm: f64,
    /// The setup.
    pub setup: String,
    /// When these prints were measured.
    pub date: Option<String>,
    /// How many prints were measured.
    pub prints: u32,
    /// What was measured.
    pub features: Vec<FeatureAnswer>,
    /// The mean difference of each kind.
    pub kinds: Vec<KindAnswer>,
    /// What a reader must know.
    pub warnings: Vec<String>,
}

/// The shift of walls, as outside sizes show it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct WallsAnswer {
    outside_shift_mm: f64,
    low95_mm: f64,
    high95_mm: f64,
    usual_mm: f64,
    p_value: f64,
    /// Per side.
    swell_shift_mm: f64,
}

/// One feature.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FeatureAnswer {
    feature: String,
    kind: Kind,
    axis: Axis,
    copy: u32,
    line: u64,
    drawn_mm: f64,
    expected_mm: f64,
    reading_mm: f64,
    sd_mm: f64,
    z: f64,
    set_aside: bool,
}

/// One kind.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct KindAnswer {
    kind: Kind,
    mean_difference_mm: f64,
}

impl VerifyAnswer {
    /// Of one verification of prints that were measured on this day.
    pub fn of(verification: &Verification, date: Option<&str>) -> Self {
        let walls = |shift: &Shift| WallsAnswer {
            outside_shift_mm: shift.shift_mm,
            low95_mm: shift.shift_mm - shift.half_width_mm,
            high95_mm: shift.shift_mm + shift.half_width_mm,
            usual_mm: shift.usual_mm,
            p_value: shift.p_value,
            swell_shift_mm: shift.shift_mm / 2.0,
        };
        let feature = |feature: &VerifiedFeature| FeatureAnswer {
            feature: feature.name.clone(),
            kind: feature.kind,
            axis: feature.axis,
            copy: feature.copy,
            line: feature.line,
            drawn_mm: feature.drawn_mm,
            expected_mm: feature.expected_mm,
            reading_mm: feature.reading_mm,
            sd_mm: feature.sd_mm,
            z: feature.z(),
            set_aside: feature.set_aside,
        };
        let kind = |(kind, mean): &(Kind, f64)| KindAnswer { kind: *kind, mean_difference_mm: *mean };
        let mean = &verification.all_sizes;
        Self {
            holds: verification.verdict != Verdict::Drifted,
            verdict: verification.verdict,
            reasons: verification.reasons.iter().map(ToString::to_string).collect(),
            p_value: verification.p_value,
            mean_shift_mm: mean.shift_mm,
            mean_shift_low95_mm: mean.shift_mm - mean.half_width_mm,
            mean_shift_high95_mm: mean.shift_mm + mean.half_width_mm,
            mean_shift_usual_mm: mean.usual_mm,
            walls: verification.walls.as_ref().map(walls),
            matters_mm: verification.matters_mm,
            setup: verification.setup.clone(),
            date: date.map(str::to_owned),
            prints: verification.prints,
            features: verification.features.iter().map(feature).collect(),
            kinds: verification.kinds.iter().map(kind).collect(),
            warnings: verification.warnings.clone(),
        }
    }
}

/// A p-value with two or three digits, as tables give it: `p = 0.043`.
pub fn probability(p: f64) -> String {
    match p {
        p if p < 0.0001 => "p < 0.0001".to_owned(),
        p if p < 0.001 => format!("p = {p:.4}"),
        p if p < 0.1 => format!("p = {p:.3}"),
        p => format!("p = {p:.2}"),
    }
}

impl Verification {
    /// The result as a machinist reads it.
    pub fn to_text(&self, date: Option<&str>) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut out, date);
        out
    }

    fn write(&self, out: &mut String, date: Option<&str>) -> std::fmt::Result {
        let day = |date: Option<&str>| date.map_or_else(String::new, |date| format!(" of {date}"));
        let s = |count: u64| if count == 1 { "" } else { "s" };
        let used = self.features.iter().filter(|feature| !feature.set_aside).count() as u64;
        writeln!(
            out,
            "{}: {used} feature{} of {} print{}{} against the correction{}\n",
            self.setup,
            s(used),
            self.prints,
            s(self.prints.into()),
            day(date),
            day(self.fitted_on.as_deref())
        )?;
        let verdict = match self.verdict {
            Verdict::Holds => {
                format!("holds: sizes come out as predicted, to within {} mm", self.matters_mm)
            }
            Verdict::Drifted => "has drifted: measure coupons and fit again".to_owned(),
            Verdict::CannotTell => "cannot tell: no drift is shown, nor that there is none".to_owned(),
        };
        writeln!(out, "  {verdict}")?;
        for reason in &self.reasons {
            writeln!(out, "    {reason}")?;
        }
        if self.verdict == Verdict::CannotTell {
            writeln!(
                out,
                "    print and measure once more (copy {}), and verify all prints together",
                self.prints + 1
            )?;
        }
        writeln!(out, "\n  shift, mm                        95 %                unchanged printers, 95 %")?;
        write_shift(out, "all sizes", &self.all_sizes)?;
        if let Some(walls) = &self.walls {
            write_shift(out, "walls (outside +, inside −)", walls)?;
        }
        let kinds: Vec<String> =
            self.kinds.iter().map(|(kind, mean)| format!("{} {mean:+.3}", kind.plural())).collect();
        writeln!(out, "  by kind, mm: {}", kinds.join(", "))?;
        writeln!(
            out,
            "  all features together: {}\n\n  drifted asks for p below {WALLS_LEVEL} (walls) or {OTHER_LEVEL} (all sizes, all together), which 5 % of unchanged\n  printers come to at most, and for a change above {} mm (--matters)",
            probability(self.p_value),
            self.matters_mm
        )?;
        self.write_features(out)
    }

    fn write_features(&self, out: &mut String) -> std::fmt::Result {
        let mut listed: Vec<&VerifiedFeature> = self.features.iter().collect();
        if listed.len() > MOST_LISTED {
            listed.sort_by(|a, b| b.z().abs().total_cmp(&a.z().abs()));
            listed.truncate(MOST_DIFFERENT);
            listed.sort_by_key(|feature| feature.line);
            write!(out, "\n  the {MOST_DIFFERENT} of {} features that differ most", self.features.len())?;
            writeln!(out, " (--json lists all):")?;
        } else {
            writeln!(out)?;
        }
        let wide = |text: fn(&VerifiedFeature) -> usize, least: usize| {
            listed.iter().map(|feature| text(feature)).max().unwrap_or(0).max(least)
        };
        let name = wide(|feature| feature.name.chars().count(), 7);
        let kind = wide(|feature| feature.kind.name().len(), 4);
        writeln!(
            out,
            "  line  {:<name$}  {:<kind$}  axis   print   drawn  expected  measured  difference mm      z",
            "feature", "kind"
        )?;
        for feature in &listed {
            writeln!(
                out,
                "  {:>4}  {:<name$}  {:<kind$}  {:<5}  {:>5}  {:>6}  {:>8.3}  {:>8.3}  {:>+13.3}  {:>+5.1}{}",
                feature.line,
                feature.name,
                feature.kind,
                feature.axis,
                feature.copy,
                feature.drawn_mm,
                feature.expected_mm,
                feature.reading_mm,
                feature.difference_mm(),
                feature.z(),
                if feature.set_aside { "  set aside" } else { "" }
            )?;
        }
        let aside: Vec<String> = self
            .features
            .iter()
            .filter(|feature| feature.set_aside)
            .map(|feature| feature.line.to_string())
            .collect();
        if !aside.is_empty() {
            writeln!(
                out,
                "  set aside, since it stands apart from all the others: line {}; measure again, or use it with --keep-all",
                aside.join(", ")
            )?;
        }
        Ok(())
    }
}

fn write_shift(out: &mut String, what: &str, shift: &Shift) -> std::fmt::Result {
    let (low, high) = (shift.shift_mm - shift.half_width_mm, shift.shift_mm + shift.half_width_mm);
    writeln!(
        out,
        "  {what:<27}  {:>+7.3}  [{low:+.3}, {high:+.3}]  within ± {:.3} ({})",
        shift.shift_mm,
        shift.usual_mm,
        probability(shift.p_value)
    )
}
