//! Independent routes must agree: every lesson against the diffraction integral written out, and against itself at finer
//! sampling.

use crate::support::direct::{Scene, pixels};
use ndarray::Array2;
use skewstar::axes::FieldM;
use skewstar::instrument::*;
use skewstar::mechanics::align;
use skewstar::predict::{Model, Settings};
use skewstar::scenario::{self, Scenario};
use skewstar::spectrum::{bins, edges};
use skewstar::state::{Modes, State};
use std::path::{Path, PathBuf};

/// ‖a − b‖ / ‖b‖.
pub fn relative_l2(a: &Array2<f64>, b: &Array2<f64>) -> f64 {
    assert_eq!(a.dim(), b.dim());
    let change: f64 = a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum();
    (change / b.iter().map(|y| y * y).sum::<f64>()).sqrt()
}

/// The files in `scenarios/`, in order of name.
pub fn lessons() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    assert!(!files.is_empty());
    files
}

pub fn load(path: &Path) -> Scenario {
    let text = std::fs::read_to_string(path).unwrap();
    scenario::read(&text, &path.display().to_string(), &[]).unwrap()
}

/// Lessons that the written-out transform can follow: no mask, no blur, no colour array, achromatic.
fn plain(scenario: &Scenario) -> bool {
    let (instrument, state) = (&scenario.instrument, &scenario.state);
    let worn = state.mask_on && instrument.mask.is_some();
    let blurred = state.sky.seeing_rad.is_some() || state.sky.tracking_drift_px != [0.0; 2];
    !worn
        && !blurred
        && instrument.camera.colour.is_none()
        && instrument.telescope.chromatic.is_empty()
}

/// Whether light passes a pupil point, written from the meaning of the keys and sharing nothing with the engine.
fn is_open(telescope: &Telescope, field_m: FieldM, x: f64, y: f64) -> bool {
    let blocked = telescope.obstruction.as_ref().is_some_and(|o| {
        let seen = |axis: usize| {
            o.offset_m[axis] + o.distance_m * field_m[axis] / telescope.focal_length_m
        };
        let (dx, dy) = (x - seen(0), y - seen(1));
        match o.shape {
            ObstructionShape::Round => dx.hypot(dy) < 0.5 * o.diameter_m,
            ObstructionShape::Square => dx.abs().max(dy.abs()) < 0.5 * o.diameter_m,
        }
    });
    let behind_vane = telescope.vanes.iter().any(|v| {
        let (sin, cos) = v.azimuth_rad.sin_cos();
        let (along, across) = (x * cos + y * sin, y * cos - x * sin);
        (across - v.offset_m).abs() < 0.5 * v.width_m
            && along > v.inner_radius_m
            && along < v.outer_radius_m
    });
    !blocked && !behind_vane
}

#[test]
fn every_plain_lesson_equals_the_written_out_transform() {
    let mut compared = 0;
    for path in lessons() {
        let scenario = load(&path);
        if !plain(&scenario) {
            continue;
        }
        compared += 1;
        let (instrument, state) = (&scenario.instrument, &scenario.state);
        let (telescope, camera) = (&instrument.telescope, &instrument.camera);
        let model = Model::new(instrument, state, Settings::default()).unwrap();
        let found = model.light::<f64>();
        let alignment = align(instrument, state);
        let mut noll_m = [0.0; 10];
        let mut further_m = Vec::new();
        for (noll, value) in alignment.modes.iter() {
            match noll_m.get_mut(noll as usize - 2) {
                Some(own) => *own = value,
                None => further_m.push((noll, value)),
            }
        }
        assert_eq!(
            (camera.rotation_rad, camera.mirrored),
            (0.0, false),
            "the twin knows the plain camera only"
        );
        let open = |x: f64, y: f64| is_open(telescope, state.field_m, x, y);
        let scene = Scene {
            radius_m: telescope.aperture_radius_m(),
            focal_length_m: telescope.focal_length_m,
            paraboloid: telescope.focus_law == FocusLaw::Paraboloid,
            open: &open,
            noll_m,
            further_m,
            sensor_offset_m: alignment.sensor_offset_m,
            cells: 3 * model.plan.grid.count / 2,
        };
        // every third row and every second column, star in the middle of the frame
        let centre = |count: usize| 0.5 * (count as f64 - 1.0);
        let (rows, columns): (Vec<usize>, Vec<usize>) = (
            (0..camera.height_px).step_by(3).collect(),
            (0..camera.width_px).step_by(2).collect(),
        );
        let places = |picked: &[usize], count: usize| -> Vec<f64> {
            picked.iter().map(|i| *i as f64 - centre(count)).collect()
        };
        let (xs, ys) = (
            places(&columns, camera.width_px),
            places(&rows, camera.height_px),
        );
        let points = 2 * model.plan.sub_samples + 3;
        let shares = bins(
            &camera.passband,
            model.plan.wavelengths,
            state.star.as_ref().map(|s| s.temperature_k),
        );
        let mut direct = Array2::zeros((rows.len(), columns.len()));
        for bin in shares {
            direct.scaled_add(
                bin.weight,
                &pixels(&scene, bin.wavelength_m, camera.pixel_m, &xs, &ys, points),
            );
        }
        let picked = Array2::from_shape_fn(direct.dim(), |(j, i)| found[[rows[j], columns[i]]]);
        let difference = relative_l2(&picked, &direct);
        println!(
            "{}: relative L2 {difference:.2e} ({:?} m)",
            path.display(),
            edges(&camera.passband)
        );
        assert!(difference < 1e-3, "{}: {difference:.2e}", path.display());
    }
    assert!(compared >= 6, "{compared} plain lessons");
}

