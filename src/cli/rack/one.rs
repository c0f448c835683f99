//! One fitting of a rack: run and written, or taken from the report before.

use super::asked::Asked;
use super::{outcome_of, ran};
use crate::cli::try_on::{self, Arguments};
use crate::cli::{Trouble, unchanged};
use gusset::fitting::{self, Dressed, Plan, Sequence};
use gusset::outcome::{Finding, Fitting, Garment, Reason, Severity, Sides, Verdict};
use gusset::pose::clip;
use gusset::rack::Job;
use gusset::report::folder::{self, Extras};
use gusset::report::{Tree, json};
use gusset::scenes::{self, watch::Watch};
use gusset::sweep;
use gusset::timings::{Step, time};
use gusset::wardrobe::{Outfit, Shelf, dress_from};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// The code of the finding that stops a fitting whose files cannot be put on.
const CANNOT_DRESS: &str = "cannot_be_dressed";

/// What all fittings of a run share.
pub(super) struct Shop<'a> {
    arguments: &'a Arguments,
    asked: &'a Asked,
    shelf: Shelf,
    /// The report before, and the one that is written.
    before: Option<&'a Path>,
    tree: Option<&'a Tree>,
    /// Which build of the program this is; `None` where no report can be taken over.
    program: Option<String>,
    /// Fittings that were taken from the report before.
    pub(super) reused: usize,
}

impl<'a> Shop<'a> {
    pub(super) fn new(
        arguments: &'a Arguments,
        asked: &'a Asked,
        before: Option<&'a Path>,
        tree: Option<&'a Tree>,
    ) -> Self {
        // A report to pass on holds nothing but itself.
        let kept = tree.is_some() && !arguments.share;
        Self {
            arguments,
            asked,
            shelf: Shelf::default(),
            before,
            tree,
            program: kept.then(unchanged::program_itself).flatten(),
            reused: 0,
        }
    }

    /// The record of one fitting, and its report in the tree. The record is as its report has it, with six figures, so
    /// that a run and what is taken from earlier runs or other shards give the same bytes.
    pub(super) fn fit(&mut self, at: usize) -> Result<Fitting, Trouble> {
        let (job, part) = (&self.asked.jobs[at], self.asked.parts[at].as_str());
        if let Some(say) = job.files().find_map(|file| self.asked.leads_out(file)) {
            return Ok(self.stopped(job, &say));
        }
        let key = self.key(job);
        if let Some(fitting) = self.taken_over(part, key.as_deref()) {
            self.reused += 1;
            return Ok(fitting);
        }
        let dressed = match dress_from(&mut self.shelf, &job.outfit) {
            Ok(dressed) => dressed,
            Err(error) => return Ok(self.stopped(job, &error.to_string())),
        };
        let plan = match self.plan(job, &dressed) {
            Ok(plan) => plan,
            Err(say) => return Ok(self.stopped(job, &say)),
        };
        let mut fitting = self.measured(&dressed, &plan);
        if let Some((size, _)) = &job.outfit.size {
            let shelf = &mut self.shelf;
            let mut at = |share: f64| {
                let size = job.outfit.size.clone().map(|(size, _)| (size, share));
                let outfit = Outfit {
                    size,
                    ..job.outfit.clone()
                };
                dress_from(shelf, &outfit).ok()
            };
            fitting.0.size = sweep::towards(&size.name, &mut at, &plan, &fitting.0);
        }
        self.write(&dressed, &plan, fitting, part, key)
    }

    /// A hash of all that a fitting depends on; `None` where no report is kept, or a file cannot be read.
    fn key(&self, job: &Job) -> Option<String> {
        let program = self.program.as_deref()?;
        let files: Vec<&Path> = job.files().collect();
        let names: Vec<_> = files.iter().map(|file| file.file_name()).collect();
        let one_file = job.outfit.body.as_ref() == Some(&job.outfit.garment);
        let mut told = job.clone();
        // The files themselves are hashed; where they lie is no part of a result.
        told.outfit.body = None;
        told.outfit.garment = PathBuf::new();
        told.outfit.over.clear();
        told.outfit.hidden_picture = told.outfit.hidden_picture.map(|_| PathBuf::new());
        let asked = self.asked;
        let words = format!(
            "{told:?} {names:?} {one_file} {:?} {:?} {:?} {:?} {}",
            asked.poses,
            asked.clips,
            asked.limits,
            asked.promises(job),
            self.arguments.no_remedies
        );
        unchanged::key_of(&[program, &words], &files)
    }

    /// The fitting as the report before has it, with its folder, where nothing of it changed.
    fn taken_over(&self, part: &str, key: Option<&str>) -> Option<Fitting> {
        if self.arguments.again || self.arguments.timings {
            return None;
        }
        let from = self.before?.join(part);
        if !unchanged::is_of(&from, key?) {
            return None;
        }
        let text = std::fs::read_to_string(from.join("result.json")).ok()?;
        let fitting = json::parse(&text).ok()?.fittings.pop()?;
        self.tree?.take_over(&from, part).ok()?;
        Some(fitting)
    }

