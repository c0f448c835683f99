//! Skin that the wearer hides: which triangles of a body are not drawn?
//!
//! A vertex mark comes with the file ([`super::Mesh::hidden`]); whole meshes and a picture are named by the user.

use super::surface::Surface;
use std::io::BufReader;
use std::path::Path;
use thiserror::Error;

/// Pictures with more pixels are refused.
const MOST_PIXELS: u64 = 64 << 20;

/// A picture in the body's texture layout: white where skin is hidden.
#[derive(Clone, Debug)]
pub struct Picture {
    width: usize,
    height: usize,
    white: Vec<bool>,
}

/// Why a picture cannot say what is hidden.
#[derive(Clone, Debug, Error)]
pub enum PictureError {
    /// Not there, or not to be read.
    #[error("{file}: this picture cannot be read: {why}; check the spelling and the folder")]
    Open {
        /// As the user named it.
        file: String,
        /// What the system said.
        why: String,
    },
    /// Not a PNG file, or a damaged one.
    #[error("{file}: this is not a PNG picture that can be read ({why}); save it as PNG again")]
    Decode {
        /// As the user named it.
        file: String,
        /// What the decoder said.
        why: String,
    },
    /// Too large.
    #[error("{file}: this picture has {pixels} pixels and at most {MOST_PIXELS} are read; save it smaller")]
    Large {
        /// As the user named it.
        file: String,
        /// Width times height.
        pixels: u64,
    },
}

impl Picture {
    /// Reads a PNG file of any kind; what is brighter than half is white.
    ///
    /// # Errors
    /// One sentence: what, where, what to do.
    pub fn read(file: &Path) -> Result<Self, PictureError> {
        let name = || file.display().to_string();
        let damaged = |why: String| PictureError::Decode { file: name(), why };
        let opened = std::fs::File::open(file).map_err(|error| PictureError::Open {
            file: name(),
            why: error.to_string(),
        })?;
        let mut decoder = png::Decoder::new(BufReader::new(opened));
        decoder.set_transformations(png::Transformations::normalize_to_color8());
        let mut reader = decoder.read_info().map_err(|error| damaged(error.to_string()))?;
        let (width, height) = (reader.info().width, reader.info().height);
        let pixels = u64::from(width) * u64::from(height);
        if pixels > MOST_PIXELS {
            return Err(PictureError::Large { file: name(), pixels });
        }
        let size = reader
            .output_buffer_size()
            .ok_or_else(|| damaged("too large".into()))?;
        let mut bytes = vec![0; size];
        let frame = reader
            .next_frame(&mut bytes)
            .map_err(|error| damaged(error.to_string()))?;
        let channels = frame.color_type.samples();
        // An alpha channel says nothing about black and white.
        let colours = if channels > 2 { 3 } else { 1 };
        let white = bytes[..frame.buffer_size()]
            .chunks_exact(channels)
            .map(|pixel| {
                pixel[..colours]
                    .iter()
                    .map(|value| u32::from(*value))
                    .sum::<u32>()
                    > 127 * colours as u32
            })
            .collect();
        Ok(Self {
            width: width as usize,
            height: height as usize,
            white,
        })
    }

    /// Whether the picture is white at a texture coordinate; pictures repeat beyond 0 to 1.
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a share of the width, clamped"
    )]
    fn is_white(&self, [u, v]: [f32; 2]) -> bool {
        let at = |share: f32, count: usize| ((share.rem_euclid(1.0) * count as f32) as usize).min(count - 1);
        self.white
            .get(at(v, self.height) * self.width + at(u, self.width))
            .copied()
            .unwrap_or(false)
    }

    /// Hides the triangles most of which lies on white. Without texture coordinates nothing is hidden, and the answer
    /// is false.
    pub fn hide(&self, surface: &mut Surface) -> bool {
        let Some(uvs) = &surface.uvs else { return false };
        for (hidden, corners) in surface.hidden.iter_mut().zip(&surface.triangles) {
            let at = corners.map(|corner| uvs[corner as usize]);
            let centre: [f32; 2] = std::array::from_fn(|k| (at[0][k] + at[1][k] + at[2][k]) / 3.0);
            let inner = at.map(|corner| std::array::from_fn(|k| (corner[k] + centre[k]) / 2.0));
            let white = inner.iter().filter(|uv| self.is_white(**uv)).count();
            *hidden |= white + usize::from(self.is_white(centre)) >= 3;
        }
        true
    }
}

/// Hides whole meshes (indices into [`Rig::meshes`]).
pub fn hide_meshes(surface: &mut Surface, meshes: &[usize]) {
    for (hidden, corners) in surface.hidden.iter_mut().zip(&surface.triangles) {
        let (mesh, _) = surface.sources[corners[0] as usize];
        *hidden |= meshes.contains(&(mesh as usize));
    }
}

/// Share of a surface's area that is hidden.
pub fn share(surface: &Surface) -> f64 {
    let area = |all: bool| -> f64 {
        let triangles = surface.triangles.iter().zip(&surface.hidden);
        triangles
            .filter(|(_, hidden)| all || **hidden)
            .map(|(t, _)| {
                let corners =
                    t.map(|v| nalgebra::Vector3::from(surface.positions[v as usize].map(f64::from)));
                (corners[1] - corners[0]).cross(&(corners[2] - corners[0])).norm() / 2.0
            })
            .sum()
    };
    area(false) / area(true).max(1e-12)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Left half white, right half black.
    fn halves(folder: &Path) -> std::path::PathBuf {
        let file = folder.join("halves.png");
        let mut encoder = png::Encoder::new(std::fs::File::create(&file).unwrap(), 4, 1);
        encoder.set_color(png::ColorType::Rgba);
        let mut writer = encoder.write_header().unwrap();
        let (white, black) = ([255u8, 255, 255, 255], [0u8, 0, 0, 255]);
        writer
            .write_image_data(&[white, white, black, black].concat())
            .unwrap();
        file
    }

    #[test]
    fn white_hides_and_the_picture_repeats() {
        let folder = tempfile::tempdir().unwrap();
        let picture = Picture::read(&halves(folder.path())).unwrap();
        for (u, white) in [
            (0.1, true),
            (0.4, true),
            (0.6, false),
            (0.9, false),
            (1.2, true),
            (-0.2, false),
        ] {
            assert_eq!(picture.is_white([u, 0.5]), white, "{u}");
        }
    }

    #[test]
    fn what_is_no_picture_is_said_in_a_sentence() {
        let folder = tempfile::tempdir().unwrap();
        let missing = Picture::read(&folder.path().join("none.png"))
            .unwrap_err()
            .to_string();
        assert!(
            missing.contains("none.png: this picture cannot be read"),
            "{missing}"
        );
        let text = folder.path().join("text.png");
        std::fs::write(&text, "not a picture").unwrap();
        let damaged = Picture::read(&text).unwrap_err().to_string();
        assert!(damaged.contains("not a PNG picture"), "{damaged}");
        let whole = std::fs::read(halves(folder.path())).unwrap();
        let cut = folder.path().join("cut.png");
        std::fs::write(&cut, &whole[..whole.len() - 20]).unwrap();
        assert!(Picture::read(&cut).is_err());
    }
}
