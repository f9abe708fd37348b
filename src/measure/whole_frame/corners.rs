//! What is wrong with the corners of a frame: from the shapes of all stars to a few numbers of the field, and from these to their causes.
//!
//! It names what explains the frame and no more: drift makes all stars long alike, the middle too; a wrong spacing makes four corners alike;
//! a tilt of the sensor takes focus from one side to the other; the unit's tilt and its decentre bring coma as well. What no frame
//! separates is said. Refuses to advise: `trade.rs` says what the screws can do.

mod fit;
mod rays;
mod trade;
mod troubles;
mod words;

pub use trade::Trade;

use super::{Estimate, FieldOfFrame, StarShape};
use crate::instrument::Instrument;
use crate::pupil::frame_axes;
use crate::spectrum::edges;
use crate::state::Modes;
use crate::units::{ARCMIN, MM, NM, UM};
use fit::{BLUR, COMA, CornerStar, FieldFit, FieldModel, OFFSET, SLOPE};
use rays::{Moments, PupilRays};
use serde::Serialize;
use troubles::{Cause, Effects, Explained, Shown, explain};

/// What a frame's corners say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Corners {
    /// Everything that is wrong, what no screw mends first; empty where nothing is.
    pub troubles: Vec<Trouble>,
    /// Other causes that explain the frame nearly as well, each a set of kinds.
    pub or_else: Vec<Vec<&'static str>>,
    /// All causes together as far as the Jacobian tells them apart.
    pub together: Vec<Together>,
    /// What no frame of this telescope separates; `None` where its response tells everything apart.
    pub not_separated: Option<String>,
    /// What turning the screws would trade; `None` where nothing that is known of the screws changes a corner.
    pub trade: Option<Trade>,
    /// Sensor beyond focus in the middle.
    pub sensor_offset_um: Estimate,
    /// Rise of the sensor offset along x and y, pupil axes.
    pub slope_um_per_mm: [Estimate; 2],
    /// Coma in the middle beyond the aligned telescope's, [Noll 8, Noll 7], pupil axes.
    pub coma_nm: [Estimate; 2],
    /// Where the field is free of coma, from the middle of the sensor, pupil axes; `None` without field coma.
    pub node_mm: Option<[Estimate; 2]>,
    /// Whether the field turned over to the other side of focus fits as well.
    pub side_open: bool,
    /// Stars that took part.
    pub stars_used: usize,
    /// Scatter of the stars' moments over what was expected.
    pub scatter_ratio: f64,
}

/// Something that is wrong.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trouble {
    /// `drift`, `focus`, `spacing`, `sensor_tilt`, `unit_tilt`, `decentre`.
    pub kind: &'static str,
    /// Its size: `drift` in pixels, `focus` in µm, `spacing` in mm (in nm per mm² where the response does not say), tilts in arcmin,
    /// `decentre` in mm.
    pub size: Estimate,
    /// The unit of the size.
    pub unit: &'static str,
    /// Its two components, pupil axes; of a drift along and across in the frame's axes; `None` where it has none.
    pub components: Option<[Estimate; 2]>,
    /// Whether turning the unit's screws mends it.
    pub screws_mend_it: bool,
    /// What it is and what mends it.
    pub words: String,
}

/// A cause among all of them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Together {
    /// As in [`Trouble`].
    pub kind: &'static str,
    /// The unit of its numbers.
    pub unit: &'static str,
    /// Its two numbers; one for a spacing.
    pub values: Vec<f64>,
    /// Their standard deviations; `None` where the frames do not determine them.
    pub sigmas: Vec<Option<f64>>,
}

/// What the model of the moments may be off by, as a share of a star's size to the power of the moment: blur that is no normal spread,
/// diffraction, pixels. Measured on rendered fields by `tests::corners`.
const MODEL_SHARES: [f64; 4] = [0.02, 0.006, 0.012, 0.05];
/// Blur of an even pixel: a twelfth of the square of its side.
const PIXEL_VARIANCE: f64 = 1.0 / 12.0;
/// A drift of length L spreads a star by L²/12 along itself.
const DRIFT_VARIANCE: f64 = 1.0 / 12.0;
/// FWHM over standard deviation of a normal spread.
const FWHM: f64 = 2.354_820_045;
/// Out of focus counts from this many standard deviations of the blur, as the defocus spreads the stars along either axis.
const FOCUS_SEEN_BLURS: f64 = 0.65;
/// And from this many of its own.
const FOCUS_SEEN_SIGMA: f64 = 4.0;

