//! A coupon set from its TOML definition, checked.
//!
//! Every problem of the file is reported in one go, with its line and key, what was found, what was
//! expected and what to do. Pieces come out in the order in which they stand in the file, which is the
//! order of the readings sheet.

use std::collections::BTreeSet;
use std::path::Path;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::fields::{Document, Fields};
use super::form::Form;
use super::kit::MOST_COPIES;
use super::limits::{LABEL_HEIGHT_MM, PLATE_GAP};
use super::{Coupon, CouponSet};
use crate::geometry::lettering;
use crate::problem::Problem;

/// Longest name of a coupon; with a copy's number it still fits on the smallest piece.
const NAME_LENGTH: usize = 5;

/// The widest letter that a material may have.
const WIDEST_LETTER: char = 'W';

/// The set that `text` defines; `file` is only named in problems.
///
/// # Errors
/// Every problem of the file, in file order.
pub fn parse(file: &Path, text: &str) -> Result<CouponSet, Vec<Problem>> {
    let document = Document::new(file, text);
    let (root, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let offset = error.span().map_or(0, |span| span.start);
        let help = "every value below may be misread until this line is right";
        document.problem(offset, "", format!("not TOML: {}", error.message()), help);
    }
    if !errors.is_empty() {
        return Err(document.problems());
    }
    let set = read_set(&document, root.get_ref());
    let problems = document.problems();
    if problems.is_empty() { Ok(set) } else { Err(problems) }
}

fn read_set(document: &Document<'_>, root: &DeTable<'_>) -> CouponSet {
    let mut fields = Fields::new(document, root, 0, "");
    let name = fields.text("name", "the name of the set");
    let summary = fields.text("summary", "what the set is for, in a sentence");
    let plate_gap_mm = fields.length_or("plate_gap_mm", 6.0, PLATE_GAP);
    let feel = fields.flag("feel", false);
    let heat = fields.flag("heat", false);
    let mut tables: Vec<(&'static str, usize, &DeTable<'_>)> = Vec::new();
    for form in Form::TABLES {
        let Some(value) = fields.get(form) else { continue };
        match tables_of(value) {
            Some(found) => tables.extend(found.map(|(offset, table)| (form, offset, table))),
            None => {
                let help = format!("write [[{form}]] on a line of its own, with its fields below");
                fields.problem(form, "expected a table for every piece".to_owned(), &help);
            }
        }
    }
    tables.sort_by_key(|(_, offset, _)| *offset);
    if tables.is_empty() {
        let help = format!("add one of {}", Form::TABLES.map(|form| format!("[[{form}]]")).join(", "));
        document.problem(0, "", "the set has no piece".to_owned(), &help);
    }
    fields.finish();
    let mut coupons = Vec::new();
    let mut names = BTreeSet::new();
    for (form, offset, table) in tables {
        let fields = Fields::new(document, table, offset, form);
        coupons.extend(read_pieces(form, fields, heat, &mut names));
    }
    CouponSet { name, summary, plate_gap_mm, feel, heat, coupons }
}

/// The tables of an array of tables and where each begins; `None` when the value is something else.
fn tables_of<'a, 'b>(
    value: &'b Spanned<DeValue<'a>>,
) -> Option<impl Iterator<Item = (usize, &'b DeTable<'a>)>> {
    let DeValue::Array(items) = value.get_ref() else { return None };
    let is_table = |item: &Spanned<DeValue<'_>>| matches!(item.get_ref(), DeValue::Table(_));
    if !items.iter().all(is_table) {
        return None;
    }
    Some(items.iter().filter_map(|item| match item.get_ref() {
        DeValue::Table(table) => Some((item.span().start, table)),
        _ => None,
    }))
}

