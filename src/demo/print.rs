//! What is printed on the cloth? A check of known size, so that a smear shows.

/// Pixels along one side.
const PIXELS: u32 = 512;
/// Size of a square on the cloth, metres.
const SQUARE: f64 = 0.025;

/// Two dyes, sRGB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Dyes {
    pub(super) ground: [u8; 3],
    pub(super) check: [u8; 3],
}

/// A PNG of checks for cloth whose texture square is `side` metres wide; every fourth line is a thin stripe.
pub(super) fn check(side: f64, dyes: Dyes) -> Vec<u8> {
    let squares = (side / SQUARE).round().max(1.0);
    let mut pixels = Vec::with_capacity((PIXELS * PIXELS) as usize);
    for row in 0..PIXELS {
        for column in 0..PIXELS {
            let at = |pixel: u32| f64::from(pixel) / f64::from(PIXELS) * squares;
            let (u, v) = (at(column), at(row));
            let stripe = |value: f64| (value / 4.0).fract() < 0.03;
            let colour = if stripe(u) || stripe(v) {
                2
            } else {
                (u as u32 + v as u32) % 2
            };
            pixels.push(colour as u8);
        }
    }
    let stripe = dyes.check.map(|channel| channel / 2);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, PIXELS, PIXELS);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette([dyes.ground, dyes.check, stripe].concat());
    // writing into memory cannot fail, and the size matches; an empty picture would be seen at once
    let written = encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(&pixels));
    debug_assert!(written.is_ok());
    bytes
}
