//! DXF (release 12) for cutters: closed polylines in millimetres, one layer each for plate, engraving and ring; a sheet's for openings, edge and
//! engraving.

use super::{all_contours, text};
use crate::geometry::outline::{Contour, GRID_M};
use crate::mask::plate::Plate;
use crate::mask::sheet::Sheet;
use std::fmt::Write;

/// Layers and their colour numbers.
const LAYERS: [(&str, u8); 3] = [("PLATE", 7), ("ENGRAVING", 30), ("GRIP_RING", 8)];

/// The drawing, seen from the sky side, the mask's centre at the origin.
pub fn write(plate: &Plate) -> String {
    let outlines = [&plate.plate, &plate.letters, &plate.ring];
    let lines = outlines.map(|outline| all_contours(outline).collect::<Vec<_>>());
    layers(plate.reach_m, &LAYERS, &lines)
}

/// Layers of a sheet: what is cut first, what is cut last, and what is burnt in.
const SHEET_LAYERS: [(&str, u8); 3] = [("CUT_OPENINGS", 5), ("CUT_EDGE", 1), ("ENGRAVING", 3)];

/// A sheet for a laser cutter, seen from the sky side, half a kerf allowed for.
pub fn write_sheet(sheet: &Sheet) -> String {
    let lines = [
        sheet.openings().collect(),
        sheet.edges().collect(),
        all_contours(&sheet.plate.letters).collect::<Vec<_>>(),
    ];
    layers(sheet.reach_m, &SHEET_LAYERS, &lines)
}

fn layers(reach_m: f64, names: &[(&str, u8)], lines: &[Vec<&Contour>]) -> String {
    let half = text((reach_m / GRID_M).ceil() as i64);
    let mut out = format!(
        "0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n9\n$INSUNITS\n70\n4\n\
         9\n$EXTMIN\n10\n-{half}\n20\n-{half}\n9\n$EXTMAX\n10\n{half}\n20\n{half}\n0\nENDSEC\n\
         0\nSECTION\n2\nTABLES\n0\nTABLE\n2\nLAYER\n70\n{}\n",
        names.len()
    );
    for (name, colour) in names {
        let _ = write!(
            out,
            "0\nLAYER\n2\n{name}\n70\n0\n62\n{colour}\n6\nCONTINUOUS\n"
        );
    }
    out.push_str("0\nENDTAB\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n");
    for ((layer, _), contours) in names.iter().zip(lines) {
        polylines(layer, contours, &mut out);
    }
    out.push_str("0\nENDSEC\n0\nEOF\n");
    out
}

fn polylines(layer: &str, contours: &[&Contour], out: &mut String) {
    for contour in contours {
        let _ = write!(
            out,
            "0\nPOLYLINE\n8\n{layer}\n66\n1\n70\n1\n10\n0\n20\n0\n30\n0\n"
        );
        for p in *contour {
            let (x, y) = (text(p.x.into()), text(p.y.into()));
            let _ = write!(out, "0\nVERTEX\n8\n{layer}\n10\n{x}\n20\n{y}\n30\n0\n");
        }
        let _ = write!(out, "0\nSEQEND\n8\n{layer}\n");
    }
}
