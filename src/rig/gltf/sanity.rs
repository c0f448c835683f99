//! Whether every reference in the JSON leads somewhere and every accessor lies inside its buffer.
//!
//! This runs before anything is decoded. Each refusal names the JSON pointer.

use gltf::json::accessor::Accessor;
use gltf::json::validation::Checked;
use gltf::json::{Root, buffer};

use super::accessor::{component_of, component_size, components, type_of, unresolved};
use super::error::Fault;
use super::limits::Caps;
use super::shape;

/// The one pass over the JSON.
pub(super) fn check(root: &Root, caps: &Caps) -> Result<(), Fault> {
    caps.nodes().check(root.nodes.len() as u64, "/nodes")?;
    for (index, view) in root.buffer_views.iter().enumerate() {
        check_view(root, view, &format!("/bufferViews/{index}"))?;
    }
    for (index, accessor) in root.accessors.iter().enumerate() {
        check_accessor(root, accessor, caps, &format!("/accessors/{index}"))?;
    }
    for (index, skin) in root.skins.iter().enumerate() {
        check_skin(root, skin, caps, &format!("/skins/{index}"))?;
    }
    for (index, mesh) in root.meshes.iter().enumerate() {
        shape::check_mesh(root, mesh, caps, &format!("/meshes/{index}"))?;
    }
    check_nodes(root)?;
    check_animations(root)
}

/// Refuses an index that leads nowhere.
pub(super) fn exists(
    index: usize,
    count: usize,
    what: &str,
    place: impl FnOnce() -> String,
) -> Result<(), Fault> {
    if index < count {
        Ok(())
    } else {
        Err(unresolved(&place(), what, index))
    }
}

fn check_view(root: &Root, view: &buffer::View, place: &str) -> Result<(), Fault> {
    let buffer = view.buffer.value();
    exists(buffer, root.buffers.len(), "buffer", || format!("{place}/buffer"))?;
    let end = view
        .byte_offset
        .map_or(0, |offset| offset.0)
        .checked_add(view.byte_length.0);
    let length = root.buffers[buffer].byte_length.0;
    if end.is_none_or(|end| end > length) {
        let what = format!("this buffer view ends beyond its buffer, which has {length} bytes");
        return Err(Fault::broken(place, what));
    }
    match view.byte_stride {
        Some(buffer::Stride(stride)) if !(4..=252).contains(&stride) || stride % 4 != 0 => {
            let what = format!("the stride of {stride} bytes is not a multiple of 4 between 4 and 252");
            Err(Fault::broken(format!("{place}/byteStride"), what))
        }
        _ => Ok(()),
    }
}

fn check_accessor(root: &Root, accessor: &Accessor, caps: &Caps, place: &str) -> Result<(), Fault> {
    let component = component_of(accessor).ok_or_else(|| {
        Fault::broken(
            format!("{place}/componentType"),
            "this is none of glTF's component types",
        )
    })?;
    let type_ = type_of(accessor)
        .ok_or_else(|| Fault::broken(format!("{place}/type"), "this is none of glTF's accessor types"))?;
    // The widest limit first: whatever an accessor is for, no more elements than this can be asked for.
    caps.elements()
        .check(accessor.count.0, &format!("{place}/count"))?;
    let size = component_size(component);
    let element = (size * components(type_)) as u64;
    if let Some(view) = accessor.buffer_view {
        exists(view.value(), root.buffer_views.len(), "buffer view", || {
            format!("{place}/bufferView")
        })?;
        let stride = root.buffer_views[view.value()]
            .byte_stride
            .map_or(element, |stride| stride.0 as u64);
        if stride < element {
            let what = format!("the stride of {stride} bytes is less than one element of {element} bytes");
            return Err(Fault::broken(place, what));
        }
        let offset = accessor.byte_offset.map_or(0, |offset| offset.0);
        let span = Span {
            view: view.value(),
            offset,
            stride,
            element,
            count: accessor.count.0,
            size: size as u64,
        };
        span.check(root, place)?;
    }
    let Some(sparse) = &accessor.sparse else {
        return Ok(());
    };
    if sparse.count.0 > accessor.count.0 {
        let what = "more elements are replaced than the accessor has";
        return Err(Fault::broken(format!("{place}/sparse/count"), what));
    }
    let Checked::Valid(index) = sparse.indices.component_type else {
        let what = "sparse indices must be unsigned integers";
        return Err(Fault::broken(
            format!("{place}/sparse/indices/componentType"),
            what,
        ));
    };
    let index = component_size(index.0) as u64;
    let (count, indices, values) = (sparse.count.0, &sparse.indices, &sparse.values);
    let (view, offset) = (indices.buffer_view.value(), indices.byte_offset.0);
    let span = Span {
        view,
        offset,
        stride: index,
        element: index,
        count,
        size: index,
    };
    span.check(root, &format!("{place}/sparse/indices"))?;
    let (view, offset) = (values.buffer_view.value(), values.byte_offset.0);
    let span = Span {
        view,
        offset,
        stride: element,
        element,
        count,
        size: size as u64,
    };
    span.check(root, &format!("{place}/sparse/values"))
}

