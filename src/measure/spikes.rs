//! The spikes of a masked star: where each lies against where the aligned telescope would put it.
//!
//! Regions whose slots run alike share a spike. Near the star all spikes add up, so a spike's place is taken from its first
//! orders: the centroid, along the slots, of the light between half and one and a half times the first order's distance, tapered
//! to nothing at all sides. The same window is laid on the frame that the model predicts for the aligned telescope at the
//! same place, and the difference is the shift: light of neighbours, and the window's own bias, go out to first order.

use super::fit::Recorded;
use super::settings::SpikeSettings;
use crate::geometry::area as area_of;
use crate::instrument::{Instrument, MaskDesign};
use crate::mask::{Triplet, regions, triplets};
use crate::math::LeastSquares;
use crate::predict::mean_ray_of_region_m;
use crate::pupil::{Pupil, frame_axes};
use crate::state::{Modes, State};
use crate::units::NM;
use crate::wavefront::Wavefront;
use ndarray::Array2;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// One spike.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundSpike {
    /// Numbers of the regions whose slots make it.
    pub regions: Vec<usize>,
    /// Azimuth of the middle of the first of these regions, pupil axes.
    pub azimuth_rad: f64,
    /// Direction along the slots, pupil axes.
    pub slot_rad: f64,
    /// Shift along the slots against the aligned telescope, from the star's place; `None` where no light is.
    pub shift_px: Option<f64>,
    /// Standard deviation by photons and the noise of the background, pixels; the window's own errors are not in it.
    pub sigma_px: Option<f64>,
}

/// What the middle spike of a triplet shows against its partners.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundTriplet {
    /// Direction along the middle slots, pupil axes.
    pub slot_rad: f64,
    /// Middle spike minus the crossing of its partners, along the middle slots.
    pub shift_px: f64,
    /// Its standard deviation.
    pub sigma_px: f64,
}

/// Modes by the slopes of the regions.
#[derive(Debug, Clone, PartialEq)]
pub struct SlopeModes {
    /// Sensor offset and its standard deviation, metres.
    pub sensor_offset_m: Option<(f64, f64)>,
    /// Noll index, value and standard deviation, metres RMS.
    pub modes_m: Vec<(u32, f64, f64)>,
    /// Place of the star against the place the shifts are counted from, pixels.
    pub place_px: [f64; 2],
    /// Number of equations and of unknowns.
    pub equations: [usize; 2],
    /// Rank of the equations: how many combinations of the unknowns they determine.
    pub rank: usize,
    /// Condition of the equations: the largest singular value over the smallest, columns brought to unit length.
    pub condition: f64,
}

/// An unknown of the slope equations.
#[derive(Debug, Clone, Copy)]
enum SlopeUnknown {
    SensorOffset,
    Mode(u32),
}

impl SlopeUnknown {
    const ALL: [SlopeUnknown; 5] = [
        SlopeUnknown::SensorOffset,
        SlopeUnknown::Mode(5),
        SlopeUnknown::Mode(6),
        SlopeUnknown::Mode(7),
        SlopeUnknown::Mode(8),
    ];

    /// 100 nm RMS, or the sensor offset that makes as much.
    fn unit_m(self, instrument: &Instrument) -> f64 {
        /// Unit of an unknown in the slope equations, so that their columns are of one size.
        const RMS_M: f64 = 100.0 * NM;
        match self {
            SlopeUnknown::Mode(_) => RMS_M,
            // W = ρ²/(8N²) per metre, over √12 for its RMS about the mean
            SlopeUnknown::SensorOffset => {
                RMS_M * 8.0 * instrument.telescope.focal_ratio().powi(2) * 12f64.sqrt()
            }
        }
    }
}

/// A spike that was found.
struct SpikeSeen {
    group: usize,
    shift_px: f64,
    sigma_px: f64,
}

fn largest(shifts: &[f64]) -> f64 {
    shifts.iter().fold(0.0, |most, s| s.abs().max(most))
}

/// The spikes of a mask on a telescope.
pub struct Spikes<'a> {
    instrument: &'a Instrument,
    design: &'a MaskDesign,
    pupil: Pupil,
    groups: Vec<SlotDirection>,
    wavelength_m: f64,
    settings: SpikeSettings,
}

/// Regions with slots in the same direction.
struct SlotDirection {
    regions: Vec<usize>,
    areas_m2: Vec<f64>,
    azimuth_rad: f64,
    slot_rad: f64,
    pitch_m: f64,
    /// Width of the regions along their slots, the smallest of the group: diffraction makes the spike λf over this wide.
    extent_m: f64,
}

