//! What follows from a scene: scale, critical focus zone, light, saturation, where the spikes begin, what was traced, and what the
//! unit's own weight does. Numbers in the units of files; the words are the shell's.

use super::implausible::implausible;
use super::turns::{EnoughTold, ScrewTold};
use super::{Scene, SceneError};
use crate::atmosphere::airmass;
use crate::axes::FramePx;
use crate::instrument::{Electronics, Instrument, Response};
use crate::mask;
use crate::mechanics::prescription::Derived;
use crate::mechanics::{Flexure, Pointing};
use crate::predict::{Expected, airy_radius_m, critical_focus_m, doughnut, first_order_m};
use crate::simulate::saturation_adu;
use crate::state::{Modes, State};
use crate::units::{ARCMIN, ARCSEC, DEG, MM, NM, UM};
use serde::Serialize;
use std::collections::BTreeMap;

/// What follows from a scene.
#[derive(Debug, Clone, Serialize)]
pub struct Consequences {
    /// `skewstar-check/1`.
    pub format: &'static str,
    /// Title of the scene.
    pub title: String,
    /// Focal length over aperture.
    pub focal_ratio: f64,
    /// Angle on the sky that a pixel spans.
    pub scale_arcsec_per_px: f64,
    /// Width and height of the frame on the sky.
    pub frame_arcmin: [f64; 2],
    /// Defocus, either way, that puts a quarter wave at the edge of the pupil.
    pub critical_focus_um: f64,
    /// Diameter of the first dark ring of a clear aperture.
    pub airy_diameter_px: f64,
    /// Share of the full circle of the aperture that lets light through.
    pub open_area_fraction: f64,
    /// Cells across the pupil's grid.
    pub pupil_cells: usize,
    /// Samples along a pixel's side.
    pub sub_samples_per_px: usize,
    /// Wavelengths that stand for the passband.
    pub wavelengths: usize,
    /// Where in the frame a wave with W = 0 would focus.
    pub star_px: FramePx,
    /// How far that is from the frame's middle.
    pub from_middle_px: FramePx,
    /// Share of the star's light that falls into the frame.
    pub light_in_frame: f64,
    /// Electrons of the star on an unlimited sensor; `None` in relative units, as the four below.
    pub star_electrons: Option<f64>,
    /// Electrons to expect in the brightest pixel.
    pub brightest_px_electrons: Option<f64>,
    /// Electrons of sky and dark current in every pixel.
    pub background_e_per_px: Option<f64>,
    /// Electrons at which a pixel saturates, of whole counts as they are read out.
    pub saturation_e: Option<f64>,
    /// Exposure at which the brightest pixel saturates.
    pub saturates_after_s: Option<f64>,
    /// The same with the mask taken off where it is on, and put on where it is off.
    pub saturates_after_s_other: Option<f64>,
    /// Whether the mask is on; `None` without one.
    pub mask_on: Option<bool>,
    /// From the middle to the first order of each region's spike.
    pub spike_first_order_px: Vec<f64>,
    /// Photon-weighted mean wavelength.
    pub reference_wavelength_nm: f64,
    /// What the chromatic table gives that wavelength, where it is more than a tenth of the critical focus zone.
    pub colour_focus_um: Option<f64>,
    /// Peak to valley of the aligned telescope's own aberrations on its axis, in waves of the reference wavelength.
    pub design_waves: f64,
    /// The largest defocus of a wavelength in the light, in its own waves at the edge of the pupil, where the reference wavelength is in focus.
    pub colour_waves: f64,
    /// What was traced from [assembly.prescription].
    pub traced: Option<TracedNumbers>,
    /// Outer and inner diameter of the star's doughnut, by traced rays; `None` in focus and inside the caustic, the inner one also without an
    /// obstruction.
    pub doughnut_px: Option<[Option<f64>; 2]>,
    /// What an eighth of a turn of each screw does; empty without screws or a response.
    pub screws: Vec<ScrewTold>,
    /// When coma is good enough, and what an amount of it looks like.
    pub enough: EnoughTold,
    /// What is allowed and looks mistyped all the same.
    pub implausible: Vec<String>,
    /// What the unit's own weight does at some altitudes, pointed as in the scene.
    pub flexure: Vec<Leaning>,
}

