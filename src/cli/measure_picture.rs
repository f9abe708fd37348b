//! `measure --annotate`: what was found, drawn on the frame, in the look of the other annotated pictures.

use super::marks::{self, Caption};
use crate::axes::FramePx;
use crate::image_io::PictureError;
use crate::image_io::canvas::{AMBER, Canvas, DIM, STEEL, Stroke, Viewport};
use crate::image_io::stretch::{Stretch, display};
use crate::instrument::Instrument;
use crate::measure::{Measurement, size_in_words};
use crate::pupil::frame_direction;
use ndarray::{Array2, Axis, Slice};

/// Draws edges and push of a doughnut, or the spikes of a masked star, over the part of the frame that was fitted.
///
/// # Errors
/// [`PictureError`] when the magnified picture would be too large.
pub fn draw(
    values: &Array2<f64>,
    found: &Measurement,
    instrument: &Instrument,
) -> Result<Canvas, PictureError> {
    let [corner, size] = found.cut_px;
    let span = |axis: usize| Slice::from(corner[axis]..corner[axis] + size[axis]);
    let part = values.slice_axis(Axis(0), span(1));
    let part = part.slice_axis(Axis(1), span(0)).to_owned();
    let gray = display(&part, &Stretch::of(&part));
    let (mut canvas, view) = marks::page(&gray, &captions(found))?;
    let inside = |place: FramePx| (place - FramePx::new(corner.map(|c| c as f64))).xy();
    ring(&mut canvas, &view, found, &inside);
    spikes(&mut canvas, &view, found, instrument, inside(found.star_px));
    Ok(canvas)
}

fn ring(
    canvas: &mut Canvas,
    view: &Viewport,
    found: &Measurement,
    inside: &dyn Fn(FramePx) -> [f64; 2],
) {
    let Some(ring) = &found.ring else {
        canvas.cross(view, inside(found.star_px), 8.0, &Stroke::PALE);
        return;
    };
    let ring = marks::RingMark {
        outer: (inside(ring.outer_centre_px), ring.outer_radius_px),
        dark: ring.dark_centre_px.map(inside).zip(ring.inner_radius_px),
        shift_px: ring.dark_shift_px().map(|shift| shift.xy()),
        arrow_px: [1.04, 1.18].map(|radii| radii * ring.outer_radius_px),
    };
    marks::ring(canvas, view, &ring);
}

/// Pale: where the aligned telescope would put a spike; amber: where it is.
fn spikes(
    canvas: &mut Canvas,
    view: &Viewport,
    found: &Measurement,
    instrument: &Instrument,
    star_px: [f64; 2],
) {
    for spike in &found.spikes {
        let slot = frame_direction(instrument, spike.slot_rad).xy();
        for (shift, stroke) in [(Some(0.0), Stroke::PALE), (spike.shift_px, Stroke::AMBER)] {
            if let Some(shift) = shift {
                marks::spike(canvas, view, star_px, slot, shift, &stroke);
            }
        }
    }
}

