//! A parts list answered: each line's size to draw, or why there is none.
//!
//! The columns of the list come back as they were, followed by `draw_mm`, `expected_mm`, `low95_mm`,
//! `high95_mm`, `chance` and `note`. Answers of an earlier run are replaced; words of the person's own in
//! a column `note` are kept in front of ours.

use serde::Serialize;

use crate::correction::Correction;
use crate::correction::apply::CannotApply;
use crate::fits::named::PRESS_CAUTION;
use crate::fits::{Source, written};
use crate::kind::{Axis, Kind};
use crate::stats::tolerance::Wanted;
use crate::units::Mm;

use super::doubtful::Doubtful;
use super::own_fits::OwnFits;
use super::parts_list::{Asked, CannotAsk, PartLine, PartsList};
use super::sized::{SizedFeature, allowance};

/// The columns that are added.
pub(super) const ADDED: [&str; 6] = ["draw_mm", "expected_mm", "low95_mm", "high95_mm", "chance", "note"];

/// The columns that are added when a tolerance is asked for.
const TOLERANCE: [&str; 2] = ["tolerance_low_mm", "tolerance_high_mm"];

/// Why a line has no size to draw.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CannotMeet {
    /// The line gives nothing to aim at.
    #[error(transparent)]
    Ask(#[from] CannotAsk),
    /// The correction has no answer.
    #[error(transparent)]
    Apply(#[from] CannotApply),
}

impl CannotMeet {
    /// What the person can do about it.
    pub fn help(&self) -> Option<String> {
        match self {
            Self::Ask(error) => error.help(),
            Self::Apply(error) => error.help(),
        }
    }
}

/// A parts list with its answers. Serialised, it is the result of `parts --json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SizedList<'a> {
    /// One entry a line, in file order.
    pub parts: Vec<SizedLine<'a>>,
    /// The lines without an answer.
    pub not_met: Vec<NotMet<'a>>,
    /// The lines that are more likely than not, or not likely enough, to miss what they must keep.
    pub doubtful: Vec<Doubtful<'a>>,
    /// What holds for the list as a whole.
    pub warnings: Vec<String>,
    /// The limits `tolerance_low_mm` and `tolerance_high_mm` were asked for.
    #[serde(skip)]
    with_tolerance: bool,
    /// Where the numbers come from, each once; empty unless it was asked.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub sources: Vec<Source>,
    #[serde(skip)]
    list: &'a PartsList,
}

/// One line with its answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SizedLine<'a> {
    /// Line in the file, from 1.
    pub line: u64,
    /// Which part.
    pub part: &'a str,
    /// Which of its dimensions.
    pub dimension: &'a str,
    /// What it is.
    pub kind: Kind,
    /// The direction it is measured in.
    pub axis: Axis,
    /// The printed size that is aimed at, mm.
    pub target_mm: Option<f64>,
    /// The limits that it must keep, mm.
    pub lower_mm: Option<f64>,
    /// The upper one.
    pub upper_mm: Option<f64>,
    /// Between which sizes half of the bought parts and more still fit, where the limits are for the largest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub half_fit_mm: Option<[f64; 2]>,
    /// The size to draw, mm; `None` when the line cannot be met.
    pub draw_mm: Option<f64>,
    /// What it prints as on average, mm.
    pub expected_mm: Option<f64>,
    /// Lower end of the interval that holds a new print with 95 %, mm.
    pub low95_mm: Option<f64>,
    /// Its upper end, mm.
    pub high95_mm: Option<f64>,
    /// Lower limit of what holds a share of all new prints, mm; `None` when that is not asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance_low_mm: Option<f64>,
    /// Its upper limit, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tolerance_high_mm: Option<f64>,
    /// The chance that a new print keeps what is asked; `None` when nothing is.
    pub chance: Option<f64>,
    /// Whether the drawn size lies outside the measured range.
    pub extrapolated: bool,
    /// What is aimed at, warnings, or why the line cannot be met.
    pub note: String,
}

/// A line that cannot be met.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NotMet<'a> {
    /// Line in the file, from 1.
    pub line: u64,
    /// Which part.
    pub part: &'a str,
    /// Which of its dimensions.
    pub dimension: &'a str,
    /// Why not.
    pub reason: String,
    /// What the person can do about it.
    pub help: Option<String>,
}

