//! What a night says of what is told, and what comes before the first frame: the same words in the terminal and on the page.

use super::event::{Focusing, Happening};
use super::look::Night;

/// By daylight and before the first frame.
pub const BEFORE: [&str; 12] = [
    "Before the star, by daylight, the tube level: gaps equal, screws in the middle of their travel, cables strapped, a letter at each screw.",
    "Then a star: high up, bright but not so bright that its ring is full, tracking on, guiding and dithering off, frames saved.",
    "Spread it to a ring of 40 to 120 pixels, in the middle of the frame, and let frames come.",
    "Cautions:",
    "- Never point the telescope near the Sun; cap it by day, even parked.",
    "- Nobody's hands, head or ladder at the tube while the mount moves; lower the tube rather than climb. Mains leads and ladders in the dark.",
    "- Loosen a screw's own partner, at the same place, before you tighten it; never force a screw, never loosen all pairs at once.",
    "- Never take a pull screw right out: it holds the camera. Nothing touches the glass. Stay within the unit's travel.",
    "- Never more than a quarter turn with a star in view: cap on, tube level, star later.",
    "- Tether wrench and mask. A mask shifts the balance, and heater leads under it get warm; take it off before the mount moves.",
    "- Count wrench, mask and cap before slewing.",
    "- The maker's instructions and a qualified technician come first.",
];

/// An answer to what was told.
pub fn told(what: &Happening, night: &Night) -> String {
    let settle = night.head().settle_s;
    match what {
        Happening::Turned {
            screw,
            clockwise_turns,
        } => {
            let way = crate::instrument::way(*clockwise_turns);
            let degrees = (clockwise_turns * 360.0).abs();
            format!(
                "Noted: {screw} turned {way} by {degrees:.0} degrees. Frames count again after {settle:.0} s, when all has settled."
            )
        }
        Happening::Focused { by } => match by {
            Focusing::Um(um) => format!("Noted: focus moved by {um:+.0} um."),
            Focusing::Steps(steps) => {
                format!("Noted: focus moved by {steps:+.0} steps. The next ring shows how far a step goes.")
            }
            Focusing::In => "Noted: focus moved inwards.".into(),
            Focusing::Out => "Noted: focus moved outwards.".into(),
        },
        Happening::Locked { .. } => {
            "Noted: the screws are tight. Let a frame come: it shows whether tightening moved anything.".into()
        }
        Happening::Mask { on: true } => {
            "Noted: the mask is on. It is no solar filter; take it off before the mount moves.".into()
        }
        Happening::Mask { on: false } => "Noted: the mask is off.".into(),
        Happening::Card { screw } => format!("Noted: the card is at {screw}. The next frame is read as one with the card."),
        Happening::Cannot { screw } => format!("Noted: {screw} is left alone from now on."),
        Happening::Undo => "The last thing that you told is taken back.".into(),
        Happening::Skip => "Left out: the last question is not asked again.".into(),
        _ => "Noted.".into(),
    }
}
