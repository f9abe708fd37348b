//! A sealed set: the truth stays with its maker, who is bound to it; nothing that is handed out tells it.

use super::{folder, make, place, verify};

const SEALED: [&str; 6] = [
    "--count",
    "5",
    "--truth-out",
    "hidden",
    "--secret",
    "secret.txt",
];

#[test]
fn nothing_withheld_lies_in_the_folder_that_is_handed_out() {
    for (option, inside) in [
        ("--truth-out", "out/hidden"),
        ("--secret", "out/secret.txt"),
    ] {
        let place = place();
        let before = place.names();
        let mut args = SEALED.to_vec();
        let at = args.iter().position(|arg| *arg == option).unwrap() + 1;
        args[at] = inside;
        let done = place.run(&make(&args));
        assert_eq!(done.status, Some(2), "{}", done.stdout);
        assert!(done.stderr.contains("lies inside out"), "{}", done.stderr);
        assert_eq!(place.names(), before, "nothing is written");
    }
}

#[test]
fn the_truth_is_withheld_and_committed_to() {
    let place = place();
    place.run(&make(&SEALED)).well();
    let secret = place.text("secret.txt");
    assert_eq!(secret.trim().len(), 32);
    let out = folder(&place, "out");
    assert!(
        out.keys().all(|name| !name.ends_with(".truth.csv")),
        "{:?}",
        out.keys()
    );
    assert!(
        place
            .path("hidden/set.0000000000-0000000004.truth.csv")
            .exists()
    );
    for (name, bytes) in &out {
        let text = String::from_utf8_lossy(bytes);
        assert!(!text.contains(secret.trim()), "{name} holds the secret");
        assert!(
            !text.contains("STAR_X") && !text.contains("SEED "),
            "{name} tells a place or a seed"
        );
    }
    let record = place.json("out/set.0000000000-0000000004.shard.json");
    assert_eq!(record["truth_sha256"], serde_json::json!([]));
    assert_eq!(record["truth_commitment"].as_str().map(str::len), Some(64));
    // anybody can check the frames, whoever has secret and truth also the promise
    place.run(&verify(&["--count", "5"])).well();
    let done = place.run(&verify(&SEALED)).well();
    assert!(
        done.stdout.contains("\"commitments_checked\": 1"),
        "{}",
        done.stdout
    );
    let table = "hidden/set.0000000000-0000000004.truth.csv";
    let other = place.text(table).replacen(",inside,", ",outside,", 1);
    let other = if other == place.text(table) {
        place.text(table).replacen(",outside,", ",inside,", 1)
    } else {
        other
    };
    place.write(table, other);
    let done = place.run(&verify(&SEALED));
    assert_eq!(done.status, Some(1));
    assert!(
        done.stdout
            .contains("is not the truth that was committed to"),
        "{}",
        done.stdout
    );
}

#[test]
fn without_the_secret_nothing_can_be_drawn_again() {
    let place = place();
    place.run(&make(&SEALED)).well();
    place.run(&make(&["--out", "open", "--count", "5"])).well();
    let archive = "set.0000000000-0000000004.npz";
    let (sealed, open) = (folder(&place, "out"), folder(&place, "open"));
    assert_ne!(sealed[archive], open[archive]);
    // the same secret makes the same set again
    let again = [
        "--out",
        "again",
        "--count",
        "5",
        "--truth-out",
        "hidden",
        "--secret",
        "secret.txt",
    ];
    place.run(&make(&again)).well();
    assert_eq!(folder(&place, "again"), sealed);
}

#[test]
fn a_file_that_is_no_secret_is_refused() {
    let place = place();
    place.write("secret.txt", "12345\n");
    place.run(&make(&SEALED)).refused(
        "error: secret.txt holds no secret\nhint: a secret is one line of 32 hexadecimal digits; keep it until the set is opened\n",
    );
}
