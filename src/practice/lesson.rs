//! "Show me": why the dark centre moves, where the screws are from the front, and what to mind at a real telescope.

use super::session::Session;
use crate::instrument::{Assembly, Instrument, end, turn_in_words};
use crate::mechanics::front_screws;

/// What to mind at a real telescope.
#[derive(Debug, Clone, Copy)]
pub struct Cautions;

impl Cautions {
    /// One caution a line.
    pub const LINES: [&str; 5] = [
        "Never point a telescope or a mask near the Sun; cap it by day, even parked; a mask is no solar filter.",
        "Take the mask off before slewing: it can fall onto a corrector plate. Tether wrench and mask; smooth a mask's printed edges.",
        "Loosen a screw's own push or pull partner, at the same place, before you tighten it. Never force a screw, never loosen all pairs at once; work with the tube level; support camera and cables; stay within the unit's travel.",
        "Printed plastic softens in a warm car. Mind mains leads and ladders in the dark.",
        "The maker's instructions and a qualified technician come first.",
    ];
}

/// The situation explained, a thought a line.
pub fn lesson(session: &Session) -> Vec<String> {
    let owner = session.owner();
    let [masked, _] = session.mask_and_atmosphere();
    let mut lines = if masked {
        spike_lines()
    } else {
        doughnut_lines()
    };
    lines.push(front_line(owner));
    let places: Vec<String> = front_screws(owner)
        .iter()
        .map(|screw| format!("{} at {} o'clock", screw.name, screw.hour))
        .collect();
    lines.push(format!(
        "From the front the screws are: {}.",
        places.join(", ")
    ));
    if let Some(assembly) = &owner.assembly {
        lines.extend(screw_lines(assembly, masked));
    }
    lines
}

fn doughnut_lines() -> Vec<String> {
    [
        "A tilted unit gives the star coma. In a doughnut, coma pushes the dark centre out of the middle: the ring becomes thin and bright on one side, wide and faint on the other.",
        "The same tilt shows the same thin side on both sides of focus. A shadow that is merely off centre changes sides through focus.",
    ]
    .map(String::from)
    .to_vec()
}

fn spike_lines() -> Vec<String> {
    [
        "A tilted unit gives the star coma. Behind a mask with slots in two zones, coma moves the middle spike of a triplet off the point where its two slanted partners cross.",
        "The triplet whose slots point along the tilt shows it most; in the other two the middle spike moves half as far, the other way along its own slots. A spike that is split in two tells of defocus, not of tilt.",
    ]
    .map(String::from)
    .to_vec()
}

fn front_line(owner: &Instrument) -> String {
    let reflections = owner.telescope.reflections;
    format!(
        "Your telescope has {reflections} reflection{}: from the front you see the pupil {}.",
        if reflections == 1 { "" } else { "s" },
        if owner.telescope.seen_mirrored() {
            "mirrored left to right"
        } else {
            "as the picture shows it inside focus"
        }
    )
}

fn screw_lines(assembly: &Assembly, masked: bool) -> [String; 2] {
    let end = end(assembly.clockwise.sign());
    // where a tilt makes coma of the other sign, everything in the picture goes the other way
    let follows = assembly
        .response
        .as_ref()
        .is_none_or(|response| response.coma_m_per_rad >= 0.0);
    let towards = ["away from", "towards"];
    let rule = match masked {
        true => format!(
            "the middle spikes move {} the raised edge (with the camera straight). So {} the screw that they move away from, or {} the one opposite.",
            towards[usize::from(!follows)],
            first_way(follows),
            first_way(!follows),
        ),
        false => format!(
            "the thin side of the ring goes {} the raised edge (with the camera straight). So {} the screw on the thin side, or {} the one opposite.",
            towards[usize::from(follows)],
            first_way(follows),
            first_way(!follows),
        ),
    };
    [
        format!(
            "Clockwise, facing its head, {end} a screw. A longer screw raises its edge, and {rule}"
        ),
        format!(
            "Each screw has play, {}: so much of a turn is lost after a change of direction. A turn also moves the focus a little, and the whole star: bring it back to the middle.",
            turn_in_words(assembly.backlash_turns)
        ),
    ]
}

fn first_way(shorter: bool) -> &'static str {
    if shorter { "shorten" } else { "lengthen" }
}
