//! What was measured and what to turn, in sentences for a tired person in the dark.

use super::advice::{Advice, Verdict};
use super::doughnut::{Side, SideFrom};
use super::good_enough::{GoodEnough, StopBy};
use super::measurement::{Measurement, aligned_modes};
use super::next::{self, Deed, NextStep, step_words};
use super::orientation::OrientationAnswer;
use super::report::Findings;
use super::spikes::FoundTriplet;
use super::step::Step;
use crate::frame::clock;
use crate::instrument::{Assembly, AssemblyKind, Instrument, Orientation};
use crate::math::Uncertain;
use crate::predict::NM_RMS_IN_WORDS;
use crate::pupil::frame_direction;
use crate::state::{Coma, ScrewTurns};
use crate::units::{DEG, NM, UM};

/// A dark centre that is pushed aside by less than this is said to sit in the middle: edges are read to 0.2 px
/// (`tests/measuring/rings.rs`). Only words depend on it.
const PUSHED_PX: f64 = 0.3;
/// A middle spike is said to miss its crossing by as much as this at least: what an eye with a magnified picture tells apart.
const SPIKE_READ_PX: f64 = 0.1;
/// A masked star is said to be in focus within two standard deviations of its sensor offset, but no closer than this.
const IN_FOCUS_UM: f64 = 0.5;

/// What the star shows.
pub fn findings(found: &Measurement, instrument: &Instrument, stop: &GoodEnough) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(ring) = &found.ring {
        said.push(format!(
            "The star is a doughnut {:.0} px across, its middle at column {:.0}, row {:.0} (counted from the bottom left).",
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
                    "Its dark centre is pushed {size:.1} px towards {} in the picture, {:.0} % of the radius; the ring is thin there.",
                    clock(shift),
                    100.0 * size / ring.outer_radius_px
                )
            });
        }
    }
    let triplets = found.triplets.iter();
    said.extend(triplets.map(|triplet| triplet_words(triplet, instrument)));
    said.extend(coma(found, instrument, stop));
    said.extend(focus(found, instrument));
    said.extend(found.differs.iter().map(|differs| differs.words.clone()));
    said.extend(limits(stop));
    said
}

/// "Slots towards 12 o'clock (90 degrees): their middle spike misses the crossing of its two partners by 2.1 px, towards 6 o'clock (270 degrees)."
fn triplet_words(triplet: &FoundTriplet, instrument: &Instrument) -> String {
    let along = frame_direction(instrument, triplet.slot_rad);
    let missed = match triplet.shift_px.abs() {
        px if px < SPIKE_READ_PX.max(2.0 * triplet.sigma_px) => {
            "goes through the crossing of its two partners".to_owned()
        }
        px => format!(
            "misses the crossing of its two partners by {px:.1} px, towards {}",
            clock(along * triplet.shift_px)
        ),
    };
    format!(
        "Slots towards {} in the picture: their middle spike {missed}.",
        clock(along)
    )
}

fn coma(found: &Measurement, instrument: &Instrument, stop: &GoodEnough) -> Option<String> {
    let coma = found.coma()?;
    let towards = |coma: &Coma| clock(frame_direction(instrument, coma.azimuth_rad()));
    let size = coma.size_m();
    let look = |size_m: f64| stop.scale.look(size_m / NM).words();
    if is_hidden(size) {
        let most = look(most_m(size));
        return Some(format!("Coma: {} nm RMS: {most}.", told_nm(size)));
    }
    let own = Coma::of(&aligned_modes(instrument, found.field_m));
    let own_m = own.size_m().value;
    let own = if own_m < 2.0 * sigma_told_m(size).unwrap_or(0.0) {
        String::new()
    } else {
        format!(
            " {:.0} nm of coma, towards {}, belong to the telescope at this place of its field: no screw takes them away.",
            own_m / NM,
            towards(&own)
        )
    };
    Some(format!(
        "Coma: {} nm RMS, towards {} in the picture: {}.{own}",
        told_nm(size),
        towards(&coma),
        look(size.value)
    ))
}

/// Uncertainties of coma are told as this at least: where reality differs from the model, errors are several times the photons' share
/// (DEVELOPERS.md, the table of measuring).
const LEAST_TOLD_M: f64 = 1.0 * NM;

