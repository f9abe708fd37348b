//! The growth table as a picture: one panel for each thing that was varied, both jobs in it, both axes logarithmic.

use super::growth::Row;
use skewstar::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, Dash, EDGE, PALE, STEEL, Stroke, TextStyle, Viewport,
};
use skewstar::image_io::png;

const PANEL_PX: [f64; 2] = [330.0, 250.0];
const STEP_PX: [f64; 2] = [430.0, 350.0];
const FIRST_PX: [f64; 2] = [80.0, 70.0];
/// The time axis, milliseconds.
const TIMES_MS: [f64; 2] = [0.5, 2000.0];

/// Draws the table; returns a PNG.
pub fn draw(rows: &[Row]) -> Vec<u8> {
    let mut canvas = Canvas::new(900, 780, BLACK).unwrap();
    let mut kinds: Vec<&str> = Vec::new();
    for row in rows {
        if !kinds.contains(&row.what) {
            kinds.push(row.what);
        }
    }
    for (n, kind) in kinds.iter().enumerate() {
        let corner = [
            FIRST_PX[0] + STEP_PX[0] * (n % 2) as f64,
            FIRST_PX[1] + STEP_PX[1] * (1 - n / 2) as f64,
        ];
        let own: Vec<&Row> = rows.iter().filter(|row| row.what == *kind).collect();
        panel(&mut canvas, corner, kind, &own);
    }
    let head = "Milliseconds from a prepared model to pixels: amber solid = doughnut, cyan dashed = masked star";
    write(&mut canvas, [20.0, 752.0], head, Anchor::Left);
    png::rgb8(&canvas).unwrap()
}

fn panel(canvas: &mut Canvas, corner: [f64; 2], kind: &str, rows: &[&Row]) {
    let view = Viewport::whole(canvas);
    let low = rows.iter().map(|r| r.value).fold(f64::INFINITY, f64::min);
    let high = rows.iter().map(|r| r.value).fold(0.0, f64::max);
    let along = |value: f64, [a, b]: [f64; 2], axis: usize| {
        corner[axis] + PANEL_PX[axis] * (value / a).ln() / (b / a).ln()
    };
    let edge = Stroke {
        colour: EDGE,
        width_px: 1.5,
        dash: Dash::Solid,
    };
    for ms in [1.0, 10.0, 100.0, 1000.0] {
        let y = along(ms, TIMES_MS, 1);
        canvas.line(&view, [corner[0], y], [corner[0] + PANEL_PX[0], y], &edge);
        write(
            canvas,
            [corner[0] - 8.0, y],
            &format!("{ms}"),
            Anchor::Right,
        );
    }
    for row in rows.iter().filter(|row| row.job == rows[0].job) {
        let x = along(row.value, [low, high], 0);
        canvas.line(&view, [x, corner[1]], [x, corner[1] + PANEL_PX[1]], &edge);
        write(
            canvas,
            [x, corner[1] - 16.0],
            &format!("{}", row.value),
            Anchor::Centre,
        );
    }
    write(
        canvas,
        [corner[0], corner[1] + PANEL_PX[1] + 16.0],
        kind,
        Anchor::Left,
    );
    for (job, colour, dash) in [
        ("doughnut", AMBER, Dash::Solid),
        ("masked", STEEL, Dash::Dashed),
    ] {
        let places: Vec<[f64; 2]> = rows
            .iter()
            .filter(|row| row.job == job)
            .map(|row| {
                [
                    along(row.value, [low, high], 0),
                    along(row.light_ms, TIMES_MS, 1),
                ]
            })
            .collect();
        let stroke = Stroke {
            colour,
            width_px: 2.5,
            dash,
        };
        canvas.polyline(&view, &places, &stroke);
        for place in places {
            canvas.cross(&view, place, 4.0, &stroke);
        }
    }
}

fn write(canvas: &mut Canvas, place: [f64; 2], words: &str, anchor: Anchor) {
    let style = TextStyle::CAPTION
        .with_size_px(16.0)
        .with_colour(PALE)
        .with_anchor(anchor);
    let view = Viewport::whole(canvas);
    canvas.text(&view, place, words, &style);
}
