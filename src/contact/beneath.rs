//! A garment worn under the one that is tested, in the skin's place: does it show through?

use super::{Body, Layer};

/// The layer beneath as a body, and the garment under test dressed on that.
#[derive(Clone, Debug)]
pub struct Beneath {
    /// The layer beneath: its cloth for skin, parts by its own weights.
    pub body: Body,
    /// The garment under test as it lies over that layer as built.
    pub over: Layer,
}

impl Beneath {
    /// `wearer` gives the anatomy that both share.
    pub fn new(wearer: &Body, inner: &Layer, outer: &Layer) -> Self {
        let body = Body::new(
            inner.surface.clone(),
            inner.skeleton.clone(),
            wearer.anatomy.clone(),
        );
        let over = Layer::new(&body, outer.surface.clone(), outer.skeleton.clone());
        Self { body, over }
    }
}
