//! The outlines of a DXF text (ASCII, releases 12 to 2018): lines, arcs, circles, ellipses, polylines with bulges, splines.
//!
//! A DXF has lines, no fills: lines that meet end to end make outlines, and what lies inside an odd number of them is filled. Notes and
//! dimensions are left out and told; what may be part of the mask and cannot be read exactly is refused with its line.

mod chains;
mod curves;
mod pairs;

use super::{CORNERS_AT_MOST, DrawingError, limited};
use chains::Stroke;
use pairs::{Entity, Pair};

/// Outlines that are named like our own engraving and ring are no part of the plate.
const NO_PLATE: [&str; 2] = ["ENGRAVING", "GRIP_RING"];
/// What explains a drawing and is no part of it.
const NOTES: [&str; 14] = [
    "TEXT",
    "MTEXT",
    "DIMENSION",
    "LEADER",
    "MULTILEADER",
    "MLEADER",
    "TOLERANCE",
    "POINT",
    "ATTDEF",
    "VIEWPORT",
    "XLINE",
    "RAY",
    "HATCH",
    "ARC_DIMENSION",
];
/// Most entities.
const ENTITIES_AT_MOST: u64 = 50_000;

/// A closed outline in drawing units, and the line where it begins.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Loop {
    pub line: u32,
    pub points: Vec<[f64; 2]>,
}

/// What a DXF text says: outlines, what was left out, and millimetres of its unit where it says it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct DxfDrawing {
    pub loops: Vec<Loop>,
    /// Line, what, why, and the way that it takes.
    pub left_out: Vec<(u32, String, &'static str, Vec<[f64; 2]>)>,
    pub mm_per_unit: Option<f64>,
}

/// Whether bytes look like a DXF, of either sort.
pub(super) fn is_dxf(bytes: &[u8]) -> bool {
    if bytes.starts_with(pairs::BINARY) {
        return true;
    }
    let bytes = pairs::unmarked(bytes);
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(4000)]);
    let mut lines = text.lines().map(str::trim);
    let first = lines.by_ref().find(|line| !line.is_empty());
    let second = lines.next();
    first == Some("999") || (first == Some("0") && second == Some("SECTION"))
}

/// Reads it; `sag` is the largest distance between a curve and its chords, in millimetres, `mm_per_unit` the scale that was typed.
pub(super) fn read(
    bytes: &[u8],
    sag_mm: f64,
    typed_mm_per_unit: Option<f64>,
) -> Result<DxfDrawing, DrawingError> {
    let all = pairs::pairs(bytes)?;
    let hidden = pairs::hidden_layers(&all);
    let said = pairs::header_number(&all, "$INSUNITS").and_then(unit_mm);
    let scale = typed_mm_per_unit.or(said).ok_or(DrawingError::NoScale)?;
    let sag = sag_mm / scale;
    let entities = pairs::entities(&all)?;
    limited("entities", entities.len() as u64, ENTITIES_AT_MOST)?;
    let mut drawing = DxfDrawing {
        mm_per_unit: Some(scale),
        ..DxfDrawing::default()
    };
    let mut strokes: Vec<Stroke> = Vec::new();
    let (mut corners, mut aside) = (0, 0);
    for entity in &entities {
        let kind = entity.kind;
        let why = if NOTES.contains(&kind) {
            Some("a note, no outline")
        } else if entity.number(67)? == Some(1.0) {
            Some("on the sheet of paper, not in the drawing")
        } else if entity.number(60)? == Some(1.0) {
            Some("it is marked as invisible")
        } else if entity.layer().is_some_and(|layer| hidden.contains(layer)) {
            Some("its layer is switched off or frozen")
        } else if entity
            .layer()
            .is_some_and(|layer| NO_PLATE.contains(&layer))
        {
            Some("its layer is that of engraving or ring")
        } else {
            None
        };
        if let Some(why) = why {
            // what is left out is shown where it can be, as far as there is room for it
            let way = curves::way(entity, sag, CORNERS_AT_MOST.saturating_sub(aside));
            let points = way.ok().flatten().unwrap_or_default().0;
            let points = match aside + points.len() <= CORNERS_AT_MOST {
                true => points,
                false => Vec::new(),
            };
            aside += points.len();
            let left = (entity.line, kind.to_owned(), why, points);
            drawing.left_out.push(left);
            continue;
        }
        let room = CORNERS_AT_MOST - corners;
        let Some((points, closed)) = curves::way(entity, sag, room)? else {
            return Err(DrawingError::Dxf {
                line: entity.line,
                what: format!("{kind} cannot be part of a mask"),
                hint: "explode blocks and solids into lines, arcs and polylines, or take it out",
            });
        };
        corners += points.len();
        limited("corners", corners as u64, CORNERS_AT_MOST as u64)?;
        strokes.push(Stroke {
            line: entity.line,
            kind: kind.to_owned(),
            points,
            closed,
        });
    }
    let (loops, twice) = chains::close(strokes, 0.02 / scale)?;
    drawing.loops = loops;
    drawing.left_out.extend(twice);
    Ok(drawing)
}

/// Millimetres of a unit's number in the header (from the format's public reference): inches, feet, millimetres, centimetres, metres, micrometres.
fn unit_mm(number: f64) -> Option<f64> {
    match number as i64 {
        1 => Some(25.4),
        2 => Some(304.8),
        4 => Some(1.0),
        5 => Some(10.0),
        6 => Some(1000.0),
        13 => Some(1e-3),
        _ => None,
    }
}

/// A finding about one entity.
fn at(entity: &Entity<'_>, what: impl Into<String>, hint: &'static str) -> DrawingError {
    DrawingError::Dxf {
        line: entity.line,
        what: what.into(),
        hint,
    }
}

/// A finding about one pair.
fn at_pair(pair: &Pair<'_>, what: impl Into<String>, hint: &'static str) -> DrawingError {
    DrawingError::Dxf {
        line: pair.line,
        what: what.into(),
        hint,
    }
}
