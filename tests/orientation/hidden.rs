//! What no frame can tell, proved by rendering both answers: the guide's table says for each kind of pupil whether half a turn,
//! mirroring and the side of focus are hidden.
//!
//! The laws are Fourier optics', no source needed: the pupil A(−x)·exp(+2πiW(−x)/λ) has the complex conjugate field at every point
//! of the image, and so the same intensity.

use ndarray::Array2;
use skewstar::instrument::{
    Camera, Hold, Instrument, MaskDesign, MaskLayout, Obstruction, Passband, Telescope, Vane,
};
use skewstar::measure::orientation::carried;
use skewstar::predict::{Model, Settings};
use skewstar::state::{Modes, State};
use skewstar::units::{DEG, MM, NM, UM};
use std::f64::consts::PI;

/// Frames that differ by less than this (relative L2) are the same picture …
const SAME: f64 = 1e-9;
/// … and by more than this are told apart on a bright star: a hundredth of its light in the wrong place.
const TOLD: f64 = 1e-2;

/// A kind of pupil: what is in front of a telescope of 180 mm, and the azimuth of its axis of symmetry where it has one.
struct Kind {
    name: &'static str,
    /// Azimuth, degrees, and how far out the vane begins.
    vanes: &'static [f64],
    aside_mm: [f64; 2],
    mask: Option<fn() -> MaskLayout>,
    axis_deg: f64,
}

const KINDS: [Kind; 10] = [
    kind("round: disc in the middle, nothing else", &[], 0.0),
    kind("one vane, or one hand, or one card", &[70.0], 70.0),
    kind("two opposite vanes", &[70.0, 250.0], 70.0),
    kind("three vanes, evenly", &[70.0, 190.0, 310.0], 70.0),
    kind("three vanes, unevenly", &[70.0, 150.0, 310.0], 70.0),
    kind("four vanes, evenly", &[25.0, 115.0, 205.0, 295.0], 25.0),
    Kind {
        aside_mm: [2.0, 3.0],
        ..kind("the disc aside, no vane", &[], 56.309_932_474_020_2)
    },
    Kind {
        aside_mm: [2.0, 3.0],
        ..kind("the disc aside and one vane", &[170.0], 170.0)
    },
    Kind {
        mask: Some(|| MaskLayout::ONE_TRIPLET),
        ..kind("mask, one triplet", &[], 90.0)
    },
    Kind {
        mask: Some(|| MaskLayout::THREE_TRIPLET),
        ..kind("mask, three triplets", &[], 90.0)
    },
];

const fn kind(name: &'static str, vanes: &'static [f64], axis_deg: f64) -> Kind {
    Kind {
        name,
        vanes,
        aside_mm: [0.0; 2],
        mask: None,
        axis_deg,
    }
}

impl Kind {
    fn instrument(&self) -> Instrument {
        let mut telescope = Telescope::new(180.0 * MM, 432.0 * MM);
        let mut disc = Obstruction::disc(72.0 * MM);
        disc.offset_m = self.aside_mm.map(|d| d * MM);
        telescope.obstruction = Some(disc);
        telescope.vanes = self
            .vanes
            .iter()
            .map(|azimuth| Vane {
                azimuth_rad: azimuth * DEG,
                width_m: 5.0 * MM,
                offset_m: 0.0,
                inner_radius_m: 36.0 * MM,
                outer_radius_m: 90.0 * MM,
            })
            .collect();
        let mut camera = Camera::new(3.8 * UM, [72, 68], Passband::Band([540.0 * NM, 541.0 * NM]));
        camera.wavelengths = Some(1);
        let mut instrument = Instrument::new(telescope, camera);
        instrument.mask = self
            .mask
            .map(|layout| MaskDesign::new(layout(), 4.0 * MM, 76.0 * MM, 178.0 * MM));
        instrument
    }

