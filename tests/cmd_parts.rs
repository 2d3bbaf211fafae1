//! `parts`: the whole command, from a list on the disk to the answer on the disk.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

const KNOWN: &str = "tests/data/known.correction.toml";

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(arguments: &[&str]) -> Ran {
    let command = Command::cargo_bin("shrinkrule").unwrap().arg("parts").args(arguments).output().unwrap();
    Ran {
        code: command.status.code().unwrap(),
        out: String::from_utf8(command.stdout).unwrap(),
        err: String::from_utf8(command.stderr).unwrap(),
    }
}

/// Runs the list in a scratch folder; what it said and what it wrote.
fn parts(list: &[u8], more: &[&str]) -> (Ran, Option<String>, Vec<String>) {
    let scratch = tempfile::tempdir().unwrap();
    let known = fs::canonicalize(KNOWN).unwrap();
    let (input, output) = (scratch.path().join("parts.csv"), scratch.path().join("sized.csv"));
    fs::write(&input, list).unwrap();
    let paths = [&input, &known, &output].map(|path| path.to_str().unwrap());
    let ran = run(&[&[paths[0], "--with", paths[1], "--out", paths[2]], more].concat());
    let folder = format!("{}/", scratch.path().display());
    let names =
        fs::read_dir(scratch.path()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let ran = Ran { err: ran.err.replace(&folder, ""), ..ran };
    (ran, fs::read_to_string(&output).ok(), names.collect())
}

const MIXED: &str = "\
part,dimension,kind,axis,target_mm,lower_mm,upper_mm,class,fit,mate_mm,supplier
hub,bore,bore,,8,,,,slide,,\"shop, town\"
hub,height,height,z,12,11.9,12.1,,,,
hub,rim,pin,,25,,,h11,,,
rail,holes,span,x,31,30.9,31.1,,,,
seat,bearing,bore,,,,,,press,22,
foot,slot,gap,y,6,,,H77,,,
";

#[test]
fn the_lines_that_can_be_met_come_out_and_the_others_say_why() {
    let (ran, written, _) = parts(MIXED.as_bytes(), &[]);
    assert_eq!(ran.code, 1);
    assert_eq!(
        written.unwrap(),
        "\
part,dimension,kind,axis,target_mm,lower_mm,upper_mm,class,fit,mate_mm,supplier,draw_mm,expected_mm,low95_mm,high95_mm,chance,note
hub,bore,bore,,8,,,,slide,,\"shop, town\",8.33,8.097,8.027,8.166,0.855,\"aimed at 8.10, the middle of slide on 8.00 (8.05 to 8.15)\"
hub,height,height,z,12,11.9,12.1,,,,,,,,,,\"the correction of `known` has no heights: none was measured; print and measure a coupon that has heights, and fit again\"
hub,rim,pin,,25,,,h11,,,,24.91,24.930,24.861,25.000,0.935,\"aimed at 24.935, the middle of h11 on 25.00 (24.87 to 25.00)\"
rail,holes,span,x,31,30.9,31.1,,,,,31.12,30.996,30.926,31.065,0.992,\"31.12 mm lies 1.12 mm outside the sizes of spans that were measured, 3 to 30 mm: the correction is stretched beyond what it knows\"
seat,bearing,bore,,,,,,press,22,,22.17,21.881,21.812,21.951,0.853,\"aimed at 21.886, the middle of press on 22.00 (21.836 to 21.936); pressed in: mind the caution\"
foot,slot,gap,y,6,,,H77,,,,,,,,,`H77`: no table here has the grade 77; expected 1 to 16
"
    );
    assert_eq!(
        ran.out,
        "\
part  dimension  kind    target mm  draw mm  prints mm  95 % from     to     chance
hub   bore       bore         8.10     8.33       8.10       8.03   8.17       86 %
hub   height     height                   -                                          cannot be met
hub   rim        pin         24.93    24.91      24.93      24.86  25.00       93 %
rail  holes      span        31.00    31.12      31.00      30.93  31.06  over 99 %  beyond the measured range
seat  bearing    bore        21.89    22.17      21.88      21.81  21.95       85 %
foot  slot       gap                      -                                          cannot be met
"
    );
    assert_eq!(
        ran.err,
        "\
warning: a pressed part can burst: wear eye protection, press slowly and in line, and follow the rules of your workshop and of the bought part's maker
wrote sized.csv
error: parts.csv:3: the correction of `known` has no heights: none was measured
  help: print and measure a coupon that has heights, and fit again
error: parts.csv:7: `H77`: no table here has the grade 77; expected 1 to 16
2 of 6 lines cannot be met: lines 3, 7
"
    );
}

#[test]
fn the_same_list_gives_the_same_bytes_and_an_answer_is_not_overwritten() {
    let list = b"kind,target_mm\nbore,8\n";
    assert_eq!(parts(list, &[]).1, parts(list, &[]).1);
    let scratch = tempfile::tempdir().unwrap();
    let (input, output) = (scratch.path().join("parts.csv"), scratch.path().join("sized.csv"));
    fs::write(&input, list).unwrap();
    fs::write(&output, "mine").unwrap();
    let call = [input.to_str().unwrap(), "--with", KNOWN, "--out", output.to_str().unwrap()];
    assert_eq!(run(&call).code, 2);
    assert_eq!(fs::read_to_string(&output).unwrap(), "mine");
    assert_eq!(run(&[&call[..], &["--force"]].concat()).code, 0);
    assert!(fs::read_to_string(&output).unwrap().starts_with("kind,target_mm,draw_mm"));
}

#[test]
fn a_list_that_cannot_be_read_is_told_as_a_whole_and_nothing_is_written() {
    let (ran, written, names) = parts(b"part,kind,target_mm\nhub,boer,8.o5\nhub,pin,eight\n", &[]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert_eq!(
        ran.err,
        "\
error: parts.csv:2: kind: `boer` is no kind; expected one of bore, horizontal_bore, pin, gap, outer, span, height
  help: did you mean `bore`?
error: parts.csv:2: target_mm: `8.o5` is not a number
  help: did you mean 8.05?
error: parts.csv:3: target_mm: `eight` is not a number
3 problems in parts.csv; nothing was sized
"
    );
    assert_eq!((written, names), (None, vec!["parts.csv".to_owned()]));
    let (ran, ..) = parts(b"part,dimension,target_mm\nhub,bore,8\n", &[]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.starts_with("error: parts.csv:1: there is no column `kind`\n"), "{}", ran.err);
}

#[test]
fn a_spreadsheets_export_comes_back_in_its_own_form() {
    let list = "kind;target_mm;fit;Bemerkung\r\nbore;8,0;slide;für die Stange\r\npin;5,0;;\r\n;;;\r\n";
    let expected = "\
kind;target_mm;fit;Bemerkung;draw_mm;expected_mm;low95_mm;high95_mm;chance;note
bore;8,0;slide;für die Stange;8,33;8,097;8,027;8,166;0,855;aimed at 8.10, the middle of slide on 8.00 (8.05 to 8.15)
pin;5,0;;;4,90;5,000;4,931;5,070;;
";
    let marked = [b"\xef\xbb\xbf", list.as_bytes()].concat();
    let utf16: Vec<u8> =
        "\u{feff}".encode_utf16().chain(list.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    let (windows, _, _) = encoding_rs::WINDOWS_1252.encode(list);
    for bytes in [list.as_bytes(), &marked, &utf16, &windows] {
        let (ran, written, _) = parts(bytes, &[]);
        assert_eq!((ran.code, written.as_deref()), (0, Some(expected)), "{}", ran.err);
    }
}

#[test]
fn json_needs_no_file_and_has_the_same_answers() {
    let scratch = tempfile::tempdir().unwrap();
    let input = scratch.path().join("parts.csv");
    fs::write(&input, MIXED).unwrap();
    let ran = run(&[input.to_str().unwrap(), "--with", KNOWN, "--json"]);
    assert_eq!(ran.code, 1);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let first = &answer["parts"][0];
    assert_eq!((&first["draw_mm"], &first["target_mm"]), (&8.33.into(), &8.1.into()));
    assert_eq!((&first["lower_mm"], &first["upper_mm"]), (&8.05.into(), &8.15.into()));
    assert_eq!(answer["parts"].as_array().unwrap().len(), 6);
    assert_eq!(answer["not_met"][1]["line"], 7);
    assert!(answer["not_met"][1]["reason"].as_str().unwrap().starts_with("`H77`"));
    assert_eq!(run(&[input.to_str().unwrap(), "--with", KNOWN]).code, 2, "neither --out nor --json");
}

/// Draw what the command says, print it on the printer that the correction describes: the aim comes back.
#[test]
fn what_is_drawn_prints_as_what_was_aimed_at() {
    let scratch = tempfile::tempdir().unwrap();
    let input = scratch.path().join("parts.csv");
    let sizes: Vec<String> =
        (30..300).step_by(7).map(|tenths| format!("{}.{}", tenths / 10, tenths % 10)).collect();
    let lines: String = sizes.iter().map(|size| format!("bore,{size}\npin,{size}\n")).collect();
    fs::write(&input, format!("kind,target_mm\n{lines}")).unwrap();
    let ran = run(&[input.to_str().unwrap(), "--with", KNOWN, "--json"]);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    for part in answer["parts"].as_array().unwrap() {
        let draw = part["draw_mm"].as_f64().unwrap();
        let offset = if part["kind"] == "bore" { -0.2 } else { 0.12 };
        let prints = 0.996 * draw + offset;
        assert!((prints - part["target_mm"].as_f64().unwrap()).abs() <= 0.005 + 1e-9, "{part}");
        assert!((prints - part["expected_mm"].as_f64().unwrap()).abs() < 1e-9, "{part}");
    }
}

#[test]
fn the_parts_of_the_demo_are_all_read() {
    let list = fs::read(Path::new("data/demo/slider-parts.csv")).unwrap();
    let (ran, written, _) = parts(&list, &[]);
    assert_eq!(ran.code, 1, "this printer's heights and horizontal bores were not measured");
    assert!(ran.err.ends_with("2 of 15 lines cannot be met: lines 8, 16\n"), "{}", ran.err);
    assert!(written.unwrap().starts_with("# Invented example"));
}

#[test]
fn the_list_and_the_correction_are_never_written_over() {
    let scratch = tempfile::tempdir().unwrap();
    let place = |name: &str| scratch.path().join(name).to_str().unwrap().to_owned();
    let (list, known) = (place("parts.csv"), place("known.correction.toml"));
    fs::write(&list, MIXED).unwrap();
    fs::copy(KNOWN, &known).unwrap();
    for out in [&list, &known] {
        let before = fs::read(out).unwrap();
        let ran = run(&[&list, "--with", &known, "--out", out, "--force"]);
        assert_eq!(ran.code, 2);
        assert!(ran.err.contains("this run reads this file, and would write over it"), "{}", ran.err);
        assert_eq!(fs::read(out).unwrap(), before);
    }
}

#[test]
fn json_may_stand_before_the_command_and_without_it_the_file_to_write_is_asked_for() {
    let scratch = tempfile::tempdir().unwrap();
    let list = scratch.path().join("parts.csv");
    fs::write(&list, "kind,target_mm\nbore,8\n").unwrap();
    let call = [list.to_str().unwrap(), "--with", KNOWN];
    let output =
        Command::cargo_bin("shrinkrule").unwrap().args(["--json", "parts"]).args(call).output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(serde_json::from_slice::<serde_json::Value>(&output.stdout).is_ok());
    let ran = run(&call);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(ran.err.starts_with("error: --out is missing"), "{}", ran.err);
    assert!(ran.err.contains("help: add `--out parts-to-draw.csv`"), "{}", ran.err);
}

#[test]
fn a_tolerance_adds_two_columns_which_a_later_run_replaces() {
    let list = "part,dimension,kind,target_mm,note\nhub,bore,bore,8,mine\nhub,lid,height,8,\n";
    let (ran, written, _) = parts(list.as_bytes(), &["--tolerance", "95/95"]);
    assert_eq!(ran.code, 1, "{}", ran.err);
    let written = written.unwrap();
    let lines: Vec<Vec<&str>> = written.lines().map(|line| line.split(',').collect()).collect();
    let added = "draw_mm,expected_mm,low95_mm,high95_mm,chance,tolerance_low_mm,tolerance_high_mm,note";
    assert_eq!(lines[0].join(","), format!("part,dimension,kind,target_mm,{added}"));
    let number = |column: usize| lines[1][column].parse::<f64>().unwrap();
    assert!(number(9) < number(6) && number(7) < number(10), "{written}");
    assert_eq!((lines[1][11], lines[2][9], lines[2][10]), ("mine", "", ""));
    let (_, again, _) = parts(written.as_bytes(), &[]);
    assert!(!again.unwrap().contains("tolerance"));
}

const SOLD: &str = "\
part,dimension,kind,target_mm,fit,mate
idler,bearing seat,,,press,bearing:608
idler,axle,pin,,snug,bearing:608
carriage,nut pocket,,,,nut:M3
carriage,nut hole,bore,,,nut:M3
motor mount,shaft,,,snug,shaft:3.17
";

#[test]
fn a_mate_that_is_sold_gives_nominal_size_limits_and_kind() {
    let (ran, written, _) = parts(SOLD.as_bytes(), &["--json"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let kinds: Vec<&str> =
        answer["parts"].as_array().unwrap().iter().map(|line| line["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["bore", "pin", "gap", "bore", "bore"]);
    assert_eq!(answer["parts"][0]["target_mm"], 21.8815);
    assert_eq!(answer["parts"][2]["target_mm"], 5.6);
    assert!(answer["parts"][4]["note"].as_str().unwrap().contains("1/8 inch, 3.175 mm"));
    assert!(written.unwrap().starts_with("part,dimension,kind,target_mm,fit,mate,draw_mm,"));
    let (ran, written, _) = parts(b"kind,mate\nbore,bearing:6080\ngap,shaft:5x\n", &[]);
    assert_eq!((ran.code, written), (2, None));
    assert!(
        ran.err
            .contains("error: parts.csv:2: mate: `6080`: no ball bearing here is called so; known are 681,")
    );
    assert!(ran.err.contains("error: parts.csv:3: mate: `x` is no tolerance class"), "{}", ran.err);
}

#[test]
fn a_height_along_x_is_a_problem_of_its_line() {
    let (ran, _, _) = parts(b"kind,axis,target_mm\nheight,x,8\nbore,z,8\n", &[]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("error: parts.csv:2: axis: heights are not measured along x\n"), "{}", ran.err);
    assert!(ran.err.contains("error: parts.csv:3: axis: bores are not measured along z\n"), "{}", ran.err);
}

#[test]
fn lines_that_may_miss_are_told_with_the_reason() {
    let list = "part,dimension,kind,target_mm,class\nhub,rim,pin,25,g6\nhub,bore,bore,8,H13\n";
    let (ran, _, _) = parts(list.as_bytes(), &["--sources"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(
        ran.out.contains(
            "line 2, hub rim: will not fit, 16 % chance: its limits are 0.013 mm apart, and 95 % of prints"
        ),
        "{}",
        ran.out
    );
    assert!(!ran.out.contains("line 3"), "{}", ran.out);
    assert!(ran.out.contains("source of limits of g6: looked-up: "), "{}", ran.out);
}

/// The page and the parameter table beside the list, all of them or none.
#[test]
fn the_report_and_the_parameter_table_are_written_with_the_list() {
    let scratch = tempfile::tempdir().unwrap();
    let path = |name: &str| scratch.path().join(name).to_str().unwrap().to_owned();
    fs::write(path("parts.csv"), SOLD).unwrap();
    let (list, page, table) = (path("parts.csv"), path("parts.html"), path("parameters.csv"));
    let call = [&list, "--with", KNOWN, "--report", &page, "--parameters", &table];
    let ran = run(&call);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(
        fs::read_to_string(&table).unwrap(),
        "name,value,unit\nidler_bearing_seat,22.17,mm\nidler_axle,7.89,mm\ncarriage_nut_pocket,5.78,mm\n\
         carriage_nut_hole,3.7,mm\nmotor_mount_shaft,3.4,mm\n"
    );
    let html = fs::read_to_string(&page).unwrap();
    assert!(html.starts_with("<!DOCTYPE html>") && !html.contains("<script") && !html.contains("http"));
    assert!(html.contains("<td>idler</td><td>bearing seat</td>"), "{html}");
    // What exists is not written over, and then nothing is.
    fs::remove_file(&table).unwrap();
    assert_eq!(run(&call).code, 2);
    assert!(!Path::new(&table).exists());
}
