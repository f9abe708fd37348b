//! The star of one mask on one telescope, ready to be looked at: its lines, its light in electrons, and what is judged.

use super::across::{Across, Stand};
use super::lines::{Judged, SpikeLine, judged, lines};
use super::told::{Observer, Sees, SpikeSeen, ViewingConditions};
use super::{
    ASSUMED, CORE_OVERFLOW, MOST_NM, RIGHT_IN_THREE_OF_FOUR, SCREEN_WHITE, SPIKE_LEVEL, aligned,
    quick, sought, wide_enough,
};
use crate::instrument::{Electronics, Instrument, MaskLayout};
use crate::predict::{Expected, Model, PredictError, Settings};
use crate::preview::view::name;
use crate::sensor::{saturation_e, variance_e2};
use crate::state::{Modes, State};
use crate::units::{ARCSEC, NM, UM};
use ndarray::Array2;

/// How much of an error a judged place needs.
struct Least {
    judged: usize,
    smallest_nm: f64,
    px_per_nm: f64,
}

/// Everything that is the same for all errors.
pub(super) struct Stage {
    pub(super) model: Model,
    pub(super) electronics: Electronics,
    pub(super) observer: Observer,
    pub(super) lines: Vec<SpikeLine>,
    pub(super) judged: Vec<Judged>,
    pub(super) assumed: Vec<&'static str>,
    /// Electrons of the whole star.
    pub(super) star_e: f64,
    pub(super) background_e: f64,
    /// A good exposure over the given one.
    pub(super) good: f64,
    /// Brightest spike and core over a full pixel.
    pub(super) levels: [f64; 2],
    pub(super) flat: Array2<f64>,
    /// Range of the screen, from the sky up.
    pub(super) screen_e: f64,
    pub(super) regions: usize,
    pub(super) pixel_m: f64,
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
        let instrument = wide_enough(instrument, &state);
        let settings = quick(settings, &state);
        let model = Model::new(&instrument, &state, settings)?;
        let expected = Expected::new(&model, &instrument, &state, settings)?;
        let mut lines = lines(&instrument, &state, &model.bins);
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
            pixel_m: instrument.camera.pixel_m,
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
    pub(super) fn camera(&self, light: Array2<f64>) -> Array2<f64> {
        let full_e = saturation_e(&self.electronics);
        light.mapv(|share| (share * self.star_e + self.background_e).min(full_e))
    }

    pub(super) fn across(&self, image: &Array2<f64>, line: &SpikeLine) -> Option<Across> {
        Across::new(image, self.model.star_px.xy(), line, &|e| {
            variance_e2(e, &self.electronics)
        })
    }

    pub(super) fn stand(&self, image: &Array2<f64>, line: &SpikeLine) -> Stand {
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
        if let Some(apart_px) = self.next_to_px(line).filter(|apart| *apart < line.width_px) {
            return Some(format!(
                "it is {:.0} px wide and {apart_px:.0} px from the next one: too little of its slots is lit",
                line.width_px
            ));
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

    pub(super) fn spikes_seen(&self, stands: &[Stand]) -> Vec<SpikeSeen> {
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
        self.next_to_px(&self.lines[number])
    }

    fn next_to_px(&self, own: &SpikeLine) -> Option<f64> {
        let out_px = 0.5 * (own.reach_px[0] + own.reach_px[1]);
        let others = self.lines.iter().filter(|other| {
            let parallel = own.turn_to(other).abs() < 1e-6;
            !parallel
        });
        others
            .map(|other| out_px * libm::sin(own.turn_to(other)).abs())
            .reduce(f64::min)
    }

    /// The judged places, each in pixels, of a picture; `None` where a crest is missing.
    pub(super) fn places(&self, image: &Array2<f64>) -> Vec<Option<f64>> {
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

    pub(super) fn sees(&self, noll: u32, stands: &[Stand]) -> Sees {
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
    pub(super) fn light(&self, modes: &Modes, offset_m: f64) -> Array2<f64> {
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

    pub(super) fn conditions(&self, state: &State) -> ViewingConditions {
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
            pixel_um: self.pixel_m / UM,
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
}
