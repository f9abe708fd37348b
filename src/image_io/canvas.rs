//! A colour picture to draw on: gray images magnified, and over them lines, circles, arrows and words.
//!
//! Places are given in pixels of a frame, pixel (0, 0) with its centre at (0, 0), y up; a [`Viewport`] maps them to the canvas, whose
//! own pixels count the same way from its bottom left corner. Widths, dashes and letter sizes are in canvas pixels, so that
//! they look alike at every magnification. Drawing never leaves the view's panel and never fails: what lies outside is cut off,
//! and what is not a finite number is not drawn.
//!
//! The palette is made for a dark garden and for eyes that tell colours apart poorly: warm amber, cyan and a pale gray on black
//! differ in brightness too, and each comes with a dash of its own (see [`Stroke`]).

pub use super::stroke::{Dash, Stroke};
pub use super::text::{Anchor, TextStyle, shorten, text_width_px};
use super::{MAX_CANVAS_PX, PictureError};
use ndarray::Array2;

/// A colour: red, green, blue, 0 to 255.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rgb(pub [u8; 3]);

/// Background.
pub const BLACK: Rgb = Rgb([0, 0, 0]);
/// First line colour, drawn solid: what was measured, or what matters most.
pub const AMBER: Rgb = Rgb([255, 170, 51]);
/// Second line colour, drawn dashed: what it is compared with. Its red is strong enough to show by a red torch or on a red screen.
pub const STEEL: Rgb = Rgb([165, 175, 205]);
/// Third line colour, drawn dotted: axes and helping lines.
pub const PALE: Rgb = Rgb([214, 205, 190]);
/// Captions of lesser weight.
pub const DIM: Rgb = Rgb([150, 142, 130]);

/// Edges of panels.
pub const EDGE: Rgb = Rgb([58, 54, 48]);

/// A picture of 8-bit colours.
#[derive(Debug, Clone, PartialEq)]
pub struct Canvas {
    width_px: usize,
    height_px: usize,
    /// Row after row, the bottom row first.
    pixels: Vec<Rgb>,
}

impl Canvas {
    /// A canvas filled with `colour`.
    ///
    /// # Errors
    /// [`PictureError::Size`] for a side of 0 or too long for a picture file, [`PictureError::TooLarge`] for more than
    /// [`MAX_CANVAS_PX`] pixels.
    pub fn new(width_px: usize, height_px: usize, colour: Rgb) -> Result<Canvas, PictureError> {
        super::picture_sides(height_px, width_px)?;
        if width_px * height_px > MAX_CANVAS_PX {
            return Err(PictureError::TooLarge {
                width_px,
                height_px,
            });
        }
        Ok(Canvas {
            width_px,
            height_px,
            pixels: vec![colour; width_px * height_px],
        })
    }

    /// Columns.
    pub fn width_px(&self) -> usize {
        self.width_px
    }

    /// Rows.
    pub fn height_px(&self) -> usize {
        self.height_px
    }

    /// Colour of one pixel, row 0 at the bottom; `None` outside the canvas.
    pub fn pixel(&self, column: usize, row: usize) -> Option<Rgb> {
        let inside = column < self.width_px && row < self.height_px;
        inside.then(|| self.pixels[row * self.width_px + column])
    }

    /// Fills a rectangle, given by its bottom left pixel and its size in canvas pixels.
    pub fn fill_rect(&mut self, corner_px: [usize; 2], size_px: [usize; 2], colour: Rgb) {
        let columns = cut(corner_px[0], size_px[0], self.width_px);
        for row in cut(corner_px[1], size_px[1], self.height_px) {
            self.row_mut(row)[columns.clone()].fill(colour);
        }
    }

    /// Draws a gray image, row 0 at the bottom, each of its pixels as a square of `magnification` canvas pixels, with its
    /// bottom left corner at canvas pixel `corner_px`. Returns the view for drawing over it. A magnification of 0 counts as 1.
    pub fn gray(
        &mut self,
        image: &Array2<u8>,
        corner_px: [usize; 2],
        magnification: usize,
    ) -> Viewport {
        let magnification = magnification.max(1);
        for ((row, column), gray) in image.indexed_iter() {
            let corner = [
                corner_px[0] + column * magnification,
                corner_px[1] + row * magnification,
            ];
            self.fill_rect(corner, [magnification; 2], Rgb([*gray; 3]));
        }
        Viewport::panel([image.ncols(), image.nrows()], corner_px, magnification)
    }

