//! What can be answered. A quantity has one name, in answers, in the truth table and in scores; the unit is in the name.

use std::fmt;
use std::str::FromStr;

/// Something about an item that can be answered.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// A Zernike mode by its Noll index, `modes_nm.7`.
    Mode(u32),
    /// How far the sensor sits beyond focus, `sensor_offset_um`.
    SensorOffset,
    /// Turns of a screw, `turns.A`.
    Turns(String),
    /// Turns that put it right, `undo_turns.A`.
    UndoTurns(String),
    /// Dark centre minus outer centre of a doughnut, `dark_shift_px.x`.
    DarkShift(Axis),
    /// Place of a region's spike along its slots, `spike_shift_px.0`.
    Spike(u32),
}

/// An axis of the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Axis {
    /// Columns.
    X,
    /// Rows.
    Y,
}

impl Quantity {
    /// The two components of each direction that is judged: coma, astigmatism, dark centre.
    pub const DIRECTIONS: [(&'static str, [Quantity; 2]); 3] = [
        ("coma", [Quantity::Mode(8), Quantity::Mode(7)]),
        ("astigmatism", [Quantity::Mode(6), Quantity::Mode(5)]),
        (
            "dark_shift",
            [Quantity::DarkShift(Axis::X), Quantity::DarkShift(Axis::Y)],
        ),
    ];
}

impl fmt::Display for Quantity {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Quantity::Mode(noll) => write!(out, "modes_nm.{noll}"),
            Quantity::SensorOffset => write!(out, "sensor_offset_um"),
            Quantity::Turns(screw) => write!(out, "turns.{screw}"),
            Quantity::UndoTurns(screw) => write!(out, "undo_turns.{screw}"),
            Quantity::DarkShift(Axis::X) => write!(out, "dark_shift_px.x"),
            Quantity::DarkShift(Axis::Y) => write!(out, "dark_shift_px.y"),
            Quantity::Spike(region) => write!(out, "spike_shift_px.{region}"),
        }
    }
}

impl FromStr for Quantity {
    type Err = ();

    fn from_str(name: &str) -> Result<Quantity, ()> {
        let plain = |text: &str| {
            let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
            let leading = text.len() > 1 && text.starts_with('0');
            if digits && !leading {
                text.parse().ok()
            } else {
                None
            }
        };
        let found = match name.split_once('.') {
            None if name == "sensor_offset_um" => Some(Quantity::SensorOffset),
            Some(("modes_nm", noll)) => plain(noll).filter(|n| *n >= 2).map(Quantity::Mode),
            Some(("turns", screw)) if !screw.is_empty() => Some(Quantity::Turns(screw.into())),
            Some(("undo_turns", screw)) if !screw.is_empty() => {
                Some(Quantity::UndoTurns(screw.into()))
            }
            Some(("dark_shift_px", "x")) => Some(Quantity::DarkShift(Axis::X)),
            Some(("dark_shift_px", "y")) => Some(Quantity::DarkShift(Axis::Y)),
            // answers written before 0.2.0 call a spike a streak
            Some(("spike_shift_px" | "streak_shift_px", region)) => {
                plain(region).map(Quantity::Spike)
            }
            _ => None,
        };
        found.ok_or(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_read_as_it_is_written() {
        for name in [
            "modes_nm.7",
            "sensor_offset_um",
            "turns.A",
            "undo_turns.lower left",
            "dark_shift_px.x",
            "dark_shift_px.y",
            "spike_shift_px.0",
        ] {
            let read: Result<Quantity, ()> = name.parse();
            assert_eq!(read.map(|quantity| quantity.to_string()), Ok(name.into()));
        }
        for name in [
            "modes_nm.07",
            "modes_nm.1",
            "modes_nm",
            "turns.",
            "tilt",
            "dark_shift_px.z",
        ] {
            assert_eq!(name.parse::<Quantity>(), Err(()), "{name}");
        }
    }
}
