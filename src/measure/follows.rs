//! Whether the star is to be brought back after a turn, and whether the focus is to be put right: only where it matters, and said why.

use super::measurement::{Measurement, Method, aligned_modes};
use super::region_rays::RegionRay;
use super::settings::AdviceSettings;
use crate::axes::{FieldM, FramePx};
use crate::flag::Flag;
use crate::frame::clock;
use crate::instrument::{Instrument, Response};
use crate::mechanics::Plane;
use crate::predict::critical_focus_m;
use crate::pupil::shift_px;
use crate::spectrum;
use crate::state::Coma;
use crate::units::{NM, UM};

/// What a turn does to the place of the star and to the focus.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Follows {
    /// How far the star moves, frame pixels; `None` where the response does not say it.
    pub moves_px: Option<FramePx>,
    /// Why the star is to be brought back; `None` where it may stay.
    pub recentre: Option<Recentre>,
    /// How far the sensor is to be moved afterwards, positive outwards; `None` where that does not matter or is not known.
    pub refocus_m: Option<f64>,
}

/// Why a star is to be brought back.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Recentre {
    /// The frame would cut it.
    LeavesFrame,
    /// The field has so much other coma there, metres RMS.
    FieldComa(f64),
}

impl Follows {
    /// What follows from a change of the unit's plane.
    pub fn of(
        plane: &Plane,
        star: Option<&Measurement>,
        instrument: &Instrument,
        stop_m: f64,
        settings: &AdviceSettings,
    ) -> Follows {
        let response = instrument
            .assembly
            .as_ref()
            .and_then(|assembly| assembly.response.as_ref());
        let told = |by: fn(&Response) -> f64| response.map(by).filter(|value| *value != 0.0);
        let shift_m = told(|r| r.image_shift_m_per_rad)
            .map(|per_rad| FieldM::new(plane.tilt_rad.map(|tilt| tilt * per_rad)));
        let focus_m = told(|r| r.focus_m_per_m).map(|per_m| plane.piston_m * per_m);
        Follows {
            moves_px: shift_m.map(|shift_m| shift_px(instrument, shift_m)),
            recentre: star
                .zip(shift_m)
                .and_then(|(star, shift_m)| recentre(star, instrument, shift_m, stop_m, settings)),
            refocus_m: focus_m
                .filter(|change_m| focus_matters(*change_m, star, instrument, settings))
                .map(|change_m| -change_m),
        }
    }

    /// What is to be done after the turn, a sentence each.
    pub fn words(&self) -> Vec<String> {
        let mut said = Vec::new();
        match (self.moves_px, self.recentre) {
            (None, _) => said.push(
                "How far the star will move is not known: turn slowly and keep it in sight.".into(),
            ),
            (Some(_), None) => {}
            (Some(shift), Some(why)) => {
                let why = match why {
                    Recentre::LeavesFrame => "the frame would cut it".into(),
                    Recentre::FieldComa(coma_m) => {
                        format!("the field has {:.0} nm of other coma there", coma_m / NM)
                    }
                };
                said.push(format!(
                    "The star will move by {:.0} px towards {}: recentre it, {why}.",
                    shift.length(),
                    clock(shift)
                ));
            }
        }
        if let Some(move_m) = self.refocus_m {
            said.push(format!("Refocus: move the sensor {}.", outwards(move_m)));
        }
        said
    }
}

/// "outwards by 12 um".
pub fn outwards(move_m: f64) -> String {
    let way = if move_m < 0.0 { "inwards" } else { "outwards" };
    format!("{way} by {:.0} um", (move_m / UM).abs())
}

fn recentre(
    star: &Measurement,
    instrument: &Instrument,
    shift_m: FieldM,
    stop_m: f64,
    settings: &AdviceSettings,
) -> Option<Recentre> {
    let there = star.star_px + shift_px(instrument, shift_m);
    if !star.flags.has(Flag::FrameSizeDiffers) && leaves_frame(star, instrument, there) {
        return Some(Recentre::LeavesFrame);
    }
    let coma_m = |field_m| Coma::of(&aligned_modes(instrument, field_m));
    let other = coma_m(star.field_m + shift_m).less(&coma_m(star.field_m));
    let other_m = other.size_m().value;
    (other_m > settings.aside_share_of_stop * stop_m).then_some(Recentre::FieldComa(other_m))
}

