//! A whole sensor: what is written of it is true of its frame, and the field's laws can be read off the rendered stars.

use crate::support::lens;
use ndarray::Array2;
use skewstar::axes::FieldM;
use skewstar::instrument::{Electronics, FieldTerms, Instrument, Response, RoundStop};
use skewstar::mechanics::{Flexure, Plane, Pointing, turns_for};
use skewstar::predict::{Expected, Model, Settings};
use skewstar::rng::Seed;
use skewstar::simulate::{StarField, background, field_stars, stamp, star_field};
use skewstar::state::{Exposure, FieldStar, FieldStars, ScrewTurns, Star, State};
use skewstar::units::{ARCMIN, DEG, MM, NM, UM};

/// A fast unit with a small sensor and a camera that counts. Invented.
fn unit(side_px: usize) -> Instrument {
    let mut unit = lens::unit();
    unit.telescope.field = FieldTerms {
        axis_m: FieldM::ZERO,
        coma_per_m: 9.0 * NM / MM,
        astigmatism_per_m2: 1.1 * NM / (MM * MM),
        ..FieldTerms::default()
    };
    (unit.camera.width_px, unit.camera.height_px) = (side_px, side_px - 2);
    // large pixels: a sensor of some millimetres in few of them
    unit.camera.pixel_m = 19.0 * UM;
    unit.camera.wavelengths = Some(1);
    unit.camera.electronics = Some(Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 0.9,
        bias_adu: 300.0,
        read_noise_e: 1.7,
        dark_e_per_s: 0.03,
        full_well_e: 40_000.0,
        bits: 16,
        pixel_response_rms: 0.0,
    });
    unit
}

fn night() -> State {
    State {
        star: Some(Star {
            magnitude: 6.0,
            temperature_k: 5600.0,
            altitude_rad: 70.0 * DEG,
        }),
        exposure: Some(Exposure { time_s: 0.7 }),
        ..State::default()
    }
}

fn star(x_mm: f64, y_mm: f64, magnitude: f64) -> FieldStar {
    FieldStar {
        field_m: FieldM::new([x_mm * MM, y_mm * MM]),
        magnitude,
        temperature_k: None,
    }
}

fn rendered(instrument: &Instrument, state: &State, stars: &[FieldStar]) -> StarField {
    star_field(
        instrument,
        state,
        stars,
        Seed(911),
        Settings::default(),
        &|| {},
    )
    .expect("a field")
}

fn tilted(instrument: &Instrument, tilt_arcmin: [f64; 2]) -> ScrewTurns {
    let plane = Plane {
        piston_m: 0.0,
        tilt_rad: tilt_arcmin.map(|t| t * ARCMIN),
    };
    turns_for(instrument.assembly.as_ref().expect("screws"), &plane)
}

/// One star in the middle is the star that `predict` gives for the whole frame, where its stamp reaches.
#[test]
fn a_field_of_one_star_is_that_star() {
    let (instrument, state) = (unit(61), night());
    let field = rendered(&instrument, &state, &[star(0.0, 0.0, 6.0)]);
    let model = Model::new(&instrument, &state, Settings::default()).expect("a model");
    let direct = Expected::new(&model, &instrument, &state, Settings::default())
        .expect("a star")
        .image;
    // brighter than what stamps may cut off (0.3 e a pixel): equal but for the sampling of another frame size
    let peak = direct.iter().copied().fold(0.0, f64::max);
    let worst = direct
        .iter()
        .zip(&field.expected.image)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f64::max);
    println!("worst difference {worst:.3} e of a peak of {peak:.0} e");
    assert!(worst < 1e-3 * peak + 0.6, "{worst} e of {peak} e");
}

