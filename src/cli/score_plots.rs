//! The picture of a score: each quantity's absolute error against electrons, seeing and size of the misalignment.
//!
//! Both axes are logarithmic, with round marks. Dots are answers; lines are of each quarter of the items: the RMS of the errors, of the photons'
//! bound and of what the atmosphere adds. One layout, drawn with two pens: pixels on black for a screen, SVG on white for a page.

use super::score_svg::SvgPen;
use crate::image_io::PictureError;
use crate::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, PALE, Rgb, STEEL, Stroke, TextStyle, Viewport,
};
use crate::score::{Judged, QuantityScore, ScoreBin, ScoreReport};

const PANEL_PX: [f64; 2] = [260.0, 170.0];
const LEFT_PX: f64 = 74.0;
const GAP_PX: f64 = 24.0;
const BELOW_PX: f64 = 46.0;
const TOP_PX: f64 = 34.0;
/// More rows than this make a picture that nobody looks at; `--json` has all.
const ROWS_AT_MOST: usize = 8;

/// What a mark of the picture stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// Titles.
    Title,
    /// Words at axes.
    Words,
    /// Borders and marks of axes.
    Edge,
    /// Answers.
    Dots,
    /// RMS error.
    Error,
    /// The photons' bound.
    Photon,
    /// What the atmosphere adds.
    Atmosphere,
}

/// What can be drawn, in pixels from the lower left corner.
pub trait Pen {
    /// Words at a place.
    fn words(&mut self, place: [f64; 2], words: &str, ink: Ink, anchor: Anchor);
    /// A box by its lower left corner and its size.
    fn frame(&mut self, corner: [f64; 2], size: [f64; 2]);
    /// A dot.
    fn dot(&mut self, place: [f64; 2]);
    /// A line through places.
    fn line(&mut self, places: &[[f64; 2]], ink: Ink);
}

/// What of a part of the items is drawn as a line.
type Height = fn(&ScoreBin) -> Option<f64>;

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

/// Draws the picture for a screen.
///
/// # Errors
/// The canvas would be too large; it never is.
pub fn draw(report: &ScoreReport) -> Result<Canvas, PictureError> {
    let [wide, tall] = size(report).map(|px| px as usize);
    let mut pen = CanvasPen(Canvas::new(wide, tall, BLACK)?);
    sheet(&mut pen, report);
    Ok(pen.0)
}

/// The same as SVG.
pub fn svg(report: &ScoreReport) -> String {
    let mut pen = SvgPen::new(size(report));
    sheet(&mut pen, report);
    pen.finish()
}

fn size(report: &ScoreReport) -> [f64; 2] {
    let rows = report.quantities.len().clamp(1, ROWS_AT_MOST) as f64;
    let (wide, tall) = (PANEL_PX[0] + LEFT_PX, PANEL_PX[1] + BELOW_PX);
    [AXES.len() as f64 * wide + GAP_PX, rows * tall + TOP_PX]
}

fn sheet(pen: &mut dyn Pen, report: &ScoreReport) {
    let height = size(report)[1];
    let words = format!(
        "Absolute error of {} of {} items",
        report.answered, report.items
    );
    pen.words([GAP_PX, height - 16.0], &words, Ink::Title, Anchor::Left);
    let legend = [
        ("RMS of a quarter", Ink::Error),
        ("photons' bound", Ink::Photon),
        ("atmosphere", Ink::Atmosphere),
    ];
    for (number, (words, ink)) in legend.into_iter().enumerate() {
        let x = 390.0 + 210.0 * number as f64;
        pen.line(&[[x, height - 12.0], [x + 22.0, height - 12.0]], ink);
        pen.words([x + 28.0, height - 16.0], words, Ink::Words, Anchor::Left);
    }
    let shown = report.quantities.iter().take(ROWS_AT_MOST);
    for (row, (name, score)) in shown.enumerate() {
        let tall = PANEL_PX[1] + BELOW_PX;
        let low = height - TOP_PX - (row + 1) as f64 * tall + BELOW_PX;
        for (column, axis) in AXES.iter().enumerate() {
            let left = column as f64 * (PANEL_PX[0] + LEFT_PX) + LEFT_PX;
            panel(pen, [left, low], name, score, axis);
        }
    }
}

