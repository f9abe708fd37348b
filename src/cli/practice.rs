//! `practice`: a session in one file, the star's picture beside it, the coach's words on standard output.

use super::args::{
    Common, LookArgs, PracticeArgs, PracticeStartArgs, PracticeVerb, SessionArgs, Switch,
};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::output::{OutputPlan, OutputSet};
use super::practice_questions::{question, rehearse};
use super::{finish, practice_camera, terminal};
use crate::files;
use crate::image_io::canvas::{BLACK, Canvas, PALE, Stroke, TextStyle, Viewport};
use crate::image_io::png;
use crate::image_io::stretch::{Stretch, display};
use crate::instrument::{read_turns, wrench_degrees};
use crate::practice::{
    self, Action, BENCH, BYTES_AT_MOST, Cautions, DrillReport, Eye, Level, Session, Step,
    Suggestion, lesson,
};
use crate::rng::{LARGEST_SEED, Seed};
use crate::scenario::{self, Scenario};
use ndarray::Array2;
use serde_json::json;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

/// Does what was typed. `true`: finished, but the goal was not reached.
pub fn run(args: &PracticeArgs, console: &Console) -> Result<bool, CliError> {
    match &args.what {
        PracticeVerb::Start(args) => start(args, console).map(|()| false),
        PracticeVerb::Question(args) => question(args, console).map(|()| false),
        PracticeVerb::Rehearse(args) => rehearse(args, console),
        PracticeVerb::Turn {
            screw,
            turns,
            session,
        } => {
            let action = Action::Turn {
                screw: screw.clone(),
                clockwise_turns: part_of_a_turn(turns)?,
            };
            act(session, action, console)
        }
        PracticeVerb::Focus {
            outward_um,
            session,
        } => {
            let outward_um = *outward_um;
            act(session, Action::Focus { outward_um }, console)
        }
        PracticeVerb::Mask { way, session } => act(
            session,
            Action::Mask {
                on: *way == Switch::On,
            },
            console,
        ),
        PracticeVerb::Atmosphere { way, session } => act(
            session,
            Action::Atmosphere {
                moves: *way == Switch::On,
            },
            console,
        ),
        PracticeVerb::Expose { time_s, session } => {
            act(session, Action::Expose { time_s: *time_s }, console)
        }
        PracticeVerb::Recentre(session) => act(session, Action::Recentre, console),
        PracticeVerb::Look(args) => look(args, console),
        PracticeVerb::Corners(session) => act(session, Action::Corners, console),
        PracticeVerb::ShowMe(session) => act(session, Action::ShowMe, console),
        PracticeVerb::Undo(session) => act(session, Action::Undo, console),
        PracticeVerb::Reveal(session) => act(session, Action::Finish, console),
    }
}

/// The shared options of what was typed.
pub fn common(what: &PracticeVerb) -> &Common {
    let session: &SessionArgs = match what {
        PracticeVerb::Start(args) => &args.session,
        PracticeVerb::Question(args) => return &args.common,
        PracticeVerb::Rehearse(args) => return &args.common,
        PracticeVerb::Look(args) => &args.session,
        PracticeVerb::Turn { session, .. }
        | PracticeVerb::Focus { session, .. }
        | PracticeVerb::Mask { session, .. }
        | PracticeVerb::Atmosphere { session, .. }
        | PracticeVerb::Expose { session, .. }
        | PracticeVerb::Recentre(session)
        | PracticeVerb::Corners(session)
        | PracticeVerb::ShowMe(session)
        | PracticeVerb::Undo(session)
        | PracticeVerb::Reveal(session) => session,
    };
    &session.common
}

/// A telescope to practise on, and its text: a file, or the bench.
pub fn telescope(path: Option<&PathBuf>) -> Result<(Scenario, String), CliError> {
    let (text, label) = match path {
        None => (BENCH.to_owned(), "the practice bench".to_owned()),
        Some(path) => {
            let bytes = files::text_bytes(path)?;
            // bytes that are no text are refused by the reader, with their place
            scenario::read_bytes(&bytes, &path.display().to_string(), &[])?;
            (
                String::from_utf8_lossy(&bytes).into_owned(),
                path.display().to_string(),
            )
        }
    };
    let read = scenario::read(&text, &label, &[])?;
    Ok((read, text))
}

