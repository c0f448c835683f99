//! Files that people write by hand (YAML): what stands in them, where each word stands, and what to write instead of a
//! word that cannot stand.

mod error;
mod letters;
mod nearest;
pub(crate) mod tree; // text -> a tree that knows where each word stands
pub(crate) mod values; // the kinds of value, and the sentences for wrong ones

pub use error::{Mistake, WrittenError};
pub use letters::{one_line, shortened};
pub use nearest::nearest;
