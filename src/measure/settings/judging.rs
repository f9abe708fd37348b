//! Settings of judging: whether a measurement may be acted on, whether to turn, and when to stop.

use super::settings;
use crate::predict::INVISIBLE_SHARE;
use crate::units::{ARCSEC, NM};

settings! {
    /// When a measurement is flagged.
    JudgingSettings {
        /// What differs from what was typed is told where it is this many of its own standard deviations. Set by hand. Larger: small
        /// differences are allowed for, and not told. Smaller: chance is told as a difference.
        differs_sigma: f64 = 3.0,
        /// `poor_fit`: the model leaves more than this share of the light unexplained (root of the sum of squares). Set by hand on worlds
        /// that differ from what was typed (`benches/measuring`). Larger: wrong telescopes give turns. Smaller: fair fits do not.
        poor_fit_unexplained_share: f64 = 0.2,
        /// `poor_fit`: or it is off by more than this share of the light in a typical pixel. Set by hand: a vane's shadow in the wrong
        /// place leaves more, and so does the atmosphere of a very short exposure. Larger: wrong telescopes give turns. Smaller: fair
        /// fits do not.
        poor_fit_model_error_share: f64 = 0.13,
        /// `rough_fit`: the residuals are this many times as large (in squares) as noise allows. Set by hand. Larger: slightly wrong
        /// dimensions are not told. Smaller: bright stars are always rough.
        rough_fit_chi_square: f64 = 4.0,
        /// `stars_overlap` is taken back where one star explains the light but for this share. Set by hand. Larger: faint companions are
        /// not told. Smaller: comatic stars that looked double stay flagged.
        overlap_unexplained_share: f64 = 0.05,
        /// `coma_uncertain`: a component of coma has a larger standard deviation than this, or none. Set by hand: about what one look at
        /// a doughnut tells. Larger: turns follow noise. Smaller: faint stars give none, though the verdict looks at σ itself.
        coma_sigma_m: f64 = 60.0 * NM,
        /// `very_blurred`: the fit found more blur than this. Common practice, no source: nobody takes pictures in worse seeing. Larger:
        /// wrong pixel sizes and binned files pass. Smaller: shaken stars are refused that could be measured.
        very_blurred_rad: f64 = 6.0 * ARCSEC,
        /// `mirrored_fits_better` and the other ways of holding the picture: what they leave of χ² beyond 1 is less than this share of what
        /// the typed way leaves. Set by hand (`tests/measuring/verb.rs`, `a_picture_held_otherwise_than_typed_is_told`). Larger:
        /// chance tells that a picture is mirrored. Smaller: mirrored pictures give wrong screws.
        held_otherwise_share: f64 = 0.4,
        /// χ² beyond 1 is not known better than this, by which the comparison above is kept from dividing noise by noise. Set by hand.
        /// Larger: mirrored pictures of faint stars are not told. Smaller: chance tells that a picture is mirrored.
        chi_square_known_to: f64 = 0.05,
        /// `obstruction_aside`: the obstruction lies this many standard deviations aside. Set by hand. Larger: it is not told. Smaller:
        /// chance is.
        obstruction_aside_sigma: f64 = 5.0,
    }
}

