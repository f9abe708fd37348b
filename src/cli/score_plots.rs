//! The picture of a score: each quantity's absolute error against electrons, seeing and size of the misalignment.
//!
//! Both axes are logarithmic. Dots are answers; the line is the RMS of each quarter of the items.

use crate::image_io::PictureError;
use crate::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, PALE, Rgb, Stroke, TextStyle, Viewport,
};
use crate::score::{Judged, QuantityScore, ScoreBin, ScoreReport};

const PANEL_PX: [usize; 2] = [260, 170];
const LEFT_PX: usize = 74;
const GAP_PX: usize = 24;
const BELOW_PX: usize = 46;
const TOP_PX: usize = 34;
/// More rows than this make a picture that nobody looks at; `--json` has all.
const ROWS_AT_MOST: usize = 8;

/// What an error is drawn against.
struct PlotAxis {
    words: &'static str,
    value: fn(&Judged) -> Option<f64>,
    bins: fn(&QuantityScore) -> &[ScoreBin],
}

const AXES: [PlotAxis; 3] = [
    PlotAxis {
        words: "electrons",
        value: |judged| judged.electrons,
        bins: |score| &score.by_electrons,
    },
    PlotAxis {
        words: "seeing, arcsec",
        value: |judged| judged.seeing_arcsec,
        bins: |score| &score.by_seeing_arcsec,
    },
    PlotAxis {
        words: "misalignment, Noll 5 to 11, nm",
        value: |judged| Some(judged.misalignment_nm),
        bins: |score| &score.by_misalignment_nm,
    },
];

/// Draws the picture.
///
/// # Errors
/// The canvas would be too large; it never is.
pub fn draw(report: &ScoreReport) -> Result<Canvas, PictureError> {
    let shown: Vec<(&String, &QuantityScore)> =
        report.quantities.iter().take(ROWS_AT_MOST).collect();
    let rows = shown.len().max(1);
    let (wide, tall) = (PANEL_PX[0] + LEFT_PX, PANEL_PX[1] + BELOW_PX);
    let size = [AXES.len() * wide + GAP_PX, rows * tall + TOP_PX];
    let mut canvas = Canvas::new(size[0], size[1], BLACK)?;
    let whole = Viewport::whole(&canvas);
    let words = format!(
        "Absolute error of {} of {} items; line: RMS of a quarter",
        report.answered, report.items
    );
    let top = size[1] as f64 - 16.0;
    canvas.text(&whole, [GAP_PX as f64, top], &words, &TextStyle::CAPTION);
    for (row, (name, score)) in shown.iter().enumerate() {
        let low = size[1] - TOP_PX - (row + 1) * tall + BELOW_PX;
        for (column, axis) in AXES.iter().enumerate() {
            let corner = [column * wide + LEFT_PX, low];
            panel(&mut canvas, &whole, corner, name, score, axis);
        }
    }
    Ok(canvas)
}

/// Maps a range of logarithms to a run of canvas pixels.
struct Scale {
    low: f64,
    high: f64,
    from: f64,
    length: f64,
}

impl Scale {
    /// Of positive values; `None` when there are none.
    fn of(values: impl Iterator<Item = f64>, from: usize, length: usize) -> Option<Scale> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.filter(|v| *v > 0.0) {
            (low, high) = (low.min(value.log10()), high.max(value.log10()));
        }
        let room = 0.06 * (high - low).max(0.3);
        (low <= high).then_some(Scale {
            low: low - room,
            high: high + room,
            from: from as f64,
            length: length as f64,
        })
    }

    fn place(&self, value: f64) -> f64 {
        let share = (value.max(f64::MIN_POSITIVE).log10() - self.low) / (self.high - self.low);
        self.from + share.clamp(0.0, 1.0) * self.length
    }

    /// Values at both ends and in the middle, for the marks.
    fn marks(&self) -> [f64; 3] {
        [0.08, 0.5, 0.92].map(|share| 10f64.powf(self.low + share * (self.high - self.low)))
    }
}

fn panel(
    canvas: &mut Canvas,
    whole: &Viewport,
    corner: [usize; 2],
    name: &str,
    score: &QuantityScore,
    axis: &PlotAxis,
) {
    let points: Vec<[f64; 2]> = score
        .errors
        .iter()
        .filter_map(|judged| Some([(axis.value)(judged)?, judged.error.abs()]))
        .filter(|[along, _]| *along > 0.0)
        .collect();
    let view = Viewport::panel([PANEL_PX[0], PANEL_PX[1]], corner, 1);
    canvas.edge(&view, EDGE);
    let across = Scale::of(points.iter().map(|p| p[0]), corner[0], PANEL_PX[0]);
    let up = Scale::of(points.iter().map(|p| p[1]), corner[1], PANEL_PX[1]);
    let style = TextStyle::CAPTION.with_size_px(11.0).with_colour(DIM);
    let middle = corner[0] as f64 + 0.5 * PANEL_PX[0] as f64;
    let caption = [middle, corner[1] as f64 - 32.0];
    canvas.text(
        whole,
        caption,
        axis.words,
        &style.with_anchor(Anchor::Centre),
    );
    let head = [
        corner[0] as f64 + 6.0,
        (corner[1] + PANEL_PX[1]) as f64 - 10.0,
    ];
    canvas.text(whole, head, name, &style.with_colour(PALE));
    let (Some(across), Some(up)) = (across, up) else {
        canvas.text(
            whole,
            [middle, corner[1] as f64 + 60.0],
            "not known",
            &style.with_anchor(Anchor::Centre),
        );
        return;
    };
    for value in across.marks() {
        let place = [across.place(value), corner[1] as f64 - 14.0];
        canvas.text(
            whole,
            place,
            &mark(value),
            &style.with_anchor(Anchor::Centre),
        );
    }
    for value in up.marks() {
        let place = [corner[0] as f64 - 6.0, up.place(value)];
        canvas.text(
            whole,
            place,
            &mark(value),
            &style.with_anchor(Anchor::Right),
        );
    }
    for [along, error] in points {
        let place = [across.place(along) as usize, up.place(error) as usize];
        canvas.fill_rect(place, [2, 2], Rgb([96, 140, 160]));
    }
    let line: Vec<[f64; 2]> = (axis.bins)(score)
        .iter()
        .map(|bin| {
            let centre = (bin.from.max(f64::MIN_POSITIVE) * bin.to.max(f64::MIN_POSITIVE)).sqrt();
            [across.place(centre), up.place(bin.rms)]
        })
        .collect();
    let stroke = Stroke {
        colour: AMBER,
        ..Stroke::AMBER
    };
    if line.len() > 1 {
        canvas.polyline(whole, &line, &stroke);
    }
}

/// Two significant digits.
fn mark(value: f64) -> String {
    if (0.01..10_000.0).contains(&value) {
        let digits = (1.0 - value.log10().floor()).max(0.0) as usize;
        format!("{value:.digits$}")
    } else {
        format!("{value:.0e}")
    }
}
