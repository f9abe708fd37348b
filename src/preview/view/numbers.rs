//! Shifts and what the atmosphere adds against numbers worked out here: by counting points, by hand, and by a law.

use super::*;
use crate::instrument::{ChromaticPoint, MaskDesign, MaskLayout, RegionSpec};
use crate::state::Exposure;
use crate::testing::{fast_unit, mask};
use crate::units::{ARCSEC, DEG, MM};
use approx::assert_abs_diff_eq;
use std::f64::consts::PI;

fn worn(design: MaskDesign) -> (Instrument, State, Model) {
    let instrument = Instrument {
        mask: Some(design),
        ..fast_unit()
    };
    let state = State {
        mask_on: true,
        ..State::default()
    };
    let model = Model::new(&instrument, &state, Settings::default()).expect("a model");
    (instrument, state, model)
}

/// Two wedges on either side of the middle with slots across the line between them, typed the one way up and the other down.
fn opposite_wedges() -> MaskDesign {
    let wedge = |from_deg: f64, slot_deg: f64| RegionSpec {
        azimuth_rad: [from_deg * DEG, (from_deg + 60.0) * DEG],
        radius_m: [42.0 * MM, 94.0 * MM],
        slot_rad: slot_deg * DEG,
        pitch_m: 3.4 * MM,
        open_fraction: 0.5,
    };
    MaskDesign {
        rib_m: 0.0,
        ..mask(MaskLayout::Regions(vec![
            wedge(-30.0, 90.0),
            wedge(150.0, 270.0),
        ]))
    }
}

/// Mean distance from the middle of what is open of the right wedge, in metres: points that lie between 45 and 90 mm, within 30 degrees
/// of the x axis, and in a slot.
fn mean_x_m() -> f64 {
    let (mut sum, mut count) = (0.0, 0.0);
    for i in 0..2000 {
        for j in -1000..1000 {
            let (x, y) = (
                0.045 * f64::from(i) / 1000.0,
                0.09 * (f64::from(j) + 0.5) / 1000.0,
            );
            let r = x.hypot(y);
            let slot = x / 3.4e-3 - (x / 3.4e-3).round();
            if (0.045..0.090).contains(&r)
                && y.abs() < x * libm::tan(30.0 * DEG)
                && slot.abs() < 0.25
            {
                (sum, count) = (sum + x, count + 1.0);
            }
        }
    }
    sum / count
}

/// A star that is merely displaced takes both spikes with it, whatever sense their slots were typed in. Astigmatism 2√6 xy bends
/// rays by −f/R · 2√6 x/R · c across the line, to opposite sides in opposite wedges: the spikes part by twice that.
#[test]
fn opposite_wedges_part_by_astigmatism_and_not_by_a_displacement() {
    let (instrument, state, model) = worn(opposite_wedges());
    let displaced = shifts_px(&instrument, &state, &model, 3);
    assert_abs_diff_eq!(displaced[1], 0.0, epsilon = 1e-9);
    let (focal_m, radius_m, pixel_m) = (456.0 * MM, 95.0 * MM, 3.8e-6);
    let bend_m = focal_m / radius_m * 2.0 * 6f64.sqrt() * mean_x_m() / radius_m * 100.0 * NM;
    let [crossing, separation] = shifts_px(&instrument, &state, &model, 5);
    assert_eq!(crossing, 0.0, "an owner's own regions have no triplets");
    assert_abs_diff_eq!(
        separation,
        2.0 * bend_m / pixel_m,
        epsilon = 2e-3 * separation
    );
    // the mirror image of itself: the other astigmatism pulls along the line, where slots do not look
    assert_abs_diff_eq!(
        shifts_px(&instrument, &state, &model, 6)[1],
        0.0,
        epsilon = 1e-9
    );
}

/// What the glass does at every wavelength is no error of the star: 100 nm more part the spikes by as much as on a mirror.
#[test]
fn shifts_are_counted_from_where_the_glass_puts_the_spikes() {
    let (instrument, state, model) = worn(opposite_wedges());
    let [_, alone] = shifts_px(&instrument, &state, &model, 5);
    let mut glass = instrument.clone();
    glass.telescope.chromatic = vec![ChromaticPoint {
        wavelength_m: 550.0 * NM,
        focus_m: 0.0,
        modes: [(5, 60.0 * NM)].into_iter().collect(),
    }];
    let model = Model::new(&glass, &state, Settings::default()).expect("a model");
    let [_, beyond] = shifts_px(&glass, &state, &model, 5);
    assert_abs_diff_eq!(beyond, alone, epsilon = 1e-6 * alone);
}

/// In still air an exposure shows all of the atmosphere: Noll's variance of 0.023218 (D/r0)^(5/3) rad² (check value
/// `zernike.kolmogorov_variance`) with r0 = 0.9759 λ over the seeing of 2 arcsec, at 500 nm; in nanometres it is the same at all
/// wavelengths. The zenith has 0.9997 of an atmosphere.
#[test]
fn still_air_shows_all_of_the_seeing() {
    let (instrument, mut state, _) = worn(opposite_wedges());
    state.sky.seeing_rad = Some(2.0 * ARCSEC);
    state.sky.wind_m_per_s = Some(0.0);
    state.exposure = Some(Exposure { time_s: 0.5 });
    let rows = table(&instrument, &state, Settings::default()).expect("a table");
    let over_r0 = 190.0 * MM / (0.9759 * 500.0 * NM / (2.0 * ARCSEC));
    let wanted_nm = 500.0 / (2.0 * PI) * (0.023218 * over_r0.powf(5.0 / 3.0)).sqrt();
    let found_nm = rows[0].seeing_nm.expect("seeing, wind and exposure");
    assert_abs_diff_eq!(found_nm, wanted_nm, epsilon = 1e-3 * wanted_nm);
}

/// Without a mask nothing shows, and the table says so.
#[test]
fn what_does_not_shift_is_hidden() {
    let unit = fast_unit();
    let model = Model::new(&unit, &State::default(), Settings::default()).expect("a model");
    assert_eq!(shifts_px(&unit, &State::default(), &model, 4), [0.0; 2]);
    // two wedges that are each other's mirror image: one astigmatism parts them, the other one does not
    let (instrument, state, model) = worn(opposite_wedges());
    let rows = table(&instrument, &state, Settings::default()).expect("a table");
    assert_eq!(
        rows.iter().map(|r| r.noll).collect::<Vec<_>>(),
        [4, 5, 6, 7, 8, 9, 10, 11]
    );
    let [_, separation] = shifts_px(&instrument, &state, &model, 5);
    assert_eq!(
        (rows[1].separation_px, rows[2].name),
        (separation, "astigmatism")
    );
    assert!(separation > 0.1 && rows[2].separation_px < 1e-9);
    assert!(
        rows.iter()
            .all(|r| r.photon_nm.is_none() && r.seeing_nm.is_none()),
        "relative units"
    );
}
