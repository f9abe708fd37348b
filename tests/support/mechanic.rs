//! Four kinds of cell as a mechanic knows them, and somebody who does literally what is printed for the hands. Nothing is shared with
//! `src/`: the words are read one by one, each model has its own laws, and whoever turns against a tight partner breaks something,
//! which is a panic. Angles are degrees of the wrench, clockwise positive facing the head.
//!
//! - push-pull: the unit stands at a height between the end of the push screw below and the head of the pull screw above. The two
//!   meet where it is held; none can go past the other.
//! - spring: the spring holds the unit to one flank of the thread. After a turn away from the spring the unit may stay behind by the
//!   play of the thread; it is held where it lies on the screw.
//! - pivot: the unit turns about the middle, every screw presses it there. Heights of a rigid plate about its middle obey one
//!   equation, w · heights = 0; screws further in than that bend it, screws less far in leave it loose.
//! - lock-nut: the thread carries the unit. A tight nut lets nobody turn; a nut that is not held goes along and binds; a screw that is
//!   not held goes along with its nut.

/// How the unit is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    PushPull,
    Spring,
    Pivot,
    LockNut,
}

impl Kind {
    pub const ALL: [Kind; 4] = [Kind::PushPull, Kind::Spring, Kind::Pivot, Kind::LockNut];

    pub fn word(self) -> &'static str {
        match self {
            Kind::PushPull => "push-pull",
            Kind::Spring => "spring",
            Kind::Pivot => "pivot",
            Kind::LockNut => "lock-nut",
        }
    }
}

