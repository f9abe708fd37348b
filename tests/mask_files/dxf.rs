//! DXF in: drawings of known areas that ezdxf wrote (`tests/references/dxf_areas.py`, which `.ci/run` makes afresh), our own export, and
//! what cannot be meant.

use super::{LAYOUTS, scenario_with};
use skewstar::instrument::{Drawing, DrawingFills, MaskLayout};
use skewstar::mask::drawing::{self, DrawingError};
use skewstar::mask::plate::Plate;
use skewstar::mask::solid::Solid;
use skewstar::solid_io::dxf;
use std::time::{Duration, Instant};

const DIAMETERS_M: [f64; 2] = [0.078, 0.184];

fn plain() -> Drawing {
    Drawing {
        file: "mask.dxf".into(),
        ..Drawing::default()
    }
}

fn millimetres() -> Drawing {
    Drawing {
        unit_m: Some(1e-3),
        ..plain()
    }
}

/// All openings by the shoelace formula.
fn open_mm2(drawing: &Drawing) -> f64 {
    let twice = |part: &Vec<[f64; 2]>| {
        let next = part.iter().cycle().skip(1);
        let crossed = part
            .iter()
            .zip(next)
            .map(|(a, b)| a[0] * b[1] - a[1] * b[0]);
        crossed.sum::<f64>()
    };
    0.5e6 * drawing.openings_m.iter().map(twice).sum::<f64>()
}

fn read(text: &str) -> Result<Drawing, DrawingError> {
    drawing::read(text.as_bytes(), &millimetres(), DIAMETERS_M, false)
}

/// Lines, arcs, bulges, circles, ellipses, splines, four releases, three units, mirrored entities: areas to 1e-4, and a closed solid of each.
#[test]
fn drawings_of_known_areas_have_them() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/mask_dxf");
    let text = std::fs::read_to_string(format!("{folder}/areas.json")).unwrap();
    let areas: serde_json::Map<String, serde_json::Value> = serde_json::from_str(&text).unwrap();
    assert_eq!(areas.len(), 10);
    for (name, wanted) in &areas {
        let bytes = std::fs::read(format!("{folder}/{name}.dxf")).unwrap();
        // release 12 names no unit
        let how = if name.ends_with("r12") {
            millimetres()
        } else {
            plain()
        };
        let found = drawing::read(&bytes, &how, DIAMETERS_M, false)
            .unwrap_or_else(|e| panic!("{name}: {e}"));
        let wanted = wanted.as_f64().unwrap();
        let off = open_mm2(&found) / wanted - 1.0;
        println!(
            "{name}: {:.4} mm2, known {wanted:.4}, off by {off:.1e}",
            open_mm2(&found)
        );
        assert!(off.abs() < 1e-4, "{name}: {off:.1e}");
        let mut scenario = scenario_with(LAYOUTS[0], "");
        scenario.instrument.mask.as_mut().unwrap().layout = MaskLayout::Drawing(found);
        let plate = Plate::new(&scenario.instrument).unwrap();
        assert_eq!(plate.plate.shapes.len(), 1, "{name}");
        Solid::new(&plate).unwrap_or_else(|e| panic!("{name}: {e}"));
    }
}

/// Notes, a circle that is drawn twice and a line on a layer that is off are told with their lines, which hold just these entities.
#[test]
fn what_is_left_out_is_told_with_its_line() {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/tests/data/mask_dxf/mirrored-r2018.dxf"
    );
    let text = std::fs::read_to_string(path).unwrap();
    let found = drawing::read(text.as_bytes(), &plain(), DIAMETERS_M, false).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let mut told: Vec<(String, String)> = found
        .left_out
        .iter()
        .map(|left| {
            assert_eq!(lines[left.line as usize - 1].trim(), left.what);
            (left.what.clone(), left.why.clone())
        })
        .collect();
    told.sort();
    let wanted = [
        ("CIRCLE", "drawn twice"),
        ("LINE", "its layer is switched off or frozen"),
        ("POINT", "a note, no outline"),
    ];
    assert_eq!(told, wanted.map(|(a, b)| (a.to_owned(), b.to_owned())));
    let circles = std::fs::read_to_string(path.replace("mirrored-r2018", "circles-r2018")).unwrap();
    let found = drawing::read(circles.as_bytes(), &plain(), DIAMETERS_M, false).unwrap();
    assert_eq!(found.left_out.len(), 1);
    assert_eq!(found.left_out[0].what, "TEXT");
}

