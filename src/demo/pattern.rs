//! What does a tailor decide before cutting? The kinds of garment and their few numbers.

/// One garment to be made.
#[derive(Clone, Debug, PartialEq)]
pub struct Pattern {
    /// Name of the garment, as shown to people.
    pub name: String,
    /// What it is.
    pub kind: Kind,
    /// Hip splay of the pose it is built in, radians (0 to 12 degrees).
    pub build_splay: f64,
    /// Room between skin and cloth where it fits closest, metres (0.0015 to 0.030).
    pub ease: f64,
    /// Thickness of waistband, hems and lined parts, metres, at most half the ease; a lining nearer than 5 mm counts
    /// as part of its cloth.
    pub thickness: f64,
    /// Whether it has an inner sheet all over, not only at its waistband and hems.
    pub lined: bool,
    /// Distance of the threads of the mesh, metres.
    pub grain: f64,
}

/// Kinds of garment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// To the ankle, close everywhere.
    Leggings,
    /// To the ankle, close at seat and thigh, a little looser below the knee.
    SlimTrousers,
    /// To the ankle, falling straight from the seat.
    WideTrousers,
    /// From the waist to above the knee, falling free from the seat.
    Skirt,
    /// Over the hips, with sleeves to the wrist.
    Tunic,
    /// Short, padded and lined, with sleeves; worn over a tunic.
    Jacket,
}

impl Kind {
    /// Whether it is an upper garment.
    pub(super) fn has_sleeves(self) -> bool {
        matches!(self, Self::Tunic | Self::Jacket)
    }
}

impl Pattern {
    /// A pattern with the ease and thickness usual for its kind, built at 8 degrees.
    pub fn new(name: &str, kind: Kind) -> Self {
        let (ease, thickness) = match kind {
            Kind::Leggings => (0.0025, 0.001),
            Kind::SlimTrousers => (0.007, 0.0015),
            Kind::WideTrousers => (0.006, 0.0015),
            Kind::Skirt => (0.008, 0.0015),
            Kind::Tunic => (0.005, 0.0015),
            Kind::Jacket => (0.0105, 0.0035),
        };
        Self {
            name: name.to_owned(),
            kind,
            build_splay: 8.0_f64.to_radians(),
            ease,
            thickness,
            lined: kind == Kind::Jacket,
            grain: if kind == Kind::Leggings { 0.012 } else { 0.016 },
        }
    }

    /// The same garment built at another hip splay (degrees).
    pub fn built_at(mut self, degrees: f64) -> Self {
        self.build_splay = degrees.to_radians();
        self
    }
}