/// Whether the frame would cut off more of the star there than it does now.
fn leaves_frame(star: &Measurement, instrument: &Instrument, there: FramePx) -> bool {
    let size_px = [instrument.camera.width_px, instrument.camera.height_px].map(|n| n as f64);
    let room_px = |place: FramePx| {
        let side = |axis: usize| (place[axis] + 0.5).min(size_px[axis] - 0.5 - place[axis]);
        side(0).min(side(1))
    };
    // without a ring: half of what was cut out for the fit is the star's, the rest its faint surroundings
    let radius_px = star.ring.as_ref().map_or_else(
        || 0.25 * star.cut_px[1][0].min(star.cut_px[1][1]) as f64,
        |ring| ring.outer_radius_px,
    );
    room_px(there) < radius_px.min(room_px(star.star_px))
}

/// Whether a change of focus is to be put right: of a doughnut where it changes its defocus by a good share, of a masked star where an
/// eye would see it, and of sharp stars where it takes them out of the critical focus zone.
fn focus_matters(
    change_m: f64,
    star: Option<&Measurement>,
    instrument: &Instrument,
    settings: &AdviceSettings,
) -> bool {
    if let Some(masked) = star.filter(|star| star.method == Method::MaskedStar) {
        return spikes_show(change_m, masked, instrument, settings);
    }
    match star.and_then(Measurement::sensor_offset_m) {
        Some(offset) => change_m.abs() > settings.refocus_share * offset.value.abs(),
        None => {
            let [short_m, long_m] = spectrum::edges(&instrument.camera.passband);
            let ratio = instrument.telescope.focal_ratio();
            change_m.abs() > critical_focus_m(0.5 * (short_m + long_m), ratio)
        }
    }
}

/// Whether an eye sees what a defocus does to spikes: it moves the ray at a place r of the pupil, in units of its radius, by defocus
/// over twice the focal ratio times r (first-order optics), and with it the spike of a region along its slots; regions on opposite sides
/// go opposite ways.
fn spikes_show(
    defocus_m: f64,
    star: &Measurement,
    instrument: &Instrument,
    settings: &AdviceSettings,
) -> bool {
    let rim_px =
        defocus_m.abs() / (2.0 * instrument.telescope.focal_ratio()) / instrument.camera.pixel_m;
    let along = |ray: &RegionRay| libm::cos(ray.azimuth_rad - ray.slot_rad);
    let all = star.region_rays.iter().map(along);
    let [least, most] = all.fold([0.0, 0.0], |[least, most]: [f64; 2], along| {
        [least.min(along), most.max(along)]
    });
    rim_px * middle_radius(instrument) * (most - least) > settings.spike_seen_px
}

/// Mean radius of the open ring of the pupil, in units of its own: 2/3 · (1 − ε³)/(1 − ε²) for an obstruction of ε.
fn middle_radius(instrument: &Instrument) -> f64 {
    let share = instrument.telescope.obstruction_ratio();
    2.0 / 3.0 * (1.0 - share.powi(3)) / (1.0 - share * share)
}

/// How far to move the sensor before a masked star's spikes are judged, positive outwards; `None` for a star without a mask, and where
/// its defocus is not seen, by eye or beyond its uncertainty.
pub fn refocus_first_m(
    star: &Measurement,
    instrument: &Instrument,
    settings: &AdviceSettings,
) -> Option<f64> {
    let offset = star
        .sensor_offset_m()
        .filter(|_| star.method == Method::MaskedStar)?;
    let known = offset
        .sigma
        .is_some_and(|sigma| offset.value.abs() > settings.focus_seen_sigma * sigma);
    (known && spikes_show(offset.value, star, instrument, settings)).then_some(-offset.value)
}
