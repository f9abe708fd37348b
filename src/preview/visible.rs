//! What a person can see of a star through a mask, read off the picture: passband, seeing, pixels, noise, full pixels and the screen.
//!
//! A spike is looked at across itself, where its slots put the first order of the passband, on both sides of the star. It counts only
//! where it stands out from the light around it ([`across`]). What is judged are places of spikes against one another ([`lines`]): the
//! middle one of a triplet against the crossing of its partners, or two parallel ones of different pitches. The star is rendered
//! with each error, and the least error is the one that moves the judged place by as much as the stated observer needs.
//!
//! The observer is an assumption, stated in every answer ([`Observer`]). `tests/observed.rs` holds the least errors against simulated
//! two-choice trials on noisy frames, by an observer that knows nothing of this code.

pub mod across;
pub mod lines;
pub mod panels;
mod sought;

use self::across::{Across, Stand};
use self::lines::{Judged, SpikeLine, judged, lines};
use crate::instrument::{Electronics, Instrument, MaskLayout};
use crate::predict::{Expected, Model, PredictError, Settings};
use crate::preview::view::name;
use crate::propagation::Accuracy;
use crate::sensor::{saturation_e, variance_e2};
use crate::state::{Modes, State};
use crate::units::{ARCSEC, NM, UM};
use ndarray::Array2;
use serde::Serialize;

/// Who looks: assumptions, no source but common practice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Observer {
    /// Shift of a spike that is told from none in three of four trials where there is no noise, pixels.
    pub eye_px: f64,
    /// A spike has to be brighter than the light beside it by this fraction of that light.
    pub contrast: f64,
    /// ... and by this fraction of the range of the screen, which is stretched straight from the sky to [`SCREEN_WHITE`] times the
    /// brightest spike.
    pub least_gray: f64,
    /// ... and by this many times its own noise.
    pub least_noise_ratio: f64,
}

impl Default for Observer {
    fn default() -> Self {
        Observer {
            eye_px: 0.3,
            contrast: 0.25,
            least_gray: 0.04,
            least_noise_ratio: 3.0,
        }
    }
}

/// White of the screen over the brightest spike.
pub const SCREEN_WHITE: f64 = 1.25;
/// Of two frames the right one is told in three of four trials when readings differ by this many times the scatter of one: √2 times the
/// quartile of the normal law.
const RIGHT_IN_THREE_OF_FOUR: f64 = 0.953_872_552_4;
/// A good exposure puts the brightest spike at this part of a full pixel ...
const SPIKE_LEVEL: f64 = 0.4;
/// ... but the core at no more than this many times full (common practice, no source: 10 to 50 times).
const CORE_OVERFLOW: f64 = 50.0;
/// No error beyond this is said to be seen, nm RMS.
pub const MOST_NM: f64 = 600.0;
/// Frames are not made wider than this.
const WIDEST_PX: usize = 640;

/// A spike as it looks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpikeSeen {
    /// Number of the region; of a drawing's spikes, a running number.
    pub region: usize,
    /// From the star to the middle of its first order on one side (the other lies opposite), frame axes.
    pub place_px: [f64; 2],
    /// How much brighter it is than the light around it, as a fraction of that light.
    pub stands_out: f64,
    /// From there to the nearest other spike's line; `null` when there is no other.
    pub apart_px: Option<f64>,
    /// Whether an eye sees it.
    pub seen: bool,
    /// Why not; empty when it is seen.
    pub why: String,
    /// Direction along the spike, frame axes, 0 to 180 degrees.
    pub along_deg: f64,
    /// From the star to the first order on both sides.
    pub first_order_px: f64,
    /// Width of the spike (FWHM): slots, seeing, pixel.
    pub width_px: f64,
}

