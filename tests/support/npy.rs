//! Reads the `.npy` files of the references: version 1, little-endian doubles, C order.

use ndarray::Array2;
use std::path::Path;

pub fn read(path: &Path) -> Array2<f64> {
    let bytes = std::fs::read(path).unwrap();
    assert_eq!(&bytes[..8], b"\x93NUMPY\x01\x00", "{}", path.display());
    let length = u16::from_le_bytes([bytes[8], bytes[9]]) as usize;
    let header = std::str::from_utf8(&bytes[10..10 + length]).unwrap();
    assert!(
        header.contains("'<f8'") && header.contains("'fortran_order': False"),
        "{header}"
    );
    let shape = header
        .split("'shape': (")
        .nth(1)
        .and_then(|s| s.split(')').next())
        .unwrap();
    let sides: Vec<usize> = shape
        .split(',')
        .filter(|s| !s.trim().is_empty())
        .map(|s| s.trim().parse().unwrap())
        .collect();
    let values = bytes[10 + length..]
        .chunks_exact(8)
        .map(|b| f64::from_le_bytes(b.try_into().unwrap()))
        .collect();
    Array2::from_shape_vec((sides[0], sides[1]), values).unwrap()
}
