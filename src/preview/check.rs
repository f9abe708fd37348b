//! Whether a mask can be printed and used: findings, each with its number, its limit and what mends it.
//!
//! The limits are common practice of home printing, no source; each says what it assumes. Nothing is changed here.

use crate::geometry::narrowest_m;
use crate::geometry::outline::{Contour, GRID_M, Outline, place_m};
use crate::instrument::{Instrument, MaskDesign, MaskLayout};
use crate::mask::pieces::{MARGIN_M, PiecesError, pieces};
use crate::mask::plate::Plate;
use crate::mask::solid::{Solid, SolidError};
use crate::preview::print;
use crate::pupil::Pupil;
use crate::state::State;
use crate::units::MM;
use serde::Serialize;
use std::f64::consts::PI;

/// What an owner of a mask must know.
pub const MASK_CAUTIONS: &str = "A mask is no solar filter: never point it near the Sun. Tether it, smooth its edges, take it off before slewing; printed plastic softens in a warm car.";

/// Stiffness of common printed plastic, Pa (from memory: PLA 2 to 3.5 GPa, less between layers).
const STIFFNESS_PA: f64 = 2.0e9;
/// A touch of the finger that a bar must bear, N.
const TOUCH_N: f64 = 0.1;

/// Narrow plastic is looked for up to this many times the least bar.
const LOOK: f64 = 4.0;

mod spikes;
mod wearing;

/// What is wrong, or merely worth knowing.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// What was looked at.
    pub what: &'static str,
    /// Whether the mask should not be printed like this.
    pub serious: bool,
    /// Whether the limit is kept.
    pub kept: bool,
    /// The number.
    pub value: f64,
    /// The limit; `None` for what is only told.
    pub limit: Option<f64>,
    /// On which side of the limit the number has to lie; `None` without one.
    pub bound: Option<Limit>,
    /// Unit of both.
    pub unit: &'static str,
    /// What the number means, and what it assumes.
    pub words: String,
    /// What mends it; empty when nothing has to be mended.
    pub mend: String,
}

/// On which side of a limit a number has to lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// Not below it.
    AtLeast,
    /// Not above it.
    AtMost,
}

/// All findings about an instrument's mask, the serious ones first; `None` without a mask.
pub fn findings(instrument: &Instrument) -> Option<Vec<Finding>> {
    let design = instrument.mask.as_ref()?;
    let mut list = judged(instrument)?;
    list.extend(costs(design, &Plate::new(instrument)?));
    list.sort_by_key(|f| (!f.serious, f.kept));
    Some(list)
}

/// What has a limit, in no order.
fn judged(instrument: &Instrument) -> Option<Vec<Finding>> {
    let design = instrument.mask.as_ref()?;
    let plate = Plate::new(instrument)?;
    let thinnest_m = narrowest_m(&plate.plate, LOOK * design.printer.least_bar_m);
    let mut list = vec![
        floating(&plate),
        thinnest_bar(design, thinnest_m),
        narrow_slots(design, &plate),
        touch(design, &plate, thinnest_m),
        bed(design, &plate),
        ring(&plate),
    ];
    list.extend(around(instrument, design));
    list.extend(spikes::rules(instrument));
    list.extend(wearing::rules(instrument, design, &plate));
    list.extend(light(instrument, design));
    list.push(letters(design, &plate));
    Some(list)
}

/// Whether an instrument's mask has a serious finding; false without a mask.
pub fn serious(instrument: &Instrument) -> bool {
    judged(instrument).is_some_and(|list| list.iter().any(|f| f.serious))
}

/// A finding that keeps its limit or not; the mend is only told when it does not.
struct PrintRule {
    what: &'static str,
    value: f64,
    limit: f64,
    unit: &'static str,
    bound: Limit,
    kept: bool,
    serious: bool,
}

impl PrintRule {
    fn says(self, words: impl Into<String>, mend: impl Into<String>) -> Finding {
        Finding {
            what: self.what,
            serious: self.serious && !self.kept,
            kept: self.kept,
            value: self.value,
            limit: Some(self.limit),
            bound: Some(self.bound),
            unit: self.unit,
            words: words.into(),
            mend: if self.kept {
                String::new()
            } else {
                mend.into()
            },
        }
    }
}