/// Stars that share a model, made for the one with the farthest rays, are the stars that each have their own.
#[test]
fn sharing_a_model_changes_no_star() {
    let (mut instrument, state) = (unit(400), night());
    instrument.telescope.field.curvature_per_m2 = 30.0 * UM / (MM * MM);
    let stars = [
        star(0.2, -0.1, 9.0),
        star(1.6, 2.1, 9.1),
        star(-2.3, 0.7, 9.2),
    ];
    let together = rendered(&instrument, &state, &stars);
    let sky = background(&instrument, &state, Settings::default()).expect("a sky");
    for (number, star) in stars.iter().enumerate() {
        let alone = stamp(&instrument, &state, star, &sky, Settings::default()).expect("a star");
        let [x, y] = alone.corner_px.map(|corner| corner as usize);
        let norm = |values: &dyn Fn(f64, f64) -> f64| {
            let both = alone.light.indexed_iter().map(|((row, column), own)| {
                let shared = together.expected.image[[y + row, x + column]];
                values(shared - sky.background_per_px, *own).powi(2)
            });
            both.sum::<f64>().sqrt()
        };
        let apart = norm(&|a, b| a - b) / norm(&|_, b| b);
        println!(
            "star {number}: offset {:.0} um, relative L2 {apart:.1e}",
            alone.record.sensor_offset_um
        );
        // the finer of two samplings is no other star
        assert!(apart < 1e-4, "{apart}");
    }
}

#[test]
fn the_frame_holds_the_light_of_its_records() {
    let (instrument, state) = (unit(121), night());
    let field = rendered(
        &instrument,
        &state,
        &[star(0.3, -0.2, 7.0), star(-0.4, 0.37, 8.5)],
    );
    let sky = field.expected.background_per_px * field.expected.image.len() as f64;
    let light = field.expected.image.sum() - sky;
    let told: f64 = field
        .stars
        .iter()
        .map(|s| s.electrons * s.light_in_stamp)
        .sum();
    assert!((light / told - 1.0).abs() < 1e-9, "{light} against {told}");
    let ratio = field.stars[0].electrons / field.stars[1].electrons;
    assert!(
        (ratio / 10f64.powf(0.6) - 1.0).abs() < 1e-12,
        "1.5 magnitudes are a factor of 10^0.6"
    );
}

#[test]
fn the_number_of_threads_changes_no_count() {
    let (instrument, state) = (unit(90), night());
    let drawn = FieldStars::Drawn {
        count: 9,
        magnitudes: [5.0, 9.0],
        slope_per_magnitude: 0.4,
    };
    let stars = field_stars(&instrument, &drawn, Seed(5));
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("threads");
        pool.install(|| rendered(&instrument, &state, &stars))
    };
    assert_eq!(on(1), on(3));
}

/// The number of stars brighter than m grows as 10^(slope·m): shares of a large draw, within five standard deviations.
#[test]
fn drawn_magnitudes_follow_their_slope_and_fill_the_sensor() {
    let instrument = unit(100);
    let (bright, faint, slope, count) = (4.0, 11.0, 0.33, 20_000);
    let plan = FieldStars::Drawn {
        count,
        magnitudes: [bright, faint],
        slope_per_magnitude: slope,
    };
    let stars = field_stars(&instrument, &plan, Seed(31));
    for limit in [7.0, 9.0, 10.4] {
        let share = stars.iter().filter(|s| s.magnitude < limit).count() as f64 / count as f64;
        let rise = |m: f64| 10f64.powf(slope * (m - bright)) - 1.0;
        let expected = rise(limit) / rise(faint);
        let sigma = (expected * (1.0 - expected) / count as f64).sqrt();
        assert!(
            (share - expected).abs() < 5.0 * sigma,
            "{limit}: {share} against {expected}"
        );
    }
    let half_m = 0.5 * 100.0 * instrument.camera.pixel_m;
    let mean = stars.iter().map(|s| s.field_m[0]).sum::<f64>() / count as f64;
    assert!(mean.abs() < 5.0 * half_m / (3.0 * count as f64).sqrt());
    assert!(stars.iter().all(|s| s.field_m[0].abs() <= half_m));
}

