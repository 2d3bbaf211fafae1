//! The file of a chain to its members and gap, or every problem in it.
//!
//! CSV with the rules of every list here (separators, decimal marks, `#` lines above the header). Columns in
//! any order, others kept:
//!
//! | column | says |
//! | --- | --- |
//! | `member` | what it is called |
//! | `sign` | `+` where it opens the gap, `-` where it closes it |
//! | `made` | `printed`, `bought`, or `gap` for the line that says what is wanted |
//! | `kind`, `axis` | of a printed member, as in a parts list |
//! | `drawn_mm` or `target_mm` | of a printed member: what is drawn, or the printed size that is wanted |
//! | `print` | of a printed member: which print it is part of, in any words; one print where blank |
//! | `lower_mm`, `upper_mm` | limits of a bought member; least and most gap that is wanted, either may be blank |
//! | `nominal_mm`, `class` | of a bought member, in place of limits: `8` and `h6` |
//! | `mate` | of a bought member, in place of limits: `bearing:608` is its width, `nut:M3` its thickness |
//! | `spread` | of a bought member: `even` between its limits, or `normal`; even where blank |

use std::path::Path;

use crate::fits::iso286::{self, Class};
use crate::fits::{Limits, Source};
use crate::parts::parts_reading::sold;
use crate::parts::seat::bought::BoughtPart;
use crate::problem::{Location, Problem};
use crate::tables::cells::{Cells, doubled_columns, missing_column, unused_columns};
use crate::tables::whole_table;
use crate::units::Mm;

use super::{BoughtSpread, Chain, Gap, Member, MemberSize, PrintedSize};

/// The columns that mean something here.
const KNOWN: [&str; 14] = [
    "member",
    "sign",
    "made",
    "kind",
    "axis",
    "drawn_mm",
    "target_mm",
    "print",
    "lower_mm",
    "upper_mm",
    "nominal_mm",
    "class",
    "mate",
    "spread",
];

/// The header that a new file may begin with.
pub const HEADER: &str =
    "member,sign,made,kind,axis,drawn_mm,target_mm,print,lower_mm,upper_mm,nominal_mm,class,mate,spread";

impl Chain {
    /// From the bytes of a file, named `path` in problems.
    ///
    /// # Errors
    /// Every problem of the file, in file order.
    pub fn parse(bytes: &[u8], path: &Path) -> Result<Self, Vec<Problem>> {
        let table = whole_table::parse(bytes, path)?;
        let required = ["member", "sign", "made"].into_iter().filter(|name| table.column(name).is_none());
        let mut problems: Vec<Problem> =
            required.map(|name| missing_column(&table, path, name, &KNOWN)).collect();
        problems.extend(doubled_columns(&table, path, &KNOWN));
        if !problems.is_empty() {
            return Err(problems);
        }
        let mut cells = Cells::new(&table, path);
        let (mut members, mut gap) = (Vec::new(), None);
        for row in 0..table.rows.len() {
            if !cells.has_its_cells(row) {
                continue;
            }
            if cells.text(row, "made").eq_ignore_ascii_case("gap") {
                read_gap(&mut cells, row, &mut gap);
            } else {
                members.extend(member(&mut cells, row));
            }
        }
        if table.rows.is_empty() {
            let problem = Problem::error(Location::file(path), "there are no rows below the header");
            cells.problems.push(problem.help("write a row for every dimension along the chain"));
        }
        let problems = cells.into_problems();
        if !problems.is_empty() {
            return Err(problems);
        }
        let gap = gap.unwrap_or(Gap { name: "gap".to_owned(), least_mm: None, most_mm: None });
        Ok(Self { members, gap, warnings: unused_columns(&table, path, &KNOWN, &[]) })
    }
}

