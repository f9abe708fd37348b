//! Our propagation beside general-purpose Python libraries, on exactly the arrays that `benches/peers.py` writes.
//!
//! ```text
//! cargo bench --bench peers -- WORKDIR [--python PYTHON] [--runs 5] [--job masked|doughnut]   both sides in one run
//! cargo bench --bench peers -- --growth [--runs 5]       our own times against size, wavelengths, fineness, threads
//! cargo bench --bench peers -- --derivatives [--runs 5]  the Jacobian of a doughnut beside one frame
//! cargo bench --bench peers -- WORKDIR --python PYTHON --evidence FILE.json                  all of it, and memory
//! ```
//!
//! PYTHON has numpy, prysm, hcipy and poppy. Run it on a quiet machine. Nothing here decides whether a change lands: times
//! never do. Both sides get the same arrays in memory and one warm-up run, in which they make their plans.

mod growth;
#[path = "../../tests/support/npy.rs"]
mod npy;
mod plot;

use ndarray::Array2;
use num_complex::Complex;
use rayon::prelude::*;
use serde_json::{Value, json};
use skewstar::geometry::CellGrid;
use skewstar::math::{LANES, Planner, ZoomTransform, vectorised, waves};
use skewstar::propagation::{CellSum, Field, PhaseTurns, Propagator, PupilRows, Sampling, Window};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let option = |name: &str| {
        arguments
            .iter()
            .position(|a| a == name)
            .and_then(|i| arguments.get(i + 1))
            .cloned()
    };
    let runs: usize = option("--runs").and_then(|r| r.parse().ok()).unwrap_or(5);
    if arguments.iter().any(|a| a == "--growth") {
        growth::table(runs);
        return;
    }
    if arguments.iter().any(|a| a == "--derivatives") {
        growth::jacobian(runs);
        return;
    }
    if arguments.iter().any(|a| a == "--memory") {
        growth::memory();
        return;
    }
    let Some(folder) = arguments
        .first()
        .filter(|a| !a.starts_with("--"))
        .map(PathBuf::from)
    else {
        println!(
            "nothing timed: name a folder for the arrays, or --growth (see the head of benches/peers/main.rs)"
        );
        return;
    };
    let python = option("--python").unwrap_or_else(|| "python3".into());
    let printed = peers(&python, &folder, runs);
    let only = option("--job");
    let jobs = ["masked", "doughnut"];
    let asked = |job: &&str| only.as_deref().is_none_or(|only| only == *job);
    let compared: Vec<Value> = jobs
        .into_iter()
        .filter(asked)
        .map(|job| ours(&folder, job, runs, fastest(&printed, job)))
        .collect();
    if let Some(path) = option("--evidence") {
        evidence(Path::new(&path), &printed, compared, runs);
    }
}

/// Everything that is claimed of the speed, in one file, with the commit and the processor; and the picture of the growth.
fn evidence(path: &Path, printed: &str, compared: Vec<Value>, runs: usize) {
    let answer = |program: &str, arguments: &[&str]| {
        let done = Command::new(program).args(arguments).output();
        done.map_or_else(
            |_| String::new(),
            |d| String::from_utf8_lossy(&d.stdout).trim().into(),
        )
    };
    let rows = growth::table(runs);
    let jacobian = growth::jacobian(runs);
    let own = std::env::current_exe().unwrap();
    let memory = answer(&own.to_string_lossy(), &["--memory"]);
    println!("most memory of a 160-pixel masked star with seeing: {memory} MiB");
    let processor = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let processor = processor.lines().find_map(|l| {
        l.strip_prefix("model name")?
            .split(": ")
            .nth(1)
            .map(String::from)
    });
    let json = json!({
        "commit": answer("git", &["rev-parse", "HEAD"]),
        "processor": processor,
        "threads": rayon::current_num_threads(),
        "runs": runs,
        "libraries": printed.lines().collect::<Vec<_>>(),
        "compared": compared,
        "derivatives": jacobian,
        "memory_mib": memory.parse::<f64>().ok(),
        "growth": rows.iter().map(growth::Row::json).collect::<Vec<_>>(),
    });
    std::fs::write(
        path,
        format!("{}\n", serde_json::to_string_pretty(&json).unwrap()),
    )
    .unwrap();
    std::fs::write(path.with_extension("png"), plot::draw(&rows)).unwrap();
}

