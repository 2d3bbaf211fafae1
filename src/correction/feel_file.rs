//! Feels in a correction file: the tables `[feel]` and below, beside a correction or alone.
//!
//! A file of feels alone has the keys `format`, `setup`, `date`, `program_version`, `readings` and `feel` of
//! a correction file and no others. `end = true` closes the section, so that a file cut short is refused.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use toml::de::DeTable;

use crate::problem::Problem;
use crate::readings::trials::Feel;

use super::feel::{Begin, Feels, Felt, Group, GroupFeels};
use super::file::{FORMAT, ReadError, one_line, quoted};
use super::toml_keys::{Keys, Source};

impl Feels {
    /// The text of a correction file that holds nothing else.
    pub fn to_toml(&self) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write_alone(&mut text);
        text
    }

    fn write_alone(&self, out: &mut String) -> std::fmt::Result {
        writeln!(
            out,
            "# How `{}` prints, from {} feel tests and no caliper.",
            one_line(&self.setup),
            self.trials
        )?;
        writeln!(out, "# Sizes to draw: shrinkrule size KIND --mate MM --fit slide --with THIS-FILE")?;
        writeln!(out, "\nformat = {FORMAT}\nsetup = {}", quoted(&self.setup))?;
        if let Some(date) = &self.date {
            writeln!(out, "date = {}", quoted(date))?;
        }
        writeln!(out, "program_version = {}", quoted(&self.program_version))?;
        writeln!(out, "\n[readings]\nfile = {}", quoted(&self.readings_file))?;
        writeln!(out, "sha256 = {}", quoted(&self.readings_sha256))?;
        self.write_section(out)
    }

    /// The section that every correction with feels has.
    pub(super) fn write_section(&self, out: &mut String) -> std::fmt::Result {
        writeln!(
            out,
            "\n# The drawn clearance (inside less outside, mm) at which each feel begins. Without sd_mm every"
        )?;
        writeln!(out, "# feel changed cleanly, between_mm, and its scatter is not known.")?;
        writeln!(out, "[feel]\ntrials = {}\nprints = {}", self.trials, self.prints)?;
        self.sd_mm.map_or(Ok(()), |sd| writeln!(out, "sd_mm = {sd:?}"))?;
        let list = |texts: &[String]| texts.iter().map(|text| quoted(text)).collect::<Vec<_>>().join(", ");
        writeln!(out, "warnings = [{}]", list(&self.warnings))?;
        for (group, own) in &self.groups {
            writeln!(
                out,
                "\n[feel.{group}]\nown = {}\ntrials = {}",
                quoted(if own.own { "yes" } else { "shared" }),
                own.trials
            )?;
            writeln!(out, "kind = {}\nnominal_mm = {:?}", quoted(own.kind.name()), own.nominal_mm)?;
            writeln!(out, "sizes_mm = {:?}\nmates = [{}]", own.sizes_mm, list(&own.mates))?;
            for felt in &own.feels {
                writeln!(out, "\n[feel.{group}.{}]\ntrials = {}", felt.feel, felt.trials)?;
                writeln!(out, "tried_mm = {:?}", felt.tried_mm)?;
                let Some(begin) = felt.begin else { continue };
                writeln!(out, "begins_mm = {:?}", begin.at_mm)?;
                let optional =
                    [("se_mm", begin.se_mm), ("low95_mm", begin.low95_mm), ("high95_mm", begin.high95_mm)];
                for (key, value) in optional {
                    value.map_or(Ok(()), |value| writeln!(out, "{key} = {value:?}"))?;
                }
                begin.between_mm.map_or(Ok(()), |ends| writeln!(out, "between_mm = {ends:?}"))?;
            }
        }
        writeln!(out, "\n[feel.end]\ngroups = {}", self.groups.len())
    }

    /// The feels in the text of a correction file; `None` when it has none. `path` is for the problems.
    ///
    /// # Errors
    /// Text that is no TOML; keys of the section that are missing or wrong, all at once.
    pub fn from_toml(text: &str, path: &Path) -> Result<Option<Self>, ReadError> {
        let mut source = Source::new(text, path);
        let document = DeTable::parse(text).map_err(|error| {
            let at = error.span().map_or(text.len(), |span| span.start);
            let problem =
                Problem::error(source.location(at, ""), format!("this is not TOML: {}", error.message()));
            ReadError::Content { problems: vec![problem] }
        })?;
        let keys = Keys::new(&document);
        // What a newer format means by the word is not ours to guess; the correction's reader refuses it.
        if !keys.has("feel") || !keys.has("format") || keys.whole(&mut source, "format") != Some(FORMAT) {
            return Ok(None);
        }
        let found = read(&mut source, &keys);
        match found {
            Some(feels) if source.problems.is_empty() => Ok(Some(feels)),
            _ => Err(ReadError::Content { problems: source.problems }),
        }
    }
}

