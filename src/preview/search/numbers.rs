//! What is derived, what is tried, what is kept, and what is compared, by numbers worked out by hand.

use super::*;
use crate::testing::{fast_unit, mask};
use crate::units::{ARCSEC, MM, UM};
use approx::assert_abs_diff_eq;

/// 84 mm and 188 mm with rims of 3 and 4 mm: open from 45 to 90 mm.
fn two_zone() -> MaskDesign {
    mask(MaskLayout::TWO_ZONE)
}

fn tried(design: &MaskDesign) -> Vec<(String, bool, MaskDesign)> {
    candidates(&fast_unit(), &State::default(), design)
}

fn candidate(design: MaskDesign, [focus_nm, coma_nm]: [f64; 2]) -> Candidate {
    Candidate {
        label: "it".into(),
        customary: false,
        design,
        sees: Vec::new(),
        focus_nm,
        coma_nm,
    }
}

#[test]
fn the_worse_error_counts_where_both_are_wanted() {
    let seen = candidate(two_zone(), [21.0, 34.0]);
    let merits =
        [TunePurpose::Focus, TunePurpose::Coma, TunePurpose::Both].map(|p| seen.merit_nm(p));
    assert_eq!(merits, [21.0, 34.0, 34.0]);
    let hidden = candidate(two_zone(), [f64::INFINITY, 34.0]);
    assert_eq!(hidden.merit_nm(TunePurpose::Both), f64::INFINITY);
}

/// Aperture 190 mm, focal length 456 mm, obstruction 81 mm, plate 84 to 188 mm: rims of 2 mm are enough, light comes from 44 to 92 mm. Half of
/// that is a slot of 24 mm: 0.886 · 0.55 um · 456/24 = 9.259 um wide, with 0.9 pixels of 3.8 um 9.870 um. Five widths are 49 um, 15
/// pixels 57 um: λf/57 um is 4.4 mm, and pitches are that over 1.9, 1.4 and 1.05. Partners are three widths apart at asin of
/// 3 · 9.870 um / 108.3 um.
#[test]
fn pitch_slant_rims_and_borders_follow_from_the_telescope() {
    let found = derive(&fast_unit(), &State::default(), &two_zone());
    let near = |found: &[f64], wanted: &[f64]| {
        assert_eq!(found.len(), wanted.len());
        for (found, wanted) in found.iter().zip(wanted) {
            assert_abs_diff_eq!(*found, *wanted, epsilon = 2e-4 * wanted.abs());
        }
    };
    near(&found.lit_m, &[44.0 * MM, 92.0 * MM]);
    near(&found.rims_m, &[2.0 * MM, 2.0 * MM]);
    near(&found.pitch_m, &[2.3158 * MM, 3.1429 * MM, 4.1905 * MM]);
    near(&found.slant_rad, &[20.0 * DEG, 15.868 * DEG, 26.0 * DEG]);
    // rims cover what is not lit: a plate of 200 mm over an aperture of 190, a hole of 70 over a shadow of 81
    let wide = MaskDesign {
        outer_diameter_m: 200.0 * MM,
        inner_diameter_m: 70.0 * MM,
        ..two_zone()
    };
    let found = derive(&fast_unit(), &State::default(), &wide);
    near(&found.rims_m, &[5.0 * MM, 5.5 * MM]);
    near(&found.lit_m, &[40.5 * MM, 95.0 * MM]);
}

