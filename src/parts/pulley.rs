//! A pulley to print: what was asked for, the sizes that are wanted, and the sizes to draw.
//!
//! Dimensions first: [`Design`] holds every size twice, wanted and drawn, and what the drawing is
//! expected to print as; [`super::pulley_pieces`] says which pieces it is made of, [`super::build`] what they
//! are, and [`super::pulley_solid`] makes the bodies of the drawn ones.
//!
//! *Picture*: the axis is z and the bed z = 0. From the bed up: the lower flange; the face with the
//! teeth; the upper flange, whose underside rises at 45 degrees out of tips and grooves alike so that it
//! prints without support; its rim.
//!
//! Teeth are corrected wall by wall ([`super::pulley_law`]), the bore as a bore, flanges as the tips are,
//! heights as heights where those were measured and else drawn as wanted.

use crate::belt::groove::Groove;
use crate::belt::pulley::Pulley;
use crate::belt::rack::Rack;
use crate::belt::{Cited, tolerance};
use crate::correction::Correction;
use crate::kind::Kind;

use super::build::piece::Piece;
use super::build::recess::End;
use super::build::sizing::{Dimension, Sizing};
use super::pulley_check;
use super::pulley_chords::{CHORD_ERRORS_MM, Chords};
use super::pulley_estimate::{self, Estimates};
use super::pulley_law::{WallLaw, exact_mm, tip_kind};
use super::pulley_pieces::{self, Given};
use super::pulley_request::{CannotMake, Flanges, LEAST_WALL_MM, Request};
use super::pulley_standard::Outcome;
use super::sized::allowance;

/// How far the predicted print may lie from the wanted outline, mm.
pub const ALLOWED_DEVIATION_MM: f64 = 0.005;
/// Below this much plastic between bore and grooves a warning is given, mm; picked by feel.
const THIN_WALL_MM: f64 = 2.0;
/// Least flange thickness: six layers of 0.2 mm, mm.
const LEAST_FLANGE_MM: f64 = 1.2;
/// Tips that are eased by less are as the rack makes them, mm: half of what is printed in a table.
const SAID_FROM_MM: f64 = 0.0005;
/// Chamfer at the mouths of the bore and at the bed, which the spread of the first layer goes into, mm.
pub const CHAMFER_MM: f64 = 0.4;

/// The sizes of one body: wanted, or drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// The teeth.
    pub groove: Groove,
    /// Bore, mm.
    pub bore_mm: f64,
    /// Outside diameter of the flanges, mm.
    pub flange_diameter_mm: f64,
    /// Heights above the bed.
    pub heights: Heights,
}

/// Heights above the bed, mm, in rising order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heights {
    /// Where the face begins; 0 without a lower flange.
    pub face_from_mm: f64,
    /// Where the face ends.
    pub face_to_mm: f64,
    /// Where the rim of the upper flange begins; the face's end without one.
    pub rim_mm: f64,
    /// The top.
    pub top_mm: f64,
}

impl Heights {
    /// Width of the face, which the belt runs on, mm.
    pub fn face_width_mm(&self) -> f64 {
        self.face_to_mm - self.face_from_mm
    }
}

/// A pulley, ready to be made.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// The pulley as the standards have it.
    pub pulley: Pulley,
    /// Which flanges it has.
    pub flanges: Flanges,
    /// The belt's width, mm.
    pub belt_width_mm: f64,
    /// The printed sizes that are wanted.
    pub wanted: Body,
    /// The sizes to draw.
    pub drawn: Body,
    /// The pieces to print, as wanted.
    pub pieces: Vec<Piece>,
    /// The same as drawn.
    pub drawn_pieces: Vec<Piece>,
    /// The sizes of each piece, by its place in `pieces`.
    pub dimensions: Vec<Vec<Dimension>>,
    /// How the setup moves the walls; `None` without a correction.
    pub law: Option<WallLaw>,
    /// Chords that the walls of a pitch are drawn with.
    pub chords: Chords,
    /// What the drawing is expected to print as; `None` without a correction.
    pub expected: Option<Estimates>,
    /// The largest distance of the predicted print from the wanted outline; `None` without a correction.
    pub deviation_mm: Option<f64>,
    /// How far the wanted tips are eased from those that the standard's rack makes, mm; `None` where they are not.
    pub tip_easing_mm: Option<f64>,
    /// What a print is worth by the standard; `None` without a correction.
    pub standard: Option<Outcome>,
    /// Where the numbers come from: what, and the table's label.
    pub sources: Vec<(&'static str, &'static str)>,
    /// What a reader must know.
    pub warnings: Vec<String>,
}

