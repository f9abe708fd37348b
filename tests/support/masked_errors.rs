//! The picture `renders/masked-errors.png`: what coma, astigmatism and focus do to a star behind two masks.
//!
//! Rows are errors, columns are masks. Over each star lie three thin lines, where ray tracing puts the spikes of the level
//! triplet: amber and solid the middle spike, cyan and dashed its two partners. Their place is worked out, not traced from
//! the picture, so that line and light check each other.

use ndarray::Array2;
use skewstar::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, PALE, Rgb, Stroke, TextStyle, Viewport,
};
use skewstar::image_io::stretch::{Stretch, display};
use skewstar::instrument::Instrument;
use skewstar::mask::{Triplet, triplets};
use skewstar::predict::{Model, PredictError, Settings};
use skewstar::simulate::spikes;
use skewstar::state::{Modes, State};
use skewstar::units::{NM, UM};

/// A row: two lines of words, Noll index and nm RMS.
const ROWS: [(&str, &str, u32, f64); 7] = [
    ("no error", "", 4, 0.0),
    ("coma", "100 nm", 7, 100.0),
    ("coma", "300 nm", 7, 300.0),
    ("astigmatism", "100 nm", 6, 100.0),
    ("astigmatism", "300 nm", 6, 300.0),
    ("focus", "100 nm", 4, 100.0),
    ("focus", "300 nm", 4, 300.0),
];

/// Canvas pixels in one pixel of a star.
const MAGNIFICATION: usize = 3;
const GAP_PX: usize = 14;
const LABELS_PX: usize = 176;
const HEAD_PX: usize = 64;
const FOOT_PX: usize = 132;
const WORDS_PX: f64 = 24.0;
/// Half the length of the lines, so that they end before the first orders begin.
const LINE_M: f64 = 54.0 * UM;

/// A mask of the picture: its name, and the telescope that wears it.
pub struct Column {
    pub name: &'static str,
    pub instrument: Instrument,
}

/// One star, and the places of the level triplet's spikes: (direction of the slots, shift along it), the middle one first.
struct Star {
    light: Array2<f64>,
    lines: [(f64, f64); 3],
    off_um: f64,
    star_px: [f64; 2],
    pixel_m: f64,
}

/// Draws the picture.
pub fn draw(columns: &[Column; 2]) -> Result<Canvas, Box<dyn std::error::Error>> {
    let side_px = MAGNIFICATION * columns[0].instrument.camera.width_px;
    let step_px = side_px + GAP_PX;
    let width_px = LABELS_PX + columns.len() * step_px;
    let height_px = HEAD_PX + ROWS.len() * step_px + FOOT_PX;
    let mut canvas = Canvas::new(width_px, height_px, BLACK)?;
    for (c, column) in columns.iter().enumerate() {
        let left = LABELS_PX + c * step_px;
        let head = [left + side_px / 2, height_px - HEAD_PX / 2];
        write(&mut canvas, head, column.name, Anchor::Centre, AMBER);
        let stars = stars(&column.instrument)?;
        let stretch = stretch(&stars[0]);
        for (r, star) in stars.iter().enumerate() {
            let bottom = height_px - HEAD_PX - (r + 1) * step_px + GAP_PX;
            draw_star(&mut canvas, [left, bottom], star, &stretch);
        }
    }
    for (r, (name, amount, ..)) in ROWS.iter().enumerate() {
        let middle = height_px - HEAD_PX - r * step_px - side_px / 2;
        let right = LABELS_PX - GAP_PX;
        let half_line = if amount.is_empty() { 0 } else { 16 };
        for (place, words) in [(middle + half_line, name), (middle - half_line, amount)] {
            write(&mut canvas, [right, place], words, Anchor::Right, PALE);
        }
    }
    write_foot(&mut canvas);
    Ok(canvas)
}

fn write_foot(canvas: &mut Canvas) {
    let lines = [
        (
            "Amber: the level spike. Cyan: its two partners. Number: amber above (+) their crossing.",
            PALE,
        ),
        (
            "Three-triplet: focus and astigmatism part them, coma moves all three together.",
            DIM,
        ),
        (
            "Two-zone: coma parts them; focus and astigmatism split the spikes themselves.",
            DIM,
        ),
    ];
    for (n, (words, colour)) in lines.into_iter().enumerate() {
        let style = TextStyle::CAPTION.with_size_px(18.0).with_colour(colour);
        let whole = Viewport::whole(canvas);
        let place = [GAP_PX as f64, (FOOT_PX - 34 - 34 * n) as f64];
        canvas.text(&whole, place, words, &style);
    }
}

