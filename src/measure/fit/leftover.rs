//! What a fit leaves over in the picture, looked at with simple filters: where the rim lacks light, where a line outwards does, where the
//! picture of the star itself would find light once more. They say where a look with the whole model is worth its price, no more.

use super::super::settings::FitSettings;
use super::problem::FitPixel;
use super::suspects::moved;
use ndarray::Array2;
use std::f64::consts::{FRAC_PI_8, TAU};

/// Where the ring of a doughnut lies.
#[derive(Debug, Clone, Copy)]
pub struct RingPlace {
    /// Its middle, pixels of the cut-out.
    pub centre_px: [f64; 2],
    /// Radius of its outer edge.
    pub radius_px: f64,
}

impl RingPlace {
    /// Directions in which a ring is looked at.
    pub const DIRECTIONS: usize = 72;
}

/// A pixel in the rim, over the ring's radius.
const RIM: [f64; 2] = [0.75, 1.1];
/// A line outwards has this half width, over the ring's radius, and no less than a pixel.
const RAY_HALF_WIDTH: f64 = 0.05;
/// Places of a second star that are asked about.
const SECOND_STARS: usize = 3;
/// Pictures are laid over each other in cells, no more than this along a side.
const CELLS_ALONG: usize = 40;

/// What is left over, pixel by pixel.
pub struct Leftover<'a> {
    pixels: &'a [FitPixel],
}

impl Leftover<'_> {
    /// Of these pixels against their model.
    pub fn of(pixels: &[FitPixel]) -> Leftover<'_> {
        Leftover { pixels }
    }

    /// The direction in which the rim of a ring lacks most light; `None` where it lacks none.
    pub fn darkest_rim(&self, ring: RingPlace) -> Option<f64> {
        self.darkest(ring, |[along, across]| {
            let radius = along.hypot(across);
            let near = libm::atan2(across, along).abs() < FRAC_PI_8;
            near && radius > RIM[0] * ring.radius_px && radius < RIM[1] * ring.radius_px
        })
    }

    /// The direction in which a straight line outwards lacks most light; `None` where it lacks none.
    pub fn darkest_ray(&self, ring: RingPlace) -> Option<f64> {
        let half_px = (RAY_HALF_WIDTH * ring.radius_px).max(1.0);
        self.darkest(ring, |[along, across]| {
            along > 0.0 && across.abs() < half_px
        })
    }

    /// The direction in which pixels that belong to it lack light with the most certainty. Places are [along, across] the direction.
    fn darkest(&self, ring: RingPlace, belongs: impl Fn([f64; 2]) -> bool) -> Option<f64> {
        let score = |direction: f64| {
            let (sin, cos) = (libm::sin(direction), libm::cos(direction));
            let (mut lack, mut weight) = (0.0, 0.0);
            for pixel in self.pixels {
                let x = pixel.place[1] as f64 - ring.centre_px[0];
                let y = pixel.place[0] as f64 - ring.centre_px[1];
                if belongs([cos * x + sin * y, cos * y - sin * x]) {
                    lack -= pixel.off_e * pixel.star_e / pixel.noise_e2;
                    weight += pixel.star_e * pixel.star_e / pixel.noise_e2;
                }
            }
            if weight > 0.0 {
                lack / weight.sqrt()
            } else {
                0.0
            }
        };
        let direction = |k: usize| TAU * k as f64 / RingPlace::DIRECTIONS as f64;
        (0..RingPlace::DIRECTIONS)
            .map(|k| (score(direction(k)), direction(k)))
            .filter(|(score, _)| *score > 0.0)
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, direction)| direction)
    }

    /// Where the picture of the first star (share of its light in each pixel), moved by whole pixels [x, y], finds most light; and among
    /// how many places it was looked.
    pub fn second_stars(
        &self,
        image: &Array2<f64>,
        settings: &FitSettings,
    ) -> (Vec<[isize; 2]>, usize) {
        let (rows, columns) = image.dim();
        let cell = rows.max(columns).div_ceil(CELLS_ALONG).max(1);
        let coarse = self.in_cells(image, cell);
        let reach = |count: usize| (count.div_ceil(cell) as isize * 4) / 5;
        let (up, right) = (reach(rows), reach(columns));
        let least_px = settings.neighbour_px_at_least;
        let mut scores = Vec::new();
        for dy in -up..=up {
            for dx in -right..=right {
                let apart_px = (cell as f64) * (dx as f64).hypot(dy as f64);
                if apart_px >= least_px {
                    scores.push((coarse.score([dx, dy]), [dx, dy]));
                }
            }
        }
        let looked_among = scores.len().max(1);
        scores.retain(|(score, _)| *score > 0.0);
        scores.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut places: Vec<[isize; 2]> = Vec::new();
        for (_, place) in scores {
            let apart =
                |other: &[isize; 2]| (0..2).any(|axis| (place[axis] - other[axis]).abs() > 2);
            if places.iter().all(apart) {
                places.push(place);
            }
            if places.len() == SECOND_STARS {
                break;
            }
        }
        let fine = self.in_cells(image, 1);
        let places = places.into_iter().map(|place| {
            let around = cell as isize;
            let middle = place.map(|d| d * cell as isize);
            (-around..=around)
                .flat_map(|dy| (-around..=around).map(move |dx| [middle[0] + dx, middle[1] + dy]))
                .max_by(|a, b| fine.score(*a).total_cmp(&fine.score(*b)))
                .unwrap_or(middle)
        });
        (places.collect(), looked_among)
    }

    /// Residuals over their variance, weights and the star's picture in cells of so many pixels along a side.
    fn in_cells(&self, image: &Array2<f64>, cell: usize) -> Cells {
        let (rows, columns) = image.dim();
        let dim = (rows.div_ceil(cell), columns.div_ceil(cell));
        let mut cells = Cells {
            image: Array2::zeros(dim),
            off: Array2::zeros(dim),
            weight: Array2::zeros(dim),
        };
        for ((row, column), share) in image.indexed_iter() {
            cells.image[[row / cell, column / cell]] += share / (cell * cell) as f64;
        }
        for pixel in self.pixels {
            let at = pixel.place.map(|p| p / cell);
            cells.off[at] += pixel.off_e / pixel.noise_e2;
            cells.weight[at] += 1.0 / pixel.noise_e2;
        }
        cells
    }
}

