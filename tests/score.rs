//! Scores: every number against one worked out by hand or by another route, every odd answer counted and named.

use crate::cli::program::{Done, Place};
use serde_json::{Value, json};

/// Ten items: coma 100, 110 … 190 nm along y, 50 along x; bounds of 2 nm.
fn truth() -> String {
    let mut table = String::from(
        "item,flags,modes_nm.7,modes_nm.8,turns.A,sigma_photon_nm.7,sigma_seeing_nm.7,electrons,seeing_arcsec\n",
    );
    for item in 0..10 {
        let coma = 100 + 10 * item;
        table += &format!(
            "{item},,{coma},50,0.1,2,4,{}00000,{}\n",
            item + 1,
            1.0 + 0.2 * f64::from(item)
        );
    }
    table
}

/// Answers with errors of +1, −1, +1, … nm, all with σ = 2.
fn answers() -> Vec<[String; 4]> {
    (0..10)
        .map(|item| {
            let error = if item % 2 == 0 { 1 } else { -1 };
            let coma = 100 + 10 * item + error;
            [item.to_string(), coma.to_string(), "50".into(), "2".into()]
        })
        .collect()
}

fn csv(rows: &[[String; 4]]) -> String {
    let lines: Vec<String> = rows.iter().map(|row| row.join(",")).collect();
    format!(
        "item,modes_nm.7,modes_nm.8,sigma.modes_nm.7\n{}\n",
        lines.join("\n")
    )
}

fn scored(answers: &str, options: &[&str]) -> (Value, Done) {
    let place = Place::with_file("truth.csv", truth());
    place.write("answers.csv", answers);
    let command = [&["score", "truth.csv", "answers.csv", "--json"], options].concat();
    let done = place.run(&command);
    (
        serde_json::from_str(&done.stdout).unwrap_or(Value::Null),
        done,
    )
}

#[test]
fn the_numbers_are_those_worked_out_by_hand() {
    let (score, done) = scored(&csv(&answers()), &[]);
    done.well();
    let coma = &score["quantities"]["modes_nm.7"];
    assert_eq!(
        (&score["items"], &score["coverage"]),
        (&json!(10), &json!(1.0))
    );
    assert_eq!(
        (&coma["bias"], &coma["rms"], &coma["p95"]),
        (&json!(0.0), &json!(1.0), &json!(1.0))
    );
    assert_eq!(coma["sigma"]["pull_rms"], json!(0.5));
    assert_eq!(coma["sigma"]["within_1"], json!(1.0));
    assert_eq!(
        (&coma["photon_ratio"], &coma["seeing_ratio"]),
        (&json!(0.5), &json!(0.25))
    );
    // mean of the squares of 100, 110 … 190: 21850
    let rms_of_truth = coma["rms_of_truth"].as_f64().expect("a number");
    assert!((rms_of_truth - 21_850f64.sqrt()).abs() < 1e-9);
    let bins = coma["by_electrons"].as_array().expect("bins");
    assert_eq!(bins.len(), 4);
    assert_eq!(
        (&bins[0]["from"], &bins[3]["to"]),
        (&json!(100_000.0), &json!(1_000_000.0))
    );
    assert_eq!(score["directions"]["coma"]["opposite"]["count"], json!(0));
    assert!(
        score["directions"]["coma"]["median_deg"]
            .as_f64()
            .expect("a number")
            < 0.2
    );
}

#[test]
fn odd_answers_are_counted_and_named() {
    let mut rows = answers();
    rows[3][1] = "nan".into();
    rows[3][2] = String::new();
    rows.remove(7);
    rows.push(["2".into(), "120".into(), "50".into(), "2".into()]);
    rows.push(["77".into(), "0".into(), "0".into(), "2".into()]);
    let (score, done) = scored(&csv(&rows), &[]);
    done.well();
    let named = |name: &str| score[name].clone();
    assert_eq!(named("missing"), json!({ "count": 2, "items": [3, 7] }));
    assert_eq!(named("duplicate"), json!({ "count": 1, "items": [2] }));
    assert_eq!(named("extra"), json!({ "count": 1, "items": [77] }));
    assert_eq!(named("not_a_number"), json!({ "count": 1, "items": [3] }));
    assert_eq!(
        (&score["answered"], &score["coverage"]),
        (&json!(7), &json!(0.7))
    );
}

#[test]
fn flagged_answers_are_left_out_and_counted() {
    let lines: Vec<String> = (0..10)
        .map(|item| {
            format!(
                "{item},{},{}",
                100 + 10 * item,
                if item == 4 { "true" } else { "" }
            )
        })
        .collect();
    let (score, done) = scored(
        &format!("item,modes_nm.7,flagged\n{}\n", lines.join("\n")),
        &[],
    );
    done.well();
    assert_eq!(score["flagged"], json!({ "count": 1, "items": [4] }));
    assert_eq!(score["quantities"]["modes_nm.7"]["answers"], json!(9));
}

