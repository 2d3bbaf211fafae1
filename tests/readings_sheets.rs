//! Properties of reading a sheet: nothing makes it panic, and one sheet reads the same however it is
//! written down.

use std::path::Path;

use proptest::prelude::*;
use shrinkrule::readings::{CheckedReadings, Repeats, SetupReadings, read_bytes, read_file};

fn read(bytes: &[u8]) -> CheckedReadings {
    read_bytes(Path::new("sheet.csv"), bytes).unwrap_or_else(|problems| {
        panic!("{}", problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))
    })
}

fn setups(bytes: &[u8]) -> Vec<SetupReadings> {
    read(bytes).setups().collect()
}

/// One row: setup, feature by number, print, readings in hundredths above the nominal size.
type Row = (u8, u8, u8, Vec<u8>);

fn rows(readings: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Row>> {
    prop::collection::vec((0_u8..3, 0_u8..5, 1_u8..3, prop::collection::vec(0_u8..40, readings)), 1..40)
}

fn cells(row: &Row, reading: &str) -> Vec<String> {
    let (setup, feature, copy, _) = row;
    let nominal = f64::from(*feature) * 2.5 + 3.0;
    let setup = ["petg", "pla, grün", ""][usize::from(*setup)];
    let kind = ["bore", "pin", "gap", "span", "height"][usize::from(*feature)];
    [setup, "A", &format!("f{feature}"), kind, "x", &nominal.to_string(), &copy.to_string(), reading]
        .map(str::to_owned)
        .to_vec()
}

fn reading(row: &Row, number: usize) -> String {
    let nominal = f64::from(row.1) * 2.5 + 3.0;
    format!("{:.2}", nominal + f64::from(row.3[number]) / 100.0)
}

const LONG: &str = "setup,coupon,feature,kind,axis,nominal_mm,copy,reading_mm";

/// A sheet with one reading a row.
fn long(rows: &[Row]) -> Vec<Vec<String>> {
    let header = vec![LONG.split(',').map(str::to_owned).collect()];
    let rows = rows.iter().flat_map(|row| (0..row.3.len()).map(|number| cells(row, &reading(row, number))));
    header.into_iter().chain(rows).collect()
}

fn written(sheet: &[Vec<String>], delimiter: &str, end: &str) -> String {
    let quoted = |cell: &String| if cell.contains([',', ';']) { format!("\"{cell}\"") } else { cell.clone() };
    let lines = sheet.iter().map(|row| row.iter().map(quoted).collect::<Vec<_>>().join(delimiter));
    lines.map(|line| line + end).collect()
}

fn assert_alike(one: &Repeats, other: &Repeats) {
    assert_eq!((one.count, one.lowest.mm, one.highest.mm), (other.count, other.lowest.mm, other.highest.mm));
    assert!((one.mean_mm - other.mean_mm).abs() < 1e-9);
    assert!((one.sum_of_squares_mm2 - other.sum_of_squares_mm2).abs() < 1e-9);
}

/// Features of a setup by name, print and readings, whatever the order of rows.
fn sorted(mut setups: Vec<SetupReadings>) -> Vec<SetupReadings> {
    setups.sort_by(|a, b| a.setup.cmp(&b.setup));
    for setup in &mut setups {
        setup.features.sort_by(|a, b| (&a.feature, a.copy).cmp(&(&b.feature, b.copy)));
    }
    setups
}

fn assert_same_readings(one: Vec<SetupReadings>, other: Vec<SetupReadings>) {
    let (one, other) = (sorted(one), sorted(other));
    assert_eq!(one.len(), other.len());
    for (one, other) in one.iter().zip(&other) {
        assert_eq!((&one.setup, one.features.len()), (&other.setup, other.features.len()));
        for (one, other) in one.features.iter().zip(&other.features) {
            assert_eq!((&one.feature, one.copy, one.kind), (&other.feature, other.copy, other.kind));
            assert_eq!((one.nominal_mm, one.axis), (other.nominal_mm, other.axis));
            assert_alike(&one.repeats, &other.repeats);
        }
    }
}

proptest! {
    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = read_bytes(Path::new("sheet.csv"), &bytes);
    }

    #[test]
    fn no_rows_below_a_good_header_make_the_reader_panic(
        rows in "(bore|pin|x|[\u{0}-\u{ff}]|[0-9.,;\t\"#\n -]){0,80}", delimiter in "[,;\t]",
    ) {
        let text = LONG.replace(',', &delimiter) + "\n" + &rows;
        if let Err(problems) = read_bytes(Path::new("sheet.csv"), text.as_bytes()) {
            prop_assert!(!problems.is_empty());
        }
    }

    #[test]
    fn the_order_of_rows_changes_no_summary(sheet in rows(1..3).prop_shuffle(), seed in any::<u64>()) {
        let sheet = long(&sheet);
        let mut shuffled = sheet.clone();
        shuffled[1..].sort_by_key(|row| {
            row.iter().flat_map(|cell| cell.bytes()).fold(seed, |hash, byte| {
                (hash ^ u64::from(byte)).wrapping_mul(0x100_0000_01b3)
            })
        });
        let text = |sheet: &[Vec<String>]| written(sheet, ",", "\n").into_bytes();
        assert_same_readings(setups(&text(&sheet)), setups(&text(&shuffled)));
    }

    #[test]
    fn several_readings_on_a_row_are_as_good_as_a_row_each(sheet in rows(3..4)) {
        let mut wide = vec![(LONG.to_owned() + ",reading_2_mm,note,reading_3_mm")
            .split(',').map(str::to_owned).collect::<Vec<_>>()];
        wide.extend(sheet.iter().map(|row| {
            let mut cells = cells(row, &reading(row, 0));
            cells.extend([reading(row, 1), "a note".to_owned(), reading(row, 2)]);
            cells
        }));
        let wide = setups(written(&wide, ",", "\n").as_bytes());
        let long = setups(written(&long(&sheet), ",", "\n").as_bytes());
        assert_same_readings(wide, long);
    }

    #[test]
    fn encodings_separators_and_line_ends_change_nothing(sheet in rows(1..3)) {
        let sheet = long(&sheet);
        let plain = read(written(&sheet, ",", "\n").as_bytes());
        let comma: Vec<Vec<String>> = sheet
            .iter()
            .map(|row| row.iter().enumerate().map(|(column, cell)| {
                if column == 5 || column == 7 { cell.replace('.', ",") } else { cell.clone() }
            }).collect())
            .collect();
        let utf16 = |text: &str, mark: &str| -> Vec<u8> {
            let units = mark.encode_utf16().chain(text.encode_utf16());
            units.flat_map(u16::to_le_bytes).collect()
        };
        let crlf = written(&sheet, ",", "\r\n");
        let windows_1252: Vec<u8> = crlf.chars().map(|letter| letter as u8).collect();
        for bytes in [
            crlf.clone().into_bytes(),
            windows_1252,
            format!("\u{feff}{crlf}").into_bytes(),
            utf16(&crlf, "\u{feff}"),
            utf16(&crlf, ""),
            written(&comma, ";", "\n").into_bytes(),
            written(&comma, "\t", "\r\n").into_bytes(),
            written(&comma, ",", "\n").into_bytes(),
            written(&sheet, ",", "\r").into_bytes(),
            (written(&sheet, ";", "\n") + &";".repeat(9) + "\n\n;;;;\n").into_bytes(),
        ] {
            let read = read(&bytes);
            prop_assert_eq!(plain.setups().collect::<Vec<_>>(), read.setups().collect::<Vec<_>>());
            prop_assert_eq!((plain.readings, plain.not_measured), (read.readings, read.not_measured));
            prop_assert_eq!(&plain.warnings, &read.warnings);
        }
    }
}

