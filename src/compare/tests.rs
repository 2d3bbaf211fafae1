//! Comparisons of made-up sheets.

use std::fmt::Write as _;
use std::path::Path;

use super::finding::Form;
use super::headline::Note;
use super::verdict::Verdict;
use super::*;
use crate::readings::read_bytes;

const HEADER: &str =
    "material,stage,soak_c,soak_h,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm\n";

fn compared(text: &str, options: Options) -> Result<Comparison, Vec<Problem>> {
    let file = read_bytes(Path::new("heat.csv"), text.as_bytes()).expect("a readable sheet");
    compare(&[file], options)
}

fn options() -> Options {
    Options { limit_mm: 0.10, at_c: None }
}

fn said(problems: &[Problem]) -> Vec<String> {
    problems.iter().map(ToString::to_string).collect()
}

/// Rows of one piece: two spans along x, one along y, a height and a bore, each read twice.
fn piece(material: &str, stage: &str, soak: &str, copy: u32, change: impl Fn(&str, f64) -> f64) -> String {
    let mut rows = String::new();
    for (feature, kind, axis, nominal) in [
        ("s60x", "span", "x", 60.0),
        ("s30x", "span", "x", 30.0),
        ("s60y", "span", "y", 60.0),
        ("z20", "height", "z", 20.0),
        ("b8", "bore", "round", 8.0),
    ] {
        let size = nominal - 0.1 + change(feature, nominal);
        let (one, two) = (size - 0.01, size + 0.01);
        writeln!(
            rows,
            "{material},{stage},{soak},M,{feature},{kind},{axis},{nominal},{copy},{one:.4},{two:.4}"
        )
        .unwrap();
    }
    rows
}

fn reference(stage: &str, drift: f64) -> String {
    (1..=3)
        .map(|time| {
            format!(
                "reference,{stage},,,REF,ref,outer,round,22,{time},{:.4},{:.4}\n",
                21.99 + drift,
                22.01 + drift
            )
        })
        .collect()
}

fn finding<'a>(comparison: &'a Comparison, material: &str, group: &str) -> &'a finding::Finding {
    let of = |finding: &&finding::Finding| {
        comparison.study.materials[finding.material].name == material && finding.group.to_string() == group
    };
    comparison.findings.iter().find(of).unwrap()
}

/// Strain of -0.5 % along x, +1 % in height, nothing along y, bores 0.05 mm smaller, all pieces a little apart;
/// the caliper moved by 0.02 mm.
fn sheet() -> String {
    let mut text = HEADER.to_owned();
    text += &reference("before", 0.0);
    text += &reference("after", 0.02);
    for copy in 1..=3 {
        text += &piece("A", "before", ",", copy, |_, _| 0.0);
        let own = [-1.0, 0.0, 1.0][copy as usize - 1];
        text += &piece("A", "after", "60,8", copy, |feature, nominal| {
            0.02 + match feature {
                "s60x" | "s30x" => nominal * (-0.005 + 0.0001 * own),
                "z20" => nominal * (0.01 + 0.0002 * own),
                "b8" => -0.05 + 0.004 * own,
                _ => 0.003 * own,
            }
        });
    }
    text
}

#[test]
fn each_direction_has_its_own_change_and_the_calipers_is_taken_out() {
    let comparison = compared(&sheet(), options()).unwrap();
    let x = finding(&comparison, "A", "along x");
    assert_eq!((x.form, x.at_mm, x.features, x.pieces.len()), (Form::InProportion, 60.0, 2, 3));
    assert!((x.mean_mm + 0.30).abs() < 1e-4, "{}", x.mean_mm);
    assert!((x.percent(x.mean_mm) + 0.5).abs() < 1e-3);
    assert_eq!(x.verdict, Verdict::Exceeds);
    let z = finding(&comparison, "A", "heights");
    assert!((z.mean_mm - 0.20).abs() < 1e-4 && z.verdict == Verdict::Exceeds);
    let y = finding(&comparison, "A", "along y");
    assert!(y.mean_mm.abs() < 1e-4 && !y.is_real() && y.verdict == Verdict::Holds);
    let bore = finding(&comparison, "A", "bores");
    assert!((bore.mean_mm + 0.05).abs() < 1e-4 && bore.is_real() && bore.verdict == Verdict::Holds);
    // Negative control: one factor for all would be the mean of a shrinking and a growing.
    assert!((x.percent(x.mean_mm) - z.percent(z.mean_mm)).abs() > 1.4);
    assert_eq!(comparison.headlines.len(), 1);
    assert_eq!(comparison.headlines[0].verdict, Verdict::Exceeds);
}

