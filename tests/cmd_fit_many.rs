//! `fit` of a long sheet of many setups, the real program in a scratch folder.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use serde_json::Value;

/// Longer than what the program reads at once: the sheets here have more than two megabytes.
const SETUPS: usize = 70;
const HEADER: &str = "setup,coupon,feature,kind,axis,nominal_mm,copy,reading_mm\n";

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_shrinkrule"))
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    program().current_dir(folder).args(arguments).output().unwrap()
}

fn ran(folder: &Path, arguments: &[&str]) -> Vec<u8> {
    let output = run(folder, arguments);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}

/// Invented readings: ten prints of ten bores, pins and gaps each, every one read three times; the rows of
/// each setup. Setups differ in length, so that they end anywhere in a block.
fn setups(count: usize) -> Vec<Vec<String>> {
    let mut state = 7_u64;
    let mut even = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / (1_u64 << 31) as f64 - 0.5
    };
    let rows = |setup: usize| {
        let mut rows = Vec::new();
        for copy in 1..=10 {
            for (kind, offset) in [("bore", -0.18), ("pin", 0.1), ("gap", -0.12)] {
                for size in 3..13_u32 {
                    let printed = 0.997 * f64::from(size) + offset + 0.05 * even();
                    for _ in 0..3 - usize::from((setup + copy).is_multiple_of(7)) {
                        let mm = printed + 0.03 * even();
                        rows.push(format!(
                            "left printer {setup:03},C{size},{kind}-{size},{kind},round,{size},{copy},{mm:.2}\n"
                        ));
                    }
                }
            }
        }
        rows
    };
    (0..count).map(rows).collect()
}

fn sheet(setups: &[Vec<String>]) -> String {
    let rows: String = setups.iter().flatten().map(String::as_str).collect();
    format!("# date: 2026-11-25\n{HEADER}{rows}")
}

/// One row of each setup in turn.
fn interleaved(setups: &[Vec<String>]) -> String {
    let mut text = format!("# date: 2026-11-25\n{HEADER}");
    let longest = setups.iter().map(Vec::len).max().unwrap();
    for row in 0..longest {
        setups.iter().filter_map(|rows| rows.get(row)).for_each(|row| text += row);
    }
    text
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn files(folder: &Path) -> BTreeMap<String, String> {
    names(folder)
        .into_iter()
        .map(|name| {
            let text = fs::read_to_string(folder.join(&name)).unwrap();
            (name, text)
        })
        .collect()
}

#[test]
fn each_setup_of_a_long_sheet_is_fitted_as_if_it_were_alone() {
    let scratch = tempfile::tempdir().unwrap();
    let setups = setups(SETUPS);
    fs::write(scratch.path().join("all.csv"), sheet(&setups)).unwrap();
    assert!(fs::metadata(scratch.path().join("all.csv")).unwrap().len() > 2_200_000);
    let least_squares = ["--method", "least-squares", "--json", "--quiet"];
    let all = ran(scratch.path(), &[&["fit", "all.csv"][..], &least_squares].concat());
    let all: Value = serde_json::from_slice(&all).unwrap();
    assert_eq!(all["setups"].as_array().unwrap().len(), SETUPS);
    for number in [0, 1, 6, 7, 35, SETUPS - 1] {
        fs::write(scratch.path().join("one.csv"), sheet(&setups[number..=number])).unwrap();
        let one = ran(scratch.path(), &[&["fit", "one.csv"][..], &least_squares].concat());
        let one: Value = serde_json::from_slice(&one).unwrap();
        for key in ["setup", "model", "kinds", "spread", "dof", "prints"] {
            assert_eq!(all["setups"][number][key], one["setups"][0][key], "{number} {key}");
        }
        let lines = |setup: &Value| setup["set_aside"].as_array().unwrap().len();
        assert_eq!(lines(&all["setups"][number]), lines(&one["setups"][0]));
    }
}

#[test]
fn the_number_of_threads_changes_no_byte_of_document_table_and_corrections() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("all.csv"), sheet(&setups(SETUPS))).unwrap();
    let with = |threads: &str| {
        let table = format!("table-{threads}.csv");
        let out = format!("corrections-{threads}");
        let call =
            ["fit", "all.csv", "--method", "least-squares", "--json", "--table", &table, "--out", &out];
        let document = ran(scratch.path(), &[&call[..], &["--threads", threads]].concat());
        let table = fs::read(scratch.path().join(table)).unwrap();
        (document, table, files(&scratch.path().join(out)))
    };
    let one = with("1");
    assert_eq!(one.2.len(), SETUPS);
    assert!(one.1.starts_with(b"setup,kind,offset_mm,"));
    assert_eq!(one.1.iter().filter(|byte| **byte == b'\n').count(), 1 + 3 * SETUPS);
    for threads in ["2", "5"] {
        assert!(with(threads) == one, "{threads} threads");
    }
    // The document is that of a short sheet: two spaces a level, keys in their order.
    let document = String::from_utf8(one.0).unwrap();
    let value: Value = serde_json::from_str(&document).unwrap();
    assert_eq!(value["setups"][3]["setup"], "left printer 003");
    assert!(document.starts_with("{\n  \"setups\": [\n    {\n      \"setup\": \"left printer 000\",\n"));
    assert!(document.ends_with("\n    }\n  ]\n}\n"));
    // Every correction reads back.
    let file = "corrections-1/left_printer_012.correction.toml";
    let size = ran(scratch.path(), &["size", "bore", "8", "--with", file, "--json"]);
    assert!((serde_json::from_slice::<Value>(&size).unwrap()["draw_mm"].as_f64().unwrap() - 8.2).abs() < 0.1);
}

