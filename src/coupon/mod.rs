//! (empty for now)
