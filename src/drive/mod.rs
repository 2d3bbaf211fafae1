//! Two toothed pulleys and the belt round them.
//!
//! ```text
//! root                    one equation in one unknown
//! open, path              lengths, wraps: an open belt; a belt round any row of wheels
//! layout                  a drive: profile, teeth, belt, centre distance, what runs beside it
//! idler                   where a third wheel on the back or the inside takes up a longer belt
//! load                    speed, tooth load, strands from a torque
//! search                  all pairs and belts that fit a box, ranked
//! printed                 how far a print moves the centre distance at which the belt is right
//! mesh                    belt teeth laid against the pulleys' grooves, tooth by tooth
//! picture, mesh_picture   drawn to scale
//! request                 from what a person gives to all of that
//! pair, answer            what is said of it
//! ```
//!
//! *Picture*, in all of them: the small pulley's axis is the origin, the large one's lies on +x at the centre
//! distance. The belt runs counter-clockwise, along the lower span from the small to the large pulley. Lengths
//! are mm, angles radians, counter-clockwise from +x.
//!
//! What a belt may carry is its maker's word; nothing here rates a belt.

pub mod answer;
mod answer_text;
pub mod arrangement;
pub mod bounds;
pub mod idler;
pub mod layout;
pub mod load;
pub mod mesh;
pub mod mesh_picture;
pub mod meshed;
pub mod open;
pub mod pair;
pub mod path;
pub mod picture;
pub mod printed;
pub mod request;
pub mod root;
pub mod search;
