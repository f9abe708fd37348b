//! A plate that is larger than the printer's bed, cut into two or four pieces that key into each other.
//!
//! The cuts go through the middle. Wherever a cut crosses enough plastic a dovetail of one piece sits in a socket of the
//! other, wider by [`CLEARANCE_M`] all round. The azimuth of the cuts is the one, in steps of 5 degrees, that leaves every
//! piece whole, with a dovetail on either side of the middle, and cuts the fewest bars: it runs along ribs where it can. The
//! pieces are glued; what is glued must be stiff, so the whole plate stays the part that `mask check` judges.

use super::plate::Plate;
use crate::geometry::outline::{Fill, Outline};
use crate::units::MM;
use std::f64::consts::FRAC_PI_2;

/// Room that a printer wants between a part and the edge of its bed, whether the part is whole or a piece.
pub const MARGIN_M: f64 = 2e-3;
/// Air between a dovetail and its socket.
pub const CLEARANCE_M: f64 = 0.15e-3;
/// Pieces of the largest plate that can be cut: two lines through the middle.
pub const MOST_PIECES: usize = 4;
/// Plastic kept round a socket.
const WALL_M: f64 = 0.5e-3;
/// Letters and ring keep this distance from a cut.
const APART_M: f64 = 0.3e-3;
/// Smallest square that a dovetail is made for, and the largest.
const KEY_M: [f64; 2] = [2.5e-3, 8e-3];
/// The cuts are tried at so many azimuths of a right angle.
const AZIMUTHS: usize = 18;

/// Why a plate cannot be cut to fit.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PiecesError {
    /// Even a quarter is larger than the bed.
    #[error(
        "a quarter of the mask is {quarter_mm:.1} mm wide, but mask.print.bed_mm leaves {bed_mm:.1} between its margins on its short side"
    )]
    TooLarge {
        /// Width of a quarter, dovetail included.
        quarter_mm: f64,
        /// Short side of the bed, less its margins.
        bed_mm: f64,
    },
    /// No cut leaves whole pieces with dovetails.
    #[error("no cut through the middle leaves whole pieces with a dovetail on every side")]
    NoCut,
}

impl PiecesError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            PiecesError::TooLarge { .. } => {
                "use a larger bed (mask.print.bed_mm), or have the plate cut from the DXF file"
            }
            PiecesError::NoCut => {
                "make mask.outer_rim_mm and mask.inner_rim_mm wider, at least 4 mm, or have the plate cut from the DXF file"
            }
        }
    }
}

/// The pieces that fit on the bed with [`MARGIN_M`] free all round: the plate itself when it does.
///
/// # Errors
/// [`PiecesError`] when no such cut is found.
pub fn pieces(plate: &Plate, bed_m: [f64; 2]) -> Result<Vec<Plate>, PiecesError> {
    let (short, long) = (bed_m[0].min(bed_m[1]), bed_m[0].max(bed_m[1]));
    let (short, long) = (short - 2.0 * MARGIN_M, long - 2.0 * MARGIN_M);
    let width = 2.0 * plate.reach_m;
    let half = plate.reach_m + KEY_M[1];
    if width <= short {
        return Ok(vec![plate.clone()]);
    }
    if half > short {
        return Err(PiecesError::TooLarge {
            quarter_mm: half / MM,
            bed_mm: short / MM,
        });
    }
    let cuts = if width <= long { 1 } else { 2 };
    let turns = if cuts == 1 { 2 * AZIMUTHS } else { AZIMUTHS };
    let mut best: Option<(usize, Vec<Plate>)> = None; // stretches of plastic that are cut through
    for step in 0..turns {
        let azimuth = FRAC_PI_2 * step as f64 / AZIMUTHS as f64;
        let Some((severed, made)) = cut(plate, azimuth, cuts) else {
            continue;
        };
        if best.as_ref().is_none_or(|(fewest, _)| severed < *fewest) {
            best = Some((severed, made));
        }
    }
    best.map(|(_, made)| made).ok_or(PiecesError::NoCut)
}

/// Cuts along one or two lines through the middle; the number of stretches cut through, and the pieces. `None` where a piece falls apart or
/// a joint has no dovetail.
fn cut(plate: &Plate, azimuth: f64, cuts: usize) -> Option<(usize, Vec<Plate>)> {
    let mut made = vec![plate.clone()];
    let mut severed = 0;
    for number in 0..cuts {
        let line = CutLine::new(azimuth + FRAC_PI_2 * number as f64, 2.0 * plate.reach_m);
        let mut next = Vec::new();
        for part in &made {
            let (found, halves) = halve(part, &line)?;
            severed += found;
            next.extend(halves);
        }
        made = next;
    }
    made.iter()
        .all(|part| part.plate.shapes.len() == 1)
        .then_some((severed, made))
}

/// A line through the middle, and how far it reaches.
struct CutLine {
    along: [f64; 2],
    reach_m: f64,
}

impl CutLine {
    fn new(azimuth: f64, reach_m: f64) -> Self {
        CutLine {
            along: [libm::cos(azimuth), libm::sin(azimuth)],
            reach_m,
        }
    }

    /// Place at a distance along the line and one to its left.
    fn place(&self, [along, left]: [f64; 2]) -> [f64; 2] {
        let [c, s] = self.along;
        [along * c - left * s, along * s + left * c]
    }

