//! Getting a mask on and off: sizes that follow from the telescope, the camera's hole, the slit for cables, seats, feet, tabs, gauge, sheet.
//!
//! Areas are counted on a fine grid of points by the rules in words, not by the program's outlines.

use crate::cli::program::Place;
use serde_json::Value;
use skewstar::geometry::area;
use skewstar::geometry::outline::{Outline, place_m};
use skewstar::instrument::Instrument;
use skewstar::mask::cutouts::slit_azimuth_rad;
use skewstar::mask::openings;
use skewstar::mask::plate::Plate;
use skewstar::mask::sheet::{Sheet, SheetError};
use skewstar::mask::solid::Solid;
use skewstar::pupil::Pupil;
use skewstar::scenario;
use skewstar::state::State;
use std::collections::BTreeMap;
use std::f64::consts::PI;

/// An invented telescope whose camera looks out of its front; the keys of its mask.
fn text(mask: &str) -> String {
    format!(
        "format = 1\ntitle = \"A mask to wear\"\n[telescope]\naperture_mm = 176.0\nfocal_length_mm = 405.0\n\
         [telescope.obstruction]\ndiameter_mm = 74.0\n\
         [camera]\npixel_um = 3.8\nwidth_px = 128\nheight_px = 124\npassband_nm = [500.0, 560.0]\nwavelengths = 1\n\
         [mask]\nlayout = \"three-triplet\"\nslot_pitch_mm = 2.6\nopen_fraction = 0.5\nslant_deg = 20.0\nrib_mm = 2.0\nthickness_mm = 2.4\n{mask}\n"
    )
}

fn read(mask: &str) -> Instrument {
    scenario::read(&text(mask), "test", &[])
        .unwrap_or_else(|e| panic!("{e}"))
        .instrument
}

const INTO: &str = "[mask.grip]\nfit = \"into-tube\"\ntube_diameter_mm = 188.0\n";
const CAMERA: &str = "[mask.camera]\ndiameter_mm = 72.0\nair_mm = 1.5\n";
const SLIT: &str = "[mask.cable_slit]\nwidth_mm = 5.0\ncheek_mm = 2.5\n";

fn mm(metres: f64) -> f64 {
    (metres * 1e6).round() / 1e3
}

/// Bore, camera and aperture as typed; by hand: plate = bore + 2·3, slots up to the aperture (88 mm) or half a millimetre off a ring that
/// stands nearer, hole = camera + 2·air, slots from the obstruction (37 mm), at least 3 mm off the hole.
#[test]
fn diameters_and_rims_follow_from_tube_and_camera() {
    let sizes = |mask: &str| {
        let design = read(mask).mask.unwrap();
        [
            design.outer_diameter_m,
            design.outer_rim_m,
            design.inner_diameter_m,
            design.inner_rim_m,
        ]
        .map(mm)
    };
    assert_eq!(sizes(&format!("{INTO}{CAMERA}")), [194.0, 9.0, 75.0, 3.0]);
    // a bore of 180 mm: the ring reaches in to 90 − 0.5 − 2 = 87.5 mm, and slots end at 87
    let narrow = INTO.replace("188.0", "180.0");
    assert_eq!(sizes(&format!("{narrow}{CAMERA}")), [186.0, 6.0, 75.0, 3.0]);
    // a small camera behind a large shadow: 30 + 3 mm, slots from 37 mm
    let small = CAMERA.replace("72.0", "30.0");
    assert_eq!(sizes(&format!("{INTO}{small}")), [194.0, 9.0, 33.0, 20.5]);
    let over = INTO.replace("into-tube", "over-tube");
    assert_eq!(sizes(&format!("{over}{CAMERA}")), [188.0, 6.0, 75.0, 3.0]);
    // what is typed stays
    let typed = format!("outer_diameter_mm = 190.0\ninner_rim_mm = 4.0\n{INTO}{CAMERA}");
    assert_eq!(sizes(&typed), [190.0, 0.0, 75.0, 4.0]);
}

#[test]
fn sizes_that_follow_from_nothing_are_asked_for() {
    for (mask, key) in [
        (CAMERA.to_owned(), "mask.outer_diameter_mm"),
        (INTO.to_owned(), "mask.inner_diameter_mm"),
    ] {
        let error = scenario::read(&text(&mask), "test", &[]).unwrap_err();
        assert!(
            error.to_string().contains(&format!("{key} is missing")),
            "{error}"
        );
        assert!(!error.hint().is_empty());
    }
}

