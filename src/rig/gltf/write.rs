//! A GLB of surfaces as they stand, or of whole rigs with their skins.
//!
//! Same scene, same bytes. The Khronos validator finds neither errors nor warnings in what a sound scene gives.

use nalgebra::Matrix4;
use serde_json::{Map, Value, json};

use super::normals;
use super::pack::Pack;
use crate::rig::{Local, Morph, Rows};

/// What a GLB is to hold.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GlbScene {
    /// Joints and other bare nodes, parents before children.
    pub nodes: Vec<GlbNode>,
    /// Skins over those nodes.
    pub skins: Vec<GlbSkin>,
    /// What the surfaces look like.
    pub materials: Vec<GlbMaterial>,
    /// PNG files to embed.
    pub pictures: Vec<Vec<u8>>,
    /// The meshes, each on a root node of its own.
    pub surfaces: Vec<GlbSurface>,
}

/// A joint, or a node above one.
#[derive(Clone, Debug, PartialEq)]
pub struct GlbNode {
    /// Shown in other programs; may be empty.
    pub name: String,
    /// Index into [`GlbScene::nodes`], smaller than this node's own.
    pub parent: Option<usize>,
    /// Relative to the parent, metres.
    pub local: Local,
}

/// Joints with their binds.
#[derive(Clone, Debug, PartialEq)]
pub struct GlbSkin {
    /// Node of each joint, and the matrix from the mesh's space to that joint's at the bind.
    pub joints: Vec<(usize, Matrix4<f64>)>,
}

/// A double-sided, rough material.
#[derive(Clone, Debug, PartialEq)]
pub struct GlbMaterial {
    /// May be empty.
    pub name: String,
    /// Linear red, green, blue and opacity, 0 to 1. Multiplied with the picture and with vertex colours.
    pub colour: [f32; 4],
    /// Index into [`GlbScene::pictures`]; its surfaces then need texture coordinates.
    pub picture: Option<usize>,
}

/// One mesh. All lists have one entry per vertex, except the triangles. Numbers that are not finite are written as 0.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GlbSurface {
    /// Name of the node and of the mesh.
    pub name: String,
    /// Index into [`GlbScene::materials`].
    pub material: usize,
    /// Metres.
    pub positions: Vec<[f32; 3]>,
    /// Any length but zero; where absent, smooth ones are made.
    pub normals: Option<Vec<[f32; 3]>>,
    /// Counter-clockwise corners.
    pub triangles: Vec<[u32; 3]>,
    /// Linear red, green, blue, opacity.
    pub colours: Option<Vec<[u8; 4]>>,
    /// Texture coordinates.
    pub uvs: Option<Vec<[f32; 2]>>,
    /// More numbers per vertex. A name begins with an underscore, `_SPOT`.
    pub numbers: Vec<(String, Vec<f32>)>,
    /// Index into [`GlbScene::skins`], and the rows over its joints, written as they are.
    pub skin: Option<(usize, Rows)>,
    /// Morph targets with a delta per vertex and the weight they begin with.
    pub morphs: Vec<Morph>,
}

/// The scene as a binary glTF file. Surfaces without triangles are left out.
///
/// # Panics
/// Where an index of the scene leads nowhere, or a list has another length than the positions.
pub fn glb(scene: &GlbScene) -> Vec<u8> {
    let mut pack = Pack::default();
    let mut nodes: Vec<Value> = scene.nodes.iter().map(node).collect();
    let mut roots: Vec<usize> = Vec::new();
    for (index, node) in scene.nodes.iter().enumerate() {
        match node.parent {
            Some(parent) => append(&mut nodes[parent], "children", json!(index)),
            None => roots.push(index),
        }
    }
    let mut meshes = Vec::new();
    for surface in scene
        .surfaces
        .iter()
        .filter(|surface| !surface.triangles.is_empty())
    {
        let mut node = named(&surface.name);
        node["mesh"] = json!(meshes.len());
        if let Some((skin, _)) = &surface.skin {
            node["skin"] = json!(skin);
        }
        roots.push(nodes.len());
        nodes.push(node);
        meshes.push(mesh(surface, scene.materials.len(), &mut pack));
    }
    let skins: Vec<Value> = scene
        .skins
        .iter()
        .map(|skin| self::skin(skin, &mut pack))
        .collect();
    let images = scene
        .pictures
        .iter()
        .map(|png| pack.blob(png.iter().copied(), None));
    let images: Vec<Value> = images
        .map(|view| json!({ "bufferView": view, "mimeType": "image/png" }))
        .collect();
    let textures: Vec<Value> = (0..images.len())
        .map(|image| json!({ "source": image }))
        .collect();
    let materials = scene.materials.iter().map(material).collect();
    let mut document = Map::new();
    document.insert("asset".into(), json!({ "version": "2.0", "generator": "gusset" }));
    document.insert("scene".into(), json!(0));
    let scenes = if roots.is_empty() {
        json!({})
    } else {
        json!({ "nodes": roots })
    };
    let parts = [
        ("scenes", vec![scenes]),
        ("nodes", nodes),
        ("meshes", meshes),
        ("skins", skins),
        ("materials", materials),
        ("textures", textures),
        ("images", images),
    ];
    // glTF allows no empty list.
    let parts = parts.into_iter().filter(|(_, items)| !items.is_empty());
    document.extend(parts.map(|(key, items)| (key.to_owned(), Value::Array(items))));
    pack.finish(document)
}

