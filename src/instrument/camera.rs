//! The camera: pixels, colours, and what turns light into counts.

use crate::axes::FramePx;
use std::f64::consts::TAU;

/// The camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Pixel pitch, square pixels.
    pub pixel_m: f64,
    /// Columns.
    pub width_px: usize,
    /// Rows.
    pub height_px: usize,
    /// Azimuth of the sensor's +x (columns) in pupil axes.
    pub rotation_rad: f64,
    /// Whether the columns are flipped, after the rotation.
    pub mirrored: bool,
    /// Whether rotation and mirroring were checked.
    pub orientation: Orientation,
    /// What light it takes.
    pub passband: Passband,
    /// Number of wavelengths; `None` lets the plan choose.
    pub wavelengths: Option<usize>,
    /// Transmission of optics and filter; applies to star and sky.
    pub throughput: f64,
    /// What turns light into counts; `None` when only relative images are wanted.
    pub electronics: Option<Electronics>,
    /// Colour filter array.
    pub colour: Option<ColourArray>,
}

impl Camera {
    /// A sensor of (columns, rows), upright in pupil axes, that loses no light; it gives relative images until `electronics` are set.
    pub fn new(pixel_m: f64, [width_px, height_px]: [usize; 2], passband: Passband) -> Self {
        Camera {
            pixel_m,
            width_px,
            height_px,
            rotation_rad: 0.0,
            mirrored: false,
            orientation: Orientation::Assumed,
            passband,
            wavelengths: None,
            throughput: 1.0,
            electronics: None,
            colour: None,
        }
    }

    /// How it is held.
    pub fn hold(&self) -> Hold {
        Hold {
            rotation_rad: self.rotation_rad,
            mirrored: self.mirrored,
        }
    }

    /// The middle of the frame, in pixels: the first one's centre is 0.
    pub fn middle_px(&self) -> FramePx {
        FramePx::new([self.width_px, self.height_px].map(|side| 0.5 * (side as f64 - 1.0)))
    }
}

/// Where rotation and mirroring of a camera are known from.
///
/// A picture does not say by itself how the camera is held, and an owner often does not know it: what was only typed is a prior,
/// not a fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Orientation {
    /// They were typed, and not checked.
    #[default]
    Assumed,
    /// They were checked, or learned from trial turns.
    Known,
}

/// How a camera is held: which way its columns run in the pupil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    /// Azimuth of the sensor's +x (columns) in pupil axes.
    pub rotation_rad: f64,
    /// Whether the columns are flipped, after the rotation.
    pub mirrored: bool,
}

impl Hold {
    /// The same hold, turned further (counter-clockwise in pupil axes).
    pub fn turned(self, by_rad: f64) -> Hold {
        Hold {
            rotation_rad: wrapped(self.rotation_rad + by_rad),
            ..self
        }
    }

    /// The hold in which the frame shows everything turned further (counter-clockwise in frame axes): a camera turns against what it
    /// shows, and with it where it mirrors.
    pub fn showing_turned(self, by_rad: f64) -> Hold {
        self.turned(if self.mirrored { by_rad } else { -by_rad })
    }

    /// The same rotation, mirrored the other way.
    pub fn flipped(self) -> Hold {
        Hold {
            mirrored: !self.mirrored,
            ..self
        }
    }

    /// Whether another hold mirrors alike and is turned otherwise by less than this.
    pub fn is_near(self, other: Hold, within_rad: f64) -> bool {
        let off = wrapped(self.rotation_rad - other.rotation_rad).abs();
        self.mirrored == other.mirrored && off < within_rad
    }
}

/// An angle between −π and π.
pub fn wrapped(angle_rad: f64) -> f64 {
    angle_rad - TAU * (angle_rad / TAU).round()
}

/// Transmission against wavelength.
#[derive(Debug, Clone, PartialEq)]
pub enum Passband {
    /// Full transmission between two wavelengths.
    Band([f64; 2]),
    /// (wavelength in metres, transmission), ascending; linear in between, zero outside.
    Table(Vec<(f64, f64)>),
}

/// Photons to counts.
#[derive(Debug, Clone, PartialEq)]
pub struct Electronics {
    /// Electrons per photon.
    pub quantum_efficiency: f64,
    /// Electrons per count.
    pub gain_e_per_adu: f64,
    /// Counts added to every pixel.
    pub bias_adu: f64,
    /// Read noise, electrons RMS.
    pub read_noise_e: f64,
    /// Dark current, electrons per second and pixel.
    pub dark_e_per_s: f64,
    /// Electrons a pixel holds; infinite when not stated.
    pub full_well_e: f64,
    /// Bits of the converter, 1 to 16.
    pub bits: u32,
    /// Spread of the pixels' sensitivity, RMS fraction.
    pub pixel_response_rms: f64,
}

/// A colour filter array of 2 × 2 cells.
#[derive(Debug, Clone, PartialEq)]
pub struct ColourArray {
    /// Colours of (row 0, column 0), (0, 1), (1, 0), (1, 1); row 0 is the bottom row.
    pub pattern: [Colour; 4],
    /// Passband of red, green and blue.
    pub passbands: [Passband; 3],
}

/// One colour of a filter array.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colour {
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
}

impl Colour {
    /// All three, in the order of [`ColourArray::passbands`].
    pub const ALL: [Colour; 3] = [Colour::Red, Colour::Green, Colour::Blue];

    /// The colours of a pattern, as files name it; `None` unless it has one R, two G and one B.
    pub fn pattern(letters: &str) -> Option<[Colour; 4]> {
        let named = |letter| Colour::ALL.into_iter().find(|c| c.letter() == letter);
        let colours = letters.chars().map(named).collect::<Option<Vec<_>>>()?;
        let colours: [Colour; 4] = colours.try_into().ok()?;
        let count = |colour| colours.iter().filter(|other| **other == colour).count();
        (Colour::ALL.map(count) == [1, 2, 1]).then_some(colours)
    }

    /// The letters of a pattern, as files name it.
    pub fn letters(pattern: &[Colour; 4]) -> String {
        pattern.iter().map(|colour| colour.letter()).collect()
    }

    fn letter(self) -> char {
        match self {
            Colour::Red => 'R',
            Colour::Green => 'G',
            Colour::Blue => 'B',
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_has_one_red_two_green_one_blue() {
        use Colour::{Blue, Green, Red};
        assert_eq!(Colour::pattern("RGGB"), Some([Red, Green, Green, Blue]));
        assert_eq!(Colour::pattern("GGBR"), Some([Green, Green, Blue, Red]));
        assert_eq!(Colour::letters(&[Green, Green, Blue, Red]), "GGBR");
        for wrong in ["", "RGB", "RGGG", "RGGBG", "rggb", "RGBB", "XGGB"] {
            assert_eq!(Colour::pattern(wrong), None, "{wrong:?}");
        }
    }
}
