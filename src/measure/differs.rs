//! What a star shows to be otherwise than it was typed or assumed, each with its number and what is to be done.

use super::fit::{Dimension, Fitted, Neighbour, Unknown};
use super::measurement::Measurement;
use super::settings::JudgingSettings;
use crate::frame::clock;
use crate::instrument::Instrument;
use crate::math::Uncertain;
use crate::pupil::frame_direction;
use crate::units::{DEG, MM};
use serde::Serialize;

/// One thing that differs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// What differs: `obstruction_aside`, `obstruction_size`, `focal_length`, `vane_turn:NUMBER`, `vane_width:NUMBER`, `beam_cut`, `strip`,
    /// `drift`, `second_star`, `mask_turn`, `slot_width`, or `slot_width_open` where a masked star does not tell how wide the slots really are; vanes are
    /// numbered from 1 in the order of the file.
    pub what: String,
    /// How much: a length, a turn, or per cent more than typed; of a second star its share of the light, of a strip its width.
    pub value: f64,
    /// Its standard deviation.
    pub sigma: Option<f64>,
    /// `mm`, `px`, `deg` or `%`.
    pub unit: &'static str,
    /// What to do about it.
    pub remedy: &'static str,
    /// The same in a sentence.
    #[serde(skip)]
    pub words: String,
}

const TYPE_IT: &str = "type what it really is, and measure again";

/// All that differs beyond chance.
pub fn differences(
    found: &Measurement,
    instrument: &Instrument,
    settings: &JudgingSettings,
) -> Vec<Difference> {
    let look = DifferenceLook {
        found,
        instrument,
        seen_sigma: settings.differs_sigma,
    };
    let vanes = 0..instrument.telescope.vanes.len();
    let vanes = vanes.flat_map(|number| look.vane(number));
    let all = [
        look.obstruction_aside(),
        look.obstruction_size(),
        look.focal_length(),
        look.beam_cut(),
        look.strip(),
        look.mask_turn(),
        look.slot_width(),
        look.slots_to_measure(settings.rough_fit_chi_square),
        look.drift(),
        look.second_star(),
    ];
    all.into_iter().flatten().chain(vanes).collect()
}

struct DifferenceLook<'a> {
    found: &'a Measurement,
    instrument: &'a Instrument,
    seen_sigma: f64,
}