/// The pieces of one table; names that are taken, and features that share a label, are problems.
fn read_pieces(
    form: &str,
    mut fields: Fields<'_, '_>,
    heat: bool,
    names: &mut BTreeSet<String>,
) -> Vec<Coupon> {
    let name = fields.text("name", "the name that is to be on the piece");
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
    let is_plain = name.starts_with(|c: char| c.is_ascii_alphanumeric()) && name.chars().all(plain);
    if !name.is_empty() && !is_plain {
        let help =
            "use letters, digits, - and ., and begin with a letter or digit: it is a label and a file name";
        fields.problem("name", format!("`{name}` cannot be the name of a piece"), help);
    }
    let pieces = Form::read(form, &mut fields);
    let is_whole = fields.is_whole();
    let mut coupons = Vec::new();
    for (ending, piece) in pieces {
        let name = format!("{name}{ending}");
        if name.len() > NAME_LENGTH {
            let help = format!("use at most {NAME_LENGTH} characters, the size of a ring among them");
            fields.problem("name", format!("`{name}` is too long for a label"), &help);
        }
        // Some file systems do not tell capitals from small letters.
        if !names.insert(name.to_lowercase()) {
            fields.problem(
                "name",
                format!("another piece is named `{name}`"),
                "give every piece its own name",
            );
        }
        if !is_whole {
            continue;
        }
        let coupon = Coupon::new(name.clone(), piece);
        // A piece that is printed in several materials has a letter before its name.
        let longest = if heat { coupon.marked(WIDEST_LETTER) } else { coupon.clone() };
        let widest = lettering::text_width(&longest.label(Some(MOST_COPIES)), LABEL_HEIGHT_MM);
        let is_wider = |room| widest.is_ok_and(|widest| widest > room);
        if coupon.form.label_room_mm().is_some_and(is_wider) {
            let message = format!("`{name}` is too short for its label");
            fields.problem("name", message, "use a shorter name or a longer span");
        }
        let mut labels = BTreeSet::new();
        for feature in &coupon.features {
            if !labels.insert(feature.label.as_str()) {
                let message = format!("two features of `{name}` would be `{}`", feature.label);
                fields.problem("name", message, "change one of the sizes a little");
            }
        }
        coupons.push(coupon);
    }
    fields.finish();
    coupons
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problems(text: &str) -> Vec<String> {
        let problems = parse(Path::new("my.toml"), text).unwrap_err();
        problems.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn every_problem_of_a_file_is_reported_in_one_go_with_line_key_and_advice() {
        let text = r#"name = "mine"
plate_gap_mm = 0

[[comb]]
name = "G"
axis = "X1"
gaps_mm = [1.5, 4, 4, "wide", nan]
toth_mm = 5

[[ring]]
name = "R"
bores_mm = 8
wall_mm = 2

[[rings]]
name = "S"
"#;
        assert_eq!(
            problems(text),
            [
                "error: my.toml:1: `summary` is missing; expected what the set is for, in a sentence",
                "error: my.toml:2: plate_gap_mm: found `0`, expected a size from 1 to 50 mm\n  \
                 help: pieces nearer than that print into one another",
                "error: my.toml:6: comb.axis: found `\"X1\"`, expected \"x\" or \"y\"\n  help: did you mean \"x\"?",
                "error: my.toml:7: comb.gaps_mm: found `1.5`, expected a size from 2 to 40 mm\n  \
                 help: no inside jaw enters less than about 2 mm, and many need 2.5",
                "error: my.toml:7: comb.gaps_mm: found `4`, expected each size once\n  \
                 help: a second print of the piece is --copies 2",
                "error: my.toml:7: comb.gaps_mm: found `\"wide\"`, expected a size from 2 to 40 mm\n  \
                 help: write a plain number, without quotes or a unit",
                "error: my.toml:7: comb.gaps_mm: found `nan`, expected a size from 2 to 40 mm\n  \
                 help: write a plain number, without quotes or a unit",
                "error: my.toml:8: comb.toth_mm: no such field\n  help: did you mean `tooth_mm`?",
                "error: my.toml:12: ring.bores_mm: found `8`, expected a list of 1 to 20 sizes in mm, such as \
                 [3, ...]\n  help: write the sizes in square brackets",
                "error: my.toml:13: ring.wall_mm: found `2`, expected a size from 4 to 20 mm\n  \
                 help: a wall under 4 mm gives way between the jaws",
                "error: my.toml:15: rings: no such field\n  help: did you mean `ring`?",
            ]
        );
    }

    #[test]
    fn names_that_cannot_be_a_label_or_a_file_are_refused() {
        let set = |pieces: &str| format!("name = \"n\"\nsummary = \"s\"\n{pieces}");
        let step = |name: &str| format!("[[height_steps]]\nname = \"{name}\"\nheights_mm = [10]\n");
        let only = |pieces: &str| problems(&set(pieces)).join("\n");
        assert_eq!(
            only(&step("../Z")),
            "error: my.toml:4: height_steps.name: `../Z` cannot be the name of a piece\n  help: use letters, digits, - \
             and ., and begin with a letter or digit: it is a label and a file name"
        );
        assert!(only(&step("Zebra1")).contains("`Zebra1` is too long for a label"));
        let twice = format!("{}{}", step("Z1"), step("z1"));
        assert_eq!(
            only(&twice),
            "error: my.toml:7: height_steps.name: another piece is named `z1`\n  help: give every piece its own name"
        );
        let bar = "[[span_bar]]\nname = \"WIDE1\"\nspans_mm = [30]\n";
        assert!(only(bar).contains("`WIDE1` is too short for its label"), "{}", only(bar));
        assert!(only("").starts_with("error: my.toml:1: the set has no piece"));
        assert!(
            only("[height_steps]\nname = \"Z1\"\n").contains("write [[height_steps]] on a line of its own")
        );
    }

    #[test]
    fn two_features_that_would_share_a_label_are_refused() {
        // One gap, and an end tooth as wide as the comb is long: impossible; but two outers may agree.
        let text = "name = \"n\"\nsummary = \"s\"\n[[span_bar]]\nname = \"S\"\nspans_mm = [30, 30]\n";
        assert!(problems(text)[0].contains("expected each size once"));
        let low = "name = \"n\"\nsummary = \"s\"\n[[height_steps]]\nname = \"Z\"\nheights_mm = [5, 6.0001]\n";
        let found = problems(low);
        assert!(found[0].contains("found `6.0001`, expected at most three decimals"), "{found:?}");
        assert!(found[1].contains("the highest step must be 8 mm or more"), "{found:?}");
    }

    #[test]
    fn what_is_not_toml_is_refused_with_its_line() {
        let found = problems("name = \"n\"\nsummary = s\n");
        assert!(found[0].starts_with("error: my.toml:2: not TOML: "), "{found:?}");
    }

    #[test]
    fn every_field_is_described_in_the_readme() {
        let readme = include_str!("../../coupons/README.md");
        for form in Form::TABLES {
            let text = format!("name = \"n\"\nsummary = \"s\"\n[[{form}]]\nqqqqqqqqqqqqqqq = 1\n");
            let found = problems(&text);
            let help = found.iter().find(|problem| problem.contains("no such field")).unwrap();
            let (_, fields) = help.split_once("known here: ").unwrap();
            let (_, section) = readme.split_once(&format!("`[[{form}]]`")).unwrap();
            let section = section.split("\n## ").next().unwrap();
            for field in fields.split(", ").filter(|field| *field != "name") {
                assert!(section.contains(&format!("| `{field}` |")), "{form}.{field}");
            }
        }
    }
}
