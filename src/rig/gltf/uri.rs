//! Which bytes a buffer's URI stands for, without ever leaving the model's folder.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use base64::Engine;
use base64::engine::{DecodePaddingMode, GeneralPurpose, GeneralPurposeConfig};

use super::error::{Fault, quoted};
use super::limits::Cap;

/// An upper bound of the bytes a data URI stands for; 0 where it is none.
pub(super) fn data_length(uri: &str) -> u64 {
    match uri.get(..5) {
        Some(scheme) if scheme.eq_ignore_ascii_case("data:") => uri.len() as u64,
        _ => 0,
    }
}

/// Bytes of a data URI; `None` where the URI is not one.
pub(super) fn data(uri: &str, place: &str) -> Option<Result<Vec<u8>, Fault>> {
    let scheme = uri.get(..5)?;
    if !scheme.eq_ignore_ascii_case("data:") {
        return None;
    }
    let Some((kind, content)) = uri[5..].split_once(',') else {
        return Some(Err(Fault::broken(
            place,
            "the embedded data has no comma before its content",
        )));
    };
    if !kind.to_ascii_lowercase().ends_with(";base64") {
        return Some(
            percent_decode(content)
                .ok_or_else(|| Fault::broken(place, "the embedded data has a wrong percent code")),
        );
    }
    let lenient = GeneralPurposeConfig::new().with_decode_padding_mode(DecodePaddingMode::Indifferent);
    let engine = GeneralPurpose::new(&base64::alphabet::STANDARD, lenient);
    Some(
        engine
            .decode(content)
            .map_err(|error| Fault::broken(place, format!("the embedded data is not base64: {error}"))),
    )
}

/// Replaces `%20` and its like; `None` where a percent sign has no two hexadecimal digits behind it.
fn percent_decode(text: &str) -> Option<Vec<u8>> {
    let digit = |byte: Option<u8>| byte.and_then(|byte| char::from(byte).to_digit(16));
    let mut decoded = Vec::with_capacity(text.len());
    let mut bytes = text.bytes();
    while let Some(byte) = bytes.next() {
        decoded.push(match byte {
            b'%' => (digit(bytes.next())? * 16 + digit(bytes.next())?) as u8,
            byte => byte,
        });
    }
    Some(decoded)
}

/// A URI as a path relative to the model's folder; refuses whatever could point elsewhere, on any system.
pub(super) fn relative_path(uri: &str, allow_outside: bool) -> Result<PathBuf, &'static str> {
    let decoded = percent_decode(uri).ok_or("it has a wrong percent code")?;
    let decoded = String::from_utf8(decoded).map_err(|_| "its percent codes are not UTF-8 text")?;
    if decoded.is_empty() || decoded.contains('\0') {
        return Err("that is no file name");
    }
    if uri.contains("://") || has_scheme(uri) && !(allow_outside && has_drive(uri)) {
        return Err("it is an address or a drive, not a relative path");
    }
    if allow_outside {
        return Ok(PathBuf::from(decoded));
    }
    if has_scheme(&decoded) {
        return Err("it is an address or a drive, not a relative path");
    }
    if decoded.starts_with(['/', '\\']) {
        return Err("it is an absolute path");
    }
    if decoded.split(['/', '\\']).any(|part| part == "..") {
        return Err("it climbs out of the model's folder");
    }
    Ok(PathBuf::from(decoded))
}

/// `https:`, `file:`, and also `C:`.
fn has_scheme(text: &str) -> bool {
    text.split_once(':').is_some_and(|(before, _)| {
        before.starts_with(|c: char| c.is_ascii_alphabetic())
            && before
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || "+-.".contains(c))
    })
}

fn has_drive(text: &str) -> bool {
    text.find(':') == Some(1)
}

/// Where buffers may lie.
pub(super) struct Folder<'a> {
    pub(super) path: &'a Path,
    /// Elsewhere too.
    pub(super) allow_outside: bool,
    /// On the size of each file.
    pub(super) cap: Cap,
}

impl Folder<'_> {
    /// The first bytes of the file a URI names, if it lies in the folder also after all symbolic links are followed.
    pub(super) fn fetch(&self, uri: &str, place: &str, length: u64) -> Result<Vec<u8>, Fault> {
        let outside = |why| Fault::Outside {
            place: place.to_owned(),
            uri: quoted(uri),
            why,
        };
        let unreadable = |error: std::io::Error| Fault::Buffer {
            place: place.to_owned(),
            uri: quoted(uri),
            why: plain(&error),
        };
        let path = relative_path(uri, self.allow_outside).map_err(outside)?;
        let real = self.path.join(path).canonicalize().map_err(unreadable)?;
        if !self.allow_outside && !real.starts_with(self.path.canonicalize().map_err(unreadable)?) {
            return Err(outside("it is a link that leads out of the model's folder"));
        }
        match first_bytes(&real, length, self.cap, place) {
            Ok(bytes) => bytes.map_err(unreadable),
            Err(Fault::NotAFile) => Err(outside("it is a folder, a device or a pipe")),
            Err(fault) => Err(fault),
        }
    }
}

/// The first bytes of a regular file no longer than the limit. Devices and pipes, which may never end, are not opened.
pub(super) fn first_bytes(
    path: &Path,
    length: u64,
    cap: Cap,
    place: &str,
) -> Result<std::io::Result<Vec<u8>>, Fault> {
    let size = match path.metadata() {
        Ok(data) if data.is_file() => data.len(),
        Ok(_) => return Err(Fault::NotAFile),
        Err(error) => return Ok(Err(error)),
    };
    cap.check(size, place)?;
    let mut bytes = Vec::new();
    // No more than the size just seen: a file that grows meanwhile is not followed.
    let read = File::open(path).and_then(|file| file.take(size.min(length)).read_to_end(&mut bytes));
    Ok(read.map(|_| bytes))
}

/// The system's reason in words that do not differ between systems where that is possible.
pub(super) fn plain(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "there is no such file".into(),
        std::io::ErrorKind::PermissionDenied => "reading it is not permitted".into(),
        _ => error.to_string(),
    }
}
