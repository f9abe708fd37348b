//! Twenty masks on five telescopes, all invented, and what trials say of them.

use super::looker::{Looker, Printed, three_of_four};
use ndarray::Array2;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use skewstar::instrument::{Drawing, Instrument, MaskLayout};
use skewstar::mask::{drawing, plate::Plate};
use skewstar::predict::Settings;
use skewstar::preview::visible::{Observer, visibility};
use skewstar::scenario::{self, Scenario};
use skewstar::scene::Scene;
use skewstar::solid_io::svg;

/// Aperture, focal length, obstruction (mm), pixel (um), seeing (arcsec).
type Telescope = [f64; 5];

const F2: Telescope = [152.0, 304.0, 64.0, 2.9, 2.1];
const F28: Telescope = [190.0, 532.0, 80.0, 3.8, 2.5];
const F4: Telescope = [203.0, 812.0, 70.0, 3.8, 2.9];
const F7: Telescope = [113.0, 791.0, 0.0, 3.8, 2.0];
const F10: Telescope = [207.0, 2070.0, 69.0, 5.6, 2.2];

/// A mask, and the error that it is looked at with.
pub struct Case {
    telescope: Telescope,
    layout: &'static str,
    pitch_mm: f64,
    slant_deg: f64,
    /// Border between the zones over the lit radii.
    zone: f64,
    noll: u32,
    magnitude: f64,
    drawn: bool,
}

const fn case(
    telescope: Telescope,
    layout: &'static str,
    pitch_mm: f64,
    slant_deg: f64,
    zone: f64,
    noll: u32,
) -> Case {
    Case {
        telescope,
        layout,
        pitch_mm,
        slant_deg,
        zone,
        noll,
        magnitude: 2.0,
        drawn: false,
    }
}

const fn drawn(case: Case) -> Case {
    Case {
        drawn: true,
        ..case
    }
}

const fn faint(case: Case, magnitude: f64) -> Case {
    Case { magnitude, ..case }
}

/// The masks of the table.
pub const CASES: [Case; 20] = [
    case(F2, "three-triplet", 2.6, 20.0, 0.5, 4),
    case(F2, "two-zone", 2.6, 20.0, 0.55, 7),
    case(F2, "one-triplet", 2.6, 22.0, 0.5, 4),
    drawn(case(F2, "three-triplet", 2.9, 20.0, 0.5, 4)),
    case(F28, "three-triplet", 4.1, 20.0, 0.5, 4),
    case(F28, "two-zone", 4.1, 20.0, 0.6, 8),
    case(F28, "three-triplet", 3.7, 17.0, 0.5, 5),
    faint(case(F28, "two-zone", 3.9, 20.0, 0.5, 7), 6.5),
    case(F4, "three-triplet", 4.7, 20.0, 0.5, 6),
    case(F4, "two-zone", 4.7, 20.0, 0.5, 7),
    case(F4, "one-triplet", 4.7, 24.0, 0.5, 4),
    faint(case(F4, "three-triplet", 4.5, 20.0, 0.5, 4), 6.0),
    case(F7, "three-triplet", 5.9, 20.0, 0.5, 4),
    case(F7, "one-triplet", 5.9, 20.0, 0.5, 6),
    drawn(case(F7, "one-triplet", 5.6, 20.0, 0.5, 4)),
    case(F7, "two-zone", 5.2, 20.0, 0.6, 7),
    case(F10, "three-triplet", 7.1, 20.0, 0.5, 4),
    case(F10, "two-zone", 7.1, 20.0, 0.5, 8),
    case(F10, "one-triplet", 7.1, 20.0, 0.5, 4),
    faint(case(F10, "three-triplet", 6.9, 20.0, 0.5, 4), 5.0),
];

/// What came of one mask.
pub struct Outcome {
    pub words: String,
    /// Least error that is predicted, nm RMS; `None`: hidden.
    pub predicted_nm: Option<f64>,
    /// Error at which three of four trials are right.
    pub trials_nm: Option<f64>,
}

