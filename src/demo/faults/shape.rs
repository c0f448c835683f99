//! Cloth moved as built.

use super::leg::{Ball, Leg, Point, ahead};
use crate::rig::Rig;
use std::collections::BTreeMap;

/// The front of the thigh goes in by this share of the thigh's length.
pub(super) fn sink(rig: &mut Rig, leg: &Leg, depth: f64) {
    let ball = ahead(leg.ball(0.5, 0.30), leg, 0.24);
    push(rig, -depth * leg.thigh_length(), |point| ball.at(point));
}

/// The seat of one side goes in.
pub(super) fn draw_in(rig: &mut Rig, leg: &Leg, depth: f64) {
    let ball = Ball {
        radius: 0.38 * leg.thigh_length(),
        ..ahead(leg.ball(0.05, 0.0), leg, -0.26)
    };
    push(rig, -depth * leg.thigh_length(), |point| ball.at(point));
}

/// All cloth goes in.
pub(super) fn tighten(rig: &mut Rig, leg: &Leg, depth: f64) {
    push(rig, -depth * leg.thigh_length(), |_| 1.0);
}

/// Above the knee cloth is pulled up along the leg and bunched below the seat: its outline hardly changes, its print does.
pub(super) fn pull(rig: &mut Rig, leg: &Leg, much: f64) {
    let along = (leg.hip - leg.knee).normalize();
    let ball = leg.ball(0.62, 0.55);
    for position in &mut rig.meshes[0].positions {
        let point = Point::from(position.map(f64::from));
        if leg.outward(&point) <= 0.0 {
            continue;
        }
        let moved = point + along * (much * 0.5 * ball.radius * ball.at(&point));
        *position = [moved.x as f32, moved.y as f32, moved.z as f32];
    }
}

fn push(rig: &mut Rig, by: f64, share: impl Fn(&Point) -> f64) {
    let normals = welded_normals(rig);
    for (position, normal) in rig.meshes[0].positions.iter_mut().zip(normals) {
        let point = Point::from(position.map(f64::from));
        let moved = point + normal * (by * share(&point));
        *position = [moved.x as f32, moved.y as f32, moved.z as f32];
    }
}

/// Vertices of the first mesh at the same place, in order of their first.
pub(super) fn welded(rig: &Rig) -> Vec<Vec<usize>> {
    let mut place: BTreeMap<[u32; 3], usize> = BTreeMap::new();
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for (vertex, position) in rig.meshes[0].positions.iter().enumerate() {
        let group = *place.entry(position.map(f32::to_bits)).or_insert_with(|| {
            groups.push(Vec::new());
            groups.len() - 1
        });
        groups[group].push(vertex);
    }
    groups
}

/// Area-weighted normals of the first mesh, the same on both sides of a seam.
fn welded_normals(rig: &Rig) -> Vec<Point> {
    let mesh = &rig.meshes[0];
    let mut normals = vec![Point::zeros(); mesh.positions.len()];
    for triangle in &mesh.triangles {
        let [a, b, c] = triangle.map(|vertex| Point::from(mesh.positions[vertex as usize].map(f64::from)));
        let area = (b - a).cross(&(c - a));
        triangle
            .iter()
            .for_each(|vertex| normals[*vertex as usize] += area);
    }
    for group in welded(rig) {
        let sum: Point = group.iter().map(|vertex| normals[*vertex]).sum();
        let normal = sum.try_normalize(1e-12).unwrap_or_else(Point::zeros);
        group.iter().for_each(|vertex| normals[*vertex] = normal);
    }
    normals
}
