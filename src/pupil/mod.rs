//! The pupil: aperture, obstruction, vanes and mask as one transmission.
//!
//! The pupil is a list of openings that do not overlap, in the axes of the frame (the camera's rotation and mirroring are
//! applied here, once). [`Pupil::sample`] gives the exact open fraction of every cell of a grid in sine space. What is ahead
//! of the pupil (obstruction, mask) is seen displaced by +distance·h/f from field point h.

use crate::axes::{FieldM, FrameM, FramePx};
use crate::geometry::{CellGrid, Coverage, Frame2, Piece, Primitive, RadialMap, area, cover};
use crate::instrument::{
    Hold, Instrument, MaskDesign, Obstruction, ObstructionShape, Telescope, Vane,
};
use crate::mask;
use crate::state::State;
use crate::wavefront::Wavefront;

/// The openings of a telescope in a state.
#[derive(Debug, Clone, PartialEq)]
pub struct Pupil {
    pieces: Vec<Piece>,
    /// Region of the mask that each piece belongs to.
    regions: Vec<Option<usize>>,
    map: RadialMap,
    open_area_m2: f64,
}

/// The opaque parts in the beam, each where the star sees it.
struct Shadows {
    blocks: Vec<Vec<Primitive>>,
}

impl Pupil {
    /// Builds the pupil that the star sees.
    pub fn new(instrument: &Instrument, state: &State) -> Self {
        let telescope = &instrument.telescope;
        let shadows = Shadows::of(telescope, state.field_m);
        let aperture = Primitive::Disc {
            centre: [0.0, 0.0],
            radius: telescope.aperture_radius_m(),
        };
        let worn = instrument.mask.as_ref().filter(|_| state.mask_on);
        let openings = match worn {
            None => vec![(None, Piece::disc([0.0, 0.0], telescope.aperture_radius_m()))],
            Some(design) => with_mask(design, telescope, state.field_m),
        };
        let vignette = vignette(telescope, state.field_m)
            .map(|(centre, radius)| Primitive::Disc { centre, radius });
        let frame = frame_axes(instrument);
        let (regions, pieces): (Vec<Option<usize>>, Vec<Piece>) = openings
            .into_iter()
            .filter_map(|(region, mut piece)| {
                piece.keep.push(aperture);
                piece.keep.extend(vignette);
                piece.blocks.extend(shadows.blocks.iter().cloned());
                Some((region, piece.in_frame(&frame).pruned()?))
            })
            .unzip();
        let open_area_m2 = pieces.iter().map(area).sum();
        Pupil {
            pieces,
            regions,
            map: Wavefront::radial_map(telescope),
            open_area_m2,
        }
    }

    /// Open area in square metres, in closed form.
    pub fn open_area_m2(&self) -> f64 {
        self.open_area_m2
    }

    /// The openings, in frame axes.
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// The openings of one region of the mask, as far as the light gets through them, in frame axes.
    pub fn pieces_of_region(&self, region: usize) -> impl Iterator<Item = &Piece> {
        self.pieces
            .iter()
            .zip(&self.regions)
            .filter(move |(_, own)| **own == Some(region))
            .map(|(piece, _)| piece)
    }

    /// Exact open fraction of each cell of a grid in sine space.
    pub fn sample(&self, grid: CellGrid) -> Coverage {
        cover(&self.pieces, self.map, grid)
    }
}

/// The change from pupil axes to frame axes.
pub fn frame_axes(instrument: &Instrument) -> Frame2 {
    axes_of(instrument.camera.hold())
}

/// The same for a way of holding the camera.
pub fn axes_of(hold: Hold) -> Frame2 {
    Frame2::new(hold.rotation_rad, hold.mirrored)
}

/// A shift on the sensor in the frame's axes.
pub fn to_frame(instrument: &Instrument, shift: FieldM) -> FrameM {
    FrameM::new(frame_axes(instrument).forward(shift.xy()))
}

/// A shift on the sensor in the pupil's axes: undoes [`to_frame`].
pub fn to_field(instrument: &Instrument, shift: FrameM) -> FieldM {
    FieldM::new(frame_axes(instrument).backward(shift.xy()))
}

/// How far something moves in the frame that moves on the sensor by so much.
pub fn shift_px(instrument: &Instrument, shift: FieldM) -> FramePx {
    to_frame(instrument, shift).in_pixels(instrument.camera.pixel_m)
}

/// Where in the frame a place of the sensor is, given from the frame's middle.
pub fn frame_px(instrument: &Instrument, place: FieldM) -> FramePx {
    instrument.camera.middle_px() + shift_px(instrument, place)
}

/// Where on the sensor a place of the frame is, from the frame's middle: undoes [`frame_px`].
pub fn field_m(instrument: &Instrument, place: FramePx) -> FieldM {
    let from_middle = place - instrument.camera.middle_px();
    to_field(instrument, from_middle.in_metres(instrument.camera.pixel_m))
}

