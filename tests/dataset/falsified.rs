//! Falsifications made by hand, as somebody would who knows the files: checksums are put right again, as far as the forger can. Each is
//! told with its file.

use super::{folder, make, place, report, sealed, verify};
use crate::cli::program::Place;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use skewstar::dataset::{TableCell, frame_sha256, row_sha256};
use skewstar::image_io::fits;
use skewstar::image_io::npz::{NpyArray, NpyValues, npz, read_npz};
use std::collections::BTreeMap;
use std::fmt::Write as _;

const BASE: &str = "out/set.0000000000-0000000004";

fn sum(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .fold(String::new(), |mut text, byte| {
            let _ = write!(text, "{byte:02x}");
            text
        })
}

fn path(ending: &str) -> String {
    format!("{BASE}.{ending}")
}

/// Changes a record and writes it as the program would.
fn record(place: &Place, change: impl Fn(&mut Value)) {
    let text = place.text(&path("shard.json"));
    // the keys keep their order, as serde writes a struct
    let mut lines: skewstar::dataset::ShardRecord = serde_json::from_str(&text).expect("a record");
    let mut value = serde_json::to_value(&lines).expect("JSON");
    change(&mut value);
    match serde_json::from_value(value.clone()) {
        Ok(changed) => {
            lines = changed;
            place.write(&path("shard.json"), lines.text().expect("JSON"));
        }
        Err(_) => place.write(&path("shard.json"), value.to_string()),
    }
}

/// Puts lengths and checksums of the files in the record right.
fn reseal(place: &Place) {
    record(place, |record| {
        for file in record["files"].as_array_mut().expect("files") {
            let bytes = place.read(&format!("out/{}", file["name"].as_str().expect("a name")));
            file["bytes"] = json!(bytes.len());
            file["sha256"] = json!(sum(&bytes));
        }
    });
}

fn arrays(place: &Place, change: impl Fn(&str, &mut NpyArray)) {
    let mut arrays = read_npz(&place.read(&path("npz"))).expect("an archive");
    for (name, array) in &mut arrays {
        change(name, array);
    }
    let named: Vec<(&str, NpyArray)> = arrays
        .iter()
        .map(|(n, a)| (n.as_str(), a.clone()))
        .collect();
    place.write(&path("npz"), npz(&named).expect("an archive"));
}

/// Brightens the first pixel of item 2 in the archive.
fn brighten(name: &str, array: &mut NpyArray) {
    if let (true, NpyValues::Counts(counts)) = (name == "frames", &mut array.values) {
        counts[2 * 16 * 12] += 1;
    }
}

/// The checksum of item 2's frame in the record becomes that of the brightened one.
fn relist_frame(place: &Place) {
    let arrays = read_npz(&place.read(&path("npz"))).expect("an archive");
    let NpyValues::Counts(counts) = &arrays[0].1.values else {
        panic!("no frames");
    };
    let own = counts[2 * 192..3 * 192].iter().copied();
    record(place, |record| {
        record["frame_sha256"][2] = json!(frame_sha256(own.clone()))
    });
}

/// Changes a cell of item 3 in the truth, with its row's checksum.
fn cell(place: &Place, column: &str, value: &str) {
    let text = place.text(&path("truth.csv"));
    let mut lines: Vec<Vec<String>> = text
        .lines()
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect();
    let at = lines[0]
        .iter()
        .position(|name| name == column)
        .expect(column);
    assert_ne!(lines[4][at], value);
    lines[4][at] = value.to_owned();
    let row: Vec<TableCell> = lines[4]
        .iter()
        .map(|cell| TableCell::Text(cell.clone()))
        .collect();
    let joined: Vec<String> = lines.iter().map(|line| line.join(",")).collect();
    place.write(&path("truth.csv"), joined.join("\n") + "\n");
    record(place, |record| {
        record["truth_sha256"][3] = json!(row_sha256(&row))
    });
    reseal(place);
}

fn replaced(place: &Place, file: &str, from: &str, to: &str) {
    let text = place.text(file);
    assert!(text.contains(from), "{from} is not in {file}");
    place.write(file, text.replacen(from, to, 1));
}

fn fits_frame(place: &Place, change: impl Fn(&mut Vec<u8>)) {
    let mut bytes = place.read("out/set.0000000002.fits");
    change(&mut bytes);
    place.write("out/set.0000000002.fits", bytes);
    reseal(place);
}

/// What is falsified, how, and what `verify --remake 10` says, with the file.
type Falsification = (&'static str, fn(&Place), &'static str);

