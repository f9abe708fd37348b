//! Who may ask. A page of another site that is open in the same browser must not, nor, without the token, anybody else in the
//! same network.
//!
//! The name in `Host` must be this machine's own, so that a foreign name pointed here (DNS rebinding) is turned away; an
//! `Origin` must be the server's own. With `--lan` any numeric address is a good name. With `--lan`, and wherever a night is followed, every
//! request for data needs the token.

use super::request::Request;
use std::net::IpAddr;

/// Rules of one server.
#[derive(Debug, Clone)]
pub struct Guard {
    /// Port it listens on.
    pub port: u16,
    /// Whether other machines of the network may ask.
    pub lan: bool,
    /// Needed for data, where there is one.
    pub token: Option<String>,
}

/// Why somebody may not ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refused {
    /// The status that says it.
    pub status: u16,
    /// Whether a token was tried that is not the right one.
    pub tried: bool,
}

/// Header that carries the token.
pub const TOKEN_HEADER: &str = "x-skewstar-key";

/// Letters and digits of a token: none that is taken for another one (the alphabet of D. Crockford's base 32, from memory).
const TOKEN_LETTERS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";

/// A token that can be typed on a phone: 40 bits in eight letters. Ten wrong ones a second at most are listened to, so that all of them take
/// three thousand years.
pub fn token_of(random: u64) -> String {
    let letter = |k: u32| TOKEN_LETTERS[(random >> (5 * k) & 31) as usize] as char;
    let half = |from: u32| (from..from + 4).map(letter).collect::<String>();
    format!("{}-{}", half(0), half(4))
}

/// A token as it is compared: however it was typed.
fn plain(typed: &str) -> String {
    let letters = typed.chars().filter(char::is_ascii_alphanumeric);
    letters
        .map(|letter| match letter.to_ascii_lowercase() {
            'o' => '0',
            'i' | 'l' => '1',
            other => other,
        })
        .collect()
}

impl Guard {
    /// Why a request is refused, or nothing.
    pub fn refusal(&self, request: &Request) -> Option<Refused> {
        let refused = |status| {
            Some(Refused {
                status,
                tried: false,
            })
        };
        let hosts = request
            .headers
            .iter()
            .filter(|(name, _)| name == "host")
            .count();
        let host = request.header("host").filter(|_| hosts == 1);
        let Some(host) = host.filter(|host| self.is_own(host)) else {
            return refused(421);
        };
        if let Some(origin) = request.header("origin")
            && origin != format!("http://{host}")
        {
            return refused(403);
        }
        if matches!(
            request.header("sec-fetch-site"),
            Some("cross-site" | "same-site")
        ) && request.is_for_data()
        {
            return refused(403);
        }
        match &self.token {
            Some(token) if request.is_for_data() => {
                let given = given_token(request);
                let right = same(plain(given).as_bytes(), plain(token).as_bytes());
                (!right).then_some(Refused {
                    status: 401,
                    tried: !given.is_empty(),
                })
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
            Ok(address) => address.is_loopback() || self.lan,
            Err(_) => name.eq_ignore_ascii_case("localhost"),
        }
    }
}

/// The token that came along: in a header of its own, or as scripts have it, `Authorization: Bearer …`.
fn given_token(request: &Request) -> &str {
    let bearer = || request.header("authorization")?.strip_prefix("Bearer ");
    let own = request.header(TOKEN_HEADER).or_else(bearer);
    own.unwrap_or_default().trim()
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
            lan: false,
            token: None,
        };
        let asked = |headers: &[(&str, &str)]| {
            let refused = guard.refusal(&request("/api/about", headers));
            refused.map(|refused| refused.status)
        };
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

    /// On this machine alone a night has its token too, and no other names than its own.
    #[test]
    fn a_token_lets_no_other_name_in() {
        let guard = Guard {
            port: 4321,
            lan: false,
            token: Some(token_of(0x12_3456_789a)),
        };
        let asked = |host: &str| guard.refusal(&request("/api/about", &[("host", host)]));
        assert_eq!(asked("192.168.1.7:4321").map(|r| r.status), Some(421));
        let refused = asked("localhost:4321").map(|r| (r.status, r.tried));
        assert_eq!(refused, Some((401, false)));
    }

    /// Every token is two fours of letters that are not taken for each other; forty bits make as many tokens.
    #[test]
    fn tokens_are_short_and_differ() {
        let token = token_of(u64::MAX);
        assert_eq!(token, "zzzz-zzzz");
        assert_eq!(token_of(0), "0000-0000");
        let all: std::collections::BTreeSet<String> = (0..40).map(|k| token_of(1 << k)).collect();
        assert_eq!(all.len(), 40);
        assert!(
            token
                .bytes()
                .all(|b| b == b'-' || TOKEN_LETTERS.contains(&b))
        );
        assert!(!TOKEN_LETTERS.iter().any(|b| b"ilou".contains(b)));
    }

    #[test]
    fn in_the_network_data_needs_the_token() {
        let guard = Guard {
            port: 4321,
            lan: true,
            token: Some("0123-abcd".into()),
        };
        let host = ("host", "192.168.1.7:4321");
        let asked = |path: &str, headers: &[(&str, &str)]| {
            let refused = guard.refusal(&request(path, headers));
            refused.map(|refused| refused.status)
        };
        assert_eq!(asked("/", &[host]), None);
        assert_eq!(asked("/api/about", &[host]), Some(401));
        assert_eq!(
            asked("/api/about", &[host, (TOKEN_HEADER, "0123abce")]),
            Some(401)
        );
        assert_eq!(
            asked("/api/about", &[host, (TOKEN_HEADER, "0123-abcd")]),
            None
        );
        // as a thumb types it
        assert_eq!(
            asked("/api/about", &[host, (TOKEN_HEADER, " OI23 ABCD")]),
            None
        );
        for path in ["/api/night", "/night/frame", "x/api/night", "//api/night"] {
            assert_eq!(asked(path, &[host]), Some(401), "{path}");
            let bearer = ("authorization", "Bearer 0123-abcd");
            assert_eq!(asked(path, &[host, bearer]), None, "{path}");
            let wrong = ("authorization", "Bearer 0123-abce");
            assert_eq!(asked(path, &[host, wrong]), Some(401), "{path}");
        }
        assert_eq!(asked("/", &[("host", "example.org:4321")]), Some(421));
    }
}
