//! A star on an optical bench: one aperture, one wavelength, a camera whose pixels may be as small as a test likes.
//!
//! The mean of a function over a square pixel of width p is its value at the centre + p²/24 × its Laplacian + terms of order
//! p⁴. With pixels of 1/50 of λN the last are below 1e-7 of the in-focus peak; the middle term is taken out with the pixel's
//! own neighbours. What is left is the engine's own sampling.

use super::lens::three_screws;
use ndarray::Array2;
use skewstar::instrument::{
    Assembly, Camera, Instrument, MaskDesign, Obstruction, Passband, Response, Telescope,
};
use skewstar::mechanics::{Plane, turns_for};
use skewstar::predict::{Model, Settings};
use skewstar::propagation::Accuracy;
use skewstar::state::{Modes, State};
use skewstar::units::{MM, NM};
use skewstar::wavefront::{Seidel, Wavefront, seidel_to_noll};

/// The aperture of every bench that does not say otherwise.
pub const APERTURE_M: f64 = 0.2;
/// Width of the pixels that stand for points, in λN.
const POINT: f64 = 0.02;

/// A telescope, the star in it, and how finely it is computed.
#[derive(Debug, Clone)]
pub struct Bench {
    pub instrument: Instrument,
    pub state: State,
    pub accuracy: Accuracy,
    wavelength_m: f64,
}

impl Bench {
    /// A clear aperture of 0.2 m.
    pub fn clear(focal_ratio: f64, wavelength_m: f64) -> Self {
        Self::annular(focal_ratio, wavelength_m, 0.0)
    }

    /// The same with a round obstruction in the middle.
    pub fn annular(focal_ratio: f64, wavelength_m: f64, obstruction_ratio: f64) -> Self {
        let mut telescope = Telescope::new(APERTURE_M, focal_ratio * APERTURE_M);
        telescope.obstruction =
            (obstruction_ratio > 0.0).then(|| Obstruction::disc(obstruction_ratio * APERTURE_M));
        let mut instrument = Instrument::new(telescope, camera(wavelength_m));
        instrument.assembly = Some(frame_mover());
        Bench {
            instrument,
            state: State {
                recentred: false,
                ..State::default()
            },
            accuracy: Accuracy::default(),
            wavelength_m,
        }
    }

    /// Adds Seidel terms to the wavefront.
    pub fn with(mut self, seidel: &Seidel) -> Self {
        self.state.modes.add_scaled(&seidel_to_noll(seidel), 1.0);
        self
    }

    /// Adds W020 ρ², in metres.
    pub fn defocused(self, w020_m: f64) -> Self {
        self.with(&Seidel {
            defocus_m: w020_m,
            ..Seidel::default()
        })
    }

    /// Moves the obstruction's centre.
    pub fn obstruction_at(mut self, offset_m: [f64; 2]) -> Self {
        if let Some(obstruction) = &mut self.instrument.telescope.obstruction {
            obstruction.offset_m = offset_m;
        }
        self
    }

    /// Puts a mask on.
    pub fn masked(mut self, mask: MaskDesign) -> Self {
        self.instrument.mask = Some(mask);
        self.state.mask_on = true;
        self
    }

    /// The same star, every sampling `factor` times as fine.
    pub fn finer(mut self, factor: f64) -> Self {
        self.accuracy = self.accuracy.finer(factor);
        self
    }

    pub fn wavelength_m(&self) -> f64 {
        self.wavelength_m
    }

    pub fn focal_ratio(&self) -> f64 {
        self.instrument.telescope.focal_ratio()
    }

    /// λN: the unit of length of a star image.
    pub fn lambda_n_m(&self) -> f64 {
        self.wavelength_m * self.focal_ratio()
    }

    /// W of this star, frame axes.
    pub fn wavefront(&self) -> Wavefront {
        self.model([0.0; 2], 1e-6, [1, 1]).reference_wavefront()
    }

    /// Share of the light in each pixel of a frame whose middle lies at `middle_m` from the star.
    pub fn frame(&self, middle_m: [f64; 2], pixel_m: f64, px: [usize; 2]) -> Array2<f64> {
        self.model(middle_m, pixel_m, px).light::<f64>()
    }

    /// Irradiance at a point in 1/m², for 1 W through the pupil.
    pub fn irradiance(&self, place_m: [f64; 2]) -> f64 {
        let pixel_m = POINT * self.lambda_n_m();
        point(&self.frame(place_m, pixel_m, [3, 3]), 1) / (pixel_m * pixel_m)
    }

    /// Irradiance at a point over that in the middle of the same star in focus.
    pub fn relative(&self, place_m: [f64; 2]) -> f64 {
        let mut focused = self.clone();
        focused.state.modes = Modes::none();
        focused.state.sensor_offset_m = 0.0;
        self.irradiance(place_m) / focused.irradiance([0.0; 2])
    }

    /// Irradiance at `from_m`, `from_m + step_m`, … along x through the star, in pixels as wide as the step.
    pub fn row(&self, from_m: f64, step_m: f64, count: usize) -> Vec<f64> {
        let middle = from_m + 0.5 * (count as f64 - 1.0) * step_m;
        let light = self.frame([middle, 0.0], step_m, [count + 2, 3]);
        (1..=count)
            .map(|column| point(&light, column) / (step_m * step_m))
            .collect()
    }

    /// The prepared model of such a frame.
    pub fn model(&self, middle_m: [f64; 2], pixel_m: f64, px: [usize; 2]) -> Model {
        let mut instrument = self.instrument.clone();
        let camera = &mut instrument.camera;
        (camera.pixel_m, camera.width_px, camera.height_px) = (pixel_m, px[0], px[1]);
        let mut state = self.state.clone();
        if let Some(assembly) = &instrument.assembly {
            let tilt_rad = middle_m.map(|m| -m); // the mover shifts the image by 1 m per radian
            let plane = Plane {
                piston_m: 0.0,
                tilt_rad,
            };
            state.turns = turns_for(assembly, &plane);
        }
        let settings = Settings {
            accuracy: self.accuracy,
            ..Settings::default()
        };
        Model::new(&instrument, &state, settings).expect("a bench fits in memory")
    }
}

/// The value in the middle of a pixel, from the means over it and its neighbours.
fn point(light: &Array2<f64>, column: usize) -> f64 {
    let here = light[[1, column]];
    let round =
        light[[0, column]] + light[[2, column]] + light[[1, column - 1]] + light[[1, column + 1]];
    here - (round - 4.0 * here) / 24.0
}

/// Screws that move the image and do nothing else: they put the frame where a test wants it.
fn frame_mover() -> Assembly {
    Assembly {
        response: Some(Response {
            image_shift_m_per_rad: 1.0,
            ..Response::default()
        }),
        ..Assembly::new(55.0 * MM, 0.5 * MM, three_screws())
    }
}

fn camera(wavelength_m: f64) -> Camera {
    let narrow = [wavelength_m - 0.001 * NM, wavelength_m + 0.001 * NM];
    Camera {
        wavelengths: Some(1),
        ..Camera::new(1e-6, [1, 1], Passband::Band(narrow))
    }
}
