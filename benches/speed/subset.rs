//! The subset of DESIGN 10 with gusset's geometry: trees refitted, searches from home, sides by regions.

use super::Workload;
use super::workload::Finer;
use gusset::geometry::box_tree::{ALL, BoxTree, Crossing, Nearest, crossings, self_pairs_where};
use gusset::geometry::winding::Winding;
use gusset::geometry::{corners, stretch::RestFrame};
use gusset::skin::{blend, follow, palette};
use nalgebra::Matrix4;
use std::hint::black_box;

pub(crate) struct Subset {
    pub(crate) body: Vec<[f32; 3]>,
    pub(crate) cloth: Vec<[f32; 3]>,
    /// By fabric vertex: whether the body goes round it.
    pub(crate) inside: Vec<bool>,
    /// Winding numbers that were needed for that.
    pub(crate) evaluated: usize,
    body_tree: BoxTree,
    cloth_tree: BoxTree,
    winding: Winding,
    skin_home: Vec<Option<u32>>,
    cloth_home: Vec<Option<u32>>,
    to_skin: Vec<Option<Nearest>>,
    to_cloth: Vec<Option<Nearest>>,
    crossed: Vec<Crossing>,
    crossed_itself: Vec<Crossing>,
    rest: Vec<RestFrame>,
    pulls: Vec<[f64; 2]>,
    cut: Vec<bool>,
    region: Vec<u32>,
    known: Vec<Option<bool>>,
}

fn homes(of: &[[f32; 3]], on: &BoxTree) -> Vec<Option<u32>> {
    of.iter()
        .map(|&at| {
            on.closest(at, f32::INFINITY, ALL, None)
                .map(|found| found.triangle)
        })
        .collect()
}

impl Subset {
    pub(crate) fn new(work: &Workload) -> Self {
        let body = work.dressed.layers[0].body_as_built.clone();
        let cloth = work.cloth.positions.clone();
        let body_tree = BoxTree::build(&body, &work.body.triangles);
        let cloth_tree = BoxTree::build(&cloth, &work.cloth.triangles);
        let rest = work
            .cloth
            .triangles
            .iter()
            .map(|&t| RestFrame::new(corners(&cloth, t)))
            .collect();
        Self {
            winding: Winding::build(&body_tree),
            cloth_home: homes(&cloth, &body_tree),
            skin_home: homes(&body, &cloth_tree),
            inside: vec![false; cloth.len()],
            body,
            cloth,
            body_tree,
            cloth_tree,
            evaluated: 0,
            to_skin: Vec::new(),
            to_cloth: Vec::new(),
            crossed: Vec::new(),
            crossed_itself: Vec::new(),
            rest,
            pulls: Vec::new(),
            cut: Vec::new(),
            region: Vec::new(),
            known: Vec::new(),
        }
    }

    pub(crate) fn skin(&mut self, work: &Workload, world: &[Matrix4<f64>]) {
        let layer = &work.dressed.layers[0];
        blend(&work.body, &palette(&work.body, world), &mut self.body);
        let joints = follow(&layer.skeleton, &layer.pairing, world);
        blend(&work.cloth, &palette(&work.cloth, &joints), &mut self.cloth);
    }

    pub(crate) fn refit(&mut self) {
        self.body_tree.refit(&self.body);
        self.cloth_tree.refit(&self.cloth);
    }

    pub(crate) fn fabric_to_skin(&mut self, _: &Workload) {
        nearest(&self.cloth, &self.cloth_home, &self.body_tree, &mut self.to_skin);
    }

    pub(crate) fn skin_to_fabric(&mut self, _: &Workload) {
        nearest(&self.body, &self.skin_home, &self.cloth_tree, &mut self.to_cloth);
    }

    pub(crate) fn cross(&mut self) {
        crossings(&self.cloth_tree, &self.body_tree, &mut self.crossed);
    }

    pub(crate) fn cross_itself(&mut self) {
        let welded = self.cloth_tree.triangles();
        let apart = |a: u32, b: u32| !welded[a as usize].iter().any(|v| welded[b as usize].contains(v));
        self_pairs_where(&self.cloth_tree, apart, &mut self.crossed_itself);
    }

