//! The slow, obvious twin of the engine: the diffraction integral written out, nothing shared with `src/`.
//!
//! The pupil is a fine square grid whose cells take the share of a few points that are open (4 × 4 for a smooth pupil, more
//! for one with slots); Zernike terms are written out by
//! hand from Noll's Table I (2 to 11); a pixel's light is a Gauss-Legendre rule over its square; the sum over pupil cells is
//! a matrix product in double precision. Positions are sine-space heights σ = f sin u throughout.

use ndarray::Array2;
use num_complex::Complex;
use rayon::prelude::*;
use std::f64::consts::TAU;

/// What is to be integrated, in frame axes with the star at the origin.
pub struct Scene<'a> {
    /// Aperture radius and focal length in metres.
    pub radius_m: f64,
    pub focal_length_m: f64,
    /// Whether tan(u/2) = r/2f holds instead of sin u = r/f.
    pub paraboloid: bool,
    /// Whether a pupil point (metres, pupil height) inside the aperture is open.
    pub open: &'a (dyn Fn(f64, f64) -> bool + Sync),
    /// Noll coefficients 2 to 11 in metres, and the exact defocus.
    pub noll_m: [f64; 10],
    /// Noll 12 to 22, those of a traced telescope that go beyond.
    pub further_m: Vec<(u32, f64)>,
    pub sensor_offset_m: f64,
    /// Cells across the aperture.
    pub cells: usize,
}

/// Share of the transmitted light in given pixels: element `[[row, column]]` for `y_px[row]`, `x_px[column]`, pixel centres
/// in pixels from the star.
pub fn pixels(
    scene: &Scene,
    wavelength_m: f64,
    pixel_m: f64,
    x_px: &[f64],
    y_px: &[f64],
    points: usize,
) -> Array2<f64> {
    let shares = open_shares(scene, 4);
    pixels_through(scene, &shares, wavelength_m, pixel_m, [x_px, y_px], points)
}

/// The same for a pupil whose open shares are known already: they do not change with W or the wavelength.
pub fn pixels_through(
    scene: &Scene,
    shares: &Array2<f64>,
    wavelength_m: f64,
    pixel_m: f64,
    [x_px, y_px]: [&[f64]; 2],
    points: usize,
) -> Array2<f64> {
    let field = pupil_field(scene, shares, wavelength_m);
    let (nodes, weights) = gauss_legendre(points);
    let places = |centres: &[f64]| -> Vec<f64> {
        centres
            .iter()
            .flat_map(|c| nodes.iter().map(move |t| (c + 0.5 * t) * pixel_m))
            .collect()
    };
    let (xs, ys) = (places(x_px), places(y_px));
    let kernel = |places: &[f64]| -> Vec<Vec<Complex<f64>>> {
        places
            .iter()
            .map(|x| {
                field
                    .sigma
                    .iter()
                    .map(|s| Complex::cis(-TAU * s * x / (wavelength_m * scene.focal_length_m)))
                    .collect()
            })
            .collect()
    };
    let (along_x, along_y) = (kernel(&xs), kernel(&ys));
    let half: Vec<Vec<Complex<f64>>> = field
        .rows
        .par_iter()
        .map(|row| along_x.iter().map(|k| dot(k, row)).collect())
        .collect();
    let columns: Vec<Vec<Complex<f64>>> = (0..xs.len())
        .map(|i| half.iter().map(|row| row[i]).collect())
        .collect();
    let power: Vec<Vec<f64>> = along_y
        .par_iter()
        .map(|k| {
            columns
                .iter()
                .map(|column| dot(k, column).norm_sqr())
                .collect()
        })
        .collect();
    let spread = wavelength_m * scene.focal_length_m;
    let scale = field.cell_m.powi(4) * pixel_m * pixel_m / (4.0 * spread * spread * field.light_m2);
    Array2::from_shape_fn((y_px.len(), x_px.len()), |(row, column)| {
        let mut sum = 0.0;
        for (j, wy) in weights.iter().enumerate() {
            for (i, wx) in weights.iter().enumerate() {
                sum += wx * wy * power[row * points + j][column * points + i];
            }
        }
        sum * scale
    })
}

struct PupilField {
    sigma: Vec<f64>,
    rows: Vec<Vec<Complex<f64>>>,
    cell_m: f64,
    light_m2: f64,
}

