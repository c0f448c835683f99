//! Files to a dressed body: which meshes are skin, which are cloth, and whether they belong together.

mod size; // the size in which it is worn

use crate::contact::{Beneath, Body, Layer};
use crate::fitting::Dressed;
use crate::measure::findings;
use crate::outcome::{Finding, Severity};
use crate::rig::anatomy::Anatomy;
use crate::rig::bone::Bone;
use crate::rig::fix::Fix;
use crate::rig::gltf::{ReadError, ReadOptions, read};
use crate::rig::hidden::{self, Picture, PictureError};
use crate::rig::sized::Size;
use crate::rig::skeleton::Skeleton;
use crate::rig::surface::{Surface, assemble};
use crate::rig::{Remark, Rig, morph, names};
use crate::skin::Pairing;
use crate::timings::{Step, time};
use crate::written::nearest;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use thiserror::Error;

/// What to put on whom.
#[derive(Clone, Debug, Default)]
pub struct Outfit {
    /// The body's file; `None` for a garment alone.
    pub body: Option<PathBuf>,
    /// What to call the body where that is not its file's name.
    pub body_name: Option<String>,
    /// Meshes of the body's file that are skin, by name or material; empty for all that are not the garment's.
    pub body_meshes: Vec<String>,
    /// The garment's file; the same as the body's where one file holds both.
    pub garment: PathBuf,
    /// What to call the garment where its file's name alone would not tell it from another.
    pub garment_name: Option<String>,
    /// Meshes of the garment's file that are cloth, by name or material; empty for all.
    pub garment_meshes: Vec<String>,
    /// Garments it is worn over.
    pub over: Vec<PathBuf>,
    /// In step with them, what is known of them; where there is nothing, the file's name and all meshes.
    pub over_as: Vec<Inner>,
    /// What the user states of the body's file.
    pub body_fix: Fix,
    /// What the user states of the garment's file; one file that holds both has the body's.
    pub garment_fix: Fix,
    /// Roles of joints that the user states: bone and the joint's name. Files that lack a joint of that name are not
    /// meant.
    pub roles: Vec<(Bone, String)>,
    /// Meshes of the body that the wearer hides, by name or material.
    pub hidden_meshes: Vec<String>,
    /// A picture in the body's texture layout, white where skin is hidden.
    pub hidden_picture: Option<PathBuf>,
    /// Morph targets of body and garment by name, with their weights.
    pub morphs: Vec<(String, f64)>,
    /// The size in which all of it is worn, and how far towards it: 0 is as built, 1 the size.
    pub size: Option<(Size, f64)>,
    /// How to read files.
    pub options: ReadOptions,
}

/// What is known of a garment that is worn beneath.
#[derive(Clone, Debug, Default)]
pub struct Inner {
    /// What to call it; empty for its file's name.
    pub name: String,
    /// Its meshes that are cloth, by name or material; empty for all.
    pub meshes: Vec<String>,
    /// What the user states of its file.
    pub fix: Fix,
}

