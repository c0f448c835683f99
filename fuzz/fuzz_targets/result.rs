//! Door: a result read back, and what is made of it.
#![no_main]
libfuzzer_sys::fuzz_target!(|text: &[u8]| gusset_fuzz::result(text));