/// Screws by name, where the person in front sees them, and how they are held.
#[derive(Debug, Clone)]
pub struct Bench {
    pub kind: Kind,
    pub clockwise_lengthens: bool,
    pub screws: [(&'static str, f64); 3],
    /// Play of the thread.
    pub play_deg: f64,
}

const SAME_DEG: f64 = 1e-9;

impl Bench {
    /// Does the words; how much longer each screw's place is afterwards, in turns.
    ///
    /// Panics where words cannot be read, something is turned against a tight partner, or something is loose at the end.
    #[track_caller]
    pub fn does(&self, words: &str) -> [f64; 3] {
        let words = words.trim_end_matches('.');
        let clauses: Vec<&str> = words
            .split(", then ")
            .map(|clause| clause.trim_start_matches("first "))
            .collect();
        let clockwise_deg = match self.kind {
            Kind::PushPull => self.pair(&clauses),
            Kind::Spring => self.spring(&clauses),
            Kind::Pivot => self.pivot(&clauses),
            Kind::LockNut => self.lock_nut(&clauses),
        };
        let sign = if self.clockwise_lengthens { 1.0 } else { -1.0 };
        clockwise_deg.map(|degrees| sign * degrees / 360.0)
    }

    fn number(&self, name: &str) -> usize {
        let screws = self.screws.iter().position(|(own, _)| *own == name);
        screws.unwrap_or_else(|| panic!("no screw is called {name:?}"))
    }

    /// What the place of one screw gains, by clockwise degrees of that screw.
    fn only(&self, screw: usize, degrees: f64) -> [f64; 3] {
        let mut all = [0.0; 3];
        all[screw] = degrees;
        all
    }

    fn pair(&self, clauses: &[&str]) -> [f64; 3] {
        // the height of the end that pushes and of the head that pulls, in degrees of a thread; a clockwise turn lifts the one and
        // lowers the other
        let (mut push, mut pull) = (0.0, 0.0);
        let lettered_pushes = self.clockwise_lengthens;
        let mut place = None;
        for clause in clauses {
            let word: Vec<&str> = clause.split(' ').collect();
            let (is_push, screw) = match word.as_slice() {
                [
                    _,
                    "the",
                    which @ ("push" | "pull"),
                    "screw",
                    "beside",
                    name,
                    ..,
                ] => {
                    assert_eq!(
                        *which == "push",
                        !lettered_pushes,
                        "{clause}: which one is it?"
                    );
                    (*which == "push", self.number(name))
                }
                [_, "the", which @ ("push" | "pull"), "screw", "until", ..] => {
                    (*which == "push", place.expect("a place"))
                }
                [_, name, ..] => (lettered_pushes, self.number(name)),
                _ => panic!("cannot read {clause:?}"),
            };
            assert!(
                place.is_none_or(|at| at == screw),
                "{clause}: another place"
            );
            place = Some(screw);
            let clockwise = match word[0] {
                "tighten" => pull - push, // until it holds
                "loosen" => -degrees(clause),
                "turn" => degrees(clause) * sense(clause),
                other => panic!("nobody can {other} a screw"),
            };
            assert!(
                word[0] != "tighten" || clause.ends_with("until it holds"),
                "{clause}"
            );
            if is_push {
                push += clockwise;
            } else {
                pull -= clockwise;
            }
            assert!(
                push <= pull + SAME_DEG,
                "{clause}: it works against a tight partner"
            );
        }
        assert!(
            (push - pull).abs() < SAME_DEG,
            "{clauses:?}: the pair is loose"
        );
        let lifted = push;
        let clockwise = if lettered_pushes { lifted } else { -lifted };
        self.only(place.expect("a place"), clockwise)
    }

    fn spring(&self, clauses: &[&str]) -> [f64; 3] {
        let (mut screw_deg, mut unit_deg) = (0.0, 0.0);
        let mut place = None;
        for clause in clauses {
            if let Some(name) = clause.strip_prefix("turn ") {
                place = name.split(' ').next().map(|name| self.number(name));
            } else {
                assert!(clause.starts_with("back "), "cannot read {clause:?}");
            }
            screw_deg += degrees(clause) * sense(clause);
            // against the spring the screw takes the unit along; away from it the unit comes after, but for the play
            unit_deg = f64::clamp(unit_deg, screw_deg, screw_deg + self.play_deg);
        }
        assert!(
            f64::abs(screw_deg - unit_deg) < SAME_DEG,
            "{clauses:?}: the unit does not lie on its screw"
        );
        self.only(place.expect("a screw"), unit_deg)
    }

    fn pivot(&self, clauses: &[&str]) -> [f64; 3] {
        let weights = self.plate_weights();
        let excess = |ends: &[f64; 3]| (0..3).map(|k| weights[k] * ends[k]).sum::<f64>();
        let mut ends = [0.0; 3];
        for clause in clauses {
            if let Some(list) = clause.strip_prefix("tighten ") {
                assert!(clause.ends_with("until it holds") || clause.ends_with("until they hold"));
                let list = list.split(" until").next().unwrap_or_default();
                let list = list.split(" in turn").next().unwrap_or_default();
                let screws: Vec<usize> = names(list).iter().map(|n| self.number(n)).collect();
                // in turn, a little each: the same for each of them
                let weight: f64 = screws.iter().map(|k| weights[*k]).sum();
                let each = -excess(&ends) / weight;
                assert!(each >= -SAME_DEG, "{clause}: it was tight before");
                screws.iter().for_each(|k| ends[*k] += each);
            } else {
                let (list, way) = clause.split_once(" (").expect("a sense");
                let (word, list) = list.split_once(' ').expect("a verb");
                let way = match (word, way) {
                    ("loosen", "anticlockwise)") => -1.0,
                    ("turn", "clockwise)") => 1.0,
                    _ => panic!("cannot read {clause:?}"),
                };
                for part in names(list) {
                    let name = part.split(' ').next().expect("a name");
                    ends[self.number(name)] += way * degrees(&part);
                }
            }
            assert!(
                excess(&ends) < SAME_DEG,
                "{clause}: it works against a tight partner"
            );
        }
        assert!(excess(&ends).abs() < SAME_DEG, "{clauses:?}: it is loose");
        ends
    }

    /// The equation of a rigid plate about its middle: w · heights = 0 where w · azimuths' unit vectors = 0, all of one sign.
    fn plate_weights(&self) -> [f64; 3] {
        let u = self.screws.map(|(_, deg)| {
            let (sin, cos) = deg.to_radians().sin_cos();
            [cos, sin]
        });
        let cross = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
        let weights = [cross(u[1], u[2]), cross(u[2], u[0]), cross(u[0], u[1])];
        assert!(
            weights.iter().all(|w| *w > 0.0),
            "the screws stand on one side"
        );
        weights
    }

    fn lock_nut(&self, clauses: &[&str]) -> [f64; 3] {
        let mut tight = true;
        let (mut turned_deg, mut place) = (0.0, None);
        for clause in clauses {
            let (done, held) = clause.split_once(" while you hold ").expect("what is held");
            if let Some(rest) = done.strip_prefix("turn ") {
                assert!(!tight, "{clause}: the nut is tight");
                assert_eq!(held, "the nut", "{clause}: the nut goes along and binds");
                let name = rest.split(' ').next().expect("a name");
                assert_eq!(place, Some(self.number(name)), "{clause}: another screw");
                turned_deg += degrees(done) * sense(done);
                continue;
            }
            let screw = self.number(held);
            assert!(
                place.is_none_or(|at| at == screw),
                "{clause}: another screw"
            );
            place = Some(screw);
            tight = match done.split(" of ").next() {
                Some("loosen the nut") => false,
                Some("tighten the nut") => true,
                _ => panic!("cannot read {clause:?}"),
            };
        }
        assert!(tight, "{clauses:?}: the nut is loose");
        self.only(place.expect("a screw"), turned_deg)
    }
}

/// "A by 25 degrees and C by 20 degrees" or "A, B and C", part by part.
fn names(list: &str) -> Vec<String> {
    list.replace(" and ", ", ")
        .split(", ")
        .map(str::to_owned)
        .collect()
}

/// The whole degrees of "… by 45 degrees …"; a wrench is told steps of five.
fn degrees(clause: &str) -> f64 {
    let before = clause.split(" degrees").next().unwrap_or_default();
    let number = before.rsplit(' ').next().unwrap_or_default();
    let whole: u32 = number
        .parse()
        .unwrap_or_else(|_| panic!("{clause:?} says no degrees"));
    assert!(whole > 0 && whole.is_multiple_of(5), "{clause}: {whole}");
    f64::from(whole)
}

fn sense(clause: &str) -> f64 {
    let is = |word: &str| clause.split([' ', ',']).any(|own| own == word);
    match (is("clockwise"), is("anticlockwise")) {
        (true, false) => 1.0,
        (false, true) => -1.0,
        _ => panic!("{clause:?} has no one sense"),
    }
}

/// The models refuse what cannot be done: a test that holds words against them can fail.
mod tests {
    use super::*;

    fn bench(kind: Kind) -> Bench {
        Bench {
            kind,
            clockwise_lengthens: true,
            screws: [("A", 90.0), ("B", 210.0), ("C", 330.0)],
            play_deg: 12.0,
        }
    }

    #[test]
    fn wrong_orders_are_refused() {
        for (kind, words) in [
            (
                Kind::PushPull,
                "turn B clockwise by 45 degrees, then tighten the pull screw beside B until it holds",
            ),
            (
                Kind::PushPull,
                "first loosen the pull screw beside B by 40 degrees, then turn B clockwise by 45 degrees, then tighten the pull screw until it holds",
            ),
            (Kind::PushPull, "loosen B anticlockwise by 45 degrees"),
            (
                Kind::PushPull,
                "first loosen the push screw beside B by 55 degrees, then turn B clockwise by 45 degrees, then tighten the push screw until it holds",
            ),
            (Kind::Spring, "turn B anticlockwise by 45 degrees"),
            (
                Kind::Spring,
                "turn B anticlockwise by 55 degrees, then back clockwise by 10 degrees",
            ),
            (
                Kind::Pivot,
                "turn B by 45 degrees (clockwise), then tighten A and C in turn, a little each, until they hold",
            ),
            (
                Kind::Pivot,
                "first loosen A by 25 degrees and C by 25 degrees (anticlockwise), then turn B by 45 degrees (clockwise)",
            ),
            (
                Kind::LockNut,
                "turn B clockwise by 45 degrees while you hold the nut",
            ),
            (
                Kind::LockNut,
                "first loosen the nut of B while you hold B, then turn B clockwise by 45 degrees while you hold the nut",
            ),
            (
                Kind::LockNut,
                "first loosen the nut of B while you hold B, then turn B clockwise by 45 degrees while you hold B, then tighten the nut while you hold B",
            ),
        ] {
            let done = std::panic::catch_unwind(|| bench(kind).does(words));
            assert!(done.is_err(), "{kind:?}: {words}: {done:?}");
        }
    }
}
