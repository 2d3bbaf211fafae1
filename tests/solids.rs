//! Solids: volume by closed form of the polygons drawn, every directed edge once, the same after writing
//! and reading back.

use shrinkrule::geometry::outline::Outline;
use shrinkrule::geometry::solid::Stack;
use shrinkrule::geometry::stl;

#[test]
fn a_plate_with_a_bore_encloses_the_volume_of_its_polygons() {
    let plate = Outline::rectangle(0.0, 0.0, 30.0, 20.0).with_hole(&Outline::circle([15.0, 10.0], 8.0));
    let volume = plate.area() * 6.0;
    let solid = Stack::new("plate").slab(0.0, 6.0, &plate).solid().unwrap();
    assert!((solid.volume_mm3() / volume - 1.0).abs() < 1e-6, "{} for {volume}", solid.volume_mm3());
    let bytes = stl::to_bytes(&[&solid], "plate").unwrap();
    let proof = stl::prove(&bytes, 1).unwrap();
    assert_eq!(proof.volume_mm3(), solid.volume_mm3());
}
