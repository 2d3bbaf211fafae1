//! Fitting without a caliper, by command: feels into a correction, sizes out of it. All data is invented.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

/// Exit code, stdout, stderr.
fn run(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    let output = command.current_dir(folder).args(arguments).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

/// Twelve trials of an 8 mm shaft in rings, with one answer out of order, so that the scatter shows.
const SHAFT: &str = "\
setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,feel,mate_mm,mate
warm,R8,b8x,bore,x,8,1,,no-go,8,shaft
warm,R8.05,b8.05x,bore,x,8.05,1,,no-go,8,shaft
warm,R8.1,b8.1x,bore,x,8.1,1,,press,8,shaft
warm,R8.15,b8.15x,bore,x,8.15,1,,press,8,shaft
warm,R8.2,b8.2x,bore,x,8.2,1,,snug,8,shaft
warm,R8.25,b8.25x,bore,x,8.25,1,,slide,8,shaft
warm,R8.3,b8.3x,bore,x,8.3,1,,snug,8,shaft
warm,R8.35,b8.35x,bore,x,8.35,1,,slide,8,shaft
warm,R8.4,b8.4x,bore,x,8.4,1,,slide,8,shaft
warm,R8.45,b8.45x,bore,x,8.45,1,,slide,8,shaft
warm,R8.5,b8.5x,bore,x,8.5,1,,free,8,shaft
warm,R8.55,b8.55x,bore,x,8.55,1,,free,8,shaft
";

/// The same person's caliper: bores print 0.2 mm small.
fn with_readings() -> String {
    let mut sheet = SHAFT.to_owned();
    for (copy, shift) in [(1, 0.0), (2, 0.01)] {
        for (at, size) in [3.0, 5.0, 8.0, 12.0, 16.0].into_iter().enumerate() {
            let reading = size - 0.2 + shift + 0.01 * (at % 2) as f64;
            sheet += &format!("warm,B,b{size},bore,round,{size},{copy},{reading:.2},,,\n");
        }
    }
    sheet
}

#[test]
fn feels_alone_make_a_correction_that_sizes_fits() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path();
    fs::write(folder.join("feel.csv"), SHAFT).unwrap();
    let (code, out, err) = run(folder, &["fit", "feel.csv", "--out", "w.correction.toml"]);
    assert_eq!(code, 0, "{err}");
    assert!(out.starts_with("warm: 12 feel tests on 1 print\n"), "{out}");
    assert!(out.contains("  round insides   press      2   +0.07"), "{out}");
    assert!(err.contains("warning: warm: the pieces were tried on one print"), "{err}");
    let (code, out, err) =
        run(folder, &["size", "bore", "--mate", "8", "--fit", "slide", "--with", "w.correction.toml"]);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("from your own feel tests (12 trials): drawn clearance 0.2"), "{out}");
    assert!(out.starts_with("draw 8.38 mm; "), "{out}");
    let (_, out, _) =
        run(folder, &["size", "bore", "8", "--fit", "slide", "--with", "w.correction.toml", "--json"]);
    let answer: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (answer["feel"]["trials"].as_u64(), answer["feel"]["feel"].as_str()),
        (Some(12), Some("slide"))
    );
    assert!(answer["target_mm"].is_null() && answer["expected_mm"].is_null());
    let chance = answer["chance"].as_f64().unwrap();
    assert!((0.6..1.0).contains(&chance), "{chance}");
    // What feel tests cannot answer is told, not guessed.
    let (code, _, err) = run(folder, &["size", "bore", "8", "--with", "w.correction.toml"]);
    assert_eq!(code, 2);
    assert!(err.contains("this correction is from feel tests alone"), "{err}");
    let (code, _, err) = run(folder, &["size", "pin", "8", "--fit", "slide", "--with", "w.correction.toml"]);
    assert_eq!(code, 2);
    assert!(err.contains("no feel of pins was tested"), "{err}");
}

#[test]
fn together_with_readings_a_feel_carries_over_to_other_sizes() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path();
    fs::write(folder.join("both.csv"), with_readings()).unwrap();
    let (code, out, err) = run(folder, &["fit", "both.csv", "--out", "b.correction.toml", "--json"]);
    assert_eq!(code, 0, "{err}");
    let fitted: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(fitted["setups"][0]["kinds"]["bore"]["features"], 10);
    assert_eq!(fitted["feels"][0]["groups"]["inside_round"]["feels"][3]["feel"], "slide");
    let size = |more: &[&str]| {
        let mut arguments = vec!["size", "bore", "--mate"];
        arguments.extend(more);
        arguments.extend(["--fit", "slide", "--with", "b.correction.toml", "--json"]);
        let (code, out, err) = run(folder, &arguments);
        assert_eq!(code, 0, "{err}");
        serde_json::from_str::<serde_json::Value>(&out).unwrap()
    };
    let felt = size(&["8"]);
    // Drawn as the tests say, and about 0.2 mm smaller in print.
    assert!((felt["draw_mm"].as_f64().unwrap() - 8.38).abs() < 0.015, "{felt}");
    assert!((felt["expected_mm"].as_f64().unwrap() - 8.18).abs() < 0.03, "{felt}");
    assert_eq!(felt["feel"]["trials"], 12);
    assert!(felt["chance"].as_f64().unwrap() > 0.6, "{felt}");
    let named = size(&["8", "--ignore-feel"]);
    assert!((named["expected_mm"].as_f64().unwrap() - 8.1).abs() < 0.01, "{named}");
    assert!(named.get("feel").is_none());
    let other = size(&["12"]);
    assert!((other["draw_mm"].as_f64().unwrap() - 12.38).abs() < 0.03, "{other}");
    let (_, out, _) =
        run(folder, &["size", "bore", "--mate", "8", "--fit", "slide", "--with", "b.correction.toml"]);
    assert!(out.contains("chance of slide on 8.00 ("), "{out}");
    assert!(out.ends_with("mm feels slide\n"), "{out}");
    let (code, _, _) = run(folder, &["readings", "both.csv"]);
    assert_eq!(code, 0);
}

