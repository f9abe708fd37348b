//! What a masked star shows of each error: µm on the sensor, per 100 nm RMS, by which the middle spike of each triplet moves
//! from the crossing of its partners. The telescope is the design's: f/2.2, obstruction ratio 0.438, triplets at 90, 210
//! and 330 degrees, slant 20 degrees, zone border at 0.75 of the aperture's radius.
//!
//! The design's first calculations are confirmed for a plate that can be printed (the rims and ribs of its example, in
//! proportion). They are not the numbers of a bare ring of slots, and these are the corrections:
//!
//! - **Two-zone, coma.** −6.1/+3.1/+3.1 and 0/+5.3/−5.3 printed (the design: −6.0/+3.0/+3.0 and 0/+5.2/−5.2), but −6.6/+3.3/+3.3 and
//!   0/+5.7/−5.7 for slots that reach the edge of the aperture. The slope of coma grows with the square of the radius, and the
//!   outer rim takes the steepest part away.
//! - **Three-triplet, coma, Noll 7.** +0.38 at 90 degrees, not +0.33. For mean slopes symmetry leaves no choice: turning the coma
//!   by 120 degrees turns the triplets into each other, so the three readings are k, −k/2, −k/2, and the design's own −0.19 asks
//!   for 0.38. It is the small rest of two large shifts, and sensitive to how a place is measured: frames give 0.31 to 0.36.
//! - **Three-triplet, spherical.** −5.2 by slopes over a bare ring, −3.6 printed, −2.9 from a region alone and −2.5 from a whole
//!   frame. All within the design's −1.9 … −5 but the first. The slope changes sign within each region, so every edge and every
//!   window counts; such a number is a property of the measurement, not of the star.
//! - **Two-zone, what reads 0 is not invisible.** Even errors pull the two halves of a spike apart: the middle one by 5.0 µm for
//!   defocus (the design: about 5), by up to 3.5 for astigmatism, by 9.5 for spherical (printed).
//!
//! So by eye, to 0.3 px of 3.8 µm, a three-triplet mask shows 25 nm of focus and 39 nm of astigmatism and hides 300 nm of coma,
//! as the design says; a two-zone mask shows 19 nm of coma. The test prints every number of this text.

use super::{alone, fast_unit, plate};
use crate::support::place::{Search, spike_place_m};
use ndarray::Array2;
use skewstar::instrument::*;
use skewstar::mask::{Region, TripletReading, regions, triplets};
use skewstar::predict::{Model, Settings};
use skewstar::simulate::spikes;
use skewstar::state::State;
use skewstar::units::{MM, NM, UM};

/// A mode: what the design says of it, from … to, for the triplets at 90, 210 and 330 degrees; and what is right, from mean slopes
/// over a printed plate and over a whole ring.
struct Row {
    name: &'static str,
    noll: u32,
    design_um: [[f64; 2]; 3],
    printed_um: [f64; 3],
    ring_um: [f64; 3],
}

fn row(
    name: &'static str,
    noll: u32,
    design_um: [[f64; 2]; 3],
    printed_um: [f64; 3],
    ring_um: [f64; 3],
) -> Row {
    Row {
        name,
        noll,
        design_um,
        printed_um,
        ring_um,
    }
}

fn exactly(um: [f64; 3]) -> [[f64; 2]; 3] {
    um.map(|v| [v, v])
}

#[rustfmt::skip] // a table
fn three_triplet_rows() -> Vec<Row> {
    vec![
        row("defocus", 4, exactly([-4.5; 3]), [-4.54; 3], [-4.61; 3]),
        row("astigmatism", 6, exactly([2.9, -1.45, -1.45]), [2.91, -1.45, -1.45], [2.96, -1.48, -1.48]),
        row("coma", 7, exactly([0.33, -0.19, -0.19]), [0.38, -0.19, -0.19], [0.38, -0.19, -0.19]),
        row("coma", 8, exactly([0.0, -0.31, 0.31]), [0.0, -0.33, 0.33], [0.0, -0.33, 0.33]),
        row("trefoil", 9, exactly([0.4; 3]), [0.38; 3], [0.39; 3]),
        row("spherical", SPHERICAL, [[-5.0, -1.9]; 3], [-3.61; 3], [-5.16; 3]),
    ]
}

#[rustfmt::skip]
fn two_zone_rows() -> Vec<Row> {
    vec![
        row("defocus", 4, exactly([0.0; 3]), [0.0; 3], [0.0; 3]),
        row("astigmatism", 6, [[-0.13, 0.13]; 3], [0.0, -0.11, 0.11], [0.0, -0.11, 0.11]),
        row("coma", 7, exactly([-6.0, 3.0, 3.0]), [-6.13, 3.07, 3.07], [-6.59, 3.30, 3.30]),
        row("coma", 8, exactly([0.0, 5.2, -5.2]), [0.0, 5.31, -5.31], [0.0, 5.71, -5.71]),
        row("trefoil", 9, [[3.5, 4.0]; 3], [3.51; 3], [3.58; 3]),
        row("spherical", SPHERICAL, exactly([0.0; 3]), [0.0; 3], [0.0; 3]),
    ]
}

