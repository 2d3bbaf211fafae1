//! The `drive` command, as a person runs it.

mod pulley_setup;

use std::path::Path;

use assert_cmd::Command;
use pulley_setup::{INVENTED, Setup, correction};
use serde_json::Value;

fn drive(folder: &Path, arguments: &[&str]) -> std::process::Output {
    let mut command = Command::cargo_bin("shrinkrule").unwrap();
    command.current_dir(folder).arg("drive").args(arguments).output().unwrap()
}

fn json(arguments: &[&str]) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let run = drive(folder.path(), &[arguments, &["--json"]].concat());
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
    serde_json::from_slice(&run.stdout).unwrap()
}

fn scratch(setup: &Setup) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("petg.correction.toml"), correction(setup).to_toml(None)).unwrap();
    folder
}

fn close(value: &Value, expected: f64) {
    let found = value.as_f64().unwrap();
    assert!((found - expected).abs() < 1.1e-6, "{found} for {expected}");
}

/// Source: worked example W5 of the belt tables: 10 and 60 teeth of T5 on 340 mm. The quadratic would say
/// 71.416053 mm.
#[test]
fn two_pulleys_and_a_belt_give_the_exact_centre_distance() {
    let answer = json(&["--belt", "T5", "--teeth", "10", "60", "--belt-teeth", "68"]);
    let pairs = answer["pairs"].as_array().unwrap();
    assert_eq!(pairs.len(), 1);
    let pair = &pairs[0];
    assert_eq!(
        (&pair["small_teeth"], &pair["large_teeth"], &pair["belt_teeth"]),
        (&10.into(), &60.into(), &68.into())
    );
    close(&pair["ratio"], 6.0);
    close(&pair["belt_length_mm"], 340.0);
    close(&pair["centre_distance_mm"], 71.032788);
    close(&pair["teeth_in_mesh"], 3.107450);
    close(&pair["wrap_small_deg"], 111.868202);
    let note = pair["notes"][0].as_str().unwrap();
    assert!(note.starts_with("3.11 teeth in mesh are fewer than the usual 6"), "{note}");
    // The same the other way round, and by its code.
    let turned = json(&["--belt", "t5", "--teeth", "60", "10", "--length-code", "T5/340"]);
    assert_eq!(turned["pairs"], answer["pairs"]);
}

/// Common practice, no source: the belt 70 XL has 35 teeth and is 177.8 mm long. Source of the rest: worked
/// examples W1 (equal pulleys) and W3 of the belt tables.
#[test]
fn a_length_code_is_a_belt() {
    let answer = json(&["--belt", "XL", "--teeth", "12", "14", "--length-code", "70"]);
    assert_eq!(answer["pairs"][0]["belt_teeth"], 35);
    close(&answer["pairs"][0]["belt_length_mm"], 177.8);
    assert_eq!(
        (&answer["pairs"][0]["length_code"], &answer["pairs"][0]["listed"]),
        (&70.into(), &true.into())
    );
    let answer = json(&["--belt", "XL", "--teeth", "20", "40", "--length-code", "140 XL"]);
    close(&answer["pairs"][0]["centre_distance_mm"], 100.293614);
    let answer = json(&["--belt", "T5", "--teeth", "20", "20", "--belt-teeth", "60"]);
    close(&answer["pairs"][0]["centre_distance_mm"], 100.0);
    close(&answer["pairs"][0]["teeth_in_mesh"], 10.0);
}

/// Source: worked example W3 of the belt tables: 69.886 teeth at 100 mm, and 140 XL is the nearest.
#[test]
fn two_pulleys_and_a_centre_distance_give_the_belts_next_to_it() {
    let answer = json(&["--belt", "XL", "--teeth", "20", "40", "--centre", "100"]);
    close(&answer["at_centre"]["belt_teeth"], 69.885921);
    close(&answer["at_centre"]["belt_length_mm"], 355.020478);
    let teeth: Vec<u64> =
        answer["pairs"].as_array().unwrap().iter().map(|pair| pair["belt_teeth"].as_u64().unwrap()).collect();
    // The listed one above is 70 itself, the one below 65.
    assert_eq!(teeth, [70, 69, 65]);
    close(&answer["pairs"][0]["centre_distance_mm"], 100.293614);
    let listed = json(&["--stock", "XL", "--teeth", "20", "40", "--centre", "100"]);
    assert_eq!(listed["pairs"].as_array().unwrap().len(), 2);
    assert_eq!(listed["pairs"][0], answer["pairs"][0]);
}