fn told(what: &'static str, value: f64, unit: &'static str, words: impl Into<String>) -> Finding {
    Finding {
        what,
        serious: false,
        kept: true,
        value,
        limit: None,
        bound: None,
        unit,
        words: words.into(),
        mend: String::new(),
    }
}

fn floating(plate: &Plate) -> Finding {
    let parts = plate.plate.shapes.len();
    PrintRule {
        what: "separate parts",
        value: parts as f64,
        limit: 1.0,
        unit: "",
        bound: Limit::AtMost,
        kept: parts == 1,
        serious: true,
    }
    .says(
        "the plate must hang together",
        "widen the rims and ribs: mask.outer_rim_mm, mask.inner_rim_mm, mask.rib_mm",
    )
}

fn thinnest_bar(design: &MaskDesign, value: f64) -> Finding {
    let limit = design.printer.least_bar_m;
    PrintRule {
        what: "thinnest bar",
        value: value / MM,
        limit: limit / MM,
        unit: "mm",
        bound: Limit::AtLeast,
        kept: value >= limit - 2.0 * GRID_M,
        serious: true,
    }
    .says(
        format!("bars, ribs and rims between edges, looked for up to {:.1} mm; a nozzle of {:.2} mm needs two tracks", LOOK * limit / MM, design.printer.nozzle_m / MM),
        if drawn(design) {
            "widen the bars of the drawing, or allow less: mask.print.least_bar_mm"
        } else {
            "widen mask.slot_pitch_mm, or lower mask.open_fraction, or widen the rib or a rim (mask.outer_rim_mm, mask.inner_rim_mm); or allow less: mask.print.least_bar_mm"
        },
    )
}

/// Whether the owner drew the openings.
fn drawn(design: &MaskDesign) -> bool {
    matches!(design.layout, MaskLayout::Drawing(_))
}

fn narrow_slots(design: &MaskDesign, plate: &Plate) -> Finding {
    let limit = 2.0 * design.printer.nozzle_m;
    let total = plate.open.area_m2();
    let mut widths: Vec<(f64, f64)> = plate
        .open
        .shapes
        .iter()
        .map(|shape| {
            let own = Outline {
                shapes: vec![shape.clone()],
            };
            (extents_m(shape)[0], own.area_m2())
        })
        .collect();
    widths.sort_by(|a, b| a.0.total_cmp(&b.0));
    let lost = widths
        .iter()
        .filter(|w| w.0 < limit)
        .fold(0.0, |sum, w| sum + w.1);
    // the width that half of the open area has at least: corners of regions hold slivers that do not matter
    let mut so_far = 0.0;
    let middle = widths.iter().find(|w| {
        so_far += w.1;
        so_far >= 0.5 * total
    });
    let value = middle.map_or(0.0, |w| w.0);
    PrintRule {
        what: "slot width",
        value: value / MM,
        limit: limit / MM,
        unit: "mm",
        bound: Limit::AtLeast,
        kept: value >= limit,
        serious: true,
    }
    .says(
        format!("{:.1} % of the openings are narrower than two nozzle widths and may close", 100.0 * lost / total.max(f64::MIN_POSITIVE)),
        "widen mask.slot_pitch_mm or raise mask.open_fraction, or use a finer nozzle: mask.print.nozzle_mm",
    )
}

fn touch(design: &MaskDesign, plate: &Plate, width: f64) -> Finding {
    let length = plate
        .open
        .shapes
        .iter()
        .map(|s| extents_m(s)[1])
        .fold(0.0, f64::max);
    let inertia = design.thickness_m * width.powi(3) / 12.0;
    // beyond the bar's own length no number means anything
    let bend = (TOUCH_N * length.powi(3) / (192.0 * STIFFNESS_PA * inertia)).min(length);
    let limit = 0.25 * width;
    PrintRule {
        what: "sideways bend",
        value: bend / MM,
        limit: limit / MM,
        unit: "mm",
        bound: Limit::AtMost,
        kept: bend <= limit,
        serious: bend > 4.0 * limit,
    }
    .says(
        format!("a bar {:.1} mm long and {:.2} mm wide, held at both ends, touched with {TOUCH_N} N; plastic of {:.0} GPa assumed", length / MM, width / MM, STIFFNESS_PA / 1e9),
        "shorten the bars (a wider mask.inner_diameter_mm, a layout with zones), widen them, or raise mask.thickness_mm",
    )
}

