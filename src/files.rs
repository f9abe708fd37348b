//! Files that an owner names: a scenario with the drawing of its mask, an image, a learned response. One call each, whole or an
//! error that names the file and the next step.
//!
//! Reading is bounded: a file that is too long to be what was asked for is refused before it is in memory. Nothing is written here.

use crate::flag::{Flag, Flags};
use crate::image_io::reading::{Reading, ReadingError, read_image, take_values};
use crate::instrument::{Colour, Instrument};
use crate::mask::drawing::{self, DrawingError};
use crate::measure::learn::LearnedResponse;
use crate::measure::settings::FindingSettings;
use crate::measure::{GainRange, Picture, judge_pattern};
use crate::scenario::{self, Scenario, ScenarioError};
use crate::units::UM;
use ndarray::Array2;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

/// Why a file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The system does not hand it over.
    #[error("cannot read {what}{}: {source}", path.display())]
    Unreadable {
        /// What it was to be, with a blank behind it; empty for a text.
        what: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
        /// What to do next.
        hint: &'static str,
    },
    /// It is longer than anything of its kind.
    #[error("{} has more than {limit} bytes: {what}", path.display())]
    TooLong {
        /// The file.
        path: PathBuf,
        /// Most bytes that are read.
        limit: u64,
        /// What was expected.
        what: &'static str,
        /// What to do next.
        hint: &'static str,
    },
    /// The scenario or the response is refused.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The drawing of a mask is refused.
    #[error("{}: {source}", path.display())]
    Drawing {
        /// The drawing.
        path: PathBuf,
        /// Why.
        source: DrawingError,
    },
    /// The image is refused.
    #[error(transparent)]
    Image(#[from] ReadingError),
}

impl FileError {
    /// A file or folder that the system does not hand over.
    pub fn unreadable(path: impl Into<PathBuf>, source: io::Error) -> FileError {
        FileError::Unreadable {
            what: TEXT.named,
            path: path.into(),
            source,
            hint: TEXT.unreadable_hint,
        }
    }

    /// What to do next.
    pub fn hint(&self) -> &str {
        match self {
            FileError::Unreadable { hint, .. } | FileError::TooLong { hint, .. } => hint,
            FileError::Scenario(error) => error.hint(),
            FileError::Drawing { source, .. } => source.hint(),
            FileError::Image(error) => error.hint(),
        }
    }
}

/// One kind of file: how long it may be, and what is said where it is not that.
struct Sort {
    /// In front of its name in a message, with a blank behind it.
    named: &'static str,
    bytes_at_most: u64,
    too_long: &'static str,
    too_long_hint: &'static str,
    unreadable_hint: &'static str,
}

const TEXT: Sort = Sort {
    named: "",
    bytes_at_most: 1 << 20,
    too_long: "that is no scenario",
    too_long_hint: "give the .toml file, not a picture",
    unreadable_hint: "is the path right? skewstar new NAME writes a scenario to start from, skewstar dataset make a set",
};

const IMAGE: Sort = Sort {
    named: "the image ",
    bytes_at_most: 1 << 31,
    too_long: "a single frame is wanted",
    too_long_hint: "cut the star's surroundings out of it",
    unreadable_hint: "give a FITS, TIFF, PNG or JPEG file that lies there and may be read",
};

const DRAWING: Sort = Sort {
    named: "the drawing ",
    bytes_at_most: drawing::BYTES_AT_MOST as u64,
    too_long: "that is no drawing of a mask",
    too_long_hint: "export the plate's outlines alone, without pictures",
    unreadable_hint: "mask.drawing is looked for beside the scenario",
};

/// Reads a scenario file, its overrides (`KEY=VALUE`, as `--set` has them) and, beside it, the drawing of its mask.
///
/// # Errors
/// [`FileError`] with the file and, for a refused value, line and key.
///
/// ```
/// let error = skewstar::files::scenario("no-such-folder/unit.toml", &[]).unwrap_err();
/// assert!(error.to_string().starts_with("cannot read no-such-folder/unit.toml"));
/// assert!(error.hint().contains("skewstar new"));
/// ```
pub fn scenario(path: impl AsRef<Path>, overrides: &[String]) -> Result<Scenario, FileError> {
    let path = path.as_ref();
    scenario_of(&text_bytes(path)?, path, overrides)
}

/// The same of bytes that were read before; `path` is the file's name for messages and where its drawing lies.
///
/// # Errors
/// As [`scenario()`].
pub fn scenario_of(bytes: &[u8], path: &Path, overrides: &[String]) -> Result<Scenario, FileError> {
    let mut scenario = scenario::read_bytes(bytes, &path.display().to_string(), overrides)?;
    if let Some((at, bytes)) = drawing_of(&scenario, path.parent().unwrap_or(Path::new("")))? {
        scenario
            .put_drawing(&bytes)
            .map_err(|source| FileError::Drawing { path: at, source })?;
    }
    Ok(scenario)
}

