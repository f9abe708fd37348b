//! Which sampling a star image needs, decided as plain data before anything is computed.
//!
//! Five numbers follow from the optics and the accuracy asked for: the cell of the pupil grid (from the period P = λf/cell
//! that the frame needs), the sub-samples of a pixel (from the finest detail, λN/2), the number of wavelengths (from the
//! fringes that must not beat), the cells of a pixel in which light is blurred, and the guard of pixels round the frame (from the seeing).

use crate::geometry::CellGrid;
use crate::spectrum::Bin;

/// The accuracy knobs, all dimensionless; larger is finer and slower.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accuracy {
    /// Period of the sampled transform over the width it must hold.
    pub oversize: f64,
    /// The same for a slotted pupil, which throws light further out.
    pub oversize_slotted: f64,
    /// Sub-samples per λN/2.
    pub sub_sampling: f64,
    /// Wavelengths per cycle of phase that the outermost fringe gains across the passband.
    pub wavelengths_per_cycle: f64,
    /// Guard round the frame, in widths of the seeing.
    pub guard_widths: f64,
    /// Cells that are blurred, over the number that keeps what the optics resolve from folding into what the seeing passes.
    pub blur_sampling: f64,
}

impl Default for Accuracy {
    /// Halving every step changes a frame by less than 1e-3 (relative L2): `tests/twins.rs`.
    fn default() -> Self {
        Accuracy {
            oversize: 2.0,
            oversize_slotted: 3.6,
            sub_sampling: 1.3,
            wavelengths_per_cycle: 2.0,
            guard_widths: 8.0,
            blur_sampling: 1.0,
        }
    }
}

impl Accuracy {
    /// For frames in quantity under seeing: several times as fast. How good the frames still are is measured by
    /// `dataset make` and written on the card.
    pub fn fast() -> Self {
        Accuracy {
            oversize: 1.15,
            oversize_slotted: 1.3,
            sub_sampling: 0.5,
            wavelengths_per_cycle: 1.0,
            guard_widths: 2.5,
            blur_sampling: 0.75,
        }
    }

    /// Every sampling `factor` times as fine.
    pub fn finer(self, factor: f64) -> Self {
        Accuracy {
            oversize: self.oversize * factor,
            oversize_slotted: self.oversize_slotted * factor,
            sub_sampling: self.sub_sampling * factor,
            wavelengths_per_cycle: self.wavelengths_per_cycle * factor,
            guard_widths: self.guard_widths * factor,
            blur_sampling: self.blur_sampling * factor,
        }
    }
}

/// What a plan has to know of the job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Largest sine-space height of the aperture.
    pub pupil_radius_m: f64,
    /// Focal length.
    pub focal_length_m: f64,
    /// First and last wavelength.
    pub passband_m: [f64; 2],
    /// Number of wavelengths, when the scenario states it.
    pub wavelengths: Option<usize>,
    /// The passband over the part of it that lets light through: 1 for a plain band.
    pub passband_over_open: f64,
    /// Pixel pitch.
    pub pixel_m: f64,
    /// Columns and rows.
    pub frame_px: [usize; 2],
    /// Largest distance of a frame edge from the star, along x or y.
    pub half_extent_m: f64,
    /// Largest distance a ray lands from the star, along x or y.
    pub ray_reach_m: f64,
    /// Cycles of phase that two points of the pupil gain on each other from one end of the passband to the other.
    pub fringe_cycles: f64,
    /// Whether the pupil is slotted.
    pub slotted: bool,
    /// Width that seeing and drift spread the light over, 0 without.
    pub blur_m: f64,
    /// Spatial frequency beyond which the blur passes nothing; infinite where it passes all.
    pub blur_cutoff_per_m: f64,
}

impl Demand {
    /// Whether every length is a number; extreme instruments overflow.
    fn is_finite(&self) -> bool {
        let lengths = [
            self.half_extent_m,
            self.ray_reach_m,
            self.fringe_cycles,
            self.blur_m,
        ];
        lengths.iter().all(|length| length.is_finite())
    }
}

/// The sampling of one star image.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Grid over the pupil, in sine space; the same for all wavelengths.
    pub grid: CellGrid,
    /// Sub-samples along a pixel, a multiple of `blur_cells`.
    pub sub_samples: usize,
    /// Cells along a pixel in which light is blurred; 1 where it is not.
    pub blur_cells: usize,
    /// Number of wavelengths.
    pub wavelengths: usize,
    /// Pixels computed beyond each edge of the frame.
    pub guard_px: usize,
}

