//! `fit` and `size`, the real program in a scratch folder.

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

fn json(ran: &Ran) -> Value {
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    serde_json::from_str(&ran.stdout).unwrap()
}

/// Invented readings: bores and pins of two prints, 0.18 mm small and 0.10 mm large, scale 0.996.
fn sheet(setups: &[&str]) -> String {
    let mut text = "# date: 2026-11-25\nsetup,kind,nominal_mm,copy,reading_1_mm,reading_2_mm\n".to_owned();
    for setup in setups {
        for copy in 1..=2 {
            for (at, size) in [4.0, 5.0, 6.0, 8.0, 10.0].iter().enumerate() {
                for (kind, offset) in [("bore", -0.18), ("pin", 0.1)] {
                    let wobble = 0.01 * ((at * 3 + copy * 5 + kind.len()) % 4) as f64 - 0.015;
                    let reading = 0.996 * size + offset + wobble;
                    text += &format!("{setup},{kind},{size},{copy},{reading:.2},{:.2}\n", reading + 0.01);
                }
            }
        }
    }
    text
}

/// Source: NIST Statistical Reference Datasets, "Norris", its x as drawn and its y as measured sizes.
#[test]
fn nist_norris_as_a_readings_file_gives_the_certified_slope_and_errors() {
    let scratch = tempfile::tempdir().unwrap();
    let data = include_str!("../data/published/nist_norris.csv");
    let mut text = "kind,feature,nominal_mm,reading_mm\n".to_owned();
    for (at, line) in data.lines().filter(|line| !line.starts_with('#')).skip(1).enumerate() {
        let (y, x) = line.split_once(',').unwrap();
        text += &format!("span,s{at},{x},{y}\n");
    }
    fs::write(scratch.path().join("norris.csv"), text).unwrap();
    let answer = json(&run(scratch.path(), &["fit", "norris.csv", "--model", "own", "--json"]));
    let setup = &answer["setups"][0];
    let span = &setup["kinds"]["span"];
    let close = |value: &Value, certified: f64| {
        let got = value.as_f64().unwrap();
        assert!((got / certified - 1.0).abs() < 1e-10, "{got} and {certified}");
    };
    close(&span["offset_mm"], -0.262323073774029);
    close(&span["offset_se_mm"], 0.232818234301152);
    close(&span["scale"], 1.00211681802045);
    close(&span["scale_se"], 0.429796848199937e-3);
    assert_eq!((span["min_mm"].as_f64(), span["max_mm"].as_f64()), (Some(0.2), Some(999.0)));
    assert_eq!((span["features"].as_u64(), span["readings"].as_u64()), (Some(36), Some(36)));
    assert_eq!(setup["dof"].as_f64(), Some(34.0));
    // A fit of the readings' own size in place of the deviation would give the scale, less one, as such.
    assert!((span["scale"].as_f64().unwrap() - 0.00211681802045).abs() > 0.9);
}

#[test]
fn the_json_document_has_the_keys_that_are_promised_and_no_others() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet(&["petg"])).unwrap();
    let answer = json(&run(scratch.path(), &["fit", "r.csv", "--json", "--method", "least-squares"]));
    let keys = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>().join(" ");
    assert_eq!(keys(&answer), "setups");
    let setup = &answer["setups"][0];
    assert_eq!(keys(setup), "dof kinds model prints set_aside setup spread warnings");
    assert_eq!(
        keys(&setup["kinds"]["bore"]),
        "features max_mm min_mm offset_mm offset_se_mm readings scale scale_se"
    );
    assert_eq!(keys(&setup["spread"]), "caliper_u_mm feature_sd_mm print_sd_mm repeat_sd_mm");
    assert_eq!(setup["model"], "shared");
    assert_eq!(setup["kinds"]["bore"]["scale"], setup["kinds"]["pin"]["scale"]);
    let size = {
        run(scratch.path(), &["fit", "r.csv", "--out", "c.toml", "-q"]);
        json(&run(
            scratch.path(),
            &["size", "bore", "8", "--with", "c.toml", "--within", "7.9..8.2", "--json"],
        ))
    };
    assert_eq!(
        keys(&size),
        "axis chance correction_mm draw_interval95_mm draw_mm expected_mm extrapolated high95_mm kind low95_mm target_mm warnings within"
    );
    assert!((size["draw_mm"].as_f64().unwrap() - 8.21).abs() < 0.021, "{size}");
    assert!(size["chance"].as_f64().unwrap() > 0.9);
}

