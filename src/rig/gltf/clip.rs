//! How the file's animations move its nodes.

use std::collections::BTreeSet;

use gltf::json::animation::{self, Property};
use gltf::json::validation::Checked;

use super::accessor::Source;
use super::error::Fault;
use super::names;
use super::nodes::Graph;
use super::remarks::Remarks;
use super::shape;
use crate::rig::{Channel, Clip, Interpolation, Local, Path};

/// All animations, in the file's order. Channels of morph weights are left out.
pub(super) fn read(source: &Source, graph: &Graph, remarks: &mut Remarks) -> Result<Vec<Clip>, Fault> {
    let clips = source.root.animations.iter().enumerate();
    clips
        .map(|(index, animation)| clip(source, graph, index, animation, remarks))
        .collect()
}

fn clip(
    source: &Source,
    graph: &Graph,
    index: usize,
    animation: &animation::Animation,
    remarks: &mut Remarks,
) -> Result<Clip, Fault> {
    let mut channels = Vec::new();
    let mut animated = BTreeSet::new();
    for (number, channel) in animation.channels.iter().enumerate() {
        let place = format!("/animations/{index}/channels/{number}");
        let Some(path) = path(channel, &place)? else {
            continue;
        };
        let sampler = Sampler {
            animation: index,
            index: channel.sampler.value(),
            path,
        };
        let node = graph.ours[channel.target.node.value()];
        let Keys {
            times_s,
            values,
            interpolation,
        } = sampler.read(source)?;
        let fault = if matches!(graph.nodes[node].local, Local::Matrix(_)) {
            Some("its node has a matrix, which cannot be animated")
        } else if !animated.insert((node, path as u8)) {
            Some("another channel already animates the same property of the same node")
        } else {
            flaw(&times_s, &values)
        };
        match fault {
            None => channels.push(Channel {
                node,
                path,
                times_s,
                interpolation,
                values,
            }),
            Some(why) => {
                let say = format!("This animation channel is left out: {why}.");
                remarks.add(
                    "channel_skipped",
                    place,
                    say,
                    "Bake the animation and export it again.",
                );
            }
        }
    }
    Ok(Clip {
        name: match &animation.name {
            Some(name) => names::clean(name),
            None => format!("clip {index}"),
        },
        channels,
    })
}

/// What a channel animates; `None` for morph weights.
fn path(channel: &animation::Channel, place: &str) -> Result<Option<Path>, Fault> {
    match channel.target.path {
        Checked::Valid(Property::Translation) => Ok(Some(Path::Translation)),
        Checked::Valid(Property::Rotation) => Ok(Some(Path::Rotation)),
        Checked::Valid(Property::Scale) => Ok(Some(Path::Scale)),
        Checked::Valid(Property::MorphTargetWeights) => Ok(None),
        // Extensions add paths of their own; without an extension it is a mistake.
        Checked::Invalid if channel.target.extensions.is_some() => Ok(None),
        Checked::Invalid => Err(Fault::broken(
            format!("{place}/target/path"),
            "this is nothing glTF can animate",
        )),
    }
}

/// Why keys cannot be played, if so.
fn flaw(times_s: &[f32], values: &[[f32; 4]]) -> Option<&'static str> {
    if times_s.is_empty() {
        Some("it has no keys")
    } else if times_s.iter().any(|time| !time.is_finite()) {
        Some("a key's time is not finite")
    } else if times_s.windows(2).any(|pair| pair[0] >= pair[1]) {
        Some("its key times do not rise strictly")
    } else if values.iter().flatten().any(|value| !value.is_finite()) {
        Some("a key's value is not finite")
    } else {
        None
    }
}

/// What a sampler holds.
struct Keys {
    times_s: Vec<f32>,
    values: Vec<[f32; 4]>,
    interpolation: Interpolation,
}

/// The sampler of a channel.
struct Sampler {
    animation: usize,
    index: usize,
    path: Path,
}

impl Sampler {
    /// Times, values and interpolation, with as many values as the interpolation needs.
    fn read(&self, source: &Source) -> Result<Keys, Fault> {
        let sampler = &source.root.animations[self.animation].samplers[self.index];
        let place = |end: &str| format!("/animations/{}/samplers/{}/{end}", self.animation, self.index);
        let (input, output) = (sampler.input.value(), sampler.output.value());
        shape::check(source.root, input, &shape::TIMES, &place("input"))?;
        let shape = if self.path == Path::Rotation {
            &shape::TURNS
        } else {
            &shape::MOVES
        };
        shape::check(source.root, output, shape, &place("output"))?;
        let keys = source.count(input, &place("input"))?;
        source.caps.keys().check(keys, &place("input"))?;
        let (interpolation, each) = match sampler.interpolation {
            Checked::Valid(animation::Interpolation::CubicSpline) => (Interpolation::CubicSpline, 3),
            Checked::Valid(animation::Interpolation::Step) => (Interpolation::Step, 1),
            _ => (Interpolation::Linear, 1),
        };
        let found = source.count(output, &place("output"))?;
        if found != keys * each {
            let what = format!("{keys} keys need {} values, but there are {found}", keys * each);
            return Err(Fault::broken(place("output"), what));
        }
        source.spend(found * 16, &place("output"))?;
        let times_s = source
            .floats::<1>(input, &place("input"))?
            .into_iter()
            .flatten()
            .collect();
        let values = match self.path {
            Path::Rotation => source.floats::<4>(output, &place("output"))?,
            _ => source
                .floats::<3>(output, &place("output"))?
                .into_iter()
                .map(|[x, y, z]| [x, y, z, 0.0])
                .collect(),
        };
        Ok(Keys {
            times_s,
            values,
            interpolation,
        })
    }
}
