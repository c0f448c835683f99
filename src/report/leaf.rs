//! A short page of words, plots and pictures, in a folder with the same as files.

use super::folder::{ReportError, Written, write_files};
use super::picture::Image;
use super::plot;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use minijinja::Environment;
use rayon::prelude::*;
use serde::Serialize;
use std::path::Path;

/// A page.
#[derive(Clone, Debug, Default)]
pub struct Leaf {
    /// What was looked at.
    pub title: String,
    /// What came out, in one sentence.
    pub headline: String,
    /// More of it.
    pub sentences: Vec<String>,
    /// From top to bottom.
    pub sections: Vec<Section>,
    /// What every report says.
    pub caution: String,
    /// For programs.
    pub json: String,
}

/// A stretch of the page.
#[derive(Clone, Debug, Default)]
pub struct Section {
    /// In a few words.
    pub heading: String,
    /// Plain text.
    pub sentences: Vec<String>,
    /// Side by side.
    pub pictures: Vec<Picture>,
    /// One below the other.
    pub plots: Vec<Plot>,
    /// Below the plots.
    pub table: Option<Table>,
}

/// A plot with its words.
#[derive(Clone, Debug)]
pub struct Plot {
    /// File name without ending.
    pub file: String,
    /// What is to be seen.
    pub caption: String,
    /// See [`super::chart`] and [`super::heat`].
    pub svg: String,
}

/// A picture with its words.
#[derive(Clone, Debug)]
pub struct Picture {
    /// File name without ending.
    pub file: String,
    /// What is to be seen.
    pub caption: String,
    /// The same for who cannot see it.
    pub alt: String,
    /// The picture.
    pub image: Image,
}

/// Rows under a head.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Table {
    /// Names of the columns.
    pub head: Vec<String>,
    /// Row by row; the first cell names the row.
    pub rows: Vec<Vec<String>>,
}

#[derive(Serialize)]
struct Whole<'a> {
    title: &'a str,
    headline: &'a str,
    sentences: &'a [String],
    sections: Vec<ShownSection<'a>>,
    caution: &'a str,
}

#[derive(Serialize)]
struct ShownSection<'a> {
    heading: &'a str,
    sentences: &'a [String],
    pictures: Vec<ShownPicture<'a>>,
    plots: Vec<ShownPlot<'a>>,
    table: Option<&'a Table>,
}

#[derive(Serialize)]
struct ShownPicture<'a> {
    data: String,
    wide: u32,
    high: u32,
    alt: &'a str,
    caption: &'a str,
}

#[derive(Serialize)]
struct ShownPlot<'a> {
    svg: &'a str,
    caption: &'a str,
}

/// Writes `index.html`, `result.json`, `plots/` (SVG and PNG) and `pictures/`.
///
/// # Errors
/// The old folder, if there was one, is then still there as it was.
pub fn write(folder: &Path, leaf: &Leaf) -> Result<Written, ReportError> {
    let pngs: Vec<Vec<Vec<u8>>> = leaf
        .sections
        .iter()
        .map(|section| {
            section
                .pictures
                .par_iter()
                .map(|picture| picture.image.png())
                .collect()
        })
        .collect();
    let mut files = vec![
        ("index.html".to_owned(), page(leaf, &pngs)?.into_bytes()),
        ("result.json".to_owned(), leaf.json.clone().into_bytes()),
    ];
    let plots: Vec<&Plot> = leaf.sections.iter().flat_map(|section| &section.plots).collect();
    let drawn: Vec<Vec<u8>> = plots.par_iter().map(|shown| plot::png(&shown.svg)).collect();
    for (shown, png) in plots.into_iter().zip(drawn) {
        files.push((
            format!("plots/{}.svg", shown.file),
            shown.svg.clone().into_bytes(),
        ));
        files.push((format!("plots/{}.png", shown.file), png));
    }
    let pictures = leaf.sections.iter().flat_map(|section| &section.pictures);
    files.extend(
        pictures
            .zip(pngs.into_iter().flatten())
            .map(|(picture, png)| (format!("pictures/{}.png", picture.file), png)),
    );
    write_files(folder, &files)
}

fn page(leaf: &Leaf, pngs: &[Vec<Vec<u8>>]) -> Result<String, minijinja::Error> {
    let picture = |(picture, png)| {
        let (picture, png): (&Picture, &Vec<u8>) = (picture, png);
        ShownPicture {
            data: STANDARD.encode(png),
            wide: picture.image.width,
            high: picture.image.height,
            alt: &picture.alt,
            caption: &picture.caption,
        }
    };
    let sections: Vec<ShownSection> = leaf
        .sections
        .iter()
        .zip(pngs)
        .map(|(section, pngs)| ShownSection {
            heading: &section.heading,
            sentences: &section.sentences,
            pictures: section.pictures.iter().zip(pngs).map(picture).collect(),
            plots: section
                .plots
                .iter()
                .map(|plot| ShownPlot {
                    svg: &plot.svg,
                    caption: &plot.caption,
                })
                .collect(),
            table: section.table.as_ref(),
        })
        .collect();
    let mut environment = Environment::new();
    // The ending makes every value escaped.
    environment.add_template("leaf.html", include_str!("leaf.html.j2"))?;
    let whole = Whole {
        title: &leaf.title,
        headline: &leaf.headline,
        sentences: &leaf.sentences,
        sections,
        caution: &leaf.caution,
    };
    environment
        .get_template("leaf.html")?
        .render(minijinja::Value::from(minijinja::value::Serde(whole)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_become_markup_and_the_folder_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let leaf = Leaf {
            title: "<script>alert(1)</script>".into(),
            json: "{}".into(),
            sections: vec![Section {
                heading: "<b>".into(),
                plots: vec![Plot {
                    file: "one".into(),
                    caption: "\"><i>".into(),
                    svg: super::super::chart::svg(&super::super::chart::Chart::default()),
                }],
                ..Section::default()
            }],
            ..Leaf::default()
        };
        let at = folder.path().join("leaf");
        let written = write(&at, &leaf).unwrap();
        let page = std::fs::read_to_string(written.page).unwrap();
        assert!(!page.contains("<script>") && !page.contains("<i>") && !page.contains("<b>"));
        assert_eq!(
            written.files,
            ["index.html", "plots/one.png", "plots/one.svg", "result.json"]
        );
        write(&at, &leaf).unwrap();
    }
}
