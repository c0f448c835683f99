//! The numbers an accessor stands for: any component type, normalised, strided, sparse, or all zeros.

use std::borrow::Cow;
use std::cell::Cell;

use gltf::json::accessor::{Accessor, ComponentType, Type};
use gltf::json::validation::Checked;
use gltf::json::{Index, Root, buffer};

use super::error::Fault;
use super::limits::Caps;

/// The parsed text, the buffers it needs, and the memory spent so far. [`super::sanity`] has passed over it.
pub(super) struct Source<'a> {
    pub(super) root: &'a Root,
    /// By buffer index; `None` where no accessor needs the buffer.
    pub(super) buffers: Vec<Option<Cow<'a, [u8]>>>,
    pub(super) caps: &'a Caps,
    pub(super) spent: Cell<u64>,
}

/// Bytes of one component.
pub(super) fn component_size(component: ComponentType) -> usize {
    match component {
        ComponentType::I8 | ComponentType::U8 => 1,
        ComponentType::I16 | ComponentType::U16 => 2,
        ComponentType::U32 | ComponentType::F32 => 4,
    }
}

/// Components of one element.
pub(super) fn components(type_: Type) -> usize {
    match type_ {
        Type::Scalar => 1,
        Type::Vec2 => 2,
        Type::Vec3 => 3,
        Type::Vec4 | Type::Mat2 => 4,
        Type::Mat3 => 9,
        Type::Mat4 => 16,
    }
}

/// The component type, where it is one of glTF's.
pub(super) fn component_of(accessor: &Accessor) -> Option<ComponentType> {
    match accessor.component_type {
        Checked::Valid(component) => Some(component.0),
        Checked::Invalid => None,
    }
}

/// The element type, where it is one of glTF's.
pub(super) fn type_of(accessor: &Accessor) -> Option<Type> {
    match accessor.type_ {
        Checked::Valid(type_) => Some(type_),
        Checked::Invalid => None,
    }
}

impl<'a> Source<'a> {
    /// Counts memory about to be used, and refuses it beyond the limit.
    pub(super) fn spend(&self, bytes: u64, place: &str) -> Result<(), Fault> {
        self.spent.set(self.spent.get().saturating_add(bytes));
        self.caps.decoded_bytes().check(self.spent.get(), place)
    }

    /// Elements of `N` numbers, integers decoded as the accessor says (specification 3.11: divided by the largest
    /// value where normalised).
    pub(super) fn floats<const N: usize>(
        &self,
        accessor: usize,
        place: &str,
    ) -> Result<Vec<[f32; N]>, Fault> {
        let normalized = self.accessor(accessor, place)?.normalized;
        self.elements(accessor, place, |component, bytes| {
            as_float(component, normalized, bytes)
        })
    }

    /// Elements of `N` unsigned integers.
    pub(super) fn integers<const N: usize>(
        &self,
        accessor: usize,
        place: &str,
    ) -> Result<Vec<[u32; N]>, Fault> {
        self.elements(accessor, place, as_integer)
    }

