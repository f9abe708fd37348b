//! Sets: an item by its number, or one after the other with the next ones made ahead on all threads.

use super::refusal::Refusal;
use super::work::{Outcome, Stop, ahead, thread_count, wait, work};
use numpy::PyArray2;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyString};
use skewstar::dataset::{self, Item, Opening, SetError, Table, TableCell, read_secret};
use std::collections::VecDeque;
use std::ops::Range;
use std::path::PathBuf;
use std::sync::mpsc::Receiver;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// A recipe: its path, or its text with a name for messages.
#[derive(FromPyObject)]
pub struct RecipeSource {
    path: PathBuf,
    text: Option<String>,
}

/// A set that can be made.
#[pyclass(frozen, module = "skewstar._native")]
pub struct Set {
    made: Arc<Made>,
}

/// The set, and its table as soon as an item was asked for.
struct Made {
    set: dataset::Set,
    table: OnceLock<Table>,
    /// Names of the table's columns: made once, not for every item.
    names: OnceLock<Vec<Py<PyString>>>,
}

/// Counts of the frame and cells of the truth's row.
type Row = (Item, Vec<TableCell>);
/// What Python gets of an item.
type Handed<'py> = (Bound<'py, PyArray2<u16>>, Bound<'py, PyDict>);

impl Made {
    fn item(&self, number: u64) -> Result<Row, Refusal> {
        let item = self.set.make(number)?;
        let cells = self.table()?.row(&item)?;
        Ok((item, cells))
    }

    fn table(&self) -> Result<&Table, SetError> {
        match self.table.get() {
            Some(table) => Ok(table),
            None => {
                let table = Table::of(&self.set)?;
                Ok(self.table.get_or_init(|| table))
            }
        }
    }

    fn handed<'py>(&self, py: Python<'py>, (item, cells): Row) -> PyResult<Handed<'py>> {
        let truth = PyDict::new(py);
        for (name, cell) in self.names(py)?.iter().zip(cells) {
            let name = name.bind(py);
            match cell {
                TableCell::Empty => truth.set_item(name, py.None())?,
                TableCell::Number(value) => truth.set_item(name, value)?,
                TableCell::Whole(value) => truth.set_item(name, value)?,
                TableCell::Text(text) => truth.set_item(name, text)?,
            }
        }
        let counts = PyArray2::from_owned_array(py, item.frame.counts_adu);
        Ok((counts, truth))
    }

    fn names(&self, py: Python<'_>) -> PyResult<&[Py<PyString>]> {
        if let Some(names) = self.names.get() {
            return Ok(names);
        }
        let columns = self.table().map_err(Refusal::from)?.columns.iter();
        let names = columns.map(|column| PyString::intern(py, &column.name).unbind());
        Ok(self.names.get_or_init(|| names.collect()))
    }
}

#[pymethods]
impl Set {
    /// Reads recipe, scenario and secret.
    #[new]
    fn new(
        py: Python<'_>,
        recipe: RecipeSource,
        secret: Option<PathBuf>,
        portable: bool,
    ) -> PyResult<Set> {
        let set = work(py, move |_| -> Result<dataset::Set, Refusal> {
            let secret = secret.as_deref().map(read_secret).transpose()?;
            let opening = Opening {
                sealed: secret.is_some(),
                secret,
                portable,
            };
            Ok(match &recipe.text {
                None => dataset::Set::open(&recipe.path, &opening)?,
                Some(text) => dataset::Set::of_recipe(text.as_bytes(), &recipe.path, &opening)?,
            })
        })??;
        Ok(Set {
            made: Arc::new(Made {
                set,
                table: OnceLock::new(),
                names: OnceLock::new(),
            }),
        })
    }

    /// Frame and truth of an item.
    fn item<'py>(&self, py: Python<'py>, number: u64) -> PyResult<Handed<'py>> {
        let made = self.made.clone();
        let row = ahead(py, move || made.item(number))?;
        self.made.handed(py, wait(py, row, &Stop::default())??)
    }

    /// Items one after the other.
    fn items(&self, first: u64, end: u64) -> Items {
        Items {
            made: self.made.clone(),
            left: first..end,
            waiting: Mutex::default(),
            stop: Stop::default(),
        }
    }

    /// Names of the truth's columns, each with its meaning.
    fn columns(&self, py: Python<'_>) -> PyResult<Vec<(String, String)>> {
        let made = self.made.clone();
        let columns = work(py, move |worker| {
            let columns = worker.compute(|_| made.table())?.columns.iter();
            Ok::<_, SetError>(
                columns
                    .map(|column| (column.name.clone(), column.meaning.clone()))
                    .collect(),
            )
        })?;
        Ok(columns.map_err(Refusal::from)?)
    }

    /// Rows and columns of every frame.
    #[getter]
    fn shape(&self) -> (usize, usize) {
        let [columns, rows] = self.made.set.frame_px();
        (rows, columns)
    }
}

/// An item that is being made; `None` where nobody asks for it any more.
type Waiting = Receiver<Outcome<Result<Option<Row>, Refusal>>>;

/// Items one after the other; the next ones are made ahead.
#[pyclass(module = "skewstar._native")]
pub struct Items {
    made: Arc<Made>,
    left: Range<u64>,
    /// What is being made, the next item first. Only one thread at a time has the iterator: the lock is never waited for.
    waiting: Mutex<VecDeque<Waiting>>,
    stop: Stop,
}

/// Items that are made ahead for each thread: enough for the other threads to go on while the next item of the loop is a slow one.
const AHEAD: usize = 8;

impl Drop for Items {
    fn drop(&mut self) {
        self.stop.raise();
    }
}

#[pymethods]
impl Items {
    fn __iter__(this: PyRef<'_, Self>) -> PyRef<'_, Self> {
        this
    }

    fn __next__<'py>(&mut self, py: Python<'py>) -> PyResult<Option<Handed<'py>>> {
        let room = AHEAD * thread_count(py)?;
        let waiting = self
            .waiting
            .get_mut()
            .unwrap_or_else(PoisonError::into_inner);
        while waiting.len() < room
            && let Some(number) = self.left.next()
        {
            let (made, stop) = (self.made.clone(), self.stop.clone());
            waiting.push_back(ahead(py, move || {
                // nobody asks for it any more
                match stop.raised() {
                    true => Ok(None),
                    false => made.item(number).map(Some),
                }
            })?);
        }
        let Some(next) = waiting.pop_front() else {
            return Ok(None);
        };
        match wait(py, next, &self.stop)?? {
            Some(row) => Ok(Some(self.made.handed(py, row)?)),
            None => Ok(None),
        }
    }
}
