//! Slow twin: central differences of the frame itself.

use super::*;
use crate::instrument::{
    ColourArray, Electronics, FocusLaw, Instrument, MaskDesign, MaskLayout, Passband,
};
use crate::predict::Settings;
use crate::state::{Exposure, Sky, Star, State};
use crate::testing::fast_unit;
use crate::units::{ARCSEC, DEG, MM, NM, UM};

fn mask() -> MaskDesign {
    MaskDesign {
        slot_pitch_m: vec![9.1 * MM],
        open_fraction: 0.45,
        zone_radius_m: None,
        rotation_rad: 7.0 * DEG,
        offset_m: [0.4 * MM, -0.3 * MM],
        ..crate::testing::mask(MaskLayout::THREE_TRIPLET)
    }
}

fn small_unit(law: FocusLaw) -> Instrument {
    let mut unit = fast_unit();
    unit.telescope.focus_law = law;
    unit.mask = Some(mask());
    unit.assembly = None;
    unit.camera.width_px = 19;
    unit.camera.height_px = 16;
    unit.camera.rotation_rad = 31.0 * DEG;
    unit.camera.mirrored = true;
    unit.camera.wavelengths = Some(2);
    unit
}

/// Ugly modes; with seeing the star also drifts.
fn off(sensor_offset_m: f64, mask_on: bool, seeing_arcsec: Option<f64>) -> State {
    State {
        sensor_offset_m,
        mask_on,
        modes: [(4, 18.0), (5, -22.0), (7, 35.0), (8, -41.0), (10, 9.0)]
            .map(|(noll, nm)| (noll, nm * NM))
            .into_iter()
            .collect(),
        sky: Sky {
            seeing_rad: seeing_arcsec.map(|s| s * ARCSEC),
            tracking_drift_px: seeing_arcsec.map_or([0.0; 2], |_| [0.7, -0.4]),
            ..Sky::default()
        },
        ..State::default()
    }
}

fn light(model: &Model) -> Array2<f64> {
    model.light::<f64>()
}

/// Central difference of the light by one parameter, and the step's unit.
fn difference(model: &mut Model, parameter: Parameter) -> Array2<f64> {
    let mut change = |by: f64| -> Array2<f64> {
        match parameter {
            Parameter::PlaceX | Parameter::PlaceY => {
                let axis = usize::from(parameter == Parameter::PlaceY);
                let before = model.star_px[axis];
                model.star_px[axis] += by;
                let image = light(model);
                model.star_px[axis] = before;
                image
            }
            Parameter::Seeing => {
                let before = model.blur;
                if let Some(zenith) = model.blur.as_mut().and_then(|b| b.zenith_fwhm_rad.as_mut()) {
                    *zenith *= by.exp();
                }
                let image = light(model);
                model.blur = before;
                image
            }
            Parameter::Mode(noll) => {
                let mut modes = model.alignment.modes.clone();
                modes.add(noll, by);
                model.light_of::<f64>(&modes, model.alignment.sensor_offset_m, &model.bins)
            }
            Parameter::SensorOffset => {
                let (modes, offset) = (&model.alignment.modes, model.alignment.sensor_offset_m);
                model.light_of::<f64>(modes, offset + by, &model.bins)
            }
            Parameter::Flux => light(model) * (1.0 + by),
            Parameter::Background => light(model) + by,
        }
    };
    let step = match parameter {
        Parameter::Mode(_) => 0.05 * NM,
        Parameter::SensorOffset => 0.01 * UM,
        _ => 3e-4,
    };
    (change(step) - change(-step)) / (2.0 * step)
}

fn relative_l2(a: &Array2<f64>, b: &Array2<f64>) -> f64 {
    let diff: f64 = a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum();
    (diff / b.iter().map(|y| y * y).sum::<f64>()).sqrt()
}

/// A narrow guard keeps the test short; the derivatives are those of whatever is computed.
fn narrow_guard() -> Settings {
    let mut settings = Settings::default();
    settings.accuracy.guard_widths = 1.5;
    settings
}

