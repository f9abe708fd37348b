//! Lines, circles and arrows with smooth edges.
//!
//! A shape is first worked out as coverage, the share of each canvas pixel it covers, from the distance of the pixel's centre to the
//! shape; then a dark casing and the colour are mixed in once. So the pieces of a bent line do not darken where they meet,
//! and a line stays legible across a bright star. Only square roots are used: every processor gives the same picture.

use super::canvas::{AMBER, BLACK, Canvas, PALE, Rgb, STEEL, Viewport};
use crate::geometry::distance_to_segment;

/// How a line is broken up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dash {
    /// Unbroken.
    Solid,
    /// Long pieces.
    Dashed,
    /// Round dots.
    Dotted,
}

/// How a line is drawn. The three ready-made ones differ in colour, in brightness and in dash.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Colour.
    pub colour: Rgb,
    /// Width in canvas pixels.
    pub width_px: f64,
    /// How it is broken up.
    pub dash: Dash,
}

impl Stroke {
    /// Amber, solid.
    pub const AMBER: Stroke = Stroke {
        colour: AMBER,
        width_px: 2.0,
        dash: Dash::Solid,
    };
    /// Steel, dashed.
    pub const STEEL: Stroke = Stroke {
        colour: STEEL,
        width_px: 2.0,
        dash: Dash::Dashed,
    };
    /// Pale, dotted.
    pub const PALE: Stroke = Stroke {
        colour: PALE,
        width_px: 2.0,
        dash: Dash::Dotted,
    };

    /// The same stroke with another width.
    pub fn with_width_px(self, width_px: f64) -> Stroke {
        Stroke { width_px, ..self }
    }
}

impl Canvas {
    /// Draws a straight line between two places of the frame.
    pub fn line(&mut self, view: &Viewport, from_px: [f64; 2], to_px: [f64; 2], stroke: &Stroke) {
        self.polyline(view, &[from_px, to_px], stroke);
    }

    /// Draws straight lines from place to place of the frame.
    pub fn polyline(&mut self, view: &Viewport, places_px: &[[f64; 2]], stroke: &Stroke) {
        let path: Vec<[f64; 2]> = places_px
            .iter()
            .map(|place| view.to_canvas(*place))
            .collect();
        self.draw_path(view, &path, stroke);
    }

    /// Draws a circle; radius in frame pixels. A radius that is negative is not drawn.
    pub fn circle(
        &mut self,
        view: &Viewport,
        centre_px: [f64; 2],
        radius_px: f64,
        stroke: &Stroke,
    ) {
        if radius_px >= 0.0 {
            let on_circle =
                |[x, y]: [f64; 2]| [centre_px[0] + radius_px * x, centre_px[1] + radius_px * y];
            let places: Vec<[f64; 2]> = unit_circle().into_iter().map(on_circle).collect();
            self.polyline(view, &places, stroke);
        }
    }

    /// Draws an arrow from a place to the place its tip touches. The shaft follows the stroke's dash, the head is solid.
    pub fn arrow(&mut self, view: &Viewport, from_px: [f64; 2], to_px: [f64; 2], stroke: &Stroke) {
        let (from, tip) = (view.to_canvas(from_px), view.to_canvas(to_px));
        let length = distance(from, tip);
        if !(length.is_finite() && length > 0.0) {
            return;
        }
        let along = [(tip[0] - from[0]) / length, (tip[1] - from[1]) / length];
        let head = (HEAD_LENGTH * stroke.width_px + HEAD_EXTRA_PX).min(length);
        let neck = [tip[0] - head * along[0], tip[1] - head * along[1]];
        self.draw_path(view, &[from, neck], stroke);
        let half = HEAD_HALF_WIDTH * head;
        let corner = |side: f64| {
            [
                neck[0] - side * half * along[1],
                neck[1] + side * half * along[0],
            ]
        };
        self.draw_triangle(view, [tip, corner(1.0), corner(-1.0)], stroke.colour);
    }

