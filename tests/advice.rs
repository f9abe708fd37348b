//! What the advice promises, held against a mechanic's model of the cell (`support/cell.rs`) and frames rendered anew: which screw,
//! which way, how far the star moves and the focus changes; and that words, report and pictures name the same.

mod cells;
mod follows;
mod hands;

use crate::cli::program::Place;
use crate::support::cell::{Cell, CellScrew};
use crate::support::mechanic::Kind;
use serde_json::Value;

/// How the camera is held.
#[derive(Debug, Clone, Copy)]
struct Held {
    rotation_deg: f64,
    mirrored: bool,
}

impl Held {
    /// Direction in the picture of an azimuth of the pupil: turned back by the camera's own rotation, then mirrored.
    fn in_picture_deg(self, azimuth_deg: f64) -> f64 {
        let turned = azimuth_deg - self.rotation_deg;
        let seen = if self.mirrored {
            180.0 - turned
        } else {
            turned
        };
        seen.rem_euclid(360.0)
    }

    /// The same of a vector.
    fn in_picture(self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (sin, cos) = self
            .in_picture_deg(y.atan2(x).to_degrees())
            .to_radians()
            .sin_cos();
        [x.hypot(y) * cos, x.hypot(y) * sin]
    }
}

/// A cell whose screws stand at no even angle.
fn cell(clockwise_lengthens: bool, reflections: u32) -> Cell {
    let screw = |name, front_deg| CellScrew {
        name,
        front_deg,
        length_mm: 0.0,
    };
    Cell {
        screws: [screw("K", 83.0), screw("L", 197.0), screw("M", 318.0)],
        circle_radius_mm: 48.0,
        pitch_mm: 0.5,
        clockwise_lengthens,
        reflections,
        coma_nm_per_arcmin: 30.0,
    }
}

/// A small telescope with that cell, at night, its star outside focus. `state` has the keys that are hidden.
fn night(cell: &Cell, held: Held, focus_um_per_mm: f64, state: &str) -> String {
    night_of(Kind::PushPull, cell, held, focus_um_per_mm, state)
}

/// The same with a cell of some kind.
fn night_of(kind: Kind, cell: &Cell, held: Held, focus_um_per_mm: f64, state: &str) -> String {
    format!(
        "format = 1\ntitle = \"A cell\"\nseed = 4102\n\
         [telescope]\naperture_mm = 118.0\nfocal_length_mm = 590.0\nreflections = {}\n\
         [telescope.obstruction]\ndiameter_mm = 41.0\n{}\
         [camera]\npixel_um = 4.7\nwidth_px = 74\nheight_px = 70\nrotation_deg = {:?}\nmirrored = {}\norientation = \"known\"\n\
         passband_nm = [540.0, 560.0]\nwavelengths = 1\nquantum_efficiency = 0.7\ngain_e_per_adu = 0.9\nbias_adu = 300.0\n\
         read_noise_e = 1.7\nfull_well_e = 60000.0\n\
         [star]\nmagnitude = 3.1\ntemperature_k = 5400.0\naltitude_deg = 61.0\n\
         [sky]\nseeing_arcsec = 1.4\n[exposure]\ntime_s = 0.4\n\
         [state]\nsensor_offset_um = 950.0\n{state}\n",
        cell.reflections,
        cell.assembly_toml(kind.word(), 9.0, focus_um_per_mm),
        held.rotation_deg,
        held.mirrored,
    )
}

/// Renders a text and measures the frame; more arguments of `measure` may be given.
fn measured(text: &str, more: &[&str]) -> (Place, Value) {
    let place = Place::with_file("unit.toml", text);
    place.run(&["render", "unit.toml"]).well();
    let first = [
        "measure",
        "out/unit.fits",
        "--instrument",
        "unit.toml",
        "--side",
        "outside",
    ];
    let args = [&first[..], &["--json", "--quiet"], more].concat();
    let found = serde_json::from_str(&place.run(&args).well().stdout).expect("a report");
    (place, found)
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("{value} is no number"))
}

fn pair(value: &Value) -> [f64; 2] {
    [number(&value[0]), number(&value[1])]
}

/// Smallest angle between two directions in degrees.
fn apart_deg(a: f64, b: f64) -> f64 {
    let gap = (a - b).rem_euclid(360.0);
    gap.min(360.0 - gap)
}
