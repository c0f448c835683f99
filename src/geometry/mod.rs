//! Triangles, trees and distances: pure functions over plain arrays that know nothing of rigs.
//!
//! Positions are metres, triangles are three vertex indices, counter-clockwise seen from outside.

pub mod box_tree; // which triangles are near a point, on a ray, in each other's way
pub mod closest_point; // the point of one triangle nearest to a point
pub mod crossing; // where two triangles cross
pub mod directions; // the directions from which skin is looked at
pub mod pseudo_normal; // the normal that decides the side at a face, an edge, a vertex
pub mod signed; // on which side of a surface a point lies
pub mod stretch; // how far a triangle is drawn out
pub mod topology; // edges, borders, pieces
pub mod triangle; // area, normal, solid angle
pub mod vector; // three numbers
pub mod weld; // which vertices are one
pub mod winding; // how often a surface goes round a point

#[cfg(test)]
mod shapes;

/// Corner positions of one triangle, metres.
pub type Corners = [[f32; 3]; 3];

/// The three corner positions of a triangle.
pub fn corners(positions: &[[f32; 3]], triangle: [u32; 3]) -> Corners {
    triangle.map(|vertex| positions[vertex as usize])
}
