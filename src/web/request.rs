//! One request, however it came: over a socket, or as a message to a worker in a browser.

/// No body is longer: a frame of 16 bits with 33 million pixels.
pub const FRAME_BYTES_AT_MOST: usize = 64 << 20;
/// The text of a telescope is no longer, with the quotes and escapes that it travels in.
const TELESCOPE_BYTES_AT_MOST: usize = 2 << 20;
/// Everything else is short.
const WORDS_BYTES_AT_MOST: usize = 16 << 10;

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

    /// Whether it is about data: everything but the page's own files.
    #[cfg(feature = "serve")]
    pub fn is_for_data(&self) -> bool {
        super::assets::reply(self).is_none()
    }

    /// How long a body its address takes at most.
    pub fn bytes_at_most(&self) -> usize {
        match self.path.as_str() {
            "/api/frames" | super::night::FRAME_ADDRESS => FRAME_BYTES_AT_MOST,
            "/api/telescopes" => TELESCOPE_BYTES_AT_MOST,
            _ => WORDS_BYTES_AT_MOST,
        }
    }
}
