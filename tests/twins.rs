//! Independent routes must agree.

use crate::support::direct::{Scene, pixels};
use ndarray::Array2;
use skewstar::instrument::*;
use skewstar::predict::{Model, Settings};
use skewstar::state::{Modes, State};
use skewstar::units::*;

pub fn unit() -> Instrument {
    Instrument {
        telescope: Telescope {
            aperture_m: 190.0 * MM,
            focal_length_m: 456.0 * MM,
            reflections: 1,
            focus_law: FocusLaw::Sine,
            obstruction: Some(Obstruction {
                diameter_m: 81.0 * MM,
                offset_m: [1.1 * MM, -0.7 * MM],
                shape: ObstructionShape::Round,
                distance_m: 0.0,
            }),
            vanes: vec![],
            design: Modes::none(),
            chromatic: vec![],
            field: FieldTerms::default(),
        },
        assembly: None,
        mask: None,
        camera: Camera {
            pixel_m: 3.8 * UM,
            width_px: 64,
            height_px: 60,
            rotation_rad: 0.0,
            mirrored: false,
            passband: Passband::Band([540.0 * NM, 560.0 * NM]),
            wavelengths: Some(1),
            throughput: 1.0,
            electronics: None,
            colour: None,
        },
    }
}

pub fn l2(a: &Array2<f64>, b: &Array2<f64>) -> f64 {
    let diff: f64 = a.iter().zip(b).map(|(x, y)| (x - y).powi(2)).sum();
    (diff / b.iter().map(|y| y * y).sum::<f64>()).sqrt()
}

pub fn noll() -> [f64; 10] {
    let mut c = [0.0; 10];
    for (j, v) in [
        (7, 55.0),
        (8, -80.0),
        (5, 20.0),
        (6, -35.0),
        (9, 15.0),
        (11, 30.0),
    ] {
        c[j - 2] = v * NM;
    }
    c
}

#[test]
fn explore() {
    for law in [FocusLaw::Sine, FocusLaw::Paraboloid] {
        for offset in [0.0, -260.0 * UM] {
            let mut inst = unit();
            inst.telescope.focus_law = law;
            let modes: Modes = (2..12).map(|j| (j as u32, noll()[j - 2])).collect();
            let state = State {
                sensor_offset_m: offset,
                modes,
                ..State::default()
            };
            let t = std::time::Instant::now();
            let model = Model::new(&inst, &state, Settings::default()).unwrap();
            let t1 = t.elapsed();
            let got = model.light::<f64>();
            let t2 = t.elapsed();
            let got32 = model.light::<f32>();
            println!(
                "{law:?} {offset} plan {:?} {t1:?} {t2:?} f32 {:?} diff {:.1e} sum {}",
                model.plan,
                t.elapsed() - t2,
                l2(&got32, &got),
                got.sum()
            );
            let open = |x: f64, y: f64| (x - 1.1e-3).hypot(y + 0.7e-3) > 40.5e-3;
            let xs: Vec<f64> = (0..64).map(|i| i as f64 - 31.5).collect();
            let ys: Vec<f64> = (0..60).map(|i| i as f64 - 29.5).collect();
            for cells in [700, 1400] {
                let scene = Scene {
                    radius_m: 95.0 * MM,
                    focal_length_m: 456.0 * MM,
                    paraboloid: law == FocusLaw::Paraboloid,
                    open: &open,
                    noll_m: noll(),
                    sensor_offset_m: offset,
                    cells,
                };
                let want = pixels(&scene, 550.0 * NM, 3.8 * UM, &xs, &ys, 12);
                println!(
                    "   direct {cells} sum {} l2 {:.2e}",
                    want.sum(),
                    l2(&got, &want)
                );
            }
            let mut accuracy = Settings::default();
            for f in [1.5, 2.0] {
                accuracy.accuracy = Settings::default().accuracy.finer(f);
                let m2 = Model::new(&inst, &state, accuracy).unwrap();
                println!("   finer {f} {:.2e}", l2(&got, &m2.light::<f64>()));
            }
        }
    }
}
