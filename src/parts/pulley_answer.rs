//! What is said of a pulley: the JSON document that also lies beside the solid, and the table.

use std::fmt::Write as _;
use std::path::Path;

use serde::Serialize;

use crate::belt::easing::HALF_LINE_MM;
use crate::belt::rack::Flank;
use crate::belt::tolerance;
use crate::correction::Correction;
use crate::fits::decimal_mm as short;
use crate::geometry::solid::Solid;

use super::pulley::{ALLOWED_DEVIATION_MM, Design};
use super::pulley_answer_pieces::{self, PieceAnswer, StandardAnswer};
use super::pulley_estimate::{Estimate, Estimates};

/// What anyone who runs a printed pulley must know.
pub const CAUTIONS: [&str; 3] = [
    "a belt drive pinches and throws: guard it, and wear eye protection when it first runs",
    "what the belt may carry is its maker's word, and a printed pulley may bear less",
    "heights print in whole layers: the slicer rounds them",
];

/// A pulley in numbers. Lengths are millimetres; a name with `draw_` is the size in the solid.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PulleyAnswer {
    belt: &'static str,
    teeth: u32,
    pitch_diameter_mm: f64,
    outside_diameter_mm: f64,
    draw_outside_diameter_mm: f64,
    /// How much larger the standard allows it; never smaller.
    #[serde(skip_serializing_if = "Option::is_none")]
    outside_diameter_tolerance_mm: Option<f64>,
    groove: GrooveAnswer,
    bore_mm: f64,
    draw_bore_mm: f64,
    belt_width_mm: f64,
    face_width_mm: f64,
    draw_face_width_mm: f64,
    flanges: u8,
    flange_diameter_mm: Option<f64>,
    draw_flange_diameter_mm: Option<f64>,
    height_mm: f64,
    draw_height_mm: f64,
    /// What the drawn sizes are expected to print as; absent without a correction.
    #[serde(skip_serializing_if = "Option::is_none")]
    expected: Option<ExpectedAnswer>,
    /// The largest distance of the predicted print from the wanted outline.
    predicted_deviation_mm: Option<f64>,
    allowed_deviation_mm: f64,
    meets_the_outline: bool,
    /// The same, and tips eased by no more than the standard leaves open.
    #[serde(skip)]
    holds: bool,
    /// `null` for a pulley drawn as wanted.
    correction: Option<CorrectionAnswer>,
    /// Each piece that is printed, with all of its sizes.
    pieces: Vec<PieceAnswer>,
    /// What a print is worth by the standard; absent without a correction.
    #[serde(skip_serializing_if = "Option::is_none")]
    standard: Option<StandardAnswer>,
    triangles: usize,
    volume_mm3: f64,
    watertight: bool,
    sources: Vec<SourceAnswer>,
    warnings: Vec<String>,
    cautions: [&'static str; 3],
    /// In what the STEP file differs from the mesh.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub step_differs: Vec<String>,
    /// What was written.
    pub files: Vec<String>,
}

