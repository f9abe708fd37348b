//! Masks as files for cutters and printers: bytes out, no file opened here. One format per file; lengths in millimetres.

pub mod dxf;
pub mod order;
pub mod stl;
pub mod svg;
pub mod three_mf;

use crate::geometry::outline::{Contour, GRID_M};
use crate::units::MM;

/// Millimetres of a number of grid units, exact to its four decimals.
fn mm(units: i32) -> f64 {
    f64::from(units) * GRID_M / MM
}

/// A number with the four decimals of the grid, no trailing zeros.
fn text(units: i64) -> String {
    let sign = if units < 0 { "-" } else { "" };
    let (whole, part) = (units.abs() / 10_000, units.abs() % 10_000);
    if part == 0 {
        return format!("{sign}{whole}");
    }
    let digits = format!("{part:04}");
    format!("{sign}{whole}.{}", digits.trim_end_matches('0'))
}

/// Contours of several outlines, one after another.
fn all_contours(outline: &crate::geometry::outline::Outline) -> impl Iterator<Item = &Contour> {
    outline.contours()
}
