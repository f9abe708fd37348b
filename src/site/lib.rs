//! The page without a server: requests come as messages to a worker in the browser and are answered by the same
//! [`Site`](skewstar::web::Site) that the server stands on. Nothing leaves the browser; sessions live in its memory.
//!
//! `.ci/site` builds it with the page's files beside it. It refuses nothing of its own: the door and its limits are the library's.

use skewstar::practice::BENCH;
use skewstar::scenario;
use skewstar::web::{Reply, Request, Site, measured};
use std::sync::Arc;
use wasm_bindgen::prelude::{JsError, wasm_bindgen};

/// The page, about the practice bench until another telescope is handed in.
#[wasm_bindgen]
pub struct Page(Site);

#[wasm_bindgen]
impl Page {
    /// Opens it.
    ///
    /// # Errors
    /// Where the practice bench cannot be read, which a unit test of the library rules out.
    #[wasm_bindgen(constructor)]
    pub fn new() -> Result<Page, JsError> {
        let bench = scenario::read(BENCH, "the practice bench", &[])?;
        let site = Site::new(bench, BENCH.to_owned(), None, Some(Arc::new(measured)));
        Ok(Page(site))
    }

    /// Answers a request: its method, its path, the part behind the question mark, and a body with its media type.
    pub fn answer(
        &self,
        method: String,
        path: String,
        query: String,
        kind: String,
        body: Vec<u8>,
    ) -> Answer {
        let request = Request {
            method,
            path,
            query,
            headers: vec![("content-type".to_owned(), kind)],
            body,
        };
        Answer(self.0.answer(&request))
    }
}

/// A reply.
#[wasm_bindgen]
pub struct Answer(Reply);

#[wasm_bindgen]
impl Answer {
    /// Its status, as a server has it.
    #[wasm_bindgen(getter)]
    pub fn status(&self) -> u16 {
        self.0.status
    }

    /// The media type of its body.
    #[wasm_bindgen(getter)]
    pub fn kind(&self) -> String {
        self.0.kind.to_owned()
    }

    /// Its body.
    #[wasm_bindgen(getter)]
    pub fn body(&self) -> Vec<u8> {
        self.0.body.clone()
    }
}