fn read(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<Feels> {
    let setup = keys.text(source, "setup");
    let date = if keys.has("date") { keys.text(source, "date") } else { None };
    let program_version = keys.text(source, "program_version");
    let readings = keys.table(source, "readings");
    let file = readings.as_ref().and_then(|keys| keys.text(source, "file"));
    let sha256 = readings.as_ref().and_then(|keys| keys.text(source, "sha256"));
    let section = keys.table(source, "feel")?;
    let trials = section.whole(source, "trials");
    let prints = section.whole(source, "prints");
    let sd_mm = if section.has("sd_mm") { section.number_from(source, "sd_mm", 0.0) } else { None };
    let warnings = section.texts(source, "warnings");
    let mut groups = BTreeMap::new();
    for group in Group::ALL.into_iter().filter(|group| section.has(group.name())) {
        let own = section.table(source, group.name()).and_then(|keys| group_feels(source, &keys));
        groups.insert(group, own?);
    }
    let end = section.table(source, "end").and_then(|keys| keys.whole(source, "groups"))?;
    if end != groups.len() as u64 {
        source.problem(
            section.place("end"),
            "feel.end.groups",
            format!("`{end}` groups are not {}", groups.len()),
        );
    }
    Some(Feels {
        setup: setup?,
        date,
        readings_file: file?,
        readings_sha256: sha256?,
        program_version: program_version?,
        trials: u32::try_from(trials?).ok()?,
        prints: u32::try_from(prints?).ok()?,
        sd_mm,
        groups,
        warnings: warnings?,
        alone: !keys.has("kinds"),
    })
}

fn group_feels(source: &mut Source<'_>, keys: &Keys<'_>) -> Option<GroupFeels> {
    let own = keys.text(source, "own");
    let trials = keys.whole(source, "trials");
    let kind = keys.word(source, "kind");
    let nominal_mm = keys.number_from(source, "nominal_mm", 0.0);
    let sizes_mm = pair(source, keys, "sizes_mm");
    let mates = keys.texts(source, "mates");
    let mut feels = Vec::new();
    for feel in Feel::ALL.into_iter().filter(|feel| keys.has(feel.name())) {
        let felt = keys.table(source, feel.name()).and_then(|keys| felt(source, &keys, feel));
        feels.push(felt?);
    }
    Some(GroupFeels {
        own: own? == "yes",
        trials: u32::try_from(trials?).ok()?,
        kind: kind?,
        nominal_mm: nominal_mm?,
        sizes_mm: sizes_mm?,
        mates: mates?,
        feels,
    })
}

fn felt(source: &mut Source<'_>, keys: &Keys<'_>, feel: Feel) -> Option<Felt> {
    let trials = keys.whole(source, "trials");
    let tried_mm = pair(source, keys, "tried_mm");
    let mut optional = |key: &str| if keys.has(key) { keys.number(source, key) } else { None };
    let at_mm = optional("begins_mm");
    let (low95_mm, high95_mm) = (optional("low95_mm"), optional("high95_mm"));
    let se_mm = if keys.has("se_mm") { keys.number_from(source, "se_mm", 0.0) } else { None };
    let between_mm = if keys.has("between_mm") { pair(source, keys, "between_mm") } else { None };
    let begin = at_mm.map(|at_mm| Begin { at_mm, se_mm, low95_mm, high95_mm, between_mm });
    Some(Felt { feel, trials: u32::try_from(trials?).ok()?, tried_mm: tried_mm?, begin })
}

/// Two numbers, the smaller first.
fn pair(source: &mut Source<'_>, keys: &Keys<'_>, key: &str) -> Option<[f64; 2]> {
    let numbers = keys.numbers(source, key)?;
    match numbers[..] {
        [low, high] if low <= high => Some([low, high]),
        _ => {
            source.problem(keys.place(key), keys.dotted(key), "expected two numbers, the smaller first");
            None
        }
    }
}
