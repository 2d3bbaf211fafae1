//! Comparisons of made-up sheets.