impl Design {
    /// The pulley that was asked for, as this correction has it drawn; as wanted without one.
    ///
    /// *Errors*: the standards have no such pulley, the bore leaves no wall, or the correction lacks a
    /// kind that is needed: pins (or outside widths), gaps and bores.
    pub fn new(request: &Request, correction: Option<&Correction>) -> Result<Self, CannotMake> {
        let flank = request.build.flank;
        let mut pulley = Pulley::with_flanks(&request.belt, request.teeth, flank, request.allow_few_teeth)?;
        if request.build.aim_at_middle
            && let Some(plus) =
                tolerance::outside_diameter_plus_mm(pulley.profile, pulley.nominal_outside_mm())
        {
            // Half of what is allowed on the diameter, a quarter on the radius.
            pulley.groove = pulley.groove.grown(plus.value / 4.0, 0.0);
        }
        let profile = pulley.profile;
        let mut warnings = Vec::new();
        request.check()?;
        let wall_mm = pulley.groove.floor_mm - request.bore_shape().reach_mm();
        if wall_mm < LEAST_WALL_MM {
            return Err(CannotMake::Wall { bore: request.bore, wall_mm });
        }
        if wall_mm < THIN_WALL_MM {
            warnings.push(format!("only {wall_mm:.2} mm of plastic are left between bore and grooves"));
        }
        let belt_width_mm = match request.belt_width {
            Some(width) => width.get(),
            None => profile.widths.first().map_or(profile.pitch_mm, |width| width.width_mm),
        };
        let face = tolerance::face_width_mm(profile, belt_width_mm, request.flanges == Flanges::Two);
        let flange = tolerance::flange_height_mm(profile);
        let given = given(&pulley, face.value, flange.value);
        let pieces = pulley_pieces::wanted(&pulley, request, given, Sizing::new(correction), &mut warnings)?;
        let wanted = wanted(&pulley, request, given);
        if let Some(fewest) = tolerance::fewest_teeth(profile)
            && pulley.teeth() < fewest.value
        {
            warnings.push(format!(
                "{} teeth are fewer than the {} of the table ({}): for slow mechanisms only",
                pulley.teeth(),
                fewest.value,
                fewest.source
            ));
        }
        let sources = sources(&pulley, face, flange, request.flanges);
        let mut design = Self {
            flanges: request.flanges,
            belt_width_mm,
            wanted,
            drawn: wanted,
            law: None,
            chords: Chords::within(
                CHORD_ERRORS_MM[0],
                &wanted.groove,
                &wanted.groove,
                wanted.flange_diameter_mm,
            ),
            drawn_pieces: Vec::new(),
            dimensions: Vec::new(),
            pieces,
            expected: None,
            deviation_mm: None,
            tip_easing_mm: pulley.groove.tip_easing_mm().filter(|mm| *mm >= SAID_FROM_MM),
            standard: None,
            sources,
            warnings,
            pulley,
        };
        if let Some(correction) = correction {
            design.correct(correction)?;
        }
        design.draw_pieces(&Sizing::new(correction))?;
        design.warn_of_sharp_corners();
        design.warn_of_easing();
        Ok(design)
    }

    /// The kind that the bore's size is of: a bore, or a gap where it has only flats.
    pub fn bore_kind(&self) -> Kind {
        self.pieces.first().map_or(Kind::Bore, |piece| piece.bore.kind())
    }

    fn draw_pieces(&mut self, sizing: &Sizing<'_>) -> Result<(), CannotMake> {
        for piece in &mut self.pieces {
            piece.chords = Some(self.chords);
            let drawn = piece.drawn(sizing)?;
            drawn.check()?;
            self.dimensions.push(piece.dimensions(&drawn, sizing)?);
            for said in sizing.stand_ins(&piece.sizes())? {
                if !self.warnings.contains(&said) {
                    self.warnings.push(said);
                }
            }
            self.drawn_pieces.push(drawn);
        }
        Ok(())
    }

