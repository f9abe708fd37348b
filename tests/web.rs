//! The page's server from outside: what it serves, what it refuses, that nothing it is sent brings it down, and that sessions
//! outlive it.

use serde_json::{Value, json};
use skewstar::measure::{MeasureOptions, Picture, Side, measure};
use skewstar::practice::{BENCH, MeasureRequest};
use skewstar::scenario;
use skewstar::units::NM;
use skewstar::web::{Config, Keeper, ServeError, Server};
use std::collections::HashMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// Keeps sessions in memory.
#[derive(Default, Clone)]
pub struct Shelf(Arc<Mutex<HashMap<String, String>>>);

impl Keeper for Shelf {
    fn keep(&self, name: &str, text: &str) -> Result<(), String> {
        self.0
            .lock()
            .expect("a lock")
            .insert(name.into(), text.into());
        Ok(())
    }
    fn fetch(&self, name: &str) -> Option<String> {
        self.0.lock().expect("a lock").get(name).cloned()
    }
}

pub fn config(port: u16, lan: bool, shelf: Option<Shelf>) -> Config {
    // a small frame, so that pictures are quick in tests
    let sets = ["camera.width_px=48", "camera.height_px=44"].map(String::from);
    let text = BENCH
        .replace("width_px = 84", "width_px = 48")
        .replace("height_px = 84", "height_px = 44");
    Config {
        scenario: scenario::read(BENCH, "bench", &sets).expect("the bench"),
        scenario_text: text,
        port,
        lan,
        keeper: shelf.map(|shelf| Box::new(shelf) as Box<dyn Keeper>),
        measurer: None,
        night: None,
    }
}

/// Opens a server on any free port; returns the port. The thread ends with the tests.
fn serve(shelf: Option<Shelf>) -> u16 {
    run(config(0, false, shelf))
}

pub fn run(config: Config) -> u16 {
    let server = Server::open(config).expect("a server");
    let port = port_of(&server.address());
    std::thread::spawn(move || server.run());
    port
}

fn port_of(address: &str) -> u16 {
    let after = address.rsplit(':').next().expect("a port");
    after
        .split('/')
        .next()
        .expect("a port")
        .parse()
        .expect("a number")
}

/// The bench with its whole frame, and something that measures.
fn serve_measuring(
    measurer: impl Fn(&MeasureRequest<'_>) -> Result<String, String> + Send + Sync + 'static,
) -> u16 {
    run(Config {
        scenario: scenario::read(BENCH, "bench", &[]).expect("the bench"),
        scenario_text: BENCH.into(),
        measurer: Some(Arc::new(measurer)),
        ..config(0, false, None)
    })
}

/// Sends bytes as they are and reads until the other side closes.
fn raw(port: u16, bytes: &[u8]) -> String {
    String::from_utf8_lossy(&raw_bytes(port, bytes)).into_owned()
}

fn raw_bytes(port: u16, bytes: &[u8]) -> Vec<u8> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("a connection");
    stream
        .set_read_timeout(Some(Duration::from_secs(300)))
        .expect("a timeout");
    // a server that refuses early may close while we still write
    stream.write_all(bytes).unwrap_or_default();
    let mut reply = Vec::new();
    stream.read_to_end(&mut reply).unwrap_or_default();
    reply
}

fn status(reply: &str) -> u16 {
    reply
        .split(' ')
        .nth(1)
        .and_then(|s| s.parse().ok())
        .unwrap_or(0)
}

fn send(port: u16, method: &str, path: &str, headers: &str, body: &str) -> String {
    let length = if body.is_empty() {
        String::new()
    } else {
        format!("Content-Length: {}\r\n", body.len())
    };
    raw(
        port,
        format!("{method} {path} HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n{length}{headers}\r\n{body}").as_bytes(),
    )
}

pub fn post(port: u16, path: &str, body: &Value) -> (u16, Value) {
    let reply = send(
        port,
        "POST",
        path,
        "Content-Type: application/json\r\n",
        &body.to_string(),
    );
    (status(&reply), content(&reply))
}

