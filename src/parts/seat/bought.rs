//! What a printed seat is made for, from the words of `--mate`.
//!
//! ```text
//! bearing:608          a ball bearing                  screw:M3, screw:M3:fine     a socket head cap screw
//! shaft:5, shaft:5h7   a shaft, with its class         nut:M3, nut:M3:square, nut:M3:din934
//! shaft:5D4.5          with a flat, 4.5 mm across      insert:4.0x5.8              hole and length of its data sheet
//! pin:4m6, pin:4h8     a dowel pin
//! ```

use std::fmt;
use std::str::FromStr;

use crate::fits::iso286::{Class, ClassError};
use crate::fits::{Side, written};
use crate::hardware::NotSold;
use crate::hardware::bearing::{BallBearing, ball_bearing};
use crate::hardware::nut::{HexNut, SquareNut, hex_nut, hex_nuts, square_nut};
use crate::hardware::pin::{DowelPin, dowel_pin};
use crate::hardware::screw::{ClearanceHole, SocketHead, clearance_hole, socket_head};
use crate::kind::Kind;
use crate::units::Mm;

/// How loosely a screw passes its hole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Series {
    /// Close, H12.
    Fine,
    /// As usual, H13.
    Medium,
    /// Loose, H14.
    Coarse,
}

/// A bought part that a seat is made for.
#[derive(Clone, Debug, PartialEq)]
pub enum BoughtPart {
    /// A ball bearing.
    Bearing(&'static BallBearing),
    /// A shaft or a rod.
    Shaft {
        /// Its diameter.
        diameter: Mm,
        /// Its tolerance class, where it is known.
        class: Option<Class>,
        /// Across its flat, where it has one.
        flat: Option<Mm>,
    },
    /// A dowel pin.
    Pin(&'static DowelPin),
    /// A screw that passes through, with a socket head where the table has one.
    Screw {
        /// Its holes.
        hole: &'static ClearanceHole,
        /// Which of them.
        series: Series,
        /// Its head.
        head: Option<&'static SocketHead>,
    },
    /// A hexagon nut.
    HexNut(&'static HexNut),
    /// A thin square nut.
    SquareNut(&'static SquareNut),
    /// A threaded insert that is melted in.
    Insert {
        /// The hole that its data sheet asks for.
        hole: Mm,
        /// Its length.
        length: Mm,
    },
}

/// Why words name no bought part.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoPart {
    /// The word before the colon is not known.
    #[error(
        "`{text}` is no bought part; expected bearing:608, shaft:5, pin:4m6, screw:M3, nut:M3 or insert:4x6"
    )]
    Unknown {
        /// The offending text.
        text: String,
    },
    /// No table has it.
    #[error(transparent)]
    NotSold(#[from] NotSold),
    /// A size is none.
    #[error("`{text}` is no size of {of}; expected {expected}")]
    Size {
        /// The offending text.
        text: String,
        /// What it should be the size of.
        of: &'static str,
        /// A form that would do.
        expected: &'static str,
    },
    /// The class is none.
    #[error(transparent)]
    Class(#[from] ClassError),
    /// A hole's class on a shaft.
    #[error("`{text}`: {class} is a class for holes, and this is a shaft")]
    HoleClass {
        /// The offending text.
        text: String,
        /// The class.
        class: Class,
    },
    /// A pin's class decides whether it is above or below its size.
    #[error("`pin:{size}` does not say which pin: an m6 pin is larger than {size} mm, an h8 pin smaller")]
    PinClass {
        /// The size that was given.
        size: String,
    },
    /// The words after a second colon are not known.
    #[error("`{text}` is no form of {of}; expected {expected}")]
    Variant {
        /// The offending text.
        text: String,
        /// What it should be a form of.
        of: &'static str,
        /// The forms that would do.
        expected: &'static str,
    },
}

impl NoPart {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::NotSold(error) => error.help(),
            Self::PinClass { size } => {
                Some(format!("the packet says it; write pin:{size}m6 or pin:{size}h8"))
            }
            Self::HoleClass { class, .. } => Some(format!("did you mean {}?", class.other_side())),
            _ => None,
        }
    }
}

impl FromStr for BoughtPart {
    type Err = NoPart;

