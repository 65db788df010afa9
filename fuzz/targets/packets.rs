#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| cuepost_tests::hostile::packets(data));