/// Runs the Python side and passes its lines on.
fn peers(python: &str, folder: &Path, runs: usize) -> String {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peers.py");
    let done = Command::new(python)
        .arg(script)
        .arg(folder)
        .args(["--runs", &runs.to_string()])
        .output();
    let done = done.unwrap_or_else(|error| panic!("{python}: {error}"));
    let printed = String::from_utf8_lossy(&done.stdout).into_owned();
    print!("{printed}");
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    printed
}

/// Seconds of the fastest library on a job.
fn fastest(printed: &str, job: &str) -> f64 {
    let seconds = |line: &str| {
        line.split_whitespace()
            .nth(2)
            .and_then(|s| s.parse::<f64>().ok())
    };
    let lines = printed
        .lines()
        .filter(|l| l.starts_with(job) && l.contains(" s "));
    lines.filter_map(seconds).fold(f64::INFINITY, f64::min)
}

struct Job {
    amplitude: Array2<f64>,
    /// W = −(path difference).
    lengths_m: Array2<f64>,
    json: serde_json::Value,
    /// Keeps its plans from the first run, the warm-up, as the libraries do.
    propagator: Propagator<f32>,
}

impl Job {
    fn number(&self, key: &str) -> f64 {
        self.json[key].as_f64().unwrap()
    }

    /// First open column of each row and the one after the last.
    fn spans(&self) -> Vec<Range<usize>> {
        let rows = self.amplitude.outer_iter().into_par_iter();
        rows.map(|row| {
            let first = row.iter().position(|a| *a > 0.0).unwrap_or(0);
            first..row.iter().rposition(|a| *a > 0.0).map_or(first, |l| l + 1)
        })
        .collect()
    }

    /// The Fourier transforms that [`pixels`](Self::pixels) makes, and nothing else, on one line over and over.
    fn bare_transforms(&self) {
        let samples = self.number("m") as usize;
        let wavelengths = self.json["wavelengths_nm"].as_array().unwrap().len();
        let open_rows = self.spans().iter().filter(|span| !span.is_empty()).count();
        let panels = open_rows.div_ceil(LANES) + samples.div_ceil(LANES);
        let length = ZoomTransform::<f32>::length_for(samples);
        let fft = Planner::<f32>::new(false).forward(length);
        (0..wavelengths * panels)
            .into_par_iter()
            .with_min_len(16)
            .for_each_init(
                || {
                    let room = |count| vec![Complex::new(0.0f32, 0.0); count];
                    (room(LANES * length), room(fft.get_inplace_scratch_len()))
                },
                |(lines, scratch), _| fft.process_with_scratch(lines, scratch),
            );
    }