fn bed(design: &MaskDesign, plate: &Plate) -> Finding {
    let value = 2.0 * plate.reach_m;
    let limit = design.printer.bed_m[0].min(design.printer.bed_m[1]) - 2.0 * MARGIN_M;
    let parts = pieces(plate, design.printer.bed_m);
    let words = match &parts {
        Ok(parts) if parts.len() > 1 => {
            format!("drawn as {} pieces that key into each other", parts.len())
        }
        Ok(_) => format!(
            "the plate with its flange and tabs, laid flat, {} mm free all round for the skirt",
            MARGIN_M / MM
        ),
        Err(error) => error.to_string(),
    };
    PrintRule {
        what: "diameter on the bed",
        value: value / MM,
        limit: limit / MM,
        unit: "mm",
        bound: Limit::AtMost,
        kept: value <= limit,
        serious: parts.is_err(),
    }
    .says(
        words,
        parts.as_ref().map_or_else(
            PiecesError::hint,
            |_| "glue the pieces on a flat plate, or use a larger bed (mask.print.bed_mm)",
        ),
    )
}

fn ring(plate: &Plate) -> Finding {
    let value = plate.ring_over_slots_m2 / (MM * MM);
    PrintRule {
        what: "ring over openings",
        value,
        limit: 0.0,
        unit: "mm2",
        bound: Limit::AtMost,
        kept: value <= 0.0,
        serious: true,
    }
    .says(
        "the grip ring stands on solid plate only",
        "widen mask.outer_rim_mm, or change mask.grip",
    )
}

/// Room about obstruction and tube.
fn around(instrument: &Instrument, design: &MaskDesign) -> Vec<Finding> {
    let telescope = &instrument.telescope;
    let mut list = Vec::new();
    if let Some(obstruction) = &telescope.obstruction {
        let away = obstruction.offset_m[0] - design.offset_m[0];
        let away = away.hypot(obstruction.offset_m[1] - design.offset_m[1]);
        let value = 0.5 * (design.inner_diameter_m - obstruction.diameter_m) - away;
        let rule = PrintRule {
            what: "room round the obstruction",
            value: value / MM,
            limit: 0.5,
            unit: "mm",
            bound: Limit::AtLeast,
            kept: value >= 0.5 * MM,
            serious: false,
        };
        list.push(rule.says(
            "between the hole's edge and the obstruction, on the narrow side; matters where the unit stands out of the tube. Light passes there too and makes a round glow",
            "widen mask.inner_diameter_mm, unless the mask lies clear in front of the unit",
        ));
    }
    let beside = 0.5 * (telescope.aperture_m - design.outer_diameter_m);
    let rule = PrintRule {
        what: "open ring outside the plate",
        value: beside.max(0.0) / MM,
        limit: 1.5,
        unit: "mm",
        bound: Limit::AtMost,
        kept: beside <= 1.5 * MM,
        serious: false,
    };
    list.push(rule.says(
        "light that passes outside the plate makes a round glow over the spikes",
        "widen mask.outer_diameter_mm to the aperture",
    ));
    list
}

/// Light that passes, and openings that lie in shadow.
fn light(instrument: &Instrument, design: &MaskDesign) -> Vec<Finding> {
    let state = State {
        mask_on: true,
        ..State::default()
    };
    let pupil = Pupil::new(instrument, &state);
    let through: f64 = pupil.pieces().iter().map(crate::geometry::area).sum();
    let bare = Pupil::new(
        instrument,
        &State {
            mask_on: false,
            ..State::default()
        },
    );
    let made: f64 = crate::mask::openings(design)
        .iter()
        .map(|o| crate::geometry::area(&o.1))
        .sum();
    let regions = crate::mask::openings(design)
        .iter()
        .map(|o| o.0 + 1)
        .max()
        .unwrap_or(0);
    let used: f64 = (0..regions)
        .flat_map(|r| pupil.pieces_of_region(r))
        .map(crate::geometry::area)
        .sum();
    let hidden = 1.0 - used / made.max(f64::MIN_POSITIVE);
    let fraction = through / bare.open_area_m2().max(f64::MIN_POSITIVE);
    let circle = PI * instrument.telescope.aperture_radius_m().powi(2);
    vec![
        PrintRule {
            what: "openings in shadow",
            value: 100.0 * hidden.max(0.0),
            limit: 10.0,
            unit: "%",
            bound: Limit::AtMost,
            kept: hidden <= 0.10,
            serious: hidden > 0.5,
        }
        .says(
            "share of the openings behind obstruction, vanes or tube: they cost strength and pass nothing",
            "widen mask.inner_rim_mm and mask.outer_rim_mm up to the obstruction's and the aperture's edge",
        ),
        PrintRule {
            what: "light that passes",
            value: 100.0 * fraction,
            limit: 15.0,
            unit: "%",
            bound: Limit::AtLeast,
            kept: fraction >= 0.15,
            serious: fraction < 0.02,
        }
        .says(
            format!("of the light without the mask; {:.1} % of the whole aperture is open", 100.0 * through / circle),
            "raise mask.open_fraction, or take a brighter star",
        ),
    ]
}

