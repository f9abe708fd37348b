//! NPY and NPZ, the array files that numpy opens. Bytes in and out, little-endian, rows first, nothing compressed.
//!
//! An NPZ is a ZIP archive of NPY files; it is dated 1980-01-01, so that the same arrays give the same bytes. What is read
//! here is what is written here: other writers' archives are refused, not guessed at.

use super::zip::{END, LISTED, LOCAL, Zip};
use std::fmt::Write as _;

/// An array with a shape.
#[derive(Debug, Clone, PartialEq)]
pub struct NpyArray {
    /// Length along each axis, the slowest first.
    pub shape: Vec<usize>,
    /// The values in that order.
    pub values: NpyValues,
}

/// Values of one type.
#[derive(Debug, Clone, PartialEq)]
pub enum NpyValues {
    /// 16-bit counts, `<u2`.
    Counts(Vec<u16>),
    /// 64-bit whole numbers, `<i8`.
    Whole(Vec<i64>),
    /// 64-bit floating point, `<f8`.
    Real(Vec<f64>),
    /// true and false, `|b1`.
    Flags(Vec<bool>),
    /// Text, `<U` and the length of the longest.
    Text(Vec<String>),
}

/// Why an archive could not be made or read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NpzError {
    /// ZIP without extensions holds less than 4 GiB.
    #[error("the arrays take {bytes} bytes, but an archive holds at most {limit}")]
    TooLarge {
        /// Bytes of the arrays.
        bytes: u64,
        /// Limit.
        limit: u64,
    },
    /// Not an archive of this program, or cut short.
    #[error("this is no archive of arrays as this program writes them: {0}")]
    Malformed(&'static str),
    /// The content does not fit its checksum.
    #[error("the array {0} does not fit its checksum")]
    Checksum(String),
}

const ARCHIVE_LIMIT: u64 = u32::MAX as u64 - (1 << 20);

/// One array as an NPY file (version 1.0, the header padded to 64 bytes).
pub fn npy(array: &NpyArray) -> Vec<u8> {
    let mut shape = String::new();
    for length in &array.shape {
        let _ = write!(shape, "{length}, ");
    }
    let shape = if array.shape.len() == 1 {
        shape.trim_end()
    } else {
        shape.trim_end_matches(", ")
    };
    let kind = match &array.values {
        NpyValues::Counts(_) => "<u2".to_owned(),
        NpyValues::Whole(_) => "<i8".to_owned(),
        NpyValues::Real(_) => "<f8".to_owned(),
        NpyValues::Flags(_) => "|b1".to_owned(),
        NpyValues::Text(words) => format!("<U{}", longest(words)),
    };
    let mut header = format!("{{'descr': '{kind}', 'fortran_order': False, 'shape': ({shape}), }}");
    let before = MAGIC.len() + 2 + header.len() + 1;
    header.push_str(&" ".repeat(before.next_multiple_of(64) - before));
    header.push('\n');
    let mut out = Vec::with_capacity(128 + array.values.bytes());
    out.extend(MAGIC);
    out.extend((header.len() as u16).to_le_bytes());
    out.extend(header.as_bytes());
    match &array.values {
        NpyValues::Counts(values) => out.extend(values.iter().flat_map(|v| v.to_le_bytes())),
        NpyValues::Whole(values) => out.extend(values.iter().flat_map(|v| v.to_le_bytes())),
        NpyValues::Real(values) => out.extend(values.iter().flat_map(|v| v.to_le_bytes())),
        NpyValues::Flags(values) => out.extend(values.iter().map(|v| u8::from(*v))),
        NpyValues::Text(words) => {
            let letters = longest(words);
            for word in words {
                let padded = word.chars().map(u32::from).chain(std::iter::repeat(0));
                out.extend(padded.take(letters).flat_map(u32::to_le_bytes));
            }
        }
    }
    out
}

/// Letters of the longest word, 1 at least.
fn longest(words: &[String]) -> usize {
    let letters = words.iter().map(|word| word.chars().count()).max();
    letters.unwrap_or(1).max(1)
}

const MAGIC: [u8; 8] = *b"\x93NUMPY\x01\x00";

