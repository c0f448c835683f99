//! The switches of every command that puts a garment on a body: which meshes, over what, in which shape.

use super::reading::Reading;
use gusset::wardrobe::Outfit;
use std::path::{Path, PathBuf};

#[derive(Clone, Debug, Default, clap::Args)]
pub(super) struct Wearing {
    /// Mesh or material that is cloth, in a file that holds more (may be repeated)
    #[arg(long, value_name = "NAME")]
    garment_mesh: Vec<String>,
    /// Mesh or material that is skin (may be repeated)
    #[arg(long, value_name = "NAME")]
    body_mesh: Vec<String>,
    /// A garment that is worn beneath the one under test (may be repeated)
    #[arg(long, value_name = "FILE")]
    over: Vec<PathBuf>,
    /// Skin that the wearer hides, by mesh or material (may be repeated); a vertex mark _HIDDEN in the file needs no switch
    #[arg(long, value_name = "NAME")]
    hidden_skin: Vec<String>,
    /// The same by a picture in the body's texture layout, white where skin is hidden
    #[arg(long, value_name = "FILE.png")]
    hidden_picture: Option<PathBuf>,
    /// Weight of a morph target of body and garment (may be repeated)
    #[arg(long, value_name = "NAME=WEIGHT", value_parser = morph)]
    morph: Vec<(String, f64)>,
    #[command(flatten)]
    pub(super) reading: Reading,
}

fn morph(text: &str) -> Result<(String, f64), String> {
    let (name, weight) = text
        .rsplit_once('=')
        .ok_or("write the target's name and its weight, like belly=0.5")?;
    match weight.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok((name.to_owned(), value)),
        _ => Err(format!("`{weight}` is not a number")),
    }
}

impl Wearing {
    /// Files that are read beside those of the command itself.
    pub(super) fn files(&self) -> impl Iterator<Item = &Path> {
        self.over.iter().chain(&self.hidden_picture).map(PathBuf::as_path)
    }

    /// Whether any of them says what a fitting file says by itself.
    pub(super) fn says_who_wears(&self) -> bool {
        let lists = [&self.garment_mesh, &self.body_mesh, &self.hidden_skin];
        lists.iter().any(|list| !list.is_empty())
            || !self.over.is_empty()
            || !self.morph.is_empty()
            || self.hidden_picture.is_some()
    }

    /// What all garments of the command have in common.
    pub(super) fn outfit(&self) -> Outfit {
        Outfit {
            body_meshes: self.body_mesh.clone(),
            garment_meshes: self.garment_mesh.clone(),
            over: self.over.clone(),
            hidden_meshes: self.hidden_skin.clone(),
            hidden_picture: self.hidden_picture.clone(),
            morphs: self.morph.clone(),
            options: self.reading.options(),
            ..Outfit::default()
        }
    }
}
