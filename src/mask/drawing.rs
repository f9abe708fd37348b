//! A mask from a drawing: an SVG or a DXF text.
//!
//! The drawing shows the mask as seen from the sky side. Of an SVG, what is filled is the plate (or the openings, if the scenario says
//! so), with its own stroke, if it has one; a DXF has lines only, and what lies inside an odd number of its outlines is filled. Lines without a fill are taken for notes and left out, and so is what has
//! no opacity: what was left out is told, each with its line. Nothing outside the text is read: no pictures, no fonts, no links. Edges that are drawn on the plate's own edge or hole are taken to lie
//! on it. What cannot be meant exactly is refused: sizes without units, letters that are not paths, masks, filters, lines that do not close.
//! Texts that would expand to absurd sizes are refused before they are expanded.

mod dxf;
mod svg;

use crate::geometry::outline::{Fill, GRID_M, Outline, convex_parts};
use crate::instrument::{Drawing, DrawingFills, LeftOut};
use crate::units::MM;

/// Longest text.
pub const BYTES_AT_MOST: usize = 16 << 20;
/// Most corners of the flattened outlines.
const CORNERS_AT_MOST: usize = 300_000;
/// Largest distance between a curve of a DXF and its chords.
const DXF_SAG_MM: f64 = 0.000_2;

/// Why a drawing cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DrawingError {
    /// Not SVG at all.
    #[error("this is not SVG: {0}")]
    NotSvg(String),
    /// Width or height without a unit of length.
    #[error("the drawing's {side} is {found}, but must be a length with a unit, such as 200mm")]
    NoUnits {
        /// `width` or `height`.
        side: &'static str,
        /// What stands there.
        found: String,
    },
    /// A DXF without a unit of length.
    #[error("the drawing does not say in which unit it is ($INSUNITS)")]
    NoScale,
    /// Something of a DXF that cannot be meant.
    #[error("line {line}: {what}")]
    Dxf {
        /// Line.
        line: u32,
        /// What is wrong.
        what: String,
        /// What to do next.
        hint: &'static str,
    },
    /// Dark and light areas, and nobody said which is the plate.
    #[error("line {line}: the drawing has dark and light fills, and either may be the plate")]
    DarkAndLight {
        /// Line of the first fill that differs from those before it.
        line: u32,
    },
    /// Something whose shape cannot be taken over exactly.
    #[error("line {line}: <{element}> cannot be part of a mask")]
    Element {
        /// Line.
        line: u32,
        /// The element.
        element: String,
    },
    /// Too much of something.
    #[error("the drawing has {found} {what}, the limit is {limit}")]
    TooMuch {
        /// What there is too much of.
        what: &'static str,
        /// How many; at least this many.
        found: u64,
        /// The limit.
        limit: u64,
    },
    /// A reuse that contains itself.
    #[error("line {line}: <use> leads back to itself")]
    Circular {
        /// Line.
        line: u32,
    },
    /// Nothing is filled.
    #[error("nothing in the drawing is filled")]
    NothingFilled,
    /// No light would pass.
    #[error("the drawing leaves no opening between the plate's edge and its hole")]
    NoOpening,
}

impl DrawingError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            DrawingError::NotSvg(_) => {
                "mask.drawing names an SVG or a DXF file; export the drawing as plain SVG or as DXF in text form"
            }
            DrawingError::NoUnits { .. } => {
                "write width=\"200mm\" height=\"200mm\" viewBox=\"0 0 200 200\" in the <svg> element, or say how large a unit is: mask.drawing_mm_per_unit = 0.2646 for a pixel of 96 to the inch"
            }
            DrawingError::NoScale => {
                "say how large a unit is: mask.drawing_mm_per_unit = 1.0 for millimetres, 25.4 for inches"
            }
            DrawingError::Dxf { hint, .. } => hint,
            DrawingError::DarkAndLight { .. } => {
                "say which is the plate: mask.drawing_fills = \"dark\" or \"light\""
            }
            DrawingError::Element { .. } => {
                "turn letters and effects into plain paths, or take them out"
            }
            DrawingError::TooMuch { .. } => {
                "simplify the drawing: a mask needs a few thousand points"
            }
            DrawingError::Circular { .. } => "take the circular <use> out",
            DrawingError::NothingFilled => {
                "fill the plate; lines alone do not say which side is solid"
            }
            DrawingError::NoOpening => {
                "compare mask.outer_diameter_mm, mask.inner_diameter_mm, mask.drawing_centre_mm and mask.drawing_fills with the drawing"
            }
        }
    }
}

