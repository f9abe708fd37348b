//! Settings of learning from trial turns.

use super::settings;
use crate::units::NM;

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
        /// Coma by which tightening a pair shifts the unit, metres RMS, in a direction that is not known. Common practice, no source; the
        /// design's; half of its square counts along each axis. Larger: small trials say nothing. Smaller: tightening is taken for the screw's doing.
        lock_shift_m: f64 = 20.0 * NM,
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
