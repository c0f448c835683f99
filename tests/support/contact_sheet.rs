//! How does a dressed body look from four sides? One sheet of pictures, a row for each pose.
//!
//! ```text
//! cargo run --release --example contact_sheet -- SHEET.png BODY.glb [GARMENT.glb] [--over INNER.glb] [--poses a,b:3]
//! ```
//!
//! `b:3` is frame 3 of the sequence `b`. Cloth is drawn with a check that shows how its texture lies.

use gusset::contact::Scratch;
use gusset::fitting::{Dressed, Sequence, joints_at};
use gusset::pose;
use gusset::report::picture::{BODY, CLOTH, Camera, Image, PAPER, Paint, Shape, bounds_of, draw};
use gusset::rig::gltf::ReadOptions;
use gusset::wardrobe::{Outfit, bare, dress};
use std::path::PathBuf;

/// Pixels of one picture, and from where each is taken (azimuth in degrees; 0 is the front).
const SIZE: [u32; 2] = [200, 270];
const SIDES: [f32; 4] = [0.0, 45.0, 90.0, 180.0];
const DARKER: [u8; 3] = [96, 116, 130];
/// Checks along one side of the texture.
const SQUARES: f32 = 60.0;

fn main() -> Result<(), String> {
    let wanted = Wanted::read(std::env::args().skip(1))?;
    let dressed = wanted.dress()?;
    let mut rows = Vec::new();
    for name in &wanted.poses {
        rows.push(row(&dressed, name)?);
    }
    std::fs::write(&wanted.sheet, stacked(&rows).png()).map_err(|error| error.to_string())
}

struct Wanted {
    sheet: PathBuf,
    body: PathBuf,
    garment: Option<PathBuf>,
    over: Vec<PathBuf>,
    poses: Vec<String>,
}

impl Wanted {
    fn read(words: impl Iterator<Item = String>) -> Result<Self, String> {
        let mut files = Vec::new();
        let mut over = Vec::new();
        let mut poses = "standing,walk:2,sitting,squat".to_owned();
        let mut words = words;
        while let Some(word) = words.next() {
            match word.as_str() {
                "--over" => over.extend(words.next().map(PathBuf::from)),
                "--poses" => poses = words.next().unwrap_or_default(),
                _ => files.push(PathBuf::from(word)),
            }
        }
        let mut files = files.into_iter();
        let (Some(sheet), Some(body)) = (files.next(), files.next()) else {
            return Err("say where the sheet goes and whose it is: SHEET.png BODY.glb [GARMENT.glb]".into());
        };
        Ok(Self {
            sheet,
            body,
            garment: files.next(),
            over,
            poses: poses.split(',').map(str::to_owned).collect(),
        })
    }

    fn dress(&self) -> Result<Dressed, String> {
        let Some(garment) = &self.garment else {
            return bare(&self.body, &ReadOptions::default()).map_err(|error| error.to_string());
        };
        dress(&Outfit {
            body: Some(self.body.clone()),
            garment: garment.clone(),
            over: self.over.clone(),
            ..Outfit::default()
        })
        .map_err(|error| error.to_string())
    }
}

fn row(dressed: &Dressed, name: &str) -> Result<Vec<Image>, String> {
    let (name, frame) = name.split_once(':').unwrap_or((name, "0"));
    let pose = pose::all()
        .iter()
        .find(|pose| pose.name == name)
        .ok_or_else(|| format!("no pose is called {name}"))?;
    let sequence = Sequence::from(pose);
    let frame = frame
        .parse::<usize>()
        .ok()
        .and_then(|frame| sequence.frames.get(frame))
        .ok_or_else(|| format!("{name} has {} frames", sequence.frames.len()))?;
    let mut scratch = Scratch::new(&dressed.body, &dressed.layers);
    scratch.pose(&dressed.body, &dressed.layers, &joints_at(dressed, frame));
    let mut shapes = vec![Shape {
        positions: scratch.body_positions(),
        triangles: &dressed.body.surface.triangles,
        paint: Paint::Plain(BODY),
    }];
    for (index, layer) in dressed.layers.iter().enumerate() {
        shapes.push(Shape {
            positions: scratch.layer_positions(index),
            triangles: &layer.surface.triangles,
            paint: layer
                .surface
                .uvs
                .as_ref()
                .map_or(Paint::Plain(CLOTH), |uvs| Paint::Check {
                    uvs,
                    squares: SQUARES,
                    colours: [CLOTH, DARKER],
                }),
        });
    }
    let bounds = bounds_of(scratch.body_positions());
    let picture = |side: &f32| draw(&shapes, &Camera::around(bounds, *side, 6.0), SIZE, PAPER);
    Ok(SIDES.iter().map(picture).collect())
}

/// Rows of pictures of one size as one picture.
fn stacked(rows: &[Vec<Image>]) -> Image {
    let across = rows.iter().map(Vec::len).max().unwrap_or(0);
    let (wide, high) = (SIZE[0] as usize, SIZE[1] as usize);
    let mut sheet = Image {
        width: SIZE[0] * across as u32,
        height: SIZE[1] * rows.len() as u32,
        rgb: vec![255; wide * across * high * rows.len() * 3],
    };
    for (down, row) in rows.iter().enumerate() {
        for (right, picture) in row.iter().enumerate() {
            for line in 0..high {
                let from = line * wide * 3;
                let to = ((down * high + line) * across + right) * wide * 3;
                sheet.rgb[to..to + wide * 3].copy_from_slice(&picture.rgb[from..from + wide * 3]);
            }
        }
    }
    sheet
}
