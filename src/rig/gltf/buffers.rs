//! The bytes behind the buffers that accessors use. Buffers that only hold pictures are never opened.

use std::borrow::Cow;
use std::cell::Cell;

use gltf::json::Root;

use super::accessor::Source;
use super::container::Parts;
use super::error::Fault;
use super::limits::Caps;
use super::uri;

/// Answers a URI that is not a data URI. The second argument is the JSON pointer for errors, the third how many bytes
/// are needed; more may be left out.
pub type Fetch<'a> = dyn Fn(&str, &str, u64) -> Result<Vec<u8>, Fault> + 'a;

/// Loads what the accessors need; the JSON has passed [`super::sanity`].
pub(super) fn load<'a>(
    root: &'a Root,
    parts: &Parts<'a>,
    fetch: &Fetch,
    caps: &'a Caps,
) -> Result<Source<'a>, Fault> {
    let mut needed = vec![false; root.buffers.len()];
    for accessor in &root.accessors {
        let sparse = accessor.sparse.as_ref();
        let views = [
            accessor.buffer_view,
            sparse.map(|sparse| sparse.indices.buffer_view),
            sparse.map(|sparse| sparse.values.buffer_view),
        ];
        for view in views.into_iter().flatten() {
            needed[root.buffer_views[view.value()].buffer.value()] = true;
        }
    }
    let mut source = Source {
        root,
        buffers: Vec::new(),
        caps,
        spent: Cell::new(0),
    };
    for (index, needed) in needed.into_iter().enumerate() {
        let bytes = if needed {
            Some(bytes(&source, index, parts, fetch)?)
        } else {
            None
        };
        source.buffers.push(bytes);
    }
    Ok(source)
}

fn bytes<'a>(
    source: &Source<'a>,
    index: usize,
    parts: &Parts<'a>,
    fetch: &Fetch,
) -> Result<Cow<'a, [u8]>, Fault> {
    let buffer = &source.root.buffers[index];
    let place = format!("/buffers/{index}");
    let bytes = match (&buffer.uri, parts.bin) {
        (Some(uri), _) => {
            let place = format!("{place}/uri");
            // Before anything is read: many buffers may name one long file.
            source.spend(buffer.byte_length.0.max(uri::data_length(uri)), &place)?;
            let fetch = || fetch(uri, &place, buffer.byte_length.0);
            Cow::Owned(uri::data(uri, &place).unwrap_or_else(fetch)?)
        }
        (None, Some(bin)) if index == 0 => Cow::Borrowed(bin),
        (None, _) => return Err(without_data(buffer, place)),
    };
    let (found, stated) = (bytes.len() as u64, buffer.byte_length.0);
    if found < stated {
        return Err(Fault::broken(
            place,
            format!("the buffer should have {stated} bytes but only {found} are there"),
        ));
    }
    Ok(bytes)
}

/// A buffer with no bytes anywhere is either a mistake or the stand-in for compressed data.
fn without_data(buffer: &gltf::json::Buffer, place: String) -> Fault {
    let extensions = buffer.extensions.as_ref().map(|extensions| &extensions.others);
    match extensions.and_then(|extensions| {
        extensions
            .keys()
            .find(|name| name.ends_with("_meshopt_compression"))
    }) {
        Some(name) => Fault::Compressed {
            place,
            name: name.clone(),
        },
        None => Fault::broken(
            place,
            "this buffer has no data: neither a file name nor a binary chunk",
        ),
    }
}
