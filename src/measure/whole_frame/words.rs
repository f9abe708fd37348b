//! What a frame of many stars shows, in plain sentences.

use super::{Corners, WholeFrame};
use crate::flag::Flag;
use crate::units::DEG;

/// Corner or edge of the frame, as displayed, that a direction points to.
pub fn place_in_words(direction: [f64; 2]) -> String {
    const PLACES: [&str; 8] = [
        "right edge",
        "top right corner",
        "top edge",
        "top left corner",
        "left edge",
        "bottom left corner",
        "bottom edge",
        "bottom right corner",
    ];
    let angle_deg = libm::atan2(direction[1], direction[0]) / DEG;
    let eighth = (angle_deg / 45.0).round().rem_euclid(8.0) as usize;
    PLACES[eighth % 8].to_owned()
}

/// Lengths along the axis are not told finer than this: rays do not know diffraction, and the focus of a night moves as much.
const LEAST_TOLD_UM: f64 = 1.0;

impl WholeFrame {
    /// A few sentences for a person.
    pub fn sentences(&self) -> String {
        let mut lines = vec![format!(
            "{} stars found, {} of them whole, alone and bright enough to be measured.",
            self.sources_found,
            self.stars.len()
        )];
        if let Some(middle) = self.middle_diameter_px() {
            lines.push(format!(
                "Half of a star's light lies within a circle {middle:.1} px across (the middle one of all stars)."
            ));
        }
        lines.extend(self.plane_sentences());
        lines.extend(self.coma_sentences());
        lines.extend(self.corners.iter().flat_map(Corners::sentences));
        lines.join("\n")
    }

    fn middle_diameter_px(&self) -> Option<f64> {
        let mut all: Vec<f64> = self.stars.iter().map(|s| s.half_flux_diameter_px).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied()
    }

    fn plane_sentences(&self) -> Vec<String> {
        let Some(plane) = &self.focal_plane else {
            return vec![if self.flags.has(Flag::FewStars) {
                "Too few stars for the tilt of the focal plane and the coma node: expose longer or point to a richer field.".to_owned()
            } else {
                "The stars' sizes do not tell the tilt of the focal plane.".to_owned()
            }];
        };
        let across = plane.across_sensor_um;
        let mut lines = Vec::new();
        match (&plane.towards, &plane.towards_either) {
            (Some(towards), _) => lines.push(format!(
                "The sensor is not level with the focal plane: by {:.0} ± {:.0} um (thousandths of a millimetre) from edge to edge, farthest outside focus at the {towards}.",
                across.value,
                across.sigma.max(LEAST_TOLD_UM)
            )),
            (None, Some([one, other])) => lines.push(format!(
                "The sensor is not level with the focal plane: by {:.0} ± {:.0} um (thousandths of a millimetre) from edge to edge, along the line from the {one} to the {other}. Which of the two sits farther outside focus this frame cannot show: say --side inside or --side outside.",
                across.value,
                across.sigma.max(LEAST_TOLD_UM)
            )),
            (None, None) => lines.push(format!(
                "The sensor is level with the focal plane, as far as this frame shows: to {:.0} um (thousandths of a millimetre) from edge to edge.",
                across.value.abs() + 2.0 * across.sigma
            )),
        }
        let offset = plane.sensor_offset_um;
        let side = match (plane.sign_by, offset.value > 0.0) {
            (None, _) => "from focus, on a side that this frame does not show",
            (_, true) => "outside focus",
            (_, false) => "inside focus",
        };
        let sigma_um = offset.sigma.max(LEAST_TOLD_UM);
        lines.push(match offset.value.abs() {
            um if um < 2.0 * sigma_um => {
                format!("Its middle is in focus, to {:.0} um.", um + 2.0 * sigma_um)
            }
            um => format!("Its middle sits {um:.0} ± {sigma_um:.0} um {side}."),
        });
        lines
    }

    fn coma_sentences(&self) -> Vec<String> {
        let Some(coma) = &self.coma else {
            if self.flags.has(Flag::FewStars) {
                return Vec::new();
            }
            return vec!["The stars' shapes do not tell where the field is free of coma: defocus a little, so that each star is a small ring, and expose again.".to_owned()];
        };
        let [x, y] = coma.node_px;
        let mut lines = vec![format!(
            "Stars have no coma at column {:.0} ± {:.0}, row {:.0} ± {:.0} (counted from the bottom left); in an aligned telescope that is where the optical axis meets the sensor.",
            x.value, x.sigma, y.value, y.sigma
        )];
        let worth_it = self.corners.as_ref().is_none_or(Corners::turn_is_worth_it);
        if let Some([tx, ty]) = coma.correcting_tilt_arcmin.filter(|_| worth_it) {
            lines.push(format!(
                "A tilt of the unit by {:.1} ± {:.1} arcmin (sixtieths of a degree) brings it there.",
                tx.value.hypot(ty.value),
                tx.sigma.hypot(ty.sigma)
            ));
        }
        lines
    }
}
