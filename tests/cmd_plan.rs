//! `plan`: from a parts list to a coupon set, and on to solids; and `fit --like` on a folder.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(arguments: &[&str]) -> Ran {
    let command = Command::cargo_bin("shrinkrule").unwrap().args(arguments).output().unwrap();
    Ran {
        code: command.status.code().unwrap(),
        out: String::from_utf8(command.stdout).unwrap(),
        err: String::from_utf8(command.stderr).unwrap(),
    }
}

const LIST: &str = "\
part,dimension,kind,axis,target_mm,lower_mm,upper_mm,fit,mate_mm
carriage,rod bore,bore,,8,7.85,8.15,,
carriage,belt clip,gap,x,2.3,2.1,2.5,,
mount,holes,span,x,31,30.85,31.15,,
mount,height,height,z,42,,,,
";

fn list(folder: &Path, text: &str) -> String {
    let path = folder.join("parts.csv");
    fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

fn json(ran: &Ran) -> serde_json::Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|_| panic!("{}{}", ran.out, ran.err))
}

#[test]
fn a_plan_keeps_every_limit_and_its_set_can_be_printed() {
    let scratch = tempfile::tempdir().unwrap();
    let parts = list(scratch.path(), LIST);
    let set = scratch.path().join("set.toml");
    let ran = run(&["plan", "--for", &parts, "--out", set.to_str().unwrap(), "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let answer = json(&ran);
    for dimension in answer["dimensions"].as_array().unwrap() {
        let half = dimension["half_width_mm"].as_f64().unwrap();
        assert!(half > dimension["least_half_width_mm"].as_f64().unwrap());
        match dimension["room_mm"].as_f64() {
            Some(room) => assert!(half <= room && dimension["verdict"] == "keeps", "{dimension}"),
            None => assert_eq!(dimension["verdict"], "no_limits"),
        }
        assert_eq!(dimension["beyond_mm"], 0.0, "{dimension}");
    }
    // End to end: the set makes solids and a sheet with as many features as the plan says.
    let folder = scratch.path().join("coupons");
    let made = run(&["coupons", "--set", set.to_str().unwrap(), "--out", folder.to_str().unwrap(), "--json"]);
    assert_eq!(made.code, 0, "{}", made.err);
    assert_eq!(json(&made)["sets"][0]["features"], answer["features"]);
    let solids = fs::read_dir(&folder).unwrap().filter(|entry| {
        entry.as_ref().unwrap().path().extension().is_some_and(|extension| extension == "stl")
    });
    assert_eq!(solids.count(), json(&made)["sets"][0]["coupons"].as_array().unwrap().len());
}

#[test]
fn more_prints_and_more_features_never_widen_an_interval() {
    let scratch = tempfile::tempdir().unwrap();
    let parts = list(scratch.path(), LIST);
    let answer = json(&run(&["plan", "--for", &parts, "--json"]));
    let trade = answer["trade"].as_array().unwrap();
    assert_eq!(trade.len(), 12);
    let number = |way: &serde_json::Value, key: &str| way[key].as_u64().unwrap();
    for one in trade {
        for other in trade {
            let more = number(one, "prints") <= number(other, "prints")
                && number(one, "features") <= number(other, "features");
            let halves = |way: &serde_json::Value| -> Vec<f64> {
                way["half_widths_mm"].as_array().unwrap().iter().map(|half| half.as_f64().unwrap()).collect()
            };
            let (before, after) = (halves(one), halves(other));
            assert!(!more || before.iter().zip(&after).all(|(a, b)| *b <= a * 1.02), "{one} {other}");
        }
    }
}

#[test]
fn a_limit_that_no_coupon_reaches_is_named_with_what_would_do() {
    let scratch = tempfile::tempdir().unwrap();
    let tight = "part,dimension,kind,target_mm,lower_mm,upper_mm\n\
                 hub,bearing seat,bore,22,21.95,22.05\nhub,rim,pin,30,29.8,30.2\n";
    let parts = list(scratch.path(), tight);
    let ran = run(&["plan", "--for", &parts]);
    assert_eq!(ran.code, 1);
    // P and F of the typical class, 0.030 and 0.025 mm, and 0.00025 of 22 mm: 1.96 x 0.0396 mm.
    let sentence = "hub bearing seat: how prints and features differ is ±0.078 mm alone; no number of coupons \
                    reaches ±0.045; it takes limits of ±";
    assert!(ran.err.contains(sentence), "{}", ran.err);
    assert!(ran.err.contains("1 of 2 dimensions does not keep the limits"), "{}", ran.err);
    assert!(ran.out.contains("out of reach"), "{}", ran.out);
    // A printer that repeats three times better reaches it.
    assert_eq!(run(&["plan", "--for", &parts, "--printer", "good"]).code, 0);
}

#[test]
fn the_same_list_gives_the_same_bytes_and_an_existing_set_is_kept() {
    let scratch = tempfile::tempdir().unwrap();
    let parts = list(scratch.path(), LIST);
    let set = scratch.path().join("set.toml");
    let call = ["plan", "--for", &parts, "--out", set.to_str().unwrap()];
    let first = run(&call);
    let bytes = fs::read(&set).unwrap();
    assert_eq!(run(&call).code, 2);
    let again = run(&[&call[..], &["--force"]].concat());
    assert_eq!((first.code, &first.out), (again.code, &again.out));
    assert_eq!(fs::read(&set).unwrap(), bytes);
}

#[test]
fn every_line_that_asks_for_nothing_is_told_in_one_go_and_nothing_is_written() {
    let scratch = tempfile::tempdir().unwrap();
    let text = "part,dimension,kind,target_mm,lower_mm,upper_mm\nhub,a,bore,8,7.9,\nhub,b,pin,9,7,8\n";
    let parts = list(scratch.path(), text);
    let set = scratch.path().join("set.toml");
    let ran = run(&["plan", "--for", &parts, "--out", set.to_str().unwrap()]);
    assert_eq!((ran.code, ran.out.as_str(), set.exists()), (2, "", false));
    assert!(ran.err.contains("parts.csv:2: lower_mm is given without upper_mm"), "{}", ran.err);
    assert!(ran.err.contains("parts.csv:3: the size that is wanted"), "{}", ran.err);
    assert!(ran.err.contains("2 problems in"), "{}", ran.err);
}

#[test]
fn a_set_for_a_small_bed_fits_on_it() {
    let odd = "kind,axis,target_mm,lower_mm,upper_mm\nspan,d45,40,39.8,40.2\nheight,z,3,2.8,3.2\n\
               horizontal_bore,x,5,4.8,5.2\nouter,x,150,149.7,150.3\n";
    let scratch = tempfile::tempdir().unwrap();
    let odd = list(scratch.path(), odd);
    for (number, (parts, bed)) in
        [("data/demo/slider-parts.csv", "120x120"), (&odd, "60x60"), (&odd, "200x200")]
            .into_iter()
            .enumerate()
    {
        let set = scratch.path().join(format!("set{number}.toml"));
        let set = set.to_str().unwrap();
        let ran = run(&["plan", "--for", parts, "--bed", bed, "--out", set, "--json"]);
        assert!(ran.code == 0 || ran.code == 1, "{}", ran.err);
        let folder = scratch.path().join(format!("coupons{number}"));
        let made = run(&["coupons", "--set", set, "--bed", bed, "--out", folder.to_str().unwrap()]);
        assert_eq!(made.code, 0, "{}", made.err);
    }
    let ran = run(&["plan", "--for", &odd, "--bed", "30x30"]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(ran.err.contains("no coupon with horizontal bores fits on a bed of 30 x 30 mm"), "{}", ran.err);
}

/// A readings sheet of a setup whose walls swell by `swell_mm`, with scatter that is written down here.
fn sheet(setup: &str, swell_mm: f64, sizes: &[f64]) -> String {
    let mut text = "setup,coupon,feature,kind,axis,nominal_mm,copy,reading_1_mm,reading_2_mm\n".to_owned();
    let scatter = [0.01, -0.02, 0.02, 0.0, -0.01, 0.03, -0.03, 0.01, 0.0, -0.01, 0.02];
    let mut number = 0;
    for copy in [1, 2] {
        for size in sizes {
            for (kind, axis, sign, own) in
                [("bore", "x", -2.0, -0.05), ("pin", "y", 2.0, 0.0), ("span", "x", 0.0, 0.0)]
            {
                let drawn = if kind == "span" { 5.0 * size } else { *size };
                let printed = 0.997 * drawn + sign * swell_mm + own + scatter[number * 7 % 11];
                let second = printed + 0.01 * f64::from(u32::from(number % 3 == 0));
                text += &format!(
                    "{setup},C{kind},{kind}{drawn},{kind},{axis},{drawn},{copy},{printed:.2},{second:.2}\n"
                );
                number += 1;
            }
        }
    }
    text
}

#[test]
fn a_fit_borrows_from_a_folder_and_says_from_whom_and_how_much() {
    let scratch = tempfile::tempdir().unwrap();
    let path = |name: &str| scratch.path().join(name).to_str().unwrap().to_owned();
    let earlier = path("earlier");
    fs::create_dir(&earlier).unwrap();
    let fit = |readings: &str, out: &str, more: &[&str]| {
        let call = ["fit", readings, "--method", "structured", "--out", out, "--force", "--json"];
        run(&[&call[..], more].concat())
    };
    for (setup, swell) in [("petg-a", 0.050), ("petg-b", 0.056), ("petg-c", 0.046)] {
        let readings = path(&format!("{setup}.csv"));
        fs::write(&readings, sheet(setup, swell, &[4.0, 6.0, 8.0, 12.0])).unwrap();
        let ran = fit(&readings, &format!("{earlier}/{setup}.correction.toml"), &[]);
        assert_eq!(ran.code, 0, "{}", ran.err);
    }
    fs::write(
        format!("{earlier}/old.correction.toml"),
        fs::read("tests/data/known.correction.toml").unwrap(),
    )
    .unwrap();
    let readings = path("new.csv");
    fs::write(&readings, sheet("petg-new", 0.052, &[5.0, 10.0])).unwrap();
    let out = path("new.correction.toml");
    let ran = fit(&readings, &out, &["--like", &earlier]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.err.contains("lends nothing: it was fitted by least squares"), "{}", ran.err);
    let borrowed = &json(&ran)["setups"][0]["borrowed"];
    assert_eq!(borrowed["lenders"], serde_json::json!(["petg-a", "petg-b", "petg-c"]));
    let shares = borrowed["shares"].as_array().unwrap();
    let bores = shares.iter().find(|share| share["of"] == "offset of bores").unwrap();
    assert!((0.1..1.0).contains(&bores["share"].as_f64().unwrap()), "{borrowed}");
    assert!(borrowed["p_alike"].as_f64().unwrap() > 0.05);
    let text = fs::read_to_string(&out).unwrap();
    assert!(text.contains("borrowed from your 3 earlier setups (petg-a, petg-b, petg-c): offset of bores"));
    // What has borrowed does not lend, and one's own readings are not lent to oneself.
    fs::copy(&out, format!("{earlier}/new.correction.toml")).unwrap();
    let again = fit(&readings, &out, &["--like", &earlier]);
    assert!(again.err.contains("lends nothing: it has itself borrowed"), "{}", again.err);
    let own = fit(&path("petg-a.csv"), &path("a.correction.toml"), &["--like", &earlier]);
    assert_eq!(json(&own)["setups"][0]["borrowed"]["lenders"], serde_json::json!(["petg-b", "petg-c"]));
    // Too few are said and ignored.
    for name in ["petg-a", "petg-b"] {
        fs::remove_file(format!("{earlier}/{name}.correction.toml")).unwrap();
    }
    let alone = fit(&readings, &out, &["--like", &earlier]);
    assert_eq!(alone.code, 0);
    assert!(alone.err.contains("one correction that lends here; it takes 2"), "{}", alone.err);
    assert!(json(&alone)["setups"][0].get("borrowed").is_none());
}

/// Earlier prints of the setup are pooled, and other setups lend to what comes of it.
#[test]
fn pooling_and_borrowing_go_together_and_no_reading_counts_twice() {
    let scratch = tempfile::tempdir().unwrap();
    let path = |name: &str| scratch.path().join(name).to_str().unwrap().to_owned();
    let folder = path("earlier");
    fs::create_dir(&folder).unwrap();
    let fit = |readings: &str, out: &str, more: &[&str]| {
        let ran = run(&[&["fit", readings, "--out", out, "--force", "--json"][..], more].concat());
        assert_eq!(ran.code, 0, "{}", ran.err);
        ran
    };
    for (setup, swell) in [("petg-a", 0.050), ("petg-b", 0.056), ("petg-c", 0.046)] {
        let readings = path(&format!("{setup}.csv"));
        fs::write(&readings, sheet(setup, swell, &[4.0, 6.0, 8.0, 12.0])).unwrap();
        fit(&readings, &format!("{folder}/{setup}.correction.toml"), &[]);
    }
    let (first, second, out) = (path("first.csv"), path("second.csv"), path("out.correction.toml"));
    fs::write(&first, sheet("petg-new", 0.052, &[5.0, 10.0])).unwrap();
    fs::write(&second, sheet("petg-new", 0.053, &[4.0, 10.0])).unwrap();
    // What the setup's earlier prints gave lies in the folder like all others.
    fit(&first, &format!("{folder}/new-first.correction.toml"), &[]);
    let both = fit(&second, &out, &["--add", &first, "--like", &folder]);
    let setup = |ran: &Ran| json(ran)["setups"][0].clone();
    let of_both = setup(&both);
    assert_eq!(of_both["borrowed"]["lenders"], serde_json::json!(["petg-a", "petg-b", "petg-c"]));
    let warnings: Vec<&str> =
        of_both["warnings"].as_array().unwrap().iter().map(|warning| warning.as_str().unwrap()).collect();
    assert!(warnings[0].starts_with("pooled with 2 prints of first.csv (SHA-256 "), "{warnings:?}");
    assert!(warnings.iter().any(|warning| warning.starts_with("borrowed from your 3 earlier setups")));
    assert_eq!(of_both["prints"], 4);
    // More is known than by either way alone.
    let error = |setup: &serde_json::Value| setup["kinds"]["bore"]["offset_se_mm"].as_f64().unwrap();
    let added = setup(&fit(&second, &path("add.correction.toml"), &["--add", &first]));
    assert!(error(&of_both) < 0.98 * error(&added), "{of_both} {added}");
    fs::remove_file(format!("{folder}/new-first.correction.toml")).unwrap();
    let liked = setup(&fit(&second, &path("like.correction.toml"), &["--like", &folder]));
    assert!(error(&of_both) < 0.98 * error(&liked), "{of_both} {liked}");
    // The pooled correction rests on both sheets, and lends to neither of them.
    fs::copy(path("add.correction.toml"), format!("{folder}/pooled.correction.toml")).unwrap();
    for sheet in [&first, &second] {
        let own = setup(&fit(sheet, &out, &["--like", &folder]));
        assert_eq!(own["borrowed"]["lenders"], serde_json::json!(["petg-a", "petg-b", "petg-c"]), "{sheet}");
    }
    // Too few lenders: pooled all the same.
    let empty = path("none");
    fs::create_dir(&empty).unwrap();
    let ran = fit(&second, &out, &["--add", &first, "--like", &empty]);
    assert!(ran.err.contains("nothing was borrowed"), "{}", ran.err);
    assert_eq!((&setup(&ran)["prints"], setup(&ran).get("borrowed")), (&serde_json::json!(4), None));
}

#[test]
fn least_squares_does_not_borrow() {
    let scratch = tempfile::tempdir().unwrap();
    let readings = scratch.path().join("new.csv");
    fs::write(&readings, sheet("new", 0.05, &[5.0, 10.0])).unwrap();
    let folder = scratch.path().to_str().unwrap();
    let call = ["fit", readings.to_str().unwrap(), "--method", "least-squares", "--like", folder, "--json"];
    let ran = run(&call);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(ran.err.contains("least squares does not borrow"), "{}", ran.err);
}
