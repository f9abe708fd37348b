//! What a file looks like, by its first bytes.

/// What the bytes are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Looks {
    /// No bytes at all.
    Nothing,
    /// FITS.
    Fits,
    /// A picture that is read.
    Picture(Format),
    /// Something else, in words.
    Other(&'static str),
}

/// Pictures that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    Png,
    Tiff,
    Jpeg,
}

impl Format {
    pub fn name(self) -> &'static str {
        match self {
            Format::Png => "PNG",
            Format::Tiff => "TIFF",
            Format::Jpeg => "JPEG",
        }
    }
}

/// First bytes of files that people hand in; longer ones first where they share a start.
const STARTS: [(&[u8], Looks); 21] = [
    (b"SIMPLE", Looks::Fits),
    (b"\x89PNG\r\n\x1a\n", Looks::Picture(Format::Png)),
    (b"II\x2a\x00", Looks::Picture(Format::Tiff)),
    (b"MM\x00\x2a", Looks::Picture(Format::Tiff)),
    (
        b"II\x2b\x00",
        Looks::Other("a TIFF file of the kind for more than 4 GB"),
    ),
    (
        b"MM\x00\x2b",
        Looks::Other("a TIFF file of the kind for more than 4 GB"),
    ),
    (b"\xff\xd8\xff", Looks::Picture(Format::Jpeg)),
    // packed FITS is told apart by the FITS reader, which says what to do
    (b"\x1f\x8b", Looks::Fits),
    (b"BZh", Looks::Fits),
    (b"\xfd7zXZ", Looks::Fits),
    (b"\x28\xb5\x2f\xfd", Looks::Fits),
    (b"PK\x03\x04", Looks::Fits),
    (b"GIF8", Looks::Other("a GIF picture")),
    (b"BM", Looks::Other("a BMP picture")),
    (b"RIFF", Looks::Other("a video, a sound or a WebP picture")),
    (
        b"8BPS",
        Looks::Other("a layered picture of a drawing program"),
    ),
    (b"%PDF", Looks::Other("a PDF document")),
    (b"\x89HDF", Looks::Other("an HDF5 file")),
    (b"<", Looks::Other("a web page or an XML text")),
    (b"{", Looks::Other("a JSON text")),
    (
        b"XTENSION",
        Looks::Other("a FITS extension without its file"),
    ),
];

impl Looks {
    pub fn of(bytes: &[u8]) -> Looks {
        if bytes.is_empty() {
            return Looks::Nothing;
        }
        let start = STARTS.iter().find(|(start, _)| bytes.starts_with(start));
        if let Some((_, looks)) = start {
            return *looks;
        }
        if bytes.get(4..8) == Some(b"ftyp") {
            return Looks::Other("a video, or a picture packed like one");
        }
        let head = &bytes[..bytes.len().min(512)];
        let plain = |byte: &u8| matches!(byte, b'\t' | b'\n' | b'\r' | b' '..=b'~');
        if head.iter().all(plain) {
            Looks::Other("plain text")
        } else if head.iter().all(|byte| *byte == 0) {
            Looks::Other("nothing but zeros")
        } else {
            Looks::Other("no file of a kind that is known here")
        }
    }
}