impl Scene<'_> {
    /// Sine-space height of the rim.
    fn rim_m(&self) -> f64 {
        let r = self.radius_m;
        if self.paraboloid {
            r / (1.0 + r * r / (4.0 * self.focal_length_m.powi(2)))
        } else {
            r
        }
    }

    /// Sine-space height to pupil height.
    fn pupil_height_m(&self, sigma: f64) -> f64 {
        if self.paraboloid {
            let sine: f64 = sigma / self.focal_length_m;
            2.0 * self.focal_length_m * sine / (1.0 + (1.0 - sine * sine).sqrt())
        } else {
            sigma
        }
    }

    /// Width of a cell, and the cells' middles.
    fn grid(&self) -> (f64, Vec<f64>) {
        let cell_m = 2.0 * self.rim_m() / self.cells as f64;
        let middle = |i: usize| (i as f64 + 0.5) * cell_m - self.rim_m();
        (cell_m, (0..self.cells).map(middle).collect())
    }

    fn is_open(&self, sx: f64, sy: f64) -> bool {
        let size = sx.hypot(sy);
        let scale = if size > 0.0 {
            self.pupil_height_m(size) / size
        } else {
            1.0
        };
        let (x, y) = (sx * scale, sy * scale);
        x.hypot(y) <= self.radius_m && (self.open)(x, y)
    }
}

/// Open share of every cell, element `[[row, column]]`: the part of `points` × `points` in it that are open.
pub fn open_shares(scene: &Scene, points: usize) -> Array2<f64> {
    shares(scene, |sx, sy, _, _| share_of_cell(scene, sx, sy, points))
}

/// The same for a pupil without details smaller than a cell: where corners and middle agree no closer look is taken.
pub fn open_shares_of_wide_slots(scene: &Scene, points: usize) -> Array2<f64> {
    let (cell_m, sigma) = scene.grid();
    let stride = sigma.len() + 1;
    let edge = |i: usize| i as f64 * cell_m - scene.rim_m();
    let corners: Vec<bool> = (0..stride * stride)
        .into_par_iter()
        .map(|k| scene.is_open(edge(k % stride), edge(k / stride)))
        .collect();
    shares(scene, |sx, sy, row, column| {
        let middle = scene.is_open(sx, sy);
        let first = row * stride + column;
        let alike = [0, 1, stride, stride + 1]
            .iter()
            .all(|corner| corners[first + corner] == middle);
        if alike {
            f64::from(u8::from(middle))
        } else {
            share_of_cell(scene, sx, sy, points)
        }
    })
}

/// Asks for each cell by its middle, row and column.
fn shares(scene: &Scene, share: impl Fn(f64, f64, usize, usize) -> f64 + Sync) -> Array2<f64> {
    let (_, sigma) = scene.grid();
    let n = sigma.len();
    let all: Vec<f64> = (0..n * n)
        .into_par_iter()
        .map(|k| share(sigma[k % n], sigma[k / n], k / n, k % n))
        .collect();
    Array2::from_shape_fn((n, n), |(row, column)| all[row * n + column])
}

fn share_of_cell(scene: &Scene, sx: f64, sy: f64, points: usize) -> f64 {
    let step = 2.0 * scene.rim_m() / (scene.cells * points) as f64;
    let place = |i: usize| (i as f64 - 0.5 * (points as f64 - 1.0)) * step;
    let open = (0..points * points)
        .filter(|k| scene.is_open(sx + place(k % points), sy + place(k / points)))
        .count();
    open as f64 / (points * points) as f64
}