/// The drawing that a scenario names, looked for in a folder: its path and its bytes; `None` where it names none.
///
/// # Errors
/// [`FileError::Unreadable`] and [`FileError::TooLong`].
pub fn drawing_of(
    scenario: &Scenario,
    folder: &Path,
) -> Result<Option<(PathBuf, Vec<u8>)>, FileError> {
    let Some(name) = scenario.drawing_file() else {
        return Ok(None);
    };
    let path = folder.join(name);
    let bytes = bytes(&path, &DRAWING)?;
    Ok(Some((path, bytes)))
}

/// The bytes of a text file of a scenario's size.
///
/// # Errors
/// [`FileError::Unreadable`] and [`FileError::TooLong`].
pub fn text_bytes(path: &Path) -> Result<Vec<u8>, FileError> {
    bytes(path, &TEXT)
}

/// Reads a response that `learn` wrote.
///
/// # Errors
/// [`FileError`] with file, line and key.
pub fn response(path: impl AsRef<Path>) -> Result<LearnedResponse, FileError> {
    let path = path.as_ref();
    let unreadable = |_| FileError::Unreadable {
        what: TEXT.named,
        path: path.to_owned(),
        source: io::Error::new(io::ErrorKind::InvalidData, "it is no UTF-8 text"),
        hint: "give the .response.toml file that skewstar learn wrote",
    };
    let text = String::from_utf8(text_bytes(path)?).map_err(unreadable)?;
    Ok(LearnedResponse::read(&text, &path.display().to_string())?)
}

/// An image file as it was read.
#[derive(Debug, Clone)]
pub struct ReadPicture {
    /// Its pixel values and what the file says about them.
    pub picture: Picture,
    /// What is less than perfect about the file.
    pub flags: Flags,
    /// What looked wrong in it, in sentences without the file's name.
    pub warnings: Vec<String>,
    /// When the exposure began by the camera's clock, seconds since 1970-01-01 UTC, where the file says it.
    pub began_s: Option<f64>,
}

/// Pixel pitches that differ by a larger share are two.
const SAME_PITCH: f64 = 0.01;
/// Gains that differ by a larger share are two.
const SAME_GAIN: f64 = 0.1;

/// Reads an image for measuring with this instrument: FITS, TIFF, PNG or JPEG. What the instrument says about the camera is checked
/// against the file, and pattern and gain against the frame itself; what differs is flagged and said, and the instrument's own is used but
/// for a pattern that the frame alone allows.
///
/// # Errors
/// [`FileError::Unreadable`], [`FileError::TooLong`] and [`FileError::Image`].
pub fn picture(path: impl AsRef<Path>, instrument: &Instrument) -> Result<ReadPicture, FileError> {
    let path = path.as_ref();
    picture_from(
        &bytes(path, &IMAGE)?,
        &path.display().to_string(),
        instrument,
    )
}

/// The same of the bytes of a file that were read before; `name` is the file's, for messages.
///
/// # Errors
/// [`FileError::Image`].
pub fn picture_from(
    bytes: &[u8],
    name: &str,
    instrument: &Instrument,
) -> Result<ReadPicture, FileError> {
    Ok(checked(read_image(bytes, name)?, instrument))
}

/// What the bytes of an image file say, held against nothing.
///
/// # Errors
/// [`FileError::Image`].
pub fn reading(bytes: &[u8], name: &str) -> Result<Reading, FileError> {
    Ok(read_image(bytes, name)?)
}

/// What a file says, held against an instrument, as [`picture()`] does.
pub fn read_against(reading: &Reading, instrument: &Instrument) -> ReadPicture {
    checked(reading.clone(), instrument)
}

/// The bytes of an image file, if there are not too many.
///
/// # Errors
/// [`FileError::Unreadable`] and [`FileError::TooLong`].
pub fn image_bytes(path: &Path) -> Result<Vec<u8>, FileError> {
    bytes(path, &IMAGE)
}

/// The same of pixel values that a program holds, element `[[row, column]]`, row 0 at the bottom; a value that is no number is left out.
/// `bits` are those of a stored value, `ceiling` is the largest value that they can hold (`None` where no camera fills them), and `name`
/// is used in messages.
///
/// # Errors
/// [`FileError::Image`] for fewer than two rows or columns, and where half of the values are no numbers.
pub fn picture_of(
    values: Array2<f64>,
    bits: u32,
    ceiling: Option<f64>,
    name: &str,
    instrument: &Instrument,
) -> Result<ReadPicture, FileError> {
    Ok(checked(
        take_values(values, bits, ceiling, name)?,
        instrument,
    ))
}