fn areas_mm2(instrument: &Instrument) -> BTreeMap<usize, f64> {
    let mut sums = BTreeMap::new();
    for (region, piece) in openings(instrument.mask.as_ref().unwrap()) {
        *sums.entry(region).or_insert(0.0) += 1e6 * area(&piece);
    }
    sums
}

/// The open points of each of the nine regions of a three-triplet, counted on a grid of 0.1 mm by the rules in DESIGN.md section 7 and those of
/// the slit: nothing is open within `half_mm` of the ray at `slit_deg`.
fn counted_mm2(slit_deg: f64, half_mm: f64) -> Vec<f64> {
    let (pitch, slant, rib) = (2.6, 20.0, 2.0);
    let mut regions: Vec<[f64; 3]> = Vec::new(); // from, to, slot
    for c in [90.0, 210.0, 330.0] {
        regions.push([c - 30.0, c + 30.0, c]);
        regions.push([c + 180.0, c + 210.0, c + slant]);
        regions.push([c + 150.0, c + 180.0, c - slant]);
    }
    let step = 0.1;
    let mut sums = vec![0.0; regions.len()];
    let (sin, cos) = slit_deg.to_radians().sin_cos();
    for i in -900..900 {
        for j in -900..900 {
            let (x, y) = (step * (f64::from(i) + 0.5), step * (f64::from(j) + 0.5));
            let r = x.hypot(y);
            if !(40.5..88.0).contains(&r) {
                continue;
            }
            if x * cos + y * sin > 0.0 && (y * cos - x * sin).abs() < half_mm {
                continue;
            }
            let azimuth = y.atan2(x).to_degrees();
            for (sum, [from, to, slot]) in sums.iter_mut().zip(&regions) {
                let along = (azimuth - from).rem_euclid(360.0);
                if along >= to - from {
                    continue;
                }
                let near_border = [*from, *to].iter().any(|border| {
                    let (s, c) = border.to_radians().sin_cos();
                    x * c + y * s > 0.0 && (y * c - x * s).abs() < 0.5 * rib
                });
                let (s, c) = slot.to_radians().sin_cos();
                let across = (y * c - x * s) / pitch;
                if !near_border && (across - across.round()).abs() < 0.25 {
                    *sum += step * step;
                }
            }
        }
    }
    sums
}

/// The slit is laid on the rib nearest to the ring's gap. No slot is cut in two; the two regions beside it lose what the strip of 5 + 2·2.5 mm takes,
/// counted point by point, and the seven others lose nothing at all.
#[test]
fn the_slit_lies_on_a_rib_and_only_its_neighbours_lose_light() {
    let gap = "notch_azimuth_deg = 223.0\n";
    let bare = read(&format!("{INTO}{CAMERA}"));
    let slit = read(&format!("{INTO}{gap}{CAMERA}{SLIT}"));
    let design = slit.mask.as_ref().unwrap();
    let azimuth = slit_azimuth_rad(design).unwrap().to_degrees();
    assert!((azimuth - 240.0).abs() < 1e-9, "{azimuth}");
    let (without, with) = (areas_mm2(&bare), areas_mm2(&slit));
    let (by_hand, bare_by_hand) = (counted_mm2(240.0, 5.0), counted_mm2(0.0, 0.0));
    let mut lost = 0;
    for (region, own) in &without {
        let left = with[region];
        println!(
            "region {region}: {own:.1} mm2, with the slit {left:.1} mm2, counted {:.1} and {:.1}",
            bare_by_hand[*region], by_hand[*region]
        );
        assert!((own / bare_by_hand[*region] - 1.0).abs() < 5e-3);
        assert!((left / by_hand[*region] - 1.0).abs() < 5e-3);
        if (own - left).abs() > 1e-9 {
            lost += 1;
            assert!(left > 0.7 * own);
        }
    }
    assert_eq!(lost, 2, "the two beside the rib");
}

