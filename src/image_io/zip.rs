//! A ZIP archive in memory, in the smallest form that readers of NPZ and 3MF accept; dated 1980-01-01, so that the same content
//! gives the same bytes. Numbers of 32 bits: the whole must stay below 4 GiB, which callers see to.

use flate2::Compression;
use flate2::write::DeflateEncoder;
use std::io::Write as _;

/// What an entry begins with.
pub(super) const LOCAL: [u8; 4] = *b"PK\x03\x04";
/// What the list of entries begins with.
pub(super) const LISTED: [u8; 4] = *b"PK\x01\x02";
/// What the end begins with.
pub(super) const END: [u8; 4] = *b"PK\x05\x06";

/// An archive in the making.
#[derive(Debug, Default)]
pub struct Zip {
    out: Vec<u8>,
    list: Vec<u8>,
    entries: u16,
}

impl Zip {
    /// Adds a file as it is.
    pub fn store(&mut self, name: &str, content: &[u8]) {
        self.add(name, content, content, 0);
    }

    /// Adds a file, deflated.
    ///
    /// # Errors
    /// None in practice: everything is written to memory.
    pub fn deflate(&mut self, name: &str, content: &[u8]) -> std::io::Result<()> {
        let mut encoder = DeflateEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(content)?;
        self.add(name, content, &encoder.finish()?, 8);
        Ok(())
    }

    fn add(&mut self, name: &str, content: &[u8], body: &[u8], method: u16) {
        let mut fields = Vec::new();
        for half in [20, 0, method, 0, 0x21] {
            fields.extend(u16::to_le_bytes(half));
        }
        let lengths = [body.len() as u32, content.len() as u32];
        for word in [crc32fast::hash(content), lengths[0], lengths[1]] {
            fields.extend(word.to_le_bytes());
        }
        fields.extend((name.len() as u16).to_le_bytes());
        fields.extend(0_u16.to_le_bytes());
        let start = self.out.len() as u32;
        self.out.extend(LOCAL);
        self.out.extend(&fields);
        self.out.extend(name.as_bytes());
        self.out.extend(body);
        self.list.extend(LISTED);
        self.list.extend([20, 0]);
        self.list.extend(&fields);
        self.list.extend([0; 10]);
        self.list.extend(start.to_le_bytes());
        self.list.extend(name.as_bytes());
        self.entries += 1;
    }

    /// The archive as bytes.
    pub fn finish(mut self) -> Vec<u8> {
        let start = self.out.len() as u32;
        let entries = self.entries.to_le_bytes();
        self.out.extend(&self.list);
        self.out.extend(END);
        self.out.extend([0; 4]);
        self.out.extend(entries);
        self.out.extend(entries);
        self.out.extend((self.list.len() as u32).to_le_bytes());
        self.out.extend(start.to_le_bytes());
        self.out.extend([0, 0]);
        self.out
    }
}