/// An object with a name, where there is one.
fn named(name: &str) -> Value {
    if name.is_empty() {
        json!({})
    } else {
        json!({ "name": name })
    }
}

fn append(object: &mut Value, key: &str, item: Value) {
    match object[key].as_array_mut() {
        Some(items) => items.push(item),
        None => object[key] = json!([item]),
    }
}

fn node(node: &GlbNode) -> Value {
    let mut value = named(&node.name);
    match &node.local {
        Local::Matrix(matrix) => value["matrix"] = json!(matrix.as_slice()),
        Local::Parts {
            translation,
            rotation,
            scale,
        } => {
            value["translation"] = json!(translation.as_slice());
            value["rotation"] = json!(rotation.coords.as_slice());
            value["scale"] = json!(scale.as_slice());
        }
    }
    value
}

fn skin(skin: &GlbSkin, pack: &mut Pack) -> Value {
    let narrow = |matrix: &Matrix4<f64>| std::array::from_fn(|index| finite(matrix.as_slice()[index] as f32));
    let matrices: Vec<[f32; 16]> = skin.joints.iter().map(|(_, matrix)| narrow(matrix)).collect();
    let joints: Vec<usize> = skin.joints.iter().map(|(node, _)| *node).collect();
    json!({ "joints": joints, "inverseBindMatrices": pack.matrices(&matrices) })
}

fn material(material: &GlbMaterial) -> Value {
    let mut surface =
        json!({ "baseColorFactor": material.colour, "metallicFactor": 0.0, "roughnessFactor": 0.9 });
    if let Some(picture) = material.picture {
        surface["baseColorTexture"] = json!({ "index": picture });
    }
    let mut value = named(&material.name);
    value["pbrMetallicRoughness"] = surface;
    value["doubleSided"] = json!(true);
    if material.colour[3] < 1.0 {
        value["alphaMode"] = json!("BLEND");
    }
    value
}

fn mesh(surface: &GlbSurface, materials: usize, pack: &mut Pack) -> Value {
    let vertices = surface.positions.len();
    let positions = all_finite(&surface.positions);
    let normals = match &surface.normals {
        Some(normals) => normals
            .iter()
            .map(|normal| normals::unit(normal.map(f64::from)))
            .collect(),
        None => normals::smooth(&positions, &surface.triangles),
    };
    assert_eq!(normals.len(), vertices, "one normal per vertex");
    assert!(surface.material < materials, "a material of the scene");
    let mut attributes = json!({ "POSITION": pack.positions(&positions), "NORMAL": pack.floats(&normals) });
    if let Some(colours) = &surface.colours {
        assert_eq!(colours.len(), vertices, "one colour per vertex");
        attributes["COLOR_0"] = json!(pack.colours(colours));
    }
    if let Some(uvs) = &surface.uvs {
        assert_eq!(uvs.len(), vertices, "one texture coordinate per vertex");
        attributes["TEXCOORD_0"] = json!(pack.floats(&all_finite(uvs)));
    }
    for (name, numbers) in &surface.numbers {
        assert!(
            name.starts_with('_') && numbers.len() == vertices,
            "an attribute _{name} with one number per vertex"
        );
        let numbers: Vec<[f32; 1]> = numbers.iter().map(|&number| [finite(number)]).collect();
        attributes[name] = json!(pack.floats(&numbers));
    }
    if let Some((_, rows)) = &surface.skin {
        assert_eq!(rows.len(), vertices, "one row per vertex");
        weights(rows, pack, &mut attributes);
    }
    let corners = pack.corners(&surface.triangles);
    let mut mesh = named(&surface.name);
    let mut primitive = json!({ "attributes": attributes, "indices": corners, "material": surface.material });
    if !surface.morphs.is_empty() {
        let target = |morph: &Morph| {
            assert_eq!(morph.deltas.len(), vertices, "one delta per vertex");
            json!({ "POSITION": pack.positions(&all_finite(&morph.deltas)) })
        };
        primitive["targets"] = surface.morphs.iter().map(target).collect();
        let of = |pick: fn(&Morph) -> Value| surface.morphs.iter().map(pick).collect::<Value>();
        mesh["weights"] = of(|morph| json!(morph.weight));
        mesh["extras"] = json!({ "targetNames": of(|morph| json!(morph.name)) });
    }
    mesh["primitives"] = json!([primitive]);
    mesh
}

/// As many sets of four as the longest row needs. What is left of a set is joint 0 with weight 0.
fn weights(rows: &Rows, pack: &mut Pack, attributes: &mut Value) {
    let longest = (0..rows.len())
        .map(|vertex| rows.row(vertex).count())
        .max()
        .unwrap_or_default();
    for set in 0..longest.div_ceil(4).max(1) {
        let (mut joints, mut weights) = (vec![[0_u16; 4]; rows.len()], vec![[0.0_f32; 4]; rows.len()]);
        for vertex in 0..rows.len() {
            for (slot, (joint, weight)) in rows.row(vertex).skip(set * 4).take(4).enumerate() {
                joints[vertex][slot] = joint as u16; // rows keep 16-bit indices
                weights[vertex][slot] = weight;
            }
        }
        attributes[format!("JOINTS_{set}")] = json!(pack.joints(&joints));
        attributes[format!("WEIGHTS_{set}")] = json!(pack.floats(&weights));
    }
}

fn finite(number: f32) -> f32 {
    if number.is_finite() { number } else { 0.0 }
}

fn all_finite<const N: usize>(elements: &[[f32; N]]) -> Vec<[f32; N]> {
    elements.iter().map(|element| element.map(finite)).collect()
}