/// A picture and what is left over of it, in cells.
struct Cells {
    image: Array2<f64>,
    off: Array2<f64>,
    weight: Array2<f64>,
}

impl Cells {
    /// How surely the picture, moved so, is found once more: light over its own standard deviation.
    fn score(&self, by: [isize; 2]) -> f64 {
        let (mut found, mut weight) = (0.0, 0.0);
        for ((row, column), off) in self.off.indexed_iter() {
            let share = moved(&self.image, [row, column], by);
            if share > 0.0 {
                found += off * share;
                weight += self.weight[[row, column]] * share * share;
            }
        }
        if weight > 0.0 {
            found / weight.sqrt()
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const RING: RingPlace = RingPlace {
        centre_px: [30.0, 28.0],
        radius_px: 20.0,
    };

    /// A ring of 100 e a pixel, with what `off_e` says of place [x, y] from its middle left over.
    fn ring(off_e: impl Fn(f64, f64) -> f64) -> Vec<FitPixel> {
        let pixel = |k: usize| {
            let place = [k / 60, k % 60];
            let x = place[1] as f64 - RING.centre_px[0];
            let y = place[0] as f64 - RING.centre_px[1];
            let lit = (8.0..20.0).contains(&x.hypot(y));
            FitPixel {
                view: 0,
                place,
                off_e: if lit { off_e(x, y) } else { 0.0 },
                star_e: if lit { 100.0 } else { 0.0 },
                noise_e2: 120.0,
            }
        };
        (0..3600).map(pixel).collect()
    }

    #[test]
    fn light_that_is_missing_is_found_where_it_is_missing() {
        let towards: f64 = 2.0;
        let (sin, cos) = towards.sin_cos();
        let pixels = ring(|x, y| if cos * x + sin * y > 17.0 { -40.0 } else { 0.0 });
        let rim = Leftover::of(&pixels).darkest_rim(RING).unwrap();
        assert_relative_eq!(rim, towards, epsilon = 0.1);
        let on_ray = |x: f64, y: f64| cos * x + sin * y > 0.0 && (cos * y - sin * x).abs() < 1.0;
        let pixels = ring(|x, y| if on_ray(x, y) { -40.0 } else { 0.0 });
        let ray = Leftover::of(&pixels).darkest_ray(RING).unwrap();
        assert_relative_eq!(ray, towards, epsilon = 0.1);
        assert_eq!(Leftover::of(&ring(|_, _| 0.0)).darkest_rim(RING), None);
    }

    #[test]
    fn a_second_star_is_found_where_it_stands() {
        let lit = |row: f64, column: f64| (3.0..8.0).contains(&(row - 30.0).hypot(column - 24.0));
        let image = Array2::from_shape_fn((60, 60), |(row, column)| {
            f64::from(u8::from(lit(row as f64, column as f64))) / 170.0
        });
        let pixels: Vec<FitPixel> = image
            .indexed_iter()
            .map(|((row, column), share)| FitPixel {
                view: 0,
                place: [row, column],
                off_e: 3000.0 * moved(&image, [row, column], [19, -11]),
                star_e: 1e5 * share,
                noise_e2: 50.0 + 1e5 * share,
            })
            .collect();
        let settings = FitSettings::default();
        let (places, among) = Leftover::of(&pixels).second_stars(&image, &settings);
        assert_eq!(places[0], [19, -11]);
        assert!(among > 1000, "{among}");
    }
}
