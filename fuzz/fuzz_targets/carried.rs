#![no_main]

#[allow(dead_code)]
#[path = "../../tests/it/entries.rs"]
mod entries;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| entries::carried(bytes));