/// What passes the slit is in the pupil of the star: the strip between hole and plate's edge, as far as the aperture and beyond the shadow.
#[test]
fn light_that_passes_the_slit_is_in_the_star() {
    let beside_mm2 = |instrument: &Instrument| {
        let state = State {
            mask_on: true,
            ..State::default()
        };
        let pupil = Pupil::new(instrument, &state);
        let slots: f64 = (0..9)
            .flat_map(|region| pupil.pieces_of_region(region))
            .map(area)
            .sum();
        1e6 * (pupil.open_area_m2() - slots)
    };
    let slit = SLIT.replace("width_mm", "azimuth_deg = 240.0\nwidth_mm");
    let (bare, open) = (
        read(&format!("{INTO}{CAMERA}")),
        read(&format!("{INTO}{CAMERA}{slit}")),
    );
    // a strip of 5 mm from the hole (37.5 mm) to the aperture (88 mm): both ends are arcs
    let half_segment = |r: f64| 2.5 * (r * r - 6.25f64).sqrt() + r * r * (2.5 / r).asin();
    let strip = half_segment(88.0) - half_segment(37.5);
    let found = beside_mm2(&open) - beside_mm2(&bare);
    assert!(
        (found / strip - 1.0).abs() < 1e-9,
        "{found} by hand {strip}"
    );
    // a cable of 6 mm in the slit shades all of it
    let cable = "[[telescope.vanes]]\nazimuth_deg = 240.0\nwidth_mm = 6.0\n";
    let shaded = |mask: &str| {
        let text = text(mask).replace("[camera]", &format!("{cable}[camera]"));
        scenario::read(&text, "test", &[]).unwrap().instrument
    };
    let left = beside_mm2(&shaded(&format!("{INTO}{CAMERA}{slit}")))
        - beside_mm2(&shaded(&format!("{INTO}{CAMERA}")));
    assert!(left.abs() < 1e-6, "{left}");
}

/// Plugs: a rectangle of 24 + 2·1.5 mm, out to 36 + 15 + 1.5 mm; square: a hole of 72 + 3 mm, turned. Areas of the hole by hand.
#[test]
fn the_hole_clears_plugs_and_square_cameras() {
    let cut_mm2 = |mask: &str| {
        let instrument = read(mask);
        let design = instrument.mask.as_ref().unwrap();
        let plate = Plate::new(&instrument).unwrap();
        let whole = Outline::ring(0.0, 0.5 * design.outer_diameter_m);
        let inside = Outline::ring(0.0, 0.0600);
        Solid::new(&plate).unwrap();
        let open: f64 = openings(design).iter().map(|o| 1e6 * area(&o.1)).sum();
        let solid = 1e6 * plate.plate.common(&inside).area_m2();
        let slots = 1e6 * plate.open.common(&inside).area_m2();
        let all = 1e6 * whole.common(&inside).area_m2();
        (all - solid - slots, open)
    };
    let plugs = "plugs_azimuth_deg = 223.0\nplugs_width_mm = 24.0\nplugs_reach_mm = 15.0\n";
    let (hole, _) = cut_mm2(&format!("{INTO}{CAMERA}{plugs}"));
    let half_segment = |r: f64, h: f64| h * (r * r - h * h).sqrt() + r * r * (h / r).asin();
    let beyond = 2.0 * 13.5 * 52.5 - half_segment(37.5, 13.5);
    let wanted = PI * 37.5 * 37.5 + beyond;
    assert!(
        (hole / wanted - 1.0).abs() < 1e-4,
        "{hole} by hand {wanted}"
    );
    let square = "shape = \"square\"\nturned_deg = 17.0\n";
    let (hole, open) = cut_mm2(&format!("{INTO}{CAMERA}{square}"));
    assert!((hole / (75.0 * 75.0) - 1.0).abs() < 1e-4, "{hole}");
    let (_, round) = cut_mm2(&format!("{INTO}{CAMERA}"));
    assert!(open < round - 50.0, "corners and their rim cost slots");
}

