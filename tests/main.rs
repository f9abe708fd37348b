//! The single integration test binary: it links once. One module a subject; new tests go into the module whose question
//! they answer.

mod camera;
mod conventions;
mod files;
mod masked;
mod peers;
mod published;
mod renders;
mod scenarios;
mod support;
mod twins;
