//! What can go wrong with a garment? Faults planted into clean rigs, one of each obvious kind.

use super::weights::{Row, packed, trimmed};
use crate::rig::Rig;
use nalgebra::Vector3;
use std::collections::BTreeMap;

type Point = Vector3<f64>;

/// A planted fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The inside of the right thigh follows the left thigh: skin shows through there.
    Bleed,
    /// The front of the left thigh lies under the skin as built: skin shows in every pose.
    Sunk,
    /// A hand's breadth over the left knee holds partly to the pelvis: it stands off when the knee bends.
    Held,
    /// Weights smoothed far too much: folds go slack, fabric stands off and sinks.
    Smoothed,
    /// A patch on the seat is nailed to the chest: torn long when the wearer bends.
    Nailed,
    /// Thigh and shin are swapped round the left knee: faces turn over when it bends.
    Swapped,
    /// One edge of the left side seam has weights of its own: the seam opens.
    Ripped,
    /// The left hem climbs: it holds partly to the thigh.
    Climbing,
    /// The waistband hangs on the left thigh: it goes where the thigh goes.
    Waistband,
    /// One weight row sums to 0.62.
    LightRow,
    /// One weight row is empty.
    EmptyRow,
    /// The left front panel is turned inside out: a hole wherever only outer sides are drawn.
    InsideOut,
    /// The thighs of its skeleton are a tenth longer: bound to another body.
    OtherSkeleton,
}

impl Fault {
    /// All faults, in the order of their definition.
    pub const ALL: [Self; 13] = [
        Self::Bleed,
        Self::Sunk,
        Self::Held,
        Self::Smoothed,
        Self::Nailed,
        Self::Swapped,
        Self::Ripped,
        Self::Climbing,
        Self::Waistband,
        Self::LightRow,
        Self::EmptyRow,
        Self::InsideOut,
        Self::OtherSkeleton,
    ];

    /// Short name for files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Bleed => "bleed",
            Self::Sunk => "sunk",
            Self::Held => "held",
            Self::Smoothed => "smoothed",
            Self::Nailed => "nailed",
            Self::Swapped => "swapped",
            Self::Ripped => "ripped",
            Self::Climbing => "climbing",
            Self::Waistband => "waistband",
            Self::LightRow => "light_row",
            Self::EmptyRow => "empty_row",
            Self::InsideOut => "inside_out",
            Self::OtherSkeleton => "other_skeleton",
        }
    }
}

/// The clean rig with a fault planted. Made for trousers on the demo's skeleton; a rig without the joints that the
/// fault needs comes back unchanged.
pub fn plant(clean: &Rig, fault: Fault) -> Rig {
    let mut rig = clean.clone();
    let Some(leg) = Leg::find(&rig) else { return rig };
    match fault {
        Fault::Bleed => bleed(&mut rig, &leg),
        Fault::Sunk => sink(&mut rig, &leg),
        Fault::Held => shift(&mut rig, &leg.ball(1.0, 0.30), leg.hips, 0.35),
        Fault::Smoothed => smooth(&mut rig),
        Fault::Nailed => nail(&mut rig, &leg),
        Fault::Swapped => swap(&mut rig, &leg),
        Fault::Ripped => rip(&mut rig, &leg),
        Fault::Climbing => climb(&mut rig, &leg),
        Fault::Waistband => hang(&mut rig, &leg),
        Fault::LightRow => scale_row(&mut rig, &leg, 0.62),
        Fault::EmptyRow => scale_row(&mut rig, &leg, 0.0),
        Fault::InsideOut => turn_panel(&mut rig),
        Fault::OtherSkeleton => lengthen(&mut rig),
    }
    rig
}

/// Where the left leg stands at rest, and the binds that move it. The right leg is its mirror image.
struct Leg {
    hip: Point,
    knee: Point,
    ankle: Point,
    hips: usize,
    chest: usize,
    thigh: usize,
    shin: usize,
}

/// A round place: 1 in its middle, 0 at its rim.
struct Ball {
    middle: Point,
    radius: f64,
}

impl Ball {
    fn at(&self, point: &Point) -> f64 {
        let t = (1.0 - (point - self.middle).norm() / self.radius).clamp(0.0, 1.0);
        t * t * (3.0 - 2.0 * t)
    }
}

impl Leg {
    fn find(rig: &Rig) -> Option<Self> {
        let world = rig.rest_world();
        let node = |name: &str| rig.nodes.iter().position(|node| node.name == name);
        let place = |name: &str| node(name).map(|node| world[node].fixed_view::<3, 1>(0, 3).into_owned());
        let bind = |name: &str| {
            rig.meshes
                .first()?
                .binds
                .iter()
                .position(|bind| Some(bind.node) == node(name))
        };
        Some(Self {
            hip: place("leftUpperLeg")?,
            knee: place("leftLowerLeg")?,
            ankle: place("leftFoot")?,
            hips: bind("hips")?,
            chest: bind("chest")?,
            thigh: bind("leftUpperLeg")?,
            shin: bind("leftLowerLeg")?,
        })
    }

    fn thigh_length(&self) -> f64 {
        (self.knee - self.hip).norm()
    }

    /// A place at a share of the thigh (1 is the knee), its radius in thigh lengths.
    fn ball(&self, share: f64, radius: f64) -> Ball {
        Ball {
            middle: self.hip + (self.knee - self.hip) * share,
            radius: radius * self.thigh_length(),
        }
    }
}

/// Moves `share` of every weight near the ball's middle to one joint.
fn shift(rig: &mut Rig, ball: &Ball, joint: usize, share: f64) {
    change_rows(rig, |point, row| give(row, joint, share * ball.at(point)));
}

