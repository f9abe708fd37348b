//! Samples of a picture file → the grey or the green plane. Pictures start at the top, so the rows are turned over here.

use crate::flag::{Flag, Flags};
use ndarray::{Array2, Axis};

/// Index of green in red, green, blue.
const GREEN: usize = 1;

/// How the samples of a picture lie.
#[derive(Debug, Clone, Copy)]
pub(super) struct Layout {
    /// 1 grey, 2 grey and transparency, 3 red, green, blue, 4 those and transparency.
    pub channels: usize,
    /// Whether the file holds one channel after the other, instead of all channels of a pixel side by side.
    pub apart: bool,
    /// Columns and rows.
    pub size_px: [usize; 2],
}

impl Layout {
    /// The grey or green plane, row 0 at the bottom, and whether there are colours; what is to be known of them is flagged.
    pub fn plane<T: Copy + Into<f64>>(
        &self,
        samples: &[T],
        flags: &mut Flags,
    ) -> (Array2<f64>, bool) {
        if self.channels.is_multiple_of(2) {
            flags.raise(Flag::TransparencyIgnored);
        }
        if self.channels < 3 {
            return (self.upright(samples, 0), false);
        }
        let [width_px, height_px] = self.size_px;
        let grey = (0..width_px * height_px).all(|at| {
            let of = |channel| samples[self.index(at, channel)].into();
            same(of(0), of(GREEN)) && same(of(GREEN), of(2))
        });
        flags.raise(if grey {
            Flag::GreySavedAsColour
        } else {
            Flag::InterpolatedColour
        });
        (self.upright(samples, GREEN), !grey)
    }

    /// One channel with the last row of the picture first.
    fn upright<T: Copy + Into<f64>>(&self, samples: &[T], channel: usize) -> Array2<f64> {
        let [width_px, height_px] = self.size_px;
        let mut values = Array2::from_shape_fn((height_px, width_px), |(row, column)| {
            samples[self.index(row * width_px + column, channel)].into()
        });
        values.invert_axis(Axis(0));
        values.as_standard_layout().into_owned()
    }

    fn index(&self, pixel: usize, channel: usize) -> usize {
        if self.apart {
            channel * self.size_px[0] * self.size_px[1] + pixel
        } else {
            pixel * self.channels + channel
        }
    }
}

/// Whether two samples are the same; no number is the same as no number.
fn same(a: f64, b: f64) -> bool {
    a == b || (a.is_nan() && b.is_nan())
}
