//! What a star asks of the sampling of its model: how far its rays reach on the sensor, over how many wavelengths W spans, and how wide
//! the atmosphere blurs.

use super::model::BlurTerms;
use crate::atmosphere::{seeing_cutoff, seeing_fwhm_rad};
use crate::axes::FramePx;
use crate::instrument::{Instrument, Passband};
use crate::mechanics::Alignment;
use crate::propagation::Demand;
use crate::pupil::frame_axes;
use crate::spectrum::edges;
use crate::state::State;
use crate::wavefront::Wavefront;
use std::f64::consts::TAU;

/// The demand of a star in an alignment, seen in a passband.
pub(super) fn demand(
    instrument: &Instrument,
    state: &State,
    alignment: &Alignment,
    passband: &Passband,
    star_px: FramePx,
    blur: Option<&BlurTerms>,
) -> Demand {
    let (telescope, camera) = (&instrument.telescope, &instrument.camera);
    let passband_m = edges(passband);
    let rim = Wavefront::radial_map(telescope).forward([telescope.aperture_radius_m(), 0.0])[0];
    let waves = waves_over(instrument, alignment, passband_m);
    let rays = Rays::of(&waves, rim);
    let side = |count: usize, star: f64| {
        let farther = (star + 0.5).abs().max((count as f64 - 0.5 - star).abs());
        let half = 0.5 * count as f64;
        // in steps, so that stars a little aside have one grid and share the maps of their pupil
        half + SIDE_STEP_PX * ((farther - half) / SIDE_STEP_PX - 1e-9).ceil().max(0.0)
    };
    let half_px = side(camera.width_px, star_px[0]).max(side(camera.height_px, star_px[1]));
    let blur_m = blur.map_or(0.0, |b| {
        let seeing = b
            .zenith_fwhm_rad
            .map_or(0.0, |z| seeing_fwhm_rad(z, b.airmass, passband_m[0]));
        seeing * telescope.focal_length_m + b.drift_m[0].hypot(b.drift_m[1]) / 4.0
    });
    let blur_cutoff_per_m = blur
        .and_then(|b| b.zenith_fwhm_rad.map(|z| (z, b.airmass)))
        .map_or(f64::INFINITY, |(zenith, atmosphere)| {
            let fwhm = seeing_fwhm_rad(zenith, atmosphere, passband_m[1]);
            seeing_cutoff(fwhm) / telescope.focal_length_m
        });
    Demand {
        pupil_radius_m: rim,
        focal_length_m: telescope.focal_length_m,
        passband_m,
        wavelengths: camera.wavelengths,
        passband_over_open: passband_over_open(passband),
        pixel_m: camera.pixel_m,
        frame_px: [camera.width_px, camera.height_px],
        half_extent_m: half_px * camera.pixel_m,
        ray_reach_m: rays.reach_m,
        fringe_cycles: rays.cycles,
        slotted: state.mask_on && instrument.mask.is_some(),
        blur_m,
        blur_cutoff_per_m,
    }
}

/// What is held ready beyond the frame's half side, for a star that stands aside, comes in steps of so many pixels.
const SIDE_STEP_PX: f64 = 4.0;

/// The width of a passband over that of the part between its first and its last wavelength with light.
fn passband_over_open(passband: &Passband) -> f64 {
    let (Passband::Table(table), [first, last]) = (passband, edges(passband)) else {
        return 1.0;
    };
    let open = table
        .windows(2)
        .filter(|two| two[0].1 > 0.0 || two[1].1 > 0.0);
    let (low, high) = open.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), two| {
        (low.min(two[0].0), high.max(two[1].0))
    });
    if high > low {
        (last - first) / (high - low)
    } else {
        1.0
    }
}