impl FieldOfFrame<'_> {
    /// Diagnoses the corners; `None` with too few stars or where no field explains them.
    pub(super) fn corners(
        &self,
        stars: &[StarShape],
        turned: Option<&[StarShape]>,
    ) -> Option<Corners> {
        let settings = self.settings();
        let model = self.field_model();
        let side = self.options.side.map(super::Side::sign);
        let fits_of = |stars: &[StarShape], turned: bool| {
            let stars = self.corner_stars(stars, turned, &model);
            match stars.len() < settings.stars_at_least {
                true => Vec::new(),
                false => model.fit(&stars, side),
            }
        };
        let first = fits_of(stars, false);
        let second = turned.map_or(Vec::new(), |stars| fits_of(stars, true));
        let response = self
            .instrument
            .assembly
            .as_ref()
            .and_then(|a| a.response.as_ref());
        let effects = Effects {
            response,
            typed_square: self.instrument.telescope.field.astigmatism_per_m2,
        };
        // where the side of focus is open, what needs fewest causes is believed
        let pairs = first.iter().flat_map(|fit| {
            let with: Vec<Option<&FieldFit>> = match second.is_empty() {
                true => vec![None],
                false => second.iter().map(Some).collect(),
            };
            with.into_iter().map(move |other| (fit, other))
        });
        let explained = pairs.filter_map(|(fit, other)| {
            let mut frames = vec![Shown { fit, turned: false }];
            frames.extend(other.map(|fit| Shown { fit, turned: true }));
            let explained = explain(&frames, &effects)?;
            let misfit: f64 = frames
                .iter()
                .map(|f| f.fit.chi_square / (f.fit.scale * f.fit.scale))
                .sum();
            Some((explained.cost + misfit, fit, explained))
        });
        let (_, fit, explained) = explained.min_by(|a, b| a.0.total_cmp(&b.0))?;
        Some(self.told(&model, fit, &explained, &effects, !second.is_empty()))
    }

    fn field_model(&self) -> FieldModel {
        let telescope = &self.instrument.telescope;
        let response = self
            .instrument
            .assembly
            .as_ref()
            .and_then(|a| a.response.as_ref());
        let spherical = response
            .filter(|r| r.spacing_astigmatism_m_per_m_m2 != 0.0)
            .map_or(0.0, |r| {
                r.spacing_spherical_m_per_m / r.spacing_astigmatism_m_per_m_m2
            });
        let design: Modes = telescope.design.clone();
        let usual_m = settings_blur_m(self.settings().usual_seeing_rad, self.instrument);
        FieldModel {
            rays: PupilRays::new(
                telescope.obstruction_ratio(),
                telescope.focal_ratio(),
                telescope.focus_law,
                &design,
            ),
            field: telescope.field.clone(),
            surfaces: telescope.surfaces.clone(),
            spherical_per_square_m2: spherical,
            usual_blur_m2: [usual_m * usual_m, 1.5 * usual_m * usual_m],
            half_m: self.half_m(),
        }
    }

    /// The stars in pupil axes; those of a frame for which the camera was turned half round, as they lie there.
    fn corner_stars(
        &self,
        stars: &[StarShape],
        turned: bool,
        model: &FieldModel,
    ) -> Vec<CornerStar> {
        let axes = frame_axes(self.instrument);
        let sign = if turned { -1.0 } else { 1.0 };
        let along = [[1.0, 0.0], [0.0, 1.0]].map(|unit| axes.backward(unit).map(|v| sign * v));
        let pixel_m = self.pixel_m();
        let one = |star: &StarShape| {
            let weighed = star.weighed?;
            let moments = Moments::of_frame(&weighed, pixel_m, along);
            let size = moments.values[0].sqrt();
            let [t, e, g, f] = [0, 1, 2, 3].map(|k| {
                let power = [2, 2, 3, 4][k];
                (weighed.sigmas[k] * pixel_m.powi(power)).hypot(MODEL_SHARES[k] * size.powi(power))
            });
            let from_middle = self.field_m(star.centre_px);
            let field_m = crate::axes::FieldM::new(from_middle.xy().map(|h| sign * h));
            Some(CornerStar {
                place: model.place(field_m),
                window_m: weighed.window_px * pixel_m,
                moments,
                sigmas: [t, e, e, g, g, f],
            })
        };
        stars.iter().filter_map(one).collect()
    }

    fn told(
        &self,
        model: &FieldModel,
        fit: &FieldFit,
        explained: &Explained,
        effects: &Effects<'_>,
        turned: bool,
    ) -> Corners {
        let sigma = |k: usize| fit.covariance[k][k].sqrt();
        let estimate = |k: usize, unit: f64| Estimate {
            value: fit.values[k] / unit,
            sigma: sigma(k) / unit,
        };
        let growth = self.instrument.telescope.field.coma_per_m;
        let axis = self.instrument.telescope.field.axis_m;
        let node_mm = (growth != 0.0).then(|| {
            [0, 1].map(|k| Estimate {
                value: (axis[k] - fit.values[COMA + k] / growth) / MM,
                sigma: (sigma(COMA + k) / growth).abs() / MM,
            })
        });
        let mut troubles: Vec<Trouble> = explained
            .named
            .iter()
            .map(|found| self.trouble(found, effects))
            .collect();
        if let Some(focus) = self.focus_trouble(fit) {
            let after_drift = usize::from(troubles.first().is_some_and(|t| t.kind == "drift"));
            troubles.insert(after_drift, focus);
        }
        let trade = trade::trade(self, model, fit);
        Corners {
            or_else: explained
                .or_else
                .iter()
                .map(|set| set.iter().map(|cause| kind(*cause)).collect())
                .collect(),
            together: explained
                .all
                .iter()
                .map(|all| self.together(all, effects))
                .collect(),
            not_separated: self.not_separated(turned),
            sensor_offset_um: estimate(OFFSET, UM),
            slope_um_per_mm: [0, 1].map(|k| estimate(SLOPE + k, UM / MM)),
            coma_nm: [0, 1].map(|k| estimate(COMA + k, NM)),
            node_mm,
            side_open: fit.sign_open,
            stars_used: fit.used,
            scatter_ratio: fit.scale,
            trade,
            troubles,
        }
    }

    /// Out of focus is what widens the stars by more than a part of their own blur: less cannot be told from a profile of another kind.
    fn focus_trouble(&self, fit: &FieldFit) -> Option<Trouble> {
        let telescope = &self.instrument.telescope;
        let ratio = telescope.obstruction_ratio();
        let spread_per_m = 0.25 * (1.0 + ratio * ratio).sqrt() / telescope.focal_ratio();
        let seen_m = FOCUS_SEEN_BLURS * fit.values[BLUR].max(0.0).sqrt() / spread_per_m;
        let (value, sigma) = (fit.values[OFFSET], fit.covariance[OFFSET][OFFSET].sqrt());
        (value.abs() > seen_m && value.abs() > FOCUS_SEEN_SIGMA * sigma).then(|| {
            let size = Estimate {
                value: value / UM,
                sigma: sigma / UM,
            };
            Trouble {
                kind: "focus",
                words: words::focus(size, fit.sign_open),
                size,
                unit: "um",
                components: None,
                screws_mend_it: false,
            }
        })
    }

    fn trouble(&self, found: &troubles::Found, effects: &Effects<'_>) -> Trouble {
        let (unit, name) = self.unit_of(found.cause, effects);
        let pixel_m = self.pixel_m();
        let (size, components) = match found.cause {
            Cause::Drift => {
                let ([a, b], s) = (found.value, found.sigma[0].max(found.sigma[1]));
                // variances along and across differ by L²/12: half of that is what was fitted
                let square = 2.0 * a.hypot(b) / DRIFT_VARIANCE;
                let length_px = square.sqrt() / pixel_m;
                let sigma_px = 0.5 * (2.0 * s / DRIFT_VARIANCE) / square.sqrt() / pixel_m;
                let angle = 0.5 * libm::atan2(b, a);
                let along =
                    frame_axes(self.instrument).forward([libm::cos(angle), libm::sin(angle)]);
                let part = |share: f64| Estimate {
                    value: length_px * share,
                    sigma: sigma_px,
                };
                (part(1.0), Some(along.map(part)))
            }
            Cause::Spacing => (
                Estimate {
                    value: found.value[0] / unit,
                    sigma: found.sigma[0] / unit,
                },
                None,
            ),
            _ => {
                let parts = [0, 1].map(|k| Estimate {
                    value: found.value[k] / unit,
                    sigma: found.sigma[k] / unit,
                });
                let length = parts[0].value.hypot(parts[1].value);
                let sigma = ((parts[0].value * parts[0].sigma)
                    .hypot(parts[1].value * parts[1].sigma))
                    / length.max(1e-300);
                (
                    Estimate {
                        value: length,
                        sigma,
                    },
                    Some(parts),
                )
            }
        };
        Trouble {
            kind: kind(found.cause),
            words: words::cause(found.cause, size, components, self.instrument),
            size,
            unit: name,
            components,
            screws_mend_it: found.cause == Cause::UnitTilt,
        }
    }

    fn together(
        &self,
        (cause, values, sigmas): &(Cause, [f64; 2], [Option<f64>; 2]),
        effects: &Effects<'_>,
    ) -> Together {
        let (unit, name) = self.unit_of(*cause, effects);
        let count = if *cause == Cause::Spacing { 1 } else { 2 };
        Together {
            kind: kind(*cause),
            unit: name,
            values: values[..count].iter().map(|v| v / unit).collect(),
            sigmas: sigmas[..count]
                .iter()
                .map(|s| s.map(|s| s / unit))
                .collect(),
        }
    }

    fn unit_of(&self, cause: Cause, effects: &Effects<'_>) -> (f64, &'static str) {
        let typed = effects
            .response
            .is_some_and(|r| r.spacing_astigmatism_m_per_m_m2 != 0.0);
        match cause {
            Cause::Drift => (self.pixel_m() * self.pixel_m(), "px2"),
            Cause::Spacing if typed => (MM, "mm"),
            Cause::Spacing => (NM / (MM * MM), "nm per mm2"),
            Cause::SensorTilt | Cause::UnitTilt => (ARCMIN, "arcmin"),
            Cause::Decentre => (MM, "mm"),
        }
    }

    /// A tilt of the unit that a decentre and a tilt of the sensor make up for in all that a frame shows: t with −L·t and −t, where coma and
    /// the astigmatism that grows with the field have the same arm L.
    fn not_separated(&self, turned: bool) -> Option<String> {
        let response = self.instrument.assembly.as_ref()?.response.as_ref()?;
        let (kt, kd) = (response.coma_m_per_rad, response.decentre_coma_m_per_m);
        if turned || kd == 0.0 || response.sensor_tilt_per_tilt == 0.0 {
            return None;
        }
        let arm_m = kt / kd;
        let (ath, adh) = (
            response.astigmatism_m_per_rad_m,
            response.decentre_astigmatism_m_per_m_m,
        );
        let apart = (ath - adh * arm_m).abs();
        (apart <= 1e-3 * ath.abs().max((adh * arm_m).abs()))
            .then(|| words::family(arm_m, response.sensor_tilt_per_tilt))
    }
}