#[test]
fn one_setup_goes_to_the_file_that_is_named_and_the_table_says_what_a_machinist_asks() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet(&["petg"])).unwrap();
    let ran =
        run(scratch.path(), &["fit", "r.csv", "--out", "petg.correction.toml", "--method", "least-squares"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    for said in [
        "petg: 40 readings of 20 features on 2 prints, 2026-11-25\n",
        "  bores come out 0.2",
        " mm small at 7 mm, ± 0.01\n",
        "  pins come out 0.0",
        "model `shared`: an offset per kind, one scale for all\n",
        "R² 0.9",
    ] {
        assert!(ran.stdout.contains(said), "{said}\n{}", ran.stdout);
    }
    assert!(ran.stderr.ends_with(
        "wrote petg.correction.toml\nnext: shrinkrule size bore 10 --with petg.correction.toml\n"
    ));
    let first = fs::read(scratch.path().join("petg.correction.toml")).unwrap();
    let again = run(scratch.path(), &["fit", "r.csv", "--out", "petg.correction.toml"]);
    assert_eq!(again.code, 2);
    assert!(again.stderr.contains("petg.correction.toml: this file exists already"), "{}", again.stderr);
    run(
        scratch.path(),
        &["fit", "r.csv", "--out", "petg.correction.toml", "--force", "--method", "least-squares"],
    );
    assert_eq!(
        fs::read(scratch.path().join("petg.correction.toml")).unwrap(),
        first,
        "same input, same bytes"
    );
}

#[test]
fn several_setups_go_to_a_folder_and_names_that_meet_are_refused() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet(&["PETG blue/0.4", "abs"])).unwrap();
    let ran = run(scratch.path(), &["fit", "r.csv", "--out", "fits"]);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    assert!(scratch.path().join("fits/PETG_blue_0.4.correction.toml").is_file());
    assert!(scratch.path().join("fits/abs.correction.toml").is_file());
    let one_file = run(scratch.path(), &["fit", "r.csv", "--out", "one.correction.toml"]);
    assert_eq!(one_file.code, 2);
    assert!(one_file.stderr.contains("the sheet has 2 setups, and this names one file"));
    fs::write(scratch.path().join("m.csv"), sheet(&["a b", "a/b"])).unwrap();
    let met = run(scratch.path(), &["fit", "m.csv", "--out", "met"]);
    assert_eq!(met.code, 2);
    assert!(met.stderr.contains("the setups `a b` and `a/b` would both be written here"), "{}", met.stderr);
    assert!(!scratch.path().join("met").exists());
}

#[test]
fn no_scale_is_claimed_from_one_size() {
    let scratch = tempfile::tempdir().unwrap();
    let rows: String = (1..=4).map(|at| format!("bore,b{at},8,7.8{at},7.81\n")).collect();
    fs::write(scratch.path().join("r.csv"), format!("kind,feature,nominal_mm,reading_1,reading_2\n{rows}"))
        .unwrap();
    let ran = run(scratch.path(), &["fit", "r.csv", "--json", "--method", "least-squares"]);
    let answer = json(&ran);
    assert_eq!(answer["setups"][0]["model"], "offset");
    assert_eq!(answer["setups"][0]["kinds"]["bore"]["scale"], 1.0);
    assert_eq!(answer["setups"][0]["kinds"]["bore"]["scale_se"], Value::Null);
    assert!(ran.stderr.contains("no scale can be told from one size: bores (8 mm)"), "{}", ran.stderr);
    let forced = run(scratch.path(), &["fit", "r.csv", "--json", "--model", "own"]);
    assert_eq!((forced.code, forced.stdout.as_str()), (2, ""));
    assert_eq!(
        forced.stderr,
        "error: r.csv: setup `unnamed`: no scale can be told from one size: bores of 8 mm only\n  \
         help: print and measure a second size, several times larger, or leave --model out\n\
         1 setup of 1 cannot be fitted; nothing was written\n"
    );
}

#[test]
fn what_was_measured_at_the_bed_tells_the_first_layer_and_stays_out_of_the_fit() {
    let scratch = tempfile::tempdir().unwrap();
    let mut text = "kind,coupon,feature,axis,nominal_mm,copy,reading_mm\n".to_owned();
    for copy in 1..=3 {
        for size in [10, 20, 30] {
            let above = f64::from(size) + 0.1 + 0.01 * f64::from(copy);
            let name = format!("F{size}x");
            text += &format!("outer,gauge,{name},x,{size},{copy},{above:.2}\n");
            text += &format!("outer,gauge,{name}-bed,x,{size},{copy},{:.2}\n", above + 0.24);
        }
    }
    fs::write(scratch.path().join("r.csv"), text).unwrap();
    let ran = run(scratch.path(), &["fit", "r.csv", "--out", "c.correction.toml"]);
    assert!(ran.stdout.contains("the first layer stands out 0.12 mm per side"), "{}", ran.stdout);
    assert!(ran.stdout.contains("9 readings of 9 features"), "{}", ran.stdout);
    let file = fs::read_to_string(scratch.path().join("c.correction.toml")).unwrap();
    assert!(file.contains("\nfirst_layer_spread_mm = 0.1"), "{file}");
}