impl<'a> SizedList<'a> {
    /// Sizes every line of `list`, rounded to `step`.
    pub fn new(list: &'a PartsList, correction: &Correction, fits: &OwnFits<'a>, step: Mm) -> Self {
        let mut sized = Self {
            parts: Vec::new(),
            not_met: Vec::new(),
            doubtful: Vec::new(),
            warnings: Vec::new(),
            sources: Vec::new(),
            with_tolerance: false,
            list,
        };
        let mut is_any_pressed = false;
        for line in &list.lines {
            match answer(line, correction, fits, step) {
                Ok(answered) => {
                    is_any_pressed |= answered.is_pressed;
                    sized.doubtful.extend(Doubtful::of(&answered.line));
                    sized.parts.push(answered.line);
                    for said in answered.said_once {
                        if !sized.warnings.contains(&said) {
                            sized.warnings.push(said);
                        }
                    }
                }
                Err(error) => sized.refuse(line, &error),
            }
        }
        // Said once and not on every line.
        if is_any_pressed {
            sized.warnings.push(PRESS_CAUTION.to_owned());
        }
        sized.warnings.extend(allowance(correction));
        sized
    }

    /// The same with the limits that hold a share of all new prints of each line.
    #[must_use]
    pub fn with_tolerance(mut self, correction: &Correction, demand: Wanted) -> Self {
        self.with_tolerance = true;
        for part in &mut self.parts {
            let Some(draw) = part.draw_mm else { continue };
            // A line with a size to draw has a kind that was measured.
            if let Ok(Some(limits)) = correction.tolerance(part.kind, part.axis, draw, demand) {
                (part.tolerance_low_mm, part.tolerance_high_mm) = (Some(limits.low_mm), Some(limits.high_mm));
            }
        }
        self
    }

    /// The same with the sources of its numbers.
    #[must_use]
    pub fn with_sources(mut self, fits: &OwnFits<'a>) -> Self {
        for line in &self.list.lines {
            if let Ok(asked) = line.ask(fits) {
                Source::add_to(&mut self.sources, asked.sources);
            }
        }
        self
    }

    fn refuse(&mut self, line: &'a PartLine, error: &CannotMeet) {
        let (reason, help) = (error.to_string(), error.help());
        let note = match &help {
            Some(help) => format!("{reason}; {help}"),
            None => reason.clone(),
        };
        self.parts.push(SizedLine { note, ..SizedLine::blank(line) });
        self.not_met.push(NotMet {
            line: line.line,
            part: &line.part,
            dimension: &line.dimension,
            reason,
            help,
        });
    }

    /// What becomes of the list, in sentences: how many lines fit, which may not and why.
    pub fn verdicts(&self) -> Vec<String> {
        let asked = self.parts.iter().filter(|line| line.chance.is_some()).count();
        let fit = asked - self.doubtful.len();
        let mut said = vec![format!("{fit} of {asked} lines with limits will fit (80 % and more)")];
        said.extend(self.doubtful.iter().map(Doubtful::to_text));
        let refused = |line: &NotMet<'_>| {
            let what = [line.part, line.dimension].join(" ");
            format!("line {}, {}: cannot be met: {}", line.line, what.trim(), line.reason)
        };
        said.extend(self.not_met.iter().map(refused));
        said
    }

    /// `2 of 12 lines cannot be met: lines 4, 7`; the first twenty are named.
    pub fn summary(&self) -> String {
        let named: Vec<String> = self.not_met.iter().take(20).map(|line| line.line.to_string()).collect();
        let more = if self.not_met.len() > named.len() { ", …" } else { "" };
        let (all, word) = (self.parts.len(), if self.not_met.len() == 1 { "line" } else { "lines" });
        format!("{} of {all} lines cannot be met: {word} {}{more}", self.not_met.len(), named.join(", "))
    }

    /// The list as CSV, in the separator and the decimal mark of the file that was read.
    ///
    /// # Errors
    /// None that a buffer in memory can have; the writer's type asks for it.
    pub fn to_csv(&self) -> Result<Vec<u8>, csv::Error> {
        let table = &self.list.table;
        let own_note = table.column("note");
        let is_rerun = table.column("draw_mm").is_some();
        let is_added =
            |column: &str| ADDED.iter().chain(&TOLERANCE).any(|added| added.eq_ignore_ascii_case(column));
        let kept: Vec<usize> =
            (0..table.columns.len()).filter(|column| !is_added(&table.columns[*column])).collect();
        let mut bytes = Vec::new();
        for comment in &table.comments {
            bytes.extend_from_slice(comment.as_bytes());
            bytes.push(b'\n');
        }
        let mut writer =
            csv::WriterBuilder::new().delimiter(table.delimiter).flexible(true).from_writer(bytes);
        writer.write_record(kept.iter().map(|column| table.columns[*column].as_str()).chain(self.added()))?;
        for (row, part) in table.rows.iter().zip(&self.parts) {
            let cell = |column: usize| row.cells.get(column).map_or("", String::as_str);
            let own = own_note.map(cell).filter(|own| !is_rerun && !own.is_empty());
            let note = match own {
                Some(own) if !part.note.is_empty() => format!("{own}; {}", part.note),
                Some(own) => own.to_owned(),
                None => part.note.clone(),
            };
            for column in &kept {
                writer.write_field(cell(*column))?;
            }
            for number in self.numbers(part) {
                writer.write_field(number)?;
            }
            writer.write_field(note)?;
            writer.write_record(None::<&[u8]>)?;
        }
        writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
    }

    /// The columns that come behind those of the list; the note is the last.
    fn added(&self) -> Vec<&'static str> {
        let [numbers @ .., note] = ADDED;
        let tolerance: &[&str] = if self.with_tolerance { &TOLERANCE } else { &[] };
        [&numbers[..], tolerance, &[note]].concat()
    }

    fn numbers(&self, part: &SizedLine<'_>) -> impl Iterator<Item = String> {
        let thousandths = |value: Option<f64>| value.map(|value| format!("{value:.3}"));
        let tolerance = [part.tolerance_low_mm, part.tolerance_high_mm].map(thousandths);
        let numbers = [
            part.draw_mm.map(written),
            thousandths(part.expected_mm),
            thousandths(part.low95_mm),
            thousandths(part.high95_mm),
            thousandths(part.chance),
        ];
        let all = numbers.into_iter().chain(tolerance.into_iter().filter(|_| self.with_tolerance));
        all.map(|number| match number {
            Some(number) if self.list.decimal_comma => number.replace('.', ","),
            Some(number) => number,
            None => String::new(),
        })
    }
}