impl<'a> Spikes<'a> {
    /// Prepares the spikes of the instrument's mask; `None` without slots.
    pub fn new(
        instrument: &'a Instrument,
        wavelength_m: f64,
        settings: &SpikeSettings,
    ) -> Option<Self> {
        let design = instrument.mask.as_ref()?;
        let state = State {
            mask_on: true,
            ..State::default()
        };
        let pupil = Pupil::new(instrument, &state);
        let groups = groups(design, &pupil, settings.same_direction_rad);
        (!groups.is_empty()).then_some(Spikes {
            instrument,
            design,
            pupil,
            groups,
            wavelength_m,
            settings: *settings,
        })
    }

    /// Finds the spikes. `aligned_e` is the frame predicted for the aligned telescope with the star at `star_px` (x, y in the cut-out):
    /// electrons, element `[[row, column]]`, row 0 at the bottom, of the same size as the recorded one. `seeing_m` is the
    /// seeing's FWHM on the sensor.
    pub fn find(
        &self,
        recorded: &Recorded,
        aligned_e: &Array2<f64>,
        star_px: [f64; 2],
        seeing_m: f64,
    ) -> Vec<FoundSpike> {
        let places = self.groups.iter().map(|group| {
            let window = self.window(group, star_px, seeing_m);
            let found = window.shift_px(aligned_e, recorded);
            FoundSpike {
                regions: group.regions.clone(),
                azimuth_rad: group.azimuth_rad,
                slot_rad: group.slot_rad,
                shift_px: found.map(|f| f.0),
                sigma_px: found.map(|f| f.1),
            }
        });
        places.collect()
    }

    /// What each triplet shows.
    pub fn triplets(&self, spikes: &[FoundSpike]) -> Vec<FoundTriplet> {
        let of_region = |number: usize| spikes.iter().find(|s| s.regions.contains(&number));
        triplets(self.design)
            .iter()
            .filter_map(|triplet: &Triplet| {
                let reading = triplet.read(|n| of_region(n).and_then(|s| s.shift_px))?;
                let sigma = |numbers: &[usize]| of_region(*numbers.first()?)?.sigma_px;
                let middle = sigma(&triplet.middle)?;
                let partners = sigma(&triplet.left)?.hypot(sigma(&triplet.right)?);
                Some(FoundTriplet {
                    slot_rad: triplet.slot_rad + self.design.rotation_rad,
                    shift_px: reading.shift(),
                    sigma_px: middle.hypot(partners / (2.0 * libm::cos(triplet.slant_rad))),
                })
            })
            .collect()
    }

    /// Modes from the shifts, as many as the equations see well.
    pub fn modes(&self, spikes: &[FoundSpike]) -> Option<SlopeModes> {
        let seen: Vec<SpikeSeen> = spikes
            .iter()
            .enumerate()
            .filter_map(|(group, s)| {
                Some(SpikeSeen {
                    group,
                    shift_px: s.shift_px?,
                    sigma_px: s.sigma_px?.max(self.settings.sigma_px_at_least),
                })
            })
            .collect();
        let mut asked: Vec<(SlopeUnknown, Vec<f64>)> = SlopeUnknown::ALL
            .into_iter()
            .map(|asked| (asked, self.shift_per_unit(asked)))
            .filter(|(_, shifts)| largest(shifts) >= self.settings.shift_px_at_least)
            .collect();
        asked.sort_by(|a, b| largest(&b.1).total_cmp(&largest(&a.1)));
        while !asked.is_empty() {
            if let Some(solved) = self.solve(&seen, &asked) {
                return Some(solved);
            }
            asked.pop();
        }
        None
    }