/// The least of an error that is seen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sees {
    /// Its common name.
    pub error: &'static str,
    /// Noll index.
    pub noll: u32,
    /// nm RMS that are told from none in three of four trials; `null` where it is hidden.
    pub smallest_nm: Option<f64>,
    /// What shows it, or why it is hidden.
    pub why: String,
    /// How far the judged place moves per 100 nm RMS.
    pub px_per_100_nm: Option<f64>,
    /// Scatter of the judged place by noise.
    pub scatter_px: Option<f64>,
}

/// For which conditions all this holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ViewingConditions {
    /// FWHM at the zenith and 500 nm; `null`: none was given, and none is counted.
    pub seeing_arcsec: Option<f64>,
    /// Mean wavelength of the photons.
    pub reference_nm: f64,
    /// Pixel.
    pub pixel_um: f64,
    /// Magnitude of the star; `null` where a good exposure was assumed instead.
    pub magnitude: Option<f64>,
    /// Exposure of the frame; `null` where a good one was assumed.
    pub exposure_s: Option<f64>,
    /// The exposure that puts the brightest spike at 40 % of a full pixel, or the core at 50 times full if that is shorter.
    pub good_exposure_s: Option<f64>,
    /// Brightest spike over a full pixel.
    pub spike_level: f64,
    /// Core over a full pixel, before it is cut off there.
    pub core_level: f64,
    /// What a pixel holds.
    pub full_well_e: f64,
    /// Read noise.
    pub read_noise_e: f64,
    /// Width and height of the frame that was looked at.
    pub frame_px: usize,
    /// Who looks.
    pub observer: Observer,
    /// What was assumed because the scenario does not say.
    pub assumed: Vec<&'static str>,
}

/// A mask as it is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Visibility {
    /// One a region, or one a spike that was found in a drawing's star.
    pub spikes: Vec<SpikeSeen>,
    /// One an error that was asked for.
    pub sees: Vec<Sees>,
    /// For which conditions.
    pub conditions: ViewingConditions,
}

/// Looks at the star of an instrument through its mask: aligned, in focus, with each of these modes alone.
///
/// Turns, focus and aberrations of the state are left out; star, sky and exposure count. Without them a good exposure of an ordinary
/// camera is assumed, and said so. `None` without a mask.
///
/// # Errors
/// As [`Model::new`].
pub fn visibility(
    instrument: &Instrument,
    state: &State,
    observer: Observer,
    modes: &[u32],
    settings: Settings,
) -> Result<Option<Visibility>, PredictError> {
    let Some(stage) = Stage::new(instrument, state, observer, settings)? else {
        return Ok(None);
    };
    let stands: Vec<Stand> = stage
        .lines
        .iter()
        .map(|l| stage.stand(&stage.flat, l))
        .collect();
    Ok(Some(Visibility {
        spikes: stage.spikes_seen(&stands),
        sees: modes
            .iter()
            .map(|noll| stage.sees(*noll, &stands))
            .collect(),
        conditions: stage.conditions(state),
    }))
}

/// The frame about a star that holds its spikes, with the star in its middle: the same camera with another number of pixels.
pub fn wide_enough(instrument: &Instrument, state: &State) -> Result<Instrument, PredictError> {
    let small = framed(instrument, 64);
    let model = Model::new(&small, state, quick(Settings::default(), state))?;
    let reach = lines(&small, state, &model)
        .iter()
        .map(|l| l.reach_px[1] + 2.0 * l.width_px)
        .fold(0.0, f64::max);
    let across = match instrument.mask.as_ref().map(|m| &m.layout) {
        Some(MaskLayout::Drawing(_) | MaskLayout::Holes(_)) => instrument.camera.width_px,
        _ => 2 * (reach.ceil() as usize + 3),
    };
    Ok(framed(instrument, across.clamp(64, WIDEST_PX)))
}

fn framed(instrument: &Instrument, across_px: usize) -> Instrument {
    let mut own = instrument.clone();
    own.camera.width_px = across_px;
    own.camera.height_px = across_px;
    own.camera.colour = None;
    own
}

