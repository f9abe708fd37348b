//! Lessons, asked at the page's one door: stars follow their handles, and what counts as the right answer is what the picture itself shows, read off
//! its pixels by code that knows nothing of modes or screws.

use crate::page::{asked, post, site};
use serde_json::{Value, json};
use skewstar::lessons::LESSONS;
use skewstar::practice::BENCH;
use skewstar::web::Site;

/// A picture as the page gets it: columns, and levels with the top row first.
struct Seen {
    columns: usize,
    levels: Vec<f64>,
}

fn star(site: &Site, word: &str, body: &Value) -> Seen {
    let address = format!("/api/lessons/{word}/star");
    let reply = asked(
        site,
        "POST",
        &address,
        "application/json",
        body.to_string().as_bytes(),
    );
    assert_eq!(
        reply.status,
        200,
        "{word}: {}",
        String::from_utf8_lossy(&reply.body)
    );
    assert_eq!(&reply.body[..4], b"SKW1");
    let two = |at: usize| u16::from_le_bytes([reply.body[at], reply.body[at + 1]]);
    let levels = reply.body[20..]
        .chunks(2)
        .map(|pair| f64::from(u16::from_le_bytes([pair[0], pair[1]])));
    Seen {
        columns: usize::from(two(4)),
        levels: levels.collect(),
    }
}

impl Seen {
    /// One of several stars side by side.
    fn tile(&self, number: usize, of: usize) -> Seen {
        let wide = self.columns / of;
        let rows = self.levels.chunks(self.columns);
        Seen {
            columns: wide,
            levels: rows
                .flat_map(|row| row[number * wide..(number + 1) * wide].to_vec())
                .collect(),
        }
    }

    /// From the middle of the doughnut to the middle of its dark centre, +y up, in parts of its radius: it points to the thin side. The dark
    /// centre is what is dark and not joined to the dark outside.
    fn thin(&self) -> [f64; 2] {
        let outside = self.dark_outside();
        let lit = self.lit();
        let dark_centre = self.middle(|at| !outside[at] && !lit[at]);
        let whole = self.middle(|at| !outside[at]);
        let radius = ((0..lit.len()).filter(|at| !outside[*at]).count() as f64
            / std::f64::consts::PI)
            .sqrt();
        [0, 1].map(|axis| (dark_centre[axis] - whole[axis]) / radius)
    }

    /// Brighter than a twentieth of the way from the sky to the brightest.
    fn lit(&self) -> Vec<bool> {
        let mut sorted = self.levels.clone();
        sorted.sort_by(f64::total_cmp);
        let (sky, peak) = (sorted[sorted.len() / 20], sorted[sorted.len() - 1]);
        let levels = self.levels.iter();
        levels
            .map(|level| *level > sky + 0.05 * (peak - sky))
            .collect()
    }

    /// What is dark and joined to the upper left corner.
    fn dark_outside(&self) -> Vec<bool> {
        let (lit, columns) = (self.lit(), self.columns);
        let mut outside = vec![false; lit.len()];
        let mut next = vec![0];
        while let Some(at) = next.pop() {
            if outside[at] || lit[at] {
                continue;
            }
            outside[at] = true;
            let column = at % columns;
            next.extend(
                [at.checked_sub(columns), Some(at + columns)]
                    .into_iter()
                    .flatten(),
            );
            next.extend((column > 0).then(|| at - 1));
            next.extend((column + 1 < columns).then_some(at + 1));
            next.retain(|at| *at < lit.len());
        }
        outside
    }

    /// The middle of the pixels that are asked for.
    fn middle(&self, of: impl Fn(usize) -> bool) -> [f64; 2] {
        let all = (0..self.levels.len()).filter(|at| of(*at));
        let places: Vec<[f64; 2]> = all
            .map(|at| [(at % self.columns) as f64, -((at / self.columns) as f64)])
            .collect();
        [0, 1].map(|axis| places.iter().map(|place| place[axis]).sum::<f64>() / places.len() as f64)
    }

