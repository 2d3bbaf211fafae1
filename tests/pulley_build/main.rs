//! Pulleys with everything on them: one closed body a piece, of the volume that closed forms give.

mod random;
mod volume;

use random::request;
use shrinkrule::geometry::stl;
use shrinkrule::parts::pulley::Design;
use shrinkrule::parts::pulley_solid::solids;
use volume::closed_form;

/// How many were made and how many refused; each that was made is proven, as a mesh and as an exact solid.
fn prove(seeds: std::ops::Range<u64>) -> (u32, u32, u32) {
    let (mut made, mut refused, mut pieces) = (0, 0, 0);
    for seed in seeds {
        let request = request(seed);
        let design = match Design::new(&request, None) {
            Ok(design) => design,
            Err(_) => {
                refused += 1;
                continue;
            }
        };
        let solids = solids(&design).unwrap_or_else(|error| panic!("seed {seed} {request:?}: {error}"));
        for (solid, piece) in solids.iter().zip(&design.drawn_pieces) {
            assert_eq!(solid.shells(), 1);
            let bytes = stl::to_bytes(&[solid], "pulley").unwrap();
            let proof = stl::prove(&bytes, 1).unwrap();
            assert!((proof.volume_mm3() - solid.volume_mm3()).abs() < 1e-9 * solid.volume_mm3());
            let (expected, slack) = closed_form(piece);
            let off = solid.volume_mm3() - expected;
            assert!(
                off.abs() < slack,
                "seed {seed} {}: {} for {expected} +- {slack}\n{piece:?}",
                piece.name,
                solid.volume_mm3()
            );
            let exact = piece.exact().unwrap_or_else(|error| panic!("seed {seed} {request:?}: {error}"));
            let off = exact.brep.volume_mm3 - expected;
            assert!(off.abs() < slack, "seed {seed}, exact: {} for {expected} +- {slack}", off + expected);
            pieces += 1;
        }
        made += 1;
    }
    println!("{made} pulleys of {pieces} pieces proven, {refused} refused");
    (made, refused, pieces)
}

#[test]
fn random_pulleys_are_solids_of_the_closed_forms_volume_or_refused() {
    let (made, _, pieces) = prove(0..120);
    assert!(made > 50 && pieces > made, "{made} {pieces}");
}

#[test]
#[ignore = "minutes; the figure is in DEVELOPERS.md"]
fn two_thousand_random_pulleys_are_solids_of_the_closed_forms_volume() {
    let (made, ..) = prove(0..4_000);
    assert!(made >= 2_000, "{made}");
}
