//! The unit that the screws hold, and what its tilt does to the star.

/// The unit that the screws hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembly {
    /// How the screws hold the unit.
    pub kind: AssemblyKind,
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
            kind: AssemblyKind::default(),
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

/// How the screws hold the unit, and with it the order in which hands can turn them (`measure/hands.rs` says it).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AssemblyKind {
    /// At each place one screw pushes the unit off its base and one pulls it there: one gives way before the other is turned.
    #[default]
    PushPull,
    /// Each screw works against a spring, which holds the unit to it.
    Spring,
    /// The middle of the unit rests on a pivot, and all screws press (or pull) it there: where one comes, others must give way.
    Pivot,
    /// Each screw is held in its thread by a nut that is tightened against it.
    LockNut,
}

impl AssemblyKind {
    /// Every kind.
    pub const ALL: [AssemblyKind; 4] = [
        AssemblyKind::PushPull,
        AssemblyKind::Spring,
        AssemblyKind::Pivot,
        AssemblyKind::LockNut,
    ];

    /// The word for it in files.
    pub fn word(self) -> &'static str {
        match self {
            AssemblyKind::PushPull => "push-pull",
            AssemblyKind::Spring => "spring",
            AssemblyKind::Pivot => "pivot",
            AssemblyKind::LockNut => "lock-nut",
        }
    }

    /// What is loosened before a turn and tightened after it; `None` where nothing is.
    pub fn gives_way(self) -> Option<&'static str> {
        match self {
            AssemblyKind::PushPull => Some("partner"),
            AssemblyKind::Spring => None,
            AssemblyKind::Pivot => Some("others"),
            AssemblyKind::LockNut => Some("nut"),
        }
    }

    /// Whether something is tightened after a turn, which shifts the unit a little.
    pub fn is_locked(self) -> bool {
        self.gives_way().is_some()
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

impl ClockwiseTurn {
    /// Turns that lengthen for one clockwise turn: +1 or -1. Clockwise times it is lengthening, lengthening times it is clockwise.
    pub fn sign(self) -> f64 {
        match self {
            ClockwiseTurn::Lengthens => 1.0,
            ClockwiseTurn::Shortens => -1.0,
        }
    }

    /// The way of a turn that lengthens (or, below 0, shortens), facing the screw's head: see [`way`].
    pub fn way(self, turns: f64) -> &'static str {
        way(self.sign() * turns)
    }
}

/// `clockwise`, or `anticlockwise` below 0.
pub fn way(clockwise_turns: f64) -> &'static str {
    if clockwise_turns < 0.0 {
        "anticlockwise"
    } else {
        "clockwise"
    }
}

/// What a turn does to its screw: `lengthens`, or `shortens` below 0.
pub fn end(turns: f64) -> &'static str {
    if turns < 0.0 { "shortens" } else { "lengthens" }
}

/// Turns as they are typed; `None` for what is no finite number.
///
/// ```
/// use skewstar::instrument::read_turns;
/// assert_eq!(read_turns("-3/64"), Some(-0.046875));
/// assert_eq!(read_turns("0.05"), Some(0.05));
/// for bad in ["", "1/0", "eighth", "1/8/2", "nan"] {
///     assert_eq!(read_turns(bad), None);
/// }
/// ```
pub fn read_turns(text: &str) -> Option<f64> {
    let number = |text: &str| text.trim().parse::<f64>().ok();
    let turns = match text.split_once('/') {
        Some((above, below)) => number(above)? / number(below)?,
        None => number(text)?,
    };
    turns.is_finite().then_some(turns)
}

/// A turn as a wrench's owner would say it, to 1/64.
///
/// ```
/// use skewstar::instrument::fraction;
/// assert_eq!(fraction(0.125), "1/8 turn");
/// assert_eq!(fraction(1.251), "1 1/4 turns");
/// assert_eq!(fraction(0.06), "1/16 turn");
/// ```
pub fn fraction(turns: f64) -> String {
    let parts = (turns.abs() * 64.0).round() as u64;
    let (whole, mut top, mut bottom) = (parts / 64, parts % 64, 64);
    while top > 0 && top.is_multiple_of(2) {
        (top, bottom) = (top / 2, bottom / 2);
    }
    match (whole, top) {
        (0, 0) => "less than 1/64 turn".into(),
        (0, _) => format!("{top}/{bottom} turn"),
        (1, 0) => "1 turn".into(),
        (_, 0) => format!("{whole} turns"),
        _ => format!("{whole} {top}/{bottom} turns"),
    }
}

/// One screw.
#[derive(Debug, Clone, PartialEq)]
pub struct Screw {
    /// What the owner calls it.
    pub name: String,
    /// Where it stands.
    pub azimuth_rad: f64,
}

/// Effect of a tilt t of the unit, of its decentre d and of its spacing, at a fixed place on the sensor after recentring.
///
/// Astigmatism [Noll 6, Noll 5] of two vectors lies along the sum of their azimuths; where both are the same vector, along twice its own.
#[derive(Debug, Clone, PartialEq, Default)]
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
    /// Coma [Noll 8, Noll 7] in metres RMS per metre of decentre.
    pub decentre_coma_m_per_m: f64,
    /// Image shift in metres per metre of decentre.
    pub decentre_image_shift_m_per_m: f64,
    /// Astigmatism of decentre and tilt together, metres RMS per metre and radian.
    pub astigmatism_m_per_m_rad: f64,
    /// Astigmatism in metres RMS per square metre of decentre.
    pub decentre_astigmatism_m_per_m2: f64,
    /// Astigmatism linear in decentre and in field, metres RMS per metre and metre.
    pub decentre_astigmatism_m_per_m_m: f64,
    /// Spherical aberration (Noll 11) in metres RMS per metre of spacing.
    pub spacing_spherical_m_per_m: f64,
    /// Astigmatism that grows with the square of the field, metres RMS per metre of spacing and square metre of field.
    pub spacing_astigmatism_m_per_m_m2: f64,
    /// Secondary coma [Noll 16, Noll 17] in metres RMS per radian of (tx, ty).
    pub secondary_coma_m_per_rad: f64,
    /// Secondary coma [Noll 16, Noll 17] in metres RMS per metre of decentre.
    pub decentre_secondary_coma_m_per_m: f64,
    /// Sensor offset in metres per square radian of tilt.
    pub focus_m_per_rad2: f64,
    /// Sensor offset of decentre and tilt together, metres per metre and radian.
    pub focus_m_per_m_rad: f64,
    /// Sensor offset in metres per square metre of decentre.
    pub decentre_focus_m_per_m2: f64,
    /// How much the sensor offset grows per metre of field, per metre of decentre along it.
    pub decentre_sensor_tilt_rad_per_m: f64,
}
