//! Settings of learning from trial turns.

use super::settings;
use crate::units::{DEG, NM};

settings! {
    /// What trial turns teach, and when they teach nothing. `measure::learn::tests` and `tests/cli/learning.rs` hold these values.
    LearningSettings {
        /// A turn whose change of coma is less than this many standard deviations was not seen. Set by hand. Larger: larger trial turns are
        /// asked for. Smaller: a response is learned from noise.
        change_seen_sigma: f64 = 3.0,
        /// Share by which a hand errs in the size of a turn (standard deviation). Common practice, no source; the design's. Larger: trials
        /// say less. Smaller: an unsteady hand seems to say what the camera does.
        hand_share: f64 = 0.10,
        /// What a hand errs by in any turn, in turns: 4 degrees. Common practice, no source; the design's. Larger and smaller: as above.
        hand_turns: f64 = 4.0 / 360.0,
        /// How far a backlash that was typed may be from what a screw has, as a share of it (standard deviation). Set by hand. Larger: turns
        /// back say less. Smaller: a screw that was eased seems to answer too much.
        backlash_share: f64 = 0.3,
        /// Coma by which tightening a pair shifts the unit, metres RMS: each pair about the same way each time, in a direction that is not known
        /// before it was seen. Common practice, no source; the design's; half of its square counts along each axis. Larger: small trials say
        /// nothing. Smaller: tightening is taken for the screw's doing.
        lock_shift_m: f64 = 20.0 * NM,
        /// By how much that shift varies from one tightening to the next, metres RMS. Common practice, no source. Larger: a shift that was
        /// seen is not reckoned with. Smaller: chance is taken for the pair's habit.
        lock_spread_m: f64 = 10.0 * NM,
        /// How far what a tilt does may be turned against the tilt, radians (standard deviation). Set by hand: correctors that sit aside do
        /// it. Larger: cards and checked rotations say less of what turns do. Smaller: such telescopes get wrong turns.
        response_turn_rad: f64 = 13.0 * DEG,
        /// What one more round at the screws is worth, metres RMS of coma: a turn that may be followed by another one is chosen where it
        /// leaves less by more than this. Set by hand. Larger: single turns that leave much. Smaller: more rounds.
        round_costs_m: f64 = 30.0 * NM,
        /// A turn may be told to make coma grow in so many of all ways that things may be, the hand's errors among them; else it is a
        /// trial. Set by hand on drawn hands: two trials of other screws are then enough. Larger: turns that harm. Smaller: trials that tell
        /// little.
        grows_at_most: f64 = 0.15,
        /// While fewer than two screws were seen, a turn is made that leaves less than this share of coma; else another screw is tried. Set
        /// by hand. Larger: the second screw stays unknown. Smaller: trials where a turn was sure.
        gains_much_share: f64 = 0.7,
        /// The probability that coma grows in the mirror image that is worse for the turn. Set by hand. Larger: turns that harm. Smaller: trials.
        grows_at_most_in_image: f64 = 0.5,
        /// The least turn that is asked for while told turns are few, in turns. Set by hand: tightening does as much as less. Larger: the last
        /// step is missed. Smaller: turns that tell nothing.
        planned_turns_at_least: f64 = 10.0 / 360.0,
        /// A trial may be told to make coma more than twice as large as before the first turn with this probability. The design's (DESIGN
        /// section 10). Larger: harm. Smaller: trials that tell nothing.
        beyond_twice_at_most: f64 = 0.01,
        /// Width of a typed response, as a share of it. Set by hand: correctors change it by a quarter. Larger: one unsteady trial decides.
        /// Smaller: wrong responses stay.
        typed_response_share: f64 = 0.3,
        /// Belief that a mirroring that was only typed is right. The design's (DESIGN section 10). Larger: wrong screws are named.
        /// Smaller: more trials.
        typed_mirroring_believed: f64 = 0.9,
        /// The same where it was checked. Set by hand. Larger: slips are not seen. Smaller: checked cameras cost trials.
        known_mirroring_believed: f64 = 0.998,
        /// A mirror image of less weight than this is ruled out (`mirror_open` otherwise). The design's (DESIGN section 10). Larger: wrong
        /// screws are named. Smaller: more trials.
        mirror_open_weight: f64 = 0.01,
        /// Trials that lie this many times farther from the fit than frames and hands explain are flagged (`trials_disagree`). Set by hand
        /// (`inexact_turns_widen_the_uncertainty`). Larger: backlash is not told. Smaller: every hand disagrees with itself.
        disagree_factor: f64 = 2.0,
        /// One trial is left out where the others then agree as well as this. Set by hand. Larger: good trials are lost. Smaller: one bad
        /// frame spoils all.
        agree_factor: f64 = 1.3,
        /// Trials contradict one another, and teach nothing, where they lie this many times farther from the fit than frames and hands
        /// explain. Set by hand (`what_teaches_nothing_is_refused_in_words`). Larger: wrong responses are learned. Smaller:
        /// unsteady hands learn nothing.
        contradiction_spread: f64 = 2.5,
        /// A star that moved by no more than this was followed by the frame, so that its place teaches no image shift. Set by hand.
        /// Larger: small shifts are not learned. Smaller: a telescope that drifted teaches one.
        followed_px: f64 = 3.0,
        /// Image shifts that scatter by more than this share of them are not the tilt's doing alone, and are flagged (`shift_unsteady`). Set
        /// by hand. Larger: a telescope that drifted is not told. Smaller: every hand is flagged.
        shift_scatter_share: f64 = 0.3,
    }
}
