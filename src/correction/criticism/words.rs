//! The sentences: what was seen, how large it is, what to do.

use super::{Criticism, Doubt};
use crate::correction::verify::answer::probability;

/// A pull smaller than this is not told, mm: no caliper sees it.
const LEAST_PULL_MM: f64 = 0.005;

impl Criticism {
    /// What a person at the bench reads.
    pub fn sentence(&self) -> String {
        let side = |mm: f64| if mm > 0.0 { "larger" } else { "smaller" };
        let said = match &self.doubt {
            Doubt::Curve { kind, most_mm } => format!(
                "the {} bend with size, by up to {most_mm:.3} mm from the fitted curve: do not trust sizes between or beyond the measured ones to better than that; measure more sizes",
                kind.plural()
            ),
            Doubt::OwnScale { kind, more } => format!(
                "the {} have a scale of their own, {:+.2} % of the size against the other kinds: one scale for all does not hold; compare with --model own",
                kind.plural(),
                100.0 * more
            ),
            Doubt::Coupon { coupon, walls_mm } => format!(
                "coupon `{coupon}` stands apart: its outsides are {:.3} mm {}, its insides as much {}, than on the other coupons; measure it again, and look where on the plate it lay",
                walls_mm.abs(),
                side(*walls_mm),
                side(-walls_mm)
            ),
            Doubt::Shift { copy, shift_mm } => format!(
                "print {copy} reads {:.3} mm {} on every size, inside and outside alike, which no print does: was the caliper at zero? measure it again",
                shift_mm.abs(),
                side(*shift_mm)
            ),
            Doubt::Group { kind, nominal_mm, shift_mm, pulls } => {
                let pulled = pulls.filter(|(.., moved)| moved.abs() >= LEAST_PULL_MM);
                let verb = if pulled.is_some() { "pull the fit" } else { "stand apart" };
                let without = pulled.map_or_else(String::new, |(kind, size, moved)| {
                    format!(
                        "; without them {} of {} mm would be predicted about {:.3} mm {}",
                        kind.plural(),
                        size,
                        moved.abs(),
                        side(moved)
                    )
                });
                format!(
                    "the {} of {} mm {verb}: they are {:.3} mm {} than all others say{without}; measure them again",
                    kind.plural(),
                    nominal_mm,
                    shift_mm.abs(),
                    side(*shift_mm)
                )
            }
            Doubt::Slope { set, is_to_the_back, is_of_walls, grow_mm, over_mm } => {
                let towards = match (is_to_the_back, *grow_mm > 0.0) {
                    (false, true) => "right",
                    (false, false) => "left",
                    (true, true) => "back",
                    (true, false) => "front",
                };
                let what = if *is_of_walls { "outsides grow and insides close" } else { "sizes grow" };
                format!(
                    "{what} towards the {towards} of the plate, by {:.3} mm over {over_mm:.0} mm (where the plate of set `{set}` has its pieces): level the bed, keep draughts off, and print what must fit where the coupons lay",
                    grow_mm.abs()
                )
            }
            Doubt::Diagonals { skew_rad, is_in_model } => format!(
                "the diagonals differ: x and y are {:.2}° out of square; square the axes{}",
                skew_rad.to_degrees().abs(),
                if *is_in_model { " (the fit allows for it)" } else { ", or fit with --method structured" }
            ),
            Doubt::LackOfFit { f, dofs } => format!(
                "the same features miss the fit in every print, more than prints differ (F = {f:.1} on {} and {}): how this printer errs has a shape that the model has not; measure sizes near those that you need",
                dofs.0, dofs.1
            ),
        };
        format!("{said} ({})", probability(self.p_value))
    }
}
