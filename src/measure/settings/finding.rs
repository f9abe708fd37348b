//! Settings of finding stars: what lies behind them, pixels that are not to be trusted, what stands out, and how much of the
//! frame is cut out round one star.

use super::settings;

/// How stars are found.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FindingSettings {
    /// The surface behind the stars.
    pub background: BackgroundSettings,
    /// Hot, dead and full pixels.
    pub defects: DefectSettings,
    /// What is a star.
    pub search: SearchSettings,
    /// How a star is cut out.
    pub cut_out: CutOutSettings,
    /// Which pattern of a filter array a frame allows.
    pub colours: ColourSettings,
    /// Which gain a frame allows.
    pub gain: GainSettings,
    /// Whether the values of a star are in proportion to its light.
    pub linearity: LinearitySettings,
}

settings! {
    /// How the background behind the stars is found.
    BackgroundSettings {
        /// The level is where this share of the smoothed pixels lies closest together. Set by hand
        /// (`measure::background::tests::the_level_is_found_behind_a_large_doughnut`). Larger: a doughnut that fills most of a
        /// small frame is taken for the sky. Smaller: the level follows chance.
        densest_share: f64 = 0.2,
        /// Half side of the square that pixels are averaged over to see whether a faint star lies there; 2 is 5 × 5 pixels. Set by
        /// hand (same test). Larger: the sky close to a star is lost. Smaller: faint wings are fitted as sky.
        averaged_half_px: usize = 2,
        /// Frames whose shorter side has at least this many pixels are given a surface of second order, smaller ones a plane. Set by
        /// hand (`a_curved_sky_is_followed_on_large_frames`). Larger: a curved sky is left in the stars. Smaller: the curve bends
        /// to the wings of the one star that fills a small frame.
        curved_from_px: usize = 256,
        /// A slope is fitted only where each quarter of the frame holds this share of the sky's pixels. Set by hand. Larger: slopes
        /// are left in. Smaller: the slope is drawn through sky on one side only.
        quarter_share_at_least: f64 = 0.04,
        /// The surface is fitted anew only while this share of the frame counts as sky. Set by hand. Larger: the first guess of the
        /// level stands where a star fills the frame. Smaller: the surface follows a handful of pixels.
        fitted_share_at_least: f64 = 0.02,
        /// The same as a number of pixels, for small frames. Set by hand. Larger: frames of a few hundred pixels keep the first guess.
        /// Smaller: a plane through a few pixels.
        fitted_px_at_least: usize = 16,
        /// The surface is fitted to every second, third … pixel of the sky where there are more than this. Set by hand. Larger: slower.
        /// Smaller: the level is less certain.
        fitted_px_at_most: usize = 120_000,
    }
}