/// Every seat, with slit, plugs, tabs, feet and a tether: closed solids in one part, whose volume is that of their outlines.
#[test]
fn every_way_to_wear_a_mask_is_a_closed_solid() {
    let more = "[mask.tabs]\nazimuth_deg = [0.0, 180.0]\n";
    for fit in ["into-tube", "over-tube", "dew-shield"] {
        for reflections in [1, 2] {
            let wall = if fit == "dew-shield" {
                "shield_wall_mm = 1.6\n"
            } else {
                ""
            };
            let grip = format!(
                "[mask.grip]\nfit = \"{fit}\"\ntube_diameter_mm = 194.0\nfeet_mm = 3.0\n{wall}"
            );
            let text = text(&format!("{grip}{CAMERA}{SLIT}{more}")).replace(
                "focal_length_mm",
                &format!("reflections = {reflections}\nfocal_length_mm"),
            );
            let instrument = scenario::read(&text, "test", &[])
                .unwrap_or_else(|e| panic!("{e}"))
                .instrument;
            let plate = Plate::new(&instrument).unwrap();
            let solid = Solid::new(&plate).unwrap_or_else(|e| panic!("{fit}: {e}"));
            assert_eq!(plate.plate.shapes.len(), 1, "{fit}");
            assert_eq!(plate.feet.shapes.len(), 3, "{fit}");
            assert!(plate.feet.common(&plate.ring).is_empty());
            let by_hand = plate.plate.area_m2() * 2.4e-3 - plate.letters.area_m2() * 0.6e-3
                + plate.ring.area_m2() * 12e-3
                + plate.feet.area_m2() * 3e-3;
            assert!((solid.volume_m3() / by_hand - 1.0).abs() < 1e-6, "{fit}");
            // tabs: 14 mm beyond the edge, and a hole of 4 mm in the first
            assert!((plate.reach_m - plate.outer_radius_m - 14e-3).abs() < 0.02e-3);
            let gauge = Plate::gauge(instrument.mask.as_ref().unwrap()).unwrap();
            let gauge_solid = Solid::new(&gauge).unwrap();
            let sixth =
                gauge.ring.area_m2() / Plate::new(&read_ring_only(&grip)).unwrap().ring.area_m2();
            assert!((sixth - 1.0 / 6.0).abs() < 0.004, "{fit}: {sixth}");
            assert!(gauge_solid.volume_m3() < 0.12 * solid.volume_m3());
        }
    }
}

/// The same ring without a slit.
fn read_ring_only(grip: &str) -> Instrument {
    read(&format!("{grip}{CAMERA}"))
}

/// The ring stops at the slit, and the letters name where each screw is.
#[test]
fn the_marks_say_which_screw_they_go_to() {
    let screws = "[assembly]\nscrew_circle_radius_mm = 55.0\npitch_mm_per_turn = 0.5\nscrews = [ { name = \"A\", azimuth_deg = 90.0 }, \
         { name = \"B\", azimuth_deg = 210.0 }, { name = \"C\", azimuth_deg = 330.0 } ]\n";
    let with =
        text(&format!("{INTO}{CAMERA}{SLIT}")).replace("[camera]", &format!("{screws}[camera]"));
    let instrument = scenario::read(&with, "test", &[])
        .unwrap_or_else(|e| panic!("{e}"))
        .instrument;
    let plate = Plate::new(&instrument).unwrap();
    assert_eq!(
        plate.words,
        ["↑UP SCREW A", "↑SCREW B", "↑SCREW C", "SKY SIDE"]
    );
    // the slit at 270 degrees (a rib of the three-triplet): no ring within 2.5 mm of it
    let slit = plate.ring.contours().flatten().map(place_m);
    for [x, y] in slit {
        assert!(y > 0.0 || x.abs() > 2.5e-3, "({x}, {y})");
    }
}

/// Half a kerf on either side: the area that is drawn is the plate's and half a kerf along all borders.
#[test]
fn a_sheet_allows_for_the_kerf_and_has_no_ring() {
    let instrument = read(&format!("{INTO}{CAMERA}"));
    let kerf_m = 0.2e-3;
    let sheet = Sheet::new(&instrument, kerf_m).unwrap().unwrap();
    let grown = sheet.cut.area_m2() - sheet.plate.plate.area_m2();
    let expected = sheet.length_m() * 0.5 * kerf_m;
    assert!(
        (grown / expected - 1.0).abs() < 0.01,
        "{grown} by hand {expected}"
    );
    let none = Sheet::new(&instrument, 0.0).unwrap().unwrap();
    assert!((none.cut.area_m2() / none.plate.plate.area_m2() - 1.0).abs() < 1e-6);
    let b = sheet.cut.bounds_m();
    assert!((b[2] - 97.1e-3).abs() < 5e-6, "{b:?}");
    // the ring's gap says where the slit is, on the sheet as on the plate that is measured and checked
    let gap = format!("{INTO}notch_azimuth_deg = 40.0\n{CAMERA}{SLIT}");
    let with_gap = read(&gap);
    let azimuth = slit_azimuth_rad(with_gap.mask.as_ref().unwrap()).unwrap();
    let sheet = Sheet::new(&with_gap, kerf_m).unwrap().unwrap();
    let middle = [0.08 * azimuth.cos(), 0.08 * azimuth.sin()];
    let spot = Outline::disc(middle, 0.5e-3);
    assert!(spot.common(&sheet.plate.plate).is_empty());
    assert!((azimuth.to_degrees() - 30.0).abs() < 1e-9, "{azimuth}");
    // slots of 1.3 mm close under a kerf of 1.4 mm
    let closed = Sheet::new(&instrument, 1.4e-3).unwrap().unwrap_err();
    assert!(matches!(closed, SheetError::KerfTooWide { .. }), "{closed}");
}