#[test]
fn a_search_keeps_every_limit_and_ranks() {
    let arguments = [
        "--ratio", "1.8..2.2", "--within", "70x40", "--centre", "30..60", "--stock", "XL|T5", "--most",
        "1000",
    ];
    let answer = json(&arguments);
    let pairs = answer["pairs"].as_array().unwrap();
    assert_eq!(answer["fitting"].as_u64().unwrap(), pairs.len() as u64);
    assert!(pairs.len() > 10);
    for pair in pairs {
        let number = |key: &str| pair[key].as_f64().unwrap();
        assert!((1.8..=2.2).contains(&number("ratio")), "{pair}");
        assert!((30.0..=60.0).contains(&number("centre_distance_mm")), "{pair}");
        assert!(number("width_mm") <= 70.0 + 1e-6 && number("height_mm") <= 40.0 + 1e-6, "{pair}");
        assert_eq!(pair["listed"], true);
        // 10 teeth is the least of both profiles; all of these are small.
        assert!(number("small_teeth") >= 10.0 && number("teeth_in_mesh") < 6.0);
    }
    // A motor of 28 mm needs a wider box, and must keep clear of the large pulley unless it lies behind a plate.
    let motor = |more: &[&str]| {
        let base =
            ["--ratio", "2", "--within", "110x60", "--centre", "30..60", "--stock", "T5", "--motor", "28"];
        json(&[&base, more].concat())["fitting"].as_u64().unwrap()
    };
    assert!(motor(&["--motor-behind"]) > motor(&[]) && motor(&[]) > motor(&["--gap", "8"]));
}

#[test]
fn any_two_of_pulleys_belt_centre_and_ratio_do() {
    let first = |arguments: &[&str]| json(arguments)["pairs"][0].clone();
    let pair = first(&["--belt", "T5", "--teeth", "20", "--ratio", "2", "--centre", "60"]);
    assert_eq!((&pair["small_teeth"], &pair["large_teeth"]), (&20.into(), &40.into()));
    assert!((pair["centre_distance_mm"].as_f64().unwrap() - 60.0).abs() <= 1.25);
    let pair = first(&["--belt", "T5", "--belt-teeth", "66", "--ratio", "1"]);
    assert_eq!(pair["small_teeth"], pair["large_teeth"]);
    let pair = first(&["--belt", "T5", "--belt-teeth", "66", "--centre", "105"]);
    assert!((pair["centre_distance_mm"].as_f64().unwrap() - 105.0).abs() <= 1.25);
    let all = json(&["--stock", "XL", "--teeth", "20", "40", "--most", "100"]);
    let lengths = all["pairs"].as_array().unwrap();
    // Every listed XL length from 41 teeth on, where the flanges keep 1 mm apart, to 260 XL.
    assert_eq!(lengths.len() as u64, all["fitting"].as_u64().unwrap());
    assert!(lengths.iter().any(|pair| pair["length_code"] == 140) && lengths.len() > 12);
}

#[test]
fn an_idler_takes_up_a_longer_belt() {
    let answer = json(&[
        "--belt",
        "T5",
        "--teeth",
        "20",
        "40",
        "--belt-teeth",
        "66",
        "--centre",
        "85",
        "--idler",
        "back",
        "--idler-diameter",
        "13",
    ]);
    close(&answer["pairs"][0]["centre_distance_mm"], 85.0);
    assert_eq!(answer["idler"]["side"], "back");
    // More wrap than the open drive's 159.3 degrees.
    assert!(answer["pairs"][0]["wrap_small_deg"].as_f64().unwrap() > 180.0);
    let wraps = ["wrap_small_deg", "wrap_large_deg"].map(|key| answer["pairs"][0][key].as_f64().unwrap());
    let idler = answer["idler"]["wrap_deg"].as_f64().unwrap();
    assert!((wraps[0] + wraps[1] - idler - 360.0).abs() < 1e-5);
}

/// Source: worked example W8 of the belt tables, here through the command.
#[test]
fn a_torque_gives_tensions_and_a_caution() {
    let answer = json(&[
        "--belt",
        "XL",
        "--teeth",
        "20",
        "20",
        "--belt-teeth",
        "80",
        "--torque",
        "1",
        "--rpm",
        "1000",
    ]);
    let load = &answer["load"];
    close(&load["pull_n"], 61.842375);
    close(&load["speed_m_s"], 1.693333);
    close(&load["power_w"], 104.719755);
    close(&load["tight_strand_n"], 70.677000);
    close(&load["shaft_n"], 79.511625);
    assert!(
        answer["cautions"][0].as_str().unwrap().starts_with("what the belt may carry is its maker's word")
    );
    let said = answer["sources"].to_string();
    assert!(said.contains("from memory: ANSI/RMA IP-24 tension constants"), "{said}");
}

