//! A picture in few colours, for a page that must stay small.
//!
//! Median cut (P. Heckbert, 1982): the box of colours with the longest side is halved at its median until there are
//! enough. No dithering: flat areas stay flat, and pack well.

use super::picture::Image;
use std::collections::BTreeMap;

/// As a PNG file with at most `most` colours (2 to 256).
pub fn png(image: &Image, most: usize) -> Vec<u8> {
    let (palette, indices) = reduce(image, most);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, image.width, image.height);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_palette(palette.concat());
    encoder.set_compression(png::Compression::High);
    encoder.set_filter(png::Filter::NoFilter);
    let written = encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(&indices));
    written.expect("memory takes every byte, and there is an index for every pixel");
    bytes
}

/// The colours, and for every pixel which one.
fn reduce(image: &Image, most: usize) -> (Vec<[u8; 3]>, Vec<u8>) {
    let mut counts: BTreeMap<[u8; 3], u32> = BTreeMap::new();
    let pixels = || image.rgb.chunks_exact(3).map(|p| [p[0], p[1], p[2]]);
    for pixel in pixels() {
        *counts.entry(pixel).or_default() += 1;
    }
    let mut boxes: Vec<Vec<([u8; 3], u32)>> = vec![counts.into_iter().collect()];
    while boxes.len() < most.clamp(2, 256) {
        let widest = (0..boxes.len()).max_by_key(|&at| (longest(&boxes[at]).1, boxes.len() - at));
        let Some(at) = widest.filter(|&at| longest(&boxes[at]).1 > 0) else {
            break;
        };
        let halves = halve(std::mem::take(&mut boxes[at]));
        boxes[at] = halves.0;
        boxes.push(halves.1);
    }
    let mut index: BTreeMap<[u8; 3], u8> = BTreeMap::new();
    for (number, colours) in (0u8..=255).zip(&boxes) {
        index.extend(colours.iter().map(|(colour, _)| (*colour, number)));
    }
    let palette = boxes.iter().map(|colours| mean(colours)).collect();
    (palette, pixels().map(|pixel| index[&pixel]).collect())
}

/// Which channel runs furthest in a box, and how far.
fn longest(colours: &[([u8; 3], u32)]) -> (usize, u8) {
    (0..3)
        .map(|channel| {
            let values = || colours.iter().map(|(colour, _)| colour[channel]);
            let span = values().max().unwrap_or(0) - values().min().unwrap_or(0);
            (channel, span)
        })
        .fold((0, 0), |best, next| if next.1 > best.1 { next } else { best })
}

type Box3 = Vec<([u8; 3], u32)>;

/// Half of the pixels on either side, at least one colour in each.
fn halve(mut colours: Box3) -> (Box3, Box3) {
    let (channel, _) = longest(&colours);
    colours.sort_by_key(|(colour, _)| (colour[channel], *colour));
    let all: u64 = colours.iter().map(|(_, count)| u64::from(*count)).sum();
    let mut before = 0;
    let cut = colours
        .iter()
        .position(|(_, count)| {
            before += u64::from(*count);
            before * 2 >= all
        })
        .map_or(1, |at| at + 1)
        .clamp(1, colours.len() - 1);
    let above = colours.split_off(cut);
    (colours, above)
}

fn mean(colours: &[([u8; 3], u32)]) -> [u8; 3] {
    let all: u64 = colours.iter().map(|(_, count)| u64::from(*count)).sum();
    std::array::from_fn(|channel| {
        let sum: u64 = colours
            .iter()
            .map(|(colour, count)| u64::from(colour[channel]) * u64::from(*count))
            .sum();
        u8::try_from((sum + all / 2) / all.max(1)).unwrap_or(u8::MAX)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn image(rgb: Vec<u8>, width: u32) -> Image {
        Image {
            width,
            height: rgb.len() as u32 / 3 / width,
            rgb,
        }
    }

    #[test]
    fn few_colours_stay_as_they_are() {
        let picture = image(
            [[250, 249, 240], [10, 20, 30], [250, 249, 240], [90, 0, 0]].concat(),
            2,
        );
        let (palette, indices) = reduce(&picture, 64);
        let back: Vec<u8> = indices.iter().flat_map(|i| palette[usize::from(*i)]).collect();
        assert_eq!(back, picture.rgb);
    }

    #[test]
    fn a_ramp_is_off_by_no_more_than_a_step() {
        let ramp: Vec<u8> = (0..=255u8).flat_map(|v| [v, v, v]).collect();
        let (palette, indices) = reduce(&image(ramp.clone(), 16), 32);
        assert_eq!(palette.len(), 32);
        for (pixel, index) in ramp.chunks(3).zip(indices) {
            assert!(palette[usize::from(index)][0].abs_diff(pixel[0]) <= 4);
        }
    }

    #[test]
    fn the_file_reads_back() {
        let ramp: Vec<u8> = (0..=255u8).flat_map(|v| [v, 255 - v, 7]).collect();
        let bytes = png(&image(ramp, 16), 16);
        let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        assert_eq!((info.width, info.height), (16, 16));
        assert!(pixels[0] < 20 && pixels[1] > 235 && pixels[2] == 7);
    }
}
