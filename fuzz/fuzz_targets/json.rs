//! Door: the JSON of a glTF file, in a container with 4 kB of data whose lengths are always right.
#![no_main]
libfuzzer_sys::fuzz_target!(|text: &[u8]| {
    let data: Vec<u8> = (0..4096)
        .map(|byte: u32| if byte % 4 == 3 { 63 } else { 0 })
        .collect();
    gusset_fuzz::read(&gusset_fuzz::container(text, &data));
});
