#![no_main]

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| lightloss_planted::entries::camera_record(bytes));
