//! One HTTP/1.1 request, read with limits: the head by `httparse`, the body by its length. Chunked bodies are refused.
//!
//! A longer body than the page's own messages is read only where whoever listens admits it, once the head is known.

use super::request::{FRAME_BYTES_AT_MOST, Request};
use std::io::{ErrorKind, Read};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// A head of more bytes is refused.
const HEAD_BYTES_AT_MOST: usize = 16 << 10;
/// A body of more bytes has to be admitted.
const BODY_BYTES_AT_MOST: usize = 16 << 10;
/// More header lines are refused.
const HEADERS_AT_MOST: usize = 64;
/// A request must be complete this long after its first byte.
const COMPLETE_WITHIN: Duration = Duration::from_secs(5);
/// A body may take this much longer for every so many bytes: a slow wireless network.
const BYTES_A_SECOND_AT_LEAST: usize = 256 << 10;
/// An idle connection is closed after this long.
const IDLE: Duration = Duration::from_secs(15);

/// Why there is no request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoRequest {
    /// The other side has gone, or says nothing.
    Closed,
    /// It is refused with this status; the connection is closed afterwards.
    Refused(u16),
}

/// A request as it came.
pub struct Arrived<Pass> {
    /// The request.
    pub request: Request,
    /// Whether the connection stays open.
    pub keep_alive: bool,
    /// What a long body was admitted with; it is held until the request is answered.
    pub pass: Option<Pass>,
}

/// Reads requests from one connection, one after the other.
pub struct RequestReader {
    stream: TcpStream,
    held: Vec<u8>,
    /// When the request at hand is given up; `None` before its first byte.
    until: Option<Instant>,
}

impl RequestReader {
    /// A reader of a connection.
    pub fn new(stream: TcpStream) -> Self {
        RequestReader {
            stream,
            held: Vec::new(),
            until: None,
        }
    }

    /// The next request. `admit` is asked about a body of so many bytes that is longer than the page's own messages; it hands out what is
    /// to be held meanwhile, or the status of a refusal.
    pub fn next<Pass>(
        &mut self,
        admit: &dyn Fn(&Request, usize) -> Result<Pass, u16>,
    ) -> Result<Arrived<Pass>, NoRequest> {
        self.until = (!self.held.is_empty()).then(|| Instant::now() + COMPLETE_WITHIN);
        let (mut arrived, head) = loop {
            if let Some(head) = parse(&self.held)? {
                break head;
            }
            if self.held.len() > HEAD_BYTES_AT_MOST {
                return Err(NoRequest::Refused(431));
            }
            self.more()?;
        };
        let length = body_length(&arrived.request)?;
        if length > BODY_BYTES_AT_MOST {
            arrived.pass = Some(admit(&arrived.request, length).map_err(NoRequest::Refused)?);
            let longer = Duration::from_secs((length / BYTES_A_SECOND_AT_LEAST) as u64);
            self.until = self.until.map(|until| until + longer);
        }
        while self.held.len() < head + length {
            self.more()?;
        }
        let rest = self.held.split_off(head + length);
        arrived.request.body = self.held.split_off(head);
        self.held = rest;
        Ok(arrived)
    }

    fn more(&mut self) -> Result<(), NoRequest> {
        let left = match self.until {
            None => IDLE,
            Some(until) => until.saturating_duration_since(Instant::now()),
        };
        if left.is_zero() {
            return Err(NoRequest::Refused(408));
        }
        self.stream
            .set_read_timeout(Some(left))
            .map_err(|_| NoRequest::Closed)?;
        let mut buffer = [0u8; 16 << 10];
        match self.stream.read(&mut buffer) {
            Ok(0) => Err(NoRequest::Closed),
            Ok(count) => {
                self.held.extend_from_slice(&buffer[..count]);
                self.until
                    .get_or_insert_with(|| Instant::now() + COMPLETE_WITHIN);
                Ok(())
            }
            Err(error) if error.kind() == ErrorKind::Interrupted => Ok(()),
            Err(_) if self.until.is_some() => Err(NoRequest::Refused(408)),
            Err(_) => Err(NoRequest::Closed),
        }
    }
}