    fn from_str(text: &str) -> Result<Self, NoPart> {
        let unknown = || NoPart::Unknown { text: text.to_owned() };
        let (word, rest) = text.trim().split_once(':').ok_or_else(unknown)?;
        let (name, variant) = match rest.split_once(':') {
            Some((name, variant)) => (name.trim(), variant.trim()),
            None => (rest.trim(), ""),
        };
        let variant_of = |of, expected| NoPart::Variant { text: variant.to_owned(), of, expected };
        match word.trim().to_ascii_lowercase().as_str() {
            "screw" => screw(name, variant),
            "nut" => nut(name, variant),
            "bearing" | "shaft" | "pin" | "insert" if !variant.is_empty() => {
                Err(variant_of("this part", "nothing after its size"))
            }
            "bearing" => Ok(Self::Bearing(ball_bearing(name)?)),
            "shaft" => shaft(name),
            "pin" => pin(name),
            "insert" => insert(name),
            _ => Err(unknown()),
        }
    }
}

/// A length at the start of a text, and what follows it.
fn leading_size(text: &str) -> Option<(Mm, &str)> {
    let end = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
    let (number, rest) = text.split_at(end);
    let size = number.parse().ok().and_then(Mm::new).filter(|size| size.get() > 0.0)?;
    Some((size, rest))
}

fn shaft(name: &str) -> Result<BoughtPart, NoPart> {
    let wrong =
        || NoPart::Size { text: name.to_owned(), of: "a shaft", expected: "5, 5h7, or 5D4.5 with a flat" };
    let (diameter, rest) = leading_size(name).ok_or_else(wrong)?;
    let rest = rest.trim_start();
    let rest = rest.strip_prefix("mm").unwrap_or(rest).trim();
    if let Some(flat) = rest.strip_prefix('D') {
        let (flat, after) = leading_size(flat).ok_or_else(wrong)?;
        let across = flat.get() / diameter.get();
        if !after.is_empty() || !(0.5..1.0).contains(&across) {
            return Err(wrong());
        }
        return Ok(BoughtPart::Shaft { diameter, class: None, flat: Some(flat) });
    }
    if rest.is_empty() {
        return Ok(BoughtPart::Shaft { diameter, class: None, flat: None });
    }
    let class: Class = rest.parse()?;
    if class.side() == Side::Hole {
        return Err(NoPart::HoleClass { text: name.to_owned(), class });
    }
    class.limits(diameter.get())?;
    Ok(BoughtPart::Shaft { diameter, class: Some(class), flat: None })
}

fn pin(name: &str) -> Result<BoughtPart, NoPart> {
    let wrong = || NoPart::Size { text: name.to_owned(), of: "a dowel pin", expected: "4m6 or 4h8" };
    let (size, class) = leading_size(name).ok_or_else(wrong)?;
    if class.trim().is_empty() {
        return Err(NoPart::PinClass { size: size.get().to_string() });
    }
    Ok(BoughtPart::Pin(dowel_pin(size.get(), class.trim())?))
}

fn screw(name: &str, variant: &str) -> Result<BoughtPart, NoPart> {
    let series = match variant.to_ascii_lowercase().as_str() {
        "" | "medium" => Series::Medium,
        "fine" => Series::Fine,
        "coarse" => Series::Coarse,
        _ => {
            let expected = "fine, medium or coarse";
            return Err(NoPart::Variant { text: variant.to_owned(), of: "a screw's hole", expected });
        }
    };
    Ok(BoughtPart::Screw { hole: clearance_hole(name)?, series, head: socket_head(name).ok() })
}

fn nut(name: &str, variant: &str) -> Result<BoughtPart, NoPart> {
    match variant.to_ascii_lowercase().replace(' ', "").as_str() {
        "" | "iso4032" => Ok(BoughtPart::HexNut(hex_nut(name)?)),
        "din934" => {
            // The ISO name first, so that a thread that nobody sells is answered with those that are.
            let iso = hex_nut(name)?;
            let older = hex_nuts().iter().find(|nut| nut.standard == "DIN 934" && nut.thread == iso.thread);
            Ok(BoughtPart::HexNut(older.unwrap_or(iso)))
        }
        "square" | "din562" => Ok(BoughtPart::SquareNut(square_nut(name)?)),
        _ => {
            let expected = "square, iso4032 or din934";
            Err(NoPart::Variant { text: variant.to_owned(), of: "a nut", expected })
        }
    }
}

fn insert(name: &str) -> Result<BoughtPart, NoPart> {
    let wrong = || NoPart::Size {
        text: name.to_owned(),
        of: "an insert",
        expected: "HOLExLENGTH from its data sheet, such as 4.0x5.8",
    };
    let (hole, rest) = leading_size(name).ok_or_else(wrong)?;
    let (length, rest) = rest.strip_prefix(['x', 'X']).and_then(leading_size).ok_or_else(wrong)?;
    if rest.is_empty() { Ok(BoughtPart::Insert { hole, length }) } else { Err(wrong()) }
}

impl BoughtPart {
    /// How long it is in its seat, where its tables say so.
    pub fn length(&self) -> Option<Mm> {
        match self {
            Self::Bearing(bearing) => Mm::new(bearing.width_mm()),
            _ => None,
        }
    }

