//! The forms that the model can take, which of them the data can tell, and which they prefer.
//!
//! Forms are compared by AICc, `n ln(SSE / n) + 2 k + 2 k (k + 1) / (n - k - 1)` with `k` one more than
//! the number of coefficients. A form that the design cannot estimate is never compared.
//!
//! The small-bore term is offered when bores have at least four sizes over a factor of three: over that
//! range `1 / x` falls to a third while `x` triples, and the two can be told apart. (A factor of four was
//! the first thought; the published bores of 3 to 10 mm, a factor of 3.3, show the curve plainly, and
//! AICc guards against seeing one that is not there.) Forced, it takes three sizes.
//!
//! Source of AICc: Hurvich and Tsai, Biometrika 76 (1989) 297.

use std::fmt;
use std::str::FromStr;

use crate::kind::Kind;

use super::fit::FitError;
use super::moments::{Moments, after_one, after_two};
use super::{Form, RunnerUp, ScaleForm, Term};

/// A residual sd below which one form is not better than another, mm: no caliper sees it.
const LEAST_SD_MM: f64 = 1e-4;
/// Bores must span this factor before the small-bore term is tried unasked.
const LEAST_SMALL_BORE_FACTOR: f64 = 3.0;
/// And have this many sizes.
const LEAST_SMALL_BORE_SIZES: usize = 4;

impl Form {
    /// Every form, simplest first.
    pub const ALL: [Self; 6] = [
        Self { scale: ScaleForm::Offset, small_bore: false },
        Self { scale: ScaleForm::Shared, small_bore: false },
        Self { scale: ScaleForm::Offset, small_bore: true },
        Self { scale: ScaleForm::Shared, small_bore: true },
        Self { scale: ScaleForm::Own, small_bore: false },
        Self { scale: ScaleForm::Own, small_bore: true },
    ];

    /// The word used in files, flags and tables.
    pub fn name(self) -> &'static str {
        match (self.scale, self.small_bore) {
            (ScaleForm::Offset, false) => "offset",
            (ScaleForm::Shared, false) => "shared",
            (ScaleForm::Own, false) => "own",
            (ScaleForm::Offset, true) => "offset+small-bore",
            (ScaleForm::Shared, true) => "shared+small-bore",
            (ScaleForm::Own, true) => "own+small-bore",
        }
    }

    /// What it says, in words.
    pub fn in_words(self) -> &'static str {
        match (self.scale, self.small_bore) {
            (ScaleForm::Offset, false) => "an offset per kind, no scale",
            (ScaleForm::Shared, false) => "an offset per kind, one scale for all",
            (ScaleForm::Own, false) => "an offset and a scale per kind",
            (ScaleForm::Offset, true) => "an offset per kind, no scale, and the small-bore term",
            (ScaleForm::Shared, true) => "an offset per kind, one scale for all, and the small-bore term",
            (ScaleForm::Own, true) => "an offset and a scale per kind, and the small-bore term",
        }
    }

    /// The terms that these kinds give it.
    pub(super) fn terms(self, kinds: &[Moments]) -> Vec<Term> {
        let mut terms: Vec<Term> = kinds.iter().map(|of| Term::Offset(of.kind)).collect();
        match self.scale {
            ScaleForm::Offset => {}
            ScaleForm::Shared => terms.push(Term::Scale),
            ScaleForm::Own => {
                terms.extend(kinds.iter().filter(|of| of.sizes > 1).map(|of| Term::ScaleOf(of.kind)));
            }
        }
        if self.small_bore {
            terms.push(Term::SmallBore);
        }
        terms
    }

    /// How many terms they are.
    pub(super) fn term_count(self, kinds: &[Moments]) -> usize {
        let scales = match self.scale {
            ScaleForm::Offset => 0,
            ScaleForm::Shared => 1,
            ScaleForm::Own => kinds.iter().filter(|of| of.sizes > 1).count(),
        };
        kinds.len() + scales + usize::from(self.small_bore)
    }

    /// Whether these kinds can tell its coefficients.
    fn is_estimable(self, kinds: &[Moments]) -> bool {
        let scales = kinds.iter().filter(|of| of.sizes > 1).count();
        let bores = bores(kinds).map_or(0, |of| of.sizes);
        let scale = self.scale == ScaleForm::Offset || scales > 0;
        scale && (!self.small_bore || bores >= 3)
    }

    /// Sum of squared residuals of the least-squares fit of this form.
    fn residual_squares(self, kinds: &[Moments]) -> Option<f64> {
        let sum = |of: fn(&Moments) -> f64| kinds.iter().map(of).sum::<f64>();
        let (yy, xx, xy) = (sum(|k| k.yy), sum(|k| k.xx), sum(|k| k.xy));
        let bores = if self.small_bore { Some(bores(kinds)?) } else { None };
        match (self.scale, bores) {
            (ScaleForm::Offset, None) => Some(yy),
            (ScaleForm::Offset, Some(b)) => Some(after_one(yy, b.zz, b.yz)),
            (ScaleForm::Shared, None) => Some(after_one(yy, xx, xy)),
            (ScaleForm::Shared, Some(b)) => after_two(yy, (xx, xy), (b.zz, b.yz), b.xz),
            (ScaleForm::Own, bores) => {
                let mut left = 0.0;
                for kind in kinds {
                    left += match bores.filter(|b| b.kind == kind.kind) {
                        Some(b) => after_two(b.yy, (b.xx, b.xy), (b.zz, b.yz), b.xz)?,
                        None if kind.sizes > 1 => after_one(kind.yy, kind.xx, kind.xy),
                        None => kind.yy,
                    };
                }
                Some(left)
            }
        }
    }

    /// AICc of its least-squares fit; `None` when it cannot be estimated or compared.
    fn aicc(self, kinds: &[Moments]) -> Option<f64> {
        if !self.is_estimable(kinds) {
            return None;
        }
        let n = kinds.iter().map(|of| of.count).sum::<u64>() as f64;
        let k = self.term_count(kinds) as f64 + 1.0;
        let spare = n - k - 1.0;
        if spare <= 0.0 {
            return None;
        }
        let variance = (self.residual_squares(kinds)? / n).max(LEAST_SD_MM * LEAST_SD_MM);
        Some(n * variance.ln() + 2.0 * k + 2.0 * k * (k + 1.0) / spare)
    }

    /// Why it cannot be fitted to these kinds, when it cannot.
    pub(super) fn refusal(self, kinds: &[Moments]) -> Option<FitError> {
        let observations: u64 = kinds.iter().map(|of| of.count).sum();
        let coefficients = self.term_count(kinds);
        if self.scale != ScaleForm::Offset && kinds.iter().all(|of| of.sizes < 2) {
            let sizes = kinds.iter().map(|of| (of.kind, of.min_mm)).collect();
            Some(FitError::OneSize { form: self, sizes })
        } else if self.small_bore && bores(kinds).is_none_or(|of| of.sizes < 3) {
            Some(FitError::FewBores { form: self, sizes: bores(kinds).map_or(0, |of| of.sizes) })
        } else if observations <= coefficients as u64 {
            Some(FitError::TooFew { form: self, observations, coefficients })
        } else {
            None
        }
    }
}