/// By hand: three pieces at -0.004, 0, 0.004 about the mean have a standard error of 0.004/sqrt(3), and the
/// reference, whose readings repeat within 0.01414 mm (pooled), adds 0.01414 * sqrt(3 * (1/2 + 1/2)) / 3.
#[test]
fn the_interval_has_the_spread_of_pieces_and_the_doubt_of_the_reference() {
    let comparison = compared(&sheet(), options()).unwrap();
    let bore = finding(&comparison, "A", "bores");
    let (pieces, reference) = (0.004 / 3.0_f64.sqrt(), 0.000_2_f64.sqrt() * 3.0_f64.sqrt() / 3.0);
    let own = bore.piece_sd_mm.unwrap();
    assert!((own - 0.004).abs() < 2e-4, "{own}");
    let se = bore.estimate.unwrap().se;
    assert!((se - pieces.hypot(reference)).abs() < 2e-4, "{se} {}", pieces.hypot(reference));
}

#[test]
fn a_piece_is_the_unit_and_more_features_of_it_do_not_narrow_the_interval() {
    let text = sheet();
    let more: String = text
        .lines()
        .flat_map(|line| {
            let copies = if line.contains(",b8,") { 6 } else { 1 };
            (0..copies).map(move |number| line.replace(",b8,", &format!(",b8_{number},")) + "\n")
        })
        .collect();
    // A fine caliper, so that rounding adds nothing.
    let [text, more] = [text, more].map(|text| format!("# caliper_resolution_mm: 0.001\n{text}"));
    let one = compared(&text, options()).unwrap();
    let many = compared(&more, options()).unwrap();
    let se = |comparison: &Comparison| finding(comparison, "A", "bores").estimate.unwrap().se;
    assert_eq!(finding(&many, "A", "bores").features, 6);
    assert!((se(&one) / se(&many) - 1.0).abs() < 0.01, "{} {}", se(&one), se(&many));
}

#[test]
fn materials_are_ranked_with_ties_as_ties() {
    let mut text = sheet();
    for copy in 1..=3 {
        let own = [-1.0, 0.0, 1.0][copy as usize - 1];
        for (material, strain) in [("B", -0.0004), ("C", -0.0005)] {
            text += &piece(material, "before", ",", copy, |_, _| 0.0);
            text += &piece(material, "after", "60,8", copy, |_, nominal| {
                0.02 + nominal * (strain + 0.0001 * own)
            });
        }
    }
    let comparison = compared(&text, options()).unwrap();
    let along_x = comparison.between.iter().find(|family| family.group.to_string() == "along x").unwrap();
    assert_eq!(along_x.ranks, [3, 1, 1]);
    assert_eq!(super::text::ranking(&comparison, along_x), "B, C (tie) before A");
    let verdicts: Vec<(String, Verdict)> = comparison
        .headlines
        .iter()
        .map(|it| (comparison.study.materials[it.material].name.clone(), it.verdict))
        .collect();
    assert_eq!(verdicts[2], ("A".to_owned(), Verdict::Exceeds));
    assert!(verdicts[..2].iter().all(|it| it.1 == Verdict::Holds));
}

