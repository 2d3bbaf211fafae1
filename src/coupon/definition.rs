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
use super::limits::PLATE_GAP;
use super::{Coupon, CouponSet};
use crate::problem::Problem;

/// Longest name of a coupon; with a copy's number it still fits on the smallest piece.
const NAME_LENGTH: usize = 5;

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
        coupons.extend(read_pieces(form, fields, &mut names));
    }
    CouponSet { name, summary, plate_gap_mm, coupons }
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
fn read_pieces(form: &str, mut fields: Fields<'_, '_>, names: &mut BTreeSet<String>) -> Vec<Coupon> {
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