fn read_gap(cells: &mut Cells<'_>, row: usize, gap: &mut Option<Gap>) {
    if gap.is_some() {
        let help = Some("a chain has one gap; write another file for another".to_owned());
        cells.problem(row, "made", "a second gap".to_owned(), help);
        return;
    }
    refuse_filled(cells, row, "a gap", &KNOWN[3..8]);
    refuse_filled(cells, row, "a gap", &KNOWN[10..]);
    let name = match cells.text(row, "member") {
        "" => "gap",
        name => name,
    };
    let least = cells.number(row, "lower_mm");
    let most = cells.number(row, "upper_mm");
    if let (Some(least), Some(most)) = (least, most)
        && least.get() > most.get()
    {
        let message = format!("the least gap {least} is above the most {most}");
        cells.problem(row, "lower_mm", message, None);
    }
    *gap = Some(Gap { name: name.to_owned(), least_mm: least.map(Mm::get), most_mm: most.map(Mm::get) });
}

fn member(cells: &mut Cells<'_>, row: usize) -> Option<Member> {
    let before = cells.problems.len();
    let sign = match cells.text(row, "sign") {
        "+" | "+1" | "1" => 1.0,
        "-" | "-1" | "\u{2212}" => -1.0,
        other => {
            let message = format!("`{other}` is no sign");
            let help = "+ where the member opens the gap, - where it closes it".to_owned();
            cells.problem(row, "sign", message, Some(help));
            1.0
        }
    };
    let size = match cells.text(row, "made").to_ascii_lowercase().as_str() {
        "printed" => printed(cells, row),
        "bought" => bought(cells, row),
        other => {
            let message = format!("`{other}` is no way to make a member");
            cells.problem(row, "made", message, Some("expected printed, bought or gap".to_owned()));
            None
        }
    };
    let name = match cells.text(row, "member") {
        "" => format!("line {}", cells.line(row)),
        name => name.to_owned(),
    };
    let line = cells.line(row);
    size.filter(|_| cells.problems.len() == before).map(|size| Member { line, name, sign, size })
}

fn printed(cells: &mut Cells<'_>, row: usize) -> Option<MemberSize> {
    refuse_filled(cells, row, "a printed member", &KNOWN[8..]);
    let kind = cells.word(row, "kind");
    let axis = cells.axis(row, kind);
    let size = match (cells.number(row, "drawn_mm"), cells.number(row, "target_mm")) {
        (Some(drawn), None) => Some((drawn, PrintedSize::Drawn(drawn))),
        (None, Some(target)) => Some((target, PrintedSize::Target(target))),
        (Some(_), Some(_)) => {
            let help = Some("keep the one that you mean".to_owned());
            cells.problem(row, "drawn_mm", "drawn_mm and target_mm are given".to_owned(), help);
            None
        }
        // A cell that is no number is told already.
        (None, None) => {
            if cells.text(row, "drawn_mm").is_empty() && cells.text(row, "target_mm").is_empty() {
                let help =
                    Some("give what is drawn, or under target_mm the printed size that is wanted".to_owned());
                cells.problem(row, "drawn_mm", "a printed member has no size".to_owned(), help);
            }
            None
        }
    };
    if let Some((mm, _)) = size.filter(|(mm, _)| mm.get() <= 0.0) {
        cells.problem(row, "drawn_mm", format!("{mm} is no size of a part: sizes are above zero"), None);
    }
    let (_, size) = size?;
    Some(MemberSize::Printed { kind: kind?, axis: axis?, print: cells.text(row, "print").to_owned(), size })
}

fn bought(cells: &mut Cells<'_>, row: usize) -> Option<MemberSize> {
    refuse_filled(cells, row, "a bought member", &KNOWN[3..8]);
    let spread = match cells.text(row, "spread").to_ascii_lowercase().as_str() {
        "" | "even" => BoughtSpread::Even,
        "normal" => BoughtSpread::Normal,
        other => {
            let message = format!("`{other}` is no spread");
            cells.problem(row, "spread", message, Some("expected even or normal".to_owned()));
            BoughtSpread::Even
        }
    };
    let given = [
        ("lower_mm", !cells.text(row, "lower_mm").is_empty() || !cells.text(row, "upper_mm").is_empty()),
        ("class", !cells.text(row, "class").is_empty()),
        ("mate", !cells.text(row, "mate").is_empty()),
    ];
    let mut given = given.into_iter().filter(|(_, is_given)| *is_given).map(|(name, _)| name);
    let first = given.next();
    if let (Some(first), Some(second)) = (first, given.next()) {
        let help = Some("limits, a nominal size with its class, or a mate: keep one".to_owned());
        cells.problem(row, second, format!("{first} and {second} are given"), help);
        return None;
    }
    let (limits, source) = match first {
        Some("lower_mm") => (limits(cells, row)?, None),
        Some("class") => class(cells, row)?,
        Some(_) => along(cells, row)?,
        None => {
            let help = Some("give lower_mm and upper_mm, nominal_mm with a class, or a mate".to_owned());
            cells.problem(row, "lower_mm", "how far a bought member may be off is not said".to_owned(), help);
            return None;
        }
    };
    Some(MemberSize::Bought { limits, spread, source })
}

