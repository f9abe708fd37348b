//! Settings of learning from trial turns.

use super::settings;
use std::f64::consts::PI;

settings! {
    /// What trial turns teach, and when they teach nothing. `measure::learn::tests` and `tests/cli/learning.rs` hold these values.
    LearningSettings {
        /// A turn whose change of coma is less than this many standard deviations was not seen. Set by hand. Larger: larger trial turns are
        /// asked for. Smaller: a response is learned from noise.
        change_seen_sigma: f64 = 3.0,
        /// Whether the camera mirrors is believed when the other way's χ² is larger by this, in units of the better one's spread: three
        /// standard deviations. Set by hand (`one_line_of_screws_leaves_the_mirroring_open`). Larger: it stays open, and no turns
        /// are advised. Smaller: chance decides, and wrong screws are named.
        mirror_chi_square: f64 = 9.0,
        /// Trials that lie this many times farther from the fit than their frames explain are flagged (`trials_disagree`). Set by hand
        /// (`inexact_turns_widen_the_uncertainty`). Larger: backlash is not told. Smaller: every hand disagrees with itself.
        disagree_factor: f64 = 3.0,
        /// Trials contradict one another, and teach nothing, where the standard deviation of the response exceeds this share of it. Set by
        /// hand (`what_teaches_nothing_is_refused_in_words`). Larger: wrong responses are learned. Smaller: unsteady hands learn
        /// nothing.
        contradiction_share: f64 = 0.2,
        /// A star that moved by no more than this was followed by the frame, so that its place teaches no image shift. Set by hand.
        /// Larger: small shifts are not learned. Smaller: a telescope that drifted teaches one.
        followed_px: f64 = 3.0,
        /// Where the learned rotation lies farther than this from the typed one, half a turn more is nearly as close, and is flagged
        /// (`half_turn_open`). Derived: at a right angle both are equally close; a third of it is kept as room. Larger: a camera
        /// held the other way round is not told. Smaller: every unchecked rotation is flagged.
        half_turn_clear_rad: f64 = PI / 3.0,
        /// Image shifts that scatter by more than this share of them are not the tilt's doing alone, and are flagged (`shift_unsteady`). Set
        /// by hand. Larger: a telescope that drifted is not told. Smaller: every hand is flagged.
        shift_scatter_share: f64 = 0.3,
    }
}
