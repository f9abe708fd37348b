//! A night on the page, asked as a browser and a script ask: the program serves a folder, frames fall into it or are posted, hands tell from the
//! page and from another window, and strangers are turned away.

use crate::cli::night::TYPED;
use crate::cli::program::Place;
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

/// A camera turned by 100 degrees, and screw B out; what was typed differs.
const TRUE: [&str; 2] = [
    "camera.rotation_deg=100",
    "assembly.response.coma_nm_per_arcmin=57.6",
];

/// A night that is served, until it is dropped.
struct Served {
    place: Place,
    program: Child,
    port: u16,
    token: String,
}

impl Drop for Served {
    fn drop(&mut self) {
        // it may have ended by itself
        self.program.kill().unwrap_or_default();
        self.program.wait().map(|_| ()).unwrap_or_default();
    }
}

impl Served {
    fn open(more: &[&str]) -> Served {
        let place = Place::with_file("unit.toml", TYPED);
        std::fs::create_dir(place.path("camera")).expect("a folder");
        let start = [
            "night",
            "start",
            "--instrument",
            "unit.toml",
            "--session",
            "s.toml",
            "--settle",
            "0",
            "--side",
            "inside",
        ];
        place.run(&start).well();
        Served::of(place, &[&["--session", "s.toml"], more].concat())
    }

    fn of(place: Place, more: &[&str]) -> Served {
        let words = [
            &["serve", "--night", "camera", "--port", "0", "--json"],
            more,
        ]
        .concat();
        let mut program = place
            .command(&words)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program starts");
        let mut said = String::new();
        let mut lines = BufReader::new(program.stdout.take().expect("its answer"));
        while !said.ends_with("}\n") {
            let read = lines.read_line(&mut said).expect("text");
            assert!(read > 0, "it ended: {said}");
        }
        let said: Value = serde_json::from_str(&said).expect("JSON");
        let address = said["address"].as_str().expect("an address");
        let port = address
            .split(['/', '#'])
            .nth(2)
            .and_then(|host| host.split(':').nth(1));
        Served {
            port: port.and_then(|port| port.parse().ok()).expect("a port"),
            token: said["token"].as_str().expect("a token").to_owned(),
            place,
            program,
        }
    }

    /// A frame of the telescope with screw B so far out; its name. `into`: the camera's folder, or another one.
    fn exposed(&self, turns_of_b: f64, seed: u64, into: &str) -> String {
        let turns = format!("state.turns={{A=0.0,B={turns_of_b},C=0.0}}");
        let seed_set = format!("seed={seed}");
        let made = format!("made{seed}");
        let words = [
            "render",
            "unit.toml",
            "--quiet",
            "--out",
            &made,
            "--set",
            &turns,
            "--set",
            &seed_set,
            "--set",
            TRUE[0],
            "--set",
            TRUE[1],
        ];
        self.place.run(&words).well();
        let name = format!("{into}/light{seed}.fits");
        std::fs::create_dir_all(self.place.path(into)).expect("a folder");
        std::fs::rename(
            self.place.path(&format!("{made}/unit.fits")),
            self.place.path(&name),
        )
        .expect("moved");
        name
    }

    /// A request with headers; the status and the body.
    fn asked(&self, method: &str, path: &str, headers: &str, body: &[u8]) -> (u16, Vec<u8>) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("a connection");
        stream
            .set_read_timeout(Some(Duration::from_secs(300)))
            .expect("a timeout");
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: localhost:{}\r\nConnection: close\r\nContent-Length: {}\r\n{headers}\r\n",
            self.port,
            body.len()
        );
        stream.write_all(head.as_bytes()).expect("written");
        // a server that refuses early may close while we still write
        stream.write_all(body).unwrap_or_default();
        let mut reply = Vec::new();
        stream.read_to_end(&mut reply).unwrap_or_default();
        let at = reply
            .windows(4)
            .position(|four| four == b"\r\n\r\n")
            .expect("a head");
        let status = String::from_utf8_lossy(&reply[..at])
            .split(' ')
            .nth(1)
            .and_then(|s| s.parse().ok());
        (status.expect("a status"), reply[at + 4..].to_vec())
    }

    fn key(&self) -> String {
        format!("Authorization: Bearer {}\r\n", self.token)
    }

    fn board(&self) -> Value {
        let (ok, body) = self.asked("GET", "/api/night", &self.key(), b"");
        assert_eq!(ok, 200, "{}", String::from_utf8_lossy(&body));
        serde_json::from_slice(&body).expect("JSON")
    }

    /// Asks until the board is as it should be.
    fn until(&self, what: &str, is: impl Fn(&Value) -> bool) -> Value {
        let begun = Instant::now();
        loop {
            let board = self.board();
            if is(&board) {
                return board;
            }
            assert!(
                begun.elapsed() < Duration::from_secs(240),
                "{what}: {board:#}"
            );
            std::thread::sleep(Duration::from_millis(100));
        }
    }

    fn tell(&self, event: &Value) -> (u16, Value) {
        let headers = format!("{}Content-Type: application/json\r\n", self.key());
        let (status, body) = self.asked(
            "POST",
            "/api/night/tell",
            &headers,
            event.to_string().as_bytes(),
        );
        (status, serde_json::from_slice(&body).unwrap_or(Value::Null))
    }

    fn posted(&self, file: &str) -> (u16, Value) {
        let bytes = self.place.read(file);
        let (status, body) = self.asked("POST", "/night/frame", &self.key(), &bytes);
        assert_eq!(
            body.iter().filter(|byte| **byte == b'\n').count(),
            usize::from(status == 200),
            "one line"
        );
        (status, serde_json::from_slice(&body).unwrap_or(Value::Null))
    }
}

