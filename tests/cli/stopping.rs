//! Ends that come early: a reader that stops reading, and Ctrl-C.

#[cfg(unix)]
use super::program::Done;
use super::program::{Place, TINY};
use std::process::Stdio;

#[cfg(unix)]
mod interrupts {
    use super::*;
    use std::process::{Child, Command};
    use std::time::{Duration, Instant};

    /// Minutes of work, most of them within one wavelength after the other of a large frame.
    const LONG: [&str; 6] = [
        "--set",
        "camera.width_px=900",
        "--set",
        "camera.height_px=800",
        "--set",
        "camera.wavelengths=200",
    ];
    /// Slower than this a person would press the keys again.
    const PATIENCE: Duration = Duration::from_secs(2);

    #[test]
    fn ctrl_c_leaves_nothing_behind() {
        let place = Place::with_tiny();
        let done = interrupted(&place, "render", &[], || place.path("out").exists());
        assert_eq!(done.stdout, "");
        assert_eq!(done.stderr, "error: interrupted; nothing was written\n");
        assert_eq!(place.names(), ["tiny.toml"]);
    }

    #[test]
    fn ctrl_c_keeps_an_older_set_whole() {
        let place = Place::with_tiny();
        place.run(&["render", "tiny.toml"]).well();
        let before = place.everything();
        let started = Instant::now();
        let under_way = || started.elapsed() > Duration::from_secs(2);
        interrupted(&place, "render", &["--force"], under_way);
        assert_eq!(place.everything(), before);
    }

    #[test]
    fn a_check_can_be_interrupted_too() {
        let place = Place::with_tiny();
        let started = Instant::now();
        let under_way = || started.elapsed() > Duration::from_secs(2);
        let done = interrupted(&place, "check", &[], under_way);
        assert_eq!(done.stderr, "error: interrupted; nothing was written\n");
    }

    /// Starts a long job, sends one interrupt when it is under way, and waits for the end, which must come soon.
    #[track_caller]
    fn interrupted(
        place: &Place,
        verb: &str,
        options: &[&str],
        under_way: impl Fn() -> bool,
    ) -> Done {
        let arguments = [&[verb, "tiny.toml"], options, &LONG].concat();
        let mut command = place.command(&arguments);
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let began = wait_until(Duration::from_secs(20), || under_way() || ended(&mut child));
        std::thread::sleep(Duration::from_millis(300));
        let still_running = began && !ended(&mut child);
        let sent = Command::new("kill")
            .args(["-INT", &child.id().to_string()])
            .status();
        let soon = wait_until(PATIENCE, || ended(&mut child));
        if !soon {
            child.kill().expect("our own child");
        }
        let output = child.wait_with_output().expect("an end");
        let done = Done::new(format!("{command:?}"), output, place.names());
        assert!(
            still_running,
            "ended before it was interrupted: {:?}",
            done.stderr
        );
        assert!(sent.is_ok_and(|status| status.success()), "no signal sent");
        assert!(soon, "still running {PATIENCE:?} after the signal");
        assert_eq!(done.status, Some(130));
        done
    }

    fn ended(child: &mut Child) -> bool {
        child.try_wait().expect("our own child").is_some()
    }

    fn wait_until(at_most: Duration, mut happened: impl FnMut() -> bool) -> bool {
        let start = Instant::now();
        while start.elapsed() < at_most {
            if happened() {
                return true;
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        happened()
    }
}

#[test]
fn a_closed_pipe_is_no_error() {
    let place = Place::with_file("tiny.toml", TINY);
    let asked: [&[&str]; 8] = [
        &["schema"],
        &["man"],
        &["completions", "zsh"],
        &["check", "tiny.toml"],
        &["render", "tiny.toml", "--quiet"],
        &["render", "tiny.toml", "--quiet", "--json", "--force"],
        &["new", "shed", "--quiet"],
        &["--help"],
    ];
    for arguments in asked {
        let done = place.done(place.command(arguments).stdout(closed()));
        assert_eq!(done.well().stderr, "", "{arguments:?}");
    }
    assert!(
        place.path("out/tiny.truth.json").exists(),
        "the work is done all the same"
    );
}

/// A pipe whose reader is gone before the first byte.
fn closed() -> Stdio {
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    writer.into()
}

#[cfg(unix)]
#[test]
fn the_head_of_the_schema_can_be_looked_at() {
    let place = Place::new();
    let mut shell = std::process::Command::new("bash");
    shell.args([
        "-c",
        "set -o pipefail; \"$0\" schema | head -c 10",
        env!("CARGO_BIN_EXE_skewstar"),
    ]);
    let done = place.done(&mut shell).well();
    assert_eq!((done.stdout.len(), done.stderr.as_str()), (10, ""));
}
