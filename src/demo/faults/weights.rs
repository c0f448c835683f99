//! Cloth that follows the wrong joint.

use super::leg::{Ball, Leg, Point, ahead};
use super::shape::welded;
use crate::demo::weights::{Row, packed, trimmed};
use crate::rig::Rig;
use nalgebra::Vector3;

/// Moves `share` of every weight near the ball's middle to one joint.
pub(super) fn shift(rig: &mut Rig, ball: &Ball, joint: usize, share: f64) {
    change_rows(rig, |point, row| give(row, joint, share * ball.at(point)));
}

fn give(row: &mut Row, joint: usize, share: f64) {
    row.iter_mut().for_each(|entry| entry.1 *= 1.0 - share);
    if share > 0.0 {
        add(row, joint, share);
    }
}

pub(super) fn bleed(rig: &mut Rig, leg: &Leg, share: f64) {
    let mut ball = leg.ball(0.42, 0.32);
    ball.middle.x = -ball.middle.x + leg.side * 0.16 * leg.thigh_length();
    change_rows(rig, |point, row| {
        if leg.outward(point) < 0.0 {
            give(row, leg.thigh, share * ball.at(point));
        }
    });
}

pub(super) fn nail(rig: &mut Rig, leg: &Leg, share: f64) {
    let middle = Vector3::new(leg.hip.x, leg.hip.y, leg.hip.z - 0.30 * leg.thigh_length());
    let ball = Ball {
        middle,
        radius: 0.25 * leg.thigh_length(),
    };
    shift(rig, &ball, leg.chest, share);
}

pub(super) fn swap(rig: &mut Rig, leg: &Leg, much: f64) {
    let ball = leg.ball(1.0, 0.60);
    change_rows(rig, |point, row| {
        let share = much * ball.at(point);
        let of = |joint: usize| {
            row.iter()
                .find(|(index, _)| *index == joint)
                .map_or(0.0, |(_, weight)| *weight)
        };
        let exchanged = (of(leg.thigh) - of(leg.shin)) * share;
        if exchanged != 0.0 {
            add(row, leg.thigh, -exchanged);
            add(row, leg.shin, exchanged);
        }
    });
}

/// Changes only the later copy of each vertex that lies twice on the side seam.
pub(super) fn rip(rig: &mut Rig, leg: &Leg, share: f64) {
    let ball = leg.ball(1.0, 0.5);
    let groups = welded(rig);
    let mut later = vec![false; rig.meshes[0].positions.len()];
    for group in groups.iter().filter(|group| group.len() > 1) {
        let point = rig.meshes[0].positions[group[0]];
        later[group[1]] = leg.side * (f64::from(point[0]) - leg.knee.x) > 0.0;
    }
    let mut vertex = 0;
    change_rows(rig, |point, row| {
        if later[vertex] {
            give(row, leg.hips, share * ball.at(point));
        }
        vertex += 1;
    });
}

pub(super) fn climb(rig: &mut Rig, leg: &Leg, share: f64) {
    let band = 0.45 * (leg.knee.y - leg.ankle.y);
    change_rows(rig, |point, row| {
        let low = (1.0 - (point.y - leg.ankle.y - 0.1 * band) / band).clamp(0.0, 1.0);
        if leg.outward(point) > 0.0 && low > 0.0 {
            give(row, leg.thigh, share * low);
        }
    });
}

/// The uppermost hand's breadth follows the thigh, fading out downwards.
pub(super) fn hang(rig: &mut Rig, leg: &Leg, much: f64) {
    let highest = rig.meshes[0]
        .positions
        .iter()
        .map(|position| f64::from(position[1]))
        .fold(f64::MIN, f64::max);
    let band = 0.25 * leg.thigh_length();
    change_rows(rig, |point, row| {
        let high = (1.3 - (highest - point.y) / band).clamp(0.0, 1.0);
        give(row, leg.thigh, much * high);
    });
}

/// Round the knee every row is drawn towards its largest weight alone.
pub(super) fn harden(rig: &mut Rig, leg: &Leg, much: f64) {
    let ball = leg.ball(1.0, 0.75);
    change_rows(rig, |point, row| {
        let largest = row
            .iter()
            .copied()
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
        if let Some((joint, _)) = largest {
            give(row, joint, much * (2.0 * ball.at(point)).min(1.0));
        }
    });
}

/// The rows of one leg as if its knee were lower by a share of the thigh: what the skin holds there is taken from cloth
/// further up.
pub(super) fn lower(rig: &mut Rig, leg: &Leg, share: f64) {
    let ball = leg.ball(1.0, 0.9);
    let drop = share * leg.thigh_length();
    let mesh = &rig.meshes[0];
    let points: Vec<Point> = mesh
        .positions
        .iter()
        .map(|p| Point::from(p.map(f64::from)))
        .collect();
    let rows: Vec<Row> = (0..points.len())
        .map(|vertex| {
            mesh.rows
                .row(vertex)
                .map(|(joint, weight)| (joint, f64::from(weight)))
                .collect()
        })
        .collect();
    change_rows(rig, |point, row| {
        let here = if leg.outward(point) > 0.0 {
            ball.at(point)
        } else {
            0.0
        };
        if here == 0.0 {
            return;
        }
        let wanted = point + Vector3::new(0.0, drop * here, 0.0);
        let away = |vertex: &usize| (points[*vertex] - wanted).norm_squared();
        let nearest = (0..points.len()).min_by(|a, b| away(a).total_cmp(&away(b)).then(a.cmp(b)));
        if let Some(vertex) = nearest {
            row.clone_from(&rows[vertex]);
        }
    });
}