/// The state that is looked at: the mask on, nothing else wrong, the star in the middle.
pub fn aligned(state: &State) -> State {
    State {
        mask_on: true,
        star: state.star.clone(),
        sky: state.sky.clone(),
        exposure: state.exposure.clone(),
        field_m: state.field_m,
        ..State::default()
    }
}

/// Coarser sampling where the seeing hides the difference; an eye does not see the third digit.
fn quick(settings: Settings, state: &State) -> Settings {
    let blurred = state.sky.seeing_rad.is_some_and(|s| s > 0.0);
    Settings {
        accuracy: if blurred {
            Accuracy::fast()
        } else {
            settings.accuracy
        },
        sampling_check: false,
        bound: false,
        ..settings
    }
}

/// An ordinary camera, for scenarios without one: an assumption.
const ASSUMED: Electronics = Electronics {
    quantum_efficiency: 0.8,
    gain_e_per_adu: 0.5,
    bias_adu: 500.0,
    read_noise_e: 2.0,
    dark_e_per_s: 0.0,
    full_well_e: 20_000.0,
    bits: 16,
    pixel_response_rms: 0.0,
};

/// How much of an error a judged place needs.
struct Least {
    judged: usize,
    smallest_nm: f64,
    px_per_nm: f64,
}

/// Everything that is the same for all errors.
pub(super) struct Stage {
    model: Model,
    electronics: Electronics,
    observer: Observer,
    lines: Vec<SpikeLine>,
    judged: Vec<Judged>,
    assumed: Vec<&'static str>,
    /// Electrons of the whole star.
    star_e: f64,
    background_e: f64,
    /// A good exposure over the given one.
    good: f64,
    /// Brightest spike and core over a full pixel.
    levels: [f64; 2],
    flat: Array2<f64>,
    /// Range of the screen, from the sky up.
    screen_e: f64,
    regions: usize,
}

impl Stage {
    pub(super) fn new(
        instrument: &Instrument,
        state: &State,
        observer: Observer,
        settings: Settings,
    ) -> Result<Option<Self>, PredictError> {
        let Some(design) = &instrument.mask else {
            return Ok(None);
        };
        let state = aligned(state);
        let instrument = wide_enough(instrument, &state)?;
        let settings = quick(settings, &state);
        let model = Model::new(&instrument, &state, settings)?;
        let expected = Expected::new(&model, &instrument, &state, settings)?;
        let mut lines = lines(&instrument, &state, &model);
        let light = expected.image.mapv(|e| e - expected.background_per_px) / expected.star_total;
        let drawn = matches!(design.layout, MaskLayout::Drawing(_) | MaskLayout::Holes(_));
        if drawn {
            lines = sought::lines_of(&light, model.star_px.xy());
        }
        let mut assumed = Vec::new();
        if state.sky.seeing_rad.is_none() {
            assumed.push("no seeing");
        }
        let electronics = instrument.camera.electronics.clone().unwrap_or_else(|| {
            assumed.push("a pixel holds 20000 e, read noise 2 e");
            ASSUMED
        });
        let full_e = saturation_e(&electronics);
        let brightest = lines
            .iter()
            .map(|l| Across::brightest(&light, model.star_px.xy(), l))
            .fold(0.0, f64::max);
        let core = light.iter().copied().fold(0.0, f64::max);
        // electrons of the whole star in a good exposure
        let spike = SPIKE_LEVEL * full_e / brightest.max(f64::MIN_POSITIVE);
        let good_e = spike.min(CORE_OVERFLOW * full_e / core);
        let (star_e, background_e) = if expected.in_electrons {
            (expected.star_total, expected.background_per_px)
        } else {
            assumed.push("a good exposure of a bright enough star, no light of the sky");
            (good_e, 0.0)
        };
        let mut stage = Stage {
            judged: judged(design, &lines),
            regions: if drawn {
                lines.len()
            } else {
                crate::mask::regions(design).len()
            },
            model,
            electronics,
            observer,
            lines,
            assumed,
            star_e,
            background_e,
            good: good_e / star_e,
            levels: [brightest, core].map(|v| (v * star_e + background_e) / full_e),
            flat: Array2::zeros((0, 0)),
            screen_e: 0.0,
        };
        stage.flat = stage.camera(light);
        let most = stage
            .lines
            .iter()
            .filter_map(|l| stage.across(&stage.flat, l).map(|a| a.at(0.0)))
            .fold(0.0, f64::max);
        stage.screen_e = SCREEN_WHITE * (most - background_e).max(f64::MIN_POSITIVE);
        Ok(Some(stage))
    }

