use std::path::Path;

use super::*;
use crate::readings::read_bytes;

fn feels(rows: &str) -> Result<Feels, NoFeels> {
    let text = format!("coupon,feature,kind,nominal_mm,copy,feel,mate_mm,mate\n{rows}");
    let readings = read_bytes(Path::new("feels.csv"), text.as_bytes()).unwrap();
    Feels::fit_all(&readings).remove(&0).unwrap()
}

const CLEAN: &str = "R1,b,bore,8,1,no-go,8,shaft\nR2,b,bore,8.1,1,snug,8,shaft\nR3,b,bore,8.2,1,slide,8,shaft\n\
                     R4,b,bore,8.3,1,slide,8,shaft\nR5,b,bore,8.4,1,free,8,shaft\n";

#[test]
fn clean_feels_give_bands_between_sizes_and_no_chance() {
    let feels = feels(CLEAN).unwrap();
    let band = feels.band(Kind::Bore, Feel::Slide).unwrap();
    assert_eq!(band.clearance, Limits { lower_mm: 0.15, upper_mm: 0.35 });
    assert!(!band.open_below && !band.open_above);
    assert_eq!((feels.sd_mm, feels.chance(Kind::Bore, Feel::Slide, 0.25)), (None, None));
    assert_eq!(feels.band(Kind::HorizontalBore, Feel::Slide), Some(band));
    assert_eq!(feels.band(Kind::Bore, Feel::Press), None);
    assert_eq!(feels.band(Kind::Pin, Feel::Slide), None);
    let free = feels.band(Kind::Bore, Feel::Free).unwrap();
    assert_eq!((free.clearance, free.open_above), (Limits { lower_mm: 0.35, upper_mm: 0.4 }, true));
    assert!(feels.warnings[0].starts_with("every feel changes cleanly"));
    assert!(feels.warnings[1].starts_with("the pieces were tried on one print"));
}

#[test]
fn an_outside_has_its_clearance_the_other_way_round() {
    let rows =
        "P,p,pin,8,1,no-go,8,bearing\nP,q,pin,7.9,1,snug,8,\nP,r,pin,7.8,1,slide,8,\nP,s,pin,7.7,1,free,8,\n";
    let feels = feels(rows).unwrap();
    assert_eq!(
        feels.band(Kind::Pin, Feel::Slide).unwrap().clearance,
        Limits { lower_mm: 0.15, upper_mm: 0.25 }
    );
    assert_eq!(feels.groups[&Group::OutsideRound].mates, ["bearing"]);
}

#[test]
fn two_rows_of_one_ring_are_one_trial() {
    let overlap = "R6,b,bore,8.15,1,slide,8,\nR7,b,bore,8.22,1,snug,8,\n";
    let once = feels(&format!("{CLEAN}{overlap}")).unwrap();
    let twice = feels(&format!("{CLEAN}{overlap}R2,c,bore,8.1,1,snug,8,shaft\n")).unwrap();
    assert!((once.sd_mm.unwrap() - twice.sd_mm.unwrap()).abs() < 1e-9);
    let other_print = feels(&format!("{CLEAN}{overlap}R2,b,bore,8.1,2,snug,8,shaft\n")).unwrap();
    assert!((once.sd_mm.unwrap() - other_print.sd_mm.unwrap()).abs() > 1e-6);
    let chance = once.chance(Kind::Bore, Feel::Slide, 0.25).unwrap();
    assert!((0.4..1.0).contains(&chance), "{chance}");
}

#[test]
fn a_group_with_few_trials_takes_the_thresholds_of_all() {
    let more = "R6,b,bore,8.15,1,slide,8,\nR7,b,bore,8.22,1,snug,8,\nG,g,gap,3.2,1,slide,3,belt\n";
    let feels = feels(&format!("{CLEAN}{more}")).unwrap();
    let gap = &feels.groups[&Group::Gap];
    assert!(!gap.own && feels.groups[&Group::InsideRound].own);
    assert!(feels.band(Kind::Gap, Feel::Slide).is_some());
    assert!(feels.warnings.iter().any(|said| said.starts_with("gaps had 1 feel test, too few")));
}

#[test]
fn too_few_one_feel_and_the_wrong_way_are_said() {
    let few = feels("R,b,bore,8,1,snug,8,\n").unwrap_err();
    assert_eq!(few.to_string(), "1 feel test: 4 are needed to place a feel");
    let rows: String = (0..5).map(|i| format!("R{i},b,bore,8.{i},1,slide,8,\n")).collect();
    assert!(feels(&rows).unwrap_err().to_string().starts_with("all 5 feel tests felt slide"));
    let backwards = "R1,b,bore,8,1,free,8,\nR2,b,bore,8.1,1,slide,8,\nR3,b,bore,8.2,1,snug,8,\nR4,b,bore,8.3,1,no-go,8,\n";
    assert_eq!(feels(backwards).unwrap_err(), NoFeels::Backwards);
}

#[test]
fn a_file_of_feels_reads_back_and_other_files_say_none() {
    let more = "R6,b,bore,8.15,1,slide,8,\nR7,b,bore,8.22,1,snug,8,\nG,g,gap,3.2,1,slide,3,belt\n";
    for rows in [CLEAN.to_owned(), format!("{CLEAN}{more}")] {
        let feels = feels(&rows).unwrap();
        let text = feels.to_toml();
        let read = Feels::from_toml(&text, Path::new("a")).unwrap().unwrap();
        assert_eq!(read, Feels { alone: true, ..feels });
        let cut = text.trim_end().len() - 5;
        let cut = Feels::from_toml(&text[..cut], Path::new("a"));
        assert!(cut.is_err(), "{cut:?}");
        let refused =
            crate::correction::Correction::from_toml(&text, Path::new("a")).unwrap_err().to_string();
        assert!(refused.contains("feel: this correction is from feel tests alone"), "{refused}");
    }
    assert_eq!(Feels::from_toml("format = 1\nsetup = \"a\"\n", Path::new("a")).unwrap(), None);
}
