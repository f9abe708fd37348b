//! What an eye reads off the star: where the dark centre sits in its ring, or where the spikes cross, to a fifth of a pixel.
//!
//! Edges are traced, not measured on the picture: a picture with noise and a patient eye would give the same, and nobody has to
//! wait. Places are in frame axes, as the picture is displayed.

use crate::axes::FramePx;
use crate::instrument::Instrument;
use crate::mask;
use crate::measure::{RingDrawing, SpikeDrawing, StarDrawing};
use crate::mechanics::{Alignment, align};
use crate::predict::dark_shift_per_coma;
use crate::pupil::{frame_axes, frame_direction, shift_px};
use crate::simulate::{doughnut, spikes};
use crate::spectrum::{bins, reference_m};
use crate::state::{Coma, State};
use crate::units::DEG;
use crate::wavefront::Wavefront;

/// What is seen of one star.
#[derive(Debug, Clone, PartialEq)]
pub struct Sight {
    /// How far the star stands from the middle of the frame, pixels.
    pub aside_px: FramePx,
    /// Its shape.
    pub shape: SightShape,
}

/// Shape of a star.
#[derive(Debug, Clone, PartialEq)]
pub enum SightShape {
    /// A ring about a dark centre.
    Doughnut {
        /// Centre of the ring from where a perfect star would stand.
        centre_px: FramePx,
        /// Dark centre from the centre of the ring; the ring is thin on that side.
        shift_px: FramePx,
        /// Across the ring.
        diameter_px: f64,
        /// Whether the sensor is inside focus.
        inside: bool,
    },
    /// Spikes of a mask.
    Spikes {
        /// Each triplet's middle spike from the crossing of its partners, along its slots.
        shifts_px: Vec<f64>,
        /// Direction along those slots in the frame.
        along: Vec<FramePx>,
        /// How far the two halves of each middle spike are apart: a sign of defocus.
        splits_px: Vec<f64>,
    },
    /// Too near to focus for a dark centre.
    Spot {
        /// Across the light.
        diameter_px: f64,
        /// Whether the sensor is inside focus.
        inside: bool,
    },
    /// It has left the frame.
    Gone,
}

/// An eye tells places apart that differ by this much.
const EYE_PX: f64 = 0.2;

/// What is seen of a star, rounded as an eye rounds; `atmosphere_px` is what the atmosphere adds to the place of a dark centre.
pub fn sight(instrument: &Instrument, state: &State, atmosphere_px: FramePx) -> Sight {
    let mut seen = exact(instrument, state);
    let round = |value: &mut f64| *value = (*value / EYE_PX).round() * EYE_PX;
    match &mut seen.shape {
        SightShape::Doughnut {
            shift_px,
            diameter_px,
            ..
        } => {
            *shift_px += atmosphere_px;
            (0..2).for_each(|axis| round(&mut shift_px[axis]));
            round(diameter_px);
        }
        SightShape::Spikes {
            shifts_px,
            splits_px,
            ..
        } => shifts_px.iter_mut().chain(splits_px).for_each(round),
        SightShape::Spot { diameter_px, .. } => round(diameter_px),
        SightShape::Gone => {}
    }
    seen
}

/// The same without rounding.
pub(super) fn exact(instrument: &Instrument, state: &State) -> Sight {
    let alignment = align(instrument, state);
    let aside_px = aside_px(instrument, state, &alignment);
    let camera = &instrument.camera;
    let half = [0.5 * camera.width_px as f64, 0.5 * camera.height_px as f64];
    if aside_px[0].abs() > half[0] || aside_px[1].abs() > half[1] {
        let shape = SightShape::Gone;
        return Sight { aside_px, shape };
    }
    let wavelength_m = reference_m(&bins(
        &camera.passband,
        5,
        state.star.as_ref().map(|star| star.temperature_k),
    ));
    let wavefront = Wavefront::new(
        &instrument.telescope,
        &alignment.modes,
        alignment.sensor_offset_m,
        wavelength_m,
        frame_axes(instrument),
    );
    let shape = masked(instrument, state, &wavefront)
        .or_else(|| ring(instrument, state, &wavefront, wavelength_m))
        .or_else(|| folded(instrument, &alignment, wavelength_m))
        .unwrap_or_else(|| spot(instrument, &alignment));
    Sight { aside_px, shape }
}

fn aside_px(instrument: &Instrument, state: &State, alignment: &Alignment) -> FramePx {
    if state.recentred {
        return state.place_px;
    }
    shift_px(instrument, alignment.image_shift_m) + state.place_px
}

