//! Binary STL in millimetres, sky side down.

use super::mm;
use crate::mask::solid::Solid;

/// The solid as bytes.
pub fn write(solid: &Solid) -> Vec<u8> {
    let mut out = Vec::with_capacity(84 + 50 * solid.triangles.len());
    let mut head = [b' '; 80];
    let words = b"skewstar mask, mm, sky side down";
    head[..words.len()].copy_from_slice(words);
    out.extend(head);
    out.extend((solid.triangles.len() as u32).to_le_bytes());
    for triangle in &solid.triangles {
        let corners = triangle.map(|v| solid.vertices[v as usize].map(mm));
        for value in normal(&corners).iter().chain(corners.iter().flatten()) {
            out.extend((*value as f32).to_le_bytes());
        }
        out.extend([0, 0]);
    }
    out
}

fn normal([a, b, c]: &[[f64; 3]; 3]) -> [f64; 3] {
    let (u, v) = (
        [0, 1, 2].map(|i| b[i] - a[i]),
        [0, 1, 2].map(|i| c[i] - a[i]),
    );
    let n = [
        u[1] * v[2] - u[2] * v[1],
        u[2] * v[0] - u[0] * v[2],
        u[0] * v[1] - u[1] * v[0],
    ];
    let length = n.iter().map(|x| x * x).sum::<f64>().sqrt();
    n.map(|x| x / length)
}
