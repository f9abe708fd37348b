//! Runs the program in a folder of its own; a failed expectation prints the command, the folder, the status and both streams.

use skewstar::image_io::fits;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// A star small enough to render in no time, in relative units. Invented.
pub const TINY: &str = r#"format = 1
title = "Tiny"
[telescope]
aperture_mm = 118.0
focal_length_mm = 590.0
[telescope.obstruction]
diameter_mm = 41.0
[assembly]
screw_circle_radius_mm = 48.0
pitch_mm_per_turn = 0.5
screws = [ { name = "A", azimuth_deg = 90.0 }, { name = "B", azimuth_deg = 210.0 }, { name = "C", azimuth_deg = 330.0 } ]
[assembly.response]
coma_nm_per_arcmin = 9.0
image_shift_um_per_arcmin = 9.0
focus_um_per_mm = 1000.0
sensor_tilt_per_tilt = 1.0
[camera]
pixel_um = 4.7
width_px = 16
height_px = 12
passband_nm = [540.0, 560.0]
wavelengths = 1
[state]
sensor_offset_um = 190.0
turns = { B = -0.07 }
"#;

/// The same through a night, in counts.
pub fn tiny_counts() -> String {
    let camera = "wavelengths = 1\nquantum_efficiency = 0.7\ngain_e_per_adu = 0.9\nbias_adu = 300.0\nread_noise_e = 1.7\n\
                  dark_e_per_s = 0.03\nfull_well_e = 30000.0\n";
    let night = "[star]\nmagnitude = 4.1\ntemperature_k = 5400.0\naltitude_deg = 61.0\n\
                 [sky]\nseeing_arcsec = 1.4\nbrightness_mag_per_arcsec2 = 19.3\n[exposure]\ntime_s = 0.4\n";
    let seeded = TINY.replacen("title", "seed = 7707\ntitle", 1);
    seeded.replace("wavelengths = 1\n", camera) + night
}

/// An empty folder in which the program is run.
pub struct Place(TempDir);

impl Place {
    pub fn new() -> Place {
        Place(tempfile::tempdir().expect("a temporary folder"))
    }

    /// With `tiny.toml` in it.
    pub fn with_tiny() -> Place {
        Place::with_file("tiny.toml", TINY)
    }

    pub fn with_file(name: &str, content: impl AsRef<[u8]>) -> Place {
        let place = Place::new();
        place.write(name, content);
        place
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        fs::write(self.path(name), content).expect("a writable folder");
    }

    pub fn read(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    pub fn text(&self, name: &str) -> String {
        String::from_utf8(self.read(name)).expect("text")
    }

    pub fn json(&self, name: &str) -> serde_json::Value {
        serde_json::from_str(&self.text(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Pixels of a FITS file, row 0 at the bottom.
    pub fn pixels(&self, name: &str) -> ndarray::Array2<f64> {
        fits::read(&self.read(name))
            .unwrap_or_else(|error| panic!("{name}: {error}"))
            .pixels
    }

    /// Every file below the folder with its content, hidden ones too; folders end with `/`.
    pub fn everything(&self) -> BTreeMap<String, Vec<u8>> {
        let mut found = BTreeMap::new();
        collect(self.0.path(), "", &mut found);
        found
    }

    pub fn names(&self) -> Vec<String> {
        self.everything().into_keys().collect()
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_skewstar"));
        command
            .args(arguments)
            .current_dir(self.0.path())
            .stdin(Stdio::null());
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Done {
        self.done(&mut self.command(arguments))
    }

    pub fn done(&self, command: &mut Command) -> Done {
        let output = command.output().expect("the program starts");
        Done::new(format!("{command:?}"), output, self.names())
    }
}

fn collect(folder: &Path, before: &str, found: &mut BTreeMap<String, Vec<u8>>) {
    for entry in fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("an entry").path();
        let name = format!(
            "{before}{}",
            path.file_name().expect("a name").to_string_lossy()
        );
        if path.is_dir() {
            found.insert(format!("{name}/"), Vec::new());
            collect(&path, &format!("{name}/"), found);
        } else {
            found.insert(name, fs::read(&path).expect("a readable file"));
        }
    }
}

/// What a run of the program left: exit status, both streams, and the names of the files that lie there now.
pub struct Done {
    pub status: Option<i32>,
    pub stdout: String,
    pub stderr: String,
    story: String,
}

impl Done {
    pub fn new(command: String, output: Output, names: Vec<String>) -> Done {
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("the program prints text");
        let (stdout, mut stderr) = (text(output.stdout), text(output.stderr));
        if cfg!(windows) {
            // there a path is shown with the system's own separator
            stderr = stderr.replace('\\', "/");
        }
        let story = format!(
            "command: {command}\nfiles: {names:?}\n{}\n--- stdout\n{stdout}\n--- stderr\n{stderr}",
            output.status
        );
        Done {
            status: output.status.code(),
            stdout,
            stderr,
            story,
        }
    }

    /// It did what was asked.
    #[track_caller]
    pub fn well(self) -> Done {
        assert_eq!(self.status, Some(0), "{}", self.story);
        self
    }

    /// It could not do it, and said so in exactly these words on standard error only.
    #[track_caller]
    pub fn refused(self, words: &str) -> Done {
        assert_eq!(self.status, Some(2), "{}", self.story);
        assert_eq!(self.stdout, "", "{}", self.story);
        assert_eq!(self.stderr, words, "{}", self.story);
        self
    }

    /// It could not do it and printed nothing on standard output.
    #[track_caller]
    pub fn unable(self) -> Done {
        assert_eq!(self.status, Some(2), "{}", self.story);
        assert_eq!(self.stdout, "", "{}", self.story);
        self
    }

    /// It could not do it; the error starts and the hint ends like this.
    #[track_caller]
    pub fn refused_like(self, start: &str, end: &str) -> Done {
        assert_eq!(self.status, Some(2), "{}", self.story);
        assert_eq!(self.stdout, "", "{}", self.story);
        let lines: Vec<&str> = self.stderr.lines().collect();
        assert_eq!(
            lines.len(),
            2,
            "an error and a hint, no more\n{}",
            self.story
        );
        assert!(
            lines[0].starts_with(&format!("error: {start}")),
            "{}",
            self.story
        );
        assert!(
            lines[1].starts_with("hint: ") && lines[1].ends_with(end),
            "{}",
            self.story
        );
        self
    }
}
