//! How a mask gets onto the telescope and off again: its seat, the camera that looks out of it, cables, and what a hand takes it by.
//!
//! Azimuths are in pupil axes, as everywhere; the mask's own turn in the tube is taken off where its parts are drawn.

/// Where a mask sits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seat {
    /// A ring round the tube.
    OverTube,
    /// A ring inside the tube; the plate lies on the tube's end.
    IntoTube,
    /// Two rings, one on either side of a dew shield's mouth, which stands in the groove between them.
    DewShield {
        /// Thickness of the shield.
        shield_wall_m: f64,
    },
}

/// The ring that holds the mask on a tube.
#[derive(Debug, Clone, PartialEq)]
pub struct Grip {
    /// What the ring sits on.
    pub seat: Seat,
    /// Diameter of the tube where the ring touches it: outside where it goes over (or round a dew shield), inside where it goes in.
    pub tube_diameter_m: f64,
    /// Free room all round between ring and tube.
    pub clearance_m: f64,
    /// Thickness of the ring's wall.
    pub wall_m: f64,
    /// Height of the ring.
    pub height_m: f64,
    /// Gap for cables: azimuth of its middle and width.
    pub notch: Option<(f64, f64)>,
    /// Height of three feet between plate and tube, which leave air; 0 for none.
    pub feet_m: f64,
}

impl Grip {
    /// Inner and outer radius of each wall, the outermost first.
    pub fn walls_m(&self) -> Vec<[f64; 2]> {
        let tube = 0.5 * self.tube_diameter_m;
        let over = [
            tube + self.clearance_m,
            tube + self.clearance_m + self.wall_m,
        ];
        let within = |bore: f64| {
            let outer = bore - self.clearance_m;
            [outer - self.wall_m, outer]
        };
        match self.seat {
            Seat::OverTube => vec![over],
            Seat::IntoTube => vec![within(tube)],
            Seat::DewShield { shield_wall_m } => vec![over, within(tube - shield_wall_m)],
        }
    }

    /// Outer radius of the outermost wall.
    pub fn outer_m(&self) -> f64 {
        self.walls_m()[0][1]
    }

    /// Inner radius of the wall that stands inside the tube; `None` where the ring is outside.
    pub fn inside_m(&self) -> Option<f64> {
        let innermost = self.walls_m().last().map(|wall| wall[0]);
        innermost.filter(|_| self.seat != Seat::OverTube)
    }

    /// Where the tube's end lies under the plate: inner and outer radius, as far as they are known.
    pub fn bearing_m(&self) -> [f64; 2] {
        let tube = 0.5 * self.tube_diameter_m;
        match self.seat {
            Seat::OverTube => [tube - LEDGE_M, tube],
            Seat::IntoTube => [tube, tube + LEDGE_M],
            Seat::DewShield { shield_wall_m } => [tube - shield_wall_m, tube],
        }
    }
}

/// How far a plate is to lie on the tube's end, all round (common practice, no source).
pub const LEDGE_M: f64 = 3e-3;

/// A camera in the middle of the beam, as seen from the front.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraBody {
    /// Diameter; the side, when it is square.
    pub diameter_m: f64,
    /// Whether it is square, and the plate's hole with it.
    pub square: bool,
    /// Azimuth of a side's middle, of a square one.
    pub turned_rad: f64,
    /// Free room between it (and its plugs) and the hole's edge.
    pub air_m: f64,
    /// How far it stands out of the tube, beyond the plate's plane; below 0 it ends behind the plate.
    pub stands_out_m: f64,
    /// Plugs that stick out of its side.
    pub plugs: Option<Plugs>,
}

/// Plugs at a camera's side, with the bend of their cables.
#[derive(Debug, Clone, PartialEq)]
pub struct Plugs {
    /// Azimuth of their middle.
    pub azimuth_rad: f64,
    /// Width of all of them.
    pub width_m: f64,
    /// How far they stand out of the camera's side.
    pub reach_m: f64,
}

/// A slit from the hole to the edge.
#[derive(Debug, Clone, PartialEq)]
pub struct CableSlit {
    /// Azimuth; `None` for the rib nearest to where the cables are (`slit_azimuth_rad` in `mask::cutouts`).
    pub azimuth_rad: Option<f64>,
    /// Width.
    pub width_m: f64,
    /// Solid plate on either side of it.
    pub cheek_m: f64,
}

/// Tabs beyond the plate's edge, outside the beam.
#[derive(Debug, Clone, PartialEq)]
pub struct Tabs {
    /// Azimuths of their middles.
    pub azimuths_rad: Vec<f64>,
    /// Width.
    pub width_m: f64,
    /// How far they stand out of the plate's edge.
    pub reach_m: f64,
    /// Diameter of a hole for a tether in the first; 0 for none.
    pub tether_hole_m: f64,
}
