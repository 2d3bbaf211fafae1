//! The demo as a new user runs it: what it writes, that it is the same every time, what it refuses; and
//! that the pictures in the README are the ones that it makes.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;

fn run(folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("shrinkrule"));
    command.current_dir(folder).args(arguments).output().unwrap()
}

/// Every file under a folder, by its path from there.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut left = vec![folder.to_owned()];
    while let Some(next) = left.pop() {
        for entry in fs::read_dir(next).unwrap().map(Result::unwrap) {
            if entry.path().is_dir() {
                left.push(entry.path());
            } else {
                let name = entry.path().strip_prefix(folder).unwrap().to_owned();
                found.insert(name, fs::read(entry.path()).unwrap());
            }
        }
    }
    found
}

#[test]
fn the_demo_makes_the_same_files_wherever_and_whenever_it_runs() {
    let scratch = tempfile::tempdir().unwrap();
    let first = run(scratch.path(), &["demo"]);
    assert!(first.status.success(), "{}", String::from_utf8_lossy(&first.stderr));
    let second = run(scratch.path(), &["demo", "else/where", "--quiet"]);
    assert!(second.status.success() && second.stderr.is_empty());
    let made = files(&scratch.path().join("shrinkrule-demo"));
    let again = files(&scratch.path().join("else/where"));
    assert!(made.keys().eq(again.keys()));
    for (name, bytes) in &made {
        assert!(again[name] == *bytes, "{} differs between two runs", name.display());
    }
    let listed = fs::read_dir(scratch.path()).unwrap().count();
    assert_eq!(listed, 2, "something was left beside the two folders");

    let page = String::from_utf8(made[Path::new("index.html")].clone()).unwrap();
    assert!(page.contains("invented"));
    for part in page.split("href=\"./").skip(1) {
        let link = part.split('"').next().unwrap();
        assert!(made.contains_key(Path::new(link)), "the page links to {link}, which is not there");
    }
    let sized = String::from_utf8(first.stdout).unwrap();
    assert!(sized.contains("An 8 mm rod that slides: draw 8.3"), "{sized}");
}

#[test]
fn a_folder_that_holds_anything_is_left_alone() {
    let scratch = tempfile::tempdir().unwrap();
    fs::create_dir(scratch.path().join("mine")).unwrap();
    fs::write(scratch.path().join("mine/note.txt"), "keep").unwrap();
    let refused = run(scratch.path(), &["demo", "mine"]);
    assert_eq!(refused.status.code(), Some(2));
    assert_eq!(
        String::from_utf8(refused.stderr).unwrap(),
        "error: mine: this folder exists already and is not empty\n  \
         help: name another one, or add --force to overwrite\n"
    );
    assert_eq!(files(&scratch.path().join("mine")).len(), 1);
    let forced = run(scratch.path(), &["demo", "mine", "--force", "--quiet"]);
    assert!(forced.status.success());
    assert_eq!(fs::read(scratch.path().join("mine/note.txt")).unwrap(), b"keep");
    assert!(scratch.path().join("mine/index.html").exists());
}

#[test]
fn the_json_answer_says_that_the_data_are_invented() {
    let scratch = tempfile::tempdir().unwrap();
    let ran = run(scratch.path(), &["demo", "d", "--json", "--quiet"]);
    let answer: serde_json::Value = serde_json::from_slice(&ran.stdout).unwrap();
    assert_eq!(answer["invented_data"], true);
    assert_eq!(answer["steps"].as_array().unwrap().len(), 7);
    assert_eq!(answer["steps"][3]["command"].as_str().unwrap().split(' ').nth(1), Some("size"));
}

/// A drawing of the measuring guide as a file of its own, with the guide's style.
fn drawing(guide: &str, label: &str) -> String {
    let between = |text: &'static str, end: &str, from: &str| {
        let start = from.find(text).unwrap_or_else(|| panic!("the guide has no {text}"));
        let length = from[start..].find(end).unwrap() + end.len();
        from[start..start + length].to_owned()
    };
    let style = between("<style>", "</style>", guide);
    let place = guide.find(&format!("aria-label=\"{label}\"")).expect("the guide draws this piece");
    let start = guide[..place].rfind("<svg").unwrap();
    let svg = between("<svg", "</svg>", &guide[start..]);
    let (tag, rest) = svg.split_once('>').unwrap();
    format!("{tag} xmlns=\"http://www.w3.org/2000/svg\">\n{style}{rest}\n")
}

#[test]
fn the_pictures_in_the_readme_are_those_of_the_demo() {
    let scratch = tempfile::tempdir().unwrap();
    assert!(run(scratch.path(), &["demo", "d", "--quiet"]).status.success());
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/pictures");
    let made = |name: &str| fs::read(scratch.path().join("d").join(name)).unwrap();
    let guide = String::from_utf8(made("coupons/measuring-guide.html")).unwrap();
    for (bytes, name) in [
        (made("plots/petg-0.4-deviation.png"), "deviation.png"),
        (made("pulley-t5-20.svg"), "groove.svg"),
        (drawing(&guide, "R8 from above").into_bytes(), "ring.svg"),
    ] {
        if std::env::var_os("SHRINKRULE_REWRITE_GOLDEN").is_some() {
            fs::create_dir_all(&kept).unwrap();
            fs::write(kept.join(name), &bytes).unwrap();
        }
        let same = fs::read(kept.join(name)).is_ok_and(|found| found == bytes);
        assert!(same, "data/pictures/{name} is not what the demo makes; rewrite it and look at it");
    }
}

#[test]
fn the_readme_quotes_what_the_demo_answers() {
    let scratch = tempfile::tempdir().unwrap();
    let ran = run(scratch.path(), &["demo", "d", "--json", "--quiet"]);
    let answer: serde_json::Value = serde_json::from_slice(&ran.stdout).unwrap();
    let said = answer["steps"][3]["said"].as_str().unwrap();
    let readme = include_str!("../README.md");
    for line in said.lines() {
        assert!(readme.contains(line), "the README does not quote: {line}");
    }
}
