//! One reply: status, headers that keep a browser strict, body.

use serde::Serialize;
use serde_json::json;
#[cfg(feature = "serve")]
use std::io::{self, Write};

/// A reply.
#[derive(Debug, Clone, PartialEq)]
pub struct Reply {
    /// Status.
    pub status: u16,
    /// Media type of the body.
    pub kind: &'static str,
    /// The body.
    pub body: Vec<u8>,
    #[cfg(feature = "serve")]
    kept_by_browser: bool,
}

impl Reply {
    /// JSON.
    pub fn json(value: &impl Serialize) -> Reply {
        match serde_json::to_vec(value) {
            Ok(body) => Reply::of(200, "application/json", body),
            Err(_) => Reply::error(500, "the answer cannot be written", ""),
        }
    }

    /// Part of the page.
    #[cfg(feature = "serve")]
    pub fn asset(kind: &'static str, body: &[u8]) -> Reply {
        Reply {
            kept_by_browser: true,
            ..Reply::of(200, kind, body.to_vec())
        }
    }

    /// Bytes for the page's script.
    pub fn bytes(body: Vec<u8>) -> Reply {
        Reply::of(200, "application/octet-stream", body)
    }

    /// Several bodies, each behind its length in four bytes.
    pub fn parts(parts: &[Vec<u8>]) -> Reply {
        let mut body = Vec::new();
        for part in parts {
            body.extend_from_slice(&u32::try_from(part.len()).unwrap_or(0).to_le_bytes());
            body.extend_from_slice(part);
        }
        Reply::bytes(body)
    }

    /// A file to be kept by whoever asked.
    pub fn file(kind: &'static str, body: Vec<u8>) -> Reply {
        Reply::of(200, kind, body)
    }

    /// A refusal in words, with what to try next.
    pub fn error(status: u16, words: &str, hint: &str) -> Reply {
        let body = json!({ "error": words, "hint": hint })
            .to_string()
            .into_bytes();
        Reply::of(status, "application/json", body)
    }

    /// A refusal that its number explains.
    pub fn refusal(status: u16) -> Reply {
        Reply::error(status, reason(status), "")
    }

    fn of(status: u16, kind: &'static str, body: Vec<u8>) -> Reply {
        Reply {
            status,
            kind,
            body,
            #[cfg(feature = "serve")]
            kept_by_browser: false,
        }
    }

    /// Writes it; without its body for a HEAD request.
    #[cfg(feature = "serve")]
    pub fn send(&self, sink: &mut impl Write, keep_alive: bool, with_body: bool) -> io::Result<()> {
        let connection = if keep_alive { "keep-alive" } else { "close" };
        let cache = if self.kept_by_browser {
            "no-cache"
        } else {
            "no-store"
        };
        let head = format!(
            "HTTP/1.1 {} {}\r\nContent-Type: {}\r\nContent-Length: {}\r\nConnection: {connection}\r\nCache-Control: {cache}\r\n{STRICT}\r\n",
            self.status,
            reason(self.status),
            self.kind,
            self.body.len(),
        );
        let mut bytes = head.into_bytes();
        if with_body {
            bytes.extend_from_slice(&self.body);
        }
        sink.write_all(&bytes)?;
        sink.flush()
    }
}

/// Nothing from elsewhere, nothing inline, nowhere else to be framed.
#[cfg(feature = "serve")]
const STRICT: &str = "Content-Security-Policy: default-src 'self'; img-src 'self' data:; frame-ancestors 'none'; form-action 'none'; base-uri 'none'\r\nX-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nCross-Origin-Resource-Policy: same-origin\r\n";

fn reason(status: u16) -> &'static str {
    match status {
        200 => "OK",
        400 => "Bad Request",
        401 => "Unauthorized",
        403 => "Forbidden",
        404 => "Not Found",
        405 => "Method Not Allowed",
        408 => "Request Timeout",
        409 => "Conflict",
        410 => "Gone",
        413 => "Content Too Large",
        415 => "Unsupported Media Type",
        421 => "Misdirected Request",
        429 => "Too Many Requests",
        431 => "Request Header Fields Too Large",
        501 => "Not Implemented",
        503 => "Service Unavailable",
        505 => "HTTP Version Not Supported",
        _ => "Internal Server Error",
    }
}