    fn solve(&self, seen: &[SpikeSeen], asked: &[(SlopeUnknown, Vec<f64>)]) -> Option<SlopeModes> {
        let frame = frame_axes(self.instrument);
        let unknowns = 2 + asked.len();
        if seen.len() < unknowns {
            return None;
        }
        let weighed = |value: &dyn Fn(usize) -> f64| -> Vec<f64> {
            seen.iter().map(|s| value(s.group) / s.sigma_px).collect()
        };
        let along = |group: usize| {
            let slot = self.groups[group].slot_rad;
            frame.forward([libm::cos(slot), libm::sin(slot)])
        };
        let mut columns = vec![weighed(&|g| along(g)[0]), weighed(&|g| along(g)[1])];
        columns.extend(asked.iter().map(|(_, shifts)| weighed(&|g| shifts[g])));
        let problem = LeastSquares::new(columns, &vec![0.0; unknowns]);
        let (rank, condition) = problem.rank_and_condition();
        if rank < unknowns || condition > self.settings.condition_at_most {
            return None;
        }
        let data: Vec<f64> = seen.iter().map(|s| s.shift_px / s.sigma_px).collect();
        let (values, sigmas) = (problem.solve(&data), problem.sigmas());
        let mut found = SlopeModes {
            sensor_offset_m: None,
            modes_m: Vec::new(),
            place_px: [values[0], values[1]],
            equations: [seen.len(), unknowns],
            rank,
            condition,
        };
        for (at, (asked, _)) in asked.iter().enumerate() {
            let unit_m = asked.unit_m(self.instrument);
            let (value, sigma) = (values[2 + at] * unit_m, sigmas[2 + at]? * unit_m);
            match asked {
                SlopeUnknown::SensorOffset => found.sensor_offset_m = Some((value, sigma)),
                SlopeUnknown::Mode(noll) => found.modes_m.push((*noll, value, sigma)),
            }
        }
        found.modes_m.sort_by_key(|m| m.0);
        Some(found)
    }

    /// Shift of every group in pixels per unit of an unknown, by ray tracing.
    fn shift_per_unit(&self, asked: SlopeUnknown) -> Vec<f64> {
        let frame = frame_axes(self.instrument);
        let telescope = &self.instrument.telescope;
        let wavefront =
            |m: &Modes, o: f64| Wavefront::new(telescope, m, o, self.wavelength_m, frame);
        let unit_m = asked.unit_m(self.instrument);
        let moved = match asked {
            SlopeUnknown::SensorOffset => wavefront(&Modes::none(), unit_m),
            SlopeUnknown::Mode(noll) => wavefront(&[(noll, unit_m)].into_iter().collect(), 0.0),
        };
        let still = wavefront(&Modes::none(), 0.0);
        let pixel_m = self.instrument.camera.pixel_m;
        let shift = |group: &SlotDirection, wavefront: &Wavefront| -> f64 {
            let along = frame.forward([libm::cos(group.slot_rad), libm::sin(group.slot_rad)]);
            let area: f64 = group.areas_m2.iter().sum();
            let sum: f64 = group
                .regions
                .iter()
                .zip(&group.areas_m2)
                .filter_map(|(region, share)| {
                    let ray =
                        mean_ray_of_region_m(&self.pupil, *region, self.instrument, wavefront)?;
                    Some(share * (ray[0] * along[0] + ray[1] * along[1]))
                })
                .sum();
            sum / area
        };
        self.groups
            .iter()
            .map(|group| (shift(group, &moved) - shift(group, &still)) / pixel_m)
            .collect()
    }

    fn window(&self, group: &SlotDirection, star_px: [f64; 2], seeing_m: f64) -> SpikeWindow {
        let (telescope, camera) = (&self.instrument.telescope, &self.instrument.camera);
        let frame = frame_axes(self.instrument);
        let widths = self.settings.window_widths;
        let blur_m = self.wavelength_m * telescope.focal_length_m / group.extent_m;
        SpikeWindow {
            star_px,
            along: frame.forward([libm::cos(group.slot_rad), libm::sin(group.slot_rad)]),
            first_order_px: self.wavelength_m * telescope.focal_length_m
                / group.pitch_m
                / camera.pixel_m,
            widest_half_px: ((widths * blur_m).hypot(widths * seeing_m) / camera.pixel_m)
                .max(self.settings.widest_half_px_at_least),
            narrowest_half_px: self.settings.half_px_at_least,
            spread: self.settings.way_to_neighbour_share * libm::sin(self.nearest_rad(group)),
            centroid_per_shift_at_least: self.settings.centroid_per_shift_at_least,
        }
    }

    /// Angle to the nearest other spike.
    fn nearest_rad(&self, group: &SlotDirection) -> f64 {
        self.groups
            .iter()
            .filter(|other| other.regions != group.regions)
            .map(|other| {
                let turn = (other.slot_rad - group.slot_rad).rem_euclid(PI);
                turn.min(PI - turn)
            })
            .fold(FRAC_PI_2, f64::min)
    }
}

