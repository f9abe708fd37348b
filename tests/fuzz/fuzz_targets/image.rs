//! Any bytes, as an image file of every kind: an answer, never a panic, and only finite numbers.
#![no_main]

use libfuzzer_sys::fuzz_target;
use skewstar::image_io::reading::read_image;

fuzz_target!(|bytes: &[u8]| {
    for name in ["fuzz.fits", "fuzz.tif"] {
        match read_image(bytes, name) {
            Ok(reading) => assert!(reading.values.iter().all(|value| value.is_finite())),
            Err(error) => assert!(!error.to_string().is_empty() && !error.hint().is_empty()),
        }
    }
});
