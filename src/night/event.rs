//! What happens in a night: frames that came, and what people said they did.

use crate::axes::{FieldM, FramePx};
use crate::instrument::Hold;
use crate::measure::{Side, Sighting};
use crate::state::Coma;
use crate::units::{DEG, MM, NM};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

/// One thing that happened, and when.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// When it was written down, by this computer's clock.
    pub at: Instant,
    /// What it was.
    #[serde(flatten)]
    pub what: Happening,
}

/// What can happen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Happening {
    /// A frame came and was measured.
    Frame(FrameSeen),
    /// A frame came and was not used.
    Skipped {
        /// The file.
        #[serde(flatten)]
        file: FileSeen,
        /// Why.
        reason: String,
    },
    /// A card is held over the rim at a screw's place: the next frame shows it.
    Card {
        /// Its name.
        screw: String,
    },
    /// A frame came and showed the card.
    CardSeen {
        /// The file.
        #[serde(flatten)]
        file: FileSeen,
        /// The screw.
        screw: String,
        /// Direction of the bite from the middle of the ring, frame axes.
        direction_deg: f64,
    },
    /// A screw was turned.
    Turned {
        /// Its name.
        screw: String,
        /// How far, clockwise facing its head.
        clockwise_turns: f64,
    },
    /// The focus was moved.
    Focused {
        /// By how much, as it was said.
        by: Focusing,
    },
    /// The side of focus that the frames are on.
    Side {
        /// The side.
        side: Side,
    },
    /// The star was brought back to the middle.
    Recentred,
    /// Screws were tightened, nothing was meant to turn.
    Locked {
        /// One screw, or all.
        #[serde(skip_serializing_if = "Option::is_none")]
        screw: Option<String>,
    },
    /// The mask was put on, or taken off.
    Mask {
        /// On.
        on: bool,
    },
    /// A screw cannot be turned any more.
    Cannot {
        /// Its name.
        screw: String,
    },
    /// The step that was asked for is left out.
    Skip,
    /// What was told last is taken back.
    Undo,
}

/// How somebody says how the focus was moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Focusing {
    /// By so many micrometres outwards.
    Um(f64),
    /// By so many steps of a motor; what a step is, frames tell.
    Steps(f64),
    /// Inwards, by what it takes.
    In,
    /// Outwards.
    Out,
}

/// A file, known again by what is in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileSeen {
    /// Its name, below the folder that is followed.
    pub file: String,
    /// Its length.
    pub bytes: u64,
    /// When it was last written, whole milliseconds since 1970.
    pub written_ms: u64,
    /// The first 16 hexadecimal digits of the SHA-256 of its content.
    pub sha256: String,
}

/// A frame that was measured. Units are in the names; pupil axes are those of the hold that goes with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameSeen {
    /// The file.
    #[serde(flatten)]
    pub file: FileSeen,
    /// When its exposure began, seconds since 1970 by the camera's clock, where the file says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub began_s: Option<f64>,
    /// Its exposure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub exposure_s: Option<f64>,
    /// Whether it is of a masked star.
    pub mask: bool,
    /// `stop`, `turn`, `trial` or `look-again`.
    pub verdict: String,
    /// What the star showed; `None` where it is not to be trusted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub star: Option<StarSeen>,
}

/// What is kept of a star.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StarSeen {
    /// Noll 8, Noll 7.
    pub coma_nm: [f64; 2],
    /// Standard deviation of either.
    pub sigma_nm: f64,
    /// The hold that the star was measured in.
    pub rotation_deg: f64,
    /// The same.
    pub mirrored: bool,
    /// Where it stood.
    pub star_px: [f64; 2],
    /// Its place in the field.
    pub field_mm: [f64; 2],
    /// What the atmosphere adds to coma in such an exposure, both components together.
    pub atmosphere_nm: f64,
    /// Below which coma is good enough.
    pub stop_nm: f64,
    /// Sensor beyond focus, on the side that was assumed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_um: Option<f64>,
    /// Diameter of the ring.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ring_px: Option<f64>,
    /// FWHM of the seeing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seeing_arcsec: Option<f64>,
}

impl StarSeen {
    /// As turns are reckoned with it.
    pub fn sighting(&self) -> Sighting {
        let [x_nm, y_nm] = self.coma_nm;
        let modes = [(8, x_nm * NM), (7, y_nm * NM)].into_iter().collect();
        Sighting {
            coma: Coma::of(&modes).with_sigma(self.sigma_nm * NM),
            hold: Hold {
                rotation_rad: self.rotation_deg * DEG,
                mirrored: self.mirrored,
            },
            star_px: FramePx::new(self.star_px),
            field_m: FieldM::new(self.field_mm.map(|mm| mm * MM)),
        }
    }

    /// What is kept of a sighting; `None` where coma is not determined.
    pub fn of(sighting: &Sighting) -> Option<StarSeen> {
        Some(StarSeen {
            coma_nm: sighting.coma.xy_nm(),
            sigma_nm: sighting.coma.sigma_per_axis_m()? / NM,
            rotation_deg: sighting.hold.rotation_rad / DEG,
            mirrored: sighting.hold.mirrored,
            star_px: sighting.star_px.xy(),
            field_mm: sighting.field_m.in_units_of(MM),
            atmosphere_nm: 0.0,
            stop_nm: 0.0,
            offset_um: None,
            ring_px: None,
            seeing_arcsec: None,
        })
    }
}

/// A moment, written as people read it: `2026-11-30T21:04:05.123Z`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Instant(f64);

impl Instant {
    /// Seconds since 1970-01-01 UTC.
    pub fn of_seconds(seconds: f64) -> Instant {
        Instant(seconds.clamp(0.0, LATEST_S))
    }

    /// Seconds since 1970-01-01 UTC.
    pub fn seconds(self) -> f64 {
        self.0
    }
}

/// The year 9000: a later moment is no moment of a night.
const LATEST_S: f64 = 2.2e11;

impl std::fmt::Display for Instant {
    fn fmt(&self, out: &mut std::fmt::Formatter) -> std::fmt::Result {
        // within the years that `of_seconds` lets through, every millisecond is a moment
        let time = Timestamp::from_millisecond((self.0 * 1e3).round() as i64).unwrap_or_default();
        write!(out, "{time:.3}")
    }
}

impl Serialize for Instant {
    fn serialize<S: serde::Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        out.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Instant {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Instant, D::Error> {
        let text = String::deserialize(from)?;
        let time: Timestamp = text.parse().map_err(serde::de::Error::custom)?;
        Ok(Instant::of_seconds(time.as_millisecond() as f64 / 1e3))
    }
}
