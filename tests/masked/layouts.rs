//! The layouts with two pitches and with slots along the tangent, in rendered frames: which way their spikes run, which wedge has
//! which pitch, and how far parallel spikes part, which is what `mask preview` promises to the eye.
//!
//! The layouts are described here in words: "two-pitch: straight slots in an outer zone, opposite outer wedges have different pitches",
//! "tangent-wedges: slots along the tangent in six wedges at 30, 90, … 330 degrees, each in two zones; pitches outer, inner".
//! What a wedge does alone is seen by covering the other half of the pupil with a vane as wide as the aperture, and one zone with
//! the obstruction or with a second opening.

use crate::cli::program::Place;
use crate::support::lens::ring_profile;
use crate::support::place::{Search, spike_place_m};
use ndarray::Array2;
use skewstar::predict::{Model, Settings};
use skewstar::scenario;
use skewstar::state::Modes;
use skewstar::units::{NM, UM};

/// The mask is turned in the tube, the camera is turned and mirrored.
const MASK_DEG: f64 = 11.0;
const CAMERA_DEG: f64 = 37.0;
const PITCHES_MM: [f64; 2] = [3.4, 4.3];
const ZONE_MM: f64 = 63.0;
const PIXEL_UM: f64 = 3.8;
const FOCAL_MM: f64 = 405.0;

fn text(layout: &str, more: &str, hole_mm: f64) -> String {
    // slots along the tangent do not lean
    let slant = if layout == "tangent-wedges" {
        ""
    } else {
        "slant_deg = 23.0\n"
    };
    format!(
        "format = 1\ntitle = \"Spikes\"\n[telescope]\naperture_mm = 176.0\nfocal_length_mm = {FOCAL_MM:?}\n{more}\n\
         [telescope.obstruction]\ndiameter_mm = {hole_mm:?}\n\
         [mask]\nlayout = \"{layout}\"\nslot_pitch_mm = {PITCHES_MM:?}\nopen_fraction = 0.5\n{slant}\
         zone_radius_mm = {ZONE_MM:?}\nouter_diameter_mm = 184.0\ninner_diameter_mm = 78.0\nouter_rim_mm = 6.0\n\
         inner_rim_mm = 3.0\nrib_mm = 2.0\nthickness_mm = 2.4\nrotation_deg = {MASK_DEG:?}\n\
         [camera]\npixel_um = {PIXEL_UM:?}\nwidth_px = 84\nheight_px = 80\nrotation_deg = {CAMERA_DEG:?}\nmirrored = true\n\
         passband_nm = [549.0, 551.0]\nwavelengths = 1\n"
    )
}

/// A vane that covers the half of the pupil about an azimuth of the mask.
fn covered(mask_deg: f64) -> String {
    let azimuth_deg = (mask_deg + MASK_DEG).rem_euclid(360.0);
    format!("[[telescope.vanes]]\nazimuth_deg = {azimuth_deg:?}\nwidth_mm = 175.9\n")
}

/// Direction in the picture of an azimuth of the mask: into the tube, back by the camera's turn, mirrored.
fn in_picture_deg(mask_deg: f64) -> f64 {
    180.0 - (mask_deg + MASK_DEG - CAMERA_DEG)
}

fn model(text: &str) -> Model {
    let read = scenario::read(text, "layouts", &[]).expect("a scenario");
    Model::new(&read.instrument, &read.state, Settings::default()).expect("a model")
}

fn light(text: &str) -> Array2<f64> {
    model(text).light::<f32>()
}

/// Distance of the first order from the star, pixels.
fn first_order_px(pitch_mm: f64) -> f64 {
    550.0 * NM * FOCAL_MM / pitch_mm / (PIXEL_UM * UM)
}

const MIDDLE: [f64; 2] = [41.5, 39.5];

/// How far from the star the light along a direction and its opposite has its brightest place beyond the core, pixels.
fn order_px(image: &Array2<f64>, degrees: f64) -> f64 {
    let (sin, cos) = degrees.to_radians().sin_cos();
    let at = |x: f64, y: f64| {
        let (column, row) = (x.floor() as usize, y.floor() as usize);
        let (u, v) = (x - x.floor(), y - y.floor());
        (1.0 - v) * ((1.0 - u) * image[[row, column]] + u * image[[row, column + 1]])
            + v * ((1.0 - u) * image[[row + 1, column]] + u * image[[row + 1, column + 1]])
    };
    let along = |r: f64| {
        [-r, r]
            .map(|r| {
                (-2..=2)
                    .map(|k| f64::from(k) * 0.5)
                    .map(|t| at(MIDDLE[0] + r * cos - t * sin, MIDDLE[1] + r * sin + t * cos))
                    .sum::<f64>()
            })
            .iter()
            .sum::<f64>()
    };
    let places = (0..=1100).map(|k| 10.0 + 0.01 * f64::from(k));
    places
        .max_by(|a, b| along(*a).total_cmp(&along(*b)))
        .expect("places")
}

