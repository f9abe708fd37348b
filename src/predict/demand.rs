//! What a model asks of its sampling: how far its rays reach, how much W spans, how wide the air blurs.

use super::model::BlurTerms;
use crate::atmosphere::{seeing_cutoff, seeing_fwhm_rad};
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
    star_px: [f64; 2],
    blur: Option<&BlurTerms>,
) -> Demand {
    let (telescope, camera) = (&instrument.telescope, &instrument.camera);
    let passband_m = edges(passband);
    let rim = Wavefront::radial_map(telescope).forward([telescope.aperture_radius_m(), 0.0])[0];
    let middle = 0.5 * (passband_m[0] + passband_m[1]);
    let wavefront = Wavefront::new(
        telescope,
        &alignment.modes,
        alignment.sensor_offset_m,
        middle,
        frame_axes(instrument),
    );
    let (ray_reach_m, wavefront_span_m) = reach_and_span(&wavefront, rim);
    let side = |count: usize, star: f64| (star + 0.5).abs().max((count as f64 - 0.5 - star).abs());
    let half_px = side(camera.width_px, star_px[0]).max(side(camera.height_px, star_px[1]));
    let blur_m = blur.map_or(0.0, |b| {
        let seeing = b
            .zenith_fwhm_rad
            .map_or(0.0, |z| seeing_fwhm_rad(z, b.airmass, passband_m[0]));
        seeing * telescope.focal_length_m + b.drift_m[0].hypot(b.drift_m[1]) / 4.0
    });
    let blur_cutoff_per_m = blur
        .and_then(|b| b.zenith_fwhm_rad.map(|z| (z, b.airmass)))
        .map_or(f64::INFINITY, |(zenith, air)| {
            let fwhm = seeing_fwhm_rad(zenith, air, passband_m[1]);
            seeing_cutoff(fwhm) / telescope.focal_length_m
        });
    Demand {
        pupil_radius_m: rim,
        focal_length_m: telescope.focal_length_m,
        passband_m,
        wavelengths: camera.wavelengths,
        pixel_m: camera.pixel_m,
        frame_px: [camera.width_px, camera.height_px],
        half_extent_m: half_px * camera.pixel_m,
        ray_reach_m,
        wavefront_span_m,
        slotted: state.mask_on && instrument.mask.is_some(),
        blur_m,
        blur_cutoff_per_m,
    }
}

/// Furthest landing of a ray along x or y, and the span of W, over rings and spokes of the pupil; infinite where either is
/// beyond all numbers.
fn reach_and_span(wavefront: &Wavefront, rim_m: f64) -> (f64, f64) {
    let (mut reach, mut low, mut high) = (0.0f64, f64::INFINITY, f64::NEG_INFINITY);
    for ring in 1..=12 {
        for spoke in 0..48 {
            let (angle, radius) = (
                TAU * f64::from(spoke) / 48.0,
                rim_m * f64::from(ring) / 12.0,
            );
            let place = [radius * libm::cos(angle), radius * libm::sin(angle)];
            let [x, y] = wavefront.ray_m(place);
            let value = wavefront.value_m(place);
            if ![x, y, value].iter().all(|length| length.is_finite()) {
                return (f64::INFINITY, f64::INFINITY);
            }
            (reach, low, high) = (
                reach.max(x.abs()).max(y.abs()),
                low.min(value),
                high.max(value),
            );
        }
    }
    (reach, high - low)
}
