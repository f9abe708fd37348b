//! Where the spikes of a mask lie: clear of the star, clear of one another, on the frame. Limits are common practice, no source.
//!
//! What counts is plane geometry: the first order at wavelength × focal length / pitch, the width of a spike by its longest lit slot and the
//! pixel, without seeing. What an eye sees of it all is asked of the picture ([`visible`](crate::preview::visible)).

use super::{Finding, Limit, PrintRule};
use crate::instrument::Instrument;
use crate::preview::visible::lines::{SpikeLine, lines, lit};
use crate::state::State;

/// The first order is to lie so far from the star, pixels, and so many of the spike's widths.
const LEAST_ORDER_PX: f64 = 15.0;
const ORDER_WIDTHS: f64 = 5.0;
/// Spikes that cross are to lie so many widths apart at their first order.
const APART_WIDTHS: f64 = 3.0;

pub(super) fn rules(instrument: &Instrument) -> Vec<Finding> {
    let state = State {
        mask_on: true,
        ..State::default()
    };
    let all = lines(instrument, &state, &lit(instrument, &state));
    let mut list = Vec::new();
    list.extend(clear_of_the_star(&all));
    list.extend(apart(&all));
    list.extend(on_the_frame(instrument, &all));
    list
}

fn order_px(line: &SpikeLine) -> f64 {
    0.5 * (line.reach_px[0] + line.reach_px[1])
}

/// The line whose first order lies nearest to the star for its width.
fn clear_of_the_star(all: &[SpikeLine]) -> Option<Finding> {
    let wanted = |line: &SpikeLine| LEAST_ORDER_PX.max(ORDER_WIDTHS * line.width_px);
    let worst = all
        .iter()
        .min_by(|a, b| (order_px(a) / wanted(a)).total_cmp(&(order_px(b) / wanted(b))))?;
    let (value, limit) = (order_px(worst), wanted(worst));
    let rule = PrintRule {
        what: "first order from the star",
        value,
        limit,
        unit: "px",
        bound: Limit::AtLeast,
        kept: value >= limit,
        serious: false,
    };
    Some(rule.says(
        "nearer than 15 px, or five widths of a spike, the spikes drown in the star's own light (common practice, no source)",
        "narrow mask.slot_pitch_mm: half the pitch puts the spikes twice as far out",
    ))
}

/// The two lines that lie nearest to each other for their widths, at their first order.
fn apart(all: &[SpikeLine]) -> Option<Finding> {
    let mut least: Option<f64> = None;
    for line in all {
        for other in all {
            let turn = line.turn_to(other).abs();
            if turn > 1e-6 {
                let widths = order_px(line) * libm::sin(turn) / line.width_px.max(other.width_px);
                least = Some(least.map_or(widths, |l| l.min(widths)));
            }
        }
    }
    let value = least?;
    let rule = PrintRule {
        what: "spikes apart",
        value,
        limit: APART_WIDTHS,
        unit: "widths",
        bound: Limit::AtLeast,
        kept: value >= APART_WIDTHS,
        serious: false,
    };
    Some(rule.says(
        "distance of neighbouring spikes at their first order, in widths of the wider one; nearer ones run together (common practice, no source)",
        "raise mask.slant_deg (20 degrees spread nine spikes evenly), or narrow mask.slot_pitch_mm",
    ))
}

/// The farthest first order and half of the frame.
fn on_the_frame(instrument: &Instrument, all: &[SpikeLine]) -> Option<Finding> {
    let value = all
        .iter()
        .map(|l| l.reach_px[1] + l.width_px)
        .reduce(f64::max)?;
    let camera = &instrument.camera;
    let limit = 0.5 * (camera.width_px.min(camera.height_px) as f64 - 1.0);
    let rule = PrintRule {
        what: "first order on the frame",
        value,
        limit,
        unit: "px",
        bound: Limit::AtMost,
        kept: value <= limit,
        serious: false,
    };
    Some(rule.says(
        "how far the first order reaches from the star, and how far the frame does",
        "raise camera.width_px and camera.height_px, or widen mask.slot_pitch_mm",
    ))
}