/// A frame that does not follow the star: its centre lies at a fraction of a pixel, and nothing else changes.
#[test]
fn a_star_between_pixels_equals_the_written_out_transform() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/fast-unit-one-screw.toml");
    let text = std::fs::read_to_string(path).unwrap();
    let set = [
        "state.recentred=false",
        "state.turns.B=-0.013",
        "camera.wavelengths=1",
        "telescope.vanes=[]",
    ];
    let scenario = scenario::read(&text, "between pixels", &set.map(String::from)).unwrap();
    let (instrument, state) = (&scenario.instrument, &scenario.state);
    let (telescope, camera) = (&instrument.telescope, &instrument.camera);
    let model = Model::new(instrument, state, Settings::default()).unwrap();
    let [x, y] = model.star_px.xy();
    assert!(x.fract() > 0.05 && y.fract() > 0.05 && x > 36.0, "{x} {y}");
    let alignment = align(instrument, state);
    let mut noll_m = [0.0; 10];
    let mut further_m = Vec::new();
    for (noll, value) in alignment.modes.iter() {
        match noll_m.get_mut(noll as usize - 2) {
            Some(own) => *own = value,
            None => further_m.push((noll, value)),
        }
    }
    let open = |px: f64, py: f64| is_open(telescope, FieldM::ZERO, px, py);
    let scene = Scene {
        radius_m: telescope.aperture_radius_m(),
        focal_length_m: telescope.focal_length_m,
        paraboloid: false,
        open: &open,
        noll_m,
        further_m,
        sensor_offset_m: alignment.sensor_offset_m,
        cells: 3 * model.plan.grid.count / 2,
    };
    let (rows, columns): (Vec<usize>, Vec<usize>) = (
        (0..camera.height_px).step_by(4).collect(),
        (0..camera.width_px).step_by(3).collect(),
    );
    let xs: Vec<f64> = columns.iter().map(|i| *i as f64 - x).collect();
    let ys: Vec<f64> = rows.iter().map(|j| *j as f64 - y).collect();
    let points = 2 * model.plan.sub_samples + 3;
    let direct = pixels(&scene, model.reference_m, camera.pixel_m, &xs, &ys, points);
    let found = model.light::<f64>();
    let picked = Array2::from_shape_fn(direct.dim(), |(j, i)| found[[rows[j], columns[i]]]);
    let difference = relative_l2(&picked, &direct);
    println!("star at {x:.3} {y:.3}: relative L2 {difference:.2e}");
    assert!(difference < 1e-3, "{difference:.2e}");
}

#[test]
fn halving_every_step_changes_no_lesson_by_more_than_1e_3() {
    for path in lessons() {
        let scenario = load(&path);
        let (instrument, state) = (&scenario.instrument, &scenario.state);
        let coarse = Model::new(instrument, state, Settings::default()).unwrap();
        let accuracy = Settings::default().accuracy.finer(2.0);
        let fine = Model::new(
            instrument,
            state,
            Settings {
                accuracy,
                ..Settings::default()
            },
        )
        .unwrap();
        // one wavelength stands for all of a stated number; the plan's own number is tested below
        let bin = skewstar::spectrum::Bin {
            wavelength_m: coarse.reference_m,
            weight: 1.0,
        };
        let image =
            |m: &Model| m.light_of::<f64>(&m.alignment.modes, m.alignment.sensor_offset_m, &[bin]);
        let change = relative_l2(&image(&coarse), &image(&fine));
        let estimate = coarse.sampling_error().unwrap();
        println!("{}: {change:.2e}, estimate {estimate:.2e}", path.display());
        assert!(change < 1e-3, "{}: {change:.2e}", path.display());
        assert!(
            estimate > 0.2 * change && estimate < 1e-3,
            "{}: {estimate:.2e} for {change:.2e}",
            path.display()
        );
    }
}

