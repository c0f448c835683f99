//! Door: a pose file.
#![no_main]
libfuzzer_sys::fuzz_target!(|text: &[u8]| gusset_fuzz::pose(text));
