//! The dimensions that an owner may have typed in wrong, what is believed of each, and the telescope with other ones.

use super::super::settings::PriorSettings;
use crate::instrument::{Instrument, MaskDesign, MaskLayout, Vane};
use std::f64::consts::{PI, TAU};

/// A dimension that the owner may have typed in slightly wrong, or not at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dimension {
    /// Size of the obstruction, as a factor on what was typed.
    ObstructionSize,
    /// How far the obstruction sits aside along pupil x, in metres from what was typed.
    ObstructionX,
    /// The same along pupil y.
    ObstructionY,
    /// Turn of the mask in radians, from what was typed.
    MaskRotation,
    /// Open share of the mask's pitch, as a factor on what was typed.
    SlotWidth,
    /// Focal length, as a factor on what was typed.
    FocalLength,
    /// Turn of the camera in radians, counter-clockwise in pupil axes, from how it is held.
    CameraTurn,
    /// Turn of the vane of this number in radians, from what was typed.
    VaneTurn(usize),
    /// Its width, as a factor on what was typed.
    VaneWidth(usize),
    /// How deep a straight edge cuts into the aperture, times the cosine of the azimuth it cuts from, metres.
    CutX,
    /// The same times the sine.
    CutY,
    /// Azimuth of a strip that nobody typed, radians.
    StripAzimuth,
    /// Its width, metres.
    StripWidth,
}

/// A shadow that is narrower than this, metres, is none: the model keeps its strips.
const NARROWEST_M: f64 = 1e-5;

impl Dimension {
    /// The value that leaves the instrument as typed.
    pub fn neutral(self) -> f64 {
        match self {
            Dimension::ObstructionSize
            | Dimension::FocalLength
            | Dimension::SlotWidth
            | Dimension::VaneWidth(_) => 1.0,
            _ => 0.0,
        }
    }

    /// How far the value is believed to be off: a fit pays for going further.
    pub fn prior_width(self, instrument: &Instrument, prior: &PriorSettings) -> f64 {
        let aperture_m = instrument.telescope.aperture_m;
        match self {
            Dimension::ObstructionSize => prior.obstruction_size_share,
            Dimension::FocalLength => prior.focal_length_share,
            Dimension::ObstructionX | Dimension::ObstructionY => {
                prior.obstruction_aside_share * aperture_m
            }
            Dimension::MaskRotation => prior.mask_turn_rad,
            Dimension::SlotWidth => prior.slot_width_share,
            Dimension::CameraTurn => prior.camera_turn_rad,
            Dimension::VaneTurn(_) => prior.vane_turn_rad,
            Dimension::VaneWidth(_) => prior.vane_width_share,
            Dimension::CutX | Dimension::CutY => prior.cut_share * aperture_m,
            // it may be anywhere
            Dimension::StripAzimuth => TAU,
            Dimension::StripWidth => prior.strip_share * aperture_m,
        }
    }

    /// Step of the difference that stands for a derivative, in the unit of the value.
    pub fn step(self, instrument: &Instrument, prior: &PriorSettings) -> f64 {
        /// Small enough for the frame to change nearly in proportion, large enough to be seen beside the errors of its sampling.
        const STEP_OF_WIDTH: f64 = 0.1;
        match self {
            Dimension::StripAzimuth => STEP_OF_WIDTH * prior.vane_turn_rad,
            _ => STEP_OF_WIDTH * self.prior_width(instrument, prior),
        }
    }

    /// The values that make sense.
    pub fn range(self, instrument: &Instrument, prior: &PriorSettings) -> [f64; 2] {
        /// A factor on a width never falls below this, so that there is something left to be wide.
        const LEAST_FACTOR: f64 = 0.02;
        let room = prior.dimension_room_widths * self.prior_width(instrument, prior);
        let (low, high) = (self.neutral() - room, self.neutral() + room);
        match self {
            Dimension::VaneWidth(_) | Dimension::SlotWidth => [low.max(LEAST_FACTOR), high],
            Dimension::StripWidth => [NARROWEST_M, high],
            _ => [low, high],
        }
    }

