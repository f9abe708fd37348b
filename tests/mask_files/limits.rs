//! Every finding of `mask check` on both sides of its limit: a mask just within, a mask just beyond, and the number by hand.
//!
//! The masks are made of one region of upright slots, or of round holes, so that every number has a closed form: the plate has a
//! radius R, slots stand every p from the middle outwards, and a slot is f·p wide.

use crate::cli::program::Place;
use serde_json::Value;
use std::f64::consts::PI;

/// A telescope of 176 mm with an obstruction of 74 mm, and the keys of its mask; dimensions in mm.
fn text(mask: &str, more: &str) -> String {
    format!(
        "format = 1\ntitle = \"A mask\"\n[telescope]\naperture_mm = 176.0\nfocal_length_mm = 405.0\n\
         [telescope.obstruction]\ndiameter_mm = 74.0\noffset_mm = [0.6, -0.4]\n\
         [camera]\npixel_um = 3.8\nwidth_px = 48\nheight_px = 44\npassband_nm = [500.0, 560.0]\nwavelengths = 1\n\
         [mask]\nthickness_mm = 2.4\n{mask}\n{more}\n"
    )
}

/// One region of upright slots all over a plate without a hole, 184 mm across with a rim of 6 mm.
fn slots(pitch_mm: f64, open_fraction: f64, more: &str) -> String {
    text(
        &format!(
            "layout = \"regions\"\nouter_diameter_mm = 184.0\ninner_diameter_mm = 0.0\nouter_rim_mm = 6.0\n\
             regions = [ {{ azimuth_deg = [0.0, 360.0], radius_mm = [0.0, 92.0], slot_deg = 90.0, pitch_mm = {pitch_mm:?}, open_fraction = {open_fraction:?} }} ]"
        ),
        more,
    )
}

/// The same with bars `bar_mm` wide between slots as wide as they.
fn bars(bar_mm: f64, more: &str) -> String {
    slots(2.0 * bar_mm, 0.5, more)
}

/// Round holes (distance, azimuth, diameter) in a plate without a hole in its middle.
fn holes(list: &[[f64; 3]], keys: &str, more: &str) -> String {
    let all: Vec<String> = list
        .iter()
        .map(|[r, a, d]| {
            format!("{{ radius_mm = {r:?}, azimuth_deg = {a:?}, diameter_mm = {d:?} }}")
        })
        .collect();
    text(
        &format!("layout = \"holes\"\n{keys}\nholes = [ {} ]", all.join(", ")),
        more,
    )
}

/// Two millimetres on either side of the bed stay free (common practice, no source).
const MARGINS_MM: f64 = 4.0;
const PLATE: &str = "outer_diameter_mm = 184.0\ninner_diameter_mm = 0.0";

/// `count` holes in the light, evenly all round.
fn lit(count: u32, diameter_mm: f64) -> Vec<[f64; 3]> {
    (0..count)
        .map(|k| [62.0, 360.0 / f64::from(count) * f64::from(k), diameter_mm])
        .collect()
}

/// `count` holes of 12 mm behind the obstruction, beside ten, or as many as are said, in the light.
fn lit_and_hidden(in_light: u32, behind: u32) -> String {
    let mut all = lit(in_light, 12.0);
    all.extend((0..behind).map(|k| [18.0, 360.0 / f64::from(behind) * f64::from(k), 12.0]));
    holes(&all, PLATE, "")
}

fn finding(text: &str, what: &str) -> Value {
    let place = Place::with_file("m.toml", text);
    let done = place.run(&["mask", "check", "m.toml", "--json"]);
    let answer: Value = serde_json::from_str(&done.stdout)
        .unwrap_or_else(|e| panic!("{what}: {e}\n{}", done.stderr));
    let list = answer["findings"].as_array().expect("findings");
    let serious = list.iter().any(|f| f["serious"] == true);
    assert_eq!(
        done.status,
        Some(i32::from(serious)),
        "{what}: the status follows the serious findings"
    );
    assert_eq!(answer["printable"], !serious, "{what}");
    // serious ones first, then those whose limit is not kept
    let order = |f: &Value| (f["serious"] != true, f["kept"] == true);
    assert!(
        list.windows(2).all(|two| order(&two[0]) <= order(&two[1])),
        "{what}: {list:#?}"
    );
    list.iter()
        .find(|f| f["what"] == what)
        .unwrap_or_else(|| panic!("{what} is not among {list:#?}"))
        .clone()
}