    /// Across the lit area.
    fn wide(&self) -> f64 {
        let lit = self.lit();
        let columns: Vec<usize> = (0..lit.len())
            .filter(|at| lit[*at])
            .map(|at| at % self.columns)
            .collect();
        (columns.iter().max().expect("light") - columns.iter().min().expect("light")) as f64
    }
}

fn right(site: &Site, word: &str, seed: u64) -> usize {
    let body = json!({ "seed": seed, "choice": 0 });
    let (ok, said) = post(site, &format!("/api/lessons/{word}/answer"), &body);
    assert_eq!(ok, 200, "{word}: {said}");
    let choice = said["choice"].as_u64().expect("a number") as usize;
    assert_eq!(said["right"], json!(choice == 0));
    choice
}

#[test]
fn every_lesson_has_a_star_that_follows_its_handles() {
    let site = site();
    let reply = asked(&site, "GET", "/api/about", "", b"");
    let about: Value = serde_json::from_slice(&reply.body).expect("JSON");
    let listed = about["lessons"].as_array().expect("lessons");
    assert_eq!(listed.len(), LESSONS.len());
    for lesson in listed {
        let word = lesson["word"].as_str().expect("a word");
        let (ok, about) = post(&site, &format!("/api/lessons/{word}"), &json!({}));
        assert_eq!(
            (ok, &about["on_the_bench"]),
            (200, &json!(false)),
            "{about}"
        );
        let handles = about["handles"].as_array().expect("handles");
        let start: Vec<f64> = handles
            .iter()
            .map(|handle| handle["start"].as_f64().expect("a number"))
            .collect();
        let first = star(&site, word, &json!({ "values": start }));
        let again = star(&site, word, &json!({}));
        assert!(
            first.levels == again.levels,
            "{word}: without values the handles stand as they start"
        );
        for (number, handle) in handles.iter().enumerate() {
            let mut moved = start.clone();
            let [low, high] = ["low", "high"].map(|end| handle[end].as_f64().expect("a number"));
            moved[number] = if start[number] == low { high } else { low };
            let other = star(&site, word, &json!({ "values": moved }));
            assert!(
                other.levels != first.levels,
                "{word}: {} moves nothing",
                handle["words"]
            );
            moved[number] = high + 1.0;
            assert_eq!(
                post(
                    &site,
                    &format!("/api/lessons/{word}/star"),
                    &json!({ "values": moved })
                )
                .0,
                400
            );
        }
    }
    assert_eq!(post(&site, "/api/lessons/novelty", &json!({})).0, 404);
    assert_eq!(post(&site, "/api/lessons/stop/novelty", &json!({})).0, 404);
    assert_eq!(
        post(
            &site,
            "/api/lessons/stop/answer",
            &json!({ "seed": 3, "choice": 7 })
        )
        .0,
        400
    );
    assert_eq!(post(&site, "/api/lessons/stop/question", &json!({})).0, 400);
    assert_eq!(
        asked(&site, "GET", "/api/lessons/stop", "", b"").status,
        405
    );
}

/// The same seed asks the same question; over many seeds every answer is right some time.
#[test]
fn questions_repeat_and_every_answer_comes() {
    let site = site();
    for lesson in &LESSONS {
        let (_, posed) = post(
            &site,
            &format!("/api/lessons/{}/question", lesson.word),
            &json!({ "seed": 1 }),
        );
        let choices = posed["choices"].as_array().expect("choices").len();
        let mut came = vec![0; choices];
        for seed in 0..60 {
            let choice = right(&site, lesson.word, seed);
            assert_eq!(choice, right(&site, lesson.word, seed));
            came[choice] += 1;
        }
        assert!(
            came.iter().all(|times| *times > 3),
            "{}: {came:?}",
            lesson.word
        );
    }
}

