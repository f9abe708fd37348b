//! What a masked star's spikes belong to: the regions of the masks of a set, told once for all of its frames.

use super::error::SetError;
use super::joined::{SetCase, key_of};
use super::set::Set;
use crate::instrument::MaskDesign;
use crate::mask::{self, triplets};
use crate::units::{DEG, MM};
use serde::Serialize;
use std::f64::consts::TAU;

/// `STEM.regions.json`.
#[derive(Debug, Serialize)]
struct RegionsFile {
    format: &'static str,
    masks: Vec<MaskRecord>,
}

/// The mask of a case.
#[derive(Debug, Serialize)]
struct MaskRecord {
    /// The case; `None` where the set is no mixture.
    case: Option<String>,
    /// Whether something about the mask is drawn, so that the truth table has directions of its own for each item.
    differs_from_item_to_item: bool,
    regions: Vec<RegionRecord>,
    triplets: Vec<TripletRecord>,
}

/// One region: its spike is `spike_shift_px.REGION` of the truth.
#[derive(Debug, Serialize)]
struct RegionRecord {
    region: usize,
    /// Middle of the region, pupil axes.
    azimuth_deg: f64,
    /// Inner and outer radius.
    radius_mm: [f64; 2],
    /// Direction along its slots, pupil axes: the spike's shift is counted along it, as turned into the frame.
    slot_deg: f64,
    /// Number of its triplet, and which spike of it; `None` where the layout has none.
    triplet: Option<usize>,
    spike: Option<&'static str>,
}

/// Spikes that an eye reads together.
#[derive(Debug, Serialize)]
struct TripletRecord {
    triplet: usize,
    /// Direction along the middle slots, pupil axes.
    slot_deg: f64,
    middle: Vec<usize>,
    left: Vec<usize>,
    right: Vec<usize>,
}

/// The file of a set's masks; `None` where no case has a mask with regions.
///
/// # Errors
/// None in practice: everything is written to memory.
pub fn regions_file(set: &Set) -> Result<Option<Vec<u8>>, SetError> {
    let masks: Vec<MaskRecord> = set.cases.iter().filter_map(record).collect();
    if masks.is_empty() {
        return Ok(None);
    }
    let file = RegionsFile {
        format: "skewstar-regions/1",
        masks,
    };
    let text = serde_json::to_vec_pretty(&file);
    let mut text = text.map_err(|error| SetError::Table(error.to_string()))?;
    text.push(b'\n');
    Ok(Some(text))
}

/// Whether a case draws something about its mask.
pub(super) fn regions_differ(case: &SetCase) -> bool {
    case.vary
        .iter()
        .any(|varied| key_of(&varied.key).starts_with("mask."))
}

fn record(case: &SetCase) -> Option<MaskRecord> {
    let design = case.base.instrument.mask.as_ref()?;
    let all = mask::regions(design);
    if all.is_empty() {
        return None;
    }
    let triplets = triplets_of(design);
    let regions = all.iter().enumerate().map(|(region, own)| {
        let of = triplets
            .iter()
            .find_map(|t| Some((t.triplet, t.spike_of(region)?)));
        RegionRecord {
            region,
            azimuth_deg: (own.middle_rad() + design.rotation_rad).rem_euclid(TAU) / DEG,
            radius_mm: own.radius_m.map(|m| m / MM),
            slot_deg: turned_deg(design, own.slot_rad),
            triplet: of.map(|of| of.0),
            spike: of.map(|of| of.1),
        }
    });
    Some(MaskRecord {
        case: case.name.clone(),
        differs_from_item_to_item: regions_differ(case),
        regions: regions.collect(),
        triplets,
    })
}

fn triplets_of(design: &MaskDesign) -> Vec<TripletRecord> {
    let all = triplets(design).into_iter().enumerate();
    all.map(|(triplet, own)| TripletRecord {
        triplet,
        slot_deg: turned_deg(design, own.slot_rad),
        middle: own.middle,
        left: own.left,
        right: own.right,
    })
    .collect()
}

impl TripletRecord {
    fn spike_of(&self, region: usize) -> Option<&'static str> {
        let lists = [
            ("middle", &self.middle),
            ("left", &self.left),
            ("right", &self.right),
        ];
        let found = lists.into_iter().find(|(_, list)| list.contains(&region));
        found.map(|(name, _)| name)
    }
}

/// A direction of the mask's own axes in pupil axes, as in a truth.
fn turned_deg(design: &MaskDesign, rad: f64) -> f64 {
    (rad + design.rotation_rad) / DEG
}
