//! Who may ask. A page of another site that is open in the same browser must not, nor, without the token, anybody else in the
//! same network.
//!
//! The name in `Host` must be this machine's own, so that a foreign name pointed here (DNS rebinding) is turned away; an
//! `Origin` must be the server's own. With `--lan` any numeric address is a good name, and every request for data needs the token.

use super::request::Request;
use std::net::IpAddr;

/// Rules of one server.
#[derive(Debug, Clone)]
pub struct Guard {
    /// Port it listens on.
    pub port: u16,
    /// Needed for data when it listens beyond this machine.
    pub token: Option<String>,
}

/// Header that carries the token.
pub const TOKEN_HEADER: &str = "x-skewstar-key";

impl Guard {
    /// The status of a refusal, or nothing.
    pub fn refusal(&self, request: &Request) -> Option<u16> {
        let hosts = request
            .headers
            .iter()
            .filter(|(name, _)| name == "host")
            .count();
        let host = request.header("host").filter(|_| hosts == 1);
        let Some(host) = host.filter(|host| self.is_own(host)) else {
            return Some(421);
        };
        if let Some(origin) = request.header("origin")
            && origin != format!("http://{host}")
        {
            return Some(403);
        }
        if matches!(
            request.header("sec-fetch-site"),
            Some("cross-site" | "same-site")
        ) && request.path.starts_with("/api/")
        {
            return Some(403);
        }
        let needs_token = request.path.starts_with("/api/");
        match &self.token {
            Some(token) if needs_token => {
                let given = request.header(TOKEN_HEADER).unwrap_or_default();
                (!same(given.as_bytes(), token.as_bytes())).then_some(401)
            }
            _ => None,
        }
    }

    fn is_own(&self, host: &str) -> bool {
        let Some((name, port)) = host.rsplit_once(':') else {
            return self.port == 80 && self.is_own_name(host);
        };
        port.parse() == Ok(self.port) && self.is_own_name(name)
    }

    fn is_own_name(&self, name: &str) -> bool {
        let bare = name.trim_start_matches('[').trim_end_matches(']');
        match bare.parse::<IpAddr>() {
            Ok(address) => address.is_loopback() || self.token.is_some(),
            Err(_) => name.eq_ignore_ascii_case("localhost"),
        }
    }
}

/// Whether two words are the same, in a time that does not tell where they differ.
fn same(a: &[u8], b: &[u8]) -> bool {
    a.len() == b.len() && a.iter().zip(b).fold(0, |differs, (x, y)| differs | (x ^ y)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn request(path: &str, headers: &[(&str, &str)]) -> Request {
        Request {
            method: "GET".into(),
            path: path.into(),
            query: String::new(),
            headers: headers
                .iter()
                .map(|(n, v)| ((*n).to_owned(), (*v).to_owned()))
                .collect(),
            body: Vec::new(),
        }
    }

    #[test]
    fn only_own_names_and_origins_pass() {
        let guard = Guard {
            port: 4321,
            token: None,
        };
        let asked = |headers: &[(&str, &str)]| guard.refusal(&request("/api/about", headers));
        for good in [
            "localhost:4321",
            "127.0.0.1:4321",
            "[::1]:4321",
            "LOCALHOST:4321",
        ] {
            assert_eq!(asked(&[("host", good)]), None, "{good}");
        }
        for bad in [
            "example.org:4321",
            "localhost:80",
            "localhost",
            "192.168.1.7:4321",
            "",
            "localhost.example.org:4321",
        ] {
            assert_eq!(asked(&[("host", bad)]), Some(421), "{bad}");
        }
        assert_eq!(asked(&[]), Some(421));
        assert_eq!(
            asked(&[("host", "localhost:4321"), ("host", "localhost:4321")]),
            Some(421)
        );
        let own = ("host", "localhost:4321");
        assert_eq!(asked(&[own, ("origin", "http://localhost:4321")]), None);
        assert_eq!(asked(&[own, ("origin", "http://example.org")]), Some(403));
        assert_eq!(asked(&[own, ("origin", "null")]), Some(403));
        assert_eq!(asked(&[own, ("sec-fetch-site", "cross-site")]), Some(403));
    }

    #[test]
    fn in_the_network_data_needs_the_token() {
        let guard = Guard {
            port: 4321,
            token: Some("0123abcd".into()),
        };
        let host = ("host", "192.168.1.7:4321");
        let asked = |path: &str, headers: &[(&str, &str)]| guard.refusal(&request(path, headers));
        assert_eq!(asked("/", &[host]), None);
        assert_eq!(asked("/api/about", &[host]), Some(401));
        assert_eq!(
            asked("/api/about", &[host, (TOKEN_HEADER, "0123abce")]),
            Some(401)
        );
        assert_eq!(
            asked("/api/about", &[host, (TOKEN_HEADER, "0123abcd")]),
            None
        );
        assert_eq!(asked("/", &[("host", "example.org:4321")]), Some(421));
    }
}
