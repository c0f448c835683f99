//! Where do a clip's channels put the nodes at a time, and which times are worth testing? (glTF 2.0, 3.11 and appendix C)

use super::PoseError;
use crate::rig::{Channel, Clip, Interpolation, Local, Path, Rig};
use nalgebra::{Matrix4, Quaternion, UnitQuaternion, Vector4};

/// Up to this many distinct keys a clip is tested at its keys, where its maker posed it.
pub const MOST_KEYS: usize = 120;
/// A clip with more keys is tested at this rate.
pub const RATE_HZ: f64 = 30.0;

/// The clip of that name.
///
/// # Errors
/// [`PoseError::Unknown`] with the nearest name, or the list of clips.
pub fn find<'a>(rig: &'a Rig, name: &str) -> Result<&'a Clip, PoseError> {
    let found = rig.clips.iter().find(|clip| clip.name == name);
    found.ok_or_else(|| PoseError::unknown("clip", name, rig.clips.iter().map(|clip| clip.name.as_str())))
}

/// The times (seconds, rising) at which a clip is tested: its own keys where they are at most [`MOST_KEYS`], else
/// [`RATE_HZ`] from the first key to the last; never more than `cap` times, spread evenly with both ends kept.
/// Empty for a clip without keys, or for a `cap` of 0.
pub fn frames(clip: &Clip, cap: usize) -> Vec<f64> {
    let mut keys: Vec<f64> = clip
        .channels
        .iter()
        .flat_map(|channel| channel.times_s.iter().copied().map(f64::from))
        .collect();
    keys.sort_by(f64::total_cmp);
    keys.dedup();
    let (Some(&first), Some(&last)) = (keys.first(), keys.last()) else {
        return Vec::new();
    };
    if keys.len() <= MOST_KEYS {
        return thinned(&keys, cap);
    }
    spread(first, last, cap)
}

/// Evenly from `first` to `last`, at most [`RATE_HZ`] apart by time and `cap` by number.
fn spread(first: f64, last: f64, cap: usize) -> Vec<f64> {
    #[expect(clippy::cast_precision_loss, reason = "a cap is far below 2^52")]
    let spans = ((last - first) * RATE_HZ)
        .round()
        .clamp(1.0, cap.max(2) as f64 - 1.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "whole, 1 to the cap"
    )]
    let count = spans as usize;
    (0..=count)
        .take(cap)
        .map(|step| between(first, last, step, count))
        .collect()
}

#[expect(clippy::cast_precision_loss, reason = "frame numbers are far below 2^52")]
fn between(first: f64, last: f64, step: usize, count: usize) -> f64 {
    // The last time is the key itself, not a sum that nearly reaches it.
    if step == count {
        last
    } else {
        first + (last - first) * (step as f64 / count as f64)
    }
}

fn thinned(keys: &[f64], cap: usize) -> Vec<f64> {
    if keys.len() <= cap {
        return keys.to_vec();
    }
    match cap {
        0 | 1 => keys[..cap].to_vec(),
        _ => (0..cap)
            .map(|index| keys[index * (keys.len() - 1) / (cap - 1)])
            .collect(),
    }
}

/// Local matrices of all nodes at a time. Before the first key and after the last a channel holds; nodes and
/// properties without a channel stay as the file has them, and so does a node given as a matrix, which no clip moves.
pub fn sample(rig: &Rig, clip: &Clip, time_s: f64) -> Vec<Matrix4<f64>> {
    let mut locals: Vec<Local> = rig.nodes.iter().map(|node| node.local.clone()).collect();
    for channel in &clip.channels {
        if let (Some(local), Some(value)) = (locals.get_mut(channel.node), value(channel, time_s)) {
            put(local, channel.path, value);
        }
    }
    locals.iter().map(Local::matrix).collect()
}

