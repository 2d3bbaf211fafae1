//! `chain`: the whole command, from a file to streams and exit code.

use std::fs;

use assert_cmd::Command;

const KNOWN: &str = "tests/data/known.correction.toml";

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(arguments: &[&str]) -> Ran {
    let command = Command::cargo_bin("shrinkrule").unwrap().args(arguments).output().unwrap();
    Ran {
        code: command.status.code().unwrap(),
        out: String::from_utf8(command.stdout).unwrap(),
        err: String::from_utf8(command.stderr).unwrap(),
    }
}

/// Runs a chain in a scratch folder; what it says names the file alone.
fn chain(text: &str, more: &[&str]) -> Ran {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("chain.csv");
    fs::write(&path, text).unwrap();
    let ran = run(&[&["chain", path.to_str().unwrap()], more].concat());
    Ran { err: ran.err.replace(&format!("{}/", scratch.path().display()), ""), ..ran }
}

const BOUGHT: &str = "\
member,sign,made,lower_mm,upper_mm,mate
housing,+,bought,39.9,40.1,
spacer,-,bought,24.95,25.05,
bearing,-,bought,,,bearing:608
shoulder,-,bought,7.9,8,
play,,gap,0,0.2,
";

/// 40 less 25, less 6.88 to 7, less 7.9 to 8: 0.11 on average, half widths 0.1, 0.05, 0.06 and 0.05.
#[test]
fn a_chain_of_bought_parts_needs_no_correction() {
    let ran = chain(BOUGHT, &["--sources"]);
    assert_eq!((ran.code, ran.err.as_str()), (1, ""));
    let lines: Vec<&str> = ran.out.lines().collect();
    assert_eq!(
        lines[0],
        "play: 0.11 mm on average, 95 % between -0.04 and 0.26; 9 % chance that the parts clash"
    );
    assert_eq!(lines[1], "78 % chance that it is as wanted, 0.00 to 0.20 mm; 9 % below; 13 % above");
    assert_eq!(
        lines[2],
        "worst case -0.15 to 0.37, root sum square -0.03 to 0.25, simulated from 100000 assemblies"
    );
    assert_eq!(lines[3], "housing matters most: 54 % of the gap's variance");
    assert_eq!(
        &lines[4..9],
        [
            "member       made    draw mm  mean mm    from      to  share",
            "housing   +  bought            40.000  39.900  40.100   54 %",
            "spacer    -  bought            25.000  24.950  25.050   13 %",
            "bearing   -  bought             6.940   6.880   7.000   19 %",
            "shoulder  -  bought             7.950   7.900   8.000   13 %",
        ]
    );
    assert!(
        lines[9].starts_with("source of bearing 608 (8 x 22 x 7 mm): from memory: ISO 15"),
        "{}",
        ran.out
    );
}

#[test]
fn the_json_has_gap_interval_chances_and_members_and_is_the_same_again() {
    let ran = chain(BOUGHT, &["--json"]);
    let again = chain(BOUGHT, &["--json"]);
    assert_eq!(ran.out, again.out);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(answer["mean_mm"], 0.11);
    assert_eq!(answer["worst_case_mm"], serde_json::json!([-0.15, 0.37]));
    let simulated = &answer["simulated"];
    let chances =
        ["chance_below", "chance_above", "chance_wanted"].map(|key| simulated[key].as_f64().unwrap());
    assert!((chances.iter().sum::<f64>() - 1.0).abs() < 1e-9, "{simulated}");
    assert_eq!(answer["members"].as_array().unwrap().len(), 4);
    assert!(answer.get("sources").is_none());
    let other = chain(BOUGHT, &["--json", "--seed", "2"]);
    assert_ne!(other.out, ran.out);
}

#[test]
fn a_gap_that_is_surely_wide_enough_is_a_yes_and_a_clash_a_no() {
    let text = "member,sign,made,kind,axis,drawn_mm,lower_mm,upper_mm\npocket,+,printed,gap,x,12,,\ntongue,-,bought,,,,GAP\n";
    let ran = chain(&text.replace("GAP", "11,11.1"), &["--with", KNOWN]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("under 1 % chance that the parts clash"), "{}", ran.out);
    let ran = chain(&text.replace("GAP", "11.9,12"), &["--with", KNOWN]);
    assert_eq!(ran.code, 1);
    assert!(ran.out.contains("over 99 % chance that the parts clash"), "{}", ran.out);
}

#[test]
fn problems_are_told_by_line_and_column() {
    let ran = chain(
        "member,sign,made,kind,drawn_mm\na,+,printed,height,12\nb,-,printed,boer,8\n",
        &["--with", KNOWN],
    );
    assert_eq!(
        (ran.code, ran.err.as_str()),
        (
            2,
            "error: chain.csv:3: kind: `boer` is no kind; expected one of bore, horizontal_bore, pin, gap, outer, span, \
             height\n  help: did you mean `bore`?\n1 problem in chain.csv; nothing was added up\n"
        )
    );
    let ran = chain("member,sign,made,kind,drawn_mm\na,+,printed,height,12\n", &[]);
    assert_eq!(
        (ran.code, ran.err.as_str()),
        (
            2,
            "error: chain.csv:2: `a` is printed, and no correction is given\n  help: add --with CORRECTION, or give the \
             member as bought, with limits\n1 problem in chain.csv; nothing was added up\n"
        )
    );
}

/// The bundled example, with the correction of the bundled readings.
#[test]
fn the_slider_s_motor_stands_proud_and_the_chain_says_what_is_left() {
    let scratch = tempfile::tempdir().unwrap();
    let ran = run(&["fit", "data/demo/slider-readings.csv", "--out", scratch.path().to_str().unwrap()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let correction = scratch.path().join("petg-0.4.correction.toml");
    let correction = correction.to_str().unwrap();
    let ran = run(&["chain", "data/demo/slider-motor-chain.csv", "--with", correction]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.starts_with("shaft's end above the pulley: 0.8"), "{}", ran.out);
    assert!(ran.out.contains("shaft above the motor's face matters most"), "{}", ran.out);
    // The rim forgotten, the gap is a fifth of a millimetre wider than it will be.
    let text = fs::read_to_string("data/demo/slider-motor-chain.csv").unwrap();
    let without: String =
        text.lines().filter(|line| !line.starts_with("rim")).map(|line| format!("{line}\n")).collect();
    let forgotten = chain(&without, &["--with", correction]);
    assert!(forgotten.out.starts_with("shaft's end above the pulley: 1.0"), "{}", forgotten.out);
}