fn masked(instrument: &Instrument, state: &State, wavefront: &Wavefront) -> Option<SightShape> {
    let design = instrument.mask.as_ref().filter(|_| state.mask_on)?;
    let pixel_m = instrument.camera.pixel_m;
    let seen = spikes(instrument, state, wavefront);
    let of_region = |region| {
        seen.iter()
            .find(|s| s.region == region)
            .map(|s| s.shift_m / pixel_m)
    };
    let (mut shifts_px, mut along, mut splits_px) = (Vec::new(), Vec::new(), Vec::new());
    for triplet in mask::triplets(design) {
        let reading = triplet.read(of_region)?;
        let slot_rad = triplet.slot_rad + design.rotation_rad;
        shifts_px.push(reading.shift());
        splits_px.push(reading.split[0]);
        along.push(frame_direction(instrument, slot_rad));
    }
    (!shifts_px.is_empty()).then_some(SightShape::Spikes {
        shifts_px,
        along,
        splits_px,
    })
}

fn ring(
    instrument: &Instrument,
    state: &State,
    wavefront: &Wavefront,
    wavelength_m: f64,
) -> Option<SightShape> {
    let ring = doughnut(instrument, state, wavefront, wavelength_m)?;
    let (dark_m, dark_radius_m) = ring.dark?;
    // where diffraction fills the dark centre there is nothing to see
    if dark_radius_m < 1.5 * wavelength_m * instrument.telescope.focal_ratio() {
        return None;
    }
    let pixel_m = instrument.camera.pixel_m;
    Some(SightShape::Doughnut {
        centre_px: ring.outer_centre_m.in_pixels(pixel_m),
        shift_px: (dark_m - ring.outer_centre_m).in_pixels(pixel_m),
        diameter_px: 2.0 * ring.outer_radius_m / pixel_m,
        inside: wavefront.sensor_offset_m < 0.0,
    })
}

/// A ring that so much coma folds on its thin side that rays cross there: an eye still sees where the dark centre went. By the
/// linear law, 6N·√72·c·(1 − ε²). The ring itself goes the other way, by (6 − 4/3)N·√72·c: the same law for its
/// outer edge, less the tilt that balances the coma.
fn folded(instrument: &Instrument, alignment: &Alignment, wavelength_m: f64) -> Option<SightShape> {
    let (telescope, pixel_m) = (&instrument.telescope, instrument.camera.pixel_m);
    let (ratio, hole) = (telescope.focal_ratio(), telescope.obstruction_ratio());
    let outer_m = 0.5 * alignment.sensor_offset_m.abs() / ratio;
    if hole * outer_m < 4.0 * wavelength_m * ratio {
        return None;
    }
    let per_coma = dark_shift_per_coma(ratio, hole) / pixel_m;
    let (axes, coma_m) = (frame_axes(instrument), Coma::of(&alignment.modes).xy_m());
    let ring_per_coma = -(6.0 - 4.0 / 3.0) * ratio * 72f64.sqrt() / pixel_m;
    Some(SightShape::Doughnut {
        centre_px: FramePx::new(axes.forward(coma_m.map(|c| ring_per_coma * c))),
        shift_px: FramePx::new(axes.forward(coma_m.map(|c| per_coma * c))),
        diameter_px: 2.0 * outer_m / pixel_m,
        inside: alignment.sensor_offset_m < 0.0,
    })
}

/// Near focus: the cone of light as it is cut by the sensor, paraxially.
fn spot(instrument: &Instrument, alignment: &Alignment) -> SightShape {
    let cone_m = alignment.sensor_offset_m.abs() / instrument.telescope.focal_ratio();
    SightShape::Spot {
        diameter_px: cone_m / instrument.camera.pixel_m,
        inside: alignment.sensor_offset_m < 0.0,
    }
}

impl Sight {
    /// What is drawn over the star, from the middle of the frame; `None` where nothing is to be pointed out.
    pub fn drawing(&self) -> Option<StarDrawing> {
        let star_px = self.aside_px.xy();
        match &self.shape {
            SightShape::Doughnut {
                centre_px,
                shift_px,
                diameter_px,
                ..
            } if shift_px.length() > 0.0 => Some(StarDrawing {
                star_px,
                ring: Some(RingDrawing {
                    centre_px: (self.aside_px + *centre_px).xy(),
                    outer_px: 0.5 * diameter_px,
                    dark_px: Some((self.aside_px + *centre_px + *shift_px).xy()),
                    inner_px: None,
                    thin_deg: libm::atan2(shift_px[1], shift_px[0]) / DEG,
                }),
                spikes: Vec::new(),
            }),
            SightShape::Spikes {
                shifts_px, along, ..
            } => {
                // light leaves slots across them, and errors move it along them
                let spike = |(shift, slots): (&f64, &FramePx)| SpikeDrawing {
                    along: [-slots[1], slots[0]],
                    aside_px: Some([shift * slots[0], shift * slots[1]]),
                };
                Some(StarDrawing {
                    star_px,
                    ring: None,
                    spikes: shifts_px.iter().zip(along).map(spike).collect(),
                })
            }
            _ => None,
        }
    }
}