    fn correct(&mut self, correction: &Correction) -> Result<(), CannotMake> {
        let law = WallLaw::of(correction, &self.wanted.groove)?;
        let groove = law.drawn(&self.wanted.groove);
        groove.check().map_err(CannotMake::Drawn)?;
        let tips = tip_kind(correction)?;
        let has_heights = correction.kinds.contains_key(&Kind::Height);
        let height = |mm: f64| {
            if has_heights && mm > 0.0 { exact_mm(correction, Kind::Height, mm) } else { Ok(mm) }
        };
        let heights = self.wanted.heights;
        self.drawn = Body {
            groove,
            bore_mm: exact_mm(correction, self.bore_kind(), self.wanted.bore_mm)?,
            flange_diameter_mm: exact_mm(correction, tips, self.wanted.flange_diameter_mm)?,
            heights: Heights {
                face_from_mm: height(heights.face_from_mm)?,
                face_to_mm: height(heights.face_to_mm)?,
                rim_mm: height(heights.rim_mm)?,
                top_mm: height(heights.top_mm)?,
            },
        };
        self.law = Some(law);
        self.expected = Some(pulley_estimate::estimates(self, correction, &law)?);
        let mut deviation = f64::INFINITY;
        for chord_error in CHORD_ERRORS_MM {
            let finer = Chords::within(
                chord_error,
                &self.wanted.groove,
                &self.drawn.groove,
                self.drawn.flange_diameter_mm,
            );
            let off = pulley_check::deviation_mm(&self.wanted.groove, &groove, &finer.teeth, &law);
            if off < deviation {
                (deviation, self.chords) = (off, finer);
            }
            if deviation <= ALLOWED_DEVIATION_MM {
                break;
            }
        }
        self.deviation_mm = Some(deviation);
        let outcome = Outcome::of(&self.pulley, 2.0 * self.wanted.groove.outside_radius_mm, correction)?;
        self.warn(correction, &law, deviation)?;
        self.warn_of_standard(&outcome, correction);
        self.standard = Some(outcome);
        Ok(())
    }

    fn warn(&mut self, correction: &Correction, law: &WallLaw, deviation: f64) -> Result<(), CannotMake> {
        if law.tip_kind == Kind::Outer {
            self.warnings.push(
                "no pin was measured: tips and flanges are corrected as outside widths, which are flat"
                    .to_owned(),
            );
        }
        if !correction.kinds.contains_key(&Kind::Height) {
            self.warnings.push("no height was measured: heights are drawn as wanted".to_owned());
        }
        self.warnings.extend(allowance(correction));
        let outer_width = self.drawn.groove.outer_width_mm();
        let outside = 2.0 * self.drawn.groove.outside_radius_mm;
        for (what, kind, drawn_mm) in [
            ("the outside diameter", law.tip_kind, outside),
            ("the groove's width", Kind::Gap, outer_width),
            ("the bore", self.bore_kind(), self.drawn.bore_mm),
        ] {
            let beyond = correction.predict(kind, kind.unnamed_axis(), drawn_mm)?.beyond_mm;
            if beyond > 0.0 {
                self.warnings.push(format!(
                    "{what}, drawn {drawn_mm:.2} mm, lies {beyond:.2} mm outside the {} that were measured",
                    kind.plural()
                ));
            }
        }
        for (what, wanted, drawn) in [
            ("tips", self.wanted.groove.tip_radius_mm, self.drawn.groove.tip_radius_mm),
            ("floors", self.wanted.groove.bottom_radius_mm, self.drawn.groove.bottom_radius_mm),
        ] {
            if wanted > 0.0 && drawn == 0.0 {
                self.warnings.push(format!(
                    "the corners at the {what} are drawn sharp: the bead rounds them by more than the {wanted} mm \
                     that are wanted; they are off by {deviation:.3} mm"
                ));
            }
        }
        if deviation > ALLOWED_DEVIATION_MM {
            self.warnings.push(format!(
                "the predicted print lies up to {deviation:.3} mm from the wanted outline, more than \
                 {ALLOWED_DEVIATION_MM} mm: tips swell {:.3} mm and grooves {:.3} mm a side",
                law.tip_swell_mm, law.groove_swell_mm
            ));
        }
        Ok(())
    }