#[test]
fn few_teeth_are_said_with_their_source_and_by_speed() {
    let notes = |more: &[&str]| {
        let base = ["--belt", "XL", "--teeth", "11", "30", "--belt-teeth", "80"];
        json(&[&base, more].concat())["warnings"].to_string()
    };
    assert!(!notes(&[]).contains("fewer teeth than"));
    let fast = notes(&["--torque", "0.1", "--rpm", "1500"]);
    assert!(
        fast.contains("fewer teeth than the least of XL, 12 at 1500 rpm (from memory: ISO 5295"),
        "{fast}"
    );
    let few = json(&["--belt", "T5", "--teeth", "9", "30", "--belt-teeth", "80"])["warnings"].to_string();
    assert!(few.contains("fewer teeth than the least of T5, 10 (from memory: DIN 7721-2"), "{few}");
}

#[test]
fn a_correction_gives_travel_and_a_mesh_check_and_pictures() {
    let folder = scratch(&INVENTED);
    let run = drive(
        folder.path(),
        &[
            "--belt",
            "T5",
            "--teeth",
            "20",
            "30",
            "--belt-teeth",
            "66",
            "--with",
            "petg.correction.toml",
            "--out",
            "slider.svg",
            "--json",
        ],
    );
    assert_eq!(run.status.code(), Some(0));
    let answer: Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(
        String::from_utf8_lossy(&run.stderr),
        "warning: the belt's teeth do not go into the pulleys printed large, 95 %: 0.009 mm of interference\n\
         warning: the belt's teeth do not go into the pulleys drawn without correction: 0.011 mm of interference\n\
         wrote slider.svg\nwrote slider-mesh.svg\nwrote slider.json\n"
    );
    let printed = &answer["printed"];
    let number = |key: &str| printed[key].as_f64().unwrap();
    // 0.996 d + 0.14 of 30.986 mm.
    close(&printed["small_outside_diameter"]["draw_mm"], (30.985989 - 0.14) / 0.996);
    assert!((number("travel_mm") - 2.0 * number("half95_mm")).abs() < 2e-6);
    assert!((number("low95_mm") + number("half95_mm") - number("nominal_mm")).abs() < 2e-6);
    assert!(number("prints_half95_mm") > number("prints_apart_half95_mm"));
    // The belt's own 0.32 mm either way moves the centres by half of that.
    assert!((number("belt_half_mm") - 0.16).abs() < 2e-3, "{printed}");
    assert!((number("nominal_mm") - answer["pairs"][0]["centre_distance_mm"].as_f64().unwrap()).abs() < 1e-9);

    let states: Vec<&str> =
        answer["mesh"].as_array().unwrap().iter().map(|mesh| mesh["state"].as_str().unwrap()).collect();
    assert_eq!(states, ["wanted", "printed", "printed_large", "printed_small", "uncorrected"]);
    let mesh = |at: usize| &answer["mesh"][at];
    assert!((mesh(0)["least_mm"].as_f64().unwrap() - mesh(1)["least_mm"].as_f64().unwrap()).abs() < 2e-6);
    close(&mesh(0)["pulleys"][0]["phase_deg"], 180.0);
    close(&mesh(0)["pulleys"][1]["phase_deg"], 0.0);
    // Gaps 0.18 mm and more too narrow: not even T5's 0.05 mm under the crest is left.
    assert!(mesh(4)["least_mm"].as_f64().unwrap() < 0.0, "{}", mesh(4));
    let warned = answer["warnings"].to_string();
    assert!(warned.contains("do not go into the pulleys drawn without correction"), "{warned}");

    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    let beside: Value = serde_json::from_str(&read("slider.json")).unwrap();
    assert_eq!(beside, answer);
    assert!(read("slider.svg").contains("scale 1:1") && read("slider.svg").ends_with("</svg>\n"));
    assert!(
        read("slider-mesh.svg").contains("printed large, 95 %")
            && read("slider-mesh.svg").contains("#D55E00")
    );
}

