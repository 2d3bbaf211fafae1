//! A parts list of ten thousand lines, from the bytes of the file to the bytes of the answer.
//!
//! Run: `cargo bench --bench parts`.

use std::fmt::Write as _;
use std::path::Path;

use divan::Bencher;
use shrinkrule::correction::Correction;
use shrinkrule::fits::named::NamedFits;
use shrinkrule::parts::own_fits::OwnFits;
use shrinkrule::parts::parts_list::PartsList;
use shrinkrule::parts::sized_list::SizedList;
use shrinkrule::units::Mm;

fn main() {
    divan::main();
}

/// Lines of every form: limits, class, fit, fit with the mate's own limits, a mate that is sold, nothing.
fn list(lines: usize) -> String {
    let mut text = "part,dimension,kind,axis,target_mm,lower_mm,upper_mm,class,fit,mate_mm,mate_lower_mm,mate_upper_mm,mate\n"
        .to_owned();
    for line in 0..lines {
        let part = ["bearing:608", "shaft:5h7", "pin:4m6", "bearing:6204"][line / 6 % 4];
        let size = 3.0 + (line % 997) as f64 / 40.0;
        let (lower, upper) = (size - 0.1, size + 0.1);
        let _ = match line % 6 {
            0 => writeln!(text, "p{line},d,bore,,{size},{lower:.3},{upper:.3},,,,,,"),
            1 => writeln!(text, "p{line},d,pin,,{size},,,h11,,,,,"),
            2 => writeln!(text, "p{line},d,bore,,,,,,slide,{size},,,"),
            4 => writeln!(text, "p{line},d,,,,,,,press,,,,{part}"),
            3 => writeln!(text, "p{line},d,gap,x,,,,,free,,{lower:.3},{size},"),
            _ => writeln!(text, "p{line},d,span,y,{size},,,,,,,,"),
        };
    }
    text
}

fn correction() -> Correction {
    let path = Path::new("tests/data/known.correction.toml");
    Correction::from_toml(include_str!("../tests/data/known.correction.toml"), path)
        .unwrap_or_else(|error| panic!("the correction of this bench can be read: {error}"))
}

#[divan::bench(args = [15, 10_000])]
fn list_to_answer(bencher: Bencher<'_, '_>, lines: usize) {
    let (text, correction, fits) = (list(lines), correction(), NamedFits::bundled());
    let step = Mm::new(0.01).unwrap_or_else(|| unreachable!("finite"));
    bencher.bench_local(|| {
        let list = PartsList::parse(text.as_bytes(), Path::new("parts.csv")).unwrap_or_else(|problems| {
            panic!("the list of this bench can be read: {problems:?}");
        });
        let csv = SizedList::new(&list, &correction, &OwnFits::named(&fits), step).to_csv();
        csv.map(|csv| csv.len()).unwrap_or_default()
    });
}

/// What `size` pays for its limits: the bundled fits are read, the tables are parsed once a process.
#[divan::bench]
fn bundled_fits() -> usize {
    NamedFits::bundled().iter().count()
}
