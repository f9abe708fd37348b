//! The camera: noise statistics, saturation and rounding, colour arrays, threads, and focus against colour.

use crate::support::lens::unit;
use approx::assert_abs_diff_eq;
use ndarray::Array2;
use skewstar::flag::Flag;
use skewstar::instrument::*;
use skewstar::predict::{Expected, Model, Settings};
use skewstar::rng::Seed;
use skewstar::simulate::{Provenance, read_out, saturation_adu, simulate};
use skewstar::state::{Exposure, Modes, ScrewTurns, Sky, Star, State};
use skewstar::units::*;

fn electronics() -> Electronics {
    Electronics {
        quantum_efficiency: 0.71,
        gain_e_per_adu: 1.7,
        bias_adu: 310.0,
        read_noise_e: 3.1,
        dark_e_per_s: 0.0,
        full_well_e: f64::INFINITY,
        bits: 16,
        pixel_response_rms: 0.0,
    }
}

fn flat(electrons: f64) -> Expected {
    Expected {
        image: Array2::from_elem((180, 211), electrons),
        in_electrons: true,
        star_total: 0.0,
        light_in_frame: 1.0,
        background_per_px: electrons,
        dark_per_px: 0.0,
    }
}

/// Mean and variance of counts above the bias.
fn statistics(counts: &Array2<u16>, bias_adu: f64) -> (f64, f64) {
    let n = counts.len() as f64;
    let mean = counts.iter().map(|c| f64::from(*c) - bias_adu).sum::<f64>() / n;
    let variance = counts
        .iter()
        .map(|c| (f64::from(*c) - bias_adu - mean).powi(2))
        .sum::<f64>()
        / (n - 1.0);
    (mean, variance)
}

/// Photon-transfer curve (check value `detector.photon_transfer`): variance = mean/gain + (read noise/gain)² + 1/12 counts².
/// Two-sided, at four standard errors: n draws scatter the mean by σ/√n, the variance by √(2/n).
#[test]
fn photon_transfer_curve() {
    let camera = electronics();
    for (seed, electrons) in [(1, 4.0), (2, 90.0), (3, 1500.0), (4, 21_000.0)] {
        let frame = read_out(&flat(electrons), &camera, 3.8e-6, Seed(seed));
        let (mean, variance) = statistics(&frame.counts_adu, camera.bias_adu);
        let n = frame.counts_adu.len() as f64;
        let gain = camera.gain_e_per_adu;
        let expected_mean = electrons / gain;
        let expected_variance =
            electrons / (gain * gain) + (camera.read_noise_e / gain).powi(2) + 1.0 / 12.0;
        println!(
            "{electrons} e: mean {mean:.3} ({expected_mean:.3}), variance {variance:.3} ({expected_variance:.3})"
        );
        assert!(
            (mean - expected_mean).abs() < 4.0 * (expected_variance / n).sqrt(),
            "{electrons}: mean {mean}"
        );
        let allowed = 4.0 * expected_variance * (2.0 / n).sqrt();
        assert!(
            (variance - expected_variance).abs() < allowed,
            "{electrons}: variance {variance}"
        );
    }
}

#[test]
fn neighbouring_pixels_and_rows_are_independent() {
    let frame = read_out(&flat(400.0), &electronics(), 3.8e-6, Seed(5));
    let (mean, variance) = statistics(&frame.counts_adu, 0.0);
    let (rows, columns) = frame.counts_adu.dim();
    let value = |j: usize, i: usize| f64::from(frame.counts_adu[[j, i]]) - mean;
    for (dj, di) in [(0, 1), (1, 0), (1, 1)] {
        let mut sum = 0.0;
        for j in 0..rows - dj {
            for i in 0..columns - di {
                sum += value(j, i) * value(j + dj, i + di);
            }
        }
        let n = ((rows - dj) * (columns - di)) as f64;
        let correlation = sum / n / variance;
        assert!(
            correlation.abs() < 4.0 / n.sqrt(),
            "{dj} {di}: {correlation}"
        );
    }
}

