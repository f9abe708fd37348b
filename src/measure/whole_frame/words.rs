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
                "Half of a star's light lies within {middle:.2} px (the middle one of all half-flux diameters)."
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
                "The sensor is tilted against the focal plane by {:.1} ± {:.1} um from edge to edge; it sits farthest outside focus at the {towards}.",
                across.value, across.sigma
            )),
            (None, Some([one, other])) => lines.push(format!(
                "The sensor is tilted against the focal plane by {:.1} ± {:.1} um from edge to edge, along the line from the {one} to the {other}. Which of the two sits farther outside focus one frame does not say: say on which side of focus it is (--side), or take it well to one side.",
                across.value, across.sigma
            )),
            (None, None) => lines.push(format!(
                "No tilt of the focal plane is seen: {:.1} ± {:.1} um from edge to edge.",
                across.value, across.sigma
            )),
        }
        let offset = plane.sensor_offset_um;
        let side = match (plane.sign_by, offset.value > 0.0) {
            (None, _) => "on one side of focus or the other",
            (_, true) => "outside focus",
            (_, false) => "inside focus",
        };
        lines.push(format!(
            "In its middle it sits {:.1} ± {:.1} um {side}.",
            offset.value.abs(),
            offset.sigma
        ));
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
            "The field is free of coma at ({:.0} ± {:.0}, {:.0} ± {:.0}) px.",
            x.value, x.sigma, y.value, y.sigma
        )];
        let worth_it = self.corners.as_ref().is_none_or(Corners::turn_is_worth_it);
        if let Some([tx, ty]) = coma.correcting_tilt_arcmin.filter(|_| worth_it) {
            lines.push(format!(
                "Tilting the unit by ({:+.2} ± {:.2}, {:+.2} ± {:.2}) arcmin brings that place to the axis.",
                tx.value, tx.sigma, ty.value, ty.sigma
            ));
        }
        lines
    }
}
