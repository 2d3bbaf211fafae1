//! The heat protocol: one self-contained page that says how to condition, measure, heat and measure again.

use askama::Template;

use super::ReportError;
use crate::coupon::heat::{HeatPlan, readings};
use crate::coupon::kit::Kit;
use crate::coupon::sheet;

/// The stresses of the two usual heat-deflection tests, MPa (ISO 75, methods B and A).
const STRESSES_MPA: [f64; 2] = [0.45, 1.80];

/// Below this a pressed pin holds by chance, above it the wall may crack, mm on a bore of 8 mm: 0.02 is
/// what a caliper can tell, 0.10 is a strain of 1.25 % (common practice: short-term limit of brittle
/// polymers about 1 to 2 %).
const PRESS_MM: [f64; 2] = [0.02, 0.10];

#[derive(Template)]
#[template(path = "heat_protocol.html", config = "src/report/askama.toml")]
struct Page<'a> {
    title: String,
    lead: String,
    plan: &'a HeatPlan,
    copies: u32,
    repeats: usize,
    /// What hangs in the arm's hole for each of the usual stresses: stress in MPa, load in g.
    loads: Vec<(f64, f64)>,
    press_mm: [f64; 2],
}

/// The protocol for this kit, as HTML; `None` of a set that is not for heat.
///
/// # Errors
/// When the page cannot be filled in, which is a fault of this program.
pub fn page(kit: &Kit) -> Result<Option<String>, ReportError> {
    let Some(plan) = kit.heat() else { return Ok(None) };
    let materials: Vec<String> = plan.materials.iter().map(ToString::to_string).collect();
    let noun = if materials.len() == 1 { "material" } else { "materials" };
    let prints = if kit.copies() == 1 { "one print" } else { &format!("{} prints", kit.copies()) };
    let setup = if kit.setup().is_empty() { String::new() } else { format!("; setup: {}", kit.setup()) };
    let lead = format!(
        "{} {noun}: {}; {prints} of each; {} readings in both stages{setup}.",
        materials.len(),
        materials.join(", "),
        readings(&kit.set, kit.copies(), plan)
    );
    let mount = kit.set.coupons.iter().find(|coupon| coupon.arm_load_g(1.0).is_some());
    let load = |stress| Some((stress, mount?.arm_load_g(stress)?));
    let page = Page {
        title: format!("Heat protocol: coupon set {}", kit.set.name),
        lead,
        plan,
        copies: kit.copies(),
        repeats: sheet::READINGS,
        loads: STRESSES_MPA.into_iter().filter_map(load).collect(),
        press_mm: PRESS_MM,
    };
    Ok(Some(page.render()?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coupon::embedded_sets;
    use crate::coupon::kit::Options;

    fn protocol(materials: &[&str]) -> String {
        let set = embedded_sets().iter().find(|set| set.heat).unwrap().clone();
        let materials = materials.iter().map(|text| text.parse().unwrap()).collect();
        let heat = HeatPlan { materials, soak_c: Some(60.0), soak_h: Some(8.0), ..HeatPlan::default() };
        page(&Kit::new(set, Options { copies: 3, heat, ..Options::default() }).unwrap()).unwrap().unwrap()
    }

    #[test]
    fn the_cautions_come_before_anything_that_is_to_be_done() {
        let page = protocol(&["A"]);
        let cautions = page.find("class=\"caution\"").unwrap();
        assert!(cautions < page.find("<h2>What you need</h2>").unwrap());
        let section = &page[cautions..page.find("<h2>What you need</h2>").unwrap()];
        for word in ["food", "ventilat", "never unattended", "extinguisher", "batter", "gloves", "local"] {
            assert!(section.to_lowercase().contains(word), "{word}");
        }
    }

    #[test]
    fn materials_are_text_and_nothing_is_fetched_from_elsewhere() {
        let page = protocol(&["A=<b>&", "B"]);
        assert!(page.contains("A (&#60;b&#62;&#38;), B; 3 prints of each"), "{page}");
        for fetch in ["http:", "https:", "<script", "<link", "url(", "@import", "src="] {
            assert!(!page.contains(fetch), "{fetch}");
        }
        assert!(page.contains("60 °C") && page.contains("8 h"));
    }

    /// A cantilever 6 mm wide and 2 mm thick with the hole 53 mm from its root: `F = 0.45 * 6 * 4 / (6 * 53)` N.
    #[test]
    fn the_loads_are_those_that_bend_the_arm_as_the_usual_tests_do() {
        let page = protocol(&["A"]);
        let grams = |stress: f64| stress * 6.0 * 4.0 / (6.0 * 53.0) / 9.81 * 1000.0;
        assert_eq!(format!("{:.1} {:.1}", grams(0.45), grams(1.8)), "3.5 13.8");
        assert!(
            page.contains("<td class=\"number\">3.5</td>") && page.contains("<td class=\"number\">13.8</td>")
        );
    }

    #[test]
    fn a_set_without_heat_has_no_protocol() {
        let kit = Kit::new(embedded_sets()[0].clone(), Options::default()).unwrap();
        assert_eq!(page(&kit).unwrap(), None);
    }
}
