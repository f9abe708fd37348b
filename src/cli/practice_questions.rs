//! What is practised without a session: one star with a question, and many drills by simulated beginners.

use super::args::{QuestionArgs, RehearseArgs};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::practice::{level, part_of_a_turn, picture, put_picture, telescope};
use super::{finish, one_file};
use crate::practice::{self, Guess, Level, Player, Question};
use crate::rng::{LARGEST_SEED, Seed};
use crate::scenario::Scenario;
use serde_json::json;

/// Asks one question, or grades its answer.
pub(super) fn question(args: &QuestionArgs, console: &Console) -> Result<(), CliError> {
    if args.seed > LARGEST_SEED {
        return Err(CliError::Seed { given: args.seed });
    }
    let (scenario, _) = telescope(args.scenario.as_ref())?;
    let question = Question::draw(&scenario.instrument, &scenario.state, Seed(args.seed))?;
    if let (Some(screw), Some(turns)) = (&args.screw, &args.turns) {
        let grade = question.grade(&Guess {
            screw: screw.clone(),
            clockwise_turns: part_of_a_turn(turns)?,
        });
        let grade = grade.map_err(CliError::Refused)?;
        console.answer(format!(
            "{} points of 100. {}",
            grade.points().round(),
            grade.words
        ))?;
        console.answer_json(&json!({ "format": "skewstar-grade/1", "points": grade.points(), "words": grade.words }))?;
        return Ok(());
    }
    let name = format!("question-{}.png", args.seed);
    let interrupt = Interrupt::install()?;
    let mut set = one_file(&args.files, &name)?;
    put_picture(&mut set, &name, &picture(question.session())?)?;
    finish(set, &interrupt, console)?;
    let screws: Vec<String> = practice::front_screws(&scenario.instrument)
        .iter()
        .map(|screw| format!("{} at {} o'clock", screw.name, screw.hour))
        .collect();
    console.answer(format!(
        "One screw is out. Seen from the front the screws are: {}. Which one, which way, how much? Answer with\n  skewstar practice question --seed {} --screw NAME --turns 1/8   (clockwise facing its head; -1/8 for anticlockwise)",
        screws.join(", "),
        args.seed
    ))?;
    console.answer_json(&json!({ "format": "skewstar-question/1", "seed": args.seed, "file": name, "screws": practice::front_screws(&scenario.instrument) }))?;
    Ok(())
}

/// Share of drills that a beginner must put right.
const BEGINNER_SHARE: f64 = 0.9;

/// Plays many drills; `true` where a beginner who follows the words does not put enough of them right.
pub(super) fn rehearse(args: &RehearseArgs, console: &Console) -> Result<bool, CliError> {
    let (scenario, _) = telescope(args.scenario.as_ref())?;
    let levels = match &args.level {
        Some(word) => vec![level(word)?],
        None => Level::DRILLS.to_vec(),
    };
    let interrupt = Interrupt::install()?;
    let mut failed = false;
    let mut rows = Vec::new();
    for level in levels {
        let mut shares = Vec::new();
        for player in [Player::Beginner, Player::Random] {
            let (job, count) = (scenario.clone(), args.count);
            let good = interrupt.or_done(move || rehearsed(&job, level, count, player))??;
            shares.push(good as f64 / args.count as f64);
        }
        failed |= shares[0] < BEGINNER_SHARE || shares[1] >= 0.5;
        console.answer(format!(
            "{:17} beginner who follows the words: {:5.1} %   at random: {:5.1} %   of {} drills in at most twice the shortest way",
            level.word(),
            100.0 * shares[0],
            100.0 * shares[1],
            args.count
        ))?;
        rows.push(json!({ "level": level, "beginner_share": shares[0], "random_share": shares[1], "drills": args.count }));
    }
    console.answer_json(&json!({ "format": "skewstar-rehearsal/1", "levels": rows }))?;
    Ok(failed)
}

fn rehearsed(
    scenario: &Scenario,
    level: Level,
    count: u64,
    player: Player,
) -> Result<usize, CliError> {
    use rayon::prelude::*;
    let played: Result<Vec<bool>, practice::SetupError> = (0..count)
        .into_par_iter()
        .map(|seed| {
            practice::play(
                &scenario.instrument,
                &scenario.state,
                level,
                Seed(seed),
                player,
            )
            .map(|a| a.is_good())
        })
        .collect();
    Ok(played?.into_iter().filter(|good| *good).count())
}