#[test]
fn a_temperature_between_or_beyond_the_soaks_is_answered_as_such() {
    let mut text = HEADER.to_owned();
    for copy in 1..=3 {
        text += &piece("A", "before", ",", copy, |_, _| 0.0);
        let own = [-1.0, 0.0, 1.0][copy as usize - 1];
        for (stage, celsius, strain) in [("60 C", 60, -0.0002), ("75 C", 75, -0.0006), ("90 C", 90, -0.01)] {
            text += &piece("A", stage, &format!("{celsius},8"), copy, |_, nominal| {
                nominal * (strain + 0.00005 * own)
            });
        }
    }
    let at = |celsius: f64| {
        let comparison = compared(&text, Options { limit_mm: 0.10, at_c: Some(celsius) }).unwrap();
        let headline = comparison.headlines[0].clone();
        (headline.verdict, headline.note, super::text::sentence(&comparison, &headline))
    };
    assert_eq!(at(75.0).0, Verdict::Holds);
    assert_eq!((at(65.0).0, at(65.0).1), (Verdict::Holds, Note::HoldsHotter(75.0)));
    assert_eq!((at(120.0).0, at(120.0).1), (Verdict::Exceeds, Note::FailsCooler(90.0)));
    assert_eq!(at(82.0).1, Note::Between);
    assert_eq!(
        at(120.0).2,
        "A does not hold ±0.10 mm after 120 °C: it does not at 90 °C (along x -0.600 mm [-0.609, -0.591])"
    );
    let comparison = compared(&text, options()).unwrap();
    let reach = comparison.ceilings[0].reach;
    assert_eq!((reach.surely_to_c, reach.surely_not_from_c), (Some(75.0), Some(90.0)));
    // Along x: from -0.036 at 75 to -0.6 at 90, the limit is passed at 76.7.
    assert_eq!(reach.holds_to_c, Some(76.5));
    assert_eq!(reach.in_words(), "holds to 76 °C (surely to 75 °C, surely no more from 90 °C on)");
}

#[test]
fn a_change_that_goes_on_with_time_is_told_per_decade_with_a_warning_of_looking_ahead() {
    let mut text = HEADER.to_owned();
    for copy in 1..=4 {
        text += &piece("A", "before", ",", copy, |_, _| 0.0);
        let own = [-1.0, 1.0, 0.5, -0.5][copy as usize - 1];
        for (stage, hours, log) in [("5 h", 5, 5f64.log10()), ("50 h", 50, 50f64.log10())] {
            text += &piece("A", stage, &format!("60,{hours}"), copy, |_, nominal| {
                nominal * (-0.001 * log + 0.00003 * own)
            });
        }
    }
    let comparison = compared(&text, options()).unwrap();
    let x = comparison.creep.iter().find(|creep| creep.group.to_string() == "along x").unwrap();
    assert!((x.per_decade.value + 0.06).abs() < 1e-4 && x.is_real());
    assert!((x.ahead_h() - 500.0).abs() < 1e-6 && (x.ahead_mm + 0.06 * 500f64.log10()).abs() < 1e-4);
    assert!(
        comparison
            .cautions
            .iter()
            .any(|caution| caution.contains("still changing") && caution.contains("guess"))
    );
}

#[test]
fn readings_after_heat_without_any_before_are_refused_by_line() {
    let mut text = sheet();
    text += &piece("B", "after", "60,8", 1, |_, _| 0.0);
    let problems = said(&compared(&text, options()).unwrap_err());
    assert_eq!(
        problems,
        [
            "error: heat.csv:38: stage: piece B 1 has readings after heat and none before\n  help: a change needs both: see \
          whether material, setup and copy are written the same in both stages, or blank its readings"
        ]
    );
    let text = sheet().replace("before", "befor");
    let problems = said(&compared(&text, options()).unwrap_err());
    assert!(
        problems.iter().any(|said| said.contains("no row has the stage `before`, only `befor`")
            && said.contains("is `befor` meant? write `before`")),
        "{problems:?}"
    );
}

#[test]
fn a_piece_in_one_stage_only_is_named_and_the_rest_compared() {
    let mut text = sheet();
    text += &piece("A", "before", ",", 4, |_, _| 0.0);
    let comparison = compared(&text, options()).unwrap();
    let warnings = said(&comparison.study.warnings);
    assert_eq!(warnings.len(), 1);
    assert!(warnings[0].starts_with(
        "warning: heat.csv:38: stage: piece A 4 has readings before heat and none after\n  help: it counts for the correction"
    ));
    assert_eq!(finding(&comparison, "A", "bores").pieces.len(), 3);
}