/// Weight, filament and time of the print, and of the gauge.
fn costs(design: &MaskDesign, plate: &Plate) -> Vec<Finding> {
    let printer = &design.printer;
    let volume_m3 = match Solid::new(plate) {
        Ok(solid) => solid.volume_m3(),
        Err(
            SolidError::RingOverSlots
            | SolidError::Empty
            | SolidError::Open(_)
            | SolidError::Flat(_),
        ) => plate.plate.area_m2() * design.thickness_m,
    };
    let whole = print::cost(plate, printer);
    let mut list = vec![
        told(
            "weight",
            volume_m3 * printer.density_kg_per_m3 * 1000.0,
            "g",
            format!(
                "solid plastic of {:.2} g/cm3; balance the tube for it",
                printer.density_kg_per_m3 / 1000.0
            ),
        ),
        told(
            "filament",
            print::filament_m(&whole),
            "m",
            format!(
                "of 1.75 mm, {:.1} g, solid all through, with a skirt",
                print::grams(&whole, printer)
            ),
        ),
        told(
            "print time",
            whole.time_s / 3600.0,
            "h",
            format!(
                "layers of {:.2} mm, two loops and solid lines at up to 80 mm/s, at most {:.1} mm3/s, 1000 mm/s2; without heating up",
                print::layer_m(printer) / MM,
                printer.flow_m3_per_s / MM.powi(3)
            ),
        ),
    ];
    if let Some(gauge) = Plate::gauge(design) {
        list.push(told(
            "print time of the gauge",
            print::cost(&gauge, printer).time_s / 60.0,
            "min",
            "a sixth of the ring to try on the tube first",
        ));
    }
    list
}

fn letters(design: &MaskDesign, plate: &Plate) -> Finding {
    PrintRule {
        what: "letters",
        value: plate.capital_m / MM,
        limit: 1.2,
        unit: "mm",
        bound: Limit::AtLeast,
        kept: plate.capital_m > 0.0 || design.printer.engraving_m == 0.0,
        serious: false,
    }
    .says(
        format!(
            "height of the capitals on the rim ({}), stems {:.2} mm",
            plate.words.join(", "),
            plate.stem_m / MM
        ),
        "widen mask.outer_rim_mm to 2.6 mm or more, or mark the sky side by hand",
    )
}

/// Least and greatest extent of a shape over all directions, in steps of 3 degrees.
fn extents_m(shape: &[Contour]) -> [f64; 2] {
    let outer: Vec<[f64; 2]> = shape
        .first()
        .map_or(Vec::new(), |c| c.iter().map(place_m).collect());
    let mut found = [f64::INFINITY, 0.0_f64];
    let edges = outer.iter().zip(outer.iter().cycle().skip(1));
    let mut directions: Vec<[f64; 2]> = (0..60)
        .map(|k| f64::from(k) * PI / 60.0)
        .map(|a| [libm::cos(a), libm::sin(a)])
        .collect();
    directions.extend(edges.filter_map(|(a, b)| {
        let d = [b[1] - a[1], a[0] - b[0]];
        let length = d[0].hypot(d[1]);
        (length > 1e-3).then(|| d.map(|v| v / length))
    }));
    for d in directions {
        let along = outer.iter().map(|p| p[0] * d[0] + p[1] * d[1]);
        let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
            (l.min(v), h.max(v))
        });
        found = [found[0].min(high - low), found[1].max(high - low)];
    }
    found
}

#[cfg(test)]
mod tests;
