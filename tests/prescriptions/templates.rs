//! The templates that are traced from surfaces: what an eighth of a turn does, and each put right.

use skewstar::flag::Flag;
use skewstar::measure::{MeasureOptions, Picture, Side};
use skewstar::mechanics::bench::Bench;
use skewstar::mechanics::plane_of;
use skewstar::mechanics::system::Motion;
use skewstar::predict::Settings;
use skewstar::scenario::{TemplateKind, read, template};
use skewstar::state::State;
use skewstar::units::NM;
use skewstar::{Diagnosis, DiagnosisOptions, Scene};

const TRACED: [TemplateKind; 4] = [
    TemplateKind::PrimeFocusCorrector,
    TemplateKind::CorrectorPlate,
    TemplateKind::Meniscus,
    TemplateKind::Doublet,
];

/// Coma of the star in the middle of the sensor by rays through the surfaces, the unit standing on its screws.
fn coma_nm(bench: &Bench, scene: &Scene, state: &State) -> f64 {
    let assembly = scene.instrument().assembly.as_ref().expect("screws");
    let plane = plane_of(assembly, &state.turns);
    let standing = bench.unit(Motion {
        tilt_rad: plane.tilt_rad,
        piston_m: plane.piston_m,
        ..Motion::default()
    });
    let star = bench
        .star_at(&standing, [0.0; 2])
        .expect("it can be traced");
    star.mode(7).hypot(star.mode(8)) / NM
}

/// Each is sharp when aligned, is rendered out of line with noise, measured by who does not know how, and turned as advised: a tenth of
/// the coma at most is left, by rays through the surfaces. `cargo test templates -- --nocapture` prints what an eighth of a turn does on each.
#[test]
fn every_traced_template_is_rendered_measured_and_put_right() {
    println!("one eighth of a turn       tilt, arcmin   coma, nm   star, px   focus, um");
    for kind in TRACED {
        let known = [
            "camera.orientation=\"known\"",
            "camera.wavelengths=1",
            "camera.width_px=96",
            "camera.height_px=96",
        ]
        .map(str::to_owned);
        let scenario = read(&template(kind, "To be put right"), kind.word(), &known);
        let scenario = scenario.unwrap_or_else(|e| panic!("{e}\n{}", e.hint()));
        let system = scenario.traced.clone().expect("a trace").system;
        let bench = Bench::new(system).expect("a telescope");
        let scene = Scene::of(scenario)
            .expect("a scene")
            .with_settings(Settings {
                sampling_check: false,
                ..Settings::default()
            });
        for screw in scene.consequences().expect("what follows").screws {
            println!(
                "{:<22} {} {:>14.3} {:>10.2} {:>10.2} {:>11.2}",
                kind.word(),
                screw.name,
                screw.tilt_arcmin_per_eighth,
                screw.coma_nm_per_eighth,
                screw.star_px_per_eighth,
                screw.focus_um_per_eighth
            );
        }
        let star = scene.star().expect("a star");
        assert!(
            !star.truth.flags.has(Flag::DesignOverQuarterWave),
            "{kind} is not sharp"
        );
        let frame = star.frame.expect("counts");
        let options = DiagnosisOptions {
            measure: MeasureOptions {
                side: Some(Side::Outside),
                ..MeasureOptions::default()
            },
            ..DiagnosisOptions::default()
        };
        let found = Diagnosis::of(&Picture::from(&frame), scene.instrument(), &options)
            .unwrap_or_else(|e| panic!("{kind}: {e}"));
        let advice = found.advice().unwrap_or_else(|e| panic!("{kind}: {e:?}"));
        let mut after = scene.state().clone();
        for (turned, more) in after.turns.iter_mut().zip(advice.turns.iter()) {
            *turned += more;
        }
        let [before_nm, left_nm] =
            [scene.state(), &after].map(|state| coma_nm(&bench, &scene, state));
        println!("{kind}: {before_nm:.1} nm of coma, {left_nm:.2} after the turns");
        assert!(before_nm > 10.0, "{kind}: {before_nm} nm show nothing");
        assert!(
            left_nm < 0.1 * before_nm,
            "{kind}: {left_nm} of {before_nm} nm"
        );
    }
}
