//! From a frame of many stars: how each star looks, how the focal plane is tilted, and where the field has no coma.
//!
//! Two answers: the focal plane comes from the stars' sizes, the coma node (the place in the field without coma) from their
//! asymmetries. Each says what it cannot tell: one frame leaves the side of focus open (`sign_open`), stars in sharp focus hide coma (`node_not_found`). What is
//! not known is absent, never NaN. Slopes and places are given in frame axes where they end in `_px` or say so, else in pupil axes.

mod beyond_sums;
mod coma;
mod corners;
mod descent;
mod found;
mod plane;
mod rays;
mod shapes;
mod weighed;
mod words;

pub use corners::{Corners, Together, Trade, Trouble};
pub use found::{ComaField, Estimate, FocalPlane, WholeFrame};
pub use shapes::StarShape;
pub use weighed::Weighed;
pub use words::place_in_words;

use super::doughnut::Side;
use super::frame_error::FrameError;
use super::picture::Picture;
use super::settings::{MeasureSettings, WholeFrameSettings};
use super::stars::{Search, Source, Stars};
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::instrument::Instrument;
use crate::pupil::{frame_axes, to_field};
use crate::spectrum::edges;
use crate::units::{ARCMIN, MM, NM, UM};
use coma::{NodeFit, RingRays, Skewed};
use plane::{Known, PlaneFit, SizedStar};
use shapes::PixelNoise;

/// What else is known of a frame.
#[derive(Debug, Clone, Copy, Default)]
pub struct WholeFrameOptions<'a> {
    /// Sensor offset in the middle of the frame, and its standard deviation.
    pub sensor_offset_m: Option<[f64; 2]>,
    /// The side of focus.
    pub side: Option<Side>,
    /// A second frame of the same field, and how much farther out its sensor stood.
    pub second: Option<(&'a Picture, f64)>,
    /// Whether what is wrong with the corners is read from them. A first reading: of nine fields by an independent simulator, one a kind of
    /// trouble, an earlier build named three rightly and asked for no turn in drift, focus, spacing and nothing (`tests/references/world/corners.py`).
    pub corners: bool,
    /// A second frame for which the camera was turned half round in its adapter.
    pub turned: Option<&'a Picture>,
    /// By which numbers measuring decides.
    pub settings: MeasureSettings,
}

/// Rounds of plane and node: the first two by the laws of squares and of moments alone, the others with what these leave out.
const ROUNDS: usize = 6;
/// Square of the FWHM that an evenly sensitive square pixel adds, over the square of its side: 8 ln 2 / 12, that of the normal law
/// with the same variance.
const PIXEL_FWHM_SQUARE: f64 = 0.46;
/// Square of a half-flux diameter over the mean squared length of the rays: 2.77 (4 ln 2) for a normal spread, 4 for an even disc; that
/// of a normal spread is taken, rounded.
const SQUARED_DIAMETER_OF_RAYS: f64 = 2.8;
/// A star's diameter in focus is not taken to be smaller than this share of a pixel, so that its standard deviation stays finite.
const LEAST_DIAMETER_PX: f64 = 1e-3;