    /// Whether the tips are eased by no more than the rack that makes them may be off; true where they are not.
    pub fn tips_keep_the_standard(&self) -> bool {
        let allowed = |rack: Rack| self.tip_easing_mm.is_none_or(|mm| mm <= rack.radius_tolerance_mm);
        self.pulley.rack.is_none_or(allowed)
    }

    /// Whether it can be had: the outline and the standard's tips are kept.
    pub fn holds(&self) -> bool {
        self.meets_the_outline() && self.tips_keep_the_standard()
    }

    /// Whether the predicted print keeps within what is allowed; true without a correction.
    pub fn meets_the_outline(&self) -> bool {
        self.deviation_mm.is_none_or(|deviation| deviation <= ALLOWED_DEVIATION_MM)
    }
}

/// What the standards and the printing of flanges give.
fn given(pulley: &Pulley, face_mm: f64, flange_height_mm: f64) -> Given {
    let profile = pulley.profile;
    let listed = tolerance::flange_thickness_mm(profile).map_or(0.0, |cited| cited.value);
    Given {
        face_mm,
        flange_diameter_mm: pulley.outside_diameter_mm() + 2.0 * flange_height_mm,
        // A tenth of the pitch, picked by feel, for the large metric belts without a listed thickness.
        flange_mm: listed.max(LEAST_FLANGE_MM).max(profile.pitch_mm / 10.0),
    }
}

/// The sizes over all, in the heights of the pulley as a whole; halves and flanges apart are put together.
fn wanted(pulley: &Pulley, request: &Request, given: Given) -> Body {
    let hub = |end| request.build.hubs.iter().find(|hub| hub.end == end).map_or(0.0, |hub| hub.length_mm);
    let (lower, upper) = match request.flanges {
        Flanges::None => (0.0, 0.0),
        Flanges::One => (given.flange_mm, 0.0),
        Flanges::Two => (given.flange_mm, given.flange_mm),
    };
    // A cone under the upper flange, which a flange apart and the half of a split pulley do without.
    let is_whole = request.build.split.is_none() && request.build.ring.is_none();
    let has_cone = is_whole || (request.build.split.is_some() && hub(End::Top) > 0.0);
    let cone =
        if upper > 0.0 && has_cone { given.flange_diameter_mm / 2.0 - pulley.groove.floor_mm } else { 0.0 };
    let face_from_mm = hub(End::Bed) + lower;
    let face_to_mm = face_from_mm + given.face_mm;
    Body {
        groove: pulley.groove,
        bore_mm: request.bore.get(),
        flange_diameter_mm: given.flange_diameter_mm,
        heights: Heights {
            face_from_mm,
            face_to_mm,
            rim_mm: face_to_mm + cone,
            top_mm: face_to_mm + cone + upper + hub(End::Top),
        },
    }
}