impl Plan {
    /// Chooses the sampling.
    pub fn new(demand: &Demand, accuracy: &Accuracy) -> Self {
        let shortest = demand.passband_m[0];
        let guard = (accuracy.guard_widths * demand.blur_m / demand.pixel_m).ceil();
        let guard_px = guard.min(COUNTED_AT_MOST) as usize;
        let half = demand.half_extent_m + guard_px as f64 * demand.pixel_m;
        let oversize = if demand.slotted {
            accuracy.oversize_slotted
        } else {
            accuracy.oversize
        };
        let period = if demand.is_finite() {
            oversize * (2.0 * half).max(REACHES_IN_PERIOD * demand.ray_reach_m)
        } else {
            f64::INFINITY
        };
        let cell = shortest * demand.focal_length_m / period;
        let across = (2.0 * demand.pupil_radius_m / cell)
            .ceil()
            .clamp(MIN_CELLS_ACROSS * oversize, COUNTED_AT_MOST);
        let cell_m = 2.0 * demand.pupil_radius_m / across;
        let finest = 0.25 * shortest * demand.focal_length_m / demand.pupil_radius_m; // λN/2
        let sub_samples = (accuracy.sub_sampling * demand.pixel_m / finest)
            .ceil()
            .max(1.0) as usize;
        let (sub_samples, blur_cells) = if demand.blur_m > 0.0 {
            let resolved_per_m = 0.5 / finest + demand.blur_cutoff_per_m;
            let cells = accuracy.blur_sampling * demand.pixel_m * resolved_per_m;
            // where the blur hides what a coarse sampling gets wrong, one sample a cell is enough, but not less
            let resolved = (demand.pixel_m / finest).ceil();
            let least = cells.ceil().min(resolved) as usize;
            cheapest_split(sub_samples.max(least), cells)
        } else {
            (sub_samples, 1)
        };
        let wanted = wavelengths_wanted(demand, accuracy, half / finest);
        Plan {
            grid: CellGrid {
                count: across as usize + 3,
                cell_m,
            },
            sub_samples,
            blur_cells,
            wavelengths: demand.wavelengths.unwrap_or(wanted),
            guard_px,
        }
    }

    /// Estimated memory in bytes, doubles throughout.
    pub fn memory_bytes(&self, frame_px: [usize; 2]) -> f64 {
        let n = self.grid.count as f64;
        let samples = |px: usize| ((px + 2 * self.guard_px) * self.sub_samples) as f64;
        let (x, y) = (samples(frame_px[0]), samples(frame_px[1]));
        let blurred = if self.guard_px > 0 {
            let cells = (self.blur_cells as f64 / self.sub_samples as f64).powi(2);
            40.0 * cells * x * y
        } else {
            0.0
        };
        n * n * (32.0 + 8.0 + 16.0)
            + n * x * 16.0
            + blurred
            + 8.0 * x * (y / self.sub_samples as f64)
    }

    /// Estimated memory in bytes that `count` derivatives need in addition.
    pub fn slope_memory_bytes(&self, frame_px: [usize; 2], count: usize) -> f64 {
        let n = self.grid.count as f64;
        let samples = |px: usize| ((px + 2 * self.guard_px) * self.sub_samples) as f64;
        let (x, y) = (samples(frame_px[0]), samples(frame_px[1]));
        let images = if self.guard_px > 0 {
            x * y * (16.0 + 16.0)
        } else {
            (x + frame_px[0] as f64) * frame_px[1] as f64 * 16.0
        };
        count as f64 * (n * n * (16.0 + 8.0) + n * x * 16.0 + images)
    }

    /// Number of the bin nearest to the reference wavelength.
    pub fn middle(bins: &[Bin], reference_m: f64) -> usize {
        let distance = |b: &Bin| (b.wavelength_m - reference_m).abs();
        (0..bins.len())
            .min_by(|&a, &b| distance(&bins[a]).total_cmp(&distance(&bins[b])))
            .unwrap_or(0)
    }
}

