//! What was measured and what to turn, in sentences for a tired person in the dark.

use super::advice::{Advice, Verdict};
use super::doughnut::{Side, SideFrom};
use super::good_enough::GoodEnough;
use super::hands::hands;
use super::measurement::{Measurement, aligned_modes};
use crate::frame::{clock, hour};
use crate::instrument::{Assembly, Instrument, Response, end, fraction};
use crate::math::Uncertain;
use crate::pupil::frame_direction;
use crate::state::Coma;
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
    said.extend(focus(found));
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

fn focus(found: &Measurement) -> Option<String> {
    let offset = found.sensor_offset_m()?;
    let offset_um = offset.value / UM;
    let room_um = (2.0 * offset.sigma.unwrap_or(0.0) / UM).max(IN_FOCUS_UM);
    if found.side.is_none() && offset_um.abs() < room_um {
        return Some(format!("The sensor is in focus, within {room_um:.1} um."));
    }
    let (word, why) = match found.side {
        None => (if offset_um < 0.0 { "inside" } else { "outside" }, ""),
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
    let mut parts = vec![format!(
        "below {:.0} nm nothing changes in your pictures",
        stop.not_seen_m / NM
    )];
    if let Some(atmosphere) = stop.atmosphere_m {
        parts.push(format!(
            "the atmosphere alone makes {:.0} nm in this exposure",
            atmosphere / NM
        ));
    }
    if let Some(hand) = stop.hand_m {
        parts.push(format!(
            "the finest turn of a hand leaves {:.0} nm",
            hand / NM
        ));
    }
    vec![format!(
        "Good enough is {:.0} nm: {}.",
        stop.stop_m / NM,
        parts.join("; ")
    )]
}

/// What to turn, in the order of turning.
pub fn steps(advice: &Advice, instrument: &Instrument, stop_m: f64) -> Vec<String> {
    let Some(assembly) = &instrument.assembly else {
        return Vec::new();
    };
    match advice.verdict(stop_m) {
        Verdict::Stop => vec![reason_to_stop(advice, stop_m)],
        Verdict::LookAgain => vec![reason_to_look_again(advice, stop_m)],
        Verdict::Turn | Verdict::Trial => turns(advice, assembly, instrument, stop_m),
    }
}

fn reason_to_stop(advice: &Advice, stop_m: f64) -> String {
    let unseen = advice.undone_m.is_some_and(|coma| coma.value < stop_m);
    if unseen {
        "Good enough: stop here. What is left is less than anybody sees.".into()
    } else {
        "Nothing to turn: what is left is less than a hand can set.".into()
    }
}

fn reason_to_look_again(advice: &Advice, stop_m: f64) -> String {
    let known = advice.undone_m.map(|coma| {
        let sigma_nm = coma.sigma.map_or("?".into(), |s| format!("{:.0}", s / NM));
        format!("{:.0} ± {sigma_nm} nm", coma.value / NM)
    });
    format!(
        "Do not turn yet: the screws could take away {} of coma, and good enough is {:.0} nm; this frame does not tell the two apart. Expose longer, or take a brighter star, and look again.",
        known.unwrap_or_default(),
        stop_m / NM
    )
}

fn turns(
    advice: &Advice,
    assembly: &Assembly,
    instrument: &Instrument,
    stop_m: f64,
) -> Vec<String> {
    let mut said = Vec::new();
    let mut follows = what_follows(advice, assembly, advice.focus_change_m);
    let all = advice.turns.iter().enumerate();
    let all = all.map(|(screw, turns)| one_turn(advice, assembly, instrument, screw, *turns));
    match &advice.one_screw {
        Some(one) if one.leaves_m <= stop_m => {
            said.push(format!(
                "One screw is enough and leaves {:.0} nm:",
                one.leaves_m / NM
            ));
            said.push(one_turn(advice, assembly, instrument, one.screw, one.turns));
            said.push("Or all of it, a little at each screw:".into());
            said.extend(all);
            follows = what_follows(advice, assembly, one.focus_change_m);
            if tells(assembly, |r| r.focus_m_per_m) {
                follows += &format!(
                    " That is with the one screw; a little at each changes the focus by {} um.",
                    whole_um(advice.focus_change_m)
                );
            }
        }
        Some(one) => {
            said.extend(all);
            said.push(format!(
                "Or one screw only: {}; that leaves {:.0} nm.",
                turn_and_way(assembly, one.screw, one.turns),
                one.leaves_m / NM
            ));
        }
        None => said.extend(all),
    }
    said.push(follows);
    if advice.reach < 1.0 {
        said.push(format!(
            "The travel of the screws allows only {:.0} % of it: have the unit shimmed by someone qualified, never force a screw.",
            100.0 * advice.reach
        ));
    }
    said.push("Tube level, one screw at a time; never loosen all pairs at once, never force a screw. The maker's instructions come first.".into());
    said
}

/// What the turns do to place and focus, as far as the response says it.
fn what_follows(advice: &Advice, assembly: &Assembly, focus_change_m: f64) -> String {
    let shift = advice.image_shift_px;
    let moves = tells(assembly, |r| r.image_shift_m_per_rad).then(|| {
        format!(
            "The star will move by {:.0} px towards {}",
            shift.length(),
            clock(shift)
        )
    });
    let focus = tells(assembly, |r| r.focus_m_per_m)
        .then(|| format!("the focus changes by {} um", whole_um(focus_change_m)));
    match (moves, focus) {
        (Some(moves), Some(focus)) => format!("{moves}; {focus}. Recentre, refocus, look again."),
        (Some(moves), None) => format!("{moves}. Recentre, refocus, look again."),
        _ => "How far the star will move is not known: turn slowly and keep it in sight. Recentre, refocus, look again.".into(),
    }
}

fn tells(assembly: &Assembly, by: fn(&Response) -> f64) -> bool {
    assembly.response.as_ref().is_some_and(|r| by(r) != 0.0)
}

fn whole_um(metres: f64) -> i64 {
    (metres / UM).round() as i64
}

fn one_turn(
    advice: &Advice,
    assembly: &Assembly,
    instrument: &Instrument,
    screw: usize,
    turns: f64,
) -> String {
    let name = &assembly.screws[screw].name;
    let front_rad = instrument
        .telescope
        .front_rad(assembly.screws[screw].azimuth_rad);
    let place = format!("{} o'clock", hour(front_rad / DEG));
    if turns.abs() < advice.settings.least_turns {
        return format!("{name} (at {place} seen from the front): leave it.");
    }
    let order = hands(assembly.clockwise, turns);
    format!(
        "{} (at {place} seen from the front): {order}.",
        turn_and_way(assembly, screw, turns)
    )
}

pub(super) fn turn_and_way(assembly: &Assembly, screw: usize, turns: f64) -> String {
    format!(
        "{}: {} {} ({:.3}), it {}",
        assembly.screws[screw].name,
        fraction(turns.abs()),
        assembly.clockwise.way(turns),
        turns.abs(),
        end(turns)
    )
}

#[cfg(test)]
mod tests;
