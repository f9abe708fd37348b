//! `mask preview`: the star through the mask, and what the mask can and cannot show.

use super::args::MaskPreviewArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{finish, least_and_most, load, one_file, stem};
use crate::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, PALE, Rgb, TextStyle, Viewport,
};
use crate::image_io::stretch::{Stretch, display};
use crate::image_io::{PictureError, png};
use crate::predict::{Expected, Model, PredictError, Settings, critical_focus_m};
use crate::preview::view::{PreviewExposure, Shows, SpikePlace, exposure, places, table};
use crate::scenario::Scenario;
use crate::state::{Modes, State};
use crate::units::{NM, UM};
use ndarray::Array2;
use serde::Serialize;

/// What `--json` prints.
#[derive(Debug, Serialize)]
struct PreviewOutput {
    format: &'static str,
    title: String,
    eye_px: f64,
    depth_um: f64,
    error_nm: f64,
    shows: Vec<Shows>,
    spikes: Vec<SpikePlace>,
    exposure: Option<PreviewExposure>,
}

impl PreviewOutput {
    /// Whether the mask has spikes that an eye is known to read.
    fn has_rules(&self) -> bool {
        !self.spikes.is_empty()
    }

    /// Shifts and what an eye sees, in words.
    fn read_by_eye(&self, row: &Shows) -> [String; 3] {
        if !self.has_rules() {
            return ["-", "-", "-"].map(String::from);
        }
        [
            format!("{:.2}", row.crossing_px),
            format!("{:.2}", row.separation_px),
            amount(row.eye_nm, "hidden"),
        ]
    }
}

/// A star and its caption.
type PreviewPanel = (String, Array2<f64>);

pub fn run(args: &MaskPreviewArgs, printer: &Console) -> Result<(), CliError> {
    let scenario = load(&args.scenario)?;
    let path = args.scenario.scenario.clone();
    if scenario.instrument.mask.is_none() {
        return Err(CliError::NoMask { path });
    }
    let interrupt = Interrupt::install()?;
    let name = format!("{}.preview.png", stem(&path));
    let mut set = one_file(&args.files, &name)?;
    let settings = Settings {
        bound: true,
        ..args.scenario.settings()
    };
    let shown = Progress::waiting(printer, "looking through the mask");
    let (eye_px, error_nm, depth_um) = (args.eye_px, args.error_nm, args.depth_um);
    let (answer, panels) = interrupt
        .or_done(move || prepare(&scenario, [eye_px, error_nm], depth_um, settings))?
        .map_err(|source| CliError::Predict { path, source })?;
    set.put(&name, &png::rgb8(&draw(&answer, &panels)?)?)?;
    drop(shown);
    finish(set, &interrupt, printer)?;
    printer.answer(lines(&answer).join("\n"))?;
    printer.answer_json(&answer)?;
    Ok(())
}

fn prepare(
    scenario: &Scenario,
    [eye_px, error_nm]: [f64; 2],
    depth_um: Option<f64>,
    settings: Settings,
) -> Result<(PreviewOutput, Vec<PreviewPanel>), PredictError> {
    let instrument = &scenario.instrument;
    let state = State {
        mask_on: true,
        sensor_offset_m: 0.0,
        // the mask is judged on an aligned telescope
        turns: vec![0.0; scenario.state.turns.len()],
        modes: Modes::none(),
        ..scenario.state.clone()
    };
    let model = Model::new(instrument, &state, settings)?;
    let zone_m = critical_focus_m(model.reference_m, instrument.telescope.focal_ratio());
    let depth_um = depth_um.unwrap_or(4.0 * zone_m / UM);
    let star = |offset_um: f64, mode: Option<u32>| -> Result<Expected, PredictError> {
        let mut own = State {
            sensor_offset_m: offset_um * UM,
            ..state.clone()
        };
        if let Some(noll) = mode {
            own.modes.add(noll, error_nm * NM);
        }
        Expected::new(
            &Model::new(instrument, &own, settings)?,
            instrument,
            &own,
            settings,
        )
    };
    let focus = star(0.0, None)?;
    let panels = vec![
        ("at focus".to_owned(), focus.image.clone()),
        (
            format!("{depth_um:.0} um inside"),
            star(-depth_um, None)?.image,
        ),
        (
            format!("{depth_um:.0} um outside"),
            star(depth_um, None)?.image,
        ),
        (format!("coma {error_nm:.0} nm"), star(0.0, Some(7))?.image),
        (
            format!("astigmatism {error_nm:.0} nm"),
            star(0.0, Some(6))?.image,
        ),
    ];
    let answer = PreviewOutput {
        format: "skewstar-mask-preview/1",
        title: scenario.title.clone(),
        eye_px,
        depth_um,
        error_nm,
        shows: table(instrument, &state, eye_px, settings)?,
        spikes: places(instrument, model.reference_m),
        exposure: exposure(instrument, &state, &focus),
    };
    Ok((answer, panels))
}

fn amount(value: Option<f64>, missing: &str) -> String {
    value.map_or(missing.to_owned(), |v| {
        if v < 10.0 {
            format!("{v:.2}")
        } else {
            format!("{v:.0}")
        }
    })
}