/// Standard deviation of the blur that this seeing, diffraction and a pixel make.
fn settings_blur_m(seeing_rad: f64, instrument: &Instrument) -> f64 {
    let telescope = &instrument.telescope;
    let [first, last] = edges(&instrument.camera.passband);
    let seeing_m = seeing_rad * telescope.focal_length_m / FWHM;
    let airy_m = 0.5 * (first + last) * telescope.focal_ratio() / FWHM;
    let pixel = PIXEL_VARIANCE.sqrt() * instrument.camera.pixel_m;
    seeing_m.hypot(airy_m).hypot(pixel)
}

/// The key of a cause in reports.
fn kind(cause: Cause) -> &'static str {
    match cause {
        Cause::Drift => "drift",
        Cause::Spacing => "spacing",
        Cause::SensorTilt => "sensor_tilt",
        Cause::UnitTilt => "unit_tilt",
        Cause::Decentre => "decentre",
    }
}

impl Corners {
    /// Whether something of this kind was named.
    pub fn has(&self, kind: &str) -> bool {
        self.troubles.iter().any(|trouble| trouble.kind == kind)
    }

    /// Whether turning the screws is worth its price.
    pub fn turn_is_worth_it(&self) -> bool {
        self.trade.as_ref().is_some_and(|trade| trade.worth_it)
    }

    /// Whether the stars follow the model closely enough to be believed.
    pub fn is_sound(&self) -> bool {
        self.scatter_ratio < 3.0
    }
}

#[cfg(test)]
mod tests;
