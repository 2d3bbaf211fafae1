//! What a reader must know of a pulley: what the setup cannot hold, and what no bead can make.

use crate::belt::easing::HALF_LINE_MM;
use crate::correction::Correction;

use super::pulley::Design;
use super::pulley_standard::{self, Outcome};

impl Design {
    /// What the setup is more likely to miss than to keep, and what it can hold.
    pub(super) fn warn_of_standard(&mut self, outcome: &Outcome, correction: &Correction) {
        if let Some((_, least)) = outcome.play_mm.filter(|(_, least)| *least < 0.0)
            && outcome.is_made_to_the_tooth
        {
            self.warnings.push(format!(
                "involute grooves are made to the belt's tooth without play: a print at the narrow end of its 95 % squeezes \
                 it by {:.3} mm; straight flanks leave play",
                -least
            ));
        }
        let missed = outcome.missed();
        if missed.is_empty() {
            return;
        }
        let can = pulley_standard::can_hold(&self.pulley, correction);
        let advice = if can.is_empty() {
            "no larger pulley or profile here can, either; print the coupons more than once to know it better"
                .to_owned()
        } else {
            format!("{} can", can.join(", or "))
        };
        self.warnings.push(format!(
            "this setup cannot hold {} by ISO 5294 (less likely than not); {advice}",
            missed.join(", ")
        ));
    }

    /// Said only where easing exceeds what the standard leaves open: it takes plastic away beside the tip, where
    /// a belt's tooth has most room, so it cannot touch the belt.
    pub(super) fn warn_of_easing(&mut self) {
        let (Some(eased), Some(rack)) = (self.tip_easing_mm, self.pulley.rack) else { return };
        if !self.tips_keep_the_standard() {
            self.warnings.push(format!(
                "the tips are eased by {eased:.3} mm, more than the {} mm that the standard leaves to the rack's radius; \
                 draw this pulley with straight flanks, or take more teeth",
                rack.radius_tolerance_mm
            ));
        }
    }

    /// Common practice, no source: a bead cannot turn more sharply than half its own width.
    pub(super) fn warn_of_sharp_corners(&mut self) {
        let groove = &self.wanted.groove;
        for (what, radius) in [("tips", groove.tip_radius_mm), ("roots", groove.bottom_radius_mm)] {
            if radius < HALF_LINE_MM - 1e-9 {
                self.warnings.push(format!(
                    "roundings of {radius:.2} mm at the {what} are far below the width of a line, and will not survive printing"
                ));
            }
        }
        if self.pieces.iter().any(|piece| piece.bore.has_corners()) {
            self.warnings.push(format!(
                "inner corners of the bore print rounded by about {HALF_LINE_MM} mm: ease the edges of what goes in"
            ));
        }
    }
}
