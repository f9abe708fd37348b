//! Settings of the edges of a doughnut that are read without a model.

use super::settings;
use crate::units::DEG;

settings! {
    /// How the edges of a doughnut are read. `tests/measuring/rings.rs` measures edges and dark shift with these values.
    RingSettings {
        /// An edge is where the light falls to this share of what the ring shows beside it. Derived: Fresnel's integral gives a quarter
        /// at the geometrical edge of a straight screen (from memory); atmosphere and pixels raise it a little. Larger: outer
        /// edges come out small and inner ones large. Smaller: the other way round, and noise of the sky is an edge.
        edge_light_share: f64 = 0.27,
        /// What counts as lit, as shares of the brightest pixels; the first of them that shows a ring is taken. Set by hand (same
        /// test): with much coma the wide side is many times fainter than the thin one. Larger: the faint side of such a ring is
        /// lost. Smaller: a faint star's noise is lit.
        lit_shares: [f64; 3] = [1.0 / 3.0, 1.0 / 6.0, 1.0 / 12.0],
        /// On the star and beside an edge, light above this share of the ring's typical light belongs to the ring. Derived: half way
        /// between dark and lit. Larger: the faint side is lost. Smaller: light that is bent into the shadow closes the hole.
        in_ring_share: f64 = 0.5,
        /// The picture is smoothed by this share of the star's radius, as a standard deviation. Set by hand (same test). Larger: edges
        /// and the shadows of vanes are washed out. Smaller: noise of single pixels makes edges.
        smoothing_share: f64 = 0.035,
        /// But in no more rounds of half a squared pixel each than this. Set by hand; it matters for stars of more than
        /// 120 pixels' radius. Larger: slower. Smaller: noise of very wide faint rings makes edges.
        smoothing_rounds_at_most: usize = 40,
        /// Distance of the samples along a spoke. Set by hand. Larger: edges are found less exactly. Smaller: slower.
        spoke_step_px: f64 = 0.25,
        /// A spoke tells an edge when at least this much of it lies in the ring. Set by hand. Larger: thin sides are left out. Smaller:
        /// single pixels are rings.
        spoke_in_ring_px_at_least: f64 = 1.5,
        /// Points of a curve round the ring farther from it than this many typical distances are left out. Set by hand
        /// (`measure::harmonics::tests::an_eccentric_circle_keeps_its_centre_and_area`). Larger: vanes and hot pixels bend the
        /// edge. Smaller: an oval edge is cut.
        far_from_curve_sigma: f64 = 3.5,
        /// Harmonics of the edges' radius: circle, shift, oval, trefoil. Set by hand. Larger: noise is followed. Smaller: astigmatism
        /// is not.
        edge_harmonics: usize = 3,
        /// An outer edge of a smaller radius is no ring that can be measured. Set by hand. Larger: small rings are refused. Smaller:
        /// focused stars are rings.
        outer_radius_px_at_least: f64 = 5.0,
        /// An inner edge beyond this share of the outer radius is none. Set by hand. Larger: a wrong inner edge is believed. Smaller:
        /// thin rings lose their inner edge.
        inner_over_outer_at_most: f64 = 0.95,
        /// The dark middle is sought this far inside the outer edge. Set by hand. Larger: the dark middle of a thin ring is cut.
        /// Smaller: the sky at a dent of the edge is a middle.
        dark_inside_edge_px: f64 = 2.0,
        /// A dark area that is worn off from its border in fewer rounds of one pixel is a dark pixel, not a middle. Set by hand.
        /// Larger: small obstructions go unseen. Smaller: dead pixels are middles.
        dark_rounds_at_least: usize = 1,
        /// The ring's light in a direction is the mean over its thickness less this share on either side. Set by hand. Larger: fewer
        /// pixels, more noise. Smaller: the soft edges count as less light.
        band_margin_share: f64 = 0.15,
        /// Harmonics of the ring's light that are no shadow: coma and astigmatism brighten it in one or two directions. Set by hand.
        /// Larger: shadows are followed. Smaller: the dark side of a comatic ring is a shadow.
        light_harmonics: usize = 2,
        /// A shadow takes at least this share of the light. Set by hand (same test). Larger: thin vanes are missed. Smaller: ripples
        /// are vanes.
        shadow_share_at_least: f64 = 0.12,
        /// And at least this many times the typical ripple of the light round the ring. Set by hand (same test). Larger: vanes in noisy
        /// stars are missed. Smaller: noise is a vane.
        shadow_over_ripple_factor: f64 = 4.0,
        /// A shadow is the deepest within this angle to either side. Set by hand. Larger: of two close vanes one is told. Smaller: one
        /// wide shadow is told twice.
        shadow_apart_rad: f64 = 15.0 * DEG,
    }
}