/// Why nothing can be dressed: one sentence each.
#[derive(Clone, Debug, Error)]
pub enum WearError {
    /// The file itself.
    #[error("{0}")]
    Read(#[from] ReadError),
    /// A file without anything to draw.
    #[error("{file}: no skinned mesh in this file; export the mesh together with its skin")]
    NoMesh {
        /// As the user named it.
        file: String,
    },
    /// The same mesh as body and as garment.
    #[error(
        "{file}: the same mesh cannot be body and garment at once; name two files, or a file that holds both with --garment-mesh and --body-mesh"
    )]
    SameMesh {
        /// As the user named it.
        file: String,
    },
    /// A chosen mesh that is not there.
    #[error("{file}: no mesh or material is called `{name}`; this file has {has}")]
    NoSuchMesh {
        /// As the user named it.
        file: String,
        /// What was asked for.
        name: String,
        /// What there is.
        has: String,
    },
    /// One file, several meshes, nothing chosen.
    #[error("{file} holds {count} meshes: {list}. Say which are cloth, for example: {example}")]
    Unchosen {
        /// As the user named it.
        file: String,
        /// How many.
        count: usize,
        /// Their names.
        list: String,
        /// A command that would work.
        example: String,
    },
    /// A picture of hidden skin that cannot be used.
    #[error("{0}")]
    Picture(#[from] PictureError),
    /// A picture of hidden skin on a body without texture coordinates.
    #[error(
        "{file}: this body has no texture coordinates, so a picture cannot say which skin is hidden; unwrap it, or name meshes with --hidden-skin"
    )]
    NoLayout {
        /// As the user named it.
        file: String,
    },
    /// A morph target that no file has.
    #[error("no morph target is called `{name}`; {has}")]
    NoSuchMorph {
        /// What was asked for.
        name: String,
        /// What there is.
        has: String,
    },
    /// A stated role of a joint that is not there.
    #[error("{file}: no joint is called `{name}`, which the fitting file names as {bone}; {help}")]
    NoSuchJoint {
        /// As the user named it.
        file: String,
        /// The role.
        bone: &'static str,
        /// What was asked for.
        name: String,
        /// The nearest joint.
        help: String,
    },
    /// A size that changes a joint the body does not have.
    #[error(
        "{file}: no joint is called `{name}` or plays that role, which a size in the fitting file changes; {help}"
    )]
    NoSuchSizeJoint {
        /// As the user named it.
        file: String,
        /// What was asked for.
        name: String,
        /// The nearest joint.
        help: String,
    },
    /// A body without legs, or a skeleton nobody understands.
    #[error("{file}: {missing}; {help}")]
    NotABody {
        /// As the user named it.
        file: String,
        /// The joint that was not found.
        missing: String,
        /// What to do.
        help: String,
    },
}

/// Rigs that were read, so that each file is read once however many fittings it takes part in.
#[derive(Debug, Default)]
pub struct Shelf {
    rigs: BTreeMap<PathBuf, Result<Arc<Rig>, ReadError>>,
}

impl Shelf {
    /// The rig of a file as the file has it, but for what the user states of it.
    ///
    /// # Errors
    /// The same for every fitting that needs this file.
    fn rig(&mut self, file: &Path, fix: Fix, options: &ReadOptions) -> Result<Rig, ReadError> {
        let read = || time(Step::Read, || read(file, options)).map(Arc::new);
        let rig = self.rigs.entry(file.to_owned()).or_insert_with(read);
        let mut rig = rig.clone()?.as_ref().clone();
        fix.apply(&mut rig);
        Ok(rig)
    }
}

/// Reads the files and dresses the body. A finding of severity *stop* is not an error: the fitting is reported as one
/// that could not run.
///
/// # Errors
/// One sentence: what, where, what to do.
pub fn dress(outfit: &Outfit) -> Result<Dressed, WearError> {
    dress_from(&mut Shelf::default(), outfit)
}