    fn pixels(&self) -> Array2<f64> {
        let (aperture_m, ratio) = (self.number("aperture_mm") * 1e-3, self.number("f_number"));
        let (n, bin) = (self.amplitude.nrows(), self.number("bin") as usize);
        let (samples, pitch_m) = (self.number("m") as usize, self.number("pitch_um") * 1e-6);
        let edge = -0.5 * samples as f64 * pitch_m;
        let window = Window {
            columns: samples / bin,
            rows: samples / bin,
            cell_m: pitch_m * bin as f64,
            sub_samples: bin,
            corner_m: [edge, edge],
            sum: CellSum::Plain,
        };
        let wavelengths: Vec<f64> = self.json["wavelengths_nm"]
            .as_array()
            .unwrap()
            .iter()
            .map(|w| w.as_f64().unwrap() * 1e-9)
            .collect();
        let grid = CellGrid {
            count: n,
            cell_m: aperture_m / n as f64,
        };
        let spans = self.spans();
        let image = |wavelength_m: &f64| {
            let rows = Rows {
                job: self,
                spans: &spans,
                per_wavelength: 1.0 / wavelength_m,
            };
            let field = Field::<f32> {
                grid,
                rows: &rows,
                wavelength_m: *wavelength_m,
                focal_length_m: aperture_m * ratio,
                open_area_m2: 1.0,
                sampling: Sampling::Samples,
            };
            self.propagator.irradiance(&field, &window)
        };
        let at_once = if n <= 1024 { wavelengths.len() } else { 1 };
        let mut total = Array2::zeros((window.rows, window.columns));
        for together in wavelengths.chunks(at_once) {
            for light in together.par_iter().map(image).collect::<Vec<_>>() {
                total += &light;
            }
        }
        total
    }
}

/// The arrays at one wavelength.
struct Rows<'a> {
    job: &'a Job,
    spans: &'a [Range<usize>],
    per_wavelength: f64,
}

impl PupilRows<f32> for Rows<'_> {
    fn span(&self, row: usize) -> Range<usize> {
        self.spans[row].clone()
    }

    fn fill(&self, row: usize, columns: Range<usize>, turns: PhaseTurns, out: &mut [Complex<f32>]) {
        let (amplitude, lengths) = (self.job.amplitude.row(row), self.job.lengths_m.row(row));
        let (amplitude, lengths) = (amplitude.as_slice().unwrap(), lengths.as_slice().unwrap());
        let (amplitude, length) = (&amplitude[columns.clone()], &lengths[columns]);
        let turns = (turns.row, turns.columns);
        vectorised(
            #[inline(always)]
            || waves(self.per_wavelength, length, turns, None, amplitude, out),
        );
    }
}

fn ours(folder: &Path, name: &str, runs: usize, fastest_s: f64) -> Value {
    let path = |part: &str| folder.join(format!("{name}.{part}"));
    let job = Job {
        amplitude: npy::read(&path("amplitude.npy")),
        lengths_m: npy::read(&path("opd_nm.npy")).mapv(|nm| -nm * 1e-9),
        propagator: Propagator::new(false),
        json: serde_json::from_str(&std::fs::read_to_string(path("json")).unwrap()).unwrap(),
    };
    let (seconds, pixels) = median(runs, || job.pixels());
    let reference = npy::read(&path("numpy.npy"));
    let (a, b) = (&pixels / pixels.sum(), &reference / reference.sum());
    let change: f64 = a.iter().zip(&b).map(|(x, y)| (x - y).powi(2)).sum();
    let off = (change / b.iter().map(|y| y * y).sum::<f64>()).sqrt();
    let ratio = fastest_s / seconds;
    let (bare_s, ()) = median(runs, || job.bare_transforms());
    println!(
        "{name:9} {:13} {seconds:8.4} s   rel. L2 {off:.1e}",
        "skewstar"
    );
    println!("{name:9} the fastest library takes {ratio:.1} times as long");
    println!(
        "{name:9} its Fourier transforms alone: {bare_s:.4} s, {:.0} % of the time",
        100.0 * bare_s / seconds
    );
    json!({
        "job": name, "skewstar_s": seconds, "fastest_library_s": fastest_s, "ratio": growth::rounded(ratio),
        "relative_l2": off, "bare_transforms_s": bare_s,
    })
}

/// Median wall seconds after one warm-up, and the last result.
pub fn median<R>(runs: usize, mut work: impl FnMut() -> R) -> (f64, R) {
    let mut result = work();
    let mut seconds: Vec<f64> = (0..runs.max(1))
        .map(|_| {
            let start = Instant::now();
            result = work();
            start.elapsed().as_secs_f64()
        })
        .collect();
    seconds.sort_by(f64::total_cmp);
    (seconds[seconds.len() / 2], result)
}
