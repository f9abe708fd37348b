//! One frame as it was handed in, and the star that is cut out of it.

use super::error::MeasureError;
use super::fit::Recorded;
use super::linear::{DarkPixel, is_linear};
use super::masked::cut;
use super::settings::{CutOutSettings, FindingSettings};
use super::{Search, Source, Stars};
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::frame::Frame;
use crate::instrument::{Camera, Colour, FieldTerms, Instrument, Telescope};
use crate::pupil::field_m;
use crate::sensor::saturation_e;
use crate::state::Modes;
use ndarray::Array2;

/// Pixel values and what is known about them.
#[derive(Debug, Clone)]
pub struct Picture {
    /// Counts as the camera gave them; element `[[row, column]]`, row 0 at the bottom.
    pub values_adu: Array2<f64>,
    /// The value at which a pixel is full, as the file has it.
    pub ceiling_adu: Option<f64>,
    /// Electrons per count, as the file has it.
    pub gain_e_per_adu: Option<f64>,
    /// Exposure, as the file has it.
    pub exposure_s: Option<f64>,
    /// Whether the colours of a filter array are still mixed in the values.
    pub mosaic: bool,
    /// The pattern of the array from row 0 upwards, where file and frame say another one than the camera's.
    pub pattern: Option<[Colour; 4]>,
    /// Whether the sky is mirrored in the values, where the file says how the sky lies in it.
    pub sky_mirrored: Option<bool>,
    /// Whether the colours between the pixels of a filter array were filled in: noise is then no camera's.
    pub filled_in: bool,
    /// Pixels that hold no number in the file, `[column, row]`; their values are made up and are left out.
    pub missing_px: Vec<[usize; 2]>,
}

/// A star cut out of its frame.
pub struct CutStar {
    /// The star.
    pub recorded: Recorded,
    /// The same star in counts above the background, hot and dead pixels replaced by their neighbours' median, for reading edges and for
    /// pictures; element `[[row, column]]`, row 0 at the bottom.
    pub light_adu: Array2<f64>,
    /// Column and row of the cut-out's corner in the frame.
    pub corner_px: [usize; 2],
    /// What was found in the frame.
    pub source: Source,
    /// Electrons per count in use.
    pub gain_e_per_adu: f64,
    /// What the owner should know.
    pub flags: Flags,
}

/// A simulated frame as its file would be read: its counts, and the count of a full pixel.
impl From<&Frame> for Picture {
    fn from(frame: &Frame) -> Self {
        Picture {
            ceiling_adu: Some(f64::from(frame.saturation_adu)),
            ..Picture::new(frame.counts_adu.mapv(f64::from))
        }
    }
}

impl Picture {
    /// Values of which nothing else is known.
    pub fn new(values_adu: Array2<f64>) -> Self {
        Picture {
            values_adu,
            ceiling_adu: None,
            gain_e_per_adu: None,
            exposure_s: None,
            mosaic: false,
            pattern: None,
            sky_mirrored: None,
            filled_in: false,
            missing_px: Vec::new(),
        }
    }

    /// Whether the camera mirrors, where the file says how the sky lies in it: each reflection mirrors the sky once (`conventions`), and
    /// the camera may once more.
    pub fn camera_mirrors(&self, telescope: &Telescope) -> Option<bool> {
        self.sky_mirrored
            .map(|sky| sky == telescope.seen_mirrored())
    }

    /// The middle of the frame, pixels.
    pub fn middle_px(&self) -> [f64; 2] {
        let (height, width) = self.values_adu.dim();
        [width, height].map(|side| 0.5 * (side as f64 - 1.0))
    }

    /// Whether the frame has the size of the camera's.
    pub fn is_whole(&self, camera: &Camera) -> bool {
        self.values_adu.dim() == (camera.height_px, camera.width_px)
    }