fn finding(mask: &str, what: &str) -> Value {
    let place = Place::with_file("m.toml", text(mask));
    let done = place.run(&["mask", "check", "m.toml", "--json"]);
    let answer: Value = serde_json::from_str(&done.stdout)
        .unwrap_or_else(|e| panic!("{what}: {e}\n{}", done.stderr));
    let list = answer["findings"].as_array().expect("findings");
    let found = list.iter().find(|f| f["what"] == what);
    found
        .unwrap_or_else(|| panic!("{what} is not among {list:#?}"))
        .clone()
}

/// Each finding of getting on and off, with its number by hand, on both sides of its limit.
#[test]
fn findings_of_getting_on_and_off() {
    let hole = |mm: f64, out: f64| {
        format!(
            "inner_diameter_mm = {mm:?}\ninner_rim_mm = 3.0\n{INTO}{CAMERA}stands_out_mm = {out:?}\n"
        )
    };
    let slit_at = |deg: f64, width: f64| {
        format!(
            "{INTO}{CAMERA}[mask.cable_slit]\nazimuth_deg = {deg:?}\nwidth_mm = {width:?}\ncheek_mm = 2.5\n"
        )
    };
    let tabs = |outer: f64| {
        format!(
            "outer_diameter_mm = {outer:?}\nouter_rim_mm = 6.0\n{CAMERA}[mask.tabs]\nazimuth_deg = [0.0]\n"
        )
    };
    // what, mask, number by hand, kept, serious
    let table: [(&str, String, f64, bool, bool); 9] = [
        (
            "room round the camera",
            hole(74.9, 30.0),
            1.45,
            false,
            false,
        ),
        ("room round the camera", hole(75.1, 30.0), 1.55, true, false),
        (
            "room round the camera",
            hole(71.9, 30.0),
            -0.05,
            false,
            true,
        ),
        // a camera that ends behind the plate does not have to go through it
        (
            "room round the camera",
            hole(71.9, -5.0),
            -0.05,
            false,
            false,
        ),
        (
            "camera in front of the mask",
            hole(75.1, 30.0),
            30.0,
            true,
            false,
        ),
        (
            "slots cut in two by the slit",
            slit_at(240.0, 5.0),
            0.0,
            true,
            false,
        ),
        ("tabs inside the beam", tabs(175.8), 0.1, false, false),
        ("tabs inside the beam", tabs(176.2), 0.0, true, false),
        (
            "ledge on the tube",
            format!("{INTO}{CAMERA}"),
            3.0,
            true,
            false,
        ),
    ];
    for (what, mask, value, kept, serious) in table {
        let found = finding(&mask, what);
        let number = found["value"].as_f64().unwrap();
        println!("{what}: {number}, by hand {value}");
        assert!((number - value).abs() < 2e-3, "{what}: {found}");
        assert_eq!(
            (&found["kept"], &found["serious"]),
            (&Value::Bool(kept), &Value::Bool(serious)),
            "{what}: {found}"
        );
    }
    // off the ribs slots are cut in two, and the mend names the turn that brings a rib there
    let off = finding(&slit_at(195.0, 5.0), "slots cut in two by the slit");
    assert_eq!(off["kept"], false);
    assert!(off["value"].as_f64().unwrap() >= 1.0, "{off}");
    let mend = off["mend"].as_str().unwrap();
    assert!(mend.contains("mask.rotation_deg = 15.0"), "{mend}");
    // light lost by the region that loses most, counted on points
    for (width, kept) in [(2.0, true), (12.0, false)] {
        let found = finding(&slit_at(240.0, width), "light lost to the slit");
        let (bare, cut) = (counted_mm2(0.0, 0.0), counted_mm2(240.0, 0.5 * width + 2.5));
        let lost = bare
            .iter()
            .zip(&cut)
            .map(|(b, c)| 100.0 * (1.0 - c / b))
            .fold(0.0, f64::max);
        let number = found["value"].as_f64().unwrap();
        println!("light lost to a slit of {width} mm: {number:.2} %, counted {lost:.2} %");
        assert!(
            (number - lost).abs() < 0.5 && found["kept"] == kept,
            "{found}, counted {lost}"
        );
    }
    // light through the slit: its strip between shadow and aperture over all that is open
    for (width, kept) in [(2.0, true), (5.0, false)] {
        let found = finding(&slit_at(240.0, width), "light through the slit");
        let h = 0.5 * width;
        let half_segment = |r: f64| h * (r * r - h * h).sqrt() + r * r * (h / r).asin();
        let strip = half_segment(88.0) - half_segment(37.5);
        let slots: f64 = counted_mm2(240.0, h + 2.5).iter().sum();
        let beside = PI * (37.5f64.powi(2) - 37.0f64.powi(2));
        let wanted = 100.0 * strip / (slots + beside + strip);
        let number = found["value"].as_f64().unwrap();
        println!("light through a slit of {width} mm: {number:.3} %, by hand {wanted:.3} %");
        assert!(
            (number / wanted - 1.0).abs() < 0.01 && found["kept"] == kept,
            "{found} {wanted}"
        );
    }
    // three feet, or fewer where there is no plate over the tube's end
    let feet = |mask: &str| finding(mask, "feet");
    let three = feet(&format!("{INTO}feet_mm = 2.0\n{CAMERA}"));
    assert_eq!(
        (&three["value"], &three["kept"]),
        (&3.0.into(), &true.into())
    );
    let bare = feet(&format!(
        "outer_diameter_mm = 189.0\nouter_rim_mm = 6.0\n{INTO}feet_mm = 2.0\n{CAMERA}"
    ));
    assert_eq!(
        (&bare["value"], &bare["kept"]),
        (&0.0.into(), &false.into())
    );
}