/// W at the ends of a passband, with the wavelength; where the telescope's focus or modes change with it, also in the middle
/// and at the table's own wavelengths.
fn waves_over(
    instrument: &Instrument,
    alignment: &Alignment,
    [first, last]: [f64; 2],
) -> Vec<(f64, Wavefront)> {
    let telescope = &instrument.telescope;
    let own = telescope.chromatic.iter().map(|point| point.wavelength_m);
    let mut wavelengths: Vec<f64> = own.filter(|w| (first..last).contains(w)).collect();
    wavelengths.extend([first, last]);
    if !telescope.chromatic.is_empty() {
        wavelengths.push(0.5 * (first + last));
    }
    wavelengths.sort_by(f64::total_cmp);
    wavelengths.dedup();
    let wave = |wavelength_m| {
        let wavefront = Wavefront::new(
            telescope,
            &alignment.modes,
            alignment.sensor_offset_m,
            wavelength_m,
            frame_axes(instrument),
        );
        (wavelength_m, wavefront)
    };
    wavelengths.into_iter().map(wave).collect()
}

/// Farthest landing of a ray from the star, along x or y, at any wavelength of the passband, metres on the sensor; infinite where a ray
/// has no finite place.
pub fn farthest_ray_m(instrument: &Instrument, alignment: &Alignment) -> f64 {
    let telescope = &instrument.telescope;
    let rim = Wavefront::radial_map(telescope).forward([telescope.aperture_radius_m(), 0.0])[0];
    let passband_m = edges(&instrument.camera.passband);
    Rays::of(&waves_over(instrument, alignment, passband_m), rim).reach_m
}

/// Where the focus changes with wavelength, only a few colours are in focus and make most of the bright core, so that a passband needs
/// more wavelengths for the same error: this many times as many. Set by hand so that
/// `twins::a_chromatic_lens_gets_the_wavelengths_its_colours_need` keeps its 1e-3.
const COLOUR_SHARE: f64 = 4.0;

/// What rays from 12 rings times 48 spokes of the pupil show.
struct Rays {
    /// Farthest landing from the star along x or y, metres on the sensor; infinite beyond all numbers.
    reach_m: f64,
    /// Cycles by which the phase between two points of the pupil, those where it is most, changes from one end of the passband to the
    /// other. Where W itself changes with wavelength, the fastest change is taken for the whole passband, times
    /// [`COLOUR_SHARE`].
    cycles: f64,
}

impl Rays {
    fn of(waves: &[(f64, Wavefront)], rim_m: f64) -> Rays {
        let mut reach_m = 0.0f64;
        let mut extremes = vec![[f64::INFINITY, f64::NEG_INFINITY]; waves.len().saturating_sub(1)];
        for ring in 1..=12 {
            for spoke in 0..48 {
                let (angle, radius) = (
                    TAU * f64::from(spoke) / 48.0,
                    rim_m * f64::from(ring) / 12.0,
                );
                let place = [radius * libm::cos(angle), radius * libm::sin(angle)];
                let mut before = None;
                for (number, (wavelength_m, wavefront)) in waves.iter().enumerate() {
                    let [x, y] = wavefront.ray_m(place);
                    let cycles = wavefront.value_m(place) / wavelength_m;
                    if ![x, y, cycles].iter().all(|length| length.is_finite()) {
                        return Rays {
                            reach_m: f64::INFINITY,
                            cycles: f64::INFINITY,
                        };
                    }
                    reach_m = reach_m.max(x.abs()).max(y.abs());
                    if let Some(last) = before.replace(cycles) {
                        let gained: f64 = cycles - last;
                        let [low, high] = &mut extremes[number - 1];
                        (*low, *high) = (low.min(gained), high.max(gained));
                    }
                }
            }
        }
        let passband_m = waves[waves.len() - 1].0 - waves[0].0;
        let steps = extremes.iter().zip(waves.windows(2));
        let rates = steps.map(|([low, high], pair)| (high - low) / (pair[1].0 - pair[0].0));
        let share = if waves.len() > 2 { COLOUR_SHARE } else { 1.0 };
        Rays {
            reach_m,
            cycles: share * rates.fold(0.0, f64::max) * passband_m,
        }
    }
}
