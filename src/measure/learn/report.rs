//! What was learned, as a record for programs.

use super::{LearnedResponse, LearnedScrew, ToldTurn};
use crate::flag::Flags;
use crate::math::Uncertain;
use crate::measure::orientation::HoldCase;
use crate::units::{ARCMIN, DEG, NM, UM};
use serde::Serialize;
use std::collections::BTreeMap;

/// The record of `learn --json` (`skewstar-response/1`).
#[derive(Debug, Serialize)]
pub struct LearnReport<'a> {
    /// `skewstar-response/1`.
    pub format: &'static str,
    /// Coma per tilt, nm RMS per arcmin.
    pub coma_nm_per_arcmin: Uncertain,
    /// Image shift per tilt; `None` where the frames followed the star.
    pub image_shift_um_per_arcmin: Option<Uncertain>,
    /// Azimuth of the sensor's columns in pupil axes.
    pub rotation_deg: Uncertain,
    /// Whether the columns are flipped.
    pub mirrored: bool,
    /// Every way of holding the camera that the trials leave open, the heaviest first.
    pub holds: Vec<HoldReport>,
    /// What each screw that was tried did.
    pub screws: BTreeMap<&'a str, ScrewReport>,
    /// The turns that it was learned from, in their order.
    pub trials: Vec<ToldTurnReport<'a>>,
    /// What the trials leave open.
    pub flags: &'a Flags,
}

/// One way of holding the camera.
#[derive(Debug, Serialize)]
pub struct HoldReport {
    /// Azimuth of the sensor's columns in pupil axes.
    pub rotation_deg: f64,
    /// Whether the columns are flipped.
    pub mirrored: bool,
    /// Coma per tilt that goes with it, nm RMS per arcmin.
    pub coma_nm_per_arcmin: f64,
    /// How likely it is, 0 to 1.
    pub weight: f64,
}

/// What one turn of a screw does.
#[derive(Debug, Serialize)]
pub struct ScrewReport {
    /// Change of coma in pupil axes, nm RMS: along x (Noll 8), along y (Noll 7).
    pub coma_nm_per_turn: [f64; 2],
    /// Standard deviation of each of them.
    pub sigma: f64,
}

/// A told turn.
#[derive(Debug, Serialize)]
pub struct ToldTurnReport<'a> {
    /// Name of the screw.
    pub screw: &'a str,
    /// Its turns; positive lengthens.
    pub turns: f64,
    /// Size of coma before, less that of the aligned telescope, nm RMS.
    pub before_nm: f64,
    /// The same after.
    pub after_nm: f64,
    /// Whether coma grew, beyond what the two frames leave open: then the screw goes the other way.
    pub worse: bool,
}

impl LearnedResponse {
    /// The record for programs.
    pub fn report(&self) -> LearnReport<'_> {
        let screws = self.screws.iter();
        LearnReport {
            format: "skewstar-response/1",
            coma_nm_per_arcmin: self.coma_m_per_rad.in_units_of(NM / ARCMIN),
            image_shift_um_per_arcmin: self
                .image_shift_m_per_rad
                .map(|s| s.in_units_of(UM / ARCMIN)),
            rotation_deg: self.rotation_rad.in_units_of(DEG),
            mirrored: self.mirrored,
            holds: self.holds.iter().map(HoldReport::of).collect(),
            screws: screws
                .map(|screw| (screw.name.as_str(), ScrewReport::of(screw)))
                .collect(),
            trials: self.trials.iter().map(ToldTurnReport::of).collect(),
            flags: &self.flags,
        }
    }
}

impl<'a> ToldTurnReport<'a> {
    fn of(told: &'a ToldTurn) -> ToldTurnReport<'a> {
        let size_nm = |[x, y]: [f64; 2]| x.hypot(y) / NM;
        ToldTurnReport {
            screw: &told.screw,
            turns: told.turns,
            before_nm: size_nm(told.before_m),
            after_nm: size_nm(told.after_m),
            worse: told.grew_m().is_some(),
        }
    }
}

impl HoldReport {
    fn of(learned: &HoldCase) -> HoldReport {
        HoldReport {
            rotation_deg: learned.hold.rotation_rad / DEG,
            mirrored: learned.hold.mirrored,
            coma_nm_per_arcmin: learned.coma_m_per_rad * ARCMIN / NM,
            weight: learned.weight,
        }
    }
}

impl ScrewReport {
    fn of(screw: &LearnedScrew) -> ScrewReport {
        ScrewReport {
            coma_nm_per_turn: screw.coma_per_turn.xy_nm(),
            sigma: screw.coma_per_turn.sigma_per_axis_m().unwrap_or(0.0) / NM,
        }
    }
}
