//! The single integration test binary; one module per question.

mod files;
