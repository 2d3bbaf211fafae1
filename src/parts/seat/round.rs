//! Seats for round parts: bearings, shafts, dowel pins, inserts.

use crate::fits::iso286::Class;
use crate::fits::{Limits, Source, decimal_mm, written};
use crate::hardware::bearing::BallBearing;
use crate::hardware::pin::DowelPin;
use crate::hardware::shaft::{shafts, sold_by_the_inch};
use crate::kind::Kind;
use crate::units::Mm;

use super::{Ask, Bought, CannotSeat, Draft, How, PRACTICE, kind_of};
use crate::parts::own_fits::OwnFits;
use crate::parts::sized::RoundOfFlat;

const HOLES: [Kind; 2] = [Kind::Bore, Kind::HorizontalBore];

/// What the hot tip of an insert does to whoever holds it.
const INSERT_CAUTION: &str = "inserts are melted in with a hot tip: it burns, and hot plastic gives off fumes; \
     air the room, and follow the rules of your workshop";

/// The diameter at this share of the way from a bearing's bore to its outside, mm.
fn across_rings_mm(bearing: &BallBearing, share: f64) -> f64 {
    decimal_mm(bearing.bore_mm + share * (bearing.outside_mm - bearing.bore_mm))
}

/// The hole behind a bearing's seat: wide enough for the inner ring to turn free of it, and no wider than the
/// outer ring bears on.
pub fn outer_shoulder(bearing: &BallBearing) -> Limits {
    Limits { lower_mm: across_rings_mm(bearing, 0.7), upper_mm: across_rings_mm(bearing, 0.85) }
}

impl<'a> Draft<'a> {
    pub(super) fn for_bearing(
        &mut self,
        ask: Ask<'a>,
        bearing: &BallBearing,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let expected = "bore or horizontal_bore around it, or pin through it";
        let kind = kind_of(&ask, &[Kind::Bore, Kind::HorizontalBore, Kind::Pin], "bearing", expected)?;
        let (inner_mm, outer_mm) = (bearing.bore_mm, bearing.outside_mm);
        let across = |share: f64| across_rings_mm(bearing, share);
        let widest_mm = bearing.width_limits().upper_mm;
        if kind == Kind::Pin {
            let bought =
                Bought { nominal_mm: inner_mm, limits: Some(bearing.bore_limits), by_largest: false };
            self.fitted("journal", (kind, ask.axis), bought, ask.how, fits)?;
            // The inner ring's wall is about a seventh to a quarter of the way from bore to outside.
            let shoulder = Limits { lower_mm: across(0.15), upper_mm: across(0.25) };
            self.within(
                "shoulder",
                Kind::Pin,
                shoulder,
                "bears on the inner ring only; see the bearing's data sheet",
            )?;
            self.depth("journal length", kind, widest_mm, "the bearing's width")?;
            self.lead_in(inner_mm);
        } else {
            let bought =
                Bought { nominal_mm: outer_mm, limits: Some(bearing.outside_limits), by_largest: false };
            self.fitted("seat", (kind, ask.axis), bought, ask.how, fits)?;
            let shoulder = outer_shoulder(bearing);
            let note = "the hole behind the seat: bears on the outer ring only; see the bearing's data sheet";
            self.within("shoulder", kind, shoulder, note)?;
            self.depth("depth", kind, widest_mm, "the bearing's width, and no less")?;
            self.lead_in(outer_mm);
        }
        if let (Some(open), Some(shielded)) = (bearing.width_open_mm, bearing.width_shielded_mm)
            && open != shielded
        {
            self.cautions.push(format!(
                "with shields or seals it is {shielded} mm wide (catalogue practice), without {open} mm: measure yours"
            ));
        }
        let what = format!("bearing {}", bearing.designation);
        self.sources.push(Source::new(what, bearing.source));
        Ok(())
    }