/// A line's answer.
struct Answered<'a> {
    line: SizedLine<'a>,
    is_pressed: bool,
    /// What holds for every line of its fit.
    said_once: Vec<String>,
}

fn answer<'a>(
    line: &'a PartLine,
    correction: &Correction,
    fits: &OwnFits<'a>,
    step: Mm,
) -> Result<Answered<'a>, CannotMeet> {
    let Asked { aim, chosen, round, .. } = line.ask(fits)?;
    let mut sized = match round {
        Some(round) => SizedFeature::across_flat(correction, round, &aim, step)?,
        None => SizedFeature::new(correction, line.kind, line.axis, &aim, step)?,
    };
    let own = sized.warnings.len();
    if let Some((chosen, mate)) = chosen {
        chosen.credit(&mut sized, mate);
    }
    let said_once = sized.warnings.split_off(own);
    let pressed = aim.is_pressed.then(|| "pressed in: mind the caution".to_owned());
    let felt = sized.feel.as_ref().map(|feel| feel.to_text().trim_end().to_owned());
    let warnings = sized.warnings.iter().filter(|warning| *warning != PRESS_CAUTION).cloned();
    let half_fit = aim.half_fit().zip(aim.bought).map(|(half, bought)| {
        format!("the chance is over parts of {bought}: half of them still fit a print of {half}")
    });
    let notes: Vec<String> =
        aim.words().into_iter().chain(half_fit).chain(felt).chain(pressed).chain(warnings).collect();
    let answered = SizedLine {
        target_mm: Some(sized.target_mm),
        lower_mm: sized.within.map(|limits| limits[0]),
        upper_mm: sized.within.map(|limits| limits[1]),
        half_fit_mm: aim.half_fit().map(|half| [half.lower_mm, half.upper_mm]),
        draw_mm: sized.draw_mm,
        expected_mm: sized.expected_mm,
        low95_mm: sized.low95_mm,
        high95_mm: sized.high95_mm,
        chance: sized.chance,
        extrapolated: sized.extrapolated,
        note: notes.join("; "),
        ..SizedLine::blank(line)
    };
    Ok(Answered { line: answered, is_pressed: aim.is_pressed, said_once })
}

