use super::*;
use crate::plot::fit_figures;
use crate::plot::sample::{Shape, fit};

fn report_of(fit: &Fit) -> String {
    let figures = fit_figures(fit).unwrap();
    let conditions = Conditions {
        date: None,
        caliper_resolution_mm: Some(0.01),
        caliper_error_mm: Some(0.03),
        temperature_c: Some(21.5),
        material: None,
    };
    let setup = SetupReport { fit, figures: &figures, correction_file: "slider petg.correction.toml" };
    fit_report(&[setup], &conditions).unwrap()
}

#[test]
fn the_answer_comes_first_and_in_words() {
    let html = report_of(&fit(&Shape::default()));
    // The bores of the sample: -0.18 - 0.0035 * 22 at the middle; 8 = 0.9965 x - 0.18 at x = 8.2087.
    let words = "<li>Bores come out 0.26 mm small at 22 mm, ± 0.01. To get 8 mm, draw 8.21 mm; a new print then \
                 measures 7.93 to 8.08 mm (95 %).</li>";
    let at = html.find(words).unwrap_or_else(|| panic!("{html}"));
    assert!(at < html.find("<h3>").unwrap());
}

#[test]
fn every_kind_has_a_row_with_its_intervals() {
    let html = report_of(&fit(&Shape::default()));
    for kind in Kind::ALL {
        assert!(
            html.contains(&format!("<tr><td class=\"name\">{}</td><td class=\"number\">", kind.plural())),
            "{kind}"
        );
    }
    assert!(html.contains("<td class=\"number\">0.9965 ± 0.0"), "{html}");
    assert!(html.contains("<td class=\"number\">3 to 40</td><td class=\"number\">12</td>"));
}

#[test]
fn what_comes_from_files_is_escaped_and_nothing_is_loaded_from_elsewhere() {
    let mut fit = fit(&Shape::default());
    fit.correction.setup = "<img src=x onerror=alert(1)>".to_owned();
    fit.correction.readings_file = "a&b<i>.csv".to_owned();
    fit.correction.warnings = vec!["</main><b>".to_owned()];
    fit.correction.set_aside[0].reason = "\"<u>\"".to_owned();
    let html = report_of(&fit);
    assert!(
        !html.contains("<img") && !html.contains("<i>") && !html.contains("<b>") && !html.contains("<u>")
    );
    assert!(html.contains("a&#38;b&#60;i&#62;.csv") && html.contains("&#60;/main&#62;&#60;b&#62;"));
    assert!(!html.contains("<script") && !html.contains("src=\"") && !html.contains("@import"));
    // The only address is the name of the SVG format, which nothing loads.
    assert_eq!(html.matches("http").count(), html.matches("xmlns=\"http://www.w3.org/2000/svg\"").count());
}

#[test]
fn the_four_pictures_stand_in_the_page_with_how_to_read_them() {
    let html = report_of(&fit(&Shape::default()));
    assert_eq!(html.matches("<svg ").count(), 4);
    assert_eq!(html.matches("<figcaption>How to read it: ").count(), 4);
}

#[test]
fn set_aside_readings_are_listed_by_line_and_none_is_said_too() {
    let html = report_of(&fit(&Shape::default()));
    assert!(html.contains(
        "<td class=\"number\">9</td><td class=\"number\">251.684</td><td>ten times too large: a decimal shift</td>"
    ), "{html}");
    let html = report_of(&fit(&Shape { set_aside: 0, ..Shape::default() }));
    assert!(html.contains("Nothing: every reading of this setup was used."));
}

#[test]
fn one_print_and_a_silent_caliper_are_told_as_what_is_not_known() {
    let mut fit = fit(&Shape { prints: 1, ..Shape::default() });
    fit.correction.spread.repeat = None;
    let setup = SetupReport { fit: &fit, figures: &[], correction_file: "c.toml" };
    let html = fit_report(&[setup], &Conditions::default()).unwrap();
    assert!(html.contains("(an allowance: these data cannot tell it)"));
    assert!(html.contains("Nothing was read twice"));
    assert!(html.contains("limit of error is not stated in the file"));
}

#[test]
fn commands_can_be_pasted_into_a_shell() {
    let html = report_of(&fit(&Shape::default()));
    assert!(html.contains("shrinkrule size bore 8 --with &#39;slider petg.correction.toml&#39;"), "{html}");
    assert_eq!(quoted("petg.correction.toml"), "petg.correction.toml");
    assert_eq!(quoted("it's"), r"'it'\''s'");
}

#[test]
fn the_same_fit_gives_the_same_page() {
    let fit = fit(&Shape::default());
    assert_eq!(report_of(&fit), report_of(&fit));
}

#[test]
fn several_setups_share_a_page() {
    let (first, mut second) = (fit(&Shape::default()), fit(&Shape { kinds: 2, ..Shape::default() }));
    second.correction.setup = "the other".to_owned();
    let setup = |fit| SetupReport { fit, figures: &[], correction_file: "c.toml" };
    let html = fit_report(&[setup(&first), setup(&second)], &Conditions::default()).unwrap();
    assert!(html.contains("<h1>How sizes come out: 2 setups</h1>") && html.contains("<h2>the other</h2>"));
}

/// Writes a report to be looked at: `PAGE=some/file.html cargo test --lib report_to_look_at -- --ignored`.
#[test]
#[ignore = "writes a page for a person to look at"]
fn report_to_look_at() {
    let path = std::env::var_os("PAGE").expect("PAGE names a file");
    std::fs::write(path, report_of(&fit(&Shape::default()))).unwrap();
}