impl Outcome {
    /// Trials over prediction; `None` where either hides the error.
    pub fn ratio(&self) -> Option<f64> {
        Some(self.trials_nm? / self.predicted_nm?)
    }
}

const BAND_NM: [f64; 2] = [510.0, 590.0];
const FRAME_PX: usize = 141;
const READ_E: f64 = 2.0;
const FULL_E: f64 = 40_000.0;

impl Case {
    fn words(&self) -> String {
        let [aperture, focal, ..] = self.telescope;
        let drawn = if self.drawn { ", drawn" } else { "" };
        format!(
            "f/{:.1} {}{drawn}, pitch {} mm, magnitude {}, Noll {}",
            focal / aperture,
            self.layout,
            self.pitch_mm,
            self.magnitude,
            self.noll
        )
    }

    fn zone_mm(&self) -> f64 {
        let [aperture, _, obstruction, ..] = self.telescope;
        0.5 * (obstruction + self.zone * (aperture - obstruction))
    }

    fn scenario(&self) -> Scenario {
        let [aperture, focal, obstruction, pixel, seeing] = self.telescope;
        let shadow = if obstruction > 0.0 {
            format!("[telescope.obstruction]\ndiameter_mm = {obstruction:?}\n")
        } else {
            String::new()
        };
        let zone = if self.layout == "two-zone" {
            format!("zone_radius_mm = {:?}\n", self.zone_mm())
        } else {
            String::new()
        };
        let time_s = 0.5;
        let text = format!(
            "format = 1\ntitle = \"Trials\"\nseed = 11\n[telescope]\naperture_mm = {aperture:?}\nfocal_length_mm = {focal:?}\n{shadow}\
             [mask]\nlayout = \"{}\"\nslot_pitch_mm = {:?}\nopen_fraction = 0.5\nslant_deg = {:?}\n{zone}\
             outer_diameter_mm = {:?}\ninner_diameter_mm = {:?}\nouter_rim_mm = 3.0\ninner_rim_mm = 2.0\nrib_mm = 1.6\nthickness_mm = 2.4\n\
             [camera]\norientation = \"known\"\npixel_um = {pixel:?}\nwidth_px = {FRAME_PX}\nheight_px = {FRAME_PX}\n\
             passband_nm = [{:?}, {:?}]\nquantum_efficiency = 0.8\nthroughput = 0.8\ngain_e_per_adu = 1.0\nbias_adu = 300.0\n\
             read_noise_e = {READ_E:?}\nfull_well_e = {FULL_E:?}\nbits = 16\n[star]\nmagnitude = {:?}\ntemperature_k = 6200.0\n\
             [sky]\nseeing_arcsec = {seeing:?}\nbrightness_mag_per_arcsec2 = 20.0\n[exposure]\ntime_s = {time_s:?}\n",
            self.layout,
            self.pitch_mm,
            self.slant_deg,
            aperture + 6.0,
            (obstruction - 4.0).max(8.0),
            BAND_NM[0],
            BAND_NM[1],
            self.magnitude,
        );
        let mut scenario =
            scenario::read(&text, "trials", &[]).unwrap_or_else(|e| panic!("{e}\n{text}"));
        // exposed well for a star of magnitude 2; a fainter one is exposed as long
        let (instrument, mut state) = (&scenario.instrument, scenario.state.clone());
        if let Some(star) = &mut state.star {
            star.magnitude = 2.0;
        }
        let seen = visibility(
            instrument,
            &state,
            Observer::default(),
            &[],
            Settings::default(),
        );
        let time_s = seen
            .expect("light")
            .expect("a mask")
            .conditions
            .good_exposure_s
            .expect("counts");
        scenario.state.exposure = Some(skewstar::state::Exposure { time_s });
        if self.drawn {
            draw(&mut scenario.instrument);
        }
        scenario
    }