/// Worse seeing sends the spikes farther out: at 6 arcsec (13.3 um; by λ^-0.2 13.02 um) a spike is 16.3 um wide and five of them are 81.7 um.
/// A wide nozzle sets the finest pitch: 2 · 1.2 mm / 0.5.
#[test]
fn seeing_and_nozzle_have_their_say() {
    let mut state = State::default();
    state.sky.seeing_rad = Some(6.0 * ARCSEC);
    let found = derive(&fast_unit(), &state, &two_zone());
    let seeing_m = 6.0 * ARCSEC * 0.456 * (500.0f64 / 550.0).powf(0.2);
    let width_m = (9.2587 * UM).hypot(seeing_m).hypot(3.42 * UM);
    let wanted_m = 550.0 * NM * 0.456 / (1.05 * 5.0 * width_m);
    assert_abs_diff_eq!(found.pitch_m[2], wanted_m, epsilon = 1e-3 * wanted_m);
    let mut coarse = two_zone();
    coarse.printer.nozzle_m = 1.2 * MM;
    let found = derive(&fast_unit(), &State::default(), &coarse);
    assert_abs_diff_eq!(found.pitch_m[0], 4.8 * MM, epsilon = 1e-9);
    assert_eq!(found.pitch_m.len(), 1, "all three are the nozzle's");
}

/// Three customary layouts; three-triplet once; two-zone, two-pitch and tangent wedges with three borders, at 0.4, 0.55 and 0.7 of the way
/// from 44 to 92 mm.
#[test]
fn all_that_can_be_printed_is_tried() {
    let list = tried(&two_zone());
    let count = |start: &str| {
        list.iter()
            .filter(|c| !c.1 && c.0.starts_with(start))
            .count()
    };
    assert_eq!(list.iter().filter(|c| c.1).count(), 3);
    let counts = ["three-triplet", "two-zone", "two-pitch", "tangent-wedges"].map(count);
    assert_eq!(counts, [1, 3, 3, 3]);
    let zones_mm: Vec<f64> = list
        .iter()
        .filter(|c| !c.1 && c.2.layout == MaskLayout::TWO_PITCH)
        .filter_map(|c| Some(c.2.zone_radius_m? / MM))
        .collect();
    for (found, wanted) in zones_mm.iter().zip([63.2, 70.4, 77.6]) {
        assert_abs_diff_eq!(*found, wanted, epsilon = 1e-9);
    }
    assert_eq!(zones_mm.len(), 3);
    assert!(
        list.iter()
            .filter(|c| !c.1)
            .all(|c| printable(&c.2) && zones_fit(&c.2))
    );
}

/// A mask of holes has no numbers of slots: the customary layouts are compared half open, leaning by 20 degrees, with the border half
/// way from 45 to 90 mm and a pitch of 2.5 times the least bar of 0.8 mm. Numbers that are given stay.
#[test]
fn layouts_without_numbers_get_common_ones() {
    let bare = MaskDesign {
        slot_pitch_m: Vec::new(),
        open_fraction: 0.0,
        slant_rad: 0.0,
        zone_radius_m: None,
        ..mask(MaskLayout::Holes(Vec::new()))
    };
    let given = MaskDesign {
        open_fraction: 0.45,
        slant_rad: 17.0 * DEG,
        ..two_zone()
    };
    for (base, wanted) in [
        (bare, [2.0, 0.5, 20.0, 67.5]),
        (given, [3.4, 0.45, 17.0, 71.0]),
    ] {
        let customary: Vec<MaskDesign> = tried(&base)
            .into_iter()
            .filter(|c| c.1)
            .map(|c| c.2)
            .collect();
        assert_eq!(customary.len(), 3);
        for own in customary {
            let border_mm = own.zone_radius_m.expect("a border") / MM;
            let slant_deg = own.slant_rad / DEG;
            let found = [
                own.slot_pitch_m[0] / MM,
                own.open_fraction,
                slant_deg,
                border_mm,
            ];
            for (found, wanted) in found.into_iter().zip(wanted) {
                assert_abs_diff_eq!(found, wanted, epsilon = 1e-9);
            }
        }
    }
}

