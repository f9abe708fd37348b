//! What cannot be done is refused with exit status 2, in words that name the file, the key, the value, what is allowed and the
//! next step, and nothing is left behind. (The words of every kind of bad scenario are pinned in `scenarios.rs`.)

use super::program::{Done, Place, TINY, tiny_counts};
use std::time::{Duration, Instant};

/// What is refused before the work starts must not take longer than this, on a busy machine.
const UP_FRONT: Duration = Duration::from_secs(5);

#[track_caller]
fn render(place: &Place, options: &[&str]) -> Done {
    let before = place.everything();
    let start = Instant::now();
    let done = place.run(&[&["render", "tiny.toml"], options].concat());
    assert!(start.elapsed() < UP_FRONT, "took {:?}", start.elapsed());
    assert!(
        place.everything() == before,
        "something was left: {:?}",
        place.names()
    );
    done
}

/// The words of a refused `--set`, after the file and the argument.
#[track_caller]
fn set_refused(set: &str, words: &str, hint: &str) {
    let text = format!("error: tiny.toml: --set {set}: {words}\nhint: {hint}\n");
    render(&Place::with_tiny(), &["--set", set]).refused(&text);
}

#[test]
fn a_file_in_the_place_of_the_folder() {
    let place = Place::with_tiny();
    place.write("out", "a file");
    for out in ["out", "out/below"] {
        render(&place, &["--out", out])
            .refused("error: out is not a folder\nhint: choose another folder with --out DIR\n");
    }
}

#[test]
fn a_folder_in_the_place_of_a_file() {
    let place = Place::with_tiny();
    std::fs::create_dir_all(place.path("out/tiny.png")).expect("folders");
    render(&place, &["--force"]).refused(
        "error: out/tiny.png is a folder, and a file of that name is to be written\n\
         hint: move the folder away, or choose another place with --out DIR\n",
    );
}

#[test]
fn a_scenario_that_cannot_be_read() {
    // What the system says in between is not ours to pin.
    for verb in ["render", "check"] {
        let place = Place::new();
        let hint = "is the path right? skewstar new NAME writes a scenario to start from, skewstar dataset make a set";
        place
            .run(&[verb, "nowhere.toml"])
            .refused_like("cannot read nowhere.toml: ", hint);
        place
            .run(&[verb, "."])
            .refused_like("cannot read .: ", hint);
        assert!(place.names().is_empty());
    }
}

#[test]
fn a_scenario_that_is_none() {
    let all_bytes: Vec<u8> = (0..=255).collect();
    let ten_megabytes = b"# x\n".repeat(2_500_000);
    let texts: [(&[u8], &str); 4] = [
        (
            b"",
            "error: tiny.toml: the text holds no key\nhint: `skewstar new NAME` writes a scenario to fill in\n",
        ),
        (
            b"# nothing yet\n",
            "error: tiny.toml: the text holds no key\nhint: `skewstar new NAME` writes a scenario to fill in\n",
        ),
        (
            &all_bytes,
            "error: tiny.toml: this is not UTF-8 text: byte 128 cannot be read\n\
             hint: a scenario is a plain text file; is this a picture, or text in another encoding?\n",
        ),
        (
            &ten_megabytes,
            "error: tiny.toml has more than 1048576 bytes: that is no scenario\nhint: give the .toml file, not a picture\n",
        ),
    ];
    for (bytes, words) in texts {
        render(&Place::with_file("tiny.toml", bytes), &[]).refused(words);
    }
}

#[test]
fn a_slip_in_the_file_is_shown_with_its_line() {
    let slip = TINY.replace("pixel_um", "pixel_nm");
    render(&Place::with_file("tiny.toml", slip), &[]).refused(
        "error: tiny.toml:18:1: camera.pixel_nm is not a key of [camera]\nhint: did you mean camera.pixel_um?\n",
    );
    let wide = TINY.replace("diameter_mm = 41.0", "diameter_mm = 118.5");
    render(&Place::with_file("tiny.toml", wide), &[]).refused(
        "error: tiny.toml:7:1: telescope.obstruction.diameter_mm is 118.5, but must be smaller than \
         telescope.aperture_mm (118)\n\
         hint: it is the diameter of the central disc, usually 15 to 45 % of the aperture\n",
    );
}

#[test]
fn a_value_that_is_not_allowed() {
    let diameter = "Diameter of the clear opening. For example 190.0";
    for value in ["-118", "0", "1e300", "1e999", "nan"] {
        let words =
            format!("telescope.aperture_mm is {value}, but must be a number from 1 to 20000");
        set_refused(&format!("telescope.aperture_mm={value}"), &words, diameter);
    }
    set_refused(
        "telescope.aperture_mm=\"wide\"",
        "telescope.aperture_mm is \"wide\", but must be a number from 1 to 20000",
        "write the number without quotes",
    );
    set_refused(
        "telescope.obstruction.diameter_mm=-41",
        "telescope.obstruction.diameter_mm is -41, but must be a number from 0 to 20000",
        "Diameter of the disc, or the side when the shape is square; smaller than the aperture; 0 for none. For example 81.0",
    );
    set_refused(
        "camera.width_px=20.5",
        "camera.width_px is 20.5, but must be a whole number from 1 to 16384",
        "write the number without a point or an exponent",
    );
}

