//! An address as a square that a phone's camera reads.

use qrcode::render::unicode::Dense1x2;
use qrcode::{EcLevel, QrCode};

/// The square in half blocks of a terminal, light on dark; nothing where the text is too long for one.
pub fn of(address: &str) -> String {
    let code = QrCode::with_error_correction_level(address, EcLevel::L);
    code.map_or_else(
        |_| String::new(),
        |code| {
            // terminals are dark: what is dark in the square is left as the ground, and the rest is lit
            code.render::<Dense1x2>()
                .dark_color(Dense1x2::Light)
                .light_color(Dense1x2::Dark)
                .build()
        },
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square of a few rows, the same each time; one address more is another square.
    #[test]
    fn an_address_is_a_square() {
        let square = of("http://192.168.1.7:7391/#k7m3-q9xt");
        let rows: Vec<&str> = square.lines().collect();
        let columns = rows[0].chars().count();
        // version 3 of the code has 29 modules a side, and 4 stay free all round (ISO/IEC 18004)
        assert_eq!(columns, 29 + 8, "{square}");
        assert_eq!(rows.len(), (29 + 8_usize).div_ceil(2));
        assert!(rows.iter().all(|row| row.chars().count() == columns));
        // the margin is lit
        assert!(rows[0].chars().all(|block| block == '█'), "{square}");
        assert_ne!(square, of("http://192.168.1.7:7391/#k7m3-q9xv"));
        assert_eq!(of(&"x".repeat(8000)), "");
    }
}
