//! A parts list of ten thousand lines, from the bytes of the file to the bytes of the answer.
//!
//! Run: `cargo bench --bench parts`.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use divan::Bencher;
use shrinkrule::correction::{Correction, Coverage, Form, ScaleForm, Spread, SpreadEstimate, Term};
use shrinkrule::fits::named::NamedFits;
use shrinkrule::kind::Kind;
use shrinkrule::parts::parts_list::PartsList;
use shrinkrule::parts::sized_list::SizedList;
use shrinkrule::units::Mm;

fn main() {
    divan::main();
}

/// Lines of every form: limits, class, fit, fit with the mate's own limits, nothing.
fn list(lines: usize) -> String {
    let mut text = "part,dimension,kind,axis,target_mm,lower_mm,upper_mm,class,fit,mate_mm,mate_lower_mm,mate_upper_mm\n"
        .to_owned();
    for line in 0..lines {
        let size = 3.0 + (line % 997) as f64 / 40.0;
        let (lower, upper) = (size - 0.1, size + 0.1);
        let _ = match line % 5 {
            0 => writeln!(text, "p{line},d,bore,,{size},{lower:.3},{upper:.3},,,,,"),
            1 => writeln!(text, "p{line},d,pin,,{size},,,h11,,,,"),
            2 => writeln!(text, "p{line},d,bore,,,,,,slide,{size},,"),
            3 => writeln!(text, "p{line},d,gap,x,,,,,free,,{lower:.3},{size}"),
            _ => writeln!(text, "p{line},d,span,y,{size},,,,,,,"),
        };
    }
    text
}

fn correction() -> Correction {
    let coverage = Coverage { min_mm: 3.0, max_mm: 20.0, features: 6, readings: 18 };
    let measured = [Kind::Bore, Kind::Pin, Kind::Gap, Kind::Outer, Kind::Span];
    let mut terms: Vec<Term> = measured.into_iter().map(Term::Offset).collect();
    terms.extend([Term::Scale, Term::SmallBore]);
    let covariance = (0..7).map(|i| (0..7).map(|j| if i == j { 1e-5 } else { 1e-7 }).collect()).collect();
    Correction {
        setup: "bench".to_owned(),
        date: None,
        readings_file: String::new(),
        readings_sha256: String::new(),
        program_version: String::new(),
        form: Form { scale: ScaleForm::Shared, small_bore: true },
        runners_up: Vec::new(),
        terms,
        coefficients: vec![-0.2, 0.12, -0.16, 0.15, 0.0, -0.004, -0.1],
        covariance,
        dof: 20.0,
        prints: 3,
        kinds: BTreeMap::from(measured.map(|kind| (kind, coverage))),
        spread: Spread {
            print: SpreadEstimate { sd_mm: 0.02, dof: Some(4.0) },
            feature: SpreadEstimate { sd_mm: 0.02, dof: Some(20.0) },
            repeat: None,
            caliper_u_mm: 0.01,
        },
        set_aside: Vec::new(),
        warnings: Vec::new(),
    }
}

#[divan::bench(args = [15, 10_000])]
fn list_to_answer(bencher: Bencher<'_, '_>, lines: usize) {
    let (text, correction, fits) = (list(lines), correction(), NamedFits::bundled());
    let step = Mm::new(0.01).unwrap_or_else(|| unreachable!("finite"));
    bencher.bench_local(|| {
        let list = PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap_or_else(|problems| {
            panic!("the list of this bench can be read: {problems:?}");
        });
        let csv = SizedList::new(&list, &correction, &fits, step).to_csv();
        csv.map(|csv| csv.len()).unwrap_or_default()
    });
}

/// What `size` pays for its limits: the bundled fits are read, the tables are parsed once a process.
#[divan::bench]
fn bundled_fits() -> usize {
    NamedFits::bundled().iter().count()
}