fn get(port: u16, path: &str) -> (u16, Value) {
    let reply = send(port, "GET", path, "", "");
    (status(&reply), content(&reply))
}

fn content(reply: &str) -> Value {
    let body = reply.split_once("\r\n\r\n").map_or("", |(_, body)| body);
    serde_json::from_str(body).unwrap_or(Value::Null)
}

#[test]
fn a_session_can_be_played_through() {
    let port = serve(None);
    let (_, about) = get(port, "/api/about");
    assert_eq!(
        about["can_measure"], false,
        "nothing was handed in that measures"
    );
    assert_eq!(about["cautions"].as_array().expect("cautions").len(), 5);
    let (ok, started) = post(
        port,
        "/api/sessions",
        &json!({ "level": "two-screws", "seed": 5 }),
    );
    assert_eq!(ok, 200, "{started}");
    let name = started["session"].as_str().expect("a name");
    assert!(
        started.get("hidden").is_none() && started["report"].is_null(),
        "nothing hidden is shown"
    );
    let at = |rest: &str| format!("/api/sessions/{name}{rest}");
    let (_, turned) = post(
        port,
        &at("/actions"),
        &json!({ "do": "turn", "screw": "A", "clockwise_turns": 0.125 }),
    );
    assert_eq!(turned["round"], 1);
    let star = send(port, "GET", &at("/star"), "", "");
    assert_eq!(status(&star), 200);
    assert!(
        star.contains("SKW1") && star.contains("Content-Length: 4244"),
        "{}",
        &star[..300]
    );
    let (refused, words) = post(
        port,
        &at("/actions"),
        &json!({ "do": "turn", "screw": "A", "clockwise_turns": 0.75 }),
    );
    assert_eq!(refused, 409);
    assert!(
        words["error"].as_str().expect("words").contains("binds"),
        "{words}"
    );
    assert_eq!(post(port, &at("/measure"), &json!({})).0, 404);
    let (_, finished) = post(port, &at("/actions"), &json!({ "do": "finish" }));
    assert!(
        finished["report"]["words"]
            .as_str()
            .expect("a report")
            .contains("Hidden at the start")
    );
}