fn limits(cells: &mut Cells<'_>, row: usize) -> Option<Limits> {
    for column in ["lower_mm", "upper_mm"] {
        if cells.text(row, column).is_empty() {
            let help = Some("write the size twice where it does not spread".to_owned());
            cells.problem(row, column, "one limit is blank".to_owned(), help);
        }
    }
    let (lower, upper) = (cells.number(row, "lower_mm"), cells.number(row, "upper_mm"));
    match Limits::between(lower?, upper?) {
        Ok(limits) => Some(limits),
        Err(error) => {
            cells.problem(row, "lower_mm", error.to_string(), None);
            None
        }
    }
}

fn class(cells: &mut Cells<'_>, row: usize) -> Option<(Limits, Option<Source>)> {
    let nominal = cells.number(row, "nominal_mm");
    if cells.text(row, "nominal_mm").is_empty() {
        cells.problem(row, "nominal_mm", "a class without its nominal size".to_owned(), None);
    }
    let limits = cells
        .text(row, "class")
        .parse::<Class>()
        .and_then(|class| Ok((class.limits(nominal.map_or(10.0, Mm::get))?, class)));
    match limits {
        Ok((limits, class)) => {
            nominal.map(|_| (limits, Some(Source::new(format!("limits of {class}"), iso286::SOURCE))))
        }
        Err(error) => {
            cells.problem(row, "class", error.to_string(), None);
            None
        }
    }
}

/// What is sold by a name, along the direction in which it is stacked.
fn along(cells: &mut Cells<'_>, row: usize) -> Option<(Limits, Option<Source>)> {
    let text = cells.text(row, "mate");
    if !text.contains(':') {
        let help = Some("name what is sold, such as bearing:608, or give limits".to_owned());
        cells.problem(row, "mate", format!("`{text}` names nothing that is sold"), help);
        return None;
    }
    let part = sold(cells, row)?;
    let along = match &part {
        BoughtPart::Bearing(bearing) => Some((bearing.width_limits(), bearing.source)),
        BoughtPart::HexNut(nut) => {
            nut.thickness_min_mm.map(|lower_mm| (Limits { lower_mm, upper_mm: nut.thickness_mm }, nut.source))
        }
        BoughtPart::Screw { head: Some(head), .. } => {
            Some((Limits { lower_mm: head.head_height_min_mm, upper_mm: head.head_height_mm }, head.source))
        }
        _ => None,
    };
    let Some((limits, source)) = along else {
        let help = Some("give its limits: how thick or long it is there".to_owned());
        cells.problem(
            row,
            "mate",
            format!("the tables do not say how long a {part} is along its axis"),
            help,
        );
        return None;
    };
    Some((limits, Some(Source::new(part.to_string(), source))))
}

