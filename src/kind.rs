//! What is measured on a print: the kind of a feature and the direction it is measured in.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The kind of a feature, which decides how a printer errs on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Round hole, axis along z.
    Bore,
    /// Round hole, axis in the layer plane.
    HorizontalBore,
    /// Round outside.
    Pin,
    /// Flat inside.
    Gap,
    /// Flat outside.
    Outer,
    /// Centre to centre, or between two faces that look the same way, so that wall swell cancels.
    Span,
    /// Along z.
    Height,
}

impl Kind {
    /// Every kind, in the order in which tables list them.
    pub const ALL: [Self; 7] =
        [Self::Bore, Self::HorizontalBore, Self::Pin, Self::Gap, Self::Outer, Self::Span, Self::Height];

    /// The word used in files, flags and tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bore => "bore",
            Self::HorizontalBore => "horizontal_bore",
            Self::Pin => "pin",
            Self::Gap => "gap",
            Self::Outer => "outer",
            Self::Span => "span",
            Self::Height => "height",
        }
    }

    /// What a person calls several of them.
    pub fn plural(self) -> &'static str {
        match self {
            Self::Bore => "bores",
            Self::HorizontalBore => "horizontal bores",
            Self::Pin => "pins",
            Self::Gap => "gaps",
            Self::Outer => "outside widths",
            Self::Span => "spans",
            Self::Height => "heights",
        }
    }

    /// The direction that is meant where none is named: z for a height, else `round`, not recorded.
    pub fn unnamed_axis(self) -> Axis {
        if self == Self::Height { Axis::Z } else { Axis::Round }
    }

    /// Why this kind is not measured along this axis; `None` when it can be.
    pub fn refuses(self, axis: Axis) -> Option<&'static str> {
        match (self, axis) {
            (Self::Height, Axis::Z) => None,
            (Self::Height, _) => Some("a height is measured along z"),
            (Self::Bore | Self::Pin, Axis::Z) => {
                Some("its diameter lies in the plane of the bed; a hole that lies down is a horizontal_bore")
            }
            _ => None,
        }
    }

    /// How a swell of 1 mm per side changes the size: +2 outside, -2 inside, 0 where it cancels.
    pub fn swell_sign(self) -> f64 {
        match self {
            Self::Pin | Self::Outer => 2.0,
            Self::Bore | Self::HorizontalBore | Self::Gap => -2.0,
            Self::Span | Self::Height => 0.0,
        }
    }
}

/// The direction a feature is measured in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Axis {
    /// Along the bed's x.
    X,
    /// Along the bed's y.
    Y,
    /// Away from the bed.
    Z,
    /// Mean diameter, direction not recorded.
    Round,
    /// Along the diagonal from the front left to the back right corner of the bed, 45 degrees from x.
    D45,
    /// Along the other diagonal, 135 degrees from x.
    D135,
}

impl Axis {
    /// Every direction, in the order in which tables list them.
    pub const ALL: [Self; 6] = [Self::X, Self::Y, Self::Z, Self::Round, Self::D45, Self::D135];

    /// The word used in files, flags and tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::X => "x",
            Self::Y => "y",
            Self::Z => "z",
            Self::Round => "round",
            Self::D45 => "d45",
            Self::D135 => "d135",
        }
    }
}

/// A word that names no kind or no axis; `nearest` is the closest word that does.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("`{text}` is no {what}; expected one of {expected}")]
pub struct UnknownWord {
    /// The offending text.
    pub text: String,
    /// What was looked for: `kind` or `axis`.
    pub what: &'static str,
    /// The words that would do, separated by commas.
    pub expected: String,
    /// The closest word, when one is close.
    pub nearest: Option<String>,
}

fn find<T: Copy>(
    text: &str,
    what: &'static str,
    all: &[T],
    name: fn(T) -> &'static str,
) -> Result<T, UnknownWord> {
    let asked = text.trim();
    if let Some(found) = all.iter().find(|candidate| name(**candidate).eq_ignore_ascii_case(asked)) {
        return Ok(*found);
    }
    let words: Vec<&str> = all.iter().map(|candidate| name(*candidate)).collect();
    Err(UnknownWord {
        text: asked.to_owned(),
        what,
        expected: words.join(", "),
        nearest: crate::problem::nearest(asked, words.iter().copied()).map(str::to_owned),
    })
}

impl FromStr for Kind {
    type Err = UnknownWord;

    fn from_str(text: &str) -> Result<Self, UnknownWord> {
        find(text, "kind", &Self::ALL, Self::name)
    }
}

impl FromStr for Axis {
    type Err = UnknownWord;

    fn from_str(text: &str) -> Result<Self, UnknownWord> {
        find(text, "axis", &Self::ALL, Self::name)
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl fmt::Display for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_reads_back() {
        for kind in Kind::ALL {
            assert_eq!(kind.name().parse::<Kind>().unwrap(), kind);
        }
        for axis in Axis::ALL {
            assert_eq!(axis.name().to_uppercase().parse::<Axis>().unwrap(), axis);
        }
    }

    #[test]
    fn a_height_is_measured_along_z_only_and_an_upright_hole_never() {
        assert!(Kind::Height.refuses(Axis::X).is_some() && Kind::Height.refuses(Axis::Z).is_none());
        assert!(Kind::Bore.refuses(Axis::Z).is_some() && Kind::HorizontalBore.refuses(Axis::Z).is_none());
        for kind in Kind::ALL {
            assert_eq!(kind.refuses(kind.unnamed_axis()), None, "{kind}");
        }
    }

    #[test]
    fn a_misspelt_kind_is_answered_with_the_nearest_one() {
        let error = "boer".parse::<Kind>().unwrap_err();
        assert_eq!(error.nearest.as_deref(), Some("bore"));
        assert_eq!(
            error.to_string(),
            "`boer` is no kind; expected one of bore, horizontal_bore, pin, gap, outer, span, height"
        );
    }
}
