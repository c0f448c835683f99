//! Which skin lies surely under its fabric, so that nobody need ask sample by sample?
//!
//! Most covered skin lies well under its fabric in most frames, and all that is recorded of it is that it does. Skin
//! samples that lie together are a patch. Of a sample it is known that it lies beneath its fabric, if
//!
//! 1. a fabric triangle that may cover it faces the same way as all skin triangles beside its patch: its nearest fabric
//!    is no further than that one, its depth;
//! 2. no fabric triangle within that depth touches an edge of the garment, a lining or a torn seam;
//! 3. it lies behind the plane of every fabric triangle within that depth.
//!
//! Its nearest point then lies on a triangle of (3), and the normal that decides the side is a sum, with weights that are
//! not negative, of normals of triangles that share that point and are therefore within that depth too.
//! Every term says "behind", so their sum does. The margins are far above what `f32` can lose. Where any of this does
//! not hold, nothing is known, and each sample is asked by itself: the answers are the same as without patches.

use super::LINING;
use super::body::Body;
use super::edges::Edges;
use super::layer::SkinSamples;
use super::moment::Posed;
use crate::geometry::box_tree::{ALL, BoxTree, Cluster, MOST_POINTS};
use crate::geometry::topology::Topology;
use crate::geometry::vector::{dot, sub};
use crate::geometry::{corners, triangle};
use crate::rig::part::PartMask;
use std::ops::Range;

/// Margin of distances and planes, metres: a hundred times the rounding of positions.
const MARGIN: f32 = 1e-5;
/// Welded vertices further apart than this are a torn seam, metres.
const TORN: f32 = 2e-6;
/// Facing the same way by less than this cosine is not sure.
const FACING: f64 = 0.01;

/// Covered skin in patches. Made once per layer.
#[derive(Clone, Debug, Default)]
pub struct Patches {
    patches: Vec<Patch>,
    /// Covered samples, patch by patch.
    samples: Vec<u32>,
    /// Skin triangles beside them, patch by patch.
    skin: Vec<u32>,
    /// Fabric triangles that covered them as built, patch by patch.
    covers: Vec<u32>,
    /// By fabric triangle: touches an edge of the garment or a lining.
    at_edge: Vec<bool>,
    /// Vertices that another stands for, and that other.
    seams: Vec<[u32; 2]>,
}

#[derive(Clone, Debug)]
struct Patch {
    samples: Range<usize>,
    skin: Range<usize>,
    covers: Range<usize>,
}

/// What patches know of one frame. Renewed for every frame, allocated once.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// By fabric triangle: at an edge of the garment, or at a seam that is torn open in this frame.
    in_doubt: Vec<bool>,
    /// Covered samples of which nothing is known.
    pub doubtful: Vec<u32>,
}

/// Skin and fabric in one frame.
#[derive(Clone, Copy)]
pub(super) struct Frame<'a> {
    pub(super) body: &'a Body,
    pub(super) skin: &'a [[f32; 3]],
    pub(super) topology: &'a Topology,
    pub(super) fabric: &'a Posed,
}

impl Patches {
    /// Sorts covered samples into patches. `places` is a tree over the skin's triangles, `tags` are the fabric's.
    pub(super) fn new(
        (body, places): (&Body, &BoxTree),
        skin: &SkinSamples,
        (topology, edges, tags): (&Topology, &Edges, &[u32]),
    ) -> Self {
        let mut order: Vec<(PartMask, u32, u32)> = (0u32..)
            .zip(skin.points.triangle.iter().zip(&skin.mask))
            .map(|(point, (&triangle, &mask))| (mask, places.place(triangle), point))
            .collect();
        order.sort_unstable();
        let mut patches = Self {
            at_edge: at_edge(topology, edges, tags),
            seams: (0u32..)
                .zip(topology.canonical())
                .filter(|(vertex, canonical)| vertex != *canonical)
                .map(|(vertex, &canonical)| [vertex, canonical])
                .collect(),
            ..Self::default()
        };
        let alike = |one: &(PartMask, u32, u32), next: &(PartMask, u32, u32)| {
            one.0 == next.0 && BoxTree::in_one_leaf(one.1, next.1)
        };
        for leaf in order.chunk_by(alike) {
            for together in leaf.chunks(MOST_POINTS) {
                patches.add(body, skin, together, tags);
            }
        }
        patches
    }

    fn add(&mut self, body: &Body, skin: &SkinSamples, together: &[(PartMask, u32, u32)], tags: &[u32]) {
        let (first_sample, first_skin) = (self.samples.len(), self.skin.len());
        let mut beside = Vec::new();
        for &(.., point) in together {
            self.samples.push(point);
            let point = point as usize;
            let triangle = skin.points.triangle[point];
            beside.push(triangle);
            if point < skin.points.vertices {
                let weights = &skin.points.barycentric[point];
                let corner = weights.iter().position(|weight| *weight > 0.5).unwrap_or(0);
                let vertex = body.topology.triangles()[triangle as usize][corner];
                beside.extend(body.topology.vertex_triangles(vertex));
            }
        }
        beside.sort_unstable();
        beside.dedup();
        self.skin.extend(beside);
        let first_cover = self.covers.len();
        for &(mask, _, point) in together {
            let cover = skin.cover[point as usize];
            let known = &self.covers[first_cover..];
            if tags[cover as usize] & mask != 0 && !known.contains(&cover) {
                self.covers.push(cover);
            }
        }
        self.patches.push(Patch {
            samples: first_sample..self.samples.len(),
            skin: first_skin..self.skin.len(),
            covers: first_cover..self.covers.len(),
        });
    }