    /// Draws a thin edge about a panel, just outside it.
    pub fn edge(&mut self, view: &Viewport, colour: Rgb) {
        let first = view.first_px.map(|first| first.saturating_sub(1));
        let size = [0, 1].map(|axis| view.end_px[axis].saturating_sub(first[axis]) + 1);
        self.fill_rect(first, [size[0], 1], colour);
        self.fill_rect(first, [1, size[1]], colour);
        self.fill_rect([first[0], view.end_px[1]], [size[0], 1], colour);
        self.fill_rect([view.end_px[0], first[1]], [1, size[1]], colour);
    }

    /// Rows of pixels from the top one down, as picture files store them.
    pub fn rows_from_top(&self) -> impl Iterator<Item = &[Rgb]> {
        self.pixels.chunks_exact(self.width_px).rev()
    }

    /// Mixes `colour` into one pixel; `opacity` from 0 (nothing happens) to 1. Nothing happens outside the canvas.
    pub(super) fn mix(&mut self, column: usize, row: usize, colour: Rgb, opacity: f64) {
        if column < self.width_px && row < self.height_px {
            let pixel = &mut self.row_mut(row)[column];
            for (old, new) in pixel.0.iter_mut().zip(colour.0) {
                *old =
                    (f64::from(*old) + (f64::from(new) - f64::from(*old)) * opacity).round() as u8;
            }
        }
    }

    fn row_mut(&mut self, row: usize) -> &mut [Rgb] {
        &mut self.pixels[row * self.width_px..(row + 1) * self.width_px]
    }
}

/// Where a frame lies on a canvas: maps frame pixels to canvas pixels, and keeps drawing inside its panel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Viewport {
    /// Canvas place of the centre of frame pixel (0, 0).
    pub origin_px: [f64; 2],
    /// Canvas pixels in one frame pixel.
    pub scale: f64,
    /// First canvas pixel of the panel, columns and rows.
    pub first_px: [usize; 2],
    /// One past the last canvas pixel of the panel, columns and rows.
    pub end_px: [usize; 2],
}

impl Viewport {
    /// The view of a frame of `size_px` columns and rows, magnified, with its bottom left corner at canvas pixel `corner_px`.
    pub fn panel(size_px: [usize; 2], corner_px: [usize; 2], magnification: usize) -> Viewport {
        let scale = magnification.max(1);
        let centre = 0.5 * (scale as f64 - 1.0);
        Viewport {
            origin_px: corner_px.map(|corner| corner as f64 + centre),
            scale: scale as f64,
            first_px: corner_px,
            end_px: [
                corner_px[0] + size_px[0] * scale,
                corner_px[1] + size_px[1] * scale,
            ],
        }
    }

    /// Columns and rows of the frame.
    pub fn frame_px(&self) -> [f64; 2] {
        [0, 1].map(|axis| (self.end_px[axis] - self.first_px[axis]) as f64 / self.scale)
    }

    /// The view of the whole canvas in its own pixels, for captions beside the panels.
    pub fn whole(canvas: &Canvas) -> Viewport {
        Viewport {
            origin_px: [0.0; 2],
            scale: 1.0,
            first_px: [0; 2],
            end_px: [canvas.width_px, canvas.height_px],
        }
    }

    /// Canvas place of a frame place.
    ///
    /// ```
    /// use skewstar::image_io::canvas::Viewport;
    /// // Magnified four times, frame pixel (0, 0) covers canvas pixels 0 to 3: its centre lies between 1 and 2.
    /// assert_eq!(Viewport::panel([8, 8], [0, 0], 4).to_canvas([0.0, 0.0]), [1.5, 1.5]);
    /// ```
    pub fn to_canvas(&self, frame_px: [f64; 2]) -> [f64; 2] {
        [
            self.origin_px[0] + self.scale * frame_px[0],
            self.origin_px[1] + self.scale * frame_px[1],
        ]
    }
}