const FALSIFICATIONS: [Falsification; 27] = [
    (
        "a pixel of the archive",
        |p| {
            arrays(p, brighten);
            reseal(p);
        },
        "set.0000000000-0000000004.npz holds other frames than its record lists",
    ),
    (
        "the same, listed in the record",
        |p| {
            arrays(p, brighten);
            relist_frame(p);
            reseal(p);
        },
        "set.0000000002.fits holds another frame than its record lists",
    ),
    (
        "a frame everywhere",
        |p| {
            arrays(p, brighten);
            relist_frame(p);
            let pixels = p.pixels("out/set.0000000002.fits");
            assert!(pixels[[0, 0]] < 65535.0);
            // the lowest byte of the first pixel, behind one block of cards
            fits_frame(p, |bytes| {
                let at = bytes.len() - 2880 + 1;
                bytes[at] += 1;
            });
        },
        "set.0000000000-0000000004.shard.json lists another frame for item 2 than the recipe makes",
    ),
    (
        "the version",
        |p| record(p, |r| r["version"] = json!("0.0.9")),
        "shard.json was made by version \"0.0.9\"",
    ),
    (
        "the format",
        |p| record(p, |r| r["format"] = json!("skewstar-shard/9")),
        "shard.json has the format \"skewstar-shard/9\"",
    ),
    (
        "the set",
        |p| record(p, |r| r["set_sha256"] = json!("0".repeat(64))),
        "shard.json belongs to another recipe or scenario",
    ),
    (
        "the items",
        |p| record(p, |r| r["items"] = json!({ "first": 5, "last": 9 })),
        "shard.json says that it holds the items 5 to 9",
    ),
    (
        "the number of frames",
        |p| {
            record(p, |r| {
                r["frame_sha256"].as_array_mut().expect("a list").pop();
            })
        },
        "shard.json lists another number of frames than of items",
    ),
    (
        "the number of rows",
        |p| {
            record(p, |r| {
                r["truth_sha256"].as_array_mut().expect("a list").pop();
            })
        },
        "shard.json lists 4 rows, not 5",
    ),
    (
        "a row's checksum",
        |p| record(p, |r| r["truth_sha256"][1] = json!("1".repeat(64))),
        "truth.csv has another row for item 1 than its record lists",
    ),
    (
        "a field of one's own",
        |p| record(p, |r| r["checked"] = json!(true)),
        "shard.json cannot be read: unknown field `checked`",
    ),
    (
        "a file left out",
        |p| {
            record(p, |r| {
                r["files"].as_array_mut().expect("a list").remove(2);
            })
        },
        "shard.json does not name the files of the shard",
    ),
    (
        "a file twice",
        |p| {
            record(p, |r| {
                let file = r["files"][1].clone();
                r["files"].as_array_mut().expect("a list").push(file);
            })
        },
        "shard.json does not name the files of the shard",
    ),
    (
        "files in another order",
        |p| record(p, |r| r["files"].as_array_mut().expect("a list").swap(0, 1)),
        "shard.json does not name the files of the shard",
    ),
    (
        "a length",
        |p| record(p, |r| r["files"][0]["bytes"] = json!(3)),
        "npz has ",
    ),
    (
        "a commitment",
        |p| record(p, |r| r["truth_commitment"] = json!("2".repeat(64))),
        "shard.json does not commit to a truth as the set does",
    ),
    (
        "a seal",
        |p| record(p, |r| r["secret_sha256"] = json!("2".repeat(64))),
        "shard.json is sealed, unlike this set",
    ),
    (
        "the way it is written",
        |p| {
            let text = p.text(&path("shard.json"));
            p.write(&path("shard.json"), text.replace("\n", ""));
        },
        "shard.json is not written as this program writes it",
    ),
    (
        "what was drawn",
        |p| cell(p, "drawn.star.magnitude", "4.25"),
        "truth.csv has another drawn.star.magnitude for item 3 than was drawn",
    ),
    (
        "a seed",
        |p| cell(p, "seed", "17"),
        "truth.csv has another seed for item 3 than was drawn",
    ),
    (
        "a mode",
        |p| cell(p, "modes_nm.7", "12.5"),
        "truth.csv has another row for item 3 than the recipe makes",
    ),
    (
        "an item's number",
        |p| cell(p, "item", "13"),
        "truth.csv has no row for item 3 where it should be",
    ),
    (
        "a column",
        |p| {
            replaced(p, &path("truth.csv"), "piston_um", "piston_mm");
            reseal(p);
        },
        "truth.csv has other columns than the recipe gives",
    ),
    (
        "what is handed out",
        |p| {
            arrays(p, |name, array| {
                if let (true, NpyValues::Real(values)) =
                    (name == "state.sensor_offset_um", &mut array.values)
                {
                    values[0] += 1.0;
                }
            });
            reseal(p);
        },
        "npz hands out other values of state.sensor_offset_um than were drawn",
    ),
    (
        "the table of that",
        |p| {
            replaced(p, &path("known.csv"), "\n1,", "\n1,9");
            reseal(p);
        },
        "known.csv hands out other values for item 1 than were drawn",
    ),
    (
        "a card of a frame",
        |p| {
            fits_frame(p, |bytes| {
                let at = bytes
                    .windows(8)
                    .position(|eight| eight == b"PEDESTAL")
                    .expect("a card");
                let digit = at
                    + bytes[at..at + 80]
                        .iter()
                        .rposition(|b| (b'1'..=b'8').contains(b))
                        .expect("a digit");
                bytes[digit] += 1;
            })
        },
        "set.0000000002.fits has other cards than the recipe gives",
    ),
    (
        "the data card",
        |p| replaced(p, "out/set.card.md", "CC0-1.0", "CC0-9.0"),
        "set.card.md is not what the recipe gives",
    ),
];