/// The groove, wanted and drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
struct GrooveAnswer {
    form: &'static str,
    angle_deg: f64,
    width_at_outside_mm: f64,
    draw_width_at_outside_mm: f64,
    bottom_width_mm: f64,
    draw_bottom_width_mm: f64,
    depth_mm: f64,
    draw_depth_mm: f64,
    bottom_radius_mm: f64,
    draw_bottom_radius_mm: f64,
    tip_radius_mm: f64,
    draw_tip_radius_mm: f64,
    /// How far the wanted tips stand behind those that the standard's rack makes, which no bead can follow.
    #[serde(skip_serializing_if = "Option::is_none")]
    tip_easing_mm: Option<f64>,
    /// What the standard leaves to the radius of the rack.
    #[serde(skip_serializing_if = "Option::is_none")]
    tip_easing_allowed_mm: Option<f64>,
    land_mm: f64,
    draw_land_mm: f64,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct EstimateAnswer {
    expected_mm: f64,
    /// Half the 95 % interval of one new print; `null` where nothing was measured to tell.
    half95_mm: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
struct ExpectedAnswer {
    outside_diameter: EstimateAnswer,
    groove_width_at_outside: EstimateAnswer,
    groove_depth: EstimateAnswer,
    bore: EstimateAnswer,
    face_width: EstimateAnswer,
    #[serde(skip_serializing_if = "Option::is_none")]
    flange_diameter: Option<EstimateAnswer>,
}

/// Which correction, and which readings it came from.
#[derive(Clone, Debug, PartialEq, Serialize)]
struct CorrectionAnswer {
    file: String,
    setup: String,
    date: Option<String>,
    readings_file: String,
    readings_sha256: String,
    program_version: String,
}

#[derive(Clone, Debug, PartialEq, Serialize)]
struct SourceAnswer {
    what: &'static str,
    source: &'static str,
}

impl From<Estimate> for EstimateAnswer {
    fn from(estimate: Estimate) -> Self {
        Self { expected_mm: short(estimate.expected_mm), half95_mm: estimate.half95_mm.map(short) }
    }
}

impl PulleyAnswer {
    /// Of a design, its solids, and the correction with the file that it was read from.
    pub fn new(design: &Design, solids: &[Solid], correction: Option<(&Path, &Correction)>) -> Self {
        let (wanted, drawn) = (&design.wanted, &design.drawn);
        let profile = design.pulley.profile;
        let has_flanges = design.flanges.count() > 0;
        let outside = design.pulley.outside_diameter_mm();
        Self {
            belt: profile.name,
            teeth: design.pulley.teeth(),
            pitch_diameter_mm: short(design.pulley.pitch_diameter_mm),
            outside_diameter_mm: short(outside),
            draw_outside_diameter_mm: short(2.0 * drawn.groove.outside_radius_mm),
            outside_diameter_tolerance_mm: tolerance::outside_diameter_plus_mm(profile, outside)
                .map(|cited| cited.value),
            groove: groove_answer(design),
            bore_mm: short(wanted.bore_mm),
            draw_bore_mm: short(drawn.bore_mm),
            belt_width_mm: short(design.belt_width_mm),
            face_width_mm: short(wanted.heights.face_width_mm()),
            draw_face_width_mm: short(drawn.heights.face_width_mm()),
            flanges: design.flanges.count(),
            flange_diameter_mm: has_flanges.then(|| short(wanted.flange_diameter_mm)),
            draw_flange_diameter_mm: has_flanges.then(|| short(drawn.flange_diameter_mm)),
            height_mm: short(wanted.heights.top_mm),
            draw_height_mm: short(drawn.heights.top_mm),
            expected: design.expected.as_ref().map(|expected| expected_answer(expected, has_flanges)),
            predicted_deviation_mm: design.deviation_mm.map(short),
            allowed_deviation_mm: ALLOWED_DEVIATION_MM,
            meets_the_outline: design.meets_the_outline(),
            holds: design.holds(),
            correction: correction.map(|(file, correction)| CorrectionAnswer {
                file: file_name(file),
                setup: correction.setup.clone(),
                date: correction.date.clone(),
                readings_file: correction.readings_file.clone(),
                readings_sha256: correction.readings_sha256.clone(),
                program_version: correction.program_version.clone(),
            }),
            pieces: pulley_answer_pieces::pieces(design, solids),
            standard: design.standard.as_ref().map(StandardAnswer::from),
            triangles: solids.iter().map(|solid| solid.mesh().triangles.len()).sum(),
            volume_mm3: (solids.iter().map(Solid::volume_mm3).sum::<f64>() * 1e3).round() / 1e3,
            // What is called a solid has been proven to be one.
            watertight: true,
            sources: design.sources.iter().map(|(what, source)| SourceAnswer { what, source }).collect(),
            warnings: design.warnings.clone(),
            cautions: CAUTIONS,
            step_differs: Vec::new(),
            files: Vec::new(),
        }
    }

    /// When the correction was measured; empty without one.
    pub fn date(&self) -> &str {
        self.correction.as_ref().and_then(|correction| correction.date.as_deref()).unwrap_or_default()
    }

    /// Where the pulley comes from, in at most 80 characters: for a file's header.
    pub fn short_provenance(&self) -> String {
        let pulley = format!("shrinkrule {} {} z{}", env!("CARGO_PKG_VERSION"), self.belt, self.teeth);
        match &self.correction {
            Some(correction) => {
                // A file that somebody edited may say anything here.
                let digits = correction.readings_sha256.chars().filter(char::is_ascii_hexdigit);
                let sha: String = digits.take(12).collect();
                let mut setup = correction.setup.clone();
                while pulley.len() + setup.len() + sha.len() + 11 > 80 && setup.pop().is_some() {}
                format!("{pulley} {setup} readings {sha}")
            }
            None => format!("{pulley} without correction"),
        }
    }

    /// The same, pair by pair: for a file's metadata.
    pub fn provenance(&self) -> Vec<(&'static str, String)> {
        let mut pairs = vec![
            ("belt", self.belt.to_owned()),
            ("teeth", self.teeth.to_string()),
            ("program_version", env!("CARGO_PKG_VERSION").to_owned()),
        ];
        match &self.correction {
            Some(correction) => pairs.extend([
                ("setup", correction.setup.clone()),
                ("correction", correction.file.clone()),
                ("readings", correction.readings_file.clone()),
                ("readings_sha256", correction.readings_sha256.clone()),
            ]),
            None => pairs.push(("correction", "none: drawn as wanted".to_owned())),
        }
        pairs
    }

    /// How many teeth it has.
    pub fn teeth(&self) -> u32 {
        self.teeth
    }

    /// What a reader must know.
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }

    /// What anyone who runs it must know.
    pub fn cautions(&self) -> &[&'static str] {
        &self.cautions
    }

    /// What it is, and what it is corrected for; without its teeth for a batch of them.
    pub(super) fn heading(&self, teeth: Option<u32>) -> String {
        let flanges = match self.flanges {
            0 => "no flanges",
            1 => "one flange, at the bed",
            _ => "two flanges",
        };
        let what = match teeth {
            Some(teeth) => format!("pulley, {teeth} teeth, groove form {}", self.groove.form),
            None => "pulleys".to_owned(),
        };
        let corrected = match &self.correction {
            Some(correction) => format!("corrected for setup `{}` ({})", correction.setup, correction.file),
            None => "NOT corrected: drawn exactly as wanted, so a print will not measure so".to_owned(),
        };
        format!("{} {what}, for a belt {} mm wide, {flanges}\n{corrected}", self.belt, self.belt_width_mm)
    }

    /// Its line in the table of a batch.
    pub(super) fn line(&self) -> String {
        let groove = &self.groove;
        let off = self.predicted_deviation_mm.map_or("-".to_owned(), |off| format!("{off:.4}"));
        format!(
            "{:>5}{:>12.3}{:>12.3}{:>12.3}{:>12.3}{:>12.3}{off:>12}{:>10.2}  {}",
            self.teeth,
            self.pitch_diameter_mm,
            self.outside_diameter_mm,
            self.draw_outside_diameter_mm,
            groove.width_at_outside_mm,
            groove.draw_width_at_outside_mm,
            self.volume_mm3 / 1000.0,
            if self.holds { "yes" } else { "no" }
        )
    }

    /// The table for the bench.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut text);
        text
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        let groove = &self.groove;
        writeln!(out, "{}", self.heading(Some(self.teeth)))?;
        writeln!(out, "\n{:<28}{:>9}{:>9}  expected print, 95 %", "", "wanted", "draw")?;
        writeln!(out, "{:<28}{:>9}{:>9}  mm", "", "mm", "mm")?;
        let expected = self.expected;
        writeln!(out, "{:<28}{:>9.3}", "pitch diameter", self.pitch_diameter_mm)?;
        row(
            out,
            "outside diameter",
            self.outside_diameter_mm,
            self.draw_outside_diameter_mm,
            expected.map(|e| e.outside_diameter),
        )?;
        row(
            out,
            "groove width at outside dia.",
            groove.width_at_outside_mm,
            groove.draw_width_at_outside_mm,
            expected.map(|e| e.groove_width_at_outside),
        )?;
        row(out, "groove depth", groove.depth_mm, groove.draw_depth_mm, expected.map(|e| e.groove_depth))?;
        row(out, "bore", self.bore_mm, self.draw_bore_mm, expected.map(|e| e.bore))?;
        row(out, "face width", self.face_width_mm, self.draw_face_width_mm, expected.map(|e| e.face_width))?;
        if let (Some(wanted), Some(draw)) = (self.flange_diameter_mm, self.draw_flange_diameter_mm) {
            row(out, "flange diameter", wanted, draw, expected.and_then(|e| e.flange_diameter))?;
        }
        row(out, "height over all", self.height_mm, self.draw_height_mm, None)?;
        if let Some(plus) = self.outside_diameter_tolerance_mm {
            writeln!(out, "\nthe outside diameter may be up to {plus} mm large and never small")?;
        }
        if let (Some(eased), Some(allowed)) = (groove.tip_easing_mm, groove.tip_easing_allowed_mm) {
            writeln!(
                out,
                "tip corners eased by {eased:.3} mm from the rack's ({allowed} mm allowed): no line turns more tightly \
                 than {HALF_LINE_MM} mm"
            )?;
        }
        if let Some(deviation) = self.predicted_deviation_mm {
            writeln!(
                out,
                "predicted print: within {deviation:.4} mm of the wanted outline everywhere ({ALLOWED_DEVIATION_MM} mm allowed)"
            )?;
        }
        pulley_answer_pieces::write(&self.pieces, self.standard.as_ref(), out)?;
        writeln!(
            out,
            "solid: {} triangles, {:.2} cm3, watertight",
            self.triangles,
            self.volume_mm3 / 1000.0
        )?;
        for difference in &self.step_differs {
            writeln!(out, "STEP differs: {difference}")?;
        }
        writeln!(out, "\nsources")?;
        for source in &self.sources {
            writeln!(out, "  {}: {}", source.what, source.source)?;
        }
        writeln!(out, "cautions")?;
        self.cautions.iter().try_for_each(|caution| writeln!(out, "  {caution}"))
    }
}

