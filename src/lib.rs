//! Sizes to draw, so that filament-printed mechanical parts come out the size that was wanted.
//!
//! A patternmaker's shrink rule is a ruler cut slightly long, so that a casting comes out right after
//! it shrinks. This crate is that rule for filament printing: it makes coupons to print, reads what a
//! caliper says of them, fits how one setup errs, and gives back the size to draw.
//!
//! Data flows one way:
//!
//! ```text
//! coupons/*.toml -> coupon solids + measuring guide + blank readings sheet
//! readings.csv   -> checked readings -> correction file + plots + report
//! target sizes, parts list, pulley + correction -> sizes to draw, corrected solids, chance to fit
//! ```
//!
//! # Conventions
//!
//! - Lengths are millimetres, as [`units::Mm`] in the domain and as bare `f64` inside [`geometry`] and
//!   [`stats`]. Angles are radians inside, degrees at the edge.
//! - `deviation = measured - nominal`; positive means larger than drawn.
//! - One model, one sign: `measured = offset + scale * drawn (+ small_bore / drawn for bores)`.
//! - `correction = drawn - target`, what a designer adds to the size that is wanted.
//! - An interval is two-sided 95 % unless it says otherwise.
//!
//! # Who may import whom
//!
//! [`geometry`], [`stats`], [`units`] know nothing of printers. [`kind`], [`coupon`], [`readings`],
//! [`correction`], [`belt`], [`drive`], [`hardware`], [`material`], [`fits`], [`parts`], [`chain`] and
//! [`compare`] are the domain and stand on them.
//! [`plot`] and [`report`] read domain results. [`cli`] uses all of it and is used by none.
#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub mod belt;
pub mod chain;
pub mod cli;
pub mod compare;
mod cores;
pub mod correction;
pub mod coupon;
pub mod drive;
pub mod files;
pub mod fits;
pub mod font;
pub mod geometry;
pub mod hardware;
pub mod kind;
pub mod material;
pub mod parts;
pub mod plan;
pub mod plot;
pub mod problem;
pub mod readings;
pub mod report;
pub mod stats;
pub(crate) mod tables;
pub mod units;
