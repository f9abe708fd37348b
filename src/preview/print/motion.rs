//! How long a nozzle takes along its ways: it speeds up and slows down no faster than the printer's acceleration, and takes a corner no faster than
//! its jerk allows (the classic rule of printers' firmware: no axis changes its speed by more than the jerk at once).

/// One line of plastic, or a loop, at the speed that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Way {
    /// Its corners, metres; a loop ends where it began.
    pub points: Vec<[f64; 2]>,
    /// Speed, m/s.
    pub speed: f64,
}

impl Way {
    pub fn length_m(&self) -> f64 {
        self.points.windows(2).map(|w| apart(w[0], w[1])).sum()
    }
}

/// What a printer's axes do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Motion {
    /// m/s².
    pub acceleration: f64,
    /// m/s.
    pub jerk: f64,
    /// Speed between ways, m/s.
    pub travel: f64,
    /// Pulling the filament back and pushing it forward again, once a jump.
    pub retract_s: f64,
    /// Jumps shorter than this are made without.
    pub short_m: f64,
    /// Lifting the nozzle to the next layer.
    pub lift_s: f64,
}

impl Default for Motion {
    /// Common settings (common practice, no source): 1000 mm/s², jerk 8 mm/s, 150 mm/s, 0.8 mm of filament at 40 mm/s, jumps from 2 mm.
    fn default() -> Self {
        Motion {
            acceleration: 1.0,
            jerk: 8e-3,
            travel: 0.15,
            retract_s: 2.0 * (0.8 / 40.0 + 0.008),
            short_m: 2e-3,
            lift_s: 0.06,
        }
    }
}

impl Motion {
    /// Time of one layer: all ways, each jumped to from the end of the nearest one before it.
    pub fn time_s(&self, ways: &[Way]) -> f64 {
        let mut time_s = self.lift_s;
        for way in ways {
            time_s += self.along_s(way);
        }
        time_s + self.jumps_s(ways)
    }

    /// Jumps between ways of one speed, in the order of nearest next.
    fn jumps_s(&self, ways: &[Way]) -> f64 {
        let mut left: Vec<&Way> = ways.iter().filter(|way| way.points.len() > 1).collect();
        let mut time_s = 0.0;
        let mut at: Option<[f64; 2]> = None;
        while !left.is_empty() {
            let here = at.unwrap_or(left[0].points[0]);
            let away = |way: &Way| apart(here, way.points[0]);
            let nearest = (0..left.len())
                .min_by(|a, b| away(left[*a]).total_cmp(&away(left[*b])))
                .unwrap_or(0);
            let next = left.swap_remove(nearest);
            let jump_m = away(next);
            if jump_m > 0.0 {
                time_s += self.along_s(&Way {
                    points: vec![here, next.points[0]],
                    speed: self.travel,
                });
            }
            if jump_m > self.short_m {
                time_s += self.retract_s;
            }
            at = next.points.last().copied();
        }
        time_s
    }

    /// Time along one way, from rest to rest but for the jerk.
    pub fn along_s(&self, way: &Way) -> f64 {
        let points = &way.points;
        if points.len() < 2 {
            return 0.0;
        }
        let lengths: Vec<f64> = points.windows(2).map(|w| apart(w[0], w[1])).collect();
        let mut at_corner = self.corner_speeds(way, &lengths);
        let reach =
            |from: f64, length_m: f64| (from * from + 2.0 * self.acceleration * length_m).sqrt();
        for k in 1..at_corner.len() {
            at_corner[k] = at_corner[k].min(reach(at_corner[k - 1], lengths[k - 1]));
        }
        for k in (0..lengths.len()).rev() {
            at_corner[k] = at_corner[k].min(reach(at_corner[k + 1], lengths[k]));
        }
        lengths
            .iter()
            .enumerate()
            .map(|(k, length_m)| {
                self.stretch_s(*length_m, at_corner[k], at_corner[k + 1], way.speed)
            })
            .sum()
    }

    /// The most that each corner allows.
    fn corner_speeds(&self, way: &Way, lengths: &[f64]) -> Vec<f64> {
        let step = |k: usize| {
            let (a, b) = (way.points[k], way.points[k + 1]);
            [0, 1].map(|i| (b[i] - a[i]) / lengths[k].max(f64::MIN_POSITIVE))
        };
        let ends = self.jerk.min(way.speed);
        let mut speeds = vec![ends; way.points.len()];
        for (k, speed) in speeds.iter_mut().enumerate().take(lengths.len()).skip(1) {
            let (before, after) = (step(k - 1), step(k));
            let change = (after[0] - before[0])
                .abs()
                .max((after[1] - before[1]).abs());
            *speed = (self.jerk / change.max(1e-9)).min(way.speed);
        }
        speeds
    }

    /// Time of a straight stretch between two speeds, at most at a third.
    fn stretch_s(&self, length_m: f64, from: f64, to: f64, most: f64) -> f64 {
        let a = self.acceleration;
        let peak = ((2.0 * a * length_m + from * from + to * to) / 2.0).sqrt();
        if peak <= most {
            return (2.0 * peak - from - to).max(0.0) / a;
        }
        let ramps_m = (2.0 * most * most - from * from - to * to) / (2.0 * a);
        (2.0 * most - from - to) / a + (length_m - ramps_m) / most
    }
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (b[0] - a[0]).hypot(b[1] - a[1])
}