/// Each straight spike of `two-pitch` comes from two wedges: the one at the triplet's own azimuth has the first pitch, the one
/// opposite the second. Either alone has its first order where its own pitch puts it, and `mask preview` says both.
#[test]
fn opposite_wedges_of_two_pitch_have_two_pitches() {
    for triplet_deg in [90.0, 210.0, 330.0] {
        // a spike runs at right angles to its slots
        let spike_deg = in_picture_deg(triplet_deg + 90.0);
        for (side_deg, pitch_mm) in [(0.0, PITCHES_MM[0]), (180.0, PITCHES_MM[1])] {
            let only = covered(triplet_deg + side_deg + 180.0);
            let found = order_px(&light(&text("two-pitch", &only, 74.0)), spike_deg);
            let wanted = first_order_px(pitch_mm);
            println!(
                "wedge at {}: first order at {found:.2} px, by its pitch {wanted:.2} px",
                triplet_deg + side_deg
            );
            assert!(
                (found - wanted).abs() < 0.4,
                "wedge at {}: {found} px, not {wanted}",
                triplet_deg + side_deg
            );
        }
    }
    let answer = previewed("two-pitch");
    for triplet_deg in [90.0, 210.0, 330.0] {
        let spike_deg = in_picture_deg(triplet_deg + 90.0);
        let mut orders: Vec<f64> = answer["spikes"]
            .as_array()
            .expect("spikes")
            .iter()
            .filter(|spike| along(spike["along_deg"].as_f64().expect("degrees"), spike_deg) < 0.01)
            .map(|spike| spike["first_order_px"].as_f64().expect("pixels"))
            .collect();
        orders.sort_by(f64::total_cmp);
        let wanted = [PITCHES_MM[1], PITCHES_MM[0]].map(first_order_px);
        assert_eq!(orders.len(), 2, "{triplet_deg}: {}", answer["spikes"]);
        assert!(
            (0..2).all(|k| (orders[k] - wanted[k]).abs() < 1e-3),
            "{triplet_deg}: {orders:?}, not {wanted:?}"
        );
    }
}

/// Angle between two lines, degrees.
fn along(a_deg: f64, b_deg: f64) -> f64 {
    let turn = (a_deg - b_deg).rem_euclid(180.0);
    turn.min(180.0 - turn)
}

fn previewed(layout: &str) -> serde_json::Value {
    let place = Place::with_file("m.toml", text(layout, "", 74.0));
    serde_json::from_str(
        &place
            .run(&["mask", "preview", "m.toml", "--json"])
            .well()
            .stdout,
    )
    .expect("an answer")
}

/// Slots along the tangent make spikes along the radius: six, at the wedges' own azimuths, in three lines. Their direction is read
/// as the phase of the light's sixth harmonic round the star. The outer zone has the first pitch, the inner one the second.
#[test]
fn spikes_of_tangent_wedges_run_along_the_radius() {
    let whole = light(&text("tangent-wedges", "", 74.0));
    let (mut cos6, mut sin6, mut total) = (0.0, 0.0, 0.0);
    for (degrees, light) in ring_profile(&whole, MIDDLE, 9.0, 20.0) {
        let (sin, cos) = (6.0 * degrees).to_radians().sin_cos();
        (cos6, sin6, total) = (cos6 + light * cos, sin6 + light * sin, total + light);
    }
    let found_deg = f64::atan2(sin6, cos6).to_degrees() / 6.0;
    let off_deg = (found_deg - in_picture_deg(30.0) + 30.0).rem_euclid(60.0) - 30.0;
    let share = cos6.hypot(sin6) / total;
    println!("spikes off by {off_deg:.2} degrees, sixth harmonic {share:.2} of the mean");
    assert!(share > 0.3, "no six spikes: {share}");
    assert!(
        off_deg.abs() < 1.0,
        "the spikes are off by {off_deg} degrees"
    );

    let inner = format!(
        "vignetting = {{ diameter_mm = {:?}, distance_mm = 0.0 }}",
        2.0 * ZONE_MM
    );
    let zones = [
        (
            "outer",
            text("tangent-wedges", "", 2.0 * ZONE_MM),
            PITCHES_MM[0],
        ),
        ("inner", text("tangent-wedges", &inner, 74.0), PITCHES_MM[1]),
    ];
    for (zone, text, pitch_mm) in zones {
        let image = light(&text);
        for wedge_deg in [30.0, 90.0, 150.0] {
            let found = order_px(&image, in_picture_deg(wedge_deg));
            let wanted = first_order_px(pitch_mm);
            println!(
                "{zone} zone, wedges at {wedge_deg}: first order at {found:.2} px, by the pitch {wanted:.2} px"
            );
            // five or six slots make a wide order, and the core leans on it
            assert!(
                (found - wanted).abs() < 0.9,
                "{zone} zone, {wedge_deg}: {found} px, not {wanted}"
            );
        }
    }
}

