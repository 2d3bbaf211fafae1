//! A sized list as a parameter table that CAD can take: `name,value,unit`, one row a dimension.
//!
//! Names are made of the part and the dimension: letters of ASCII, digits and underscores, beginning with a
//! letter, unlike each other whatever their case. A name that a spreadsheet could take for a cell (`d8`) or a
//! formula for a constant (`pi`, `e`) gets `size_` before it. The separator is a comma and the decimal mark a
//! point, whatever the parts list has.

use std::collections::BTreeMap;

use super::sized_list::{SizedLine, SizedList};
use crate::fits::decimal_mm;

/// Names that formulas know as something else.
const TAKEN: [&str; 8] = ["pi", "e", "mm", "in", "deg", "rad", "true", "false"];

/// A parameter table.
#[derive(Clone, Debug, PartialEq)]
pub struct Parameters {
    /// Name and size to draw, mm.
    rows: Vec<(String, f64)>,
    /// Lines that have no size to draw, and so no row.
    pub left_out: Vec<u64>,
}

impl Parameters {
    /// The sizes to draw of a list.
    pub fn of(list: &SizedList<'_>) -> Self {
        let mut taken = BTreeMap::new();
        let mut parameters = Self { rows: Vec::new(), left_out: Vec::new() };
        for line in &list.parts {
            match line.draw_mm {
                Some(draw_mm) => parameters.rows.push((unique(&name_of(line), &mut taken), draw_mm)),
                None => parameters.left_out.push(line.line),
            }
        }
        parameters
    }

    /// The file.
    pub fn to_csv(&self) -> String {
        let rows = self.rows.iter().map(|(name, mm)| format!("{name},{},mm\n", decimal_mm(*mm)));
        std::iter::once("name,value,unit\n".to_owned()).chain(rows).collect()
    }
}

/// A safe name for a line; it may be taken already.
fn name_of(line: &SizedLine<'_>) -> String {
    let mut name = String::new();
    for letter in [line.part, line.dimension].join(" ").chars() {
        if letter.is_ascii_alphanumeric() {
            name.push(letter.to_ascii_lowercase());
        } else if !name.is_empty() && !name.ends_with('_') {
            name.push('_');
        }
    }
    let name = name.trim_end_matches('_');
    if name.is_empty() {
        return format!("{}_line_{}", line.kind.name(), line.line);
    }
    if is_unsafe(name) { format!("size_{name}") } else { name.to_owned() }
}

fn is_unsafe(name: &str) -> bool {
    let letters = name.trim_end_matches(|c: char| c.is_ascii_digit());
    let is_cell = letters.len() <= 3 && letters.chars().all(|c| c.is_ascii_alphabetic());
    name.starts_with(|c: char| c.is_ascii_digit()) || is_cell || TAKEN.contains(&name)
}

/// The name, or with the first number after it that no other has. `taken` holds each name and the number to
/// try next.
fn unique(name: &str, taken: &mut BTreeMap<String, u64>) -> String {
    let Some(mut number) = taken.get(name).copied() else {
        taken.insert(name.to_owned(), 2);
        return name.to_owned();
    };
    let mut numbered = format!("{name}_{number}");
    while taken.contains_key(&numbered) {
        number += 1;
        numbered = format!("{name}_{number}");
    }
    taken.insert(name.to_owned(), number + 1);
    taken.insert(numbered.clone(), 2);
    numbered
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::fits::named::NamedFits;
    use crate::parts::fixture::known;
    use crate::parts::own_fits::OwnFits;
    use crate::parts::parts_list::PartsList;
    use crate::units::Mm;

    fn parameters(text: &str) -> (String, Vec<u64>) {
        let list = PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap();
        let fits = NamedFits::bundled();
        let sized = SizedList::new(&list, &known(), &OwnFits::named(&fits), Mm::new(0.01).unwrap());
        let parameters = Parameters::of(&sized);
        (parameters.to_csv(), parameters.left_out)
    }

    #[test]
    fn names_are_safe_and_no_two_are_alike() {
        let (csv, left_out) = parameters(
            "part;dimension;kind;target_mm\nDrive pulley;shaft bore;bore;8,0\ndrive-pulley;Shaft/bore;bore;9,0\n\
             d;8;bore;8,0\npi;;bore;8,0\n;;bore;8,0\n3rd;Bohrung für Ø8;bore;8,0\nhub;height;height;8,0\nd8;;bore;8,0\n",
        );
        assert_eq!(
            csv,
            "name,value,unit\ndrive_pulley_shaft_bore,8.23,mm\ndrive_pulley_shaft_bore_2,9.24,mm\nd_8,8.23,mm\n\
             size_pi,8.23,mm\nbore_line_6,8.23,mm\nsize_3rd_bohrung_f_r_8,8.23,mm\nsize_d8,8.23,mm\n"
        );
        assert_eq!(left_out, [8]);
    }

    #[test]
    fn a_number_after_a_name_never_makes_one_that_is_there() {
        let (csv, _) = parameters(
            "part,dimension,kind,target_mm\nrod,a_2,bore,8\nrod,a,bore,8\nrod,a,bore,8\nrod,a,bore,8\n",
        );
        let names: Vec<&str> = csv.lines().skip(1).map(|row| row.split(',').next().unwrap()).collect();
        assert_eq!(names, ["rod_a_2", "rod_a", "rod_a_3", "rod_a_4"]);
    }
}
