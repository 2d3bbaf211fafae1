//! `size`: the whole command, from arguments to streams and exit code.

use assert_cmd::Command;

const KNOWN: &str = "tests/data/known.correction.toml";

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn size(arguments: &[&str]) -> Ran {
    let command = Command::cargo_bin("shrinkrule").unwrap().arg("size").args(arguments).output().unwrap();
    Ran {
        code: command.status.code().unwrap(),
        out: String::from_utf8(command.stdout).unwrap(),
        err: String::from_utf8(command.stderr).unwrap(),
    }
}

fn sized(arguments: &str) -> Ran {
    let words: Vec<&str> = arguments.split_whitespace().chain(["--with", KNOWN]).collect();
    size(&words)
}

fn json(arguments: &str) -> serde_json::Value {
    let ran = sized(&format!("{arguments} --json"));
    assert_eq!(ran.code, 0, "{}", ran.err);
    serde_json::from_str(&ran.out).unwrap()
}

/// 0.996 x - 0.2 = 8.1 has the root 8.333; drawn 8.33 it prints 8.09668.
#[test]
fn a_bore_for_a_sliding_rod_is_answered_in_two_lines() {
    for call in [
        "bore 8 --fit slide",
        "bore 8 --mate 8 --fit slide",
        "bore --mate 8 --fit slide",
        "bore 8.1 --mate 8 --fit slide",
    ] {
        let ran = sized(call);
        assert_eq!(
            (ran.code, ran.out.as_str(), ran.err.as_str()),
            (
                0,
                "draw 8.33 mm; prints 8.10 mm, 95 % between 8.03 and 8.17; \
                 86 % chance of slide on 8.00 (8.05 to 8.15)\n\
                 correction +0.23 mm (drawn - target, 8.10 mm); the size to draw is known to 8.33 to 8.33, 95 %\n",
                ""
            ),
            "{call}"
        );
    }
}

#[test]
fn limits_leave_the_target_and_a_class_aims_at_its_middle() {
    let answer = json("bore 8.1 --within 8.00..8.15");
    assert_eq!((&answer["target_mm"], &answer["draw_mm"]), (&8.1.into(), &8.33.into()));
    assert_eq!(answer["within"], serde_json::json!([8.0, 8.15]));
    let answer = json("bore 25 --class H7");
    assert_eq!(answer["within"], serde_json::json!([25.0, 25.021]));
    assert_eq!(answer["target_mm"], 25.0105);
    let answer = json("pin 8 --class g6 --mate 10");
    assert_eq!(answer["within"], serde_json::json!([9.986, 9.995]));
    let answer = json("bore --within 8.00..8.15");
    assert_eq!(answer["target_mm"], 8.075);
}

#[test]
fn the_json_has_the_keys_of_the_design_and_no_chance_without_limits() {
    let answer = json("pin 8");
    for key in
        ["kind", "target_mm", "draw_mm", "expected_mm", "low95_mm", "high95_mm", "extrapolated", "warnings"]
    {
        assert!(answer.get(key).is_some(), "{key}");
    }
    assert!(answer.get("chance").is_none() && answer.get("within").is_none());
    assert_eq!(answer["kind"], "pin");
    let answer = json("pin 8 --within 7.5..8.5");
    assert!(answer["chance"].as_f64().unwrap() > 0.99);
}

/// The clearance's chance over all rods within their limits is less than over one rod in the middle.
#[test]
fn a_rod_whose_own_limits_are_known_changes_the_chance() {
    let one = json("bore --mate 7.9 --fit slide")["chance"].as_f64().unwrap();
    let all = json("bore --mate-within 7.8..8.0 --fit slide")["chance"].as_f64().unwrap();
    assert!(all < one - 0.2, "{all} {one}");
}

