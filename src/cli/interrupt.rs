//! Stopping by Ctrl-C (or a terminate signal) without leaving half a result behind.
//!
//! A signal only raises a flag. Long work looks at it now and then, and output looks at it before files get their final names;
//! both then give up in the ordinary way, so that temporary files are removed. A second signal ends the program at once.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use thiserror::Error;

/// Exit status of an interrupted program.
pub const EXIT_INTERRUPTED: i32 = 130;

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
    pub fn raise(&self) {
        self.0.store(true, Ordering::SeqCst);
    }

    /// The flag itself, for lower layers that know nothing of the command line.
    pub fn flag(&self) -> &AtomicBool {
        &self.0
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
