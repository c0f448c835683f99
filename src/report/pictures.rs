//! The list of a report's pictures: which file shows what. With it, a page of many fittings shows the worst of each.

use super::picture::Image;
use super::stills::{Eye, Still};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// Where the list lies in a report folder.
pub const LIST: &str = "pictures/index.json";

/// One picture of a report.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Listed {
    /// From the report's folder.
    file: String,
    /// The pose's name.
    pose: String,
    /// Frame of the pose.
    frame: usize,
    /// Path of the number it shows; may be empty.
    what: String,
    /// A close-up, or the whole figure.
    close: bool,
    /// What is to be seen, and from where.
    caption: String,
    /// The picture in words.
    alt: String,
    /// Pixels across.
    wide: u32,
    /// Pixels down.
    high: u32,
}

impl Listed {
    /// As a report keeps it.
    pub fn of(still: &Still, file: &str) -> Self {
        Self {
            file: file.to_owned(),
            pose: still.pose.clone(),
            frame: still.frame,
            what: still.what.clone(),
            close: still.close,
            caption: still.caption.clone(),
            alt: still.alt.clone(),
            wide: still.image.width,
            high: still.image.height,
        }
    }

    fn still(self, folder: &Path, fitting: usize) -> Option<Still> {
        let png = std::fs::read(folder.join(&self.file)).ok()?;
        Some(Still {
            fitting,
            small: png.clone(),
            png,
            card: None,
            pose: self.pose,
            frame: self.frame,
            what: self.what,
            eye: Eye::default(),
            close: self.close,
            caption: self.caption,
            alt: self.alt,
            image: Image {
                width: self.wide,
                height: self.high,
                rgb: Vec::new(),
            },
        })
    }
}

/// The list as text.
pub fn render(list: &[Listed]) -> String {
    let value = serde_json::to_value(list).expect("a list of words and numbers");
    format!("{value:#}\n")
}

/// The pictures of the worst pose of a report of one fitting, for a page that shows it as its `fitting`th. Nothing where
/// there are none, or where the report is not whole.
pub fn of_the_worst(folder: &Path, fitting: usize) -> Vec<Still> {
    let list = std::fs::read(folder.join(LIST)).ok();
    let list: Vec<Listed> = list
        .and_then(|bytes| serde_json::from_slice(&bytes).ok())
        .unwrap_or_default();
    // The worst comes first, see `scenes`.
    let worst = list.first().map(|listed| listed.pose.clone());
    let of_worst = list
        .into_iter()
        .filter(|listed| Some(&listed.pose) == worst.as_ref());
    // A list that was tampered with names no file outside.
    let own = of_worst.filter(|listed| listed.file.starts_with("pictures/") && !listed.file.contains(".."));
    own.filter_map(|listed| listed.still(folder, fitting)).collect()
}
