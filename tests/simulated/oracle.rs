//! What cover someone who knows more than a fit can know would have: the limit of what any fit can do.
//!
//! All three know the form of the truth and how the caliper scatters, and their readings have no gross
//! errors. The first knows the population that a printer was drawn from, every term of it, and this
//! printer's own spreads, P and F. The second knows of P and F only how they are spread over printers of
//! the class, weighs them by the readings, and takes the interval that holds 95 % of that mixture: without
//! knowing more nobody can be right 95 % of the time with less. The third knows nothing of the terms
//! before reading, as a fit. What is left of poor cover is the coupons' own luck: a printer whose coupon
//! prints lie 1.6 P off its mean is predicted that far off, for all sizes together.

use shrinkrule::correction::Term;
use shrinkrule::correction::structured::design::{Part, design};
use shrinkrule::kind::Kind;
use shrinkrule::readings::SetupReadings;
use shrinkrule::stats::distribution::t_below;
use shrinkrule::stats::mixed::{Products, Reduced, Row, Solution};

use crate::class::{Class, HEIGHTS_SHRINK, SHRINK, Spread};
use crate::design::Feature;
use crate::printer::{Population, Printer};

/// What someone knows of a printer before reading its coupons.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Knows {
    /// Its own spreads, and how terms are spread over the class.
    OwnSpreads,
    /// How spreads and terms are spread over the class.
    Class,
    /// How spreads are.
    ClassSpreads,
}

impl Knows {
    pub const ALL: [Self; 3] = [Self::OwnSpreads, Self::Class, Self::ClassSpreads];
}

/// What is thought of a term by who knows nothing of it, in standard deviations of the class.
const UNKNOWN: f64 = 10.0;

/// Spreads of one printer that may be its own: print to print of a size that swells, feature to feature.
#[derive(Clone, Copy)]
struct Spreads {
    print: f64,
    feature: f64,
    weight_ln: f64,
}

/// A size on a new print, were these its printer's spreads.
#[derive(Clone, Copy)]
struct Normal {
    mean: f64,
    sd: f64,
    weight: f64,
}

/// Mean and standard deviation of a term over printers. Where it is the same for all, it is as good as
/// known; a precision must stay finite.
fn term(class: &Class, term: Term, knows: Knows) -> Spread {
    let unknown = if knows == Knows::ClassSpreads { UNKNOWN } else { 1.0 };
    let of_class = of_class(class, term);
    match term {
        // `quick` does not measure along y: nothing but the class tells.
        Term::XyDifference => of_class,
        _ => Spread { sd: unknown * of_class.sd, ..of_class },
    }
}

fn of_class(class: &Class, term: Term) -> Spread {
    let known = |mean: f64| Spread { mean, sd: 1e-6 };
    let times = |of: Spread, by: f64| Spread { mean: by * of.mean, sd: (by * of.sd).abs() };
    let widened = |of: Spread, sd: f64| Spread { sd: of.sd.hypot(sd), ..of };
    match term {
        Term::Swell => class.swell,
        Term::ScaleInPlane => widened(times(class.shrink, -SHRINK), class.axis_sd / 2f64.sqrt()),
        Term::ScaleZ => widened(times(class.shrink, -SHRINK * HEIGHTS_SHRINK), class.axis_z_sd),
        Term::XyDifference => Spread { mean: 0.0, sd: class.axis_sd * 2f64.sqrt() },
        Term::Skew => Spread { mean: 0.0, sd: class.skew_sd_deg.to_radians() },
        Term::SmallBore => times(class.small_bore, -1.0),
        Term::Sag => {
            let mean = class.lost_height.mean - class.lost_width.mean;
            Spread { mean, sd: class.lost_height.sd.hypot(class.lost_width.sd) }
        }
        Term::Offset(Kind::Bore) => times(class.extra, -2.0),
        Term::Offset(Kind::HorizontalBore) => class.lost_width,
        Term::Offset(Kind::Height) => known(class.height_offset),
        Term::Offset(_) | Term::Scale | Term::ScaleOf(_) => known(0.0),
    }
}

/// The spreads that this printer may have.
fn spreads(class: &Class, printer: &Printer, knows: Knows) -> Vec<Spreads> {
    if knows == Knows::OwnSpreads {
        let print = 2.0 * printer.print_swell_sd;
        return vec![Spreads { print, feature: printer.feature_sd, weight_ln: 0.0 }];
    }
    // Midpoints of a grid to three standard deviations, as far as such spreads are drawn.
    let points = |of: Spread, least: f64| {
        let at = |i: u32| -2.8 + 0.7 * f64::from(i);
        (0..9)
            .map(move |i| (of.mean + at(i) * of.sd, -0.5 * at(i) * at(i)))
            .filter(move |(sd, _)| *sd > least)
    };
    let of_print = |(print, print_ln): (f64, f64)| {
        points(class.feature, 0.004).map(move |(feature, feature_ln)| Spreads {
            print,
            feature,
            weight_ln: print_ln + feature_ln,
        })
    };
    points(class.print, 0.003).flat_map(of_print).collect()
}

