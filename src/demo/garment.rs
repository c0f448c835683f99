//! A garment as one piece: cut, hemmed, laid out as a pattern, and bound to the skin beneath.

use super::clear::clear;
use super::mannequin::Mannequin;
use super::panels::{self, Finish, Panels};
use super::pattern::{Kind, Pattern};
use super::skirt;
use super::strip::Strip;
use super::trousers;
use super::tunic;
use super::under::{Spot, Under};
use super::weights::{self, Row};
use crate::rig::{Mesh, Rig};
use nalgebra::{Vector3, Vector4};
use rayon::prelude::*;

type Point = Vector3<f64>;

/// A finished garment.
#[derive(Clone, Debug)]
pub struct Garment {
    rig: Rig,
    /// Metres of cloth along one side of its texture square.
    pub print_side: f64,
}

/// Makes a garment for a mannequin, standing in the pattern's build pose.
pub fn garment(of: &Mannequin, pattern: &Pattern) -> Garment {
    let turn = pattern.build_splay - of.shape.hip_splay;
    let body = of.surface.clone().with_turn(turn);
    let (mut strip, normals) = match pattern.kind {
        Kind::Leggings | Kind::SlimTrousers | Kind::WideTrousers => trousers::cut(of, &body, pattern),
        Kind::Skirt => skirt::cut(of, &body, pattern),
        Kind::Tunic | Kind::Jacket => tunic::cut(of, &body, pattern),
    };
    let posed = posed_skin(of, turn);
    let under = Under::new(&posed, skin_of_left(of, pattern, false));
    clear(
        &mut strip,
        &normals,
        &under,
        &posed,
        pattern.ease.min(LEAST) * KEPT,
    );
    let followed = Under::new(&posed, skin_of_left(of, pattern, true));
    let rows = weights_beneath(of, &strip, &normals, &followed, pattern);
    let turned = (0.030 / pattern.grain).round() as usize;
    // An inner sheet thicker than the room beneath the cloth would be sewn into the skin.
    let thickness = pattern.thickness.min(INNER * pattern.ease);
    let finish = if pattern.lined {
        Finish::lined(strip.rows.len(), thickness)
    } else {
        Finish::hemmed(strip.rows.len(), thickness, turned)
    };
    let panels = panels::lay_out(&strip, &normals, &rows, &finish);
    Garment {
        rig: rig(of, pattern, turn, &panels),
        print_side: panels.side,
    }
}

impl Garment {
    /// The garment as a file would hold it.
    pub fn rig(&self) -> &Rig {
        &self.rig
    }
}

/// Cloth keeps this share of its ease, or of this much where that is less, metres, above the skin as meshed and posed.
const KEPT: f64 = 0.7;
const LEAST: f64 = 0.0025;
/// Inner sheets lie no deeper than this share of the ease, well under what the cloth keeps.
const INNER: f64 = 0.5;

/// Triangles of the left half that the garment can lie on, as bound: built with the legs together, thighs may reach
/// over the middle. `followed`: without the skin that mostly follows the foot, for a hem that reaches the heel hangs
/// from the shin.
fn skin_of_left(of: &Mannequin, pattern: &Pattern, followed: bool) -> Vec<[u32; 3]> {
    let mut bars: Vec<&str> = if pattern.kind.has_sleeves() {
        vec!["Hand", "head"]
    } else {
        vec!["Arm", "Hand"]
    };
    if followed {
        bars.extend(["Foot", "Toes"]);
    }
    let barred = |joint: usize| {
        bars.iter()
            .any(|bar| of.skeleton.joints[joint].name.contains(bar))
    };
    let of_cloth =
        |vertex: &u32| of.skin.points[*vertex as usize].x >= 0.0 && !barred(of.rows[*vertex as usize][0].0);
    let triangles = of.skin.triangles.iter();
    triangles.filter(|t| t.iter().all(of_cloth)).copied().collect()
}