/// Where in the frame an azimuth of the pupil points: a step of one pixel.
pub fn frame_direction(instrument: &Instrument, azimuth_rad: f64) -> FramePx {
    let ahead = [libm::cos(azimuth_rad), libm::sin(azimuth_rad)];
    FramePx::new(frame_axes(instrument).forward(ahead))
}

/// How far a thing `distance_m` ahead of the pupil is seen displaced from field point `field_m`: not at all from the field's axis.
pub fn displacement_m(telescope: &Telescope, distance_m: f64, field_m: FieldM) -> [f64; 2] {
    let from_axis = field_m - telescope.field.axis_m;
    [0, 1].map(|k| distance_m * from_axis[k] / telescope.focal_length_m)
}

/// Centre of the obstruction's shadow in pupil axes, as seen from a field point.
pub fn obstruction_centre_m(
    telescope: &Telescope,
    obstruction: &Obstruction,
    field_m: FieldM,
) -> [f64; 2] {
    let moved = displacement_m(telescope, obstruction.distance_m, field_m);
    [
        obstruction.offset_m[0] + moved[0],
        obstruction.offset_m[1] + moved[1],
    ]
}

/// Centre and radius of the second opening in pupil axes, as seen from a field point; `None` where there is none.
pub fn vignette(telescope: &Telescope, field_m: FieldM) -> Option<([f64; 2], f64)> {
    let stop = telescope.field.vignetting?;
    let centre_m = displacement_m(telescope, stop.distance_m, field_m);
    Some((centre_m, 0.5 * stop.diameter_m))
}

impl Shadows {
    fn of(telescope: &Telescope, field_m: FieldM) -> Self {
        let mut blocks: Vec<Vec<Primitive>> = Vec::new();
        if let Some(obstruction) = &telescope.obstruction {
            let centre = obstruction_centre_m(telescope, obstruction, field_m);
            blocks.push(obstruction_block(obstruction, centre));
        }
        blocks.extend(telescope.vanes.iter().map(vane_block));
        Shadows { blocks }
    }
}

fn obstruction_block(obstruction: &Obstruction, centre: [f64; 2]) -> Vec<Primitive> {
    let half = 0.5 * obstruction.diameter_m;
    match obstruction.shape {
        ObstructionShape::Round => vec![Primitive::Disc {
            centre,
            radius: half,
        }],
        ObstructionShape::Square => [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]]
            .iter()
            .map(|&normal| Primitive::HalfPlane {
                normal,
                limit: half + normal[0] * centre[0] + normal[1] * centre[1],
            })
            .collect(),
    }
}

/// A vane as four half-planes: its two long sides and its square ends.
fn vane_block(vane: &Vane) -> Vec<Primitive> {
    let (cos, sin) = (libm::cos(vane.azimuth_rad), libm::sin(vane.azimuth_rad));
    let left = [-sin, cos];
    let half = 0.5 * vane.width_m;
    vec![
        Primitive::HalfPlane {
            normal: left,
            limit: vane.offset_m + half,
        },
        Primitive::HalfPlane {
            normal: [-left[0], -left[1]],
            limit: half - vane.offset_m,
        },
        Primitive::HalfPlane {
            normal: [cos, sin],
            limit: vane.outer_radius_m,
        },
        Primitive::HalfPlane {
            normal: [-cos, -sin],
            limit: -vane.inner_radius_m,
        },
    ]
}