/// Share of new prints' true sizes that the 95 % intervals of someone who knows so much hold, over the
/// targets.
pub fn cover(
    population: Population,
    printer: &Printer,
    setup: &SetupReadings,
    targets: &[Feature],
    knows: Knows,
) -> f64 {
    let class = population.class().expect("the studies' worlds are no classes");
    let (parts, prints) = design(&setup.features);
    let mut options = spreads(class, printer, knows);
    let mut answers: Vec<Vec<(Part, Solution, Vec<Spread>)>> = Vec::new();
    for option in &mut options {
        let mut of_option = Vec::new();
        for part in &parts {
            let expected: Vec<Spread> = part.terms.iter().map(|of| term(class, *of, knows)).collect();
            let solution = solve(class, printer, setup, part, prints, &expected, *option);
            option.weight_ln += solution.evidence_ln;
            of_option.push((part.clone(), solution, expected));
        }
        answers.push(of_option);
    }
    let most = options.iter().map(|option| option.weight_ln).fold(f64::NEG_INFINITY, f64::max);
    let (mut held, mut asked) = (0.0, 0.0);
    for target in targets {
        let is_height = target.kind == Kind::Height;
        let mut mixture: Vec<Normal> = Vec::new();
        for (option, answers) in options.iter().zip(&answers) {
            let Some((part, solution, expected)) =
                answers.iter().find(|(part, ..)| part.is_height == is_height)
            else {
                continue;
            };
            let x: Vec<f64> =
                part.terms.iter().map(|term| term.value(target.kind, target.axis, target.size)).collect();
            let mean: f64 =
                x.iter().zip(&solution.mean).zip(expected).map(|((x, own), all)| x * (own + all.mean)).sum();
            let covariance = solution.covariance();
            let rows = covariance.chunks_exact(x.len()).zip(&x);
            let mut variance: f64 =
                rows.map(|(row, xi)| xi * row.iter().zip(&x).map(|(c, xj)| c * xj).sum::<f64>()).sum();
            let mut new = printer.clone();
            new.print_swell_sd = option.print / 2.0;
            new.feature_sd = option.feature;
            variance += new.new_print_variance(target.kind, target.size);
            let weight = (option.weight_ln - most).exp();
            if weight > 1e-5 {
                mixture.push(Normal { mean, sd: variance.sqrt(), weight });
            }
        }
        if mixture.is_empty() {
            continue;
        }
        let (middle, half) = central(&mixture);
        let truth = printer.deviation(target.kind, target.axis, target.size);
        let sd = printer.new_print_variance(target.kind, target.size).sqrt();
        let below = |limit: f64| t_below((limit - truth) / sd, f64::INFINITY);
        held += below(middle + half) - below(middle - half);
        asked += 1.0;
    }
    held / asked
}

fn solve(
    class: &Class,
    printer: &Printer,
    setup: &SetupReadings,
    part: &Part,
    prints: usize,
    expected: &[Spread],
    option: Spreads,
) -> Solution {
    let mut products = Products::new(part.terms.len(), part.effects.len(), prints);
    for (row, index) in part.features.iter().enumerate() {
        let feature = &setup.features[*index];
        // The caliper is rounded to 0.01 mm.
        let reading = printer.read_sd(feature.kind).powi(2) + 1e-4 / 12.0;
        let variance = option.feature.powi(2) + reading / f64::from(feature.repeats.count);
        let x = part.x(row);
        let mean: f64 = x.iter().zip(expected).map(|(x, all)| x * all.mean).sum();
        let y = feature.repeats.mean_mm - feature.nominal_mm - mean;
        let z = &part.z(row)[..part.effects.len()];
        products.add(Row { x, z, group: part.print[row], y }, 1.0 / variance);
    }
    let sds =
        if part.is_height { vec![class.print_height_sd] } else { vec![option.print, class.print_scale_sd] };
    let (mut reduced, mut solution) = (Reduced::default(), Solution::default());
    products.reduce(&sds, &mut reduced);
    let precisions: Vec<f64> = expected.iter().map(|all| all.sd.powi(-2)).collect();
    assert!(reduced.solve(&precisions, &mut solution));
    solution
}

/// Middle and half-width of the interval about the mixture's mean that holds 95 % of it.
fn central(mixture: &[Normal]) -> (f64, f64) {
    let total: f64 = mixture.iter().map(|one| one.weight).sum();
    let mean = |value: &dyn Fn(&Normal) -> f64| {
        mixture.iter().map(|one| one.weight / total * value(one)).sum::<f64>()
    };
    let middle = mean(&|one| one.mean);
    let variance = mean(&|one| one.sd.powi(2) + (one.mean - middle).powi(2));
    let below = |limit: f64| mean(&|one| t_below((limit - one.mean) / one.sd, f64::INFINITY));
    let holds = |half: f64| below(middle + half) - below(middle - half);
    let (mut low, mut high) = (1.4 * variance.sqrt(), 2.6 * variance.sqrt());
    for _ in 0..9 {
        let half = f64::midpoint(low, high);
        if holds(half) < 0.95 { low = half } else { high = half }
    }
    (middle, f64::midpoint(low, high))
}