/// The uncertainty of an amount of coma as it is told.
fn sigma_told_m(coma: Uncertain) -> Option<f64> {
    coma.sigma.map(|sigma| sigma.max(LEAST_TOLD_M))
}

/// Whether an amount of coma is not told from none.
fn is_hidden(coma: Uncertain) -> bool {
    sigma_told_m(coma).is_some_and(|sigma_m| coma.value < 2.0 * sigma_m)
}

/// What an amount of coma is at most, by two of its standard deviations.
fn most_m(coma: Uncertain) -> f64 {
    coma.value + 2.0 * sigma_told_m(coma).unwrap_or(0.0)
}

/// An amount of coma (metres) as it is told, in nm: "197 ± 1", or "at most 3" where it is not told from none.
pub(super) fn told_nm(coma: Uncertain) -> String {
    let nm = coma.value / NM;
    match sigma_told_m(coma) {
        None => format!("{nm:.0} ± ?"),
        Some(_) if is_hidden(coma) => format!("at most {:.0}", most_m(coma) / NM),
        Some(sigma_m) => format!("{nm:.0} ± {:.0}", sigma_m / NM),
    }
}

/// Size of coma with its uncertainty as words and pictures have it, nm RMS.
pub fn size_in_words(coma: &Coma) -> String {
    told_nm(coma.size_m())
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
        return Some(format!(
            "The sensor is in focus, to {:.0} um (thousandths of a millimetre).",
            room_um.ceil()
        ));
    }
    let (word, why) = match found.side {
        None => (
            if offset_um < 0.0 { "inside" } else { "outside" },
            match instrument.camera.orientation {
                Orientation::Known => "",
                // half a turn of the camera with all of W negated is the same picture
                Orientation::Assumed => {
                    ", if the camera is held as typed; if it is turned half round, it is the other side"
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
                SideFrom::Told => ", on the side that you said",
                SideFrom::Vanes => {
                    ": where the vanes' shadows lie in the ring tells inside from outside"
                }
                SideFrom::Assumed => {
                    ", or as far on the other side: this frame cannot tell. If you know it, say --side inside or --side outside; the coma is the same"
                }
            },
        ),
    };
    Some(format!(
        "The sensor sits {} {word} focus{why}.",
        length_in_words(offset_um)
    ))
}

/// "480 um (0.480 mm)".
fn length_in_words(um: f64) -> String {
    format!("{:.0} um ({:.3} mm)", um.abs(), (um / 1000.0).abs())
}

fn limits(stop: &GoodEnough) -> Vec<String> {
    let why = match stop.decided_by() {
        StopBy::NotSeen => "less than that nobody sees in a picture",
        StopBy::Atmosphere => "as much is made by the atmosphere alone in this exposure",
        StopBy::Hand => {
            "below it a turn gains nothing, for your hand and the tightening add as much again"
        }
    };
    vec![
        format!("Good enough is {:.0} nm: {why}.", stop.stop_m / NM),
        format!("The scale: {}; {NM_RMS_IN_WORDS}.", stop.scale.words()),
    ]
}

/// What the turns would be, or why nothing is turned.
pub fn advised(found: &Findings, advice: &Advice, instrument: &Instrument) -> Vec<String> {
    let stop_m = found.stop.map_or(0.0, |stop| stop.stop_m);
    let next = match advice.verdict(stop_m) {
        Verdict::Stop => next::stop(found, Some(advice)),
        Verdict::LookAgain => next::expose(found, advice),
        Verdict::Turn | Verdict::Trial => next::turn(found, advice, instrument),
    };
    step_and_rest(&next, advice)
}

/// A step in sentences: what, why, and with a turn what belongs to it. One plan and no other: a little at each screw, which does the same and
/// holds the focus, is for programs (`advice.all_screws` of a report).
pub fn step_and_rest(next: &NextStep, advice: &Advice) -> Vec<String> {
    let mut said = next.lines();
    if next.deed == Deed::Turn {
        said.extend(reach(advice));
    }
    if matches!(next.deed, Deed::Turn | Deed::Trial) {
        said.push(
            "One screw at a time; never force it. The maker's instructions come first.".into(),
        );
    }
    said
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
            "The screws come to the end of their travel after {:.0} % of what is needed: have the unit shimmed by someone qualified, never force a screw.",
            100.0 * advice.reach
        )
    })
}

#[cfg(test)]
mod tests;