#[test]
fn the_table_says_what_a_person_needs() {
    let folder = tempfile::tempdir().unwrap();
    let run =
        drive(folder.path(), &["--belt", "T5", "--teeth", "20", "20", "--belt-teeth", "150", "--sources"]);
    assert_eq!(run.status.code(), Some(0));
    assert_eq!(String::from_utf8_lossy(&run.stderr), "");
    let text = String::from_utf8(run.stdout).unwrap();
    let row = "T5      20    20   1.0000    150    750   750.000   325.000   10.00   180.0   358.0 x 33.0";
    assert!(text.contains(row), "{text}");
    assert_eq!(text.lines().find(|line| line.ends_with(' ')), None);
    assert!(
        text.contains("as wanted                       20 180.00       11    0.050  crest of tooth 1  "),
        "{text}"
    );
    assert!(text.contains("belt length: from memory: DIN 7721-1 and common stock lengths"), "{text}");
    let first = |most: &str| {
        let search = ["--belt", "T5", "--ratio", "2", "--within", "110x60", "--centre", "40", "--most", most];
        let text = String::from_utf8(drive(folder.path(), &search).stdout).unwrap();
        text.lines().next().unwrap().rsplit_once("; ").unwrap().1.to_owned()
    };
    assert_eq!([first("1"), first("2"), first("20")], ["the best:", "the best 2:", "the best first:"]);
}

#[test]
fn nothing_that_fits_is_answered_with_no() {
    let folder = tempfile::tempdir().unwrap();
    let run = drive(folder.path(), &["--ratio", "2", "--within", "20x20", "--stock", "XL", "--json"]);
    assert_eq!(run.status.code(), Some(1));
    let answer: Value = serde_json::from_slice(&run.stdout).unwrap();
    assert_eq!(answer["pairs"], serde_json::json!([]));
    assert_eq!(answer["fitting"], 0);
    let given = ["--belt", "T5", "--teeth", "20", "40", "--belt-teeth", "66", "--within"];
    // 88.566 + 16.493 + 32.408 mm long, 64.817 mm high; either way round.
    let run = drive(folder.path(), &[&given[..], &["70x140"]].concat());
    assert_eq!((run.status.code(), run.stderr.len()), (Some(0), 0));
    let run = drive(folder.path(), &[&given[..], &["140x60"]].concat());
    assert_eq!(run.status.code(), Some(1));
    assert_eq!(
        String::from_utf8_lossy(&run.stderr),
        "warning: the drive takes 137.5 x 64.8 mm and does not lie in 140 x 60 mm\n"
    );
    let run = drive(folder.path(), &["--ratio", "2", "--within", "20x20", "--stock", "XL"]);
    let said = String::from_utf8_lossy(&run.stdout).into_owned();
    assert!(said.starts_with("nothing fits: none of "), "{said}");
}

#[test]
fn same_input_same_bytes() {
    let folder = scratch(&INVENTED);
    let bytes = |name: &str| {
        let out = format!("{name}/d.svg");
        let run = drive(
            folder.path(),
            &[
                "--belt",
                "XL",
                "--teeth",
                "12",
                "24",
                "--belt-teeth",
                "50",
                "--with",
                "petg.correction.toml",
                "--out",
                &out,
            ],
        );
        assert!(run.stderr.ends_with(format!("wrote {name}/d.json\n").as_bytes()), "{run:?}");
        ["d.svg", "d-mesh.svg", "d.json"]
            .map(|file| std::fs::read(folder.path().join(name).join(file)).unwrap())
    };
    assert!(bytes("a") == bytes("b"), "two runs differ");
}

