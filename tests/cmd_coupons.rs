//! The `coupons` command: what it says, what it writes, what it refuses.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use assert_cmd::Command;
use shrinkrule::geometry::stl;

fn coupons(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    command.current_dir(folder).arg("coupons").args(arguments);
    command
}

/// Exit code, stdout, stderr.
fn answer(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = coupons(folder, arguments).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = fs::read_dir(folder).unwrap().map(Result::unwrap);
    entries.map(|entry| (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap())).collect()
}

#[test]
fn without_a_set_the_sets_are_listed_and_nothing_is_written() {
    let scratch = tempfile::tempdir().unwrap();
    let (code, out, err) = answer(scratch.path(), &[]);
    assert_eq!((code, err.as_str()), (0, ""));
    let lines: Vec<&str> = out.lines().collect();
    assert_eq!(lines[0], "set      pieces  features  readings  plastic cm3  mass g  plates mm");
    for (line, name, features) in [(1, "quick", 13), (2, "starter", 43), (3, "full", 97)] {
        let words: Vec<&str> = lines[line].split_whitespace().collect();
        assert_eq!(words[0], name);
        assert_eq!(words[2], features.to_string(), "{name}");
        assert_eq!(words[3], (3 * features).to_string(), "{name}");
    }
    assert!(files(scratch.path()).is_empty());
}

#[test]
fn starter_writes_a_solid_a_coupon_a_plate_the_sheet_and_the_guide() {
    let scratch = tempfile::tempdir().unwrap();
    let (code, out, err) =
        answer(scratch.path(), &["starter", "--out", "new/c", "--json", "--setup", "petg-0.4"]);
    assert_eq!(code, 0, "{err}");
    assert_eq!(err, "new/c: 17 files; open new/c/measuring-guide.html first\n");
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    let set = &document["sets"][0];
    assert_eq!((set["features"].as_u64(), set["readings"].as_u64()), (Some(43), Some(129)));
    assert_eq!(set["files"].as_array().unwrap().len(), 17);
    let files = files(&scratch.path().join("new/c"));
    let mut volume = 0.0;
    for coupon in set["coupons"].as_array().unwrap() {
        let bytes = &files[&format!("{}.stl", coupon["coupon"].as_str().unwrap())];
        let proven = stl::prove(bytes, 1).unwrap().volume_mm3();
        assert!((proven - coupon["volume_mm3"].as_f64().unwrap()).abs() < 1e-6);
        volume += proven;
    }
    assert!((volume - set["volume_mm3"].as_f64().unwrap()).abs() < 1e-6);
    assert!((volume * 1.24e-3 - set["mass_g"].as_f64().unwrap()).abs() < 1e-9);
    assert!(files["plate-1.3mf"].starts_with(b"PK"));
    let sheet = std::str::from_utf8(&files["readings.csv"]).unwrap();
    let rows: Vec<&str> = sheet.lines().filter(|line| !line.starts_with('#')).collect();
    assert_eq!(rows.len(), 44);
    assert_eq!(
        rows[0],
        "setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm,reading_3_mm,note"
    );
    assert_eq!(rows[1], "petg-0.4,GX,g2.5,gap,x,2.5,1,,,,");
    assert_eq!(rows[43], "petg-0.4,F1,o20-bed,outer,x,20,1,,,,");
}

#[test]
fn the_same_call_writes_the_same_bytes() {
    let scratch = tempfile::tempdir().unwrap();
    for folder in ["a", "b"] {
        coupons(scratch.path(), &["quick", "--out", folder, "--copies", "2"]).assert().success();
    }
    let (a, b) = (files(&scratch.path().join("a")), files(&scratch.path().join("b")));
    assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>());
    assert!(a == b);
    for name in ["GX-1.stl", "GX-2.stl", "plate-copy-1.3mf", "plate-copy-2.3mf"] {
        assert!(a.contains_key(name), "{name}");
    }
    assert_ne!(a["GX-1.stl"], a["GX-2.stl"]);
    let sheet = std::str::from_utf8(&a["readings.csv"]).unwrap();
    assert_eq!(sheet.lines().filter(|line| !line.starts_with('#')).count(), 1 + 2 * 13);
}

