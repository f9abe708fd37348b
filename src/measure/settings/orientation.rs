//! Settings of how the camera is held: what is believed before a frame is seen, and what a frame must show to change it.

use super::settings;
use crate::units::DEG;

settings! {
    /// What is believed of a camera's orientation, and which answers are tried on a frame.
    OrientationSettings {
        /// Belief that a rotation that was only typed is right. Set by hand: many owners type 0 for "I do not know". Larger: wrong screws
        /// are named where the rotation is wrong. Smaller: right rotations cost a trial where a frame could confirm them.
        typed_rotation_believed: f64 = 0.1,
        /// How far a rotation that is right may be from the typed one, radians (standard deviation). Common practice, no source.
        /// Larger: other rotations pass for the typed one. Smaller: a camera refitted by hand does not.
        typed_rotation_sigma_rad: f64 = 5.0 * DEG,
        /// Belief that a mirroring that was only typed is right. The design's (DESIGN section 10). Larger: wrong screws are named on
        /// files that were flipped. Smaller: more trials.
        typed_mirroring_believed: f64 = 0.9,
        /// Belief that a file's word on how the sky lies in it, with the number of reflections typed, tells mirroring. Set by hand: a number of
        /// reflections may be typed wrong, and rows be flipped after the sky was found. Larger: either slip names wrong screws.
        /// Smaller: trials although the file tells.
        header_parity_believed: f64 = 0.98,
        /// Belief that an orientation that was checked is right. Set by hand: below one answer in a hundred is left to error.
        /// Larger: slips of the hand are not seen. Smaller: checked cameras cost trials.
        known_believed: f64 = 0.998,
        /// Belief that a side of focus that was told is right. Set by hand: focusers are turned the other way more often than not noticed, so
        /// that it counts for much and settles nothing alone. Larger: a side told wrong gives wrong screws, and with a rotation
        /// that is wrong by half a turn no frame shows it. Smaller: the likeliest side is not taken.
        told_side_believed: f64 = 0.95,
        /// The same where a frame shows a card at a screw: who holds cards settles the side first. Set by hand, so that a rotation typed half
        /// a turn wrong does not speak against it. Larger: a side told wrong turns the camera by half a turn. Smaller: cards settle nothing.
        told_side_believed_with_card: f64 = 0.999,
        /// How well a hand holds a card at a screw's place, radians (standard deviation). Common practice, no source. Larger: two cards do
        /// not tell mirroring. Smaller: a card held aside contradicts the truth.
        card_sigma_rad: f64 = 8.0 * DEG,
        /// Belief that a card was held at another screw than was said. Set by hand. Larger: cards settle nothing. Smaller: a slip is believed.
        card_slip_believed: f64 = 1e-5,
        /// Share of the usual light that is missing in a direction that a card covers. Set by hand: a card stands in part of the
        /// ring's width. Larger: cards at the rim alone are not seen. Smaller: coma's dim side is taken for a card.
        card_dark_share: f64 = 0.2,
        /// Darkness of a card: so much of the ring, wholly dark, would miss the same light. Set by hand: a vane covers less. Larger: small cards
        /// are not seen. Smaller: vanes are cards.
        card_rad_at_least: f64 = 7.0 * DEG,
        /// Share of the star's light that a card takes away, at least, against the same star without one. Set by hand: a hand at the rim takes
        /// a twentieth. Larger: small cards are not seen. Smaller: the atmosphere is a card.
        card_light_share: f64 = 0.02,
        /// How much of what is missing points one way (length of the mean direction). Set by hand: a card of 60 degrees has 0.95. Larger:
        /// cards at a crowded side are not seen. Smaller: a star out of focus otherwise is a card.
        card_towards_share: f64 = 0.7,
        /// A second dark stretch is no larger than this share of the first. Set by hand. Larger: two things in the beam pass for a card. Smaller:
        /// a vane beside a card makes it none.
        card_second_share: f64 = 0.6,
        /// An answer of less weight than this is not asked whether a turn would help. The design's (DESIGN section 10). Larger: turns that
        /// may harm. Smaller: trials where the answer is known.
        weight_that_counts: f64 = 0.01,
        /// Rotations that stand for all of them where a frame shows none. Derived: between neighbours of 30 degrees a step of a
        /// screw loses at most 4 % of its effect. Larger: longer reports. Smaller: coarse.
        rotations_listed: usize = 12,
        /// Rotations whose shadows fit worse than the best ones by more than this (in squares, over the scatter of the profile) are not
        /// tried on the whole frame. Set by hand: neighbouring directions of the profile are not independent. Larger: more time.
        /// Smaller: faint vanes seem to say what they do not.
        worth_a_fit_chi_square: f64 = 60.0,
        /// Rotations that lie closer than this are one, radians. Set by hand: the fit turns the camera itself. Larger: vanes that
        /// stand close together are taken for each other. Smaller: more time.
        apart_rad: f64 = 8.0 * DEG,
        /// Answers tried on the whole frame, at most. Set by hand: four vanes and two mirror images. Larger: more time. Smaller: even
        /// spiders are not seen through.
        tried_at_most: usize = 8,
        /// Another answer takes the place of the typed one where its χ² is smaller by this, in units of the better one's spread: three
        /// standard deviations. Set by hand. Larger: wrong cameras stay. Smaller: chance turns cameras.
        better_chi_square: f64 = 9.0,
    }
}
