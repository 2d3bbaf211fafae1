//! Solids from outlines: points and triangles, and a proof that they enclose what was drawn.
//!
//! ```text
//! outline -> stack of slabs -> sweep at every level -> mesh -> check -> Solid -> STL, 3MF
//! ```
//!
//! ```text
//! curve outline -> DXF, SVG; curve stack, holes across it -> boundary of planes, cylinders and cones -> STEP
//! ```
//!
//! An [`outline::Outline`] is a flat region. A [`solid::Stack`] piles slabs of such regions up, and comes
//! back as a [`solid::Solid`] only when [`check`] has proven the mesh closed. Lengths are bare `f64`
//! millimetres. Everything that enters a stack is snapped to a grid of 2^-13 mm (0.12 micrometres), which
//! a 32-bit float holds exactly up to 1024 mm: inside, coordinates are whole numbers, every test is exact,
//! and an STL file loses nothing.

pub mod biarc;
pub mod brep;
mod brep_builder;
pub mod check;
mod combine;
pub mod curve;
mod curve_offset;
pub mod curve_stack;
mod defect;
pub mod drill;
pub mod dxf;
mod glyphs;
mod grid;
pub mod lettering;
mod level;
pub mod mesh;
pub mod outline;
pub mod solid;
pub mod space_curve;
mod stack;
pub mod step;
pub mod stl;
pub mod svg;
mod sweep;
pub mod threemf;