/// What a finding must say: number, limit, side and unit, whether it is kept, whether it is serious.
struct Row {
    what: &'static str,
    value: f64,
    limit: f64,
    bound: &'static str,
    unit: &'static str,
    kept: bool,
    serious: bool,
    text: String,
}

const AT_LEAST: &str = "at_least";
const AT_MOST: &str = "at_most";

fn row(
    what: &'static str,
    [value, limit]: [f64; 2],
    bound: &'static str,
    unit: &'static str,
    kept: bool,
    serious: bool,
    text: String,
) -> Row {
    Row {
        what,
        value,
        limit,
        bound,
        unit,
        kept,
        serious,
        text,
    }
}

/// How far a touch of 0.1 N bends a bar held at both ends, F L³/(192 E I) with I = t w³/12, E = 2 GPa, t = 2.4 mm; L the longest slot,
/// here the one through the middle, 2·(92 − 6) mm.
fn bend_mm(bar_mm: f64) -> f64 {
    let (length_m, width_m) = (172e-3f64, bar_mm * 1e-3);
    let inertia = 2.4e-3 * width_m.powi(3) / 12.0;
    0.1 * length_m.powi(3) / (192.0 * 2e9 * inertia) * 1e3
}

/// Light of ten holes over that between obstruction and aperture, in percent.
fn passes(diameter_mm: f64) -> f64 {
    100.0 * 10.0 * diameter_mm.powi(2) / (176.0f64.powi(2) - 74.0f64.powi(2))
}

/// Area of upright slots, a pitch of 6 mm and half open, between two radii, in mm²: counted in small steps.
fn slots_between_mm2(inner_mm: f64, outer_mm: f64) -> f64 {
    let (radii, angles) = (40, 400_000);
    let step_mm = (outer_mm - inner_mm).max(0.0) / f64::from(radii);
    let mut sum = 0.0;
    for i in 0..radii {
        let r = inner_mm + step_mm * (f64::from(i) + 0.5);
        let open = (0..angles)
            .map(|k| r * (2.0 * PI * (f64::from(k) + 0.5) / f64::from(angles)).cos())
            .filter(|x| (x / 6.0 - (x / 6.0).round()).abs() < 0.25)
            .count();
        sum += open as f64 / f64::from(angles) * 2.0 * PI * r * step_mm;
    }
    sum
}

fn into_tube(tube_mm: f64) -> String {
    format!(
        "[mask.grip]\nfit = \"into-tube\"\ntube_diameter_mm = {tube_mm:?}\nclearance_mm = 0.5\nwall_mm = 2.0"
    )
}

fn bed(width_mm: f64, depth_mm: f64) -> String {
    format!("[mask.print]\nbed_mm = [{width_mm:?}, {depth_mm:?}]")
}

/// A plate with a hole of this diameter about the obstruction, displaced by (0.8, −0.7) mm from its middle.
fn about_obstruction(inner_mm: f64, outer_mm: f64) -> String {
    let keys = format!(
        "outer_diameter_mm = {outer_mm:?}\ninner_diameter_mm = {inner_mm:?}\noffset_mm = [-0.2, 0.3]"
    );
    holes(&lit(10, 12.0), &keys, "")
}