    /// Electrons that the camera holds of shares of the light.
    fn camera(&self, light: Array2<f64>) -> Array2<f64> {
        let full_e = saturation_e(&self.electronics);
        light.mapv(|share| (share * self.star_e + self.background_e).min(full_e))
    }

    fn across(&self, image: &Array2<f64>, line: &SpikeLine) -> Option<Across> {
        Across::new(image, self.model.star_px.xy(), line, &|e| {
            variance_e2(e, &self.electronics)
        })
    }

    fn stand(&self, image: &Array2<f64>, line: &SpikeLine) -> Stand {
        self.across(image, line)
            .map_or(Stand::OFF_FRAME, |a| a.stand())
    }

    /// Why a spike is not seen; `None` when it is.
    fn unseen(&self, line: &SpikeLine, stand: &Stand) -> Option<String> {
        let eye = &self.observer;
        let full_e = saturation_e(&self.electronics);
        if stand.at_px.is_none() && stand.peak_e == 0.0 {
            return Some("off the frame that was looked at, or without light".into());
        }
        if stand.peak_e > 0.97 * full_e {
            return Some("its pixels are full: expose for less time".into());
        }
        let Some(_) = stand.at_px else {
            return Some("no crest where its slots would put one".into());
        };
        if stand.at_px.is_some_and(|px| px.abs() > 0.5 * line.width_px) {
            return Some("it runs into the light of a neighbour".into());
        }
        if stand.contrast() < eye.contrast {
            return Some(format!(
                "it stands out by {:.0} % of the light around it, {:.0} % are needed",
                100.0 * stand.contrast(),
                100.0 * eye.contrast
            ));
        }
        if stand.rise_e < eye.least_noise_ratio * stand.noise_e {
            return Some(format!(
                "it stands out by {:.1} times its noise, {:.1} are needed: expose longer or take a brighter star",
                stand.rise_e / stand.noise_e,
                eye.least_noise_ratio
            ));
        }
        (stand.rise_e < eye.least_gray * self.screen_e).then(|| {
            format!(
                "it has {:.1} % of the screen's range beside the brightest spike, {:.1} % are needed",
                100.0 * stand.rise_e / self.screen_e,
                100.0 * eye.least_gray
            )
        })
    }

    fn spikes_seen(&self, stands: &[Stand]) -> Vec<SpikeSeen> {
        (0..self.regions)
            .map(|region| {
                let number = self.lines.iter().position(|l| l.regions.contains(&region));
                let Some(number) = number else {
                    return SpikeSeen {
                        region,
                        place_px: [0.0; 2],
                        stands_out: 0.0,
                        apart_px: None,
                        seen: false,
                        why: "no light comes through this region".into(),
                        along_deg: 0.0,
                        first_order_px: 0.0,
                        width_px: 0.0,
                    };
                };
                let (line, stand) = (&self.lines[number], &stands[number]);
                let why = self.unseen(line, stand);
                let out_px = 0.5 * (line.reach_px[0] + line.reach_px[1]);
                SpikeSeen {
                    region,
                    place_px: line.along.map(|d| d * out_px),
                    stands_out: stand.contrast(),
                    apart_px: self.apart_px(number),
                    seen: why.is_none(),
                    why: why.unwrap_or_default(),
                    along_deg: libm::atan2(line.along[1], line.along[0])
                        .to_degrees()
                        .rem_euclid(180.0),
                    first_order_px: out_px,
                    width_px: line.width_px,
                }
            })
            .collect()
    }

