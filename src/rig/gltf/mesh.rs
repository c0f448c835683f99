//! Which triangles hang on joints, and how they look before any pose.

use std::collections::BTreeMap;

use gltf::json::mesh::{Mode, MorphTarget, Primitive, Semantic};
use gltf::json::validation::Checked;
use nalgebra::Matrix4;

use super::accessor::Source;
use super::corners::{corners, unrolled};
use super::cost;
use super::error::Fault;
use super::names;
use super::nodes::Graph;
use super::remarks::Remarks;
use super::skin;
use super::vertices::{deltas, first_not_finite, position, positions, target_names};
use crate::rig::{Bind, Mesh, Morph};

/// Name of the custom attribute that marks hidden skin, without its underscore.
pub(super) const HIDDEN: &str = "HIDDEN";

/// Every triangle primitive that is skinned or sits on or under a joint, in the file's order of nodes.
/// With `unskinned` also every other one, each node being its own joint.
pub(super) fn read(
    source: &Source,
    graph: &Graph,
    unskinned: bool,
    remarks: &mut Remarks,
) -> Result<Vec<Mesh>, Fault> {
    let (carriers, stands) = (carriers(source, graph, unskinned), stands_at_origin(graph));
    cost::check(source, |node| carriers[graph.ours[node]].is_some())?;
    let mut reading = Reading {
        source,
        graph,
        carriers,
        stands,
        remarks,
        target_names: BTreeMap::new(),
        meshes: Vec::new(),
    };
    for node in 0..source.root.nodes.len() {
        reading.node(node)?;
    }
    if !reading.meshes.is_empty() || source.root.meshes.is_empty() {
        return Ok(reading.meshes);
    }
    Err(nothing_carried(source))
}

/// Why none of a file's meshes hangs on a joint.
fn nothing_carried(source: &Source) -> Fault {
    let (nodes, meshes) = (&source.root.nodes, &source.root.meshes);
    let forgotten = nodes.iter().position(|node| {
        let weighted = |mesh: usize| meshes[mesh].primitives.iter().any(skin::has_weights);
        node.skin.is_none() && node.mesh.is_some_and(|mesh| weighted(mesh.value()))
    });
    let (place, what) = match forgotten {
        _ if source.root.skins.is_empty() => ("/skins".into(), "this file has meshes but no skin"),
        _ if nodes.iter().all(|node| node.mesh.is_none()) => {
            ("/nodes".into(), "this file has meshes, but no node shows one")
        }
        Some(node) => (
            format!("/nodes/{node}"),
            "the mesh of this node has skin weights, but the node names no skin",
        ),
        None => ("/meshes".into(), "no triangles of this file hang on a joint"),
    };
    Fault::NoSkin { place, what }
}

/// For each of our nodes the nearest joint at or above it, and the transform from the node to that joint.
fn carriers(source: &Source, graph: &Graph, unskinned: bool) -> Vec<Option<Bind>> {
    let mut is_joint = vec![false; graph.nodes.len()];
    for joint in source.root.skins.iter().flat_map(|skin| &skin.joints) {
        is_joint[graph.ours[joint.value()]] = true;
    }
    let mut carriers: Vec<Option<Bind>> = Vec::with_capacity(graph.nodes.len());
    for (node, own) in graph.nodes.iter().enumerate() {
        let above = own.parent.and_then(|parent| carriers[parent].as_ref());
        carriers.push(match above {
            _ if is_joint[node] || (unskinned && above.is_none()) => Some(Bind {
                node,
                inverse_bind: Matrix4::identity(),
            }),
            Some(above) => Some(Bind {
                node: above.node,
                inverse_bind: above.inverse_bind * own.local.matrix(),
            }),
            None => None,
        });
    }
    carriers
}

/// For each of our nodes whether it has the world's own axes, size and place.
fn stands_at_origin(graph: &Graph) -> Vec<bool> {
    let mut world: Vec<Matrix4<f64>> = Vec::with_capacity(graph.nodes.len());
    for node in &graph.nodes {
        let local = node.local.matrix();
        world.push(node.parent.map_or(local, |parent| world[parent] * local));
    }
    world
        .iter()
        .map(|world| (world - Matrix4::identity()).amax() < 1e-6)
        .collect()
}