#[test]
fn the_spread_of_the_pixels_stays_with_the_pixels() {
    let camera = Electronics {
        pixel_response_rms: 0.02,
        read_noise_e: 0.0,
        ..electronics()
    };
    let (electrons, gain) = (30_000.0, camera.gain_e_per_adu);
    let frame = read_out(&flat(electrons), &camera, 3.8e-6, Seed(6));
    let (_, variance) = statistics(&frame.counts_adu, camera.bias_adu);
    let expected = (electrons + (0.02 * electrons).powi(2)) / (gain * gain) + 1.0 / 12.0;
    let n = frame.counts_adu.len() as f64;
    assert!(
        (variance - expected).abs() < 4.0 * expected * (2.0 / n).sqrt(),
        "{variance} {expected}"
    );
    // dark current is not dimmed by a pixel's sensitivity
    let dark = Expected {
        dark_per_px: electrons,
        ..flat(electrons)
    };
    let (_, variance) = statistics(
        &read_out(&dark, &camera, 3.8e-6, Seed(6)).counts_adu,
        camera.bias_adu,
    );
    let expected = electrons / (gain * gain) + 1.0 / 12.0;
    assert!(
        (variance - expected).abs() < 4.0 * expected * (2.0 / n).sqrt(),
        "{variance} {expected}"
    );
}

/// Check value `detector.saturation_e`: the smaller of full well and converter limit.
#[test]
fn saturation_is_the_lower_of_well_and_converter() {
    let camera = |full_well_e: f64| Electronics {
        gain_e_per_adu: 4.0,
        bias_adu: 100.0,
        bits: 12,
        read_noise_e: 0.0,
        full_well_e,
        ..electronics()
    };
    assert_eq!(saturation_adu(&camera(15_000.0)), 3850);
    assert_eq!(saturation_adu(&camera(50_000.0)), 4095);
    for (well, level) in [(15_000.0, 3850), (50_000.0, 4095)] {
        let frame = read_out(&flat(90_000.0), &camera(well), 3.8e-6, Seed(7));
        assert!(frame.counts_adu.iter().all(|c| *c == level));
        assert_eq!(frame.saturated_px, frame.counts_adu.len());
    }
    let empty = read_out(&flat(0.0), &camera(15_000.0), 3.8e-6, Seed(8));
    assert_eq!(empty.saturated_px, 0);
}

fn night() -> (Instrument, State) {
    let mut instrument = unit();
    instrument.camera.width_px = 40;
    instrument.camera.height_px = 34;
    instrument.camera.electronics = Some(electronics());
    let assembly = instrument.assembly.as_ref().expect("screws");
    let state = State {
        sensor_offset_m: 220.0 * UM,
        turns: ScrewTurns::of(assembly, [0.0, 0.05, 0.0]).expect("three screws"),
        star: Some(Star {
            magnitude: 5.0,
            temperature_k: 5100.0,
            altitude_rad: 50.0 * DEG,
        }),
        sky: Sky {
            seeing_rad: Some(1.9 * ARCSEC),
            brightness_mag_per_arcsec2: Some(18.5),
            ..Sky::default()
        },
        exposure: Some(Exposure { time_s: 0.3 }),
        ..State::default()
    };
    (instrument, state)
}

#[test]
fn the_same_bytes_on_any_number_of_threads() {
    let (instrument, state) = night();
    let provenance = Provenance {
        seed: Some(99),
        ..Provenance::default()
    };
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        let made = pool
            .install(|| simulate(&instrument, &state, &provenance, Settings::default()).unwrap());
        let bits: Vec<u64> = made.expected.image.iter().map(|v| v.to_bits()).collect();
        (
            made.frame.unwrap().counts_adu,
            bits,
            serde_json::to_string(&made.truth).unwrap(),
        )
    };
    let one = on(1);
    assert!(one == on(2), "two threads");
    assert!(one == on(4), "four threads");
}

/// A rendered frame: the noise about the expected electrons has the variance it should, pixel by pixel.
#[test]
fn a_rendered_star_scatters_about_what_is_expected() {
    let (instrument, state) = night();
    let camera = electronics();
    let draw = |seed| {
        let provenance = Provenance {
            seed: Some(seed),
            ..Provenance::default()
        };
        simulate(&instrument, &state, &provenance, Settings::default()).unwrap()
    };
    let first = draw(1);
    let (mut squares, mut sum, mut n) = (0.0, 0.0, 0.0);
    for seed in 1..=12 {
        let frame = if seed == 1 {
            first.frame.clone().unwrap()
        } else {
            draw(seed).frame.unwrap()
        };
        for (counts, electrons) in frame.counts_adu.iter().zip(&first.expected.image) {
            let gain = camera.gain_e_per_adu;
            let variance =
                electrons / (gain * gain) + (camera.read_noise_e / gain).powi(2) + 1.0 / 12.0;
            let pull = (f64::from(*counts) - camera.bias_adu - electrons / gain) / variance.sqrt();
            (squares, sum, n) = (squares + pull * pull, sum + pull, n + 1.0);
        }
    }
    assert!(
        (sum / n).abs() < 4.0 / f64::sqrt(n),
        "mean pull {}",
        sum / n
    );
    assert!(
        (squares / n - 1.0).abs() < 4.0 * (2.0f64 / n).sqrt(),
        "variance of pulls {}",
        squares / n
    );
}

