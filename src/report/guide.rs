//! The measuring guide: one self-contained page with a drawing of every coupon.

use askama::Template;

use crate::coupon::drawing::{Drawing, drawings};
use crate::coupon::feature::{ARM_SUFFIX, FLAT_SUFFIX, Feature};
use crate::coupon::kit::{Kit, PlateDrawing};
use crate::coupon::summary::Summary;
use crate::coupon::{Coupon, CouponError, sheet};
use crate::kind::Axis;
use crate::readings::trials::Feel;

/// Why a guide could not be made.
#[derive(Debug, thiserror::Error)]
pub enum GuideError {
    /// A drawing could not be made.
    #[error(transparent)]
    Coupon(#[from] CouponError),
    /// The page could not be filled in.
    #[error("cannot fill in the measuring guide: {0}")]
    Template(#[from] askama::Error),
}

#[derive(Template)]
#[template(path = "guide.html", config = "src/report/askama.toml")]
struct Page<'a> {
    setup: &'a str,
    summary: Summary,
    readings: usize,
    plates: Vec<PlateDrawing>,
    /// The file to open first.
    first_plate: String,
    /// Whether it is measured before and after heat.
    heat: bool,
    forms: Vec<Form<'a>>,
    /// Every feel and how to tell it, where pieces are to be tried.
    feels: Vec<(&'static str, &'static str)>,
}

/// Pieces of one form that follow one another.
struct Form<'a> {
    title: &'static str,
    advice: &'static str,
    pieces: Vec<Piece<'a>>,
}

struct Piece<'a> {
    coupon: &'a Coupon,
    drawings: Vec<Drawing>,
    rows: Vec<Row<'a>>,
}

struct Row<'a> {
    feature: &'a Feature,
    kind: String,
    direction: &'static str,
    place: String,
}

/// The guide to measuring this kit, as HTML.
///
/// # Errors
/// When a drawing cannot be made, which is a fault of this program.
pub fn page(kit: &Kit) -> Result<String, GuideError> {
    let piece = |coupon| -> Result<Piece<'_>, CouponError> {
        Ok(Piece { coupon, drawings: drawings(coupon)?, rows: coupon.features.iter().map(row).collect() })
    };
    let pieces = kit.set.coupons.iter().map(piece).collect::<Result<Vec<_>, _>>()?;
    let plates = kit.plate_drawings();
    let page = Page {
        first_plate: plates.first().map(|plate| plate.file.clone()).unwrap_or_default(),
        heat: kit.heat().is_some(),
        setup: kit.setup(),
        summary: kit.summary(Vec::new()),
        readings: sheet::READINGS,
        plates,
        forms: by_form(pieces),
        feels: if kit.set.feel {
            Feel::ALL.map(|feel| (feel.name(), feel.means())).to_vec()
        } else {
            Vec::new()
        },
    };
    Ok(page.render()?)
}

fn by_form(pieces: Vec<Piece<'_>>) -> Vec<Form<'_>> {
    let mut forms: Vec<Form<'_>> = Vec::new();
    for piece in pieces {
        match forms.last_mut() {
            Some(form) if form.title == piece.coupon.title() => form.pieces.push(piece),
            _ => forms.push(Form {
                title: piece.coupon.title(),
                advice: piece.coupon.advice(),
                pieces: vec![piece],
            }),
        }
    }
    forms
}

fn row(feature: &Feature) -> Row<'_> {
    let direction = match feature.axis {
        Axis::X => "x",
        Axis::Y => "y",
        Axis::Z => "z, up",
        Axis::Round => "any",
        Axis::D45 => "diagonal, front left to back right",
        Axis::D135 => "diagonal, front right to back left",
    };
    let height = feature.jaws.from[2];
    let place = match feature.axis {
        _ if feature.is_at_bed() => "lowest edge".to_owned(),
        _ if feature.label.ends_with(ARM_SUFFIX) => "from the prongs' tops".to_owned(),
        Axis::Z if feature.jaws.from[2] > 0.0 => "past the chamfer".to_owned(),
        Axis::Z => "from the bed side".to_owned(),
        _ => format!("{height:.0} mm"),
    };
    let kind = match feature.label.ends_with(FLAT_SUFFIX) {
        true => "half gap, half bore: not fitted".to_owned(),
        false => feature.kind.name().replace('_', " "),
    };
    Row { feature, kind, direction, place }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coupon::embedded_sets;
    use crate::coupon::kit::Options;

    fn guide(copies: u32) -> String {
        guide_of(1, copies)
    }

    fn guide_of(set: usize, copies: u32) -> String {
        let options = Options { copies, setup: "a <b> & c".to_owned(), ..Options::default() };
        page(&Kit::new(embedded_sets()[set].clone(), options).unwrap()).unwrap()
    }

    #[test]
    fn every_feature_is_drawn_and_listed_once() {
        let page = guide(1);
        for coupon in &embedded_sets()[1].coupons {
            let (_, section) = page.split_once(&format!("<h4>{}</h4>", coupon.name)).unwrap();
            let section = section.split("</section>").next().unwrap();
            for Feature { label, .. } in &coupon.features {
                let what = format!("{} {label}", coupon.name);
                assert_eq!(section.matches(&format!(">{label}</text>")).count(), 1, "{what}");
                assert_eq!(section.matches(&format!("<strong>{label}</strong>")).count(), 1, "{what}");
            }
        }
    }

    #[test]
    fn nothing_is_fetched_from_elsewhere_and_a_setup_is_text() {
        let page = guide(1);
        for fetch in ["http:", "https:", "<script", "<link", "url(", "@import", "src="] {
            assert!(!page.contains(fetch), "{fetch}");
        }
        assert!(page.contains("a &#60;b&#62; &#38; c"));
        for set in 0..embedded_sets().len() {
            let page = guide_of(set, 1);
            assert!(!page.contains("NaN") && !page.contains("inf "), "{}", embedded_sets()[set].name);
        }
    }

    #[test]
    fn copies_are_said_to_be_jobs_of_their_own() {
        assert!(guide(2).contains("<strong>as a job of its own</strong>"));
        assert!(guide(2).contains("plate-copy-2.3mf"));
    }
}
