//! Numbers to a verdict: limits, judgement, and the reasons in plain words.

pub mod limits;
pub mod judge;
pub mod say;

pub use limits::{Limits, Told};
