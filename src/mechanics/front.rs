//! Where the screws are for somebody who stands in front of the telescope and faces it.

use crate::frame::hour;
use crate::instrument::Instrument;
use crate::units::DEG;
use serde::Serialize;

/// A screw as somebody in front of the telescope sees it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FrontScrew {
    /// Its name.
    pub name: String,
    /// Azimuth as seen from the front, counter-clockwise from the right.
    pub front_deg: f64,
    /// Hour on a clock face, as seen from the front.
    pub hour: u32,
}

/// Where the screws are, seen from the front.
pub fn front_screws(instrument: &Instrument) -> Vec<FrontScrew> {
    let screws = instrument.assembly.iter().flat_map(|a| &a.screws);
    screws
        .map(|screw| {
            let front_deg = instrument.telescope.front_rad(screw.azimuth_rad) / DEG;
            FrontScrew {
                name: screw.name.clone(),
                front_deg: front_deg.rem_euclid(360.0),
                hour: hour(front_deg),
            }
        })
        .collect()
}