/// Reads the openings of a drawing, in mask axes (seen from the sensor); `mirrored` where the view from the sky side is.
///
/// # Errors
/// See [`DrawingError`].
pub fn read(
    text: &[u8],
    drawing: &Drawing,
    diameters_m: [f64; 2],
    mirrored: bool,
) -> Result<Drawing, DrawingError> {
    limited("bytes", text.len() as u64, BYTES_AT_MOST as u64)?;
    let (filled, left_out) = if dxf::is_dxf(text) {
        filled_by_lines(text, drawing, diameters_m, mirrored)?
    } else {
        svg::filled(text, drawing, diameters_m, mirrored)?
    };
    if filled.is_empty() {
        return Err(DrawingError::NothingFilled);
    }
    let [inner_m, outer_m] = diameters_m.map(|d| 0.5 * d);
    let plate = Outline::ring(inner_m, outer_m);
    let open = if drawing.fills == DrawingFills::Openings {
        plate.common(&filled)
    } else {
        plate.minus(&filled)
    };
    if open.is_empty() {
        return Err(DrawingError::NoOpening);
    }
    Ok(Drawing {
        openings_m: convex_parts(&open),
        left_out,
        ..drawing.clone()
    })
}

/// What lies inside an odd number of a DXF's outlines; the origin is the mask's centre, unless the scenario says another place. What lies light inside dark cannot be told by lines.
fn filled_by_lines(
    text: &[u8],
    drawing: &Drawing,
    diameters_m: [f64; 2],
    mirrored: bool,
) -> Result<(Outline, Vec<LeftOut>), DrawingError> {
    let typed = drawing.unit_m.map(|unit_m| unit_m / MM);
    let found = dxf::read(text, DXF_SAG_MM, typed)?;
    let unit_m = found.mm_per_unit.unwrap_or(1.0) * MM;
    let centre_m = drawing.centre_m.unwrap_or([0.0; 2]);
    let place = |p: &[f64; 2]| {
        let x = p[0] * unit_m - centre_m[0];
        [if mirrored { -x } else { x }, p[1] * unit_m - centre_m[1]]
    };
    let contours: Vec<Vec<[f64; 2]>> = found
        .loops
        .iter()
        .map(|own| own.points.iter().map(place).collect())
        .collect();
    crossing(
        &found.loops.iter().map(|own| own.line).collect::<Vec<_>>(),
        &contours,
    )?;
    let snapped: Vec<Vec<[f64; 2]>> = contours
        .iter()
        .map(|own| own.iter().map(|p| beyond_edges(*p, diameters_m)).collect())
        .collect();
    let left_out = found
        .left_out
        .into_iter()
        .map(|(line, what, why, points)| LeftOut {
            line,
            what,
            why: why.to_owned(),
            ways_m: vec![points.iter().map(place).collect()],
        });
    Ok((Outline::filled(&snapped, Fill::EvenOdd), left_out.collect()))
}