/// A traced prescription in the words of the scenario file; the first nine, and those of a decentre, can be typed in as they stand.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs)] // the keys of the scenario file, explained there (`scenario::key_table`)
pub struct TracedNumbers {
    pub coma_nm_per_arcmin: f64,
    pub astigmatism_nm_per_arcmin2: f64,
    pub astigmatism_nm_per_arcmin_mm: f64,
    pub image_shift_um_per_arcmin: f64,
    pub focus_um_per_mm: f64,
    pub sensor_tilt_per_tilt: f64,
    pub field_coma_nm_per_mm: f64,
    pub field_astigmatism_nm_per_mm2: f64,
    pub field_curvature_um_per_mm2: f64,
    pub focal_length_mm: f64,
    pub focus_shift_um_per_arcmin2: f64,
    pub decentre_coma_nm_per_mm: f64,
    pub decentre_image_shift_um_per_mm: f64,
    pub astigmatism_nm_per_mm_arcmin: f64,
    pub decentre_astigmatism_nm_per_mm2: f64,
    pub decentre_astigmatism_nm_per_mm_mm: f64,
    pub decentre_focus_shift_um_per_mm2: f64,
    pub pivot_mm: f64,
    pub secondary_coma_nm_per_arcmin: f64,
    pub decentre_secondary_coma_nm_per_mm: f64,
    pub focus_um_per_mm_arcmin: f64,
    pub decentre_sensor_tilt_arcmin_per_mm: f64,
    pub spacing_spherical_nm_per_mm: f64,
    pub spacing_astigmatism_nm_per_mm_mm2: f64,
    pub field_secondary_coma_nm_per_mm: f64,
    pub design_nm: BTreeMap<u32, f64>,
    pub chromatic: Vec<TracedColour>,
    pub edges: Vec<TracedEdge>,
}

/// Focus of one wavelength beyond the reference wavelength's, and its spherical aberration against that one's.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs)] // the keys of [[telescope.chromatic]]
pub struct TracedColour {
    pub wavelength_nm: f64,
    pub focus_um: f64,
    pub modes_nm: BTreeMap<u32, f64>,
}

/// The edge of a surface, and how far from the axis, on the sensor, it begins to cut stars off.
#[derive(Debug, Clone, Serialize)]
#[allow(missing_docs)]
pub struct TracedEdge {
    pub name: String,
    pub begins_mm: f64,
}

/// The unit's own weight at one altitude, next to what the atmosphere does there.
#[derive(Debug, Clone, Serialize)]
pub struct Leaning {
    /// Altitude of the telescope.
    pub altitude_deg: f64,
    /// How far the unit leans there.
    pub tilt_arcmin: f64,
    /// The coma of that, nm RMS.
    pub coma_nm: f64,
    /// Airmass there.
    pub airmass: f64,
}

/// Longest side of the frame in which the star of a whole sensor is looked at.
const STAMP_PX: usize = 256;
/// Altitudes at which the unit's own weight is told.
const ALTITUDES_DEG: [f64; 4] = [30.0, 45.0, 60.0, 90.0];

