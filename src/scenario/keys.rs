//! Every key of a scenario once: path, unit, limits, default, example and meaning, for help pages and messages.

use super::rules::{MapKeys, Rule, ValueShape, rules};

/// What there is to know about one key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeyDoc {
    /// Where it stands: `telescope.vanes[].width_mm`, with `[]` for any item of a list; `N` stands for a Noll index and
    /// `NAME` for the name of a screw.
    pub path: String,
    /// Unit; empty for text, flags and plain counts.
    pub unit: String,
    /// What is allowed, as it reads after "must be".
    pub range: String,
    /// What holds where it is left out; [`KeyDoc::REQUIRED`] where it must be given (in a section that is given).
    pub default: String,
    /// A sensible value as TOML; empty for tables.
    pub example: String,
    /// One sentence.
    pub meaning: String,
}

impl KeyDoc {
    /// The default of a key that has none.
    pub const REQUIRED: &str = "required";
}

/// Every key once, section by section; in each the required keys come first.
pub fn key_table() -> Vec<KeyDoc> {
    let mut table = Vec::new();
    collect(rules(), "", false, &mut table);
    table
}

fn collect(rule: &Rule, path: &str, required: bool, table: &mut Vec<KeyDoc>) {
    match &rule.shape {
        ValueShape::Table(fields) => {
            for field in fields {
                let path = if path.is_empty() {
                    field.name.clone()
                } else {
                    format!("{path}.{}", field.name)
                };
                collect(&field.rule, &path, field.required, table);
            }
        }
        ValueShape::List { item, .. } if matches!(item.shape, ValueShape::Table(_)) => {
            collect(item, &format!("{path}[]"), required, table);
        }
        ValueShape::Map { keys, value } => {
            let name = if *keys == MapKeys::Noll { "N" } else { "NAME" };
            table.push(key_doc(&format!("{path}.{name}"), rule, value, false));
        }
        _ => table.push(key_doc(path, rule, rule, required)),
    }
}

/// Documents a key by the rule around it (meaning, unit, default) and the rule of its value (limits, example).
fn key_doc(path: &str, rule: &Rule, value: &Rule, required: bool) -> KeyDoc {
    let none = || {
        if required {
            KeyDoc::REQUIRED.to_owned()
        } else {
            "none".to_owned()
        }
    };
    KeyDoc {
        path: path.to_owned(),
        unit: rule.unit.clone().unwrap_or_else(|| unit_of_name(path)),
        range: value.allowed(),
        default: rule.default.clone().unwrap_or_else(none),
        example: value.example.clone().unwrap_or_default(),
        meaning: rule.meaning.clone(),
    }
}

/// The unit that a key's name ends in, in words: `coma_nm_per_mm` is in "nm per mm".
fn unit_of_name(path: &str) -> String {
    let name = path.rsplit('.').next().unwrap_or(path);
    let words: Vec<&str> = name.trim_end_matches("[]").split('_').collect();
    let first = words
        .iter()
        .rposition(|word| !UNITS.iter().any(|(suffix, _)| suffix == word))
        .map_or(0, |at| at + 1);
    let unit = |word: &&str| {
        UNITS
            .iter()
            .find(|(suffix, _)| suffix == word)
            .map_or("", |(_, unit)| unit)
    };
    words[first..]
        .iter()
        .map(unit)
        .collect::<Vec<_>>()
        .join(" ")
}

/// Last words of key names, and how they read.
const UNITS: [(&str, &str); 24] = [
    ("mm", "mm"),
    ("mm3", "mm³"),
    ("cm3", "cm³"),
    ("g", "g"),
    ("mm2", "mm²"),
    ("um", "µm"),
    ("nm", "nm"),
    ("m", "m"),
    ("deg", "°"),
    ("arcmin", "arcmin"),
    ("arcmin2", "arcmin²"),
    ("arcsec", "arcsec"),
    ("arcsec2", "arcsec²"),
    ("px", "px"),
    ("e", "e⁻"),
    ("adu", "ADU"),
    ("s", "s"),
    ("k", "K"),
    ("mag", "mag"),
    ("airmass", "airmass"),
    ("turn", "turn"),
    ("turns", "turns"),
    ("waves", "waves"),
    ("per", "per"),
];

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn doc(path: &str) -> KeyDoc {
        key_table()
            .into_iter()
            .find(|doc| doc.path == path)
            .expect(path)
    }

    #[test]
    fn every_key_stands_once_with_a_meaning() {
        let table = key_table();
        let paths: BTreeSet<&str> = table.iter().map(|doc| doc.path.as_str()).collect();
        assert_eq!(paths.len(), table.len());
        assert!(table.len() > 90, "{}", table.len());
        for doc in &table {
            assert!(doc.meaning.len() > 5, "{doc:?}");
            assert!(!doc.range.is_empty() && !doc.default.is_empty(), "{doc:?}");
        }
    }

    #[test]
    fn every_number_has_a_unit_or_is_a_plain_count() {
        let counts = [
            "format",
            "seed",
            "telescope.reflections",
            "camera.wavelengths",
            "camera.bits",
            "field.count",
        ];
        for doc in key_table() {
            if doc.range.contains("number") && !counts.contains(&doc.path.as_str()) {
                assert!(!doc.unit.is_empty(), "{doc:?}");
            }
        }
    }

    #[test]
    fn units_are_read_off_the_names() {
        assert_eq!(
            doc("telescope.field.astigmatism_nm_per_mm2").unit,
            "nm per mm²"
        );
        assert_eq!(doc("camera.gain_e_per_adu").unit, "e⁻ per ADU");
        assert_eq!(doc("camera.pixel_response_rms").unit, "fraction");
        assert_eq!(doc("assembly.screws[].azimuth_deg").unit, "°");
        assert_eq!(doc("state.turns.NAME").unit, "turns");
        assert_eq!(doc("telescope.design_nm.N").unit, "nm RMS");
        assert_eq!(doc("title").unit, "");
    }
}