#[rustfmt::skip] // a table
fn rows() -> Vec<Row> {
    // without a rim, a plate with a hole of 72 mm and bars of 6 mm falls apart: 6 bars cross the hole and are cut in two, 10 do not
    let falls = |rim: &str| text(
        &format!("layout = \"regions\"\nouter_diameter_mm = 184.0\ninner_diameter_mm = 72.0\n{rim}\n\
         regions = [ {{ azimuth_deg = [0.0, 360.0], radius_mm = [36.0, 92.0], slot_deg = 90.0, pitch_mm = 12.0, open_fraction = 0.5 }} ]"), "");
    let rimmed = |rim_mm: f64, more: &str| holes(&lit(10, 12.0), &format!("{PLATE}\nouter_rim_mm = {rim_mm:?}"), more);
    let away = 0.8f64.hypot(0.7);
    vec![
        row("separate parts", [22.0, 1.0], AT_MOST, "", false, true, falls("")),
        row("separate parts", [1.0, 1.0], AT_MOST, "", true, false, falls("outer_rim_mm = 5.0")),
        row("thinnest bar", [0.78, 0.8], AT_LEAST, "mm", false, true, bars(0.78, "")),
        row("thinnest bar", [0.82, 0.8], AT_LEAST, "mm", true, false, bars(0.82, "")),
        row("thinnest bar", [0.82, 0.9], AT_LEAST, "mm", false, true, bars(0.82, "[mask.print]\nleast_bar_mm = 0.9")),
        row("slot width", [0.78, 0.8], AT_LEAST, "mm", false, true, bars(0.78, "")),
        row("slot width", [0.82, 0.8], AT_LEAST, "mm", true, false, bars(0.82, "")),
        row("slot width", [0.82, 0.84], AT_LEAST, "mm", false, true, bars(0.82, "[mask.print]\nnozzle_mm = 0.42")),
        row("sideways bend", [bend_mm(2.25), 0.25 * 2.25], AT_MOST, "mm", false, false, bars(2.25, "")),
        row("sideways bend", [bend_mm(2.35), 0.25 * 2.35], AT_MOST, "mm", true, false, bars(2.35, "")),
        // more than four times the limit is serious: where the bend is wider than the bar
        row("sideways bend", [bend_mm(1.60), 0.25 * 1.60], AT_MOST, "mm", false, true, bars(1.60, "")),
        row("sideways bend", [bend_mm(1.68), 0.25 * 1.68], AT_MOST, "mm", false, false, bars(1.68, "")),
        row("diameter on the bed", [184.0, 183.9], AT_MOST, "mm", false, false, rimmed(6.0, &bed(250.0, 183.9 + MARGINS_MM))),
        row("diameter on the bed", [184.0, 184.1], AT_MOST, "mm", true, false, rimmed(6.0, &bed(184.1 + MARGINS_MM, 250.0))),
        // a quarter with its dovetail of 8 mm: 92 + 8 mm
        row("diameter on the bed", [184.0, 99.9 - MARGINS_MM], AT_MOST, "mm", false, true, rimmed(6.0, &bed(99.9, 99.9))),
        row("ring over openings", [slots_between_mm2(85.9, 86.0), 0.0], AT_MOST, "mm2", false, true, slots(6.0, 0.5, &into_tube(176.8))),
        row("ring over openings", [0.0, 0.0], AT_MOST, "mm2", true, false, slots(6.0, 0.5, &into_tube(177.2))),
        row("room round the obstruction", [0.5 * (77.0 - 74.0) - away, 0.5], AT_LEAST, "mm", false, false, about_obstruction(77.0, 184.0)),
        row("room round the obstruction", [0.5 * (77.2 - 74.0) - away, 0.5], AT_LEAST, "mm", true, false, about_obstruction(77.2, 184.0)),
        row("open ring outside the plate", [1.6, 1.5], AT_MOST, "mm", false, false, about_obstruction(77.0, 172.8)),
        row("open ring outside the plate", [1.4, 1.5], AT_MOST, "mm", true, false, about_obstruction(77.0, 173.2)),
        row("open ring outside the plate", [0.0, 1.5], AT_MOST, "mm", true, false, about_obstruction(77.0, 184.0)),
        row("ring inside the beam", [0.1, 0.0], AT_MOST, "mm", false, false, rimmed(6.0, &into_tube(180.8))),
        row("ring inside the beam", [0.0, 0.0], AT_MOST, "mm", true, false, rimmed(6.0, &into_tube(181.2))),
        row("openings in shadow", [100.0 / 9.0, 10.0], AT_MOST, "%", false, false, lit_and_hidden(8, 1)),
        row("openings in shadow", [100.0 / 11.0, 10.0], AT_MOST, "%", true, false, lit_and_hidden(10, 1)),
        row("openings in shadow", [60.0, 10.0], AT_MOST, "%", false, true, lit_and_hidden(2, 3)),
        row("openings in shadow", [300.0 / 7.0, 10.0], AT_MOST, "%", false, false, lit_and_hidden(4, 3)),
        row("light that passes", [passes(19.4), 15.0], AT_LEAST, "%", false, false, holes(&lit(10, 19.4), PLATE, "")),
        row("light that passes", [passes(19.7), 15.0], AT_LEAST, "%", true, false, holes(&lit(10, 19.7), PLATE, "")),
        row("light that passes", [passes(7.1), 15.0], AT_LEAST, "%", false, true, holes(&lit(10, 7.1), PLATE, "")),
        row("light that passes", [passes(7.2), 15.0], AT_LEAST, "%", false, false, holes(&lit(10, 7.2), PLATE, "")),
        // capitals have what the rim leaves between margins of 0.7 mm
        row("letters", [0.0, 1.2], AT_LEAST, "mm", false, false, rimmed(2.5, "")),
        row("letters", [1.3, 1.2], AT_LEAST, "mm", true, false, rimmed(2.7, "")),
        row("letters", [0.0, 1.2], AT_LEAST, "mm", true, false, rimmed(2.5, "[mask.print]\nengraving_mm = 0.0")),
    ]
}

