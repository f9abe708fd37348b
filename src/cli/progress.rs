//! A bar for long work, on standard error, when that is a terminal and nobody asked for quiet. Never part of any result.

use super::console::Console;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::io::IsTerminal;
use std::time::Duration;

/// How far a piece of work has come. Threads may share it; it vanishes from the screen when dropped.
#[derive(Debug)]
pub struct Progress(ProgressBar);

impl Progress {
    /// Begins to show that `steps` steps of `what` ("frames", "wavelengths") are to be done.
    pub fn start(console: &Console, what: &str, steps: u64) -> Progress {
        Progress::with_terminal(console, what, steps, std::io::stderr().is_terminal())
    }

    /// Begins to show for how long `what` ("rendering") has been going on, where nobody counts steps.
    pub fn waiting(console: &Console, what: &str) -> Progress {
        let bar =
            ProgressBar::with_draw_target(None, target(console, std::io::stderr().is_terminal()));
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg}, {elapsed}") {
            bar.set_style(style.tick_chars("-\\|/ "));
        }
        bar.set_message(what.to_owned());
        if !bar.is_hidden() {
            bar.enable_steady_tick(TICK);
        }
        Progress(bar)
    }

    fn with_terminal(console: &Console, what: &str, steps: u64, terminal: bool) -> Progress {
        let bar = ProgressBar::with_draw_target(Some(steps), target(console, terminal));
        // Plain characters, no colour: NO_COLOR needs no special case.
        if let Ok(style) =
            ProgressStyle::with_template("{msg} {pos} of {len} [{bar:30}] {eta} left")
        {
            bar.set_style(style.progress_chars("=> "));
        }
        bar.set_message(what.to_owned());
        Progress(bar)
    }

    /// One more step is done.
    pub fn step(&self) {
        self.0.inc(1);
    }

    /// Steps done so far.
    #[cfg(test)]
    pub fn done(&self) -> u64 {
        self.0.position()
    }
}

/// How often the sign of life moves.
const TICK: Duration = Duration::from_millis(200);

fn target(console: &Console, terminal: bool) -> ProgressDrawTarget {
    if terminal && !console.quiet {
        ProgressDrawTarget::stderr()
    } else {
        ProgressDrawTarget::hidden()
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shown_only_on_a_terminal_and_not_when_quiet() {
        let (loud, quiet) = (
            Console::default(),
            Console {
                quiet: true,
                json: false,
            },
        );
        for (console, terminal) in [(loud, false), (quiet, true), (quiet, false)] {
            assert!(
                Progress::with_terminal(&console, "frames", 7, terminal)
                    .0
                    .is_hidden()
            );
        }
    }

    #[test]
    fn steps_are_counted_from_any_thread() {
        let progress = Progress::with_terminal(&Console::default(), "frames", 12, false);
        std::thread::scope(|scope| {
            for _ in 0..3 {
                scope.spawn(|| (0..4).for_each(|_| progress.step()));
            }
        });
        assert_eq!(progress.done(), 12);
    }
}
