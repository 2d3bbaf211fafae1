//! Seats for fasteners: through holes with a counterbore, nut pockets.

use crate::fits::iso286::Class;
use crate::fits::{Source, written};
use crate::hardware::nut::{HexNut, SquareNut, older_hex_nut};
use crate::hardware::screw::{ClearanceHole, SocketHead, clearance_hole};
use crate::kind::Kind;

use super::bought::Series;
use super::{Ask, Bought, CannotSeat, Draft, How, kind_of};
use crate::parts::own_fits::OwnFits;

/// How heads sit in their counterbore where nothing else is said.
const HEAD_FIT: &str = "free";

/// How nuts sit in their pocket where nothing else is said.
const NUT_FIT: &str = "slide";

impl Series {
    fn size_mm(self, hole: &ClearanceHole) -> f64 {
        match self {
            Self::Fine => hole.fine_mm,
            Self::Medium => hole.medium_mm,
            Self::Coarse => hole.coarse_mm,
        }
    }

    /// The class that ISO 273 gives the hole.
    fn class(self) -> &'static str {
        match self {
            Self::Fine => "H12",
            Self::Medium => "H13",
            Self::Coarse => "H14",
        }
    }
}

impl<'a> Draft<'a> {
    /// The hole that a screw passes through: in its class, or by a fit on the thread.
    fn through_hole(
        &mut self,
        (name, kind): (&'static str, Kind),
        ask: &Ask<'a>,
        hole: &ClearanceHole,
        series: Series,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let plain = |nominal_mm| Bought { nominal_mm, limits: None, by_largest: false };
        match ask.how {
            How::Fit(_) => self.fitted(name, (kind, ask.axis), plain(hole.nominal_mm), ask.how, fits)?,
            How::Usual | How::Class(_) => {
                let usual = Class::parse(series.class()).map_err(crate::fits::aim::CannotAim::from)?;
                let class = if let How::Class(own) = ask.how { own } else { usual };
                let bought = plain(series.size_mm(hole));
                self.fitted(name, (kind, ask.axis), bought, How::Class(class), fits)?;
                self.sources.push(Source::new(format!("through hole {}", hole.thread), hole.source));
            }
        }
        Ok(())
    }

    pub(super) fn for_screw(
        &mut self,
        ask: Ask<'a>,
        hole: &ClearanceHole,
        series: Series,
        head: Option<&SocketHead>,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let kind = kind_of(&ask, &[Kind::Bore, Kind::HorizontalBore], "screw", "bore or horizontal_bore")?;
        self.through_hole(("through hole", kind), &ask, hole, series, fits)?;
        if let Some(head) = head {
            let bought = Bought {
                nominal_mm: head.head_diameter_mm,
                limits: Some(head.head_limits()),
                by_largest: true,
            };
            self.fitted("counterbore", (kind, None), bought, How::Fit(HEAD_FIT), fits)?;
            self.depth("counterbore depth", kind, head.head_height_mm, "the highest head, and no less")?;
            self.sources.push(Source::new(format!("socket head {}", head.thread), head.source));
        }
        Ok(())
    }

    pub(super) fn for_hex_nut(
        &mut self,
        ask: Ask<'a>,
        nut: &HexNut,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let bought =
            Bought { nominal_mm: nut.across_flats_mm, limits: nut.across_flats_limits(), by_largest: true };
        self.pocket(ask, bought, fits)?;
        self.depth("pocket depth", Kind::Gap, nut.thickness_mm, "the thickest nut, and no less")?;
        self.nut_hole(ask, nut.thread, fits)?;
        self.lead_in(nut.across_flats_mm);
        if nut.standard == "ISO 4032"
            && let Some(older) = older_hex_nut(nut.thread)
        {
            self.cautions.push(format!(
                "older {} nuts (DIN 934) are {} across flats and {} thick, these {} and {}: measure yours, or ask for \
                 nut:{}:din934",
                nut.thread,
                written(older.across_flats_mm),
                written(older.thickness_mm),
                written(nut.across_flats_mm),
                written(nut.thickness_mm),
                nut.thread
            ));
        }
        self.sources.push(Source::new(format!("{} nut {}", nut.standard, nut.thread), nut.source));
        Ok(())
    }

    pub(super) fn for_square_nut(
        &mut self,
        ask: Ask<'a>,
        nut: &SquareNut,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let plain = |nominal_mm| Bought { nominal_mm, limits: None, by_largest: false };
        self.pocket(ask, plain(nut.across_flats_mm), fits)?;
        self.fitted(
            "slot for its thickness",
            (Kind::Gap, None),
            plain(nut.thickness_mm),
            nut_fit(ask.how),
            fits,
        )?;
        self.nut_hole(ask, nut.thread, fits)?;
        self.sources.push(Source::new(format!("{} nut {}", nut.standard, nut.thread), nut.source));
        Ok(())
    }

    /// The flats of a nut's pocket.
    fn pocket(&mut self, ask: Ask<'a>, bought: Bought, fits: &OwnFits<'a>) -> Result<(), CannotSeat> {
        let kind = kind_of(&ask, &[Kind::Gap], "nut", "gap across its flats")?;
        if matches!(ask.how, How::Class(_)) {
            return Err(CannotSeat::NoClass { part: "nut" });
        }
        self.fitted("across flats", (kind, ask.axis), bought, nut_fit(ask.how), fits)
    }

    /// The hole of the screw that goes through the nut.
    fn nut_hole(&mut self, ask: Ask<'a>, thread: &str, fits: &OwnFits<'a>) -> Result<(), CannotSeat> {
        // Every nut of the tables has its hole, M1.6 to M12.
        let Ok(hole) = clearance_hole(thread) else { return Ok(()) };
        let usual = Ask { how: How::Usual, axis: None, ..ask };
        self.through_hole(("screw hole", Kind::Bore), &usual, hole, Series::Medium, fits)
    }
}

fn nut_fit(how: How<'_>) -> How<'_> {
    if how == How::Usual { How::Fit(NUT_FIT) } else { how }
}
