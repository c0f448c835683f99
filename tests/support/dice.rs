//! Valid files with random edits, the same at every run.

/// The generator of Numerical Recipes.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % limit
    }

    /// Edits one to three places; returns how many.
    fn damage(&mut self, bytes: &mut Vec<u8>) -> usize {
        let edits = 1 + self.below(3);
        for _ in 0..edits {
            let at = self.below(bytes.len());
            let end = (at + 1 + self.below(9)).min(bytes.len());
            match self.below(12) {
                0 => drop(bytes.drain(at..end)),
                1 => {
                    let piece = bytes[at..end].to_vec();
                    let to = self.below(bytes.len());
                    bytes.splice(to..to, piece);
                }
                2 => bytes[at] = b"\0\x01\x7f\x80\xff9-\"{}[]:,\n\t*&!|"[self.below(20)],
                3 => bytes[at] ^= 1 << self.below(8),
                4 => bytes[at] = self.below(256) as u8,
                _ => {
                    let digit = bytes[at..].iter().position(u8::is_ascii_digit);
                    let at = digit.map_or(at, |step| at + step);
                    bytes[at] = b'0' + self.below(10) as u8;
                }
            }
            if bytes.is_empty() {
                bytes.push(b'{');
            }
        }
        edits
    }
}

/// What became of the edited files of one door.
#[derive(Debug, Default)]
pub(crate) struct Tally {
    pub(crate) edits: usize,
    read: usize,
    refused: usize,
}

/// Edits the originals in turn until enough places were changed.
pub(crate) fn edit(
    originals: &[Vec<u8>],
    seed: u64,
    most: usize,
    read: impl Fn(&[u8]) -> Result<(), String>,
) -> Tally {
    let (mut dice, mut tally) = (Dice(seed), Tally::default());
    for original in originals.iter().cycle() {
        if tally.edits >= most {
            break;
        }
        let mut bytes = original.clone();
        tally.edits += dice.damage(&mut bytes);
        match read(&bytes) {
            Ok(()) => tally.read += 1,
            Err(said) => {
                tally.refused += 1;
                assert!(
                    !said.contains('\n') && said.len() < 1500,
                    "not one sentence: {said}"
                );
            }
        }
    }
    assert!(
        tally.read * 20 > tally.refused && tally.refused * 20 > tally.read,
        "the edits are too kind or too harsh: {tally:?}"
    );
    tally
}
