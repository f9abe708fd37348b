//! What the advised turns do to the place of the star and to the focus.

use super::{Held, cell, measured, night, number, pair};
use crate::support::cell::Cell;
use serde_json::Value;

const HELD: Held = Held {
    rotation_deg: 37.0,
    mirrored: true,
};

/// Hidden turns as they are typed.
fn turns(cell: &Cell) -> String {
    let all = cell
        .screws
        .iter()
        .map(|s| format!("{} = {:?}", s.name, s.length_mm / cell.pitch_mm));
    format!(
        "recentred = false\nturns = {{ {} }}",
        all.collect::<Vec<_>>().join(", ")
    )
}

/// The cell after all the advised turns of a report.
fn after_all(cell: &Cell, advice: &Value) -> Cell {
    let mut turned = cell.clone();
    for (name, by) in advice["turns"].as_object().expect("turns") {
        turned.lengthen(name, number(by));
    }
    turned
}

/// One screw alone lifts or lowers the middle of the unit: by the height, in the middle of the circle, of the plane through the
/// three tips. Either sense of the turn, either sign of the focus law, screws at uneven angles.
#[test]
fn one_screw_changes_the_focus_by_what_it_lifts_the_middle() {
    for (name, hidden_turns, focus_um_per_mm) in [
        ("L", -0.14, 1000.0),
        ("M", 0.12, 1000.0),
        ("K", -0.13, -640.0),
    ] {
        let mut stands = cell(true, 1);
        stands.lengthen(name, hidden_turns);
        let (_, found) = measured(&night(&stands, HELD, focus_um_per_mm, &turns(&stands)), &[]);
        let one = &found["advice"]["one_screw"];
        assert_eq!(one["screw"], name, "{one}");
        let mut turned = stands.clone();
        turned.lengthen(name, number(&one["turns"]));
        let lifted_mm = turned.plane().0 - stands.plane().0;
        let wanted_um = focus_um_per_mm * lifted_mm;
        println!("{name}: {one}, the model {wanted_um:.3} um");
        assert!(wanted_um.abs() > 8.0, "{name}: the case shows nothing");
        assert!(
            (number(&one["focus_change_um"]) - wanted_um).abs() < 1e-6 * wanted_um.abs(),
            "{name}: {one}, not {wanted_um} um"
        );
        // a little at each screw holds the middle
        assert!(
            number(&found["advice"]["focus_change_um"]).abs() < 1e-6,
            "{}",
            found["advice"]
        );
        // what is to be done about it: nothing, as long as the doughnut keeps its size to a quarter
        assert!(found["next"]["focus_um"].is_null(), "{}", found["next"]);
        assert!(
            !found["next"].to_string().contains("efocus"),
            "{}",
            found["next"]
        );
    }
}

/// Where a turn changes the doughnut's defocus by a good share, the next step says how far the sensor is to be moved: back by what the
/// middle of the model's plane was lifted, which is the other sign.
#[test]
fn the_focus_is_put_right_where_it_changes_much() {
    for (name, hidden_turns, focus_um_per_mm) in [("L", -0.14, 16000.0), ("K", -0.13, -14000.0)] {
        let mut stands = cell(true, 1);
        stands.lengthen(name, hidden_turns);
        let (_, found) = measured(&night(&stands, HELD, focus_um_per_mm, &turns(&stands)), &[]);
        let next = &found["next"];
        let mut turned = stands.clone();
        turned.lengthen(name, number(&next["turns"]));
        let moved_um = focus_um_per_mm * (turned.plane().0 - stands.plane().0);
        // the sensor stands 950 um outside focus
        assert!(
            moved_um.abs() > 0.26 * 950.0,
            "{name}: the case shows nothing"
        );
        let focus_um = number(&next["focus_um"]);
        println!("{name}: {next}, the model {moved_um:.1} um");
        assert!(
            (focus_um + moved_um).abs() < 1e-6 * moved_um.abs(),
            "{next}"
        );
        let way = if focus_um < 0.0 {
            "inwards"
        } else {
            "outwards"
        };
        let wanted = format!("Refocus: move the sensor {way} by {:.0} um", focus_um.abs());
        assert!(
            next["words"].to_string().contains(&wanted),
            "{next}\n{wanted}"
        );
    }
}