/// Outlines lie on a grid of 0.1 µm; areas of flattened circles are exact to a few parts in a million.
#[test]
fn every_limit_is_where_it_is_said_to_be() {
    for Row {
        what,
        value,
        limit,
        bound,
        unit,
        kept,
        serious,
        text,
    } in rows()
    {
        let found = finding(&text, what);
        let number = |key: &str| found[key].as_f64().unwrap_or_else(|| panic!("{found}"));
        println!(
            "{what}: {} {unit}, by hand {value:.4}, limit {limit:.4}, kept {}",
            number("value"),
            found["kept"]
        );
        let allowed = 1e-3 * value.abs() + 3e-4;
        assert!(
            (number("value") - value).abs() < allowed,
            "{what}: {found}, by hand {value}"
        );
        assert!(
            (number("limit") - limit).abs() < 1e-3 * limit.abs() + 1e-9,
            "{what}: {found}, the limit is {limit}"
        );
        assert_eq!(found["bound"], bound, "{what}: {found}");
        assert_eq!(found["unit"], unit, "{what}: {found}");
        assert_eq!(
            (&found["kept"], &found["serious"]),
            (&Value::Bool(kept), &Value::Bool(serious)),
            "{what}: {found}"
        );
        assert_eq!(
            found["mend"].as_str().expect("words").is_empty(),
            kept,
            "{what}: what is kept needs no mending: {found}"
        );
    }
}