/// Cells that mean nothing for this kind of line, and so were meant for another column.
fn refuse_filled(cells: &mut Cells<'_>, row: usize, what: &str, columns: &[&'static str]) {
    for column in columns {
        if !cells.text(row, column).is_empty() {
            let message = format!("{what} has no {column}");
            cells.problem(row, column, message, Some("leave the cell blank".to_owned()));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Chain, Vec<String>> {
        Chain::parse(text.as_bytes(), Path::new("chain.csv"))
            .map_err(|problems| problems.iter().map(ToString::to_string).collect())
    }

    #[test]
    fn the_header_is_that_of_the_columns() {
        assert_eq!(HEADER, KNOWN.join(","));
    }

    #[test]
    fn a_chain_is_read_in_any_order_with_either_decimal_mark() {
        let text = "made;sign;member;kind;axis;drawn_mm;lower_mm;upper_mm;nominal_mm;class;mate\n\
                    printed;+;pocket;height;;12,3;;;;;\nbought;-;shim;;;;0,4;0,5;;;\n\
                    bought;-;rod;;;;;;8;h6;\nbought;-;bearing;;;;;;;;bearing:608\ngap;;play;;;;0,05;;;;\n";
        let chain = parse(text).unwrap();
        assert_eq!(chain.gap, Gap { name: "play".to_owned(), least_mm: Some(0.05), most_mm: None });
        let signs: Vec<f64> = chain.members.iter().map(|member| member.sign).collect();
        assert_eq!(signs, [1.0, -1.0, -1.0, -1.0]);
        let limits: Vec<[f64; 2]> = chain
            .members
            .iter()
            .filter_map(|member| match &member.size {
                MemberSize::Bought { limits, .. } => Some([limits.lower_mm, limits.upper_mm]),
                MemberSize::Printed { .. } => None,
            })
            .collect();
        assert_eq!(limits, [[0.4, 0.5], [7.991, 8.0], [6.88, 7.0]]);
        assert_eq!(chain.sources().len(), 2);
    }

    #[test]
    fn every_problem_of_the_file_is_told_by_line_and_column() {
        let text = format!(
            "{HEADER}\n\
             a,x,printed,heigth,,12,,,,,,,,\n\
             b,+,made,,,,,,,,,,,\n\
             c,-,bought,,,,,,7,,,,,\n\
             d,-,bought,,,,,,7,8,,,bearing:608,\n\
             e,-,bought,bore,,,,,9,8,,,,wide\n\
             f,-,printed,height,,,,,,,,,,\n\
             g,-,bought,,,,,,,,8,H77,,\n\
             h,-,bought,,,,,,,,,,pin:4m6,\n\
             i,,gap,,,,,,0.5,0.1,,,,\n\
             j,,gap,,,,,,,,,,,\n"
        );
        assert_eq!(
            parse(&text).unwrap_err(),
            [
                "error: chain.csv:2: sign: `x` is no sign\n  help: + where the member opens the gap, - where it closes it",
                "error: chain.csv:2: kind: `heigth` is no kind; expected one of bore, horizontal_bore, pin, gap, outer, \
                 span, height\n  help: did you mean `height`?",
                "error: chain.csv:3: made: `made` is no way to make a member\n  help: expected printed, bought or gap",
                "error: chain.csv:4: upper_mm: one limit is blank\n  help: write the size twice where it does not spread",
                "error: chain.csv:5: mate: lower_mm and mate are given\n  help: limits, a nominal size with its class, or a \
                 mate: keep one",
                "error: chain.csv:6: kind: a bought member has no kind\n  help: leave the cell blank",
                "error: chain.csv:6: spread: `wide` is no spread\n  help: expected even or normal",
                "error: chain.csv:6: lower_mm: the lower limit 9 mm is above the upper limit 8 mm",
                "error: chain.csv:7: drawn_mm: a printed member has no size\n  help: give what is drawn, or under target_mm \
                 the printed size that is wanted",
                "error: chain.csv:8: class: `H77`: no table here has the grade 77; expected 1 to 16",
                "error: chain.csv:9: mate: the tables do not say how long a dowel pin 4 m6 is along its axis\n  help: give \
                 its limits: how thick or long it is there",
                "error: chain.csv:10: lower_mm: the least gap 0.5 mm is above the most 0.1 mm",
                "error: chain.csv:11: made: a second gap\n  help: a chain has one gap; write another file for another",
            ]
        );
        assert_eq!(
            parse("member,sing,made\na,+,bought\n").unwrap_err(),
            ["error: chain.csv:1: there is no column `sign`\n  help: is it the column `sing`?"]
        );
    }
}