    /// Which fabric vertices the body goes round. The winding number changes only across the skin: along a triangle
    /// that does not cross it the side stays the same, so one vertex of every region between crossings is asked.
    pub(crate) fn sides(&mut self, work: &Workload) {
        self.winding.refit(&self.body_tree);
        self.cut.clear();
        self.cut.resize(work.cloth.triangles.len(), false);
        self.crossed
            .iter()
            .for_each(|pair| self.cut[pair.first as usize] = true);
        self.region.clear();
        self.region.extend(0..self.cloth.len() as u32);
        for (triangle, corners) in work.cloth.triangles.iter().enumerate() {
            if !self.cut[triangle] {
                let root = root(&mut self.region, corners[0]);
                for &corner in &corners[1..] {
                    let other = self::root(&mut self.region, corner);
                    let root = self::root(&mut self.region, root);
                    self.region[root.max(other) as usize] = root.min(other);
                }
            }
        }
        self.known.clear();
        self.known.resize(self.cloth.len(), None);
        self.evaluated = 0;
        for vertex in 0..self.cloth.len() {
            let root = root(&mut self.region, vertex as u32) as usize;
            if self.known[root].is_none() {
                self.evaluated += 1;
                self.known[root] = Some(self.winding.at(&self.body_tree, self.cloth[root]) >= 0.5);
            }
            self.inside[vertex] = self.known[root] == Some(true);
        }
    }

    /// The same, asked at every vertex.
    pub(crate) fn sides_everywhere(&self) -> Vec<bool> {
        let inside = |&at: &[f32; 3]| self.winding.at(&self.body_tree, at) >= 0.5;
        self.cloth.iter().map(inside).collect()
    }

    pub(crate) fn stretch(&mut self, work: &Workload) {
        self.pulls.clear();
        let posed = self.rest.iter().zip(&work.cloth.triangles);
        self.pulls
            .extend(posed.map(|(rest, &t)| rest.stretches(corners(&self.cloth, t))));
    }

    pub(crate) fn frame(&mut self, work: &Workload, world: &[Matrix4<f64>]) {
        self.skin(work, world);
        self.refit();
        self.fabric_to_skin(work);
        self.skin_to_fabric(work);
        self.cross();
        self.cross_itself();
        self.sides(work);
        self.stretch(work);
    }
}

fn nearest(points: &[[f32; 3]], homes: &[Option<u32>], on: &BoxTree, found: &mut Vec<Option<Nearest>>) {
    found.clear();
    found.extend(
        points
            .iter()
            .zip(homes)
            .map(|(&at, &home)| on.closest(at, f32::INFINITY, ALL, home)),
    );
}

fn root(parent: &mut [u32], mut vertex: u32) -> u32 {
    while parent[vertex as usize] != vertex {
        parent[vertex as usize] = parent[parent[vertex as usize] as usize];
        vertex = parent[vertex as usize];
    }
    vertex
}

/// Two surfaces of any size.
pub(crate) struct Pair<'a> {
    finer: &'a Finer,
    body: BoxTree,
    cloth: BoxTree,
    homes: Vec<Option<u32>>,
    crossed: Vec<Crossing>,
}

impl<'a> Pair<'a> {
    pub(crate) fn new(finer: &'a Finer) -> Self {
        let body = BoxTree::build(&finer.body.0, &finer.body.1);
        let homes = homes(&finer.cloth.0, &body);
        Self {
            cloth: BoxTree::build(&finer.cloth.0, &finer.cloth.1),
            body,
            homes,
            finer,
            crossed: Vec::new(),
        }
    }

    pub(crate) fn nearest(&mut self) {
        let mut found = Vec::new();
        nearest(&self.finer.cloth.0, &self.homes, &self.body, &mut found);
        black_box(found);
    }

    pub(crate) fn cross(&mut self) {
        crossings(&self.cloth, &self.body, &mut self.crossed);
    }
}
