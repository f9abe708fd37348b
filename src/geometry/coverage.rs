//! Open area of every cell of a grid, and where in the cell it lies.
//!
//! Green's theorem: each stretch of the border adds the area to its right, in its own cell and in all cells further right;
//! the latter by a running sum along the row. Areas are in closed form, lines and arcs alike; so are the centroids of what lies
//! within chords, while the sliver between a chord and its arc counts at the chord's middle.

use super::arcs::{Chord, chords};
use super::shape::Piece;
use super::sweep::trapezoids;
use ndarray::Array2;

/// Square cells about the origin: `count` a side, the middle of the grid at (0, 0).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellGrid {
    /// Cells a side.
    pub count: usize,
    /// Width of a cell in metres.
    pub cell_m: f64,
}

/// What is done to every point before it is counted in a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RadialMap {
    /// Nothing.
    Identity,
    /// r → r / (1 + (r/2f)²): the sine-space height of a bare paraboloid's ray.
    Paraboloid {
        /// Focal length.
        focal_length_m: f64,
    },
}

/// Open part of every cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Coverage {
    /// The grid.
    pub grid: CellGrid,
    /// Open fraction, element `[[row, column]]` is the cell at (x(column), y(row)), row 0 at the bottom.
    pub fraction: Array2<f64>,
    /// Centroid of the open part from the cell's middle, in cells; 0 where nothing is open.
    pub centroid_cells: [Array2<f64>; 2],
}

/// Covers a grid with pieces that do not overlap.
///
/// # Accuracy
/// Lines and arcs are exact: the summed area equals the closed form to 1e-12 relative
/// (`geometry::coverage::tests::summed_area_is_exact`); curves bent by [`RadialMap::Paraboloid`] to 1e-9
/// (`…::paraboloid_area_matches_its_closed_form`).
pub fn cover(pieces: &[Piece], map: RadialMap, grid: CellGrid) -> Coverage {
    let mut sums = Sums::new(grid);
    for piece in pieces {
        for trapezoid in trapezoids(piece) {
            chords(&trapezoid, map, &grid, &mut |chord| sums.add(chord));
        }
    }
    sums.finish()
}

impl CellGrid {
    /// Middle of a column, or of a row.
    pub fn centre_m(&self, index: usize) -> f64 {
        (index as f64 - 0.5 * (self.count as f64 - 1.0)) * self.cell_m
    }

    fn edge_m(&self, index: f64) -> f64 {
        (index - 0.5 * self.count as f64) * self.cell_m
    }

    fn place(&self, x: f64) -> f64 {
        x / self.cell_m + 0.5 * self.count as f64
    }

    /// Calls `take` with every row border strictly between two heights, in no set order.
    pub(super) fn rows_between(&self, a: f64, b: f64, mut take: impl FnMut(f64)) {
        let (low, high) = (self.place(a.min(b)), self.place(a.max(b)));
        let mut index = low.floor() + 1.0;
        while index < high {
            take(self.edge_m(index));
            index += 1.0;
        }
    }

    /// Calls `take` with every column border strictly between two places.
    pub(super) fn columns_between(&self, a: f64, b: f64, take: impl FnMut(f64)) {
        self.rows_between(a, b, take);
    }
}

impl RadialMap {
    /// Where a point of the pupil is counted.
    pub fn forward(&self, p: [f64; 2]) -> [f64; 2] {
        match self {
            RadialMap::Identity => p,
            RadialMap::Paraboloid { focal_length_m } => {
                let scale = 1.0
                    / (1.0 + (p[0] * p[0] + p[1] * p[1]) / (4.0 * focal_length_m * focal_length_m));
                [p[0] * scale, p[1] * scale]
            }
        }
    }
}

/// Running sums: `area` and `y_moment` hold differences along the row, `x_moment` the cells' own values.
/// Lengths are in cells, so a full cell has area 1.
struct Sums {
    grid: CellGrid,
    area: Array2<f64>,
    x_moment: Array2<f64>,
    y_moment: Array2<f64>,
}

impl Sums {
    fn new(grid: CellGrid) -> Self {
        let zeros = || Array2::zeros((grid.count, grid.count + 1));
        Sums {
            grid,
            area: zeros(),
            x_moment: zeros(),
            y_moment: zeros(),
        }
    }