/// Measures the stars of a frame, the tilt of the focal plane and the coma node.
///
/// # Errors
/// [`FrameError`] where there is nothing to measure; too few stars is no error but a flag.
///
/// # Accuracy
/// See `measure::whole_frame::tests`, which print it. Where coma is not borne out by the asymmetries (`growth_differs`, in focus or
/// with much coma on a small sensor) nothing is to be acted on.
pub fn whole_frame(
    picture: &Picture,
    instrument: &Instrument,
    options: &WholeFrameOptions<'_>,
) -> Result<WholeFrame, FrameError> {
    let mut flags = Flags::default();
    let settings = &options.settings.whole_frame;
    let (stars, sources_found) = stars_of(picture, instrument, &options.settings, &mut flags)?;
    let second = match options.second {
        Some((second, _)) => stars_of(second, instrument, &options.settings, &mut flags)?.0,
        None => Vec::new(),
    };
    if !picture.is_whole(&instrument.camera) {
        flags.raise(Flag::FrameSizeDiffers);
    }
    let turned = match options.turned {
        Some(turned) => Some(stars_of(turned, instrument, &options.settings, &mut flags)?.0),
        None => None,
    };
    let mut frame = WholeFrame {
        sources_found,
        stars,
        focal_plane: None,
        coma: None,
        corners: None,
        flags,
    };
    let field = FieldOfFrame {
        middle_px: picture.middle_px(),
        instrument,
        options,
    };
    if frame.stars.len() < settings.stars_at_least {
        frame.flags.raise(Flag::FewStars);
        return Ok(frame);
    }
    // round by round: the plane by sizes alone; the node by asymmetries, which need each star's defocus; then what coma adds to the
    // sizes, which needs the node; from the third round on, what the law of squares leaves out, which needs both
    let mut node: Option<NodeFit> = None;
    let mut plane: Option<PlaneFit> = None;
    let mut best: (f64, Option<PlaneFit>, Option<NodeFit>) = (f64::INFINITY, None, None);
    for round in 0..ROUNDS {
        let mut sized = field.sized(&frame.stars, &second, node.as_ref());
        let by_rays = round > 1;
        if let Some(plane) = plane.as_ref().filter(|_| by_rays) {
            field.add_what_squares_leave_out(&mut sized, plane, node.as_ref());
        }
        plane = plane::fit(&sized, field.known(), settings);
        node = plane.as_ref().and_then(|plane| {
            let mut skewed = field.skewed(&frame.stars, plane);
            if let Some(node) = node.as_ref().filter(|_| by_rays) {
                field.allow_for_the_circle(&mut skewed, plane, node);
            }
            let rays = field.ring_rays();
            coma::fit(&skewed, rays, field.half_m(), settings)
        });
        // with strong astigmatism the rounds may run away: what explains the stars best counts
        let scatter = |of: Option<f64>| of.unwrap_or(settings.poor_scatter_factor);
        let off =
            scatter(plane.as_ref().map(|p| p.scale)) * scatter(node.as_ref().map(|n| n.scale));
        if round > 0 && off <= best.0 {
            best = (off, plane.clone(), node.clone());
        }
    }
    let (_, plane, node) = best;
    field.tell_plane(&mut frame, plane);
    field.tell_node(&mut frame, node);
    if options.corners {
        frame.corners = field.corners(&frame.stars, turned.as_deref());
        frame.believe_corners();
    }
    Ok(frame)
}

impl WholeFrame {
    /// The plane, where the stars' sizes follow one within their noise.
    pub fn sound_plane(&self) -> Option<&FocalPlane> {
        let off = self.flags.has(Flag::SizesOffModel);
        self.focal_plane.as_ref().filter(|_| !off)
    }

    /// The plane, where it says which way to turn: it is sound, its tilt is seen, and the side of focus is known.
    pub fn plane_to_act_on(&self) -> Option<&FocalPlane> {
        let open = self.flags.has(Flag::SignOpen) || self.flags.has(Flag::PlaneFlat);
        self.sound_plane().filter(|_| !open && self.is_sound())
    }

    /// The coma field, where the stars' asymmetries follow one and its growth is the telescope's.
    pub fn sound_coma(&self) -> Option<&ComaField> {
        let off = self.flags.has(Flag::AsymmetriesOffModel) || self.flags.has(Flag::GrowthDiffers);
        self.coma.as_ref().filter(|_| !off)
    }

    /// Where the laws of sizes and asymmetries fail and the corners are explained all the same, those laws are not asked any more.
    fn believe_corners(&mut self) {
        if !self.corners.as_ref().is_some_and(Corners::is_sound) {
            return;
        }
        if self.flags.has(Flag::SizesOffModel) {
            self.focal_plane = None;
            self.flags = self.flags.without(Flag::SizesOffModel);
            self.flags.raise(Flag::PlaneNotFound);
        }
        for flag in [Flag::GrowthDiffers, Flag::AsymmetriesOffModel] {
            if self.flags.has(flag) {
                self.coma = None;
                self.flags = self.flags.without(flag);
                self.flags.raise(Flag::NodeNotFound);
            }
        }
    }

    /// Tilt of the unit that the corners would have undone, radians, pupil axes: none where no turn is worth its price. `None` where they
    /// cannot be believed or nothing is known of the screws.
    pub fn tilt_by_corners(&self) -> Option<[f64; 2]> {
        let corners = self.corners.as_ref().filter(|corners| corners.is_sound())?;
        let trade = corners.trade.as_ref()?;
        let undo = trade.tilt_arcmin.map(|t| -t * ARCMIN);
        Some(if trade.worth_it { undo } else { [0.0; 2] })
    }

