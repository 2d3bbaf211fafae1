//! Numbers in, numbers out: knows no millimetre, no printer, no file.

pub mod abreast;
pub mod anova;
pub mod censored;
pub mod cholesky;
pub mod control;
pub mod design;
pub mod difference;
pub mod distribution;
pub mod dof;
pub mod doubtful_sum;
pub mod equal_spread;
pub mod hump;
pub mod least_absolute;
pub mod least_squares;
pub mod linked;
pub mod mixed;
pub mod monotone;
pub mod ordinal;
pub mod pairwise;
pub mod random;
pub mod reml;
pub mod robust;
pub mod split;
pub mod studentised_range;
pub mod tolerance;
pub mod trend;
