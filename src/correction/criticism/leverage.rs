//! How much of a fit each size decides by itself.
//!
//! The hat value of a row is how much of its own reading its fitted value follows, from 0 to 1; together they
//! are as many as there are coefficients, so `p / n` is usual and twice that much. What a size says of one
//! coefficient is how much of the readings' information on it is lost without the rows of that size. And
//! what it may do: how far the prediction of another size moves when all its readings are 0.1 mm off. All
//! in the fit with every term free and each print's swell, scale and height taken out; weak priors make a
//! structured fit follow a little less.
//!
//! Source: Hoaglin and Welsch, The American Statistician 32 (1978) 17 (twice `p / n`); Belsley, Kuh and Welsch,
//! Regression Diagnostics, 1980, 2.1.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};
use serde::Serialize;

use super::design::{Design, prints_width, push_prints};
use super::{Row, looked_at};
use crate::correction::Term;
use crate::kind::Kind;

/// A size that loses this share of what is known of a coefficient alone decides it. Judged: what the others
/// say would have more than twice the standard error.
const DECIDES: f64 = 0.8;
/// Hat values this many times the usual one are told.
const MUCH: f64 = 2.0;
/// So many sizes are told, the strongest.
const MOST_TOLD: usize = 4;
/// What readings are taken to be off by, mm: a slip that passes for a size.
const OFF_MM: f64 = 0.1;
/// A pull smaller than this is not told, mm: no caliper sees it.
const LEAST_PULL_MM: f64 = 0.005;
/// Added to squares of columns of length 1, so that columns which cannot be told apart do no harm.
const RIDGE: f64 = 1e-6;
/// A coefficient is told by the data when this share of its column is its own.
const OWN_SHARE: f64 = 1e-3;

/// What one size of one kind does to the fit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Leverage {
    /// The kind.
    pub kind: Kind,
    /// The size, mm.
    pub nominal_mm: f64,
    /// How many features of it were used, on all prints.
    pub features: u32,
    /// Their mean hat value.
    pub leverage: f64,
    /// What is usual in this fit: coefficients over features.
    pub usual: f64,
    /// The coefficients that it alone decides, each with the share of what the readings say of it.
    pub decides: Vec<Decided>,
    /// The size whose prediction moves most when all readings of this one are 0.1 mm off.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pull: Option<Pull>,
}

/// A coefficient and the share of the information on it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Decided {
    /// Its name.
    pub of: String,
    /// From 0 to 1.
    pub share: f64,
}

/// How far another size moves.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Pull {
    /// Its kind.
    pub kind: Kind,
    /// It, mm.
    pub nominal_mm: f64,
    /// How far, for 0.1 mm, mm.
    pub moves_mm: f64,
}

impl Leverage {
    /// What a person at the bench reads.
    pub fn sentence(&self) -> String {
        let kind = self.kind.plural();
        let decided: Vec<String> = self
            .decides
            .iter()
            .map(|decided| {
                format!("{} ({:.0} % of what the readings say of it)", decided.of, 100.0 * decided.share)
            })
            .collect();
        let what = if decided.is_empty() {
            format!("weigh {:.1} times as much as features do on average", self.leverage / self.usual)
        } else {
            format!("alone decide the {}", decided.join(" and the "))
        };
        let pull = self.pull.map_or_else(String::new, |pull| {
            format!(
                "; were they {OFF_MM} mm off, {} of {} mm would be predicted about {:.3} mm off",
                pull.kind.plural(),
                pull.nominal_mm,
                pull.moves_mm.abs()
            )
        });
        let more = if self.decides.iter().any(|decided| decided.of == name(Term::SmallBore)) {
            "print more small bores".to_owned()
        } else {
            format!("print more {kind} near that size")
        };
        format!("the {kind} of {} mm {what}{pull}: measure them again, or {more}", self.nominal_mm)
    }
}

fn name(term: Term) -> String {
    match term {
        Term::Offset(kind) => format!("offset of {}", kind.plural()),
        Term::Scale | Term::ScaleInPlane => "scale".to_owned(),
        Term::ScaleOf(kind) => format!("scale of {}", kind.plural()),
        Term::SmallBore => "small-bore term".to_owned(),
        Term::Swell => "swell of walls".to_owned(),
        Term::ScaleZ => "scale of heights".to_owned(),
        Term::XyDifference => "difference of x and y".to_owned(),
        Term::Skew => "angle between x and y".to_owned(),
        Term::Sag => "sag of horizontal bores".to_owned(),
    }
}

/// The fit's columns, of length 1, with the inverse of their squares and products.
struct Hat {
    columns: DMatrix<f64>,
    squares: DMatrix<f64>,
    inverse: DMatrix<f64>,
}