/// A frame that falls into the folder is on the board with its step; "done" tells the step as it was asked; another window's `night turned` is
/// seen; what was told last is taken back, and the step stands again.
#[test]
fn the_folder_is_followed_and_hands_tell_from_two_windows() {
    let night = Served::open(&[]);
    let board = night.board();
    assert_eq!(
        (&board["big"], &board["awaits"]),
        (&json!("frame"), &json!("frame"))
    );
    assert_eq!(
        (&board["hands_in"], &board["can_be_done"]),
        (&json!(false), &json!(false))
    );
    let (refused, words) = night.tell(&json!({ "what": "done" }));
    assert!(
        refused == 409
            && words["hint"]
                .as_str()
                .is_some_and(|hint| hint.contains("frame")),
        "{words}"
    );
    night.exposed(-0.06, 21, "camera");
    let board = night.until("the frame is seen", |board| !board["star"].is_null());
    assert!(
        ["turn", "trial"].contains(&board["do"].as_str().expect("a step")),
        "{board}"
    );
    assert_eq!(
        (&board["hands_in"], &board["awaits"]),
        (&json!(true), &json!("step"))
    );
    let ring = &board["star"]["ring"];
    // similar triangles: 420 µm of defocus at f/2.80 on pixels of 4.2 µm
    let by_hand = 420.0 / (426.0 / 152.0) / 4.2 / 2.0;
    let radius = ring["outer_px"].as_f64().expect("a ring");
    assert!(
        (radius - by_hand).abs() < 0.06 * by_hand,
        "{radius} of {by_hand}"
    );
    let (ok, star) = night.asked("GET", "/api/night/star", &night.key(), b"");
    assert!(ok == 200 && star.starts_with(b"SKW1"));
    // nothing but the stamp while nothing has changed
    let stamp = board["stamp"].as_str().expect("a stamp");
    let (_, same) = night.asked(
        "GET",
        &format!("/api/night?since={stamp}"),
        &night.key(),
        b"",
    );
    assert!(same.len() < 100, "{}", String::from_utf8_lossy(&same));

    // what is no longer on the board is not done
    let (refused, words) = night.tell(&json!({ "what": "done", "big": "another step" }));
    assert!(
        refused == 409
            && words["error"]
                .as_str()
                .is_some_and(|error| error.contains("no longer what is asked for")),
        "{words}"
    );
    let (ok, said) = night.tell(&json!({ "what": "done", "big": board["big"] }));
    assert_eq!(ok, 200, "{said}");
    let screw = board["screw"].as_str().expect("a screw");
    assert!(
        said["said"]
            .as_str()
            .is_some_and(|words| words.contains(&format!("{screw} turned"))),
        "{said}"
    );
    let after = night.board();
    assert_eq!(
        (&after["round"], &after["hands_in"], &after["big"]),
        (&json!(1), &json!(false), &json!("frame"))
    );
    let told = format!(
        "clockwise_turns = {}",
        board["degrees"].as_f64().expect("degrees") / 360.0
    );
    assert!(night.place.text("s.toml").contains(&told), "{told}");

    let (ok, _) = night.tell(&json!({ "what": "undo" }));
    let back = night.board();
    assert_eq!(
        (ok, &back["round"], &back["big"]),
        (200, &json!(0), &board["big"])
    );

    night
        .place
        .run(&["night", "turned", "A", "1/16", "--session", "s.toml"])
        .well();
    let seen = night.until("the other window's turn is seen", |board| {
        board["round"] == 1
    });
    assert!(
        seen["words"]
            .as_str()
            .is_some_and(|words| words.contains("A turned clockwise by 22 degrees")),
        "{seen}"
    );
    night.exposed(-0.06, 22, "camera");
    let seen = night.until("the next frame is seen", |board| {
        board["frames"] == 1 && board["round"] == 1
    });
    assert_eq!(
        seen["path"].as_array().map(Vec::len),
        Some(2),
        "two states of the unit"
    );
    // its star lies beside the session, for the report
    assert!(night.place.read("s.star.png").starts_with(b"\x89PNG"));
}