#[test]
fn swapped_stages_are_seen_by_their_soak_and_by_their_siblings() {
    let text = sheet().replace("before", "later").replace("after", "before").replace("later", "after");
    let problems = said(&compared(&text, options()).unwrap_err());
    assert!(problems[0].starts_with(
        "error: heat.csv:13: stage: a row of the stage `before` has stood 8 h at 60 °C: are the stages swapped?\n  help: `before` is"
    ), "{problems:?}");
    // One piece of three, without a soak to give it away.
    let mut text = HEADER.to_owned();
    for copy in 1..=3 {
        let strain = if copy == 2 { 0.005 } else { -0.005 };
        text += &piece("A", "before", ",", copy, |_, _| 0.0);
        text += &piece("A", "after", "60,8", copy, |_, nominal| nominal * strain);
    }
    let comparison = compared(&text, options()).unwrap();
    let warnings = said(&comparison.study.warnings);
    assert!(
        warnings.iter().any(|said| said.contains("piece A 2 changed the other way round")),
        "{warnings:?}"
    );
    assert_eq!(warnings.len(), 1);
}

#[test]
fn one_piece_gives_no_interval_and_says_what_to_print() {
    let mut text = HEADER.to_owned();
    text += &piece("A", "before", ",", 1, |_, _| 0.0);
    text += &piece("A", "after", "60,8", 1, |_, _| 0.001);
    let comparison = compared(&text, options()).unwrap();
    let headline = &comparison.headlines[0];
    assert_eq!(
        (headline.verdict, headline.note, headline.interval_mm),
        (Verdict::CannotTell, Note::OnePiece, None)
    );
    assert!(super::text::sentence(&comparison, headline).contains("from one piece; print two more at least"));
    assert!(comparison.cautions.iter().any(|caution| caution.starts_with("material A has one piece")));
    assert!(comparison.cautions.iter().any(|caution| caution.starts_with("no reference piece")));
}

#[test]
fn two_temperatures_in_one_stage_are_refused_with_both_lines() {
    let mut text = sheet();
    text += &piece("B", "before", ",", 1, |_, _| 0.0);
    text += &piece("B", "after", "80,8", 1, |_, _| 0.0);
    assert_eq!(
        said(&compared(&text, options()).unwrap_err()),
        [
            "error: heat.csv:43: soak_c: the stage `after` has two soaks: 80 °C here and 60 °C on line 13\n  help: one stage is one \
          soak: give each its own name, such as `after 80 °C`, or correct the cell"
        ]
    );
}

#[test]
fn a_sheet_without_stages_and_cells_that_are_no_numbers_are_told() {
    let text = "material,feature,kind,nominal_mm,reading_mm\nA,b,bore,8,8\n";
    let problems = said(&compared(text, options()).unwrap_err());
    assert!(problems[0].starts_with("error: heat.csv: no column `stage`\n  help: say in a column `stage`"));
    let text = sheet().replace("60,8,", "hot,8,");
    let problems = said(&compared(&text, options()).unwrap_err());
    assert!(problems[0].starts_with("error: heat.csv:13: soak_c: `hot` is not a number"), "{problems:?}");
}

#[test]
fn the_order_of_rows_is_irrelevant() {
    let text = sheet();
    let mut rows: Vec<&str> = text.lines().skip(1).collect();
    rows.reverse();
    let turned = format!("{HEADER}{}\n", rows.join("\n"));
    let (one, other) = (compared(&text, options()).unwrap(), compared(&turned, options()).unwrap());
    for (a, b) in one.findings.iter().zip(&other.findings) {
        assert_eq!((a.material, a.group, a.verdict), (b.material, b.group, b.verdict));
        assert!((a.mean_mm - b.mean_mm).abs() < 1e-12);
    }
}
