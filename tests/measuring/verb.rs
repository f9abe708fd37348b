//! The verb from outside: what it prints, that it is blind, and that bad frames end in words.

use crate::cli::program::{Place, tiny_counts};
use ndarray::Array2;
use serde_json::Value;
use skewstar::frame::Frame;
use skewstar::image_io::fits::{self, Cards};

/// An invented telescope whose doughnut fills 50 pixels; seed and night as in the program's other tests.
fn unit() -> String {
    tiny_counts()
        .replace("width_px = 16", "width_px = 64")
        .replace("height_px = 12", "height_px = 60")
        .replace("sensor_offset_um = 190.0", "sensor_offset_um = 950.0")
        .replace("coma_nm_per_arcmin = 9.0", "coma_nm_per_arcmin = 30.0")
}

/// A folder with the scenario and its rendered frame in several formats.
fn rendered() -> Place {
    let place = Place::with_file("unit.toml", unit());
    place
        .run(&["render", "unit.toml", "--png16", "--tiff"])
        .well();
    place
}

fn json(place: &Place, args: &[&str]) -> Value {
    let mut all = vec!["measure"];
    all.extend_from_slice(args);
    all.extend_from_slice(&["--instrument", "unit.toml", "--json", "--quiet"]);
    serde_json::from_str(&place.run(&all).well().stdout).unwrap()
}

#[test]
fn the_screw_that_was_turned_is_named_and_the_turn_undone() {
    let place = rendered();
    let found = json(&place, &["out/unit.fits", "--side", "outside"]);
    assert_eq!(found["format"], "skewstar-measure/2");
    assert_eq!(found["method"], "doughnut-fit");
    let truth: Value = serde_json::from_str(&place.text("out/unit.truth.json")).unwrap();
    for noll in ["7", "8"] {
        let off = found["modes_nm"][noll]["value"].as_f64().unwrap()
            - truth["modes_nm"][noll].as_f64().unwrap();
        let sigma = found["modes_nm"][noll]["sigma"].as_f64().unwrap();
        assert!(
            off.abs() < 5.0 * sigma,
            "Noll {noll}: {off} against {sigma}"
        );
    }
    assert_eq!(found["advice"]["verdict"], "turn");
    let one = &found["advice"]["one_screw"];
    assert_eq!(one["screw"], "B");
    assert!(
        (one["turns"].as_f64().unwrap() - 0.07).abs() < 0.01,
        "{one}"
    );
    // one screw alone moves the middle of the unit by a third of its travel; the three together do not
    let (one_um, all_um) = (&one["focus_change_um"], &found["advice"]["focus_change_um"]);
    assert!(one_um.as_f64().unwrap().abs() > 5.0, "{one}");
    assert!(all_um.as_f64().unwrap().abs() < 0.1, "{all_um}");
    for key in [
        "sigma_seeing_nm",
        "stop_nm",
        "doughnut",
        "spikes",
        "slopes",
        "whole_frame",
        "flags",
    ] {
        assert!(found.get(key).is_some(), "{key} is missing");
    }
}

