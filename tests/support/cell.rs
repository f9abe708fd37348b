//! A push-pull cell as a mechanic knows it: screws on a circle, a thread that turns one way, a plate that lies on three tips, and
//! somebody in front of the telescope with a wrench who does what is printed. Nothing is shared with `src/`.
//!
//! The person looks at the front of the telescope: x to the right, y up, hours as on a clock. Light that was reflected an odd
//! number of times shows the pupil as that person sees it, an even number shows it mirrored left to right; whoever describes the
//! telescope types azimuths of the pupil. A longer screw raises its edge of the unit, and the coma of the star is a constant times
//! the tilt, along the raised edge (Noll 8 along x of the pupil, Noll 7 along y).

/// One place of the cell.
#[derive(Debug, Clone)]
pub struct CellScrew {
    pub name: &'static str,
    /// Where the person in front sees it, counter-clockwise from the right.
    pub front_deg: f64,
    /// How much longer it is than nominal.
    pub length_mm: f64,
}

/// The cell and the telescope about it.
#[derive(Debug, Clone)]
pub struct Cell {
    pub screws: [CellScrew; 3],
    pub circle_radius_mm: f64,
    pub pitch_mm: f64,
    /// Whether a turn clockwise, facing the head, makes the screw longer.
    pub clockwise_lengthens: bool,
    pub reflections: u32,
    pub coma_nm_per_arcmin: f64,
}

/// A turn as it is printed, read word by word.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadTurn {
    pub name: String,
    /// The hour at which the words say the screw is; `None` where they do not.
    pub hour: Option<u32>,
    pub turns: f64,
    pub clockwise: bool,
    /// Whether the words say that the screw becomes longer.
    pub lengthens: bool,
}

impl Cell {
    /// The person turns one screw.
    pub fn do_as_told(&mut self, told: &ReadTurn) {
        let pitch_mm = self.pitch_mm;
        let longer = told.clockwise == self.clockwise_lengthens;
        assert_eq!(
            longer, told.lengthens,
            "{told:?}: the thread does not do so"
        );
        if let Some(hour) = told.hour {
            // whoever is told an hour takes the screw that stands there, and then reads its letter
            assert_eq!(self.at_hour(hour).name, told.name, "{told:?}");
        }
        let screw = self.named(&told.name);
        screw.length_mm += if longer { told.turns } else { -told.turns } * pitch_mm;
    }

    /// Turns of a report, positive for longer.
    pub fn lengthen(&mut self, name: &str, turns: f64) {
        let pitch_mm = self.pitch_mm;
        self.named(name).length_mm += turns * pitch_mm;
    }

    pub fn named(&mut self, name: &str) -> &mut CellScrew {
        let screw = self.screws.iter_mut().find(|screw| screw.name == name);
        screw.unwrap_or_else(|| panic!("no screw is called {name}"))
    }

    /// The screw that the person sees nearest to an hour.
    pub fn at_hour(&self, hour: u32) -> &CellScrew {
        let hour_deg = 90.0 - 30.0 * f64::from(hour);
        let apart = |screw: &CellScrew| {
            let turn = (screw.front_deg - hour_deg).rem_euclid(360.0);
            turn.min(360.0 - turn)
        };
        let nearest = self
            .screws
            .iter()
            .min_by(|a, b| apart(a).total_cmp(&apart(b)));
        let nearest = nearest.expect("three screws");
        assert!(
            apart(nearest) <= 15.0 + 1e-9,
            "nothing stands at {hour} o'clock: {self:?}"
        );
        nearest
    }