settings! {
    /// Which pixels are not to be trusted.
    DefectSettings {
        /// A pixel is hot or dead when it lies this many local standard deviations from its surroundings, alone. Set by hand
        /// (`measure::background::tests::hot_and_dead_pixels_are_listed_and_patched`). Larger: warm pixels stay in the star.
        /// Smaller: the noise of a bright star is patched away.
        alone_sigma: f64 = 14.0,
        /// It is alone when its eight neighbours together lie less than this many of their standard deviations from the
        /// surroundings. Set by hand (`an_undersampled_star_is_no_hot_pixel`). Larger: focused stars are taken for hot pixels.
        /// Smaller: hot pixels in the light of a star are missed.
        neighbours_sigma: f64 = 2.5,
        /// Or when they together lie less than this share of its own distance away: a very hot pixel may leak a little. Set by hand
        /// (same test). Larger: focused stars are taken for hot pixels. Smaller: leaking hot pixels are missed.
        neighbours_share: f64 = 0.04,
        /// A pixel within this share of the way from ceiling to background counts as full: noise of readout is added to a full
        /// well, and sensors bend near theirs. Common practice, no source. Larger: good pixels of bright stars are lost.
        /// Smaller: half of the full pixels are fitted as if they were good.
        nearly_full_share: f64 = 0.02,
        /// Where no ceiling is known, this many pixels must share the highest value for it to be one. Set by hand
        /// (`full_pixels_are_counted_with_and_without_a_known_ceiling`). Larger: a small clipped core goes unseen. Smaller: two
        /// equal counts make a ceiling.
        ceiling_px_at_least: usize = 5,
        /// And there must be more than this many times as many of them as pixels just below. Set by hand (same test). Larger: a
        /// clipped star with soft edges goes unseen. Smaller: the flat top of a doughnut is taken for a ceiling.
        ceiling_factor: usize = 3,
        /// "Just below" is this share of the way down to the background. Set by hand (same test). Larger: the star's own flanks hide
        /// a ceiling. Smaller: no pixel lies there, and every top is a ceiling.
        below_ceiling_share: f64 = 0.01,
        /// And at least this many counts, so that coarse counts have room. Set by hand. Larger: the flanks of a faint star hide its ceiling.
        /// Smaller: no count lies there, and the top of a faint star is a ceiling.
        below_ceiling_adu: f64 = 3.0,
        /// A full well is as wide as the noise of readout makes it: no more than this many standard deviations of the background. Set by
        /// hand: three either way. Larger: the top of a star is a ceiling. Smaller: pixels of a full well lie beside it.
        ceiling_band_sigma: f64 = 6.0,
        /// And it lies above this share of the way from the background to the highest value, which may be a hot pixel's. Set by hand. Larger: hot
        /// pixels hide it. Smaller: large frames take longer.
        ceiling_above_share: f64 = 0.3,
        /// And it is looked for where the light is this many times the background's variance (in counts), so that photons would scatter far
        /// wider. Derived: 16 for four times as wide at one electron a count, four times that for gains up to four. Larger: full wells of
        /// bright skies go unseen. Smaller: the flat top of a faint doughnut is a ceiling.
        ceiling_photons_factor: f64 = 64.0,
    }
}

