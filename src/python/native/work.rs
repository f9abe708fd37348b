//! Work without the interpreter's lock: other Python threads go on, Ctrl-C is heard, and a process that was forked off has threads of
//! its own.

use pyo3::prelude::*;
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// How often Python is asked whether somebody pressed Ctrl-C.
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// Threads of one process. Locked only while the interpreter's lock is held, so that no fork finds it locked.
static THREADS: Mutex<Option<(u32, Arc<ThreadPool>)>> = Mutex::new(None);

/// The threads that work is done on: those of this very process, since a fork leaves threads behind.
fn threads(_py: Python<'_>) -> PyResult<Arc<ThreadPool>> {
    let own = std::process::id();
    let mut kept = THREADS.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some((process, pool)) = &*kept
        && *process == own
    {
        return Ok(pool.clone());
    }
    let pool = ThreadPoolBuilder::new()
        .thread_name(|number| format!("skewstar {number}"))
        .build()
        .map_err(|error| pyo3::exceptions::PyRuntimeError::new_err(error.to_string()))?;
    let pool = Arc::new(pool);
    // the parent's pool is not taken down: its threads are not here to answer
    std::mem::forget(kept.replace((own, pool.clone())));
    Ok(pool)
}

/// How many of them there are.
///
/// # Errors
/// The system gives no threads.
pub fn thread_count(py: Python<'_>) -> PyResult<usize> {
    Ok(threads(py)?.current_num_threads())
}

/// A flag that is raised when nobody waits for the work any more.
#[derive(Clone, Default)]
pub struct Stop(Arc<AtomicBool>);

/// What work that was given up ends with.
struct GivenUp;

impl Stop {
    /// Raises it.
    pub fn raise(&self) {
        self.0.store(true, Ordering::SeqCst);
    }

    /// Whether it is raised.
    pub fn raised(&self) -> bool {
        self.0.load(Ordering::SeqCst)
    }

    /// Ends the work from within, where it is raised; for callbacks of a library that has no other way out.
    pub fn end_if_raised(&self) {
        if self.raised() {
            resume_unwind(Box::new(GivenUp));
        }
    }
}

/// What comes of work: its result, or its panic.
pub type Outcome<T> = std::thread::Result<T>;

/// Where work is done: a thread of its own, which may wait for a slow file, and the threads of this process, which compute.
pub struct Worker {
    pool: Arc<ThreadPool>,
    stop: Stop,
}

impl Worker {
    /// Computes on the threads of this process. Whatever uses many threads goes through here: other ones do not survive a fork.
    pub fn compute<T: Send>(&self, compute: impl FnOnce(&Stop) -> T + Send) -> T {
        self.pool.install(|| compute(&self.stop))
    }
}

/// Does work without the interpreter's lock.
///
/// # Errors
/// What a signal handler raises, such as `KeyboardInterrupt`: within a moment, while the work is left to itself or ends at the next look
/// at its [`Stop`].
pub fn work<T: Send + 'static>(
    py: Python<'_>,
    work: impl FnOnce(&Worker) -> T + Send + 'static,
) -> PyResult<T> {
    let (pool, stop) = (threads(py)?, Stop::default());
    let worker = Worker {
        pool,
        stop: stop.clone(),
    };
    let (done, waiting) = channel();
    std::thread::spawn(move || {
        let outcome = catch_unwind(AssertUnwindSafe(|| work(&worker)));
        // nobody may wait any more
        let _ = done.send(outcome);
    });
    wait(py, waiting, &stop)
}

/// The same on a thread of the pool itself, without waiting: for many short pieces of work.
///
/// # Errors
/// The system gives no threads.
pub fn ahead<T: Send + 'static>(
    py: Python<'_>,
    work: impl FnOnce() -> T + Send + 'static,
) -> PyResult<Receiver<Outcome<T>>> {
    let (done, waiting) = channel();
    threads(py)?.spawn(move || {
        let _ = done.send(catch_unwind(AssertUnwindSafe(work)));
    });
    Ok(waiting)
}

/// Waits for work, without the interpreter's lock; a panic in it goes on here.
///
/// # Errors
/// As [`work()`].
pub fn wait<T: Send>(py: Python<'_>, mut done: Receiver<Outcome<T>>, stop: &Stop) -> PyResult<T> {
    loop {
        let waiting = &mut done;
        match py.detach(move || waiting.recv_timeout(LOOK_EVERY)) {
            Ok(Ok(value)) => return Ok(value),
            Ok(Err(panic)) => resume_unwind(panic),
            Err(RecvTimeoutError::Timeout) => {
                if let Err(signal) = py.check_signals() {
                    stop.raise();
                    return Err(signal);
                }
            }
            Err(RecvTimeoutError::Disconnected) => {
                return Err(pyo3::exceptions::PyRuntimeError::new_err(
                    "the work ended without a result",
                ));
            }
        }
    }
}
