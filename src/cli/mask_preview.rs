//! `mask preview`: the star through the mask, and what the mask can and cannot show.

use super::args::MaskPreviewArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{finish, least_and_most, one_file, scene, stem};
use crate::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, PALE, Rgb, TextStyle, Viewport,
};
use crate::image_io::stretch::{Stretch, display};
use crate::image_io::{PictureError, png};
use crate::preview::check::MASK_CAUTIONS;
use crate::preview::view::Shows;
use crate::scene::{MaskPreview, PreviewOptions, SceneError};

/// Whether the mask has spikes that an eye is known to read.
fn has_rules(preview: &MaskPreview) -> bool {
    !preview.spikes.is_empty()
}

/// Shifts and what an eye sees, in words.
fn read_by_eye(preview: &MaskPreview, row: &Shows) -> [String; 3] {
    if !has_rules(preview) {
        return ["-", "-", "-"].map(String::from);
    }
    [
        format!("{:.2}", row.crossing_px),
        format!("{:.2}", row.separation_px),
        amount(row.eye_nm, "hidden"),
    ]
}

/// Draws the preview and prints what it shows.
pub fn run(args: &MaskPreviewArgs, console: &Console) -> Result<(), CliError> {
    let scene = scene(&args.scenario)?;
    let path = &args.scenario.scenario;
    let refused = CliError::of_scene(path);
    if scene.instrument().mask.is_none() {
        return Err(refused(SceneError::NoMask));
    }
    let interrupt = Interrupt::install()?;
    let name = format!("{}.preview.png", stem(path));
    let mut set = one_file(&args.files, &name)?;
    let shown = Progress::waiting(console, "looking through the mask");
    let options = PreviewOptions {
        eye_px: args.eye_px,
        error_nm: args.error_nm,
        depth_um: args.depth_um,
    };
    let preview = interrupt
        .or_done(move || scene.mask_preview(&options))?
        .map_err(&refused)?;
    set.put(&name, &png::rgb8(&draw(&preview)?)?)?;
    drop(shown);
    finish(set, &interrupt, console)?;
    console.answer(lines(&preview).join("\n"))?;
    console.answer_json(&preview)?;
    Ok(())
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

fn lines(preview: &MaskPreview) -> Vec<String> {
    let mut out = vec![
        preview.title.clone(),
        "What this mask can and cannot show, per 100 nm RMS:".into(),
    ];
    out.push(format!(
        "{:<21}{:>12}{:>15}{:>13}{:>12}{:>15}",
        "", "middle px", "separation px", "eye sees nm", "photons nm", "atmosphere nm"
    ));
    for row in &preview.shows {
        let [middle, separation, eye] = read_by_eye(preview, row);
        out.push(format!(
            "{:<21}{middle:>12}{separation:>15}{eye:>13}{:>12}{:>15}",
            format!("{} (Noll {})", row.name, row.noll),
            amount(row.photon_nm, "-"),
            amount(row.seeing_nm, "-")
        ));
    }
    out.push(format!("middle: middle spike against its partners' crossing; separation: parallel spikes from each other; the eye is trusted with {} px.", preview.eye_px));
    out.push("photons: the least that a program can tell in this exposure; atmosphere: what the moving atmosphere itself adds.".into());
    if !has_rules(preview) {
        out.push(
            "No rule says what an eye reads from a drawing or from holes: judge by the pictures."
                .into(),
        );
    }
    let hidden: Vec<&str> = preview
        .shows
        .iter()
        .filter(|s| has_rules(preview) && s.eye_nm.is_none_or(|n| n > 200.0))
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
    let orders: Vec<f64> = preview.spikes.iter().map(|s| s.first_order_px).collect();
    if let Some((low, high)) = least_and_most(&orders) {
        out.push(format!("The spikes reach {low:.1} to {high:.1} px to their first order, on both sides of the star."));
    }
    match &preview.exposure {
        Some(e) => out.push(format!("In focus expose about {:.3} s: the brightest pixel is then four fifths full, the spikes hold {:.0} e above {:.1} e of background.", e.time_s, e.spike_e, e.background_e)),
        None => out.push("Give [star], [exposure] and the camera's numbers for exposure, photons and atmosphere.".into()),
    }
    out.push(MASK_CAUTIONS.into());
    out
}

const GAP_PX: usize = 16;
const LINE_PX: usize = 32;
const WORDS_PX: f64 = 24.0;

fn draw(preview: &MaskPreview) -> Result<Canvas, PictureError> {
    let panels = &preview.panels;
    let (rows, columns) = panels[0].image.dim();
    let magnification = (340 / columns.max(1)).clamp(1, 5);
    let (wide, high) = (columns * magnification, rows * magnification);
    let width = (GAP_PX + panels.len() * (wide + GAP_PX)).max(1260);
    let table_px = (preview.shows.len() + 5) * LINE_PX;
    let height = table_px + high + 3 * GAP_PX + LINE_PX;
    let mut canvas = Canvas::new(width, height, BLACK)?;
    let stretch = Stretch::of(&panels[0].image);
    for (n, panel) in panels.iter().enumerate() {
        let left = GAP_PX + n * (wide + GAP_PX);
        let view = canvas.gray(
            &display(&panel.image, &stretch),
            [left, table_px + GAP_PX],
            magnification,
        );
        canvas.edge(&view, EDGE);
        let place = [left + wide / 2, table_px + high + 2 * GAP_PX + LINE_PX / 4];
        put(&mut canvas, place, &panel.caption, Anchor::Centre, AMBER);
    }
    draw_table(&mut canvas, preview, table_px);
    Ok(canvas)
}

fn draw_table(canvas: &mut Canvas, preview: &MaskPreview, table_px: usize) {
    let stops = [330, 530, 760, 960, 1180];
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
    for row in &preview.shows {
        y -= LINE_PX;
        let [middle, separation, eye] = read_by_eye(preview, row);
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