fn put(local: &mut Local, path: Path, value: Vector4<f64>) {
    let Local::Parts {
        translation,
        rotation,
        scale,
    } = local
    else {
        return;
    };
    match path {
        Path::Translation => *translation = value.xyz(),
        Path::Scale => *scale = value.xyz(),
        Path::Rotation => {
            // A quaternion of no length turns nothing: the rest stands.
            let found = UnitQuaternion::try_new(Quaternion::from(value), 1e-12);
            *rotation = found.unwrap_or(*rotation);
        }
    }
}

/// The channel's value at a time, as stored (x, y, z, w); `None` for a channel without keys.
fn value(channel: &Channel, time_s: f64) -> Option<Vector4<f64>> {
    let times = &channel.times_s;
    let after = times.partition_point(|&key| f64::from(key) <= time_s);
    let before = after.saturating_sub(1);
    if after == 0 || after == times.len() {
        return key(channel, before);
    }
    let (from, to) = (f64::from(times[before]), f64::from(times[after]));
    let share = (time_s - from) / (to - from);
    let (a, b) = (key(channel, before)?, key(channel, after)?);
    Some(match channel.interpolation {
        Interpolation::Step => a,
        Interpolation::Linear if channel.path == Path::Rotation => slerp(a, b, share),
        Interpolation::Linear => a.lerp(&b, share),
        Interpolation::CubicSpline => {
            let leave = stored(channel, 3 * before + 2)?;
            let arrive = stored(channel, 3 * after)?;
            hermite([a, leave, b, arrive], to - from, share)
        }
    })
}

/// The value at one key, without tangents.
fn key(channel: &Channel, index: usize) -> Option<Vector4<f64>> {
    match channel.interpolation {
        Interpolation::CubicSpline => stored(channel, 3 * index + 1),
        _ => stored(channel, index),
    }
}

fn stored(channel: &Channel, index: usize) -> Option<Vector4<f64>> {
    channel
        .values
        .get(index)
        .map(|value| Vector4::from(value.map(f64::from)))
}

/// Appendix C.4: the shorter arc, so the second end is negated where the two look apart.
fn slerp(a: Vector4<f64>, b: Vector4<f64>, share: f64) -> Vector4<f64> {
    let cosine = a.dot(&b);
    let angle = cosine.abs().min(1.0).acos();
    // Sines of a vanishing angle would divide nothing by nothing; the straight line is the limit.
    if angle < 1e-6 {
        return a.lerp(&(b * cosine.signum()), share);
    }
    let sine = angle.sin();
    a * ((angle * (1.0 - share)).sin() / sine) + b * (cosine.signum() * (angle * share).sin() / sine)
}

