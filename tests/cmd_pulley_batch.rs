//! `pulley` for many tooth counts at once, as a person runs it.

mod pulley_setup;

use std::path::Path;

use assert_cmd::Command;
use pulley_setup::{INVENTED, correction};
use serde_json::Value;

fn pulley(folder: &Path, arguments: &[&str]) -> std::process::Output {
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    command.current_dir(folder).arg("pulley").args(arguments).output().unwrap()
}

fn scratch() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("petg.correction.toml"), correction(&INVENTED).to_toml(None)).unwrap();
    folder
}

/// T5 with a 5 mm bore, corrected, and more.
fn t5<'a>(teeth: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    let base =
        ["--belt", "T5", "--bore", "5", "--belt-width", "10", "--with", "petg.correction.toml", "--teeth"];
    [&base[..], &[teeth], more].concat()
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn a_batch_is_each_of_its_pulleys_made_alone() {
    let folder = scratch();
    let run =
        pulley(folder.path(), &t5("12..14,20", &["--label", "{teeth}", "--out", "t5-{teeth}.stl", "--json"]));
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
    let answer: Value = serde_json::from_slice(&run.stdout).unwrap();
    let pulleys = answer["pulleys"].as_array().unwrap();
    let teeth: Vec<u64> = pulleys.iter().map(|pulley| pulley["teeth"].as_u64().unwrap()).collect();
    assert_eq!((teeth, &answer["all_hold"]), (vec![12, 13, 14, 20], &Value::Bool(true)));
    assert_eq!(answer["files"].as_array().unwrap().len(), 12);
    assert_eq!(pulleys[3]["files"][0], "t5-20.stl");
    let alone = tempfile::tempdir().unwrap();
    std::fs::copy(folder.path().join("petg.correction.toml"), alone.path().join("petg.correction.toml"))
        .unwrap();
    for teeth in ["12", "13", "14", "20"] {
        let name = format!("t5-{teeth}.stl");
        let run = pulley(alone.path(), &t5(teeth, &["--label", teeth, "--out", &name, "--quiet"]));
        assert_eq!(run.status.code(), Some(0));
    }
    assert_eq!(names(folder.path()), names(alone.path()));
    for name in names(folder.path()) {
        let read = |folder: &tempfile::TempDir| std::fs::read(folder.path().join(&name)).unwrap();
        assert_eq!(read(&folder), read(&alone), "{name}");
    }
}

#[test]
fn the_table_has_a_line_a_pulley_and_each_warning_once() {
    let folder = scratch();
    let run = pulley(folder.path(), &t5("12..60", &["--out", "{teeth}.stl"]));
    let text = String::from_utf8(run.stdout).unwrap();
    assert!(
        text.starts_with("T5 pulleys, for a belt 10 mm wide, two flanges\ncorrected for setup `invented`"),
        "{text}"
    );
    // 20 * 5 / pi and less 0.845 mm; drawn so that 0.996 d + 0.14 is the wanted one.
    let twenty = text.lines().find(|line| line.trim_start().starts_with("20 ")).unwrap();
    for cell in ["31.831", "30.986", "30.970", "2.960"] {
        assert!(twenty.contains(cell), "{cell} is missing in {twenty}");
    }
    assert_eq!(text.lines().filter(|line| line.ends_with("  yes")).count(), 49);
    let said = String::from_utf8(run.stderr).unwrap();
    let beyond: Vec<&str> =
        said.lines().filter(|line| line.contains("the outside diameter, drawn 61.")).collect();
    assert!(
        !beyond.is_empty() && beyond.iter().all(|line| line.starts_with("warning: 39 teeth: ")),
        "{said}"
    );
    assert_eq!(said.lines().filter(|line| line.starts_with("wrote ")).count(), 3 * 49);
}

#[test]
fn a_batch_is_written_whole_or_not_at_all() {
    let folder = scratch();
    let before = names(folder.path());
    // 8 and 9 teeth are too few; both are named.
    let run = pulley(folder.path(), &t5("8..12", &["--out", "t5-{teeth}.stl"]));
    let said = String::from_utf8(run.stderr).unwrap();
    assert_eq!(run.status.code(), Some(2));
    for teeth in [8, 9] {
        assert!(said.contains(&format!("error: {teeth} teeth: {teeth} teeth are too few for T5")), "{said}");
    }
    assert!(said.ends_with("2 of 5 pulleys cannot be made; nothing was written\n"), "{said}");
    assert_eq!(names(folder.path()), before);
    // One of its files is there already.
    std::fs::write(folder.path().join("t5-14.json"), "mine").unwrap();
    let run = pulley(folder.path(), &t5("12..16", &["--out", "t5-{teeth}.stl"]));
    assert_eq!(run.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&run.stderr).contains("t5-14.json"));
    assert_eq!(names(folder.path()).len(), before.len() + 1);
    assert_eq!(std::fs::read(folder.path().join("t5-14.json")).unwrap(), b"mine");
}

#[test]
fn names_that_do_not_tell_pulleys_apart_and_bad_counts_are_refused() {
    let folder = scratch();
    for (teeth, out, expected) in [
        (
            "12..14",
            "t5.stl",
            "error: t5.stl: 3 pulleys would have this name\n  help: put {teeth} into it, as in t5-{teeth}.stl\n",
        ),
        (
            "14..12",
            "t5-{teeth}.stl",
            "error: invalid value '14..12' for '--teeth <N|LOW..HIGH|N,N…>': `14..12` runs from high to low",
        ),
        (
            "12,x",
            "t5-{teeth}.stl",
            "error: invalid value '12,x' for '--teeth <N|LOW..HIGH|N,N…>': `x` is no number of teeth",
        ),
    ] {
        let run = pulley(folder.path(), &t5(teeth, &["--out", out]));
        let said = String::from_utf8_lossy(&run.stderr).into_owned();
        assert!(said.starts_with(expected), "{said}");
        assert_eq!(run.status.code(), Some(2));
    }
    // One pulley may be named after its teeth, too, and answers as it always did.
    let run = pulley(folder.path(), &t5("20", &["--out", "t5-{teeth}.stl", "--json"]));
    let answer: Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!((&answer["teeth"], &answer["files"][0]), (&20.into(), &"t5-20.stl".into()));
}
