//! What `fit` says against itself, where a person meets it: the real program.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

/// Invented readings of two prints of a printer that swells by 0.05 mm and shrinks by 0.4 %; the second print was
/// read with the caliper 0.06 mm off zero.
fn sheet(off_zero_mm: f64) -> String {
    let mut text = "coupon,feature,kind,nominal_mm,copy,reading_1_mm,reading_2_mm\n".to_owned();
    for copy in 1..=2 {
        for (at, size) in [4.0, 5.0, 6.0, 8.0, 10.0, 12.0].iter().enumerate() {
            let rows = [("bore", *size, -0.15), ("pin", size + 8.0, 0.1), ("span", size * 5.0, 0.0)];
            for (place, (kind, nominal, offset)) in rows.into_iter().enumerate() {
                // Scrambled, so that there is no pattern that a form could follow.
                let scrambled = ((at * 3 + place + copy * 18) as f64 * 12.9898).sin() * 43758.5453;
                let wobble = 0.03 * (scrambled - scrambled.floor() - 0.5);
                let zero = if copy == 2 { off_zero_mm } else { 0.0 };
                let reading = 0.996 * nominal + offset + wobble + zero;
                let (one, other) = (reading - 0.004, reading + 0.004);
                text += &format!("R{size},{kind}{nominal},{kind},{nominal},{copy},{one:.2},{other:.2}\n");
            }
        }
    }
    text
}

fn fitted(folder: &Path, method: &str) -> (String, serde_json::Value) {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("shrinkrule"));
    let all =
        ["fit", "r.csv", "--method", method, "--json", "--out", "c.toml", "--report", "p.html", "--force"];
    let output = command.current_dir(folder).args(all).output().unwrap();
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success(), "{told}");
    (told, serde_json::from_slice(&output.stdout).unwrap())
}

#[test]
fn a_caliper_off_zero_on_one_print_is_told_everywhere_and_a_sound_sheet_is_not_criticised() {
    let scratch = tempfile::tempdir().unwrap();
    for method in ["structured", "least-squares"] {
        fs::write(scratch.path().join("r.csv"), sheet(0.06)).unwrap();
        let (told, answer) = fitted(scratch.path(), method);
        // Which of two prints is off, nobody can tell.
        assert!(told.contains("warning: unnamed: print "), "{told}");
        let sentence = answer["setups"][0]["warnings"].as_array().unwrap().iter();
        let sentence: Vec<&str> = sentence.filter_map(|said| said.as_str()).collect();
        let shift = sentence.iter().filter(|said| said.contains("was the caliper at zero?")).count();
        assert_eq!(shift, 1, "{method}: {sentence:?}");
        for file in ["c.toml", "p.html"] {
            let text = fs::read_to_string(scratch.path().join(file)).unwrap();
            assert!(text.contains("was the caliper at zero?"), "{method}: {file}");
        }
        fs::write(scratch.path().join("r.csv"), sheet(0.0)).unwrap();
        let (told, _) = fitted(scratch.path(), method);
        assert!(!told.contains("(p "), "{method}: {told}");
    }
}
