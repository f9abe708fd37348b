//! A spike lies where the mean slope of its region says: against hand-written slopes, and in rendered frames.

use super::geometry::spread;
use super::openings::{Openings, Passage};
use super::{Case, alone, case, masked, plate};
use crate::support::direct;
use crate::support::place::{Search, spike_place_m};
use ndarray::Array2;
use skewstar::axes::FieldM;
use skewstar::instrument::*;
use skewstar::mask::{Region, regions};
use skewstar::predict::{Model, Settings};
use skewstar::simulate::{Spike, spikes};
use skewstar::state::State;
use skewstar::units::{DEG, MM, NM, UM};

/// Noll 2 to 11, all different, in metres.
fn bent() -> [f64; 10] {
    [
        12.0, -31.0, 24.0, 40.0, -55.0, 70.0, -48.0, 22.0, -17.0, 9.0,
    ]
    .map(|c| c * NM)
}

fn with_modes(state: State, noll_m: [f64; 10]) -> State {
    let modes = (2..).zip(noll_m).collect();
    State { modes, ..state }
}

/// Slope of Noll 2 to 11 at (x, y) in aperture radii, per aperture radius: Noll's Table I in x and y, differentiated by hand.
fn slope(c: &[f64; 10], x: f64, y: f64) -> [f64; 2] {
    let (r3, r5, r6, r8) = (3f64.sqrt(), 5f64.sqrt(), 6f64.sqrt(), 8f64.sqrt());
    let square = x * x + y * y;
    let terms = [
        [2.0, 0.0],
        [0.0, 2.0],
        [4.0 * r3 * x, 4.0 * r3 * y],
        [2.0 * r6 * y, 2.0 * r6 * x],
        [2.0 * r6 * x, -2.0 * r6 * y],
        [6.0 * r8 * x * y, r8 * (3.0 * x * x + 9.0 * y * y - 2.0)],
        [r8 * (9.0 * x * x + 3.0 * y * y - 2.0), 6.0 * r8 * x * y],
        [6.0 * r8 * x * y, 3.0 * r8 * (x * x - y * y)],
        [3.0 * r8 * (x * x - y * y), -6.0 * r8 * x * y],
        [
            12.0 * r5 * (2.0 * square - 1.0) * x,
            12.0 * r5 * (2.0 * square - 1.0) * y,
        ],
    ];
    [0, 1].map(|axis| c.iter().zip(&terms).map(|(a, t)| a * t[axis]).sum())
}

/// Where the ray from a pupil point lands, pupil axes.
fn ray_m(telescope: &Telescope, noll_m: &[f64; 10], offset_m: f64, place_m: [f64; 2]) -> [f64; 2] {
    let (f, radius) = (telescope.focal_length_m, telescope.aperture_radius_m());
    match telescope.focus_law {
        FocusLaw::Sine => {
            let slope = slope(noll_m, place_m[0] / radius, place_m[1] / radius);
            let tangent = |p: f64| p / (f * f - place_m[0].powi(2) - place_m[1].powi(2)).sqrt();
            [0, 1].map(|axis| -f / radius * slope[axis] - offset_m * tangent(place_m[axis]))
        }
        FocusLaw::Paraboloid => {
            // −f times the slope of W over σ = f sin u, by a central difference of the twin's W
            let shrink = 1.0 / (1.0 + (place_m[0].powi(2) + place_m[1].powi(2)) / (4.0 * f * f));
            let wave = |sx: f64, sy: f64| {
                let cos_u = (1.0 - (sx * sx + sy * sy) / (f * f)).sqrt();
                let grow = 2.0 / (1.0 + cos_u) / radius;
                direct::zernikes(noll_m, sx * grow, sy * grow) + offset_m * (1.0 - cos_u)
            };
            let (sx, sy, h) = (place_m[0] * shrink, place_m[1] * shrink, 1e-5 * radius);
            [
                -f * (wave(sx + h, sy) - wave(sx - h, sy)) / (2.0 * h),
                -f * (wave(sx, sy + h) - wave(sx, sy - h)) / (2.0 * h),
            ]
        }
    }
}

