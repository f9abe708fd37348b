//! The page itself, part of the program: which address is which file.

use super::reply::Reply;
use super::request::Request;

const SCRIPT: &str = "text/javascript; charset=utf-8";
const PNG: &str = "image/png";

/// The file of an address; nothing where the address is no file of the page.
pub fn reply(request: &Request) -> Option<Reply> {
    let (kind, bytes): (&str, &[u8]) = match request.path.as_str() {
        "/" => (
            "text/html; charset=utf-8",
            include_bytes!("assets/page.html"),
        ),
        "/page.css" => ("text/css; charset=utf-8", include_bytes!("assets/page.css")),
        "/door.js" => (SCRIPT, include_bytes!("assets/door.js")),
        "/draw.js" => (SCRIPT, include_bytes!("assets/draw.js")),
        "/page.js" => (SCRIPT, include_bytes!("assets/page.js")),
        "/play.js" => (SCRIPT, include_bytes!("assets/play.js")),
        "/telescope.js" => (SCRIPT, include_bytes!("assets/telescope.js")),
        "/frame.js" => (SCRIPT, include_bytes!("assets/frame.js")),
        "/lessons.js" => (SCRIPT, include_bytes!("assets/lessons.js")),
        "/night.js" => (SCRIPT, include_bytes!("assets/night.js")),
        "/mask.js" => (SCRIPT, include_bytes!("assets/mask.js")),
        "/icon.svg" => ("image/svg+xml", include_bytes!("assets/icon.svg")),
        "/atlas/coma.png" => (PNG, include_bytes!("../../renders/sheet-coma.png")),
        "/atlas/focus.png" => (PNG, include_bytes!("../../renders/sheet-through-focus.png")),
        "/atlas/mask.png" => (
            PNG,
            include_bytes!("../../renders/sheet-doughnut-and-mask.png"),
        ),
        _ => return None,
    };
    Some(match request.method.as_str() {
        "GET" | "HEAD" => Reply::asset(kind, bytes),
        _ => Reply::refusal(405),
    })
}
