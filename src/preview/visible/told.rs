//! What is told about a mask as it is seen, and who looks: plain records.

use serde::Serialize;

/// Who looks: assumptions, no source but common practice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Observer {
    /// Shift of a spike that is told from none in three of four trials where there is no noise, pixels.
    pub eye_px: f64,
    /// A spike has to be brighter than the light beside it by this fraction of that light.
    pub contrast: f64,
    /// ... and by this fraction of the range of the screen, which is stretched straight from the sky to [`SCREEN_WHITE`](super::SCREEN_WHITE) times the
    /// brightest spike.
    pub least_gray: f64,
    /// ... and by this many times its own noise.
    pub least_noise_ratio: f64,
}

impl Default for Observer {
    fn default() -> Self {
        Observer {
            eye_px: 0.3,
            contrast: 0.25,
            least_gray: 0.04,
            least_noise_ratio: 3.0,
        }
    }
}

/// A spike as it looks.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpikeSeen {
    /// Number of the region; of a drawing's spikes, a running number.
    pub region: usize,
    /// From the star to the middle of its first order on one side (the other lies opposite), frame axes.
    pub place_px: [f64; 2],
    /// How much brighter it is than the light around it, as a fraction of that light.
    pub stands_out: f64,
    /// From there to the nearest other spike's line; `null` when there is no other.
    pub apart_px: Option<f64>,
    /// Whether an eye sees it.
    pub seen: bool,
    /// Why not; empty when it is seen.
    pub why: String,
    /// Direction along the spike, frame axes, 0 to 180 degrees.
    pub along_deg: f64,
    /// From the star to the first order on both sides.
    pub first_order_px: f64,
    /// Width of the spike (FWHM): slots, seeing, pixel.
    pub width_px: f64,
}

/// The least of an error that is seen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Sees {
    /// Its common name.
    pub error: &'static str,
    /// Noll index.
    pub noll: u32,
    /// nm RMS that are told from none in three of four trials; `null` where it is hidden.
    pub smallest_nm: Option<f64>,
    /// What shows it, or why it is hidden.
    pub why: String,
    /// How far the judged place moves per 100 nm RMS.
    pub px_per_100_nm: Option<f64>,
    /// Scatter of the judged place by noise.
    pub scatter_px: Option<f64>,
}

/// For which conditions all this holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ViewingConditions {
    /// FWHM at the zenith and 500 nm; `null`: none was given, and none is counted.
    pub seeing_arcsec: Option<f64>,
    /// Mean wavelength of the photons.
    pub reference_nm: f64,
    /// Pixel.
    pub pixel_um: f64,
    /// Magnitude of the star; `null` where a good exposure was assumed instead.
    pub magnitude: Option<f64>,
    /// Exposure of the frame; `null` where a good one was assumed.
    pub exposure_s: Option<f64>,
    /// The exposure that puts the brightest spike at 40 % of a full pixel, or the core at 50 times full if that is shorter.
    pub good_exposure_s: Option<f64>,
    /// Brightest spike over a full pixel.
    pub spike_level: f64,
    /// Core over a full pixel, before it is cut off there.
    pub core_level: f64,
    /// What a pixel holds.
    pub full_well_e: f64,
    /// Read noise.
    pub read_noise_e: f64,
    /// Width and height of the frame that was looked at.
    pub frame_px: usize,
    /// Who looks.
    pub observer: Observer,
    /// What was assumed because the scenario does not say.
    pub assumed: Vec<&'static str>,
}