    /// A misaligned star with every mode to Noll 15, well out of focus, or nearly in focus behind a mask.
    fn state(&self) -> State {
        let modes = [
            31.0, -17.0, 60.0, -45.0, 12.0, -9.0, 20.0, 5.0, -6.0, 4.0, -3.0,
        ];
        State {
            sensor_offset_m: if self.mask.is_some() {
                8.0 * UM
            } else {
                -330.0 * UM
            },
            modes: (5..).zip(modes).map(|(noll, nm)| (noll, nm * NM)).collect(),
            mask_on: self.mask.is_some(),
            ..State::default()
        }
    }
}

const HOLD: Hold = Hold {
    rotation_rad: 0.6,
    mirrored: false,
};

fn star(instrument: &Instrument, hold: Hold, state: &State) -> Array2<f64> {
    let model = Model::new(&instrument.held(hold), state, Settings::default()).expect("a model");
    model.light::<f64>()
}

fn apart(a: &Array2<f64>, b: &Array2<f64>) -> f64 {
    let square = |image: &Array2<f64>| image.mapv(|v| v * v).sum();
    (square(&(a - b)) / square(a)).sqrt()
}

fn negated(modes: &Modes, of: impl Fn(u32) -> bool) -> Modes {
    modes
        .iter()
        .map(|(noll, value)| (noll, if of(noll) { -value } else { value }))
        .collect()
}

/// The same camera half a turn further, all of W negated.
fn half_turn(kind: &Kind, instrument: &Instrument) -> Array2<f64> {
    let mut state = kind.state();
    state.modes = negated(&state.modes, |_| true);
    state.sensor_offset_m = -state.sensor_offset_m;
    star(instrument, HOLD.turned(PI), &state)
}

/// The mirrored camera that lets the pupil's axis lie where it lies, the wavefront where it is in the frame.
fn mirrored(kind: &Kind, instrument: &Instrument) -> Array2<f64> {
    // azimuth p of the pupil lies at p − r in the frame, and at π − (p − r′) where the camera mirrors
    let hold = Hold {
        rotation_rad: 2.0 * kind.axis_deg * DEG - HOLD.rotation_rad - PI,
        mirrored: true,
    };
    let mut state = kind.state();
    state.modes = carried(&state.modes, HOLD, hold);
    star(instrument, hold, &state)
}

/// The same camera on the other side of focus: every mode with an even azimuthal order is negated.
fn other_side(kind: &Kind, instrument: &Instrument) -> Array2<f64> {
    let mut state = kind.state();
    let is_even = |noll| skewstar::wavefront::noll_n_m(noll).1 % 2 == 0;
    state.modes = negated(&state.modes, is_even);
    state.sensor_offset_m = -state.sensor_offset_m;
    star(instrument, HOLD, &state)
}

fn told(hidden: bool) -> &'static str {
    if hidden { "hidden" } else { "told" }
}

/// Every entry of the guide's table is what both frames say.
#[test]
fn the_guide_says_what_no_frame_can_tell() {
    let mut rows = vec![
        "| pupil | half a turn, with all of W negated | mirroring | side of focus and sign of even modes, camera known |".to_owned(),
        "|---|---|---|---|".to_owned(),
    ];
    for kind in &KINDS {
        let instrument = kind.instrument();
        let here = star(&instrument, HOLD, &kind.state());
        let differences = [
            half_turn(kind, &instrument),
            mirrored(kind, &instrument),
            other_side(kind, &instrument),
        ]
        .map(|other| apart(&here, &other));
        println!("{}: {differences:?}", kind.name);
        let entries = differences.map(|difference| {
            let hidden = difference < SAME;
            assert!(
                hidden || difference > TOLD,
                "{}: {difference:e} is neither",
                kind.name
            );
            told(hidden)
        });
        assert_eq!(
            entries[0], "hidden",
            "{}: a law without exception",
            kind.name
        );
        rows.push(format!("| {} | {} |", kind.name, entries.join(" | ")));
    }
    let guide = include_str!("../../DEVELOPERS.md");
    for row in rows {
        assert!(guide.contains(&row), "the guide lacks: {row}");
    }
}
