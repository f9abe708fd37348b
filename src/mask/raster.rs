//! The plate as a picture, for looking at only.

use super::plate::Plate;
use crate::geometry::outline::{GRID_M, Outline};
use ndarray::Array2;

/// Lines that are drawn within one row of pixels.
const FINER: usize = 3;

impl Plate {
    /// How much of each pixel is plastic, 0 to 1, seen from the sky side: element `[[row, column]]`, row 0 at the bottom, the plate's edge (that
    /// of its tabs, where it has some) at the edge of the picture.
    pub fn picture(&self, across_px: usize) -> Array2<f64> {
        let scale = 2.0 * self.reach_m / across_px as f64;
        let mut picture = Array2::zeros((across_px, across_px));
        for row in 0..across_px * FINER {
            let y_m = ((row as f64 + 0.5) / FINER as f64) * scale - self.reach_m;
            for run in runs_m(&self.plate, y_m).chunks_exact(2) {
                let [from, to] = [run[0], run[1]].map(|x| (x + self.reach_m) / scale);
                for column in from.max(0.0) as usize..(to.ceil().max(0.0) as usize).min(across_px) {
                    let left = from.max(column as f64);
                    let covered = (to.min(column as f64 + 1.0) - left).max(0.0);
                    picture[[row / FINER, column]] += covered / FINER as f64;
                }
            }
        }
        picture
    }
}

/// Where a level line crosses an outline's borders, ascending: in at the first, out at the second.
fn runs_m(outline: &Outline, y_m: f64) -> Vec<f64> {
    let mut crossings: Vec<f64> = Vec::new();
    for contour in outline.contours() {
        for (a, b) in contour.iter().zip(contour.iter().cycle().skip(1)) {
            let [(ax, ay), (bx, by)] =
                [a, b].map(|p| (f64::from(p.x) * GRID_M, f64::from(p.y) * GRID_M));
            if (ay > y_m) != (by > y_m) {
                crossings.push(ax + (y_m - ay) / (by - ay) * (bx - ax));
            }
        }
    }
    crossings.sort_by(f64::total_cmp);
    crossings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::MaskLayout;
    use crate::testing;
    use approx::assert_relative_eq;

    /// The plastic of the picture is the plate's area, for every layout; a plate is not its own mirror image, and the picture's upper half
    /// holds the up mark's region.
    #[test]
    fn a_picture_of_a_plate_has_its_area() {
        for layout in [MaskLayout::ONE_TRIPLET, MaskLayout::TWO_ZONE] {
            let mut instrument = testing::fast_unit();
            instrument.mask = Some(testing::mask(layout));
            let plate = Plate::new(&instrument).unwrap();
            let picture = plate.picture(300);
            let pixel_m2 = (2.0 * plate.reach_m / 300.0).powi(2);
            assert_relative_eq!(
                picture.sum() * pixel_m2,
                plate.plate.area_m2(),
                max_relative = 2e-3
            );
            assert!(picture.iter().all(|v| (-1e-9..=1.0 + 1e-9).contains(v)));
        }
    }
}