    /// From the middle of a spike's first order to the nearest other line.
    fn apart_px(&self, number: usize) -> Option<f64> {
        let own = &self.lines[number];
        let out_px = 0.5 * (own.reach_px[0] + own.reach_px[1]);
        let others = self.lines.iter().enumerate().filter(|(at, other)| {
            let parallel = own.turn_to(other).abs() < 1e-6;
            *at != number && !parallel
        });
        others
            .map(|(_, other)| out_px * libm::sin(own.turn_to(other)).abs())
            .reduce(f64::min)
    }

    /// The judged places, each in pixels, of a picture; `None` where a crest is missing.
    fn places(&self, image: &Array2<f64>) -> Vec<Option<f64>> {
        let crests: Vec<Option<f64>> = self
            .lines
            .iter()
            .map(|l| self.across(image, l).and_then(|a| a.place_px()))
            .collect();
        self.judged
            .iter()
            .map(|j| j.place(|line| crests[line]))
            .collect()
    }

    fn sees(&self, noll: u32, stands: &[Stand]) -> Sees {
        let both = self.lines.iter().zip(stands);
        let visible: Vec<bool> = both
            .map(|(line, stand)| self.unseen(line, stand).is_none())
            .collect();
        let mut usable: Vec<usize> = (0..self.judged.len())
            .filter(|j| self.judged[*j].parts.iter().all(|p| visible[p.0]))
            .collect();
        let hidden = |why: String| Sees {
            error: name(noll),
            noll,
            smallest_nm: None,
            why,
            px_per_100_nm: None,
            scatter_px: None,
        };
        if usable.is_empty() {
            return hidden(self.nothing_to_judge(stands));
        }
        let zero = self.places(&self.flat);
        let needed: Vec<f64> = self
            .judged
            .iter()
            .map(|j| self.needed_px(j, stands))
            .collect();
        let moved = |amount_nm: f64| -> Vec<f64> {
            let modes: Modes = [(noll, amount_nm * NM)].into_iter().collect();
            let bent = self.places(&self.picture(&modes));
            let shift = |j: usize| Some((bent[j]? - zero[j]?).abs());
            (0..zero.len()).map(|j| shift(j).unwrap_or(0.0)).collect()
        };
        // a place that jumps instead of moving is no measure: the next best is tried
        while !usable.is_empty() {
            let Some(least) = self.least(&usable, &needed, &moved) else {
                return hidden(format!(
                    "the spikes move together: {MOST_NM:.0} nm would not show"
                ));
            };
            let half_px = moved(0.5 * least.smallest_nm)[least.judged];
            let steady = (0.2..0.8).contains(&(half_px / needed[least.judged]));
            if !steady {
                usable.retain(|j| *j != least.judged);
                continue;
            }
            let judged = &self.judged[least.judged];
            return Sees {
                error: name(noll),
                noll,
                smallest_nm: Some(least.smallest_nm),
                why: format!(
                    "{}: {:.2} px per 100 nm, {:.2} px are needed",
                    judged.words,
                    100.0 * least.px_per_nm,
                    needed[least.judged]
                ),
                px_per_100_nm: Some(100.0 * least.px_per_nm),
                scatter_px: Some(self.scatter_px(judged, stands)),
            };
        }
        hidden("the spikes change their shape rather than their place".into())
    }