#[test]
fn a_size_beyond_what_was_measured_and_a_press_fit_are_warned_of() {
    let ran = sized("bore 35");
    assert_eq!(ran.code, 0);
    assert_eq!(
        ran.err,
        "warning: 35.34 mm lies 5.34 mm outside the sizes of bores that were measured, 3 to 30 mm: \
         the correction is stretched beyond what it knows\n"
    );
    assert_eq!(json("bore 35")["extrapolated"], true);
    let ran = sized("bore 22 --fit press");
    assert!(ran.err.starts_with("warning: a pressed part can burst: wear eye protection"), "{}", ran.err);
}

#[test]
fn a_print_to_print_spread_that_was_allowed_for_is_told() {
    let scratch = tempfile::tempdir().unwrap();
    let one_print = scratch.path().join("one.correction.toml");
    let text = std::fs::read_to_string(KNOWN).unwrap().replace("print_dof = 4.0\n", "");
    std::fs::write(&one_print, text).unwrap();
    let ran = size(&["bore", "8", "--with", one_print.to_str().unwrap()]);
    assert_eq!(
        (ran.code, ran.err.as_str()),
        (
            0,
            "warning: how much one print differs from the next was not measured, \
             0.020 mm (standard deviation) is allowed for it\n"
        )
    );
}

#[test]
fn what_is_wrong_with_the_call_says_what_would_do() {
    for (call, message) in [
        (
            "height 8",
            "error: the correction of `known` has no heights: none was measured\n  \
             help: print and measure a coupon that has heights, and fit again\n",
        ),
        (
            "pin 8 --class H7",
            "error: H7 is a class for insides, which pins are not\n  help: did you mean h7?\n",
        ),
        (
            "span 8 --fit free",
            "error: spans have no fit: they go neither into nor over a bought part\n  help: give its limits instead\n",
        ),
        (
            "bore 8 --fit slid",
            "error: `slid` is no fit; expected one of press, snug, slide, free\n  help: did you mean `slide`?\n",
        ),
        (
            "bore 300 --class H7",
            "error: H7 is not given for 300 mm: the tables here go from above 0 to 250 mm\n",
        ),
        (
            "bore 8.2 --within 8.00..8.15",
            "error: the size that is wanted, 8.2 mm, is not within 8 to 8.15 mm\n  help: correct one of the two, or leave the size out to aim at their middle\n",
        ),
        (
            "bore --mate 8",
            "error: a mate is given, but not how it fits\n  help: add a fit, such as slide, or a class, such as H7\n",
        ),
        (
            "bore",
            "error: no size is given\n  help: give the size that is wanted, limits, or a mate and a fit\n",
        ),
    ] {
        let ran = sized(call);
        assert_eq!((ran.code, ran.out.as_str(), ran.err.as_str()), (2, "", message), "{call}");
    }
    for call in [
        "bore 8 --within 8..8.1 --class H7",
        "bore 8 --class H7 --fit slide",
        "bore 8 --within 8.1..8",
        "bore 8 --class 7H",
    ] {
        assert_eq!(sized(call).code, 2, "{call}");
    }
}

#[test]
fn a_step_below_zero_is_refused_and_none_leaves_the_size_as_it_is() {
    let ran = sized("bore 8 --step -0.01");
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(ran.err.starts_with("error: invalid value '-0.01' for '--step <MM>'"), "{}", ran.err);
    let drawn = json("bore 8 --step 0")["draw_mm"].as_f64().unwrap();
    // 0.996 x - 0.2 = 8.
    assert!((drawn - 8.2 / 0.996).abs() < 1e-9, "{drawn}");
}

#[test]
fn a_pin_thinner_than_the_swell_is_a_no() {
    let ran = sized("pin 0.05 --json");
    assert_eq!(ran.code, 1);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert!(answer["draw_mm"].is_null());
    let reason = "no pin prints at 0.05 mm: the size to draw would not be above zero";
    assert_eq!(answer["warnings"][0], reason);
    let ran = sized("pin 0.05");
    assert_eq!((ran.code, ran.out.as_str()), (1, "no size prints as 0.05 mm\n"));
    assert_eq!(ran.err, format!("warning: {reason}\n"));
}

