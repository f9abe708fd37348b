//! Half-planes and discs, and the [`Piece`] built from them: inside all `keep`, outside every `block`.
//!
//! A block is the intersection of its primitives: four half-planes make an opaque strip, one disc a round obstruction.
//! Pieces are kept apart from each other by whoever makes them, so that their areas add.

/// A boundary and the side of it that counts as inside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Primitive {
    /// Points p with normal · p ≤ limit; the normal has length 1.
    HalfPlane {
        /// Unit vector that points outwards.
        normal: [f64; 2],
        /// Distance of the border from the origin along the normal.
        limit: f64,
    },
    /// Points within `radius` of `centre`.
    Disc {
        /// Centre.
        centre: [f64; 2],
        /// Radius.
        radius: f64,
    },
}

/// An orthogonal change of axes: a turn, then perhaps a flip of x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame2 {
    cos: f64,
    sin: f64,
    flip: f64,
}

/// Part of an opening: inside all of `keep` and outside each of `blocks`, within `bounds`.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// All of these hold.
    pub keep: Vec<Primitive>,
    /// None of these intersections holds.
    pub blocks: Vec<Vec<Primitive>>,
    /// A box that holds the piece: [x min, y min, x max, y max].
    pub bounds: [f64; 4],
}

impl Primitive {
    /// The half-plane on the left of the direction `azimuth_rad` through `point`, moved to the right by `shift`.
    pub fn left_of(azimuth_rad: f64, point: [f64; 2], shift: f64) -> Self {
        let normal = [azimuth_rad.sin(), -azimuth_rad.cos()];
        Primitive::HalfPlane {
            normal,
            limit: normal[0] * point[0] + normal[1] * point[1] + shift,
        }
    }

    /// The complement of a half-plane; a disc is returned as it is.
    pub fn flipped(self) -> Self {
        match self {
            Primitive::HalfPlane { normal, limit } => Primitive::HalfPlane {
                normal: [-normal[0], -normal[1]],
                limit: -limit,
            },
            disc => disc,
        }
    }

    /// Whether the point is inside.
    pub fn contains(&self, x: f64, y: f64) -> bool {
        match *self {
            Primitive::HalfPlane { normal, limit } => normal[0] * x + normal[1] * y <= limit,
            Primitive::Disc { centre, radius } => {
                (x - centre[0]).powi(2) + (y - centre[1]).powi(2) <= radius * radius
            }
        }
    }

    /// The same primitive in other axes.
    pub fn in_frame(&self, frame: &Frame2) -> Self {
        match *self {
            Primitive::HalfPlane { normal, limit } => Primitive::HalfPlane {
                normal: frame.forward(normal),
                limit,
            },
            Primitive::Disc { centre, radius } => Primitive::Disc {
                centre: frame.forward(centre),
                radius,
            },
        }
    }

    /// Whether the whole box lies inside.
    fn holds_box(&self, bounds: &[f64; 4]) -> bool {
        corners(bounds).iter().all(|c| self.contains(c[0], c[1]))
    }

    /// Whether no point of the box lies inside.
    fn misses_box(&self, bounds: &[f64; 4]) -> bool {
        match *self {
            Primitive::HalfPlane { .. } => {
                corners(bounds).iter().all(|c| !self.contains(c[0], c[1]))
            }
            Primitive::Disc { centre, radius } => {
                let dx = centre[0] - centre[0].clamp(bounds[0], bounds[2]);
                let dy = centre[1] - centre[1].clamp(bounds[1], bounds[3]);
                dx * dx + dy * dy > radius * radius
            }
        }
    }
}

impl Frame2 {
    /// Axes whose +x lies at azimuth `rotation_rad`; `mirrored` flips x afterwards.
    pub fn new(rotation_rad: f64, mirrored: bool) -> Self {
        // libm, not the platform's sine: these numbers decide pixels, and must be the same on every machine
        Frame2 {
            cos: libm::cos(rotation_rad),
            sin: libm::sin(rotation_rad),
            flip: if mirrored { -1.0 } else { 1.0 },
        }
    }

    /// Old axes to new axes.
    pub fn forward(&self, p: [f64; 2]) -> [f64; 2] {
        [
            self.flip * (self.cos * p[0] + self.sin * p[1]),
            self.cos * p[1] - self.sin * p[0],
        ]
    }

    /// New axes to old axes.
    pub fn backward(&self, p: [f64; 2]) -> [f64; 2] {
        let x = self.flip * p[0];
        [
            self.cos * x - self.sin * p[1],
            self.sin * x + self.cos * p[1],
        ]
    }
}

