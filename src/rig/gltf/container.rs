//! Where in the bytes the JSON text and the binary chunk lie.

use super::error::Fault;

const MAGIC: &[u8; 4] = b"glTF";
const JSON_CHUNK: u32 = 0x4E4F_534A;
const BIN_CHUNK: u32 = 0x004E_4942;
const HEADER: usize = 12;

/// The two parts of a file.
pub(super) struct Parts<'a> {
    pub(super) json: &'a [u8],
    /// The GLB's binary chunk, if there is one.
    pub(super) bin: Option<&'a [u8]>,
    /// Bytes behind the length the header states.
    pub(super) trailing: usize,
}

/// Takes a file apart: GLB by its magic, else JSON text, whatever its name ends with.
pub(super) fn split(bytes: &[u8]) -> Result<Parts<'_>, Fault> {
    if bytes.starts_with(MAGIC) {
        return split_glb(bytes);
    }
    let text = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes);
    match text.iter().find(|byte| !byte.is_ascii_whitespace()) {
        Some(b'{') => Ok(Parts {
            json: text,
            bin: None,
            trailing: 0,
        }),
        _ => Err(Fault::NotGltf {
            seen: looks_like(bytes).to_owned(),
        }),
    }
}

/// Splits a binary glTF (specification, section 4.4).
fn split_glb(bytes: &[u8]) -> Result<Parts<'_>, Fault> {
    let at = |byte: usize, what: String| Fault::Container {
        byte: byte as u64,
        what,
    };
    let (Some(version), Some(length)) = (word(bytes, 4), word(bytes, 8)) else {
        return Err(at(bytes.len(), "the file ends inside its 12-byte header".into()));
    };
    if version != 2 {
        return Err(at(
            4,
            format!("it says GLB version {version}, and only version 2 is read"),
        ));
    }
    let length = length as usize;
    if length < HEADER {
        return Err(at(
            8,
            format!("it says the whole file has {length} bytes, less than its own header"),
        ));
    }
    if length > bytes.len() {
        let what = format!("the file ends here but says it has {length} bytes, so it was cut off");
        return Err(at(bytes.len(), what));
    }
    let mut parts = Parts {
        json: &[],
        bin: None,
        trailing: bytes.len() - length,
    };
    let (mut offset, mut number) = (HEADER, 0);
    while offset < length {
        let (kind, data, next) = chunk(&bytes[..length], offset)?;
        match (number, kind) {
            (0, JSON_CHUNK) => parts.json = data,
            (0, _) => return Err(at(offset + 4, "the first chunk is not JSON".into())),
            (1, BIN_CHUNK) => parts.bin = Some(data),
            _ => {} // the specification: unknown chunks must be ignored
        }
        (offset, number) = (next, number + 1);
    }
    if number == 0 {
        return Err(at(HEADER, "there is no JSON chunk".into()));
    }
    Ok(parts)
}

/// Kind, content and end of the chunk at `offset`.
fn chunk(bytes: &[u8], offset: usize) -> Result<(u32, &[u8], usize), Fault> {
    let at = |byte: usize, what: String| Fault::Container {
        byte: byte as u64,
        what,
    };
    let (Some(length), Some(kind)) = (word(bytes, offset), word(bytes, offset + 4)) else {
        return Err(at(offset, "a chunk ends inside its own header".into()));
    };
    let start = offset + 8;
    let end = start
        .checked_add(length as usize)
        .filter(|&end| end <= bytes.len())
        .ok_or_else(|| {
            let left = bytes.len() - start;
            at(
                offset,
                format!("a chunk says it has {length} bytes, but only {left} are left"),
            )
        })?;
    Ok((kind, &bytes[start..end], end))
}

/// A little-endian word, if it lies inside.
fn word(bytes: &[u8], offset: usize) -> Option<u32> {
    let four = bytes.get(offset..offset.checked_add(4)?)?;
    Some(u32::from_le_bytes([four[0], four[1], four[2], four[3]]))
}

/// What a foreign file probably is.
fn looks_like(bytes: &[u8]) -> &'static str {
    match bytes {
        [] => "it is empty",
        _ if bytes.starts_with(b"version https://git-lfs") => {
            "it is only the pointer that git-lfs leaves in place of a file (run `git lfs pull`)"
        }
        _ if bytes.starts_with(b"Kaydara FBX") => "it looks like FBX",
        _ if bytes.starts_with(b"PK\x03\x04") => "it looks like a ZIP archive",
        _ if bytes
            .iter()
            .take(512)
            .all(|&byte| byte >= b' ' || byte.is_ascii_whitespace()) =>
        {
            "it looks like plain text"
        }
        _ => "it begins like no glTF file does",
    }
}
