//! Screws: the holes they pass through, the heads that sink into a counterbore, set screws.
//!
//! Source: `data/hardware/clearance_holes.csv` (ISO 273), `socket_head.csv` (ISO 4762) and `set_screws.csv`
//! (ISO 4026 flat point, 4027 cone point, 4029 cup point); every row has its label.

use super::lookup::{self, NotSold, number};
use super::table;
use crate::fits::Limits;
use crate::tables::built_in::Row;

/// The holes that a screw passes through.
#[derive(Clone, Debug, PartialEq)]
pub struct ClearanceHole {
    /// `M3`.
    pub thread: &'static str,
    /// Nominal thread diameter, mm.
    pub nominal_mm: f64,
    /// The close hole, mm, in class H12.
    pub fine_mm: f64,
    /// The usual hole, mm, in class H13.
    pub medium_mm: f64,
    /// The loose hole, mm, in class H14.
    pub coarse_mm: f64,
    /// Where the row comes from.
    pub source: &'static str,
}

/// A hexagon socket head cap screw.
#[derive(Clone, Debug, PartialEq)]
pub struct SocketHead {
    /// `M3`.
    pub thread: &'static str,
    /// Thread pitch, mm.
    pub pitch_mm: f64,
    /// The largest head, knurled as usual, mm.
    pub head_diameter_mm: f64,
    /// The largest head where it is plain, mm.
    pub plain_head_diameter_mm: f64,
    /// The smallest head, mm.
    pub head_diameter_min_mm: f64,
    /// The highest head, mm.
    pub head_height_mm: f64,
    /// The key, mm.
    pub hex_key_mm: f64,
    /// Where the row comes from.
    pub source: &'static str,
}

impl SocketHead {
    /// What a knurled head's diameter may be, mm.
    pub fn head_limits(&self) -> Limits {
        Limits { lower_mm: self.head_diameter_min_mm, upper_mm: self.head_diameter_mm }
    }
}

/// A hexagon socket set screw.
#[derive(Clone, Debug, PartialEq)]
pub struct SetScrew {
    /// `M3`.
    pub thread: &'static str,
    /// Thread pitch, mm.
    pub pitch_mm: f64,
    /// The key, mm.
    pub hex_key_mm: f64,
    /// The least depth of the socket in a short screw, mm.
    pub socket_depth_short_mm: f64,
    /// The least depth of the socket in a long screw, mm.
    pub socket_depth_long_mm: f64,
    /// The largest flat point (ISO 4026), mm.
    pub flat_point_mm: f64,
    /// The largest flat on a cone point (ISO 4027), mm.
    pub cone_flat_mm: f64,
    /// The largest cup (ISO 4029), mm.
    pub cup_mm: f64,
    /// Where the row comes from.
    pub source: &'static str,
    /// Where the cone point comes from.
    pub cone_source: &'static str,
    /// Where the cup comes from.
    pub cup_source: &'static str,
}

table!(
    /// The through holes of ISO 273, smallest first.
    clearance_holes,
    "../../data/hardware/clearance_holes.csv",
    ClearanceHole,
    read_hole
);

table!(
    /// The socket heads of ISO 4762, smallest first.
    socket_heads,
    "../../data/hardware/socket_head.csv",
    SocketHead,
    read_head
);

table!(
    /// The set screws, smallest first.
    set_screws,
    "../../data/hardware/set_screws.csv",
    SetScrew,
    read_set_screw
);

/// The holes for this thread, in any case.
///
/// # Errors
/// A thread that the table does not have.
pub fn clearance_hole(thread: &str) -> Result<&'static ClearanceHole, NotSold> {
    lookup::named(clearance_holes(), |hole| hole.thread, thread, "screw")
}

/// The socket head for this thread, in any case.
///
/// # Errors
/// A thread that the table does not have.
pub fn socket_head(thread: &str) -> Result<&'static SocketHead, NotSold> {
    lookup::named(socket_heads(), |head| head.thread, thread, "socket head cap screw")
}

/// The set screw of this thread, in any case.
///
/// # Errors
/// A thread that the table does not have.
pub fn set_screw(thread: &str) -> Result<&'static SetScrew, NotSold> {
    lookup::named(set_screws(), |screw| screw.thread, thread, "set screw")
}

