//! SVG in: dark and light, clip paths, pixels with a scale, and what was left out.

use crate::cli::program::Place;
use skewstar::geometry::area;
use skewstar::geometry::outline::convex_piece;
use skewstar::instrument::{Drawing, DrawingFills};
use skewstar::mask::drawing::{self, DrawingError};

fn page(body: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' width='200mm' height='200mm' viewBox='0 0 200 200'>\n{body}</svg>"
    )
}

fn with(fills: DrawingFills) -> Drawing {
    Drawing {
        file: "mask.svg".into(),
        fills,
        ..Drawing::default()
    }
}

fn read(text: &str, how: &Drawing) -> Result<Drawing, DrawingError> {
    drawing::read(text.as_bytes(), how, [0.078, 0.184], false)
}

fn open_mm2(text: &str, how: &Drawing) -> f64 {
    let found = read(text, how).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let pieces = found.openings_m.iter();
    pieces.map(|p| 1e6 * area(&convex_piece(p))).sum()
}

fn close(found: f64, wanted: f64) {
    assert!(
        (found / wanted - 1.0).abs() < 1e-4,
        "{found} by hand {wanted}"
    );
}

/// White windows painted on a dark plate, and a dark bar painted over one of them; the same with the shades exchanged.
#[test]
fn light_on_dark_is_painted_as_a_viewer_paints_it() {
    let drawn = |plate: &str, window: &str| {
        page(&format!(
            "<circle cx='100' cy='100' r='92' fill='{plate}'/>\n<rect x='95' y='30' width='10' height='10' fill='{window}'/>\n\
             <rect x='95' y='160' width='10' height='10' fill='{window}'/>\n<rect x='90' y='164' width='20' height='2' fill='{plate}'/>\n"
        ))
    };
    let (black, white) = (drawn("black", "white"), drawn("#fff", "rgb(9,9,30)"));
    close(open_mm2(&black, &with(DrawingFills::Dark)), 180.0);
    close(open_mm2(&white, &with(DrawingFills::Light)), 180.0);
    // read the other way round, the windows are the plate
    let ring = std::f64::consts::PI * (92.0f64.powi(2) - 39.0f64.powi(2));
    close(open_mm2(&black, &with(DrawingFills::Light)), ring - 180.0);
    for fills in [DrawingFills::Plate, DrawingFills::Openings] {
        let error = read(&black, &with(fills)).unwrap_err();
        assert_eq!(error, DrawingError::DarkAndLight { line: 3 });
        assert!(error.hint().contains("\"dark\" or \"light\""));
    }
    // one shade needs no word, whichever it is
    let one = page(
        "<path fill='white' fill-rule='evenodd' d='M8 100a92 92 0 1 0 184 0a92 92 0 1 0 -184 0z M95 30h10v10h-10z'/>",
    );
    close(open_mm2(&one, &with(DrawingFills::Plate)), 100.0);
}

/// Windows cut by a clip path: moved with what they belong to, of two shapes, one in another, and in units of the box.
#[test]
fn clip_paths_cut_what_they_belong_to() {
    let windows = with(DrawingFills::Openings);
    let plain = "<defs><clipPath id='c'><rect x='95' y='30' width='4' height='10'/><rect x='101' y='30' width='2' height='10'/></clipPath></defs>
        <rect x='90' y='32' width='20' height='5' clip-path='url(#c)'/>";
    close(open_mm2(&page(plain), &windows), 30.0);
    let moved = "<defs><clipPath id='c'><rect x='0' y='0' width='4' height='4'/></clipPath></defs>
        <g transform='translate(100 40) rotate(30)'><g clip-path='url(#c)'><rect x='-3' y='-3' width='5' height='9'/></g></g>";
    close(open_mm2(&page(moved), &windows), 8.0);
    let nested = "<defs><clipPath id='a'><rect x='95' y='30' width='10' height='10'/></clipPath>
        <clipPath id='b' clip-path='url(#a)'><rect x='99' y='20' width='20' height='13'/></clipPath></defs>
        <rect x='80' y='25' width='40' height='40' clip-path='url(#b)'/>";
    close(open_mm2(&page(nested), &windows), 18.0);
    let of_box = "<defs><clipPath id='c' clipPathUnits='objectBoundingBox'><rect x='0' y='0' width='0.5' height='1'/></clipPath></defs>
        <rect x='90' y='30' width='20' height='10' clip-path='url(#c)'/>";
    close(open_mm2(&page(of_box), &windows), 100.0);
    // a symbol cuts off what reaches beyond its own frame
    let symbol = "<symbol id='s' width='5' height='6' viewBox='0 0 5 6'><rect width='50' height='3'/></symbol><use href='#s' x='95' y='30' width='5' height='6'/>";
    close(open_mm2(&page(symbol), &windows), 15.0);
}