fn write(canvas: &mut Canvas, place_px: [usize; 2], words: &str, anchor: Anchor, colour: Rgb) {
    let style = TextStyle::CAPTION
        .with_size_px(WORDS_PX)
        .with_anchor(anchor)
        .with_colour(colour);
    let whole = Viewport::whole(canvas);
    canvas.text(&whole, place_px.map(|p| p as f64), words, &style);
}

fn draw_star(canvas: &mut Canvas, corner_px: [usize; 2], star: &Star, stretch: &Stretch) {
    let view = canvas.gray(&display(&star.light, stretch), corner_px, MAGNIFICATION);
    canvas.edge(&view, EDGE);
    let strokes = [Stroke::AMBER, Stroke::STEEL, Stroke::STEEL].map(|s| s.with_width_px(1.6));
    for ((slot_rad, shift_m), stroke) in star.lines.iter().zip(&strokes).rev() {
        let (sin, cos) = slot_rad.sin_cos();
        let end = |along_m: f64| {
            [
                star.star_px[0] + (shift_m * cos + along_m * sin) / star.pixel_m,
                star.star_px[1] + (shift_m * sin - along_m * cos) / star.pixel_m,
            ]
        };
        canvas.line(&view, end(-LINE_M), end(LINE_M), stroke);
    }
    let words = match star.off_um {
        off if off.abs() < 0.05 => "0.0 µm".to_owned(),
        off => format!("{off:+.1} µm").replace('-', "−"),
    };
    let place = [star.light.ncols() as f64 - 3.0, 5.0];
    let style = TextStyle::CAPTION
        .with_size_px(20.0)
        .with_anchor(Anchor::Right)
        .with_colour(AMBER);
    canvas.text(&view, place, &words, &style);
}

/// One stretch for all stars of a column, from the first: spikes bright, the core burnt out.
fn stretch(star: &Star) -> Stretch {
    let peak = star.light.iter().fold(0.0f64, |p, v| p.max(*v));
    Stretch {
        black: 0.0004 * peak,
        white: 0.03 * peak,
        middle: 0.004 * peak,
        noise: 0.0,
    }
}

fn stars(instrument: &Instrument) -> Result<Vec<Star>, PredictError> {
    let state = State {
        mask_on: true,
        ..State::default()
    };
    let model = Model::new(instrument, &state, Settings::default())?;
    let level = instrument.mask.as_ref().map(triplets).unwrap_or_default();
    Ok(ROWS
        .iter()
        .map(|(_, _, noll, nm)| {
            let modes: Modes = [(*noll, nm * NM)].into_iter().collect();
            let wavefront = model.wavefront(&modes, 0.0, model.reference_m);
            let found = spikes(instrument, &state, &wavefront);
            let shift_m =
                |region: usize| found.iter().find(|s| s.region == region).map(|s| s.shift_m);
            let (lines, off_um) = level_lines(&level[0], &shift_m);
            Star {
                light: model.light_of::<f64>(&modes, 0.0, &model.bins),
                lines,
                off_um,
                star_px: model.star_px.xy(),
                pixel_m: instrument.camera.pixel_m,
            }
        })
        .collect())
}

/// Slot direction and shift of the three spikes, and the middle's distance from the partners' crossing in µm.
fn level_lines(
    triplet: &Triplet,
    shift_m: &impl Fn(usize) -> Option<f64>,
) -> ([(f64, f64); 3], f64) {
    let line = |regions: &[usize], slot_rad: f64| {
        let shifts: Vec<f64> = regions.iter().filter_map(|r| shift_m(*r)).collect();
        (slot_rad, shifts.iter().sum::<f64>() / shifts.len() as f64)
    };
    let lines = [
        line(&triplet.middle, triplet.slot_rad),
        line(&triplet.left, triplet.slot_rad + triplet.slant_rad),
        line(&triplet.right, triplet.slot_rad - triplet.slant_rad),
    ];
    let off_m = triplet.read(shift_m).map_or(f64::NAN, |r| r.shift());
    (lines, off_m / UM)
}