/// A vane makes the two ends of the pupil and its mirror image different: whoever types the camera or the side wrong is told
/// which way round the star fits, and gets no turns.
#[test]
fn a_picture_held_otherwise_than_typed_is_told() {
    let with_vane = unit()
        .replace(
            "[assembly]\n",
            "[[telescope.vanes]]\nazimuth_deg = 152.0\nwidth_mm = 9.0\ninner_radius_mm = 20.0\n[assembly]\n",
        )
        .replace("magnitude = 4.1", "magnitude = 3.0")
        .replace("seeing_arcsec = 1.4", "seeing_arcsec = 2.1");
    let turned = |more: &str| {
        with_vane.replace(
            "pixel_um = 4.7",
            &format!("pixel_um = 4.7\norientation = \"known\"\n{more}"),
        )
    };
    let place = Place::with_file("unit.toml", turned(""));
    place.write("mirrored.toml", turned("mirrored = true"));
    place.write("half.toml", turned("rotation_deg = 180.0"));
    place.write(
        "upside.toml",
        turned("rotation_deg = 180.0\nmirrored = true"),
    );
    place.write("binned.toml", turned("").replace("4.7", "9.4"));
    place.run(&["render", "unit.toml"]).well();
    let flags = |file: &str, side: &str| {
        let args = [
            "measure",
            "out/unit.fits",
            "--instrument",
            file,
            "--side",
            side,
        ];
        let done = place.run(&[&args[..], &["--json", "--quiet"]].concat());
        let found: Value = serde_json::from_str(&done.stdout).unwrap();
        assert_eq!(done.status, Some(i32::from(found["sound"] == false)));
        assert_eq!(found["sound"] == false, found["advice"].is_null(), "{file}");
        found["flags"].to_string()
    };
    let right = flags("unit.toml", "outside");
    assert!(!right.contains("fit"), "{right}");
    for (file, side, told) in [
        ("mirrored.toml", "outside", "mirrored_fits_better"),
        ("half.toml", "outside", "half_turn_fits_better"),
        ("unit.toml", "inside", "half_turn_fits_better"),
        ("upside.toml", "outside", "upside_down_fits_better"),
        ("binned.toml", "outside", "very_blurred"),
    ] {
        let found = flags(file, side);
        assert!(found.contains(told), "{file} {side}: {found}");
    }
}

/// Vanes that have one another opposite look the same from both ends of the pupil: whatever the noise, the side stays open. A
/// single vane tells it.
#[test]
fn only_vanes_that_half_a_turn_moves_tell_the_side() {
    let vanes = |azimuths: &[f64]| {
        let one = |a: &f64| format!("[[telescope.vanes]]\nazimuth_deg = {a}\nwidth_mm = 4.0\n");
        let all: String = azimuths.iter().map(one).collect();
        let known = "pixel_um = 4.7\norientation = \"known\"";
        unit()
            .replace("[assembly]\n", &format!("{all}[assembly]\n"))
            .replace("pixel_um = 4.7", known)
    };
    let place = Place::with_file("cross.toml", vanes(&[20.0, 110.0, 200.0, 290.0]));
    place.write("one.toml", vanes(&[20.0]));
    for (name, offset_um, seed) in [
        ("cross", 1, 31),
        ("cross", 1, 32),
        ("cross", -1, 33),
        ("one", 1, 34),
        ("one", -1, 35),
    ] {
        let file = format!("{name}.toml");
        let offset = format!("state.sensor_offset_um={}", offset_um * 480);
        let seed = format!("seed={seed}");
        let render = ["render", &file, "--force", "--set", &offset, "--set", &seed];
        place.run(&render).well();
        let frame = format!("out/{name}.fits");
        let args = [
            "measure",
            &frame,
            "--instrument",
            &file,
            "--json",
            "--quiet",
        ];
        let found: Value = serde_json::from_str(&place.run(&args).well().stdout).unwrap();
        let is = if offset_um > 0 { "outside" } else { "inside" };
        let open = found["flags"].to_string().contains("even_sign_open");
        match name {
            "one" => assert!(found["side"] == is && !open, "{}", found["side"]),
            _ => assert!(open && found["side_from"] == "assumed", "{}", found["side"]),
        }
    }
}

