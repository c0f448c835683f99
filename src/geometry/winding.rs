//! Temporary: exact winding number.
use super::triangle;
/// Exact.
#[derive(Clone, Debug)]
pub struct Winding {
    t: Vec<[[f32; 3]; 3]>,
    tri: Vec<[u32; 3]>,
}
impl Winding {
    /// New.
    pub fn new(positions: &[[f32; 3]], triangles: &[[u32; 3]]) -> Self {
        let mut w = Self {
            t: vec![],
            tri: triangles.to_vec(),
        };
        w.refit(positions);
        w
    }
    /// Refit.
    pub fn refit(&mut self, positions: &[[f32; 3]]) {
        self.t = self.tri.iter().map(|t| super::corners(positions, *t)).collect();
    }
    /// At.
    pub fn at(&self, point: [f32; 3]) -> f64 {
        self.t
            .iter()
            .map(|c| triangle::solid_angle(point, *c))
            .sum::<f64>()
            / (4.0 * std::f64::consts::PI)
    }
}