const SPHERICAL: u32 = 11;
/// What an eye judges, in µm: 0.3 px.
const SEEN_UM: f64 = 0.3 * 3.8;

/// The telescope of the table; nothing is cut out but by its own edge and its obstruction.
fn telescope() -> Instrument {
    let mut instrument = fast_unit();
    let telescope = &mut instrument.telescope;
    telescope.aperture_m = 200.0 * MM;
    telescope.focal_length_m = 440.0 * MM;
    if let Some(obstruction) = &mut telescope.obstruction {
        obstruction.diameter_m = 0.438 * 200.0 * MM;
        obstruction.offset_m = [0.0; 2];
    }
    (instrument.camera.width_px, instrument.camera.height_px) = (64, 64);
    instrument
}

/// Slots over the whole ring that the obstruction leaves: no rims, no ribs.
fn whole_ring(layout: MaskLayout) -> Instrument {
    let design = MaskDesign {
        outer_diameter_m: 200.0 * MM,
        inner_diameter_m: 87.6 * MM,
        outer_rim_m: 0.0,
        inner_rim_m: 0.0,
        rib_m: 0.0,
        zone_radius_m: Some(75.0 * MM),
        ..plate(layout)
    };
    Instrument {
        mask: Some(design),
        ..telescope()
    }
}

/// The same as a part that can be printed: the design's rims and ribs, and light beside the plate.
pub fn printed(layout: MaskLayout) -> Instrument {
    let design = MaskDesign {
        outer_diameter_m: 198.0 * MM,
        inner_diameter_m: 90.0 * MM,
        zone_radius_m: Some(75.0 * MM),
        ..plate(layout)
    };
    Instrument {
        mask: Some(design),
        ..telescope()
    }
}

fn state(noll: u32) -> State {
    State {
        mask_on: true,
        modes: [(noll, 100.0 * NM)].into_iter().collect(),
        ..State::default()
    }
}

fn model(instrument: &Instrument, noll: u32) -> Model {
    Model::new(instrument, &state(noll), Settings::default()).unwrap()
}

fn list(instrument: &Instrument) -> Vec<Region> {
    regions(instrument.mask.as_ref().unwrap())
}

/// Shift of each region's spike in µm from the mean slope.
fn by_slopes(instrument: &Instrument, noll: u32) -> Vec<f64> {
    let wavefront = model(instrument, noll).reference_wavefront();
    let found = spikes(instrument, &state(noll), &wavefront);
    assert_eq!(found.len(), list(instrument).len());
    found.iter().map(|s| s.shift_m / UM).collect()
}

fn place_um(frame: &Array2<f64>, model: &Model, region: &Region, half_width_m: f64) -> f64 {
    let search = Search {
        star_px: model.star_px.xy(),
        pixel_m: 3.8 * UM,
        along: [region.slot_rad.cos(), region.slot_rad.sin()],
        first_order_m: model.reference_m * 440.0 * MM / region.pitch_m,
        half_width_m,
    };
    spike_place_m(frame, &search) / UM
}

/// The same from frames in which each region shines alone.
fn by_regions_alone(instrument: &Instrument, noll: u32) -> Vec<f64> {
    list(instrument)
        .iter()
        .map(|region| {
            let model = model(&alone(instrument, region), noll);
            place_um(&model.light::<f32>(), &model, region, 24.0 * UM)
        })
        .collect()
}

/// The same from one frame of the whole mask; two regions of one spike share its place.
fn by_whole_frame(instrument: &Instrument, noll: u32) -> Vec<f64> {
    let model = model(instrument, noll);
    let frame = model.light::<f32>();
    list(instrument)
        .iter()
        .map(|region| place_um(&frame, &model, region, 12.0 * UM))
        .collect()
}

fn readings(instrument: &Instrument, shifts: &[f64]) -> Vec<TripletReading> {
    triplets(instrument.mask.as_ref().unwrap())
        .iter()
        .map(|t| t.read(|region| shifts.get(region).copied()).unwrap())
        .collect()
}

/// The readings of one mode in all four ways.
struct Columns {
    ring: Vec<TripletReading>,
    printed: Vec<TripletReading>,
    alone: Vec<TripletReading>,
    frame: Vec<TripletReading>,
}

fn columns(layout: &MaskLayout, noll: u32) -> Columns {
    let (ring, part) = (whole_ring(layout.clone()), printed(layout.clone()));
    Columns {
        ring: readings(&ring, &by_slopes(&ring, noll)),
        printed: readings(&part, &by_slopes(&part, noll)),
        alone: readings(&part, &by_regions_alone(&part, noll)),
        frame: readings(&part, &by_whole_frame(&part, noll)),
    }
}