/// Secondary coma and spherical aberration are not taken for coma and spherical aberration: they are found, and told.
#[test]
fn aberrations_beyond_spherical_are_found() {
    let text = unit().replace("magnitude = 4.1", "magnitude = 2.0");
    let hidden = [(16, 12.0), (22, -11.0), (14, 9.0)];
    let place = Place::with_file("unit.toml", &text);
    let sets: Vec<String> = hidden
        .iter()
        .map(|(noll, nm)| format!("state.modes_nm.{noll}={nm}"))
        .collect();
    let mut args = vec!["render", "unit.toml"];
    args.extend(sets.iter().flat_map(|set| ["--set", set]));
    place.run(&args).well();
    let truth: Value = serde_json::from_str(&place.text("out/unit.truth.json")).unwrap();
    let found = json(&place, &["out/unit.fits", "--side", "outside"]);
    assert!(found["flags"].to_string().contains("higher_order_modes"));
    for noll in [5, 6, 7, 8, 9, 10, 11, 14, 16, 22].map(|noll: u32| noll.to_string()) {
        let off = found["modes_nm"][&noll]["value"].as_f64().unwrap()
            - truth["modes_nm"][&noll].as_f64().unwrap();
        let sigma = found["modes_nm"][&noll]["sigma"].as_f64().unwrap();
        assert!(
            off.abs() < 5.0 * sigma && sigma < 6.0,
            "Noll {noll}: {off} ± {sigma}"
        );
    }
    place.run(&["render", "unit.toml", "--force"]).well();
    let plain = json(&place, &["out/unit.fits", "--side", "outside"]);
    assert!(!plain["flags"].to_string().contains("higher_order_modes"));
}

/// What is hidden in the file has no influence: other state, star, sky and seed, the same answer to the last byte.
#[test]
fn measuring_is_blind() {
    let place = rendered();
    let hidden = unit()
        .replace("turns = { B = -0.07 }", "turns = { A = 0.3 }")
        .replace("sensor_offset_um = 950.0", "sensor_offset_um = -20.0")
        .replace("magnitude = 4.1", "magnitude = 9.0")
        .replace("temperature_k = 5400.0", "temperature_k = 30000.0")
        .replace("seeing_arcsec = 1.4", "seeing_arcsec = 5.0")
        .replace("seed = 7707", "seed = 1");
    place.write("other.toml", hidden);
    let answer = |file: &str| {
        place
            .run(&[
                "measure",
                "out/unit.fits",
                "--instrument",
                file,
                "--side",
                "outside",
                "--json",
                "--quiet",
            ])
            .well()
            .stdout
    };
    assert_eq!(answer("unit.toml"), answer("other.toml"));
}

/// FITS, 16-bit PNG and TIFF hold the same counts: the same coma.
#[test]
fn the_same_frame_in_three_formats_gives_the_same_coma() {
    let place = rendered();
    let coma = |file: &str| {
        let found = json(&place, &[file, "--side", "outside"]);
        found["modes_nm"]["7"]["value"].as_f64().unwrap()
    };
    let first = coma("out/unit.fits");
    for file in ["out/unit.counts.png", "out/unit.counts.tiff"] {
        assert!((coma(file) - first).abs() < 1e-9, "{file}");
    }
}

/// Without a word on the side, nothing in a bare ring tells it: flagged, and coma stays.
#[test]
fn an_untold_side_is_flagged_and_coma_does_not_depend_on_it() {
    let place = rendered();
    let told = json(&place, &["out/unit.fits", "--side", "inside"]);
    let untold = json(&place, &["out/unit.fits"]);
    let flags: Vec<&str> = untold["flags"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_str)
        .collect();
    assert!(flags.contains(&"even_sign_open"), "{flags:?}");
    let coma = |v: &Value| v["modes_nm"]["8"]["value"].as_f64().unwrap();
    assert!((coma(&told) - coma(&untold)).abs() < 0.5);
}

#[test]
fn the_annotated_picture_is_written_once() {
    let place = rendered();
    let args = [
        "measure",
        "out/unit.fits",
        "--instrument",
        "unit.toml",
        "--annotate",
        "--quiet",
    ];
    place.run(&args).well();
    assert!(!place.read("out/unit.annotated.png").is_empty());
    place.run(&args).unable();
}

fn write(place: &Place, name: &str, counts: Array2<u16>) {
    let frame = Frame {
        counts_adu: counts,
        pixel_m: 4.7e-6,
        saturation_adu: u16::MAX,
        saturated_px: 0,
    };
    let cards = Cards {
        pixel_m: 4.7e-6,
        focal_length_m: 0.59,
        ..Cards::default()
    };
    place.write(name, fits::counts(&frame, &cards).unwrap());
}