    /// Draws a small cross, arms of `arm_px` canvas pixels, at a place of the frame.
    pub fn cross(&mut self, view: &Viewport, place_px: [f64; 2], arm_px: f64, stroke: &Stroke) {
        let [x, y] = view.to_canvas(place_px);
        let solid = Stroke {
            dash: Dash::Solid,
            ..*stroke
        };
        let arms = [
            [[x - arm_px, y], [x + arm_px, y]],
            [[x, y - arm_px], [x, y + arm_px]],
        ];
        self.draw_pieces(view, &arms, &solid);
    }

    fn draw_path(&mut self, view: &Viewport, path: &[[f64; 2]], stroke: &Stroke) {
        let pieces = dashes(view, path, stroke);
        self.draw_pieces(view, &pieces, stroke);
    }

    fn draw_pieces(&mut self, view: &Viewport, pieces: &[[[f64; 2]; 2]], stroke: &Stroke) {
        let half = 0.5 * stroke.width_px;
        let mut coverage =
            InkCoverage::around(view, pieces.iter().flatten(), half + CASING_PX + 1.0);
        for [from, to] in pieces {
            coverage.add(from, to, half + CASING_PX + 1.0, |place| {
                half - distance_to_segment(place, *from, *to)
            });
        }
        coverage.paint(self, stroke.colour);
    }

    fn draw_triangle(&mut self, view: &Viewport, corners: [[f64; 2]; 3], colour: Rgb) {
        let mut coverage = InkCoverage::around(view, corners.iter(), CASING_PX + 1.0);
        let [first, second, third] = corners;
        let low = [
            first[0].min(second[0]).min(third[0]),
            first[1].min(second[1]).min(third[1]),
        ];
        let high = [
            first[0].max(second[0]).max(third[0]),
            first[1].max(second[1]).max(third[1]),
        ];
        coverage.add(&low, &high, CASING_PX + 1.0, |place| {
            depth_in_triangle(place, corners)
        });
        coverage.paint(self, colour);
    }
}

/// Dark rim on either side of every line.
const CASING_PX: f64 = 1.25;
/// How dark the rim is.
const CASING_OPACITY: f64 = 0.6;
/// Length of an arrow's head in widths of its shaft, and a little more for thin ones.
const HEAD_LENGTH: f64 = 3.5;
const HEAD_EXTRA_PX: f64 = 5.0;
/// Half the width of the head, as a share of its length.
const HEAD_HALF_WIDTH: f64 = 0.38;

/// How deep inside a shape each pixel of a box lies, in canvas pixels; negative outside.
struct InkCoverage {
    first: [usize; 2],
    size: [usize; 2],
    depth: Vec<f64>,
}

impl InkCoverage {
    /// The box about some places, widened by `margin`, cut to the view's panel.
    fn around<'a>(
        view: &Viewport,
        places: impl Iterator<Item = &'a [f64; 2]>,
        margin: f64,
    ) -> InkCoverage {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for place in places {
            for axis in 0..2 {
                low[axis] = low[axis].min(place[axis]);
                high[axis] = high[axis].max(place[axis]);
            }
        }
        let first = [0, 1].map(|axis| first_pixel(low[axis] - margin, view.first_px[axis]));
        let size = [0, 1].map(|axis| {
            end_pixel(high[axis] + margin, view.end_px[axis]).saturating_sub(first[axis])
        });
        InkCoverage {
            first,
            size,
            depth: vec![f64::NEG_INFINITY; size[0] * size[1]],
        }
    }

    /// Joins a shape whose pixels lie within `margin` of the box from `a` to `b`.
    fn add(&mut self, a: &[f64; 2], b: &[f64; 2], margin: f64, depth: impl Fn([f64; 2]) -> f64) {
        let range = |axis: usize| {
            let end = self.first[axis] + self.size[axis];
            let start = first_pixel(a[axis].min(b[axis]) - margin, self.first[axis]);
            start..end_pixel(a[axis].max(b[axis]) + margin, end)
        };
        let (columns, rows) = (range(0), range(1));
        for row in rows {
            for column in columns.clone() {
                let index = (row - self.first[1]) * self.size[0] + column - self.first[0];
                self.depth[index] = self.depth[index].max(depth([column as f64, row as f64]));
            }
        }
    }

    /// Mixes the casing and then the colour into the canvas.
    fn paint(&self, canvas: &mut Canvas, colour: Rgb) {
        for (index, depth) in self.depth.iter().enumerate() {
            let (column, row) = (
                self.first[0] + index % self.size[0],
                self.first[1] + index / self.size[0],
            );
            let casing = (depth + CASING_PX + 0.5).clamp(0.0, 1.0);
            if casing > 0.0 {
                canvas.mix(column, row, BLACK, casing * CASING_OPACITY);
                canvas.mix(column, row, colour, (depth + 0.5).clamp(0.0, 1.0));
            }
        }
    }
}