    fn outline(&self, corners: &[[f64; 2]]) -> Outline {
        let placed = corners.iter().map(|corner| self.place(*corner)).collect();
        Outline::filled(&[placed], Fill::NonZero)
    }

    /// Everything between two distances to the left of the line.
    fn strip(&self, from_m: f64, to_m: f64) -> Outline {
        let r = self.reach_m;
        self.outline(&[[-r, from_m], [r, from_m], [r, to_m], [-r, to_m]])
    }

    /// Where the line runs through an outline: first and last place of each stretch.
    fn stretches(&self, outline: &Outline) -> Vec<[f64; 2]> {
        let crossed = outline.common(&self.strip(-5e-6, 5e-6));
        let mut found: Vec<[f64; 2]> = crossed
            .shapes
            .iter()
            .filter_map(|shape| {
                let places = shape.first()?.iter().map(|corner| {
                    let [x, y] = crate::geometry::outline::place_m(corner);
                    x * self.along[0] + y * self.along[1]
                });
                let (low, high) = places.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| {
                    (l.min(p), h.max(p))
                });
                Some([low, high])
            })
            .collect();
        found.sort_by(|a, b| a[0].total_cmp(&b[0]));
        found
    }

    /// A dovetail that reaches to the left of the line, larger by `more_m` all round.
    fn dovetail(&self, middle_m: f64, size_m: f64, more_m: f64) -> Outline {
        let (neck, head, depth) = (0.18 * size_m, 0.28 * size_m, 0.45 * size_m);
        let across = |half: f64, left: f64| [middle_m + half, left];
        let back = -0.1 * size_m;
        self.outline(&[
            across(-neck - more_m, back),
            across(neck + more_m, back),
            across(neck + more_m, 0.0),
            across(head + more_m, depth + more_m),
            across(-head - more_m, depth + more_m),
            across(-neck - more_m, 0.0),
        ])
    }
}

/// The number of stretches cut through, and the two sides of a line. The side to its right has the dovetails, the left one the sockets.
fn halve(part: &Plate, line: &CutLine) -> Option<(usize, [Plate; 2])> {
    let stretches = line.stretches(&part.plate);
    let places: Vec<(f64, f64)> = stretches
        .iter()
        .flat_map(|stretch| keys_in(part, line, *stretch))
        .collect();
    let sides = [-1.0, 1.0].map(|sign| places.iter().any(|(middle, _)| sign * middle > 0.0));
    let crossed = [-1.0, 1.0].map(|sign| stretches.iter().any(|s| sign * (s[0] + s[1]) > 0.0));
    if (0..2).any(|side| crossed[side] && !sides[side]) {
        return None;
    }
    let all = |more_m: f64| {
        places
            .iter()
            .fold(Outline::default(), |sum, (middle, size)| {
                sum.plus(&line.dovetail(*middle, *size, more_m))
            })
    };
    let (tongues, sockets) = (all(0.0), all(CLEARANCE_M));
    let (right, left) = (
        line.strip(-line.reach_m, 0.0),
        line.strip(0.0, line.reach_m),
    );
    let near = line
        .strip(-APART_M, APART_M)
        .plus(&all(CLEARANCE_M + APART_M));
    let piece = |plate: Outline, side: &Outline| Plate {
        ring: part.ring.common(side).minus(&near),
        feet: part.feet.common(side).minus(&near),
        letters: away(&part.letters.common(side), &part.letters, &near),
        open: part.open.common(side),
        plate,
        ..part.clone()
    };
    let on_right = part.plate.common(&right).plus(&part.plate.common(&tongues));
    let on_left = part.plate.common(&left).minus(&sockets);
    Some((
        stretches.len(),
        [piece(on_right, &right), piece(on_left, &left)],
    ))
}

/// The whole letters that lie on a side and keep clear of the cut.
fn away(side: &Outline, letters: &Outline, near: &Outline) -> Outline {
    let shapes = letters.shapes.iter().filter(|shape| {
        let letter = Outline {
            shapes: vec![(*shape).clone()],
        };
        letter.common(near).is_empty() && letter.minus(side).is_empty()
    });
    Outline {
        shapes: shapes.cloned().collect(),
    }
}

/// Middle and size of the dovetails along a stretch: at both ends of a long one, else in the middle.
fn keys_in(part: &Plate, line: &CutLine, [from, to]: [f64; 2]) -> Vec<(f64, f64)> {
    let length = to - from;
    let size = length.min(KEY_M[1]);
    if size < KEY_M[0] {
        return Vec::new();
    }
    let middles = if length < 2.0 * KEY_M[1] {
        vec![0.5 * (from + to)]
    } else {
        vec![from + 0.5 * size, to - 0.5 * size]
    };
    let fits = |middle: &f64, size: f64| {
        let wall = line.dovetail(*middle, size, CLEARANCE_M + WALL_M);
        wall.minus(&part.plate).is_empty()
    };
    middles
        .into_iter()
        .filter_map(|middle| {
            let sizes = [size, 0.7 * size, 0.5 * size];
            let size = sizes.into_iter().find(|s| fits(&middle, *s))?;
            Some((middle, size))
        })
        .collect()
}