impl DifferenceLook<'_> {
    fn fitted(&self) -> &Fitted {
        &self.found.fitted
    }

    /// A dimension's value from where it is neutral, where that is beyond chance.
    fn seen(&self, dimension: Dimension) -> Option<Uncertain> {
        let (value, sigma) = self.fitted().get(Unknown::Dimension(dimension))?;
        let off = Uncertain {
            value: value - dimension.neutral(),
            sigma,
        };
        self.is_seen(&off).then_some(off)
    }

    fn is_seen(&self, off: &Uncertain) -> bool {
        off.sigma
            .is_some_and(|sigma| off.value.abs() > self.seen_sigma * sigma)
    }

    /// Length and direction of a vector of two unknowns, where the length is beyond chance.
    fn vector(&self, parts: [Unknown; 2]) -> Option<(Uncertain, f64)> {
        let trial = &self.fitted().trial;
        let at = [trial.position(parts[0])?, trial.position(parts[1])?];
        let [x, y] = at.map(|at| trial.values[at]);
        let value = x.hypot(y);
        let along = [(at[0], x / value), (at[1], y / value)];
        let length = Uncertain {
            value,
            sigma: self.fitted().sigma_along(&along).filter(|_| value > 0.0),
        };
        self.is_seen(&length).then(|| (length, libm::atan2(y, x)))
    }

    fn towards(&self, azimuth_rad: f64) -> String {
        clock(frame_direction(self.instrument, azimuth_rad))
    }

    fn obstruction_aside(&self) -> Option<Difference> {
        let parts = [Dimension::ObstructionX, Dimension::ObstructionY].map(Unknown::Dimension);
        let (length, azimuth) = self.vector(parts)?;
        let pair = self.found.method == super::Method::DoughnutPair;
        let (remedy, what_then) = match pair {
            true => (TYPE_IT, "two frames say so".to_string()),
            false => (
                "take a frame on the other side of focus (--second) to be sure",
                "take a frame on the other side of focus to be sure".to_string(),
            ),
        };
        let words = format!(
            "Obstruction {:.1} mm aside, towards {} in the picture: {what_then}.",
            length.value / MM,
            self.towards(azimuth)
        );
        Some(difference(
            "obstruction_aside",
            length.in_units_of(MM),
            "mm",
            remedy,
            words,
        ))
    }

    fn obstruction_size(&self) -> Option<Difference> {
        let off = self.seen(Dimension::ObstructionSize)?;
        self.per_cent("obstruction_size", off, |percent| {
            format!(
                "Obstruction {} than typed.",
                more(percent, "larger", "smaller")
            )
        })
    }

    fn focal_length(&self) -> Option<Difference> {
        let off = self.seen(Dimension::FocalLength)?;
        let remedy = "check focal length, aperture and pixel size: the star shows their ratio";
        let found = self.per_cent("focal_length", off, |percent| {
            format!(
                "Focal length {} than typed, or aperture and pixel size are off by as much.",
                more(percent, "longer", "shorter")
            )
        })?;
        Some(Difference { remedy, ..found })
    }

    fn slot_width(&self) -> Option<Difference> {
        let off = self.seen(Dimension::SlotWidth)?;
        self.per_cent("slot_width", off, |percent| {
            let design = self.instrument.mask.as_ref();
            let printed = design.and_then(|d| Some((d.slot_pitch_m.first()?, d.open_fraction)));
            let widths = printed
                .filter(|(_, open)| *open > 0.0)
                .map(|(pitch_m, open)| {
                    let typed_mm = pitch_m * open / MM;
                    let printed_mm = typed_mm * (1.0 + 0.01 * percent);
                    format!(": {printed_mm:.2} mm instead of {typed_mm:.2}")
                });
            format!(
                "The mask's slots are {} than typed{}.",
                more(percent, "wider", "narrower"),
                widths.unwrap_or_default()
            )
        })
    }

    /// A masked star that the typed slots do not explain, and that does not tell how wide they are either: round holes and drawings have no
    /// width that could be fitted, and few photons leave it open.
    fn slots_to_measure(&self, rough: f64) -> Option<Difference> {
        let masked = self.found.method == super::Method::MaskedStar;
        let fitted = self.fitted().get(Unknown::Dimension(Dimension::SlotWidth));
        let sigma = fitted.and_then(|(_, sigma)| sigma);
        let open = match fitted {
            Some(_) => sigma.is_none_or(|sigma| sigma > SLOTS_KNOWN_SHARE),
            None => self.fitted().chi_square > rough,
        };
        let (value, _) = fitted.unwrap_or((1.0, None));
        let off = Uncertain {
            value: value - 1.0,
            sigma,
        };
        let words =
            "How wide the mask's slots really are, this star does not tell: measure one slot."
                .to_owned();
        (masked && open).then(|| {
            difference(
                "slot_width_open",
                off.in_units_of(0.01),
                "%",
                "measure one slot with a caliper, and type its width over the pitch as mask.open_fraction",
                words,
            )
        })
    }

    /// A share that differs by what is worth telling.
    fn per_cent(
        &self,
        what: &str,
        off: Uncertain,
        words: impl Fn(f64) -> String,
    ) -> Option<Difference> {
        let percent = off.in_units_of(0.01);
        let worth = percent.value.abs() >= TOLD_FROM_PERCENT;
        worth.then(|| difference(what, percent, "%", TYPE_IT, words(percent.value)))
    }

    fn vane(&self, number: usize) -> Vec<Difference> {
        let (name, width) = (number + 1, Dimension::VaneWidth(number));
        let off = self.seen(width).map(|off| off.in_units_of(0.01));
        let missing = off.is_some_and(|off| off.value < MISSING_PERCENT);
        let turn = self.seen(Dimension::VaneTurn(number)).filter(|_| !missing);
        let turned = turn.map(|turn| {
            let turn = turn.in_units_of(DEG);
            let words = format!(
                "Vane {name} is turned by {:.1} degrees from where it was typed.",
                turn.value
            );
            difference(&format!("vane_turn:{name}"), turn, "deg", TYPE_IT, words)
        });
        let wide = off.map(|off| {
            let words = match missing {
                true => format!("Vane {name} is not where it was typed."),
                false => format!(
                    "Vane {name} is {} than typed.",
                    more(off.value, "wider", "narrower")
                ),
            };
            difference(&format!("vane_width:{name}"), off, "%", TYPE_IT, words)
        });
        turned.into_iter().chain(wide).collect()
    }

    fn beam_cut(&self) -> Option<Difference> {
        let parts = [Dimension::CutX, Dimension::CutY].map(Unknown::Dimension);
        let (depth, azimuth) = self.vector(parts)?;
        let words = format!(
            "Something cuts {:.1} mm off the beam on one side, at azimuth {:.0} degrees of the pupil.",
            depth.value / MM,
            (azimuth / DEG).rem_euclid(360.0)
        );
        let remedy =
            "look for an edge in the beam, such as a focuser's tube, a dew cap or a filter drawer";
        Some(difference(
            "beam_cut",
            depth.in_units_of(MM),
            "mm",
            remedy,
            words,
        ))
    }

    fn strip(&self) -> Option<Difference> {
        let width = self.seen(Dimension::StripWidth)?;
        let azimuth = Unknown::Dimension(Dimension::StripAzimuth);
        let (azimuth, _) = self.fitted().get(azimuth)?;
        let words = format!(
            "A vane or cable that was not typed, {:.1} mm wide, at azimuth {:.0} degrees of the pupil.",
            width.value / MM,
            (azimuth / DEG).rem_euclid(360.0)
        );
        Some(difference(
            "strip",
            width.in_units_of(MM),
            "mm",
            "type it as one more of telescope.vanes, or take it out of the beam",
            words,
        ))
    }

    fn mask_turn(&self) -> Option<Difference> {
        let turn = self.seen(Dimension::MaskRotation)?.in_units_of(DEG);
        let worth = turn.value.abs() >= TOLD_FROM_DEG;
        let words = format!(
            "The mask is turned by {:.1} degrees from where it was typed.",
            turn.value
        );
        worth.then(|| {
            difference(
                "mask_turn",
                turn,
                "deg",
                "nothing: it is allowed for",
                words,
            )
        })
    }

    fn drift(&self) -> Option<Difference> {
        let (length, _) = self.vector([Unknown::Drift(0, 0), Unknown::Drift(0, 1)])?;
        let words = format!(
            "The star drifted {:.1} px during the exposure.",
            length.value
        );
        Some(difference(
            "drift",
            length,
            "px",
            "see that the mount follows and nothing shakes it, or expose for less time",
            words,
        ))
    }

    fn second_star(&self) -> Option<Difference> {
        let Neighbour { aside_px, .. } = self.fitted().trial.neighbour()?;
        let (value, sigma) = self.fitted().get(Unknown::NeighbourShare)?;
        let share = Uncertain { value, sigma };
        let apart_px = aside_px[0].hypot(aside_px[1]);
        let percent = share.in_units_of(0.01);
        let words = format!(
            "A second star with {:.0} % of the light, {apart_px:.0} px away.",
            percent.value
        );
        let remedy = "nothing: it is allowed for; a star that stands alone is measured better";
        self.is_seen(&share)
            .then(|| difference("second_star", percent, "%", remedy, words))
    }
}

/// The width of slots is known where its standard deviation is no more than this share.
const SLOTS_KNOWN_SHARE: f64 = 0.05;
/// A share that differs by less than this is not worth telling.
const TOLD_FROM_PERCENT: f64 = 1.0;
/// A mask that is turned by less than this is put on as well as a hand can.
const TOLD_FROM_DEG: f64 = 1.0;
/// A vane that is narrower by as many per cent is not there.
const MISSING_PERCENT: f64 = -70.0;

fn difference(
    what: &str,
    by: Uncertain,
    unit: &'static str,
    remedy: &'static str,
    words: String,
) -> Difference {
    Difference {
        what: what.into(),
        value: by.value,
        sigma: by.sigma,
        unit,
        remedy,
        words,
    }
}

/// "2.1 % longer".
fn more(percent: f64, more: &str, less: &str) -> String {
    let word = if percent > 0.0 { more } else { less };
    format!("{:.1} % {word}", percent.abs())
}

#[cfg(test)]
mod tests;