/// The promise is 1e-5; differences themselves are good to about 1e-6 (step squared).
#[test]
fn columns_equal_central_differences() {
    for (law, offset_um, mask_on, seeing) in [
        (FocusLaw::Sine, 0.0, false, None),
        (FocusLaw::Sine, 0.0, true, Some(1.6)),
        (FocusLaw::Paraboloid, 0.0, true, None),
        (FocusLaw::Paraboloid, 110.0, false, Some(2.1)),
        (FocusLaw::Sine, -130.0, true, None),
    ] {
        let unit = small_unit(law);
        let state = off(offset_um * UM, mask_on, seeing);
        let mut model = Model::new(&unit, &state, narrow_guard()).unwrap();
        let mut parameters = Parameter::standard();
        parameters.push(Parameter::SensorOffset);
        let (modes, offset) = (model.alignment.modes.clone(), state.sensor_offset_m);
        let got = model
            .light_and_slopes::<f64>(&modes, offset, &model.bins, &parameters)
            .unwrap();
        assert!(relative_l2(&got.light, &light(&model)) < 1e-14);
        let in_use = Jacobian::new(&model, &parameters).unwrap();
        for ((parameter, column), used) in parameters.iter().zip(&got.columns).zip(&in_use.columns)
        {
            let want = difference(&mut model, *parameter);
            if *parameter == Parameter::Seeing && seeing.is_none() {
                assert!(column.iter().chain(&want).all(|v| *v == 0.0));
                continue;
            }
            for computed in [column, used] {
                let error = relative_l2(computed, &want);
                assert!(
                    error < 1e-5,
                    "{law:?} {offset_um} {mask_on} {seeing:?} {parameter:?}: {error:.1e}"
                );
            }
        }
    }
}

/// Single precision is good to its digits, and an even mode at perfect focus is seen not to act at first order.
#[test]
fn single_precision_and_even_modes_at_focus() {
    let mut unit = small_unit(FocusLaw::Sine);
    unit.mask = None;
    let model = Model::new(&unit, &State::default(), Settings::default()).unwrap();
    let parameters = [Parameter::Mode(4), Parameter::Mode(8)];
    let slopes = |double: bool| {
        let none = Modes::none();
        if double {
            model.light_and_slopes::<f64>(&none, 0.0, &model.bins, &parameters)
        } else {
            model.light_and_slopes::<f32>(&none, 0.0, &model.bins, &parameters)
        }
        .unwrap()
        .columns
    };
    let (double, single) = (slopes(true), slopes(false));
    let size = |image: &Array2<f64>| image.iter().map(|v| v * v).sum::<f64>().sqrt();
    assert!(size(&double[0]) < 1e-12 * size(&double[1]));
    assert!(relative_l2(&single[1], &double[1]) < 3e-6);
}

/// A colour array's columns, in electrons, against differences of the expected frame itself.
#[test]
fn colour_arrays_take_each_pixel_from_its_own_passband() {
    let mut unit = small_unit(FocusLaw::Sine);
    let band = |from: f64, to: f64| Passband::Band([from * NM, to * NM]);
    unit.camera.colour = Some(ColourArray {
        pattern: [Colour::Red, Colour::Green, Colour::Green, Colour::Blue],
        passbands: [band(590.0, 680.0), band(500.0, 580.0), band(420.0, 500.0)],
    });
    unit.camera.electronics = Some(Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 0.8,
        bias_adu: 500.0,
        read_noise_e: 1.6,
        dark_e_per_s: 0.01,
        full_well_e: 50_000.0,
        bits: 16,
        pixel_response_rms: 0.0,
    });
    let mut state = off(60.0 * UM, false, Some(1.1));
    state.star = Some(Star {
        magnitude: 4.1,
        temperature_k: 5200.0,
        altitude_rad: 57.0 * DEG,
    });
    state.exposure = Some(Exposure { time_s: 0.1 });
    let settings = Settings::default();
    let expected = |noll8_m: f64, magnitude: f64| {
        let mut state = state.clone();
        state.modes.add(8, noll8_m);
        if let Some(star) = &mut state.star {
            star.magnitude += magnitude;
        }
        let model = Model::new(&unit, &state, settings).unwrap();
        Expected::new(&model, &unit, &state, settings).unwrap()
    };
    let model = Model::new(&unit, &state, settings).unwrap();
    let parameters = [Parameter::Mode(8), Parameter::Flux, Parameter::Background];
    let got = Jacobian::new(&model, &parameters).unwrap();
    assert!(relative_l2(&got.expected.image, &expected(0.0, 0.0).image) < 1e-14);
    let step = 0.1 * NM;
    let coma = (expected(step, 0.0).image - expected(-step, 0.0).image) / (2.0 * step);
    assert!(relative_l2(&got.columns[0], &coma) < 1e-5);
    let dimmer = 2.5 * 0.999f64.log10(); // 0.1 % brighter and fainter
    let flux =
        (expected(0.0, dimmer).image - expected(0.0, -dimmer).image) / -(2.0 * 0.999f64.ln());
    assert!(relative_l2(&got.columns[1], &flux) < 1e-5);
    assert!(relative_l2(&got.columns[1], &got.star) < 1e-15);
    assert!(got.columns[2].iter().all(|v| *v == 1.0));
}
