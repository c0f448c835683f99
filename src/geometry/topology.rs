//! How do the triangles hang together: edges, borders, pieces?

/// Stands for "no edge": a side of a triangle two corners of which are one vertex.
pub const NONE: u32 = u32::MAX;

/// What hangs together in a mesh, counted over welded vertices. Made once; does not change with the pose.
///
/// Triangles two corners of which are one vertex take no part: they have no edges and belong to the
/// neighbour list of no vertex.
#[derive(Clone, Debug, Default)]
pub struct Topology {
    triangles: Vec<[u32; 3]>,
    corners: Vec<[u32; 3]>,
    /// By triangle; empty where none is.
    left_out: Vec<bool>,
    canonical: Vec<u32>,
    edges: Vec<[u32; 2]>,
    triangle_edges: Vec<[u32; 3]>,
    edge_triangles: Rows,
    vertex_triangles: Rows,
}

/// Lists of different lengths in one array.
#[derive(Clone, Debug, Default)]
struct Rows {
    starts: Vec<u32>,
    items: Vec<u32>,
}

/// One border: vertices in the order in which the surface lies to the left.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Border {
    /// Canonical vertices; the edge `k` runs from vertex `k` to the next, the last one back to the first.
    pub vertices: Vec<u32>,
    /// Edge numbers, in step with `vertices` (one fewer when not closed).
    pub edges: Vec<u32>,
    /// False where the triangles beside it disagree about their outer side, so that it cannot be closed.
    pub closed: bool,
}

impl Rows {
    /// Lists `0..count`, item `k` of which goes to the list `keys[k].0`; the order of the items is kept.
    fn new(count: usize, pairs: &[(u32, u32)]) -> Self {
        let mut starts = vec![0u32; count + 1];
        for (row, _) in pairs {
            starts[*row as usize + 1] += 1;
        }
        for row in 0..count {
            starts[row + 1] += starts[row];
        }
        let mut next = starts.clone();
        let mut items = vec![0; pairs.len()];
        for (row, item) in pairs {
            items[next[*row as usize] as usize] = *item;
            next[*row as usize] += 1;
        }
        Self { starts, items }
    }

    fn row(&self, row: u32) -> &[u32] {
        let row = row as usize;
        &self.items[self.starts[row] as usize..self.starts[row + 1] as usize]
    }
}

impl Topology {
    /// `canonical` names for every vertex the one that stands for it (see [`super::weld`]).
    pub fn new(triangles: &[[u32; 3]], canonical: &[u32]) -> Self {
        let welded: Vec<[u32; 3]> = triangles
            .iter()
            .map(|triangle| triangle.map(|vertex| canonical[vertex as usize]))
            .collect();
        let mut sides: Vec<([u32; 2], u32, usize)> = Vec::with_capacity(welded.len() * 3);
        let mut corners = Vec::with_capacity(welded.len() * 3);
        for (number, triangle) in (0u32..).zip(&welded) {
            if !is_proper(*triangle) {
                continue;
            }
            for side in 0..3 {
                let (a, b) = (triangle[side], triangle[(side + 1) % 3]);
                sides.push(([a.min(b), a.max(b)], number, side));
                corners.push((a, number));
            }
        }
        sides.sort_unstable();
        let mut edges: Vec<[u32; 2]> = Vec::with_capacity(sides.len() / 2);
        let mut triangle_edges = vec![[NONE; 3]; triangles.len()];
        let mut beside = Vec::with_capacity(sides.len());
        for (ends, triangle, side) in sides {
            if edges.last() != Some(&ends) {
                edges.push(ends);
            }
            let edge = index(edges.len() - 1);
            triangle_edges[triangle as usize][side] = edge;
            beside.push((edge, triangle));
        }
        let edge_triangles = Rows::new(edges.len(), &beside);
        let vertex_triangles = Rows::new(canonical.len(), &corners);
        let canonical = canonical.to_vec();
        Self {
            triangles: welded,
            corners: triangles.to_vec(),
            left_out: Vec::new(),
            canonical,
            edges,
            triangle_edges,
            edge_triangles,
            vertex_triangles,
        }
    }

    /// Leaves triangles out of every sum over neighbours: what a faulty weight row throws about must not turn the
    /// normals of the sound triangles beside it.
    #[must_use]
    pub fn leaving_out(mut self, is_out: impl Fn(usize) -> bool) -> Self {
        self.left_out = (0..self.triangles.len()).map(is_out).collect();
        self
    }

    /// Whether a triangle takes part in sums over neighbours.
    pub fn counts(&self, triangle: usize) -> bool {
        !self.left_out.get(triangle).copied().unwrap_or(false)
    }

    /// The triangles with their own corners: where a seam opens, not where its other side went.
    pub fn corners(&self) -> &[[u32; 3]] {
        &self.corners
    }