/// The advice says where the star goes in the picture. A camera that is turned and mirrored; the turns are made, the frame is
/// rendered anew without following the star, and its place is measured again. Places are measured to a tenth of a pixel.
#[test]
fn the_star_moves_in_the_picture_as_the_advice_says() {
    let mut stands = cell(false, 2);
    for (name, by) in [("K", 0.09), ("L", -0.11), ("M", 0.03)] {
        stands.lengthen(name, by);
    }
    let look = |cell: &Cell| measured(&night(cell, HELD, 1000.0, &turns(cell)), &[]).1;
    let before = look(&stands);
    let advice = &before["advice"];
    let turned = after_all(&stands, advice);
    let said_px = pair(&advice["image_shift_px"]);

    // by the model: 9 um an arcmin along the change of the tilt, 4.7 um a pixel
    let (from, to) = (stands.tilt_in_pupil(), turned.tilt_in_pupil());
    let wanted_px = HELD.in_picture([0, 1].map(|axis| 9.0 / 4.7 * (to[axis] - from[axis])));
    println!("said {said_px:.3?} px, the model {wanted_px:.3?} px");
    for axis in 0..2 {
        assert!(
            wanted_px[axis].abs() > 1.0,
            "{wanted_px:?} shows nothing along one axis"
        );
        assert!(
            (said_px[axis] - wanted_px[axis]).abs() < 1e-6,
            "{said_px:?} {wanted_px:?}"
        );
    }
    // by the frame
    let after = look(&turned);
    let (here, there) = (pair(&before["star_px"]), pair(&after["star_px"]));
    let gone_px = [0, 1].map(|axis| there[axis] - here[axis]);
    println!("in the frames {gone_px:.3?} px");
    for axis in 0..2 {
        assert!(
            (gone_px[axis] - said_px[axis]).abs() < 0.2,
            "{gone_px:?} {said_px:?}"
        );
    }
}

/// The star is to be brought back where the turn takes it over the edge of the frame or to where the field has other coma, and else
/// nothing is said of it. Where it goes and how far is the model's, in pixels and on the face of a clock.
#[test]
fn the_star_is_brought_back_only_where_it_matters() {
    let mut stands = cell(false, 2);
    stands.lengthen("L", -0.13);
    let hidden = format!("state.turns.L={:?}", -0.13);
    let plain = night(&stands, HELD, 1000.0, "");
    // a doughnut of 40 px in a frame of 74 by 70, moved by 4 px at 9 um an arcmin
    for (image_shift, field, said) in [
        (9.0, 0.0, None),
        (60.0, 0.0, Some("recentre it, the frame would cut it")),
        (9.0, 9.0, None),
        (9.0, 2000.0, Some("of other coma there")),
    ] {
        let text = plain
            .replace(
                "um_per_arcmin = 9.0",
                &format!("um_per_arcmin = {image_shift:?}"),
            )
            .replace(
                "[camera]",
                &format!("[telescope.field]\ncoma_nm_per_mm = {field:?}\n[camera]"),
            );
        let place = crate::cli::program::Place::with_file("unit.toml", text);
        place.run(&["render", "unit.toml", "--set", &hidden]).well();
        let args = "measure out/unit.fits --instrument unit.toml --side outside --json --quiet";
        let args: Vec<&str> = args.split(' ').collect();
        let found: Value = serde_json::from_str(&place.run(&args).well().stdout).expect("a report");
        let words = found["next"]["words"].as_str().expect("words");
        println!("{image_shift} um an arcmin, field {field} nm a mm: {words}");
        let Some(said) = said else {
            assert!(!words.contains("recentre"), "{words}");
            continue;
        };
        assert!(words.contains(said), "{words}");
        let mut turned = stands.clone();
        turned.lengthen("L", number(&found["next"]["turns"]));
        let (from, to) = (stands.tilt_in_pupil(), turned.tilt_in_pupil());
        let per_arcmin_px = image_shift / 4.7;
        let [x, y] = HELD.in_picture([0, 1].map(|axis| per_arcmin_px * (to[axis] - from[axis])));
        let hour = (3.0 - y.atan2(x).to_degrees() / 30.0)
            .round()
            .rem_euclid(12.0);
        let hour = if hour == 0.0 { 12.0 } else { hour };
        let wanted = format!(
            "The star will move by {:.0} px towards {hour} o'clock",
            x.hypot(y)
        );
        assert!(words.contains(&wanted), "{words}\n{wanted}");
    }
}