fn pupil_field(scene: &Scene, shares: &Array2<f64>, wavelength_m: f64) -> PupilField {
    let f = scene.focal_length_m;
    let from_sigma = |sigma: f64| scene.pupil_height_m(sigma);
    let (cell_m, sigma) = scene.grid();
    let made: Vec<(Vec<Complex<f64>>, f64)> = sigma
        .par_iter()
        .enumerate()
        .map(|(row, &sy)| {
            let mut light = 0.0;
            let line = sigma
                .iter()
                .enumerate()
                .map(|(column, &sx)| {
                    let share = shares[[row, column]];
                    if share == 0.0 {
                        return Complex::new(0.0, 0.0);
                    }
                    let size = sx.hypot(sy).max(1e-12);
                    let r = from_sigma(size);
                    let h = 1e-6 * scene.radius_m;
                    let stretch =
                        (r / size) * (from_sigma(size + h) - from_sigma(size - h)) / (2.0 * h);
                    light += share * stretch * cell_m * cell_m;
                    let (x, y) = (
                        sx * r / size / scene.radius_m,
                        sy * r / size / scene.radius_m,
                    );
                    let cos_u = (1.0 - (size / f).powi(2)).sqrt();
                    let further = scene.further_m.iter();
                    let further: f64 = further.map(|(noll, m)| m * beyond(*noll, x, y)).sum();
                    let w = zernikes(&scene.noll_m, x, y)
                        + further
                        + scene.sensor_offset_m * (1.0 - cos_u);
                    Complex::cis(-TAU * w / wavelength_m) * share * stretch.sqrt()
                })
                .collect();
            (line, light)
        })
        .collect();
    let light_m2 = made.iter().map(|m| m.1).sum();
    PupilField {
        sigma,
        rows: made.into_iter().map(|m| m.0).collect(),
        cell_m,
        light_m2,
    }
}

/// Noll 2 to 11 written out (R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), Table I).
pub fn zernikes(c: &[f64; 10], x: f64, y: f64) -> f64 {
    let (rho, theta) = (x.hypot(y), y.atan2(x));
    let terms = [
        2.0 * rho * theta.cos(),
        2.0 * rho * theta.sin(),
        3f64.sqrt() * (2.0 * rho.powi(2) - 1.0),
        6f64.sqrt() * rho.powi(2) * (2.0 * theta).sin(),
        6f64.sqrt() * rho.powi(2) * (2.0 * theta).cos(),
        8f64.sqrt() * (3.0 * rho.powi(3) - 2.0 * rho) * theta.sin(),
        8f64.sqrt() * (3.0 * rho.powi(3) - 2.0 * rho) * theta.cos(),
        8f64.sqrt() * rho.powi(3) * (3.0 * theta).sin(),
        8f64.sqrt() * rho.powi(3) * (3.0 * theta).cos(),
        5f64.sqrt() * (6.0 * rho.powi(4) - 6.0 * rho.powi(2) + 1.0),
    ];
    c.iter().zip(terms).map(|(a, z)| a * z).sum()
}

/// Noll 12 to 22 written out (as above): an even index has the cosine.
fn beyond(noll: u32, x: f64, y: f64) -> f64 {
    let (rho, theta) = (x.hypot(y), y.atan2(x));
    let turned = |times: f64| match noll % 2 {
        0 => (times * theta).cos(),
        _ => (times * theta).sin(),
    };
    match noll {
        12 | 13 => 10f64.sqrt() * (4.0 * rho.powi(4) - 3.0 * rho.powi(2)) * turned(2.0),
        14 | 15 => 10f64.sqrt() * rho.powi(4) * turned(4.0),
        16 | 17 => {
            12f64.sqrt() * (10.0 * rho.powi(5) - 12.0 * rho.powi(3) + 3.0 * rho) * turned(1.0)
        }
        18 | 19 => 12f64.sqrt() * (5.0 * rho.powi(5) - 4.0 * rho.powi(3)) * turned(3.0),
        20 | 21 => 12f64.sqrt() * rho.powi(5) * turned(5.0),
        22 => 7f64.sqrt() * (20.0 * rho.powi(6) - 30.0 * rho.powi(4) + 12.0 * rho.powi(2) - 1.0),
        other => panic!("Noll {other} is not written out"),
    }
}

fn dot(a: &[Complex<f64>], b: &[Complex<f64>]) -> Complex<f64> {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Nodes and weights on −1 … 1, by Newton's method on Legendre's polynomial.
pub fn gauss_legendre(points: usize) -> (Vec<f64>, Vec<f64>) {
    let n = points as f64;
    (0..points)
        .map(|i| {
            let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..50 {
                let (mut p0, mut p1) = (1.0, x);
                for k in 2..=points {
                    let k = k as f64;
                    (p0, p1) = (p1, ((2.0 * k - 1.0) * x * p1 - (k - 1.0) * p0) / k);
                }
                slope = n * (x * p1 - p0) / (x * x - 1.0);
                x -= p1 / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .unzip()
}