impl NpyValues {
    fn bytes(&self) -> usize {
        match self {
            NpyValues::Counts(values) => 2 * values.len(),
            NpyValues::Whole(values) => 8 * values.len(),
            NpyValues::Real(values) => 8 * values.len(),
            NpyValues::Flags(values) => values.len(),
            NpyValues::Text(words) => 4 * longest(words) * words.len(),
        }
    }

    /// Number of values.
    fn count(&self) -> usize {
        match self {
            NpyValues::Counts(values) => values.len(),
            NpyValues::Whole(values) => values.len(),
            NpyValues::Real(values) => values.len(),
            NpyValues::Flags(values) => values.len(),
            NpyValues::Text(words) => words.len(),
        }
    }
}

/// Named arrays as an NPZ file; `numpy.load` finds each by its name.
///
/// # Errors
/// [`NpzError::TooLarge`] beyond 4 GiB.
pub fn npz(arrays: &[(&str, NpyArray)]) -> Result<Vec<u8>, NpzError> {
    let bytes: u64 = arrays.iter().map(|(_, a)| a.values.bytes() as u64).sum();
    if bytes > ARCHIVE_LIMIT {
        return Err(NpzError::TooLarge {
            bytes,
            limit: ARCHIVE_LIMIT,
        });
    }
    let mut archive = Zip::default();
    for (name, array) in arrays {
        archive.store(&format!("{name}.npy"), &npy(array));
    }
    Ok(archive.finish())
}

/// Reads the arrays of an archive that [`npz`] wrote.
///
/// # Errors
/// [`NpzError::Malformed`] and [`NpzError::Checksum`].
pub fn read_npz(bytes: &[u8]) -> Result<Vec<(String, NpyArray)>, NpzError> {
    let mut arrays = Vec::new();
    let mut rest = bytes;
    while let Some(entry) = rest.strip_prefix(&LOCAL) {
        let (fields, after) = cut(entry, 26)?;
        let word = |at: usize| u32::from_le_bytes([0, 1, 2, 3].map(|i| fields[at + i])) as usize;
        if fields[4..6] != [0, 0] {
            return Err(NpzError::Malformed("an array is compressed"));
        }
        let name_length = usize::from(u16::from_le_bytes([fields[22], fields[23]]));
        let extra_length = usize::from(u16::from_le_bytes([fields[24], fields[25]]));
        let (name, after) = cut(after, name_length)?;
        let (_, after) = cut(after, extra_length)?;
        let (content, after) = cut(after, word(14))?;
        let name = String::from_utf8_lossy(name)
            .trim_end_matches(".npy")
            .to_owned();
        if crc32fast::hash(content) as usize != word(10) {
            return Err(NpzError::Checksum(name));
        }
        arrays.push((name, read_npy(content)?));
        rest = after;
    }
    if arrays.is_empty() || !is_list_of(rest, arrays.len()) {
        return Err(NpzError::Malformed("the list of arrays is missing"));
    }
    Ok(arrays)
}

/// Whether the end of an archive lists so many entries, and is all there.
fn is_list_of(bytes: &[u8], entries: usize) -> bool {
    let Some((list, end)) = bytes.split_last_chunk::<22>() else {
        return false;
    };
    let count = u16::from_le_bytes([end[10], end[11]]);
    let length = u32::from_le_bytes([end[12], end[13], end[14], end[15]]);
    end.starts_with(&END)
        && list.starts_with(&LISTED)
        && (usize::from(count), length as usize) == (entries, list.len())
}