#[test]
fn rows_of_setups_in_turn_give_what_rows_that_stand_together_give() {
    let scratch = tempfile::tempdir().unwrap();
    let setups = setups(SETUPS);
    fs::write(scratch.path().join("together.csv"), sheet(&setups)).unwrap();
    fs::write(scratch.path().join("in-turn.csv"), interleaved(&setups)).unwrap();
    let table = |file: &str| {
        let call = ["fit", file, "--method", "least-squares", "--table", "table.csv", "--force", "--quiet"];
        ran(scratch.path(), &call);
        fs::read_to_string(scratch.path().join("table.csv")).unwrap()
    };
    assert_eq!(table("together.csv"), table("in-turn.csv"));
}

#[test]
fn a_bad_row_in_the_middle_is_named_by_its_line_and_nothing_is_written() {
    let scratch = tempfile::tempdir().unwrap();
    let mut setups = setups(SETUPS);
    setups[40][100] = "left printer 040,C3,bore-3,bore,round,3,1,2.o1\n".to_owned();
    setups[60].remove(0);
    let line = 3 + setups[..40].iter().map(Vec::len).sum::<usize>() + 100;
    fs::write(scratch.path().join("all.csv"), sheet(&setups)).unwrap();
    let call =
        ["fit", "all.csv", "--method", "least-squares", "--table", "t.csv", "--out", "corrections", "--json"];
    let output = run(scratch.path(), &call);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(
        String::from_utf8(output.stderr).unwrap(),
        format!(
            "error: all.csv:{line}: reading_mm: `2.o1` is not a number\n  help: did you mean 2.01?\n\
             1 problem in all.csv; nothing was fitted\n"
        )
    );
    assert!(output.stdout.is_empty());
    assert_eq!(names(scratch.path()), ["all.csv"]);
}

#[test]
fn setups_that_cannot_be_fitted_and_names_that_meet_are_told_and_nothing_is_written() {
    let scratch = tempfile::tempdir().unwrap();
    let mut setups = setups(SETUPS);
    setups[20].truncate(1);
    fs::write(scratch.path().join("all.csv"), sheet(&setups)).unwrap();
    let call = ["fit", "all.csv", "--method", "least-squares", "--out", "corrections"];
    let output = run(scratch.path(), &call);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said.starts_with("error: all.csv: setup `left printer 020`: 1 measured feature cannot"),
        "{said}"
    );
    assert!(said.ends_with("\n1 setup of 70 cannot be fitted; nothing was written\n"), "{said}");
    setups[20].clear();
    let renamed = sheet(&setups).replace("left printer 050", "left/printer/049");
    fs::write(scratch.path().join("all.csv"), renamed).unwrap();
    let output = run(scratch.path(), &call);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said.contains("the setups `left printer 049` and `left/printer/049` would both be written here"),
        "{said}"
    );
    assert_eq!(names(scratch.path()), ["all.csv"]);
}

#[test]
fn many_setups_are_summed_up_and_warnings_counted() {
    let scratch = tempfile::tempdir().unwrap();
    let setups = setups(SETUPS);
    fs::write(scratch.path().join("all.csv"), sheet(&setups)).unwrap();
    let output = run(scratch.path(), &["fit", "all.csv", "--method", "least-squares", "--table", "t.csv"]);
    assert!(output.status.success());
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("\n  setups of 10 prints                 70\n"), "{said}");
    assert!(said.contains("\n  bore                    70       7000\n"), "{said}");
    assert!(said.lines().count() < 15);
    assert!(String::from_utf8(output.stderr).unwrap().ends_with("wrote t.csv\n"));
}

/// Ctrl-C, and what a service manager sends.
#[cfg(target_os = "linux")]
#[test]
fn an_interrupted_run_leaves_nothing_behind() {
    use std::os::unix::process::ExitStatusExt as _;
    use std::time::{Duration, Instant};
    let scratch = tempfile::tempdir().unwrap();
    // Twenty times as many as others have: enough to be interrupted.
    let mut text = sheet(&setups(SETUPS));
    for again in 1..20 {
        let mut rows = String::new();
        text.lines().skip(2).take(SETUPS * 800).for_each(|row| {
            let _ = writeln!(rows, "again {again} {row}");
        });
        text += &rows;
    }
    fs::write(scratch.path().join("all.csv"), text).unwrap();
    for (name, signal) in [("INT", 2), ("TERM", 15)] {
        let mut child = program()
            .current_dir(scratch.path())
            .args(["fit", "all.csv", "--table", "tables/t.csv", "--out", "deep/corrections", "--json"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let started = Instant::now();
        let filling = scratch.path().join(format!("deep/.corrections.{}.part", child.id()));
        // Some corrections are written by then.
        while fs::read_dir(&filling).map_or(0, Iterator::count) < 3 {
            assert!(child.try_wait().unwrap().is_none(), "it was over before it could be interrupted");
            assert!(started.elapsed() < Duration::from_secs(120), "it wrote nothing");
            std::thread::sleep(Duration::from_millis(5));
        }
        let kill = Command::new("kill").args(["-s", name, &child.id().to_string()]).status().unwrap();
        assert!(kill.success());
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.signal(), Some(signal));
        assert!(output.stdout.is_empty());
        assert_eq!(names(scratch.path()), ["all.csv"]);
    }
}