/// Maps a range of logarithms to a run of pixels.
struct Scale {
    low: f64,
    high: f64,
    from: f64,
    length: f64,
}

impl Scale {
    /// Of positive values; `None` when there are none.
    fn of(values: impl Iterator<Item = f64>, from: f64, length: f64) -> Option<Scale> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.filter(|v| *v > 0.0) {
            (low, high) = (low.min(value.log10()), high.max(value.log10()));
        }
        let room = 0.06 * (high - low).max(0.3);
        (low <= high).then_some(Scale {
            low: low - room,
            high: high + room,
            from,
            length,
        })
    }

    fn place(&self, value: f64) -> f64 {
        let share = (value.max(f64::MIN_POSITIVE).log10() - self.low) / (self.high - self.low);
        self.from + share.clamp(0.0, 1.0) * self.length
    }

    /// Round values for the marks: powers of ten, with halves and fifths of them where there are few.
    fn marks(&self) -> Vec<f64> {
        let steps: [&[f64]; 3] = [&[1.0], &[1.0, 3.0], &[1.0, 2.0, 5.0]];
        let within = |steps: &[f64], each: i32| -> Vec<f64> {
            let decades = self.low.floor() as i32..=self.high.ceil() as i32;
            let all = decades
                .filter(|decade| decade.rem_euclid(each) == 0)
                .flat_map(|decade| steps.iter().map(move |step| step * 10f64.powi(decade)));
            all.filter(|v| (self.low..=self.high).contains(&v.log10()))
                .collect()
        };
        let many = [5, 4, 3, 2].map(|each| within(&[1.0], each));
        let few = steps.map(|steps| within(steps, 1));
        let fits = |marks: &&Vec<f64>| (2..=5).contains(&marks.len());
        many.iter()
            .chain(&few)
            .rfind(fits)
            .cloned()
            .unwrap_or_else(|| self.narrow())
    }

    /// Marks of a range within which no round value of the above lies twice.
    fn narrow(&self) -> Vec<f64> {
        let (from, to) = (10f64.powf(self.low), 10f64.powf(self.high));
        let step = 10f64.powf(((to - from) / 3.0).log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .map(|times| times * step)
            .into_iter()
            .find(|step| (to - from) / step <= 4.0)
            .unwrap_or(to - from);
        let first = (from / step).ceil() as i64;
        let last = (to / step).floor() as i64;
        (first..=last).map(|number| number as f64 * step).collect()
    }
}

