//! What is allowed and looks mistyped all the same: told, never refused.
//!
//! Every limit here is common practice, no source; a telescope beyond one of them may well exist.

use super::Scene;
use crate::instrument::{Instrument, Response};
use crate::units::{ARCMIN, MM, NM, UM};

/// A screw circle below this share of the aperture holds nothing that large; one above the second is larger than the tube.
const SCREW_CIRCLE: [f64; 2] = [0.08, 1.5];
/// An obstruction below this share of the aperture, or above the second.
const OBSTRUCTION: [f64; 2] = [0.05, 0.7];
/// Reflections beyond this are a mistyped count.
const MOST_REFLECTIONS: u32 = 2;
/// Less of the star's light in the frame than this share is hardly meant.
const LEAST_LIGHT: f64 = 0.5;
/// Pitch of a screw, mm a turn.
const PITCH_MM: [f64; 2] = [0.2, 2.0];
/// Pixels, µm.
const PIXEL_UM: [f64; 2] = [1.0, 30.0];
/// Coma per arcminute of tilt over that of a bare paraboloid tilted as much.
const COMA_OF_PARABOLOID: [f64; 2] = [0.02, 50.0];

/// What looks implausible, in sentences that name the key and its value.
pub(super) fn implausible(scene: &Scene, light_in_frame: f64) -> Vec<String> {
    let instrument = &scene.instrument;
    let telescope = &instrument.telescope;
    let aperture_mm = telescope.aperture_m / MM;
    let mut told = Vec::new();
    if let Some(middle) = &telescope.obstruction {
        let ratio = middle.diameter_m / telescope.aperture_m;
        let mm = middle.diameter_m / MM;
        if !(OBSTRUCTION[0]..=OBSTRUCTION[1]).contains(&ratio) {
            let meant = if mm < 1.0 {
                format!(
                    "a ratio typed as mm? {mm} of the aperture would be {:.1} mm",
                    mm * aperture_mm
                )
            } else {
                format!(
                    "it is in mm, not in percent: {mm} % of the aperture would be {:.1} mm",
                    0.01 * mm * aperture_mm
                )
            };
            told.push(format!(
                "telescope.obstruction.diameter_mm is {mm}, {:.1} % of the aperture of {aperture_mm} mm: {meant}",
                100.0 * ratio
            ));
        } else if ratio < 0.3 && (20.0..=60.0).contains(&mm) && aperture_mm > 120.0 {
            told.push(format!(
                "telescope.obstruction.diameter_mm is {mm}, {:.1} % of the aperture: if {mm} percent were meant, type {:.1}",
                100.0 * ratio,
                0.01 * mm * aperture_mm
            ));
        }
    }
    if telescope.reflections > MOST_REFLECTIONS {
        told.push(format!(
            "telescope.reflections is {}: a prime focus has 1, a Newtonian or a Cassegrain 2, a refractor 0; an even count is seen turned over from the front",
            telescope.reflections
        ));
    }
    if light_in_frame < LEAST_LIGHT {
        told.push(format!(
            "only {:.1} % of the star's light falls into the frame: make camera.width_px and height_px larger, or state.sensor_offset_um ({:.0}) smaller",
            100.0 * light_in_frame,
            scene.state.sensor_offset_m / UM
        ));
    }
    let pixel_um = instrument.camera.pixel_m / UM;
    if !(PIXEL_UM[0]..=PIXEL_UM[1]).contains(&pixel_um) {
        told.push(format!(
            "camera.pixel_um is {pixel_um}: pixels measure 2 to 10 um on most cameras"
        ));
    }
    told.extend(of_screws(instrument));
    told.extend(of_seed(scene));
    told
}

fn of_screws(instrument: &Instrument) -> Vec<String> {
    let Some(assembly) = &instrument.assembly else {
        return Vec::new();
    };
    let mut told = Vec::new();
    let telescope = &instrument.telescope;
    let (radius_mm, aperture_mm) = (
        assembly.screw_circle_radius_m / MM,
        telescope.aperture_m / MM,
    );
    if !(SCREW_CIRCLE[0]..=SCREW_CIRCLE[1]).contains(&(radius_mm / aperture_mm)) {
        told.push(format!(
            "assembly.screw_circle_radius_mm is {radius_mm} on an aperture of {aperture_mm} mm: it is the radius, in mm; {} mm would be usual",
            (0.3 * aperture_mm).round()
        ));
    }
    let pitch_mm = assembly.pitch_m_per_turn / MM;
    if !(PITCH_MM[0]..=PITCH_MM[1]).contains(&pitch_mm) {
        told.push(format!(
            "assembly.pitch_mm_per_turn is {pitch_mm}: an M3 screw advances 0.5 mm a turn, an M4 0.7 mm, an M6 1 mm"
        ));
    }
    told.extend(
        assembly
            .response
            .as_ref()
            .and_then(|r| of_coma(instrument, r)),
    );
    told
}

/// A tilt of a bare paraboloid makes W131 = D/(32 N²) per radian, over √72 in RMS (D. J. Schroeder, Astronomical Optics, ch. 6, from memory).
fn of_coma(instrument: &Instrument, response: &Response) -> Option<String> {
    let telescope = &instrument.telescope;
    let paraboloid = telescope.aperture_m / (32.0 * telescope.focal_ratio().powi(2)) / 72f64.sqrt();
    let share = response.coma_m_per_rad.abs() / paraboloid;
    let [least, most] = COMA_OF_PARABOLOID;
    (share != 0.0 && !(least..=most).contains(&share)).then(|| {
        format!(
            "assembly.response.coma_nm_per_arcmin is {:.3}, {share:.1e} of what tilting a bare paraboloid of this size makes ({:.1}): nm RMS per arcmin are meant",
            response.coma_m_per_rad * ARCMIN / NM,
            paraboloid * ARCMIN / NM
        )
    })
}

/// Noise is drawn where there are counts; without a seed the first command that draws them stops.
fn of_seed(scene: &Scene) -> Option<String> {
    let counts = scene.state.star.is_some()
        && scene.state.exposure.is_some()
        && scene.instrument.camera.electronics.is_some();
    let field = scene.stars.is_some();
    (scene.provenance.seed.is_none() && (counts || field)).then(|| {
        "seed is left out: render and field draw noise and will ask for one; type for example seed = 20417".into()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario;

    fn told(set: &[&str]) -> Vec<String> {
        let text = scenario::template(scenario::TemplateKind::ALL[0], "a telescope to check");
        let set: Vec<String> = set.iter().map(|s| s.to_string()).collect();
        let scenario = scenario::read(&text, "t.toml", &set).expect("valid");
        implausible(&Scene::of(scenario).expect("a scene"), 0.97)
    }

    #[test]
    fn what_looks_mistyped_is_named_with_its_key() {
        assert_eq!(told(&[]), Vec::<String>::new());
        for (set, key) in [
            (
                "assembly.screw_circle_radius_mm=5.5",
                "screw_circle_radius_mm is 5.5",
            ),
            (
                "telescope.obstruction.diameter_mm=0.43",
                "a ratio typed as mm",
            ),
            ("telescope.obstruction.diameter_mm=43", "43 percent"),
            ("telescope.reflections=3", "reflections is 3"),
            (
                "assembly.pitch_mm_per_turn=0.05",
                "pitch_mm_per_turn is 0.05",
            ),
            ("camera.pixel_um=38", "pixel_um is 38"),
        ] {
            let told = told(&[set]);
            assert!(told.len() == 1 && told[0].contains(key), "{set}: {told:?}");
        }
    }
}
