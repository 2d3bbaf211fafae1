//! Drawings of a parts list and coupons for one, as a person asks for them.

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

fn run(folder: &Path, arguments: &[&str]) -> std::process::Output {
    Command::cargo_bin("shrinkrule").unwrap().current_dir(folder).args(arguments).output().unwrap()
}

fn scratch() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for (from, to) in [
        ("data/demo/slider-parts.csv", "parts.csv"),
        ("tests/data/known.correction.toml", "known.correction.toml"),
    ] {
        std::fs::copy(root.join(from), folder.path().join(to)).unwrap();
    }
    folder
}

#[test]
fn a_parts_list_is_drawn_dimension_by_dimension_with_a_sheet_beside() {
    let folder = scratch();
    let list = "part,dimension,kind,axis,target_mm\nidler,bearing seat,bore,,22\nidler,axle,pin,,8\nclip,slot,gap,x,4\n";
    std::fs::write(folder.path().join("parts.csv"), list).unwrap();
    let arguments = ["parts", "parts.csv", "--with", "known.correction.toml", "--out", "drawn.csv"];
    let out = run(folder.path(), &[&arguments[..], &["--drawing", "parts.html"]].concat());
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let page = std::fs::read_to_string(folder.path().join("parts.html")).unwrap();
    assert_eq!((page.matches("<figure>").count(), page.matches("<section>").count()), (3, 2));
    assert!(page.contains("<strong>bearing seat</strong> (bore, 1:1)<br>wanted 22.00<br>"), "{page}");
    let sheet = std::fs::read_to_string(folder.path().join("parts-readings.csv")).unwrap();
    let rows: Vec<&str> = sheet.lines().skip_while(|line| !line.starts_with("setup,")).collect();
    assert_eq!(rows.len(), 4);
    assert!(rows[1].starts_with("known,idler,bearing seat,bore,round,"), "{}", rows[1]);
    // A second run writes over nothing.
    let again = run(
        folder.path(),
        &["parts", "parts.csv", "--with", "known.correction.toml", "--drawing", "parts.html", "--json"],
    );
    assert_eq!(again.status.code(), Some(2));
}

#[test]
fn coupons_for_a_parts_list_have_its_kinds_its_nut_pocket_and_its_belt() {
    let folder = scratch();
    let out = run(folder.path(), &["coupons", "--for", "parts.csv", "--belt", "XL", "--out", "c", "--json"]);
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    let answer: Value = serde_json::from_slice(&out.stdout).unwrap();
    let covered = answer["covered"].as_array().unwrap();
    assert_eq!(covered.len(), 15);
    let nut = covered.iter().find(|of| of["dimension"] == "nut pocket").unwrap();
    assert_eq!((nut["coupon"].as_str(), nut["coupon_mm"].as_f64()), (Some("nut-pocket ring"), Some(5.7)));
    let forms: Vec<&str> = answer["sets"][0]["coupons"]
        .as_array()
        .unwrap()
        .iter()
        .map(|coupon| coupon["form"].as_str().unwrap())
        .collect();
    for form in ["bore ring", "shaft pins", "span bar", "height steps", "nut-pocket ring", "horizontal bores"]
    {
        assert!(forms.contains(&form), "{form} {forms:?}");
    }
    assert_eq!(forms.iter().filter(|form| **form == "belt rack").count(), 2);
    assert!(folder.path().join("c/measuring-guide.html").exists());
}

#[test]
fn a_belt_that_nobody_knows_and_a_list_with_a_slip_are_refused() {
    let folder = scratch();
    let out = run(folder.path(), &["coupons", "--for", "parts.csv", "--belt", "XLL", "--out", "c"]);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).starts_with("error: `XLL` is no belt profile"));
    std::fs::write(folder.path().join("bad.csv"), "kind,target_mm\nbore,\n").unwrap();
    let out = run(folder.path(), &["coupons", "--for", "bad.csv", "--out", "c"]);
    assert_eq!(
        String::from_utf8_lossy(&out.stderr),
        "error: bad.csv:2: no size is given\n  help: give the size that is wanted, limits, or a mate and a fit\n1 problem in bad.csv; nothing was written\n"
    );
    assert!(!folder.path().join("c").exists());
}