    /// Whether the corners say that no turn of the screws is worth its price.
    pub fn leaves_screws_alone(&self) -> bool {
        let corners = self.corners.as_ref().filter(|corners| corners.is_sound());
        corners.is_some_and(|corners| !corners.turn_is_worth_it())
    }

    /// Whether what was found of plane and coma may be acted on.
    pub fn is_sound(&self) -> bool {
        self.flags.is_sound()
    }
}

fn stars_of(
    picture: &Picture,
    instrument: &Instrument,
    settings: &MeasureSettings,
    flags: &mut Flags,
) -> Result<(Vec<StarShape>, usize), FrameError> {
    let full = picture.full_adu(instrument);
    let search = Search::plain(&settings.finding);
    let found = Stars::find(&picture.values_adu, full, &search)?;
    let own = &settings.whole_frame;
    let noise = PixelNoise {
        sigma: found.background.sigma,
        gain_e: picture.gain(instrument, flags),
    };
    let sources = found.all();
    let good = sources.iter().filter(|source| {
        !source.touches_edge
            && !source.overlaps
            && source.saturated_px == 0
            && source.flux > own.light_sigma_at_least * source.flux_sigma
            && alone(source, sources, own)
    });
    let shapes = good.filter_map(|source| shapes::measure(&found.light, source, noise, own));
    Ok((shapes.collect(), sources.len()))
}

/// Whether no other star stands in the square in which this one is measured.
fn alone(source: &Source, all: &[Source], settings: &WholeFrameSettings) -> bool {
    let reach = settings.alone_radii * source.half_flux_radius_px + settings.alone_px;
    all.iter().filter(|other| *other != source).all(|other| {
        // far fainter ones do no harm
        other.flux < settings.alone_flux_share * source.flux
            || [0, 1].iter().any(|axis| {
                other.box_px[0][*axis] as f64 > source.centre_px[*axis] + reach
                    || (other.box_px[1][*axis] as f64) < source.centre_px[*axis] - reach
            })
    })
}

/// The field of a frame: what the instrument says about it.
struct FieldOfFrame<'a> {
    middle_px: [f64; 2],
    instrument: &'a Instrument,
    options: &'a WholeFrameOptions<'a>,
}