fn start(args: &PracticeStartArgs, console: &Console) -> Result<(), CliError> {
    let level = match (&args.level, &args.session.as_camera) {
        (Some(word), _) => level(word)?,
        (None, Some(_)) => Level::Night,
        (None, None) => Level::OneScrew,
    };
    if let Some(given) = args.seed.filter(|seed| *seed > LARGEST_SEED) {
        return Err(CliError::Seed { given });
    }
    let (scenario, text) = telescope(args.scenario.as_ref())?;
    let seed = Seed(args.seed.unwrap_or_else(by_chance));
    let session = Session::new(&scenario.instrument, &scenario.state, level, seed)?;
    let interrupt = Interrupt::install()?;
    let file = SessionFile::new(&args.session.session);
    let mut set = file.plan(&[], args.force)?;
    let shown = picture(&session)?;
    set.put(&file.name, text_of(&session, &text, &file.path)?.as_bytes())?;
    put_picture(&mut set, &file.star, &shown)?;
    set.finish(&interrupt)?;
    console.note(format!("wrote {} and {}", file.path.display(), file.star));
    let mut words = vec![scenario.title, level.sentence().to_owned()];
    words.push("At a real telescope:".into());
    words.extend(Cautions::LINES.iter().map(|line| format!("- {line}")));
    console.answer(words.join("\n"))?;
    exposed(&args.session, (&session, &text), None, &interrupt, console)?;
    tell(&session, &args.session.session, None, &shown, console)
}

/// A look: once, or by a camera that goes on.
fn look(args: &LookArgs, console: &Console) -> Result<bool, CliError> {
    if let (Some(folder), Some(every_s)) = (&args.session.as_camera, args.every) {
        return practice_camera::run(args, folder, every_s, console).map(|()| false);
    }
    act_with(&args.session, Action::Look, args.card.as_deref(), console)
}

/// A frame into the folder of `--as-camera`, where that was asked for.
fn exposed(
    args: &SessionArgs,
    (session, scenario): (&Session, &str),
    card: Option<&str>,
    interrupt: &Interrupt,
    console: &Console,
) -> Result<(), CliError> {
    let Some(folder) = &args.as_camera else {
        return Ok(());
    };
    let path = practice_camera::expose(session, scenario, folder, card, interrupt)?;
    console.note(format!("exposed {}", path.display()));
    Ok(())
}

/// Does one thing in a session.
fn act(args: &SessionArgs, action: Action, console: &Console) -> Result<bool, CliError> {
    act_with(args, action, None, console)
}

/// The same with a card held over the rim in the frame of `--as-camera`.
fn act_with(
    args: &SessionArgs,
    action: Action,
    card: Option<&str>,
    console: &Console,
) -> Result<bool, CliError> {
    let file = SessionFile::new(&args.session);
    let (mut session, scenario_text) = file.read()?;
    practice_camera::known(&session, card)?;
    let done = session.act(&action)?;
    let interrupt = Interrupt::install()?;
    let finished = session.is_finished();
    let extra = [file.corners.clone(), file.path_picture.clone()];
    let extra: &[String] = match action {
        Action::Corners => &extra[..1],
        Action::Finish => &extra[1..],
        _ => &[],
    };
    let mut set = file.plan(extra, true)?;
    let shown = picture(&session)?;
    set.put(
        &file.name,
        text_of(&session, &scenario_text, &file.path)?.as_bytes(),
    )?;
    put_picture(&mut set, &file.star, &shown)?;
    if action == Action::Corners {
        put_picture(&mut set, &file.corners, &corners(&session)?)?;
    }
    if finished {
        set.put(
            &file.path_picture,
            &png::rgb8(&path_drawn(&DrillReport::new(&session))?)?,
        )?;
    }
    finish(set, &interrupt, console)?;
    exposed(args, (&session, &scenario_text), card, &interrupt, console)?;
    tell(&session, &args.session, Some(&done.words), &shown, console)?;
    Ok(finished && !session.goal_reached())
}