    pub(super) fn for_shaft(
        &mut self,
        ask: Ask<'a>,
        diameter: Mm,
        class: Option<Class>,
        flat: Option<Mm>,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let kind = kind_of(&ask, &HOLES, "shaft", "bore or horizontal_bore")?;
        let nominal_mm = diameter.get();
        // The class was tried on this size when its words were read.
        let limits = class.and_then(|class| class.limits(nominal_mm).ok());
        self.fitted(
            "bore",
            (kind, ask.axis),
            Bought { nominal_mm, limits, by_largest: false },
            ask.how,
            fits,
        )?;
        if let Some(flat) = flat {
            let bought = Bought { nominal_mm: flat.get(), limits: None, by_largest: false };
            let round = self.wanted.last().map(|bore| RoundOfFlat { kind, target: bore.aim.target });
            self.fitted_as(kind, "across the flat", (Kind::Gap, None), bought, ask.how, fits)?;
            if let Some(across) = self.wanted.last_mut() {
                across.round = round;
            }
        }
        self.lead_in(nominal_mm);
        self.cautions.extend(inch_caution(diameter));
        if limits.is_none() {
            self.cautions.push(
                "how far the shaft itself may be off is not known: measure it, or add its class, as in shaft:5h7"
                    .to_owned(),
            );
        }
        if let Some(class) = class {
            self.sources.push(Source::new(format!("limits of {class}"), crate::fits::iso286::SOURCE));
        }
        if let Some(shaft) = shafts().iter().find(|shaft| shaft.diameter_mm == nominal_mm) {
            self.sources.push(Source::new(format!("shaft of {} mm", written(nominal_mm)), shaft.source));
        }
        Ok(())
    }

    pub(super) fn for_pin(
        &mut self,
        ask: Ask<'a>,
        pin: &DowelPin,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        let kind = kind_of(&ask, &HOLES, "dowel pin", "bore or horizontal_bore")?;
        let bought = Bought { nominal_mm: pin.nominal_mm, limits: Some(pin.limits), by_largest: false };
        self.fitted("bore", (kind, ask.axis), bought, ask.how, fits)?;
        let note = "twice the diameter, where the hole is blind; leave air a way out";
        self.depth("depth", kind, 2.0 * pin.nominal_mm, note)?;
        self.lead_in(pin.nominal_mm);
        let what = format!("dowel pin {} {}", pin.nominal_mm, pin.class);
        self.sources.push(Source::new(what, pin.source));
        Ok(())
    }

    pub(super) fn for_insert(
        &mut self,
        ask: Ask<'a>,
        hole: Mm,
        length: Mm,
        fits: &OwnFits<'a>,
    ) -> Result<(), CannotSeat> {
        /// What the hole may be wider than the data sheet's, mm.
        const WIDER_MM: f64 = 0.1;
        /// Room below the insert for the plastic that it pushes down, mm.
        const ROOM_MM: f64 = 1.0;
        let kind = kind_of(&ask, &HOLES, "insert", "bore or horizontal_bore")?;
        let nominal_mm = hole.get();
        match ask.how {
            How::Usual => {
                let limits = Limits { lower_mm: nominal_mm, upper_mm: decimal_mm(nominal_mm + WIDER_MM) };
                self.within("hole", kind, limits, "the data sheet's hole, never smaller")?;
                if let (Some(axis), Some(hole)) = (ask.axis, self.wanted.last_mut()) {
                    hole.axis = axis;
                }
            }
            how => {
                let bought = Bought { nominal_mm, limits: None, by_largest: false };
                self.fitted("hole", (kind, ask.axis), bought, how, fits)?;
            }
        }
        let deep_mm = decimal_mm(length.get() + ROOM_MM);
        self.depth("depth", kind, deep_mm, "the insert and 1 mm for the plastic that it pushes down")?;
        if let Some(size) = Mm::new(decimal_mm(2.0 * nominal_mm)) {
            let note = "at least, so that the wall stays whole".to_owned();
            self.plain.push(super::Plain { name: "boss outside", size, note });
        }
        self.cautions.push(INSERT_CAUTION.to_owned());
        self.sources.push(Source::new("hole and length of the insert", "as you gave them"));
        self.sources.push(Source::new("boss outside", PRACTICE));
        Ok(())
    }
}

/// What is said of a shaft's size that a shop rounds off, such as 3.17 mm for 1/8 inch; `None` for every other.
pub fn inch_caution(diameter: Mm) -> Option<String> {
    let sold_as = diameter.get();
    let shaft = sold_by_the_inch(sold_as)?;
    let (inches, exact) = (shaft.inches()?, shaft.diameter_mm);
    Some(format!(
        "a shaft sold as {sold_as} mm is most often {inches}, {exact} mm: measure it, and ask for {exact} if so"
    ))
}