impl<'a> SizedLine<'a> {
    fn blank(line: &'a PartLine) -> Self {
        Self {
            line: line.line,
            part: &line.part,
            dimension: &line.dimension,
            kind: line.kind,
            axis: line.axis,
            target_mm: None,
            lower_mm: None,
            upper_mm: None,
            half_fit_mm: None,
            draw_mm: None,
            expected_mm: None,
            low95_mm: None,
            high95_mm: None,
            tolerance_low_mm: None,
            tolerance_high_mm: None,
            chance: None,
            extrapolated: false,
            note: String::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::fits::named::NamedFits;
    use crate::parts::fixture::known;

    fn list(text: &str) -> PartsList {
        PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap()
    }

    fn sized(list: &PartsList) -> SizedList<'_> {
        static FITS: std::sync::LazyLock<NamedFits> = std::sync::LazyLock::new(NamedFits::bundled);
        SizedList::new(list, &known(), &OwnFits::named(&FITS), Mm::new(0.01).unwrap())
    }

    fn csv(text: &str) -> String {
        String::from_utf8(sized(&list(text)).to_csv().unwrap()).unwrap()
    }

    const MIXED: &str = "\
# invented
part,dimension,kind,axis,target_mm,lower_mm,upper_mm,class,fit,mate_mm,supplier
hub,bore,bore,,8,,,,slide,,\"shop, town\"
hub,height,height,z,12,11.9,12.1,,,,
hub,rim,pin,,25,,,h11,,,
rail,holes,span,x,31,30.9,31.1,,,,
seat,bearing,bore,,,,,,press,22,
foot,slot,gap,y,6,,,,,,
";

    #[test]
    fn each_line_comes_back_with_its_answer_and_the_others_are_not_held_up() {
        assert_eq!(
            csv(MIXED),
            r#"# invented
part,dimension,kind,axis,target_mm,lower_mm,upper_mm,class,fit,mate_mm,supplier,draw_mm,expected_mm,low95_mm,high95_mm,chance,note
hub,bore,bore,,8,,,,slide,,"shop, town",8.33,8.097,8.027,8.166,0.855,"aimed at 8.10, the middle of slide on 8.00 (8.05 to 8.15)"
hub,height,height,z,12,11.9,12.1,,,,,,,,,,"the correction of `known` has no heights: none was measured; print and measure a coupon that has heights, and fit again"
hub,rim,pin,,25,,,h11,,,,24.91,24.930,24.861,25.000,0.935,"aimed at 24.935, the middle of h11 on 25.00 (24.87 to 25.00)"
rail,holes,span,x,31,30.9,31.1,,,,,31.12,30.996,30.926,31.065,0.992,"31.12 mm lies 1.12 mm outside the sizes of spans that were measured, 3 to 30 mm: the correction is stretched beyond what it knows"
seat,bearing,bore,,,,,,press,22,,22.17,21.881,21.812,21.951,0.853,"aimed at 21.886, the middle of press on 22.00 (21.836 to 21.936); pressed in: mind the caution"
foot,slot,gap,y,6,,,,,,,6.18,5.995,5.926,6.064,,
"#
        );
    }

    #[test]
    fn lines_that_cannot_be_met_are_named() {
        let list = list(MIXED);
        let sized = sized(&list);
        assert_eq!(sized.summary(), "1 of 6 lines cannot be met: line 4");
        assert_eq!(sized.not_met[0].reason, "the correction of `known` has no heights: none was measured");
        assert_eq!(sized.warnings, [PRESS_CAUTION]);
        let json = serde_json::to_value(&sized).unwrap();
        assert_eq!(json["parts"][0]["draw_mm"], 8.33);
        assert_eq!(json["parts"][0]["target_mm"], 8.1);
        assert!(json["parts"][1]["draw_mm"].is_null());
        assert_eq!(json["not_met"][0]["line"], 4);
    }

    #[test]
    fn a_decimal_comma_and_words_of_ones_own_come_back_as_they_were() {
        let text = "kind;target_mm;fit;note\nbore;8,0;slide;check twice\nbore;9,0;;\n";
        assert_eq!(
            csv(text),
            "kind;target_mm;fit;draw_mm;expected_mm;low95_mm;high95_mm;chance;note\n\
             bore;8,0;slide;8,33;8,097;8,027;8,166;0,855;\
             \"check twice; aimed at 8.10, the middle of slide on 8.00 (8.05 to 8.15)\"\n\
             bore;9,0;;9,24;9,003;8,934;9,072;;\n"
        );
    }

    #[test]
    fn a_list_that_was_answered_can_be_answered_again() {
        let once = csv(MIXED);
        assert_eq!(csv(&once), once);
    }

    #[test]
    fn the_table_has_a_row_a_line_and_says_what_cannot_be_met() {
        assert_eq!(
            sized(&list(MIXED)).to_text(),
            "\
part  dimension  kind    target mm  draw mm  prints mm  95 % from     to     chance
hub   bore       bore         8.10     8.33       8.10       8.03   8.17       86 %
hub   height     height                   -                                          cannot be met
hub   rim        pin         24.93    24.91      24.93      24.86  25.00       93 %
rail  holes      span        31.00    31.12      31.00      30.93  31.06  over 99 %  beyond the measured range
seat  bearing    bore        21.89    22.17      21.88      21.81  21.95       85 %
foot  slot       gap          6.00     6.18       6.00       5.93   6.06
"
        );
    }
}