/// Regions grouped by the direction of their slots. Slots that run the same way share a spike.
fn groups(design: &MaskDesign, pupil: &Pupil, same_direction_rad: f64) -> Vec<SlotDirection> {
    let mut groups: Vec<SlotDirection> = Vec::new();
    for (number, region) in regions(design).iter().enumerate() {
        let area: f64 = pupil.pieces_of_region(number).map(area_of).sum();
        if area <= 0.0 {
            continue;
        }
        let slot_rad = region.slot_rad + design.rotation_rad;
        let alike = |g: &&mut SlotDirection| {
            let turn = (g.slot_rad - slot_rad).rem_euclid(PI);
            turn.min(PI - turn) < same_direction_rad && libm::cos(g.slot_rad - slot_rad) > 0.0
        };
        let [from, to] = region.azimuth_rad;
        let chord = 2.0 * libm::sin((0.5 * (to - from)).min(FRAC_PI_2));
        let depth_m = region.radius_m[1] - region.radius_m[0];
        let across_m = region.radius_m[1] * chord;
        let lean = libm::cos(region.slot_rad - region.middle_rad()).abs();
        let extent_m = lean * depth_m + (1.0 - lean) * across_m;
        match groups.iter_mut().find(alike) {
            Some(group) => {
                group.regions.push(number);
                group.areas_m2.push(area);
                group.extent_m = group.extent_m.min(extent_m);
            }
            None => groups.push(SlotDirection {
                regions: vec![number],
                areas_m2: vec![area],
                azimuth_rad: (region.middle_rad() + design.rotation_rad).rem_euclid(TAU),
                slot_rad,
                pitch_m: region.pitch_m,
                extent_m,
            }),
        }
    }
    groups
}

/// Where to look for a spike.
struct SpikeWindow {
    star_px: [f64; 2],
    /// Direction along the slots, frame axes.
    along: [f64; 2],
    first_order_px: f64,
    /// Half width of the window across the spike, at most and at least.
    widest_half_px: f64,
    narrowest_half_px: f64,
    /// Half width of the window per pixel of distance from the star, which keeps it clear of the neighbours.
    spread: f64,
    /// Of a shift of the spike, the centroid in the window must show at least this share.
    centroid_per_shift_at_least: f64,
}

impl SpikeWindow {
    /// Shift of the recorded spike against the aligned one, and its standard deviation.
    ///
    /// The window stays where the aligned spike is, so that it cannot run to a neighbour; how much of a shift its centroid
    /// shows is learned from the aligned frame.
    fn shift_px(&self, aligned_e: &Array2<f64>, recorded: &Recorded) -> Option<(f64, f64)> {
        /// Step of the difference by which it is learned how much of a shift the centroid shows.
        const ASIDE_PX: f64 = 0.4;
        let offset = |image: &Array2<f64>, place: f64| self.offset_px(image, recorded, place);
        let (here, _) = offset(aligned_e, 0.0)?;
        let before = offset(aligned_e, -ASIDE_PX)?.0;
        let after = offset(aligned_e, ASIDE_PX)?.0;
        let gain = (before - after) / (2.0 * ASIDE_PX);
        if gain < self.centroid_per_shift_at_least {
            return None;
        }
        let (there, sigma) = offset(&recorded.image_e, 0.0)?;
        let shift = (there - here) / gain;
        (shift.abs() < self.widest_half_px).then_some((shift, sigma / gain))
    }

    /// Centroid of the light in the window, along the slots and from the window's middle, pixels, with its standard deviation by photons
    /// and background. `place` is where the window's middle lies along the slots from the star. `None` without light.
    fn offset_px(
        &self,
        image_e: &Array2<f64>,
        recorded: &Recorded,
        place: f64,
    ) -> Option<(f64, f64)> {
        let taper = |t: f64| {
            if t.abs() < 1.0 {
                libm::cos(FRAC_PI_2 * t).powi(2)
            } else {
                0.0
            }
        };
        let [ux, uy] = self.along;
        let (mut sum, mut light, mut spread) = (0.0, 0.0, 0.0);
        for ((row, column), value) in image_e.indexed_iter() {
            let (x, y) = (
                column as f64 - self.star_px[0],
                row as f64 - self.star_px[1],
            );
            let out_px = (x * uy - y * ux).abs();
            let aside = x * ux + y * uy - place;
            let width = (self.spread * out_px)
                .min(self.widest_half_px)
                .max(self.narrowest_half_px);
            let weight = taper(2.0 * (out_px / self.first_order_px - 1.0)) * taper(aside / width);
            if weight > 0.0 && recorded.usable[[row, column]] {
                sum += weight * aside * value;
                light += weight * value;
                let noise = recorded.floor_e2 + recorded.image_e[[row, column]].max(0.0);
                spread += (weight * aside).powi(2) * noise;
            }
        }
        (light > 0.0).then(|| (sum / light, spread.sqrt() / light))
    }
}