/// A filter before a colour camera: green pixels have the light of the part that both let through, the others as well.
#[test]
fn a_filter_before_a_colour_camera_takes_its_part() {
    let text = |filter: &str| {
        format!(
            r#"format = 1
title = "Colours behind a filter"
telescope = {{ aperture_mm = 130, focal_length_mm = 650 }}
star = {{ magnitude = 4.0, temperature_k = 5200 }}
exposure = {{ time_s = 1.0 }}
state = {{ sensor_offset_um = 300 }}
[camera]
pixel_um = 3.8
width_px = 60
height_px = 60
quantum_efficiency = 0.7
gain_e_per_adu = 1.0
read_noise_e = 2.0
{filter}
colour_pattern = "GRBG"
passbands = {{ red = {{ passband_nm = [580, 660] }}, green = {{ passband_nm = [490, 580] }}, blue = {{ passband_nm = [430, 510] }} }}
"#
        )
    };
    let image = |text: &str| {
        let scenario = skewstar::scenario::read(text, "filter.toml", &[]).unwrap();
        let (instrument, state) = (&scenario.instrument, &scenario.state);
        let model = Model::new(instrument, state, Settings::default()).unwrap();
        let found = Expected::new(&model, instrument, state, Settings::default()).unwrap();
        found.image
    };
    let filtered = image(&text("passband_nm = [500.0, 600.0]"));
    let by_hand = text("")
        .replace("[580, 660]", "[580, 600]")
        .replace("[490, 580]", "[500, 580]")
        .replace("[430, 510]", "[500, 510]");
    let expected = image(&by_hand);
    let open = image(&text(""));
    assert_eq!(filtered, expected);
    assert!(filtered.sum() < 0.7 * open.sum());
}

/// Each pixel of a colour frame is what its own passband alone gives.
#[test]
fn colours_are_what_their_passbands_give() {
    let (mut instrument, state) = night();
    let bands = [[590.0, 660.0], [500.0, 580.0], [420.0, 500.0]]
        .map(|b| Passband::Band(b.map(|nm| nm * NM)));
    use Colour::{Blue, Green, Red};
    let pattern = [Green, Blue, Red, Green];
    let alone: Vec<Array2<f64>> = bands
        .iter()
        .map(|band| {
            let mut mono = instrument.clone();
            mono.camera.passband = band.clone();
            simulate(&mono, &state, &Provenance::default(), Settings::default())
                .unwrap()
                .expected
                .image
        })
        .collect();
    instrument.camera.colour = Some(ColourArray {
        pattern,
        passbands: bands,
    });
    let mixed = simulate(
        &instrument,
        &state,
        &Provenance::default(),
        Settings::default(),
    )
    .unwrap()
    .expected;
    let mut seen = [0usize; 3];
    for ((row, column), value) in mixed.image.indexed_iter() {
        // row 0 is the bottom row: (0,0) green, (0,1) blue, (1,0) red, (1,1) green
        let colour = match (row % 2, column % 2) {
            (1, 0) => 0,
            (0, 1) => 2,
            _ => 1,
        };
        seen[colour] += 1;
        assert_eq!(*value, alone[colour][[row, column]], "{row} {column}");
    }
    // check value `detector.bayer_fraction`: a quarter, a half, a quarter
    assert_eq!(seen, [340, 680, 340]);
}