impl FieldOfFrame<'_> {
    fn settings(&self) -> &WholeFrameSettings {
        &self.options.settings.whole_frame
    }

    fn pixel_m(&self) -> f64 {
        self.instrument.camera.pixel_m
    }

    /// Place on the sensor from its centre.
    fn field_m(&self, place_px: [f64; 2]) -> FieldM {
        let from_middle = FramePx::new(place_px) - FramePx::new(self.middle_px);
        to_field(self.instrument, from_middle.in_metres(self.pixel_m()))
    }

    fn half_m(&self) -> f64 {
        let [x, y] = self.middle_px;
        x.hypot(y) * self.pixel_m()
    }

    /// What field curvature adds to the sensor offset at a place, metres.
    fn curved_m(&self, field_m: FieldM) -> f64 {
        let field = &self.instrument.telescope.field;
        let from_axis = field_m - field.axis_m;
        field.curvature_per_m2 * (from_axis[0].powi(2) + from_axis[1].powi(2))
    }

    fn known(&self) -> Known {
        let telescope = &self.instrument.telescope;
        let e = telescope.obstruction_ratio();
        Known {
            offset_m: self.options.sensor_offset_m,
            side: self.options.side.map(Side::sign),
            least_m2: self.usual_least_m2(),
            // half of an evenly lit ring's light lies within the root mean square of its radii
            blur_per_m: (0.5 * (1.0 + e * e)).sqrt() / telescope.focal_ratio(),
            half_m: self.half_m(),
            diameter_law_share: self.settings().diameter_law_share,
        }
    }

    /// Square of the diameter of a star in focus, and its standard deviation: the usual seeing, diffraction (an Airy disc's FWHM
    /// is about λN) and a pixel, added in squares; half-flux diameter and FWHM of a normal spread are the same.
    fn usual_least_m2(&self) -> [f64; 2] {
        let telescope = &self.instrument.telescope;
        let [first, last] = edges(&self.instrument.camera.passband);
        let settings = self.settings();
        let seeing_m = settings.usual_seeing_rad * telescope.focal_length_m;
        let airy_m = 0.5 * (first + last) * telescope.focal_ratio();
        let square = seeing_m.powi(2) + airy_m.powi(2) + PIXEL_FWHM_SQUARE * self.pixel_m().powi(2);
        [square, settings.usual_square_sigma_factor * square]
    }

    fn sized(
        &self,
        first: &[StarShape],
        second: &[StarShape],
        node: Option<&NodeFit>,
    ) -> Vec<SizedStar> {
        let step_m = self.options.second.map_or(0.0, |(_, step)| step);
        let one = |star: &StarShape, step_m: f64| {
            let field_m = self.field_m(star.centre_px);
            SizedStar {
                field_m,
                diameter_m: star.half_flux_diameter_px * self.pixel_m(),
                sigma_m: star.half_flux_diameter_sigma_px * self.pixel_m(),
                extra_m2: self.aberrated_m2(field_m, node),
                beyond_squares_m: 0.0,
                curved_m: self.curved_m(field_m),
                step_m,
            }
        };
        let first = first.iter().map(|star| one(star, 0.0));
        first
            .chain(second.iter().map(|star| one(star, step_m)))
            .collect()
    }

    /// What coma and astigmatism add to the square of a star's diameter. The mean squared slopes of 1 RMS over the full disc are 56 for
    /// coma and 12 for astigmatism (derived here from Noll's polynomials); a ray lands 2N slopes from the star's place.
    fn aberrated_m2(&self, field_m: FieldM, node: Option<&NodeFit>) -> f64 {
        let telescope = &self.instrument.telescope;
        let from_axis = field_m - telescope.field.axis_m;
        let square = from_axis[0].powi(2) + from_axis[1].powi(2);
        let coma = node.map_or([0.0; 2], |node| coma::coma_m(&node.fit.values, field_m));
        let astigmatism = telescope.field.astigmatism_per_m2 * square;
        let slopes = 56.0 * (coma[0].powi(2) + coma[1].powi(2)) + 12.0 * astigmatism.powi(2);
        SQUARED_DIAMETER_OF_RAYS * 4.0 * telescope.focal_ratio().powi(2) * slopes
    }

    /// What the telescope's rays do.
    fn ring_rays(&self) -> RingRays {
        let telescope = &self.instrument.telescope;
        RingRays {
            sums: coma::sums(telescope.obstruction_ratio()),
            m_per_rms: -2.0 * telescope.focal_ratio() * 8f64.sqrt(),
        }
    }

    fn skewed(&self, stars: &[StarShape], plane: &PlaneFit) -> Vec<Skewed> {
        let axes = frame_axes(self.instrument);
        let cube = self.pixel_m().powi(3);
        let one = |star: &StarShape| {
            let field_m = self.field_m(star.centre_px);
            let offset_m = plane::offset_m(&plane.fit.values, field_m, self.curved_m(field_m), 0.0);
            Skewed {
                field_m,
                third_m3: axes.backward(star.asymmetry_px3).map(|t| t * cube),
                sigma_m3: star.asymmetry_sigma_px3 * cube,
                offset_m,
                blur_m: 0.5 * offset_m.abs() / self.instrument.telescope.focal_ratio(),
                share: 1.0,
            }
        };
        stars.iter().map(one).collect()
    }

    fn tell_plane(&self, frame: &mut WholeFrame, plane: Option<PlaneFit>) {
        let told = plane.and_then(|plane| {
            let sigmas: Vec<f64> = plane.fit.sigmas.iter().map_while(|s| *s).collect();
            (sigmas.len() == 5).then_some((plane, sigmas))
        });
        let Some((plane, mut sigmas)) = told else {
            frame.flags.raise(Flag::PlaneNotFound);
            return;
        };
        for (sigma, value) in sigmas.iter_mut().zip(&plane.fit.values) {
            *sigma = (*sigma * plane.scale).hypot(self.settings().size_law_share * value);
        }
        let sign_by = self.sign_told_by(&plane, &sigmas);
        if plane.scale > self.settings().poor_scatter_factor {
            frame.flags.raise(Flag::SizesOffModel);
        }
        let values = &plane.fit.values;
        let axes = frame_axes(self.instrument);
        let slope = axes.forward([values[1], values[2]]);
        let slope_sigma = turned_sigmas(axes.forward([1.0, 0.0]), [sigmas[1], sigmas[2]]);
        let sides_m = self.middle_px.map(|half| 2.0 * half * self.pixel_m());
        let across = Estimate {
            value: (0..2)
                .map(|axis| slope[axis].abs() * sides_m[axis])
                .sum::<f64>()
                / UM,
            sigma: (slope_sigma[0] * sides_m[0]).hypot(slope_sigma[1] * sides_m[1]) / UM,
        };
        let flat = across.value < self.settings().seen_sigma * across.sigma;
        if flat {
            frame.flags.raise(Flag::PlaneFlat);
        }
        if sign_by.is_none() {
            frame.flags.raise(Flag::SignOpen);
        }
        let least_m = values[3].abs().sqrt();
        frame.focal_plane = Some(FocalPlane {
            sensor_offset_um: estimate(values[0], sigmas[0], UM),
            slope_um_per_mm: [0, 1].map(|axis| estimate(slope[axis], slope_sigma[axis], UM / MM)),
            across_sensor_um: across,
            towards: sign_by.filter(|_| !flat).map(|_| place_in_words(slope)),
            towards_either: (!flat)
                .then(|| [place_in_words(slope), place_in_words(slope.map(|s| -s))]),
            sign_by,
            least_diameter_px: estimate(
                least_m,
                0.5 * sigmas[3] / least_m.max(LEAST_DIAMETER_PX * self.pixel_m()),
                self.pixel_m(),
            ),
            tilt_arcmin: self.tilt_of_slope(values, &sigmas),
            stars_used: plane.used,
            scatter_ratio: plane.scale,
        });
    }

    /// What tells the side of focus, if anything does. A side that the owner told was kept to by the fit.
    fn sign_told_by(&self, plane: &PlaneFit, sigmas: &[f64]) -> Option<&'static str> {
        let apart = plane.fit.values[0].abs() > self.settings().side_seen_sigma * sigmas[0];
        if self.options.side.is_some() && apart {
            return Some("side");
        }
        if plane.sign_open {
            return None;
        }
        let curved = self.instrument.telescope.field.curvature_per_m2 != 0.0;
        match (self.options.second, self.options.sensor_offset_m) {
            (Some((_, step)), _) if step != 0.0 => Some("second_frame"),
            (_, Some(_)) => Some("offset"),
            _ => curved.then_some("curvature"),
        }
    }

    /// The tilt of the unit whose sensor would lean like this.
    fn tilt_of_slope(&self, values: &[f64], sigmas: &[f64]) -> Option<[Estimate; 2]> {
        let response = self.instrument.assembly.as_ref()?.response.as_ref()?;
        let away = if response.focus_m_per_m < 0.0 {
            -1.0
        } else {
            1.0
        };
        let per_tilt = away * response.sensor_tilt_per_tilt;
        (per_tilt != 0.0).then(|| {
            [1, 2].map(|k| estimate(values[k] / per_tilt, sigmas[k] / per_tilt.abs(), ARCMIN))
        })
    }

    /// Whether coma is seen to grow by less than the least that is allowed beside [telescope.field], by several standard deviations.
    fn grows_too_little(&self, node: &NodeFit) -> bool {
        let known = self.instrument.telescope.field.coma_per_m.abs();
        let seen = node.fit.values[0].abs();
        let sigma = node.fit.sigmas[0].map_or(f64::INFINITY, |s| s * node.scale);
        let settings = self.settings();
        seen < settings.growth_range[0] * known && known - seen > settings.seen_sigma * sigma
    }

    fn tell_node(&self, frame: &mut WholeFrame, node: Option<NodeFit>) {
        let settings = self.settings();
        if node
            .as_ref()
            .is_some_and(|node| self.grows_too_little(node))
        {
            frame.flags.raise(Flag::GrowthDiffers);
        }
        let told = node.and_then(|node| {
            let sigmas: Vec<f64> = node.fit.sigmas.iter().map_while(|s| *s).collect();
            let with_share = |(sigma, value): (&f64, &f64)| {
                (sigma * node.scale).hypot(settings.node_law_share * value)
            };
            let scaled: Vec<f64> = sigmas
                .iter()
                .zip(&node.fit.values)
                .map(with_share)
                .collect();
            let grows =
                scaled.len() == 3 && node.fit.values[0].abs() > settings.seen_sigma * scaled[0];
            grows.then_some((node, scaled))
        });
        let Some((node, sigmas)) = told else {
            frame.flags.raise(Flag::NodeNotFound);
            return;
        };
        if node.scale > settings.poor_scatter_factor {
            frame.flags.raise(Flag::AsymmetriesOffModel);
        }
        let values = &node.fit.values;
        let at_m = [values[1], values[2]];
        if at_m[0].hypot(at_m[1]) > settings.far_outside_half_diagonals * self.half_m() {
            frame.flags.raise(Flag::NodeFarOutside);
        }
        let axes = frame_axes(self.instrument);
        let (place, middle) = (axes.forward(at_m), self.middle_px);
        let place_sigma = turned_sigmas(axes.forward([1.0, 0.0]), [sigmas[1], sigmas[2]]);
        let known_growth = self.instrument.telescope.field.coma_per_m;
        let growth = if known_growth != 0.0 {
            known_growth
        } else {
            values[0]
        };
        let [least, most] = settings.growth_range;
        if known_growth != 0.0 && !(least..most).contains(&(values[0] / known_growth)) {
            frame.flags.raise(Flag::GrowthDiffers);
        }
        let tilt = self.tilt_of_node(frame, at_m, [sigmas[1], sigmas[2]]);
        frame.coma = Some(ComaField {
            node_px: [0, 1].map(|axis| Estimate {
                value: middle[axis] + place[axis] / self.pixel_m(),
                sigma: place_sigma[axis] / self.pixel_m(),
            }),
            node_mm: [0, 1].map(|axis| estimate(at_m[axis], sigmas[1 + axis], MM)),
            coma_nm_per_mm: estimate(values[0], sigmas[0], NM / MM),
            coma_in_middle_nm: at_m.map(|h| -growth * h / NM),
            tilt_arcmin: tilt,
            correcting_tilt_arcmin: tilt.map(|both| {
                both.map(|t| Estimate {
                    value: -t.value,
                    sigma: t.sigma,
                })
            }),
            stars_used: node.used,
            scatter_ratio: node.scale,
        });
    }

    /// Tilt of the unit that puts the node where it is, pupil axes. A tilt t adds the coma k_tilt·t everywhere; with the field's own coma
    /// k_field·h, counted from the field's axis, the sum is zero at h0 = −k_tilt·t/k_field (nodal aberration theory).
    fn tilt_of_node(
        &self,
        frame: &mut WholeFrame,
        node_m: [f64; 2],
        sigma_m: [f64; 2],
    ) -> Option<[Estimate; 2]> {
        let field = &self.instrument.telescope.field;
        let response = self
            .instrument
            .assembly
            .as_ref()
            .and_then(|a| a.response.as_ref());
        let Some(response) = response.filter(|r| r.coma_m_per_rad != 0.0) else {
            frame.flags.raise(Flag::NoResponse);
            return None;
        };
        if field.coma_per_m == 0.0 {
            frame.flags.raise(Flag::NoFieldComa);
            return None;
        }
        let per_m = field.coma_per_m / response.coma_m_per_rad;
        Some([0, 1].map(|axis| {
            estimate(
                -per_m * (node_m[axis] - field.axis_m[axis]),
                per_m.abs() * sigma_m[axis],
                ARCMIN,
            )
        }))
    }
}

/// A value and its standard deviation in SI units, as an estimate in the unit of a report.
fn estimate(value: f64, sigma: f64, unit: f64) -> Estimate {
    Estimate {
        value: value / unit,
        sigma: sigma / unit,
    }
}

/// Standard deviations along axes turned so that the first one points along `first`.
fn turned_sigmas(first: [f64; 2], sigmas: [f64; 2]) -> [f64; 2] {
    [
        (first[0] * sigmas[0]).hypot(first[1] * sigmas[1]),
        (first[1] * sigmas[0]).hypot(first[0] * sigmas[1]),
    ]
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod told;