    /// The triangles with canonical corners.
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// The vertex that stands for each vertex.
    pub fn canonical(&self) -> &[u32] {
        &self.canonical
    }

    /// The edges: two canonical vertices, the lower first; sorted.
    pub fn edges(&self) -> &[[u32; 2]] {
        &self.edges
    }

    /// The edges of each triangle; edge `k` runs from corner `k` to the next. [`NONE`] three times for a
    /// triangle two corners of which are one vertex.
    pub fn triangle_edges(&self) -> &[[u32; 3]] {
        &self.triangle_edges
    }

    /// The triangles at an edge, ascending: one at a border, two inside, more where sheets meet.
    pub fn edge_triangles(&self, edge: u32) -> &[u32] {
        self.edge_triangles.row(edge)
    }

    /// The triangles at a canonical vertex, ascending; empty for one that another stands for.
    pub fn vertex_triangles(&self, vertex: u32) -> &[u32] {
        self.vertex_triangles.row(vertex)
    }

    /// Whether only one triangle lies at the edge.
    pub fn is_border(&self, edge: u32) -> bool {
        self.edge_triangles(edge).len() == 1
    }

    /// The border edges, ascending. None: the surface is closed.
    pub fn border_edges(&self) -> impl Iterator<Item = u32> {
        (0..index(self.edges.len())).filter(|&edge| self.is_border(edge))
    }

    /// Per vertex of the mesh (not only canonical ones) whether it lies on a border.
    pub fn border_vertices(&self) -> Vec<bool> {
        let mut on_border = vec![false; self.canonical.len()];
        for edge in self.border_edges() {
            for vertex in self.edges[edge as usize] {
                on_border[vertex as usize] = true;
            }
        }
        self.canonical
            .iter()
            .map(|&vertex| on_border[vertex as usize])
            .collect()
    }

    /// The borders, in the order of their lowest edge. At a vertex where several borders touch the lowest
    /// unused edge is followed.
    pub fn borders(&self) -> Vec<Border> {
        let directed: Vec<(u32, u32, u32)> = self.border_edges().map(|edge| self.directed(edge)).collect();
        let mut leaving: Vec<(u32, usize)> = directed.iter().map(|d| d.0).zip(0..).collect();
        leaving.sort_unstable();
        let mut used = vec![false; directed.len()];
        let mut borders = Vec::new();
        for first in 0..directed.len() {
            if !used[first] {
                borders.push(follow(first, &directed, &leaving, &mut used));
            }
        }
        borders
    }

    /// A border edge as its triangle runs along it: from, to, edge.
    fn directed(&self, edge: u32) -> (u32, u32, u32) {
        let triangle = self.edge_triangles(edge)[0] as usize;
        let corners = self.triangles[triangle];
        let side = self.triangle_edges[triangle]
            .iter()
            .position(|&e| e == edge)
            .unwrap_or(0);
        (corners[side], corners[(side + 1) % 3], edge)
    }

    /// For each triangle the number of its piece, counted in the order of the lowest triangle. Triangles
    /// hang together through shared vertices. One two corners of which are one vertex belongs to the
    /// piece of its first corner's proper triangles, if there are any, else it is a piece of its own.
    pub fn components(&self) -> Vec<u32> {
        let mut parent: Vec<u32> = (0..index(self.canonical.len())).collect();
        for triangle in &self.triangles {
            let root = find(&mut parent, triangle[0]);
            for &corner in &triangle[1..] {
                let other = find(&mut parent, corner);
                let root = find(&mut parent, root);
                parent[root.max(other) as usize] = root.min(other);
            }
        }
        let mut number = vec![NONE; parent.len()];
        let mut count = 0;
        self.triangles
            .iter()
            .map(|triangle| {
                let root = find(&mut parent, triangle[0]) as usize;
                if number[root] == NONE {
                    number[root] = count;
                    count += 1;
                }
                number[root]
            })
            .collect()
    }

    /// Vertices minus edges plus triangles: 2 for a closed ball, 0 for a ring or a tube, 1 for a disc.
    pub fn euler_characteristic(&self) -> i64 {
        let used = (0..index(self.canonical.len()))
            .filter(|&v| !self.vertex_triangles(v).is_empty())
            .count();
        let proper = self
            .triangles
            .iter()
            .filter(|&&triangle| is_proper(triangle))
            .count();
        signed(used) - signed(self.edges.len()) + signed(proper)
    }
}

fn is_proper([a, b, c]: [u32; 3]) -> bool {
    a != b && b != c && c != a
}