#[test]
fn abuse_is_refused_and_the_server_lives() {
    let port = serve(None);
    let own = format!("Host: localhost:{port}\r\n");
    let (_, started) = post(port, "/api/sessions", &json!({ "level": "one-screw" }));
    let name = started["session"].as_str().expect("a name").to_owned();
    let actions = format!("/api/sessions/{name}/actions");
    let kind = "Content-Type: application/json\r\n";
    let cases: Vec<(&str, u16, String)> = vec![
        ("malformed JSON", 400, send(port, "POST", &actions, kind, "{\"do\": \"turn\", ")),
        ("an unknown key", 400, send(port, "POST", &actions, kind, "{\"do\": \"look\", \"x\": 1}")),
        ("an unknown action", 400, send(port, "POST", &actions, kind, "{\"do\": \"explode\"}")),
        ("deep nesting", 400, send(port, "POST", &actions, kind, &"[".repeat(9000))),
        ("no number", 400, send(port, "POST", &actions, kind, "{\"do\":\"focus\",\"outward_um\":1e999}")),
        ("a form", 415, send(port, "POST", &actions, "Content-Type: text/plain\r\n", "{}")),
        ("no type", 415, send(port, "POST", &actions, "", "{}")),
        ("a huge body", 413, raw(port, format!("POST {actions} HTTP/1.1\r\n{own}{kind}Content-Length: 900000000\r\n\r\n").as_bytes())),
        ("two lengths", 400, raw(port, format!("POST {actions} HTTP/1.1\r\n{own}Content-Length: 2\r\nContent-Length: 3\r\n\r\n{{}}").as_bytes())),
        ("a long body where words are due", 413, raw(port, format!("POST {actions} HTTP/1.1\r\n{own}{kind}Content-Length: 20000\r\n\r\n").as_bytes())),
        ("a frame beyond its limit", 413, raw(port, format!("POST /api/frames HTTP/1.1\r\n{own}Content-Length: 67108865\r\n\r\n").as_bytes())),
        ("a frame for a foreign Host", 421, raw(port, b"POST /api/frames HTTP/1.1\r\nHost: example.org\r\nContent-Length: 60000\r\n\r\n")),
        ("chunks", 501, raw(port, format!("POST {actions} HTTP/1.1\r\n{own}Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n").as_bytes())),
        ("a wrong method", 405, send(port, "DELETE", "/", "", "")),
        ("GET where POST is due", 405, send(port, "GET", &actions, "", "")),
        ("no such page", 404, send(port, "GET", "/etc/passwd", "", "")),
        ("dots", 404, send(port, "GET", "/atlas/../../etc/passwd", "", "")),
        ("escaped dots", 404, send(port, "GET", "/api/sessions/..%2f..%2fetc%2fpasswd", "", "")),
        ("another's name", 404, send(port, "GET", "/api/sessions/0123456789abcdef", "", "")),
        ("dots as a name", 404, send(port, "GET", "/api/sessions/../about", "", "")),
        ("a foreign Host", 421, raw(port, b"GET / HTTP/1.1\r\nHost: example.org\r\nConnection: close\r\n\r\n")),
        ("no Host", 421, raw(port, b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n")),
        ("a foreign Origin", 403, send(port, "POST", "/api/sessions", &format!("{kind}Origin: http://example.org\r\n"), "{\"level\":\"one-screw\"}")),
        ("noise", 400, raw(port, b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n")),
        ("a huge head", 431, raw(port, format!("GET / HTTP/1.1\r\n{own}X: {}\r\n\r\n", "a".repeat(40_000)).as_bytes())),
        ("many headers", 431, raw(port, format!("GET / HTTP/1.1\r\n{own}{}\r\n", "a: b\r\n".repeat(100)).as_bytes())),
        ("a slider out of range", 400, send(port, "GET", "/api/play?tilt_arcmin=1e9", "", "")),
        ("a slider that is no number", 400, send(port, "GET", "/api/play?focus_um=NaN", "", "")),
        ("no time", 400, send(port, "GET", &format!("/api/sessions/{name}/star?at_s=-inf"), "", "")),
        ("an unknown level", 400, send(port, "POST", "/api/sessions", kind, "{\"level\":\"ten-screws\"}")),
        ("a seed too large", 400, send(port, "POST", "/api/sessions", kind, "{\"level\":\"one-screw\",\"seed\":9007199254740992}")),
    ];
    let wrong: Vec<String> = cases
        .iter()
        .filter(|(_, wanted, reply)| status(reply) != *wanted)
        .map(|(what, wanted, reply)| {
            format!(
                "{what}: {wanted} wanted, got {}",
                &reply[..reply.len().min(200)]
            )
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(
        get(port, &format!("/api/sessions/{name}")).0,
        200,
        "the server lives"
    );
}

/// Half a request is given up after five seconds; meanwhile everybody else is served.
#[test]
fn a_request_that_never_ends_is_given_up() {
    let port = serve(None);
    let mut slow = TcpStream::connect(("127.0.0.1", port)).expect("a connection");
    slow.write_all(b"GET / HTTP/1.1\r\nHost: loc")
        .expect("written");
    assert_eq!(get(port, "/api/about").0, 200);
    let mut reply = String::new();
    slow.set_read_timeout(Some(Duration::from_secs(300)))
        .expect("a timeout");
    slow.read_to_string(&mut reply).expect("a reply");
    assert_eq!(status(&reply), 408, "{reply}");
}

/// Frames are long: one at a time is taken, whoever comes meanwhile is told to come back, and short requests are served all the while.
#[test]
fn one_long_body_at_a_time() {
    let port = serve(None);
    let head = format!(
        "POST /api/frames HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\nContent-Length: 40000\r\n\r\n"
    );
    let mut first = TcpStream::connect(("127.0.0.1", port)).expect("a connection");
    first.write_all(head.as_bytes()).expect("written");
    first.write_all(&[7; 100]).expect("written");
    std::thread::sleep(Duration::from_millis(500)); // its head has arrived
    let second = raw(port, format!("{head}{}", "x".repeat(40_000)).as_bytes());
    assert_eq!(status(&second), 503, "{second}");
    assert_eq!(get(port, "/api/about").0, 200);
    first.write_all(&[7; 39_900]).expect("written");
    let mut reply = String::new();
    first.read_to_string(&mut reply).expect("a reply");
    assert_eq!(status(&reply), 409, "no frame, and said so: {reply}");
}

#[test]
fn fifty_clients_at_once_get_their_pictures() {
    let port = serve(None);
    let clients: Vec<_> = (0..50)
        .map(|number: u64| {
            std::thread::spawn(move || {
                let (ok, started) = post(
                    port,
                    "/api/sessions",
                    &json!({ "level": "one-screw", "seed": number }),
                );
                assert_eq!(ok, 200, "{started}");
                let name = started["session"].as_str().expect("a name").to_owned();
                let action = json!({ "do": "turn", "screw": "B", "clockwise_turns": 0.0625 });
                assert_eq!(
                    post(port, &format!("/api/sessions/{name}/actions"), &action).0,
                    200
                );
                assert_eq!(get(port, &format!("/api/sessions/{name}/star")).0, 200);
            })
        })
        .collect();
    for client in clients {
        client.join().expect("no client failed");
    }
}

#[test]
fn a_session_outlives_its_server() {
    let shelf = Shelf::default();
    let first = serve(Some(shelf.clone()));
    let (_, started) = post(
        first,
        "/api/sessions",
        &json!({ "level": "camera", "seed": 8 }),
    );
    let name = started["session"].as_str().expect("a name").to_owned();
    let action = json!({ "do": "turn", "screw": "C", "clockwise_turns": -0.125 });
    let (_, before) = post(first, &format!("/api/sessions/{name}/actions"), &action);
    let second = serve(Some(shelf));
    let (ok, mut after) = get(second, &format!("/api/sessions/{name}"));
    assert_eq!(ok, 200);
    after["said"] = before["said"].clone();
    assert_eq!(before, after);
}

#[test]
fn in_the_network_a_token_is_needed() {
    let server = Server::open(config(0, true, None)).expect("a server");
    let address = server.address();
    let token = address.split_once('#').expect("a token").1.to_owned();
    assert_eq!(
        token.len(),
        9,
        "short enough to be typed on a phone: {token}"
    );
    let port = port_of(address.split('#').next().expect("an address"));
    std::thread::spawn(move || server.run());
    assert_eq!(status(&send(port, "GET", "/", "", "")), 200);
    assert_eq!(status(&send(port, "GET", "/api/about", "", "")), 401);
    let wrong = "X-Skewstar-Key: 0000-0000\r\n";
    assert_eq!(status(&send(port, "GET", "/api/about", wrong, "")), 401);
    let right = format!("X-Skewstar-Key: {token}\r\n");
    assert_eq!(status(&send(port, "GET", "/api/about", &right, "")), 200);
}

#[test]
fn a_port_in_use_is_said_in_words() {
    let port = serve(None);
    let error = Server::open(config(port, false, None))
        .err()
        .expect("refused");
    assert!(matches!(error, ServeError::PortInUse { .. }));
    assert_eq!(
        error.to_string(),
        format!("port {port} is in use by another program")
    );
    assert!(error.hint().contains("--port 0"));
}

/// The page asks nobody else, and the browser is told to hold it to that.
#[test]
fn the_page_is_whole_and_strict() {
    let port = serve(None);
    for path in [
        "/",
        "/page.css",
        "/page.js",
        "/draw.js",
        "/play.js",
        "/door.js",
        "/telescope.js",
        "/frame.js",
        "/mask.js",
        "/lessons.js",
        "/night.js",
        "/icon.svg",
        "/atlas/coma.png",
    ] {
        let reply = send(port, "GET", path, "", "");
        assert_eq!(status(&reply), 200, "{path}");
        let (head, body) = reply.split_once("\r\n\r\n").expect("a head");
        assert!(
            head.contains("Content-Security-Policy: default-src 'self'"),
            "{head}"
        );
        assert!(
            !body.contains("https://") && !body.contains("//cdn") && body.len() > 100,
            "{path} asks elsewhere"
        );
        let head_only = send(port, "HEAD", path, "", "");
        assert!(head_only.ends_with("\r\n\r\n") && status(&head_only) == 200);
    }
}

/// Coma as the library measures it in the frame that the server hands over: Noll 8 and 7 in nm.
fn coma_of(asked: &MeasureRequest<'_>) -> Result<String, String> {
    let picture = Picture::from(asked.frame);
    let options = MeasureOptions {
        mask_on: Some(asked.mask_on),
        side: Some(if asked.inside {
            Side::Inside
        } else {
            Side::Outside
        }),
        ..MeasureOptions::default()
    };
    let found = measure(&picture, asked.owner, &options).map_err(|error| error.to_string())?;
    let mode = |noll| found.mode_m(noll).map(|found| found.value / NM);
    let (x, y) = (mode(8).ok_or("no Noll 8")?, mode(7).ok_or("no Noll 7")?);
    Ok(format!("{x:.2},{y:.2}"))
}

/// What is measured in the session's own frame is the coma that the report shows at the end; it costs its minutes.
#[test]
fn the_frame_of_a_session_is_measured() {
    let port = serve_measuring(coma_of);
    assert_eq!(get(port, "/api/about").1["can_measure"], true);
    let (_, started) = post(
        port,
        "/api/sessions",
        &json!({ "level": "one-screw", "seed": 12 }),
    );
    let name = started["session"].as_str().expect("a name");
    let at = |rest: &str| format!("/api/sessions/{name}{rest}");
    let (ok, measured) = post(port, &at("/measure"), &json!({}));
    assert_eq!(ok, 200, "{measured}");
    let minutes = |view: &Value| view["cost_min"].as_f64().expect("minutes");
    assert_eq!(minutes(&measured) - minutes(&started), 2.0);
    assert_eq!(measured["round"], started["round"], "nothing was turned");
    let said = measured["said"].as_str().expect("words");
    let (numbers, goal) = said.split_once('\n').expect("a line behind the numbers");
    assert!(goal.starts_with("The drill is won below "), "{goal}");
    let parts: Vec<f64> = numbers
        .split(',')
        .map(|part| part.parse().expect(said))
        .collect();
    let (_, finished) = post(port, &at("/actions"), &json!({ "do": "finish" }));
    let truth = finished["report"]["numbers"]["rounds"][0]["coma_nm"]
        .as_f64()
        .expect("coma at the start");
    let found = parts[0].hypot(parts[1]);
    println!("coma {found:.1} nm measured, {truth:.1} nm hidden");
    assert!((found - truth).abs() < 0.15 * truth, "{found} of {truth}");
}

#[test]
fn what_cannot_be_measured_is_refused_in_words() {
    let port = serve_measuring(|_| Err("there is no star here".into()));
    let (_, started) = post(
        port,
        "/api/sessions",
        &json!({ "level": "one-screw", "seed": 12 }),
    );
    let name = started["session"].as_str().expect("a name");
    let measure = format!("/api/sessions/{name}/measure");
    let (refused, words) = post(port, &measure, &json!({}));
    assert_eq!(refused, 409);
    assert_eq!(words["error"], "there is no star here");
    assert_eq!(words["hint"], "recentre the star, or take the mask off");
    let (refused, words) = post(port, &measure, &json!({ "star": 1 }));
    assert_eq!(refused, 400);
    let error = words["error"].as_str().expect("words");
    assert!(error.starts_with("the body cannot be meant: "), "{words}");
    let plain = send(port, "POST", &measure, "Content-Type: text/plain\r\n", "{}");
    assert_eq!(status(&plain), 415);
    assert_eq!(get(port, &measure).0, 405);
    let (unknown, words) = post(port, "/api/sessions/0123456789abcdef/measure", &json!({}));
    assert_eq!(unknown, 404);
    assert_eq!(words["error"], "there is no such session");
    let (refused, words) = post(
        port,
        &format!("/api/sessions/{name}/actions"),
        &json!({ "do": "measure" }),
    );
    assert_eq!(refused, 400);
    assert_eq!(words["error"], "measure has an address of its own");
    let (_, after) = get(port, &format!("/api/sessions/{name}"));
    assert_eq!(after["cost_min"], started["cost_min"], "nothing was done");
}

/// The report names the screw and its turns; the same drill again, with these taken back, reaches the goal.
#[test]
fn a_drill_is_won_by_undoing_what_its_report_showed() {
    let port = serve(None);
    let start = || {
        let asked = json!({ "level": "one-screw", "seed": 12 });
        let (ok, started) = post(port, "/api/sessions", &asked);
        assert_eq!(ok, 200, "{started}");
        let name = started["session"].as_str().expect("a name");
        format!("/api/sessions/{name}/actions")
    };
    let finish = |actions: &str| {
        let (ok, finished) = post(port, actions, &json!({ "do": "finish" }));
        assert_eq!((ok, &finished["finished"]), (200, &Value::Bool(true)));
        finished["report"]["numbers"].clone()
    };
    let lost = finish(&start());
    assert_eq!(lost["goal_reached"], false);
    let hidden = lost["hidden_turns"].as_array().expect("screws");
    assert_eq!(hidden.len(), 3);
    let actions = start();
    for pair in hidden {
        let height = pair[1].as_f64().expect("turns");
        if height == 0.0 {
            continue;
        }
        // on the bench clockwise lengthens
        let asked = json!({ "do": "turn", "screw": pair[0], "clockwise_turns": -height });
        let (ok, turned) = post(port, &actions, &asked);
        assert_eq!(ok, 200, "{turned}");
    }
    let won = finish(&actions);
    assert_eq!(won["goal_reached"], true, "{won}");
    let (refused, words) = post(port, &actions, &json!({ "do": "look" }));
    assert_eq!(refused, 409, "{words}");
}

/// Three pictures, each behind its length: the doughnut, the masked star, the corners.
#[test]
fn free_play_answers_with_three_pictures() {
    let port = serve(None);
    let path = "/api/play?tilt_arcmin=2&tilt_deg=30&seeing=0";
    let request =
        format!("GET {path} HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n");
    let reply = raw_bytes(port, request.as_bytes());
    let head = reply.windows(4).position(|four| four == b"\r\n\r\n");
    let mut rest = &reply[head.expect("a head") + 4..];
    let mut sides = Vec::new();
    while let Some((length, after)) = rest.split_first_chunk() {
        let (picture, after) = after.split_at(u32::from_le_bytes(*length) as usize);
        assert_eq!(&picture[..4], b"SKW1");
        let side = |at: usize| u16::from_le_bytes([picture[at], picture[at + 1]]);
        assert_eq!(
            picture.len(),
            20 + 2 * usize::from(side(4)) * usize::from(side(6))
        );
        sides.push([side(4), side(6)]);
        rest = after;
    }
    assert_eq!(sides.len(), 3, "{sides:?}");
    assert_eq!(sides[..2], [[48, 44]; 2], "{sides:?}");
    assert_eq!(post(port, "/api/play", &json!({ "tilt_arcmin": 2 })).0, 405);
    let (refused, words) = get(port, "/api/play?tilt_arcmin=7");
    assert_eq!(refused, 400);
    assert_eq!(words["error"], "tilt_arcmin is not a number from -6 to 6");
}