/// All that followed the shin follows the thigh.
pub(super) fn drop_joint(rig: &mut Rig, leg: &Leg) {
    change_rows(rig, |_, row| {
        let of_shin: f64 = row
            .iter()
            .filter(|entry| entry.0 == leg.shin)
            .map(|entry| entry.1)
            .sum();
        if of_shin > 0.0 {
            row.retain(|entry| entry.0 != leg.shin);
            add(row, leg.thigh, of_shin);
        }
    });
    let mesh = &mut rig.meshes[0];
    mesh.binds.remove(leg.shin);
    for bind in &mut mesh.rows.binds {
        if usize::from(*bind) > leg.shin {
            *bind -= 1;
        }
    }
}

/// One triangle at the front of the thigh gets corners of its own that follow the chest.
pub(super) fn loosen(rig: &mut Rig, leg: &Leg) {
    let middle = ahead(leg.ball(0.6, 0.0), leg, 0.2).middle;
    let mesh = &mut rig.meshes[0];
    let away = |triangle: &[u32; 3]| {
        let centre: Point = triangle
            .iter()
            .map(|vertex| Point::from(mesh.positions[*vertex as usize].map(f64::from)))
            .sum::<Point>()
            / 3.0;
        (centre - middle).norm()
    };
    let nearest = (0..mesh.triangles.len()).min_by(|a, b| {
        away(&mesh.triangles[*a])
            .total_cmp(&away(&mesh.triangles[*b]))
            .then(a.cmp(b))
    });
    let Some(triangle) = nearest else { return };
    for corner in 0..3 {
        let vertex = mesh.triangles[triangle][corner] as usize;
        mesh.triangles[triangle][corner] = mesh.positions.len() as u32;
        mesh.positions.push(mesh.positions[vertex]);
        if let Some(uvs) = &mut mesh.uvs {
            uvs.push(uvs[vertex]);
        }
        mesh.rows.binds.push(leg.chest as u16);
        mesh.rows.weights.push(1.0);
        mesh.rows.starts.push(mesh.rows.binds.len() as u32);
    }
}

/// Draws every row to the mean of its neighbours', so many times.
pub(super) fn smooth(rig: &mut Rig, rounds: usize) {
    let groups = welded(rig);
    let mesh = &rig.meshes[0];
    let mut group_of = vec![0; mesh.positions.len()];
    for (index, group) in groups.iter().enumerate() {
        group.iter().for_each(|vertex| group_of[*vertex] = index);
    }
    let mut rings: Vec<Vec<usize>> = vec![Vec::new(); groups.len()];
    for triangle in &mesh.triangles {
        for corner in 0..3 {
            let (a, b) = (
                group_of[triangle[corner] as usize],
                group_of[triangle[(corner + 1) % 3] as usize],
            );
            rings[a].push(b);
            rings[b].push(a);
        }
    }
    let joints = mesh.binds.len();
    let dense = |vertex: usize| {
        let mut dense = vec![0.0; joints];
        mesh.rows
            .row(vertex)
            .for_each(|(joint, weight)| dense[joint] += f64::from(weight));
        dense
    };
    let mut rows: Vec<Vec<f64>> = groups.iter().map(|group| dense(group[0])).collect();
    for _ in 0..rounds {
        let mean = |ring: &Vec<usize>, joint: usize| {
            ring.iter().map(|next| rows[*next][joint]).sum::<f64>() / ring.len().max(1) as f64
        };
        rows = rings
            .iter()
            .map(|ring| (0..joints).map(|joint| mean(ring, joint)).collect())
            .collect();
    }
    let mut vertex = 0;
    change_rows(rig, |_, row| {
        *row = rows[group_of[vertex]].iter().copied().enumerate().collect();
        vertex += 1;
    });
}

fn add(row: &mut Row, joint: usize, weight: f64) {
    match row.iter_mut().find(|(index, _)| *index == joint) {
        Some(entry) => entry.1 += weight,
        None => row.push((joint, weight)),
    }
}

/// Rewrites the weight rows of the first mesh, vertex by vertex; rows are made whole again.
fn change_rows(rig: &mut Rig, mut change: impl FnMut(&Point, &mut Row)) {
    let mesh = &mut rig.meshes[0];
    let rows: Vec<Row> = (0..mesh.positions.len())
        .map(|vertex| {
            let point = Point::from(mesh.positions[vertex].map(f64::from));
            let mut row: Row = mesh
                .rows
                .row(vertex)
                .map(|(joint, weight)| (joint, f64::from(weight)))
                .collect();
            change(&point, &mut row);
            trimmed(row)
        })
        .collect();
    mesh.rows = packed(&rows);
}