settings! {
    /// When to turn and when to stop.
    AdviceSettings {
        /// No turn below this is advised, in turns: 4 degrees, what a hand errs by. Common practice, no source. Larger: small errors stay.
        /// Smaller: turns are asked for that no hand can make.
        least_turns: f64 = 4.0 / 360.0,
        /// A hand's turn errs by this share of it, a standard deviation. Common practice, no source. Larger: one stops too early.
        /// Smaller: one is sent after what no hand can set.
        hand_share: f64 = 0.10,
        /// And by this, in turns, whatever its size: 4 degrees, a standard deviation. Common practice, no source. Larger: one stops too
        /// early. Smaller: one is sent after what no hand can set.
        hand_turns: f64 = 4.0 / 360.0,
        /// Tightening a pair, a nut or a pivot's screws shifts the unit by about this much coma. Common practice, no source. Larger: one
        /// stops too early. Smaller: one chases what each tightening brings back.
        lock_shift_m: f64 = 20.0 * NM,
        /// No more than this is turned with a star in view, in turns. Common practice, no source. Larger: the unit may slip, and the star is
        /// lost. Smaller: more rounds.
        most_turns_in_view: f64 = 1.0 / 4.0,
        /// With a spring, a turn away from it goes this much too far and comes back, in turns, or as far as the backlash that was typed.
        /// Common practice, no source. Larger: the star is lost for a moment. Smaller: backlash stays in the thread.
        spring_beyond_turns: f64 = 20.0 / 360.0,
        /// The star is to be brought back when its new place in the field changes coma by more than this share of the stop level. Set by
        /// hand. Larger: the field's coma is taken into the turns where the field was typed wrong. Smaller: one brings it back for nothing.
        aside_share_of_stop: f64 = 0.25,
        /// A doughnut is to be refocused when a turn changes its defocus by more than this share of it. Set by hand: it changes the ring's
        /// size as much, and nothing else that is measured. Larger: rings grow out of the frame, or shrink into the caustic. Smaller:
        /// one refocuses for nothing.
        refocus_share: f64 = 0.25,
        /// A masked star is to be refocused when defocus moves spikes apart by more pixels than this: an eye sees a spike that far off its
        /// crossing. Common practice, no source. Larger: spikes are judged that defocus has put off. Smaller: one
        /// refocuses for nothing.
        spike_seen_px: f64 = 0.3,
        /// And when that defocus is this many of its own standard deviations. Set by hand: one in twenty such moves follows chance. Larger:
        /// faint stars stay out of focus. Smaller: the focus follows noise.
        focus_seen_sigma: f64 = 2.0,
        /// Coma is turned after when it is this many of its own standard deviations. Set by hand: one in twenty such turns follows
        /// chance. Larger: more looks before a turn. Smaller: turns follow noise.
        coma_seen_sigma: f64 = 2.0,
        /// Coma below the stop level is believed to be so when its standard deviation is at most this share of the level. Set by hand.
        /// Larger: a faint star is called good enough by chance. Smaller: more looks before one may stop.
        known_to_share_of_stop: f64 = 0.5,
        /// Where the travel allows a smaller share of the turns than this, the advice does not say how much coma they undo. Derived: 1, with
        /// room for rounding. Larger: rounding counts as travel that ends. Smaller: advice cut short is told as whole.
        whole_reach_share: f64 = 0.999,
        /// Wind by which the atmosphere's own coma in an exposure is reckoned. Common practice, no source. Larger: the atmosphere averages
        /// faster, the stop level is lower. Smaller: one stops too early.
        wind_m_per_s: f64 = 10.0,
        /// Coma that widens a focused star by less than this share is not seen in pictures, the first mark of `predict::ComaScale`. Common practice, no source. Larger: one stops
        /// too early. Smaller: one is sent after what nobody sees.
        not_seen_wider_share: f64 = INVISIBLE_SHARE,
        /// Trial turn that is asked for where it is not known what a screw does. Common practice, no source: an eighth is seen on most
        /// telescopes. Larger: the star is lost, or the unit strained. Smaller: the change is not seen (`learn` refuses it).
        trial_turns: f64 = 1.0 / 8.0,
        /// The same on fast telescopes, where a turn does more. Common practice, no source. Larger: the star is lost. Smaller: the change is
        /// not seen.
        trial_turns_fast: f64 = 1.0 / 16.0,
        /// A trial turn is at most this share of what would be right if the guess were. The design's (DESIGN section 10): a turn the wrong
        /// way then leaves less than twice of what was there, with a hand's error. Larger: wrong guesses do harm. Smaller: more rounds.
        trial_share: f64 = 0.75,
        /// A telescope is fast up to this focal ratio. Common practice, no source. Larger: small trials on slow telescopes. Smaller: large
        /// ones on fast telescopes.
        fast_up_to_focal_ratio: f64 = 2.5,
        /// A longer exposure is asked to be longer by a factor in this range. Set by hand: less changes nothing, more is not
        /// tried at once. Wider: exposures that nobody takes, or that do not help. Narrower: more looks.
        longer_factor: [f64; 2] = [2.0, 16.0],
    }
}