settings! {
    /// What counts as a star.
    SearchSettings {
        /// A square of pixels is part of a star when its mean lies this many standard deviations of its own noise above the sky. Set by
        /// hand (`measure::stars::tests::noise_alone_is_refused_with_what_the_best_was`,
        /// `a_wide_faint_ring_is_found_whole`). Larger: faint wide rings are missed. Smaller: noise is a star.
        limit_sigma: f64 = 6.0,
        /// Gaps up to about this wide are bridged, as the shadow of a vane. Set by hand. Larger: close stars become one. Smaller: a
        /// ring falls into the pieces between its vanes.
        join_px: f64 = 6.0,
        /// Behind a mask, gaps of this many orders of its finest slots are bridged, λf/pitch each. Set by hand
        /// (`a_masked_star_is_one_source`). Larger: neighbours become part of the star. Smaller: orders become stars of their own.
        masked_join_orders: f64 = 2.0,
        /// But never wider gaps than this behind a mask. Set by hand; it matters for very fine slots. Larger: neighbours become part of the
        /// star. Smaller: orders become stars of their own.
        masked_join_px_at_most: f64 = 60.0,
        /// Half sides of the squares, small to large; 0, 1, 3 and 7 are 1, 3, 7 and 15 pixels a side. Set by hand
        /// (`a_wide_faint_ring_is_found_whole`). Larger ones find wider and fainter rings and blur outlines.
        squares_half_px: [usize; 4] = [0, 1, 3, 7],
        /// A square is judged while at least this share of its pixels was not found at a smaller size. Set by hand. Larger: what
        /// hangs on to a star is missed. Smaller: a few pixels stand for a large square.
        square_share_at_least: f64 = 0.3,
        /// Squares beyond this many standard deviations are left out when middle and noise of the sky's squares are read. Set by
        /// hand. Larger: a star that fills a small frame is taken into the sky. Smaller: the sky's own noise is cut.
        not_sky_sigma: f64 = 8.0,
        /// A star is measured on the pixels that stand out and this many further ones all round. Set by hand
        /// (`centres_and_fluxes_are_those_that_were_put_in`). Larger: more noise in its flux. Smaller: its wings are missed.
        margin_px: usize = 3,
        /// A star stands out in at least this many pixels. Set by hand. Larger: undersampled stars are missed. Smaller: single
        /// pixels are stars.
        px_at_least: usize = 3,
        /// A star that reaches opposite edges and whose box covers more than this share of the frame fills it, and is refused. Set by
        /// hand (`a_star_larger_than_its_frame_is_refused`). Larger: cut stars are measured as whole ones. Smaller: stars with
        /// long wings are refused.
        filled_share: f64 = 0.6,
        /// Before it is refused, pixels fainter than this share of its bright part are taken for wings and left out. Set by hand
        /// (`wings_of_a_bright_star_that_reach_the_edges_are_let_be`). Larger: the faint side of a comatic ring is lost.
        /// Smaller: bright stars in small frames are refused.
        wing_share: f64 = 0.1,
        /// Its bright part begins at this percentile of the whole frame, 0 to 1. Set by hand (same test). Larger: one hot corner of
        /// the ring decides. Smaller: on a frame with much sky the sky decides.
        bright_percentile: f64 = 0.95,
        /// A frame is refused as filled when more than this share of it lies below the sky that was found: then a star was taken for
        /// the sky. Set by hand (`a_star_larger_than_its_frame_is_refused`). Larger: such frames are measured. Smaller: dark
        /// corners of a vignetted frame refuse it.
        below_sky_share: f64 = 0.02,
        /// A pixel lies below the sky when its 5 × 5 pixels do by this many standard deviations. Set by hand. Larger: frames filled by a
        /// faint star are measured. Smaller: noise below the sky refuses a frame.
        below_sky_sigma: f64 = 6.0,
        /// This is asked of frames whose shorter side is less than this many pixels: no star fills larger ones. Set by
        /// hand. Larger: vignetted corners of large frames refuse them. Smaller: filled frames are measured.
        below_sky_up_to_px: usize = 256,
        /// Stars of more pixels than this are doughnuts, which stay round; smaller ones may be comatic or astigmatic near focus. Set
        /// by hand (`two_that_overlap_are_flagged`). Larger: pairs of small doughnuts go unseen. Smaller: comatic stars near focus are
        /// flagged.
        large_from_px: usize = 600,
        /// A large star is two, or trailed, when it is longer than wide by this factor. Set by hand (same test). Larger: pairs are
        /// fitted as one star. Smaller: astigmatic doughnuts are flagged.
        long_large_factor: f64 = 1.3,
        /// The same for a small star. Set by hand (same test). Larger: close pairs are fitted as one star. Smaller: comatic stars are flagged.
        long_small_factor: f64 = 1.6,
        /// A dark area counts as a middle of its own when it covers more than this share of the star; two middles are two stars. Set
        /// by hand (same test). Larger: pairs of doughnuts go unseen. Smaller: the gaps between vanes count.
        dark_middle_share: f64 = 0.04,
        /// A second peak has at least this share of the first one's light. Set by hand (same test). Larger: fainter companions go
        /// unseen. Smaller: noise is a companion.
        second_peak_share: f64 = 0.3,
        /// Between two peaks the light dips below this share of the fainter one. Set by hand (same test). Larger: a flat top is two
        /// stars. Smaller: close pairs go unseen.
        dip_share: f64 = 0.6,
        /// Where the light on both sides of the dip exceeds this share of the fainter peak, the two are opposite sides of a ring. Set
        /// by hand (same test). Larger: small rings are two stars. Smaller: pairs with wings are rings.
        ring_share: f64 = 0.4,
        /// Two peaks are at least this far apart. Set by hand (same test). Larger: close pairs go unseen. Smaller: noise on one peak
        /// is two.
        peaks_apart_px: f64 = 4.0,
    }
}

