//! The program `skewstar`: parse, do, exit status. Everything else is in the library.

use clap::Parser;

fn main() {
    std::process::exit(skewstar::cli::run(skewstar::cli::args::Cli::parse()));
}