/// Behind a mask, out of focus: the star is refocused before its spikes are judged, whatever the verdict, which stays as it is. What the
/// offset was is the scenario's own number; in focus nothing is said of it.
#[test]
fn a_masked_star_out_of_focus_is_refocused_first() {
    let lesson = |name: &str| {
        let path = format!("{}/scenarios/{name}", env!("CARGO_MANIFEST_DIR"));
        std::fs::read_to_string(path).expect("a lesson")
    };
    let camera = "[camera]\nquantum_efficiency = 0.75\nthroughput = 0.7\ngain_e_per_adu = 1.2\nbias_adu = 200.0\n\
                  read_noise_e = 2.1\nfull_well_e = 60000.0\n";
    let night = "[star]\nmagnitude = 1.5\ntemperature_k = 5800.0\naltitude_deg = 62.0\n[sky]\nseeing_arcsec = 1.6\n\
                 brightness_mag_per_arcsec2 = 19.2\n[exposure]\ntime_s = 1.0\n";
    let text = lesson("mask-two-zone-coma.toml")
        .replace("[camera]\n", camera)
        .replace("width_px = 96", "width_px = 160")
        .replace("height_px = 96", "height_px = 160")
        .replace("[470.0, 640.0]", "[500.0, 600.0]")
        .replace("wavelengths = 13", "wavelengths = 3");
    let place =
        crate::cli::program::Place::with_file("mask.toml", format!("seed = 52\n{text}{night}"));
    for (offset_um, turns, verdict, deed) in [
        (6.0, 0.0, "stop", "refocus"),
        (-6.0, 0.0, "stop", "refocus"),
        (6.0, -0.0625, "turn", "refocus"),
        (0.0, 0.0, "stop", "stop"),
        (0.0, -0.0625, "turn", "turn"),
    ] {
        let set = [
            format!("state.sensor_offset_um={offset_um:?}"),
            format!("state.turns={{ B = {turns:?} }}"),
        ];
        let render = [
            "render",
            "mask.toml",
            "--force",
            "--set",
            &set[0],
            "--set",
            &set[1],
        ];
        place.run(&render).well();
        let args = [
            "measure",
            "out/mask.fits",
            "--instrument",
            "mask.toml",
            "--json",
            "--quiet",
        ];
        let found: Value = serde_json::from_str(&place.run(&args).well().stdout).expect("a report");
        let next = &found["next"];
        println!("{offset_um} um, {turns}: {next}");
        assert_eq!(
            found["verdict"], verdict,
            "{offset_um} um, {turns}: {}",
            found["stop_nm"]
        );
        assert_eq!(next["do"], deed, "{offset_um} um, {turns}: {next}");
        if deed == "refocus" {
            let focus_um = number(&next["focus_um"]);
            assert!((focus_um + offset_um).abs() < 1.0, "{next}");
            let way = if offset_um > 0.0 {
                "inwards by 6 um"
            } else {
                "outwards by 6 um"
            };
            assert!(next["words"].to_string().contains(way), "{next}");
            assert!(next["screw"].is_null() && next["turns"].is_null(), "{next}");
        }
    }
}