/// Noise without a generator: the digits of a chaotic map, fixed.
fn noisy(rows: usize, columns: usize, light: impl Fn(f64, f64) -> f64) -> Array2<u16> {
    let mut state = 0.37;
    Array2::from_shape_fn((rows, columns), |(row, column)| {
        let mut sum = 0.0;
        for _ in 0..12 {
            state = 3.99 * state * (1.0 - state);
            sum += state;
        }
        (400.0 + 8.0 * (sum - 6.0) + light(column as f64, row as f64)).clamp(0.0, 65_535.0) as u16
    })
}

/// Every bad frame ends in words and 1 or 2, never in a panic.
#[test]
fn bad_frames_end_in_words() {
    let place = rendered();
    let ring = |cx: f64, cy: f64, x: f64, y: f64| {
        let r = (x - cx).hypot(y - cy);
        if (6.0..16.0).contains(&r) { 900.0 } else { 0.0 }
    };
    write(&place, "blank.fits", Array2::from_elem((60, 64), 500));
    write(&place, "full.fits", Array2::from_elem((60, 64), 65_535));
    write(&place, "noise.fits", noisy(60, 64, |_, _| 0.0));
    write(&place, "one.fits", Array2::from_elem((1, 1), 9));
    let trailed = |x: f64, y: f64| {
        (0..12)
            .map(|k| ring(24.0 + f64::from(k), 30.0, x, y) / 6.0)
            .sum()
    };
    write(&place, "trailed.fits", noisy(60, 64, trailed));
    write(
        &place,
        "two.fits",
        noisy(60, 64, |x, y| {
            ring(24.0, 30.0, x, y) + ring(38.0, 34.0, x, y)
        }),
    );
    write(
        &place,
        "saturated.fits",
        noisy(60, 64, |x, y| 80.0 * ring(31.0, 30.0, x, y)),
    );
    let whole = place.read("out/unit.fits");
    place.write("cut.fits", &whole[..whole.len() / 2]);
    let card = |text: &str| format!("{text:<80}");
    let huge: String = [
        "SIMPLE  =                    T",
        "BITPIX  =                   16",
        "NAXIS   =                    2",
        "NAXIS1  =                20000",
        "NAXIS2  =                20000",
        "END",
    ]
    .iter()
    .map(|c| card(c))
    .collect();
    place.write("huge.fits", format!("{huge:<2880}"));
    place.write("text.fits", "not a picture");
    place.write("empty.fits", "");
    for (name, statuses) in [
        ("blank.fits", &[2][..]),
        ("full.fits", &[2]),
        ("noise.fits", &[2]),
        ("one.fits", &[2]),
        ("trailed.fits", &[1, 2]),
        ("two.fits", &[1, 2]),
        ("saturated.fits", &[1, 2]),
        ("cut.fits", &[2]),
        ("huge.fits", &[2]),
        ("text.fits", &[2]),
        ("empty.fits", &[2]),
        ("missing.fits", &[2]),
    ] {
        let ran = place.run(&[
            "measure",
            name,
            "--instrument",
            "unit.toml",
            "--side",
            "outside",
        ]);
        let (status, said) = (ran.status.unwrap_or(-1), ran.stderr);
        println!("{name}: {status}: {}", said.lines().next().unwrap_or(""));
        assert!(statuses.contains(&status), "{name}: {status}\n{said}");
        assert!(!said.contains("panicked"), "{name}: {said}");
        assert!(status == 1 || said.contains("hint:"), "{name}: {said}");
    }
}

/// Wrong options are refused with what is allowed.
#[test]
fn wrong_options_are_refused() {
    let place = rendered();
    for (args, word) in [
        (&["--mask", "on"][..], "[mask]"),
        (&["--at", "900,900"], "outside the frame"),
        (&["--at", "7"], "X,Y"),
        (&["--temperature", "12"], "1000"),
        (&["--response", "out/unit.truth.json"], "hint:"),
        (&["--side", "left"], "inside"),
    ] {
        let mut all = vec!["measure", "out/unit.fits", "--instrument", "unit.toml"];
        all.extend_from_slice(args);
        let said = place.run(&all).unable().stderr;
        assert!(said.contains(word), "{args:?}: {said}");
    }
}

