//! A FITS file out of gzip, as `.fits.gz`. Bounded: what would unpack to more than [`MAX_UNPACKED_BYTES`] is refused, and nothing but
//! the first block is unpacked of what is no FITS file.

use super::FitsError;
use flate2::read::MultiGzDecoder;
use std::io::Read;

/// Most bytes that a packed file may have once it is unpacked: 1 GiB, 500 million pixels of 16 bits.
pub const MAX_UNPACKED_BYTES: u64 = 1 << 30;

/// First bytes of a file packed with gzip (RFC 1952, section 2.3.1).
pub(super) const GZIP: &[u8] = b"\x1f\x8b";

/// Unpacks a file of at most `limit` bytes.
pub(super) fn gunzip(bytes: &[u8], limit: u64) -> Result<Vec<u8>, FitsError> {
    let broken = |error: std::io::Error| FitsError::BrokenGzip {
        reason: error.to_string(),
    };
    let mut stream = MultiGzDecoder::new(bytes);
    let mut unpacked = Vec::new();
    let start = super::reading::START.len() as u64;
    (&mut stream)
        .take(start)
        .read_to_end(&mut unpacked)
        .map_err(broken)?;
    if unpacked != super::reading::START {
        return Err(FitsError::Packed { program: "gzip" });
    }
    (&mut stream)
        .take(limit + 1 - start.min(limit))
        .read_to_end(&mut unpacked)
        .map_err(broken)?;
    if unpacked.len() as u64 > limit {
        return Err(FitsError::UnpacksTooLarge { limit });
    }
    Ok(unpacked)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::{Compression, write::GzEncoder};
    use std::io::Write;

    fn packed(content: &[u8]) -> Vec<u8> {
        let mut file = GzEncoder::new(Vec::new(), Compression::best());
        file.write_all(content).expect("memory");
        file.finish().expect("memory")
    }

    /// A file of zeros shrinks a thousandfold; it is cut off at the limit, not at its end.
    #[test]
    fn what_unpacks_to_too_much_is_refused() {
        let content = [b"SIMPLE".as_slice(), &[b' '; 100_000]].concat();
        let file = packed(&content);
        assert!(file.len() < 1000, "{} bytes", file.len());
        assert_eq!(
            gunzip(&file, content.len() as u64).as_deref(),
            Ok(&content[..])
        );
        let limit = content.len() as u64 - 1;
        let refused = gunzip(&file, limit);
        assert_eq!(refused, Err(FitsError::UnpacksTooLarge { limit }));
    }

    #[test]
    fn what_is_no_fits_file_or_is_cut_short_is_told() {
        assert_eq!(
            gunzip(&packed(b"a,b\n1,2\n"), 99),
            Err(FitsError::Packed { program: "gzip" })
        );
        let file = packed(b"SIMPLE  =                    T");
        for length in [0, 1, 5, file.len() - 9, file.len() - 1] {
            let cut = gunzip(&file[..length], 99);
            assert!(matches!(cut, Err(FitsError::BrokenGzip { .. })), "{cut:?}");
        }
    }
}
