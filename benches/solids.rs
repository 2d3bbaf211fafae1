//! What solids cost: building and proving one like a pulley, writing a million triangles, 3MF.
//!
//! `cargo bench --bench solids`. Before the table, STL writing is timed in turns with a raw preallocated
//! write of the same bytes, which is the limit: the ratio is what counts, since the disk's speed drifts.

use std::f64::consts::TAU;
use std::fs::File;
use std::io::{self, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use shrinkrule::geometry::lettering;
use shrinkrule::geometry::outline::Outline;
use shrinkrule::geometry::solid::{Solid, Stack};
use shrinkrule::geometry::stl;
use shrinkrule::geometry::threemf::Model;

fn main() -> io::Result<()> {
    stl_in_turns()?;
    divan::main();
    Ok(())
}

/// A wheel of straight-sided grooves with arcs between them, 21 corners a tooth.
fn toothed(teeth: usize) -> Outline {
    let outside = 5.08 * teeth as f64 / TAU - 0.254;
    let root = outside - 1.65;
    let pitch = TAU / teeth as f64;
    let mut points = Vec::new();
    for tooth in 0..teeth {
        let start = tooth as f64 * pitch;
        let mut add = |radius: f64, share: f64| {
            let (sin, cos) = (start + share * pitch).sin_cos();
            points.push([radius * cos, radius * sin]);
        };
        (0..=8).for_each(|step| add(outside, 0.25 * step as f64 / 8.0));
        (1..=2).for_each(|step| add(outside - 0.2 * step as f64, 0.25 + 0.02 * step as f64));
        (0..=7).for_each(|step| add(root, 0.45 + 0.35 * step as f64 / 7.0));
        (1..=2).for_each(|step| add(outside - 0.6 + 0.2 * step as f64, 0.95 + 0.01 * step as f64));
    }
    Outline::polygon(points)
}

/// Two flanges with conical undersides, a toothed face, a bore, and the tooth count engraved.
fn pulley(teeth: usize, bore: f64) -> Solid {
    let hole = Outline::circle([0.0; 2], bore);
    let outside = 5.08 * teeth as f64 / TAU * 2.0 - 0.508;
    let segments = 192;
    let ring = |diameter: f64| Outline::circle_with([0.0; 2], diameter, segments).with_hole(&hole);
    let (rim, foot) = (ring(outside + 6.0), ring(outside + 1.0));
    let label = lettering::text(&teeth.to_string(), 5.0)
        .expect("digits have glyphs")
        .translated(-3.0, bore / 2.0 + 0.7);
    Stack::new(format!("pulley {teeth}"))
        .slab(0.0, 1.0, &rim)
        .taper(1.0, 2.0, &rim, &foot)
        .slab(2.0, 13.0, &toothed(teeth).with_hole(&hole))
        .taper(13.0, 14.0, &foot, &rim)
        .slab(14.0, 14.4, &rim)
        .slab(14.4, 15.0, &rim.minus_inside(&label))
        .solid()
        .expect("a pulley is a solid")
}

/// A perforated plate of about a million triangles.
fn million() -> Solid {
    let mut plate = Outline::rectangle(0.0, 0.0, 400.0, 400.0);
    for hole in 0..1600 {
        let centre = [5.0 + 10.0 * f64::from(hole % 40), 5.0 + 10.0 * f64::from(hole / 40)];
        plate = plate.with_hole(&Outline::circle_with(centre, 8.0, 156));
    }
    Stack::new("plate").slab(0.0, 3.0, &plate).solid().expect("a plate is a solid")
}

fn raw_preallocated(bytes: &[u8], path: &Path) -> io::Result<()> {
    let mut file = File::create_new(path)?;
    #[cfg(target_os = "linux")]
    let _ = rustix::fs::fallocate(&file, rustix::fs::FallocateFlags::KEEP_SIZE, 0, bytes.len() as u64);
    file.write_all(bytes)
}

/// Prints medians of 31 runs each, in turns.
fn stl_in_turns() -> io::Result<()> {
    let solid = million();
    let bytes = stl::to_bytes(&[&solid], "plate")?;
    let scratch = tempfile::tempdir()?;
    let path = scratch.path().join("plate.stl");
    let mut times: [Vec<Duration>; 2] = Default::default();
    let mut ratios = Vec::new();
    for _ in 0..31 {
        let start = Instant::now();
        raw_preallocated(&bytes, &path)?;
        let raw = start.elapsed();
        std::fs::remove_file(&path)?;
        let start = Instant::now();
        stl::write(&[&solid], "plate", &File::create_new(&path)?)?;
        let ours = start.elapsed();
        assert!(std::fs::read(&path)? == bytes, "the file differs from its bytes");
        std::fs::remove_file(&path)?;
        times[0].push(raw);
        times[1].push(ours);
        ratios.push(ours.as_secs_f64() / raw.as_secs_f64());
    }
    times.iter_mut().for_each(|times| times.sort_unstable());
    ratios.sort_unstable_by(f64::total_cmp);
    println!(
        "STL, {} triangles: raw {:?} (best {:?}), ours {:?} (best {:?}), ratio {:.2} ({:.2} to {:.2} in the middle half)",
        solid.triangles().len(),
        times[0][15],
        times[0][0],
        times[1][15],
        times[1][0],
        ratios[15],
        ratios[7],
        ratios[23]
    );
    Ok(())
}

#[divan::bench(args = [12, 20, 60])]
fn pulley_built_and_proven(teeth: usize) -> Solid {
    pulley(divan::black_box(teeth), 5.0)
}

#[divan::bench(sample_count = 20)]
fn pulleys_200_of_12_to_60_teeth() -> usize {
    (0..200).map(|index| pulley(12 + index % 49, 5.0 + 0.001 * index as f64).triangles().len()).sum()
}

#[divan::bench(sample_count = 10)]
fn plate_of_a_million_triangles() -> Solid {
    million()
}

#[divan::bench]
fn label_outline() -> Outline {
    lettering::text(divan::black_box("T5-20"), 5.0).expect("these have glyphs")
}

#[divan::bench]
fn pulley_to_stl_bytes_and_proven_again(bencher: divan::Bencher) {
    let solid = pulley(20, 5.0);
    bencher.bench(|| stl::prove(&stl::to_bytes(&[&solid], "pulley").expect("fits"), 1).expect("is a solid"));
}

#[divan::bench(args = [20, 60])]
fn pulley_to_3mf(bencher: divan::Bencher, teeth: usize) {
    let solid = pulley(teeth, 5.0);
    let model = Model { title: "pulley", description: "", metadata: &[], solids: &[&solid] };
    bencher.bench(|| model.to_bytes().expect("memory takes it"));
}

#[divan::bench(sample_count = 10)]
fn million_triangles_to_stl_bytes(bencher: divan::Bencher) {
    let solid = million();
    bencher.bench(|| stl::to_bytes(&[&solid], "plate").expect("fits"));
}

#[divan::bench(sample_count = 5)]
fn million_triangles_to_3mf(bencher: divan::Bencher) {
    let solid = million();
    let model = Model { title: "plate", description: "", metadata: &[], solids: &[&solid] };
    bencher.bench(|| model.to_bytes().expect("memory takes it"));
}