fn bores(kinds: &[Moments]) -> Option<&Moments> {
    kinds.iter().find(|of| of.kind == Kind::Bore)
}

/// Whether the small-bore term is tried unasked.
fn shows_small_bores(kinds: &[Moments]) -> bool {
    bores(kinds).is_some_and(|of| {
        of.sizes >= LEAST_SMALL_BORE_SIZES && of.max_mm >= LEAST_SMALL_BORE_FACTOR * of.min_mm
    })
}

/// A chosen form and the others that were compared.
#[derive(Clone, Debug)]
pub(super) struct Choice {
    pub form: Form,
    /// The others, best first; below zero where a forced form is not the best.
    pub others: Vec<RunnerUp>,
}

/// The form that is asked for, or the one that the data prefer.
pub(super) fn choose(kinds: &[Moments], forced: Option<Form>) -> Result<Choice, FitError> {
    let scales = kinds.iter().filter(|of| of.sizes > 1).count();
    // With one kind that has sizes, its own scale and a shared one are the same fit.
    let redundant = match forced.map(|form| form.scale) {
        Some(ScaleForm::Shared) => ScaleForm::Own,
        Some(ScaleForm::Own) => ScaleForm::Shared,
        _ if kinds.len() == 1 => ScaleForm::Shared,
        _ => ScaleForm::Own,
    };
    let compared: Vec<(Form, f64)> = Form::ALL
        .into_iter()
        .filter(|form| !form.small_bore || shows_small_bores(kinds))
        .filter(|form| scales > 1 || form.scale != redundant)
        .filter_map(|form| Some((form, form.aicc(kinds)?)))
        .collect();
    let best = compared.iter().copied().min_by(|(_, a), (_, b)| a.total_cmp(b));
    // Too few observations to compare anything still tell an offset.
    let chosen = forced.or(best.map(|(form, _)| form)).unwrap_or(Form::ALL[0]);
    if let Some(refusal) = chosen.refusal(kinds) {
        return Err(refusal);
    }
    let reference = chosen.aicc(kinds);
    let mut others: Vec<RunnerUp> = compared
        .into_iter()
        .filter(|(form, _)| *form != chosen)
        .filter_map(|(form, aicc)| Some(RunnerUp { form, aicc_above_best: aicc - reference? }))
        .collect();
    others.sort_by(|a, b| a.aicc_above_best.total_cmp(&b.aicc_above_best));
    Ok(Choice { form: chosen, others })
}

/// The most general form with at least twice as many observations as coefficients.
pub(super) fn richest(kinds: &[Moments]) -> Form {
    let observations: u64 = kinds.iter().map(|of| of.count).sum();
    let fits = |form: &&Form| {
        form.is_estimable(kinds)
            && (!form.small_bore || shows_small_bores(kinds))
            && observations > 2 * form.term_count(kinds) as u64
    };
    Form::ALL.iter().rev().find(fits).copied().unwrap_or(Form::ALL[0])
}

/// A word that names no form of the model.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{text}` is no model; expected offset, shared or own, each with +small-bore if wanted")]
pub struct UnknownForm {
    /// The offending text.
    pub text: String,
}

impl FromStr for Form {
    type Err = UnknownForm;

    fn from_str(text: &str) -> Result<Self, UnknownForm> {
        let found = Self::ALL.into_iter().find(|form| form.name() == text.trim());
        found.ok_or_else(|| UnknownForm { text: text.trim().to_owned() })
    }
}

impl fmt::Display for Form {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}
