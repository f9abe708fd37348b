//! Photons, electrons, counts and colours.
//!
//! Rates are closed forms. Noise is drawn: 250000 pixels, whose variance scatters by 0.28 %; four times that is allowed.

use crate::support::bench::Bench;
use crate::support::checks::{agrees, checks, input, list, number};
use ndarray::Array2;
use skewstar::atmosphere::airmass;
use skewstar::instrument::{Colour, ColourArray, Electronics, Passband};
use skewstar::predict::{Expected, Settings};
use skewstar::rng::Seed;
use skewstar::sensor::{ZERO_POINT_PHOTONS, ZERO_POINT_WAVELENGTH_M};
use skewstar::simulate::{read_out, saturation_adu};
use skewstar::spectrum::planck_photons;
use skewstar::state::{Exposure, Star};
use skewstar::units::{DEG, NM};

pub const USED: &[&str] = &[
    "photometry.vega_v_photon_flux",
    "photometry.vega_v_pivot_nm",
    "photometry.star_rate",
    "photometry.planck_photon_ratio",
    "photometry.wien_constants",
    "detector.photon_transfer",
    "detector.adu",
    "detector.saturation_e",
    "detector.bayer_fraction",
    "detector.bayer_colours",
];

fn electronics(gain_e_per_adu: f64, bias_adu: f64, full_well_e: f64, bits: u32) -> Electronics {
    Electronics {
        quantum_efficiency: 1.0,
        gain_e_per_adu,
        bias_adu,
        read_noise_e: 0.0,
        dark_e_per_s: 0.0,
        full_well_e,
        bits,
        pixel_response_rms: 0.0,
    }
}

/// A star of a magnitude and altitude on a camera of perfect pixels.
fn lit(mut bench: Bench, magnitude: f64, altitude_rad: f64) -> Bench {
    bench.instrument.camera.electronics = Some(electronics(1.0, 0.0, f64::INFINITY, 16));
    bench.state.star = Some(Star {
        magnitude,
        temperature_k: 6200.0,
        altitude_rad,
    });
    bench.state.exposure = Some(Exposure { time_s: 1.0 });
    bench
}

fn expected(bench: &Bench, px: [usize; 2]) -> Expected {
    let model = bench.model([0.0; 2], 2e-6, px);
    let mut instrument = bench.instrument.clone();
    let camera = &mut instrument.camera;
    (camera.pixel_m, camera.width_px, camera.height_px) = (2e-6, px[0], px[1]);
    Expected::new(&model, &instrument, &bench.state, Settings::default()).unwrap()
}

#[test]
fn zero_point() {
    let id = "photometry.vega_v_photon_flux";
    agrees(id, "", number(id), ZERO_POINT_PHOTONS, 0.0);
    let id = "photometry.vega_v_pivot_nm";
    agrees(id, "", number(id), ZERO_POINT_WAVELENGTH_M / NM, 0.0);
}

/// The table's star has equal photons per nanometre over 100 nm; here a hundred times the rate of 1 nm at the zero point's
/// wavelength, where the star's own spectrum is taken as 1 (its curvature over 1 nm is below 1e-6). The altitude is the one
/// with the table's airmass.
#[test]
fn electrons_of_a_star() {
    let id = "photometry.star_rate";
    let get = |key: &str| input(id, key).number();
    let (mut low, mut high) = (30.0 * DEG, 80.0 * DEG);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if airmass(middle) > get("airmass") {
            low = middle;
        } else {
            high = middle;
        }
    }
    let mut bench = lit(Bench::annular(5.0, 550.0 * NM, get("eps")), get("V"), low);
    bench.state.sky.extinction_mag_per_airmass = get("k_mag");
    let camera = &mut bench.instrument.camera;
    camera.throughput = get("throughput");
    let half = 0.5 * NM;
    camera.passband = Passband::Band([
        ZERO_POINT_WAVELENGTH_M - half,
        ZERO_POINT_WAVELENGTH_M + half,
    ]);
    let found = get("band_nm") * expected(&bench, [9, 7]).star_total;
    agrees(id, "electrons/s", number(id), found, 1e-6 * number(id));
}

#[test]
fn photons_of_a_black_body() {
    let id = "photometry.planck_photon_ratio";
    let lambda = input(id, "lambda_m").list();
    for (kelvin, value) in input(id, "T_K").list().into_iter().zip(list(id)) {
        let found = planck_photons(lambda[0], kelvin) / planck_photons(lambda[1], kelvin);
        agrees(id, &format!("{kelvin} K"), value, found, 0.0);
    }
    let id = "photometry.wien_constants";
    let energy = |wavelength_m: f64| planck_photons(wavelength_m, 5000.0) / wavelength_m;
    let photons = |wavelength_m: f64| planck_photons(wavelength_m, 5000.0);
    agrees(id, "energy", list(id)[0], 5000.0 * brightest(energy), 0.0);
    agrees(id, "photons", list(id)[1], 5000.0 * brightest(photons), 0.0);
}

