//! 3MF in millimetres: one solid, sky side up, in the smallest package the standard allows.

use super::svg::escaped;
use super::text;
use crate::mask::solid::Solid;
use flate2::Compression;
use flate2::write::DeflateEncoder;
use std::fmt::Write as _;
use std::io::Write as _;

const TYPES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>\n";
const RELATIONS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>\n";

/// The package as bytes.
///
/// # Errors
/// None in practice: everything is written to memory.
pub fn write(solid: &Solid, title: &str) -> std::io::Result<Vec<u8>> {
    packed(&[
        ("[Content_Types].xml", TYPES),
        ("_rels/.rels", RELATIONS),
        ("3D/3dmodel.model", &model(solid, title)),
    ])
}

fn model(solid: &Solid, title: &str) -> String {
    // the standard wants no negative places, and an object on the bed
    let low = [0, 1, 2].map(|i| solid.vertices.iter().map(|v| v[i]).min().unwrap_or(0));
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" xml:lang=\"en\" xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\"><metadata name=\"Title\">{}</metadata><resources><object id=\"1\" type=\"model\"><mesh><vertices>\n",
        escaped(title)
    );
    for v in &solid.vertices {
        let [x, y, z] = [0, 1, 2].map(|i| text(i64::from(v[i]) - i64::from(low[i])));
        let _ = writeln!(out, "<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>");
    }
    out.push_str("</vertices><triangles>\n");
    for [a, b, c] in &solid.triangles {
        let _ = writeln!(out, "<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>");
    }
    out.push_str(
        "</triangles></mesh></object></resources><build><item objectid=\"1\"/></build></model>\n",
    );
    out
}

/// A ZIP archive, deflated, dated 1980-01-01 so that the same mask gives the same bytes.
fn packed(files: &[(&str, &str)]) -> std::io::Result<Vec<u8>> {
    let (mut out, mut index) = (Vec::new(), Vec::new());
    for (name, content) in files {
        let mut encoder = DeflateEncoder::new(Vec::new(), Compression::default());
        encoder.write_all(content.as_bytes())?;
        let body = encoder.finish()?;
        let mut fields = Vec::new();
        for half in [20_u16, 0, 8, 0, 0x21] {
            fields.extend(half.to_le_bytes());
        }
        for word in [
            crc32fast::hash(content.as_bytes()),
            body.len() as u32,
            content.len() as u32,
        ] {
            fields.extend(word.to_le_bytes());
        }
        fields.extend((name.len() as u16).to_le_bytes());
        fields.extend(0_u16.to_le_bytes());
        let start = out.len() as u32;
        out.extend(b"PK\x03\x04");
        out.extend(&fields);
        out.extend(name.as_bytes());
        out.extend(body);
        index.extend(b"PK\x01\x02\x14\x00");
        index.extend(&fields);
        index.extend([0; 10]);
        index.extend(start.to_le_bytes());
        index.extend(name.as_bytes());
    }
    let start = out.len() as u32;
    let count = (files.len() as u16).to_le_bytes();
    out.extend(&index);
    out.extend(b"PK\x05\x06\0\0\0\0");
    out.extend(count);
    out.extend(count);
    out.extend((index.len() as u32).to_le_bytes());
    out.extend(start.to_le_bytes());
    out.extend([0, 0]);
    Ok(out)
}