/// Rows that repeat others letter by letter are recognised where a block has no quotes; a quote in a
/// comment has every row read in the general way.
const POOL: [&str; 14] = [
    "petg,b5,bore,5,1,4.8,4.9,a note",
    "petg,b5,bore,5,2,4.81,4.8,",
    "petg,b5,bore,5,2,4.81,,",
    "petg,b55,bore,5.5,1,5.3,5.31,",
    "petg,b55,bore,5.5,10,5.3,5.31,",
    "pla,p5,pin,5,1,5.1,5,",
    "pla,p5,pin,5,1,51,5.12,",
    "petg,b5,bore,5,1,4.8 ,4.9,a note",
    "petg,b5,bore,5,0,4.8,4.9,",
    "petg,b5,bore,5,1,4.8.1,4.9,",
    "petg,b5,bore,5,1,4.8,4.9",
    "#petg,b5,bore,5,1,4.8,4.9,a note",
    ",,,,,,,",
    "",
];

proptest! {
    #[test]
    fn rows_that_repeat_others_are_read_like_any_other(
        picked in prop::collection::vec(0..POOL.len(), 1..60),
        good in any::<bool>(), end in "\r?\n", unit in "mm|in",
    ) {
        let mut text = format!("# unit: {unit}{end}setup,feature,kind,nominal_mm,copy,reading_1,reading_2,note{end}");
        for row in picked {
            // Half of the sheets without the rows that make a sheet unusable.
            text += POOL[if good { row % 7 } else { row }];
            text += &end;
        }
        let read = |text: &str| read_bytes(Path::new("sheet.csv"), text.as_bytes());
        match (read(&text), read(&(text.clone() + "# \"\n"))) {
            (Ok(walked), Ok(general)) => {
                prop_assert_eq!(walked.setups().collect::<Vec<_>>(), general.setups().collect::<Vec<_>>());
                prop_assert_eq!(walked.warnings, general.warnings);
                prop_assert_eq!(walked.not_measured, general.not_measured);
            }
            (walked, general) => prop_assert_eq!(walked.unwrap_err(), general.unwrap_err()),
        }
    }
}

