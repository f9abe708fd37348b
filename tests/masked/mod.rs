//! The masked star, proved: what its plate leaves open, what light does behind it, and where its spikes lie.
//!
//! | file | question |
//! |---|---|
//! | `openings.rs` | is a point open? Written from the description of the layouts alone, nothing shared with `src/mask` |
//! | `geometry.rs` | does the engine open the same points, once each, and count the same area? |
//! | `twins.rs` | does a written-out diffraction integral give the same light, near the middle and far out? |
//! | `spikes.rs` | is a spike where the mean slope says, by hand-written gradients and in a rendered frame? |
//! | `layouts.rs` | which way do spikes of the layouts with two pitches and with tangential slots run, and how far do they part? |
//! | `table.rs` | how far does each error move the middle spike of a triplet from the crossing of its partners? |
//! | `outside.rs` | is a spike seen where numpy's FFT has one, and only there? |
//! | `own.rs` | do the layouts that are ours throw their light where slots and pitches by hand say, and do their spikes part so? |
//! | `picture.rs` | is the committed picture of masked stars what the engine draws today? |

mod geometry;
mod layouts;
mod openings;
mod outside;
mod own;
mod picture;
mod spikes;
mod table;
mod twins;

use skewstar::instrument::*;
use skewstar::mask::Region;
use skewstar::state::State;
use skewstar::units::{MM, NM, UM};

/// An invented fast unit without a mask: 190 mm, f/2.4, the obstruction a little off the middle.
pub fn fast_unit() -> Instrument {
    let mut telescope = Telescope::new(190.0 * MM, 456.0 * MM);
    telescope.obstruction = Some(Obstruction {
        offset_m: [0.6 * MM, -0.4 * MM],
        ..Obstruction::disc(81.0 * MM)
    });
    let mut camera = Camera::new(3.8 * UM, [72, 72], Passband::Band([540.0 * NM, 560.0 * NM]));
    camera.wavelengths = Some(1);
    Instrument::new(telescope, camera)
}

/// A mask for it: its plate is narrower than the aperture and its hole wider than the obstruction.
pub fn plate(layout: MaskLayout) -> MaskDesign {
    MaskDesign {
        slot_pitch_m: vec![3.4 * MM, 3.0 * MM],
        outer_rim_m: 4.0 * MM,
        inner_rim_m: 3.0 * MM,
        rib_m: 2.0 * MM,
        zone_radius_m: Some(71.0 * MM),
        ..MaskDesign::new(layout, 3.4 * MM, 84.0 * MM, 188.0 * MM)
    }
}

/// The unit with a mask on.
pub fn masked(design: MaskDesign) -> (Instrument, State) {
    let instrument = Instrument {
        mask: Some(design),
        ..fast_unit()
    };
    let state = State {
        mask_on: true,
        ..State::default()
    };
    (instrument, state)
}

/// A telescope with its mask on, under a name for messages.
pub struct Case {
    pub name: &'static str,
    pub instrument: Instrument,
    pub state: State,
}

/// The unit with a mask on, changed.
pub fn case(
    name: &'static str,
    design: MaskDesign,
    change: impl Fn(&mut Instrument, &mut State),
) -> Case {
    let (mut instrument, mut state) = masked(design);
    change(&mut instrument, &mut state);
    Case {
        name,
        instrument,
        state,
    }
}

/// The same telescope with one region of its mask in a plate that is solid everywhere else, beside it too.
///
/// A region of an owner's own list gives up half a rib at each of its radii; the plate's rims are put in their place.
pub fn alone(instrument: &Instrument, region: &Region) -> Instrument {
    let mut single = instrument.clone();
    if let Some(design) = &mut single.mask {
        let half_rib = 0.5 * design.rib_m;
        let open_from = 0.5 * design.inner_diameter_m + design.inner_rim_m;
        let open_to = 0.5 * design.outer_diameter_m - design.outer_rim_m;
        design.layout = MaskLayout::Regions(vec![RegionSpec {
            azimuth_rad: region.azimuth_rad,
            radius_m: [
                region.radius_m[0].max(open_from - half_rib),
                region.radius_m[1].min(open_to + half_rib),
            ],
            slot_rad: region.slot_rad,
            pitch_m: region.pitch_m,
            open_fraction: region.open_fraction,
        }]);
        design.inner_diameter_m = 0.0;
        design.inner_rim_m = 0.0;
        design.outer_diameter_m = 2.0 * instrument.telescope.aperture_m;
    }
    single
}
