//! Defocus of a fast beam: the exact path difference under both laws of focus, and the radii of the rendered doughnuts.
//!
//! W is compared without sampling. Rendered edges are allowed 2e-3 of the radius; the two laws are 1.7 % apart at f/2, and the
//! paraxial radius lies between them.

use crate::support::bench::{APERTURE_M, Bench};
use crate::support::checks::{agrees, input, rows};
use crate::support::direct::gauss_legendre;
use crate::support::doughnut::cut;
use skewstar::instrument::FocusLaw;
use skewstar::units::NM;
use skewstar::wavefront::Wavefront;

pub const USED: &[&str] = &[
    "fast_defocus.sine_condition_edge",
    "fast_defocus.paraboloid_edge",
    "fast_defocus.refocused_rms",
];

const LAWS: [(&str, FocusLaw); 2] = [
    ("fast_defocus.sine_condition_edge", FocusLaw::Sine),
    ("fast_defocus.paraboloid_edge", FocusLaw::Paraboloid),
];

fn star(law: FocusLaw, ratio: f64, focal_ratio: f64, wavelength_m: f64, dz_m: f64) -> Bench {
    let mut star = Bench::annular(focal_ratio, wavelength_m, ratio);
    star.instrument.telescope.focus_law = law;
    star.state.sensor_offset_m = dz_m;
    star
}

/// W at a pupil height, from the centre's.
fn path_m(star: &Bench, wavefront: &Wavefront, rho: f64) -> f64 {
    let map = Wavefront::radial_map(&star.instrument.telescope);
    let place = map.forward([0.5 * APERTURE_M * rho, 0.0]);
    wavefront.value_m(place) - wavefront.value_m([0.0; 2])
}

/// The paraxial part is what W grows like near the axis: W/ρ² at ρ = 1/1000.
#[test]
fn path_difference_at_the_edge() {
    for (id, law) in LAWS {
        let [focal_ratio, wavelength_m] = ["N", "lambda_m"].map(|key| input(id, key).number());
        for (dz_m, row) in input(id, "dz_m").list().into_iter().zip(rows(id)) {
            let star = star(law, 0.0, focal_ratio, wavelength_m, dz_m);
            let wavefront = star.wavefront();
            let exact = path_m(&star, &wavefront, 1.0) / wavelength_m;
            let paraxial = path_m(&star, &wavefront, 1e-3) / 1e-6 / wavelength_m;
            let found = [exact, paraxial, exact - paraxial];
            let names = ["exact", "paraxial", "difference"];
            for (name, (value, found)) in names.iter().zip(row.into_iter().zip(found)) {
                agrees(id, &format!("{name} dz {dz_m:e}"), value, found, 0.0);
            }
        }
    }
}

/// Least squares of piston and ρ² over the pupil by a Gauss rule in ρ².
#[test]
fn what_refocusing_leaves() {
    let id = "fast_defocus.refocused_rms";
    let focal_ratio = input(id, "N").number();
    for (dz_m, row) in input(id, "dz_m").list().into_iter().zip(rows(id)) {
        for ((_, law), value) in LAWS.into_iter().zip(row) {
            let star = star(law, 0.0, focal_ratio, 550.0 * NM, dz_m);
            let wavefront = star.wavefront();
            let found = refocused_rms(|rho| path_m(&star, &wavefront, rho)) / NM;
            agrees(id, &format!("{law:?} dz {dz_m:e}"), value, found, 0.0);
        }
    }
}

fn refocused_rms(path_m: impl Fn(f64) -> f64) -> f64 {
    let (nodes, weights) = gauss_legendre(24);
    let mean = |f: &dyn Fn(f64) -> f64| -> f64 {
        let terms = nodes.iter().zip(&weights);
        terms
            .map(|(node, weight)| 0.5 * weight * f(0.5 * (1.0 + node)))
            .sum()
    };
    // against 1 and t − 1/2, t = ρ² even over 0 … 1
    let level = mean(&|t| path_m(t.sqrt()));
    let slope = 12.0 * mean(&|t| path_m(t.sqrt()) * (t - 0.5));
    mean(&|t| (path_m(t.sqrt()) - level - slope * (t - 0.5)).powi(2)).sqrt()
}

/// Rays of a defocused star land at −offset·tan u. The table gives W = offset (1 − cos u) at the edge, and with it u.
#[test]
fn radii_of_rendered_doughnuts() {
    let mut radii = Vec::new();
    for (id, law) in LAWS {
        let [focal_ratio, wavelength_m] = ["N", "lambda_m"].map(|key| input(id, key).number());
        let dz_m = input(id, "dz_m").list()[2];
        let cos = 1.0 - rows(id)[2][0] * wavelength_m / dz_m;
        let rim_m = dz_m * (1.0 - cos * cos).sqrt() / cos;
        let star = star(law, 0.3, focal_ratio, wavelength_m / 9.0, -dz_m);
        let ray = star.wavefront().ray_m(
            Wavefront::radial_map(&star.instrument.telescope).forward([0.5 * APERTURE_M, 0.0]),
        );
        assert!(
            (ray[0] / rim_m - 1.0).abs() < 1e-9,
            "{law:?}: ray {ray:?}, table {rim_m}"
        );
        let seen = cut(&star.finer(0.7), rim_m / 300.0, rim_m, 0.3 * rim_m);
        let found = 0.5 * (seen.rim_m[1] - seen.rim_m[0]);
        println!(
            "{id:<40} rendered radius {found:.5e} from the table {rim_m:.5e} off {:.1e}",
            found - rim_m
        );
        assert!(
            (found / rim_m - 1.0).abs() < 2e-3,
            "{law:?}: {found} {rim_m}"
        );
        radii.push(found / (0.5 * dz_m / focal_ratio));
    }
    assert!(
        radii[0] > 1.01 && radii[1] > 1.0 && radii[1] < radii[0] - 0.01,
        "{radii:?}"
    );
}
