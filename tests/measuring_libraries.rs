//! Frames that other libraries made and drew photons for, measured, against the truth they were made with.
//!
//! `tests/references/measured.py` makes them (hcipy, GalSim, numpy); nothing in them comes from the engine. The limits are those
//! that the project sets itself for stars of a mismatched reality: 12 nm RMS of coma, from doughnuts and from masked stars.

use crate::support::npy;
use skewstar::instrument::{Instrument, Orientation};
use skewstar::measure::{
    MeasureOptions, Measurement, Picture, Side, SideFrom, measure, measure_two,
};
use skewstar::scenario;
use skewstar::state::State;
use skewstar::units::NM;
use std::path::Path;

const COMA_LIMIT_NM: f64 = 12.0;

/// What the owner knows, what is true, and the frame.
struct Sample {
    name: &'static str,
    owner: Instrument,
    truth: State,
    star_px: [f64; 2],
    picture: Picture,
}

impl Sample {
    fn read(name: &'static str) -> Sample {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/references/data");
        let text = std::fs::read_to_string(folder.join(format!("{name}.json"))).unwrap();
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        let toml = toml::to_string(&toml::Value::try_from(&json["scenario"]).unwrap()).unwrap();
        let scenario = scenario::read(&toml, name, &[]).unwrap();
        let mut owner = scenario.instrument;
        owner.camera.orientation = Orientation::Known;
        // the owner knows the passband, not how finely another program cut it; but five lines make dashed spikes, which is
        // another star than a continuous one, so behind a mask the lines are told
        if !scenario.state.mask_on {
            owner.camera.wavelengths = None;
        }
        let number = |value: &serde_json::Value| value.as_f64().unwrap();
        let readout = &json["readout"];
        let middle = owner.camera.middle_px();
        Sample {
            name,
            star_px: [0, 1].map(|axis| middle[axis] + number(&readout["aside_px"][axis])),
            truth: scenario.state,
            picture: Picture {
                values_adu: npy::read(&folder.join(format!("{name}.npy"))),
                ceiling_adu: Some(65_535.0),
                gain_e_per_adu: Some(number(&readout["gain_e_per_adu"])),
                exposure_s: None,
                mosaic: false,
                pattern: None,
                sky_mirrored: None,
                filled_in: false,
                missing_px: Vec::new(),
            },
            owner,
        }
    }

    /// Prints every mode's error and holds the limits.
    fn judge(&self, found: &Measurement) {
        let error_nm = |noll: u32| {
            let mode = found.mode_m(noll).unwrap();
            (mode.value - self.truth.modes.get(noll)) / NM
        };
        let modes: Vec<String> = (5..=8)
            .filter_map(|noll| {
                let sigma = found.mode_m(noll)?.sigma?;
                Some(format!(
                    "{noll}: {:+.2} ± {:.2}",
                    error_nm(noll),
                    sigma / NM
                ))
            })
            .collect();
        let aside = [0, 1].map(|axis| found.star_px[axis] - self.star_px[axis]);
        println!(
            "{} by {}: errors in nm {}, place {:+.3}, {:+.3} px, flags {:?}",
            self.name,
            found.method.name(),
            modes.join(", "),
            aside[0],
            aside[1],
            found.flags
        );
        assert!(found.is_sound(), "{}: {:?}", self.name, found.flags);
        let coma_nm = error_nm(7).hypot(error_nm(8));
        assert!(
            coma_nm < COMA_LIMIT_NM,
            "{}: coma is {coma_nm:.1} nm off",
            self.name
        );
        assert!(
            aside[0].hypot(aside[1]) < 0.3,
            "{}: {aside:?} px off",
            self.name
        );
    }
}

fn with_side(side: Option<Side>) -> MeasureOptions {
    MeasureOptions {
        side,
        ..MeasureOptions::default()
    }
}

/// With the side told; astigmatism's sign follows it.
#[test]
fn a_doughnut_inside_focus() {
    let sample = Sample::read("measured_inside");
    let options = with_side(Some(Side::Inside));
    let found = measure(&sample.picture, &sample.owner, &options).unwrap();
    sample.judge(&found);
    assert_eq!(found.side, Some((Side::Inside, SideFrom::Told)));
}

/// Nobody says on which side: the vane's shadow does.
#[test]
fn a_doughnut_outside_focus_by_its_vane() {
    let sample = Sample::read("measured_outside");
    let found = measure(&sample.picture, &sample.owner, &with_side(None)).unwrap();
    sample.judge(&found);
    assert_eq!(found.side, Some((Side::Outside, SideFrom::Vanes)));
    for noll in [5, 6] {
        let error_m = found.mode_m(noll).unwrap().value - sample.truth.modes.get(noll);
        assert!(error_m.abs() < COMA_LIMIT_NM * NM, "Noll {noll}");
    }
}

#[test]
fn both_sides_together() {
    let [inside, outside] = ["measured_inside", "measured_outside"].map(Sample::read);
    let pictures = [&inside.picture, &outside.picture];
    let found = measure_two(pictures, &inside.owner, &with_side(Some(Side::Inside))).unwrap();
    inside.judge(&found);
}

#[test]
fn a_masked_star() {
    let sample = Sample::read("measured_masked");
    let found = measure(&sample.picture, &sample.owner, &MeasureOptions::default()).unwrap();
    sample.judge(&found);
}
