//! What was measured and what to turn, in sentences for a tired person in the dark.

use super::advice::{Advice, Verdict};
use super::doughnut::{Side, SideFrom};
use super::good_enough::{GoodEnough, StopBy};
use super::measurement::{Measurement, aligned_modes};
use super::next::{self, Deed, NextStep, step_words};
use super::orientation::OrientationAnswer;
use super::report::Findings;
use super::step::Step;
use crate::frame::clock;
use crate::instrument::{Assembly, AssemblyKind, Instrument, Orientation, way};
use crate::math::Uncertain;
use crate::pupil::frame_direction;
use crate::state::{Coma, ScrewTurns};
use crate::units::{DEG, NM, UM};

/// A dark centre that is pushed aside by less than this is said to sit in the middle: edges are read to 0.2 px
/// (`tests/measuring/rings.rs`). Only words depend on it.
const PUSHED_PX: f64 = 0.3;
/// Coma of the aligned telescope below this is not spoken of: it would be printed as 0.0 nm.
const SPOKEN_OF_NM: f64 = 0.05;
/// A masked star is said to be in focus within two standard deviations of its sensor offset, but no closer than this.
const IN_FOCUS_UM: f64 = 0.5;

/// What the star shows.
pub fn findings(found: &Measurement, instrument: &Instrument, stop: &GoodEnough) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(ring) = &found.ring {
        said.push(format!(
            "A doughnut {:.1} px across around ({:.1}, {:.1}) px.",
            2.0 * ring.outer_radius_px,
            ring.outer_centre_px[0],
            ring.outer_centre_px[1]
        ));
        if let Some(shift) = ring.dark_shift_px() {
            let size = shift.length();
            said.push(if size < PUSHED_PX {
                "Its dark centre sits in the middle.".into()
            } else {
                format!(
                    "Its dark centre is pushed {size:.2} px towards {}, {:.0} % of the radius; the ring is thin there.",
                    clock(shift),
                    100.0 * size / ring.outer_radius_px
                )
            });
        }
    }
    for triplet in &found.triplets {
        said.push(format!(
            "Middle spike of the triplet towards {}: off its partners' crossing by {:+.2} ± {:.2} px.",
            clock(frame_direction(instrument, triplet.slot_rad)),
            triplet.shift_px,
            triplet.sigma_px
        ));
    }
    said.extend(coma(found, instrument));
    said.extend(focus(found, instrument));
    said.extend(found.differs.iter().map(|differs| differs.words.clone()));
    said.extend(limits(stop));
    said
}

fn coma(found: &Measurement, instrument: &Instrument) -> Option<String> {
    let coma = found.coma()?;
    let towards = |coma: &Coma| clock(frame_direction(instrument, coma.azimuth_rad()));
    let own = Coma::of(&aligned_modes(instrument, found.field_m));
    let own_nm = own.size_nm().value;
    let own = if own_nm < SPOKEN_OF_NM {
        String::new()
    } else {
        format!(
            "; {own_nm:.1} nm towards {} would be there with all screws right, by design and the star's place in the field",
            towards(&own)
        )
    };
    Some(format!(
        "Coma: {} nm RMS, towards {} in the picture{own}.",
        size_in_words(&coma),
        towards(&coma)
    ))
}

/// Size of coma with its uncertainty as words and pictures have it, nm RMS.
pub fn size_in_words(coma: &Coma) -> String {
    let Uncertain { value, sigma } = coma.size_nm();
    let sigma = sigma.map_or("?".into(), |s| format!("{s:.1}"));
    format!("{value:.1} ± {sigma}")
}

/// "The camera is turned by 131 degrees and mirrored (90 %), or …", for a frame that shows a card.
pub fn holds_in_words(answers: &[OrientationAnswer]) -> Option<String> {
    let told: Vec<String> = answers
        .iter()
        .take(HOLDS_SAID)
        .map(|answer| {
            let mirroring = if answer.hold.mirrored { "" } else { "not " };
            let side = answer
                .side
                .map_or(String::new(), |side| format!(", {} focus", side.name()));
            format!(
                "turned by {:.0} degrees and {mirroring}mirrored{side} ({:.0} %)",
                answer.hold.rotation_rad / DEG,
                100.0 * answer.weight
            )
        })
        .collect();
    (!told.is_empty()).then(|| format!("The camera is {}.", told.join(", or ")))
}

/// So many ways of holding the camera are said; the report has them all.
const HOLDS_SAID: usize = 2;

fn focus(found: &Measurement, instrument: &Instrument) -> Option<String> {
    let offset = found.sensor_offset_m()?;
    let offset_um = offset.value / UM;
    let room_um = (2.0 * offset.sigma.unwrap_or(0.0) / UM).max(IN_FOCUS_UM);
    if found.side.is_none() && offset_um.abs() < room_um {
        return Some(format!("The sensor is in focus, within {room_um:.1} um."));
    }
    let (word, why) = match found.side {
        None => (
            if offset_um < 0.0 { "inside" } else { "outside" },
            match instrument.camera.orientation {
                Orientation::Known => "",
                // half a turn of the camera with all of W negated is the same picture
                Orientation::Assumed => {
                    ", if the camera is held as told; half a turn further it is the other side"
                }
            },
        ),
        Some((side, from)) => (
            if side == Side::Inside {
                "inside"
            } else {
                "outside"
            },
            match from {
                SideFrom::Told => ", as told",
                SideFrom::Vanes => ": the shadows of the vanes say so",
                SideFrom::Assumed => {
                    ", which is a guess: one frame does not say it (add --side); coma does not depend on it"
                }
            },
        ),
    };
    Some(format!(
        "The sensor sits {:.0} um {word} focus{why}.",
        offset_um.abs()
    ))
}

