//! Which vertices are one place at the bind, and must stay one?

use crate::geometry::topology::Topology;
use crate::rig::surface::Surface;

/// Groups of two or more vertices at one place, over all meshes of the garment.
#[derive(Clone, Debug, Default)]
pub struct Seams {
    starts: Vec<u32>,
    vertices: Vec<u32>,
}

impl Seams {
    /// Groups by what the topology welded. A vertex with a faulty weight row is left out.
    pub fn new(surface: &Surface, topology: &Topology) -> Self {
        let mut pairs: Vec<(u32, u32)> = (0u32..)
            .zip(topology.canonical())
            .filter(|(vertex, _)| !surface.faulty[*vertex as usize])
            .map(|(vertex, &canonical)| (canonical, vertex))
            .collect();
        pairs.sort_unstable();
        let mut seams = Self {
            starts: vec![0],
            vertices: Vec::new(),
        };
        for group in pairs.chunk_by(|a, b| a.0 == b.0).filter(|group| group.len() > 1) {
            seams.vertices.extend(group.iter().map(|pair| pair.1));
            seams
                .starts
                .push(u32::try_from(seams.vertices.len()).unwrap_or(u32::MAX));
        }
        seams
    }

    /// The groups, by their lowest vertex.
    pub fn groups(&self) -> impl Iterator<Item = &[u32]> {
        self.starts
            .windows(2)
            .map(|span| &self.vertices[span[0] as usize..span[1] as usize])
    }
}
