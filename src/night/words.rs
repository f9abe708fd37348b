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
                "{screw} by {degrees:.0} degrees {way}: kept. {settle:.0} s to settle, then the next frame counts."
            )
        }
        Happening::Focused { by } => match by {
            Focusing::Um(um) => format!("Focus moved {um:+.0} um: kept."),
            Focusing::Steps(steps) => {
                format!("Focus moved {steps:+.0} steps: kept; the next ring tells what a step is.")
            }
            Focusing::In => "Focus moved inwards: kept.".into(),
            Focusing::Out => "Focus moved outwards: kept.".into(),
        },
        Happening::Locked { .. } => {
            "Tight: kept. The next frame tells whether tightening moved it.".into()
        }
        Happening::Mask { on: true } => {
            "Mask on: kept. It is no solar filter; take it off before the mount moves.".into()
        }
        Happening::Mask { on: false } => "Mask off: kept.".into(),
        Happening::Card { screw } => format!("Card at {screw}: kept; the next frame shows it."),
        Happening::Cannot { screw } => format!("{screw} is left alone from now on: kept."),
        Happening::Undo => "Taken back.".into(),
        Happening::Skip => "Left out.".into(),
        _ => "Kept.".into(),
    }
}