fn row(
    out: &mut String,
    name: &str,
    wanted: f64,
    draw: f64,
    expected: Option<EstimateAnswer>,
) -> std::fmt::Result {
    write!(out, "{name:<28}{wanted:>9.3}{draw:>9.3}")?;
    match expected {
        Some(EstimateAnswer { expected_mm, half95_mm: Some(half) }) => {
            writeln!(out, "  {expected_mm:.3} ± {half:.3}")
        }
        Some(EstimateAnswer { half95_mm: None, .. }) => writeln!(out, "  not measured"),
        None => writeln!(out),
    }
}

fn groove_answer(design: &Design) -> GrooveAnswer {
    let (wanted, drawn) = (&design.wanted.groove, &design.drawn.groove);
    GrooveAnswer {
        form: match design.pulley.rack {
            Some(_) => Flank::Involute.name(),
            None => design.pulley.profile.groove.map_or("", |groove| groove.form),
        },
        angle_deg: short(2.0 * wanted.half_angle_rad.to_degrees()),
        width_at_outside_mm: short(wanted.outer_width_mm()),
        draw_width_at_outside_mm: short(drawn.outer_width_mm()),
        bottom_width_mm: short(wanted.bottom_width_mm()),
        draw_bottom_width_mm: short(drawn.bottom_width_mm()),
        depth_mm: short(wanted.depth_mm()),
        draw_depth_mm: short(drawn.depth_mm()),
        bottom_radius_mm: short(wanted.bottom_radius_mm),
        draw_bottom_radius_mm: short(drawn.bottom_radius_mm),
        tip_radius_mm: short(wanted.tip_radius_mm),
        draw_tip_radius_mm: short(drawn.tip_radius_mm),
        tip_easing_mm: design.tip_easing_mm.map(short),
        tip_easing_allowed_mm: design
            .tip_easing_mm
            .and(design.pulley.rack)
            .map(|rack| short(rack.radius_tolerance_mm)),
        land_mm: short(wanted.land_mm()),
        draw_land_mm: short(drawn.land_mm()),
    }
}

