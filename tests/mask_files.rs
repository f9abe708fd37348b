//! Masks as files: areas, volumes, closed solids, drawings in and out, and the verbs `mask check|draw|preview|tune`.

#[path = "mask_files/drawings.rs"]
mod drawings;
#[path = "mask_files/dxf.rs"]
mod dxf;
#[path = "mask_files/limits.rs"]
mod limits;
#[path = "mask_files/parts.rs"]
mod parts;
mod pieces;
#[path = "mask_files/previewed.rs"]
mod previewed;
#[path = "mask_files/shades.rs"]
mod shades;
#[path = "mask_files/verbs.rs"]
mod verbs;
#[path = "mask_files/wearing.rs"]
mod wearing;

use skewstar::instrument::Instrument;
use skewstar::scenario::{self, Scenario};

/// An invented telescope with a mask; `mask` holds the keys of the layout.
fn scenario_with(mask: &str, more: &str) -> Scenario {
    scenario::read(&text_with(mask, more), "test", &[]).unwrap()
}

fn text_with(mask: &str, more: &str) -> String {
    format!(
        "format = 1\ntitle = \"A mask\"\n[telescope]\naperture_mm = 176.0\nfocal_length_mm = 405.0\n{more}\n\
         [telescope.obstruction]\ndiameter_mm = 74.0\n\
         [mask]\n{mask}\nouter_diameter_mm = 184.0\ninner_diameter_mm = 78.0\nouter_rim_mm = 6.0\ninner_rim_mm = 3.0\n\
         rib_mm = 2.0\nthickness_mm = 2.4\n\
         [camera]\npixel_um = 3.8\nwidth_px = 48\nheight_px = 44\npassband_nm = [500.0, 560.0]\nwavelengths = 1\n"
    )
}

fn instrument_with(mask: &str, more: &str) -> Instrument {
    scenario_with(mask, more).instrument
}

const LAYOUTS: [&str; 5] = [
    "layout = \"one-triplet\"\nslot_pitch_mm = 6.7\nopen_fraction = 0.47\nslant_deg = 21.0",
    "layout = \"three-triplet\"\nslot_pitch_mm = 5.3\nopen_fraction = 0.52\nslant_deg = 17.0",
    "layout = \"two-zone\"\nslot_pitch_mm = [5.9, 4.7]\nopen_fraction = 0.45\nslant_deg = 23.0\nzone_radius_mm = 63.7\nsense = -1",
    "layout = \"two-pitch\"\nslot_pitch_mm = [5.9, 7.3]\nopen_fraction = 0.5\nslant_deg = 23.0\nzone_radius_mm = 66.1",
    "layout = \"tangent-wedges\"\nslot_pitch_mm = [5.1, 6.3]\nopen_fraction = 0.5\nzone_radius_mm = 64.3",
];
