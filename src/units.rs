//! The only place where metres become millimetres and radians become degrees, and where a number becomes text.

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

/// Three figures or so, thousands parted: `1,005`, `243`, `8.6`, `0.31`, `0`. Every output writes numbers this way.
pub fn number(value: f64) -> String {
    if !value.is_finite() {
        return "not measurable".into();
    }
    let size = value.abs();
    let places = match size {
        _ if size >= 99.95 => return grouped(value),
        _ if size >= 9.995 => 1,
        _ if size >= 0.005 => 2,
        _ if size >= 0.0005 => 3,
        // Nearly nothing has no sign either.
        _ => return "0".into(),
    };
    let text = format!("{size:.places$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{}{text}", if value < 0.0 { "\u{2212}" } else { "" })
}

/// A whole number with its thousands parted: `1,005`.
pub fn grouped(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut text = String::from(if value < 0.0 { "\u{2212}" } else { "" });
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_a_false_zero() {
        let written = [
            0.0,
            -0.0,
            -0.0004,
            -0.004,
            0.004,
            0.31,
            1.12,
            5.0,
            8.6,
            19.24,
            99.96,
            243.4,
            1005.2,
            -12.5,
            f64::NAN,
        ]
        .map(number);
        let expected = [
            "0",
            "0",
            "0",
            "\u{2212}0.004",
            "0.004",
            "0.31",
            "1.12",
            "5",
            "8.6",
            "19.2",
            "100",
            "243",
            "1,005",
            "\u{2212}12.5",
            "not measurable",
        ];
        assert_eq!(written, expected);
    }
}