/// Where the logarithm of f has slope 0.
fn brightest(f: impl Fn(f64) -> f64) -> f64 {
    let slope = |x: f64| (f(x * 1.0001) / f(x / 1.0001)).ln();
    let (mut low, mut high) = (300.0 * NM, 1500.0 * NM);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if slope(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}

#[test]
fn noise_of_an_evenly_lit_frame() {
    let id = "detector.photon_transfer";
    let [mean_adu, gain, read_e] =
        ["mean_adu", "gain", "read_e"].map(|key| input(id, key).number());
    let camera = Electronics {
        read_noise_e: read_e,
        ..electronics(gain, 300.0, f64::INFINITY, 16)
    };
    let expected = Expected {
        image: Array2::from_elem((500, 500), mean_adu * gain),
        in_electrons: true,
        star_total: 0.0,
        light_in_frame: 0.0,
        background_per_px: mean_adu * gain,
        dark_per_px: 0.0,
    };
    let frame = read_out(&expected, &camera, 2e-6, Seed(20417));
    let count = frame.counts_adu.len() as f64;
    let mean = frame
        .counts_adu
        .iter()
        .map(|&adu| f64::from(adu))
        .sum::<f64>()
        / count;
    let variance = frame
        .counts_adu
        .iter()
        .map(|&adu| (f64::from(adu) - mean).powi(2))
        .sum::<f64>()
        / (count - 1.0);
    let scatter = (2.0 / count).sqrt();
    agrees(
        id,
        "rounding included",
        list(id)[1],
        variance,
        4.0 * scatter * variance,
    );
    assert!((mean - 300.0 - mean_adu).abs() < 4.0 * (variance / count).sqrt());
}

/// A pixel whose full well is at the given electrons shows the counts of that many.
#[test]
fn counts_of_given_electrons() {
    let id = "detector.adu";
    let get = |key: &str| input(id, key).number();
    for (electrons, value) in input(id, "electrons").list().into_iter().zip(list(id)) {
        let filled = electrons.min(get("full_well_e"));
        let camera = electronics(get("gain"), get("offset_adu"), filled, get("bits") as u32);
        let found = f64::from(saturation_adu(&camera));
        agrees(id, &format!("{electrons} electrons"), value, found, 0.0);
    }
    let id = "detector.saturation_e";
    let get = |key: &str| input(id, key).number();
    for (full_well, value) in input(id, "full_well_e").list().into_iter().zip(list(id)) {
        let camera = electronics(
            get("gain"),
            get("offset_adu"),
            full_well,
            get("bits") as u32,
        );
        let found = (f64::from(saturation_adu(&camera)) - get("offset_adu")) * get("gain");
        agrees(id, &format!("full well {full_well}"), value, found, 0.0);
    }
}

/// A faint star in a bright sky, with passbands of 10, 20 and 30 nm: the level of a pixel tells its colour.
#[test]
fn colours_of_the_pixels() {
    let id = "detector.bayer_fraction";
    let mut bench = lit(Bench::clear(5.0, 550.0 * NM), 25.0, 60.0 * DEG);
    bench.state.sky.brightness_mag_per_arcsec2 = Some(12.0);
    let band = |width: f64| Passband::Band([500.0 * NM, (500.0 + width) * NM]);
    bench.instrument.camera.colour = Some(ColourArray {
        pattern: [Colour::Red, Colour::Green, Colour::Green, Colour::Blue],
        passbands: [band(10.0), band(20.0), band(30.0)],
    });
    let tiles = input(id, "tile_repeats").number() as usize;
    let image = expected(&bench, [2 * tiles, 2 * tiles]).image;
    let red = image.iter().fold(f64::INFINITY, |low, v| low.min(*v));
    let colour = |electrons: f64| ["?", "R", "G", "B"][(electrons / red).round() as usize];
    for (letter, value) in ["R", "G", "B"].iter().zip(list(id)) {
        let share = image.iter().filter(|v| colour(**v) == *letter).count() as f64;
        agrees(id, letter, value, share / image.len() as f64, 0.0);
    }
    let id = "detector.bayer_colours";
    let places = input(id, "row_column").rows();
    let found: String = places
        .iter()
        .map(|p| colour(image[[p[0] as usize, p[1] as usize]]))
        .collect();
    println!(
        "{id:<40} value {:?} found {found:?}",
        checks().value(id).words()
    );
    assert_eq!(checks().value(id).words(), [found]);
}