settings! {
    /// How much of the frame is cut out round a star, and when a star is refused.
    CutOutSettings {
        /// Sky on each side of a star without a mask, as a share of half its size. Set by hand. Larger: slower, and neighbours come in.
        /// Smaller: the fit cannot tell wings of the star from sky.
        margin_share: f64 = 0.10,
        /// And this many pixels more, so that small stars have sky too. Set by hand. Larger: slower. Smaller: no sky round small stars.
        margin_px: f64 = 6.0,
        /// A masked star is cut out with this much beyond what stands out of it. Set by hand. Larger: slower. Smaller: the ends of its
        /// spikes are cut off.
        masked_margin_px: f64 = 4.0,
        /// Half the side of a masked star's cut-out, at least and at most: its spikes are longer than they are of use. Set by hand.
        /// Larger: slower. Smaller: the orders that carry the shift are cut off.
        masked_half_px: [f64; 2] = [40.0, 64.0],
        /// A star is refused when the edge of the frame cuts more than this share of its cut-out off. Set by hand. Larger: the cut
        /// side decides about coma. Smaller: stars that can be measured are refused.
        cut_share_at_most: f64 = 0.25,
        /// A star is refused when more than this share of its lit pixels are full; lit is taken as twice the circle that holds half of
        /// its light. Set by hand. Larger: what is left does not tell its shape. Smaller: stars with a few full pixels, which
        /// are left out of the fit, are refused.
        full_share_at_most: f64 = 0.2,
    }
}

settings! {
    /// By which light the pattern of a filter array is judged.
    ColourSettings {
        /// A star whose half-flux radius is smaller gives each pixel of the array another share of its light, and is not judged. Set by
        /// hand. Larger: focused stars settle nothing. Smaller: a focused star refuses its true pattern.
        half_flux_radius_px_at_least: f64 = 2.0,
        /// Light is added up over the star's box and this many pixels round it. Set by hand. Larger: more noise of the sky. Smaller: wings
        /// are lost, which differ in size from colour to colour.
        margin_px: usize = 4,
        /// Nothing is judged from fewer arrays of four pixels. Set by hand. Larger: small stars settle nothing. Smaller: chance in
        /// a few pixels.
        arrays_at_least: usize = 40,
        /// Nothing is judged unless the light of each of the four stands out of its noise by this many standard deviations. Set by hand.
        /// Larger: faint stars settle nothing. Smaller: noise decides.
        light_sigma: f64 = 10.0,
        /// Two greens agree within this many standard deviations of their noise. Set by hand
        /// (`measure::colours::tests::a_picture_that_was_turned_over_is_seen`). Larger: faint stars settle nothing. Smaller: chance
        /// refuses a true pattern.
        greens_sigma: f64 = 5.0,
        /// And this share of their light beside it: the greens of a sensor differ by a per cent or two (common practice, no source), and
        /// a small star falls unevenly on them. Set by hand. Larger: red and blue that are nearly alike pass for greens. Smaller: true
        /// patterns are refused.
        greens_share: f64 = 0.06,
        /// Shares of red and blue to green may differ from a black body's by this factor: sensors take colours unevenly, and passbands
        /// are typed roughly. Set by hand. Larger: red is never told from blue. Smaller: true patterns are refused.
        colour_factor: f64 = 2.0,
        /// The sky of each pixel of the array is read this far from the box of any star. Set by hand. Larger: no sky is left in small
        /// frames. Smaller: wings of stars are taken for it.
        sky_from_px: usize = 8,
        /// It is 0 where there are fewer such pixels. Set by hand. Larger: a coloured sky is left in small frames. Smaller: chance.
        sky_px_at_least: usize = 60,
        /// And every second, third … is read where there are more. Set by hand. Larger: slower. Smaller: less certain.
        sky_px_at_most: usize = 400_000,
    }
}

