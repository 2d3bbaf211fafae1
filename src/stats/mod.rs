//! Numbers in, numbers out: knows no millimetre, no printer, no file.

pub mod censored;
pub mod cholesky;
pub mod control;
pub mod design;
pub mod distribution;
pub mod dof;
pub mod hump;
pub mod least_absolute;
pub mod least_squares;
pub mod linked;
pub mod mixed;
pub mod ordinal;
pub mod reml;
pub mod robust;
pub mod split;