fn follow(first: usize, directed: &[(u32, u32, u32)], leaving: &[(u32, usize)], used: &mut [bool]) -> Border {
    let start = directed[first].0;
    let mut border = Border {
        vertices: Vec::new(),
        edges: Vec::new(),
        closed: true,
    };
    let mut at = first;
    loop {
        used[at] = true;
        let (from, to, edge) = directed[at];
        border.vertices.push(from);
        border.edges.push(edge);
        if to == start {
            return border;
        }
        let begin = leaving.partition_point(|&(vertex, _)| vertex < to);
        let next = leaving[begin..]
            .iter()
            .take_while(|l| l.0 == to)
            .find(|l| !used[l.1]);
        match next {
            Some(&(_, next)) => at = next,
            None => {
                border.vertices.push(to);
                border.closed = false;
                return border;
            }
        }
    }
}

fn find(parent: &mut [u32], mut vertex: u32) -> u32 {
    while parent[vertex as usize] != vertex {
        parent[vertex as usize] = parent[parent[vertex as usize] as usize];
        vertex = parent[vertex as usize];
    }
    vertex
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "vertex numbers are u32, so are counts of the same size"
)]
fn index(value: usize) -> u32 {
    value as u32
}

fn signed(value: usize) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::shapes;
    use crate::geometry::weld::{TOLERANCE, weld};

    fn of((positions, triangles): &shapes::Mesh) -> Topology {
        Topology::new(triangles, &weld(positions, TOLERANCE))
    }

    #[test]
    fn a_cube_is_a_closed_ball() {
        let cube = of(&shapes::cube());
        assert_eq!(cube.edges().len(), 18);
        assert_eq!(cube.euler_characteristic(), 2);
        assert_eq!(cube.border_edges().count(), 0);
        assert!(cube.borders().is_empty());
        assert!((0..18).all(|edge| cube.edge_triangles(edge).len() == 2));
        assert_eq!(cube.components(), [0; 12]);
    }

    #[test]
    fn split_vertices_are_sewn_by_welding() {
        let (positions, triangles) = shapes::cube();
        let split: Vec<[f32; 3]> = triangles
            .iter()
            .flatten()
            .map(|&v| positions[v as usize])
            .collect();
        let loose: Vec<[u32; 3]> = (0..12).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
        let sewn = of(&(split.clone(), loose.clone()));
        assert_eq!(sewn.euler_characteristic(), 2);
        let unsewn = Topology::new(&loose, &(0..36).collect::<Vec<u32>>());
        assert_eq!(unsewn.border_edges().count(), 36);
        assert_eq!(unsewn.components(), (0..12).collect::<Vec<u32>>());
    }

    #[test]
    fn an_open_box_has_one_border_that_runs_with_the_surface_to_its_left() {
        let (positions, mut triangles) = shapes::cube();
        triangles.truncate(10); // the face at +z
        let open = of(&(positions.clone(), triangles));
        assert_eq!(open.euler_characteristic(), 1);
        let borders = open.borders();
        assert_eq!(borders.len(), 1);
        assert!(borders[0].closed);
        assert_eq!(borders[0].edges.len(), 4);
        // Counter-clockwise seen from above would run with the missing face to the left.
        let turn: f32 = (0..4)
            .map(|k| {
                let (p, q) = (borders[0].vertices[k], borders[0].vertices[(k + 1) % 4]);
                let (p, q) = (positions[p as usize], positions[q as usize]);
                p[0] * q[1] - p[1] * q[0]
            })
            .sum();
        assert_eq!(turn, -8.0);
        assert_eq!(open.border_vertices().iter().filter(|on| **on).count(), 4);
    }

    #[test]
    fn pieces_tubes_and_sheets_that_share_an_edge() {
        let (mut positions, mut triangles) = shapes::sphere(2);
        let count = positions.len() as u32;
        let second: Vec<[f32; 3]> = positions.iter().map(|p| [p[0] + 5.0, p[1], p[2]]).collect();
        positions.extend(second);
        triangles.extend(triangles.clone().iter().map(|t| t.map(|v| v + count)));
        let two = of(&(positions, triangles));
        assert_eq!(two.euler_characteristic(), 4);
        assert_eq!(two.components().iter().max(), Some(&1));

        let fan = Topology::new(&[[0, 1, 2], [1, 0, 3], [0, 1, 4]], &[0, 1, 2, 3, 4]);
        assert_eq!(fan.edge_triangles(0), [0, 1, 2]);
        assert_eq!(fan.vertex_triangles(4), [2]);
    }

    #[test]
    fn a_collapsed_triangle_takes_no_part() {
        let folded = Topology::new(&[[0, 1, 2], [1, 1, 3], [2, 1, 3]], &[0, 1, 2, 3]);
        assert_eq!(folded.triangle_edges()[1], [NONE; 3]);
        assert_eq!(folded.euler_characteristic(), 1);
        assert_eq!(folded.components(), [0, 0, 0]);
    }
}