/// Where the elements of an accessor lie in a view; all in bytes but `count`.
struct Span {
    view: usize,
    offset: u64,
    stride: u64,
    element: u64,
    count: u64,
    /// Of one component, which fixes the alignment.
    size: u64,
}

impl Span {
    fn check(&self, root: &Root, place: &str) -> Result<(), Fault> {
        exists(self.view, root.buffer_views.len(), "buffer view", || {
            format!("{place}/bufferView")
        })?;
        let view = &root.buffer_views[self.view];
        let steps = self.count.saturating_sub(1).checked_mul(self.stride);
        let length = if self.count == 0 {
            Some(0)
        } else {
            steps.and_then(|steps| steps.checked_add(self.element))
        };
        let end = length.and_then(|length| length.checked_add(self.offset));
        if end.is_none_or(|end| end > view.byte_length.0) {
            let what = format!(
                "{} elements do not fit into buffer view {}, which has {} bytes",
                self.count, self.view, view.byte_length.0
            );
            return Err(Fault::broken(place, what));
        }
        let start = view
            .byte_offset
            .map_or(0, |offset| offset.0)
            .checked_add(self.offset);
        if start.is_none_or(|start| !start.is_multiple_of(self.size))
            || !self.offset.is_multiple_of(self.size)
        {
            let what = format!("the data does not start at a multiple of {} bytes", self.size);
            return Err(Fault::broken(place, what));
        }
        Ok(())
    }
}

fn check_skin(root: &Root, skin: &gltf::json::Skin, caps: &Caps, place: &str) -> Result<(), Fault> {
    if skin.joints.is_empty() {
        return Err(Fault::broken(
            format!("{place}/joints"),
            "this skin has no joints",
        ));
    }
    caps.joints()
        .check(skin.joints.len() as u64, &format!("{place}/joints"))?;
    for (number, joint) in skin.joints.iter().enumerate() {
        exists(joint.value(), root.nodes.len(), "node", || {
            format!("{place}/joints/{number}")
        })?;
    }
    if let Some(skeleton) = skin.skeleton {
        exists(skeleton.value(), root.nodes.len(), "node", || {
            format!("{place}/skeleton")
        })?;
    }
    match skin.inverse_bind_matrices {
        Some(accessor) => {
            let place = format!("{place}/inverseBindMatrices");
            shape::check(root, accessor.value(), &shape::INVERSE_BINDS, &place)?;
            let (found, needed) = (root.accessors[accessor.value()].count.0, skin.joints.len() as u64);
            if found < needed {
                let what = format!("the skin has {needed} joints but only {found} inverse bind matrices");
                return Err(Fault::broken(place, what));
            }
            Ok(())
        }
        None => Ok(()),
    }
}

fn check_nodes(root: &Root) -> Result<(), Fault> {
    for (index, node) in root.nodes.iter().enumerate() {
        for (number, child) in node.children.iter().flatten().enumerate() {
            exists(child.value(), root.nodes.len(), "node", || {
                format!("/nodes/{index}/children/{number}")
            })?;
        }
        if let Some(mesh) = node.mesh {
            exists(mesh.value(), root.meshes.len(), "mesh", || {
                format!("/nodes/{index}/mesh")
            })?;
        }
        if let Some(skin) = node.skin {
            exists(skin.value(), root.skins.len(), "skin", || {
                format!("/nodes/{index}/skin")
            })?;
        }
    }
    for (index, scene) in root.scenes.iter().enumerate() {
        for (number, node) in scene.nodes.iter().enumerate() {
            exists(node.value(), root.nodes.len(), "node", || {
                format!("/scenes/{index}/nodes/{number}")
            })?;
        }
    }
    Ok(())
}

fn check_animations(root: &Root) -> Result<(), Fault> {
    for (index, animation) in root.animations.iter().enumerate() {
        for (number, sampler) in animation.samplers.iter().enumerate() {
            let place = |end: &str| format!("/animations/{index}/samplers/{number}/{end}");
            exists(sampler.input.value(), root.accessors.len(), "accessor", || {
                place("input")
            })?;
            exists(sampler.output.value(), root.accessors.len(), "accessor", || {
                place("output")
            })?;
            if sampler.interpolation == Checked::Invalid {
                return Err(Fault::broken(
                    place("interpolation"),
                    "this is none of glTF's interpolations",
                ));
            }
        }
        for (number, channel) in animation.channels.iter().enumerate() {
            let place = |end: &str| format!("/animations/{index}/channels/{number}/{end}");
            exists(
                channel.sampler.value(),
                animation.samplers.len(),
                "sampler",
                || place("sampler"),
            )?;
            use gltf::json::animation::Property;
            if matches!(channel.target.path, Checked::Valid(path) if path != Property::MorphTargetWeights) {
                exists(channel.target.node.value(), root.nodes.len(), "node", || {
                    place("target/node")
                })?;
            }
        }
    }
    Ok(())
}