fn lines(answer: &PreviewOutput) -> Vec<String> {
    let mut out = vec![
        answer.title.clone(),
        "What this mask can and cannot show, per 100 nm RMS:".into(),
    ];
    out.push(format!(
        "{:<21}{:>12}{:>12}{:>12}{:>12}{:>12}",
        "", "middle px", "separation px", "eye sees nm", "photons nm", "atmosphere nm"
    ));
    for row in &answer.shows {
        let [middle, separation, eye] = answer.read_by_eye(row);
        out.push(format!(
            "{:<21}{middle:>12}{separation:>12}{eye:>12}{:>12}{:>12}",
            format!("{} (Noll {})", row.name, row.noll),
            amount(row.photon_nm, "-"),
            amount(row.seeing_nm, "-")
        ));
    }
    out.push(format!("middle: middle spike against its partners' crossing; separation: parallel spikes from each other; the eye is trusted with {} px.", answer.eye_px));
    out.push("photons: the least that a program can tell in this exposure; atmosphere: what the moving atmosphere itself adds.".into());
    if !answer.has_rules() {
        out.push(
            "No rule says what an eye reads from a drawing or from holes: judge by the pictures."
                .into(),
        );
    }
    let hidden: Vec<&str> = answer
        .shows
        .iter()
        .filter(|s| answer.has_rules() && s.eye_nm.is_none_or(|n| n > 200.0))
        .map(|s| s.name)
        .collect();
    if !hidden.is_empty() {
        let mut names = hidden.clone();
        names.dedup();
        out.push(format!(
            "An eye will miss 200 nm or more of: {}. `skewstar mask tune` looks for a mask that shows coma and focus.",
            names.join(", ")
        ));
    }
    let orders: Vec<f64> = answer.spikes.iter().map(|s| s.first_order_px).collect();
    if let Some((low, high)) = least_and_most(&orders) {
        out.push(format!("The spikes reach {low:.1} to {high:.1} px to their first order, on both sides of the star."));
    }
    match &answer.exposure {
        Some(e) => out.push(format!("In focus expose about {:.3} s: the brightest pixel is then four fifths full, the spikes hold {:.0} e above {:.1} e of background.", e.time_s, e.spike_e, e.background_e)),
        None => out.push("Give [star], [exposure] and the camera's numbers for exposure, photons and atmosphere.".into()),
    }
    out.push(super::mask::CAUTIONS.into());
    out
}

const GAP_PX: usize = 16;
const LINE_PX: usize = 32;
const WORDS_PX: f64 = 24.0;

fn draw(answer: &PreviewOutput, panels: &[PreviewPanel]) -> Result<Canvas, PictureError> {
    let (rows, columns) = panels[0].1.dim();
    let magnification = (340 / columns.max(1)).clamp(1, 5);
    let (wide, high) = (columns * magnification, rows * magnification);
    let width = (GAP_PX + panels.len() * (wide + GAP_PX)).max(1260);
    let table_px = (answer.shows.len() + 5) * LINE_PX;
    let height = table_px + high + 3 * GAP_PX + LINE_PX;
    let mut canvas = Canvas::new(width, height, BLACK)?;
    let stretch = Stretch::of(&panels[0].1);
    for (n, (words, image)) in panels.iter().enumerate() {
        let left = GAP_PX + n * (wide + GAP_PX);
        let view = canvas.gray(
            &display(image, &stretch),
            [left, table_px + GAP_PX],
            magnification,
        );
        canvas.edge(&view, EDGE);
        let place = [left + wide / 2, table_px + high + 2 * GAP_PX + LINE_PX / 4];
        put(&mut canvas, place, words, Anchor::Centre, AMBER);
    }
    draw_table(&mut canvas, answer, table_px);
    Ok(canvas)
}

fn draw_table(canvas: &mut Canvas, answer: &PreviewOutput, table_px: usize) {
    let stops = [330, 530, 760, 980, 1150];
    let mut y = table_px - LINE_PX;
    let heads = [
        "middle px",
        "separation px",
        "eye sees nm",
        "photons nm",
        "atmosphere nm",
    ];
    put(canvas, [GAP_PX, y], "per 100 nm RMS", Anchor::Left, DIM);
    for (x, words) in stops.iter().zip(heads) {
        put(canvas, [x + 60, y], words, Anchor::Right, DIM);
    }
    for row in &answer.shows {
        y -= LINE_PX;
        let [middle, separation, eye] = answer.read_by_eye(row);
        let cells = [
            middle,
            separation,
            eye,
            amount(row.photon_nm, "–"),
            amount(row.seeing_nm, "–"),
        ];
        put(
            canvas,
            [GAP_PX, y],
            &format!("{} {}", row.name, row.noll),
            Anchor::Left,
            PALE,
        );
        for (n, (x, words)) in stops.iter().zip(&cells).enumerate() {
            let colour = if n == 2 { AMBER } else { PALE };
            put(canvas, [x + 60, y], words, Anchor::Right, colour);
        }
    }
    let foot = [
        "middle: middle spike against its partners' crossing; separation: parallel spikes from each other",
        "A mask is no solar filter. Take it off before slewing.",
    ];
    for words in foot {
        y -= LINE_PX;
        put(canvas, [GAP_PX, y], words, Anchor::Left, DIM);
    }
}

pub(super) fn put(
    canvas: &mut Canvas,
    place: [usize; 2],
    words: &str,
    anchor: Anchor,
    colour: Rgb,
) {
    let style = TextStyle::CAPTION
        .with_size_px(WORDS_PX)
        .with_anchor(anchor)
        .with_colour(colour);
    let whole = Viewport::whole(canvas);
    canvas.text(&whole, place.map(|p| p as f64), words, &style);
}