/// Reads an array that [`npy`] wrote.
///
/// # Errors
/// [`NpzError::Malformed`].
pub fn read_npy(bytes: &[u8]) -> Result<NpyArray, NpzError> {
    let after = bytes
        .strip_prefix(&MAGIC)
        .ok_or(NpzError::Malformed("an array does not start as one"))?;
    let (length, after) = cut(after, 2)?;
    let (header, data) = cut(
        after,
        usize::from(u16::from_le_bytes([length[0], length[1]])),
    )?;
    let header = std::str::from_utf8(header).map_err(|_| NpzError::Malformed("its header"))?;
    let inside = |open: &str, close: &str| {
        let from = header.find(open)? + open.len();
        let to = header[from..].find(close)? + from;
        Some(&header[from..to])
    };
    let malformed = NpzError::Malformed("the header of an array");
    let shape = inside("'shape': (", ")").ok_or(malformed.clone())?;
    let lengths = shape.split(',').map(str::trim).filter(|t| !t.is_empty());
    let shape: Vec<usize> = lengths
        .map(|text| text.parse().map_err(|_| malformed.clone()))
        .collect::<Result<_, _>>()?;
    let values = match inside("'descr': '", "'") {
        Some("<u2") => NpyValues::Counts(each(data, u16::from_le_bytes)),
        Some("<i8") => NpyValues::Whole(each(data, i64::from_le_bytes)),
        Some("<f8") => NpyValues::Real(each(data, f64::from_le_bytes)),
        Some("|b1") if data.iter().all(|byte| *byte < 2) => {
            NpyValues::Flags(data.iter().map(|byte| *byte == 1).collect())
        }
        Some(text) => NpyValues::Text(words(data, text).ok_or(malformed)?),
        _ => return Err(malformed),
    };
    let count = shape
        .iter()
        .try_fold(1_usize, |count, length| count.checked_mul(*length));
    if count != Some(values.count()) || values.bytes() != data.len() {
        return Err(NpzError::Malformed(
            "an array is not as long as its shape says",
        ));
    }
    Ok(NpyArray { shape, values })
}

/// Text of the type `<U` and a length; `None` where these are no letters.
fn words(data: &[u8], kind: &str) -> Option<Vec<String>> {
    let letters: usize = kind.strip_prefix("<U")?.parse().ok().filter(|n| *n > 0)?;
    let codes = each(data, u32::from_le_bytes);
    let word = |codes: &[u32]| -> Option<String> {
        let end = codes
            .iter()
            .rposition(|code| *code != 0)
            .map_or(0, |at| at + 1);
        codes[..end]
            .iter()
            .map(|code| char::from_u32(*code))
            .collect()
    };
    codes.chunks(letters).map(word).collect()
}

fn each<const N: usize, T>(data: &[u8], read: impl Fn([u8; N]) -> T) -> Vec<T> {
    let (whole, _) = data.as_chunks::<N>();
    whole.iter().map(|bytes| read(*bytes)).collect()
}

fn cut(bytes: &[u8], at: usize) -> Result<(&[u8], &[u8]), NpzError> {
    bytes
        .split_at_checked(at)
        .ok_or(NpzError::Malformed("it is cut short"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arrays() -> Vec<(&'static str, NpyArray)> {
        let array = |shape: &[usize], values| NpyArray {
            shape: shape.to_vec(),
            values,
        };
        vec![
            (
                "frames",
                array(&[2, 1, 3], NpyValues::Counts(vec![1, 2, 3, 4, 5, 65535])),
            ),
            ("item", array(&[2], NpyValues::Whole(vec![7, -8]))),
            ("a.b", array(&[2], NpyValues::Real(vec![0.1, f64::NAN]))),
            ("flags", array(&[2], NpyValues::Flags(vec![true, false]))),
            (
                "words",
                array(&[2], NpyValues::Text(vec!["RGGB".into(), "ä".into()])),
            ),
        ]
    }

    #[test]
    fn what_is_written_is_read() {
        let read = read_npz(&npz(&arrays()).unwrap()).unwrap();
        assert_eq!(read.len(), 5);
        for ((name, array), (found, other)) in arrays().iter().zip(&read) {
            assert_eq!(name, found);
            // NaN is not equal to itself: the bytes are
            assert_eq!(npy(array), npy(other));
        }
    }

    /// The NPY format, version 1.0: the data start at a multiple of 64 bytes.
    #[test]
    fn data_start_at_a_multiple_of_64() {
        for (_, array) in arrays() {
            let file = npy(&array);
            assert_eq!((file.len() - array.values.bytes()) % 64, 0);
            assert_eq!(file[file.len() - array.values.bytes() - 1], b'\n');
        }
    }

    #[test]
    fn no_damage_goes_unseen_and_none_panics() {
        let good = npz(&arrays()).unwrap();
        for length in 0..good.len() {
            assert!(read_npz(&good[..length]).is_err(), "{length}");
        }
        let mut bad = good.clone();
        let at = good.windows(2).position(|two| two == [0xff, 0xff]).unwrap();
        bad[at] = 0xfe;
        assert_eq!(read_npz(&bad), Err(NpzError::Checksum("frames".into())));
        for at in 0..good.len() {
            let mut bad = good.clone();
            bad[at] ^= 0x41;
            let _ = read_npz(&bad);
        }
    }
}