    /// Tells the samples that lie surely beneath their fabric, no deeper than `reach` metres, from the doubtful ones:
    /// calls `sure` with each of the former and a depth that it does not exceed; where that says no, it is doubtful too.
    pub(super) fn sort(
        &self,
        frame: &Frame,
        samples: &SkinSamples,
        reach: f32,
        known: &mut Known,
        mut sure: impl FnMut(usize, f32) -> bool,
    ) {
        known.in_doubt.clone_from(&self.at_edge);
        self.mark_torn(frame, &mut known.in_doubt);
        known.doubtful.clear();
        for patch in &self.patches {
            let of_patch = &self.samples[patch.samples.clone()];
            let (lanes, depths) = self.sure(patch, frame, samples, reach, &known.in_doubt);
            let in_doubt = (0..).zip(of_patch).filter(|&(lane, &point)| {
                let known = lanes >> lane & 1 == 1;
                !known || !sure(point as usize, depths[lane])
            });
            known.doubtful.extend(in_doubt.map(|(_, point)| point));
        }
    }

    /// Marks the triangles at vertices that are one as built and no longer are.
    fn mark_torn(&self, frame: &Frame, in_doubt: &mut [bool]) {
        let at = |vertex: u32| frame.fabric.positions[vertex as usize];
        for &[vertex, canonical] in &self.seams {
            let gap = sub(at(vertex), at(canonical));
            let closed = dot(gap, gap) <= TORN * TORN;
            if !closed {
                for &triangle in frame.topology.vertex_triangles(canonical) {
                    in_doubt[triangle as usize] = true;
                }
            }
        }
    }

    /// Which samples of a patch lie surely beneath their fabric, as bits, and how deep each lies at most.
    fn sure(
        &self,
        patch: &Patch,
        frame: &Frame,
        samples: &SkinSamples,
        reach: f32,
        in_doubt: &[bool],
    ) -> (u32, [f32; MOST_POINTS]) {
        let (tree, triangles) = (&frame.fabric.tree, &frame.body.surface.triangles);
        let of_patch = self.samples[patch.samples.clone()].iter();
        let cluster = Cluster::new(
            of_patch.map(|&point| samples.points.position(point as usize, frame.skin, triangles)),
        );
        let mut outward = [[0.0; 3]; MOST_POINTS];
        let covers = &self.covers[patch.covers.clone()];
        for (outward, &cover) in outward.iter_mut().zip(covers) {
            *outward = triangle::area_vector(tree.corners(cover));
        }
        let mut facing = [true; MOST_POINTS];
        for &triangle in &self.skin[patch.skin.clone()] {
            let skin = triangle::area_vector(corners(frame.skin, triangles[triangle as usize]));
            for (facing, &cover) in facing.iter_mut().zip(&outward[..covers.len()]) {
                *facing &= face_alike(skin, cover);
            }
        }
        let facing = covers.iter().zip(facing).filter(|(_, facing)| *facing);
        let distances = cluster.distances(facing.map(|(&cover, _)| tree.corners(cover)));
        let depths = distances.map(|distance| distance * (1.0 + MARGIN) + MARGIN);
        let within = depths.map(|depth| depth + MARGIN);
        let (mut sure, mut furthest) = (0, 0.0);
        for lane in (0..MOST_POINTS).filter(|&lane| depths[lane] <= reach) {
            sure |= 1 << lane;
            furthest = within[lane].max(furthest);
        }
        if sure != 0 {
            tree.all_around(cluster.bounds(), furthest, ALL & !LINING, |triangle, corners| {
                let beneath = if in_doubt[triangle as usize] {
                    0
                } else {
                    cluster.behind(corners, MARGIN)
                };
                if sure & !beneath != 0 {
                    sure &= beneath | !cluster.near(corners, &within);
                }
                sure != 0
            });
        }
        (sure, depths)
    }
}

/// Whether two triangles surely face the same way; not if one has no area.
fn face_alike(one: [f64; 3], other: [f64; 3]) -> bool {
    let cosine = dot(one, other);
    cosine > 0.0 && cosine * cosine > FACING * FACING * dot(one, one) * dot(other, other)
}

/// By fabric triangle: whether its nearest point may lie on an edge of the garment, or be decided by a lining.
fn at_edge(topology: &Topology, edges: &Edges, tags: &[u32]) -> Vec<bool> {
    let is_lining = |triangle: &u32| tags[*triangle as usize] == LINING;
    topology
        .triangles()
        .iter()
        .zip(topology.corners())
        .map(|(welded, own)| {
            let at_lining = |&vertex: &u32| topology.vertex_triangles(vertex).iter().any(is_lining);
            welded.iter().any(at_lining) || own.iter().any(|&vertex| edges.at_vertex(vertex))
        })
        .collect()
}