    /// The plane through the three tips, as the person in front sees it: height in the middle in mm, and its slope in arcmin, which
    /// points to the raised edge. Cramer's rule for a + b x + c y = length.
    pub fn plane(&self) -> (f64, [f64; 2]) {
        let place = |screw: &CellScrew| {
            let (sin, cos) = screw.front_deg.to_radians().sin_cos();
            [self.circle_radius_mm * cos, self.circle_radius_mm * sin]
        };
        let [p, q, r] = [0, 1, 2].map(|k| place(&self.screws[k]));
        let [a, b, c] = [0, 1, 2].map(|k| self.screws[k].length_mm);
        let whole = (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
        let slope = [
            ((b - a) * (r[1] - p[1]) - (c - a) * (q[1] - p[1])) / whole,
            ((q[0] - p[0]) * (c - a) - (r[0] - p[0]) * (b - a)) / whole,
        ];
        let middle_mm = a - slope[0] * p[0] - slope[1] * p[1];
        (middle_mm, slope.map(|s| s.to_degrees() * 60.0))
    }

    /// An azimuth that the person sees, in the pupil; and back.
    pub fn through_mirrors_deg(&self, azimuth_deg: f64) -> f64 {
        if self.reflections % 2 == 1 {
            azimuth_deg
        } else {
            180.0 - azimuth_deg
        }
    }

    /// The tilt in the pupil, arcmin.
    pub fn tilt_in_pupil(&self) -> [f64; 2] {
        let [x, y] = self.plane().1;
        if self.reflections % 2 == 1 {
            [x, y]
        } else {
            [-x, y]
        }
    }

    /// Noll 8 and 7, nm RMS.
    pub fn coma_nm(&self) -> [f64; 2] {
        self.tilt_in_pupil().map(|t| t * self.coma_nm_per_arcmin)
    }

    pub fn coma_size_nm(&self) -> f64 {
        let [x, y] = self.coma_nm();
        x.hypot(y)
    }

    /// What whoever owns the telescope types of it.
    pub fn assembly_toml(
        &self,
        kind: &str,
        image_shift_um_per_arcmin: f64,
        focus_um_per_mm: f64,
    ) -> String {
        let screws: Vec<String> = self
            .screws
            .iter()
            .map(|screw| {
                let azimuth_deg = self.through_mirrors_deg(screw.front_deg).rem_euclid(360.0);
                format!(
                    "{{ name = \"{}\", azimuth_deg = {azimuth_deg:?} }}",
                    screw.name
                )
            })
            .collect();
        format!(
            "[assembly]\nkind = \"{kind}\"\nscrew_circle_radius_mm = {:?}\npitch_mm_per_turn = {:?}\nclockwise = \"{}\"\nscrews = [ {} ]\n\
             [assembly.response]\ncoma_nm_per_arcmin = {:?}\nimage_shift_um_per_arcmin = {image_shift_um_per_arcmin:?}\n\
             focus_um_per_mm = {focus_um_per_mm:?}\nsensor_tilt_per_tilt = 1.0\n",
            self.circle_radius_mm,
            self.pitch_mm,
            if self.clockwise_lengthens {
                "lengthens"
            } else {
                "shortens"
            },
            screws.join(", "),
            self.coma_nm_per_arcmin,
        )
    }
}

/// "1/8", "1 3/64", "45" or "0.125" as a number.
fn amount(text: &str) -> f64 {
    let part = |word: &str| match word.split_once('/') {
        Some((top, bottom)) => {
            top.parse::<f64>().expect("a number") / bottom.parse::<f64>().expect("a number")
        }
        None => word.parse::<f64>().expect("a number"),
    };
    text.split_whitespace().map(part).sum()
}

/// The word between two others.
fn between<'a>(text: &'a str, before: &str, after: &str) -> Option<&'a str> {
    Some(text.split_once(before)?.1.split_once(after)?.0)
}

fn sense(word: &str) -> bool {
    match word {
        "clockwise" => true,
        "anticlockwise" => false,
        other => panic!("{other} is no sense of turning"),
    }
}

fn end(word: &str) -> bool {
    match word {
        "lengthens" => true,
        "shortens" => false,
        other => panic!("a screw {other}?"),
    }
}

/// "B: 1/8 turn clockwise (45 degrees), it lengthens (at 8 o'clock seen from the front): …"; `None` for another kind of line. The
/// degrees are what the hands do; the fraction before them must be about that, "a little more" or "less" included.
pub fn read_step(line: &str) -> Option<ReadTurn> {
    let (name, rest) = line.split_once(": ")?;
    let (fraction, rest) = rest.split_once(" turn")?;
    let (way, rest) = rest.trim_start().split_once(" (")?;
    let (degrees, tail) = rest.split_once(" degrees), it ")?;
    let turns = amount(degrees) / 360.0;
    let said = fraction.rsplit(' ').next().map(amount)?;
    let over = if fraction.contains("more than") {
        0.0..1.0 / 32.0
    } else if fraction.contains("less than") {
        -1.0 / 16.0..0.0
    } else {
        -2.6 / 360.0..2.6 / 360.0
    };
    assert!(over.contains(&(turns - said)), "{line}");
    let word = tail.split([' ', ':', ';', '.']).next()?;
    Some(ReadTurn {
        name: name.rsplit(' ').next()?.to_owned(),
        hour: between(tail, "(at ", " o'clock").and_then(|hour| hour.parse().ok()),
        turns,
        clockwise: sense(way),
        lengthens: end(word),
    })
}

/// "screw B (at 8 o'clock) 36 degrees (a little less than 1/8 turn) clockwise, which lengthens it; screw C …": the sentence that goes with a
/// truth.
pub fn read_undoing(words: &str) -> Vec<ReadTurn> {
    let steps = words.split("screw ").skip(1).filter_map(|step| {
        let (name, rest) = step.split_once(" (at ")?;
        let (hour, rest) = rest.split_once(" o'clock) ")?;
        let (degrees, rest) = rest.split_once(" degrees (")?;
        let (_, rest) = rest.split_once(") ")?;
        let (way, rest) = rest.split_once(", which ")?;
        Some(ReadTurn {
            name: name.to_owned(),
            hour: hour.parse().ok(),
            turns: amount(degrees) / 360.0,
            clockwise: sense(way),
            lengthens: end(rest.split_once(' ')?.0),
        })
    });
    steps.collect()
}

/// "Try: turn screw B clockwise by 45 degrees (1/8 turn), which lengthens it; …."
pub fn read_trying(words: &str) -> Option<ReadTurn> {
    let line = words.lines().last()?.strip_prefix("Try: turn screw ")?;
    let (name, rest) = line.split_once(' ')?;
    let (way, rest) = rest.split_once(" by ")?;
    let (degrees, rest) = rest.split_once(" degrees (")?;
    Some(ReadTurn {
        name: name.to_owned(),
        hour: None,
        turns: amount(degrees) / 360.0,
        clockwise: sense(way),
        lengthens: end(between(rest, ", which ", " it")?),
    })
}