/// Whether a point of a slot belongs to a region: the same direction, the same side of the mask.
fn belongs(region: &Region, along_deg: f64, azimuth_deg: f64) -> bool {
    let apart = (azimuth_deg - region.middle_rad() / DEG).rem_euclid(360.0);
    (along_deg - region.slot_rad / DEG).abs() < 1e-6 && apart.min(360.0 - apart) < 91.0
}

/// Mean over many points of the ray along the slots, for each region.
fn mean_of_points_m(instrument: &Instrument, state: &State, noll_m: &[f64; 10]) -> Vec<f64> {
    let design = instrument.mask.as_ref().unwrap();
    let list = regions(design);
    let description = Openings::new(instrument, state);
    let mut sums = vec![(0.0, 0.0); list.len()];
    for place in spread(2_000_000, 97.0 * MM) {
        let Some(Passage::Slot {
            along_deg,
            azimuth_deg,
        }) = description.passage(place)
        else {
            continue;
        };
        let ray = ray_m(&instrument.telescope, noll_m, state.sensor_offset_m, place);
        let (sin, cos) = (along_deg * DEG + design.rotation_rad).sin_cos();
        let at = list
            .iter()
            .position(|r| belongs(r, along_deg, azimuth_deg))
            .unwrap();
        sums[at].0 += ray[0] * cos + ray[1] * sin;
        sums[at].1 += 1.0;
    }
    sums.iter().map(|(sum, count)| sum / count).collect()
}

fn engine(instrument: &Instrument, state: &State) -> (Model, Vec<Spike>) {
    let model = Model::new(instrument, state, Settings::default()).unwrap();
    let found = spikes(instrument, state, &model.reference_wavefront());
    (model, found)
}

fn moved(layout: MaskLayout) -> MaskDesign {
    MaskDesign {
        rotation_rad: 17.3 * DEG,
        offset_m: [1.3 * MM, -0.8 * MM],
        ..plate(layout)
    }
}

fn bent_cases() -> Vec<Case> {
    let mirrored_with_vane = |instrument: &mut Instrument, state: &mut State| {
        instrument.camera.rotation_rad = 33.0 * DEG;
        instrument.camera.mirrored = true;
        state.sensor_offset_m = -35.0 * UM;
        instrument.telescope.vanes = vec![Vane {
            azimuth_rad: 208.0 * DEG,
            width_m: 11.0 * MM,
            inner_radius_m: 40.5 * MM,
            outer_radius_m: 80.0 * MM,
            offset_m: 6.0 * MM,
        }];
    };
    let far_star = |instrument: &mut Instrument, state: &mut State| {
        instrument.mask.as_mut().unwrap().distance_m = 140.0 * MM;
        state.field_m = FieldM::new([6.1 * MM, -3.7 * MM]);
    };
    let paraboloid = |instrument: &mut Instrument, state: &mut State| {
        instrument.telescope.focus_law = FocusLaw::Paraboloid;
        state.sensor_offset_m = 60.0 * UM;
    };
    vec![
        case("one-triplet", moved(MaskLayout::ONE_TRIPLET), |_, _| ()),
        case(
            "three-triplet, mirrored, vane, defocused",
            moved(MaskLayout::THREE_TRIPLET),
            mirrored_with_vane,
        ),
        case("two-zone, far star", moved(MaskLayout::TWO_ZONE), far_star),
        case(
            "two-zone, paraboloid, defocused",
            moved(MaskLayout::TWO_ZONE),
            paraboloid,
        ),
    ]
}

/// Measured: at most 0.0009 µm, set by the number of points; allowed is 0.002 µm, a two-thousandth of a pixel.
#[test]
fn spikes_are_the_mean_of_hand_written_slopes() {
    for Case {
        name,
        instrument,
        state,
    } in bent_cases()
    {
        let state = with_modes(state, bent());
        let (_, found) = engine(&instrument, &state);
        let wanted = mean_of_points_m(&instrument, &state, &bent());
        assert_eq!(found.len(), wanted.len(), "{name}");
        let worst = found
            .iter()
            .map(|s| (s.shift_m - wanted[s.region]).abs() / UM)
            .fold(0.0, f64::max);
        let largest = wanted.iter().fold(0.0f64, |l, w| l.max(w.abs())) / UM;
        println!("{name}: off by at most {worst:.4} µm, largest shift {largest:.2} µm");
        assert!(largest > 1.5, "{name}: the case shows nothing");
        assert!(worst < 0.002, "{name}: {worst} µm");
    }
}