fn expected_answer(expected: &Estimates, has_flanges: bool) -> ExpectedAnswer {
    ExpectedAnswer {
        outside_diameter: expected.outside_diameter.into(),
        groove_width_at_outside: expected.groove_width.into(),
        groove_depth: expected.groove_depth.into(),
        bore: expected.bore.into(),
        face_width: expected.face_width.into(),
        flange_diameter: has_flanges.then(|| expected.flange_diameter.into()),
    }
}

fn file_name(path: &Path) -> String {
    path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned()
}

#[cfg(test)]
mod tests {
    use super::super::pulley_request::{Build, Flanges, Request};
    use super::super::{fixture, pulley_solid};
    use super::*;
    use crate::units::Mm;

    #[test]
    fn the_short_provenance_fits_a_header_whatever_the_correction_says() {
        let request = Request {
            belt: "T5".to_owned(),
            teeth: 20,
            bore: Mm::new(5.0).unwrap(),
            flanges: Flanges::One,
            belt_width: None,
            allow_few_teeth: false,
            build: Build::default(),
        };
        let design = Design::new(&request, None).unwrap();
        let solids = pulley_solid::solids(&design).unwrap();
        let said = |setup: &str, sha256: &str| {
            let mut correction = fixture::known();
            (correction.setup, correction.readings_sha256) = (setup.to_owned(), sha256.to_owned());
            let file = Path::new("known.correction.toml");
            PulleyAnswer::new(&design, &solids, Some((file, &correction))).short_provenance()
        };
        let version = env!("CARGO_PKG_VERSION");
        let start = format!("shrinkrule {version} T5 z20");
        assert_eq!(said("petg", "0123456789abcdef"), format!("{start} petg readings 0123456789ab"));
        // Letters of four bytes, twelve of which would leave no room for anything else.
        for setup in ["petg", &"\u{1f9f5}".repeat(40)] {
            let text = said(setup, &"\u{1f9f5}".repeat(64));
            assert!(text.starts_with(&start) && text.len() <= 80, "{text}");
        }
    }
}