/// Light of the expected frame about a star: first and second moments from its place, in metres, within `radius_px`.
fn moments(
    image: &Array2<f64>,
    background: f64,
    star_px: [f64; 2],
    radius_px: f64,
    pixel_m: f64,
) -> ([f64; 2], f64) {
    let (mut sum, mut first, mut second) = (0.0, [0.0; 2], 0.0);
    for ((row, column), e) in image.indexed_iter() {
        let (x, y) = (column as f64 - star_px[0], row as f64 - star_px[1]);
        if x.hypot(y) <= radius_px {
            let light = e - background;
            sum += light;
            first = [first[0] + light * x, first[1] + light * y];
            second += light * (x * x - y * y);
        }
    }
    (
        first.map(|f| f / sum * pixel_m),
        second / sum * pixel_m * pixel_m,
    )
}

/// A cross of stars, each alone in its part of the sensor.
fn grid() -> Vec<FieldStar> {
    let places = [-6.0, -3.0, 0.0, 3.0, 6.0];
    let along = places.iter().map(|x| star(*x, 0.0, 11.0));
    let across = places.iter().filter(|y| **y != 0.0);
    along.chain(across.map(|y| star(0.0, *y, 11.0))).collect()
}

/// Moments of every star of the grid, inside and outside focus, at this tilt.
fn read_off(tilt_arcmin: [f64; 2]) -> Vec<([f64; 2], f64)> {
    let mut instrument = unit(1500);
    instrument.camera.pixel_m = 9.5 * UM;
    instrument.telescope.obstruction = None;
    instrument.telescope.vanes = Vec::new();
    instrument.telescope.field.coma_per_m = 36.0 * NM / MM;
    let response = instrument
        .assembly
        .as_mut()
        .and_then(|a| a.response.as_mut())
        .expect("a response");
    *response = Response {
        coma_m_per_rad: 120.0 * NM / ARCMIN,
        astigmatism_m_per_rad2: 2.4 * NM / (ARCMIN * ARCMIN),
        focus_m_per_m: 1.0,
        ..Response::default()
    };
    let turns = tilted(&instrument, tilt_arcmin);
    let sides = [DEFOCUS_M, -DEFOCUS_M].map(|sensor_offset_m| {
        let state = State {
            sensor_offset_m,
            turns: turns.clone(),
            ..night()
        };
        let field = rendered(&instrument, &state, &grid());
        let reach_px =
            0.75 * DEFOCUS_M / instrument.telescope.focal_ratio() / instrument.camera.pixel_m;
        field
            .stars
            .iter()
            .map(|s| {
                moments(
                    &field.expected.image,
                    field.expected.background_per_px,
                    s.star_px.xy(),
                    reach_px,
                    instrument.camera.pixel_m,
                )
            })
            .collect::<Vec<_>>()
    });
    let [outside, inside] = sides;
    // the centroid is the mean ray, the same on both sides; astigmatism times defocus changes its sign with the side
    outside
        .iter()
        .zip(&inside)
        .map(|(o, i)| {
            (
                [0.5 * (o.0[0] + i.0[0]), 0.5 * (o.0[1] + i.0[1])],
                0.5 * (o.1 - i.1),
            )
        })
        .collect()
}

const DEFOCUS_M: f64 = 800.0 * UM;

