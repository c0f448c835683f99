//! From where a picture is taken. Parallel projection: sizes compare across the picture.

/// An eye far away: which way it is seen from, what is in the middle and how much fits in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    /// Unit vector from the target to the eye.
    pub toward: [f32; 3],
    /// Unit vector that is up in the picture.
    pub up: [f32; 3],
    /// The point in the middle of the picture, metres.
    pub target: [f32; 3],
    /// Half the width and half the height that must fit in, metres.
    pub extent: [f32; 2],
    /// What lies further than this before the target is cut away, metres: a close-up in a fold sees past an arm.
    pub clear: Option<f32>,
}

/// The smallest and the largest corner of a box, metres.
pub type Bounds = [[f32; 3]; 2];

impl Camera {
    /// The whole of `bounds`. Azimuth 0 looks at the front (+Z), 90 at the wearer's left (+X); a positive elevation
    /// looks down.
    pub fn around(bounds: Bounds, azimuth_deg: f32, elevation_deg: f32) -> Self {
        let (azimuth, elevation) = (azimuth_deg.to_radians(), elevation_deg.to_radians());
        let toward = [
            azimuth.sin() * elevation.cos(),
            elevation.sin(),
            azimuth.cos() * elevation.cos(),
        ]
        // Sines may differ in the last bit between systems; the picture must not.
        .map(|c| (c * 1e6).round() / 1e6);
        let target = std::array::from_fn(|axis| (bounds[0][axis] + bounds[1][axis]) / 2.0);
        let mut camera = Self::looking(toward, target, [0.0; 2]);
        camera.extent = camera.half_size(bounds).map(|half| half * 1.04);
        camera
    }

    /// A close-up of `point` from straight out along `normal`, `radius` metres round it.
    pub fn at(point: [f32; 3], normal: [f32; 3], radius: f32) -> Self {
        let mut camera = Self::looking(normal, point, [radius; 2]);
        camera.clear = Some(radius * 2.0);
        camera
    }

    /// Where a point lies: to the right, up and towards the eye from the target, metres.
    pub fn view(&self, point: [f32; 3]) -> [f32; 3] {
        let from_target = std::array::from_fn(|axis| point[axis] - self.target[axis]);
        [
            dot(from_target, self.right()),
            dot(from_target, self.up),
            dot(from_target, self.toward),
        ]
    }

    /// A direction in the picture's axes: right, up, to the eye.
    pub fn turn(&self, direction: [f32; 3]) -> [f32; 3] {
        [
            dot(direction, self.right()),
            dot(direction, self.up),
            dot(direction, self.toward),
        ]
    }

    /// Right and up in the picture, unit vectors.
    pub(super) fn axes(&self) -> [[f32; 3]; 2] {
        [self.right(), self.up]
    }

    fn looking(toward: [f32; 3], target: [f32; 3], extent: [f32; 2]) -> Self {
        let toward = unit(toward).unwrap_or([0.0, 0.0, 1.0]);
        // Straight from above or below the world's up says nothing: the wearer's front is at the bottom then.
        let upright = if toward[1].abs() > 0.95 {
            [0.0, 0.0, -toward[1].signum()]
        } else {
            [0.0, 1.0, 0.0]
        };
        let right = unit(cross(upright, toward)).unwrap_or([1.0, 0.0, 0.0]);
        Self {
            toward,
            up: cross(toward, right),
            target,
            extent,
            clear: None,
        }
    }

    fn right(&self) -> [f32; 3] {
        cross(self.up, self.toward)
    }

    fn half_size(&self, bounds: Bounds) -> [f32; 2] {
        let mut half = [1e-3_f32; 2];
        for corner in 0..8_usize {
            let at = self.view(std::array::from_fn(|axis| bounds[corner >> axis & 1][axis]));
            half = [half[0].max(at[0].abs()), half[1].max(at[1].abs())];
        }
        half
    }
}

/// The box round finite points; a small box round the origin where there are none.
pub fn bounds_of<'a>(points: impl IntoIterator<Item = &'a [f32; 3]>) -> Bounds {
    let mut bounds = [[f32::INFINITY; 3], [f32::NEG_INFINITY; 3]];
    for point in points.into_iter().filter(|p| p.iter().all(|c| c.is_finite())) {
        for axis in 0..3 {
            bounds[0][axis] = bounds[0][axis].min(point[axis]);
            bounds[1][axis] = bounds[1][axis].max(point[axis]);
        }
    }
    if bounds[0][0] > bounds[1][0] {
        [[-0.1; 3], [0.1; 3]]
    } else {
        bounds
    }
}

pub(super) fn dot(a: [f32; 3], b: [f32; 3]) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn cross(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

pub(super) fn sub(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

/// The unit vector of `a`; `None` where it has no direction.
pub(super) fn unit(a: [f32; 3]) -> Option<[f32; 3]> {
    let length = dot(a, a).sqrt();
    (length.is_finite() && length > 0.0).then(|| a.map(|c| c / length))
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOX: Bounds = [[-0.3, 0.0, -0.1], [0.3, 1.8, 0.1]];

    fn near(a: [f32; 3], b: [f32; 3]) -> bool {
        (0..3).all(|c| (a[c] - b[c]).abs() < 1e-5)
    }

    #[test]
    fn from_the_front_the_wearers_left_is_right_in_the_picture() {
        let camera = Camera::around(BOX, 0.0, 0.0);
        assert!(near(camera.view([0.1, 0.9, 0.0]), [0.1, 0.0, 0.0]));
        assert!(near(camera.view([0.0, 1.0, 0.2]), [0.0, 0.1, 0.2]));
        assert!((camera.extent[1] - 0.9 * 1.04).abs() < 1e-4);
    }

    #[test]
    fn ninety_degrees_looks_at_the_wearers_left() {
        let camera = Camera::around(BOX, 90.0, 0.0);
        assert!(near(camera.view([0.2, 0.9, 0.0]), [0.0, 0.0, 0.2]));
        assert!(near(camera.turn([0.0, 0.0, 1.0]), [-1.0, 0.0, 0.0]));
    }

    #[test]
    fn from_above_the_front_is_at_the_bottom() {
        let camera = Camera::at([0.0; 3], [0.0, 1.0, 0.0], 0.1);
        assert!(near(camera.turn([0.0, 0.0, 1.0]), [0.0, -1.0, 0.0]));
        assert!(near(camera.turn([1.0, 0.0, 0.0]), [1.0, 0.0, 0.0]));
    }
}