/// A posted frame is answered with the line of `night frame --json`, number for number; the same bytes again are no second look; what is no image
/// is refused in words.
#[test]
fn a_posted_frame_is_answered_as_the_verb_answers() {
    let night = Served::open(&[]);
    let file = night.exposed(-0.06, 31, "made");
    let twin = [
        "night",
        "start",
        "--instrument",
        "unit.toml",
        "--session",
        "twin.toml",
        "--settle",
        "0",
        "--side",
        "inside",
    ];
    night.place.run(&twin).well();
    let line = night
        .place
        .run(&["night", "frame", &file, "--session", "twin.toml", "--json"]);
    let mut expected: Value = serde_json::from_str(&line.stdout).expect("JSON");
    let (ok, mut posted) = night.posted(&file);
    assert_eq!(ok, 200, "{posted}");
    for said in [&mut expected, &mut posted] {
        said["file"] = json!("as it was named");
    }
    assert_eq!(posted, expected);
    let (ok, again) = night.posted(&file);
    assert!(
        ok == 200
            && again["skipped"]
                .as_str()
                .is_some_and(|why| why.contains("looked at before")),
        "{again}"
    );
    // a frame that was not used sounds like nothing; its step stands
    let board = night.board();
    assert!(
        board["tone"].is_null() && board["can_be_done"] == true,
        "{board}"
    );
    // a frame that another program looks at: the page does not know what is next by it, and asks for nothing
    let elsewhere = night.exposed(-0.06, 33, "made");
    night
        .place
        .run(&["night", "frame", &elsewhere, "--session", "s.toml"])
        .well();
    let board = night.board();
    assert_eq!(
        (&board["awaits"], &board["can_be_done"], &board["do"]),
        (&json!("frame"), &json!(false), &Value::Null)
    );
    assert!(
        board["words"]
            .as_str()
            .is_some_and(|words| words.contains("another window")),
        "{board}"
    );
    night
        .place
        .write("notes.txt", "Dear diary, tonight the star was round.");
    let (refused, words) = night.posted("notes.txt");
    assert!(
        refused == 409
            && words["hint"]
                .as_str()
                .is_some_and(|hint| hint.contains("FITS")),
        "{words}"
    );
    // a name is for messages only: it is no path, and nothing of that name is read or written
    let before = night.place.names();
    let bytes = night.place.read(&night.exposed(-0.06, 32, "made"));
    let (ok, body) = night.asked(
        "POST",
        "/night/frame?name=../../s.toml&written_ms=1",
        &night.key(),
        &bytes,
    );
    let line: Value = serde_json::from_slice(&body).expect("JSON");
    assert_eq!((ok, &line["file"]), (200, &json!("../../s.toml")));
    let new: Vec<String> = night
        .place
        .names()
        .into_iter()
        .filter(|name| !before.contains(name) && !name.starts_with("made"))
        .collect();
    assert!(new.is_empty(), "{new:?}");
}

/// What it is, the status that is due, method, path, headers, body.
type Case<'a> = (&'a str, u16, &'a str, &'a str, String, &'a [u8]);