#[test]
fn every_falsification_is_told_with_its_file() {
    let first = place();
    first.run(&make(&["--count", "10"])).well();
    first
        .run(&verify(&["--count", "10", "--remake", "10"]))
        .well();
    let whole: BTreeMap<String, Vec<u8>> = folder(&first, "out");
    for (what, falsify, told) in FALSIFICATIONS {
        for (name, bytes) in &whole {
            first.write(&format!("out/{name}"), bytes);
        }
        falsify(&first);
        let done = first.run(&verify(&["--count", "10", "--remake", "10"]));
        assert_eq!(done.status, Some(1), "{what} is not told: {}", done.stdout);
        let report: Value = serde_json::from_str(&done.stdout).expect("JSON");
        let faults: Vec<&str> = report["damaged"]
            .as_array()
            .expect("a list")
            .iter()
            .filter_map(Value::as_str)
            .collect();
        assert!(
            faults.iter().any(|fault| fault.contains(told)),
            "{what}: {faults:?}, not {told}"
        );
        assert_eq!(report["content_sha256"], Value::Null);
    }
    let _ = fits::read(&whole["set.0000000002.fits"]).expect("a FITS file");
}

/// A set is cited by its manifest, which holds whatever range made it, and is told when it is another set's.
#[test]
fn a_manifest_stands_for_the_whole_set() {
    let place = place();
    place.run(&make(&["--count", "9"])).well();
    place.run(&verify(&["--count", "9", "--manifest"])).well();
    let own = place.json("out/set.manifest.json");
    let report = report(0, &place, &["--count", "9"]);
    assert_eq!(own["content_sha256"], report["content_sha256"]);
    assert_eq!(
        (&own["items"], &own["last"], &own["shards"]),
        (&json!(9), &json!(8), &json!(2))
    );
    assert_eq!(
        own["program"],
        concat!("skewstar ", env!("CARGO_PKG_VERSION"))
    );
    // the parts of another machine, cut elsewhere: the same content
    place.run(&make(&["--out", "parts", "--count", "3"])).well();
    place
        .run(&make(&["--out", "parts", "--start", "3", "--count", "6"]))
        .well();
    place
        .run(&verify(&["--out", "parts", "--count", "9", "--manifest"]))
        .well();
    let parts = place.json("out/set.manifest.json");
    assert_eq!(parts["content_sha256"], own["content_sha256"]);
    let text = place.text("out/set.manifest.json");
    let sum = own["content_sha256"].as_str().expect("a checksum");
    place.write("out/set.manifest.json", text.replace(sum, &"3".repeat(64)));
    let done = place.run(&verify(&["--count", "9"]));
    assert_eq!(done.status, Some(1));
    assert!(
        done.stdout
            .contains("set.manifest.json does not fit the set: content_sha256"),
        "{}",
        done.stdout
    );
}

/// A shard that somebody made under another secret fits the recipe; it is told from the published seal, before any opening.
#[test]
fn shards_of_another_secret_are_told_before_the_opening() {
    let place = place();
    let mine = sealed("0", "out", "hidden-out", "mine.txt");
    let theirs = sealed("5", "apart", "hidden-apart", "theirs.txt");
    place.run(&make(&mine)).well();
    place.run(&make(&theirs)).well();
    for (name, bytes) in folder(&place, "apart") {
        if name.contains("0000000005") || name.contains("000000000") && !name.contains("-00000") {
            place.write(&format!("out/{name}"), bytes);
        }
    }
    let done = place.run(&verify(&["--count", "10"]));
    assert_eq!(done.status, Some(1));
    assert!(
        done.stdout
            .contains("set.0000000005-0000000009.shard.json is a shard of another secret"),
        "{}",
        done.stdout
    );
    let told = place
        .run(&verify(&["--count", "5", "--remake", "1"]))
        .unable()
        .stderr;
    assert!(
        told.contains("items of a sealed set cannot be made again without its secret"),
        "{told}"
    );
    place.write("zeros.txt", "0".repeat(32));
    let told = place.run(&make(&sealed("0", "new", "hidden", "zeros.txt")));
    assert!(
        told.unable()
            .stderr
            .contains("zeros.txt holds nothing but zeros"),
        "zeros"
    );
}