/// A step as it is typed after `skewstar practice`.
fn typed(step: &Step) -> String {
    match step {
        Step::Turn {
            screw,
            clockwise_turns,
            ..
        } => format!("turn {screw} {}deg", wrench_degrees(*clockwise_turns)),
        Step::Focus { outward_um } => format!("focus {outward_um:.0}"),
        Step::Recentre => "recentre".to_owned(),
        Step::Finish => "reveal".to_owned(),
    }
}

/// Says how the session in a file stands.
fn tell(
    session: &Session,
    file: &Path,
    said: Option<&str>,
    shown: &Array2<f64>,
    console: &Console,
) -> Result<(), CliError> {
    let mut lines: Vec<String> = said.map(str::to_owned).into_iter().collect();
    if session.actions().last() == Some(&Action::ShowMe) {
        lines.extend(lesson(session));
    }
    let report = session.is_finished().then(|| DrillReport::new(session));
    let assembly = session.owner().assembly.as_ref();
    // a night indoors is led by `night`, from the frames
    let suggestion = (session.level() != Level::Night).then(|| Suggestion::new(session));
    let suggestion = suggestion.flatten();
    let typed = suggestion.as_ref().map(|advice| typed(&advice.step));
    let next = match &report {
        None => suggestion
            .as_ref()
            .map(|advice| advice.next(session.owner())),
        Some(_) => None,
    };
    let advice = suggestion
        .zip(assembly)
        .map(|(advice, assembly)| advice.words(assembly));
    match &report {
        Some(report) => lines.push(report.words()),
        None => {
            lines.extend(advice.clone());
            lines.extend(typed.map(|typed| {
                format!(
                    "Type: skewstar practice {typed} --session {}",
                    file.display()
                )
            }));
        }
    }
    if terminal::shows_pictures() && !console.quiet && !console.json {
        lines.insert(
            0,
            terminal::half_blocks(&display(shown, &Stretch::of(shown))),
        );
    }
    console.answer(lines.join("\n"))?;
    console.answer_json(&json!({
        "format": "skewstar-practice-answer/1",
        "level": session.level(),
        "round": session.rounds().len() - 1,
        "cost_min": session.cost_min(),
        "said": said,
        "advice": advice,
        "next": next,
        "won": report.as_ref().map(|report| report.goal_reached),
        "report": report,
    }))?;
    Ok(())
}

/// Names of a session's files.
pub(super) struct SessionFile {
    path: PathBuf,
    name: String,
    star: String,
    corners: String,
    path_picture: String,
}

impl SessionFile {
    pub(super) fn new(path: &Path) -> Self {
        let name = path
            .file_name()
            .map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        let stem = super::stem(path);
        SessionFile {
            path: path.to_owned(),
            star: format!("{stem}.star.png"),
            corners: format!("{stem}.corners.png"),
            path_picture: format!("{stem}.path.png"),
            name,
        }
    }

    fn plan(&self, extra: &[String], force: bool) -> Result<OutputSet, CliError> {
        let mut files = vec![self.name.clone(), self.star.clone()];
        files.extend_from_slice(extra);
        Ok(OutputSet::plan(&OutputPlan {
            folder: self.path.parent().unwrap_or(Path::new("")),
            files: &files,
            truth: None,
            force,
        })?)
    }

    /// The session, and the scenario's text in it.
    pub(super) fn read(&self) -> Result<(Session, String), CliError> {
        let unreadable = |source| CliError::NoSession {
            path: self.path.clone(),
            source,
        };
        let mut text = String::new();
        let file = fs::File::open(&self.path).map_err(unreadable)?;
        file.take(BYTES_AT_MOST as u64)
            .read_to_string(&mut text)
            .map_err(unreadable)?;
        practice::read(&text).map_err(|source| CliError::Session {
            path: self.path.clone(),
            source: Box::new(source),
        })
    }
}

