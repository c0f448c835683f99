//! Door: an accepted file.
#![no_main]
libfuzzer_sys::fuzz_target!(|text: &[u8]| gusset_fuzz::accepted(text));
