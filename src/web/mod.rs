//! The practice as a page in a browser: a small HTTP/1.1 server inside the program, for this machine only unless asked otherwise.
//!
//! | file | what it holds |
//! |---|---|
//! | `server.rs` | the listener, its threads and their limits |
//! | `request.rs`, `reply.rs` | one request in, one reply out |
//! | `guard.rs` | who may ask: Host, Origin, token |
//! | `routes.rs` | which address does what |
//! | `rooms.rs` | sessions that are open, and where they are kept |
//! | `view.rs` | a session as the page sees it |
//! | `play.rs` | free play: a star from sliders |
//! | `turnstile.rs` | one picture at a time |
//! | `pixels.rs` | pictures as the page reads them |
//! | `assets/` | the page itself, part of the program |
//!
//! It refuses: other names and origins than its own, bodies and heads above a limit, more sessions, questions and connections than a
//! limit, and any path that is not in the table. No name of a file ever comes from the page. No physics of its own.

mod guard;
mod pixels;
mod play;
mod reply;
mod request;
mod rooms;
mod routes;
mod server;
mod turnstile;
mod view;

pub use rooms::Keeper;
pub use server::{Config, ServeError, Server};
