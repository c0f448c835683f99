//! What the tool understood of a rig: which joint plays which role, at which angles it was skinned, and what each
//! joint moves.

use super::camera::{Camera, bounds_of};
use super::model::Surface;
use super::picture::{CLOTH, PAPER, Paint, Shape, draw};
use super::{colour::Scale, palette, words};

/// Weight pictures are this large, pixels.
const SIZE: [u32; 2] = [180, 230];
/// A joint that moves no more than this share of the surface has no picture of its own.
const LEAST_SHARE: f64 = 0.002;

/// The rigs of one fitting.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Index into the outcome's fittings.
    pub fitting: usize,
    /// The body, then the garments.
    pub pieces: Vec<Piece>,
    /// The garment under test.
    pub garment: Surface,
}

/// One rig.
#[derive(Clone, Debug)]
pub struct Piece {
    /// Shown to people.
    pub name: String,
    /// Bone, joint, and how it was found.
    pub roles: Vec<[String; 3]>,
    /// Joints with weight but without a role.
    pub loose: Vec<String>,
    /// Angles and sizes as skinned, each in a sentence.
    pub facts: Vec<String>,
}

/// What one joint moves.
#[derive(Clone, Debug)]
pub struct WeightPicture {
    /// The joint's name.
    pub joint: String,
    /// Share of the surface's weight that it has, 0 to 1.
    pub share: f64,
    /// A PNG file.
    pub png: Vec<u8>,
    /// Pixels across and down.
    pub size: [u32; 2],
}

/// Pictures of every joint that moves a part of the garment worth seeing, in the order of the file.
pub fn weight_pictures(sheet: &Sheet) -> Vec<WeightPicture> {
    let surface = &sheet.garment;
    let names = |joint: &usize| surface.joints[*joint].as_str();
    let mut seen: Vec<&str> = Vec::new();
    let joints = (0..surface.joints.len()).filter(|joint| {
        // Several meshes may bind the same joint.
        let new = !seen.contains(&names(joint));
        seen.push(names(joint));
        new
    });
    joints
        .filter_map(|joint| {
            let values = weights(surface, names(&joint));
            let share = values.iter().map(|v| f64::from(*v)).sum::<f64>() / values.len().max(1) as f64;
            (share > LEAST_SHARE).then(|| picture(surface, &values, names(&joint), share))
        })
        .collect()
}

/// By vertex, the weight of all joints of this name.
fn weights(surface: &Surface, name: &str) -> Vec<f32> {
    let of_row = |row: &Vec<(u16, f32)>| {
        let of_joint = row
            .iter()
            .filter(|(joint, _)| surface.joints.get(usize::from(*joint)).is_some_and(|n| n == name));
        of_joint
            .map(|(_, weight)| weight)
            .filter(|w| w.is_finite())
            .sum::<f32>()
    };
    surface.rows.iter().map(of_row).collect()
}

fn picture(surface: &Surface, values: &[f32], joint: &str, share: f64) -> WeightPicture {
    let scale = Scale {
        bottom: 0.0,
        top: 1.0,
        limit: None,
    };
    let shape = Shape {
        positions: &surface.positions,
        triangles: &surface.triangles,
        paint: Paint::Heat {
            values,
            scale,
            plain: CLOTH,
        },
    };
    let azimuth = azimuth(surface, values);
    let camera = Camera::around(bounds_of(&surface.positions), azimuth, 8.0);
    let image = draw(&[shape], &camera, SIZE, PAPER);
    WeightPicture {
        // Left and right change places in a picture from behind: that must be said.
        joint: format!(
            "{}{}",
            words::plain(joint),
            if azimuth > 90.0 { ", from behind" } else { "" }
        ),
        share,
        png: palette::png(&image, 48),
        size: SIZE,
    }
}

/// From the front, or from behind where most of the weight lies there.
fn azimuth(surface: &Surface, values: &[f32]) -> f32 {
    let middle = |weight: &dyn Fn(usize) -> f64| {
        let all: f64 = (0..values.len()).map(weight).sum();
        let sum: f64 = (0..values.len())
            .map(|v| f64::from(surface.positions[v][2]) * weight(v))
            .sum();
        sum / all.max(1e-9)
    };
    let (own, whole) = (middle(&|v| f64::from(values[v])), middle(&|_| 1.0));
    if own < whole - 0.04 { 205.0 } else { 25.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn every_joint_that_moves_something_has_a_picture_with_its_share() {
        let mut garment = sample::models()[0].surfaces[1].clone();
        garment.joints = ["hips", "leg", "idle", "hips"].map(str::to_owned).to_vec();
        let half = garment.rows.len() / 2;
        for row in &mut garment.rows[..half] {
            *row = vec![(1, 0.75), (3, 0.25)];
        }
        let sheet = Sheet {
            fitting: 0,
            pieces: Vec::new(),
            garment,
        };
        let pictures = weight_pictures(&sheet);
        let told: Vec<(&str, f64)> = pictures
            .iter()
            .map(|p| (p.joint.as_str(), (p.share * 1000.0).round() / 1000.0))
            .collect();
        assert_eq!(told, [("hips", 0.625), ("leg", 0.375)]);
        assert_ne!(pictures[0].png, pictures[1].png);
    }
}
