//! What a plate costs to print: the nozzle's way layer by layer, and how long it takes.
//!
//! Two loops run along every border, where bars are wide enough; solid lines at 45 degrees fill the rest, turned by a right angle from layer to
//! layer, since a mask has to be opaque; what is too narrow for either is filled by single lines. A move never changes its speed faster
//! than the printer's acceleration allows, nor at a corner by more than its jerk. The settings are those of a common printer (common practice, no source); `mask.print.flow_mm3_per_s`
//! is the most that it melts.
//!
//! # Accuracy
//! Not measured on this version. `.ci/slicer` compares six masks with a slicer of the same settings (`tests/references/slicer.py`), and asks for plastic
//! within 5 % and time within 20 %.

mod motion;
mod paths;

use crate::geometry::outline::Outline;
use crate::instrument::Printer;
use crate::mask::plate::Plate;
use crate::units::MM;
use motion::{Motion, Way};
use paths::{hatch, loops};

/// What a print takes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PrintCost {
    /// Plastic that is laid down, cubic metres: more than the solid's, for lines overlap and a skirt is printed round it.
    pub plastic_m3: f64,
    /// Time.
    pub time_s: f64,
}

/// Height of a layer, over the nozzle's width.
const LAYER: f64 = 0.5;
/// Width of a line, over the nozzle's width.
const WIDTH: f64 = 1.125;
/// How far solid lines run into the loops, over the distance of lines.
const OVERLAP: f64 = 0.25;
/// Corners that stand out of a line by less are left out, as by a slicer's resolution.
const FINEST_M: f64 = 12.5e-6;
/// Distance of the skirt.
const SKIRT_M: f64 = 3e-3;

/// Speeds, m/s.
const EDGE: f64 = 0.040;
const LOOP: f64 = 0.060;
const SOLID: f64 = 0.080;
const NARROW: f64 = 0.040;
const FIRST_LAYER: f64 = 0.030;

/// A line of plastic: its height, width, and the distance from line to line at which round sides close up.
#[derive(Debug, Clone, Copy)]
struct Line {
    height_m: f64,
    width_m: f64,
    apart_m: f64,
}

impl Line {
    fn of(printer: &Printer) -> Line {
        let (height_m, width_m) = (LAYER * printer.nozzle_m, WIDTH * printer.nozzle_m);
        Line {
            height_m,
            width_m,
            apart_m: width_m - height_m * (1.0 - std::f64::consts::FRAC_PI_4),
        }
    }

    /// Plastic of a metre of line, m².
    fn area_m2(&self) -> f64 {
        self.height_m * self.apart_m
    }
}

/// The cost of a plate, its ring and its feet, sky side down.
pub fn cost(plate: &Plate, printer: &Printer) -> PrintCost {
    let line = Line::of(printer);
    let layers = |height_m: f64| (height_m / line.height_m).round().max(0.0) as usize;
    let [thick_m, deep_m, high_m] = plate.heights_m;
    let engraved = if plate.letters.is_empty() {
        0
    } else {
        layers(deep_m)
    };
    let plain = layers(thick_m).max(1).saturating_sub(engraved);
    let (ring, feet) = (layers(high_m), layers(plate.feet_m));
    let both = Outline {
        shapes: [plate.ring.shapes.as_slice(), &plate.feet.shapes].concat(),
    };
    let upper = if ring > feet {
        &plate.ring
    } else {
        &plate.feet
    };
    let carved = plate.plate.minus(&plate.letters);
    let first = if engraved > 0 { &carved } else { &plate.plate };
    let printed = Printed {
        line,
        most: printer.flow_m3_per_s / line.area_m2(),
    };
    // layers that are alike differ only in the lines' direction; the first one of all is slower
    let stack = [
        (&carved, engraved),
        (&plate.plate, plain),
        (&both, ring.min(feet)),
        (upper, ring.abs_diff(feet)),
    ];
    let mut sum = printed.skirt(plate);
    for (outline, count) in stack {
        if count == 0 || outline.is_empty() {
            continue;
        }
        let layer = printed.layer(outline);
        let slow = usize::from(std::ptr::eq(outline, first));
        if slow == 1 {
            sum.add(printed.cost(&layer, 0, Some(FIRST_LAYER)), 1.0);
        }
        for turned in 0..2 {
            let share = (count - slow + turned) / 2;
            if share > 0 {
                sum.add(printed.cost(&layer, turned, None), share as f64);
            }
        }
    }
    sum
}

