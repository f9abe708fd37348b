//! What a frame of many stars shows, as it is handed out and written: stars, focal plane, coma node.

use super::{Corners, StarShape};
use crate::flag::Flags;
use serde::Serialize;

/// A value and its standard deviation, which is never absent, unlike that of a [`Uncertain`](crate::math::Uncertain): where a fit does not
/// determine all of its unknowns, nothing is told of the plane or the node at all.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard deviation.
    pub sigma: f64,
}

/// What a frame of many stars shows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WholeFrame {
    /// Sources found in the first frame.
    pub sources_found: usize,
    /// Stars that could be measured: whole, alone, not full, well above the noise.
    pub stars: Vec<StarShape>,
    /// The focal plane; `None` with a flag where it cannot be told.
    pub focal_plane: Option<FocalPlane>,
    /// The coma node; `None` with a flag where it cannot be told.
    pub coma: Option<ComaField>,
    /// What is wrong with the corners, and what the screws can do; `None` with too few stars.
    pub corners: Option<Corners>,
    /// What the owner should know.
    pub flags: Flags,
}

/// The sensor against the focal plane. Where `sign_open` is flagged, all of offset, slopes and tilt may have the other sign.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FocalPlane {
    /// Sensor beyond focus in the middle of the frame.
    pub sensor_offset_um: Estimate,
    /// Rise of the sensor offset along x and y of the frame.
    pub slope_um_per_mm: [Estimate; 2],
    /// Difference of the sensor offset between the two corners (or edges) that differ most.
    pub across_sensor_um: Estimate,
    /// Corner or edge where the sensor sits farthest outside; `None` where the sign is open or there is no slope.
    pub towards: Option<String>,
    /// The two that it can be.
    pub towards_either: Option<[String; 2]>,
    /// What told the side of focus: `curvature`, `side`, `offset`, `second_frame`.
    pub sign_by: Option<&'static str>,
    /// Diameter of a star in focus, seeing and pixels included.
    pub least_diameter_px: Estimate,
    /// Tilt of the unit that would make this slope, pupil axes; `None` without a response or where the sensor does not ride on it.
    pub tilt_arcmin: Option<[Estimate; 2]>,
    /// Stars that took part.
    pub stars_used: usize,
    /// Scatter of the stars' diameters over what was expected, 1 for a perfect model.
    pub scatter_ratio: f64,
}

/// The place without coma, and what follows from it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ComaField {
    /// The node, frame axes.
    pub node_px: [Estimate; 2],
    /// The node from the middle of the sensor, pupil axes.
    pub node_mm: [Estimate; 2],
    /// Growth of coma from the node, as the asymmetries have it, with what the circles of summation cut off worked out by rays.
    pub coma_nm_per_mm: Estimate,
    /// Coma in the middle of the frame, [Noll 8, Noll 7], with the telescope's own growth where it is known.
    pub coma_in_middle_nm: [f64; 2],
    /// Tilt of the unit that puts the node where it is, pupil axes; `None` without a response or field coma.
    pub tilt_arcmin: Option<[Estimate; 2]>,
    /// Tilt to add so that the node comes to the axis.
    pub correcting_tilt_arcmin: Option<[Estimate; 2]>,
    /// Stars that took part.
    pub stars_used: usize,
    /// Scatter of the asymmetries over what was expected.
    pub scatter_ratio: f64,
}