    /// What is printed on the mask; seen from the sensor, as the frame is: the camera is held straight.
    fn printed(&self) -> Vec<Printed> {
        let [_, focal, _, pixel, _] = self.telescope;
        let order = BAND_NM.map(|nm| 1e-3 * nm * focal / (self.pitch_mm * pixel));
        let directions: &[f64] = if self.layout == "one-triplet" {
            &[90.0]
        } else {
            &[90.0, 210.0, 330.0]
        };
        directions
            .iter()
            .map(|c| Printed {
                slot_deg: *c,
                slant_deg: self.slant_deg,
                order_px: [order, order],
            })
            .collect()
    }

    /// About how wide a spike is: seeing, and slots as long as half of what is lit.
    fn width_px(&self) -> f64 {
        let [aperture, focal, obstruction, pixel, seeing] = self.telescope;
        let share = if self.layout == "two-zone" { 0.25 } else { 0.5 };
        let blurred = seeing * focal * 1e3 / 206_265.0 / pixel;
        let slots = 0.55 * focal / (share * (aperture - obstruction)) / pixel;
        blurred.hypot(slots)
    }

    /// Predicts the least error, then tries it: `trials` in all.
    pub fn tried(&self, trials: usize, seed: u64) -> Outcome {
        let scenario = self.scenario();
        let seen = visibility(
            &scenario.instrument,
            &scenario.state,
            Observer::default(),
            &[self.noll],
            Settings::default(),
        );
        let seen = seen.expect("light").expect("a mask");
        let predicted_nm = seen.sees[0].smallest_nm;
        // where nothing is predicted, trials look for an ordinary amount
        let unit_nm = predicted_nm.unwrap_or(60.0);
        let amounts_nm = [0.5, 0.7, 1.0, 1.4, 2.0].map(|f| f * unit_nm);
        let frames: Vec<Array2<f64>> = [0.0]
            .iter()
            .chain(&amounts_nm)
            .map(|nm| expected(&scenario, self.noll, *nm))
            .collect();
        let width_px = self.width_px();
        let lookers: Vec<Looker> = self
            .printed()
            .iter()
            .map(|p| Looker::new(&frames[0], p, width_px))
            .collect();
        let moved = |looker: &Looker| -> f64 {
            let [a, b] = [&frames[0], &frames[3]].map(|f| looker.reading_px(f));
            a.zip(b).map_or(0.0, |(a, b)| b - a)
        };
        let best = lookers
            .iter()
            .max_by(|a, b| moved(a).abs().total_cmp(&moved(b).abs()))
            .expect("a triplet");
        let mut draw = ChaCha8Rng::seed_from_u64(seed);
        let each = trials / amounts_nm.len();
        let right: Vec<usize> = frames[1..]
            .iter()
            .map(|with| {
                best.right(
                    [&frames[0], with],
                    moved(best).signum(),
                    each,
                    [READ_E, FULL_E],
                    &mut draw,
                )
            })
            .collect();
        Outcome {
            words: format!(
                "{}: {} (moves {:.2} px)",
                self.words(),
                seen.sees[0].why,
                moved(best)
            ),
            predicted_nm,
            trials_nm: three_of_four(&amounts_nm, &right, each),
        }
    }
}

/// The same mask as a drawing that the program read from the SVG which it wrote.
fn draw(instrument: &mut Instrument) {
    let plate = Plate::new(instrument).expect("a mask");
    let text = svg::write(&plate, "Drawn");
    let mirrored = instrument.telescope.seen_mirrored();
    let design = instrument.mask.as_mut().expect("a mask");
    let empty = Drawing {
        file: "mask.svg".into(),
        ..Drawing::default()
    };
    let diameters_m = [design.inner_diameter_m, design.outer_diameter_m];
    let read = drawing::read(text.as_bytes(), &empty, diameters_m, mirrored).expect("a drawing");
    design.layout = MaskLayout::Drawing(read);
}

/// Expected electrons with one error, full pixels cut off.
fn expected(scenario: &Scenario, noll: u32, amount_nm: f64) -> Array2<f64> {
    let mut scenario = scenario.clone();
    scenario.state.modes.add(noll, amount_nm * 1e-9);
    let scene = Scene::of(scenario).expect("a scene");
    scene
        .expected()
        .expect("light")
        .image
        .mapv(|e| e.min(FULL_E))
}
