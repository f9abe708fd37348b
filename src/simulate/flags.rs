//! Flags of a truth: what stands out about the frame and the state it was made from.

use crate::flag::{Flag, Flags};
use crate::frame::Frame;
use crate::instrument::Instrument;
use crate::predict::{Expected, Model, QUARTER_WAVE};
use crate::state::State;

/// What the frame and the state by themselves give reason to say.
pub fn flags_of(
    instrument: &Instrument,
    state: &State,
    model: &Model,
    expected: &Expected,
    frame: Option<&Frame>,
) -> Flags {
    let camera = &instrument.camera;
    let [x, y] = model.star_px.xy();
    let outside = x < -0.5
        || y < -0.5
        || x > camera.width_px as f64 - 0.5
        || y > camera.height_px as f64 - 0.5;
    let mut flags = Flags::default();
    if outside {
        flags.raise(Flag::StarOutsideFrame);
    }
    if expected.light_in_frame < 0.9 {
        flags.raise(Flag::LightCutByFrame);
    }
    if !expected.in_electrons {
        flags.raise(Flag::RelativeUnits);
    }
    if frame.is_some_and(|f| f.saturated_px > 0) {
        flags.raise(Flag::Saturated);
    }
    if state.mask_on && instrument.mask.is_some() {
        flags.raise(Flag::Masked);
    }
    if model.colour_focus_m().is_some() {
        flags.raise(Flag::ColourFocusNotZero);
    }
    if model.design_waves() > QUARTER_WAVE {
        flags.raise(Flag::DesignOverQuarterWave);
    }
    if model.colour_waves() > QUARTER_WAVE {
        flags.raise(Flag::ColourOverQuarterWave);
    }
    flags
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::axes::FieldM;
    use crate::instrument::MaskLayout;
    use crate::predict::Settings;
    use crate::simulate::{Provenance, simulate};
    use crate::units::{ARCSEC, MM, UM};

    /// Each flag of a truth by what it says, and none without a reason.
    #[test]
    fn what_is_special_about_a_frame_is_flagged() {
        let mut unit = crate::testing::fast_unit();
        unit.camera.wavelengths = Some(1);
        unit.mask = Some(crate::testing::mask(MaskLayout::THREE_TRIPLET));
        let plain = State {
            sensor_offset_m: 60.0 * UM,
            ..State::default()
        };
        // the spikes of a mask reach far: a frame that holds them
        let mut wide_unit = unit.clone();
        [wide_unit.camera.width_px, wide_unit.camera.height_px] = [160, 150];
        let found = |state: State| {
            let unit = if state.mask_on { &wide_unit } else { &unit };
            let settings = Settings {
                sampling_check: false,
                ..Settings::default()
            };
            let run = simulate(unit, &state, &Provenance::default(), settings);
            run.expect("a frame").truth.flags
        };
        // no star, no seeing, nothing asked for
        let always = Flags::from([
            Flag::RelativeUnits,
            Flag::PhotonBoundNotComputed,
            Flag::NoSeeing,
            Flag::SamplingNotChecked,
        ]);
        assert_eq!(found(plain.clone()), always);
        let special = |state: State| {
            let flags = found(state);
            assert!(always.iter().all(|flag| flags.has(flag)), "{flags:?}");
            always.iter().fold(flags, |left, flag| left.without(flag))
        };
        let masked = State {
            mask_on: true,
            ..plain.clone()
        };
        assert_eq!(special(masked), Flags::from([Flag::Masked]));
        let focused = State::default();
        assert_eq!(special(focused), Flags::from([Flag::NoDoughnut]));
        let wide = State {
            sensor_offset_m: 700.0 * UM,
            ..plain.clone()
        };
        assert_eq!(special(wide), Flags::from([Flag::LightCutByFrame]));
        let gone = State {
            recentred: false,
            aside_m: FieldM::new([1.0 * MM, 0.0]),
            ..plain.clone()
        };
        let outside = [Flag::StarOutsideFrame, Flag::LightCutByFrame];
        assert_eq!(special(gone), Flags::from(outside));
        let mut blown = plain;
        blown.sky.seeing_rad = Some(2.0 * ARCSEC);
        let missing = |state: &State| {
            let flags = found(state.clone());
            [Flag::NoSeeing, Flag::NoWind, Flag::NoExposure].map(|flag| flags.has(flag))
        };
        assert_eq!(missing(&blown), [false, true, false]);
        blown.sky.wind_m_per_s = Some(8.0);
        assert_eq!(missing(&blown), [false, false, true]);
    }
}
