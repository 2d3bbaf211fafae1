use super::*;

fn typical(name: &str, property: Property) -> f64 {
    find(name, Among::All).unwrap().range(property).unwrap().typical
}

#[test]
fn every_row_of_the_tables_is_read_with_its_unit_and_its_source() {
    assert_eq!(Property::from_table("density", "g/cm3"), Some(Property::Density));
    assert_eq!(Property::from_table("density", "kg/m3"), None);
    let rows = [POLYMERS, LONG_TERM, METALS].map(|text| text.lines().count() - 1);
    assert_eq!(rows, [243, 34, 29]);
    let values = rows.iter().sum::<usize>();
    assert_eq!(all().iter().map(|material| material.values.len()).sum::<usize>(), values);
    let labels = ["looked-up", "from memory", "common practice", "derived", "judgement"];
    for material in all() {
        for (property, value) in material.values() {
            let what = format!("{} {property}", material.name);
            assert!(labels.iter().any(|label| value.source_typical.starts_with(label)), "{what}");
            if let Some(Range { low, typical, high }) = value.range {
                assert!(low <= typical && typical <= high, "{what}: {low} {typical} {high}");
            }
        }
    }
}

#[test]
fn every_key_of_a_source_is_explained_in_the_readme_of_the_tables() {
    let readme = include_str!("../../data/materials/README.md");
    let is_key = |word: &str| {
        word.len() >= 3 && word.chars().all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '-')
    };
    for (property, value) in all().iter().flat_map(Material::values) {
        for source in [value.source_typical, value.source_range] {
            let Some((_, keys)) = source.split_once("looked-up: ") else { continue };
            let key = keys.split([' ', ',', ';', '/', '(']).next().unwrap();
            assert!(is_key(key) && readme.contains(key), "{property}: {source}");
        }
    }
}

#[test]
fn every_polymer_has_what_screening_and_press_fits_ask_for() {
    use Property::*;
    for material in all() {
        for property in [ExpansionInPlane, Modulus, PoissonRatio, Density] {
            assert!(material.range(property).is_some(), "{} {property}", material.name);
        }
        if material.is_polymer() {
            for property in [GlassTransition, HeatDeflectionHigh, StrainLimit, PrintShrinkage, Vicat] {
                let is_known_gap = matches!(
                    (material.name, property),
                    ("PLA_annealed", PrintShrinkage) | ("PET_CF" | "PPS" | "PPS_CF" | "PEEK", Vicat)
                );
                assert_eq!(material.range(property).is_none(), is_known_gap, "{} {property}", material.name);
            }
        }
    }
}

/// Source: `data/materials`, as looked up or remembered there.
#[test]
fn a_few_values_are_those_of_the_tables() {
    assert_eq!(typical("PETG", Property::GlassTransition), 81.0);
    assert_eq!(typical("ABS", Property::ExpansionInPlane), 90.0);
    assert_eq!(typical("steel", Property::ExpansionInPlane), 11.7);
    assert_eq!(typical("aluminium", Property::Modulus), 69.0);
    assert_eq!(typical("PEI", Property::MaxOperating), 170.0);
    let pla = polymer("PLA").unwrap().range(Property::ExpansionInPlane).unwrap();
    assert_eq!(pla, Range { low: 55.0, typical: 70.0, high: 95.0 });
    let annealed = polymer("PLA_annealed").unwrap().range(Property::AnnealInPlane).unwrap();
    assert_eq!((annealed.low, annealed.high), (-5.0, -0.3));
}

#[test]
fn a_name_is_found_however_it_is_written() {
    for (written, name) in [
        ("petg", "PETG"),
        ("PC/ABS", "PC_ABS"),
        ("pa-cf", "PA_CF"),
        ("nylon 12", "PA12"),
        ("Steel", "steel_carbon"),
        ("aluminum", "aluminium_6061"),
        ("PLA, annealed", "PLA_annealed"),
    ] {
        assert_eq!(find(written, Among::All).unwrap().name, name, "{written}");
    }
}

#[test]
fn no_two_materials_share_a_spelling() {
    let mut seen = BTreeMap::new();
    for material in all() {
        for spelling in material.spellings() {
            let other = seen.insert(fold(spelling), material.name);
            assert!(other.is_none_or(|other| other == material.name), "{spelling}");
        }
    }
}

#[test]
fn an_unknown_name_is_answered_with_the_nearest_and_a_common_one_with_all_that_it_may_mean() {
    let error = polymer("PETH").unwrap_err();
    assert_eq!(
        error.to_string(),
        "`PETH` is no polymer of the tables; they know PLA, PLA annealed, PETG, ABS, ASA, PC, PC/ABS, PA6, PA12, \
         PA-CF, PET-CF, PP, PPS, PPS-CF, PEEK, PEI"
    );
    assert_eq!(error.help().unwrap(), "did you mean PETG?");
    let error = find("nylon", Among::All).unwrap_err();
    assert_eq!(error.to_string(), "`nylon` is several materials of the tables: PA6, PA12, PA-CF");
    assert_eq!(error.help().unwrap(), "name the one that you mean");
    assert_eq!(metal("alu").unwrap_err().help().unwrap(), "did you mean aluminium 6061?");
    assert!(
        metal("PETG")
            .unwrap_err()
            .to_string()
            .starts_with("`PETG` is no metal of the tables; they know carbon steel")
    );
    assert!(find("", Among::All).is_err());
}