/// Weights of the nearest skin of the left half that faces the same way; where the cloth hangs free of the skin, over
/// an armpit or below the seat of a skirt, they are evened out along and across the cloth.
fn weights_beneath(
    of: &Mannequin,
    strip: &Strip,
    normals: &[Vec<Point>],
    under: &Under,
    pattern: &Pattern,
) -> Vec<Vec<Row>> {
    let joints = of.skeleton.joints.len();
    let twin = of.skeleton.mirror();
    let found = |(row, normals): (&Vec<Point>, &Vec<Point>)| {
        let here = |(point, normal): (&Point, &Point)| under.facing(point, normal);
        row.iter().zip(normals).map(here).collect()
    };
    let beneath: Vec<Vec<(f64, Spot)>> = strip.rows.par_iter().zip(normals).map(found).collect();
    let mut dense: Vec<Vec<Vec<f64>>> = beneath
        .iter()
        .map(|row| row.iter().map(|(_, spot)| dense_row(of, spot, joints)).collect())
        .collect();
    let free = |gap: f64| {
        let t = ((gap - pattern.ease - HANGS) / FREE_OVER).clamp(0.0, 1.0);
        t * t * (3.0 - 2.0 * t)
    };
    // A skirt follows the skin at its waistband and then less and less; other clothes hang free only in places.
    let falls = |row: usize| match pattern.kind {
        Kind::Skirt => (row as f64 / (0.3 * strip.rows.len() as f64)).min(1.0),
        _ => 0.0,
    };
    let shares: Vec<Vec<f64>> = beneath
        .iter()
        .enumerate()
        .map(|(at, row)| row.iter().map(|(gap, _)| free(*gap).max(falls(at))).collect())
        .collect();
    let rounds = match pattern.kind {
        Kind::Skirt | Kind::Tunic | Kind::Jacket => 60,
        _ => 0,
    };
    for _ in 0..rounds {
        dense = smoothed(strip, &dense, &twin, &shares);
    }
    if pattern.kind.has_sleeves() {
        dense = spread(of, strip, &dense);
    }
    close_ends(strip, &mut dense);
    let finish = |(point, row): (&Point, &Vec<f64>)| {
        let on_middle = point.x == 0.0;
        let value = |joint: usize| {
            if on_middle {
                0.5 * (row[joint] + row[twin[joint]])
            } else {
                row[joint]
            }
        };
        weights::trimmed((0..joints).map(|joint| (joint, value(joint))).collect())
    };
    strip
        .rows
        .iter()
        .zip(&dense)
        .map(|(points, rows)| points.iter().zip(rows).map(finish).collect())
        .collect()
}

/// How far weights are evened out at the shoulder, and how far from it that reaches, metres at a stature of 1.75.
const SPREAD: f64 = 0.028;
const SPREAD_REACH: f64 = 0.20;

/// At the shoulder a sleeve spans what the skin folds, and rows of cloth crowd under the arm: weights are evened out
/// there over a distance in space, each point counting by its area.
fn spread(of: &Mannequin, strip: &Strip, rows: &[Vec<Vec<f64>>]) -> Vec<Vec<Vec<f64>>> {
    let size = of.shape.stature / 1.75;
    let shoulder = of.shape.joints().upper_arm;
    let flat: Vec<(Point, f64, &Vec<f64>)> = strip
        .rows
        .iter()
        .enumerate()
        .flat_map(|(row, points)| (0..points.len()).map(move |column| (row, column)))
        .map(|(row, column)| {
            (
                strip.rows[row][column],
                cell(strip, row, column),
                &rows[row][column],
            )
        })
        .collect();
    let even = |point: &Point, own: &Vec<f64>| -> Vec<f64> {
        let share = (2.0 * (1.0 - (point - shoulder).norm() / (SPREAD_REACH * size))).clamp(0.0, 1.0);
        let width = SPREAD * size * share;
        if width <= 1e-3 {
            return own.clone();
        }
        let mut sum = vec![0.0; own.len()];
        let mut all = 0.0;
        for (other, area, row) in &flat {
            let apart = (other - point).norm_squared() / (width * width);
            if apart < 9.0 {
                let share = area * (-0.5 * apart).exp();
                all += share;
                sum.iter_mut()
                    .zip(*row)
                    .for_each(|(sum, value)| *sum += share * value);
            }
        }
        sum.iter().map(|value| value / all.max(1e-12)).collect()
    };
    strip
        .rows
        .par_iter()
        .zip(rows)
        .map(|(points, rows)| {
            points
                .iter()
                .zip(rows)
                .map(|(point, row)| even(point, row))
                .collect()
        })
        .collect()
}

/// Roughly the area of cloth round a point.
fn cell(strip: &Strip, row: usize, column: usize) -> f64 {
    let points = &strip.rows[row];
    let at = points[column];
    let next = points
        .get(column + 1)
        .or(points.get(column.wrapping_sub(1)))
        .unwrap_or(&at);
    let beside = strip
        .rows
        .get(row + 1)
        .or(strip.rows.get(row.wrapping_sub(1)))
        .and_then(|row| row.get(column));
    (next - at).norm() * beside.map_or(0.0, |beside| (beside - at).norm())
}

fn dense_row(of: &Mannequin, spot: &Spot, joints: usize) -> Vec<f64> {
    let mut dense = vec![0.0; joints];
    for (vertex, share) in spot {
        for (joint, weight) in &of.rows[*vertex as usize] {
            dense[*joint] += share * weight;
        }
    }
    dense
}