#[test]
fn no_mask_on_and_holes_give_no_spikes() {
    let (instrument, state) = masked(plate(MaskLayout::TWO_ZONE));
    assert_eq!(engine(&instrument, &state).1.len(), 18);
    assert!(
        engine(
            &instrument,
            &State {
                mask_on: false,
                ..state.clone()
            }
        )
        .1
        .is_empty()
    );
    let hole = HoleSpec {
        radius_m: 66.0 * MM,
        azimuth_rad: 0.3,
        diameter_m: 30.0 * MM,
    };
    let (instrument, state) = masked(plate(MaskLayout::Holes(vec![hole])));
    assert!(engine(&instrument, &state).1.is_empty());
}

/// The search for a spike of one region in a frame.
fn search(instrument: &Instrument, model: &Model, region: &Region, half_width_m: f64) -> Search {
    let (camera, design) = (&instrument.camera, instrument.mask.as_ref().unwrap());
    // frame position = Mirror · R(−rotation) · position in pupil axes
    let (sin, cos) = (region.slot_rad + design.rotation_rad - camera.rotation_rad).sin_cos();
    Search {
        star_px: model.star_px.xy(),
        pixel_m: camera.pixel_m,
        along: [if camera.mirrored { -cos } else { cos }, sin],
        first_order_m: model.reference_m * instrument.telescope.focal_length_m / region.pitch_m,
        half_width_m,
    }
}

fn mirrored_three_triplet() -> (Instrument, State) {
    let (mut instrument, state) = masked(moved(MaskLayout::THREE_TRIPLET));
    instrument.camera.rotation_rad = 33.0 * DEG;
    instrument.camera.mirrored = true;
    let mut modes = bent();
    modes[9] = 0.0; // spherical aberration is the table's subject
    (instrument, with_modes(state, modes))
}

/// One region at a time, seen through a plate that is otherwise solid, by a turned and mirrored camera.
///
/// Measured: off by at most 0.11 µm; allowed is 0.15 µm, a twenty-fifth of a pixel. A sign or a handedness that is wrong
/// anywhere is off by micrometres.
#[test]
fn the_rendered_spike_of_a_region_alone_lies_at_its_mean_slope() {
    let (whole, state) = mirrored_three_triplet();
    let (_, all) = engine(&whole, &state);
    let mut worst = 0.0f64;
    for (region, spike) in regions(whole.mask.as_ref().unwrap()).iter().zip(&all) {
        let single = alone(&whole, region);
        let (model, own) = engine(&single, &state);
        assert!(
            (own[0].shift_m - spike.shift_m).abs() < 1e-4 * UM,
            "the same openings"
        );
        let place = spike_place_m(
            &model.light::<f32>(),
            &search(&single, &model, region, 24.0 * UM),
        );
        println!(
            "region {}: slope {:+.3} µm, rendered {:+.3} µm",
            spike.region,
            spike.shift_m / UM,
            place / UM
        );
        worst = worst.max((place - spike.shift_m).abs());
    }
    assert!(worst < 0.15 * UM, "{} µm", worst / UM);
}

/// All nine spikes of one frame. The window is half as wide: 20 degrees on lies the next spike.
///
/// Measured: off by at most 0.22 µm, allowed is 0.3 µm, a twelfth of a pixel.
#[test]
fn the_rendered_spikes_of_a_whole_mask_lie_at_their_mean_slopes() {
    let (instrument, state) = mirrored_three_triplet();
    let (model, all) = engine(&instrument, &state);
    let light: Array2<f64> = model.light::<f32>();
    let mut worst = 0.0f64;
    for (region, spike) in regions(instrument.mask.as_ref().unwrap()).iter().zip(&all) {
        let place = spike_place_m(&light, &search(&instrument, &model, region, 12.0 * UM));
        println!(
            "region {}: slope {:+.3} µm, rendered {:+.3} µm",
            spike.region,
            spike.shift_m / UM,
            place / UM
        );
        worst = worst.max((place - spike.shift_m).abs());
    }
    assert!(worst < 0.3 * UM, "{} µm", worst / UM);
}