fn print_row(row: &Row, n: usize, columns: &Columns) {
    let [low, high] = row.design_um[n];
    let said = if low == high {
        format!("{low:+.2}")
    } else {
        format!("{low:+.2} … {high:+.2}")
    };
    println!(
        "{:<12}{:>4}{:>5}{said:>15} |{:>+11.2}{:>+9.2} |{:>+13.2}{:>+12.2} |{:>+7.1}",
        row.name,
        row.noll,
        90 + 120 * n,
        columns.ring[n].shift(),
        columns.printed[n].shift(),
        columns.alone[n].shift(),
        columns.frame[n].shift(),
        columns.printed[n].split[0],
    );
}

/// Slopes against the record above; the design against slopes over the printed plate, within 0.06 µm or 2.5 %; frames against the
/// same slopes: a region alone within 0.06 µm (measured 0.04), a whole frame within 0.15 µm (measured 0.12).
fn check_row(row: &Row, n: usize, columns: &Columns) {
    let place = format!("{} (Noll {}), triplet {n}", row.name, row.noll);
    let (ring, printed) = (columns.ring[n].shift(), columns.printed[n].shift());
    assert!((ring - row.ring_um[n]).abs() < 0.006, "{place}: {ring}");
    assert!(
        (printed - row.printed_um[n]).abs() < 0.006,
        "{place}: {printed}"
    );
    let [low, high] = row.design_um[n];
    let off = (low - printed).max(printed - high);
    assert!(
        off < f64::max(0.06, 0.025 * printed.abs()),
        "{place}: the design is off by {off}"
    );
    let (alone, frame) = (columns.alone[n].shift(), columns.frame[n].shift());
    if row.noll == SPHERICAL && printed < -0.1 {
        assert!(
            printed < alone && alone < frame && frame < high,
            "{place}: {alone} {frame}"
        );
    } else {
        assert!(
            (alone - printed).abs() < 0.06,
            "{place}: a region alone gives {alone}"
        );
        assert!(
            (frame - printed).abs() < 0.15,
            "{place}: a frame gives {frame}"
        );
    }
}

/// The smallest error that moves some triplet by what an eye sees, in nm RMS.
fn seen_nm(printed: &[TripletReading]) -> f64 {
    let most = printed.iter().map(|r| r.shift().abs()).fold(0.0, f64::max);
    100.0 * SEEN_UM / most
}

fn assert_near(what: &str, found: f64, wanted: f64, allowed: f64) {
    println!("{what}: {found:.1}");
    assert!(
        (found - wanted).abs() < allowed,
        "{what}: {found}, not {wanted}"
    );
}

fn print_head(layout: &MaskLayout) {
    let name = format!("{layout:?}, µm per 100 nm RMS");
    println!("{name:<36} | by slopes over a     | from frames of the printed| split of");
    println!(
        "mode        Noll    c         design | whole ring  printed | region alone whole frame | middle"
    );
}

#[test]
fn the_middle_spike_against_the_crossing_of_its_partners() {
    for (layout, rows) in [
        (MaskLayout::THREE_TRIPLET, three_triplet_rows()),
        (MaskLayout::TWO_ZONE, two_zone_rows()),
    ] {
        print_head(&layout);
        for row in &rows {
            let columns = columns(&layout, row.noll);
            for n in 0..3 {
                print_row(row, n, &columns);
                check_row(row, n, &columns);
            }
            check_what_an_eye_sees(&layout, row.noll, &columns);
        }
    }
}

/// The sentences of the design below its table, and the splits.
fn check_what_an_eye_sees(layout: &MaskLayout, noll: u32, columns: &Columns) {
    let seen = || seen_nm(&columns.printed);
    let split = |n: usize| columns.printed[n].split[0].abs();
    match (layout.name().word(), noll) {
        ("three-triplet", 4) => assert_near("focus seen, nm", seen(), 25.0, 1.0),
        ("three-triplet", 6) => assert_near("astigmatism seen, nm", seen(), 40.0, 2.0),
        ("three-triplet", 7) => {
            assert_near("coma seen, nm", seen(), 300.0, 10.0);
            let [k, half, other] = [0, 1, 2].map(|n| columns.printed[n].shift());
            assert!((half + 0.5 * k).abs() < 0.002 && (other + 0.5 * k).abs() < 0.002);
        }
        ("two-zone", 4) => assert_near("defocus splits, µm", split(0), 5.0, 0.2),
        ("two-zone", 6) => assert_near("astigmatism splits, µm", split(0), 3.5, 0.1),
        ("two-zone", 7) => assert_near("coma seen, nm", seen(), 19.0, 1.0),
        ("two-zone", SPHERICAL) => {
            assert_near("spherical splits, µm", split(0), 9.5, 0.2);
        }
        _ => {}
    }
}
