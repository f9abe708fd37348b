//! Nothing of the table is forgotten: every check is used by a test, or named here with the reason why not.

use crate::support::checks::{Tolerance, checks};
use std::collections::BTreeMap;

/// The modules of this folder: name, the checks they say they use, and their text.
const MODULES: &[(&str, &[&str], &str)] = &[
    (
        "atmosphere",
        super::atmosphere::USED,
        include_str!("atmosphere.rs"),
    ),
    ("coma", super::coma::USED, include_str!("coma.rs")),
    ("defocus", super::defocus::USED, include_str!("defocus.rs")),
    (
        "doughnuts",
        super::doughnuts::USED,
        include_str!("doughnuts.rs"),
    ),
    ("energy", super::energy::USED, include_str!("energy.rs")),
    (
        "fast_beams",
        super::fast_beams::USED,
        include_str!("fast_beams.rs"),
    ),
    ("focus", super::focus::USED, include_str!("focus.rs")),
    ("masks", super::masks::USED, include_str!("masks.rs")),
    ("photons", super::photons::USED, include_str!("photons.rs")),
    (
        "polygons",
        super::polygons::USED,
        include_str!("polygons.rs"),
    ),
    (
        "prescriptions",
        super::prescriptions::USED,
        include_str!("prescriptions.rs"),
    ),
    ("screws", super::screws::USED, include_str!("screws.rs")),
    ("strehl", super::strehl::USED, include_str!("strehl.rs")),
    ("zernike", super::zernike::USED, include_str!("zernike.rs")),
];

/// Checks that no module of this folder uses, by reason.
const ELSEWHERE: &[(&str, &[&str])] = &[
    (
        "file formats: tests/files.rs holds the FITS layout against these",
        &[
            "fits.layout",
            "fits.bitpix_values",
            "fits.file_size",
            "fits.unsigned16",
            "fits.pixel_offset",
            "fits.first_row",
            "fits.pixel_centre",
        ],
    ),
    (
        "exports of a mask: belongs to the tests of the written files",
        &[
            "stl.file_size",
            "stl.cube",
            "svg.px_per_mm",
            "svg.viewbox_scale",
        ],
    ),
    (
        "short exposures: the engine's seeing is a long-exposure transfer function, it makes no phase screens",
        &[
            "kolmogorov.psd_constant",
            "zernike.kolmogorov_variance",
            "zernike.kolmogorov_residual",
            "zernike.noll_table_iv",
        ],
    ),
    (
        "a fit to the profile that the engine computes from its transfer function",
        &[
            "moffat.fwhm_over_alpha",
            "moffat.encircled_energy",
            "moffat.central_intensity",
        ],
    ),
    (
        "another airmass than the engine's: it has Kasten and Young's",
        &["airmass.sec_z", "airmass.hardie"],
    ),
    (
        "other photometric systems: the engine's zero point is the V one",
        &[
            "photometry.ab_zero_jy",
            "photometry.ab_photon_flux",
            "photometry.jansky_photons",
            "photometry.bessell79_v_photon_flux",
            "photometry.bv_temperature",
        ],
    ),
    (
        "a typical value, for the text of examples",
        &["extinction.typical_v"],
    ),
    (
        "a table of threads: the engine is given the pitch",
        &["screws.iso_coarse_pitch_mm"],
    ),
    (
        "aperture photometry: the engine's own limit is the Cramér-Rao bound",
        &["detector.snr"],
    ),
];

#[test]
fn every_check_is_used_or_accounted_for() {
    let mut places: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for (module, used, _) in MODULES {
        for id in *used {
            places.entry(id).or_default().push(format!("{module}.rs"));
        }
    }
    for (reason, ids) in ELSEWHERE {
        for id in *ids {
            let before = places.insert(id, vec![(*reason).to_owned()]);
            assert!(before.is_none(), "{id} is used, and excused all the same");
        }
    }
    let known: Vec<&str> = checks().ids().collect();
    for id in &known {
        let place = places
            .get(id)
            .unwrap_or_else(|| panic!("{id} is in the table and in no test"));
        println!("{id:<45} {}", place.join(" "));
    }
    for id in places.keys() {
        assert!(known.contains(id), "{id} is in no table");
    }
    let excused: usize = ELSEWHERE.iter().map(|(_, ids)| ids.len()).sum();
    println!(
        "{} checks, {} used, {excused} elsewhere",
        known.len(),
        known.len() - excused
    );
}

/// An id in a module's list also stands in its code.
#[test]
fn the_lists_are_true() {
    for (module, used, text) in MODULES {
        for id in checks().ids() {
            let times = text.matches(&format!("\"{id}\"")).count();
            if used.contains(&id) {
                assert!(times >= 2, "{module}.rs lists {id} and does not use it");
            }
        }
    }
}

#[test]
fn every_check_states_one_tolerance() {
    for id in checks().ids() {
        let (Tolerance::Abs(limit) | Tolerance::Rel(limit)) = checks().tolerance(id);
        assert!((0.0..0.11).contains(&limit), "{id}: {limit}");
    }
}