/// Every finding that there is stands in this table, is told without a limit, or has a test of its own beside it.
#[test]
fn the_table_has_every_finding() {
    let place = Place::with_file("m.toml", slots(6.0, 0.5, &into_tube(181.2)));
    let answer: Value =
        serde_json::from_str(&place.run(&["mask", "check", "m.toml", "--json"]).stdout)
            .expect("an answer");
    let mut there: Vec<String> = answer["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .map(|f| f["what"].as_str().expect("a name").to_owned())
        .collect();
    let mut here: Vec<String> = rows().iter().map(|row| row.what.to_owned()).collect();
    let told = [
        "weight",
        "filament",
        "print time",
        "print time of the gauge",
    ];
    here.extend(told.map(str::to_owned));
    // `spikes_are_to_lie…` and `a_plate_is_to_lie_on_the_tube`
    let elsewhere = [
        "first order from the star",
        "first order on the frame",
        "ledge on the tube",
    ];
    here.extend(elsewhere.map(str::to_owned));
    for list in [&mut there, &mut here] {
        list.sort();
        list.dedup();
    }
    assert_eq!(there, here);
    assert_eq!(here.len(), 19);
}

/// What is told without a limit: a plate of 184 mm with ten holes of 12 mm, 2.4 mm thick, 1.3 g/cm³. A printer that melts no more than 0.5 mm³/s
/// is so slow that nothing but that counts: the time is the plastic's volume over it. Filament has a section of π·0.875² mm². Lines that overlap and
/// the skirt take a few per cent more than the volume; a slicer's figures are in `tests/references/slicer.py`.
#[test]
fn weight_and_time_are_those_of_the_volume() {
    let plastic = "[mask.print]\ndensity_g_per_cm3 = 1.3\nflow_mm3_per_s = 0.5\nengraving_mm = 0.0";
    let text = holes(&lit(10, 12.0), PLATE, plastic);
    let volume_mm3 = 0.25 * PI * (184.0f64.powi(2) - 10.0 * 144.0) * 2.4;
    for (what, unit, wanted, more) in [
        ("weight", "g", volume_mm3 * 1e-3 * 1.3, 1e-4),
        (
            "filament",
            "m",
            1e-3 * volume_mm3 / (PI * 0.875 * 0.875),
            0.03,
        ),
        ("print time", "h", volume_mm3 / 0.5 / 3600.0, 0.04),
    ] {
        let found = finding(&text, what);
        let value = found["value"].as_f64().expect("a number");
        println!("{what}: {value} {unit}, by hand {wanted}");
        assert!(
            (value / wanted - 1.0).abs() < more,
            "{found}, by hand {wanted}"
        );
        assert_eq!(found["unit"], unit);
        assert!(
            found["limit"].is_null() && found["bound"].is_null() && found["kept"] == true,
            "{found}"
        );
    }
}

/// First orders at 530 nm · 405 mm / pitch, in pixels of 3.8 um. The longest slot that is lit runs at 38 mm or so from the middle, clear of the
/// obstruction of 74 mm, to the rim at 86 mm: about 150 mm, and spikes are 0.95 px wide. The passband's outermost wavelength of seven is 555.7 nm; the
/// frame reaches 21.5 px.
#[test]
fn spikes_are_to_lie_clear_of_the_star_and_on_the_frame() {
    let order_px = |nm: f64, pitch_mm: f64| 1e-6 * nm * 405.0 / pitch_mm / 3.8e-3;
    for (pitch_mm, kept) in [(3.75, true), (3.78, false)] {
        let found = finding(&slots(pitch_mm, 0.5, ""), "first order from the star");
        let value = found["value"].as_f64().expect("a number");
        assert!((value - order_px(530.0, pitch_mm)).abs() < 1e-6, "{found}");
        assert_eq!(
            (found["limit"].as_f64(), found["kept"].as_bool()),
            (Some(15.0), Some(kept)),
            "{found}"
        );
    }
    for (pitch_mm, kept) in [(2.90, true), (2.85, false)] {
        let found = finding(&slots(pitch_mm, 0.5, ""), "first order on the frame");
        let value = found["value"].as_f64().expect("a number");
        let wanted = order_px(500.0 + 60.0 * 6.5 / 7.0, pitch_mm) + 0.95;
        assert!((value - wanted).abs() < 0.02, "{found}, by hand {wanted}");
        assert_eq!(
            (found["limit"].as_f64(), found["kept"].as_bool()),
            (Some(21.5), Some(kept)),
            "{found}"
        );
    }
}

/// Two halves of a plate, their slots turned by an angle against each other: at the first order their spikes lie d sin(angle) apart. The wider of
/// the two has the shorter slots: those of the right half, upright, are the same for all angles.
#[test]
fn spikes_are_to_lie_apart() {
    let halves = |turn_deg: f64| {
        let region = |from: f64, slot_deg: f64| {
            format!(
                "{{ azimuth_deg = [{from:?}, {:?}], radius_mm = [0.0, 92.0], slot_deg = {slot_deg:?}, pitch_mm = 3.0, open_fraction = 0.5 }}",
                from + 180.0
            )
        };
        let keys = format!(
            "layout = \"regions\"\n{PLATE}\nouter_rim_mm = 6.0\nregions = [ {}, {} ]",
            region(-90.0, 90.0),
            region(90.0, 90.0 + turn_deg)
        );
        finding(&text(&keys, ""), "spikes apart")
    };
    let order_px = 530e-6 * 405.0 / 3.0 / 3.8e-3;
    for (turn_deg, kept) in [(8.0, false), (9.5, true)] {
        let found = halves(turn_deg);
        let value = found["value"].as_f64().expect("a number");
        // widths lie between that of the pixel alone and that of the shortest slot that can be the longest of a half, 49 mm
        let widths = [0.9f64, 0.9f64.hypot(0.886 * 530e-6 * 405.0 / 49.0 / 3.8e-3)];
        let apart_px = order_px * turn_deg.to_radians().sin();
        assert!(
            value <= apart_px / widths[0] && value >= apart_px / widths[1],
            "{found}"
        );
        assert_eq!(found["limit"].as_f64(), Some(3.0));
        assert_eq!(found["kept"].as_bool(), Some(value >= 3.0), "{found}");
        assert_eq!(found["kept"].as_bool(), Some(kept), "{found}");
    }
}

/// A plate of 184 mm whose ring goes into a tube lies on (184 − bore)/2 of its end.
#[test]
fn a_plate_is_to_lie_on_the_tube() {
    for (bore_mm, kept) in [(178.0, true), (178.1, false), (190.0, false)] {
        let grip = format!(
            "grip = {{ fit = \"into-tube\", tube_diameter_mm = {bore_mm:?}, clearance_mm = 0.5, wall_mm = 1.2 }}"
        );
        let found = finding(&holes(&lit(10, 12.0), PLATE, &grip), "ledge on the tube");
        // a plate smaller than the bore has the flange of its ring: half a millimetre of air less 0.8 mm of lip
        let wanted = if bore_mm < 184.0 {
            0.5 * (184.0 - bore_mm)
        } else {
            0.8 - 0.5
        };
        let value = found["value"].as_f64().expect("a number");
        assert!((value - wanted).abs() < 1e-6, "{found}");
        assert_eq!(
            (found["kept"].as_bool(), found["serious"].as_bool()),
            (Some(kept), Some(!kept)),
            "{found}"
        );
    }
}
