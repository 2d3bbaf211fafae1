//! `verify` and `fit --add`, the real program in a scratch folder. All readings are invented.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

struct Ran {
    code: i32,
    stdout: String,
    stderr: String,
}

fn run(folder: &Path, arguments: &[&str]) -> Ran {
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    let output = command.current_dir(folder).args(arguments).output().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        stdout: String::from_utf8(output.stdout).unwrap(),
        stderr: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Compared whole; see DEVELOPERS.md for how to rewrite it.
fn assert_golden(file: &str, text: &str) {
    let path = Path::new("tests/golden").join(file);
    if std::env::var_os("SHRINKRULE_REWRITE_GOLDEN").is_some() {
        fs::write(&path, text).unwrap();
    }
    assert_eq!(text, fs::read_to_string(&path).unwrap(), "{}", path.display());
}

/// Bores and pins that are 0.18 mm small and 0.10 mm large, scale 0.996, with a wobble that looks random.
fn sheet(date: &str, copies: u32, walls_mm: f64, all_mm: f64) -> String {
    let mut text = format!("# date: {date}\nsetup,feature,kind,nominal_mm,copy,reading_1_mm,reading_2_mm\n");
    let seed: u32 = date.bytes().map(u32::from).sum();
    for copy in 1..=copies {
        for (at, size) in (1..).zip([4.0, 5.0, 6.0, 8.0, 10.0, 12.0]) {
            for (kind, letter, offset) in [("bore", 'b', -0.18 - walls_mm), ("pin", 'p', 0.1 + walls_mm)] {
                let number = seed * 31 + copy * 17 + at * 7 + u32::from(letter == 'p') * 5;
                let wobble = 0.004 * f64::from(number * number % 11) - 0.02;
                let reading = 0.996 * size + offset + all_mm + wobble;
                let again = reading + 0.01;
                text += &format!("petg-0.4,{letter}{size},{kind},{size},{copy},{reading:.2},{again:.2}\n");
            }
        }
    }
    text
}

/// A folder with a correction of three prints in it.
fn fitted() -> tempfile::TempDir {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("coupons.csv"), sheet("2026-11-20", 3, 0.0, 0.0)).unwrap();
    let ran = run(scratch.path(), &["fit", "coupons.csv", "--out", "petg.correction.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    scratch
}

fn verify(folder: &Path, name: &str, content: &str, more: &[&str]) -> Ran {
    fs::write(folder.join(name), content).unwrap();
    let mut arguments = vec!["verify", name, "--with", "petg.correction.toml"];
    arguments.extend(more);
    run(folder, &arguments)
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn prints_of_an_unchanged_printer_hold_and_those_of_a_changed_one_have_drifted() {
    let scratch = fitted();
    let holds = verify(scratch.path(), "later.csv", &sheet("2026-12-04", 1, 0.0, 0.0), &[]);
    assert_eq!((holds.code, holds.stderr.as_str()), (0, ""));
    assert_golden("verify-holds.txt", &holds.stdout);
    let drifted = verify(scratch.path(), "later.csv", &sheet("2026-12-04", 1, 0.12, 0.0), &[]);
    assert_eq!(drifted.code, 1);
    assert_golden("verify-drifted.txt", &drifted.stdout);
    let shifted = verify(scratch.path(), "later.csv", &sheet("2026-12-04", 1, 0.0, -0.12), &[]);
    assert_eq!(shifted.code, 1);
    // The same change matters less to somebody else.
    let more = ["--matters", "0.3"];
    let small = verify(scratch.path(), "later.csv", &sheet("2026-12-04", 1, 0.12, 0.0), &more);
    assert_eq!(small.code, 0);
    assert!(small.stdout.contains("cannot tell") && small.stdout.contains("and 0.3 mm is what matters"));
}

#[test]
fn the_json_document_has_the_keys_that_are_promised() {
    let scratch = fitted();
    let ran = verify(scratch.path(), "later.csv", &sheet("2026-12-04", 1, 0.0, 0.12), &["--json"]);
    assert_eq!(ran.code, 1);
    let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!((&answer["holds"], &answer["verdict"]), (&Value::Bool(false), &Value::from("drifted")));
    assert!((answer["mean_shift_mm"].as_f64().unwrap() - 0.12).abs() < 0.02, "{answer}");
    let [low, high] =
        ["mean_shift_low95_mm", "mean_shift_high95_mm"].map(|key| answer[key].as_f64().unwrap());
    assert!(low < 0.12 && 0.12 < high && high - low < 0.06, "{low} {high}");
    assert!(answer["p_value"].as_f64().unwrap() < 0.05);
    let features = answer["features"].as_array().unwrap();
    assert_eq!(features.len(), 12);
    for feature in features {
        let number = |key: &str| feature[key].as_f64().unwrap();
        let z = (number("reading_mm") - number("expected_mm")) / number("sd_mm");
        assert!((z - number("z")).abs() < 1e-9 && feature["feature"].is_string(), "{feature}");
    }
}

#[test]
fn one_wrong_reading_is_set_aside_and_named() {
    let scratch = fitted();
    let text = sheet("2026-12-04", 1, 0.0, 0.0).replacen("b8,bore,8,1,7.", "b8,bore,8,1,8.", 1);
    let ran = verify(scratch.path(), "later.csv", &text, &["--json"]);
    let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(answer["verdict"], "holds", "{answer}");
    let aside: Vec<&Value> =
        answer["features"].as_array().unwrap().iter().filter(|f| f["set_aside"] == true).collect();
    assert_eq!(aside.len(), 1);
    assert_eq!((&aside[0]["feature"], &aside[0]["line"]), (&Value::from("b8"), &Value::from(9)));
    let kept = verify(scratch.path(), "later.csv", &text, &["--json", "--keep-all"]);
    let answer: Value = serde_json::from_str(&kept.stdout).unwrap();
    assert_ne!(answer["verdict"], "holds");
}

#[test]
fn the_picture_shows_every_kind_and_the_verdict_in_both_formats() {
    let scratch = fitted();
    let text = sheet("2026-12-04", 1, 0.0, 0.0).replacen("b8,bore,8,1,7.", "b8,bore,8,1,8.", 1);
    verify(scratch.path(), "later.csv", &text, &["--plot", "later.svg"]);
    let svg = fs::read_to_string(scratch.path().join("later.svg")).unwrap();
    for said in
        ["petg-0.4, 2026-12-04 · holds", ">bores</text>", ">pins</text>", ">line 9", ">unchanged, 95 %<"]
    {
        assert!(svg.contains(said), "{said}: {svg}");
    }
    verify(scratch.path(), "later.csv", &text, &["--plot", "later.png"]);
    assert!(fs::read(scratch.path().join("later.png")).unwrap().starts_with(b"\x89PNG"));
    let again = verify(scratch.path(), "later.csv", &text, &["--plot", "later.png"]);
    assert_eq!(again.code, 2);
    assert!(again.stderr.contains("later.png: this file exists already"));
}

#[test]
fn parts_that_were_measured_back_verify_too() {
    let scratch = fitted();
    let list = "# date: 2026-12-06\npart,dimension,kind,target_mm\ncarriage,rod bore,bore,8\n\
                foot,tongue,pin,6\nidler,axle,pin,10\ncarriage,slot,gap,5\n";
    fs::write(scratch.path().join("parts.csv"), list).unwrap();
    let more = ["parts", "parts.csv", "--with", "petg.correction.toml", "--out", "drawn.csv"];
    run(scratch.path(), &more);
    let drawn = fs::read_to_string(scratch.path().join("drawn.csv")).unwrap();
    // Measured as expected, to a hundredth; the slot has no size to draw.
    let measured = drawn
        .lines()
        .map(|line| match line.split(',').collect::<Vec<_>>()[..] {
            ["part", ..] => format!("{line},measured_mm\n"),
            ["foot" | "idler" | "carriage", what, ..] if what != "slot" => {
                format!("{line},{}\n", line.split(',').nth(3).unwrap())
            }
            [_] => format!("{line}\n"),
            _ => format!("{line},\n"),
        })
        .collect::<String>();
    let ran = verify(scratch.path(), "measured.csv", &measured, &["--json"]);
    let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(answer["holds"], true, "{answer} {}", ran.stderr);
    assert_eq!(answer["features"][0]["feature"], "carriage rod bore");
    assert_eq!(answer["features"].as_array().unwrap().len(), 3);
    assert!(answer["features"][0]["drawn_mm"].as_f64().unwrap() > 8.1);
}

#[test]
fn a_history_grows_by_whole_rows_and_tells_the_first_date_of_drift() {
    let scratch = fitted();
    let path = scratch.path();
    let add = ["--add-to", "history.csv", "-q"];
    for month in 1..=9_u32 {
        let walls = 0.02 * f64::from(month.saturating_sub(4));
        let name = format!("m{month}.csv");
        let ran = verify(path, &name, &sheet(&format!("2027-{month:02}-05"), 1, walls, 0.0), &add);
        assert!(ran.code < 2, "{}", ran.stderr);
        let history = fs::read_to_string(path.join("history.csv")).unwrap();
        assert_eq!(history.lines().count(), month as usize + 1);
    }
    let more = ["verify", "--history", "history.csv", "--plot", "history.png"];
    let shown = run(path, &more);
    assert_eq!((shown.code, shown.stderr.as_str()), (1, "wrote history.png\n"));
    assert_golden("verify-history.txt", &shown.stdout);
    assert!(fs::read(path.join("history.png")).unwrap().starts_with(b"\x89PNG"));
    let ran = run(path, &["verify", "--history", "history.csv", "--json"]);
    let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
    let date = answer["setups"][0]["first_drift"]["date"].as_str().unwrap();
    assert!(shown.stdout.contains(&format!("first on {date}")));
    // The same readings again, and a file that is no history, leave everything as it was.
    let before = fs::read(path.join("history.csv")).unwrap();
    let again = verify(path, "m3.csv", &sheet("2027-03-05", 1, 0.0, 0.0), &add);
    assert_eq!(again.code, 2);
    assert!(again.stderr.contains("history.csv: these readings were added before, as verification 3"));
    let other = verify(path, "m3.csv", &sheet("2027-03-05", 1, 0.0, 0.0), &["--add-to", "coupons.csv"]);
    assert_eq!(other.code, 2);
    assert!(other.stderr.contains("coupons.csv:2: this is no history of verifications"), "{}", other.stderr);
    assert_eq!(fs::read(path.join("history.csv")).unwrap(), before);
    assert!(names(path).iter().all(|name| !name.contains(".part")), "{:?}", names(path));
}

#[test]
fn what_cannot_be_verified_is_said_and_nothing_is_written() {
    let scratch = fitted();
    let path = scratch.path();
    let undated = sheet("2026-12-04", 1, 0.0, 0.0).replace("# date: 2026-12-04\n", "");
    let ran = verify(path, "later.csv", &undated, &["--add-to", "h.csv", "--plot", "p.svg"]);
    assert_eq!((ran.code, ran.stdout.as_str()), (2, ""));
    assert_eq!(
        ran.stderr,
        "error: later.csv: the file does not say when it was measured\n  help: write `# date: 2026-11-25` above the header, or say --date 2026-11-25\n"
    );
    assert_eq!(names(path), ["coupons.csv", "later.csv", "petg.correction.toml"]);
    let other = sheet("2026-12-04", 1, 0.0, 0.0).replace("petg-0.4", "pla");
    let ran = verify(path, "later.csv", &other, &[]);
    assert_eq!(
        ran.stderr,
        "error: later.csv: the readings are of `pla`, and the correction is of `petg-0.4`\n  help: give the correction of that setup, or say `--setup pla` if it is the same\n"
    );
    assert_eq!(verify(path, "later.csv", &other, &["--setup", "pla"]).code, 0);
    let gaps = "kind,nominal_mm,reading_mm\ngap,5,4.8\n";
    let ran = verify(path, "later.csv", gaps, &[]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.contains("only gaps (1) were measured, which the correction does not have"));
    let ran = verify(path, "later.csv", &undated, &["--plot", "p.pdf"]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.contains("p.pdf: a picture is written as .svg or .png"), "{}", ran.stderr);
}

#[test]
fn an_earlier_sheet_is_pooled_and_its_agreement_said() {
    let scratch = fitted();
    let path = scratch.path();
    fs::write(path.join("new.csv"), sheet("2026-12-04", 2, 0.0, 0.0)).unwrap();
    let more = ["fit", "new.csv", "--add", "coupons.csv", "--out", "pooled.correction.toml", "--json"];
    let ran = run(path, &more);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    let answer: Value = serde_json::from_str(&ran.stdout).unwrap();
    assert_eq!(answer["setups"][0]["prints"], 5);
    let said = answer["setups"][0]["warnings"][0].as_str().unwrap();
    assert!(said.starts_with("pooled with 3 prints of coupons.csv of 2026-11-20 (SHA-256 "), "{said}");
    assert!(said.contains("they agree (p = "), "{said}");
    assert!(fs::read_to_string(path.join("pooled.correction.toml")).unwrap().contains("they agree"));
    fs::write(path.join("new.csv"), sheet("2026-12-04", 2, 0.15, 0.0)).unwrap();
    let ran = run(path, &["fit", "new.csv", "--add", "coupons.csv", "--json"]);
    assert!(ran.stderr.contains("they do not agree, the printer has changed in between"), "{}", ran.stderr);
    let ran = run(path, &["fit", "coupons.csv", "--add", "coupons.csv", "--json"]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.contains("--add names the same readings again"));
}
