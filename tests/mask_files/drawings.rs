//! SVG in: the exported drawing renders the same star, and what cannot be meant is refused within seconds.

use super::{LAYOUTS, scenario_with, text_with};
use skewstar::instrument::{Drawing, DrawingFills, MaskLayout};
use skewstar::mask::drawing::{self, DrawingError};
use skewstar::mask::plate::Plate;
use skewstar::predict::{Model, Settings};
use skewstar::solid_io::svg;
use std::time::{Duration, Instant};

fn plain() -> Drawing {
    Drawing {
        file: "mask.svg".into(),
        ..Drawing::default()
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
        fills: DrawingFills::Openings,
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
    assert!(named.fills == DrawingFills::Openings && named.openings_m.is_empty());
    assert_eq!(named.centre_m, Some([0.09, 0.11]));
}

fn open_area_m2(drawing: &Drawing) -> f64 {
    drawing
        .openings_m
        .iter()
        .map(|p| skewstar::geometry::area(&skewstar::geometry::outline::convex_piece(p)))
        .sum()
}

/// A page of 184 mm with a plate drawn exactly at its diameters, two windows of 10 × 10 mm, and more.
fn exact_plate(style: &str, more: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='184mm' height='184mm' viewBox='0 0 184 184'>{style}
         <path fill-rule='evenodd' d='M0 92a92 92 0 1 0 184 0a92 92 0 1 0 -184 0z M53 92a39 39 0 1 0 78 0a39 39 0 1 0 -78 0z M87 22h10v10h-10z M87 152h10v10h-10z'/>{more}</svg>"
    )
}

/// A plate whose edges are drawn exactly on its own leaves no slivers and makes a closed solid.
#[test]
fn edges_that_fall_on_the_plates_own_lie_on_them() {
    let found = read(&exact_plate("", "")).unwrap();
    approx::assert_relative_eq!(open_area_m2(&found), 2e-4, max_relative = 1e-6);
    let mut scenario = scenario_with(LAYOUTS[0], "");
    scenario.instrument.mask.as_mut().unwrap().layout = MaskLayout::Drawing(found);
    let plate = Plate::new(&scenario.instrument).unwrap();
    assert_eq!(plate.plate.shapes.len(), 1);
    skewstar::mask::solid::Solid::new(&plate).unwrap();
    // a slot that is drawn up to the rim goes up to the rim: 10 mm wide, from 60 mm to 92 mm, whose end is an arc
    let slot = "<path d='M0 0h184v184h-184z' opacity='0'/>";
    let cut =
        exact_plate("", slot).replace("M87 22h10v10h-10z", "M87 32V0.135995a92 92 0 0 1 10 0V32z");
    let open = open_area_m2(&read(&cut).unwrap());
    let cap = 92.0 * 92.0 * (5.0f64 / 92.0).asin() + 5.0 * (92.0f64 * 92.0 - 25.0).sqrt();
    approx::assert_relative_eq!(
        open,
        1e-6 * (100.0 + cap - 10.0 * 60.0),
        max_relative = 1e-3
    );
}

/// What has no opacity is nothing; styles and symbols are read; a stroke belongs to what is filled.
#[test]
fn opacity_styles_symbols_and_strokes_are_read() {
    let area = |text: &str| open_area_m2(&read(text).unwrap());
    let plain = area(&exact_plate("", ""));
    for nothing in [
        "<rect width='184' height='184' fill-opacity='0'/>",
        "<rect width='184' height='184' opacity='0'/>",
        "<g opacity='0'><rect width='184' height='184'/></g>",
        "<rect width='184' height='184' visibility='hidden'/>",
        "<rect class='a' width='184' height='184'/>",
    ] {
        let style = "<style>.a { fill: none }</style>";
        approx::assert_relative_eq!(
            area(&exact_plate(style, nothing)),
            plain,
            max_relative = 1e-9
        );
    }
    // a symbol of 5 × 10 mm over one half of a window
    let symbol = "<symbol id='s' overflow='visible'><rect width='5' height='10'/></symbol><use href='#s' x='87' y='22'/>";
    approx::assert_relative_eq!(area(&exact_plate("", symbol)), 1.5e-4, max_relative = 1e-6);
    // a stroke of 2 mm takes 1 mm of each window all round: 8 × 8 mm are left
    let stroked = exact_plate("", "").replace(
        "<path fill-rule",
        "<path stroke='black' stroke-width='2' fill-rule",
    );
    approx::assert_relative_eq!(area(&stroked), 2.0 * 64e-6, max_relative = 1e-3);
}