    /// Cuts out the brightest star, or the one nearest to a place.
    ///
    /// # Errors
    /// [`MeasureError::Frame`] where there is none; [`MeasureError::Full`] and [`MeasureError::CutByEdge`] where too much of it is
    /// full or cut off to be measured.
    pub fn star(
        &self,
        instrument: &Instrument,
        mask_on: bool,
        at_px: Option<[f64; 2]>,
        settings: &FindingSettings,
    ) -> Result<CutStar, MeasureError> {
        let search = if mask_on {
            Search::masked(instrument, settings)
        } else {
            Search::plain(settings)
        };
        let stars = Stars::find(&self.values_adu, self.full_adu(instrument), &search)?;
        let source = match at_px {
            Some(place) => stars.nearest(place)?,
            None => stars.brightest(),
        }
        .clone();
        let mut flags = Flags::default();
        let (rows, columns) = self.spans(&source, mask_on, &settings.cut_out, &mut flags)?;
        let gain = self.gain(instrument, &mut flags);
        // the level alone is taken off: the fit finds the slope of the sky, because it can tell the sky from the star's wings
        let level = stars.background.at(source.centre_px);
        let light = self.values_adu.mapv(|v| (v - level) * gain);
        let mut usable = Array2::from_elem(light.dim(), true);
        let defects = &stars.background.defects;
        let not_trusted = [&defects.hot_px, &defects.dead_px, &self.missing_px];
        for [column, row] in not_trusted.into_iter().flatten() {
            usable[[*row, *column]] = false;
        }
        if !cut(&usable, rows, columns).iter().all(|good| *good) {
            flags.raise(Flag::PixelsLeftOut);
        }
        for [column, row] in &defects.full_px {
            usable[[*row, *column]] = false;
        }
        for other in stars.all().iter().filter(|s| **s != source) {
            close_box(&mut usable, other, &source);
        }
        flag_source(&source, settings.cut_out.full_share_at_most, &mut flags)?;
        let own = cut(&light, rows, columns);
        let judgeable = !self.mosaic && !self.filled_in && !flags.has(Flag::GainUnknown);
        let electronics = instrument.camera.electronics.as_ref();
        let dark = DarkPixel {
            level_e: level * gain,
            read_e: electronics.map_or(0.0, |e| e.read_noise_e),
        };
        let good = cut(&usable, rows, columns);
        if judgeable && !mask_on && !is_linear(&own, &good, dark, &settings.linearity) {
            flags.raise(Flag::NotLinear);
        }
        let recorded = Recorded {
            image_e: own,
            usable: good,
            floor_e2: (stars.background.sigma * gain).powi(2),
            pattern: instrument
                .camera
                .colour
                .as_ref()
                .filter(|_| self.mosaic)
                .map(|array| self.pattern.unwrap_or(array.pattern)),
            mask_on,
            field_m: self.field_m(instrument, source.centre_px, &mut flags),
            known: Modes::none(),
            through_atmosphere: true,
        };
        Ok(CutStar {
            recorded,
            light_adu: cut(&stars.light, rows, columns),
            corner_px: [columns[0], rows[0]],
            source,
            gain_e_per_adu: gain,
            flags,
        })
    }

