//! What is said of a drive, for a person at the bench.

use std::fmt::Write as _;

use super::answer::{DriveAnswer, LoadAnswer, MeshAnswer, PrintedAnswer};
use super::pair::PairAnswer;

impl DriveAnswer {
    /// The table; with `with_sources`, where its numbers come from.
    pub fn to_text(&self, with_sources: bool) -> String {
        let mut text = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut text, with_sources);
        text
    }

    fn write(&self, out: &mut String, with_sources: bool) -> std::fmt::Result {
        if self.pairs.is_empty() {
            let tried = self.combinations.map_or(String::new(), |count| format!(" of {count} combinations"));
            return writeln!(
                out,
                "nothing fits: none{tried}; widen --within, --centre or --ratio, or take --belt for belts of every length"
            );
        }
        if let (Some(fitting), Some(combinations)) = (self.fitting, self.combinations) {
            let best = match self.pairs.len() {
                1 => "the best".to_owned(),
                shown if fitting == shown as u64 => "the best first".to_owned(),
                shown => format!("the best {shown}"),
            };
            let verb = if fitting == 1 { "fits" } else { "fit" };
            writeln!(out, "{fitting} of {combinations} combinations {verb}; {best}:")?;
        }
        if let Some(at) = &self.at_centre {
            writeln!(
                out,
                "at {:.3} mm a belt would be {:.4} mm long, {:.4} teeth; the nearest whole ones:",
                at.centre_distance_mm, at.belt_length_mm, at.belt_teeth
            )?;
        }
        writeln!(out, "{}", PairAnswer::head())?;
        for pair in &self.pairs {
            writeln!(out, "{}", pair.row().trim_end())?;
        }
        if self.pairs.iter().any(|pair| !pair.notes().is_empty()) {
            writeln!(out, "* see the notes of that pair: warnings for the first, --json for all")?;
        }
        let several = self.pairs.len() > 1;
        if several && (self.load.is_some() || self.printed.is_some() || !self.mesh.is_empty()) {
            writeln!(out, "\nthe first of them:")?;
        }
        if let Some(idler) = &self.idler {
            let what = idler.teeth.map_or("plain".to_owned(), |teeth| format!("of {teeth} teeth"));
            writeln!(
                out,
                "\nidler on the {}, {what}, {:.2} mm: axis {:.3} mm along and {:.3} mm above the line of centres, \
                 {:.1} deg of belt;\nit moves {:.2} mm for each mm of belt",
                idler.side,
                idler.diameter_mm,
                idler.x_mm,
                idler.y_mm,
                idler.wrap_deg,
                idler.travel_per_belt_mm
            )?;
        }
        if let Some(load) = &self.load {
            write_load(out, load)?;
        }
        if let Some(printed) = &self.printed {
            write_printed(out, printed)?;
        }
        if !self.mesh.is_empty() {
            write_mesh(out, &self.mesh)?;
        }
        if with_sources {
            writeln!(out, "\nsources")?;
            for source in &self.sources {
                writeln!(out, "  {}: {}", source.what, source.source)?;
            }
        }
        writeln!(out, "\ncautions")?;
        self.cautions.iter().try_for_each(|caution| writeln!(out, "  {caution}"))
    }
}

fn write_load(out: &mut String, load: &LoadAnswer) -> std::fmt::Result {
    writeln!(
        out,
        "\n{} N m on the small pulley, {:.3} N m on the large one: the belt pulls {:.1} N, {:.1} N a tooth",
        load.torque_nm, load.large_torque_nm, load.pull_n, load.tooth_n
    )?;
    writeln!(
        out,
        "tight strand {:.1} N, slack strand {:.1} N (design ratio 8, from memory), each set to {:.1} N when still; \
         {:.1} N on either shaft",
        load.tight_strand_n, load.slack_strand_n, load.set_tension_n, load.shaft_n
    )?;
    if let (Some(rpm), Some(speed), Some(power)) = (load.rpm, load.speed_m_s, load.power_w) {
        writeln!(out, "at {rpm} rpm: belt {speed:.3} m/s, {power:.1} W")?;
    }
    if load.mesh_factor < 1.0 {
        writeln!(
            out,
            "with so few teeth in mesh a belt may bear {:.0} % of its maker's rating (from memory: ISO 5295)",
            100.0 * load.mesh_factor
        )?;
    }
    Ok(())
}

fn write_printed(out: &mut String, printed: &PrintedAnswer) -> std::fmt::Result {
    let moves = if printed.moves == "idler" { "the idler's axis" } else { "the centre distance" };
    writeln!(out, "\nprinted with `{}`, outside diameters in mm:", printed.setup)?;
    writeln!(out, "{:<16}{:>9}{:>9}{:>9}{:>20}", "", "wanted", "draw", "95 % ±", "if drawn as wanted")?;
    for (name, outside) in
        [("small pulley", printed.small_outside_diameter), ("large pulley", printed.large_outside_diameter)]
    {
        writeln!(
            out,
            "{name:<16}{:>9.3}{:>9.3}{:>9.3}{:>20.3}",
            outside.wanted_mm, outside.draw_mm, outside.half95_mm, outside.uncorrected_mm
        )?;
    }
    let belt = match printed.belt_half_mm {
        Some(half) => format!(", ± {half:.3} from the belt's own tolerance"),
        None => ", the belt's own tolerance not known".to_owned(),
    };
    writeln!(
        out,
        "the belt is right with {moves} at {:.3} mm ± {:.3} from the prints (± {:.3} if each pulley is a print of its \
         own){belt}",
        printed.nominal_mm, printed.prints_half95_mm, printed.prints_apart_half95_mm
    )?;
    writeln!(
        out,
        "give the tensioner {:.2} mm of travel, {:.2} to {:.2} mm (95 %), and what it takes to lay the belt over the \
         flanges",
        printed.travel_mm, printed.low95_mm, printed.high95_mm
    )?;
    writeln!(out, "drawn without correction it would be at {:.3} mm", printed.uncorrected_mm)
}

fn write_mesh(out: &mut String, all: &[MeshAnswer]) -> std::fmt::Result {
    writeln!(out, "\nmesh: least play of a belt tooth in its groove, mm; below 0 it does not go in")?;
    writeln!(
        out,
        "{:<26}{:>8}{:>7}{:>9}{:>9}  {:<28}{:<22}swings in",
        "", "pulley", "phase", "in mesh", "play", "where", "bears first"
    )?;
    for mesh in all {
        let mut state = mesh.state.words();
        for pulley in &mesh.pulleys {
            let place = format!("{} of tooth {}", pulley.least_place.words(), pulley.least_tooth);
            let bears = match (pulley.bears_first, pulley.bearing_spread_mm) {
                (Some(tooth), Some(spread)) => format!("tooth {tooth}, by {spread:.3} mm"),
                (None, Some(_)) => "all at once".to_owned(),
                _ => "-".to_owned(),
            };
            writeln!(
                out,
                "{state:<26}{:>8}{:>7.2}{:>9}{:>9.3}  {place:<28}{bears:<22}{:>9.3}",
                pulley.teeth,
                pulley.phase_deg,
                pulley.in_mesh.len(),
                pulley.least_mm,
                pulley.swing_in_mm
            )?;
            state = "";
        }
    }
    writeln!(
        out,
        "phase: direction of the groove in the middle of the wrap, degrees from the line of centres, when a belt \
         tooth\nstands in the middle of the small pulley's wrap; teeth are counted from where the belt comes on, and \
         the small\npulley drives; swings in: least play of a tooth on its way in from the straight belt"
    )
}