/// First pixel centre at or above `place`, at least `limit`. (Casting a number that is too large, or none, saturates.)
fn first_pixel(place: f64, limit: usize) -> usize {
    (place.ceil().max(0.0) as usize).max(limit)
}

/// One past the last pixel centre at or below `place`, at most `limit`.
fn end_pixel(place: f64, limit: usize) -> usize {
    if place < 0.0 {
        0
    } else {
        (place.floor() as usize).saturating_add(1).min(limit)
    }
}

/// The visible pieces of a path: cut at the panel's edges first, so that a line to far away costs nothing, then into dashes.
fn dashes(view: &Viewport, path: &[[f64; 2]], stroke: &Stroke) -> Vec<[[f64; 2]; 2]> {
    let [on, off] = match stroke.dash {
        Dash::Solid => [f64::INFINITY, 0.0],
        Dash::Dashed => [4.0 * stroke.width_px + 1.0, 2.0 * stroke.width_px + 2.0],
        Dash::Dotted => [0.01, 2.5 * stroke.width_px + 2.0],
    };
    let mut pieces = Vec::new();
    let mut walked = 0.0;
    for pair in path.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let length = distance(from, to);
        if !length.is_finite() {
            continue;
        }
        if let Some([enters, leaves]) =
            visible_part(view, from, to, stroke.width_px + 2.0 * CASING_PX)
        {
            let at = |walk: f64| {
                let share = if length > 0.0 {
                    (walk - walked) / length
                } else {
                    0.0
                };
                [
                    from[0] + share * (to[0] - from[0]),
                    from[1] + share * (to[1] - from[1]),
                ]
            };
            let (start, end) = (walked + enters * length, walked + leaves * length);
            if on.is_infinite() {
                pieces.push([at(start), at(end)]);
            } else {
                cut_into_dashes([start, end], [on, off], |a, b| pieces.push([at(a), at(b)]));
            }
        }
        walked += length;
    }
    pieces
}

/// Calls `piece` for every part of `start..end` that is drawn when a pattern of `on` and `off` repeats from 0.
fn cut_into_dashes([start, end]: [f64; 2], [on, off]: [f64; 2], mut piece: impl FnMut(f64, f64)) {
    let period = on + off;
    let mut dash = (start / period).floor();
    // A path so long that single dashes are lost in rounding is left out: the count would not advance.
    while dash * period < end && dash + 1.0 > dash {
        let (from, to) = ((dash * period).max(start), (dash * period + on).min(end));
        if from <= to {
            piece(from, to);
        }
        dash += 1.0;
    }
}

