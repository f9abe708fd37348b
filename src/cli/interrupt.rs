//! Stopping by Ctrl-C (or a terminate signal) without leaving half a result behind.
//!
//! A signal only raises a flag. Long work runs on a thread of its own, beside which the flag is looked at; output looks at it
//! before files get their final names. Both then give up in the ordinary way, so that temporary files are removed. A second
//! signal ends the program at once.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, mpsc};
use std::thread;
use std::time::Duration;
use thiserror::Error;

/// Exit status of an interrupted program.
pub const EXIT_INTERRUPTED: i32 = 130;

/// How often the flag is looked at while work goes on.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// The user asked the program to stop. Nothing was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("interrupted; nothing was written")]
pub struct Interrupted;

/// A flag that a signal raises. Clones share it.
#[derive(Debug, Clone, Default)]
pub struct Interrupt(Arc<AtomicBool>);

impl Interrupt {
    /// A flag that nothing raises by itself.
    pub fn new() -> Interrupt {
        Interrupt::default()
    }

    /// A flag raised by Ctrl-C. The first signal raises it, the second ends the program with status 130, which may leave
    /// hidden temporary files behind.
    ///
    /// # Errors
    /// The system's refusal, or that this was called twice in one program.
    pub fn install() -> Result<Interrupt, ctrlc::Error> {
        let interrupt = Interrupt::new();
        let raised = interrupt.clone();
        ctrlc::set_handler(move || {
            if raised.0.swap(true, Ordering::SeqCst) {
                std::process::exit(EXIT_INTERRUPTED);
            }
        })?;
        Ok(interrupt)
    }

    /// Raises the flag, as a signal does.
    #[cfg(test)]
    pub fn raise(&self) {
        self.0.store(true, Ordering::SeqCst);
    }

    /// The flag itself, for lower layers that know nothing of the command line.
    pub fn flag(&self) -> &AtomicBool {
        &self.0
    }

    /// Does long work that writes nothing; gives up within a moment when the flag is raised.
    ///
    /// The work need not look at the flag, and so no layer below has to know of it: given up, it is left to itself and ends
    /// with the program. A panic in it goes on here.
    ///
    /// # Errors
    /// [`Interrupted`] once the flag is raised before the work is done.
    pub fn or_done<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Interrupted> {
        let (running, finished) = mpsc::channel::<()>();
        let worker = thread::spawn(move || {
            let _until_the_end = running;
            work()
        });
        while finished.recv_timeout(LOOK_EVERY) == Err(mpsc::RecvTimeoutError::Timeout) {
            self.check()?;
        }
        Ok(worker
            .join()
            .unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    }

    /// Gives up when the flag is raised.
    ///
    /// # Errors
    /// [`Interrupted`] once it is.
    pub fn check(&self) -> Result<(), Interrupted> {
        if self.0.load(Ordering::SeqCst) {
            Err(Interrupted)
        } else {
            Ok(())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_raised_flag_is_seen_by_every_clone() {
        let interrupt = Interrupt::new();
        let elsewhere = interrupt.clone();
        assert_eq!(elsewhere.check(), Ok(()));
        interrupt.raise();
        assert_eq!(elsewhere.check(), Err(Interrupted));
        assert!(elsewhere.flag().load(Ordering::SeqCst));
    }

    #[test]
    fn work_that_is_done_gives_its_result_and_work_that_is_not_is_given_up() {
        let interrupt = Interrupt::new();
        assert_eq!(interrupt.or_done(|| 6 * 7), Ok(42));
        let (go_on, waiting) = mpsc::channel::<()>();
        let elsewhere = interrupt.clone();
        let endless = move || {
            elsewhere.raise();
            waiting.recv()
        };
        assert_eq!(interrupt.or_done(endless), Err(Interrupted));
        drop(go_on);
    }

    #[test]
    #[should_panic(expected = "in the work")]
    fn a_panic_in_the_work_is_not_swallowed() {
        let _never = Interrupt::new().or_done(|| panic!("in the work"));
    }

    #[cfg(unix)]
    #[test]
    fn a_signal_raises_the_flag_and_the_program_goes_on() {
        let interrupt = Interrupt::install().unwrap();
        assert_eq!(interrupt.check(), Ok(()));
        let kill = format!("kill -INT {}", std::process::id());
        let sent = std::process::Command::new("sh")
            .args(["-c", &kill])
            .status()
            .unwrap();
        assert!(sent.success());
        let raised = (0..500).any(|_| {
            std::thread::sleep(std::time::Duration::from_millis(10));
            interrupt.check().is_err()
        });
        assert!(raised, "no flag within five seconds of the signal");
        assert!(
            Interrupt::install().is_err(),
            "only one handler for a program"
        );
    }
}
