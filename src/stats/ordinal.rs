//! Where one feel passes into the next: thresholds of an ordered answer along one quantity.
//!
//! placeholder