/// The head of a request and its length; `None` while it is not complete.
fn parse<Pass>(held: &[u8]) -> Result<Option<(Arrived<Pass>, usize)>, NoRequest> {
    let mut headers = [httparse::EMPTY_HEADER; HEADERS_AT_MOST];
    let mut parsed = httparse::Request::new(&mut headers);
    let length = match parsed.parse(held) {
        Ok(httparse::Status::Complete(length)) => length,
        Ok(httparse::Status::Partial) => return Ok(None),
        Err(httparse::Error::TooManyHeaders) => return Err(NoRequest::Refused(431)),
        Err(httparse::Error::Version) => return Err(NoRequest::Refused(505)),
        Err(_) => return Err(NoRequest::Refused(400)),
    };
    if length > HEAD_BYTES_AT_MOST {
        return Err(NoRequest::Refused(431));
    }
    let mut kept = Vec::with_capacity(parsed.headers.len());
    for header in parsed.headers.iter() {
        let value = std::str::from_utf8(header.value).map_err(|_| NoRequest::Refused(400))?;
        kept.push((header.name.to_ascii_lowercase(), value.trim().to_owned()));
    }
    let target = parsed.path.unwrap_or_default();
    // paths of the table begin with a stroke, and the guard reads them: nothing else may stand there
    if !target.starts_with('/') {
        return Err(NoRequest::Refused(400));
    }
    let (path, query) = target.split_once('?').unwrap_or((target, ""));
    let request = Request {
        method: parsed.method.unwrap_or_default().to_owned(),
        path: path.to_owned(),
        query: query.to_owned(),
        headers: kept,
        body: Vec::new(),
    };
    let closes = request
        .header("connection")
        .is_some_and(|v| v.eq_ignore_ascii_case("close"));
    let arrived = Arrived {
        keep_alive: parsed.version == Some(1) && !closes,
        request,
        pass: None,
    };
    Ok(Some((arrived, length)))
}

/// Length of the body. Two lengths, or a length beside chunks, are how requests are smuggled.
fn body_length(request: &Request) -> Result<usize, NoRequest> {
    if request.header("transfer-encoding").is_some() {
        return Err(NoRequest::Refused(501));
    }
    let mut lengths = request
        .headers
        .iter()
        .filter(|(name, _)| name == "content-length");
    let length = match (lengths.next(), lengths.next()) {
        (None, _) => return Ok(0),
        (Some((_, value)), None) => value,
        _ => return Err(NoRequest::Refused(400)),
    };
    if !length.bytes().all(|b| b.is_ascii_digit()) || length.is_empty() {
        return Err(NoRequest::Refused(400));
    }
    match length.parse::<usize>() {
        Ok(length) if length <= FRAME_BYTES_AT_MOST => Ok(length),
        _ => Err(NoRequest::Refused(413)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn head(text: &str) -> Result<Option<(Arrived<()>, usize)>, NoRequest> {
        parse(text.as_bytes())
    }

    fn refused(text: &str) -> Option<NoRequest> {
        head(text).err()
    }

    #[test]
    fn a_head_is_read() {
        let text = "GET /api/play?coma_nm=12&x=-1 HTTP/1.1\r\nHost: localhost:1\r\nConnection: Close\r\n\r\nrest";
        let (arrived, length) = head(text).unwrap().unwrap();
        let request = arrived.request;
        assert_eq!(
            (request.method.as_str(), request.path.as_str()),
            ("GET", "/api/play")
        );
        assert_eq!(request.asked("coma_nm"), Some("12"));
        assert_eq!(request.asked("y"), None);
        assert_eq!(request.header("host"), Some("localhost:1"));
        assert!(!arrived.keep_alive);
        assert_eq!(&text[length..], "rest");
        assert!(head("GET / HTT").unwrap().is_none());
    }

    #[test]
    fn what_is_no_head_is_refused() {
        assert_eq!(refused("\u{1}\u{2}\r\n\r\n"), Some(NoRequest::Refused(400)));
        assert_eq!(
            refused("GET / HTTP/3.0\r\n\r\n"),
            Some(NoRequest::Refused(505))
        );
        for target in ["x/api/about", "*", "http://localhost/api/about", "api"] {
            let text = format!("GET {target} HTTP/1.1\r\n\r\n");
            assert_eq!(refused(&text), Some(NoRequest::Refused(400)), "{target}");
        }
        let many = format!("GET / HTTP/1.1\r\n{}\r\n", "a: b\r\n".repeat(65));
        assert_eq!(refused(&many), Some(NoRequest::Refused(431)));
    }

    #[test]
    fn bodies_have_one_honest_length() {
        let length = |lines: &str| {
            let (arrived, _) = head(&format!("POST / HTTP/1.1\r\n{lines}\r\n"))
                .unwrap()
                .unwrap();
            body_length(&arrived.request)
        };
        assert_eq!(length(""), Ok(0));
        assert_eq!(length("Content-Length: 12\r\n"), Ok(12));
        assert_eq!(
            length("Content-Length: 12\r\nContent-Length: 12\r\n"),
            Err(NoRequest::Refused(400))
        );
        assert_eq!(
            length("Content-Length: +2\r\n"),
            Err(NoRequest::Refused(400))
        );
        assert_eq!(
            length("Content-Length: 99999999999999999999999\r\n"),
            Err(NoRequest::Refused(413))
        );
        assert_eq!(
            length("Content-Length: 67108865\r\n"),
            Err(NoRequest::Refused(413))
        );
        assert_eq!(
            length("Transfer-Encoding: chunked\r\n"),
            Err(NoRequest::Refused(501))
        );
    }
}