/// A plane plate in the converging beam, 2 mm of n = 1.52 at f/2.2: W040 = t (n² − 1)/(128 n³ N⁴) = 249 nm (third-order
/// theory, W. T. Welford, Aberrations of Optical Systems, ch. 8, from memory), and a focus that moves with the index.
#[test]
fn focus_against_colour_of_a_plane_plate() {
    let (thickness_m, index, ratio) = (2.0 * MM, 1.52f64, 2.2f64);
    // exact: the plate puts the focus of a ray at slope u back by t (1 − cos u/√(n² − sin²u)); the wavefront that leads is
    // the integral of the transverse error over the sine
    let back = |sine: f64| {
        thickness_m * (1.0 - (1.0 - sine * sine).sqrt() / (index * index - sine * sine).sqrt())
    };
    let steps = 4000;
    let rim = 1.0 / (2.0 * ratio);
    let mut wave = vec![0.0];
    for i in 0..steps {
        let sine = rim * (f64::from(i) + 0.5) / f64::from(steps);
        let tangent = sine / (1.0 - sine * sine).sqrt();
        // a sensor at the paraxial focus lies (back(0) − back(sine)) beyond where this ray crosses the axis
        let last = wave[wave.len() - 1];
        wave.push(last + (back(0.0) - back(sine)) * tangent * rim / f64::from(steps));
    }
    let w040 = wave[steps as usize];
    let theory = thickness_m * (index * index - 1.0) / (128.0 * index.powi(3) * ratio.powi(4));
    assert_abs_diff_eq!(theory, 249.0 * NM, epsilon = 0.5 * NM);
    // higher orders add a few per cent at f/2.2
    assert!(
        (w040.abs() / theory - 1.0).abs() < 0.12,
        "{w040:e} {theory:e}"
    );

    // indices of a crown glass near the F, e and C lines, from memory to three decimals: only their differences matter here
    let table = [(486.0, 1.522), (546.0, 1.519), (656.0, 1.514)];
    let mut instrument = unit();
    instrument.telescope.obstruction = None;
    instrument.camera.pixel_m = 0.2 * UM;
    instrument.camera.width_px = 3;
    instrument.camera.height_px = 3;
    let focus_m = |n: f64| thickness_m * (1.0 / 1.519 - 1.0 / n);
    instrument.telescope.chromatic = table
        .iter()
        .map(|(nm, n)| ChromaticPoint {
            wavelength_m: nm * NM,
            focus_m: focus_m(*n),
            modes: Modes::none(),
        })
        .collect();
    for (nm, n) in table {
        let mut mono = instrument.clone();
        mono.camera.passband = Passband::Band([(nm - 1.0) * NM, (nm + 1.0) * NM]);
        let peak = |offset_m: f64| {
            let state = State {
                sensor_offset_m: offset_m,
                ..State::default()
            };
            Model::new(&mono, &state, Settings::default())
                .unwrap()
                .light::<f64>()[[1, 1]]
        };
        // the brightest middle by a parabola through three offsets
        let step = 3.0 * UM;
        let [low, middle, high] = [-1.0, 0.0, 1.0].map(|k| peak(focus_m(n) + k * step));
        let best = 0.5 * step * (low - high) / (low - 2.0 * middle + high);
        assert!(
            best.abs() < 0.1 * UM,
            "{nm} nm: {:.3} um from where the table says",
            best / UM
        );
    }
    assert!(
        (focus_m(1.522) - focus_m(1.514)).abs() > 5.0 * UM,
        "the colours must fall apart for the test to mean anything"
    );
}

/// Sensor offsets count from the focus at which the table is zero; a truth says when that is not the focus of the middle of
/// its light. The size of the ring follows the light's own focus.
#[test]
fn a_truth_tells_of_colours_with_another_focus() {
    let (mut instrument, state) = night();
    instrument.telescope.chromatic = vec![ChromaticPoint {
        wavelength_m: 600.0 * NM,
        focus_m: 0.0,
        modes: Modes::none(),
    }];
    let truth = |instrument: &Instrument, state: &State| {
        let seen = simulate(
            instrument,
            state,
            &Provenance::default(),
            Settings::default(),
        );
        seen.unwrap().truth
    };
    let flag = Flag::ColourFocusNotZero;
    let plain = truth(&instrument, &state);
    assert!(!plain.flags.has(flag));
    instrument.telescope.chromatic[0].focus_m = 40.0 * UM;
    let moved = truth(&instrument, &state);
    assert!(moved.flags.has(flag));
    let nearer = State {
        sensor_offset_m: state.sensor_offset_m - 40.0 * UM,
        ..state
    };
    instrument.telescope.chromatic.clear();
    let same = truth(&instrument, &nearer);
    let [a, b] = [moved, same].map(|t| t.doughnut.unwrap().outer_radius_px);
    assert_abs_diff_eq!(a, b, epsilon = 1e-9);
}