/// What was read, held against the instrument.
fn checked(reading: Reading, instrument: &Instrument) -> ReadPicture {
    let mut told = Told {
        flags: reading.flags.clone(),
        warnings: reading.warnings.clone(),
    };
    told.pitch(&reading, instrument);
    told.gain(&reading, instrument);
    let pattern = told.pattern(&reading, instrument);
    ReadPicture {
        picture: Picture {
            mosaic: instrument.camera.colour.is_some() && !reading.colour,
            pattern,
            ceiling_adu: reading.ceiling,
            gain_e_per_adu: reading.gain_e_per_adu,
            exposure_s: reading.exposure_s,
            sky_mirrored: reading.sky_mirrored,
            filled_in: reading.flags.has(Flag::InterpolatedColour),
            missing_px: reading.missing_px,
            ..Picture::new(reading.values)
        },
        flags: told.flags,
        warnings: told.warnings,
        began_s: reading.began_s,
    }
}

/// What is said of a file.
struct Told {
    flags: Flags,
    warnings: Vec<String>,
}

impl Told {
    fn say(&mut self, flag: Flag, warning: String) {
        self.flags.raise(flag);
        self.warnings.push(warning);
    }

    fn pitch(&mut self, reading: &Reading, instrument: &Instrument) {
        let typed_m = instrument.camera.pixel_m;
        let differs = |m: &f64| (m / typed_m - 1.0).abs() > SAME_PITCH;
        if let Some(file_m) = reading.pixel_m.filter(differs) {
            let warning = format!(
                "its pixels are {:.2} um, camera.pixel_um is {:.2}; the latter is used",
                file_m / UM,
                typed_m / UM
            );
            self.say(Flag::PixelSizeDiffers, warning);
        }
    }

    fn gain(&mut self, reading: &Reading, instrument: &Instrument) {
        let Some(electronics) = &instrument.camera.electronics else {
            return;
        };
        let typed = electronics.gain_e_per_adu;
        let differs = |gain: &f64| (gain / typed - 1.0).abs() > SAME_GAIN;
        if let Some(of_file) = reading.gain_e_per_adu.filter(differs) {
            let warning = format!(
                "its card EGAIN is {of_file}, camera.gain_e_per_adu is {typed}; the latter is used"
            );
            self.say(Flag::GainDiffers, warning);
        }
        // where values were changed by packing or by filling in colours, their noise is no camera's any more
        let changed = [
            Flag::Lossy,
            Flag::EightBits,
            Flag::InterpolatedColour,
            Flag::PerhapsNotLinear,
        ];
        if changed.into_iter().any(|flag| reading.flags.has(flag)) {
            return;
        }
        let settings = FindingSettings::default();
        let range = GainRange::of(&reading.values, electronics, &settings);
        if let Some(range) = range.filter(|range| range.excludes(typed)) {
            let warning = format!(
                "camera.gain_e_per_adu is {typed}; the noise of its background, {:.2} counts at {:.1} above camera.bias_adu, allows {} electrons a count with the typed camera.read_noise_e of {}; {typed} is used",
                range.sigma_adu,
                range.above_bias_adu,
                range.words(),
                electronics.read_noise_e
            );
            self.say(Flag::GainOffFrame, warning);
        }
    }

    /// The pattern that is to be used instead of the typed one, where there is one.
    fn pattern(&mut self, reading: &Reading, instrument: &Instrument) -> Option<[Colour; 4]> {
        let Some(array) = instrument.camera.colour.as_ref() else {
            self.say_what_to_type(reading);
            return None;
        };
        if reading.colour {
            return None;
        }
        self.flags = self.flags.without(Flag::ColourFilterArray);
        let electronics = instrument.camera.electronics.as_ref();
        let gain = electronics.map_or(1.0, |e| e.gain_e_per_adu);
        let judged = judge_pattern(
            &reading.values,
            reading.colour_pattern.as_deref().and_then(Colour::pattern),
            array,
            reading.ceiling,
            gain,
            &FindingSettings::default(),
        );
        self.flags.extend(&judged.flags);
        self.warnings.extend(judged.warnings);
        Some(judged.pattern).filter(|pattern| *pattern != array.pattern)
    }

    fn say_what_to_type(&mut self, reading: &Reading) {
        if let Some(pattern) = &reading.colour_pattern {
            self.warnings.push(format!(
                "its filters are {0} from the bottom row up: type camera.colour_pattern = \"{0}\" with camera.passbands",
                pattern
            ));
        }
    }
}

/// The bytes of a file, if there are not too many.
fn bytes(path: &Path, sort: &Sort) -> Result<Vec<u8>, FileError> {
    let unreadable = |source| FileError::Unreadable {
        what: sort.named,
        path: path.to_owned(),
        source,
        hint: sort.unreadable_hint,
    };
    let file = File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(sort.bytes_at_most + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > sort.bytes_at_most {
        return Err(FileError::TooLong {
            path: path.to_owned(),
            limit: sort.bytes_at_most,
            what: sort.too_long,
            hint: sort.too_long_hint,
        });
    }
    Ok(bytes)
}
