//! What the reader noticed and left as it is.

use crate::rig::Remark;

/// Remarks of one code kept in full; more are only counted, or a hostile file would fill memory with them.
const KEPT: usize = 20;

/// Remarks in the order they were made.
#[derive(Default)]
pub(super) struct Remarks {
    list: Vec<Remark>,
    /// How many of each code were left out.
    more: std::collections::BTreeMap<&'static str, usize>,
}

impl Remarks {
    pub(super) fn add(&mut self, code: &'static str, place: String, say: impl Into<String>, help: &str) {
        if self.list.iter().filter(|remark| remark.code == code).count() < KEPT {
            self.list.push(Remark {
                code,
                place,
                say: say.into(),
                help: help.to_owned(),
            });
        } else {
            *self.more.entry(code).or_default() += 1;
        }
    }

    /// The list, with the left-out ones counted in the last remark of their code.
    pub(super) fn finish(mut self) -> Vec<Remark> {
        for (code, more) in self.more {
            if let Some(last) = self.list.iter_mut().rfind(|remark| remark.code == code) {
                last.say
                    .push_str(&format!(" The same holds for {more} more places."));
            }
        }
        self.list
    }
}