/// Where one wedge's spike lies along a direction of the mask, in pixels, with 100 nm RMS of a mode and without: how far it moves.
struct Alone {
    model: Model,
    slot_deg: f64,
    pitch_mm: f64,
}

impl Alone {
    fn moves_px(&self, noll: u32) -> f64 {
        let (sin, cos) = in_picture_deg(self.slot_deg).to_radians().sin_cos();
        let search = Search {
            star_px: MIDDLE,
            pixel_m: PIXEL_UM * UM,
            along: [cos, sin],
            first_order_m: 550.0 * NM * FOCAL_MM / self.pitch_mm,
            half_width_m: 26.0 * UM,
        };
        let place = |modes: &Modes| {
            let image = self.model.light_of::<f32>(modes, 0.0, &self.model.bins);
            spike_place_m(&image, &search) / (PIXEL_UM * UM)
        };
        let bent: Modes = [(noll, 100.0 * NM)].into_iter().collect();
        place(&bent) - place(&Modes::none())
    }
}

/// Largest distance between any two of the spikes that run alike, all counted along the same direction.
fn parts_px(alike: &[Vec<Alone>], noll: u32) -> f64 {
    let apart = |group: &Vec<Alone>| {
        let moves = group.iter().map(|alone| alone.moves_px(noll));
        let (low, high) = moves.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), m| {
            (l.min(m), h.max(m))
        });
        high - low
    };
    alike.iter().map(apart).fold(0.0, f64::max)
}

/// `mask preview` says how far parallel spikes part per 100 nm RMS. Each wedge is rendered alone, and the place of its spike is read
/// off the frame along one direction for all that run alike, so that neither the sign of a shift nor the sense of a wedge's own slots
/// is taken from the engine. Opposite wedges of `tangent-wedges` have opposite senses: coma moves both to one side, astigmatism to two.
///
/// Measured: off by at most 0.012 px; allowed are 0.02 px and 2 % of the separation, since windows about a spike leave out its faint wings.
#[test]
fn parallel_spikes_part_as_the_preview_says() {
    let inner = format!(
        "vignetting = {{ diameter_mm = {:?}, distance_mm = 0.0 }}\n",
        2.0 * ZONE_MM
    );
    let tangent: Vec<Vec<Alone>> = [30.0, 90.0, 150.0]
        .iter()
        .map(|wedge_deg| {
            let zones = [
                ("", 2.0 * ZONE_MM, PITCHES_MM[0]),
                (inner.as_str(), 74.0, PITCHES_MM[1]),
            ];
            let sides = [0.0, 180.0];
            let both = zones.iter().flat_map(|zone| sides.map(|side| (zone, side)));
            both.map(|((more, hole_mm, pitch_mm), side_deg)| Alone {
                model: model(&text(
                    "tangent-wedges",
                    &format!("{more}{}", covered(wedge_deg + side_deg + 180.0)),
                    *hole_mm,
                )),
                slot_deg: wedge_deg + 90.0,
                pitch_mm: *pitch_mm,
            })
            .collect()
        })
        .collect();
    let straight: Vec<Vec<Alone>> = [90.0, 210.0, 330.0]
        .iter()
        .map(|triplet_deg| {
            let sides = [(0.0, PITCHES_MM[0]), (180.0, PITCHES_MM[1])];
            sides
                .map(|(side_deg, pitch_mm)| Alone {
                    model: model(&text(
                        "two-pitch",
                        &covered(triplet_deg + side_deg + 180.0),
                        2.0 * ZONE_MM,
                    )),
                    slot_deg: *triplet_deg,
                    pitch_mm,
                })
                .into()
        })
        .collect();
    let mut largest = 0.0f64;
    for (layout, alike, modes) in [
        ("tangent-wedges", &tangent, &[5, 6, 7, 8][..]),
        ("two-pitch", &straight, &[4, 5, 6][..]),
    ] {
        let answer = previewed(layout);
        for noll in modes {
            let row = answer["shows"]
                .as_array()
                .expect("rows")
                .iter()
                .find(|row| row["noll"] == *noll)
                .expect("a row")
                .clone();
            let said = row["separation_px"].as_f64().expect("a number");
            let found = parts_px(alike, *noll);
            println!(
                "{layout}, Noll {noll}: the preview {said:.3} px, in the frames {found:.3} px"
            );
            assert!(
                (found - said).abs() < 0.02 + 0.02 * said,
                "{layout}, Noll {noll}: {found} px in the frames, the preview says {said}"
            );
            largest = largest.max(found);
        }
    }
    assert!(largest > 1.0, "{largest} px shows nothing");
}