/// Nodal aberration theory, R. V. Shack and K. P. Thompson, Proc. SPIE 251, 146 (1980), from memory: the place without coma
/// moves to h0 = −k_tilt·t/k_field. The mean ray of coma is linear in it, so that a plane fitted to the centroids has its zero there.
#[test]
fn the_coma_node_is_found_in_the_rendered_field() {
    let tilt_arcmin = [0.9, -0.55];
    let seen = read_off(tilt_arcmin);
    let stars = grid();
    for (axis, tilt_arcmin) in tilt_arcmin.into_iter().enumerate() {
        let value: Vec<f64> = seen.iter().map(|s| s.0[axis]).collect();
        let place: Vec<f64> = stars.iter().map(|s| s.field_m[axis]).collect();
        let mean = value.iter().sum::<f64>() / value.len() as f64;
        let slope = place.iter().zip(&value).map(|(p, v)| p * v).sum::<f64>()
            / place.iter().map(|p| p * p).sum::<f64>();
        let (node_mm, expected_mm) = (-mean / slope / MM, -120.0 / 36.0 * tilt_arcmin);
        println!("axis {axis}: node at {node_mm:.4} mm, theory {expected_mm:.4} mm");
        // the circle that is summed cuts the faint far light, and whole pixels of it: a hundredth
        assert!(
            (node_mm - expected_mm).abs() < 0.015 * expected_mm.abs(),
            "{node_mm} against {expected_mm}"
        );
    }
}

/// W = √6 a (x² − y²) + D (x² + y²) spreads rays by ⟨x²⟩ − ⟨y²⟩ = 16 √6 N² D a over a full disc, D = z/(8N²).
#[test]
fn astigmatism_grows_with_the_square_of_field_and_tilt_in_the_rendered_field() {
    let per_m = 16.0 * 6f64.sqrt() * DEFOCUS_M / 8.0;
    let aligned = read_off([0.0, 0.0]);
    for (index, h_mm) in [(0, 6.0), (1, 3.0), (3, 3.0), (4, 6.0)] {
        let (found_nm, law_nm) = (aligned[index].1 / per_m / NM, 1.1 * h_mm * h_mm);
        println!("field {h_mm} mm: {found_nm:.3} nm, law {law_nm:.3} nm");
        assert!(
            (found_nm - law_nm).abs() < 0.04 * law_nm + 0.1,
            "{h_mm} mm: {found_nm} against {law_nm}"
        );
    }
    for tilt_arcmin in [2.0, 4.0] {
        let (found_nm, law_nm) = (
            read_off([tilt_arcmin, 0.0])[2].1 / per_m / NM,
            2.4 * tilt_arcmin * tilt_arcmin,
        );
        println!("tilt {tilt_arcmin} arcmin: {found_nm:.3} nm, law {law_nm:.3} nm");
        assert!(
            (found_nm - law_nm).abs() < 0.04 * law_nm + 0.1,
            "{tilt_arcmin} arcmin: {found_nm} against {law_nm}"
        );
    }
}

/// Two equal circles apart by d have 2R² acos(d/2R) − (d/2) √(4R² − d²) in common.
#[test]
fn a_second_opening_leaves_a_lens_of_the_right_area() {
    let mut instrument = unit(32);
    instrument.telescope.obstruction = None;
    instrument.telescope.vanes = Vec::new();
    let radius_m = instrument.telescope.aperture_radius_m();
    instrument.telescope.field.vignetting = Some(RoundStop {
        diameter_m: 2.0 * radius_m,
        distance_m: 1.3,
    });
    let state = State {
        field_m: FieldM::new([4.0 * MM, -7.0 * MM]),
        ..State::default()
    };
    let model = Model::new(&instrument, &state, Settings::default()).expect("a model");
    let apart = 1.3 * 4.0f64.hypot(7.0) * MM / instrument.telescope.focal_length_m;
    let lens = 2.0 * radius_m * radius_m * (apart / (2.0 * radius_m)).acos()
        - 0.5 * apart * (4.0 * radius_m * radius_m - apart * apart).sqrt();
    assert!(
        (model.open_area_m2 / lens - 1.0).abs() < 1e-12,
        "{} against {lens}",
        model.open_area_m2
    );
}

