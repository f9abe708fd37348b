//! Frames that are measured: one that somebody drops on the page, and that of a drill for whoever asks "measure it for me".
//!
//! Both are handed to a diagnosis with nothing but the instrument; the name of a file that comes along is used in messages only.

use super::pixels::pack;
use super::reply::Reply;
use super::request::Request;
use super::telescopes::Telescope;
use crate::axes::FramePx;
use crate::diagnosis::{Diagnosis, DiagnosisOptions};
use crate::files;
use crate::instrument::{Instrument, Orientation};
use crate::measure::{
    MeasureOptions, Measurement, Picture, RingDrawing, Side, SpikeDrawing, StarDrawing,
    size_in_words,
};
use crate::practice::MeasureRequest;
use crate::pupil::frame_direction;
use crate::units::{DEG, NM};
use ndarray::{Array2, Axis, Slice};
use serde_json::{Value, json};

/// "Measure it for me": what the frame of a drill says and what to turn, in words.
///
/// # Errors
/// Why it cannot be measured, with a hint behind a semicolon.
pub fn measured(asked: &MeasureRequest<'_>) -> Result<String, String> {
    let side = if asked.inside {
        Side::Inside
    } else {
        Side::Outside
    };
    let options = DiagnosisOptions {
        measure: MeasureOptions {
            mask_on: Some(asked.mask_on),
            side: Some(side),
            camera_unknown: !asked.camera_known,
            ..MeasureOptions::default()
        },
        ..DiagnosisOptions::default()
    };
    let mut owner = asked.owner.clone();
    if asked.camera_known {
        owner.camera.orientation = Orientation::Known;
    }
    let found = Diagnosis::of(&Picture::from(asked.frame), &owner, &options)
        .map_err(|error| format!("{error}; {}", error.hint()))?;
    Ok(found.words().join("\n"))
}

/// Measures the image file in a request's body for a telescope: what was found as JSON, and the star as a picture. The query has `side`
/// (`inside`, `outside`), `mask` (`on`, `off`) and `name`, the file's.
pub fn reply(request: &Request, telescope: &Telescope) -> Reply {
    match Asked::read(request) {
        Ok(asked) => asked
            .answer(&request.body, telescope)
            .unwrap_or_else(|refusal| refusal),
        Err(words) => Reply::error(400, &words, "send what the page sends"),
    }
}

/// What is said beside the file.
struct Asked {
    side: Option<Side>,
    mask_on: Option<bool>,
    name: String,
}

impl Asked {
    fn read(request: &Request) -> Result<Asked, String> {
        let side = match request.asked("side") {
            None => None,
            Some("inside") => Some(Side::Inside),
            Some("outside") => Some(Side::Outside),
            Some(_) => return Err("side is neither inside nor outside".into()),
        };
        let mask_on = match request.asked("mask") {
            None => None,
            Some("on") => Some(true),
            Some("off") => Some(false),
            Some(_) => return Err("mask is neither on nor off".into()),
        };
        let name = request.asked("name").unwrap_or("the frame").to_owned();
        Ok(Asked {
            side,
            mask_on,
            name,
        })
    }

    fn answer(&self, bytes: &[u8], telescope: &Telescope) -> Result<Reply, Reply> {
        let instrument = &telescope.scenario.instrument;
        let read = files::picture_from(bytes, &self.name, instrument)
            .map_err(|error| Reply::error(409, &error.to_string(), error.hint()))?;
        let options = DiagnosisOptions {
            measure: MeasureOptions {
                mask_on: self.mask_on,
                side: self.side,
                ..MeasureOptions::default()
            },
            exposure_s: telescope.scenario.state.exposure.as_ref().map(|e| e.time_s),
            flags: read.flags,
            ..DiagnosisOptions::default()
        };
        let found = Diagnosis::of(&read.picture, instrument, &options)
            .map_err(|error| Reply::error(409, &error.to_string(), error.hint()))?;
        let star = found
            .star()
            .ok_or_else(|| Reply::error(409, "no star was measured", "send a frame of one star"))?;
        let said = said(&found, star, &read.warnings).to_string();
        let picture = pack(&cut(&read.picture.values_adu, star));
        Ok(Reply::parts(&[said.into_bytes(), picture]))
    }
}

fn said(found: &Diagnosis, star: &Measurement, warnings: &[String]) -> Value {
    let report = found.report();
    let flags: Vec<String> = report.flags.iter().map(|flag| flag.warning()).collect();
    let coma = star.coma().map(|coma| {
        let size = coma.size_m();
        json!({
            "value_nm": size.value / NM,
            "sigma_nm": size.sigma.map(|sigma| sigma / NM),
            "words": size_in_words(&coma),
        })
    });
    json!({
        "verdict": report.verdict,
        "next": found.next().lines(),
        "screw": report.next.screw,
        "words": found.words(),
        "coma": coma,
        "stop_nm": found.stop_level().stop_m / NM,
        "warnings": warnings,
        "flags": flags,
        "drawing": drawing(star, &found.as_measured()),
        "report": report,
    })
}

/// The part of the frame that was fitted.
fn cut(values: &Array2<f64>, star: &Measurement) -> Array2<f64> {
    let [corner, size] = star.cut_px;
    let span = |axis: usize| Slice::from(corner[axis]..corner[axis] + size[axis]);
    let rows = values.slice_axis(Axis(0), span(1));
    rows.slice_axis(Axis(1), span(0)).to_owned()
}

fn drawing(star: &Measurement, instrument: &Instrument) -> StarDrawing {
    let [corner, size] = star.cut_px;
    let middle = FramePx::new([0, 1].map(|k| corner[k] as f64 + (size[k] as f64 - 1.0) / 2.0));
    let from_middle = |place: FramePx| (place - middle).xy();
    let ring = star.ring.as_ref().map(|ring| RingDrawing {
        centre_px: from_middle(ring.outer_centre_px),
        outer_px: ring.outer_radius_px,
        dark_px: ring.dark_centre_px.map(from_middle),
        inner_px: ring.inner_radius_px,
        thin_deg: ring.thin_side_rad() / DEG,
    });
    let spikes = star.spikes.iter().map(|spike| {
        // light leaves slots across them, and errors move it along them
        let [x, y] = frame_direction(instrument, spike.slot_rad).xy();
        SpikeDrawing {
            along: [-y, x],
            aside_px: spike.shift_px.map(|shift| [shift * x, shift * y]),
        }
    });
    StarDrawing {
        star_px: from_middle(star.star_px),
        ring,
        spikes: spikes.collect(),
    }
}