fn panel(pen: &mut dyn Pen, corner: [f64; 2], name: &str, score: &QuantityScore, axis: &PlotAxis) {
    let points: Vec<[f64; 2]> = score
        .errors
        .iter()
        .filter_map(|judged| Some([(axis.value)(judged)?, judged.error.abs()]))
        .filter(|[along, _]| *along > 0.0)
        .collect();
    let bins = (axis.bins)(score);
    pen.frame(corner, PANEL_PX);
    let middle = corner[0] + 0.5 * PANEL_PX[0];
    let caption = [middle, corner[1] - 32.0];
    pen.words(caption, axis.words, Ink::Words, Anchor::Centre);
    let head = [corner[0] + 6.0, corner[1] + PANEL_PX[1] - 12.0];
    pen.words(head, name, Ink::Title, Anchor::Left);
    let limits = bins
        .iter()
        .flat_map(|bin| [bin.photon, bin.seeing])
        .flatten();
    let across = Scale::of(points.iter().map(|p| p[0]), corner[0], PANEL_PX[0]);
    let heights = points.iter().map(|p| p[1]).chain(limits);
    let up = Scale::of(heights, corner[1], PANEL_PX[1]);
    let (Some(across), Some(up)) = (across, up) else {
        let place = [middle, corner[1] + 60.0];
        pen.words(place, "not known", Ink::Words, Anchor::Centre);
        return;
    };
    for value in across.marks() {
        let x = across.place(value);
        pen.line(&[[x, corner[1]], [x, corner[1] + 4.0]], Ink::Edge);
        pen.words(
            [x, corner[1] - 14.0],
            &mark(value),
            Ink::Words,
            Anchor::Centre,
        );
    }
    for value in up.marks() {
        let y = up.place(value);
        pen.line(&[[corner[0], y], [corner[0] + 4.0, y]], Ink::Edge);
        let place = [corner[0] - 6.0, y];
        pen.words(place, &mark(value), Ink::Words, Anchor::Right);
    }
    for [along, error] in points {
        pen.dot([across.place(along), up.place(error)]);
    }
    let lines: [(Ink, Height); 3] = [
        (Ink::Atmosphere, |bin| bin.seeing),
        (Ink::Photon, |bin| bin.photon),
        (Ink::Error, |bin| Some(bin.rms)),
    ];
    for (ink, height) in lines {
        let place = |bin: &ScoreBin| {
            let centre = (bin.from.max(f64::MIN_POSITIVE) * bin.to.max(f64::MIN_POSITIVE)).sqrt();
            Some([across.place(centre), up.place(height(bin)?)])
        };
        let places: Option<Vec<[f64; 2]>> = bins.iter().map(place).collect();
        if let Some(places) = places.filter(|places| places.len() > 1) {
            pen.line(&places, ink);
        }
    }
}

/// A round value in few letters.
fn mark(value: f64) -> String {
    if (0.001..100_000.0).contains(&value) {
        let rounded = format!("{value:.4}");
        let short = rounded.trim_end_matches('0').trim_end_matches('.');
        short.to_owned()
    } else {
        format!("{value:.0e}")
    }
}

/// Pixels for a screen.
struct CanvasPen(Canvas);

impl Pen for CanvasPen {
    fn words(&mut self, place: [f64; 2], words: &str, ink: Ink, anchor: Anchor) {
        let whole = Viewport::whole(&self.0);
        let (size_px, colour) = match ink {
            Ink::Title => (12.0, PALE),
            _ => (11.0, DIM),
        };
        let style = TextStyle::CAPTION.with_size_px(size_px).with_colour(colour);
        self.0
            .text(&whole, place, words, &style.with_anchor(anchor));
    }

    fn frame(&mut self, corner: [f64; 2], size: [f64; 2]) {
        let whole = size.map(|px| px as usize);
        let view = Viewport::panel(whole, corner.map(|px| px as usize), 1);
        self.0.edge(&view, EDGE);
    }

    fn dot(&mut self, place: [f64; 2]) {
        self.0
            .fill_rect(place.map(|px| px as usize), [2, 2], Rgb([96, 140, 160]));
    }

    fn line(&mut self, places: &[[f64; 2]], ink: Ink) {
        let whole = Viewport::whole(&self.0);
        let colour = match ink {
            Ink::Photon => PALE,
            Ink::Atmosphere => STEEL,
            Ink::Edge => DIM,
            _ => AMBER,
        };
        let stroke = Stroke {
            colour,
            ..Stroke::AMBER
        };
        self.0.polyline(&whole, places, &stroke);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_round_and_few() {
        let marks = |low: f64, high: f64| {
            let scale = Scale::of([low, high].into_iter(), 0.0, 100.0).unwrap();
            let words: Vec<String> = scale.marks().into_iter().map(mark).collect();
            words.join(" ")
        };
        assert_eq!(marks(1e4, 8e6), "10000 1e5 1e6 1e7");
        assert_eq!(marks(0.02, 90.0), "0.1 1 10 100");
        assert_eq!(marks(1.2, 4.0), "2 3 4");
        for (low, high) in [(1e-6, 1e12), (0.9, 1.1), (3.0, 700.0), (5.0, 5.0)] {
            let found = marks(low, high);
            let count = found.split(' ').count();
            assert!((1..=6).contains(&count), "{low} {high}: {found}");
        }
    }
}