    /// What its usual seat is.
    pub fn usual_kind(&self) -> Kind {
        match self {
            Self::HexNut(_) | Self::SquareNut(_) => Kind::Gap,
            _ => Kind::Bore,
        }
    }
}

impl fmt::Display for BoughtPart {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bearing(bearing) => {
                let (bore, outside, width) = (bearing.bore_mm, bearing.outside_mm, bearing.width_mm());
                write!(f, "bearing {} ({bore} x {outside} x {width} mm)", bearing.designation)
            }
            Self::Shaft { diameter, class, flat } => {
                write!(f, "shaft of {} mm", written(diameter.get()))?;
                class.map_or(Ok(()), |class| write!(f, " {class}"))?;
                flat.map_or(Ok(()), |flat| write!(f, ", {} across its flat", written(flat.get())))
            }
            Self::Pin(pin) => write!(f, "dowel pin {} {}", pin.nominal_mm, pin.class),
            Self::Screw { hole, series, .. } => {
                let series = match series {
                    Series::Fine => "fine",
                    Series::Medium => "medium",
                    Series::Coarse => "coarse",
                };
                write!(f, "screw {} ({series} hole)", hole.thread)
            }
            Self::HexNut(nut) => write!(f, "{} nut {}", nut.standard, nut.thread),
            Self::SquareNut(nut) => write!(f, "{} square nut {}", nut.standard, nut.thread),
            Self::Insert { hole, length } => {
                write!(f, "insert for a hole of {} mm, {} long", written(hole.get()), written(length.get()))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(text: &str) -> String {
        text.parse::<BoughtPart>().map_or_else(|error| error.to_string(), |part| part.to_string())
    }

    #[test]
    fn every_form_is_read() {
        for (text, words) in [
            ("bearing:608", "bearing 608 (8 x 22 x 7 mm)"),
            ("Bearing: 608zz", "bearing 608 (8 x 22 x 7 mm)"),
            ("shaft:5", "shaft of 5.00 mm"),
            ("shaft:5h7", "shaft of 5.00 mm h7"),
            ("shaft:5D4.5", "shaft of 5.00 mm, 4.50 across its flat"),
            ("shaft:3.175 mm", "shaft of 3.175 mm"),
            ("pin:4m6", "dowel pin 4 m6"),
            ("screw:M3", "screw M3 (medium hole)"),
            ("screw:m3:fine", "screw M3 (fine hole)"),
            ("nut:M3", "ISO 4032 nut M3"),
            ("nut:M3:square", "DIN 562 square nut M3"),
            ("nut:M5:DIN 934", "DIN 934 nut M5"),
            ("insert:4x5.8", "insert for a hole of 4.00 mm, 5.80 long"),
        ] {
            assert_eq!(part(text), words);
        }
    }

    #[test]
    fn what_names_no_part_says_what_would() {
        for (text, message) in [
            (
                "wheel:8",
                "`wheel:8` is no bought part; expected bearing:608, shaft:5, pin:4m6, screw:M3, nut:M3 or insert:4x6",
            ),
            ("shaft:", "`` is no size of a shaft; expected 5, 5h7, or 5D4.5 with a flat"),
            ("shaft:5D5.5", "`5D5.5` is no size of a shaft; expected 5, 5h7, or 5D4.5 with a flat"),
            ("shaft:5H7", "`5H7`: H7 is a class for holes, and this is a shaft"),
            ("pin:4", "`pin:4` does not say which pin: an m6 pin is larger than 4 mm, an h8 pin smaller"),
            ("nut:M3:round", "`round` is no form of a nut; expected square, iso4032 or din934"),
            ("bearing:608:x", "`x` is no form of this part; expected nothing after its size"),
            (
                "insert:4",
                "`4` is no size of an insert; expected HOLExLENGTH from its data sheet, such as 4.0x5.8",
            ),
        ] {
            assert_eq!(part(text), message);
        }
        let error = "pin:4".parse::<BoughtPart>().unwrap_err();
        assert_eq!(error.help().unwrap(), "the packet says it; write pin:4m6 or pin:4h8");
        let error = "shaft:5H7".parse::<BoughtPart>().unwrap_err();
        assert_eq!(error.help().unwrap(), "did you mean h7?");
    }
}
