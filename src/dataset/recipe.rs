//! Recipes: a scenario and what is drawn for which of its keys, as TOML text. Unknown keys are errors, as everywhere; every
//! error names file, line, key, value and what is allowed. It opens no file: the scenario's name is only passed on.

use super::case::{Case, read_cases};
use super::correlation::Correlations;
use super::distribution::{Distribution, Varied};
use super::read_vary::read_vary;
use super::section::Section;
use crate::rng::{LARGEST_SEED, Seed};
use crate::scenario::document::{Document, Node, Value};
use crate::scenario::error::Problem;
use crate::scenario::{ScenarioError, hex, text_of};
use sha2::{Digest, Sha256};

/// A recipe that passed every check of its own. Whether its keys exist in the scenario is seen when the two meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Recipe {
    /// What the set is for, in one line.
    pub title: String,
    /// Version of the set, in its author's counting.
    pub version: String,
    /// Licence of the set, by its SPDX name where it has one.
    pub licence: String,
    /// What the set does not hold or should not be used for, in its author's words.
    pub limits: Vec<String>,
    /// Seed of everything.
    pub seed: Seed,
    /// The scenario that is varied; `None` where every case names its own.
    pub scenario: Option<ScenarioText>,
    /// Changes that hold for all items, as `--set` takes them; a key that is drawn as well is only a value to start from.
    pub set: Vec<String>,
    /// What is drawn.
    pub vary: Vec<Varied>,
    /// Which of these go together.
    pub correlations: Correlations,
    /// Kinds of items that the set mixes; none where all are of one kind.
    pub cases: Vec<Case>,
    /// Whether an item's case is handed out with its frame.
    pub case_known: bool,
    /// Items of a shard.
    pub shard_items: u64,
    /// Files of frames.
    pub files: Vec<FrameFiles>,
    /// Whether the truth holds what the photons allow.
    pub photon_bound: bool,
    /// Whether the truth holds each item's sampling error.
    pub sampling_check: bool,
    /// Whether the truth holds the frames to expect before any chance.
    pub expected: bool,
    /// How finely frames are computed.
    pub accuracy: Fineness,
    /// SHA-256 of the recipe's bytes.
    pub sha256: String,
    /// The recipe's bytes.
    pub text: String,
}

/// Where the scenario is.
#[derive(Debug, Clone, PartialEq)]
pub enum ScenarioText {
    /// In a file, named from the recipe's folder.
    File(String),
    /// In the recipe itself.
    Inline(String),
}

/// How finely frames are computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fineness {
    /// Coarser sampling and single precision: many times as fast.
    Fast,
    /// As `render` does it.
    Usual,
}

/// A kind of files that hold frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrameFiles {
    /// One NPZ a shard: frames, item numbers, known values.
    Npz,
    /// One NPY a shard: frames only.
    Npy,
    /// One FITS file an item.
    Fits,
    /// One FITS file a shard: frames along a third axis.
    FitsCube,
}

impl FrameFiles {
    const ALL: [(&'static str, FrameFiles); 4] = [
        ("npz", FrameFiles::Npz),
        ("npy", FrameFiles::Npy),
        ("fits", FrameFiles::Fits),
        ("fits-cube", FrameFiles::FitsCube),
    ];

    /// Name in a recipe.
    pub fn name(self) -> &'static str {
        Self::ALL[self as usize].0
    }

    /// Ending of the files.
    pub fn ending(self) -> &'static str {
        match self {
            FrameFiles::FitsCube => "cube.fits",
            other => other.name(),
        }
    }
}

/// Keys at the top of a recipe.
pub(super) const KEYS: [&str; 18] = [
    "format",
    "title",
    "version",
    "licence",
    "limits",
    "seed",
    "scenario",
    "shard_items",
    "files",
    "photon_bound",
    "sampling_check",
    "expected",
    "accuracy",
    "set",
    "vary",
    "correlate",
    "case",
    "case_known",
];

/// Reads a recipe from the bytes of its file; `label` is the file's name for messages.
///
/// # Errors
/// [`ScenarioError`] for the first thing that cannot be meant.
pub fn read(bytes: &[u8], label: &str) -> Result<Recipe, ScenarioError> {
    let text = text_of(bytes, label, "a recipe is a plain text file")?;
    let document = Document::parse(text, label)?;
    let top = Section::top(&document)?;
    top.known(&KEYS)?;
    document.check_format("a recipe")?;
    let cases = read_cases(&document, &top)?;
    let all_named = !cases.is_empty() && cases.iter().all(|case| case.scenario.is_some());
    let scenario = scenario_text(&top)?;
    if scenario.is_none() && !all_named {
        let hint = "name the scenario's file, from the recipe's folder";
        top.required("scenario", hint)?;
    }
    Ok(Recipe {
        title: top.text("title", None)?,
        version: top.text("version", Some("1"))?,
        licence: top.text("licence", None)?,
        limits: top.texts("limits")?,
        seed: Seed(top.whole("seed", None, 0, LARGEST_SEED)?),
        scenario,
        set: fixed(&document, &top)?,
        vary: read_vary(&document, &top)?,
        correlations: Correlations::read(&document, &top)?,
        cases,
        case_known: top.flag("case_known", false)?,
        shard_items: top.whole("shard_items", Some(250), 1, 100_000)?,
        files: frame_files(&top)?,
        photon_bound: top.flag("photon_bound", false)?,
        sampling_check: top.flag("sampling_check", false)?,
        expected: top.flag("expected", false)?,
        accuracy: fineness(&top)?,
        sha256: hex(&Sha256::digest(bytes)),
        text: text.to_owned(),
    })
}