#[test]
fn readings_in_inches_become_millimetres_and_nominal_sizes_stay() {
    let readings = setups(b"# unit: in\nfeature,kind,nominal_mm,reading_in\nb8,bore,8,0.3125\n");
    let feature = &readings[0].features[0];
    assert_eq!((feature.nominal_mm, feature.repeats.mean_mm), (8.0, 0.3125 * 25.4));
}

#[test]
fn what_a_sheet_leaves_out_is_filled_in_as_documented() {
    let readings = setups(b"kind,nominal_mm,reading\nbore,5,4.8\nheight,10,9.95\nbore,5.0,4.9\n");
    assert_eq!(readings.len(), 1);
    assert_eq!(readings[0].setup, "unnamed");
    let named: Vec<(&str, u32, u32)> = readings[0]
        .features
        .iter()
        .map(|feature| (feature.feature.as_str(), feature.copy, feature.repeats.count))
        .collect();
    assert_eq!(named, [("bore-round-5", 1, 2), ("height-z-10", 1, 1)]);
}

/// The hashes are those that the program sha256sum gives.
#[test]
fn a_file_and_its_bytes_read_the_same_and_carry_the_hash_of_the_file() {
    let scratch = tempfile::tempdir().unwrap();
    let path = scratch.path().join("sheet.csv");
    let bytes = b"kind,nominal_mm,reading\nbore,5,4.8\n";
    std::fs::write(&path, bytes).unwrap();
    let (file, memory) = (read_file(&path).unwrap(), read_bytes(&path, bytes).unwrap());
    assert_eq!(file, memory);
    assert_eq!(file.source.sha256, "8a314201705d73b336be4c393b06792599d7a551361f516e0798d440c06d8f3e");
    // The hash is that of the file also where the text was another encoding's.
    let french = b"kind,nominal_mm,reading,note\nbore,5,4.8,\xe9t\xe9\n";
    std::fs::write(&path, french).unwrap();
    let (file, memory) = (read_file(&path).unwrap(), read_bytes(&path, french).unwrap());
    assert_eq!(file, memory);
    assert_eq!(file.source.sha256, "bbcdddfd0fe9dcf2285e89a4e2653eb058a20feed39f721d4aacf5677599768a");
}
