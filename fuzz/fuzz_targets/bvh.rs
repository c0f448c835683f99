//! Door: a motion capture, and the poses read from it.
#![no_main]
libfuzzer_sys::fuzz_target!(|text: &[u8]| gusset_fuzz::capture(text));