impl Scene {
    /// What follows from it. Of a whole sensor one star is looked at, in a frame of at most 256 pixels a side.
    ///
    /// # Errors
    /// As [`Scene::model`].
    pub fn consequences(&self) -> Result<Consequences, SceneError> {
        let one = self.one_star();
        let model = one.model()?;
        let expected = Expected::new(&model, &one.instrument, &one.state, one.settings)?;
        let telescope = &self.instrument.telescope;
        let camera = &self.instrument.camera;
        let ratio = telescope.focal_ratio();
        let scale_arcsec = camera.pixel_m / telescope.focal_length_m / ARCSEC;
        let full_circle_m2 = std::f64::consts::PI * telescope.aperture_radius_m().powi(2);
        let electrons = |value: f64| expected.in_electrons.then_some(value);
        let saturation = one.saturation(&expected)?;
        Ok(Consequences {
            format: "skewstar-check/1",
            title: self.provenance.title.clone(),
            focal_ratio: ratio,
            scale_arcsec_per_px: scale_arcsec,
            frame_arcmin: [camera.width_px, camera.height_px]
                .map(|side_px| side_px as f64 * scale_arcsec / 60.0),
            critical_focus_um: critical_focus_m(model.reference_m, ratio) / UM,
            airy_diameter_px: 2.0 * airy_radius_m(model.reference_m, ratio) / camera.pixel_m,
            open_area_fraction: model.open_area_m2 / full_circle_m2,
            pupil_cells: model.plan.grid.count,
            sub_samples_per_px: model.plan.sub_samples,
            wavelengths: model.plan.wavelengths,
            star_px: model.star_px,
            from_middle_px: model.star_px - one.instrument.camera.middle_px(),
            light_in_frame: expected.light_in_frame,
            star_electrons: electrons(expected.star_total),
            brightest_px_electrons: electrons(brightest(&expected)),
            background_e_per_px: electrons(expected.background_per_px),
            saturation_e: saturation.full_e,
            saturates_after_s: saturation.after_s,
            saturates_after_s_other: saturation.after_s_other,
            mask_on: self.instrument.mask.as_ref().map(|_| self.state.mask_on),
            spike_first_order_px: first_orders_px(&self.instrument, model.reference_m),
            reference_wavelength_nm: model.reference_m / NM,
            colour_focus_um: model.colour_focus_m().map(|m| m / UM),
            design_waves: model.design_waves(),
            colour_waves: model.colour_waves(),
            traced: self.traced.as_ref().map(numbers),
            doughnut_px: doughnut(
                &one.instrument,
                &one.state,
                &model.reference_wavefront(),
                model.reference_m,
            )
            .map(|ring| {
                let across = |radius_m: f64| 2.0 * radius_m / camera.pixel_m;
                [
                    Some(across(ring.outer_radius_m)),
                    ring.dark.map(|dark| across(dark.1)),
                ]
            }),
            screws: self.screws_told(model.reference_m),
            enough: self.enough_told(model.reference_m),
            implausible: implausible(self, expected.light_in_frame),
            flexure: self.leaning(),
        })
    }

    /// The same scene with a frame in which one star of a whole sensor is looked at.
    fn one_star(&self) -> Scene {
        let mut one = self.clone();
        if self.stars.is_some() {
            let camera = &mut one.instrument.camera;
            camera.width_px = camera.width_px.min(STAMP_PX);
            camera.height_px = camera.height_px.min(STAMP_PX);
        }
        one
    }

    fn saturation(&self, expected: &Expected) -> Result<Saturation, SceneError> {
        let electronics = self.instrument.camera.electronics.as_ref();
        let (Some(electronics), Some(exposure), true) =
            (electronics, &self.state.exposure, expected.in_electrons)
        else {
            return Ok(Saturation::default());
        };
        let full_e = saturation_of_counts_e(electronics);
        let after_s = |expected: &Expected| {
            let brightest_e = brightest(expected);
            (brightest_e > 0.0).then(|| exposure.time_s * full_e / brightest_e)
        };
        let other = match &self.instrument.mask {
            None => None,
            Some(_) => after_s(&self.expected_of(&State {
                mask_on: !self.state.mask_on,
                ..self.state.clone()
            })?),
        };
        Ok(Saturation {
            full_e: Some(full_e),
            after_s: after_s(expected),
            after_s_other: other,
        })
    }

    fn leaning(&self) -> Vec<Leaning> {
        let assembly = self.instrument.assembly.as_ref();
        let response = assembly.and_then(|a| a.response.as_ref());
        match (&self.flexure, response) {
            (Some(flexure), Some(response)) => ALTITUDES_DEG
                .iter()
                .map(|altitude_deg| lean_at(*altitude_deg, flexure, response))
                .collect(),
            _ => Vec::new(),
        }
    }
}

/// When pixels saturate; nothing in relative units.
#[derive(Default)]
struct Saturation {
    full_e: Option<f64>,
    after_s: Option<f64>,
    after_s_other: Option<f64>,
}

/// Electrons at the count that is read out of a full pixel: up to half a count beside `sensor::saturation_e`.
fn saturation_of_counts_e(electronics: &Electronics) -> f64 {
    (f64::from(saturation_adu(electronics)) - electronics.bias_adu) * electronics.gain_e_per_adu
}

fn brightest(expected: &Expected) -> f64 {
    expected.image.iter().copied().fold(0.0, f64::max)
}