/// A doughnut cut by a second opening ahead of the pupil, inside focus: the picture of the pupil, upright. Seen from a star at +x
/// the opening is displaced to +x, so that the light of the edge at −x is missing, and the truth's outline says so.
#[test]
fn a_vignetted_doughnut_is_cut_on_the_side_of_the_axis() {
    let mut instrument = unit(64);
    instrument.telescope.obstruction = None;
    instrument.telescope.vanes = Vec::new();
    instrument.telescope.field = FieldTerms::default();
    instrument.camera.pixel_m = 9.0 * UM;
    let diameter_m = instrument.telescope.aperture_m;
    instrument.telescope.field.vignetting = Some(RoundStop {
        diameter_m,
        distance_m: 2.5,
    });
    let state = State {
        field_m: FieldM::new([8.0 * MM, 0.0]),
        sensor_offset_m: -700.0 * UM,
        ..State::default()
    };
    let model = Model::new(&instrument, &state, Settings::default()).expect("a model");
    let image = model.light::<f64>();
    let (centre, _) = moments(&image, 0.0, model.star_px.xy(), 60.0, 1.0);
    let ring = skewstar::simulate::doughnut(
        &instrument,
        &state,
        &model.reference_wavefront(),
        model.reference_m,
    )
    .expect("a doughnut");
    let told_px = ring.outer_centre_m.in_pixels(instrument.camera.pixel_m);
    println!(
        "centroid {centre:?} px, outline {told_px:?} px, radius {} px",
        ring.outer_radius_m / instrument.camera.pixel_m
    );
    assert!(centre[0] > 1.0, "light is left at +x: {centre:?}");
    // a doughnut without a hole is evenly lit, so its light is centred where its outline is; diffraction leaves a hundredth of its radius
    assert!(
        (centre[0] - told_px[0]).abs() < 0.15 && told_px[1].abs() < 1e-9,
        "{centre:?} {told_px:?}"
    );
}

/// Common practice, no source: a unit set with a star about 60 degrees up leans least between 30 degrees and the zenith.
#[test]
fn set_at_sixty_degrees_a_unit_leans_least_between_thirty_and_ninety() {
    let worst = |set_deg: f64| {
        let at = |altitude_deg: f64| Pointing {
            altitude_rad: altitude_deg * DEG,
            down_rad: -90.0 * DEG,
        };
        let flexure = Flexure {
            level_tilt_rad: 1.4 * ARCMIN,
            when_set: at(set_deg),
        };
        [30.0, 90.0]
            .map(|deg| flexure.tilt_rad(at(deg))[1].abs())
            .into_iter()
            .fold(0.0, f64::max)
            / ARCMIN
    };
    for set_deg in [30.0, 45.0, 60.0, 64.3, 75.0, 90.0] {
        println!(
            "set at {set_deg:4.1} degrees: at most {:.3} arcmin between 30 and 90",
            worst(set_deg)
        );
    }
    // the best is where the cosine is half that of 30 degrees: 64.3 degrees
    assert!(worst(60.0) < 1.2 * worst(64.3));
    for other in [30.0, 45.0, 90.0] {
        assert!(worst(60.0) < 0.85 * worst(other), "{other}");
    }
}

/// Along an unchanged pointing nothing is added; turned over, the same weight pulls the other way.
#[test]
fn flexure_is_what_changed_since_the_screws_were_set() {
    let at = |altitude_deg: f64, down_deg: f64| Pointing {
        altitude_rad: altitude_deg * DEG,
        down_rad: down_deg * DEG,
    };
    let flexure = Flexure {
        level_tilt_rad: 2.0 * ARCMIN,
        when_set: at(60.0, -90.0),
    };
    assert_eq!(flexure.tilt_rad(at(60.0, -90.0)), [0.0; 2]);
    let [x, y] = flexure.tilt_rad(at(0.0, -90.0)).map(|t| t / ARCMIN);
    assert!(
        x.abs() < 1e-12 && (y + 1.0).abs() < 1e-12,
        "towards the ground: {x} {y}"
    );
    let [x, y] = flexure.tilt_rad(at(60.0, 90.0)).map(|t| t / ARCMIN);
    assert!(x.abs() < 1e-12 && (y - 2.0).abs() < 1e-12, "{x} {y}");
}