settings! {
    /// When a gain cannot be.
    GainSettings {
        /// A gain is told to be off when it differs by this factor from all that the frame allows. Set by hand
        /// (`measure::gain::tests::the_true_gain_is_never_refused`). Larger: gains that cannot be are believed. Smaller: a read
        /// noise that is typed roughly is taken for a wrong gain.
        off_factor: f64 = 3.0,
        /// Nothing is said of a frame that scatters by less than this many counts: rounding hides its noise. Set by hand. Larger: low
        /// noise says nothing. Smaller: rounding is taken for noise.
        noise_adu_at_least: f64 = 0.5,
        /// Only the middle of a frame is read, this many pixels a side. Set by hand. Larger: slower. Smaller: a star may fill it.
        side_px_at_most: usize = 1024,
        /// A level that lies this many standard deviations of a pixel below the typed bias had another one taken off. Set by hand.
        /// Larger: frames whose bias was taken off are judged by a signal that is too small. Smaller: chance.
        bias_sigma: f64 = 1.0,
        /// The bias of a camera wanders by this many counts from frame to frame (common practice, no source). Larger: little sky says
        /// nothing. Smaller: a bias that wandered is taken for light.
        bias_slack_adu: f64 = 2.0,
        /// Pixels farther from the background than this many standard deviations are not read; the share that the variance loses
        /// by it (`gain.rs`) holds for three only.
        clip_sigma: f64 = 3.0,
        /// Nothing is said by fewer steps between pixels. Set by hand. Larger: small frames say nothing. Smaller: chance.
        steps_at_least: usize = 400,
    }
}

settings! {
    /// When the noise of a star's pixels is not that of photons. Growth is the variance that a pixel gains over its light, both in
    /// electrons as typed: 1 by Poisson's law with the right gain, and the same at every level in any linear file.
    LinearitySettings {
        /// Pixels of less than this share of the brightest ones' light are dark. Set by hand. Larger: faint stars have no levels. Smaller: wings
        /// count as sky.
        dark_share: f64 = 0.02,
        /// A level has at least this many pixels. Set by hand: a variance known to a third. Larger: small stars are not judged. Smaller: chance.
        pixels_at_least: usize = 40,
        /// Stars whose pixels stand out of the dark by less than this many of its standard deviations are not judged: photons hardly show
        /// there. Set by hand. Larger: faint stretched stars pass. Smaller: chance.
        light_at_least_sigma: f64 = 30.0,
        /// Growth below this in the brightest third is none. Set by hand on the independent simulator's frames: stretched files of eight bits have
        /// less than 0.07, linear ones more than 0.5. Larger: averages of several frames are refused. Smaller: stretched files pass.
        none_below: f64 = 0.15,
        /// Growth there below this share of that of the fainter levels is bent. Set by hand on the same frames: stretched ones of 16 bits have
        /// 0.3 and less, linear ones 0.85 and more, as structure adds to what is bright. Larger: linear files are refused. Smaller: weak
        /// stretches pass.
        bent_below: f64 = 0.6,
        /// Growth above this in the middle of all levels is no gain that somebody types. Set by hand on the same frames: a gain three times too
        /// large makes 3.5. Larger: stretches of bright files pass. Smaller: wrong gains are called stretches.
        at_most: f64 = 5.0,
        /// The dark scatters by no more than this many times the variance that its level and readout make, at the gain that the star's own
        /// pixels say. Set by hand on the same frames. Larger: weak stretches pass. Smaller: a read noise that is typed roughly is called a stretch.
        dark_at_most: f64 = 2.0,
        /// All of this is held against three standard deviations of what was read. Common practice, no source. Larger: stretched files pass.
        /// Smaller: linear ones are refused by chance.
        sigma: f64 = 3.0,
    }
}
