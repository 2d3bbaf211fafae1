//! `fit --set-aside`: the person's decision, in the output, the correction and the page; the real program.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

struct Ran {
    code: i32,
    stdout: String,
    stderr: String,
}

fn run(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("shrinkrule"));
    let output = command.current_dir(folder).args(arguments).output().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Invented readings: bores 0.18 mm small, pins 0.10 mm large, scale 0.996; line 7 slipped a decimal point.
fn sheet() -> String {
    let mut text = "setup,kind,nominal_mm,copy,reading_1_mm,reading_2_mm\n".to_owned();
    for copy in 1..=2 {
        for (at, size) in [4.0, 5.0, 6.0, 8.0, 10.0].iter().enumerate() {
            for (kind, offset) in [("bore", -0.18), ("pin", 0.1)] {
                let wobble = 0.01 * ((at * 3 + copy * 5 + kind.len()) % 4) as f64 - 0.015;
                let reading = 0.996 * size + offset + wobble;
                text += &format!("petg,{kind},{size},{copy},{reading:.2},{:.2}\n", reading + 0.01);
            }
        }
    }
    text.replacen("petg,pin,6,1,6.08", "petg,pin,6,1,60.8", 1)
}

#[test]
fn readings_that_a_person_sets_aside_are_left_out_shown_and_kept_in_the_correction() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet()).unwrap();
    for method in ["structured", "least-squares"] {
        let ran = run(
            scratch.path(),
            &[
                "fit",
                "r.csv",
                "--method",
                method,
                "--set-aside",
                "3,12",
                "--out",
                "c.toml",
                "--report",
                "p.html",
                "--force",
            ],
        );
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        let by_fit = ran.stdout.find("not used (--keep-all uses them):\n    line 7: ").unwrap();
        let by_person =
            "\n  set aside by you (--set-aside):\n    line 3: 4.07 mm\n    line 3: 4.08 mm\n    line 12: ";
        assert!(ran.stdout.find(by_person).unwrap() > by_fit, "{}", ran.stdout);
        let correction = fs::read_to_string(scratch.path().join("c.toml")).unwrap();
        assert!(correction.contains("line = 3\nreading_mm = 4.07\nreason = \"set aside by --set-aside\"\n"));
        let page = fs::read_to_string(scratch.path().join("p.html")).unwrap();
        assert!(page.contains("set aside by --set-aside"));
        assert_eq!(fs::read_to_string(scratch.path().join("r.csv")).unwrap(), sheet());
    }
}

#[test]
fn with_keep_all_everything_but_the_person_s_own_is_used() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet()).unwrap();
    for method in ["structured", "least-squares"] {
        let fit = |more: &[&str]| {
            let all = [&["fit", "r.csv", "--json", "--method", method], more].concat();
            let ran = run(scratch.path(), &all);
            assert_eq!(ran.code, 0, "{}", ran.stderr);
            serde_json::from_str::<serde_json::Value>(&ran.stdout).unwrap()["setups"][0].clone()
        };
        let readings = |answer: &serde_json::Value| {
            ["bore", "pin"].map(|kind| answer["kinds"][kind]["readings"].as_u64().unwrap())
        };
        let both = fit(&["--keep-all", "--set-aside", "7"]);
        assert_eq!(readings(&both), [20, 18]);
        assert_eq!(both["set_aside"][0]["line"], 7);
        assert_eq!(both["set_aside"][0]["reason"], "set aside by --set-aside");
        let all = fit(&["--keep-all"]);
        assert_eq!((readings(&all), all["set_aside"].as_array().unwrap().len()), ([20, 20], 0));
    }
}

#[test]
fn lines_without_a_reading_are_named_and_nothing_is_written() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet()).unwrap();
    let ran = run(scratch.path(), &["fit", "r.csv", "--set-aside", "1,3,80", "--out", "c.toml"]);
    assert_eq!(ran.code, 2);
    let help = "  help: name the line of a row with readings; a text editor and the messages of `fit` count from 1\n";
    assert_eq!(
        ran.stderr,
        format!(
            "error: r.csv:1: --set-aside: this line has no reading\n{help}\
             error: r.csv:80: --set-aside: this line has no reading\n{help}\
             2 problems in r.csv; nothing was fitted\n"
        )
    );
    assert!(!scratch.path().join("c.toml").exists());
    assert_eq!(run(scratch.path(), &["fit", "r.csv", "--set-aside", "0", "--out", "c.toml"]).code, 2);
}
