//! In which sizes is a body worn: those that the file names, and the corners of all that they change.

use super::Wearer;
use crate::rig::sized::{JointSize, Size};

/// What the corners are called.
pub(super) const CORNERS: [&str; 2] = ["least", "most"];

impl Wearer {
    /// The sizes in which it is worn, the corners last; one without a name for a body as its file has it. A corner that
    /// is one of the sizes is not tried again.
    pub fn worn(&self) -> Vec<Size> {
        if self.sizes.is_empty() {
            return vec![Size::default()];
        }
        let mut sizes = self.sizes.clone();
        if self.corners {
            for (name, pick) in CORNERS
                .into_iter()
                .zip([f64::min as fn(f64, f64) -> f64, f64::max])
            {
                let corner = corner(&self.sizes, name, pick);
                let same = |size: &Size| {
                    let full = corner_of_one(&self.sizes, size);
                    full.morphs == corner.morphs && full.joints == corner.joints
                };
                if !sizes.iter().any(same) {
                    sizes.push(corner);
                }
            }
        }
        sizes
    }

    /// The body's name with the size's behind it.
    pub fn in_size(&self, size: &Size) -> String {
        match size.name.is_empty() {
            true => self.name.clone(),
            false => format!("{} {}", self.name, size.name),
        }
    }
}

/// Everything that any size changes, each at its least or most over all sizes and the file as it is (a morph target at 0,
/// a joint as it stands).
fn corner(sizes: &[Size], name: &str, pick: fn(f64, f64) -> f64) -> Size {
    let mut corner = unchanged(sizes);
    name.clone_into(&mut corner.name);
    for size in sizes.iter().map(|size| corner_of_one(sizes, size)) {
        for (own, other) in corner.morphs.iter_mut().zip(&size.morphs) {
            own.1 = pick(own.1, other.1);
        }
        for (own, other) in corner.joints.iter_mut().zip(&size.joints) {
            own.scale = std::array::from_fn(|axis| pick(own.scale[axis], other.scale[axis]));
            own.offset_m = std::array::from_fn(|axis| pick(own.offset_m[axis], other.offset_m[axis]));
        }
    }
    corner
}

/// Everything that any size changes, as the file has it; in the order in which it is first named.
fn unchanged(sizes: &[Size]) -> Size {
    let mut all = Size::default();
    for size in sizes {
        for (name, _) in &size.morphs {
            if all.morphs.iter().all(|known| known.0 != *name) {
                all.morphs.push((name.clone(), 0.0));
            }
        }
        for one in &size.joints {
            if all.joints.iter().all(|known| known.joint != one.joint) {
                all.joints.push(JointSize {
                    scale: [1.0; 3],
                    offset_m: [0.0; 3],
                    ..one.clone()
                });
            }
        }
    }
    all
}

/// A size with everything that any size changes, in the same order.
fn corner_of_one(sizes: &[Size], size: &Size) -> Size {
    let mut full = unchanged(sizes);
    for own in &mut full.morphs {
        if let Some(other) = size.morphs.iter().find(|other| other.0 == own.0) {
            own.1 = other.1;
        }
    }
    for own in &mut full.joints {
        if let Some(other) = size.joints.iter().find(|other| other.joint == own.joint) {
            (own.scale, own.offset_m) = (other.scale, other.offset_m);
        }
    }
    full
}

#[cfg(test)]
mod tests {
    use super::*;

    fn size(name: &str, belly: f64, thigh: f64) -> Size {
        Size {
            name: name.into(),
            morphs: vec![("belly".into(), belly)],
            joints: vec![JointSize {
                joint: "thigh".into(),
                scale: [thigh, 1.0, thigh],
                offset_m: [0.0; 3],
                inherit: false,
            }],
        }
    }

    fn names(sizes: &[Size]) -> Vec<&str> {
        sizes.iter().map(|size| size.name.as_str()).collect()
    }

    #[test]
    fn corners_are_all_least_and_all_most() {
        let wearer = Wearer {
            name: "ash".into(),
            sizes: vec![size("S", -0.5, 1.1), size("L", 1.0, 0.9)],
            corners: true,
            ..Wearer::default()
        };
        let worn = wearer.worn();
        assert_eq!(names(&worn), ["S", "L", "least", "most"]);
        assert_eq!(
            (worn[2].morphs[0].1, worn[2].joints[0].scale),
            (-0.5, [0.9, 1.0, 0.9])
        );
        assert_eq!(
            (worn[3].morphs[0].1, worn[3].joints[0].scale),
            (1.0, [1.1, 1.0, 1.1])
        );
        assert_eq!(wearer.in_size(&worn[3]), "ash most");
    }

    #[test]
    fn a_corner_that_is_a_size_is_tried_once_and_the_file_itself_counts() {
        let wearer = Wearer {
            sizes: vec![size("L", 1.0, 1.2)],
            corners: true,
            ..Wearer::default()
        };
        let worn = wearer.worn();
        assert_eq!(names(&worn), ["L", "least"]);
        assert_eq!((worn[1].morphs[0].1, worn[1].joints[0].scale), (0.0, [1.0; 3]));
        assert_eq!(names(&Wearer::default().worn()), [""]);
    }
}