/// As [`dress`], with files that were read before taken from the shelf. One shelf is for one way to read files.
///
/// # Errors
/// One sentence: what, where, what to do.
pub fn dress_from(shelf: &mut Shelf, outfit: &Outfit) -> Result<Dressed, WearError> {
    let one_file = outfit
        .body
        .as_ref()
        .is_none_or(|body| same_file(body, &outfit.garment));
    let fix = if one_file && outfit.body.is_some() {
        outfit.body_fix
    } else {
        outfit.garment_fix
    };
    let mut garment_rig = shelf.rig(&outfit.garment, fix, &outfit.options)?;
    morph::morph(&mut garment_rig, &outfit.morphs);
    let chosen = choose_garment(outfit, &garment_rig, one_file)?;
    let Some(body_file) = &outfit.body else {
        known_morphs(outfit, &[&garment_rig])?;
        if chosen.len() < meshes_of(&garment_rig).len() {
            let rest = complement(&garment_rig, &chosen);
            let body = garment_rig.clone();
            let inner = inner_rigs(shelf, outfit)?;
            return time(Step::Dress, || {
                dress_on(
                    outfit,
                    body,
                    &rest,
                    (&garment_rig, &chosen),
                    &inner,
                    &outfit.garment,
                )
            });
        }
        return time(Step::Dress, || alone(outfit, garment_rig, &chosen));
    };
    let mut body_rig = if one_file {
        known_morphs(outfit, &[&garment_rig])?;
        garment_rig.clone()
    } else {
        let mut body_rig = shelf.rig(body_file, outfit.body_fix, &outfit.options)?;
        morph::morph(&mut body_rig, &outfit.morphs);
        check_morphs(outfit, &mut garment_rig, &mut body_rig)?;
        body_rig
    };
    let rest = if one_file {
        complement(&body_rig, &chosen)
    } else {
        meshes_of(&body_rig)
    };
    let skin = if outfit.body_meshes.is_empty() {
        rest
    } else {
        pick(&body_rig, &outfit.body_meshes, body_file)?
    };
    let file = || body_file.display().to_string();
    if one_file && skin.iter().all(|mesh| chosen.contains(mesh)) {
        return Err(WearError::SameMesh { file: file() });
    }
    if skin.is_empty() {
        return Err(WearError::NoMesh { file: file() });
    }
    name_both(outfit, one_file, &mut body_rig, &mut garment_rig);
    let inner = inner_rigs(shelf, outfit)?;
    time(Step::Dress, || {
        dress_on(
            outfit,
            body_rig,
            &skin,
            (&garment_rig, &chosen),
            &inner,
            body_file,
        )
    })
}

/// Names that the user gives in the place of those of the files.
fn name_both(outfit: &Outfit, one_file: bool, body: &mut Rig, garment: &mut Rig) {
    if let Some(name) = &outfit.body_name {
        body.name.clone_from(name);
    }
    if let Some(name) = &outfit.garment_name {
        garment.name.clone_from(name);
        if one_file {
            // They are the body's already.
            garment.remarks.clear();
        }
    }
}

/// The garments beneath, each with its meshes that are cloth.
fn inner_rigs(shelf: &mut Shelf, outfit: &Outfit) -> Result<Vec<(Rig, Vec<usize>)>, WearError> {
    let of_file = |(at, file): (usize, &PathBuf)| {
        let told = outfit.over_as.get(at).cloned().unwrap_or_default();
        let mut rig = shelf.rig(file, told.fix, &outfit.options)?;
        if !told.name.is_empty() {
            rig.name = told.name;
        }
        let cloth = if told.meshes.is_empty() {
            meshes_of(&rig)
        } else {
            pick(&rig, &told.meshes, file)?
        };
        match cloth.is_empty() {
            true => Err(WearError::NoMesh {
                file: file.display().to_string(),
            }),
            false => Ok((rig, cloth)),
        }
    };
    outfit.over.iter().enumerate().map(of_file).collect()
}

/// The nodes of the roles that the user states. A name that several nodes have is the first's.
fn told(outfit: &Outfit, rig: &Rig) -> Vec<(Bone, usize)> {
    let node = |name: &String| rig.nodes.iter().position(|node| node.name == *name);
    let roles = outfit.roles.iter();
    roles
        .filter_map(|(bone, name)| Some((*bone, node(name)?)))
        .collect()
}

/// # Errors
/// A stated role of a joint that the body does not have.
fn known_joints(outfit: &Outfit, rig: &Rig, file: &Path) -> Result<(), WearError> {
    let missing = |(_, name): &&(Bone, String)| rig.nodes.iter().all(|node| node.name != *name);
    outfit.roles.iter().find(missing).map_or(Ok(()), |(bone, name)| {
        let known = rig.nodes.iter().map(|node| node.name.as_str());
        Err(WearError::NoSuchJoint {
            file: file.display().to_string(),
            bone: bone.name(),
            name: name.clone(),
            help: nearest(name, known).map_or_else(
                || "`gusset rig` lists its joints".into(),
                |near| format!("did you mean `{near}`?"),
            ),
        })
    })
}