#[test]
fn clean_feels_are_told_as_bounds_and_a_feel_without_its_piece_is_a_problem() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path();
    let clean: String =
        SHAFT.lines().filter(|line| !line.contains("R8.25")).map(|line| format!("{line}\n")).collect();
    fs::write(folder.join("clean.csv"), clean).unwrap();
    let (code, out, err) = run(folder, &["fit", "clean.csv", "--out", "c.correction.toml"]);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("as tried between 0.30 and 0.35"), "{out}");
    assert!(out.contains("how much a feel scatters about these was not resolved"), "{out}");
    let (code, out, err) =
        run(folder, &["size", "bore", "8", "--fit", "slide", "--with", "c.correction.toml"]);
    assert_eq!((code, out.lines().next()), (0, Some("draw 8.40 mm; made to feel slide on 8.00")), "{err}");
    assert!(err.contains("the chance is not known"), "{err}");
    fs::write(
        folder.join("bad.csv"),
        SHAFT.replacen("press,8,", "pres,8,", 1).replacen("no-go,8,", "no-go,,", 1),
    )
    .unwrap();
    let (code, _, err) = run(folder, &["fit", "bad.csv", "--out", "d.correction.toml"]);
    assert_eq!(code, 2);
    assert_eq!(
        err,
        "error: bad.csv:2: mate_mm: a feel without the size of the piece that was tried, `mate_mm`\n  \
         help: measure the shaft, bearing or belt that was tried, and write its size in mm\n\
         error: bad.csv:4: feel: `pres` is no feel\n  help: did you mean `press`?\n\
         2 problems in bad.csv; nothing was fitted\n"
    );
    assert!(!folder.join("d.correction.toml").exists());
}

#[test]
fn the_feel_set_has_a_sheet_and_a_guide_for_someone_without_a_caliper() {
    let scratch = tempfile::tempdir().unwrap();
    let (code, _, err) = run(scratch.path(), &["coupons", "feel", "--out", "c"]);
    assert_eq!(code, 0, "{err}");
    let sheet = fs::read_to_string(scratch.path().join("c/readings.csv")).unwrap();
    assert!(sheet.contains(",reading_3_mm,feel,mate_mm,mate,note\n"), "{sheet}");
    assert!(sheet.contains(",B,g2.96,gap,x,2.96,1,"), "{sheet}");
    let guide = fs::read_to_string(scratch.path().join("c/measuring-guide.html")).unwrap();
    assert!(guide.contains("Without a caliper: how it feels"));
    assert!(guide.contains("it drops in (or over), and you can see or hear it rattle"));
}

/// What felt `slide` was drawn 0.25 mm and more over the shaft: printed clearances of its own, not the named fit's.
#[test]
fn a_parts_list_and_a_pulley_take_the_persons_own_feels() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path();
    fs::write(folder.join("both.csv"), with_readings()).unwrap();
    let (code, _, err) = run(folder, &["fit", "both.csv", "--out", "w.correction.toml"]);
    assert_eq!(code, 0, "{err}");
    let json = |words: &[&str]| -> serde_json::Value {
        let (code, out, err) = run(folder, &[words, &["--with", "w.correction.toml", "--json"]].concat());
        assert_eq!(code, 0, "{err}");
        serde_json::from_str(&out).unwrap()
    };
    let sized = json(&["size", "bore", "5", "--fit", "slide"]);
    assert!(sized["feel"]["trials"] == 12);
    fs::write(folder.join("parts.csv"), "kind,target_mm,fit,mate\nbore,5,slide,\n,,slide,shaft:5h7\n")
        .unwrap();
    let list = json(&["parts", "parts.csv"]);
    assert_eq!(list["parts"][0]["draw_mm"], sized["draw_mm"]);
    assert_eq!(list["parts"][0]["chance"], sized["chance"]);
    let note = list["parts"][0]["note"].as_str().unwrap();
    assert!(note.contains("from your own feel tests (12 trials)"), "{note}");
    assert!(list["parts"][1]["note"].as_str().unwrap().contains("from your own feel tests"));
    let named = json(&["parts", "parts.csv", "--ignore-feel"]);
    assert_ne!(named["parts"][0]["target_mm"], sized["target_mm"]);
    // A file of fits is what its person means.
    fs::write(folder.join("own.toml"), "[slide]\nclearance_mm = [0.3, 0.4]\n").unwrap();
    let own = json(&["parts", "parts.csv", "--fits", "own.toml"]);
    assert_eq!(own["parts"][0]["target_mm"], 5.35);
    // A pulley needs gaps and pins, which this correction does not have.
    let words = ["pulley", "--belt", "T5", "--teeth", "20", "--bore", "5", "--fit", "slid", "--json"];
    let (code, _, err) = run(folder, &[&words[..], &["--without-correction"]].concat());
    assert_eq!(code, 2);
    assert!(err.contains("`slid` is no fit") && err.contains("did you mean `slide`?"), "{err}");
}