fn read_hole(row: &'static Row) -> ClearanceHole {
    ClearanceHole {
        thread: row.text("thread"),
        nominal_mm: number(row, "nominal_mm"),
        fine_mm: number(row, "fine_mm"),
        medium_mm: number(row, "medium_mm"),
        coarse_mm: number(row, "coarse_mm"),
        source: row.text("label"),
    }
}

fn read_head(row: &'static Row) -> SocketHead {
    SocketHead {
        thread: row.text("thread"),
        pitch_mm: number(row, "pitch_mm"),
        head_diameter_mm: number(row, "head_dia_max_knurled_mm"),
        plain_head_diameter_mm: number(row, "head_dia_max_plain_mm"),
        head_diameter_min_mm: number(row, "head_dia_min_mm"),
        head_height_mm: number(row, "head_height_max_mm"),
        hex_key_mm: number(row, "hex_key_mm"),
        source: row.text("label"),
    }
}

fn read_set_screw(row: &'static Row) -> SetScrew {
    SetScrew {
        thread: row.text("thread"),
        pitch_mm: number(row, "pitch_mm"),
        hex_key_mm: number(row, "hex_key_mm"),
        socket_depth_short_mm: number(row, "socket_depth_min_short_mm"),
        socket_depth_long_mm: number(row, "socket_depth_min_long_mm"),
        flat_point_mm: number(row, "flat_point_dia_max_mm_iso4026"),
        cone_flat_mm: number(row, "cone_flat_dia_max_mm_iso4027"),
        cup_mm: number(row, "cup_dia_max_mm_iso4029"),
        source: row.text("label"),
        cone_source: row.text("label_cone"),
        cup_source: row.text("label_cup"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_through_hole_is_wider_than_its_screw_and_they_widen_in_order() {
        assert_eq!(clearance_holes().len(), 12);
        for hole in clearance_holes() {
            let thread: f64 = hole.thread[1..].parse().unwrap();
            assert_eq!(thread, hole.nominal_mm);
            assert!(hole.nominal_mm < hole.fine_mm && hole.fine_mm < hole.medium_mm, "{}", hole.thread);
            assert!(hole.medium_mm < hole.coarse_mm && hole.coarse_mm <= 1.3 * thread, "{}", hole.thread);
        }
        // Source: ISO 273, the rows that every source seen agrees on.
        let medium = ["M3", "M4", "M5", "M8"].map(|thread| clearance_hole(thread).unwrap().medium_mm);
        assert_eq!(medium, [3.4, 4.5, 5.5, 9.0]);
    }

    #[test]
    fn every_head_is_as_high_as_its_thread_and_wider_than_its_hole() {
        assert_eq!(socket_heads().len(), 10);
        for head in socket_heads() {
            let thread: f64 = head.thread[1..].parse().unwrap();
            assert_eq!(head.head_height_mm, thread, "{}", head.thread);
            assert!(head.head_diameter_min_mm < head.plain_head_diameter_mm, "{}", head.thread);
            assert!(head.plain_head_diameter_mm < head.head_diameter_mm, "{}", head.thread);
            assert!(head.head_diameter_min_mm > clearance_hole(head.thread).unwrap().medium_mm);
        }
        assert_eq!(socket_head("m3").unwrap().head_limits(), Limits { lower_mm: 5.32, upper_mm: 5.68 });
    }

    #[test]
    fn every_set_screw_has_a_key_and_points_that_go_into_its_thread() {
        assert_eq!(set_screws().len(), 10);
        for screw in set_screws() {
            let thread: f64 = screw.thread[1..].parse().unwrap();
            let name = screw.thread;
            assert!(screw.hex_key_mm < 0.6 * thread && screw.pitch_mm < 0.3 * thread, "{name}");
            assert!(screw.cone_flat_mm < screw.cup_mm && screw.cup_mm <= screw.flat_point_mm, "{name}");
            assert!(screw.flat_point_mm < thread, "{name}");
            assert!(screw.socket_depth_short_mm < screw.socket_depth_long_mm, "{name}");
        }
        let screw = set_screw("M3").unwrap();
        assert_eq!((screw.hex_key_mm, screw.flat_point_mm, screw.cup_mm), (1.5, 2.0, 1.4));
    }

    #[test]
    fn a_thread_that_is_not_sold_is_answered_with_those_that_are() {
        let error = clearance_hole("M9").unwrap_err();
        assert!(error.to_string().starts_with("`M9`: no screw here is called so; known are M1.6, M2"));
        assert!(error.help().is_some());
    }
}