/// Refuses outlines that cross one another: inside both, nobody knows what is meant.
fn crossing(lines: &[u32], contours: &[Vec<[f64; 2]>]) -> Result<(), DrawingError> {
    let outlines: Vec<Outline> = contours
        .iter()
        .map(|own| Outline::filled(std::slice::from_ref(own), Fill::EvenOdd))
        .collect();
    let boxes: Vec<[f64; 4]> = outlines.iter().map(Outline::bounds_m).collect();
    let mut order: Vec<usize> = (0..outlines.len()).collect();
    order.sort_by(|a, b| boxes[*a][0].total_cmp(&boxes[*b][0]));
    for (n, &a) in order.iter().enumerate() {
        let beside = order[n + 1..]
            .iter()
            .take_while(|b| boxes[**b][0] < boxes[a][2]);
        for &b in beside {
            let apart = boxes[b][1] > boxes[a][3] || boxes[b][3] < boxes[a][1];
            if apart {
                continue;
            }
            let both = outlines[a].common(&outlines[b]).area_m2();
            let least = outlines[a].area_m2().min(outlines[b].area_m2());
            // edges that only touch share slivers of the grid
            if both > SHARED_M2 && both < least - SHARED_M2 {
                return Err(DrawingError::Dxf {
                    line: lines[a].max(lines[b]),
                    what: format!(
                        "this outline crosses the one of line {}",
                        lines[a].min(lines[b])
                    ),
                    hint: "draw outlines that lie inside or beside one another: join those that cross",
                });
            }
        }
    }
    Ok(())
}

/// Outlines that share less than this only touch: 0.01 mm².
const SHARED_M2: f64 = 1e-8;

/// Edges of a drawing that are nearer than this to the plate's own are meant to lie on them: a quarter circle of one Bezier curve bulges by 0.027 % of its
/// radius, 25 um at 92 mm.
const SNAP_M: f64 = 40e-6;

/// A place, or one just beyond the plate's edge or inside its hole where it lies on them: what is drawn on the plate's own edge then neither
/// leaves a sliver nor falls short of it.
fn beyond_edges(place_m: [f64; 2], [inner_m, outer_m]: [f64; 2]) -> [f64; 2] {
    let radius_m = place_m[0].hypot(place_m[1]);
    let on = |diameter_m: f64| diameter_m > 0.0 && (radius_m - 0.5 * diameter_m).abs() < SNAP_M;
    let to_m = if on(outer_m) {
        0.5 * outer_m + 2.0 * SNAP_M
    } else if on(inner_m) {
        0.5 * inner_m - 2.0 * SNAP_M
    } else {
        return place_m;
    };
    place_m.map(|v| v * to_m / radius_m)
}

/// Union in pairs, so that many shapes take no quadratic time.
fn union(mut shapes: Vec<Outline>) -> Outline {
    while shapes.len() > 1 {
        shapes = shapes
            .chunks(2)
            .map(|pair| pair.iter().skip(1).fold(pair[0].clone(), |a, b| a.plus(b)))
            .collect();
    }
    shapes.pop().unwrap_or_default()
}

/// Adds a Bézier curve of any degree up to three as chords, the first point left out.
pub(super) fn curve(
    from: [f64; 2],
    control: &[[f64; 2]],
    to: [f64; 2],
    sag_m: f64,
    contour: &mut Vec<[f64; 2]>,
) {
    let mut points = vec![from];
    points.extend(control);
    points.push(to);
    let bend = points
        .windows(3)
        .map(|w| (w[0][0] - 2.0 * w[1][0] + w[2][0]).hypot(w[0][1] - 2.0 * w[1][1] + w[2][1]))
        .fold(0.0, f64::max);
    let degree = (points.len() - 1) as f64;
    // the sag of a chord over 1/n of the curve is at most degree (degree − 1) bend / (8 n²)
    let count = (degree * (degree - 1.0) * bend / (8.0 * sag_m.max(GRID_M)))
        .sqrt()
        .ceil();
    let count = count.clamp(1.0, 2000.0) as usize;
    for k in 1..=count {
        let t = k as f64 / count as f64;
        let mut level = points.clone();
        while level.len() > 1 {
            level = level
                .windows(2)
                .map(|w| [0, 1].map(|i| w[0][i] + t * (w[1][i] - w[0][i])))
                .collect();
        }
        contour.push(level[0]);
    }
}

fn limited(what: &'static str, found: u64, limit: u64) -> Result<(), DrawingError> {
    if found > limit {
        return Err(DrawingError::TooMuch { what, found, limit });
    }
    Ok(())
}
