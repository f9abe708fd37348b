//! A card over the rim at a screw's place tells how the camera is held: frames made of rays alone (a twin that knows no wavefront), and
//! frames rendered with something wide in the beam.

use super::measured::{CABLE, Held, TYPED, after_step, measured, tilt_in_turns, unit};
use crate::cli::program::Place;
use ndarray::Array2;
use serde_json::Value;
use skewstar::instrument::{Hold, wrapped};
use skewstar::measure::orientation::CardSeen;
use skewstar::measure::settings::OrientationSettings;
use skewstar::measure::{MeasureSettings, Side, ring};
use skewstar::units::DEG;

/// What covers the rim from `from_mm` outwards within some degrees of an azimuth.
struct Card {
    azimuth_deg: f64,
    half_width_deg: f64,
    from_mm: f64,
}

/// Rays evenly over a 164 mm pupil with a 68 mm disc, to the sensor 420 um from focus of 394 mm: straight lines, by the conventions of the
/// design alone (pupil axes as seen from the sensor, the sensor's +x at the camera's rotation, then flipped if it mirrors).
fn thrown(card: &Card, held: Held, side: Side) -> Array2<f64> {
    thrown_with_coma(Some(card), 0.0, held, side)
}

/// The same with so many nm RMS of Noll 8: a ray of W lands at −2N·(∂W/∂x, ∂W/∂y), with x and y in aperture radii (DESIGN, section 2).
fn thrown_with_coma(card: Option<&Card>, coma_nm: f64, held: Held, side: Side) -> Array2<f64> {
    let mut picture = Array2::zeros((84, 84));
    let offset_mm = 0.42 * side.sign();
    let (sin, cos) = (held.0 * DEG).sin_cos();
    let steps = 700;
    let height = |k: usize| 82.0 * (2.0 * (k as f64 + 0.5) / steps as f64 - 1.0);
    for (x, y) in (0..steps * steps).map(|k| (height(k % steps), height(k / steps))) {
        let radius = x.hypot(y);
        let covered = card.is_some_and(|card| {
            let off_deg = wrapped(y.atan2(x) - card.azimuth_deg * DEG).abs() / DEG;
            radius > card.from_mm && off_deg < card.half_width_deg
        });
        if !(34.0..82.0).contains(&radius) || covered {
            continue;
        }
        // a ray from (x, y) towards the focus 394 mm on: short of focus it has not yet reached the axis
        let (p, q) = (x / 82.0, y / 82.0);
        let slopes = [9.0 * p * p + 3.0 * q * q - 2.0, 6.0 * p * q];
        let by_coma_mm = slopes.map(|s| -2.0 * (394.0 / 164.0) * 8f64.sqrt() * coma_nm * 1e-6 * s);
        let [u, v] = [(x, by_coma_mm[0]), (y, by_coma_mm[1])]
            .map(|(h, more)| (-h * offset_mm / 394.0 + more) / 0.0038);
        let (mut column, row) = (cos * u + sin * v, cos * v - sin * u);
        if held.1 {
            column = -column;
        }
        picture[[(row + 42.0) as usize, (column + 42.0) as usize]] += 1.0;
    }
    picture
}

#[test]
fn rays_show_the_card_where_it_is_looked_for() {
    let settings = MeasureSettings::default();
    let cards = [(80.0, 12.0, 50.0), (200.0, 20.0, 60.0), (320.0, 30.0, 34.0)];
    for (azimuth_deg, half_width_deg, from_mm) in cards {
        let card = Card {
            azimuth_deg,
            half_width_deg,
            from_mm,
        };
        for held in [
            TYPED,
            Held(150.0, false),
            Held(-75.0, true),
            Held(33.0, true),
        ] {
            for side in [Side::Inside, Side::Outside] {
                let picture = thrown(&card, held, side);
                let edges = ring(&picture, &settings.ring).expect("a ring");
                let at = (0, azimuth_deg * DEG);
                let seen = CardSeen::in_ring(&picture, &edges, at, &OrientationSettings::default());
                let hold = Hold {
                    rotation_rad: held.0 * DEG,
                    mirrored: held.1,
                };
                let off = seen.expect("a card").off_rad(hold, side) / DEG;
                assert!(
                    off.abs() < 4.0,
                    "{azimuth_deg} {} {}: {off}",
                    held.0,
                    held.1
                );
            }
        }
    }
}

/// Against the star without it a card is found also where coma crowds the rays that it takes, or thins them, and where the star has moved.
#[test]
fn a_card_is_found_by_what_the_star_lacks() {
    let settings = MeasureSettings::default();
    let held = Held(33.0, true);
    for side in [Side::Inside, Side::Outside] {
        for coma_nm in [0.0, 100.0, -100.0] {
            let clear = thrown_with_coma(None, coma_nm, held, side);
            let edges = ring(&clear, &settings.ring).expect("a ring");
            for azimuth_deg in [0.0, 80.0, 180.0, 230.0] {
                let card = Card {
                    azimuth_deg,
                    half_width_deg: 20.0,
                    from_mm: 60.0,
                };
                let shown = thrown_with_coma(Some(&card), coma_nm, held, side);
                let mut moved = Array2::zeros(shown.dim());
                for ((row, column), light) in shown.indexed_iter().filter(|(_, l)| **l > 0.0) {
                    moved[[row - 3, column + 2]] = *light;
                }
                let at = (0, azimuth_deg * DEG);
                let orientation = OrientationSettings::default();
                let seen = CardSeen::against([&clear, &moved], &edges, at, &orientation);
                let hold = Hold {
                    rotation_rad: held.0 * DEG,
                    mirrored: held.1,
                };
                let off = seen.expect("a card").off_rad(hold, side) / DEG;
                assert!(off.abs() < 10.0, "{side:?} {coma_nm} {azimuth_deg}: {off}");
            }
            let at = (0, 0.0);
            let none = CardSeen::against([&clear, &clear], &edges, at, &settings.orientation);
            assert!(none.is_none(), "{side:?} {coma_nm}: {none:?}");
        }
    }
}