    /// Rows and columns of the cut-out. Corners are even, so that a filter pattern stays in step.
    fn spans(
        &self,
        source: &Source,
        mask_on: bool,
        settings: &CutOutSettings,
        flags: &mut Flags,
    ) -> Result<([usize; 2], [usize; 2]), MeasureError> {
        let (height, width) = self.values_adu.dim();
        let [low, high] = source.box_px;
        let size = [0, 1].map(|axis| (high[axis] - low[axis] + 1) as f64);
        let half = if mask_on {
            let [least, most] = settings.masked_half_px;
            (0.5 * size[0].max(size[1]) + settings.masked_margin_px)
                .min(most)
                .max(least)
        } else {
            0.5 * size[0].max(size[1]) * (1.0 + settings.margin_share) + settings.margin_px
        };
        let middle = |axis: usize| {
            if mask_on {
                source.centre_px[axis]
            } else {
                0.5 * (low[axis] + high[axis]) as f64
            }
        };
        let span = |axis: usize, count: usize| {
            let first = (middle(axis) - half).floor().max(0.0) as usize / 2 * 2;
            let last = ((middle(axis) + half).ceil() as usize + 1).min(count);
            [first, last]
        };
        let (columns, rows) = (span(0, width), span(1, height));
        if source.touches_edge && !mask_on {
            let missing = [0, 1].map(|axis| {
                let count = [width, height][axis] as f64;
                let over = (half - middle(axis)).max(middle(axis) + half + 1.0 - count);
                (over / (2.0 * half)).max(0.0)
            });
            if missing[0].max(missing[1]) > settings.cut_share_at_most {
                return Err(MeasureError::CutByEdge {
                    centre_px: source.centre_px,
                });
            }
            flags.raise(Flag::StarCutByEdge);
        }
        Ok((rows, columns))
    }

    /// Electrons per count: the camera's, else the file's, else 1 with a flag.
    pub(super) fn gain(&self, instrument: &Instrument, flags: &mut Flags) -> f64 {
        let typed = instrument
            .camera
            .electronics
            .as_ref()
            .map(|e| e.gain_e_per_adu);
        typed.or(self.gain_e_per_adu).unwrap_or_else(|| {
            flags.raise(Flag::GainUnknown);
            1.0
        })
    }

    /// The value at which a pixel is full: the lowest of what the file and the camera say.
    pub(super) fn full_adu(&self, instrument: &Instrument) -> Option<f64> {
        let of_camera = instrument
            .camera
            .electronics
            .as_ref()
            .map(|e| e.bias_adu + saturation_e(e) / e.gain_e_per_adu);
        let finite = of_camera.filter(|full| full.is_finite());
        match (self.ceiling_adu, finite) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    /// Place in the field. A frame that is not the whole sensor does not say it: the star is then taken to be on
    /// the axis, with a flag where the telescope changes over its field.
    fn field_m(&self, instrument: &Instrument, place_px: [f64; 2], flags: &mut Flags) -> FieldM {
        if !self.is_whole(&instrument.camera) {
            if instrument.telescope.field != FieldTerms::default() {
                flags.raise(Flag::FrameSizeDiffers);
            }
            return FieldM::ZERO;
        }
        field_m(instrument, FramePx::new(place_px))
    }
}

/// Marks the pixels in another star's box as not to be used, but for those in the star's own box; where the other one's centre lies in
/// the star's own box, none are.
fn close_box(usable: &mut Array2<bool>, other: &Source, own: &Source) {
    let [low, high] = other.box_px;
    let within = |place: [f64; 2]| {
        (0..2).all(|axis| {
            place[axis] >= own.box_px[0][axis] as f64 && place[axis] <= own.box_px[1][axis] as f64
        })
    };
    if within(other.centre_px) {
        return;
    }
    for row in low[1]..=high[1] {
        for column in low[0]..=high[0] {
            if !within([column as f64, row as f64]) {
                usable[[row, column]] = false;
            }
        }
    }
}

fn flag_source(
    source: &Source,
    full_share_at_most: f64,
    flags: &mut Flags,
) -> Result<(), MeasureError> {
    if source.overlaps {
        flags.raise(Flag::StarsOverlap);
    }
    if source.saturated_px == 0 {
        return Ok(());
    }
    // the circle that holds half of an evenly lit star's light covers half of its area
    let half_lit = (std::f64::consts::PI * source.half_flux_radius_px.powi(2)).max(1.0);
    if source.saturated_px as f64 > full_share_at_most * 2.0 * half_lit {
        return Err(MeasureError::Full {
            saturated_px: source.saturated_px,
        });
    }
    flags.raise(Flag::Saturated);
    Ok(())
}

#[cfg(test)]
mod tests;
