//! What is said of a press fit at the bench.

use crate::material::Range;

use super::pressed::Pressed;

/// A range to so many decimals, without a sign before a zero.
fn shown(range: Range, digits: usize) -> Range {
    let scale = 10.0_f64.powi(i32::try_from(digits).unwrap_or(0));
    range.map(|value| (value * scale).round() / scale + 0.0)
}

impl Pressed {
    /// The answer for a person, in lines.
    pub fn to_text(&self) -> String {
        let [plastic, metal] = self.labels;
        let mut text = if self.printed == "pin" {
            format!(
                "{plastic} pin pressed into {metal}, {:.1} mm thick: typical (low to high)\n",
                self.wall_mm
            )
        } else {
            format!(
                "pressed into {plastic}, {:.1} mm thick, on {metal}: typical (low to high)\n",
                self.wall_mm
            )
        };
        let mut line = |what: &str, range: Range, digits: usize, unit: &str, more: &str| {
            let Range { low, typical, high } = shown(range, digits);
            text.push_str(&format!(
                "  {what:<16} {typical:.digits$} {unit} ({low:.digits$} to {high:.digits$}){more}\n"
            ));
        };
        line("interference", self.interference_mm, 3, "mm", "");
        let limit = self.strain_limit_percent.zip(self.most_interference_mm);
        let limit = limit.map_or(String::new(), |(limit, most)| {
            format!("; for long {limit} % at most, {most:.3} mm of interference")
        });
        let strain = if self.printed == "pin" { "squeeze" } else { "hoop strain" };
        line(strain, self.hoop_strain_percent, 2, "%", &limit);
        line("hoop stress", self.hoop_stress_mpa, 1, "MPa", "");
        line("pressure", self.pressure_mpa, 1, "MPa", "");
        if let Some(holds) = &self.holds {
            let over = format!("; over {:.1} mm, friction {}", holds.length_mm, holds.friction);
            line("push-off force", holds.push_off_n, 0, "N", &over);
            line("torque", holds.torque_nm, 2, "N m", "");
        }
        if let Some(warm) = &self.warm {
            let what = format!("at {} °C", warm.temperature_c);
            let Range { low, typical, high } = shown(warm.interference_mm, 3);
            let more = format!("; interference {typical:.3} mm ({low:.3} to {high:.3})");
            line(&what, warm.pressure_mpa, 1, "MPa", &more);
        }
        if let Some(left) = &self.left {
            let more = format!("; {:.0} % left", 100.0 * left.share.typical);
            line(&format!("after {:.0} h", left.hours), left.pressure_mpa, 1, "MPa", &more);
        }
        text
    }
}
