//! 3MF in millimetres: one solid, sky side down, in the smallest package the standard allows.

use super::svg::escaped;
use super::text;
use crate::image_io::zip::Zip;
use crate::mask::solid::Solid;
use std::fmt::Write as _;

const TYPES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>\n";
const RELATIONS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>\n";

/// The package as bytes.
///
/// # Errors
/// None in practice: everything is written to memory.
pub fn write(solid: &Solid, title: &str) -> std::io::Result<Vec<u8>> {
    let mut package = Zip::default();
    package.deflate("[Content_Types].xml", TYPES.as_bytes())?;
    package.deflate("_rels/.rels", RELATIONS.as_bytes())?;
    package.deflate("3D/3dmodel.model", model(solid, title).as_bytes())?;
    Ok(package.finish())
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
