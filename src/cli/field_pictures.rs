//! Two pictures of a field on an outline of the sensor: how large and how long its stars are, and what they look like.

use crate::axes::FramePx;
use crate::image_io::PictureError;
use crate::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, PALE, STEEL, Stroke, TextStyle, Viewport, shorten,
};
use crate::image_io::stretch::{Stretch, display};
use crate::simulate::{Stamp, StarRecord};
use ndarray::Array2;

/// The sensor as the pictures need it.
pub struct Sensor {
    /// Title of the scenario.
    pub title: String,
    /// Columns and rows.
    pub size_px: [usize; 2],
    /// Where coma vanishes.
    pub coma_node_px: Option<FramePx>,
}

/// Longer side of the outline on the canvas.
const SIDE_PX: f64 = 1080.0;
const MARGIN_PX: usize = 24;
const LINE_PX: usize = 22;
/// Side of a cut-out on the canvas, as a share of the outline's longer side.
const CUT_OUT: f64 = 0.16;
/// The map has about this many cells along its longer side where there are more stars than cells.
const CELLS: usize = 14;
/// Length of a line on the map for a star that is twice as long as wide.
const LINE_LENGTH_PX: f64 = 60.0;
/// Radius of the circle of the largest star, and the smallest that is drawn.
const CIRCLE_PX: [f64; 2] = [3.0, 22.0];

/// Size and elongation over the sensor: a circle grows with the half-flux diameter, a line lies along the stars' long side.
///
/// # Errors
/// [`PictureError`] when the canvas cannot be made.
pub fn map(sensor: &Sensor, stars: &[StarRecord]) -> Result<Canvas, PictureError> {
    let page = Page::new(sensor)?;
    let Page {
        mut canvas,
        scale,
        corner,
    } = page;
    let cells = cells(sensor, stars);
    let largest = cells.iter().map(|c| c.size_px).fold(0.0, f64::max);
    let smallest = cells
        .iter()
        .map(|c| c.size_px)
        .fold(f64::INFINITY, f64::min)
        .min(largest);
    let longest = cells.iter().map(|c| c.elongation()).fold(1.0, f64::max);
    let whole = Viewport::whole(&canvas);
    for cell in &cells {
        let place = [0, 1].map(|axis| corner[axis] + scale * (cell.place_px[axis] + 0.5));
        let radius = (CIRCLE_PX[1] * cell.size_px / largest).max(CIRCLE_PX[0]);
        canvas.circle(
            &whole,
            place,
            radius,
            &Stroke {
                colour: PALE,
                width_px: 1.5,
                ..Stroke::AMBER
            },
        );
        let half = 0.5 * LINE_LENGTH_PX * (cell.elongation() - 1.0);
        if half >= 1.0 {
            let along = cell.direction();
            let end = |sign: f64| [0, 1].map(|axis| place[axis] + sign * half * along[axis]);
            canvas.line(
                &whole,
                end(-1.0),
                end(1.0),
                &Stroke {
                    colour: AMBER,
                    width_px: 2.5,
                    ..Stroke::AMBER
                },
            );
        }
    }
    node(&mut canvas, sensor, scale, corner);
    let words = [
        format!("circle: half-flux diameter, {smallest:.1} to {largest:.1} px"),
        format!(
            "line: along the stars' long side, up to {longest:.2} times as long as wide; none where they are round"
        ),
    ];
    captions(&mut canvas, sensor, &words);
    Ok(canvas)
}

