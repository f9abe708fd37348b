//! The truth in plain sentences: what to look for, where, why, and what to turn.
//!
//! Directions are as the picture is displayed (12 o'clock is up); the screws are named as a person sees them who stands in
//! front of the telescope and faces it. Nothing is computed here that the truth does not already hold.

use super::truth::Truth;
use crate::axes::FramePx;
use crate::flag::Flag;
use crate::frame::{clock, hour};
use crate::instrument::{Instrument, end, part_of_a_turn};
use crate::mask::{self, TripletReading};
use crate::predict::{ComaScale, NM_RMS_IN_WORDS, airy_radius_m};
use crate::pupil::frame_direction;
use crate::units::{DEG, NM, UM};

/// A shift of the dark centre, or of a spike, below this many pixels is not spoken of as visible. Common practice, no source.
const VISIBLE_PX: f64 = 0.3;
/// Coma below this, nm RMS, is not said to brighten the thin side: it does not do so visibly. Common practice, no source.
const FAINT_COMA_NM: f64 = 5.0;
/// Aberrations below this, nm RMS, would be told as none.
const TOLD_COMA_NM: f64 = 0.5;

/// A few sentences a newcomer understands, one a line.
pub fn sentences(instrument: &Instrument, seeing_rad: Option<f64>, truth: &Truth) -> String {
    let mut lines = vec![truth.title.clone()];
    lines.push(look_for(instrument, truth));
    lines.extend(why(instrument, truth));
    lines.extend(how_much(instrument, seeing_rad, truth));
    lines.extend(what_to_turn(instrument, truth));
    lines.extend(warnings(truth));
    lines.join("\n")
}

fn look_for(instrument: &Instrument, truth: &Truth) -> String {
    if !truth.spikes.is_empty() {
        return spikes(instrument, truth);
    }
    let Some(ring) = &truth.doughnut else {
        let ratio = instrument.telescope.focal_ratio();
        let spread_px = (truth.sensor_offset_um * UM / ratio / instrument.camera.pixel_m).abs();
        let airy_m = 2.0 * airy_radius_m(truth.reference_wavelength_nm * NM, ratio);
        let airy_px = airy_m / instrument.camera.pixel_m;
        if spread_px > 3.0 * airy_px {
            return "Look for: a ring that is folded over on one side, so far is the telescope out of line. Turn as told below until both edges of the ring are seen.".into();
        }
        return "Look for: a star near focus, too small for a doughnut: coma gives it a tail, astigmatism makes it long, and both are easier to see out of focus.".into();
    };
    let place = match truth.side {
        "inside" => "inside focus (the sensor is too near the optics)",
        "outside" => "outside focus (the sensor is too far out)",
        _ => "spread by its aberrations",
    };
    let size = format!(
        "a doughnut {:.0} px across, {place}",
        2.0 * ring.outer_radius_px
    );
    match ring.dark_shift_px {
        None => {
            format!("Look for: {size}. There is no dark centre: this telescope has no obstruction.")
        }
        Some(shift) if shift.length() < VISIBLE_PX => {
            let moved = shift.length();
            format!(
                "Look for: {size}. Its dark centre is in the middle ({moved:.2} px off, too little to see)."
            )
        }
        Some(shift) => format!(
            "Look for: {size}. Its dark centre is {:.1} px off, towards {}: {}.",
            shift.length(),
            clock(shift),
            if coma_nm(truth) > FAINT_COMA_NM {
                "the ring is thin and bright there, wide and faint opposite"
            } else {
                "the ring is thin there and wide opposite, but as bright; the shadow is off centre, not the optics"
            }
        ),
    }
}

fn spikes(instrument: &Instrument, truth: &Truth) -> String {
    let head = format!(
        "Look for: bright spikes at right angles to the slots of the mask, from {} groups of slots",
        truth.spikes.len()
    );
    let readings: Vec<String> = instrument
        .mask
        .iter()
        .flat_map(|design| {
            mask::triplets(design)
                .into_iter()
                .map(move |triplet| (design, triplet))
        })
        .filter_map(|(design, triplet)| {
            let shift_px = |region| {
                truth
                    .spikes
                    .iter()
                    .find(|s| s.region == region)
                    .map(|s| s.shift_px)
            };
            let reading = triplet.read(shift_px)?;
            let slot_rad = triplet.slot_rad + design.rotation_rad;
            let along = frame_direction(instrument, slot_rad);
            Some(triplet_words(&reading, along))
        })
        .collect();
    if readings.is_empty() {
        let largest = truth
            .spikes
            .iter()
            .map(|s| s.shift_px.abs())
            .fold(0.0, f64::max);
        return format!("{head}; they pass beside the star by up to {largest:.1} px.");
    }
    format!(
        "{head}. Three spikes belong together: see whether the middle one passes through the point where its two slanted partners cross. {}.",
        readings.join(". ")
    )
}

/// What one triplet shows; `along` is the direction of its middle slots in the frame.
fn triplet_words(reading: &TripletReading, along: FramePx) -> String {
    let shift = reading.shift();
    let name = format!("Slots towards {}:", clock(along));
    let split = reading.split[0].abs();
    let seen = if shift.abs() < VISIBLE_PX {
        format!(
            "{name} it does ({:.2} px off, too little to see)",
            shift.abs()
        )
    } else {
        format!(
            "{name} it is {:.1} px off, towards {}",
            shift.abs(),
            clock(along * shift)
        )
    };
    if split < VISIBLE_PX {
        seen
    } else {
        format!("{seen}, and double, {split:.1} px apart: the star is out of focus")
    }
}

/// Size of the coma, nm RMS.
fn coma_nm(truth: &Truth) -> f64 {
    mode_nm(truth, 7).hypot(mode_nm(truth, 8))
}