/// Our own DXF comes back as the same openings, letters and ring left out.
#[test]
fn an_exported_dxf_is_the_same_mask() {
    for (layout, mirrored) in LAYOUTS.iter().zip([false, true, false, true, false]) {
        let reflections = if mirrored { 2 } else { 1 };
        let scenario = scenario_with(layout, &format!("reflections = {reflections}"));
        let plate = Plate::new(&scenario.instrument).unwrap();
        let found = drawing::read(
            dxf::write(&plate).as_bytes(),
            &plain(),
            DIAMETERS_M,
            mirrored,
        )
        .unwrap_or_else(|e| panic!("{layout}: {e}"));
        let off = open_mm2(&found) / (1e6 * plate.open.area_m2()) - 1.0;
        assert!(off.abs() < 1e-5, "{layout}: {off:.1e}");
        assert!(
            found
                .left_out
                .iter()
                .all(|left| left.why.contains("engraving"))
        );
        assert!(!found.left_out.is_empty());
    }
}

/// Openings alone, without the plate's edge; a centre of its own.
#[test]
fn openings_alone_and_another_centre() {
    let how = Drawing {
        fills: DrawingFills::Openings,
        centre_m: Some([0.1, 0.2]),
        ..millimetres()
    };
    let text = entities("0\nCIRCLE\n10\n160\n20\n200\n40\n5\n");
    let found = drawing::read(text.as_bytes(), &how, DIAMETERS_M, true).unwrap();
    assert!((open_mm2(&found) / (25.0 * std::f64::consts::PI) - 1.0).abs() < 1e-4);
    let x = found.openings_m.iter().flatten().map(|p| p[0]);
    assert!(
        x.into_iter().all(|x| (-0.0651..-0.0549).contains(&x)),
        "mirrored: 60 mm to the left"
    );
}

fn entities(body: &str) -> String {
    format!("0\nSECTION\n2\nENTITIES\n{body}0\nENDSEC\n0\nEOF\n")
}

/// A plate with a hole, and one more thing.
fn plate_and(body: &str) -> String {
    entities(&format!(
        "0\nCIRCLE\n10\n0\n20\n0\n40\n92\n0\nCIRCLE\n10\n0\n20\n0\n40\n39\n{body}"
    ))
}

fn line(from: [f64; 2], to: [f64; 2]) -> String {
    format!(
        "0\nLINE\n10\n{}\n20\n{}\n11\n{}\n21\n{}\n",
        from[0], from[1], to[0], to[1]
    )
}

/// A slot of 10 by 5 mm whose straight sides carry the bulge of a rounding error, a circle that is written as an arc of 360 degrees, and a mark
/// before the text: areas by hand. What is invisible is left out and told.
#[test]
fn odd_ways_to_write_a_plain_thing_are_read() {
    for bulge in ["0", "1e-9", "1e-12", "1e-14", "1e-16"] {
        let corners: String = [[55, 0], [65, 0], [65, 5], [55, 5]]
            .iter()
            .map(|[x, y]| format!("10\n{x}\n20\n{y}\n42\n{bulge}\n"))
            .collect();
        let text = plate_and(&format!("0\nLWPOLYLINE\n70\n1\n{corners}"));
        let found = read(&text).unwrap_or_else(|e| panic!("{bulge}: {e}"));
        assert!((open_mm2(&found) / 50.0 - 1.0).abs() < 1e-6, "{bulge}");
    }
    let all_round = plate_and("0\nARC\n10\n60\n20\n0\n40\n5\n50\n0\n51\n360\n");
    let circle = 25.0 * std::f64::consts::PI;
    let found = read(&all_round).unwrap_or_else(|e| panic!("{e}"));
    assert!((open_mm2(&found) / circle - 1.0).abs() < 1e-4);
    let marked = read(&format!("\u{feff}{all_round}")).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(marked.openings_m, found.openings_m);
    let unseen = "0\nCIRCLE\n60\n1\n10\n75\n20\n0\n40\n5\n";
    let with_unseen = all_round.replace("0\nENDSEC", &format!("{unseen}0\nENDSEC"));
    let found = read(&with_unseen).unwrap();
    assert!((open_mm2(&found) / circle - 1.0).abs() < 1e-4);
    assert_eq!(found.left_out[0].why, "it is marked as invisible");
}

