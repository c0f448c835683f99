//! Door: a pose file.
#![no_main]
libfuzzer_sys::fuzz_target!(|text: &[u8]| {
    if let Err(error) = gusset::pose::parse(text, "fuzzed.yaml") {
        assert!(!error.to_string().contains('\n'));
        // The lines shown with it are cut from the text: no place may lie outside.
        let _ = format!("{:?}", error.report());
    }
});