fn text_of(session: &Session, scenario: &str, path: &Path) -> Result<String, CliError> {
    practice::write(session, scenario).map_err(|source| CliError::Session {
        path: path.to_owned(),
        source: Box::new(source),
    })
}

pub(super) fn picture(session: &Session) -> Result<Array2<f64>, CliError> {
    let looked = Eye::new(session.instrument()).look(&session.state(), session.moment(0.0));
    looked
        .map(|picture| picture.shown())
        .map_err(CliError::Unseen)
}

fn corners(session: &Session) -> Result<Array2<f64>, CliError> {
    let mut eye = Eye::new(session.instrument());
    let looked = eye.corners(&session.state(), practice::CORNER_M, session.moment(0.0));
    looked.map_err(CliError::Unseen)
}

/// A star's picture is magnified to about this many pixels: an image viewer shows a frame of a star as a stamp.
const PICTURE_PX: usize = 500;

pub(super) fn put_picture(
    set: &mut OutputSet,
    name: &str,
    image: &Array2<f64>,
) -> Result<(), CliError> {
    let gray = display(image, &Stretch::of(image));
    let (rows, columns) = gray.dim();
    let times = (PICTURE_PX / rows.max(columns)).max(1);
    let large = Array2::from_shape_fn((rows * times, columns * times), |(row, column)| {
        gray[[row / times, column / times]]
    });
    Ok(set.put(name, &png::gray8(&large)?)?)
}

/// The error round by round, as a line, with the goal.
fn path_drawn(report: &DrillReport) -> Result<Canvas, CliError> {
    let (width, height) = (560usize, 320usize);
    let mut canvas = Canvas::new(width, height, BLACK)?;
    let view = Viewport::whole(&canvas);
    let most = report
        .rounds
        .iter()
        .map(|r| r.coma_nm)
        .fold(report.goal_coma_nm, f64::max);
    let last = report.rounds.len().saturating_sub(1).max(1) as f64;
    let place =
        |number: f64, coma_nm: f64| [60.0 + 470.0 * number / last, 50.0 + 220.0 * coma_nm / most];
    let caption = TextStyle::CAPTION;
    let line: Vec<[f64; 2]> = report
        .rounds
        .iter()
        .enumerate()
        .map(|(n, r)| place(n as f64, r.coma_nm))
        .collect();
    canvas.polyline(
        &view,
        &[
            place(0.0, report.goal_coma_nm),
            place(last, report.goal_coma_nm),
        ],
        &Stroke::PALE,
    );
    canvas.polyline(&view, &line, &Stroke::AMBER);
    for place in &line {
        canvas.cross(&view, *place, 4.0, &Stroke::AMBER);
    }
    canvas.text(
        &view,
        [60.0, 298.0],
        "Coma left after each round, nm RMS; dotted: the goal",
        &caption,
    );
    for nm in [0.0, report.goal_coma_nm, most] {
        canvas.text(
            &view,
            [12.0, place(0.0, nm)[1]],
            &format!("{nm:.0}"),
            &caption.with_colour(PALE),
        );
    }
    canvas.text(
        &view,
        [60.0, 22.0],
        &format!("0 to {last:.0} rounds"),
        &caption,
    );
    Ok(canvas)
}

pub(super) fn level(word: &str) -> Result<Level, CliError> {
    Level::of_word(word).ok_or_else(|| CliError::Level {
        given: word.to_owned(),
        known: Level::ALL.map(Level::word).join(", "),
    })
}

/// A seed that nobody chose: the time of the day, stirred.
fn by_chance() -> u64 {
    let now = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .unwrap_or_default();
    let stirred = now.as_nanos() as u64 ^ (u64::from(std::process::id()) << 32);
    stirred.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 11
}

/// 1/8, -3/64 or 0.05.
pub(super) fn part_of_a_turn(text: &str) -> Result<f64, CliError> {
    read_turns(text).ok_or_else(|| CliError::Turns {
        given: text.to_owned(),
    })
}