/// Pixels with a stated scale: a page without units, half a millimetre to the pixel.
#[test]
fn pixels_have_the_scale_that_is_stated() {
    let text = page("<rect x='190' y='60' width='20' height='20'/>").replace(
        "width='200mm' height='200mm' viewBox='0 0 200 200'",
        "width='400' height='400px'",
    );
    let unknown = read(&text, &with(DrawingFills::Openings)).unwrap_err();
    assert!(
        unknown.hint().contains("mask.drawing_mm_per_unit"),
        "{}",
        unknown.hint()
    );
    let scaled = Drawing {
        unit_m: Some(0.5e-3),
        ..with(DrawingFills::Openings)
    };
    close(open_mm2(&text, &scaled), 100.0);
    let y = read(&text, &scaled).unwrap().openings_m;
    assert!(
        y.iter().flatten().all(|p| (0.0599..0.0701).contains(&p[1])),
        "{y:?}"
    );
}

/// Lines without a fill, what is not displayed and what has no opacity: each with its line, its name and why, and where it runs.
#[test]
fn what_is_left_out_is_told_with_its_line() {
    let text = page(
        "<rect id='w' x='95' y='30' width='10' height='10'/>\n<path d='M0 0L9 9' stroke='red' fill='none'/>\n<circle r='5' display='none'/>\n\
         <g opacity='0'>\n<rect width='9' height='9'/></g>\n<ellipse rx='4' ry='3' visibility='hidden'/>\n",
    );
    let found = read(&text, &with(DrawingFills::Openings)).unwrap();
    let told: Vec<(u32, &str)> = found
        .left_out
        .iter()
        .map(|l| (l.line, l.what.as_str()))
        .collect();
    assert_eq!(
        told,
        [
            (3, "<path>"),
            (4, "<circle>"),
            (6, "<rect>"),
            (7, "<ellipse>")
        ]
    );
    assert!(found.left_out.iter().all(|left| !left.why.is_empty()));
    assert_eq!(
        found.left_out[0].ways_m[0].len(),
        2,
        "the red line's two ends"
    );
}

/// The program: a picture of what was understood, and the same in words.
#[test]
fn a_picture_shows_what_was_understood() {
    let place = Place::with_file(
        "m.svg",
        page(
            "<path fill-rule='evenodd' d='M8 100a92 92 0 1 0 184 0a92 92 0 1 0 -184 0z M61 100a39 39 0 1 0 78 0a39 39 0 1 0 -78 0z M60 30h80v10h-80z'/>\n<path d='M0 0L9 9' stroke='red' fill='none'/>\n",
        ),
    );
    let keys = super::text_with("layout = \"drawing\"\ndrawing = \"m.svg\"", "");
    place.write("m.toml", keys);
    let done = place.run(&["mask", "draw", "m.toml"]);
    assert_eq!(done.status, Some(0), "{}", done.stderr);
    let picture = place.text("out/m.understood.svg");
    for words in ["left out: line 3: &lt;path&gt;", "<polyline", "1 left out"] {
        assert!(picture.contains(words), "{words}");
    }
    let checked = place.run(&["mask", "check", "m.toml"]);
    assert!(
        checked.stdout.contains("left out: line 3: <path>"),
        "{}",
        checked.stdout
    );
}