/// Cloth hangs free where it is this much further from the skin than its ease, metres,
const HANGS: f64 = 0.008;
/// and wholly so when it is this much further still.
const FREE_OVER: f64 = 0.02;

/// Draws each point's row towards the mean of its neighbours' along the threads, halfway where its share is 1.
fn smoothed(
    strip: &Strip,
    rows: &[Vec<Vec<f64>>],
    twin: &[usize],
    shares: &[Vec<f64>],
) -> Vec<Vec<Vec<f64>>> {
    let last = strip.front + strip.back;
    let point = |row: usize, column: usize| {
        let share = 0.5 * shares[row][column];
        if share == 0.0 {
            return rows[row][column].clone();
        }
        let mut ring: Vec<Vec<f64>> = Vec::new();
        if row > 0 {
            ring.push(rows[row - 1][column].clone());
        }
        if row + 1 < rows.len() {
            ring.push(rows[row + 1][column].clone());
        }
        let across = |column: usize, inner: usize| {
            if strip.rows[row][column].x > 0.0 && !strip.round[row] {
                return rows[row][column].clone(); // a free edge
            }
            if strip.round[row] {
                return rows[row][if column == 0 { last - 1 } else { 1 }].clone();
            }
            twin.iter().map(|joint| rows[row][inner][*joint]).collect()
        };
        ring.push(if column > 0 {
            rows[row][column - 1].clone()
        } else {
            across(0, 1)
        });
        ring.push(if column < last {
            rows[row][column + 1].clone()
        } else {
            across(last, last - 1)
        });
        let mean = |joint: usize| ring.iter().map(|row| row[joint]).sum::<f64>() / ring.len() as f64;
        (0..twin.len())
            .map(|joint| (1.0 - share) * rows[row][column][joint] + share * mean(joint))
            .collect()
    };
    (0..rows.len())
        .map(|row| (0..=last).map(|column| point(row, column)).collect())
        .collect()
}

/// Gives both ends of a row the same weights where they are the same point.
fn close_ends(strip: &Strip, rows: &mut [Vec<Vec<f64>>]) {
    let last = strip.front + strip.back;
    for (points, row) in strip.rows.iter().zip(rows) {
        if points[0] == points[last] {
            let shared: Vec<f64> = row[0]
                .iter()
                .zip(&row[last])
                .map(|(a, b)| 0.5 * (a + b))
                .collect();
            row[0].clone_from(&shared);
            row[last] = shared;
        }
    }
}

/// The skin with its legs turned, by linear blend skinning.
fn posed_skin(of: &Mannequin, turn: f64) -> Vec<Point> {
    if turn == 0.0 {
        return of.skin.points.clone();
    }
    let world = of.skeleton.world(turn);
    let joint: Vec<_> = of
        .skeleton
        .binds(0.0)
        .iter()
        .zip(&world)
        .map(|(bind, world)| world * bind.inverse_bind)
        .collect();
    let posed = |(point, row): (&Point, &Row)| {
        let at = Vector4::new(point.x, point.y, point.z, 1.0);
        row.iter()
            .map(|(index, weight)| joint[*index] * at * *weight)
            .sum::<Vector4<f64>>()
            .xyz()
    };
    of.skin.points.iter().zip(&of.rows).map(posed).collect()
}

fn rig(of: &Mannequin, pattern: &Pattern, turn: f64, panels: &Panels) -> Rig {
    let twin = of.skeleton.mirror();
    let rows: Vec<Row> = panels
        .vertices
        .iter()
        .map(|vertex| {
            let joint = |joint: usize| if vertex.mirrored { twin[joint] } else { joint };
            vertex
                .row
                .iter()
                .map(|(index, weight)| (joint(*index), *weight))
                .collect()
        })
        .collect();
    let narrow = |p: &Point| [p.x as f32, p.y as f32, p.z as f32];
    let mesh = Mesh {
        name: pattern.name.clone(),
        material: "cloth".to_owned(),
        place: "/meshes/0/primitives/0".to_owned(),
        binds: of.skeleton.binds(turn),
        skinned: true,
        positions: panels
            .vertices
            .iter()
            .map(|vertex| narrow(&vertex.point))
            .collect(),
        uvs: Some(panels.vertices.iter().map(|vertex| vertex.uv).collect()),
        triangles: panels.triangles.clone(),
        rows: weights::packed(&rows),
        morphs: Vec::new(),
        hidden: Vec::new(),
    };
    Rig {
        name: pattern.name.clone(),
        nodes: of.skeleton.nodes(turn),
        meshes: vec![mesh],
        stated_roles: of.skeleton.roles(),
        ..Rig::default()
    }
}