/// What is needed while going through the nodes, and the meshes found so far.
struct Reading<'a> {
    source: &'a Source<'a>,
    graph: &'a Graph,
    carriers: Vec<Option<Bind>>,
    stands: Vec<bool>,
    remarks: &'a mut Remarks,
    /// By mesh, read once: many nodes may show the same mesh.
    target_names: BTreeMap<usize, Vec<String>>,
    meshes: Vec<Mesh>,
}

/// One primitive of one node of the file.
struct Part<'a> {
    node: usize,
    number: usize,
    mesh: &'a gltf::json::Mesh,
    primitive: &'a Primitive,
    place: String,
}

impl Reading<'_> {
    fn node(&mut self, index: usize) -> Result<(), Fault> {
        let source = self.source;
        let node = &source.root.nodes[index];
        let Some(number) = node.mesh.map(|mesh| mesh.value()) else {
            return Ok(());
        };
        let mesh = &source.root.meshes[number];
        let skin = match node.skin {
            Some(skin) if mesh.primitives.iter().any(skin::has_weights) => {
                Some(self.skin(index, skin.value())?)
            }
            _ => None,
        };
        let name = [&node.name, &mesh.name]
            .into_iter()
            .flatten()
            .find(|name| !name.is_empty());
        let name = name.map_or_else(|| format!("mesh {number}"), |name| names::clean(name));
        for (at, primitive) in mesh.primitives.iter().enumerate() {
            let part = Part {
                node: index,
                number,
                mesh,
                primitive,
                place: format!("/meshes/{number}/primitives/{at}"),
            };
            if let Some(triangles) = self.triangles(&part)? {
                let mesh = self.primitive(&part, &name, skin.as_deref(), triangles)?;
                self.meshes.extend(mesh);
            }
        }
        Ok(())
    }

    /// The joints that move a node's mesh, with what there is to note about them.
    fn skin(&mut self, node: usize, skin: usize) -> Result<Vec<Bind>, Fault> {
        if !self.stands[self.graph.ours[node]] {
            let say = "This node holds a skinned mesh, so its own transform and those above it are ignored, as glTF says.";
            let help =
                "If the mesh looks misplaced or has the wrong size, apply the transforms before the export.";
            self.remarks
                .add("mesh_node_transform_ignored", format!("/nodes/{node}"), say, help);
        }
        self.graph
            .remark_on_scene(node, &self.source.root.skins[skin], self.remarks);
        skin::binds(self.source, self.graph, skin, self.remarks)
    }

    fn skip(&mut self, place: &str, say: &str) {
        self.remarks.add(
            "primitive_skipped",
            place.to_owned(),
            say,
            "Nothing needs to be done if it is not meant to be worn.",
        );
    }

    /// Corners of a primitive's triangles; `None`, with a remark, where it has nothing to measure.
    fn triangles(&mut self, part: &Part) -> Result<Option<Vec<[u32; 3]>>, Fault> {
        let mode = match part.primitive.mode {
            Checked::Valid(mode @ (Mode::Triangles | Mode::TriangleStrip | Mode::TriangleFan)) => mode,
            _ => {
                self.skip(
                    &part.place,
                    "This part is made of points or lines, so it is left out.",
                );
                return Ok(None);
            }
        };
        let Some(positions) = position(part.primitive) else {
            self.skip(&part.place, "This part has no positions, so it is left out.");
            return Ok(None);
        };
        let vertices = self.source.count(positions, &part.place)?;
        let corners = corners(self.source, part.primitive, &part.place, vertices)?;
        self.source.spend(corners.len() as u64 * 12, &part.place)?;
        let triangles = unrolled(mode, &corners);
        if triangles.is_empty() {
            self.skip(&part.place, "This part has no triangles, so it is left out.");
            return Ok(None);
        }
        if mode == Mode::Triangles && corners.len() % 3 != 0 {
            let say =
                "The number of triangle corners is not a multiple of 3; the last one or two are left out.";
            self.remarks
                .add("stray_corners", part.place.clone(), say, "Export the file again.");
        }
        Ok(Some(triangles))
    }

    /// The mesh, or `None` with a remark where no joint carries it.
    fn primitive(
        &mut self,
        part: &Part,
        name: &str,
        skin: Option<&[Bind]>,
        triangles: Vec<[u32; 3]>,
    ) -> Result<Option<Mesh>, Fault> {
        let (source, place) = (self.source, &part.place);
        let skin = skin.filter(|_| skin::has_weights(part.primitive));
        let carrier = self.carriers[self.graph.ours[part.node]].as_ref();
        let Some(binds) = skin
            .map(<[Bind]>::to_vec)
            .or_else(|| carrier.map(|bind| vec![bind.clone()]))
        else {
            self.skip(
                place,
                "This part has no skin and hangs on no joint, so it is left out.",
            );
            return Ok(None);
        };
        let positions = positions(source, part.primitive, place)?;
        let rows = match skin {
            Some(_) => skin::rows(source, part.primitive, binds.len(), place, self.remarks)?,
            None => skin::rigid_rows(source, positions.len(), place)?,
        };
        let material = part
            .primitive
            .material
            .and_then(|material| source.root.materials.get(material.value())?.name.as_deref())
            .unwrap_or_default();
        // Names too: many nodes may repeat a long one.
        let texts = name.len() + material.len() + place.len();
        let size = size_of::<Mesh>() + texts + binds.len() * size_of::<Bind>();
        source.spend(size as u64, place)?;
        Ok(Some(Mesh {
            name: name.to_owned(),
            material: names::clean(material),
            place: place.clone(),
            binds,
            skinned: skin.is_some(),
            uvs: self.uvs(part)?,
            morphs: self.morphs(part)?,
            hidden: self.hidden(part, positions.len())?,
            positions,
            triangles,
            rows,
        }))
    }

    /// First texture coordinates; none, with a remark, where one is not finite.
    fn uvs(&mut self, part: &Part) -> Result<Option<Vec<[f32; 2]>>, Fault> {
        let Some(accessor) = part
            .primitive
            .attributes
            .get(&Checked::Valid(Semantic::TexCoords(0)))
        else {
            return Ok(None);
        };
        let place = format!("{}/attributes/TEXCOORD_0", part.place);
        let uvs = self.source.floats::<2>(accessor.value(), &place)?;
        if first_not_finite(&uvs).is_none() {
            return Ok(Some(uvs));
        }
        let say = "The texture coordinates hold a number that is not finite, so they are not used.";
        self.remarks.add(
            "texture_coordinates_not_finite",
            place,
            say,
            "Unwrap the mesh again.",
        );
        Ok(None)
    }

    /// Vertices that the file marks as hidden: the custom attribute `_HIDDEN`, one number a vertex, 1 for hidden.
    fn hidden(&mut self, part: &Part, vertices: usize) -> Result<Vec<bool>, Fault> {
        let mark = Checked::Valid(Semantic::Extras(HIDDEN.into()));
        let Some(accessor) = part.primitive.attributes.get(&mark) else {
            return Ok(Vec::new());
        };
        let place = format!("{}/attributes/_{HIDDEN}", part.place);
        let marks = self.source.floats::<1>(accessor.value(), &place)?;
        if marks.len() != vertices {
            let say = format!(
                "the mark _{HIDDEN} has {} numbers for {vertices} vertices",
                marks.len()
            );
            return Err(Fault::broken(&place, say));
        }
        Ok(marks.iter().map(|[mark]| *mark > 0.5).collect())
    }

    fn morphs(&mut self, part: &Part) -> Result<Vec<Morph>, Fault> {
        let source = self.source;
        let names = self
            .target_names
            .entry(part.number)
            .or_insert_with(|| target_names(part.mesh));
        let weights = source.root.nodes[part.node]
            .weights
            .as_ref()
            .or(part.mesh.weights.as_ref());
        let targets = part.primitive.targets.iter().flatten().enumerate();
        let vertices =
            position(part.primitive).map_or(Ok(0), |accessor| source.count(accessor, &part.place))?;
        let morph = |(index, target): (usize, &MorphTarget)| {
            let place = format!("{}/targets/{index}/POSITION", part.place);
            let name = names
                .get(index)
                .cloned()
                .unwrap_or_else(|| format!("morph {index}"));
            source.caps.name_bytes().check(name.len() as u64, &place)?;
            source.spend((size_of::<Morph>() + name.len()) as u64, &place)?;
            Ok(Morph {
                name,
                deltas: deltas(source, target, vertices, &place)?,
                weight: weights
                    .and_then(|weights| weights.get(index))
                    .map_or(0.0, |&weight| f64::from(weight)),
            })
        };
        targets.map(morph).collect()
    }
}