#[test]
fn hostile_drawings_are_refused_with_line_and_remedy() {
    let corner = |k: usize| [[55.0, 0.0], [65.0, 0.0], [65.0, 5.0], [55.0, 5.0]][k % 4];
    let sides = |count: usize| {
        (0..count)
            .map(|k| line(corner(k), corner(k + 1)))
            .collect::<String>()
    };
    let open = plate_and(&sides(3));
    let branch = plate_and(&(sides(4) + &line([65.0, 0.0], [70.0, -5.0])));
    let spline = |knots: &[f64]| {
        let knots: String = knots.iter().map(|k| format!("40\n{k}\n")).collect();
        plate_and(&format!(
            "0\nSPLINE\n70\n8\n71\n3\n72\n8\n73\n4\n{knots}10\n50\n20\n0\n10\n60\n20\n9\n10\n70\n20\n3\n10\n50\n20\n0\n"
        ))
    };
    let many = {
        let lines: String = (0..60_000)
            .map(|k| line([k as f64, 0.0], [k as f64 + 1.0, 0.0]))
            .collect();
        entities(&lines)
    };
    let counts = plate_and("0\nLWPOLYLINE\n90\n2000000000\n70\n1\n10\n60\n20\n0\n");
    // half circles to and fro between places as far apart as numbers go
    let winding = |count: usize| {
        let corners: String = (0..count)
            .map(|k| format!("10\n{}\n20\n0\n42\n1\n", 100_000_000 * (k % 2)))
            .collect();
        plate_and(&format!("0\nLWPOLYLINE\n70\n1\n{corners}"))
    };
    // what, words, its line where one is named
    let cases: [(String, &str, Option<u32>); 22] = [
        (open, "where no other begins", Some(42)),
        (branch, "meets more than one other", None),
        (
            plate_and("0\nCIRCLE\n10\nNaN\n20\n0\n40\n5\n"),
            "\"NaN\" is no number",
            Some(24),
        ),
        (
            plate_and("0\nCIRCLE\n10\n1e300\n20\n0\n40\n5\n"),
            "\"1e300\" is no number",
            Some(24),
        ),
        (
            plate_and("0\nCIRCLE\n10\n60\n20\n0\n40\n-5\n"),
            "radius of -5",
            Some(22),
        ),
        (
            plate_and("0\nCIRCLE\n10\n60\n40\n5\n"),
            "CIRCLE has no group 20",
            Some(22),
        ),
        (
            plate_and("0\nINSERT\n2\nBLOCK\n10\n0\n20\n0\n"),
            "INSERT cannot be part of a mask",
            Some(22),
        ),
        (
            plate_and("0\nCIRCLE\n10\n60\n20\n0\n40\n5\n210\n1\n220\n0\n230\n0\n"),
            "lies in another plane",
            Some(22),
        ),
        (
            spline(&[0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0]),
            "SPLINE has 7 knots",
            Some(22),
        ),
        (
            spline(&[0.0, 0.0, 0.0, 0.0, 1.0, 0.5, 1.0, 1.0]),
            "8 knots, but must have 8 in ascending order",
            Some(22),
        ),
        (counts, "LWPOLYLINE has 1 corners", Some(22)),
        (
            plate_and("0\nCIRCLE\n10\n60\n20\n0\n40\n5\n0\nCIRCLE\n10\n64\n20\n0\n40\n5\n"),
            "crosses the one of line 22",
            Some(30),
        ),
        (
            plate_and("0\nVERTEX\n10\n60\n20\n0\n"),
            "a VERTEX without its POLYLINE",
            Some(22),
        ),
        (
            "0\nSECTION\n2\nENTITIES\n0\nCIRCLE\n10\n0\n20\n0\n40\n5\n".into(),
            "has no end",
            None,
        ),
        (
            "0\nSECTION\n2\nHEADER\n0\nENDSEC\n0\nEOF\n".into(),
            "no section ENTITIES",
            None,
        ),
        (
            "0\nSECTION\n2\nENTITIES\nzero\nCIRCLE\n".into(),
            "\"zero\" is no group code",
            Some(5),
        ),
        (many, "entities, the limit is 50000", None),
        (spline(&[0.0; 8]), "SPLINE has no length", Some(22)),
        (
            plate_and(
                "0\nLWPOLYLINE\n70\n1\n43\n0.5\n10\n60\n20\n0\n10\n65\n20\n0\n10\n65\n20\n4\n",
            ),
            "LWPOLYLINE has a width of 0.5",
            Some(22),
        ),
        (
            plate_and("0\nLINE\n10\n60\n20\n0\n30\n0\n11\n65\n21\n0\n31\n4\n"),
            "LINE leaves the plane",
            Some(22),
        ),
        (winding(60_000), "corners", None),
        (
            plate_and(&"0\nCIRCLE\n10\n60\n20\n0\n40\n100000000\n".repeat(40_000)),
            "corners",
            None,
        ),
    ];
    for (text, words, at) in cases {
        let start = Instant::now();
        let error = read(&text).expect_err(words);
        assert!(
            error.to_string().contains(words),
            "{error} (wanted: {words})"
        );
        if let Some(line) = at {
            assert!(
                error.to_string().starts_with(&format!("line {line}:")),
                "{error}"
            );
        }
        assert!(!error.hint().is_empty());
        assert!(
            start.elapsed() < Duration::from_secs(20),
            "{words}: {:?}",
            start.elapsed()
        );
    }
    let binary = b"AutoCAD Binary DXF\r\n\x1a\x00\x00SECTION";
    let error = drawing::read(binary, &millimetres(), DIAMETERS_M, false).unwrap_err();
    assert!(error.to_string().contains("binary DXF") && error.hint().contains("text form"));
    let unit = drawing::read(plate_and("").as_bytes(), &plain(), DIAMETERS_M, false).unwrap_err();
    assert_eq!(unit, DrawingError::NoScale);
    assert!(unit.hint().contains("mask.drawing_mm_per_unit"));
}
