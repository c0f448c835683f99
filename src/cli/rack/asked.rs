//! What a fitting file and the switches beside it ask for.

use super::Shard;
use crate::cli::{Trouble, mocap, poses, try_on::Arguments};
use gusset::fitting::Sequence;
use gusset::measure::FabricClass;
use gusset::outcome::Demand;
use gusset::pose;
use gusset::rack::{self, Day, Job, Place, Rack};
use gusset::report::folder::{folders_of, safe_name};
use gusset::verdict::Told;
use gusset::verdict::judge::Promises;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Longest fitting file that is opened; the reader refuses much shorter ones.
const MOST_BYTES: u64 = 1 << 20;

/// A rack to be run.
pub(super) struct Asked {
    /// All its fittings, in order.
    pub(super) jobs: Vec<Job>,
    /// Their names: `trousers on ash`.
    pub(super) names: Vec<String>,
    /// Their folders in the report.
    pub(super) parts: Vec<String>,
    /// Poses, for every body.
    pub(super) poses: Vec<Sequence>,
    /// Clips of the bodies' own files.
    pub(super) clips: Vec<(String, Demand)>,
    /// Limits in the place of the project's own.
    pub(super) limits: Told,
    /// Hard poses that must hold.
    promises: Promises,
    /// The accepted result beside the file.
    pub(super) accepted: PathBuf,
    /// Name of the report's folder, and where it lies.
    pub(super) name: String,
    out: PathBuf,
    /// Where the file's paths lead from.
    home: PathBuf,
    allow_outside: bool,
}

impl Asked {
    pub(super) fn of(arguments: &Arguments, file: &Path) -> Result<Self, Trouble> {
        if arguments.files.len() > 1 {
            return Err(Trouble::Say(format!(
                "{}: a fitting file names its bodies and garments itself; name it alone: gusset try {0}",
                file.display()
            )));
        }
        if arguments.wearing.says_who_wears() {
            return Err(Trouble::Say(format!(
                "{}: meshes, hidden skin and garments beneath stand in the fitting file itself (meshes:, hidden:, over:)",
                file.display()
            )));
        }
        let options = arguments.wearing.reading.options();
        let rack = read(file, options.allow_outside_files)?;
        let home = file.parent().map_or_else(PathBuf::new, Path::to_owned);
        let place = Place {
            folder: &home,
            allow_outside: options.allow_outside_files,
        };
        let mut jobs = rack.jobs(place, &options, Day::today());
        if let Some(fabric) = arguments.fabric {
            let fabric: FabricClass = fabric.into();
            jobs.iter_mut().for_each(|job| job.fabric = fabric);
        }
        let names: Vec<String> = jobs.iter().map(name).collect();
        let stem = file
            .file_stem()
            .map_or_else(|| "rack".into(), |stem| stem.to_string_lossy().into_owned());
        let own_out = rack.out.as_deref().map(|out| place.path(out));
        Ok(Self {
            parts: folders_of(&names),
            names,
            poses: poses_of(arguments, &rack, place)?,
            clips: clips_of(arguments, &rack),
            promises: Promises {
                promised: rack.promised.clone(),
                strict: arguments.strict,
                excuses: Vec::new(),
            },
            limits: rack.limits,
            accepted: home.join("accepted.txt"),
            name: safe_name(&stem),
            out: arguments
                .out
                .clone()
                .or(own_out)
                .unwrap_or_else(|| "reports".into()),
            allow_outside: place.allow_outside,
            jobs,
            home,
        })
    }

    /// Where the report goes; shards of one rack go beside each other.
    pub(super) fn folder(&self, shard: Option<Shard>) -> PathBuf {
        let ending = shard.map_or_else(String::new, |shard| format!("_{}_of_{}", shard.index, shard.of));
        self.out.join(format!("{}{ending}", self.name))
    }

    /// Promises and excuses of one fitting.
    pub(super) fn promises(&self, job: &Job) -> Promises {
        Promises {
            excuses: job.excuses.clone(),
            ..self.promises.clone()
        }
    }

    /// Why a file may not be read, in a sentence.
    pub(super) fn leads_out(&self, file: &Path) -> Option<String> {
        let place = Place {
            folder: &self.home,
            allow_outside: self.allow_outside,
        };
        place.leads_out(file)
    }

