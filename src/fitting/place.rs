//! A sample as a place one can look at: vertex, position, a tailor's words, from where it is seen.

use crate::contact::{Body, Moment, region};
use crate::measure::At;
use crate::outcome::Place;
use crate::rig::part::Part;
use nalgebra::Vector3;

/// A sample as a place one can look at.
pub(super) fn place(moment: &Moment, at: At) -> Place {
    if let At::Beneath(number, point) = at {
        return beneath(moment, number, point);
    }
    let (body, layer) = (moment.body, moment.layer);
    let (surface, triangle, position) = match at {
        At::Skin(point) => (
            &body.surface,
            layer.skin.points.triangle[point],
            moment.skin_at(point),
        ),
        // Asked of the layer beneath above.
        At::Beneath(_, point) | At::Fabric(point) => (
            &layer.surface,
            layer.fabric.points.triangle[point],
            moment.fabric_at(point),
        ),
        At::Triangle(triangle) => {
            let corners = layer.surface.triangles[triangle];
            let third = [1.0f32 / 3.0; 3];
            let position = crate::contact::samples::blend(third, corners, &moment.posed.positions);
            (&layer.surface, u32::try_from(triangle).unwrap_or(0), position)
        }
        At::Vertex(vertex) => {
            let canonical = layer.topology.canonical()[vertex];
            let beside = layer.topology.vertex_triangles(canonical).first();
            (
                &layer.surface,
                beside.copied().unwrap_or(0),
                moment.posed.positions[vertex],
            )
        }
    };
    let posed = if matches!(at, At::Skin(_)) {
        &moment.posed_body.positions
    } else {
        &moment.posed.positions
    };
    let vertex = nearest_corner(surface.triangles[triangle as usize], position, posed);
    let skin_triangle = if matches!(at, At::Skin(_)) {
        triangle
    } else {
        layer.homes[triangle as usize]
    };
    let seen = match at {
        At::Skin(point) => Some(Vector3::from(moment.seen_from(point))).filter(|from| from.norm() > 0.5),
        _ => None,
    };
    Place {
        surface: if matches!(at, At::Skin(_)) {
            "body".into()
        } else {
            layer.surface.name.clone()
        },
        vertex: u64::from(surface.sources[vertex as usize].1),
        position_m: position.map(f64::from),
        region: region_of(body, skin_triangle),
        seen_from: seen.map_or_else(String::new, seen_from),
        seen_along: seen.map(|from| from.map(f64::from).into()),
    }
}

/// A place on the cloth of a layer beneath.
fn beneath(moment: &Moment, number: usize, point: usize) -> Place {
    let Some(over) = moment.over_layers().nth(number) else {
        return place(moment, At::Vertex(0));
    };
    let found = place(&over, At::Skin(point));
    Place {
        surface: over.body.surface.name.clone(),
        ..found
    }
}

fn nearest_corner(corners: [u32; 3], position: [f32; 3], posed: &[[f32; 3]]) -> u32 {
    let distance =
        |vertex: u32| (Vector3::from(posed[vertex as usize]) - Vector3::from(position)).norm_squared();
    let [a, b, c] = corners;
    let nearer = |one: u32, other: u32| {
        if distance(other) < distance(one) {
            other
        } else {
            one
        }
    };
    nearer(nearer(a, b), c)
}

/// A tailor's words for a skin triangle; empty for fabric without a home.
pub(super) fn region_of(body: &Body, triangle: u32) -> String {
    let Some(corners) = body.surface.triangles.get(triangle as usize) else {
        return String::new();
    };
    let part: Part = body.parts[triangle as usize];
    let centre = crate::contact::samples::blend([1.0 / 3.0; 3], *corners, &body.surface.positions);
    region::words(body, part, centre)
}

/// `from the front, below`, as the pictures show it: in the world's axes, whatever the pelvis does.
fn seen_from(from: Vector3<f32>) -> String {
    let (x, y, z) = (from.x, from.y, from.z);
    let mut words: Vec<&str> = Vec::new();
    if z.abs() >= x.abs() {
        words.push(if z > 0.0 { "from the front" } else { "from behind" });
    } else {
        words.push(if x > 0.0 {
            "from the wearer's left"
        } else {
            "from the wearer's right"
        });
    }
    if y > 0.5 {
        words.push("above");
    } else if y < -0.5 {
        words.push("below");
    }
    words.join(", ")
}