impl Piece {
    /// A piece inside the given disc with nothing blocked.
    pub fn disc(centre: [f64; 2], radius: f64) -> Self {
        Piece {
            keep: vec![Primitive::Disc { centre, radius }],
            blocks: Vec::new(),
            bounds: [
                centre[0] - radius,
                centre[1] - radius,
                centre[0] + radius,
                centre[1] + radius,
            ],
        }
    }

    /// Whether the point is open.
    pub fn contains(&self, x: f64, y: f64) -> bool {
        let [left, bottom, right, top] = self.bounds;
        (left..=right).contains(&x)
            && (bottom..=top).contains(&y)
            && self.keep.iter().all(|p| p.contains(x, y))
            && !self
                .blocks
                .iter()
                .any(|block| block.iter().all(|p| p.contains(x, y)))
    }

    /// The same piece in other axes, its bounds a wider box.
    ///
    /// Turn first, [prune](Piece::pruned) afterwards: what a pruned piece owes to its bounds, the wider box does not hold.
    pub fn in_frame(&self, frame: &Frame2) -> Self {
        let turned = corners(&self.bounds).map(|c| frame.forward(c));
        let low = |i: usize| turned.iter().map(|c| c[i]).fold(f64::INFINITY, f64::min);
        let high = |i: usize| {
            turned
                .iter()
                .map(|c| c[i])
                .fold(f64::NEG_INFINITY, f64::max)
        };
        Piece {
            keep: self.keep.iter().map(|p| p.in_frame(frame)).collect(),
            blocks: self
                .blocks
                .iter()
                .map(|b| b.iter().map(|p| p.in_frame(frame)).collect())
                .collect(),
            bounds: [low(0), low(1), high(0), high(1)],
        }
    }

    /// The same opening without the primitives that have no say inside its bounds; `None` when nothing is open.
    ///
    /// The bounds are then part of the shape: an upright strip keeps none of its long sides, for its box ends with them.
    pub fn pruned(&self) -> Option<Self> {
        let bounds = self.bounds;
        if self.keep.iter().any(|p| p.misses_box(&bounds)) {
            return None;
        }
        let keep = self
            .keep
            .iter()
            .filter(|p| !p.holds_box(&bounds))
            .copied()
            .collect();
        let mut blocks = Vec::new();
        for block in &self.blocks {
            if block.iter().any(|p| p.misses_box(&bounds)) {
                continue;
            }
            let cutting: Vec<Primitive> = block
                .iter()
                .filter(|p| !p.holds_box(&bounds))
                .copied()
                .collect();
            if cutting.is_empty() {
                return None;
            }
            blocks.push(cutting);
        }
        Some(Piece {
            keep,
            blocks,
            bounds,
        })
    }

    /// All primitives, of `keep` and of every block.
    pub fn primitives(&self) -> impl Iterator<Item = &Primitive> {
        self.keep.iter().chain(self.blocks.iter().flatten())
    }
}

fn corners(b: &[f64; 4]) -> [[f64; 2]; 4] {
    [[b[0], b[1]], [b[2], b[1]], [b[0], b[3]], [b[2], b[3]]]
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn turning_the_axes_and_back_is_the_identity_also_mirrored() {
        for mirrored in [false, true] {
            let frame = Frame2::new(0.7, mirrored);
            let back = frame.backward(frame.forward([0.3, -1.9]));
            assert_abs_diff_eq!(back[0], 0.3, epsilon = 1e-15);
            assert_abs_diff_eq!(back[1], -1.9, epsilon = 1e-15);
        }
        // the sensor's +x lies at azimuth 90 degrees: what is up in the pupil is right on the sensor
        let turned = Frame2::new(std::f64::consts::FRAC_PI_2, false).forward([0.0, 1.0]);
        assert_abs_diff_eq!(turned[0], 1.0, epsilon = 1e-15);
    }

    #[test]
    fn left_of_east_is_the_upper_half() {
        let upper = Primitive::left_of(0.0, [0.0, 0.5], 0.0);
        assert!(upper.contains(3.0, 0.6) && !upper.contains(3.0, 0.4));
        assert!(upper.flipped().contains(3.0, 0.4));
    }

    #[test]
    fn pruning_keeps_membership() {
        let mut piece = Piece::disc([0.0, 0.0], 1.0);
        piece.bounds = [0.5, -0.1, 0.7, 0.1];
        piece.blocks.push(vec![Primitive::Disc {
            centre: [-0.8, 0.0],
            radius: 0.2,
        }]);
        piece
            .blocks
            .push(vec![Primitive::left_of(0.0, [0.0, 0.05], 0.0)]);
        let slim = piece.pruned().unwrap();
        assert_eq!(slim.primitives().count(), 1);
        assert!(slim.contains(0.6, 0.0) && !slim.contains(0.6, 0.08));
    }
}