/// Marks what the wearer hides.
fn hide(outfit: &Outfit, rig: &Rig, surface: &mut Surface, file: &Path) -> Result<(), WearError> {
    hidden::hide_meshes(surface, &pick(rig, &outfit.hidden_meshes, file)?);
    if let Some(picture) = &outfit.hidden_picture
        && !Picture::read(picture)?.hide(surface)
    {
        return Err(WearError::NoLayout {
            file: file.display().to_string(),
        });
    }
    Ok(())
}

/// A target that neither file has is a slip of the pen; one that only one of them has is worth a remark.
fn check_morphs(outfit: &Outfit, garment: &mut Rig, body: &mut Rig) -> Result<(), WearError> {
    known_morphs(outfit, &[body, garment])?;
    for name in size::targets(outfit) {
        let in_body = size::has_target(body, name);
        if in_body == size::has_target(garment, name) {
            continue;
        }
        let (has, lacks) = if in_body {
            (&*body, &*garment)
        } else {
            (&*garment, &*body)
        };
        let say = format!(
            "{} has the morph target `{name}` and {} has not.",
            has.name, lacks.name
        );
        let rig = if in_body { &mut *garment } else { &mut *body };
        rig.remarks.push(Remark {
            code: "morph_unmatched",
            place: name.to_owned(),
            say,
            help: "Make the same target in both, so that the garment follows the body's shape.".into(),
        });
    }
    Ok(())
}

/// # Errors
/// A name that none of the files has.
fn known_morphs(outfit: &Outfit, rigs: &[&Rig]) -> Result<(), WearError> {
    let known = |name: &&str| rigs.iter().any(|rig| size::has_target(rig, name));
    let unknown = size::targets(outfit).into_iter().find(|name| !known(name));
    unknown.map_or(Ok(()), |name| {
        Err(WearError::NoSuchMorph {
            name: name.to_owned(),
            has: targets_of(rigs),
        })
    })
}

fn targets_of(rigs: &[&Rig]) -> String {
    let mut names: Vec<String> = rigs
        .iter()
        .flat_map(|rig| &rig.meshes)
        .flat_map(|mesh| &mesh.morphs)
        .map(|morph| format!("`{}`", morph.name))
        .collect();
    names.sort_unstable();
    names.dedup();
    names.truncate(12);
    if names.is_empty() {
        "these files have none".into()
    } else {
        format!("there are {}", names.join(", "))
    }
}

/// A garment on a body, both read or made before: all meshes of the one are skin, all of the other cloth.
///
/// # Panics
/// If the body has no hip and knee joints.
pub fn dress_rigs(body: Rig, garment: Rig) -> Dressed {
    let (skin, cloth) = (meshes_of(&body), meshes_of(&garment));
    dress_on(
        &Outfit::default(),
        body,
        &skin,
        (&garment, &cloth),
        &[],
        Path::new("body"),
    )
    .expect("nothing is read, and the body has legs")
}

