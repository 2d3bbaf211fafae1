//! The page of a sized parts list: what will not fit and why, and every line with its strip.

use askama::Template;

use super::ReportError;
use crate::fits::{Source, written};
use crate::parts::sized::percent;
use crate::parts::sized_list::{SizedLine, SizedList};
use crate::plot::strip::Strip;

#[derive(Template)]
#[template(path = "parts_report.html", config = "src/report/askama.toml")]
struct Page<'a> {
    title: &'a str,
    lead: &'a str,
    list: &'a SizedList<'a>,
    summary: Vec<String>,
    rows: Vec<Row<'a>>,
    sources: &'a [Source],
}

struct Row<'a> {
    line: &'a SizedLine<'a>,
    limits: String,
    target: String,
    draw: String,
    interval: String,
    chance: String,
    verdict: &'static str,
    strip: Option<Strip>,
}

impl Page<'_> {
    /// Whether any strip has the paler band.
    fn has_half_fit(&self) -> bool {
        self.rows.iter().any(|row| row.line.half_fit_mm.is_some())
    }
}

impl Row<'_> {
    /// Whether there is a line of words below its numbers.
    fn has_note(&self) -> bool {
        !self.verdict.is_empty() || !self.line.note.is_empty()
    }
}

/// The page; `list_name` and `setup` are told in its lead.
///
/// # Errors
/// A page that cannot be filled in, which is a fault of this program.
pub fn page(
    list: &SizedList<'_>,
    list_name: &str,
    setup: &str,
    sources: &[Source],
) -> Result<String, ReportError> {
    let rows: Vec<Row<'_>> = list.parts.iter().map(|line| row(line, list)).collect();
    let lead = format!("{list_name}, for the setup {setup}. Sizes in mm.");
    let summary = list.verdicts();
    Ok(Page { title: "Sizes to draw", lead: &lead, list, summary, rows, sources }.render()?)
}

fn row<'a>(line: &'a SizedLine<'a>, list: &SizedList<'_>) -> Row<'a> {
    let limits = line.lower_mm.zip(line.upper_mm);
    let prints = line.low95_mm.zip(line.high95_mm);
    let strip = limits.zip(prints).zip(line.expected_mm);
    let doubtful = list.doubtful.iter().find(|doubtful| doubtful.line == line.line);
    Row {
        line,
        limits: limits
            .map_or(String::new(), |(lower, upper)| format!("{} to {}", written(lower), written(upper))),
        target: line.target_mm.map_or(String::new(), written),
        draw: line.draw_mm.map_or("–".to_owned(), written),
        interval: prints.map_or(String::new(), |(low, high)| format!("{low:.2} to {high:.2}")),
        chance: line.chance.map_or(String::new(), percent),
        verdict: match doubtful {
            _ if line.draw_mm.is_none() => "cannot be met",
            Some(doubtful) => doubtful.verdict,
            None => "",
        },
        strip: strip.and_then(|((limits, prints), mean)| {
            Strip::new(limits.into(), line.half_fit_mm, prints.into(), mean)
        }),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::correction::Correction;
    use crate::fits::named::NamedFits;
    use crate::parts::own_fits::OwnFits;
    use crate::parts::parts_list::PartsList;
    use crate::units::Mm;

    /// A pocket for nuts is made for the largest, its chance counts all of them, and the page says so.
    #[test]
    fn where_bought_parts_differ_a_paler_band_holds_the_prints_that_the_chance_counts() {
        let list = PartsList::parse(b"part,kind,mate\narm,gap,nut:M3\n", Path::new("parts.csv")).unwrap();
        let path = Path::new("tests/data/known.correction.toml");
        let known =
            Correction::from_toml(include_str!("../../tests/data/known.correction.toml"), path).unwrap();
        let fits = NamedFits::bundled();
        let fits = OwnFits::named(&fits);
        let sized = SizedList::new(&list, &known, &fits, Mm::new(0.01).unwrap());
        let line = &sized.parts[0];
        // Nuts of 5.32 to 5.50 mm: those of 5.41 fit from 0.05 more to 0.15 and the 0.18 of their differences more.
        assert_eq!(line.half_fit_mm, Some([5.46, 5.74]));
        let (low, high) = (line.low95_mm.unwrap(), line.high95_mm.unwrap());
        assert!(low < line.lower_mm.unwrap() && high > line.upper_mm.unwrap());
        assert!(low > 5.46 && high < 5.74 && line.chance.unwrap() > 0.95);
        let html = page(&sized, "parts.csv", "known", &[]).unwrap();
        assert!(
            html.contains("class=\"half\"") && html.contains("half of the bought parts and more still fit")
        );
        assert!(line.note.ends_with(
            "the chance is over parts of 5.32 to 5.50: half of them still fit a print of 5.46 to 5.74"
        ));
    }

    #[test]
    fn the_page_says_what_will_not_fit_and_escapes_what_it_is_given() {
        let text = "part,dimension,kind,target_mm,class,fit\nhub <1>,bore,bore,8,,slide\nhub,rim,pin,25,g6,\nhub,top,height,5,,\n";
        let list = PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap();
        let path = Path::new("tests/data/known.correction.toml");
        let known =
            Correction::from_toml(include_str!("../../tests/data/known.correction.toml"), path).unwrap();
        let fits = NamedFits::bundled();
        let fits = OwnFits::named(&fits);
        let sized = SizedList::new(&list, &known, &fits, Mm::new(0.01).unwrap());
        let html = page(&sized, "parts & more.csv", "known", &[Source::new("g6", "from memory")]).unwrap();
        assert!(html.contains("<td>hub &#60;1&#62;</td>"), "{html}");
        assert!(html.contains("parts &#38; more.csv, for the setup known"));
        assert!(html.contains("will not fit") && html.contains("cannot be met"));
        assert!(html.contains("its limits are 0.013 mm apart"));
        assert!(html.contains("<li>g6: from memory</li>"));
        assert!(!html.contains("<script") && !html.contains("http"));
    }
}
