//! The `materials` command: what it prints, its exit codes, what it refuses.

use std::path::Path;

use assert_cmd::Command;

/// Exit code, stdout, stderr.
fn answer(arguments: &[&str]) -> (i32, String, String) {
    answer_in(Path::new("."), arguments)
}

fn answer_in(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    let output = command.current_dir(folder).arg("materials").args(arguments).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn at_75_to_90_degrees_each_polymer_is_told_with_its_ceiling_and_margin() {
    let (code, out, err) = answer(&["--at", "75..90"]);
    assert_eq!((code, err.as_str()), (0, ""));
    let lines: Vec<&str> = out.lines().collect();
    assert_eq!(lines[0], "at 75..90 °C, by the tables:");
    assert_eq!(lines[2], "material      ceiling °C  low..high  margin K  low..high                 set by");
    let line = |name: &str| *lines.iter().find(|line| line.split_whitespace().next() == Some(name)).unwrap();
    assert_eq!(
        line("PETG"),
        "PETG                  59     50..62       -24   -40..-13  out            10 K below heat deflection at 1.80 MPa"
    );
    assert!(line("PC").contains("+26..+50  worth testing"));
    assert!(out.contains("nothing here is a promise") && out.contains("burns on contact"));
}

#[test]
fn the_answer_is_no_when_every_material_that_was_named_is_out() {
    assert_eq!(answer(&["PLA", "PETG", "--at", "75..90"]).0, 1);
    assert_eq!(answer(&["PLA", "PC", "--at", "75..90"]).0, 0);
}

/// Source: worked examples, 42 mm motor at 10 W/(m2 K): 8.6 K/W, so 4 W in 25 °C make 59 °C.
#[test]
fn a_motors_loss_becomes_a_temperature_with_its_ends_and_a_caution() {
    let (code, out, _) = answer(&[
        "PETG",
        "--loss-w",
        "4",
        "--motor",
        "42x48",
        "--motor-g",
        "280",
        "--ambient-c",
        "25",
        "--json",
    ]);
    assert_eq!(code, 0);
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    let temperature = &document["temperature"];
    assert_eq!(temperature["known_from"], "estimated");
    let case = |end: &str| temperature["case_c"][end].as_f64().unwrap();
    assert!((case("typical") - 59.5).abs() < 0.1, "{temperature}");
    assert!(case("low") < 55.0 && case("high") > 65.0, "{temperature}");
    assert!(temperature["mount_c"]["typical"].as_f64().unwrap() < case("typical"));
    // Four time constants of 1160 s.
    assert!((temperature["minutes_to_steady"]["typical"].as_f64().unwrap() - 77.0).abs() < 1.0);
    assert!(document["cautions"].to_string().contains("an estimate"));
}

#[test]
fn sizes_in_the_warm_are_printed_with_what_is_left_of_a_press() {
    let (code, out, _) =
        answer(&["ABS", "--at", "60", "--bore", "8", "--interference", "0.05", "--span", "31"]);
    assert_eq!(code, 0);
    let row = |name: &str| {
        let line = out.lines().find(|line| line.starts_with(name)).unwrap();
        line.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert_eq!(row("bore"), "bore 8 0.029 0.019..0.035 0.025 0.015..0.032 0.025 (0.018..0.035)");
    assert_eq!(row("span"), "span 31 0.112 0.074..0.136 0.097 0.059..0.122");
}

#[test]
fn one_material_is_told_with_its_sources_when_they_are_asked_for() {
    let (code, plain, _) = answer(&["petg"]);
    assert_eq!(code, 0);
    assert!(plain.starts_with("PETG\n") && plain.contains("glass transition"), "{plain}");
    assert!(!plain.contains("looked-up"));
    let (_, sourced, _) = answer(&["petg", "--sources"]);
    assert!(sourced.contains("    typical: looked-up: MIF\n"), "{sourced}");
    let (_, document, _) = answer(&["petg", "--json"]);
    let document: serde_json::Value = serde_json::from_str(&document).unwrap();
    let glass = &document["materials"][0]["properties"][0];
    assert_eq!(glass["property"], "glass_transition");
    assert_eq!((glass["low"].as_f64(), glass["typical"].as_f64()), (Some(70.0), Some(81.0)));
    assert_eq!(glass["source_typical"], "looked-up: MIF");
}

#[test]
fn every_unknown_name_is_told_in_one_go() {
    let (code, out, err) = answer(&["PETH", "nylon", "--mate-metal", "alu"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(err.starts_with("error: `PETH` is no material of the tables; they know PLA,"), "{err}");
    assert!(err.contains(
        "  help: did you mean PETG?\nerror: `nylon` is several materials of the tables: PA6, PA12, PA-CF\n"
    ));
    assert!(err.contains("error: --mate-metal: `alu` is no metal of the tables;"), "{err}");
    assert!(err.ends_with("  help: did you mean aluminium 6061?\n"), "{err}");
}

#[test]
fn sizes_without_a_temperature_and_a_loss_without_a_motor_are_refused_with_advice() {
    let (code, _, err) = answer(&["PETG", "--bore", "5"]);
    assert_eq!(code, 2);
    assert_eq!(
        err,
        "error: sizes are given, and no temperature\n  help: add --at C, or --loss-w W with --motor SIZE\n"
    );
    let (code, _, err) = answer(&["--loss-w", "4"]);
    assert_eq!(code, 2);
    assert!(err.starts_with("error: --loss-w: how the heat gets away is not given\n"), "{err}");
    let (code, _, err) = answer(&["--loss-w", "12", "--motor", "d28x30"]);
    assert_eq!(code, 2);
    assert!(err.starts_with("error: no steady state: at 32.3 K/W"), "{err}");
    assert_eq!(answer(&["--at", "90..75"]).0, 2);
}

#[test]
fn the_picture_is_written_as_its_name_says_and_an_existing_one_is_kept() {
    let scratch = tempfile::tempdir().unwrap();
    let plotted = |name: &str| answer_in(scratch.path(), &["--at", "75..90", "--plot", name]);
    let (code, _, err) = plotted("c.svg");
    assert_eq!((code, err.as_str()), (0, "wrote c.svg\n"));
    let svg = std::fs::read_to_string(scratch.path().join("c.svg")).unwrap();
    assert!(svg.contains(">PETG</text>") && svg.contains(">doubtful</text>"));
    assert_eq!(plotted("c.svg").0, 2);
    let (code, _, err) = plotted("c.pdf");
    assert_eq!((code, err.lines().next()), (2, Some("error: c.pdf: a picture is written as .svg or .png")));
    let (code, _, err) = answer_in(scratch.path(), &["--plot", "d.svg"]);
    assert_eq!(code, 2);
    assert!(err.starts_with("error: a picture is asked for, and no temperature\n"), "{err}");
    assert_eq!(std::fs::read_dir(scratch.path()).unwrap().count(), 1);
}
