//! Door: a whole GLB file.
#![no_main]
libfuzzer_sys::fuzz_target!(|bytes: &[u8]| gusset_fuzz::read(bytes));
