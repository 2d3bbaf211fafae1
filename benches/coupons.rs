//! Coupons: the `starter` set in memory, and the whole command from process start to the last file on disk.

use std::process::Command;

use divan::{Bencher, black_box};
use shrinkrule::coupon::kit::{Kit, Options};
use shrinkrule::coupon::{definition, embedded_sets};
use shrinkrule::report::guide;

fn main() {
    divan::main();
}

/// The definition alone: what a readings check pays to know the coupons.
#[divan::bench]
fn read_the_starter_definition(bencher: Bencher) {
    let text = include_str!("../coupons/starter.toml");
    bencher.bench(|| definition::parse("starter.toml".as_ref(), black_box(text)));
}

#[divan::bench]
fn starter_solids_proven_and_packed(bencher: Bencher) {
    bencher.bench(|| Kit::new(black_box(&embedded_sets()[1]).clone(), Options::default()));
}

#[divan::bench]
fn starter_guide(bencher: Bencher) {
    let kit = Kit::new(embedded_sets()[1].clone(), Options::default()).expect("the set is our own");
    bencher.bench(|| guide::page(black_box(&kit)));
}

#[divan::bench]
fn starter_command_with_all_files(bencher: Bencher) {
    bencher.with_inputs(|| tempfile::tempdir().expect("a scratch folder")).bench_refs(|scratch| {
        let out = scratch.path().join("c");
        let mut command = Command::new(env!("CARGO_BIN_EXE_shrinkrule"));
        command.args(["coupons", "starter", "--quiet", "--out"]).arg(out);
        let status = command.stdout(std::process::Stdio::null()).status();
        assert!(status.is_ok_and(|status| status.success()));
    });
}