/// A filter array is measured colour by colour: the offset that was hidden, on a telescope with a different focus for each.
#[test]
fn a_filter_array_is_measured_without_filling_in() {
    let text = include_str!("../../scenarios/colour-camera.toml");
    let place = Place::with_file("unit.toml", text);
    place.run(&["render", "unit.toml"]).well();
    let found = json(&place, &["out/unit.fits", "--side", "outside"]);
    let truth: Value = serde_json::from_str(&place.text("out/unit.truth.json")).unwrap();
    let offset = found["sensor_offset_um"]["value"].as_f64().unwrap();
    let want = truth["sensor_offset_um"].as_f64().unwrap();
    assert!(
        (offset - want).abs() < 0.01 * want,
        "{offset} against {want}"
    );
    for noll in ["7", "8"] {
        let off = found["modes_nm"][noll]["value"].as_f64().unwrap()
            - truth["modes_nm"][noll].as_f64().unwrap();
        assert!(off.abs() < 5.0, "Noll {noll}: {off}");
    }
}

/// Behind slots in two zones, one zone on the wrong side of focus is a false minimum, in which focus and primary spherical
/// aberration are wrong together.
#[test]
fn slots_in_two_zones_do_not_take_focus_for_spherical_aberration() {
    let lesson = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/scenarios/mask-two-zone-coma.toml"
    );
    let camera = "[camera]\nquantum_efficiency = 0.75\nthroughput = 0.7\ngain_e_per_adu = 1.2\nbias_adu = 200.0\n\
                  read_noise_e = 2.1\nfull_well_e = 60000.0\n";
    let text = std::fs::read_to_string(lesson)
        .unwrap()
        .replace("[camera]\n", camera)
        .replace("width_px = 96", "width_px = 160")
        .replace("height_px = 96", "height_px = 160")
        .replace("[470.0, 640.0]", "[500.0, 600.0]")
        .replace("wavelengths = 13", "wavelengths = 3")
        + "[star]\nmagnitude = 1.5\ntemperature_k = 5800.0\naltitude_deg = 62.0\n[sky]\nseeing_arcsec = 2.0\n\
           brightness_mag_per_arcsec2 = 19.2\n[exposure]\ntime_s = 0.5\n";
    let place = Place::with_file("zones.toml", format!("seed = 40\n{text}"));
    let places = [
        (29.4, "{ A = 0.0236, B = -0.0127, C = -0.0109 }"),
        (27.8, "{ A = 0.0025, B = -0.0207, C = 0.0182 }"),
        (-4.9, "{ B = -0.02 }"),
    ];
    for (offset_um, turns) in places {
        let offset = format!("state.sensor_offset_um={offset_um}");
        let turned = format!("state.turns={turns}");
        let render = [
            "render",
            "zones.toml",
            "--set",
            &offset,
            "--set",
            &turned,
            "--force",
        ];
        place.run(&render).well();
        let measure = [
            "measure",
            "out/zones.fits",
            "--instrument",
            "zones.toml",
            "--json",
        ];
        let found: Value = serde_json::from_str(&place.run(&measure).well().stdout).unwrap();
        let truth: Value = serde_json::from_str(&place.text("out/zones.truth.json")).unwrap();
        let value = |found: &Value| found["value"].as_f64().unwrap();
        let off_um =
            value(&found["sensor_offset_um"]) - truth["sensor_offset_um"].as_f64().unwrap();
        assert!(off_um.abs() < 1.0, "{offset_um} um: off by {off_um} um");
        let spherical_nm = value(&found["modes_nm"]["11"]);
        assert!(
            spherical_nm.abs() < 8.0,
            "{offset_um} um: {spherical_nm} nm"
        );
    }
}