impl Hat {
    fn new(mut columns: DMatrix<f64>) -> Option<Self> {
        for mut column in columns.column_iter_mut() {
            let length = column.norm();
            if length > 0.0 {
                column /= length;
            }
        }
        let squares = columns.tr_mul(&columns);
        let inverse = inverse(&squares)?;
        Some(Self { columns, squares, inverse })
    }

    /// Share of what is known of each coefficient that goes with these rows; `None` where little is known
    /// anyway.
    fn lost(&self, members: &[usize]) -> Option<Vec<Option<f64>>> {
        let own = DMatrix::from_fn(members.len(), self.columns.ncols(), |i, j| self.columns[(members[i], j)]);
        let without = inverse(&(&self.squares - own.tr_mul(&own)))?;
        let share = |at: usize| {
            let (all, rest) = (self.inverse[(at, at)], without[(at, at)]);
            (all < 1.0 / OWN_SHARE).then(|| (1.0 - all / rest).clamp(0.0, 1.0))
        };
        Some((0..self.columns.ncols()).map(share).collect())
    }
}

fn inverse(squares: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let size = squares.nrows();
    let ridge = DMatrix::from_diagonal_element(size, size, RIDGE);
    Some((squares + ridge).cholesky()?.inverse())
}

/// The sizes that decide much of a fit of these terms to these rows, the strongest first.
///
/// `is_curve_tested` as in [`super::criticise`]: what was found there is known here.
pub fn leverage(rows: &[Row<'_>], terms: &[Term], is_curve_tested: bool) -> Vec<Leverage> {
    let Some((rows, copies)) = looked_at(rows) else { return Vec::new() };
    Design::of(&rows, &copies, terms, is_curve_tested).leverage.clone()
}

/// The same of rows of these prints, which are sorted. Nothing that was read has a say.
pub(super) fn of_design(rows: &[Row<'_>], copies: &[u32], terms: &[Term]) -> Vec<Leverage> {
    let width = terms.len() + prints_width(copies);
    let mut matrix = Vec::with_capacity(width * rows.len());
    for row in rows {
        matrix.extend(terms.iter().map(|term| term.value(row.kind, row.axis, row.nominal_mm)));
        push_prints(row, copies, &mut matrix);
    }
    let columns = DMatrix::from_row_slice(rows.len(), width, &matrix);
    let Some(hat) = Hat::new(columns) else { return Vec::new() };
    let mut groups: BTreeMap<(Kind, u64), Vec<usize>> = BTreeMap::new();
    for (at, row) in rows.iter().enumerate() {
        groups.entry((row.kind, row.nominal_mm.to_bits())).or_default().push(at);
    }
    let pulls = &hat.columns * &hat.inverse;
    let own = |at: usize| pulls.row(at).dot(&hat.columns.row(at));
    let usual = (0..rows.len()).map(own).sum::<f64>() / rows.len() as f64;
    let mut all: Vec<(Leverage, Vec<Option<f64>>)> = Vec::new();
    for ((kind, bits), members) in &groups {
        let Some(lost) = hat.lost(members) else { continue };
        let group = members.iter().fold(DVector::zeros(hat.columns.ncols()), |sum: DVector<f64>, at| {
            sum + hat.columns.row(*at).transpose()
        });
        let moved = |at: usize| OFF_MM * (pulls.row(at) * &group)[0];
        let others = (0..rows.len()).filter(|at| !members.contains(at));
        let same_kind = others.clone().filter(|at| rows[*at].kind == *kind);
        let largest = |a: &usize, b: &usize| moved(*a).abs().total_cmp(&moved(*b).abs());
        let pulled = same_kind.max_by(largest).or_else(|| others.max_by(largest));
        let pull = pulled.map(|at| Pull {
            kind: rows[at].kind,
            nominal_mm: rows[at].nominal_mm,
            moves_mm: moved(at),
        });
        let leverage = Leverage {
            kind: *kind,
            nominal_mm: f64::from_bits(*bits),
            features: members.len() as u32,
            leverage: members.iter().map(|at| own(*at)).sum::<f64>() / members.len() as f64,
            usual,
            decides: Vec::new(),
            pull: pull.filter(|pull| pull.moves_mm.abs() >= LEAST_PULL_MM),
        };
        all.push((leverage, lost));
    }
    // Diagonals and sag have features made for them alone: nothing else could tell them.
    let shared = terms.iter().enumerate().filter(|(_, term)| !matches!(term, Term::Skew | Term::Sag));
    for (at, term) in shared {
        let share = |lost: &[Option<f64>]| lost[at].filter(|share| *share >= DECIDES);
        let deciding: Vec<usize> = (0..all.len()).filter(|group| share(&all[*group].1).is_some()).collect();
        // Of two sizes that both are needed neither decides alone.
        if let [one] = deciding[..]
            && let Some(share) = share(&all[one].1)
        {
            all[one].0.decides.push(Decided { of: name(*term), share });
        }
    }
    let mut told: Vec<Leverage> = all.into_iter().map(|(leverage, _)| leverage).collect();
    told.iter_mut().for_each(|of| of.decides.sort_by(|a, b| b.share.total_cmp(&a.share)));
    told.retain(|of| !of.decides.is_empty() || (of.leverage > MUCH * of.usual && of.pull.is_some()));
    let strength = |of: &Leverage| (!of.decides.is_empty(), of.leverage);
    told.sort_by(|a, b| {
        let (a, b) = (strength(a), strength(b));
        b.0.cmp(&a.0).then(b.1.total_cmp(&a.1))
    });
    told.truncate(MOST_TOLD);
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kind::Axis;

    fn row(kind: Kind, nominal_mm: f64, copy: u32) -> Row<'static> {
        Row { coupon: "", kind, axis: Axis::Round, nominal_mm, copy, deviation_mm: 0.0 }
    }

    /// Straight line through sizes 1, 2, 3 and 9: hat values 1/4 + (x - 3.75)^2 / 38.75, by hand.
    #[test]
    fn a_far_size_has_the_hat_value_of_the_textbook() {
        let rows = [1.0, 2.0, 3.0, 9.0].map(|size| row(Kind::Pin, size, 1));
        let told = leverage(&rows, &[Term::Offset(Kind::Pin), Term::ScaleOf(Kind::Pin)], false);
        let far = told.iter().find(|of| of.nominal_mm == 9.0).unwrap();
        assert!((far.leverage - (0.25 + 5.25_f64.powi(2) / 38.75)).abs() < 1e-5, "{far:?}");
        assert!((far.usual - 0.5).abs() < 1e-5);
        // Without it the slope rests on 1, 2, 3: squares about their mean are 2 in place of 38.75.
        let scale = far.decides.iter().find(|of| of.of == "scale of pins").unwrap();
        assert!((scale.share - (1.0 - 2.0 / 38.75)).abs() < 1e-4, "{scale:?}");
        // 0.1 mm there tilts the line about the others' middle: at 3, 0.1 (1/4 + (3 - 3.75) 5.25 / 38.75).
        let pull = far.pull.unwrap();
        let at = |x: f64| 0.1 * (0.25 + (x - 3.75) * 5.25 / 38.75);
        let most = [1.0, 2.0, 3.0].map(at).into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap();
        assert!((pull.moves_mm - most).abs() < 1e-5, "{pull:?} {most}");
        // Negative control: nothing else decides anything.
        assert!(told.iter().all(|of| of.nominal_mm == 9.0 || of.decides.is_empty()), "{told:?}");
    }

    #[test]
    fn the_smallest_bores_alone_decide_the_small_bore_term_and_it_is_said_in_words() {
        let rows: Vec<Row<'_>> = [1, 2]
            .iter()
            .flat_map(|copy| [3.0, 8.0, 10.0, 12.0].map(|size| row(Kind::Bore, size, *copy)))
            .chain([5.0, 10.0, 20.0, 40.0].map(|size| row(Kind::Outer, size, 1)))
            .collect();
        let terms = [Term::Offset(Kind::Bore), Term::Offset(Kind::Outer), Term::Scale, Term::SmallBore];
        let told = leverage(&rows, &terms, false);
        let small = &told[0];
        assert_eq!((small.kind, small.nominal_mm, small.features), (Kind::Bore, 3.0, 2));
        assert_eq!(small.decides[0].of, "small-bore term");
        let sentence = small.sentence();
        assert!(sentence.starts_with("the bores of 3 mm alone decide the small-bore term (9"), "{sentence}");
        assert!(sentence.ends_with(" mm off: measure them again, or print more small bores"), "{sentence}");
    }

    #[test]
    fn sizes_that_share_the_work_are_not_told() {
        let sizes = [3.0, 4.0, 5.0, 6.0, 7.0, 8.0];
        let rows: Vec<Row<'_>> =
            (1..=3).flat_map(|copy| sizes.map(|size| row(Kind::Pin, size, copy))).collect();
        assert_eq!(leverage(&rows, &[Term::Offset(Kind::Pin), Term::ScaleOf(Kind::Pin)], false), []);
    }
}