fn mode_nm(truth: &Truth, noll: u32) -> f64 {
    truth.modes_nm.0.get(&noll).copied().unwrap_or(0.0)
}

fn why(instrument: &Instrument, truth: &Truth) -> Option<String> {
    let coma = coma_nm(truth);
    let astigmatism = mode_nm(truth, 5).hypot(mode_nm(truth, 6));
    let tilt = truth.tilt_arcmin[0].hypot(truth.tilt_arcmin[1]);
    let mut parts = Vec::new();
    if tilt > 0.0 {
        let raised = front_hour(
            instrument,
            libm::atan2(truth.tilt_arcmin[1], truth.tilt_arcmin[0]),
        );
        parts.push(format!(
            "the unit is tipped by {tilt:.1} arcmin (sixtieths of a degree), its edge at {raised} o'clock (seen from the front of the telescope) stands too far out"
        ));
    }
    parts.extend(aside(instrument, truth));
    let mut has = Vec::new();
    if coma > TOLD_COMA_NM {
        has.push(format!("{coma:.0} nm RMS of coma"));
    }
    if astigmatism > TOLD_COMA_NM {
        has.push(format!("{astigmatism:.0} nm RMS of astigmatism"));
    }
    if !has.is_empty() {
        parts.push(format!("the star has {}", has.join(" and ")));
    }
    (!parts.is_empty()).then(|| format!("Why: {}.", parts.join("; ")))
}

/// How much the coma is, on the scale that all verbs speak in.
fn how_much(instrument: &Instrument, seeing_rad: Option<f64>, truth: &Truth) -> Option<String> {
    let coma = coma_nm(truth);
    let scale = ComaScale::of(instrument, seeing_rad);
    (coma > TOLD_COMA_NM).then(|| {
        format!(
            "How much: {coma:.0} nm RMS of coma, and {}. Here {}; {NM_RMS_IN_WORDS}.",
            scale.look(coma).words(),
            scale.words()
        )
    })
}

/// What of the unit no screw moves: how far it sits aside, how its sensor leans and how far from the corrector it stands.
fn aside(instrument: &Instrument, truth: &Truth) -> Vec<String> {
    let mut parts = Vec::new();
    let hour_of = |[x, y]: [f64; 2]| front_hour(instrument, libm::atan2(y, x));
    let length = |[x, y]: [f64; 2]| x.hypot(y);
    if length(truth.decentre_mm) > 0.0 {
        parts.push(format!(
            "the unit sits {:.2} mm aside, towards {} o'clock (seen from the front of the telescope)",
            length(truth.decentre_mm),
            hour_of(truth.decentre_mm)
        ));
    }
    if length(truth.sensor_tilt_arcmin) > 0.0 {
        parts.push(format!(
            "the sensor leans against the unit by {:.2} arcmin, its edge at {} o'clock (seen from the front) lies farther beyond focus",
            length(truth.sensor_tilt_arcmin),
            hour_of(truth.sensor_tilt_arcmin)
        ));
    }
    if truth.spacing_mm != 0.0 {
        let way = if truth.spacing_mm > 0.0 {
            "far from"
        } else {
            "near"
        };
        parts.push(format!(
            "the sensor stands {:.2} mm too {way} the corrector",
            truth.spacing_mm.abs()
        ));
    }
    parts
}

fn what_to_turn(instrument: &Instrument, truth: &Truth) -> Option<String> {
    let assembly = instrument.assembly.as_ref()?;
    let steps: Vec<String> = assembly
        .screws
        .iter()
        .filter_map(|screw| {
            let turns = *truth.undo_turns.get(&screw.name)?;
            (turns != 0.0).then(|| {
                let (way, end) = (assembly.clockwise.way(turns), end(turns));
                let place = front_hour(instrument, screw.azimuth_rad);
                format!(
                    "screw {} (at {place} o'clock) {} degrees ({}) {way}, which {end} it",
                    screw.name,
                    // the truth is exact: tenths of a degree where there are any
                    (turns.abs() * 3600.0).round() / 10.0,
                    part_of_a_turn((turns * 360.0).round() as i32)
                )
            })
        })
        .collect();
    let out_of_reach = !aside(instrument, truth).is_empty();
    Some(if steps.is_empty() && out_of_reach {
        "What to turn: nothing. No screw is out of place, and what is wrong is mended at the unit's seat or by shims under the sensor, not by its screws.".into()
    } else if steps.is_empty() {
        "What to turn: nothing, no screw is out of place.".into()
    } else {
        let facing =
            "seen from the front of the telescope, and facing each screw's head for the turn";
        format!(
            "What to turn ({facing}): {}. Then bring the star back to the middle and refocus.",
            steps.join("; ")
        )
    })
}

/// Hour at which a person in front of the telescope sees a pupil azimuth.
fn front_hour(instrument: &Instrument, azimuth_rad: f64) -> u32 {
    hour(instrument.telescope.front_rad(azimuth_rad) / DEG)
}

fn warnings(truth: &Truth) -> Vec<String> {
    let mut lines = Vec::new();
    if truth.flags.has(Flag::StarOutsideFrame) {
        lines.push("Mind: the star has left the frame; recentre it (state.recentred = true) to see it whole.".into());
    } else if truth.flags.has(Flag::LightCutByFrame) {
        let share = 100.0 * truth.light_in_frame;
        lines.push(format!(
            "Mind: only {share:.0} % of the star's light falls inside this frame."
        ));
    }
    if let Some(count) = truth.saturated_px.filter(|count| *count > 0) {
        lines.push(format!(
            "Mind: {count} pixels are saturated; a shorter exposure would show more."
        ));
    }
    lines
}
