//! The sheet that `coupons heat` writes, filled in and taken through `readings`, `fit` and `compare`.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

fn json(folder: &Path, arguments: &[&str]) -> Value {
    let output =
        Command::cargo_bin("shrinkrule").unwrap().current_dir(folder).args(arguments).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{arguments:?}: {said}");
    serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"))
}

/// A number between -1 and 1 that depends on the text alone.
fn wobble(text: &str) -> f64 {
    let hash = text.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    ((hash >> 11) as f64 / (1_u64 << 53) as f64).mul_add(2.0, -1.0)
}

/// Invented readings: walls 0.05 mm fat, shrink 0.3 %. In the heat material `soft` shrinks by 1.6 % along the
/// layers, grows 2.6 % in height and lets its arm hang 1.5 mm; `firm` keeps its size. The caliper reads 0.02 mm
/// more in the second stage.
fn filled(sheet: &str) -> String {
    let mut lines = Vec::new();
    for line in sheet.lines() {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        if line.starts_with('#') || cells[0] == "stage" {
            lines.push(line.to_owned());
            continue;
        }
        let (after, soft, reference) = (cells[0] == "after", cells[1] == "soft", cells[1] == "reference");
        let nominal: f64 = cells[10].parse().unwrap();
        let swell = match cells[8].as_str() {
            "bore" | "gap" => -0.1,
            "outer" | "pin" => 0.1,
            _ => 0.0,
        };
        let piece = format!("{} {} {}", cells[1], cells[6], cells[11]);
        let mut size = if reference { nominal } else { 0.997 * nominal + swell + 0.02 * wobble(&piece) };
        if after && soft {
            size *= if cells[9] == "z" { 1.026 } else { 0.984 };
            size += if cells[7].ends_with("-arm") { 1.5 } else { 0.0 };
        }
        size += if after { 0.02 } else { 0.0 };
        for (reading, cell) in cells.iter_mut().enumerate().skip(12).take(3) {
            let noise = 0.01 * wobble(&format!("{line} {reading}"));
            *cell = format!("{:.2}", size + noise);
        }
        lines.push(cells.join(","));
    }
    lines.join("\n") + "\n"
}

#[test]
fn a_filled_sheet_is_checked_fitted_by_material_and_compared() {
    let scratch = tempfile::tempdir().unwrap();
    let folder = scratch.path();
    let arguments = [
        "coupons",
        "heat",
        "--materials",
        "A=soft,B=firm",
        "--copies",
        "3",
        "--soak-c",
        "60",
        "--soak-h",
        "8",
        "--load",
        "own weight",
        "--out",
        "h",
        "--json",
    ];
    json(folder, &arguments);
    let sheet = fs::read_to_string(folder.join("h/readings.csv")).unwrap();
    fs::write(folder.join("h/filled.csv"), filled(&sheet)).unwrap();

    // Only the prints before heat are fitted, a correction for each material, and none for the metal piece.
    let fitted = json(folder, &["fit", "h/filled.csv", "--out", "c", "--json"]);
    let setups = fitted["setups"].as_array().unwrap();
    let names: Vec<&str> = setups.iter().map(|setup| setup["setup"].as_str().unwrap()).collect();
    let mut sorted = names.clone();
    sorted.sort_unstable();
    assert_eq!(sorted, ["firm", "soft"]);
    for setup in setups {
        assert_eq!(setup["prints"], 3);
        let scale = setup["kinds"]["outer"]["scale"].as_f64().unwrap();
        assert!((scale - 0.997).abs() < 0.001, "{}: {scale}", setup["setup"]);
    }

    let compared = json(folder, &["compare", "h/filled.csv", "--limit", "0.10", "--at", "60", "--json"]);
    let verdict = |material: &str| {
        let answers = compared["answers"].as_array().unwrap();
        answers.iter().find(|answer| answer["material"] == material).unwrap()["verdict"].clone()
    };
    assert_eq!(verdict("firm"), "holds", "{}", compared["answers"]);
    assert_eq!(verdict("soft"), "exceeds", "{}", compared["answers"]);
    // What the caliper drifted by is taken out.
    let drift = compared["conditions"][0]["reference_change_mm"].as_f64().unwrap();
    assert!((drift - 0.02).abs() < 0.01, "{drift}");
    let change = |group: &str| {
        let changes = compared["changes"].as_array().unwrap();
        let of = changes.iter().find(|change| change["material"] == "soft" && change["group"] == group);
        of.unwrap_or_else(|| panic!("{group}: {changes:#?}"))["change_percent"].as_f64().unwrap()
    };
    assert!((change("along x") + 1.6).abs() < 0.1, "{}", change("along x"));
    assert!((change("heights") - 2.6).abs() < 0.2, "{}", change("heights"));
}
