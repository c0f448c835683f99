//! The only place where metres become millimetres and radians become degrees.

/// What a number is, hence how it is written at the edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Metres inside, millimetres outside.
    Length,
    /// Square metres inside, square centimetres outside.
    Area,
    /// Radians inside, degrees outside.
    Angle,
    /// No unit: a ratio or a share.
    Ratio,
}

impl Unit {
    /// A value as it is kept inside, as it is written outside.
    pub fn to_edge(self, value: f64) -> f64 {
        match self {
            Self::Length => value * 1e3,
            Self::Area => value * 1e4,
            Self::Angle => value.to_degrees(),
            Self::Ratio => value,
        }
    }

    /// The ending of every name that carries this unit; empty for ratios.
    pub fn suffix(self) -> &'static str {
        match self {
            Self::Length => "_mm",
            Self::Area => "_cm2",
            Self::Angle => "_deg",
            Self::Ratio => "",
        }
    }

    /// The sign a reader sees on an axis or behind a number.
    pub fn symbol(self) -> &'static str {
        match self {
            Self::Length => "mm",
            Self::Area => "cm²",
            Self::Angle => "°",
            Self::Ratio => "",
        }
    }
}