/// The card as a vane that covers the outer part of the pupil alone.
fn card(azimuth: f64) -> String {
    CABLE
        .replace("152.0", &format!("{azimuth:.1}"))
        .replace("width_mm = 5.0", "width_mm = 45.0")
        .replace("inner_radius_mm = 34.0", "inner_radius_mm = 58.0")
}

/// Frames of the telescope as it is: the star, and the star with a card at A and at B.
fn place(real: Held, offset_um: f64) -> Place {
    let place = Place::with_file("typed.toml", unit("", &TYPED.keys("assumed"), 1));
    let state = format!(
        "[state]\nsensor_offset_um = {offset_um:.1}\nrecentred = true\nturns = {{ B = -0.1 }}\n"
    );
    for (name, vanes) in [
        ("star", String::new()),
        ("at-a", card(80.0)),
        ("at-b", card(200.0)),
    ] {
        let text = unit(&vanes, &real.keys("known"), 70) + &state;
        place.write(&format!("{name}.toml"), text);
        let file = format!("{name}.toml");
        place.run(&["render", &file, "--quiet"]).well();
    }
    place
}

/// With the side known two cards leave one answer, and the turn that follows is right; one leaves both mirror images, and asks for another.
#[test]
fn two_cards_and_the_side_settle_it() {
    let short = [0.0, -0.1, 0.0];
    for (real, side, offset_um) in [
        (Held(150.0, false), "inside", -420.0),
        (Held(180.0, false), "outside", 420.0),
        (Held(-75.0, true), "outside", 420.0),
        (Held(20.0, true), "inside", -420.0),
    ] {
        let place = place(real, offset_um);
        let about = format!("{} {} {side}", real.0, real.1);
        let one = measured(&place, "at-a", &["--card-at", "A", "--side", side]);
        assert_eq!(one["method"], "card", "{about}");
        assert_eq!(one["verdict"], "trial", "{about}");
        assert_eq!(one["next"]["do"], "card", "{about}: {one:#}");
        assert_eq!(one["next"]["screw"], "B", "{about}");
        assert_eq!(counting(&one).len(), 2, "{about}: {one:#}");
        let both = [
            "--card-at",
            "A=out/at-a.fits",
            "--card-at",
            "B",
            "--side",
            side,
        ];
        let two = measured(&place, "at-b", &both);
        assert_eq!(two["next"]["do"], "clear-beam", "{about}: {two:#}");
        assert_near(&two, real, &about);
        let both = [
            "--card-at",
            "A=out/at-a.fits",
            "--card-at",
            "B=out/at-b.fits",
            "--side",
            side,
        ];
        let star = measured(&place, "star", &both);
        assert_near(&star, real, &about);
        assert_eq!(star["verdict"], "turn", "{about}: {star:#}");
        let left = tilt_in_turns(after_step(&star, short));
        assert!(left < 0.15 * tilt_in_turns(short), "{about}: {left}");
    }
}

fn counting(report: &Value) -> Vec<Value> {
    let all = report["orientations"].as_array().expect("a list");
    let counts = |a: &&Value| a["weight"].as_f64().expect("a weight") > 0.01;
    all.iter().filter(counts).cloned().collect()
}

/// One answer is left, and it is how the camera is held, within what a card tells.
fn assert_near(report: &Value, real: Held, about: &str) {
    let left = counting(report);
    assert_eq!(left.len(), 1, "{about}: {left:?}");
    assert_eq!(left[0]["mirrored"], real.1, "{about}");
    let degrees = left[0]["rotation_deg"].as_f64().expect("degrees");
    let off = wrapped((degrees - real.0) * DEG) / DEG;
    assert!(off.abs() < 4.0, "{about}: {degrees}");
}

#[test]
fn what_is_no_card_is_said() {
    let place = place(TYPED, -420.0);
    let asked = |more: &[&str]| {
        let words = [
            &["measure", "out/star.fits", "--instrument", "typed.toml"],
            more,
        ]
        .concat();
        place.run(&words)
    };
    for (more, said) in [
        (&["--card-at", "A"][..], "no card is seen over the rim"),
        (
            &["--card-at", "Q"][..],
            "the instrument has the screws A, B, C",
        ),
        (
            &["--card-at", "A", "--card-at", "B", "--card-at", "C"][..],
            "3 cards are named",
        ),
    ] {
        let done = asked(more);
        assert_eq!(done.status, Some(2), "{}", done.stderr);
        assert!(done.stderr.contains(said), "{}", done.stderr);
        assert!(done.stderr.contains("hint:"), "{}", done.stderr);
    }
}
