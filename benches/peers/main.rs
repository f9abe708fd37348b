//! Our propagation beside general-purpose Python libraries, on exactly the arrays that `benches/peers.py` writes.
//!
//! ```text
//! cargo bench --bench peers -- WORKDIR [--python PYTHON] [--runs 5]     both sides in one run; PYTHON has numpy, prysm, hcipy, poppy
//! cargo bench --bench peers -- --growth [--runs 5]                      our own times against size, wavelengths, frame, threads
//! ```
//!
//! Run it on a quiet machine. Nothing here decides whether a change lands: times never do.

mod growth;
#[path = "../../tests/support/npy.rs"]
mod npy;

use ndarray::Array2;
use num_complex::Complex;
use rayon::prelude::*;
use skewstar::geometry::CellGrid;
use skewstar::math::waves;
use skewstar::propagation::{CellSum, Field, Sampling, Window, irradiance};
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
        growth::print(runs);
        return;
    }
    let Some(folder) = arguments
        .first()
        .filter(|a| !a.starts_with("--"))
        .map(PathBuf::from)
    else {
        println!(
            "nothing timed: name a folder for the arrays, or --growth (see the head of benches/peers.rs)"
        );
        return;
    };
    let python = option("--python").unwrap_or_else(|| "python3".into());
    let printed = peers(&python, &folder, runs);
    for job in ["masked", "doughnut"] {
        ours(&folder, job, runs, fastest(&printed, job));
    }
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
}

impl Job {
    fn number(&self, key: &str) -> f64 {
        self.json[key].as_f64().unwrap()
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
        let image = |wavelength_m: &f64| {
            let field = self.field(grid, aperture_m * ratio, *wavelength_m);
            irradiance::<f32>(&field, &window, false)
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

    fn field(&self, grid: CellGrid, focal_length_m: f64, wavelength_m: f64) -> Field<f32> {
        let flat = vec![0.0; grid.count];
        let rows = (0..grid.count)
            .into_par_iter()
            .map(|row| {
                let (amplitude, lengths) = (self.amplitude.row(row), self.lengths_m.row(row));
                let (amplitude, lengths) =
                    (amplitude.as_slice().unwrap(), lengths.as_slice().unwrap());
                let first = amplitude.iter().position(|a| *a > 0.0).unwrap_or(0);
                let last = amplitude
                    .iter()
                    .rposition(|a| *a > 0.0)
                    .map_or(first, |l| l + 1);
                let mut values = vec![Complex::new(0.0, 0.0); last - first];
                let flat = &flat[first..last];
                waves(
                    1.0 / wavelength_m,
                    &lengths[first..last],
                    [flat, flat],
                    &amplitude[first..last],
                    &mut values,
                );
                (first, values)
            })
            .collect();
        Field {
            grid,
            rows,
            wavelength_m,
            focal_length_m,
            open_area_m2: 1.0,
            sampling: Sampling::Samples,
        }
    }
}

fn ours(folder: &Path, name: &str, runs: usize, fastest_s: f64) {
    let path = |part: &str| folder.join(format!("{name}.{part}"));
    let job = Job {
        amplitude: npy::read(&path("amplitude.npy")),
        lengths_m: npy::read(&path("opd_nm.npy")).mapv(|nm| -nm * 1e-9),
        json: serde_json::from_str(&std::fs::read_to_string(path("json")).unwrap()).unwrap(),
    };
    let (seconds, pixels) = median(runs, || job.pixels());
    let reference = npy::read(&path("numpy.npy"));
    let (a, b) = (&pixels / pixels.sum(), &reference / reference.sum());
    let change: f64 = a.iter().zip(&b).map(|(x, y)| (x - y).powi(2)).sum();
    let off = (change / b.iter().map(|y| y * y).sum::<f64>()).sqrt();
    println!(
        "{name:9} {:13} {seconds:8.4} s   rel. L2 {off:.1e}",
        "skewstar"
    );
    println!(
        "{name:9} the fastest library takes {:.1} times as long",
        fastest_s / seconds
    );
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
