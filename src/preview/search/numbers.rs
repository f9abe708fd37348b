//! What is tried, what is kept, and what is compared, by numbers worked out by hand.

use super::*;
use crate::testing::{fast_unit, mask};
use crate::units::MM;
use approx::assert_abs_diff_eq;

/// 84 mm and 188 mm with rims of 3 and 4 mm: open from 45 to 90 mm.
fn two_zone() -> MaskDesign {
    mask(MaskLayout::TWO_ZONE)
}

fn candidate(design: MaskDesign, [focus_nm, coma_nm]: [f64; 2]) -> Candidate {
    Candidate {
        label: "it".into(),
        customary: false,
        design,
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

/// Three customary layouts; three-triplet with three slants; two-zone and two-pitch with four zones and three slants each; tangent
/// wedges with four zones. Zones lie at 0.35, 0.5, 0.6 and 0.7 of the way from 45 to 90 mm.
/// That there are no others but of layouts in the table is asked beside (`candidates_are_named_after_their_own_layout…`).
#[test]
fn all_that_can_be_printed_is_tried() {
    let list = candidates(&two_zone());
    let count = |start: &str| {
        list.iter()
            .filter(|c| !c.1 && c.0.starts_with(start))
            .count()
    };
    assert_eq!(list.iter().filter(|c| c.1).count(), 3);
    let counts = ["three-triplet", "two-zone", "two-pitch", "tangent-wedges"].map(count);
    assert_eq!(counts, [3, 12, 12, 4]);
    let mut zones_mm: Vec<f64> = list
        .iter()
        .filter(|c| !c.1 && c.2.layout == MaskLayout::TWO_PITCH)
        .filter_map(|c| Some(c.2.zone_radius_m? / MM))
        .collect();
    zones_mm.sort_by(f64::total_cmp);
    zones_mm.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    for (found, wanted) in zones_mm.iter().zip([60.75, 67.5, 72.0, 76.5]) {
        assert_abs_diff_eq!(*found, wanted, epsilon = 1e-9);
    }
    assert_eq!(zones_mm.len(), 4);
    // a nozzle of 0.8 mm makes no slot of 1.5 mm, which is half of the inner pitch: what has only the outer pitch is left
    let mut coarse = two_zone();
    coarse.printer.nozzle_m = 0.8 * MM;
    let list = candidates(&coarse);
    assert!(
        list.iter()
            .all(|c| c.1 || c.2.layout == MaskLayout::THREE_TRIPLET),
        "{list:?}"
    );
    assert_eq!(list.len(), 6);
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
        let customary: Vec<MaskDesign> = candidates(&base)
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

/// Two parts of a spike tell which is which only by different pitches: layouts that need them get a second one, a quarter wider.
#[test]
fn one_pitch_becomes_two_where_the_sign_hangs_on_it() {
    let mut plain = two_zone();
    plain.slot_pitch_m = vec![3.4 * MM];
    for (label, customary, design) in candidates(&plain) {
        let pitches: Vec<f64> = design.slot_pitch_m.iter().map(|p| p / MM).collect();
        let is = |layout: MaskLayout| !customary && design.layout == layout;
        let second = if is(MaskLayout::TWO_PITCH) || is(MaskLayout::TANGENT_WEDGES) {
            Some(4.25)
        } else {
            is(MaskLayout::TWO_ZONE).then_some(3.4)
        };
        assert_abs_diff_eq!(pitches[0], 3.4, epsilon = 1e-9);
        assert_eq!(pitches.len(), 1 + usize::from(second.is_some()), "{label}");
        if let Some(second) = second {
            assert_abs_diff_eq!(pitches[1], second, epsilon = 1e-9);
        }
        assert_eq!(keeps_sign(&design), second == Some(4.25), "{label}");
    }
}

#[test]
fn refinements_change_one_thing_by_the_factors_told() {
    let best = candidate(two_zone(), [20.0, 20.0]);
    let pitched = variations(&best, Refinement::Pitches);
    assert_eq!(pitched.len(), 8);
    for ((label, _, design), (zone, factor)) in pitched.iter().zip(
        [0, 1]
            .iter()
            .flat_map(|zone| [0.75, 0.87, 1.15, 1.33].map(|factor| (*zone, factor))),
    ) {
        let mut wanted = [3.4 * MM, 3.0 * MM];
        wanted[zone] *= factor;
        assert_abs_diff_eq!(design.slot_pitch_m[0], wanted[0], epsilon = 1e-12);
        assert_abs_diff_eq!(design.slot_pitch_m[1], wanted[1], epsilon = 1e-12);
        let words = format!("it, pitch {:.2}/{:.2} mm", wanted[0] / MM, wanted[1] / MM);
        assert_eq!(*label, words);
    }
    let leaned = variations(&best, Refinement::Sense);
    assert_eq!((leaned.len(), leaned[0].2.sense), (1, -1.0));
    // rims of 4 and 3 mm, times 0.6 and 1.5, but not below 2 mm
    let rims: Vec<[f64; 2]> = variations(&best, Refinement::Rims)
        .iter()
        .map(|v| [v.2.outer_rim_m / MM, v.2.inner_rim_m / MM])
        .collect();
    let wanted = [[2.4, 3.0], [6.0, 3.0], [4.0, 2.0], [4.0, 4.5]];
    assert_eq!(rims.len(), 4);
    for (found, wanted) in rims.iter().zip(wanted) {
        assert!(
            (found[0] - wanted[0]).abs() < 1e-9 && (found[1] - wanted[1]).abs() < 1e-9,
            "{rims:?}"
        );
    }
    // a border 1.9 mm from the open edge leaves no room for a rib of 2 mm; nor does one that a wider rim comes near to
    let mut narrow = best.clone();
    narrow.design.zone_radius_m = Some(86.5 * MM);
    assert_eq!(
        variations(&narrow, Refinement::Rims).len(),
        3,
        "an outer rim of 6 mm ends at 88 mm, 1.5 mm beyond the border"
    );
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

/// An eye that is trusted with more pixels sees proportionally less; the two parts of a spike count only where they can be told
/// apart. Without counts there are no photons to judge by.
#[test]
fn an_eye_sees_in_proportion_to_its_trust() {
    let unit = fast_unit();
    let see = |eye_px: f64, layout: MaskLayout| {
        let design = MaskDesign {
            layout,
            ..two_zone()
        };
        let job = ("it".to_owned(), false, design);
        judge(
            &unit,
            &State::default(),
            SpikeReader::Eye(eye_px),
            job,
            Settings::default(),
        )
        .expect("a candidate")
    };
    let (sharp, dull) = (
        see(2.0, MaskLayout::THREE_TRIPLET),
        see(5.0, MaskLayout::THREE_TRIPLET),
    );
    assert_abs_diff_eq!(dull.focus_nm / sharp.focus_nm, 2.5, epsilon = 1e-9);
    assert_abs_diff_eq!(dull.coma_nm / sharp.coma_nm, 2.5, epsilon = 1e-9);
    // a tenth of the widest spike is the finest that any eye places
    assert_eq!(
        see(1e-3, MaskLayout::THREE_TRIPLET),
        see(1e-6, MaskLayout::THREE_TRIPLET)
    );
    // by symmetry two zones hide focus from the crossing, and equal pitches hide which part is which
    assert_eq!(see(2.0, MaskLayout::TWO_ZONE).focus_nm, f64::INFINITY);
    assert!(see(2.0, MaskLayout::TWO_PITCH).focus_nm.is_finite());
    let job = ("it".to_owned(), false, two_zone());
    let dark = judge(
        &unit,
        &State::default(),
        SpikeReader::Photons,
        job,
        Settings::default(),
    );
    let dark = dark.expect("a candidate");
    assert_eq!([dark.focus_nm, dark.coma_nm], [f64::INFINITY; 2]);
}