/// The files: a gauge beside the mask, an order in words, and the sheet's own three.
#[test]
fn gauge_order_and_sheet_are_written() {
    let place = Place::with_file("m.toml", text(&format!("{INTO}{CAMERA}{SLIT}")));
    let done = place.run(&["mask", "draw", "m.toml"]);
    assert_eq!(done.status, Some(0), "{}", done.stderr);
    let names = [
        "m.gauge.stl",
        "m.gauge.3mf",
        "m.order.txt",
        "m.svg",
        "m.dxf",
        "m.stl",
        "m.3mf",
    ];
    for name in names {
        assert!(place.path(&format!("out/{name}")).is_file(), "{name}");
    }
    let order = place.text("out/m.order.txt");
    for words in [
        "194.00 mm",
        "75.00 mm",
        "2.40 mm",
        "bore of 188.00 mm",
        "↑UP",
        "m.stl",
        "+/-",
        "Do not mirror",
    ] {
        assert!(order.contains(words), "{words} in\n{order}");
    }
    let done = place.run(&["mask", "draw", "m.toml", "--sheet", "--kerf-mm", "0.2"]);
    assert_eq!(done.status, Some(0), "{}", done.stderr);
    let dxf = place.text("out/m.sheet.dxf");
    for layer in ["CUT_OPENINGS", "CUT_EDGE", "ENGRAVING"] {
        assert!(dxf.contains(layer));
    }
    assert!(!dxf.contains("GRIP_RING"));
    let order = place.text("out/m.sheet.order.txt");
    assert!(
        order.contains("0.20 mm") && !order.contains("Ring"),
        "{order}"
    );
    let wide = place.run(&[
        "mask",
        "draw",
        "m.toml",
        "--sheet",
        "--kerf-mm",
        "1.4",
        "--force",
    ]);
    assert_eq!(wide.status, Some(2));
    assert!(wide.stderr.contains("narrower than the kerf") && wide.stderr.contains("hint:"));
}