    /// Adds the area to the right of one chord, cell by cell.
    fn add(&mut self, chord: Chord) {
        let cells = |p: [f64; 2]| [self.grid.place(p[0]), self.grid.place(p[1])];
        let (from, to) = (cells(chord.from), cells(chord.to));
        if chord.sliver != 0.0 {
            let area = chord.sliver / (self.grid.cell_m * self.grid.cell_m);
            self.add_sliver(0.5 * (from[0] + to[0]), 0.5 * (from[1] + to[1]), area);
        }
        walk(from, to, 1, &mut |a, b| {
            walk(a, b, 0, &mut |a, b| self.add_in_cell(a, b))
        });
    }

    /// One stretch that stays within a cell.
    fn add_in_cell(&mut self, a: [f64; 2], b: [f64; 2]) {
        let drop = a[1] - b[1];
        let Some((row, column, u, v)) = self.locate(0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1]))
        else {
            return;
        };
        if drop == 0.0 {
            return;
        }
        let half_dx = 0.5 * (b[0] - a[0]);
        let half_dy = 0.5 * (b[1] - a[1]);
        let right = drop * (0.5 - u);
        self.area[[row, column]] += right;
        self.area[[row, column + 1]] += drop - right;
        // means over the stretch of u² and of v (½ − u), both quadratic along it
        self.x_moment[[row, column]] += drop * 0.5 * (0.25 - (u * u + half_dx * half_dx / 3.0));
        let y_right = drop * (v * (0.5 - u) - half_dx * half_dy / 3.0);
        self.y_moment[[row, column]] += y_right;
        self.y_moment[[row, column + 1]] += drop * v - y_right;
    }

    fn add_sliver(&mut self, x: f64, y: f64, area: f64) {
        let Some((row, column, u, v)) = self.locate(x, y) else {
            return;
        };
        self.area[[row, column]] += area;
        self.area[[row, column + 1]] -= area;
        self.x_moment[[row, column]] += area * u;
        self.y_moment[[row, column]] += area * v;
        self.y_moment[[row, column + 1]] -= area * v;
    }

    /// Row, column and place from the cell's middle; left of the grid counts as its left border, beyond it as nothing.
    fn locate(&self, x: f64, y: f64) -> Option<(usize, usize, f64, f64)> {
        let count = self.grid.count as f64;
        if y < 0.0 || y >= count || x >= count {
            return None;
        }
        let (row, column) = (y.floor(), x.max(0.0).floor());
        let u = if x < 0.0 { -0.5 } else { x - column - 0.5 };
        Some((row as usize, column as usize, u, y - row - 0.5))
    }

    fn finish(self) -> Coverage {
        let n = self.grid.count;
        let mut fraction = Array2::zeros((n, n));
        let mut centroid_cells = [Array2::zeros((n, n)), Array2::zeros((n, n))];
        for row in 0..n {
            let (mut area, mut y_moment) = (0.0, 0.0);
            for column in 0..n {
                area += self.area[[row, column]];
                y_moment += self.y_moment[[row, column]];
                if area > 1e-12 {
                    fraction[[row, column]] = area.min(1.0);
                    let x_moment = self.x_moment[[row, column]];
                    centroid_cells[0][[row, column]] = (x_moment / area).clamp(-0.5, 0.5);
                    centroid_cells[1][[row, column]] = (y_moment / area).clamp(-0.5, 0.5);
                }
            }
        }
        Coverage {
            grid: self.grid,
            fraction,
            centroid_cells,
        }
    }
}

/// Cuts a stretch at whole numbers of coordinate `axis` and hands on the parts in order.
fn walk(from: [f64; 2], to: [f64; 2], axis: usize, take: &mut impl FnMut([f64; 2], [f64; 2])) {
    let span = to[axis] - from[axis];
    let mut here = from;
    let (mut border, step) = if span > 0.0 {
        (from[axis].floor() + 1.0, 1.0)
    } else {
        (from[axis].ceil() - 1.0, -1.0)
    };
    while (to[axis] - border) * step > 0.0 {
        let t = (border - from[axis]) / span;
        let other = from[1 - axis] + (to[1 - axis] - from[1 - axis]) * t;
        let next = if axis == 0 {
            [border, other]
        } else {
            [other, border]
        };
        take(here, next);
        here = next;
        border += step;
    }
    take(here, to);
}

#[cfg(test)]
mod tests {
    use super::super::shape::Primitive;
    use super::super::sweep;
    use super::*;
    use approx::{assert_abs_diff_eq, assert_relative_eq};
    use std::f64::consts::PI;