fn first_orders_px(instrument: &Instrument, wavelength_m: f64) -> Vec<f64> {
    let focal_length_m = instrument.telescope.focal_length_m;
    let regions = instrument.mask.as_ref().map(mask::regions);
    let order_px = |region: &mask::Region| {
        first_order_m(wavelength_m, focal_length_m, region.pitch_m) / instrument.camera.pixel_m
    };
    regions.iter().flatten().map(order_px).collect()
}

fn lean_at(altitude_deg: f64, flexure: &Flexure, response: &Response) -> Leaning {
    let altitude_rad = altitude_deg * DEG;
    let now = Pointing {
        altitude_rad,
        ..flexure.when_set
    };
    let [x, y] = flexure.tilt_rad(now);
    Leaning {
        altitude_deg,
        tilt_arcmin: x.hypot(y) / ARCMIN,
        coma_nm: (response.coma_m_per_rad * x.hypot(y)).abs() / NM,
        airmass: airmass(altitude_rad),
    }
}

fn in_nm(modes: &Modes) -> BTreeMap<u32, f64> {
    modes
        .iter()
        .map(|(noll, rms_m)| (noll, rms_m / NM))
        .collect()
}

fn numbers(derived: &Derived) -> TracedNumbers {
    let (response, field) = (&derived.response, &derived.field);
    TracedNumbers {
        coma_nm_per_arcmin: response.coma_m_per_rad * ARCMIN / NM,
        astigmatism_nm_per_arcmin2: response.astigmatism_m_per_rad2 * ARCMIN * ARCMIN / NM,
        astigmatism_nm_per_arcmin_mm: response.astigmatism_m_per_rad_m * ARCMIN * MM / NM,
        image_shift_um_per_arcmin: response.image_shift_m_per_rad * ARCMIN / UM,
        focus_um_per_mm: response.focus_m_per_m * MM / UM,
        sensor_tilt_per_tilt: response.sensor_tilt_per_tilt,
        field_coma_nm_per_mm: field.coma_per_m * MM / NM,
        field_astigmatism_nm_per_mm2: field.astigmatism_per_m2 * MM * MM / NM,
        field_curvature_um_per_mm2: field.curvature_per_m2 * MM * MM / UM,
        focal_length_mm: derived.focal_length_m / MM,
        focus_shift_um_per_arcmin2: derived.focus_m_per_rad2 * ARCMIN * ARCMIN / UM,
        decentre_coma_nm_per_mm: response.decentre_coma_m_per_m * MM / NM,
        decentre_image_shift_um_per_mm: response.decentre_image_shift_m_per_m * MM / UM,
        astigmatism_nm_per_mm_arcmin: response.astigmatism_m_per_m_rad * MM * ARCMIN / NM,
        decentre_astigmatism_nm_per_mm2: response.decentre_astigmatism_m_per_m2 * MM * MM / NM,
        decentre_astigmatism_nm_per_mm_mm: response.decentre_astigmatism_m_per_m_m * MM * MM / NM,
        decentre_focus_shift_um_per_mm2: derived.focus_m_per_m2 * MM * MM / UM,
        pivot_mm: derived.pivot_m / MM,
        secondary_coma_nm_per_arcmin: response.secondary_coma_m_per_rad * ARCMIN / NM,
        decentre_secondary_coma_nm_per_mm: response.decentre_secondary_coma_m_per_m * MM / NM,
        focus_um_per_mm_arcmin: response.focus_m_per_m_rad * MM * ARCMIN / UM,
        decentre_sensor_tilt_arcmin_per_mm: response.decentre_sensor_tilt_rad_per_m * MM / ARCMIN,
        spacing_spherical_nm_per_mm: response.spacing_spherical_m_per_m * MM / NM,
        spacing_astigmatism_nm_per_mm_mm2: response.spacing_astigmatism_m_per_m_m2 * MM * MM * MM
            / NM,
        field_secondary_coma_nm_per_mm: field.secondary_coma_per_m * MM / NM,
        design_nm: in_nm(&derived.design),
        chromatic: derived
            .chromatic
            .iter()
            .map(|point| TracedColour {
                wavelength_nm: point.wavelength_m / NM,
                focus_um: point.focus_m / UM,
                modes_nm: in_nm(&point.modes),
            })
            .collect(),
        edges: derived
            .edges
            .iter()
            .map(|edge| TracedEdge {
                name: edge.name.to_string(),
                begins_mm: edge.begins_m / MM,
            })
            .collect(),
    }
}
