//! The page in a browser, behind one door: [`Site::answer`] takes a request and gives a reply, free of sockets, files and clocks. A worker
//! in the browser stands on it (`src/site`, feature `page`) as well as the small HTTP/1.1 server inside the program (feature `serve`),
//! which is for this machine only unless asked otherwise.
//!
//! | file | what it holds |
//! |---|---|
//! | `request.rs`, `reply.rs` | one request in, one reply out |
//! | `routes.rs` | which address does what |
//! | `telescopes.rs` | the telescopes that the page works with |
//! | `frames.rs`, `masks.rs` | a frame that is measured; a mask whose numbers are changed |
//! | `night.rs` | a night that is followed: how it stands, what is told, frames that are handed in |
//! | `lessons.rs` | lessons: their stars and questions |
//! | `drills.rs` | drills and questions of practice |
//! | `rooms.rs` | sessions that are open, and where they are kept |
//! | `view.rs` | a session as the page sees it |
//! | `play.rs` | free play: a star from sliders |
//! | `turnstile.rs` | one picture at a time |
//! | `pixels.rs` | pictures as the page reads them |
//! | `server.rs` | the listener, its threads and their limits |
//! | `incoming.rs` | requests read off a connection |
//! | `guard.rs` | who may ask: Host, Origin, token |
//! | `assets/`, `assets.rs` | the page itself, part of the program |
//!
//! It refuses: other names and origins than its own, bodies and heads above a limit, more sessions, questions and connections than a
//! limit, and any path that is not in the table. No name of a file ever comes from the page. No physics of its own.

#[cfg(feature = "serve")]
mod assets;
mod drills;
mod frames;
#[cfg(feature = "serve")]
mod guard;
#[cfg(feature = "serve")]
mod incoming;
mod lessons;
mod masks;
mod night;
mod pixels;
mod play;
mod reply;
mod request;
mod rooms;
mod routes;
#[cfg(feature = "serve")]
mod server;
mod telescopes;
mod turnstile;
mod view;

pub use frames::measured;
pub use reply::Reply;
pub use request::Request;
pub use rooms::Keeper;
pub use routes::Site;
#[cfg(feature = "serve")]
pub use server::{Config, ServeError, Server};