    /// The instrument with this dimension at `value`. What is no typed part of the telescope comes in by [`apply_all`].
    fn apply(self, instrument: &mut Instrument, value: f64) {
        let telescope = &mut instrument.telescope;
        match self {
            Dimension::FocalLength => telescope.focal_length_m *= value,
            Dimension::CameraTurn => instrument.camera.rotation_rad += value,
            Dimension::MaskRotation | Dimension::SlotWidth => {
                if let Some(mask) = &mut instrument.mask {
                    match self {
                        Dimension::MaskRotation => mask.rotation_rad += value,
                        _ => widen_slots(mask, value),
                    }
                }
            }
            Dimension::ObstructionSize | Dimension::ObstructionX | Dimension::ObstructionY => {
                if let Some(obstruction) = &mut telescope.obstruction {
                    match self {
                        Dimension::ObstructionX => obstruction.offset_m[0] += value,
                        Dimension::ObstructionY => obstruction.offset_m[1] += value,
                        _ => obstruction.diameter_m *= value,
                    }
                }
            }
            Dimension::VaneTurn(number) => {
                if let Some(vane) = telescope.vanes.get_mut(number) {
                    vane.azimuth_rad += value;
                }
            }
            Dimension::VaneWidth(number) => {
                if let Some(vane) = telescope.vanes.get_mut(number) {
                    vane.width_m = (vane.width_m * value).max(NARROWEST_M);
                }
            }
            Dimension::CutX | Dimension::CutY | Dimension::StripAzimuth | Dimension::StripWidth => {
            }
        }
    }
}

/// All slots wider by a factor; round holes and a drawing have none.
fn widen_slots(mask: &mut MaskDesign, factor: f64) {
    mask.open_fraction = (mask.open_fraction * factor).min(1.0);
    if let MaskLayout::Regions(regions) = &mut mask.layout {
        for region in regions {
            region.open_fraction = (region.open_fraction * factor).min(1.0);
        }
    }
}

/// Puts these dimensions into the instrument, and what nobody typed: an edge that cuts into the beam, a strip across it.
pub fn apply_all(dimensions: &[(Dimension, f64)], instrument: &mut Instrument) {
    for (dimension, value) in dimensions {
        dimension.apply(instrument, *value);
    }
    let of = |wanted: Dimension| {
        let found = dimensions
            .iter()
            .find(|(dimension, _)| *dimension == wanted);
        found.map(|(_, value)| *value)
    };
    let radius_m = 0.5 * instrument.telescope.aperture_m;
    if let (Some(x), Some(y)) = (of(Dimension::CutX), of(Dimension::CutY)) {
        let depth_m = x.hypot(y);
        if depth_m > NARROWEST_M {
            instrument.telescope.vanes.push(Vane {
                azimuth_rad: libm::atan2(y, x),
                width_m: 2.0 * radius_m,
                inner_radius_m: radius_m - depth_m,
                outer_radius_m: 1.1 * radius_m,
                offset_m: 0.0,
            });
        }
    }
    if let (Some(azimuth_rad), Some(width_m)) =
        (of(Dimension::StripAzimuth), of(Dimension::StripWidth))
    {
        instrument.telescope.vanes.push(Vane {
            azimuth_rad: azimuth_rad.rem_euclid(2.0 * PI),
            width_m: width_m.max(NARROWEST_M),
            inner_radius_m: 0.0,
            outer_radius_m: radius_m,
            offset_m: 0.0,
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pupil::Pupil;
    use crate::state::State;
    use crate::testing::fast_unit;
    use crate::units::MM;
    use approx::assert_relative_eq;

    /// A chord that lies d inside the rim takes away r²·acos(1 − d/r) − (r − d)·√(2rd − d²) of a disc (elementary geometry).
    #[test]
    fn an_edge_cuts_a_segment_off() {
        let mut unit = fast_unit();
        unit.telescope.obstruction = None;
        let open = Pupil::new(&unit, &State::default()).open_area_m2();
        let (r, d) = (0.5 * unit.telescope.aperture_m, 4.0 * MM);
        apply_all(
            &[(Dimension::CutX, 0.6 * d), (Dimension::CutY, -0.8 * d)],
            &mut unit,
        );
        let left = Pupil::new(&unit, &State::default()).open_area_m2();
        let segment = r * r * (1.0 - d / r).acos() - (r - d) * (2.0 * r * d - d * d).sqrt();
        assert_relative_eq!(open - left, segment, max_relative = 1e-6);
    }

    #[test]
    fn what_is_neutral_changes_nothing() {
        let typed = fast_unit();
        let prior = PriorSettings::default();
        for dimension in [
            Dimension::ObstructionSize,
            Dimension::ObstructionX,
            Dimension::FocalLength,
            Dimension::VaneTurn(0),
            Dimension::VaneWidth(0),
            Dimension::CutX,
            Dimension::CutY,
        ] {
            let mut unit = typed.clone();
            apply_all(&[(dimension, dimension.neutral())], &mut unit);
            assert_eq!(unit, typed, "{dimension:?}");
            let [low, high] = dimension.range(&typed, &prior);
            assert!((low..=high).contains(&dimension.neutral()));
        }
    }
}