impl PrintCost {
    fn add(&mut self, other: PrintCost, times: f64) {
        self.plastic_m3 += times * other.plastic_m3;
        self.time_s += times * other.time_s;
    }
}

struct Printed {
    line: Line,
    /// The fastest that the plastic melts, m/s.
    most: f64,
}

/// What is laid down over one outline: middles of the loops along its borders, gaps for single lines, and what solid lines fill.
struct Layer {
    edge: Outline,
    second: Outline,
    narrow: [Outline; 2],
    solid: Outline,
}

impl Printed {
    fn layer(&self, outline: &Outline) -> Layer {
        let Line {
            width_m, apart_m, ..
        } = self.line;
        let grown = |outline: &Outline, by_m: f64| outline.grown(by_m).thinned(FINEST_M);
        let outline = &outline.thinned(FINEST_M);
        let within_edge = grown(outline, -0.5 * (width_m + apart_m));
        // a second loop only where all of its width has room, and solid lines where one of them has
        let second_outer = grown(&grown(&within_edge, -apart_m), apart_m);
        let within_second = grown(&second_outer, -apart_m);
        let filled = grown(&grown(&within_second, -0.5 * apart_m), 0.5 * apart_m);
        Layer {
            edge: grown(outline, -0.5 * width_m),
            second: grown(&second_outer, -0.5 * apart_m),
            narrow: [
                within_edge.minus(&second_outer),
                within_second.minus(&filled),
            ],
            solid: grown(&filled, OVERLAP * apart_m),
        }
    }

    /// One layer; `turned` is 0 or 1, for lines at 45 degrees one way or the other.
    fn cost(&self, layer: &Layer, turned: usize, speed: Option<f64>) -> PrintCost {
        let at = |usual: f64| speed.unwrap_or(usual).min(self.most);
        let mut ways: Vec<Way> = loops(&layer.edge, at(EDGE));
        ways.extend(loops(&layer.second, at(LOOP)));
        for gaps in &layer.narrow {
            ways.extend(self.single_lines(gaps, at(NARROW)));
        }
        ways.extend(hatch(&layer.solid, turned, self.line.apart_m, at(SOLID)));
        let length_m: f64 = ways.iter().map(Way::length_m).sum();
        PrintCost {
            plastic_m3: length_m * self.line.area_m2(),
            time_s: Motion::default().time_s(&ways),
        }
    }

    /// Single lines along what is too narrow for a loop: as long as it takes to fill its area.
    fn single_lines(&self, gaps: &Outline, speed: f64) -> Vec<Way> {
        let least_m2 = self.line.apart_m * self.line.apart_m;
        let each = gaps.shapes.iter().filter_map(|shape| {
            let gap = Outline {
                shapes: vec![shape.clone()],
            };
            let area_m2 = gap.area_m2();
            let [x0, y0, x1, y1] = gap.bounds_m();
            let length_m = area_m2 / self.line.apart_m;
            // there and back again, so that the next jump is not longer for it
            let at = [0.5 * (x0 + x1), 0.5 * (y0 + y1)];
            let end = [at[0] + 0.5 * length_m, at[1]];
            (area_m2 > least_m2).then_some(Way {
                points: vec![at, end, at],
                speed,
            })
        });
        each.collect()
    }

    /// One loop round everything, on the bed.
    fn skirt(&self, plate: &Plate) -> PrintCost {
        let radius_m = plate.reach_m + SKIRT_M;
        let length_m = std::f64::consts::TAU * radius_m;
        PrintCost {
            plastic_m3: length_m * self.line.area_m2(),
            time_s: length_m / FIRST_LAYER.min(self.most),
        }
    }
}

/// Height of a layer.
pub fn layer_m(printer: &Printer) -> f64 {
    LAYER * printer.nozzle_m
}

/// Grams of so much plastic.
pub fn grams(cost: &PrintCost, printer: &Printer) -> f64 {
    cost.plastic_m3 * printer.density_kg_per_m3 * 1000.0
}

/// Metres of a filament of 1.75 mm.
pub fn filament_m(cost: &PrintCost) -> f64 {
    let radius_m = 0.5 * 1.75 * MM;
    cost.plastic_m3 / (std::f64::consts::PI * radius_m * radius_m)
}

#[cfg(test)]
mod tests;
