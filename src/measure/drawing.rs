//! What is drawn over a star: plain data for whoever draws. Directions and places are the frame's.

use serde::Serialize;

/// What is drawn over a star; places in pixels from the middle of its picture, +y up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StarDrawing {
    /// Where a wave with W = 0 would focus.
    pub star_px: [f64; 2],
    /// The ring, where there is one.
    pub ring: Option<RingDrawing>,
    /// The spikes of a mask.
    pub spikes: Vec<SpikeDrawing>,
}

/// A ring as it is drawn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RingDrawing {
    /// Its middle.
    pub centre_px: [f64; 2],
    /// Radius of its outer edge.
    pub outer_px: f64,
    /// The dark middle.
    pub dark_px: Option<[f64; 2]>,
    /// Its radius.
    pub inner_px: Option<f64>,
    /// Towards the thin side, counter-clockwise from +x.
    pub thin_deg: f64,
}

/// A spike as it is drawn.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpikeDrawing {
    /// Along the spike, a step of one pixel.
    pub along: [f64; 2],
    /// How far it lies aside of where the aligned telescope would put it, along the slots.
    pub aside_px: Option<[f64; 2]>,
}