#[test]
fn mistakes_of_sign_and_direction_are_counted_apart() {
    let mut rows = answers();
    rows[5][1] = "-150".into(); // −truth in y only: the direction is turned by 2·atan(150/50) = 143 degrees
    rows[6][1] = "-40".into();
    rows[6][2] = "120".into(); // (50, 160) against (120, −40): 91 degrees
    let (score, done) = scored(&csv(&rows), &[]);
    done.well();
    let coma = &score["quantities"]["modes_nm.7"];
    assert_eq!(coma["sign_mistakes"], json!({ "count": 1, "items": [5] }));
    assert_eq!(score["directions"]["coma"]["opposite"]["items"], json!([5]));
    assert_eq!(score["directions"]["coma"]["turned"]["items"], json!([6]));
    assert_eq!(coma["outliers"]["items"], json!([5, 6]));
    assert_eq!(
        (&coma["worst"], &coma["worst_item"]),
        (&json!(300.0), &json!(5))
    );
    let left = coma["rms_without_sign_mistakes"]
        .as_f64()
        .expect("a number");
    assert!(
        (left - ((8.0 + 200.0 * 200.0) / 9.0f64).sqrt()).abs() < 1e-9,
        "{left}"
    );
}

#[test]
fn limits_decide_the_exit_status() {
    let kept = ["--at-most", "modes_nm.7.rms=1", "--at-least", "coverage=1"];
    let (score, done) = scored(&csv(&answers()), &kept);
    done.well();
    assert_eq!(score["limits"][0]["kept"], json!(true));
    let (score, done) = scored(&csv(&answers()), &["--at-most", "modes_nm.7.rms=0.99"]);
    assert_eq!(done.status, Some(1));
    assert_eq!(
        score["limits"][0],
        json!({ "number": "modes_nm.7.rms", "found": 1.0, "at_most": 0.99, "at_least": null, "kept": false })
    );
    // what is not known is not kept: no answer claims a σ for Noll 8
    let (_, done) = scored(&csv(&answers()), &["--at-most", "modes_nm.8.pull_rms=2"]);
    assert_eq!(done.status, Some(1));
    let (_, done) = scored(&csv(&answers()), &["--at-most", "modes_nm.9.rms=2"]);
    done.refused("error: modes_nm.9.rms: this score has no such number\nhint: `skewstar score … --json` shows every number that a limit can name\n");
    let (_, done) = scored(&csv(&answers()), &["--at-most", "coverage"]);
    assert!(
        done.unable()
            .stderr
            .contains("no = between the number's name and its limit")
    );
}

#[test]
fn what_cannot_be_compared_is_refused_in_words() {
    let words = |answers: &str| scored(answers, &[]).1.unable().stderr;
    assert!(words("item,coma\n1,2\n").starts_with(
        "error: answers.csv: \"coma\" is no column of answers\nhint: columns are item,"
    ));
    assert!(
        words("item,modes_nm.7\n")
            .starts_with("error: answers.csv: the file of answers holds no items")
    );
    assert!(
        words("item,modes_nm.9\n1,2\n").contains("no answer gives a quantity that the truth knows")
    );
    assert!(
        words("item,modes_nm.7\n-1,2\n")
            .contains("line 2: item is \"-1\", but must be a whole number from 0")
    );
    let place = Place::with_file("truth.csv", "a,b\n1,2\n");
    place.write("answers.csv", csv(&answers()));
    let done = place.run(&["score", "truth.csv", "answers.csv"]).unable();
    assert!(
        done.stderr.contains("this is no truth of this program"),
        "{}",
        done.stderr
    );
}

#[test]
fn the_table_and_the_picture_are_for_people() {
    let place = Place::with_file("truth.csv", truth());
    place.write("answers.csv", csv(&answers()));
    let done = place
        .run(&["score", "truth.csv", "answers.csv", "--plot"])
        .well();
    let head: Vec<&str> = done
        .stdout
        .lines()
        .nth(1)
        .expect("a head")
        .split_whitespace()
        .collect();
    assert_eq!(head[..5], ["quantity", "answers", "bias", "rms", "median"]);
    let row: Vec<&str> = done
        .stdout
        .lines()
        .nth(2)
        .expect("a row")
        .split_whitespace()
        .collect();
    assert_eq!(
        row,
        [
            "modes_nm.7",
            "10",
            "0",
            "1.00",
            "1.00",
            "1.00",
            "0",
            "0",
            "0.500",
            "0.500",
            "0.250"
        ]
    );
    // errors of 1 to 10 nm, up and down, so that the dots do not lie under the line
    let mut rows = answers();
    for (item, row) in rows.iter_mut().enumerate() {
        row[1] = (100 + 10 * item + (7 * item) % 10 + 1).to_string();
    }
    place.write("other.csv", csv(&rows));
    place
        .run(&["score", "truth.csv", "other.csv", "--plot"])
        .well();
    let picture = place.read("out/other.score.png");
    let image = image::load_from_memory(&picture)
        .expect("a picture")
        .to_rgb8();
    let dots = image
        .pixels()
        .filter(|pixel| pixel.0 == [96, 140, 160])
        .count();
    // three panels of ten dots of four pixels each, some under the line; no error of Noll 8 can be drawn on a logarithm
    assert!((60..=240).contains(&dots), "{dots} pixels of dots");
}