/// Stars of some places, magnified and laid at those places. All share one stretch, so that sizes and brightness compare.
///
/// # Errors
/// [`PictureError`] when the canvas cannot be made.
pub fn cut_outs(sensor: &Sensor, samples: &[Stamp]) -> Result<Canvas, PictureError> {
    let Page {
        mut canvas,
        scale,
        corner,
    } = Page::new(sensor)?;
    let size = samples
        .iter()
        .map(|s| s.record.half_flux_diameter_px)
        .fold(0.0, f64::max);
    let side = ((3.2 * size).ceil() as usize).clamp(12, 160) | 1;
    let magnification = ((CUT_OUT * SIDE_PX) as usize / side).max(1);
    let windows: Vec<Array2<f64>> = samples.iter().map(|s| window(s, side)).collect();
    let stretch = windows.iter().map(Stretch::of).reduce(Stretch::merged);
    let whole = Viewport::whole(&canvas);
    for (sample, window) in samples.iter().zip(&windows) {
        let Some(stretch) = &stretch else { continue };
        let extent = side * magnification;
        let place = [0, 1].map(|axis| corner[axis] + scale * (sample.record.star_px[axis] + 0.5));
        let first = place.map(|p| (p - 0.5 * extent as f64).round().max(0.0) as usize);
        let view = canvas.gray(&display(window, stretch), first, magnification);
        canvas.edge(&view, EDGE);
        let below = [place[0], first[1] as f64 - 11.0];
        let words = format!(
            "{:.1} px, {:.2}",
            sample.record.half_flux_diameter_px, sample.record.elongation
        );
        canvas.text(
            &whole,
            below,
            &words,
            &TextStyle::CAPTION
                .with_anchor(Anchor::Centre)
                .with_colour(DIM),
        );
    }
    let words = [
        format!(
            "cut-outs of {side} x {side} px at their own places, magnified {magnification} times; one brightness for all, no noise"
        ),
        "below each: half-flux diameter, and how many times as long as wide".to_owned(),
    ];
    captions(&mut canvas, sensor, &words);
    Ok(canvas)
}

struct Page {
    canvas: Canvas,
    /// Canvas pixels in a sensor pixel.
    scale: f64,
    /// Canvas place of the sensor's bottom left corner.
    corner: [f64; 2],
}

impl Page {
    fn new(sensor: &Sensor) -> Result<Page, PictureError> {
        let longer = sensor.size_px[0].max(sensor.size_px[1]) as f64;
        let scale = SIDE_PX / longer;
        let extent = sensor
            .size_px
            .map(|side| (side as f64 * scale).round() as usize);
        let below = MARGIN_PX + 3 * LINE_PX;
        let mut canvas = Canvas::new(
            (extent[0] + 2 * MARGIN_PX).max(860),
            below + extent[1] + 2 * LINE_PX + MARGIN_PX,
            BLACK,
        )?;
        let view = Viewport::panel(extent, [MARGIN_PX, below], 1);
        canvas.edge(&view, PALE);
        Ok(Page {
            canvas,
            scale,
            corner: [MARGIN_PX as f64 - 0.5, below as f64 - 0.5],
        })
    }
}

fn node(canvas: &mut Canvas, sensor: &Sensor, scale: f64, corner: [f64; 2]) {
    let Some(node_px) = sensor.coma_node_px else {
        return;
    };
    let inside = [0, 1]
        .into_iter()
        .all(|axis| (0.0..sensor.size_px[axis] as f64).contains(&node_px[axis]));
    if inside {
        let place = [0, 1].map(|axis| corner[axis] + scale * (node_px[axis] + 0.5));
        let whole = Viewport::whole(canvas);
        canvas.cross(
            &whole,
            place,
            11.0,
            &Stroke {
                colour: STEEL,
                width_px: 2.5,
                ..Stroke::AMBER
            },
        );
        let label = [place[0] + 16.0, place[1] + 14.0];
        canvas.text(
            &whole,
            label,
            "no coma here",
            &TextStyle::CAPTION.with_colour(STEEL),
        );
    }
}