#[test]
fn fits_of_ones_own_are_read_and_their_problems_told() {
    let scratch = tempfile::tempdir().unwrap();
    let own = scratch.path().join("fits.toml");
    std::fs::write(&own, "[loose]\nclearance_mm = [0.3, 0.5]\n").unwrap();
    let ran = sized(&format!("bore 8 --fit loose --fits {} --json", own.display()));
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(answer["within"], serde_json::json!([8.3, 8.5]));
    std::fs::write(&own, "[loose]\nclearence_mm = [0.3, 0.5]\n").unwrap();
    let ran = sized(&format!("bore 8 --fit loose --fits {}", own.display()));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains(
        "fits.toml:2: loose.clearence_mm: a fit has no such field\n  help: did you mean `clearance_mm`?"
    ));
    assert!(ran.err.ends_with("fits.toml; nothing was sized\n"), "{}", ran.err);
}

#[test]
fn the_help_states_the_bundled_fits_as_they_are() {
    let help = size(&["--help"]).out.split_whitespace().collect::<Vec<_>>().join(" ");
    for fit in shrinkrule::fits::named::NamedFits::bundled().iter() {
        // On a mate of size 0 the growth with size is left out.
        let clearance = fit.clearance(0.0);
        let stated = format!("{} {} to {}", fit.name, clearance.lower_mm, clearance.upper_mm);
        assert!(help.contains(&stated), "{stated}");
    }
    assert!(help.contains("press -0.12 to -0.02 and 0.002 tighter with each mm of size"));
}

#[test]
fn a_size_below_zero_is_answered_as_a_size_and_a_middle_with_three_decimals() {
    let known = ["--with", "tests/data/known.correction.toml"];
    let run = |arguments: &[&str]| {
        let call = [&["size", "bore"], arguments, &known].concat();
        assert_cmd::Command::cargo_bin("shrinkrule").unwrap().args(call).output().unwrap()
    };
    let below = run(&["-8"]);
    assert_eq!(below.status.code(), Some(2));
    assert_eq!(
        String::from_utf8(below.stderr).unwrap(),
        "error: -8 is no size of a part: sizes are above zero\n"
    );
    let middle = String::from_utf8(run(&["8", "--class", "H7"]).stdout).unwrap();
    assert!(middle.contains("(drawn - target, 8.008 mm)"), "{middle}");
}

/// Sources of the expected values: the spreads of the bundled correction and `stats::tolerance`, whose factors
/// are checked against published ones.
#[test]
fn a_tolerance_interval_holds_a_share_of_prints_with_a_confidence() {
    let answer = json("bore 8.1 --tolerance 95/95");
    let held = &answer["tolerance"];
    let number = |key: &str| held[key].as_f64().unwrap();
    assert_eq!((number("share"), number("confidence")), (0.95, 0.95));
    let [low, high] = ["low95_mm", "high95_mm"].map(|key| answer[key].as_f64().unwrap());
    assert!(number("low_mm") < low && high < number("high_mm"), "{answer}");
    assert!(number("low_mm") < number("above_mm") && number("below_mm") < number("high_mm"));
    let ran = sized("bore 8.1 --tolerance 90%/99%");
    let line = ran.out.lines().nth(2).unwrap();
    assert!(
        line.starts_with("90 % of prints lie between ") && line.contains("with 99 % confidence"),
        "{line}"
    );
    assert_eq!(json("bore 8.1").get("tolerance"), None);
    for wrong in ["95", "95/100", "0/95", "a/b"] {
        let ran = sized(&format!("bore 8.1 --tolerance {wrong}"));
        assert_eq!(ran.code, 2);
        assert!(ran.err.contains("above 0 and below 100, such as 95/95"), "{}", ran.err);
    }
}
