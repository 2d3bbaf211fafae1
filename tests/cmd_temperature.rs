//! A sheet that says how warm it was: `fit`, `fit --add` and `verify`, the real program.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

/// Exit code, the JSON document (null where there is none), what stderr says.
fn run(folder: &Path, arguments: &[&str]) -> (i32, Value, String) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("shrinkrule"));
    let output = command.current_dir(folder).args(arguments).arg("--json").output().unwrap();
    let answer = serde_json::from_slice(&output.stdout).unwrap_or(Value::Null);
    (output.status.code().unwrap(), answer, String::from_utf8(output.stderr).unwrap())
}

/// Invented readings of three prints: pins, spans and outside widths up to 200 mm, read in a room so warm.
fn sheet(celsius: f64, copies: std::ops::RangeInclusive<usize>) -> String {
    let mut text = format!(
        "# temperature_c: {celsius}\n# material: PETG\nsetup,kind,nominal_mm,copy,reading_1_mm,reading_2_mm\n"
    );
    // The part grows by 60 millionths per degree, the caliper by 11.5.
    let warm = 1.0 / (1.0 + (11.5e-6 - 60e-6) * (celsius - 20.0));
    for copy in copies {
        for (at, size) in [8.0, 20.0, 50.0, 100.0, 200.0].iter().enumerate() {
            for (kind, offset) in [("span", 0.0), ("outer", 0.1), ("pin", 0.1)] {
                let wobble = 0.01 * ((at * 3 + copy * 5 + kind.len()) % 4) as f64 - 0.015;
                let reading = (0.996 * size + offset + wobble) * warm;
                text += &format!("petg,{kind},{size},{copy},{reading:.3},{reading:.3}\n");
            }
        }
    }
    text
}

#[test]
fn a_warm_room_and_a_cool_one_give_the_same_correction() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("warm.csv"), sheet(34.0, 1..=3)).unwrap();
    fs::write(scratch.path().join("cool.csv"), sheet(20.0, 1..=3)).unwrap();
    for method in ["structured", "least-squares"] {
        let of = |file: &str| {
            let out = format!("{file}.toml");
            let (code, answer, told) =
                run(scratch.path(), &["fit", file, "--method", method, "--out", &out, "--force"]);
            assert_eq!(code, 0, "{told}");
            (answer["setups"][0].clone(), told)
        };
        let ((warm, told), (cool, quiet)) = (of("warm.csv"), of("cool.csv"));
        let scale = |setup: &Value, key: &str| setup["kinds"]["span"][key].as_f64().unwrap();
        assert!((scale(&warm, "scale") - scale(&cool, "scale")).abs() < 5e-6, "{method}");
        // Without it, 14 degrees of 48.5 millionths would be 680 millionths.
        assert!(scale(&warm, "scale_se") > scale(&cool, "scale_se"));
        let said = "measured at 34 °C: sizes are brought to 20 °C, -0.068 mm on 100 mm";
        assert!(told.contains(said) && !quiet.contains("sizes are brought"), "{told}");
        let kept = fs::read_to_string(scratch.path().join("warm.csv.toml")).unwrap();
        assert!(kept.contains(said));
        // What was fitted warm holds for what was measured cool, and the other way round.
        for (file, with) in [("cool.csv", "warm.csv.toml"), ("warm.csv", "cool.csv.toml")] {
            let (code, answer, told) = run(scratch.path(), &["verify", file, "--with", with]);
            assert_eq!((code, &answer["holds"]), (0, &Value::Bool(true)), "{told}");
            let shift = answer["mean_shift_mm"].as_f64().unwrap();
            assert!(shift.abs() < 0.003, "{shift}");
        }
    }
}

#[test]
fn an_earlier_sheet_is_pooled_as_if_it_had_been_read_at_the_same_temperature() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("warm.csv"), sheet(34.0, 1..=2)).unwrap();
    fs::write(scratch.path().join("cool.csv"), sheet(20.0, 3..=4)).unwrap();
    fs::write(scratch.path().join("all.csv"), sheet(20.0, 1..=4)).unwrap();
    let scale = |arguments: &[&str]| {
        let (code, answer, told) = run(scratch.path(), &[&["fit"], arguments].concat());
        assert_eq!(code, 0, "{told}");
        answer["setups"][0]["kinds"]["span"]["scale"].as_f64().unwrap()
    };
    let (pooled, all) = (scale(&["cool.csv", "--add", "warm.csv"]), scale(&["all.csv"]));
    assert!((pooled - all).abs() < 5e-6, "{pooled} {all}");
}