    /// The judged place that needs the least of an error, and how much; `None` where [`MOST_NM`] would not show.
    fn least(
        &self,
        usable: &[usize],
        needed: &[f64],
        moved: &dyn Fn(f64) -> Vec<f64>,
    ) -> Option<Least> {
        let mut amount_nm = 50.0;
        let mut best: Option<Least> = None;
        for _ in 0..4 {
            let shifts = moved(amount_nm);
            let own = usable.iter().map(|j| Least {
                judged: *j,
                smallest_nm: amount_nm * needed[*j] / shifts[*j].max(1e-9),
                px_per_nm: shifts[*j] / amount_nm,
            });
            let found = own.min_by(|a, b| a.smallest_nm.total_cmp(&b.smallest_nm))?;
            let wanted_nm = found.smallest_nm;
            best = Some(found);
            let close = (wanted_nm / amount_nm).ln().abs() < 0.15;
            if close || (amount_nm >= MOST_NM && wanted_nm >= MOST_NM) {
                break;
            }
            amount_nm = wanted_nm.clamp(0.5, MOST_NM);
        }
        best.filter(|b| b.smallest_nm < MOST_NM)
    }

    fn picture(&self, modes: &Modes) -> Array2<f64> {
        self.camera(self.light(modes, 0.0))
    }

    /// Shares of the light with these modes more, and the sensor so much farther out.
    fn light(&self, modes: &Modes, offset_m: f64) -> Array2<f64> {
        let alignment = &self.model.alignment;
        let mut total = alignment.modes.clone();
        total.add_scaled(modes, 1.0);
        self.model.light_of::<f64>(
            &total,
            alignment.sensor_offset_m + offset_m,
            &self.model.bins,
        )
    }

    fn scatter_px(&self, judged: &Judged, stands: &[Stand]) -> f64 {
        let parts = judged.parts.iter();
        let variance: f64 = parts
            .map(|(line, share)| (share * stands[*line].scatter_px).powi(2))
            .sum();
        variance.sqrt()
    }

    fn needed_px(&self, judged: &Judged, stands: &[Stand]) -> f64 {
        let noise_px = RIGHT_IN_THREE_OF_FOUR * self.scatter_px(judged, stands);
        self.observer.eye_px.hypot(noise_px)
    }

    /// Why there is nothing to judge by.
    fn nothing_to_judge(&self, stands: &[Stand]) -> String {
        let Some(first) = self.judged.first() else {
            return "no three spikes that cross, and no parallel ones that lie apart".into();
        };
        let reason = first.parts.iter().find_map(|(line, _)| {
            let why = self.unseen(&self.lines[*line], &stands[*line])?;
            let regions: Vec<String> = self.lines[*line]
                .regions
                .iter()
                .map(usize::to_string)
                .collect();
            Some(format!(
                "the spike of region {} is not seen: {why}",
                regions.join(" and ")
            ))
        });
        reason.unwrap_or_else(|| "too few of the spikes that are read together are seen".into())
    }

    fn conditions(&self, state: &State) -> ViewingConditions {
        let counts = state.star.is_some() && state.exposure.is_some();
        let given = state
            .exposure
            .as_ref()
            .filter(|_| counts && self.background_e.is_finite());
        let star = state.star.as_ref().filter(|_| counts);
        let in_counts = !self
            .assumed
            .iter()
            .any(|a| a.starts_with("a good exposure"));
        ViewingConditions {
            seeing_arcsec: state.sky.seeing_rad.map(|s| s / ARCSEC),
            reference_nm: self.model.reference_m / NM,
            pixel_um: self.model_pixel_m() / UM,
            magnitude: star.filter(|_| in_counts).map(|s| s.magnitude),
            exposure_s: given.filter(|_| in_counts).map(|e| e.time_s),
            good_exposure_s: given.filter(|_| in_counts).map(|e| e.time_s * self.good),
            spike_level: self.levels[0],
            core_level: self.levels[1],
            full_well_e: saturation_e(&self.electronics),
            read_noise_e: self.electronics.read_noise_e,
            frame_px: self.flat.dim().0,
            observer: self.observer,
            assumed: self.assumed.clone(),
        }
    }

    fn model_pixel_m(&self) -> f64 {
        self.lines.first().map_or(0.0, |l| l.pixel_m)
    }
}