    /// A sentence that names files as the fitting file does: the same wherever the program runs.
    pub(super) fn named_from_file(&self, sentence: &str) -> String {
        let home = self.home.display().to_string();
        match home.is_empty() {
            true => sentence.to_owned(),
            false => sentence.replace(&format!("{home}{}", std::path::MAIN_SEPARATOR), ""),
        }
    }
}

/// As the report names a fitting.
fn name(job: &Job) -> String {
    let worn: Vec<&str> = std::iter::once(&job.garment)
        .chain(&job.over)
        .map(String::as_str)
        .collect();
    format!("{} on {}", worn.join(" over "), job.body)
}

fn read(file: &Path, allow_outside: bool) -> Result<Rack, Trouble> {
    let trouble = |error: std::io::Error| {
        Trouble::Say(format!(
            "{}: the fitting file cannot be read: {error}; check the path",
            file.display()
        ))
    };
    if !file.metadata().map_err(trouble)?.is_file() {
        return Err(trouble(std::io::Error::other(
            "this is a folder, a device or a pipe",
        )));
    }
    let mut bytes = Vec::new();
    let opened = std::fs::File::open(file).map_err(trouble)?;
    opened.take(MOST_BYTES).read_to_end(&mut bytes).map_err(trouble)?;
    Ok(rack::parse(&bytes, &file.display().to_string(), allow_outside)?)
}

/// The switches come before the file; without both, the whole library.
fn poses_of(arguments: &Arguments, rack: &Rack, place: Place) -> Result<Vec<Sequence>, Trouble> {
    let is_file = |name: &str| name.ends_with(".yaml") || name.ends_with(".yml");
    let of_file = |name: &String| match is_file(name) {
        true => {
            let file = place.path(name);
            place
                .leads_out(&file)
                .map_or(Ok(file.display().to_string()), |say| Err(Trouble::Say(say)))
        }
        false => Ok(name.clone()),
    };
    let told = !arguments.poses.is_empty() || !arguments.clip.is_empty() || !arguments.mocap.is_empty();
    let captures = captures_of(arguments, rack, place)?;
    let names: Vec<String> = match told {
        true => arguments.poses.clone(),
        false => rack.poses.iter().map(of_file).collect::<Result<_, _>>()?,
    };
    if names.is_empty() && clips_of(arguments, rack).is_empty() && captures.is_empty() {
        return Ok(pose::all().iter().map(Sequence::from).collect());
    }
    let mut sequences: Vec<Sequence> = Vec::new();
    for name in &names {
        let sequence = Sequence::from(&poses::named(name)?);
        if sequences.iter().all(|known| known.name != sequence.name) {
            sequences.push(sequence);
        }
    }
    sequences.extend(captures);
    let known = |name: &String| {
        sequences.iter().any(|sequence| sequence.name == *name)
            || rack.clips.iter().any(|clip| clip.0 == *name)
    };
    if let Some(name) = rack.promised.iter().find(|name| !told && !known(name)) {
        return Err(Trouble::Say(format!(
            "`{name}` is promised, but no pose of this rack has that name; a pose file goes by the `name` inside it"
        )));
    }
    Ok(sequences)
}

/// The switches come before the file here too.
fn captures_of(arguments: &Arguments, rack: &Rack, place: Place) -> Result<Vec<Sequence>, Trouble> {
    let options = arguments.wearing.reading.options();
    let mut sequences = Vec::new();
    for file in &arguments.mocap {
        sequences.extend(mocap::sequences(
            file,
            arguments.demand.into(),
            arguments.mocap_rate,
            &options,
        )?);
    }
    if arguments.poses.is_empty() && arguments.clip.is_empty() && arguments.mocap.is_empty() {
        for capture in &rack.captures {
            let file = place.path(&capture.file);
            if let Some(say) = place.leads_out(&file) {
                return Err(Trouble::Say(say));
            }
            sequences.extend(mocap::sequences(
                &file,
                capture.demand,
                capture.rate_hz,
                &options,
            )?);
        }
    }
    Ok(sequences)
}

fn clips_of(arguments: &Arguments, rack: &Rack) -> Vec<(String, Demand)> {
    if arguments.poses.is_empty() && arguments.clip.is_empty() && arguments.mocap.is_empty() {
        return rack.clips.clone();
    }
    let demand = Demand::from(arguments.demand);
    arguments.clip.iter().map(|name| (name.clone(), demand)).collect()
}