fn sources(
    pulley: &Pulley,
    face: Cited<f64>,
    flange: Cited<f64>,
    flanges: Flanges,
) -> Vec<(&'static str, &'static str)> {
    let profile = pulley.profile;
    let mut sources = vec![
        ("groove", pulley.groove_source()),
        ("pitch line", profile.two_a_source),
        ("belt widths", profile.widths_source),
        ("face width", face.source),
    ];
    if flanges != Flanges::None {
        sources.push(("flange height", flange.source));
    }
    if let Some(fewest) = tolerance::fewest_teeth(profile) {
        sources.push(("fewest teeth", fewest.source));
    }
    if let Some(plus) = tolerance::outside_diameter_plus_mm(profile, pulley.outside_diameter_mm()) {
        sources.push(("tolerance of the outside diameter", plus.source));
    }
    sources
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correction::Term;
    use crate::parts::pulley_law::tests::correction;
    use crate::parts::pulley_request::Build;
    use crate::units::Mm;

    fn slider() -> Request {
        Request {
            belt: "T5".to_owned(),
            teeth: 20,
            bore: Mm::new(5.0).unwrap(),
            flanges: Flanges::Two,
            belt_width: Mm::new(10.0),
            allow_few_teeth: false,
            build: Build::default(),
        }
    }

    fn printer() -> Correction {
        let model = [
            (Term::Offset(Kind::Pin), 0.14),
            (Term::Offset(Kind::Gap), -0.18),
            (Term::Offset(Kind::Bore), -0.16),
            (Term::SmallBore, -0.3),
            (Term::Offset(Kind::Height), 0.05),
            (Term::Scale, -0.004),
        ];
        correction(&model, &[Kind::Pin, Kind::Gap, Kind::Bore, Kind::Height])
    }

    #[test]
    fn without_a_correction_the_pulley_is_drawn_as_wanted() {
        let design = Design::new(&slider(), None).unwrap();
        assert_eq!(design.wanted, design.drawn);
        assert_eq!((design.law, design.deviation_mm), (None, None));
        // 10 mm belt, 0.9 mm clearance; flanges 1.2 mm thick and 1.0 mm above the tips.
        let heights = design.wanted.heights;
        assert!((heights.face_to_mm - heights.face_from_mm - 10.9).abs() < 1e-12);
        assert!((heights.face_from_mm - 1.2).abs() < 1e-12);
        assert!((heights.top_mm - (1.2 + 10.9 + 1.0 + 1.25 + 1.2)).abs() < 1e-12);
        assert!((design.wanted.flange_diameter_mm - (31.830989 - 0.845 + 2.0)).abs() < 1e-6);
    }

    #[test]
    fn every_size_is_drawn_so_that_its_law_gives_the_wanted_one() {
        let (correction, design) = (printer(), Design::new(&slider(), Some(&printer())).unwrap());
        let (wanted, drawn) = (design.wanted, design.drawn);
        let printed = |kind, mm: f64| mm + correction.deviation_mm(kind, kind.unnamed_axis(), mm);
        for (kind, drawn, wanted) in [
            (Kind::Bore, drawn.bore_mm, wanted.bore_mm),
            (Kind::Pin, drawn.flange_diameter_mm, wanted.flange_diameter_mm),
            (Kind::Pin, 2.0 * drawn.groove.outside_radius_mm, 2.0 * wanted.groove.outside_radius_mm),
            (Kind::Height, drawn.heights.top_mm, wanted.heights.top_mm),
            (Kind::Height, drawn.heights.face_from_mm, wanted.heights.face_from_mm),
        ] {
            assert!((printed(kind, drawn) - wanted).abs() < 1e-9, "{kind} {drawn} {wanted}");
        }
        assert!(design.deviation_mm.unwrap() < 0.004 && design.meets_the_outline());
        assert!(design.warnings.is_empty(), "{:?}", design.warnings);
    }

    #[test]
    fn a_bore_that_leaves_no_wall_is_refused() {
        let request = Request { bore: Mm::new(27.0).unwrap(), ..slider() };
        assert_eq!(
            Design::new(&request, None).unwrap_err().to_string(),
            "a bore of 27 mm leaves 0.74 mm of plastic under the grooves; at least 1.2 mm must be left"
        );
        let request = Request { bore: Mm::new(0.0).unwrap(), ..slider() };
        assert_eq!(Design::new(&request, None).unwrap_err().to_string(), "a bore of 0 mm cannot be");
    }

    #[test]
    fn a_correction_without_bores_says_which_coupon_to_print() {
        let mut correction = printer();
        correction.kinds.remove(&Kind::Bore);
        let error = Design::new(&slider(), Some(&correction)).unwrap_err();
        assert_eq!(error.help().unwrap(), "print and measure a coupon that has bores, and fit again");
    }

    #[test]
    fn what_the_setup_cannot_do_is_said() {
        let model = [
            (Term::Offset(Kind::Outer), 0.4),
            (Term::Offset(Kind::Gap), -0.4),
            (Term::Offset(Kind::Bore), -0.2),
        ];
        let correction = correction(&model, &[Kind::Outer, Kind::Gap, Kind::Bore]);
        let request = Request { belt: "MXL".to_owned(), belt_width: None, ..slider() };
        let design = Design::new(&request, Some(&correction)).unwrap();
        assert!(!design.meets_the_outline());
        let said = design.warnings.join("\n");
        for part in
            ["no pin was measured", "no height", "corners at the tips are drawn sharp", "more than 0.005 mm"]
        {
            assert!(said.contains(part), "{part} is missing in {said}");
        }
    }
}