/// The mask's slots, each with its region, and the light that passes beside its plate.
fn with_mask(
    design: &MaskDesign,
    telescope: &Telescope,
    field_m: FieldM,
) -> Vec<(Option<usize>, Piece)> {
    let moved = displacement_m(telescope, design.distance_m, field_m);
    let centre = [design.offset_m[0] + moved[0], design.offset_m[1] + moved[1]];
    let mut openings: Vec<(Option<usize>, Piece)> = mask::openings(design)
        .iter()
        .map(|(region, slot)| {
            let slot = mask::to_pupil(slot, design.rotation_rad, centre);
            (Some(*region), slot)
        })
        .collect();
    let plate = |diameter_m: f64| Primitive::Disc {
        centre,
        radius: 0.5 * diameter_m,
    };
    let mut outside = Piece::disc([0.0, 0.0], telescope.aperture_radius_m());
    outside.blocks.push(vec![plate(design.outer_diameter_m)]);
    openings.push((None, outside));
    if design.inner_diameter_m > 0.0 {
        let hole = Piece::disc(centre, 0.5 * design.inner_diameter_m);
        openings.push((None, hole));
    }
    for cutout in mask::cutouts::cutouts(design) {
        let cutout = mask::to_pupil(&cutout, design.rotation_rad, centre);
        openings.push((None, cutout));
    }
    openings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::MaskLayout;
    use crate::testing;
    use approx::assert_relative_eq;
    use std::f64::consts::PI;

    /// The shadow of a thing ahead stands still where the field's axis meets the sensor, and goes by +distance·h/f from there.
    #[test]
    fn a_shadow_moves_by_the_distance_from_the_fields_axis() {
        let mut telescope = testing::fast_unit().telescope;
        telescope.field.axis_m = FieldM::new([4e-3, -1e-3]);
        let moved = |field_m| displacement_m(&telescope, 0.3, field_m);
        assert_eq!(moved(FieldM::new([4e-3, -1e-3])), [0.0; 2]);
        let [x, y] = moved(FieldM::new([5e-3, -1e-3]));
        assert!((x - 0.3 * 1e-3 / telescope.focal_length_m).abs() < 1e-15 && y == 0.0);
    }

    /// By hand: with the sensor's columns up in the pupil, +y of the pupil is +x of the frame, or −x where the camera mirrors.
    #[test]
    fn places_and_shifts_go_to_the_frame_and_back() {
        for (mirrored, sense) in [(false, 1.0), (true, -1.0)] {
            let mut instrument = testing::fast_unit();
            instrument.camera.rotation_rad = std::f64::consts::FRAC_PI_2;
            instrument.camera.mirrored = mirrored;
            let middle = instrument.camera.middle_px();
            let up = FieldM::new([0.0, 38e-6]);
            let close = |found: [f64; 2], wanted: [f64; 2]| {
                let apart = [found[0] - wanted[0], found[1] - wanted[1]];
                assert!(apart[0].hypot(apart[1]) < 1e-9, "{found:?} {wanted:?}");
            };
            close(shift_px(&instrument, up).xy(), [sense * 10.0, 0.0]);
            let place = frame_px(&instrument, up);
            close(place.xy(), [middle[0] + sense * 10.0, middle[1]]);
            close(field_m(&instrument, place).xy(), up.xy());
            let there = to_frame(&instrument, up);
            close(to_field(&instrument, there).in_units_of(1e-6), [0.0, 38.0]);
            let right = frame_direction(&instrument, 0.0);
            close(right.xy(), [0.0, -1.0]);
        }
    }

    #[test]
    fn open_area_with_a_strip_from_the_obstruction_to_the_edge() {
        // strip of width w from the square of half side s to the circle of radius R, along +x:
        // R² asin(h/R) + h √(R² − h²) − 2 h s, with h = w/2
        let mut instrument = testing::fast_unit();
        let telescope = &mut instrument.telescope;
        let radius = telescope.aperture_radius_m();
        let side = 0.07;
        telescope.obstruction = Some(Obstruction {
            diameter_m: side,
            offset_m: [0.0; 2],
            shape: ObstructionShape::Square,
            distance_m: 0.0,
        });
        let half: f64 = 0.0017;
        telescope.vanes = vec![Vane {
            azimuth_rad: 0.0,
            width_m: 2.0 * half,
            inner_radius_m: 0.0,
            outer_radius_m: 2.0 * radius,
            offset_m: 0.0,
        }];
        let strip = radius * radius * (half / radius).asin()
            + half * (radius * radius - half * half).sqrt()
            - half * side;
        let expected = PI * radius * radius - side * side - strip;
        let pupil = Pupil::new(&instrument, &State::default());
        assert_relative_eq!(pupil.open_area_m2(), expected, max_relative = 1e-12);
        let grid = CellGrid {
            count: 201,
            cell_m: 0.2 / 201.0,
        };
        let summed = pupil.sample(grid).fraction.sum() * grid.cell_m * grid.cell_m;
        assert_relative_eq!(summed, expected, max_relative = 1e-9);
    }

    /// An upright strip is as wide as its box: its sides are pruned away, and must not be missed when the camera is turned.
    #[test]
    fn turning_the_camera_changes_neither_the_area_nor_the_coverage_of_a_mask() {
        let mut instrument = testing::fast_unit();
        instrument.mask = Some(testing::mask(MaskLayout::ONE_TRIPLET));
        let worn = State {
            mask_on: true,
            ..State::default()
        };
        let straight = Pupil::new(&instrument, &worn).open_area_m2();
        instrument.camera.rotation_rad = 0.6;
        let pupil = Pupil::new(&instrument, &worn);
        assert_relative_eq!(pupil.open_area_m2(), straight, max_relative = 1e-12);
        let grid = CellGrid {
            count: 201,
            cell_m: 0.2 / 201.0,
        };
        let summed = pupil.sample(grid).fraction.sum() * grid.cell_m * grid.cell_m;
        assert_relative_eq!(summed, straight, max_relative = 1e-9);
    }

    #[test]
    fn obstruction_ahead_of_the_pupil_moves_with_the_field() {
        let mut instrument = testing::fast_unit();
        let telescope = &mut instrument.telescope;
        let obstruction = telescope.obstruction.as_mut().unwrap();
        obstruction.distance_m = 0.3;
        let obstruction = obstruction.clone();
        let centre = obstruction_centre_m(telescope, &obstruction, FieldM::new([0.004, -0.002]));
        assert_relative_eq!(
            centre[0],
            obstruction.offset_m[0] + 0.3 * 0.004 / telescope.focal_length_m
        );
        assert_relative_eq!(
            centre[1],
            obstruction.offset_m[1] - 0.3 * 0.002 / telescope.focal_length_m
        );
    }
}