#[test]
fn a_size_outside_the_measured_range_warns_and_a_kind_that_is_missing_is_refused() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet(&["petg"])).unwrap();
    run(scratch.path(), &["fit", "r.csv", "--out", "c.toml"]);
    let far = run(scratch.path(), &["size", "bore", "20", "--with", "c.toml"]);
    assert_eq!(far.code, 0);
    assert!(
        far.stderr.contains("mm outside the sizes of bores that were measured, 4 to 10 mm"),
        "{}",
        far.stderr
    );
    let near = run(scratch.path(), &["size", "bore", "8", "--with", "c.toml"]);
    assert_eq!((near.code, near.stderr.as_str()), (0, ""));
    let missing = run(scratch.path(), &["size", "gap", "3", "--with", "c.toml"]);
    assert_eq!(missing.code, 2);
    assert_eq!(
        missing.stderr,
        "error: the correction of `petg` has no gaps: none was measured\n  \
         help: print and measure a coupon that has gaps, and fit again\n"
    );
    let tiny = run(scratch.path(), &["size", "pin", "0.05", "--with", "c.toml", "--json"]);
    assert_eq!(tiny.code, 1);
    assert_eq!(serde_json::from_str::<Value>(&tiny.stdout).unwrap()["draw_mm"], Value::Null);
    let limits = run(scratch.path(), &["size", "bore", "--with", "c.toml", "--within", "8.2..8.1"]);
    assert_eq!(limits.code, 2);
    assert!(
        limits.stderr.contains("the lower limit 8.2 mm is above the upper limit 8.1 mm"),
        "{}",
        limits.stderr
    );
}

#[test]
fn an_unusable_sheet_or_call_writes_nothing() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), "kind,nominal_mm,reading_mm\nbore,8,wide\n").unwrap();
    let ran = run(scratch.path(), &["fit", "r.csv", "--out", "c.toml"]);
    assert_eq!(ran.code, 2);
    assert!(ran.stderr.ends_with("1 problem in r.csv; nothing was fitted\n"), "{}", ran.stderr);
    assert!(!scratch.path().join("c.toml").exists());
    let nowhere = run(scratch.path(), &["fit", "r.csv"]);
    assert_eq!(nowhere.code, 2);
    assert!(nowhere.stderr.contains("nothing to write to"), "{}", nowhere.stderr);
    let model = run(scratch.path(), &["fit", "r.csv", "--json", "--model", "curve"]);
    assert!(model.stderr.contains("`curve` is no model; expected offset, shared or own"), "{}", model.stderr);
}

#[test]
fn plots_and_a_report_are_written_where_they_are_asked_for() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet(&["petg"])).unwrap();
    let arguments = ["fit", "r.csv", "--out", "c.toml", "--plots", "plots", "--report", "fit.html"];
    let ran = run(scratch.path(), &arguments);
    assert_eq!(ran.code, 0, "{}", ran.stderr);
    for name in ["deviation", "residuals", "quantiles", "copies"] {
        let svg = fs::read_to_string(scratch.path().join(format!("plots/{name}.svg"))).unwrap();
        assert!(svg.starts_with("<svg") || svg.starts_with("<?xml"), "{name}: {}", &svg[..40]);
        let png = fs::read(scratch.path().join(format!("plots/{name}.png"))).unwrap();
        assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n", "{name}");
    }
    let page = fs::read_to_string(scratch.path().join("fit.html")).unwrap();
    assert!(page.contains("petg") && page.contains("c.toml"));
    // One existing picture is enough to leave all alone.
    fs::remove_file(scratch.path().join("c.toml")).unwrap();
    assert_eq!(run(scratch.path(), &arguments).code, 2);
    assert!(!scratch.path().join("c.toml").exists());
}