#[test]
fn strangers_are_turned_away() {
    let night = Served::open(&[]);
    let kind = "Content-Type: application/json\r\n";
    let done = json!({ "what": "done" }).to_string();
    let cases: [Case; 12] = [
        ("no token", 401, "GET", "/api/night", String::new(), b""),
        (
            "no token for a frame",
            401,
            "POST",
            "/night/frame",
            String::new(),
            b"SIMPLE  =",
        ),
        (
            "a wrong token",
            401,
            "GET",
            "/api/night",
            "X-Skewstar-Key: 0000-0000\r\n".into(),
            b"",
        ),
        (
            "no token for a long frame",
            401,
            "POST",
            "/night/frame",
            String::new(),
            &[7; 20_000],
        ),
        (
            "a long telling",
            413,
            "POST",
            "/api/night/tell",
            format!("{kind}{}", night.key()),
            &[b' '; 20_000],
        ),
        (
            "a frame's event",
            400,
            "POST",
            "/api/night/tell",
            format!("{kind}{}", night.key()),
            br#"{"what":"skipped","file":"a","bytes":1,"written_ms":1,"sha256":"a","reason":"b"}"#,
        ),
        (
            "a key too many",
            400,
            "POST",
            "/api/night/tell",
            format!("{kind}{}", night.key()),
            br#"{"what":"skip","session":"/etc/passwd"}"#,
        ),
        (
            "no such screw",
            409,
            "POST",
            "/api/night/tell",
            format!("{kind}{}", night.key()),
            br#"{"what":"cannot","screw":"Z"}"#,
        ),
        (
            "too far a turn",
            409,
            "POST",
            "/api/night/tell",
            format!("{kind}{}", night.key()),
            br#"{"what":"turned","screw":"A","clockwise_turns":40}"#,
        ),
        (
            "a form",
            415,
            "POST",
            "/api/night/tell",
            night.key(),
            done.as_bytes(),
        ),
        (
            "GET where a frame is posted",
            405,
            "GET",
            "/night/frame",
            night.key(),
            b"",
        ),
        (
            "another address",
            404,
            "GET",
            "/night/s.toml",
            night.key(),
            b"",
        ),
    ];
    for (what, wanted, method, path, headers, body) in cases {
        let (status, said) = night.asked(method, path, &headers, body);
        assert_eq!(status, wanted, "{what}: {}", String::from_utf8_lossy(&said));
    }
    let foreign = format!("{}Origin: http://example.org\r\n", night.key());
    assert_eq!(
        night
            .asked("POST", "/night/frame", &foreign, b"SIMPLE  =")
            .0,
        403
    );
    // a frame of more than 64 MB is refused by its head
    let mut stream = TcpStream::connect(("127.0.0.1", night.port)).expect("a connection");
    let head = format!(
        "POST /night/frame HTTP/1.1\r\nHost: localhost:{}\r\n{}Content-Length: 67108865\r\n\r\n",
        night.port,
        night.key()
    );
    stream.write_all(head.as_bytes()).expect("written");
    let mut reply = [0; 12];
    stream.read_exact(&mut reply).expect("a reply");
    assert_eq!(&reply, b"HTTP/1.1 413");
    assert_eq!(night.board()["round"], 0, "nothing was told");
}

/// Without a session one is begun beside; the same command goes on with it, and another instrument is refused.
#[test]
fn a_night_goes_on_after_its_program_ended() {
    let place = Place::with_file("unit.toml", TYPED);
    std::fs::create_dir(place.path("camera")).expect("a folder");
    let mut night = Served::of(place, &["--instrument", "unit.toml"]);
    let (ok, _) = night.tell(&json!({ "what": "side", "side": "inside" }));
    assert_eq!(ok, 200);
    night.program.kill().expect("ended");
    night.program.wait().expect("ended");
    let place = std::mem::replace(&mut night.place, Place::new());
    drop(night);
    let again = Served::of(place, &["--instrument", "unit.toml"]);
    assert_eq!(again.board()["side"], "inside");
    again
        .place
        .write("other.toml", TYPED.replace("152.0", "153.0"));
    let other = [
        "serve",
        "--night",
        "camera",
        "--instrument",
        "other.toml",
        "--session",
        "unit.night.toml",
        "--port",
        "0",
    ];
    let refused = again.place.run(&other);
    assert!(
        refused.stderr.contains("another instrument"),
        "{}",
        refused.stderr
    );
    let none = again
        .place
        .run(&["serve", "--night", "camera", "--port", "0"]);
    assert!(
        none.stderr.contains("hint: ") && none.stderr.contains("--instrument"),
        "{}",
        none.stderr
    );
    let nowhere = again.place.run(&[
        "serve",
        "--night",
        "camcorder",
        "--instrument",
        "unit.toml",
        "--port",
        "0",
    ]);
    assert!(nowhere.stderr.contains("camcorder"), "{}", nowhere.stderr);
}

/// The program without a night has no address for one.
#[test]
fn without_a_night_there_is_none() {
    let port = crate::web::run(crate::web::config(0, false, None));
    let (status, words) = crate::web::post(port, "/api/night/tell", &json!({ "what": "done" }));
    assert_eq!(status, 404);
    assert!(
        words["hint"]
            .as_str()
            .is_some_and(|hint| hint.contains("--night")),
        "{words}"
    );
}