fn captions(found: &Measurement) -> Vec<Caption> {
    let mut words: Vec<Caption> = Vec::new();
    if let Some(coma) = found.coma() {
        words.push((format!("coma {} nm RMS", size_in_words(&coma)), DIM));
    }
    if let Some(ring) = &found.ring {
        words.push((
            format!("solid: outer edge, radius {:.1} px", ring.outer_radius_px),
            AMBER,
        ));
        if let (Some(radius), Some(shift)) = (ring.inner_radius_px, ring.dark_shift_px()) {
            let size = shift.length();
            words.push((
                format!("dashed: dark centre, radius {radius:.1} px, pushed {size:.2} px"),
                STEEL,
            ));
        }
    }
    if !found.spikes.is_empty() {
        words.push((
            "at the border: pale where each spike should run".into(),
            DIM,
        ));
        words.push(("solid where it runs".into(), AMBER));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::flag::Flags;
    use crate::measure::fit::{Fitted, TrialState, Unknown};
    use crate::measure::{
        Aim, Findings, GoodEnough, MeasureReport, Method, Misaligned, Verdict, advise, findings,
        next_step,
    };
    use crate::predict::ComaScale;
    use crate::state::Modes;
    use crate::testing::{fast_unit, measured};
    use crate::units::NM;

    /// Coma of 50 nm along (0.6, 0.8), uncertain by so much along itself and across.
    fn found([along_nm, across_nm]: [f64; 2]) -> Measurement {
        let [a, c] = [along_nm * NM, across_nm * NM].map(|s| s * s);
        let (xx, yy) = (0.36 * a + 0.64 * c, 0.64 * a + 0.36 * c);
        let xy = 0.48 * (a - c);
        let fitted = Fitted {
            trial: TrialState {
                unknowns: vec![Unknown::Mode(7), Unknown::Mode(8)],
                values: vec![40.0 * NM, 30.0 * NM],
                fixed: Modes::none(),
            },
            sigmas: vec![Some(yy.sqrt()), Some(xx.sqrt())],
            covariance: vec![vec![yy, xy], vec![xy, xx]],
            chi_square: 1.0,
            model_error: 0.0,
            unexplained: 0.0,
            left_out_px: 0,
            settled: true,
        };
        measured(Method::Doughnut, fitted)
    }

    /// Words, picture, report and verdict take one uncertainty: that of the size. The verdict turns screws for coma beyond two of
    /// it, so that 24 and 26 nm lie on either side, whatever lies across the coma.
    #[test]
    fn words_picture_report_and_verdict_say_one_uncertainty() {
        let instrument = fast_unit();
        let settings = crate::measure::MeasureSettings::default().advice;
        let stop = GoodEnough {
            not_seen_m: 10.0 * NM,
            atmosphere_m: None,
            hand_m: None,
            stop_m: 10.0 * NM,
            scale: ComaScale::of(&instrument, None),
        };
        for (sigma_nm, across_nm, verdict) in [
            (24.0, 50.0, Verdict::Turn),
            (24.0, 1.0, Verdict::Turn),
            (26.0, 50.0, Verdict::LookAgain),
            (26.0, 1.0, Verdict::LookAgain),
        ] {
            let star = found([sigma_nm, across_nm]);
            let size = match verdict {
                Verdict::Turn => format!("50 ± {sigma_nm:.0} nm RMS"),
                _ => format!("at most {:.0} nm RMS", 50.0 + 2.0 * sigma_nm),
            };
            let said = findings(&star, &instrument, &stop).join("\n");
            assert!(said.contains(&format!("Coma: {size}")), "{said}");
            assert_eq!(captions(&star)[0].0, format!("coma {size}"));
            let misaligned = Misaligned {
                coma: star.coma(),
                ..Misaligned::default()
            };
            let advice = advise(&instrument, &misaligned, Aim::Coma, &settings).unwrap();
            assert_eq!(
                advice.verdict(stop.stop_m),
                verdict,
                "{sigma_nm} {across_nm}"
            );
            let found = Findings {
                star: Some(&star),
                whole_frame: None,
                stop: Some(stop),
                advice: Ok(&advice),
                exposure_s: None,
                tilt: None,
                cases: &[],
                tried: &[],
                plan: None,
                cards: &[],
                orientations: &[],
                weight_that_counts: 0.01,
                flags: &Flags::default(),
                settings: &settings,
            };
            let next = next_step(&found, verdict, &instrument);
            let most_nm = 50.0 + 2.0 * sigma_nm;
            let unsure = format!("this frame shows at most {most_nm:.0} nm of coma");
            assert_eq!(
                next.why.contains(&unsure),
                verdict == Verdict::LookAgain,
                "{next:?}"
            );
            let report = MeasureReport::new(&found, verdict, &instrument);
            let report = report.advice.unwrap();
            let undone = report.undone_nm.unwrap();
            approx::assert_relative_eq!(undone.value, 50.0, max_relative = 1e-12);
            approx::assert_relative_eq!(undone.sigma.unwrap(), sigma_nm, max_relative = 1e-12);
            assert_eq!(report.verdict, verdict.name());
        }
    }
}