#[test]
fn what_is_wrong_with_the_call_is_said_and_nothing_is_written() {
    let folder = scratch(&INVENTED);
    for (arguments, expected) in [
        (
            vec!["--belt", "XLL", "--teeth", "20", "40", "--belt-teeth", "70"],
            "error: `XLL` is no belt profile that is known here; known are MXL, XXL, XL, L, H, XH, XXH, T2.5, T5, \
             T10, T20\n  help: did you mean XXL?\n",
        ),
        (
            vec!["--belt", "XL", "--teeth", "20", "40", "--length-code", "71"],
            "error: no XL belt has the code 71: 35.50 teeth would be that long\n  help: 70 and 72 would be codes\n",
        ),
        (
            vec!["--belt", "T5", "--teeth", "20", "40", "--belt-teeth", "30"],
            "error: a belt of 30 teeth is too short for pulleys of 20 and 40: at 50 teeth their tips touch\n",
        ),
        (
            vec!["--belt", "T5", "--teeth", "20", "40", "--centre", "20"],
            "error: pulleys of 20 and 40 teeth touch at a centre distance of 46.90 mm; 20.00 mm is less\n",
        ),
        (
            vec!["--belt", "T5", "--teeth", "20", "40", "--belt-teeth", "66", "--centre", "85"],
            "error: pulleys, belt and centre distance are all given: two of them give the third\n  help: leave one out, \
             or add --idler back or --idler inside to take up the rest of the belt\n",
        ),
        (
            vec!["--belt", "T5", "--teeth", "20"],
            "error: too little is given: of pulleys, belt, centre distance and ratio two give the rest\n  help: give two \
             of --teeth Z1 Z2, --belt-teeth N (or --length-code), --centre MM and --ratio R\n",
        ),
        (
            vec![
                "--belt",
                "T5",
                "--teeth",
                "20",
                "40",
                "--belt-teeth",
                "66",
                "--centre",
                "85",
                "--idler",
                "back",
            ],
            "error: the idler's size is missing\n  help: add --idler-diameter MM, or --idler-teeth N for a toothed one \
             on the inside\n",
        ),
        (
            vec!["--belt", "T5", "--teeth", "20", "40", "--belt-teeth", "66", "--out", "d.png"],
            "error: --out d.png: the name must end in .svg\n",
        ),
    ] {
        let run = drive(folder.path(), &arguments);
        assert_eq!(String::from_utf8_lossy(&run.stderr), expected, "{arguments:?}");
        assert_eq!(run.status.code(), Some(2), "{arguments:?}");
        assert!(run.stdout.is_empty(), "{arguments:?}");
    }
    let run = drive(folder.path(), &["--belt", "T5", "--teeth", "20", "40", "--centre", "60..30"]);
    assert_eq!(run.status.code(), Some(2));
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    assert!(said.contains("'60..30' for '--centre <MM>': 60 is above 30; expected LOW..HIGH"), "{said}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1);
}

#[test]
fn the_picture_in_the_readme_is_the_one_that_the_command_makes() {
    let folder = tempfile::tempdir().unwrap();
    let words = "--belt T5 --teeth 20 40 --belt-teeth 66 --motor 42 --motor-behind --out drive.svg";
    let run = drive(folder.path(), &words.split(' ').collect::<Vec<_>>());
    assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
    let made = std::fs::read(folder.path().join("drive.svg")).unwrap();
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/pictures/drive.svg");
    if std::env::var_os("SHRINKRULE_REWRITE_GOLDEN").is_some() {
        std::fs::write(&kept, &made).unwrap();
    }
    let same = std::fs::read(kept).is_ok_and(|found| found == made);
    assert!(same, "data/pictures/drive.svg is not what the command makes; rewrite it and look at it");
}

/// Grooves that leave room for the seated tooth, but not for its way in from the straight belt, are said; so is that
/// the involutes of the same pulley do.
#[test]
fn a_tooth_that_rubs_on_its_way_in_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let of = |flank: &str, out: &str| {
        let drive_of = ["--belt", "XH", "--teeth", "20", "30", "--belt-teeth", "60"];
        let run =
            drive(folder.path(), &[&drive_of[..], &["--flank", flank, "--out", out, "--json"]].concat());
        assert_eq!(run.status.code(), Some(0), "{}", String::from_utf8_lossy(&run.stderr));
        let answer: Value = serde_json::from_slice(&run.stdout).unwrap();
        (answer, String::from_utf8(run.stderr).unwrap())
    };
    let (straight, said) = of("straight", "straight.svg");
    assert!(
        said.contains("a belt tooth rubs on the pulley of 20 teeth as wanted as it swings in: 0.11"),
        "{said}"
    );
    let pulley = &straight["mesh"][0]["pulleys"][0];
    assert!(pulley["least_mm"].as_f64().unwrap() > 0.1 && pulley["swing_in_mm"].as_f64().unwrap() < -0.1);
    assert_eq!(pulley["swing_in_place"], "trailing_flank");
    let (involute, said) = of("involute", "involute.svg");
    assert!(!said.contains("rubs"), "{said}");
    assert!(involute["mesh"][0]["pulleys"][0]["swing_in_mm"].as_f64().unwrap() > 0.0);
    let groove = |answer: &Value| {
        let sources = answer["sources"].as_array().unwrap().clone();
        sources.into_iter().find(|source| source["what"] == "groove").unwrap()["source"].clone()
    };
    assert_ne!(groove(&straight), groove(&involute));
}