/// Two parts of a spike tell which is which only by different pitches: layouts that need them get a second one, 1.45 times as wide.
#[test]
fn one_pitch_becomes_two_where_the_sign_hangs_on_it() {
    for (label, _, design) in tried(&two_zone()).iter().filter(|c| !c.1) {
        let layout = design.layout.slots().expect("slots");
        let ratio = design
            .slot_pitch_m
            .last()
            .map(|p| p / design.slot_pitch_m[0]);
        let wanted = if layout.has_two_pitches() && layout.parallel_spikes_differ() {
            1.45
        } else {
            1.0
        };
        assert_abs_diff_eq!(ratio.expect("a pitch"), wanted, epsilon = 1e-9);
        assert_eq!(
            design.slot_pitch_m.len(),
            1 + usize::from(layout.has_two_pitches()),
            "{label}"
        );
    }
}

#[test]
fn refinements_change_one_thing() {
    let best = candidate(two_zone(), [20.0, 20.0]);
    let derived = derive(&fast_unit(), &State::default(), &best.design);
    let changed = |what: Refinement| variations(&best, &derived, what);
    let pitched = changed(Refinement::Pitches);
    let pitches: Vec<f64> = pitched.iter().map(|v| v.2.slot_pitch_m[0]).collect();
    assert_eq!(pitches, derived.pitch_m);
    let same = |design: &MaskDesign| MaskDesign {
        slot_pitch_m: best.design.slot_pitch_m.clone(),
        ..design.clone()
    };
    assert!(pitched.iter().all(|v| same(&v.2) == best.design));
    let zones = changed(Refinement::Zone);
    let borders: Vec<f64> = zones
        .iter()
        .filter_map(|v| Some(v.2.zone_radius_m? / MM))
        .collect();
    for (found, wanted) in borders.iter().zip([65.6, 68.0, 73.76, 81.44]) {
        assert_abs_diff_eq!(*found, wanted, epsilon = 1e-9);
    }
    // the mask leans by 20 degrees already
    assert_eq!((zones.len(), changed(Refinement::Slant).len()), (4, 2));
}

/// Of a pitch of 3.4 mm six tenths are a slot of 2.04 mm, the rest a bar of 1.36 mm.
#[test]
fn slots_and_bars_keep_the_printers_limits() {
    let with = |nozzle_mm: f64, least_bar_mm: f64| {
        let mut design = two_zone();
        (design.slot_pitch_m, design.open_fraction) = (vec![3.4 * MM], 0.6);
        (design.printer.nozzle_m, design.printer.least_bar_m) = (nozzle_mm * MM, least_bar_mm * MM);
        printable(&design)
    };
    assert!(with(1.01, 1.35));
    assert!(!with(1.03, 0.8), "two nozzle widths are 2.06 mm");
    assert!(!with(0.4, 1.37));
}

/// By symmetry two zones hide focus from the crossing and show coma; a three-triplet mask the reverse. Without counts there are no photons to
/// judge by.
#[test]
fn what_is_judged_is_the_picture() {
    let unit = fast_unit();
    let judged = |reader: SpikeReader, layout: MaskLayout| {
        let own = tried(&two_zone())
            .into_iter()
            .find(|c| !c.1 && c.2.layout == layout);
        let purpose = TunePurpose::Both;
        let found = judge(
            &unit,
            &State::default(),
            (reader, purpose),
            own.expect("a candidate"),
            Settings::default(),
        );
        let found = found.expect("a candidate");
        [found.focus_nm, found.coma_nm]
    };
    let eye = SpikeReader::Eye(0.3);
    let [focus, coma] = judged(eye, MaskLayout::TWO_ZONE);
    assert!(
        focus > 400.0 && coma < 60.0,
        "two zones: focus {focus}, coma {coma}"
    );
    let [focus, coma] = judged(eye, MaskLayout::THREE_TRIPLET);
    assert!(
        focus < 60.0 && coma > 3.0 * focus,
        "three triplets: focus {focus}, coma {coma}"
    );
    assert_eq!(
        judged(SpikeReader::Photons, MaskLayout::TWO_ZONE),
        [f64::INFINITY; 2]
    );
}
