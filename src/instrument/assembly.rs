//! The unit that the screws hold, and what its tilt does to the star.

/// The unit that the screws hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembly {
    /// Radius of the circle the screws stand on.
    pub screw_circle_radius_m: f64,
    /// Advance of a screw in one turn.
    pub pitch_m_per_turn: f64,
    /// What a clockwise turn does, facing the screw's head.
    pub clockwise: ClockwiseTurn,
    /// Shortest and longest a screw may be, from its nominal length; `None` when not stated.
    pub travel_m: Option<[f64; 2]>,
    /// Play of a screw on reversal.
    pub backlash_turns: f64,
    /// The screws, at least three, not all on one line.
    pub screws: Vec<Screw>,
    /// What a tilt of the unit does to the star; `None` where it is still to be learned.
    pub response: Option<Response>,
}

impl Assembly {
    /// Screws (name, azimuth) on a circle, without play or stops; what they do to the star is still to be learned.
    pub fn new(
        screw_circle_radius_m: f64,
        pitch_m_per_turn: f64,
        screws: impl IntoIterator<Item = (&'static str, f64)>,
    ) -> Self {
        Assembly {
            screw_circle_radius_m,
            pitch_m_per_turn,
            clockwise: ClockwiseTurn::Lengthens,
            travel_m: None,
            backlash_turns: 0.0,
            screws: screws
                .into_iter()
                .map(|(name, azimuth_rad)| Screw {
                    name: name.into(),
                    azimuth_rad,
                })
                .collect(),
            response: None,
        }
    }
}

/// What a clockwise turn does to a screw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockwiseTurn {
    /// It lengthens it.
    Lengthens,
    /// It shortens it.
    Shortens,
}

/// One screw.
#[derive(Debug, Clone, PartialEq)]
pub struct Screw {
    /// What the owner calls it.
    pub name: String,
    /// Where it stands.
    pub azimuth_rad: f64,
}

/// Effect of a tilt t of the unit, per radian, at a fixed place on the sensor after recentring.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// Coma [Noll 8, Noll 7] in metres RMS per radian of (tx, ty).
    pub coma_m_per_rad: f64,
    /// Astigmatism [Noll 6, Noll 5] in metres RMS per square radian, along twice the tilt's azimuth.
    pub astigmatism_m_per_rad2: f64,
    /// Astigmatism linear in tilt and in field, metres RMS per radian and metre.
    pub astigmatism_m_per_rad_m: f64,
    /// Image shift in metres per radian.
    pub image_shift_m_per_rad: f64,
    /// Sensor offset in metres per metre of piston.
    pub focus_m_per_m: f64,
    /// 1 when the sensor rides on the unit, 0 when it does not.
    pub sensor_tilt_per_tilt: f64,
}