/// The part of `start..start + length` below `limit`.
fn cut(start: usize, length: usize, limit: usize) -> std::ops::Range<usize> {
    let end = start.saturating_add(length).min(limit);
    start.min(end)..end
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::arr2;

    #[test]
    fn a_magnified_image_keeps_its_way_up_and_its_view_points_at_pixel_centres() {
        let mut canvas = Canvas::new(20, 15, BLACK).unwrap();
        let view = canvas.gray(&arr2(&[[10u8, 20], [30, 40], [50, 60]]), [5, 3], 3);
        for (column, row, gray) in [(5, 3, 10), (7, 5, 10), (8, 3, 20), (5, 6, 30), (10, 11, 60)] {
            assert_eq!(
                canvas.pixel(column, row),
                Some(Rgb([gray; 3])),
                "column {column}, row {row}"
            );
        }
        assert_eq!(canvas.pixel(11, 11), Some(BLACK));
        assert_eq!(view.to_canvas([1.0, 2.0]), [9.0, 10.0]);
        assert_eq!((view.first_px, view.end_px), ([5, 3], [11, 12]));
    }

    #[test]
    fn an_edge_runs_just_outside_its_panel() {
        let mut canvas = Canvas::new(12, 11, BLACK).unwrap();
        let view = canvas.gray(&Array2::from_elem((2, 3), 200), [4, 3], 2);
        canvas.edge(&view, EDGE);
        let count = |wanted: Rgb| {
            canvas
                .rows_from_top()
                .flatten()
                .filter(|colour| **colour == wanted)
                .count()
        };
        assert_eq!((count(Rgb([200; 3])), count(EDGE)), (24, 2 * 6 + 2 * 4 + 4));
        assert_eq!(
            (canvas.pixel(3, 2), canvas.pixel(10, 7)),
            (Some(EDGE), Some(EDGE))
        );
    }

    #[test]
    fn drawing_beyond_the_edge_is_cut_off() {
        let mut canvas = Canvas::new(7, 5, BLACK).unwrap();
        canvas.gray(&Array2::from_elem((4, 4), 99), [5, 3], 2);
        canvas.fill_rect([usize::MAX, 0], [9, 9], AMBER);
        canvas.mix(7, 0, AMBER, 1.0);
        let gray = canvas
            .rows_from_top()
            .flatten()
            .filter(|colour| **colour == Rgb([99; 3]))
            .count();
        let black = canvas
            .rows_from_top()
            .flatten()
            .filter(|colour| **colour == BLACK)
            .count();
        assert_eq!((gray, black), (4, 31));
    }

    #[test]
    fn mixing_moves_towards_the_colour_and_no_further() {
        let mut canvas = Canvas::new(3, 1, Rgb([100, 200, 0])).unwrap();
        canvas.mix(0, 0, Rgb([200, 100, 255]), 0.0);
        canvas.mix(1, 0, Rgb([200, 100, 255]), 0.5);
        canvas.mix(2, 0, Rgb([200, 100, 255]), 1.0);
        assert_eq!(
            canvas.pixels,
            [
                Rgb([100, 200, 0]),
                Rgb([150, 150, 128]),
                Rgb([200, 100, 255])
            ]
        );
    }

    #[test]
    fn a_canvas_that_would_not_fit_in_memory_is_refused_with_the_estimate() {
        let error = Canvas::new(60_000, 50_000, BLACK).unwrap_err();
        assert_eq!(
            error.to_string(),
            "a picture of 60000 × 50000 pixels would need 9000 MB; at most 120 million pixels are drawn"
        );
        assert!(matches!(
            Canvas::new(0, 5, BLACK),
            Err(PictureError::Size { .. })
        ));
        assert!(matches!(
            Canvas::new(70_000, 5, BLACK),
            Err(PictureError::Size { .. })
        ));
    }

    #[test]
    fn the_line_colours_differ_in_brightness_and_stand_out_from_black() {
        // Relative luminance and contrast as in the Web Content Accessibility Guidelines 2.1; 4.5 is their level AA for text.
        let channel = |value: u8| {
            let share = f64::from(value) / 255.0;
            if share <= 0.03928 {
                share / 12.92
            } else {
                ((share + 0.055) / 1.055).powf(2.4)
            }
        };
        let luminance =
            |Rgb([r, g, b]): Rgb| 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
        for colour in [AMBER, STEEL, PALE, DIM] {
            let contrast = (luminance(colour) + 0.05) / 0.05;
            assert!(
                contrast > 4.5,
                "{colour:?} has a contrast of {contrast:.1} against black"
            );
        }
        assert!(
            luminance(PALE) > 1.1 * luminance(AMBER) && luminance(AMBER) > 1.1 * luminance(STEEL)
        );
    }
}