#[test]
fn a_setting_that_means_nothing() {
    let form = "write KEY=VALUE, for example telescope.vanes[0].width_mm=5";
    set_refused(
        "camera.width_px",
        "no = after the key camera.width_px",
        form,
    );
    set_refused("=3", "a part of the key is empty", form);
    set_refused(
        "camera.widht_px=20",
        "camera.widht_px is not a key of [camera]",
        "did you mean camera.width_px?",
    );
    render(&Place::with_tiny(), &["--set", "camera.width_px=twenty"]).refused_like(
        "tiny.toml: --set camera.width_px=twenty: the value of camera.width_px is not TOML",
        "(and all of it in single quotes for the shell)",
    );
}

#[test]
fn a_frame_of_a_million_pixels_a_side() {
    set_refused(
        "camera.width_px=1000000",
        "camera.width_px is 1000000, but must be a whole number from 1 to 16384",
        "Number of columns; with the rows at most 40 million pixels. For example 160",
    );
    let square = TINY
        .replace("width_px = 16", "width_px = 10000")
        .replace("height_px = 12", "height_px = 10000");
    render(&Place::with_file("tiny.toml", square), &[]).refused(
        "error: tiny.toml:20:1: camera.height_px is 10000, but must be at most 4000 for camera.width_px 10000 \
         (40 million pixels)\n\
         hint: a star needs a few hundred pixels each way; cut the frame out around it\n",
    );
}

#[test]
fn a_star_that_would_not_fit_in_memory() {
    let place = Place::with_tiny();
    let huge = [
        "--set",
        "camera.width_px=6000",
        "--set",
        "camera.height_px=6000",
        "--set",
        "camera.pixel_um=20",
    ];
    render(&place, &huge).refused_like(
        "tiny.toml: this star needs about ",
        "make the frame smaller (camera.width_px, camera.height_px) or the defocus less; a whole sensor of stars is for skewstar field",
    );
    // Far out of focus, and screws so near to each other that a turn tilts the unit beyond all numbers.
    for set in [
        "state.sensor_offset_um=59000",
        "assembly.screw_circle_radius_mm=1e-9",
        "assembly.screw_circle_radius_mm=1e-300",
    ] {
        let far = render(&place, &["--set", set]);
        far.refused_like(
            "tiny.toml: this star needs about ",
            "a whole sensor of stars is for skewstar field",
        );
    }
}

#[test]
fn nothing_of_the_aperture_is_open() {
    let covered = TINY.replace(
        "[assembly]\n",
        "[[telescope.vanes]]\nazimuth_deg = 0.0\nwidth_mm = 117.99\n[[telescope.vanes]]\nazimuth_deg = 180.0\nwidth_mm = 117.99\n\
         [[telescope.vanes]]\nazimuth_deg = 90.0\nwidth_mm = 117.99\n[[telescope.vanes]]\nazimuth_deg = 270.0\nwidth_mm = 117.99\n\
         [assembly]\n",
    );
    render(&Place::with_file("tiny.toml", covered), &[]).refused(
        "error: tiny.toml: no light passes: the obstruction, vanes and mask cover the whole aperture\n\
         hint: make the obstruction smaller than the aperture, or take the mask off (state.mask_on = false)\n",
    );
}

#[test]
fn a_passband_whose_only_wavelength_lies_in_a_gap() {
    let gap = TINY.replace(
        "passband_nm = [540.0, 560.0]",
        "passband_table = [ { nm = 500.0, transmission = 1.0 }, { nm = 501.0, transmission = 0.0 }, \
         { nm = 599.0, transmission = 0.0 }, { nm = 600.0, transmission = 1.0 } ]",
    );
    render(&Place::with_file("tiny.toml", &gap), &[]).refused(
        "error: tiny.toml: the passband has no transmission at any of its 1 wavelengths\n\
         hint: raise camera.wavelengths, or give the passband table entries with transmission above 0\n",
    );
    let place = Place::with_file("tiny.toml", &gap);
    let fine = ["render", "tiny.toml", "--set", "camera.wavelengths=100"];
    place.run(&fine).well();
}

#[test]
fn noise_without_a_seed() {
    let unseeded = tiny_counts().replace("seed = 7707\n", "");
    render(&Place::with_file("tiny.toml", &unseeded), &[]).refused(
        "error: tiny.toml: seed is missing, and the noise of [star] and [exposure] needs one\n\
         hint: add a line such as seed = 20417 at the top, or --set seed=20417\n",
    );
    let place = Place::with_file("tiny.toml", &unseeded);
    place
        .run(&["render", "tiny.toml", "--set", "seed=0"])
        .well();
    assert_eq!(place.json("out/tiny.truth.json")["seed"], 0);
}

#[test]
fn words_that_are_no_command() {
    let place = Place::with_tiny();
    let typed: [&[&str]; 5] = [
        &[],
        &["rendr", "tiny.toml"],
        &["render"],
        &["render", "tiny.toml", "--forse"],
        &["new", "shed", "--kind", "binoculars"],
    ];
    for arguments in typed {
        let done = place.run(arguments);
        assert_eq!(done.status, Some(2), "{arguments:?}");
        assert_eq!(done.stdout, "", "{arguments:?}");
        assert!(done.stderr.contains("Usage: skewstar") || done.stderr.contains("--help"));
    }
    assert_eq!(place.names(), ["tiny.toml"]);
}
