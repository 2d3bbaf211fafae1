//! `readings`: the whole command, from a sheet to streams and exit code.

use std::path::Path;

use assert_cmd::Command;

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn readings(arguments: &[&str]) -> Ran {
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    let output = command.arg("readings").args(arguments).output().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs the command in a scratch folder on a sheet of this text, named `sheet.csv`.
fn of(sheet: &[u8], arguments: &[&str]) -> Ran {
    let scratch = tempfile::tempdir().unwrap();
    std::fs::write(scratch.path().join("sheet.csv"), sheet).unwrap();
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    let command = command.current_dir(scratch.path()).arg("readings").arg("sheet.csv");
    let output = command.args(arguments).output().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Compared whole; see DEVELOPERS.md for how to rewrite it.
fn assert_golden(file: &str, text: &str) {
    let path = Path::new("tests/golden").join(file);
    if std::env::var_os("SHRINKRULE_REWRITE_GOLDEN").is_some() {
        std::fs::write(&path, text).unwrap();
    }
    assert_eq!(text, std::fs::read_to_string(&path).unwrap(), "{}", path.display());
}

#[test]
fn every_problem_of_a_file_comes_out_in_one_go() {
    let ran = readings(&["tests/data/readings-problems.csv"]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert_golden("readings-problems.txt", &ran.err);
}

#[test]
fn problems_come_out_as_json_too() {
    let ran = readings(&["tests/data/readings-problems.csv", "--json"]);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(ran.code, 2);
    assert_eq!(answer["setups"], serde_json::json!([]));
    assert_eq!(
        answer["problems"][1],
        serde_json::json!({
            "line": 6, "column": "kind", "message": "`boer` is no kind", "help": "did you mean `bore`?"
        })
    );
}

const SHEET: &str = "\
# date: 2026-11-25
setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm,note
petg,R,b5,bore,round,5,1,4.82,4.84,
petg,R,b8,bore,round,8,1,7.81,,
petg,R,b5,bore,round,5,2,4.85,4.86,
petg,R,p9,pin,round,9,1,90.7,9.06,
pla,R,b5,bore,round,5,1,,,
pla,R,p9,pin,round,9,1,9.02,9.03,
,,,,,,,,,
";

#[test]
fn a_usable_sheet_is_summed_up_and_its_likely_slip_is_named() {
    let ran = of(SHEET.as_bytes(), &[]);
    assert_eq!(ran.code, 0);
    assert_eq!(
        ran.out,
        "setup  features  prints  readings  kinds (nominal sizes in mm)\n\
         petg          3       2         7  bore 5 to 8, pin 9\n\
         pla           1       1         2  pin 9\n\
         9 readings, 1 row without a reading, 1 warning\n"
    );
    assert_eq!(
        ran.err,
        "warning: sheet.csv:6: reading_1_mm: `90.7` for a nominal size of 9 mm is 10 times too large: \
         a slipped decimal point? 9.07 would fit\n\
         next: shrinkrule fit sheet.csv --out corrections/\n"
    );
    let one = of(b"setup,kind,nominal_mm,reading_mm\npetg 0.4,bore,8,7.81\n", &["--quiet"]);
    assert_eq!((one.code, one.err.as_str()), (0, ""));
    let one = of(b"setup,kind,nominal_mm,reading_mm\npetg 0.4,bore,8,7.81\n", &[]);
    assert_eq!(one.err, "next: shrinkrule fit sheet.csv --out petg_0.4.correction.toml\n");
}

#[test]
fn the_summary_comes_out_as_json() {
    let ran = of(SHEET.as_bytes(), &["--json"]);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(ran.code, 0);
    assert_eq!(answer["date"], "2026-11-25");
    assert_eq!(answer["setups"][0]["prints"], 2);
    assert_eq!(
        answer["setups"][0]["kinds"]["bore"],
        serde_json::json!({"features": 3, "readings": 5, "min_mm": 5.0, "max_mm": 8.0})
    );
    assert_eq!(answer["warnings"][0]["line"], 6);
    assert_eq!(answer["problems"], serde_json::json!([]));
}

#[test]
fn a_sheet_that_is_still_blank_is_answered_in_a_friendly_way() {
    let ran = of(b"feature,kind,nominal_mm,reading_1_mm,reading_2_mm\nb5,bore,5,,\nb8,bore,8,,\n", &[]);
    assert_eq!(ran.code, 2);
    assert_eq!(
        ran.err,
        "error: sheet.csv: nothing is measured yet: none of its 2 rows has a reading\n  \
         help: type what the caliper reads into the column `reading_1_mm`\n\
         1 problem in sheet.csv; nothing was read\n"
    );
}

#[test]
fn what_cannot_be_a_sheet_is_refused_by_name() {
    for (bytes, expected) in [
        (&b""[..], "error: sheet.csv: the file is empty\n"),
        (b"PK\x03\x04 and so on", "error: sheet.csv: this is a spreadsheet file, not a CSV file\n"),
        (b"\x7fELF\0\0\0\0\0", "error: sheet.csv: this is not a text file\n"),
        (b"kind,nominal_mm,reading_mm\n", "error: sheet.csv: there are no rows below the header\n"),
    ] {
        let ran = of(bytes, &[]);
        assert_eq!(ran.code, 2);
        assert!(ran.err.starts_with(expected), "{}", ran.err);
        assert!(ran.err.ends_with("1 problem in sheet.csv; nothing was read\n"), "{}", ran.err);
    }
    let ran = readings(&["no-such-file.csv"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.starts_with("error: no-such-file.csv: cannot read: "), "{}", ran.err);
}

#[test]
fn of_a_long_list_of_problems_the_first_fifty_are_printed_and_all_are_counted() {
    let mut sheet = String::from("kind,nominal_mm,reading_mm\n");
    sheet += &"bore,5,x\n".repeat(20_000);
    let ran = of(sheet.as_bytes(), &[]);
    assert_eq!(ran.err.matches("`x` is not a number").count(), 50);
    assert!(ran.err.ends_with("more than 10000 problems in sheet.csv; nothing was read\n"), "{}", ran.err);
    let few = of(format!("kind,nominal_mm,reading_mm\n{}", "bore,5,x\n".repeat(60)).as_bytes(), &[]);
    assert!(
        few.err.ends_with(
            "error: sheet.csv: and 10 more like these\n60 problems in sheet.csv; nothing was read\n"
        ),
        "{}",
        few.err
    );
}