    fn plan(&self, job: &Job, dressed: &Dressed) -> Result<Plan, String> {
        let mut sequences = self.asked.poses.clone();
        for (name, demand) in &self.asked.clips {
            let wanted = clip::find(&dressed.rig, name)
                .map_err(|error| format!("{}: {}", job.body, error.in_a_line()))?;
            let index = dressed
                .rig
                .clips
                .iter()
                .position(|clip| std::ptr::eq(clip, wanted))
                .unwrap_or(0);
            sequences.push(Sequence::of_clip(index, wanted, *demand));
        }
        Ok(Plan {
            sequences,
            fabric: job.fabric,
            promises: self.asked.promises(job),
            limits: self.asked.limits.clone(),
        })
    }

    /// The record, and the frames that the page's view needs.
    fn measured<'d>(&self, dressed: &'d Dressed, plan: &Plan) -> (Fitting, Watch<'d>) {
        let viewed = self.is_viewed();
        let watch = Watch::new(dressed, plan);
        let fitting = fitting::run_watched(dressed, plan, &|seen| {
            if viewed {
                watch.see(seen);
            }
        });
        (try_on::with_spots(self.arguments, dressed, plan, fitting), watch)
    }

    /// Whether the report gets a view that turns.
    fn is_viewed(&self) -> bool {
        self.tree.is_some() && !self.arguments.share
    }

    fn write(
        &self,
        dressed: &Dressed,
        plan: &Plan,
        (fitting, watch): (Fitting, Watch),
        part: &str,
        key: Option<String>,
    ) -> Result<Fitting, Trouble> {
        let viewed = self.is_viewed();
        // The record knows a spot by its place alone; the pictures of this run need its triangles.
        let triangles: Vec<Vec<u32>> = fitting.spots.iter().map(|spot| spot.triangles.clone()).collect();
        let mut fitting = self.settled(fitting)?;
        for (spot, triangles) in fitting.spots.iter_mut().zip(triangles) {
            spot.triangles = triangles;
        }
        let Some(tree) = self.tree.filter(|_| ran(&fitting)) else {
            return Ok(fitting);
        };
        let models: Vec<_> = viewed
            .then(|| time(Step::Scenes, || watch.model(plan, &fitting, 0)))
            .into_iter()
            .collect();
        let rigs: Vec<_> = scenes::rig::sheet(dressed, 0).into_iter().collect();
        let extras = Extras {
            scenes: &time(Step::Scenes, || scenes::with_spots(dressed, plan, &fitting, 0)),
            models: &models,
            rigs: &rigs,
            share: self.arguments.share,
            files: &super::super::models::of_fitting(
                self.arguments,
                dressed,
                plan,
                &fitting,
                &folder::fitting_folder(&fitting),
            ),
            ..Extras::default()
        };
        let outcome = outcome_of(vec![fitting], &self.asked.limits);
        folder::write(&tree.part(part), &outcome, &extras).map_err(Trouble::say)?;
        if let Some(key) = key {
            unchanged::keep(&tree.part(part), key, 0, "", "");
        }
        Ok(outcome
            .fittings
            .into_iter()
            .next()
            .unwrap_or_else(|| unreachable!("one was put in")))
    }

    /// As it comes back from its report.
    fn settled(&self, fitting: Fitting) -> Result<Fitting, Trouble> {
        let text = json::render(&outcome_of(vec![fitting], &self.asked.limits));
        let mut outcome = json::parse(&text).map_err(Trouble::say)?;
        outcome
            .fittings
            .pop()
            .ok_or_else(|| Trouble::Say("the result came back empty; please report this".into()))
    }

    /// The record of a fitting that could not even be dressed.
    fn stopped(&self, job: &Job, say: &str) -> Fitting {
        let say = self.asked.named_from_file(say);
        let garment = |name: &String| Garment {
            name: name.clone(),
            hip_splay_deg: Sides::default(),
            covered_share: 0.0,
            over_skin_share: 0.0,
            area_cm2: 0.0,
            ease_median_mm: None,
        };
        Fitting {
            body: job.body.clone(),
            garments: std::iter::once(&job.garment)
                .chain(&job.over)
                .map(garment)
                .collect(),
            body_hip_splay_deg: Sides::default(),
            verdict: Verdict::CouldNotRun,
            reasons: vec![Reason {
                what: CANNOT_DRESS.into(),
                pose: String::new(),
                frame: 0,
                value: None,
                limit: None,
                weight: Verdict::CouldNotRun,
                say: say.clone(),
                place: None,
            }],
            rig_findings: vec![Finding {
                code: CANNOT_DRESS.into(),
                severity: Severity::Stop,
                surface: job.garment.clone(),
                count: 1,
                place: String::new(),
                say,
                help: String::new(),
            }],
            poses: Vec::new(),
            spots: Vec::new(),
            limits: BTreeMap::new(),
            size: None,
        }
    }
}