fn limits(stop: &GoodEnough) -> Vec<String> {
    let mut parts = vec![(
        StopBy::NotSeen,
        format!(
            "below {:.0} nm nothing changes in your pictures",
            stop.not_seen_m / NM
        ),
    )];
    if let Some(atmosphere) = stop.atmosphere_m {
        parts.push((
            StopBy::Atmosphere,
            format!(
                "the atmosphere alone makes {:.0} nm in this exposure",
                atmosphere / NM
            ),
        ));
    }
    if let Some(hand) = stop.hand_m {
        parts.push((
            StopBy::Hand,
            format!(
                "below {:.0} nm a hand, and the shift of tightening, undo what a turn gains",
                hand / NM
            ),
        ));
    }
    let by = stop.decided_by();
    // the one that decides comes first
    parts.sort_by_key(|(part, _)| *part != by);
    let words: Vec<String> = parts.into_iter().map(|(_, words)| words).collect();
    vec![format!(
        "Good enough is {:.0} nm: {}.",
        stop.stop_m / NM,
        words.join("; ")
    )]
}

/// What the turns would be, one plan first and the other in a line of its own; or why nothing is turned.
pub fn advised(found: &Findings, advice: &Advice, instrument: &Instrument) -> Vec<String> {
    let stop_m = found.stop.map_or(0.0, |stop| stop.stop_m);
    let next = match advice.verdict(stop_m) {
        Verdict::Stop => next::stop(found, Some(advice)),
        Verdict::LookAgain => next::expose(found, advice),
        Verdict::Turn | Verdict::Trial => next::turn(found, advice, instrument),
    };
    step_and_rest(&next, advice, instrument, true)
}

/// A step in sentences: what, why, and with a turn what belongs to it; `all_help` where a little at each screw takes coma away however
/// the camera may be held, too.
pub fn step_and_rest(
    next: &NextStep,
    advice: &Advice,
    instrument: &Instrument,
    all_help: bool,
) -> Vec<String> {
    let mut said = next.lines();
    if next.deed == Deed::Turn {
        said.extend(or_all(advice, instrument).filter(|_| all_help));
        said.extend(reach(advice));
    }
    if matches!(next.deed, Deed::Turn | Deed::Trial) {
        said.push(
            "One screw at a time; never force it. The maker's instructions come first.".into(),
        );
    }
    said
}

/// "Or a little at each: A 15 degrees anticlockwise, B 30 degrees clockwise."; `None` where there is nothing to choose: a single
/// screw, or a pivot, where all of them belong to one step.
fn or_all(advice: &Advice, instrument: &Instrument) -> Option<String> {
    let assembly = instrument.assembly.as_ref()?;
    let steps = each_screw(advice, assembly);
    if steps.len() < 2 || assembly.kind == AssemblyKind::Pivot {
        return None;
    }
    let each = steps.iter().map(|step| {
        let name = &assembly.screws[step.screw].name;
        let degrees = step.wanted_deg;
        format!(
            "{name} {} degrees {}",
            degrees.abs(),
            way(f64::from(degrees))
        )
    });
    let how = match steps.iter().any(Step::is_part) {
        true => "Or all of it at once, with the cap on and the tube level, the star later",
        false => "Or a little at each",
    };
    Some(format!("{how}: {}.", each.collect::<Vec<_>>().join(", ")))
}

/// A little at each screw, the piston held, in sentences with the order of the hands; one a screw.
pub fn all_screws(advice: &Advice, instrument: &Instrument) -> Vec<String> {
    let assembly = instrument.assembly.as_ref();
    let steps = assembly
        .filter(|assembly| assembly.kind != AssemblyKind::Pivot)
        .map_or_else(Vec::new, |assembly| each_screw(advice, assembly));
    steps
        .iter()
        .map(|step| step_words(instrument, step))
        .collect()
}

/// A step of every screw that is to be turned by as much as a hand can set.
fn each_screw(advice: &Advice, assembly: &Assembly) -> Vec<Step> {
    let of = |(screw, turns): (usize, &f64)| {
        let mut alone = ScrewTurns::zero(assembly);
        alone[screw] = *turns;
        Step::nearest(assembly, screw, &alone, &advice.settings)
    };
    advice.turns.iter().enumerate().filter_map(of).collect()
}

fn reach(advice: &Advice) -> Option<String> {
    (advice.reach < 1.0).then(|| {
        format!(
            "The travel of the screws allows only {:.0} % of it: have the unit shimmed by someone qualified, never force a screw.",
            100.0 * advice.reach
        )
    })
}

#[cfg(test)]
mod tests;
