//! One picture at a time, in the order of asking. A picture uses every core by itself: many at once would only take each other's
//! memory, and whoever came first would wait longest.

use super::rooms::locked;
use std::sync::{Condvar, Mutex, PoisonError};

/// Lets one through at a time.
#[derive(Debug, Default)]
pub struct Turnstile {
    /// The next number to be given out, and the one whose turn it is.
    numbers: Mutex<(u64, u64)>,
    moved: Condvar,
}

impl Turnstile {
    /// Waits for its turn, then does the work on the threads that pictures are made on.
    pub fn through<T: Send>(&self, work: impl FnOnce() -> T + Send) -> T {
        let mut numbers = locked(&self.numbers);
        let own = numbers.0;
        numbers.0 += 1;
        while numbers.1 != own {
            numbers = self
                .moved
                .wait(numbers)
                .unwrap_or_else(PoisonError::into_inner);
        }
        drop(numbers);
        let _turned = Passage(self);
        rayon::scope(|_| work())
    }
}

/// Lets the next one in, however the work ends.
struct Passage<'a>(&'a Turnstile);

impl Drop for Passage<'_> {
    fn drop(&mut self) {
        locked(&self.0.numbers).1 += 1;
        self.0.moved.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::panic::{AssertUnwindSafe, catch_unwind};
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn one_at_a_time_and_a_panic_does_not_block_it() {
        let (turnstile, inside) = (Turnstile::default(), AtomicUsize::new(0));
        let failed = catch_unwind(AssertUnwindSafe(|| {
            turnstile.through(|| panic!("on purpose"))
        }));
        assert!(failed.is_err());
        std::thread::scope(|scope| {
            for _ in 0..8 {
                scope.spawn(|| {
                    turnstile.through(|| {
                        assert_eq!(inside.fetch_add(1, Ordering::SeqCst), 0);
                        std::thread::yield_now();
                        inside.fetch_sub(1, Ordering::SeqCst);
                    });
                });
            }
        });
    }
}
