//! Every number by which measuring decides, in one place: what it decides, where its value is from, and what goes wrong when it
//! is larger or smaller.
//!
//! [`MeasureSettings`] is handed in by value, in [`MeasureOptions`](super::MeasureOptions) and
//! [`WholeFrameOptions`](super::WholeFrameOptions), and group by group to [`learn`](super::learn::learn),
//! [`advise`](super::advise) and [`good_enough`](super::good_enough). Nothing here is read from a static, so that two
//! measurements with different settings may run at the same time. `Default` holds the values that every accuracy in this crate
//! was measured with; other values are for studies of the measuring itself.
//!
//! Units stand at the end of a name, as everywhere: `_px` pixels, `_m` metres, `_rad` radians, `_adu` counts. `_sigma` counts
//! standard deviations, `_share` is a part of 1, `_factor` a multiple. Where a value is from is said in one of these words:
//! *derived* (from a law that is named), *common practice, no source*, or *set by hand* (tried out on drawn stars; where a test is
//! named it watches what the value decides, and passes with it; it does not prove that the value is the best one).
//!
//! What stays beside its algorithm: mathematical constants, and numbers that only change how fast the same answer is reached,
//! such as damping factors and rounds of an iteration.

mod edges;
mod finding;
mod fit;
mod judging;
mod learning;
mod orientation;
mod starting;
mod whole_frame;

pub use edges::RingSettings;
pub use finding::{
    BackgroundSettings, ColourSettings, CutOutSettings, DefectSettings, FindingSettings,
    GainSettings, LinearitySettings, SearchSettings,
};
pub use fit::{FitSettings, Pace, PriorSettings};
pub use judging::{AdviceSettings, JudgingSettings};
pub use learning::LearningSettings;
pub use orientation::OrientationSettings;
pub use starting::{DoughnutSettings, MaskedSettings, OtherComa, SpikeSettings};
pub use whole_frame::WholeFrameSettings;

/// A group of settings: each field with its default beside its description, so that the two cannot drift apart.
macro_rules! settings {
    ($(#[$about:meta])* $group:ident { $($(#[$what:meta])* $field:ident: $kind:ty = $value:expr,)* }) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub struct $group {
            $($(#[$what])* pub $field: $kind,)*
        }

        impl Default for $group {
            fn default() -> Self {
                $group { $($field: $value,)* }
            }
        }
    };
}
pub(super) use settings;

/// By which numbers measuring decides, grouped by what they decide.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MeasureSettings {
    /// Background, defects, stars, and how a star is cut out of its frame.
    pub finding: FindingSettings,
    /// Edges of a doughnut, read without a model.
    pub ring: RingSettings,
    /// Where the fit of a doughnut starts, and which side of focus it is believed to be on.
    pub doughnut: DoughnutSettings,
    /// Spikes of a masked star, read without a fit.
    pub spikes: SpikeSettings,
    /// Where the fit of a masked star starts.
    pub masked: MaskedSettings,
    /// The fit of the whole model.
    pub fit: FitSettings,
    /// Whether what was measured may be acted on.
    pub judging: JudgingSettings,
    /// Whether to turn, and when to stop.
    pub advice: AdviceSettings,
    /// How the camera is held.
    pub orientation: OrientationSettings,
    /// A frame of many stars: focal plane and coma node.
    pub whole_frame: WholeFrameSettings,
    /// What trial turns teach.
    pub learning: LearningSettings,
}

impl FitSettings {
    /// Whether a fit asks nothing but modes.
    pub fn takes_shadows_as_typed(&self) -> bool {
        self.asked_more_from_sigma == f64::INFINITY
    }
}

impl MeasureSettings {
    /// The same for a fit that takes all that casts a shadow as typed, and asks nothing but modes.
    pub fn with_shadows_as_typed(&self) -> MeasureSettings {
        MeasureSettings {
            fit: FitSettings {
                asked_more_from_sigma: f64::INFINITY,
                ..self.fit
            },
            ..*self
        }
    }
}

#[cfg(test)]
mod tests;
