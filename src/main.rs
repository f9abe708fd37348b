//! The program `skewstar`: do what was typed, exit status. Everything else is in the library.

fn main() {
    std::process::exit(skewstar::cli::run());
}
