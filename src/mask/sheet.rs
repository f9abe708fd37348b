//! A mask for a laser cutter: one flat sheet without ring and feet, every line moved by half of what the beam burns away.

use super::cutouts::slit_azimuth_rad;
use super::plate::Plate;
use crate::geometry::outline::{Contour, Outline};
use crate::instrument::Instrument;
use crate::units::MM;

/// The lines of a sheet, seen from the sky side.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// What the beam follows: the plate, larger by half a kerf, its openings smaller by as much.
    pub cut: Outline,
    /// The plate that comes out of it, with its letters, which are burnt in, not through.
    pub plate: Plate,
    /// Openings that were left out: slivers that the beam is too wide for, and that pass next to no light.
    pub left_out: usize,
    /// Width of what the beam burns away.
    pub kerf_m: f64,
    /// How far the lines reach from the middle.
    pub reach_m: f64,
}

/// Why no sheet can be cut.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SheetError {
    /// Openings that the beam is too wide for.
    #[error("{closed} of {all} openings are narrower than the kerf of {kerf_mm} mm")]
    KerfTooWide {
        /// So many vanish, or fall apart.
        closed: usize,
        /// Of so many.
        all: usize,
        /// The kerf.
        kerf_mm: f64,
    },
    /// A mask in parts has no sheet.
    #[error("the plate falls into {0} parts")]
    Parts(usize),
}

impl SheetError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            SheetError::KerfTooWide { .. } => {
                "widen the slots (mask.slot_pitch_mm, mask.open_fraction) or mask.rib_mm, or give the kerf that your cutter has: --kerf-mm"
            }
            SheetError::Parts(_) => {
                "widen the rims and ribs: mask.outer_rim_mm, mask.inner_rim_mm, mask.rib_mm"
            }
        }
    }
}

/// Slivers that the beam closes may be left out where they are together no more than this share of all that is open.
const SLIVERS: f64 = 1e-3;

/// Every opening as an area of its own.
fn holes(outline: &Outline) -> Vec<Outline> {
    let contours = outline.shapes.iter().flat_map(|shape| shape.iter().skip(1));
    let turned = contours.map(|hole| hole.iter().rev().copied().collect());
    turned
        .map(|contour| Outline {
            shapes: vec![vec![contour]],
        })
        .collect()
}

/// The same instrument with the mask as a sheet has it, without ring and feet; the slit stays where the ring's gap put it.
fn without_ring(instrument: &Instrument) -> Option<Instrument> {
    let mut flat = instrument.clone();
    let design = flat.mask.as_mut()?;
    let azimuth_rad = slit_azimuth_rad(design);
    if let Some(slit) = &mut design.slit {
        slit.azimuth_rad = azimuth_rad;
    }
    design.grip = None;
    Some(flat)
}

impl Sheet {
    /// The sheet of an instrument's mask; `None` without a mask.
    ///
    /// # Errors
    /// See [`SheetError`].
    pub fn new(instrument: &Instrument, kerf_m: f64) -> Option<Result<Self, SheetError>> {
        Plate::new(&without_ring(instrument)?).map(|plate| Self::of(plate, kerf_m))
    }

    fn of(mut plate: Plate, kerf_m: f64) -> Result<Self, SheetError> {
        if plate.plate.shapes.len() != 1 {
            return Err(SheetError::Parts(plate.plate.shapes.len()));
        }
        let openings = holes(&plate.plate);
        let (slivers, whole): (Vec<Outline>, Vec<Outline>) = openings
            .into_iter()
            .partition(|opening| opening.grown(-0.5 * kerf_m).is_empty());
        let area_m2 = |list: &[Outline]| list.iter().map(Outline::area_m2).sum::<f64>();
        plate.plate = slivers
            .iter()
            .fold(plate.plate, |plate, sliver| plate.plus(sliver));
        let cut = plate.plate.grown(0.5 * kerf_m);
        let left = holes(&cut).len();
        let lost = area_m2(&slivers) > SLIVERS * area_m2(&whole);
        if lost || left != whole.len() || cut.shapes.len() != 1 {
            let all = slivers.len() + whole.len();
            return Err(SheetError::KerfTooWide {
                closed: all.abs_diff(left),
                all,
                kerf_mm: kerf_m / MM,
            });
        }
        Ok(Sheet {
            reach_m: cut.farthest_m(),
            cut,
            plate,
            left_out: slivers.len(),
            kerf_m,
        })
    }

    /// The outer edge: cut last, or the sheet moves.
    pub fn edges(&self) -> impl Iterator<Item = &Contour> {
        self.cut.shapes.iter().filter_map(|shape| shape.first())
    }

    /// The openings, the hole in the middle and the tether's among them: cut first.
    pub fn openings(&self) -> impl Iterator<Item = &Contour> {
        self.cut
            .shapes
            .iter()
            .flat_map(|shape| shape.iter().skip(1))
    }

    /// Length of all lines that are cut, in metres.
    pub fn length_m(&self) -> f64 {
        let length = |contour: &Contour| -> f64 {
            let next = contour.iter().cycle().skip(1);
            let apart = |(a, b): (&_, &_)| {
                let [ax, ay] = crate::geometry::outline::place_m(a);
                let [bx, by] = crate::geometry::outline::place_m(b);
                (bx - ax).hypot(by - ay)
            };
            contour.iter().zip(next).map(apart).sum()
        };
        self.cut.contours().map(length).sum()
    }
}
