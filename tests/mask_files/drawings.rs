//! SVG in: the exported drawing renders the same star, and what cannot be meant is refused within seconds.

use super::{LAYOUTS, scenario_with, text_with};
use skewstar::instrument::{Drawing, MaskLayout};
use skewstar::mask::drawing::{self, DrawingError};
use skewstar::mask::plate::Plate;
use skewstar::predict::{Model, Settings};
use skewstar::solid_io::svg;
use std::time::{Duration, Instant};

fn plain() -> Drawing {
    Drawing {
        file: "mask.svg".into(),
        shows_plate: true,
        centre_m: None,
        openings_m: Vec::new(),
    }
}

fn read(text: &str) -> Result<Drawing, DrawingError> {
    drawing::read(text.as_bytes(), &plain(), [0.078, 0.184], false)
}

/// Out and in again, turned mask and mirrored view included: the same star to 1e-3 of its L2 norm.
#[test]
fn an_exported_drawing_renders_the_same_star() {
    for (layout, reflections) in LAYOUTS.iter().zip([1, 2, 1, 2, 1]) {
        let mut scenario = scenario_with(
            &format!("{layout}\nrotation_deg = 7.0"),
            &format!("reflections = {reflections}"),
        );
        scenario.state.sensor_offset_m = 9e-6;
        let star = |s: &skewstar::scenario::Scenario| {
            Model::new(&s.instrument, &s.state, Settings::default())
                .unwrap()
                .light::<f64>()
        };
        let own = star(&scenario);
        let text = svg::write(&Plate::new(&scenario.instrument).unwrap(), "Round & back");
        let mirrored = scenario.instrument.telescope.seen_mirrored();
        let read = drawing::read(text.as_bytes(), &plain(), [0.078, 0.184], mirrored).unwrap();
        scenario.instrument.mask.as_mut().unwrap().layout = MaskLayout::Drawing(read);
        let again = star(&scenario);
        let off = (&again - &own).mapv(|v| v * v).sum().sqrt() / own.mapv(|v| v * v).sum().sqrt();
        println!("{layout:.30}: relative L2 {off:.1e}");
        assert!(off < 1e-3, "{layout}: {off:.1e}");
    }
}

/// Transforms, viewBox, units, nested groups, reuse and curves: the area by hand.
#[test]
fn transforms_units_and_curves_are_read() {
    // a page of 20 × 20 cm seen through a viewBox of 100: the disc of radius 46 is 92 mm; two square windows of 10 × 10 mm
    let text = "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' width='20cm' height='200mm' viewBox='0 0 100 100'>
        <defs><path id='w' d='M-2.5-2.5h5v5h-5z'/></defs>
        <path fill-rule='evenodd' d='M4 50a46 46 0 1 0 92 0a46 46 0 1 0 -92 0z M47.5 17.5h5v5h-5z M20 47.5h5v5h-5z'/>
        <path fill='none' stroke='red' d='M0 0L100 100'/></svg>";
    let found = read(text).unwrap();
    let sum: f64 = found
        .openings_m
        .iter()
        .map(|p| skewstar::geometry::area(&skewstar::geometry::outline::convex_piece(p)))
        .sum();
    approx::assert_relative_eq!(sum, 2e-4, max_relative = 1e-3);
    let reused = text
        .replace("M47.5 17.5h5v5h-5z M20 47.5h5v5h-5z'/>", "'/>")
        .replace(
            "<path fill-rule",
            "<g transform='translate(50 20)'><use xlink:href='#w' fill='blue'/></g><path fill-rule",
        );
    let windows = Drawing {
        shows_plate: false,
        ..plain()
    };
    let only = reused.split("<path fill-rule").next().unwrap().to_owned() + "</svg>";
    let found = drawing::read(only.as_bytes(), &windows, [0.078, 0.184], false).unwrap();
    let y: Vec<f64> = found.openings_m.iter().flatten().map(|p| p[1]).collect();
    assert!(
        y.iter().all(|y| (0.0549..0.0651).contains(y)),
        "y up, centre of the page: {y:?}"
    );
}

#[test]
fn drawings_that_cannot_be_meant_are_refused_within_seconds() {
    let page = |body: &str| {
        format!(
            "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' width='200mm' height='200mm' viewBox='0 0 200 200'>{body}</svg>"
        )
    };
    let bomb = {
        let mut body = String::from("<path id='l0' d='M0 0h1v1z'/>");
        for k in 1..40 {
            let uses = format!("<use xlink:href='#l{}'/>", k - 1).repeat(10);
            body.push_str(&format!("<g id='l{k}'>{uses}</g>"));
        }
        page(&body)
    };
    let million = page(&format!("<path d='M0 0{}z'/>", "l1 1".repeat(1_000_000)));
    let entities = format!(
        "<!DOCTYPE svg [<!ENTITY a \"{}\">]><svg width='1mm' height='1mm'>&a;</svg>",
        "x".repeat(1000)
    );
    let deep = page(&format!("{}{}", "<g>".repeat(500), "</g>".repeat(500)));
    let cases: [(String, &str); 14] = [
        ("layout = \"two-zone\"\n".into(), "not SVG"),
        (String::new(), "not SVG"),
        ("<html><body/></html>".into(), "root is <html>"),
        (
            page("<rect width='9' height='9'/>").replace("width='200mm'", "width='200'"),
            "width is \"200\"",
        ),
        (
            page("<rect width='9' height='9'/>").replace("height='200mm'", ""),
            "height is missing",
        ),
        (
            page("<rect width='9' height='9'/>").replace("width='200mm'", "width='100%'"),
            "width is \"100%\"",
        ),
        (bomb, "elements (reuse written out)"),
        (million, "numbers in its paths"),
        (entities, "not SVG"),
        (deep, "levels of nesting"),
        (
            page("<g id='a'><use xlink:href='#b'/></g><g id='b'><use xlink:href='#a'/></g>"),
            "leads back to itself",
        ),
        (
            page("<text x='9' y='9'>SKY</text>"),
            "<text> cannot be part of a mask",
        ),
        (
            page("<path fill='none' stroke='black' d='M0 0h9v9z'/>"),
            "nothing in the drawing is filled",
        ),
        (
            page("<rect width='200' height='200'/>"),
            "leaves no opening",
        ),
    ];
    for (text, words) in cases {
        let start = Instant::now();
        let error = read(&text).expect_err(words);
        assert!(
            error.to_string().contains(words),
            "{error} (wanted: {words})"
        );
        assert!(!error.hint().is_empty());
        assert!(
            start.elapsed() < Duration::from_secs(5),
            "{words}: {:?}",
            start.elapsed()
        );
    }
}

#[test]
fn the_scenario_says_what_is_filled_and_where_the_centre_is() {
    let text = text_with(
        "layout = \"drawing\"\ndrawing = \"a.svg\"\ndrawing_fills = \"openings\"\ndrawing_centre_mm = [90.0, 110.0]",
        "",
    );
    let scenario = skewstar::scenario::read(&text, "test", &[]).unwrap();
    let MaskLayout::Drawing(named) = scenario.instrument.mask.unwrap().layout else {
        panic!("a drawing")
    };
    assert!(!named.shows_plate && named.openings_m.is_empty());
    assert_eq!(named.centre_m, Some([0.09, 0.11]));
}