fn same_file(a: &Path, b: &Path) -> bool {
    a == b || matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

fn meshes_of(rig: &Rig) -> Vec<usize> {
    (0..rig.meshes.len()).collect()
}

fn complement(rig: &Rig, chosen: &[usize]) -> Vec<usize> {
    meshes_of(rig)
        .into_iter()
        .filter(|mesh| !chosen.contains(mesh))
        .collect()
}

/// Meshes by name or material.
///
/// # Errors
/// A name that fits none.
pub fn pick(rig: &Rig, wanted: &[String], file: &Path) -> Result<Vec<usize>, WearError> {
    let mut picked = Vec::new();
    for name in wanted {
        let fits: Vec<usize> = meshes_of(rig)
            .into_iter()
            .filter(|&mesh| rig.meshes[mesh].name == *name || rig.meshes[mesh].material == *name)
            .collect();
        if fits.is_empty() {
            return Err(WearError::NoSuchMesh {
                file: file.display().to_string(),
                name: name.clone(),
                has: list(rig),
            });
        }
        picked.extend(fits);
    }
    picked.sort_unstable();
    picked.dedup();
    Ok(picked)
}

fn list(rig: &Rig) -> String {
    let mut names: Vec<String> = Vec::new();
    for mesh in &rig.meshes {
        let name = format!("`{}`", mesh.name);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let more = names.len().saturating_sub(12);
    names.truncate(12);
    let tail = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    format!("{}{tail}", names.join(", "))
}

fn choose_garment(outfit: &Outfit, rig: &Rig, one_file: bool) -> Result<Vec<usize>, WearError> {
    let file = outfit.garment.display().to_string();
    if rig.meshes.is_empty() {
        return Err(WearError::NoMesh { file });
    }
    if !outfit.garment_meshes.is_empty() {
        return pick(rig, &outfit.garment_meshes, &outfit.garment);
    }
    let mut names: Vec<&str> = rig.meshes.iter().map(|mesh| mesh.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    if one_file && names.len() > 1 {
        let (cloth, skin) = split(rig);
        let option = |flag: &str, names: &[String]| {
            names
                .iter()
                .map(|name| format!(" --{flag} \"{name}\""))
                .collect::<String>()
        };
        return Err(WearError::Unchosen {
            count: names.len(),
            list: list(rig),
            example: format!(
                "gusset try \"{file}\"{}{}",
                option("garment-mesh", &cloth),
                option("body-mesh", &skin)
            ),
            file,
        });
    }
    Ok(meshes_of(rig))
}

/// Words that cloth and skin are called by (common practice). Used for a proposal only.
const CLOTH_WORDS: [&str; 20] = [
    "trousers", "pants", "jeans", "shorts", "skirt", "dress", "shirt", "tunic", "jacket", "coat", "top",
    "leggings", "socks", "shoes", "boots", "gloves", "cape", "cloak", "hat", "belt",
];

/// Cloth and skin of a file by the names of its meshes: all skin where no name says cloth, all cloth where the file's own
/// name does or every mesh's.
pub fn propose(rig: &Rig, file: &str) -> (Vec<String>, Vec<String>) {
    let names = || rig.meshes.iter().map(|mesh| mesh.name.clone());
    if is_cloth(file) || rig.meshes.iter().all(|mesh| is_cloth(&mesh.name)) {
        (names().collect(), Vec::new())
    } else if rig.meshes.iter().any(|mesh| is_cloth(&mesh.name)) {
        split(rig)
    } else {
        (Vec::new(), names().collect())
    }
}

fn is_cloth(name: &str) -> bool {
    let words = names::read_name(name);
    CLOTH_WORDS.iter().any(|word| words.has(word))
}

/// A split to propose: cloth, skin. By words where names say so, else the mesh with the most joints is skin.
fn split(rig: &Rig) -> (Vec<String>, Vec<String>) {
    let joints = |mesh: usize| {
        let mut used: Vec<u16> = rig.meshes[mesh].rows.binds.clone();
        used.sort_unstable();
        used.dedup();
        used.len()
    };
    let any_word = rig.meshes.iter().any(|mesh| is_cloth(&mesh.name));
    let most = meshes_of(rig)
        .into_iter()
        .max_by_key(|&mesh| (joints(mesh), std::cmp::Reverse(mesh)));
    let (mut cloth, mut skin) = (Vec::new(), Vec::new());
    for (index, mesh) in rig.meshes.iter().enumerate() {
        let cloth_here = if any_word {
            is_cloth(&mesh.name)
        } else {
            Some(index) != most
        };
        let side = if cloth_here { &mut cloth } else { &mut skin };
        if !side.contains(&mesh.name) {
            side.push(mesh.name.clone());
        }
    }
    (cloth, skin)
}

fn dress_on(
    outfit: &Outfit,
    body_rig: Rig,
    skin: &[usize],
    (garment_rig, cloth): (&Rig, &[usize]),
    inner: &[(Rig, Vec<usize>)],
    body_file: &Path,
) -> Result<Dressed, WearError> {
    known_joints(outfit, &body_rig, body_file)?;
    let mut surface = assemble(&body_rig, skin, &body_rig.name);
    hide(outfit, &body_rig, &mut surface, body_file)?;
    size::grow(outfit, &body_rig, &mut surface);
    let skeleton = Skeleton::new(&body_rig, &[&surface], &told(outfit, &body_rig));
    let anatomy = Anatomy::new(&skeleton).map_err(|missing| not_a_body(body_file, &missing.to_string()))?;
    let mut body = Body::new(surface, skeleton, anatomy);
    size::resize(outfit, &mut body, body_file)?;
    let mut found = findings::of_remarks(&body.surface.name, &body_rig.remarks);
    found.extend(findings::of_body(&body));
    let mut layers = vec![layer(outfit, &body, garment_rig, cloth, &mut found)];
    for (rig, cloth) in inner {
        layers.push(layer(outfit, &body, rig, cloth, &mut found));
    }
    let beneath = layers[1..]
        .iter()
        .map(|inner| Beneath::new(&body, inner, &layers[0]))
        .collect();
    found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Ok(Dressed {
        rig: body_rig,
        body,
        layers,
        beneath,
        garment_alone: false,
        findings: found,
    })
}

/// A body without clothes, to be posed.
///
/// # Errors
/// One sentence: what, where, what to do.
pub fn bare(file: &Path, options: &ReadOptions) -> Result<Dressed, WearError> {
    let rig = read(file, options)?;
    let all = meshes_of(&rig);
    if all.is_empty() {
        return Err(WearError::NoMesh {
            file: file.display().to_string(),
        });
    }
    let surface = assemble(&rig, &all, &rig.name);
    let skeleton = Skeleton::new(&rig, &[&surface], &[]);
    let anatomy = Anatomy::new(&skeleton).map_err(|missing| not_a_body(file, &missing.to_string()))?;
    let body = Body::new(surface, skeleton, anatomy);
    Ok(Dressed {
        rig,
        body,
        layers: Vec::new(),
        beneath: Vec::new(),
        garment_alone: false,
        findings: Vec::new(),
    })
}

fn layer(outfit: &Outfit, body: &Body, rig: &Rig, cloth: &[usize], found: &mut Vec<Finding>) -> Layer {
    let name = if rig.name == body.surface.name {
        rig.meshes[cloth[0]].name.clone()
    } else {
        rig.name.clone()
    };
    let mut surface: Surface = assemble(rig, cloth, &name);
    size::grow(outfit, rig, &mut surface);
    let skeleton = Skeleton::new(rig, &[&surface], &told(outfit, rig));
    let pairing = Pairing::new(&skeleton, &body.skeleton);
    if name != body.surface.name && rig.name != body.surface.name {
        found.extend(findings::of_remarks(&name, &rig.remarks));
    }
    let matched = findings::of_match(&name, &skeleton, &body.skeleton, &pairing);
    let stopped = matched.iter().any(|finding| finding.severity == Severity::Stop);
    found.extend(matched);
    let layer = Layer::new(body, surface, skeleton);
    if !stopped {
        found.extend(findings::of_layer(body, &layer));
    }
    layer
}

/// A garment without a body: its own skeleton stands in, with no skin on it.
fn alone(outfit: &Outfit, rig: Rig, cloth: &[usize]) -> Result<Dressed, WearError> {
    let surface = assemble(&rig, cloth, &rig.name);
    let skeleton = Skeleton::new(&rig, &[&surface], &[]);
    let anatomy =
        Anatomy::new(&skeleton).map_err(|missing| not_a_body(&outfit.garment, &missing.to_string()))?;
    let mut bare = assemble(&rig, &[], "no body");
    bare.uvs = None;
    let body = Body::new(bare, skeleton.clone(), anatomy);
    let mut found = findings::of_remarks(&surface.name, &rig.remarks);
    found.extend(findings::of_surface(&surface, &skeleton));
    let layer = Layer::new(&body, surface, skeleton);
    found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Ok(Dressed {
        rig,
        body,
        layers: vec![layer],
        beneath: Vec::new(),
        garment_alone: true,
        findings: found,
    })
}

fn not_a_body(file: &Path, missing: &str) -> WearError {
    WearError::NotABody {
        file: file.display().to_string(),
        missing: missing.to_owned(),
        help: "poses need both hip and knee joints; name them like leftUpperLeg or thigh.L, or see what `gusset rig` understood".into(),
    }
}