/// The scenario of a recipe, or of one of its cases.
pub(super) fn scenario_text(top: &Section<'_>) -> Result<Option<ScenarioText>, ScenarioError> {
    let Some((node, key)) = top.optional("scenario") else {
        return Ok(None);
    };
    match &node.value {
        Value::Text(file) if !file.is_empty() => Ok(Some(ScenarioText::File(file.clone()))),
        Value::Table(_) => toml::to_string(&node.value.plain())
            .map(|text| Some(ScenarioText::Inline(text)))
            .map_err(|error| {
                let message = crate::scenario::error::shortened(&error.to_string());
                top.document.error(
                    node.origin,
                    Problem::NotToml { message },
                    "name a file instead",
                )
            }),
        _ => Err(top.wrong_type(
            node,
            &key,
            "the name of a scenario's file in quotes, or a scenario as the table [scenario]",
        )),
    }
}

/// Keys of a scenario that make a set what it is and cannot differ from item to item, and the title and seed, which the set gives.
pub(super) const SETTLED: [&str; 5] = [
    "format",
    "title",
    "seed",
    "camera.width_px",
    "camera.height_px",
];

/// `[set]` of a recipe, or of one of its cases.
pub(super) fn fixed(document: &Document, top: &Section<'_>) -> Result<Vec<String>, ScenarioError> {
    let Some(section) = top.table("set")? else {
        return Ok(Vec::new());
    };
    let mut arguments = Vec::new();
    for (key, node) in section.entries() {
        let path = section.key_path(key, node)?;
        if ["format", "title", "seed"].contains(&path.as_str()) {
            let problem = Problem::NoMeaning {
                key: section.path(key),
                condition: "since the recipe has its own".into(),
            };
            return Err(document.error(node.origin, problem, "change it at the top of the recipe"));
        }
        arguments.push(format!("{path}={}", node.value.plain()));
    }
    Ok(arguments)
}

impl Recipe {
    /// Names of the files of all tables that laws look into, each once.
    pub fn tables(&self) -> Vec<&str> {
        let of_cases = self.cases.iter().flat_map(|case| &case.vary);
        let mut files: Vec<&str> = Vec::new();
        for varied in self.vary.iter().chain(of_cases) {
            if let Distribution::Table { file, .. } = &varied.distribution
                && !files.contains(&file.as_str())
            {
                files.push(file);
            }
        }
        files
    }
}

fn fineness(top: &Section<'_>) -> Result<Fineness, ScenarioError> {
    match top.text("accuracy", Some("fast"))?.as_str() {
        "fast" => Ok(Fineness::Fast),
        "usual" => Ok(Fineness::Usual),
        _ => {
            let (node, key) = top.required("accuracy", "leave it out")?;
            let hint = "fast is for frames in quantity, usual is what render does";
            Err(top.out_of_range(node, &key, "\"fast\" or \"usual\"", hint))
        }
    }
}

fn frame_files(top: &Section<'_>) -> Result<Vec<FrameFiles>, ScenarioError> {
    let Some((node, key)) = top.optional("files") else {
        return Ok(vec![FrameFiles::Npz]);
    };
    let expected =
        "a list of one or more of \"npz\", \"npy\", \"fits\" and \"fits-cube\", each once";
    let Value::List(items) = &node.value else {
        return Err(top.wrong_type(node, &key, expected));
    };
    let mut kinds = Vec::new();
    for item in items {
        let kind = kind_of(item).filter(|kind| !kinds.contains(kind));
        match kind {
            Some(kind) => kinds.push(kind),
            None => return Err(top.wrong_type(item, &key, expected)),
        }
    }
    if kinds.is_empty() {
        return Err(top.wrong_type(node, &key, expected));
    }
    Ok(kinds)
}

fn kind_of(node: &Node) -> Option<FrameFiles> {
    let Value::Text(word) = &node.value else {
        return None;
    };
    let known = FrameFiles::ALL.iter().find(|(name, _)| name == word)?;
    Some(known.1)
}