    fn ugly_piece() -> Piece {
        let mut piece = Piece::disc([0.0, 0.0], 0.095);
        piece.blocks.push(vec![Primitive::Disc {
            centre: [0.0013, -0.0021],
            radius: 0.0405,
        }]);
        for azimuth in [0.4, 2.9, 4.4f64] {
            let end = [0.03 * azimuth.cos(), 0.03 * azimuth.sin()];
            piece.blocks.push(vec![
                Primitive::left_of(azimuth, [0.0, 0.0], 0.0003),
                Primitive::left_of(azimuth + PI, [0.0, 0.0], 0.0003),
                Primitive::left_of(azimuth - PI / 2.0, end, 0.0),
            ]);
        }
        piece
    }

    #[test]
    fn summed_area_is_exact() {
        for count in [7, 64, 301] {
            let grid = CellGrid {
                count,
                cell_m: 0.2003 / count as f64,
            };
            let covered = cover(&[ugly_piece()], RadialMap::Identity, grid);
            let summed = covered.fraction.sum() * grid.cell_m * grid.cell_m;
            assert_relative_eq!(summed, sweep::area(&ugly_piece()), max_relative = 1e-12);
        }
    }

    /// Slow twin: a cell's open part by 400 × 400 points in it.
    #[test]
    fn cells_equal_a_fine_count_of_points() {
        let grid = CellGrid {
            count: 23,
            cell_m: 0.2 / 23.0,
        };
        let piece = ugly_piece();
        let covered = cover(std::slice::from_ref(&piece), RadialMap::Identity, grid);
        for (row, column) in [
            (1, 11),
            (7, 11),
            (11, 15),
            (12, 4),
            (3, 3),
            (19, 18),
            (15, 9),
        ] {
            let (mut open, mut x_sum, mut y_sum) = (0.0, 0.0, 0.0);
            for j in 0..400 {
                for i in 0..400 {
                    let (u, v) = (
                        (i as f64 + 0.5) / 400.0 - 0.5,
                        (j as f64 + 0.5) / 400.0 - 0.5,
                    );
                    if piece.contains(
                        grid.centre_m(column) + u * grid.cell_m,
                        grid.centre_m(row) + v * grid.cell_m,
                    ) {
                        open += 1.0;
                        x_sum += u;
                        y_sum += v;
                    }
                }
            }
            let fraction = covered.fraction[[row, column]];
            assert_abs_diff_eq!(fraction, open / 160_000.0, epsilon = 1e-3);
            if open > 0.0 {
                assert_abs_diff_eq!(
                    covered.centroid_cells[0][[row, column]],
                    x_sum / open,
                    epsilon = 2e-3
                );
                assert_abs_diff_eq!(
                    covered.centroid_cells[1][[row, column]],
                    y_sum / open,
                    epsilon = 2e-3
                );
            }
        }
    }

    #[test]
    fn a_bar_thinner_than_a_cell_keeps_its_area() {
        let grid = CellGrid {
            count: 16,
            cell_m: 0.1,
        };
        let mut bar = Piece::disc([0.0, 0.0], 9.0);
        bar.keep = vec![
            Primitive::left_of(0.3, [0.0, 0.0], 0.004),
            Primitive::left_of(0.3 + PI, [0.0, 0.0], 0.004),
            Primitive::Disc {
                centre: [0.0, 0.0],
                radius: 0.6,
            },
        ];
        bar.bounds = [-0.6, -0.6, 0.6, 0.6];
        let summed = cover(std::slice::from_ref(&bar), RadialMap::Identity, grid)
            .fraction
            .sum()
            * 0.01;
        assert_relative_eq!(summed, sweep::area(&bar), max_relative = 1e-12);
        assert_relative_eq!(summed, 1.2 * 0.008, max_relative = 1e-4);
    }

    #[test]
    fn paraboloid_area_matches_its_closed_form() {
        let (focal_length_m, radius) = (0.4, 0.095);
        let map = RadialMap::Paraboloid { focal_length_m };
        let grid = CellGrid {
            count: 90,
            cell_m: 0.2 / 90.0,
        };
        let mut piece = Piece::disc([0.0, 0.0], radius);
        piece.blocks.push(vec![Primitive::Disc {
            centre: [0.0, 0.0],
            radius: 0.03,
        }]);
        let summed = cover(&[piece], map, grid).fraction.sum() * grid.cell_m * grid.cell_m;
        let area = |r: f64| PI * map.forward([r, 0.0])[0].powi(2);
        assert_relative_eq!(summed, area(radius) - area(0.03), max_relative = 1e-9);
    }
}
