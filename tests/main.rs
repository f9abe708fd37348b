//! The single integration test binary: it links once. One module a subject; new tests go into the module whose question
//! they answer.

mod files;
mod masked;
mod support;
mod twins;
