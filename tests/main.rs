//! The integration tests, one binary.

mod scenarios;
