//! Which colour a measured value gets.
//!
//! Viridis (S. van der Walt and N. Smith, 2015): even in steps to the eye, also in grey print and with the common
//! colour vision deficiencies. Its bright end is weak on white, so what is over the limit is outlined as well.

/// Every tenth entry of the published viridis table, low to high; between them straight lines in sRGB.
const VIRIDIS: [[u8; 3]; 11] = [
    [0x44, 0x01, 0x54],
    [0x48, 0x24, 0x75],
    [0x41, 0x44, 0x87],
    [0x35, 0x5f, 0x8d],
    [0x2a, 0x78, 0x8e],
    [0x21, 0x91, 0x8c],
    [0x22, 0xa8, 0x84],
    [0x44, 0xbf, 0x70],
    [0x7a, 0xd1, 0x51],
    [0xbd, 0xdf, 0x26],
    [0xfd, 0xe7, 0x25],
];

/// From which value to which the colours run, in the unit of the values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Values up to this show the plain surface: nothing to see here (0 for a depth, 1 for a stretch).
    pub bottom: f32,
    /// Values from here up show the last colour. Above `bottom`.
    pub top: f32,
    /// Where the outline is drawn and the legend has its tick.
    pub limit: Option<f32>,
}

impl Scale {
    /// Where a value lies between bottom and top, 0 to 1; `None` for what is drawn plain.
    pub fn place(&self, value: f32) -> Option<f32> {
        let span = (self.top - self.bottom).max(f32::MIN_POSITIVE);
        (value > self.bottom).then(|| ((value - self.bottom) / span).clamp(0.0, 1.0))
    }

    /// The colour of a value; `None` (also for NaN) where the surface keeps its own.
    pub fn colour(&self, value: f32) -> Option<[f32; 3]> {
        self.place(value).map(viridis)
    }

    /// Whether a value is over the limit. Never without a limit or for NaN.
    pub fn is_over(&self, value: f32) -> bool {
        self.limit.is_some_and(|limit| value > limit)
    }
}

/// The viridis colour at `place` in 0 to 1, sRGB from 0 to 255.
pub fn viridis(place: f32) -> [f32; 3] {
    let along = place.clamp(0.0, 1.0) * (VIRIDIS.len() - 1) as f32;
    let low = (along as usize).min(VIRIDIS.len() - 2);
    let share = along - low as f32;
    std::array::from_fn(|c| {
        f32::from(VIRIDIS[low][c]) * (1.0 - share) + f32::from(VIRIDIS[low + 1][c]) * share
    })
}

/// A colour as HTML and SVG write it.
pub fn hex(colour: [f32; 3]) -> String {
    let [r, g, b] = colour.map(|c| c.round().clamp(0.0, 255.0) as u8);
    format!("#{r:02x}{g:02x}{b:02x}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ends_are_the_published_ones_and_the_rest_rises_in_lightness() {
        assert_eq!(hex(viridis(0.0)), "#440154");
        assert_eq!(hex(viridis(1.0)), "#fde725");
        let luma = |p: f32| {
            let [r, g, b] = viridis(p);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        assert!((1..=100).all(|p| luma(p as f32 / 100.0) > luma((p - 1) as f32 / 100.0)));
    }

    #[test]
    fn what_is_not_measured_or_not_above_the_bottom_is_plain() {
        let scale = Scale {
            bottom: 1.0,
            top: 2.0,
            limit: Some(1.5),
        };
        assert_eq!(scale.colour(f32::NAN), None);
        assert_eq!(scale.colour(1.0), None);
        assert_eq!(scale.place(9.0), Some(1.0));
        assert!(scale.is_over(1.6) && !scale.is_over(1.5) && !scale.is_over(f32::NAN));
    }
}
