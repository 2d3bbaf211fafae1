//! No bytes make the reader of readings sheets panic:
//! `RUSTC_BOOTSTRAP=1 cargo fuzz run readings -- -max_total_time=60`.
#![no_main]

use std::path::Path;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let _ = shrinkrule::readings::read_bytes(Path::new("sheet.csv"), bytes);
});
