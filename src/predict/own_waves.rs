//! What the aligned telescope itself does to a star on its axis, in waves: its design, and its colours.

use super::model::Model;
use crate::instrument::Telescope;
use crate::state::Modes;
use crate::wavefront::{Wavefront, ZernikeSum};

/// A quarter of a wave from peak to valley: Rayleigh's limit for a star that still looks perfect (a textbook value).
pub const QUARTER_WAVE: f64 = 0.25;

/// Peak to valley of the design's modes over the full circle of the aperture, in waves; best focus and no field, whatever the state.
///
/// Accuracy: modes up to Noll 22 within 0.5 % (`predict::own_waves::tests`).
pub fn design_waves(telescope: &Telescope, wavelength_m: f64) -> f64 {
    const RINGS: usize = 64;
    const SPOKES: usize = 48;
    let sum = ZernikeSum::new(&telescope.design);
    let mut least = f64::INFINITY;
    let mut most = f64::NEG_INFINITY;
    for ring in 0..=RINGS {
        let rho = ring as f64 / RINGS as f64;
        for spoke in 0..SPOKES {
            let angle = std::f64::consts::TAU * spoke as f64 / SPOKES as f64;
            let value = sum.value(rho * libm::cos(angle), rho * libm::sin(angle));
            (least, most) = (least.min(value), most.max(value));
        }
    }
    (most - least) / wavelength_m
}

impl Model {
    /// Peak to valley of the aligned telescope's own aberrations on the axis, in waves of the reference wavelength.
    pub fn design_waves(&self) -> f64 {
        design_waves(&self.instrument.telescope, self.reference_m)
    }

    /// The largest defocus of a wavelength in the light against the reference wavelength's focus, in its own waves at the edge of the
    /// pupil.
    pub fn colour_waves(&self) -> f64 {
        let ratio = self.instrument.telescope.focal_ratio();
        let focus_m = |wavelength_m: f64| self.focus_of(wavelength_m).sensor_offset_m;
        let middle_m = focus_m(self.reference_m);
        let lit = self.bins.iter().filter(|bin| bin.weight > 0.0);
        lit.map(|bin| {
            let defocus_m = (focus_m(bin.wavelength_m) - middle_m).abs();
            defocus_m / (8.0 * ratio * ratio) / bin.wavelength_m
        })
        .fold(0.0, f64::max)
    }

    fn focus_of(&self, wavelength_m: f64) -> Wavefront {
        self.wavefront(&Modes::none(), 0.0, wavelength_m)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::NM;

    /// By hand: √5 (6ρ⁴ − 6ρ² + 1) runs from √5 in the middle to −√5/2 at ρ² = 1/2; √7 (20ρ⁶ − 30ρ⁴ + 12ρ² − 1) from −√7 in the middle to √7
    /// at the edge.
    #[test]
    fn spherical_aberration_has_the_height_of_its_polynomial() {
        for (noll, height) in [(11, 1.5 * 5f64.sqrt()), (22, 2.0 * 7f64.sqrt())] {
            let mut telescope = Telescope::new(0.1, 0.4);
            telescope.design = [(noll, 30.0 * NM)].into_iter().collect();
            let found = design_waves(&telescope, 600.0 * NM);
            let wanted = 0.05 * height;
            assert!(
                (found / wanted - 1.0).abs() < 5e-3,
                "{noll}: {found} {wanted}"
            );
        }
        assert_eq!(design_waves(&Telescope::new(0.1, 0.4), 5e-7), 0.0);
    }
}