/// The thin side as the pixels have it is the hour that counts as right, and near to that hour, however the camera is held.
#[test]
fn the_hour_that_is_right_is_the_one_that_is_seen() {
    let site = site();
    for held in [
        "",
        "rotation_deg = 45.0\n",
        "rotation_deg = 130.0\nmirrored = true\n",
    ] {
        let text = BENCH.replace("[camera]\n", &format!("[camera]\n{held}"));
        let (ok, loaded) = post(&site, "/api/telescopes", &json!({ "text": text }));
        assert_eq!(ok, 200, "{loaded}");
        for seed in 0..12 {
            let body = json!({ "seed": seed, "choice": 0, "telescope": loaded["telescope"] });
            let [x, y] = star(&site, "thin-side", &body).thin();
            // hours clockwise from 12, in quarters
            let quarters = x.atan2(y).to_degrees() / 90.0;
            let (_, said) = post(&site, "/api/lessons/thin-side/answer", &body);
            let right = said["choice"].as_f64().expect("a number");
            let off_deg = 90.0 * ((quarters - right + 2.0).rem_euclid(4.0) - 2.0);
            assert!(
                off_deg.abs() < 26.0,
                "{held}, seed {seed}: thin towards {x:.2}, {y:.2}, {off_deg:.0} degrees off"
            );
        }
    }
}

#[test]
fn finished_and_not_are_told_apart_by_the_pixels() {
    let site = site();
    let mut seen = [Vec::new(), Vec::new()];
    for seed in 0..16 {
        let [x, y] = star(&site, "finished", &json!({ "seed": seed })).thin();
        seen[right(&site, "finished", seed)].push(x.hypot(y));
    }
    let most = seen[0].iter().fold(0.0f64, |most, size| most.max(*size));
    let least = seen[1]
        .iter()
        .fold(f64::INFINITY, |least, size| least.min(*size));
    assert!(
        most < least,
        "finished: at most {most:.3}; not yet: at least {least:.3}"
    );
}

/// Out of line, the same side is thin on both sides of focus; a shadow aside changes sides.
#[test]
fn a_shadow_changes_sides_and_coma_does_not() {
    let site = site();
    for seed in 0..8 {
        let picture = star(&site, "shadow", &json!({ "seed": seed }));
        let [inside, outside] = [0, 1].map(|number| picture.tile(number, 2).thin());
        let same = inside[0] * outside[0] + inside[1] * outside[1] > 0.0;
        assert_eq!(
            right(&site, "shadow", seed),
            usize::from(!same),
            "seed {seed}: {inside:?} {outside:?}"
        );
    }
}

/// Outwards, the ring grows beyond focus and becomes smaller before it.
#[test]
fn the_side_of_focus_is_told_by_what_makes_the_ring_grow() {
    let site = site();
    for seed in 0..8 {
        let picture = star(&site, "focus", &json!({ "seed": seed }));
        let [before, after] = [0, 1].map(|number| picture.tile(number, 2).wide());
        assert_eq!(
            right(&site, "focus", seed),
            usize::from(after > before),
            "seed {seed}: {before} then {after}"
        );
    }
}

/// A telescope without an obstruction has no dark centre: what needs one is shown on the bench, and said so.
#[test]
fn what_a_telescope_cannot_show_is_shown_on_the_bench() {
    let site = site();
    let bare = BENCH.replace("[telescope.obstruction]\ndiameter_mm = 74.0\n", "");
    let (ok, loaded) = post(&site, "/api/telescopes", &json!({ "text": bare }));
    assert_eq!(ok, 200, "{loaded}");
    let on_the_bench = |word: &str| {
        let body = json!({ "telescope": loaded["telescope"] });
        post(&site, &format!("/api/lessons/{word}"), &body).1["on_the_bench"].clone()
    };
    assert_eq!(on_the_bench("thin-side"), true);
    assert_eq!(on_the_bench("focus"), false);
    // and no level of practice is offered that it cannot have
    for level in loaded["levels"].as_array().expect("levels") {
        assert!(
            level["why_not"]
                .as_str()
                .is_some_and(|why| why.contains("obstruction")),
            "{level}"
        );
    }
}