/// Appendix C.5: `ends` are value, out-tangent, next value, next in-tangent; tangents are per second.
fn hermite(ends: [Vector4<f64>; 4], span_s: f64, t: f64) -> Vector4<f64> {
    let [value, leave, next, arrive] = ends;
    let (t2, t3) = (t * t, t * t * t);
    value * (2.0 * t3 - 3.0 * t2 + 1.0)
        + leave * (span_s * (t3 - 2.0 * t2 + t))
        + next * (3.0 * t2 - 2.0 * t3)
        + arrive * (span_s * (t3 - t2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rig::Node;
    use nalgebra::Vector3;

    fn node(local: Local) -> Node {
        Node {
            name: String::new(),
            parent: None,
            local,
            file_index: 0,
        }
    }

    fn channel(path: Path, interpolation: Interpolation, times_s: &[f32], values: &[[f32; 4]]) -> Channel {
        Channel {
            node: 0,
            path,
            times_s: times_s.to_vec(),
            interpolation,
            values: values.to_vec(),
        }
    }

    fn matrix(channel: Channel, time_s: f64) -> Matrix4<f64> {
        let rest = Local::Parts {
            translation: Vector3::new(1.0, 2.0, 3.0),
            rotation: UnitQuaternion::identity(),
            scale: Vector3::new(1.0, 1.0, 2.0),
        };
        let rig = Rig {
            nodes: vec![node(rest)],
            ..Rig::default()
        };
        sample(
            &rig,
            &Clip {
                name: "a".into(),
                channels: vec![channel],
            },
            time_s,
        )[0]
    }

    fn x(interpolation: Interpolation, values: &[[f32; 4]], time_s: f64) -> f64 {
        matrix(
            channel(Path::Translation, interpolation, &[1.0, 3.0], values),
            time_s,
        )[(0, 3)]
    }

    fn near(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 1e-6, "{found} is not {wanted}");
    }

    #[test]
    fn linear_is_even_and_both_ends_hold() {
        let values = [[2.0, 0.0, 0.0, 0.0], [6.0, 0.0, 0.0, 0.0]];
        for (time_s, wanted) in [(-5.0, 2.0), (1.0, 2.0), (1.5, 3.0), (3.0, 6.0), (9.0, 6.0)] {
            near(x(Interpolation::Linear, &values, time_s), wanted);
        }
    }

    #[test]
    fn step_holds_the_earlier_key() {
        let values = [[2.0, 0.0, 0.0, 0.0], [6.0, 0.0, 0.0, 0.0]];
        for (time_s, wanted) in [(0.0, 2.0), (2.999, 2.0), (3.0, 6.0)] {
            near(x(Interpolation::Step, &values, time_s), wanted);
        }
    }

    #[test]
    fn a_cubic_spline_uses_the_tangents_per_second() {
        // In-tangent, value, out-tangent; the outermost two must not matter.
        let values = [99.0, 2.0, 1.0, -3.0, 6.0, 99.0].map(|x| [x, 0.0, 0.0, 0.0]);
        // By hand, t = 1/4, two seconds: 2 (0.84375) + 2 (1) (0.140625) + 6 (0.15625) + 2 (-3) (-0.046875).
        near(x(Interpolation::CubicSpline, &values, 1.5), 3.1875);
        // t = 1/2: 2 (0.5) + 2 (1) (0.125) + 6 (0.5) + 2 (-3) (-0.125).
        near(x(Interpolation::CubicSpline, &values, 2.0), 5.0);
        near(x(Interpolation::CubicSpline, &values, 0.0), 2.0);
        near(x(Interpolation::CubicSpline, &values, 3.0), 6.0);
    }

    fn turned(from: [f32; 4], to: [f32; 4], time_s: f64) -> Vector3<f64> {
        let rotation = channel(Path::Rotation, Interpolation::Linear, &[0.0, 1.0], &[from, to]);
        matrix(rotation, time_s).transform_vector(&Vector3::new(0.0, -1.0, 0.0))
    }

    #[test]
    fn rotations_go_evenly_along_the_shorter_arc() {
        // Hip flexion 90 as Rx(-90), then left abduction 9 as Rz(+9).
        let (none, flexed) = (
            [0.0, 0.0, 0.0, 1.0],
            [
                -std::f32::consts::FRAC_1_SQRT_2,
                0.0,
                0.0,
                std::f32::consts::FRAC_1_SQRT_2,
            ],
        );
        let third = 30_f64.to_radians();
        for to in [flexed, flexed.map(|part| -part)] {
            let thigh = turned(none, to, 1.0 / 3.0);
            assert!(
                (thigh - Vector3::new(0.0, -third.cos(), third.sin())).norm() < 1e-5,
                "{thigh}"
            );
            assert!((turned(none, to, 1.0) - Vector3::z()).norm() < 1e-5);
        }
        let splayed = turned(none, [0.0, 0.0, 0.078_459, 0.996_917], 1.0);
        assert!((splayed - Vector3::new(0.156_434, -0.987_688, 0.0)).norm() < 1e-5);
    }

    #[test]
    fn nearly_equal_rotations_blend_without_dividing_by_nothing() {
        let none = [0.0, 0.0, 0.0, 1.0];
        for to in [none, none.map(|part| -part)] {
            assert!((turned(none, to, 0.5) + Vector3::y()).norm() < 1e-12);
        }
    }

    #[test]
    fn a_spline_of_rotations_is_made_a_unit_again() {
        let zero = [0.0; 4];
        let (none, quarter) = (
            [0.0, 0.0, 0.0, 1.0],
            [
                -std::f32::consts::FRAC_1_SQRT_2,
                0.0,
                0.0,
                std::f32::consts::FRAC_1_SQRT_2,
            ],
        );
        let values = [zero, none, zero, zero, quarter, zero];
        let rotation = channel(Path::Rotation, Interpolation::CubicSpline, &[0.0, 1.0], &values);
        // Flat tangents meet half way: the mean of the two, normalised, turns by 45 degrees.
        let thigh = matrix(rotation, 0.5).transform_vector(&Vector3::new(0.0, -1.0, 0.0));
        let half = std::f64::consts::FRAC_1_SQRT_2;
        assert!((thigh - Vector3::new(0.0, -half, half)).norm() < 1e-6, "{thigh}");
    }

    #[test]
    fn what_has_no_channel_stays() {
        let scale = channel(Path::Scale, Interpolation::Step, &[0.0], &[[3.0, 1.0, 2.0, 0.0]]);
        let found = matrix(scale, 0.0);
        assert_eq!((found[(0, 0)], found[(2, 2)], found[(1, 3)]), (3.0, 2.0, 2.0));
        let fixed = Matrix4::new_scaling(4.0);
        let rig = Rig {
            nodes: vec![node(Local::Matrix(fixed))],
            ..Rig::default()
        };
        let moved = channel(Path::Translation, Interpolation::Step, &[0.0], &[[9.0; 4]]);
        let clip = Clip {
            name: "a".into(),
            channels: vec![moved],
        };
        assert_eq!(sample(&rig, &clip, 0.0), [fixed]);
    }

    fn clip(times: &[&[f32]]) -> Clip {
        let channels = times.iter().map(|times| {
            channel(
                Path::Translation,
                Interpolation::Linear,
                times,
                &vec![[0.0; 4]; times.len()],
            )
        });
        Clip {
            name: "a".into(),
            channels: channels.collect(),
        }
    }

    #[test]
    fn few_keys_are_tested_as_they_are_and_many_at_thirty_a_second() {
        assert_eq!(frames(&clip(&[&[0.0, 1.0], &[0.5, 1.0]]), 600), [0.0, 0.5, 1.0]);
        assert_eq!(frames(&clip(&[]), 600), Vec::<f64>::new());
        let dense: Vec<f32> = (0..=400_u16).map(|step| f32::from(step) * 0.01).collect();
        let resampled = frames(&clip(&[&dense]), 600);
        assert_eq!(resampled.len(), 121);
        near(resampled[1], 1.0 / 30.0);
        near(resampled[120], 4.0);
        let capped = frames(&clip(&[&dense]), 50);
        assert_eq!((capped.len(), capped[0]), (50, 0.0));
        near(capped[49], 4.0);
        assert_eq!(frames(&clip(&[&dense]), 1).len(), 1);
        assert_eq!(frames(&clip(&[&dense]), 0).len(), 0);
        assert_eq!(frames(&clip(&[&[0.0, 1.0, 2.0, 3.0, 4.0]]), 3), [0.0, 2.0, 4.0]);
    }

    #[test]
    fn a_clip_is_found_by_name() {
        let rig = Rig {
            clips: vec![Clip {
                name: "Walk".into(),
                channels: vec![],
            }],
            ..Rig::default()
        };
        assert_eq!(find(&rig, "Walk").unwrap().name, "Walk");
        let error = find(&rig, "wallk").unwrap_err();
        assert!(matches!(error, PoseError::Unknown { help, .. } if help == "did you mean `Walk`?"));
    }
}