#[test]
fn a_folder_that_holds_something_is_kept_unless_overwriting_was_asked_for() {
    let scratch = tempfile::tempdir().unwrap();
    fs::create_dir(scratch.path().join("c")).unwrap();
    fs::write(scratch.path().join("c/readings.csv"), "mine").unwrap();
    let (code, out, err) = answer(scratch.path(), &["quick", "--out", "c"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert_eq!(
        err,
        "error: c: this folder exists already and is not empty\n  \
         help: name another one, or add --force to overwrite\n"
    );
    assert_eq!(files(&scratch.path().join("c")).len(), 1);
    coupons(scratch.path(), &["quick", "--out", "c", "--force", "--quiet"]).assert().success().stderr("");
    assert_ne!(files(&scratch.path().join("c"))["readings.csv"], b"mine");
}

#[test]
fn what_cannot_be_done_is_refused_with_advice_and_leaves_nothing_behind() {
    let scratch = tempfile::tempdir().unwrap();
    for (arguments, expected) in [
        (
            &["startr", "--out", "c"][..],
            "error: `startr` is no coupon set; expected one of quick, starter, full, feel, heat\n  help: did you mean `starter`?\n",
        ),
        (
            &["starter", "--out", "c", "--bed", "90x90"],
            "error: `SX` is 93.0 x 21.8 mm and does not fit on a bed of 90 x 90 mm with 5 mm left free all round\n  \
             help: give a larger --bed, or a set with a shorter piece\n",
        ),
        (
            &["--out", "c"],
            "error: nothing to write: no set was named\n  \
             help: name one, such as `starter`; without --out, the sets are listed\n",
        ),
    ] {
        let (code, out, err) = answer(scratch.path(), arguments);
        assert_eq!((code, out.as_str(), err.as_str()), (2, "", expected));
    }
    for arguments in [
        &["starter", "--bed", "90"][..],
        &["starter", "--copies", "0"],
        &["starter", "--copies", "100"],
        &["starter", "--density", "-1"],
        &["starter", "--density", "nan"],
    ] {
        assert_eq!(answer(scratch.path(), arguments).0, 2, "{arguments:?}");
    }
    assert!(files(scratch.path()).is_empty());
}

#[test]
fn a_set_of_ones_own_is_checked_whole_and_then_made() {
    let scratch = tempfile::tempdir().unwrap();
    let own = scratch.path().join("my.toml");
    fs::write(&own, "name = \"mine\"\n[[ring]]\nname = \"R\"\nbores_mm = [2]\nwal_mm = 5\n").unwrap();
    let (code, out, err) = answer(scratch.path(), &["--set", "my.toml", "--out", "c"]);
    assert_eq!((code, out.as_str()), (2, ""));
    assert_eq!(
        err,
        "error: my.toml:1: `summary` is missing; expected what the set is for, in a sentence\n\
         error: my.toml:4: ring.bores_mm: found `2`, expected a size from 3 to 60 mm\n  \
         help: the crossed tips of inside jaws do not enter less than about 3 mm\n\
         error: my.toml:5: ring.wal_mm: no such field\n  help: did you mean `wall_mm`?\n\
         3 problems in my.toml; nothing was written\n"
    );
    fs::write(&own, "name = \"mine\"\nsummary = \"one\"\n[[ring]]\nname = \"R\"\nbores_mm = [5.2]\n")
        .unwrap();
    coupons(scratch.path(), &["quick", "--set", "my.toml", "--out", "c"]).assert().success();
    assert!(scratch.path().join("c/R5.2.stl").exists());
    assert_eq!(answer(scratch.path(), &["--set", "missing.toml"]).0, 2);
}

#[test]
fn heat_writes_every_material_on_plates_of_its_own_with_a_sheet_of_stages_and_a_protocol() {
    let scratch = tempfile::tempdir().unwrap();
    let arguments =
        ["heat", "--materials", "A=PETG,B", "--copies", "2", "--soak-c", "60", "--out", "h", "--json"];
    let (code, out, err) = answer(scratch.path(), &arguments);
    assert_eq!((code, err.as_str()), (0, "h: 23 files; open h/heat-protocol.html first\n"));
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    let set = &document["sets"][0];
    assert_eq!(set["features"], 22);
    // Two materials, two prints, two stages and a metal piece three times a stage.
    assert_eq!(set["readings"], 2 * (2 * 2 * 22 + 3) * 3);
    let files = files(&scratch.path().join("h"));
    let names: Vec<&str> = files.keys().map(String::as_str).collect();
    for name in ["A-M-1.stl", "B-D79-2.stl", "plate-A-copy-2.3mf", "plate-B-copy-1.3mf", "heat-protocol.html"]
    {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    for (name, bytes) in files.iter().filter(|(name, _)| name.ends_with(".stl")) {
        assert!(stl::prove(bytes, 1).is_ok(), "{name}");
    }
    let sheet = String::from_utf8(files["readings.csv"].clone()).unwrap();
    assert!(sheet.contains("\nbefore,PETG,,,,,M,b22x,bore,x,22,1,,,,A-M-1\n"), "{sheet}");
    assert!(sheet.contains("\nafter,B,60,,,,M,s6z-arm,span,z,6,2,,,,B-M-2\n"), "{sheet}");
    assert!(sheet.contains("\nafter,reference,,,,,REF,ref,outer,round,22,3,,,,\n"), "{sheet}");
}

#[test]
fn materials_that_cannot_be_told_apart_or_are_for_no_heat_are_refused() {
    let scratch = tempfile::tempdir().unwrap();
    let (code, _, err) = answer(scratch.path(), &["heat", "--materials", "A=PETG,A=ASA", "--out", "h"]);
    assert_eq!(
        (code, err.as_str()),
        (
            2,
            "error: --materials: two of the materials are `A`\n  help: give each a letter and a name of its own\n"
        )
    );
    let (code, _, err) = answer(scratch.path(), &["starter", "--materials", "A,B", "--out", "h"]);
    assert_eq!(
        (code, err.as_str()),
        (
            2,
            "error: materials and soak are for a set that is measured before and after heat\n  \
             help: such as `shrinkrule coupons heat --materials A,B --out DIR`\n"
        )
    );
    let (code, _, err) = answer(scratch.path(), &["heat", "--materials", "PETG"]);
    assert_eq!(code, 2);
    assert!(err.contains("`PETG` is no material; expected a capital letter for its pieces"), "{err}");
    assert!(files(scratch.path()).is_empty());
}
