//! The corners in plain sentences: what is wrong, what mends it, and what must be left alone.

use super::troubles::Cause;
use super::{Corners, Estimate};
use crate::frame::hour;
use crate::instrument::Instrument;
use crate::units::{DEG, MM};

/// Never loosened for the sake of a corner.
const LEAVE_ALONE: &str =
    "Leave the corrector's retaining ring, its centring screws and the main mirror alone";

/// A cause, and what mends it; sizes in the units of reports.
pub(super) fn cause(
    cause: Cause,
    size: Estimate,
    components: Option<[Estimate; 2]>,
    instrument: &Instrument,
) -> String {
    let Estimate { value, sigma } = size;
    let towards = components.map(|[x, y]| {
        let azimuth_rad = libm::atan2(y.value, x.value);
        hour(instrument.telescope.front_rad(azimuth_rad) / DEG)
    });
    let towards = towards.map_or(String::new(), |hour| {
        format!("{hour} o'clock (seen from the front)")
    });
    match cause {
        Cause::Drift => format!(
            "All stars are long alike, the middle too: they trail by {value:.1} ± {sigma:.1} px. That is tracking or wind, and no screw mends it: check the mount's drive, shield the telescope, or expose for a shorter time."
        ),
        Cause::Spacing => {
            let typed = instrument
                .assembly
                .as_ref()
                .and_then(|a| a.response.as_ref())
                .is_some_and(|r| r.spacing_astigmatism_m_per_m_m2 != 0.0);
            let how_far = match (typed, value > 0.0) {
                (true, true) => format!(
                    "the sensor stands {:.2} ± {sigma:.2} mm too far from the corrector: take out shims of 0.1 mm each",
                    value.abs()
                ),
                (true, false) => format!(
                    "the sensor stands {:.2} ± {sigma:.2} mm too near to the corrector: put in shims of 0.1 mm each",
                    value.abs()
                ),
                (false, _) => format!(
                    "astigmatism grows by {value:+.2} ± {sigma:.2} nm per mm squared beyond the telescope's own, as it does when the sensor stands at the wrong distance from the corrector: try 0.1 mm of shims"
                ),
            };
            format!("The four corners are alike: {how_far}. No screw mends it. {LEAVE_ALONE}.")
        }
        Cause::SensorTilt => format!(
            "The sensor leans against the unit by {value:.1} ± {sigma:.1} arcmin; its edge at {towards} lies farther beyond focus. Shim the camera or its adapter there; the unit's screws would only trade it for coma."
        ),
        Cause::UnitTilt => format!(
            "The unit is tilted by {value:.2} ± {sigma:.2} arcmin, its edge at {towards} raised. Its screws mend it."
        ),
        Cause::Decentre => format!(
            "The unit sits {value:.2} ± {sigma:.2} mm aside, towards {towards}. No screw moves it back: tilting it trades the coma of the middle for a lean of the focal plane. {LEAVE_ALONE}."
        ),
    }
}

/// A sensor out of focus.
pub(super) fn focus(size: Estimate, side_open: bool) -> String {
    let Estimate { value, sigma } = size;
    let side = match (side_open, value > 0.0) {
        (true, _) => "from focus, on a side that this frame does not show",
        (false, true) => "outside focus",
        (false, false) => "inside focus",
    };
    format!(
        "The middle is out of focus: the sensor sits {:.0} ± {:.0} um {side}. The focuser mends it, no screw.",
        value.abs(),
        sigma.max(1.0)
    )
}

/// What no frame separates.
pub(super) fn family(arm_m: f64, share: f64) -> String {
    let lean = if share == 1.0 {
        "the same angle".to_owned()
    } else {
        format!("{share:.2} times that angle")
    };
    format!(
        "No frame of this telescope tells a tilt of the unit from a unit that sits {:.0} mm per radian of it aside ({:.2} mm per 10 arcmin) with a sensor that leans by {lean}: turn the camera half round in its adapter and take a second frame (--second IMAGE --turned 180).",
        (arm_m / MM).abs(),
        (arm_m / MM).abs() * 10.0 / 60.0 * DEG
    )
}

impl Corners {
    /// A few sentences for a person.
    pub fn sentences(&self) -> Vec<String> {
        let mut lines: Vec<String> = self
            .troubles
            .iter()
            .map(|trouble| trouble.words.clone())
            .collect();
        if self.troubles.is_empty() {
            lines.push("The corners are as the aligned telescope makes them: stop here.".into());
        }
        if !self.or_else.is_empty() {
            let sets: Vec<String> = self
                .or_else
                .iter()
                .map(|set| match set.is_empty() {
                    true => "nothing".to_owned(),
                    false => set
                        .iter()
                        .map(|kind| kind.replace('_', " "))
                        .collect::<Vec<_>>()
                        .join(" with "),
                })
                .collect();
            lines.push(format!(
                "Nearly as likely on this frame: {}.",
                sets.join("; or ")
            ));
        }
        let of_unit = ["sensor_tilt", "unit_tilt", "decentre"];
        if of_unit.iter().any(|kind| self.has(kind)) {
            lines.extend(self.not_separated.clone());
            lines.extend(self.trade.as_ref().map(|trade| trade.words.clone()));
        }
        lines
    }
}
