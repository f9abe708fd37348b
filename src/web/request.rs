//! One HTTP/1.1 request, read with limits: the head by `httparse`, the body by its length. Chunked bodies are refused.

use std::io::{ErrorKind, Read};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// A head of more bytes is refused.
const HEAD_BYTES_AT_MOST: usize = 16 << 10;
/// A body of more bytes is refused.
const BODY_BYTES_AT_MOST: usize = 16 << 10;
/// More header lines are refused.
const HEADERS_AT_MOST: usize = 64;
/// A request must be complete this long after its first byte.
const COMPLETE_WITHIN: Duration = Duration::from_secs(5);
/// An idle connection is closed after this long.
const IDLE: Duration = Duration::from_secs(15);

/// A request.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// GET, POST, …
    pub method: String,
    /// The path, before any question mark.
    pub path: String,
    /// The part behind the question mark.
    pub query: String,
    /// Names in small letters.
    pub headers: Vec<(String, String)>,
    /// The body.
    pub body: Vec<u8>,
    /// Whether the connection stays open.
    pub keep_alive: bool,
}

/// Why there is no request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoRequest {
    /// The other side has gone, or says nothing.
    Closed,
    /// It is refused with this status; the connection is closed afterwards.
    Refused(u16),
}

impl Request {
    /// A header's value, by its name in small letters.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers
            .iter()
            .find(|(n, _)| n == name)
            .map(|(_, value)| value.as_str())
    }

    /// A value of the query; no escapes are undone, since no value needs any.
    pub fn asked(&self, name: &str) -> Option<&str> {
        self.query
            .split('&')
            .filter_map(|pair| pair.split_once('='))
            .find(|(key, _)| *key == name)
            .map(|(_, value)| value)
    }
}

/// Reads requests from one connection, one after the other.
pub struct RequestReader {
    stream: TcpStream,
    held: Vec<u8>,
}

impl RequestReader {
    /// A reader of a connection.
    pub fn new(stream: TcpStream) -> Self {
        RequestReader {
            stream,
            held: Vec::new(),
        }
    }

    /// The next request.
    pub fn next(&mut self) -> Result<Request, NoRequest> {
        let mut started = (!self.held.is_empty()).then(Instant::now);
        loop {
            if let Some((mut request, head)) = parse(&self.held)? {
                let length = body_length(&request)?;
                while self.held.len() < head + length {
                    self.more(&mut started)?;
                }
                request.body = self.held[head..head + length].to_vec();
                self.held.drain(..head + length);
                return Ok(request);
            }
            if self.held.len() > HEAD_BYTES_AT_MOST {
                return Err(NoRequest::Refused(431));
            }
            self.more(&mut started)?;
        }
    }

    fn more(&mut self, started: &mut Option<Instant>) -> Result<(), NoRequest> {
        let left = match started {
            None => IDLE,
            Some(start) => COMPLETE_WITHIN.saturating_sub(start.elapsed()),
        };
        if left.is_zero() {
            return Err(NoRequest::Refused(408));
        }
        self.stream
            .set_read_timeout(Some(left))
            .map_err(|_| NoRequest::Closed)?;
        let mut buffer = [0u8; 4096];
        match self.stream.read(&mut buffer) {
            Ok(0) => Err(NoRequest::Closed),
            Ok(count) => {
                self.held.extend_from_slice(&buffer[..count]);
                started.get_or_insert_with(Instant::now);
                Ok(())
            }
            Err(error) if error.kind() == ErrorKind::Interrupted => Ok(()),
            Err(_) if started.is_some() => Err(NoRequest::Refused(408)),
            Err(_) => Err(NoRequest::Closed),
        }
    }
}

/// The head of a request and its length; `None` while it is not complete.
fn parse(held: &[u8]) -> Result<Option<(Request, usize)>, NoRequest> {
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
    let (path, query) = target.split_once('?').unwrap_or((target, ""));
    let mut request = Request {
        method: parsed.method.unwrap_or_default().to_owned(),
        path: path.to_owned(),
        query: query.to_owned(),
        headers: kept,
        body: Vec::new(),
        keep_alive: false,
    };
    let closes = request
        .header("connection")
        .is_some_and(|v| v.eq_ignore_ascii_case("close"));
    request.keep_alive = parsed.version == Some(1) && !closes;
    Ok(Some((request, length)))
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
        Ok(length) if length <= BODY_BYTES_AT_MOST => Ok(length),
        _ => Err(NoRequest::Refused(413)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn head(text: &str) -> Result<Option<(Request, usize)>, NoRequest> {
        parse(text.as_bytes())
    }

    #[test]
    fn a_head_is_read() {
        let text = "GET /api/play?coma_nm=12&x=-1 HTTP/1.1\r\nHost: localhost:1\r\nConnection: Close\r\n\r\nrest";
        let (request, length) = head(text).unwrap().unwrap();
        assert_eq!(
            (request.method.as_str(), request.path.as_str()),
            ("GET", "/api/play")
        );
        assert_eq!(request.asked("coma_nm"), Some("12"));
        assert_eq!(request.asked("y"), None);
        assert_eq!(request.header("host"), Some("localhost:1"));
        assert!(!request.keep_alive);
        assert_eq!(&text[length..], "rest");
        assert_eq!(head("GET / HTT"), Ok(None));
    }

    #[test]
    fn what_is_no_head_is_refused() {
        assert_eq!(head("\u{1}\u{2}\r\n\r\n"), Err(NoRequest::Refused(400)));
        assert_eq!(head("GET / HTTP/3.0\r\n\r\n"), Err(NoRequest::Refused(505)));
        let many = format!("GET / HTTP/1.1\r\n{}\r\n", "a: b\r\n".repeat(65));
        assert_eq!(head(&many), Err(NoRequest::Refused(431)));
    }

    #[test]
    fn bodies_have_one_honest_length() {
        let length = |lines: &str| {
            let (request, _) = head(&format!("POST / HTTP/1.1\r\n{lines}\r\n"))
                .unwrap()
                .unwrap();
            body_length(&request)
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
            length("Content-Length: 20000\r\n"),
            Err(NoRequest::Refused(413))
        );
        assert_eq!(
            length("Transfer-Encoding: chunked\r\n"),
            Err(NoRequest::Refused(501))
        );
    }
}
