//! What a picture or a spot card shows, as GLB files for other programs, with vertex colours.

use crate::outcome::Spot;
use crate::report::colour::{Scale, viridis};
use crate::report::picture::{BODY, CLOTH};
use crate::report::scene::{Heat, Posed, Scene};
use crate::rig::gltf::{GlbMaterial, GlbScene, GlbSurface, glb};
use crate::rig::surface::Surface;

/// Fabric between the marked places.
const UNMARKED: [u8; 3] = [205, 205, 205];

/// One frame: body and garments posed, coloured by the measure that is worst there.
pub fn of_scene(scene: &Scene) -> Vec<u8> {
    let surfaces = std::iter::once((&scene.body, BODY))
        .chain(scene.garments.iter().map(|cloth| (cloth, CLOTH)))
        .map(|(posed, plain)| surface(posed, plain));
    glb(&GlbScene {
        materials: vec![white()],
        surfaces: surfaces.collect(),
        ..GlbScene::default()
    })
}

/// The garment under test as built with its spots marked: by colour, and by `_SPOT` (1 for the first spot, 0 between
/// them). `_VERTEX` is each vertex's number in the file that was read.
pub fn marked(cloth: &Surface, spots: &[Spot]) -> Vec<u8> {
    let mut marks = vec![0usize; cloth.positions.len()];
    // The gravest comes first, and keeps what it shares with another.
    for (number, spot) in spots.iter().enumerate().rev() {
        let corners = spot
            .triangles
            .iter()
            .filter_map(|&triangle| cloth.triangles.get(triangle as usize));
        for &vertex in corners.flatten() {
            marks[vertex as usize] = number + 1;
        }
    }
    let colour = |mark: &usize| match mark {
        0 => linear(UNMARKED.map(f32::from)),
        _ => linear(viridis(1.0 - 0.8 * (mark - 1) as f32 / spots.len().max(2) as f32)),
    };
    let number = |of: &dyn Fn(usize) -> f32| (0..marks.len()).map(of).collect::<Vec<f32>>();
    glb(&GlbScene {
        materials: vec![white()],
        surfaces: vec![GlbSurface {
            name: cloth.name.clone(),
            positions: cloth.positions.clone(),
            triangles: cloth.triangles.clone(),
            colours: Some(marks.iter().map(colour).collect()),
            numbers: vec![
                ("_SPOT".into(), number(&|vertex| marks[vertex] as f32)),
                ("_VERTEX".into(), number(&|vertex| cloth.sources[vertex].1 as f32)),
            ],
            ..GlbSurface::default()
        }],
        ..GlbScene::default()
    })
}

fn white() -> GlbMaterial {
    GlbMaterial {
        name: "vertex colours".into(),
        colour: [1.0; 4],
        picture: None,
    }
}

fn surface(posed: &Posed, plain: [u8; 3]) -> GlbSurface {
    let plain = linear(plain.map(f32::from));
    let colours = match &posed.heat {
        Some(heat) => heat
            .values
            .iter()
            .map(|value| of_value(heat, *value, plain))
            .collect(),
        None => vec![plain; posed.positions.len()],
    };
    GlbSurface {
        name: posed.name.clone(),
        positions: posed.positions.clone(),
        triangles: posed.triangles.to_vec(),
        colours: Some(colours),
        ..GlbSurface::default()
    }
}

fn of_value(heat: &Heat, value: f32, plain: [u8; 4]) -> [u8; 4] {
    let scale = Scale {
        bottom: heat.bottom,
        top: heat.top,
        limit: heat.limit,
    };
    scale.colour(value).map_or(plain, linear)
}

/// sRGB 0 to 255 as glTF wants vertex colours: linear, opaque (IEC 61966-2-1).
fn linear(srgb: [f32; 3]) -> [u8; 4] {
    let [r, g, b] = srgb.map(|value| {
        let value = value / 255.0;
        let linear = if value <= 0.04045 {
            value / 12.92
        } else {
            ((value + 0.055) / 1.055).powf(2.4)
        };
        (linear * 255.0).round() as u8
    });
    [r, g, b, u8::MAX]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61966-2-1: sRGB 188 is half the light, 0 and 255 stay.
    #[test]
    fn colours_are_linear() {
        assert_eq!(linear([0.0, 255.0, 188.0]), [0, 255, 128, 255]);
    }
}