#[test]
fn the_structured_method_is_the_default_and_a_form_of_the_model_asks_for_least_squares() {
    let scratch = tempfile::tempdir().unwrap();
    fs::write(scratch.path().join("r.csv"), sheet(&["petg"])).unwrap();
    let model = |arguments: &[&str]| {
        let call = [&["fit", "r.csv", "--json"], arguments].concat();
        json(&run(scratch.path(), &call))["setups"][0]["model"].clone()
    };
    assert_eq!(model(&[]), "structured");
    assert_eq!(model(&["--method", "structured"]), "structured");
    assert_eq!(model(&["--model", "own"]), "own");
    let both = run(scratch.path(), &["fit", "r.csv", "--json", "--method", "structured", "--model", "own"]);
    assert_eq!(both.code, 2);
    assert!(both.stderr.contains("--model is a form of least squares"), "{}", both.stderr);

    run(scratch.path(), &["fit", "r.csv", "--out", "c.toml", "-q"]);
    let file = fs::read_to_string(scratch.path().join("c.toml")).unwrap();
    assert!(file.contains("method = \"structured\"\nmodel = \"structured\"\n"), "{file}");
    let mixed = file.replace("model = \"structured\"", "model = \"own\"");
    fs::write(scratch.path().join("mixed.toml"), mixed).unwrap();
    let refused = run(scratch.path(), &["size", "bore", "8", "--with", "mixed.toml"]);
    assert_eq!(refused.code, 2);
    assert!(refused.stderr.contains("`own` is a model of least squares"), "{}", refused.stderr);
}

#[test]
fn the_readings_are_never_written_over_not_even_with_force() {
    let scratch = tempfile::tempdir().unwrap();
    let file = scratch.path().join("readings.csv");
    fs::write(&file, sheet(&["petg"])).unwrap();
    for option in ["--out", "--report"] {
        let ran = run(scratch.path(), &["fit", "readings.csv", option, "./readings.csv", "--force"]);
        assert_eq!(ran.code, 2);
        assert!(ran.stderr.contains("this run reads this file, and would write over it"), "{}", ran.stderr);
        assert_eq!(fs::read_to_string(&file).unwrap(), sheet(&["petg"]));
    }
}

/// A gauge read along x and y under one name: each bed reading belongs to the one above it along its own
/// direction. Paired across directions, the 0.40 mm between x and y would be taken for the first layer's.
#[test]
fn the_first_layer_is_paired_along_its_own_direction() {
    let scratch = tempfile::tempdir().unwrap();
    let mut text = "kind,coupon,feature,axis,nominal_mm,copy,reading_mm\n".to_owned();
    for (axis, above) in [("x", 20.0), ("y", 20.4)] {
        for size in [0, 10] {
            let above = above + f64::from(size);
            let nominal = 20 + size;
            text += &format!("outer,gauge,F{nominal},{axis},{nominal},1,{above:.2}\n");
            text += &format!("outer,gauge,F{nominal}-bed,{axis},{nominal},1,{:.2}\n", above + 0.24);
        }
    }
    fs::write(scratch.path().join("r.csv"), text).unwrap();
    let ran = run(scratch.path(), &["fit", "r.csv", "--out", "c.toml", "--method", "least-squares"]);
    assert!(
        ran.stdout.contains("stands out 0.12 mm per side (95 %: 0.12 to 0.12, 4 pairs)"),
        "{}",
        ran.stdout
    );
}

/// The arm of the heat set's mount hangs down by what its printer's walls have nothing to do with.
#[test]
fn an_arm_that_hangs_down_does_not_move_the_fit() {
    let scratch = tempfile::tempdir().unwrap();
    let write = |name: &str, arm: &str| {
        let mut text =
            "setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm\n".to_owned();
        for copy in 1..=2 {
            for (feature, kind, axis, nominal) in [
                ("b22x", "bore", "x", 22.0),
                ("b8y", "bore", "y", 8.0),
                ("s60x", "span", "x", 60.0),
                ("s60y", "span", "y", 60.0),
                ("o77x", "outer", "x", 77.0),
                ("z24x", "height", "z", 24.0),
            ] {
                let offset = match kind {
                    "bore" => -0.2,
                    "outer" => 0.1,
                    _ => 0.0,
                };
                let reading = 0.996 * nominal + offset + 0.01 * f64::from(copy);
                text += &format!(
                    "a,M,{feature},{kind},{axis},{nominal},{copy},{reading:.2},{:.2}\n",
                    reading + 0.01
                );
            }
            text += arm;
        }
        fs::write(scratch.path().join(name), text).unwrap();
    };
    write("without.csv", "");
    write("with.csv", "a,M,s6z-arm,span,z,6,1,6.85,6.90\n");
    for method in ["structured", "least-squares"] {
        let fitted = |name: &str| {
            let answer = json(&run(scratch.path(), &["fit", name, "--method", method, "--json"]));
            answer["setups"][0]["kinds"].clone()
        };
        assert_eq!(
            fitted("with.csv")["span"]["offset_mm"],
            fitted("without.csv")["span"]["offset_mm"],
            "{method}"
        );
        assert_eq!(fitted("with.csv")["span"]["scale"], fitted("without.csv")["span"]["scale"], "{method}");
    }
}
