//! Settings of frames of many stars.

use super::settings;
use crate::units::{ARCSEC, NM};

settings! {
    /// How a frame of many stars is measured. `measure::whole_frame::tests` print how far off the answers are with these values.
    WholeFrameSettings {
        /// Fewer stars than this say nothing about a field (`few_stars`); the plane alone has five unknowns. Set by hand. Larger: poor
        /// fields are refused. Smaller: one odd star tilts the plane.
        stars_at_least: usize = 8,
        /// The coma node is fitted while at least this many stars are left. Derived: twice its three unknowns.
        /// Larger: poor fields tell no node. Smaller: a few odd stars make one.
        node_stars_at_least: usize = 6,
        /// A star is measured when its light is this many standard deviations of the background's noise. Set by hand. Larger: fewer
        /// stars. Smaller: third moments of noise.
        light_sigma_at_least: f64 = 25.0,
        /// A star is alone when no other one's box comes closer than this many of its half-flux radii … Derived: its light is summed
        /// within [`light_radii`](Self::light_radii). Larger: fewer stars. Smaller: neighbours' light counts.
        alone_radii: f64 = 3.0,
        /// … and this many pixels. Set by hand. Larger: fewer stars. Smaller: neighbours' light counts in small stars.
        alone_px: f64 = 2.0,
        /// Neighbours with less than this share of its light do no harm. Set by hand. Larger: they skew it. Smaller: fewer stars.
        alone_flux_share: f64 = 0.003,
        /// Half-flux radii within which a star's light is summed. Set by hand: it holds all light of a doughnut and most of a focused
        /// star. Larger: more noise and neighbours. Smaller: sizes of stars with wings come out small.
        light_radii: f64 = 3.0,
        /// Half-flux radii within which its moments are summed. Set by hand. Larger: noise, which grows with the cube of the distance.
        /// Smaller: the tail of coma is cut off, which `rays.rs` allows for.
        moment_radii: f64 = 2.0,
        /// Standard deviation of a half-flux diameter, as a share of it, times the star's signal over noise: twice the 0.35 of a
        /// uniform disc, for a star's wings. Derived for the disc, set by hand for wings. Larger: σ of plane and node are larger.
        /// Smaller: they are smaller, until the stars' own scatter widens them again.
        diameter_sigma_factor: f64 = 0.7,
        /// A tilt or a growth of coma below this many standard deviations is not there (`plane_flat`, `node_not_found`). Set by hand.
        /// Larger: small tilts are not told. Smaller: chance is.
        seen_sigma: f64 = 4.0,
        /// The side of focus that the owner told is believed to have told the sign when the sensor lies this many standard deviations from
        /// focus. Set by hand. Larger: the sign stays open near focus. Smaller: a plane through focus is given a side.
        side_seen_sigma: f64 = 3.0,
        /// What the law of sizes may be off by, as a share of offset and slopes: discs and seeing do not quite add in squares. Set by hand
        /// on drawn fields (`a_tilted_sensor_is_read_towards_its_corner`). Larger: true tilts are called uncertain.
        /// Smaller: σ is too small.
        size_law_share: f64 = 0.1,
        /// The same for the law of asymmetries, as a share of the node's distance. Set by hand
        /// (`the_coma_node_and_the_tilt_that_moved_it_are_found`). Larger: true nodes are called uncertain. Smaller: σ is too small.
        node_law_share: f64 = 0.1,
        /// What a single diameter is off by, as a share of it. Set by hand. Larger: the brightest stars lose their weight. Smaller: they
        /// decide alone.
        diameter_law_share: f64 = 0.01,
        /// Stars farther than this many times the typical scatter from the law are left out. Set by hand. Larger: pairs and trails tilt the
        /// plane. Smaller: a curved law is cut to a plane.
        outlier_sigma: f64 = 4.0,
        /// Stars that scatter this many times as much as their noise do not follow the law (`sizes_off_model`,
        /// `asymmetries_off_model`). Set by hand. Larger: wrong answers are believed. Smaller: slight aberrations refuse a frame.
        poor_scatter_factor: f64 = 3.0,
        /// The mirror image of the plane on the other side of focus is ruled out when its χ² is larger by this. Set by hand
        /// (`the_sign_is_open_until_a_second_frame_tells_it`). Larger: the sign stays open. Smaller: chance tells it.
        other_side_chi_square: f64 = 12.0,
        /// Growth of coma over that of `[telescope.field]` beyond this range is flagged (`growth_differs`). Set by hand. Wider: a node in
        /// focus or in strong coma is believed. Narrower: slightly wrong field terms refuse a frame.
        growth_range: [f64; 2] = [0.5, 2.0],
        /// A node farther from the middle than this many half diagonals of the frame is flagged (`node_far_outside`). Set by hand. Larger:
        /// nodes that are mostly noise are told without a flag. Smaller: much misalignment is flagged.
        far_outside_half_diagonals: f64 = 3.0,
        /// Seeing (FWHM) that a star in focus is expected to show. Common practice, no source; the next number makes it a wide
        /// guess. Larger and smaller: where only wide doughnuts are seen, offset and slopes come out slightly smaller or larger.
        usual_seeing_rad: f64 = 2.5 * ARCSEC,
        /// Standard deviation of the square of that star's diameter, over the square: 1.5 covers seeing of 1 to 4 arcseconds. Set by
        /// hand. Larger: wide doughnuts leave the size in focus open. Smaller: the guess is taken for a measurement.
        usual_square_sigma_factor: f64 = 1.5,
        /// Stars with less coma than this are given as much, in the same direction, when it is worked out by rays how much of their
        /// asymmetry the circle of summation holds: less says nothing. Set by hand. Larger: the share of strong coma is taken for
        /// weak. Smaller: it is a ratio of two small sums.
        circle_coma_m_at_least: f64 = 30.0 * NM,
        /// Shares of the asymmetry within that circle beyond this range are not believed. Set by hand. Wider: one star's odd share moves
        /// the node. Narrower: much coma near focus comes out small.
        circle_share_range: [f64; 2] = [0.05, 2.0],
    }
}