/// Sub-samples and cells along a pixel: at least so many of both, at the least cost. A cell of one sub-sample serves any blur.
fn cheapest_split(samples: usize, cells: f64) -> (usize, usize) {
    let cost = |(samples, cells): (usize, usize)| samples * samples + BLUR_COST * cells * cells;
    let split = |cells: usize| (samples.div_ceil(cells) * cells, cells);
    (1..=samples)
        .filter(|split| *split as f64 >= cells)
        .map(split)
        .min_by_key(|both| cost(*both))
        .unwrap_or((samples, samples))
}

/// Wavelengths that make bins narrow enough: for the pattern of a point (it scales with λ), for the fringes of a defocused
/// star (their phase turns with W/λ), and for the orders of slots (they move with λ) out to a few tens of resolution elements.
fn wavelengths_wanted(demand: &Demand, accuracy: &Accuracy, half_in_elements: f64) -> usize {
    let [shortest, longest] = demand.passband_m;
    let spread = (longest - shortest) / longest;
    let pattern = PATTERN_CYCLES * spread;
    let fringes = demand.fringe_cycles;
    let orders = if demand.slotted {
        (half_in_elements / EDGE_CYCLE).min(EDGE_CYCLES_AT_MOST) * spread.min(0.25) * 4.0
    } else {
        0.0
    };
    let wanted = 1.0 + accuracy.wavelengths_per_cycle * (pattern + fringes + orders);
    let wanted = (wanted.ceil() as usize).clamp(1, 200);
    if demand.passband_over_open > 1.0 {
        // a filter that is open in a part of its table only: bins narrow enough for that part
        let of_table = (BINS_IN_OPEN_PART * demand.passband_over_open).min(1000.0);
        wanted.max(of_table.ceil() as usize)
    } else {
        wanted
    }
}

/// Bins that lie in the open part of a table of transmission.
const BINS_IN_OPEN_PART: f64 = 16.0;
/// What blurring a cell costs, over what propagating to a sub-sample costs.
const BLUR_COST: usize = 2;
/// The period holds this many times the furthest ray, so that the slope of the phase across a cell stays gentle.
const REACHES_IN_PERIOD: f64 = 3.0;
/// Cycles that the pattern of a point in focus counts for, at a passband as wide as its wavelength.
const PATTERN_CYCLES: f64 = 14.0;
/// Cells and pixels are not counted beyond this. It is far more than any memory holds: see [`Plan::memory_bytes`].
const COUNTED_AT_MOST: f64 = 1e9;
/// A pupil is never sampled more coarsely than this, however small the frame.
const MIN_CELLS_ACROSS: f64 = 144.0;
/// Resolution elements between the star and the frame edge that count as one cycle of phase.
const EDGE_CYCLE: f64 = 40.0;
/// A wide frame does not ask for more than this: its edge holds little light.
const EDGE_CYCLES_AT_MOST: f64 = 4.0;

#[cfg(test)]
mod tests {
    use super::*;

    fn demand() -> Demand {
        Demand {
            pupil_radius_m: 0.095,
            focal_length_m: 0.456,
            passband_m: [500e-9, 600e-9],
            wavelengths: Some(3),
            passband_over_open: 1.0,
            pixel_m: 3.8e-6,
            frame_px: [64, 60],
            half_extent_m: 32.0 * 3.8e-6,
            ray_reach_m: 50e-6,
            fringe_cycles: 1.3,
            slotted: false,
            blur_m: 0.0,
            blur_cutoff_per_m: f64::INFINITY,
        }
    }

    #[test]
    fn a_demand_beyond_all_numbers_is_planned_too_large_for_any_memory() {
        let plan = |change: &dyn Fn(&mut Demand)| {
            let mut demand = demand();
            change(&mut demand);
            Plan::new(&demand, &Accuracy::default())
        };
        let gib = |plan: Plan| plan.memory_bytes([64, 60]) / 1024f64.powi(3);
        assert!(gib(plan(&|_| {})) < 0.1);
        assert!(gib(plan(&|d| d.ray_reach_m = 1e20)) > 1e6);
        assert!(gib(plan(&|d| d.ray_reach_m = f64::INFINITY)) > 1e6);
        assert!(gib(plan(&|d| d.half_extent_m = f64::NAN)) > 1e6);
        assert!(gib(plan(&|d| d.blur_m = 1e30)) > 1e6);
    }
}