/// Shares of the segment at which it enters and leaves the panel widened by `margin` (Liang and Barsky's clipping).
fn visible_part(view: &Viewport, from: [f64; 2], to: [f64; 2], margin: f64) -> Option<[f64; 2]> {
    let (mut enters, mut leaves) = (0.0f64, 1.0f64);
    for axis in 0..2 {
        let (low, high) = (
            view.first_px[axis] as f64 - margin,
            view.end_px[axis] as f64 + margin,
        );
        let run = to[axis] - from[axis];
        if run == 0.0 {
            if from[axis] < low || from[axis] > high {
                return None;
            }
            continue;
        }
        let (one, other) = ((low - from[axis]) / run, (high - from[axis]) / run);
        enters = enters.max(one.min(other));
        leaves = leaves.min(one.max(other));
    }
    (enters <= leaves).then_some([enters, leaves])
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    let (x, y) = (b[0] - a[0], b[1] - a[1]);
    (x * x + y * y).sqrt()
}

/// Distance to the nearest side, positive inside; corners counter-clockwise.
fn depth_in_triangle(place: [f64; 2], corners: [[f64; 2]; 3]) -> f64 {
    (0..3)
        .map(|index| {
            let (from, to) = (corners[index], corners[(index + 1) % 3]);
            let cross =
                (to[0] - from[0]) * (place[1] - from[1]) - (to[1] - from[1]) * (place[0] - from[0]);
            cross / distance(from, to)
        })
        .fold(f64::INFINITY, f64::min)
}