#[test]
fn twice_the_planned_wavelengths_change_a_frame_by_less_than_1e_3() {
    for name in ["fast-unit-one-screw", "refractor-tilted-cell"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{name}.toml"));
        let mut scenario = load(&path);
        let camera = &mut scenario.instrument.camera;
        camera.passband = Passband::Band([480e-9, 620e-9]);
        camera.wavelengths = None;
        let planned =
            Model::new(&scenario.instrument, &scenario.state, Settings::default()).unwrap();
        scenario.instrument.camera.wavelengths = Some(2 * planned.plan.wavelengths);
        let doubled =
            Model::new(&scenario.instrument, &scenario.state, Settings::default()).unwrap();
        let change = relative_l2(&planned.light::<f64>(), &doubled.light::<f64>());
        println!(
            "{name}: {} wavelengths, change {change:.2e}",
            planned.plan.wavelengths
        );
        assert!(
            change < 1e-3,
            "{name}: {} wavelengths, {change:.2e}",
            planned.plan.wavelengths
        );
    }
}

/// A narrow filter that is typed with its long dark tails: the photons are those of many more wavelengths.
#[test]
fn a_narrow_filter_with_long_tails_gets_wavelengths_where_it_is_open() {
    let table = [
        (400e-9, 0.0),
        (651e-9, 0.0),
        (652e-9, 0.9),
        (660e-9, 0.9),
        (661e-9, 0.0),
        (700e-9, 0.0),
    ];
    let camera = Camera::new(3e-6, [48, 48], Passband::Table(table.to_vec()));
    let mut unit = Instrument::new(Telescope::new(0.1, 0.4), camera);
    let state = State {
        sensor_offset_m: -100e-6,
        ..State::default()
    };
    let looked = |unit: &Instrument| {
        let model = Model::new(unit, &state, Settings::default()).unwrap();
        (
            model.plan.wavelengths,
            model.reference_m,
            model.light::<f64>(),
        )
    };
    let (planned, reference_m, few) = looked(&unit);
    unit.camera.wavelengths = Some(4 * planned);
    let (_, exact_m, many) = looked(&unit);
    let change = relative_l2(&few, &many);
    println!(
        "{planned} wavelengths, change {change:.2e}, reference {:.3} nm off",
        (reference_m - exact_m) * 1e9
    );
    assert!(change < 1e-3 && (reference_m - exact_m).abs() < 0.1e-9);
}

/// A lens in focus at the reference wavelength only: the defocus of the other colours asks for wavelengths of its own.
#[test]
fn a_chromatic_lens_gets_the_wavelengths_its_colours_need() {
    for focus_um in [
        [400.0, 60.0, 0.0, 90.0, 400.0],
        [-800.0, 0.0, 0.0, 0.0, 800.0],
    ] {
        let mut telescope = Telescope::new(0.1, 0.8);
        telescope.chromatic = [450.0, 500.0, 550.0, 600.0, 650.0]
            .into_iter()
            .zip(focus_um)
            .map(|(nm, um)| ChromaticPoint {
                wavelength_m: nm * 1e-9,
                focus_m: um * 1e-6,
                modes: Modes::none(),
            })
            .collect();
        let camera = Camera::new(3e-6, [64, 64], Passband::Band([450e-9, 650e-9]));
        let mut lens = Instrument::new(telescope, camera);
        let light = |lens: &Instrument| {
            let model = Model::new(lens, &State::default(), Settings::default()).unwrap();
            (model.plan.wavelengths, model.light::<f64>())
        };
        let (planned, few) = light(&lens);
        lens.camera.wavelengths = Some(4 * planned);
        let change = relative_l2(&few, &light(&lens).1);
        println!("{focus_um:?}: {planned} wavelengths, change {change:.2e}");
        assert!(
            change < 1e-3,
            "{focus_um:?}: {planned} wavelengths, {change:.2e}"
        );
    }
}