fn captions(canvas: &mut Canvas, sensor: &Sensor, words: &[String]) {
    let whole = Viewport::whole(canvas);
    let room = (canvas.width_px() - 2 * MARGIN_PX) as f64;
    let top = (canvas.height_px() - MARGIN_PX) as f64;
    let title = shorten(&sensor.title, 18.0, room);
    canvas.text(
        &whole,
        [MARGIN_PX as f64, top],
        &title,
        &TextStyle::CAPTION.with_size_px(18.0).with_colour(AMBER),
    );
    for (number, line) in words.iter().rev().enumerate() {
        let y = (MARGIN_PX + LINE_PX * number) as f64;
        canvas.text(
            &whole,
            [MARGIN_PX as f64, y],
            &shorten(line, 15.0, room),
            &TextStyle::CAPTION.with_size_px(15.0),
        );
    }
}

/// The part of a stamp about the centre of its light, `side` pixels square.
fn window(sample: &Stamp, side: usize) -> Array2<f64> {
    let first = [0, 1].map(|axis| {
        let middle = sample.record.centroid_px[axis].round() as i64 - sample.corner_px[axis];
        middle - side as i64 / 2
    });
    Array2::from_shape_fn((side, side), |(row, column)| {
        let place = (first[1] + row as i64, first[0] + column as i64);
        match (usize::try_from(place.0), usize::try_from(place.1)) {
            (Ok(y), Ok(x)) => sample.light.get([y, x]).copied().unwrap_or(0.0),
            _ => 0.0,
        }
    })
}

/// Mean size and elongation of the stars in one part of the sensor.
struct Tile {
    place_px: [f64; 2],
    size_px: f64,
    /// (long² − short²)/(long² + short²) along twice the direction: averages as a vector.
    stretch: [f64; 2],
}

impl Tile {
    fn elongation(&self) -> f64 {
        let e = self.stretch[0].hypot(self.stretch[1]).min(0.999);
        ((1.0 + e) / (1.0 - e)).sqrt()
    }

    fn direction(&self) -> [f64; 2] {
        let angle = 0.5 * libm::atan2(self.stretch[1], self.stretch[0]);
        [libm::cos(angle), libm::sin(angle)]
    }
}

/// One cell a star, or means over square parts of the sensor where the stars are many.
fn cells(sensor: &Sensor, stars: &[StarRecord]) -> Vec<Tile> {
    let single = stars.iter().map(|star| {
        let square = star.elongation * star.elongation;
        let e = (square - 1.0) / (square + 1.0);
        let twice = 2.0 * star.elongation_deg.to_radians();
        Tile {
            place_px: star.star_px.xy(),
            size_px: star.half_flux_diameter_px,
            stretch: [e * libm::cos(twice), e * libm::sin(twice)],
        }
    });
    let side = sensor.size_px[0].max(sensor.size_px[1]) as f64 / CELLS as f64;
    let count = sensor
        .size_px
        .map(|s| (s as f64 / side).ceil().max(1.0) as usize);
    if stars.len() <= count[0] * count[1] {
        return single.collect();
    }
    let mut sums: Vec<(f64, Tile)> = (0..count[0] * count[1])
        .map(|_| {
            (
                0.0,
                Tile {
                    place_px: [0.0; 2],
                    size_px: 0.0,
                    stretch: [0.0; 2],
                },
            )
        })
        .collect();
    for star in single {
        let at = [0, 1]
            .map(|axis| ((star.place_px[axis] / side).max(0.0) as usize).min(count[axis] - 1));
        let (number, sum) = &mut sums[at[1] * count[0] + at[0]];
        *number += 1.0;
        sum.size_px += star.size_px;
        for axis in 0..2 {
            sum.place_px[axis] += star.place_px[axis];
            sum.stretch[axis] += star.stretch[axis];
        }
    }
    sums.into_iter()
        .filter(|(number, _)| *number > 0.0)
        .map(|(number, sum)| Tile {
            place_px: sum.place_px.map(|p| p / number),
            size_px: sum.size_px / number,
            stretch: sum.stretch.map(|s| s / number),
        })
        .collect()
}
