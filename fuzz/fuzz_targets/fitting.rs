//! Door: a fitting file, and the jobs it asks for.
#![no_main]
libfuzzer_sys::fuzz_target!(|text: &[u8]| gusset_fuzz::fitting(text));