    pub(super) fn accessor(&self, index: usize, place: &str) -> Result<&'a Accessor, Fault> {
        self.root
            .accessors
            .get(index)
            .ok_or_else(|| unresolved(place, "accessor", index))
    }

    /// Number of elements of an accessor that exists.
    pub(super) fn count(&self, index: usize, place: &str) -> Result<u64, Fault> {
        Ok(self.accessor(index, place)?.count.0)
    }

    fn elements<const N: usize, T: Copy + Default>(
        &self,
        index: usize,
        place: &str,
        decode: impl Fn(ComponentType, &[u8]) -> T,
    ) -> Result<Vec<[T; N]>, Fault> {
        let accessor = self.accessor(index, place)?;
        let damaged = || Fault::broken(place, format!("the data of accessor {index} cannot be read"));
        let component = component_of(accessor).ok_or_else(damaged)?;
        if type_of(accessor).map(components) != Some(N) {
            return Err(damaged());
        }
        self.spend(
            accessor.count.0.saturating_mul((N * size_of::<T>()) as u64),
            place,
        )?;
        let mut elements = vec![[T::default(); N]; accessor.count.0 as usize];
        let size = component_size(component);
        let read = |bytes: &[u8], into: &mut [T; N]| {
            for (value, bytes) in into.iter_mut().zip(bytes.chunks_exact(size)) {
                *value = decode(component, bytes);
            }
        };
        if let Some(view) = accessor.buffer_view {
            let (bytes, stride) = self.view(view, place)?;
            let start = accessor.byte_offset.map_or(0, |offset| offset.0 as usize);
            let stride = stride.unwrap_or(N * size);
            for (element, into) in elements.iter_mut().enumerate() {
                let from = start + element * stride; // inside the view, by the sanity pass
                read(bytes.get(from..from + N * size).ok_or_else(damaged)?, into);
            }
        }
        if let Some(sparse) = &accessor.sparse {
            let place = &format!("/accessors/{index}/sparse");
            let (bytes, _) = self.view(sparse.values.buffer_view, place)?;
            let start = sparse.values.byte_offset.0 as usize;
            for (number, element) in self.sparse_indices(index, place)?.into_iter().enumerate() {
                let from = start + number * N * size;
                let into = elements.get_mut(element as usize).ok_or_else(damaged)?;
                read(bytes.get(from..from + N * size).ok_or_else(damaged)?, into);
            }
        }
        Ok(elements)
    }

    /// Which elements a sparse accessor replaces.
    fn sparse_indices(&self, index: usize, place: &str) -> Result<Vec<u32>, Fault> {
        let accessor = self.accessor(index, place)?;
        let damaged = || {
            Fault::broken(
                place,
                format!("the sparse indices of accessor {index} cannot be read"),
            )
        };
        let sparse = accessor.sparse.as_ref().ok_or_else(damaged)?;
        let Checked::Valid(component) = sparse.indices.component_type else {
            return Err(damaged());
        };
        let (bytes, _) = self.view(sparse.indices.buffer_view, place)?;
        let size = component_size(component.0);
        let start = sparse.indices.byte_offset.0 as usize;
        let span = bytes
            .get(start..start + sparse.count.0 as usize * size)
            .ok_or_else(damaged)?;
        self.spend(sparse.count.0 * 4, place)?;
        let indices: Vec<u32> = span
            .chunks_exact(size)
            .map(|bytes| as_integer(component.0, bytes))
            .collect();
        let rising = indices.windows(2).all(|pair| pair[0] < pair[1]);
        if !rising
            || indices
                .last()
                .is_some_and(|&last| u64::from(last) >= accessor.count.0)
        {
            let what = "the sparse indices do not rise strictly, or go beyond the accessor's end";
            return Err(Fault::broken(format!("{place}/indices"), what));
        }
        Ok(indices)
    }

    /// A view's bytes, and its stride where it has one.
    fn view(&self, index: Index<buffer::View>, place: &str) -> Result<(&[u8], Option<usize>), Fault> {
        let damaged = || unresolved(place, "buffer view", index.value());
        let view = self.root.buffer_views.get(index.value()).ok_or_else(damaged)?;
        let bytes = self
            .buffers
            .get(view.buffer.value())
            .and_then(Option::as_deref)
            .ok_or_else(damaged)?;
        let start = view.byte_offset.map_or(0, |offset| offset.0 as usize);
        let bytes = bytes
            .get(start..start + view.byte_length.0 as usize)
            .ok_or_else(damaged)?;
        Ok((bytes, view.byte_stride.map(|stride| stride.0)))
    }
}

/// A reference to something the file does not have.
pub(super) fn unresolved(place: &str, what: &str, index: usize) -> Fault {
    Fault::broken(
        place,
        format!("this refers to {what} {index}, which the file does not have"),
    )
}

fn as_float(component: ComponentType, normalized: bool, bytes: &[u8]) -> f32 {
    let (value, largest) = match (component, bytes) {
        (ComponentType::F32, &[a, b, c, d]) => return f32::from_le_bytes([a, b, c, d]),
        (ComponentType::U8, &[a]) => (f32::from(a), f32::from(u8::MAX)),
        (ComponentType::I8, &[a]) => (f32::from(a as i8), f32::from(i8::MAX)),
        (ComponentType::U16, &[a, b]) => (f32::from(u16::from_le_bytes([a, b])), f32::from(u16::MAX)),
        (ComponentType::I16, &[a, b]) => (f32::from(i16::from_le_bytes([a, b])), f32::from(i16::MAX)),
        _ => return as_integer(component, bytes) as f32, // 32-bit integers are never normalised
    };
    if normalized {
        (value / largest).max(-1.0)
    } else {
        value
    }
}

fn as_integer(component: ComponentType, bytes: &[u8]) -> u32 {
    match (component, bytes) {
        (ComponentType::U8, &[a]) => u32::from(a),
        (ComponentType::U16, &[a, b]) => u32::from(u16::from_le_bytes([a, b])),
        (ComponentType::U32, &[a, b, c, d]) => u32::from_le_bytes([a, b, c, d]),
        _ => 0, // the sanity pass lets nothing else be asked for as an integer
    }
}