/// A night over a scenario that is in relative units.
const NIGHT: [&str; 11] = [
    "star={magnitude=3.0,temperature_k=6000.0}",
    "sky.seeing_arcsec=1.8",
    "exposure.time_s=0.2",
    "camera.quantum_efficiency=0.8",
    "camera.gain_e_per_adu=0.8",
    "camera.bias_adu=500.0",
    "camera.read_noise_e=1.6",
    "camera.dark_e_per_s=0.01",
    "camera.full_well_e=5e4",
    "camera.bits=16",
    "seed=5",
];

/// Renders a lesson, measures the frame, hands in what was printed; the score.
fn score_of_measure(place: &Place, lesson: &str, sets: &[&str]) -> Value {
    let scenario = format!("{}/scenarios/{lesson}.toml", env!("CARGO_MANIFEST_DIR"));
    let mut render = vec!["render", &scenario, "--quiet"];
    render.extend(sets.iter().flat_map(|set| ["--set", set]));
    place.run(&render).well();
    let frame = format!("out/{lesson}.fits");
    let measure = [
        "measure",
        &frame,
        "--instrument",
        &scenario,
        "--side",
        "inside",
        "--json",
    ];
    let printed = place.run(&measure).well().stdout;
    let measured: Value = serde_json::from_str(&printed).expect("JSON");
    let line = json!({ "item": 0, "measured": measured });
    place.write("answers.jsonl", line.to_string());
    let truth = format!("out/{lesson}.truth.json");
    let done = place
        .run(&["score", &truth, "answers.jsonl", "--json"])
        .well();
    serde_json::from_str(&done.stdout).expect("JSON")
}

/// What `measure --json` prints can be handed in as it is, and a rendered star's truth is a truth too.
#[test]
fn a_measurement_of_a_rendered_star_is_an_answer() {
    let place = Place::new();
    let spikes = ["spike_shift_px.0", "spike_shift_px.7"];
    for (lesson, sets, places, limit_px) in [
        (
            "night-fast-unit",
            &["seed=5"][..],
            &["dark_shift_px.x"][..],
            1.0,
        ),
        ("mask-two-zone-coma", &NIGHT[..], &spikes[..], 0.1),
    ] {
        let score = score_of_measure(&place, lesson, sets);
        let number = |quantity: &str, name: &str| {
            score["numbers"][format!("{quantity}.{name}")]
                .as_f64()
                .unwrap_or_else(|| panic!("{lesson}: {quantity} {name} in {score}"))
        };
        let found = ["modes_nm.7", "modes_nm.8"].map(|q| number(q, "worst"));
        println!("{lesson}: off by {found:?} nm");
        assert!(found[0] < 5.0 && found[1] < 5.0);
        for place in places {
            let off_px = number(place, "worst");
            println!("{place}: off by {off_px} px");
            assert!(off_px < limit_px, "{place}: {off_px}");
        }
        assert!(number("modes_nm.7", "pull_rms") < 4.0);
        for spike in places.iter().filter(|place| spikes.contains(place)) {
            assert!(number(spike, "pull_rms") < 4.0, "{spike}");
        }
    }
}