impl SightShape {
    /// How wide the light of a star without a mask is, in pixels, and whether the sensor stands inside focus.
    pub fn spread(&self) -> Option<(f64, bool)> {
        match self {
            SightShape::Doughnut {
                diameter_px,
                inside,
                ..
            }
            | SightShape::Spot {
                diameter_px,
                inside,
            } => Some((*diameter_px, *inside)),
            SightShape::Spikes { .. } | SightShape::Gone => None,
        }
    }

    /// The numbers that tell the tilt; empty where nothing does.
    pub(super) fn numbers(&self) -> Vec<f64> {
        match self {
            SightShape::Doughnut { shift_px, .. } => shift_px.xy().to_vec(),
            SightShape::Spikes { shifts_px, .. } => shifts_px.clone(),
            SightShape::Spot { .. } | SightShape::Gone => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::fast_unit;
    use crate::units::{ARCMIN, UM};

    fn tilted(tilt_arcmin: [f64; 2]) -> State {
        State {
            sensor_offset_m: -480.0 * UM,
            flexure_rad: tilt_arcmin.map(|t| t * ARCMIN),
            ..State::default()
        }
    }

    /// Seidel coma: the dark centre goes by 6N·√72·c8·(1 − ε²) towards the raised edge.
    #[test]
    fn the_dark_centre_goes_where_the_unit_is_raised() {
        let instrument = fast_unit();
        let telescope = &instrument.telescope;
        let coma_m = 2.0
            * instrument
                .assembly
                .as_ref()
                .unwrap()
                .response
                .as_ref()
                .unwrap()
                .coma_m_per_rad
            * ARCMIN;
        let ratio = telescope.obstruction_ratio();
        let want = 6.0 * telescope.focal_ratio() * 72f64.sqrt() * coma_m * (1.0 - ratio * ratio)
            / instrument.camera.pixel_m;
        match exact(&instrument, &tilted([2.0, 0.0])).shape {
            SightShape::Doughnut {
                shift_px, inside, ..
            } => {
                assert!(
                    inside && (shift_px[0] - want).abs() < 0.03 * want,
                    "{shift_px:?} {want}"
                );
                assert!(shift_px[1].abs() < 1e-6);
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn eyes_round_and_near_focus_there_is_no_dark_centre() {
        let instrument = fast_unit();
        let seen = sight(&instrument, &tilted([1.1, -0.7]), FramePx::new([0.05, 0.0]));
        for number in seen.shape.numbers() {
            assert!(
                (number / EYE_PX - (number / EYE_PX).round()).abs() < 1e-9,
                "{number}"
            );
        }
        let state = State {
            sensor_offset_m: 4.0 * UM,
            ..State::default()
        };
        assert!(matches!(
            sight(&instrument, &state, FramePx::ZERO).shape,
            SightShape::Spot { inside: false, .. }
        ));
    }

    /// Where rays do not cross, the linear law gives what tracing gives: to 5 % and a third of a pixel.
    #[test]
    fn a_folded_ring_is_read_as_a_traced_one() {
        let instrument = fast_unit();
        let alignment = align(&instrument, &tilted([2.1, -1.3]));
        let traced = exact(&instrument, &tilted([2.1, -1.3])).shape;
        let folded = folded(&instrument, &alignment, 550e-9).unwrap();
        let (
            SightShape::Doughnut {
                centre_px: a,
                shift_px: b,
                ..
            },
            SightShape::Doughnut {
                centre_px: c,
                shift_px: d,
                ..
            },
        ) = (&traced, &folded)
        else {
            panic!("{traced:?} {folded:?}");
        };
        for axis in 0..2 {
            assert!(
                (b[axis] - d[axis]).abs() < 0.05 * b[axis].abs() + 0.1,
                "{b:?} {d:?}"
            );
            assert!(
                (a[axis] - c[axis]).abs() < 0.05 * a[axis].abs() + 0.3,
                "{a:?} {c:?}"
            );
        }
    }

    #[test]
    fn a_star_beyond_the_frame_is_gone() {
        let instrument = fast_unit();
        let state = State {
            recentred: false,
            ..tilted([9.0, 0.0])
        };
        let seen = sight(&instrument, &state, FramePx::ZERO);
        assert_eq!(seen.shape, SightShape::Gone);
        assert!(
            (seen.aside_px[0] - 9.0 * 29.0 / 3.8).abs() < 1e-6,
            "{seen:?}"
        );
    }
}
