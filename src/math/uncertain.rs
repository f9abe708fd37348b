//! A value with its standard deviation.

use serde::Serialize;

/// A value with its standard deviation, where that is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Uncertain {
    /// The value.
    pub value: f64,
    /// Its standard deviation; `None` where what was measured does not determine it.
    pub sigma: Option<f64>,
}

impl Uncertain {
    /// The same in another unit, as reports have it: `x_m.in_units_of(NM)` is in nanometres.
    pub fn in_units_of(self, unit: f64) -> Uncertain {
        Uncertain {
            value: self.value / unit,
            sigma: self.sigma.map(|s| s / unit),
        }
    }
}