/// A closed polygon of 512 sides on the unit circle, counter-clockwise from (1, 0), by halving: no sine, no cosine.
fn unit_circle() -> Vec<[f64; 2]> {
    let mut places = vec![[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0], [1.0, 0.0]];
    for _ in 0..7 {
        let mut finer = Vec::with_capacity(2 * places.len());
        for pair in places.windows(2) {
            let middle = [pair[0][0] + pair[1][0], pair[0][1] + pair[1][1]];
            let length = distance([0.0; 2], middle);
            finer.extend([pair[0], [middle[0] / length, middle[1] / length]]);
        }
        finer.push([1.0, 0.0]);
        places = finer;
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn canvas() -> (Canvas, Viewport) {
        let canvas = Canvas::new(60, 50, BLACK).unwrap();
        let view = Viewport::whole(&canvas);
        (canvas, view)
    }

    /// Drawn light in units of one full pixel.
    fn ink(canvas: &Canvas) -> f64 {
        canvas
            .rows_from_top()
            .flatten()
            .map(|colour| f64::from(colour.0[0]) / 255.0)
            .sum()
    }

    const WHITE: Stroke = Stroke {
        colour: Rgb([255; 3]),
        width_px: 3.0,
        dash: Dash::Solid,
    };

    #[test]
    fn a_line_covers_its_own_area() {
        let (mut canvas, view) = canvas();
        canvas.line(&view, [10.3, 8.0], [41.9, 33.7], &WHITE);
        // Length × width + the two half discs of the round ends.
        let area = distance([10.3, 8.0], [41.9, 33.7]) * 3.0 + std::f64::consts::PI * 1.5 * 1.5;
        assert_relative_eq!(ink(&canvas), area, max_relative = 0.02);
    }

    #[test]
    fn a_circle_covers_its_own_area_and_is_centred_where_it_was_put() {
        let (mut canvas, view) = canvas();
        canvas.circle(&view, [27.4, 24.8], 18.2, &WHITE);
        assert_relative_eq!(
            ink(&canvas),
            2.0 * std::f64::consts::PI * 18.2 * 3.0,
            max_relative = 0.02
        );
        let (mut x, mut y) = (0.0, 0.0);
        for (row, pixels) in canvas
            .rows_from_top()
            .collect::<Vec<_>>()
            .into_iter()
            .rev()
            .enumerate()
        {
            for (column, colour) in pixels.iter().enumerate() {
                x += column as f64 * f64::from(colour.0[0]) / 255.0;
                y += row as f64 * f64::from(colour.0[0]) / 255.0;
            }
        }
        assert_relative_eq!(x / ink(&canvas), 27.4, epsilon = 0.02);
        assert_relative_eq!(y / ink(&canvas), 24.8, epsilon = 0.02);
    }

    #[test]
    fn an_arrow_ends_at_its_tip_and_is_widest_near_it() {
        let (mut canvas, view) = canvas();
        canvas.arrow(&view, [5.0, 25.0], [50.0, 25.0], &WHITE);
        let height = |column: usize| {
            (0..50)
                .filter(|row| canvas.pixel(column, *row).unwrap().0[0] > 127)
                .count()
        };
        assert_eq!((height(52), height(20)), (0, 3));
        assert!(height(37) > 8, "the head is {} pixels wide", height(37));
        assert!(height(49) <= 2 && height(49) > 0);
    }

    #[test]
    fn dashes_leave_gaps_of_the_stated_length() {
        let (mut canvas, view) = canvas();
        let dashed = Stroke {
            width_px: 2.0,
            dash: Dash::Dashed,
            ..WHITE
        };
        canvas.line(&view, [5.0, 20.0], [55.0, 20.0], &dashed);
        let mut pieces = Vec::new();
        cut_into_dashes([0.0, 50.0], [9.0, 6.0], |from, to| pieces.push([from, to]));
        assert_eq!(
            pieces,
            [[0.0, 9.0], [15.0, 24.0], [30.0, 39.0], [45.0, 50.0]]
        );
        assert!(
            canvas.pixel(17, 20).unwrap().0[0] < 60,
            "between the first two dashes"
        );
        assert_eq!(canvas.pixel(10, 20).unwrap().0[0], 255);
    }

    #[test]
    fn joints_are_not_drawn_twice() {
        let (mut canvas, view) = canvas();
        let half = Stroke {
            colour: Rgb([128; 3]),
            ..WHITE
        };
        canvas.polyline(&view, &[[5.0, 5.0], [30.0, 20.2], [55.0, 5.0]], &half);
        assert!(
            canvas
                .rows_from_top()
                .flatten()
                .all(|colour| colour.0[0] <= 128)
        );
        assert_eq!(canvas.pixel(30, 20), Some(Rgb([128; 3])));
    }

    #[test]
    fn nothing_leaves_the_panel_and_nothing_absurd_hangs_or_panics() {
        let mut canvas = Canvas::new(60, 50, BLACK).unwrap();
        let view = Viewport::panel([10, 10], [20, 15], 2);
        let far = [
            -1e300,
            -1e18,
            -1e9,
            0.3,
            1e9,
            1e18,
            1e300,
            f64::NAN,
            f64::INFINITY,
        ];
        for x in far {
            for y in far {
                for stroke in [Stroke::AMBER, Stroke::STEEL, Stroke::PALE] {
                    canvas.line(&view, [0.0, 0.0], [x, y], &stroke);
                    canvas.arrow(&view, [x, y], [y, x], &stroke);
                    canvas.circle(&view, [x, y], x, &stroke);
                    canvas.cross(&view, [x, y], 5.0, &stroke);
                }
            }
        }
        let drawn = |columns: std::ops::Range<usize>, rows: std::ops::Range<usize>| {
            rows.flat_map(|row| columns.clone().map(move |column| (column, row)))
                .filter(|(column, row)| canvas.pixel(*column, *row) != Some(BLACK))
                .count()
        };
        assert!(drawn(20..40, 15..35) > 0);
        assert_eq!(drawn(0..60, 0..50), drawn(20..40, 15..35));
    }

    #[test]
    fn a_line_across_a_white_field_has_a_dark_rim() {
        let mut canvas = Canvas::new(30, 30, Rgb([255; 3])).unwrap();
        let view = Viewport::whole(&canvas);
        canvas.line(
            &view,
            [-5.0, 15.0],
            [40.0, 15.0],
            &Stroke::AMBER.with_width_px(3.0),
        );
        assert_eq!(canvas.pixel(12, 15), Some(AMBER));
        assert!(canvas.pixel(12, 17).unwrap().0[0] < 130);
        assert_eq!(canvas.pixel(12, 22), Some(Rgb([255; 3])));
    }
}
