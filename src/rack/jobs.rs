//! A rack as single fittings: one garment on one body, in a stable order.

use super::file::BODY_MARK;
use super::{Day, Excused, Rack, Wearer, Worn};
use crate::measure::FabricClass;
use crate::rig::gltf::ReadOptions;
use crate::rig::sized::Size;
use crate::verdict::judge::Excuse;
use crate::wardrobe::{Inner, Outfit};
use std::path::{Path, PathBuf};

/// One garment on one body.
#[derive(Clone, Debug)]
pub struct Job {
    /// The body's name.
    pub body: String,
    /// The garment's name.
    pub garment: String,
    /// The names of those it is worn over.
    pub over: Vec<String>,
    /// What to dress.
    pub outfit: Outfit,
    /// How much the cloth gives.
    pub fabric: FabricClass,
    /// Places that may be over their limit.
    pub excuses: Vec<Excuse>,
}

/// Where the paths of a fitting file lead from.
#[derive(Clone, Copy, Debug)]
pub struct Place<'a> {
    /// The folder of the fitting file.
    pub folder: &'a Path,
    /// Files may lie elsewhere too.
    pub allow_outside: bool,
}

impl Place<'_> {
    /// A path as the fitting file has it, from where the program runs.
    pub fn path(&self, written: &str) -> PathBuf {
        if self.folder.as_os_str().is_empty() {
            PathBuf::from(written)
        } else {
            self.folder.join(written)
        }
    }

    /// A file that is a link out of the folder, in a sentence. A file that is not there is found missing when it is read.
    pub fn leads_out(&self, file: &Path) -> Option<String> {
        if self.allow_outside {
            return None;
        }
        let folder = if self.folder.as_os_str().is_empty() {
            Path::new(".")
        } else {
            self.folder
        };
        let (real, home) = (file.canonicalize().ok()?, folder.canonicalize().ok()?);
        (!real.starts_with(home)).then(|| {
            format!(
                "{}: this is a link that leads out of the folder of the fitting file; allow it with --allow-outside-files",
                file.display()
            )
        })
    }
}

impl Job {
    /// Every file of it.
    pub fn files(&self) -> impl Iterator<Item = &Path> {
        let outfit = &self.outfit;
        let one = outfit.body.iter().chain([&outfit.garment]).chain(&outfit.over);
        one.chain(&outfit.hidden_picture).map(PathBuf::as_path)
    }
}

impl Rack {
    /// The fittings: body by body, of each body size by size, and of each size garment by garment, as the file has them. `today` decides which
    /// excuses hold.
    pub fn jobs(&self, place: Place, options: &ReadOptions, today: Day) -> Vec<Job> {
        let mut jobs = Vec::new();
        for body in &self.bodies {
            for size in body.worn() {
                let wears = |garment: &&Worn| {
                    (garment.bodies.is_empty() || garment.bodies.contains(&body.name))
                        && (garment.sizes.is_empty()
                            || size.name.is_empty()
                            || garment.sizes.contains(&size.name))
                };
                let worn = self.garments.iter().filter(wears);
                jobs.extend(worn.map(|garment| self.job(body, &size, garment, place, options, today)));
            }
        }
        jobs
    }

    fn job(
        &self,
        body: &Wearer,
        size: &Size,
        garment: &Worn,
        place: Place,
        options: &ReadOptions,
        today: Day,
    ) -> Job {
        let file = |garment: &Worn| place.path(&garment.file.replace(BODY_MARK, &body.name));
        let inner = || {
            garment
                .over
                .iter()
                .filter_map(|name| self.garments.iter().find(|one| one.name == *name))
        };
        Job {
            body: body.in_size(size),
            garment: garment.name.clone(),
            over: garment.over.clone(),
            outfit: Outfit {
                body: Some(place.path(&body.file)),
                body_name: Some(body.in_size(size)),
                body_meshes: body.meshes.clone(),
                garment: file(garment),
                garment_name: Some(garment.name.clone()),
                garment_meshes: garment.meshes.clone(),
                over: inner().map(file).collect(),
                over_as: inner()
                    .map(|one| Inner {
                        name: one.name.clone(),
                        meshes: one.meshes.clone(),
                        fix: one.fix,
                    })
                    .collect(),
                roles: body.roles.clone(),
                body_fix: body.fix,
                garment_fix: garment.fix,
                hidden_meshes: body.hidden.clone(),
                hidden_picture: body.hidden_picture.as_deref().map(|file| place.path(file)),
                morphs: Vec::new(),
                size: (!size.name.is_empty()).then(|| (size.clone(), 1.0)),
                options: options.clone(),
            },
            fabric: garment.fabric,
            excuses: self.excuses_of(body, garment, today),
        }
    }

    fn excuses_of(&self, body: &Wearer, garment: &Worn, today: Day) -> Vec<Excuse> {
        let meant = |one: &&Excused| {
            (one.body.is_empty() || one.body == body.name)
                && (one.garment.is_empty() || one.garment == garment.name)
        };
        let excuse = |one: &Excused| Excuse {
            measure: one.measure.clone(),
            pose: one.pose.clone(),
            region: one.region.clone(),
            reason: one.reason.clone(),
            until: one.until.map_or_else(String::new, |day| day.to_string()),
            expired: one.until.is_some_and(|day| day < today),
        };
        self.excuses.iter().filter(meant).map(excuse).collect()
    }
}