fn give(row: &mut Row, joint: usize, share: f64) {
    row.iter_mut().for_each(|entry| entry.1 *= 1.0 - share);
    if share > 0.0 {
        add(row, joint, share);
    }
}

fn bleed(rig: &mut Rig, leg: &Leg) {
    let mut ball = leg.ball(0.42, 0.32);
    ball.middle.x = -ball.middle.x + 0.16 * leg.thigh_length();
    change_rows(rig, |point, row| {
        if point.x < 0.0 {
            give(row, leg.thigh, 0.35 * ball.at(point));
        }
    });
}

fn sink(rig: &mut Rig, leg: &Leg) {
    let mut ball = leg.ball(0.5, 0.30);
    ball.middle.z += 0.24 * leg.thigh_length();
    let normals = welded_normals(rig);
    let depth = 0.045 * leg.thigh_length();
    for (position, normal) in rig.meshes[0].positions.iter_mut().zip(normals) {
        let point = Point::from(position.map(f64::from));
        let moved = point - normal * (depth * ball.at(&point));
        *position = [moved.x as f32, moved.y as f32, moved.z as f32];
    }
}

fn nail(rig: &mut Rig, leg: &Leg) {
    let middle = Vector3::new(leg.hip.x, leg.hip.y, leg.hip.z - 0.30 * leg.thigh_length());
    let ball = Ball {
        middle,
        radius: 0.25 * leg.thigh_length(),
    };
    shift(rig, &ball, leg.chest, 0.9);
}

fn swap(rig: &mut Rig, leg: &Leg) {
    let ball = leg.ball(1.0, 0.60);
    change_rows(rig, |point, row| {
        let share = ball.at(point);
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

/// Changes only the later copy of each vertex that lies twice on the left side seam.
fn rip(rig: &mut Rig, leg: &Leg) {
    let ball = leg.ball(1.0, 0.5);
    let groups = welded(rig);
    let mut later = vec![false; rig.meshes[0].positions.len()];
    for group in groups.iter().filter(|group| group.len() > 1) {
        let point = rig.meshes[0].positions[group[0]];
        later[group[1]] = f64::from(point[0]) > leg.knee.x;
    }
    let mut vertex = 0;
    change_rows(rig, |point, row| {
        if later[vertex] {
            give(row, leg.hips, 0.25 * ball.at(point));
        }
        vertex += 1;
    });
}

fn climb(rig: &mut Rig, leg: &Leg) {
    let band = 0.45 * (leg.knee.y - leg.ankle.y);
    change_rows(rig, |point, row| {
        let low = (1.0 - (point.y - leg.ankle.y - 0.1 * band) / band).clamp(0.0, 1.0);
        if point.x > 0.0 && low > 0.0 {
            give(row, leg.thigh, 0.30 * low);
        }
    });
}

/// The uppermost hand's breadth follows the left thigh, fading out downwards.
fn hang(rig: &mut Rig, leg: &Leg) {
    let highest = rig.meshes[0]
        .positions
        .iter()
        .map(|position| f64::from(position[1]))
        .fold(f64::MIN, f64::max);
    let band = 0.25 * leg.thigh_length();
    change_rows(rig, |point, row| {
        let high = (1.3 - (highest - point.y) / band).clamp(0.0, 1.0);
        give(row, leg.thigh, high);
    });
}

fn scale_row(rig: &mut Rig, leg: &Leg, factor: f32) {
    let mesh = &mut rig.meshes[0];
    let away = |position: &[f32; 3]| (Point::from(position.map(f64::from)) - leg.knee).norm();
    let nearest = (0..mesh.positions.len()).min_by(|a, b| {
        away(&mesh.positions[*a])
            .total_cmp(&away(&mesh.positions[*b]))
            .then(a.cmp(b))
    });
    let Some(vertex) = nearest else { return };
    let span = mesh.rows.starts[vertex] as usize..mesh.rows.starts[vertex + 1] as usize;
    if factor > 0.0 {
        mesh.rows.weights[span]
            .iter_mut()
            .for_each(|weight| *weight *= factor);
        return;
    }
    let dropped = span.len() as u32;
    mesh.rows.weights.drain(span.clone());
    mesh.rows.binds.drain(span);
    mesh.rows.starts[vertex + 1..]
        .iter_mut()
        .for_each(|start| *start -= dropped);
}

/// Turns the first panel: triangles up to the first that shares no vertex with those before it.
fn turn_panel(rig: &mut Rig) {
    let mut highest = None;
    for triangle in &mut rig.meshes[0].triangles {
        let lowest = triangle.iter().copied().min();
        if highest.is_some() && lowest > highest {
            break;
        }
        highest = highest.max(triangle.iter().copied().max());
        triangle.swap(1, 2);
    }
}

fn lengthen(rig: &mut Rig) {
    let wanted = ["leftLowerLeg", "rightLowerLeg"];
    for node in rig
        .nodes
        .iter_mut()
        .filter(|node| wanted.contains(&node.name.as_str()))
    {
        if let crate::rig::Local::Parts { translation, .. } = &mut node.local {
            *translation *= 1.1;
        }
    }
    let world = rig.rest_world();
    for bind in &mut rig.meshes[0].binds {
        if let Some(inverse) = world[bind.node].try_inverse() {
            bind.inverse_bind = inverse;
        }
    }
}

/// Rounds of the far too strong smoothing.
const SMOOTHINGS: usize = 60;

fn smooth(rig: &mut Rig) {
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
    for _ in 0..SMOOTHINGS {
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

/// Vertices of the first mesh at the same place, in order of their first.
fn welded(rig: &Rig) -> Vec<Vec<usize>> {
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
