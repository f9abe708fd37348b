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

/// Turns as they are typed, or degrees of the wrench; `None` for what is no finite number.
///
/// ```
/// use skewstar::instrument::read_turns;
/// assert_eq!(read_turns("-3/64"), Some(-0.046875));
/// assert_eq!(read_turns("0.05"), Some(0.05));
/// assert_eq!(read_turns("-45deg"), Some(-0.125));
/// assert_eq!(read_turns("45 degrees"), read_turns("45°"));
/// for bad in ["", "1/0", "eighth", "1/8/2", "nan", "deg", "1/0 deg"] {
///     assert_eq!(read_turns(bad), None);
/// }
/// ```
pub fn read_turns(text: &str) -> Option<f64> {
    const DEGREES: [&str; 4] = ["degrees", "degree", "deg", "°"];
    let typed = text.trim();
    let of_wrench = DEGREES.iter().find_map(|unit| typed.strip_suffix(unit));
    let number = |text: &str| text.trim().parse::<f64>().ok();
    let turns = match (of_wrench, typed.split_once('/')) {
        (Some(degrees), _) => number(degrees)? / 360.0,
        (None, Some((above, below))) => number(above)? / number(below)?,
        (None, None) => number(typed)?,
    };
    turns.is_finite().then_some(turns)
}

/// A wrench's angle is told in steps of this many degrees.
pub const WRENCH_STEP_DEG: i32 = 5;

/// A turn as it is told to a hand: degrees in fives, and the part of a turn that this is.
///
/// ```
/// use skewstar::instrument::turn_in_words;
/// assert_eq!(turn_in_words(-0.125), "45 degrees (1/8 turn)");
/// assert_eq!(turn_in_words(0.14), "50 degrees (a little more than 1/8 turn)");
/// assert_eq!(turn_in_words(1.25), "450 degrees (1 1/4 turns)");
/// assert_eq!(turn_in_words(0.004), "less than 5 degrees");
/// ```
pub fn turn_in_words(turns: f64) -> String {
    let degrees = wrench_degrees(turns);
    match degrees {
        0 => format!("less than {WRENCH_STEP_DEG} degrees"),
        degrees => format!("{} degrees ({})", degrees.abs(), part_of_a_turn(degrees)),
    }
}

/// Turns in degrees of the wrench, to the nearest five.
pub fn wrench_degrees(turns: f64) -> i32 {
    let step = f64::from(WRENCH_STEP_DEG);
    (turns * 360.0 / step).round() as i32 * WRENCH_STEP_DEG
}

/// A fraction of a turn is said where the degrees are this close to it: half a step.
const SAME_DEG: f64 = 2.5;
/// The finest fraction of a turn that is said.
const SIXTEENTH_DEG: f64 = 360.0 / 16.0;

/// Degrees of a wrench as a part of a turn: eighths, and sixteenths where it is small.
///
/// 45 is "1/8 turn", 30 "a little more than 1/16 turn", 10 "less than 1/16 turn".
pub fn part_of_a_turn(degrees: i32) -> String {
    let degrees = f64::from(degrees.abs());
    let sixteenths = (degrees / SIXTEENTH_DEG).round();
    let said = match sixteenths as u32 {
        0 => return "less than 1/16 turn".into(),
        n => fraction(f64::from(n) / 16.0),
    };
    let over = degrees - sixteenths * SIXTEENTH_DEG;
    match over {
        over if over > SAME_DEG => format!("a little more than {said}"),
        over if over < -SAME_DEG => format!("a little less than {said}"),
        _ => said,
    }
}

/// A turn that is a whole number of sixteenths.
///
/// ```
/// use skewstar::instrument::fraction;
/// assert_eq!(fraction(0.125), "1/8 turn");
/// assert_eq!(fraction(1.25), "1 1/4 turns");
/// assert_eq!(fraction(0.0625), "1/16 turn");
/// ```
pub fn fraction(turns: f64) -> String {
    let parts = (turns.abs() * 16.0).round() as u64;
    let (whole, mut top, mut bottom) = (parts / 16, parts % 16, 16);
    while top > 0 && top.is_multiple_of(2) {
        (top, bottom) = (top / 2, bottom / 2);
    }
    match (whole, top) {
        (0, 0) => "no turn".into(),
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