/// Two cases, two sides: RMS by hand. The vector of coma is off by the error along y alone, as the one along x is 0.
#[test]
fn groups_and_vectors_are_judged_by_themselves() {
    let place = Place::new();
    let mut table = String::from(
        "item,case,side,flags,modes_nm.7,modes_nm.8,sigma_photon_nm.7,sigma_photon_nm.8,sigma_photon_place_known_nm.7\n",
    );
    let mut answers = String::from("item,modes_nm.7,modes_nm.8,sigma.modes_nm.7\n");
    for item in 0..8 {
        let (case, error) = if item < 4 {
            ("plain", 1)
        } else {
            ("masked", 3)
        };
        table += &format!("{item},{case},inside,,{},50,2,2,0.5\n", 100 + item);
        // as pandas writes a column of numbers with gaps
        answers += &format!("{item}.0,{},50,3\n", 100 + item + error);
    }
    place.write("truth.csv", table);
    place.write("answers.csv", &answers);
    let done = place
        .run(&["score", "truth.csv", "answers.csv", "--json"])
        .well();
    let score: Value = serde_json::from_str(&done.stdout).expect("JSON");
    let coma = &score["quantities"]["modes_nm.7"];
    // one side only: no group of sides
    let groups = coma["by_group"].as_array().expect("groups");
    let told: Vec<(&str, &str, f64)> = groups
        .iter()
        .map(|g| {
            (
                g["column"].as_str().unwrap_or(""),
                g["name"].as_str().unwrap_or(""),
                g["rms"].as_f64().unwrap_or(0.0),
            )
        })
        .collect();
    assert_eq!(told, [("case", "masked", 3.0), ("case", "plain", 1.0)]);
    let rms = (0.5 * (1.0 + 9.0f64)).sqrt();
    let near = |value: &Value, wanted: f64| {
        let found = value.as_f64().unwrap_or(f64::NAN);
        assert!((found - wanted).abs() < 1e-12, "{found} {wanted}");
    };
    near(&score["directions"]["coma"]["rms"], rms);
    near(
        &score["directions"]["coma"]["photon_ratio"],
        rms / 2.0 / 2f64.sqrt(),
    );
    near(&score["numbers"]["modes_nm.7.photon_ratio"], rms / 2.0);
    near(
        &score["numbers"]["modes_nm.7.photon_place_known_ratio"],
        rms / 0.5,
    );
    // errors of 1/3 and of 1 claimed sigma: half within 0.385 and 0.841, all within 1.036
    let curve: Vec<(f64, f64)> = coma["sigma"]["calibration"]
        .as_array()
        .expect("a curve")
        .iter()
        .map(|point| {
            (
                point["share"].as_f64().unwrap_or(0.0),
                point["found"].as_f64().unwrap_or(9.0),
            )
        })
        .collect();
    let at = |share: f64| {
        curve
            .iter()
            .find(|(own, _)| *own == share)
            .map(|(_, found)| *found)
    };
    assert_eq!(
        [at(0.2), at(0.3), at(0.6), at(0.7)],
        [Some(0.0), Some(0.5), Some(0.5), Some(1.0)]
    );
    near(&coma["sigma"]["calibration_error"], 0.3);
    let told = place
        .run(&["score", "truth.csv", "answers.csv"])
        .well()
        .stdout;
    assert!(told.contains("modes_nm.7 by group (RMS): case masked 3.00, 1.50 x photon; case plain 1.00, 0.500 x photon."), "{told}");
}

#[test]
fn several_programs_stand_in_one_table_and_a_picture_is_svg_too() {
    let place = Place::with_file("truth.csv", truth());
    place.write("good.csv", csv(&answers()));
    let array: Vec<Value> = (0..10)
        .map(|item| json!({ "item": item, "modes_nm": { "7": 105 + 10 * item, "8": 50 } }))
        .collect();
    place.write("rough.json", Value::from(array).to_string());
    let done = place.run(&[
        "score",
        "truth.csv",
        "good.csv",
        "rough.json",
        "--svg",
        "--at-most",
        "modes_nm.7.rms=2",
    ]);
    assert_eq!(done.status, Some(1), "{}", done.stderr);
    let rows: Vec<Vec<&str>> = done
        .stdout
        .lines()
        .filter(|line| line.starts_with("modes_nm.7 "))
        .map(|line| line.split_whitespace().take(5).collect())
        .collect();
    assert_eq!(
        rows,
        [
            ["modes_nm.7", "good", "10", "0", "1.00"],
            ["modes_nm.7", "rough", "10", "5.00", "5.00"]
        ]
    );
    assert!(
        done.stdout
            .contains("rough: modes_nm.7.rms: 5.00, at most 2 was asked for: NOT KEPT."),
        "{}",
        done.stdout
    );
    for name in ["good", "rough"] {
        let svg = place.text(&format!("out/{name}.score.svg"));
        assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
        for words in ["photons' bound", "modes_nm.7", "electrons", "<circle "] {
            assert!(svg.contains(words), "{words}");
        }
    }
    let done = place
        .run(&["score", "truth.csv", "good.csv", "rough.json", "--json"])
        .well();
    let both: Value = serde_json::from_str(&done.stdout).expect("JSON");
    assert_eq!(both["format"], "skewstar-scores/1");
    assert_eq!(
        both["programs"]["rough"]["quantities"]["modes_nm.7"]["rms"],
        5.0
    );
}
