//! What no file says and no picture shows: what the owner is asked.

use super::FirstFrame;
use crate::instrument::{AssemblyKind, ClockwiseTurn};
use crate::scenario::TemplateKind;
use crate::units::{DEG, MM, UM};

/// What the owner says. What is left out is taken from the file, or is a guess that the scenario calls one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answers {
    /// What kind of telescope it is; left out: a fast unit at the prime focus.
    pub kind: Option<TemplateKind>,
    /// The clear opening.
    pub aperture_m: Option<f64>,
    /// The focal length; goes before what the file says.
    pub focal_length_m: Option<f64>,
    /// The pixel pitch; goes before what the file says.
    pub pixel_m: Option<f64>,
    /// How the unit is held.
    pub cell: Option<AssemblyKind>,
    /// Names and azimuths of the screws.
    pub screws: Vec<(String, f64)>,
    /// From the middle to a screw.
    pub circle_m: Option<f64>,
    /// Lift of one turn.
    pub pitch_m: Option<f64>,
    /// What clockwise does.
    pub clockwise: Option<ClockwiseTurn>,
    /// Azimuth of the widest shadow, as the screws' azimuths are given.
    pub shadow_rad: Option<f64>,
}

/// Something that must be said before there is an instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lacking {
    /// The aperture.
    Aperture,
    /// The focal length: the file does not say it.
    FocalLength,
    /// The pixel pitch: the file does not say it.
    Pixel,
    /// How a shadow stands to the screws.
    ShadowAt,
}

impl Lacking {
    /// The option that says it.
    pub fn option(self) -> &'static str {
        match self {
            Lacking::Aperture => "--aperture",
            Lacking::FocalLength => "--focal-length",
            Lacking::Pixel => "--pixel",
            Lacking::ShadowAt => "--shadow-at",
        }
    }

    /// What is asked.
    pub fn question(self) -> &'static str {
        match self {
            Lacking::Aperture => "Aperture, mm: the clear opening, measured",
            Lacking::FocalLength => {
                "Focal length, mm: the file does not say it; a plate solution of one of your frames does"
            }
            Lacking::Pixel => {
                "Pixel pitch, um: the file does not say it; the camera's data sheet does (times the binning)"
            }
            Lacking::ShadowAt => {
                "The frame shows the shadow of a vane or cable. Where does the widest one stand, looking from the sensor towards the optics? Degrees counter-clockwise from the right as for the screws, or a screw's letter, or such as B+30"
            }
        }
    }

    /// Least and most of its value, in the unit of the question.
    pub fn range(self) -> [f64; 2] {
        match self {
            Lacking::Aperture => [10.0, 10_000.0],
            Lacking::FocalLength => [20.0, 200_000.0],
            Lacking::Pixel => [0.1, 100.0],
            Lacking::ShadowAt => [-360.0, 360.0],
        }
    }
}

impl Answers {
    /// What must still be said for this frame, in the order in which it is asked.
    pub fn lacking(&self, frame: &FirstFrame) -> Vec<Lacking> {
        let has = [
            (Lacking::Aperture, self.aperture_m.is_some()),
            (Lacking::FocalLength, self.focal_length_in(frame).is_some()),
            (Lacking::Pixel, self.pixel_in(frame).is_some()),
            (
                Lacking::ShadowAt,
                self.shadow_rad.is_some() || frame.shadows.is_empty(),
            ),
        ];
        has.into_iter()
            .filter(|(_, has)| !has)
            .map(|(what, _)| what)
            .collect()
    }

    /// Takes the answer to a question, in its unit.
    pub fn take(&mut self, what: Lacking, value: f64) {
        match what {
            Lacking::Aperture => self.aperture_m = Some(value * MM),
            Lacking::FocalLength => self.focal_length_m = Some(value * MM),
            Lacking::Pixel => self.pixel_m = Some(value * UM),
            Lacking::ShadowAt => self.shadow_rad = Some(value * DEG),
        }
    }

    /// The focal length as it was said, or as the file has it.
    pub fn focal_length_in(&self, frame: &FirstFrame) -> Option<f64> {
        self.focal_length_m.or(frame.reading.focal_length_m)
    }

    /// The pixel pitch as it was said, or as the file has it.
    pub fn pixel_in(&self, frame: &FirstFrame) -> Option<f64> {
        self.pixel_m.or(frame.reading.pixel_m)
    }

    /// The screws as they were said, or three, evenly round.
    pub fn screws(&self) -> Vec<(String, f64)> {
        match self.screws.is_empty() {
            false => self.screws.clone(),
            true => [("A", 90.0), ("B", 210.0), ("C", 330.0)]
                .map(|(name, azimuth_deg)| (name.to_owned(), azimuth_deg * DEG))
                .to_vec(),
        }
    }

    /// Degrees, or a screw's name with or without degrees behind it: `210`, `B`, `B+30`, `B-15`. `None` where it is neither.
    pub fn azimuth_deg(&self, text: &str) -> Option<f64> {
        let text = text.trim();
        if let Ok(degrees) = text.parse::<f64>() {
            return degrees.is_finite().then_some(degrees);
        }
        let (name, azimuth_rad) = self
            .screws()
            .into_iter()
            .filter(|(name, _)| text.starts_with(name.as_str()))
            .max_by_key(|(name, _)| name.len())?;
        let behind = text[name.len()..].trim();
        let by: f64 = match behind {
            "" => 0.0,
            _ => behind.parse().ok().filter(|by: &f64| by.is_finite())?,
        };
        Some(azimuth_rad / DEG + by)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_degrees_or_a_screw_and_degrees() {
        let answers = Answers::default();
        for (text, degrees) in [
            ("208", 208.0),
            (" B ", 210.0),
            ("C-15", 315.0),
            ("A +20", 110.0),
        ] {
            let read = answers.azimuth_deg(text);
            assert!(
                read.is_some_and(|d| (d - degrees).abs() < 1e-9),
                "{text}: {read:?}"
            );
        }
        for text in ["", "D", "B+x", "NaN", "beside"] {
            assert_eq!(answers.azimuth_deg(text), None, "{text}");
        }
    }
}
