//! Where an evenly sampled curve turns, or passes a level: a polynomial of fourth degree through five samples.

/// Place (in samples) and height of the turning point nearest to sample `near`.
pub fn turning_point(samples: &[f64], near: usize) -> (f64, f64) {
    let (start, fit) = Quartic::about(samples, near);
    let mut t = 0.0;
    for _ in 0..30 {
        t -= fit.slope(t) / fit.bend(t);
    }
    (start + t, fit.value(t))
}

/// Place (in samples) where the curve passes `level` between two samples next to `near`.
pub fn passes(samples: &[f64], level: f64, near: usize) -> f64 {
    let (start, fit) = Quartic::about(samples, near);
    let mut t = 0.0;
    for _ in 0..30 {
        t -= (fit.value(t) - level) / fit.slope(t);
    }
    start + t
}

/// Number of the smallest sample.
pub fn lowest(samples: &[f64]) -> usize {
    (0..samples.len())
        .min_by(|&a, &b| samples[a].total_cmp(&samples[b]))
        .expect("samples")
}

/// Number of the largest sample.
pub fn highest(samples: &[f64]) -> usize {
    (0..samples.len())
        .max_by(|&a, &b| samples[a].total_cmp(&samples[b]))
        .expect("samples")
}

/// c0 + c1 t + … + c4 t⁴, t in samples from the middle one.
struct Quartic([f64; 5]);

impl Quartic {
    fn about(samples: &[f64], near: usize) -> (f64, Self) {
        let middle = near.clamp(2, samples.len() - 3);
        let [a, b, c, d, e] = [0, 1, 2, 3, 4].map(|i| samples[middle + i - 2]);
        let (odd1, odd2) = (0.5 * (d - b), 0.5 * (e - a));
        let (even1, even2) = (0.5 * (d + b) - c, 0.5 * (e + a) - c);
        let cubic = (odd2 - 2.0 * odd1) / 6.0;
        let quartic = (even2 - 4.0 * even1) / 12.0;
        let fit = Quartic([c, odd1 - cubic, even1 - quartic, cubic, quartic]);
        (middle as f64, fit)
    }

    fn value(&self, t: f64) -> f64 {
        self.0.iter().rev().fold(0.0, |sum, c| sum * t + c)
    }

    fn slope(&self, t: f64) -> f64 {
        let [_, b, c, d, e] = self.0;
        b + t * (2.0 * c + t * (3.0 * d + t * 4.0 * e))
    }

    fn bend(&self, t: f64) -> f64 {
        let [_, _, c, d, e] = self.0;
        2.0 * c + t * (6.0 * d + t * 12.0 * e)
    }
}
