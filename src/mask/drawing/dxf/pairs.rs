//! A DXF as pairs of a group code and a value, and the entities that they make.

use super::super::{DrawingError, limited};
use super::at_pair;
use std::collections::HashSet;

/// What a binary DXF begins with.
pub(super) const BINARY: &[u8] = b"AutoCAD Binary DXF";
/// Most pairs.
const PAIRS_AT_MOST: u64 = 4_000_000;
/// Largest number that is a place or a size, in drawing units.
const LARGEST: f64 = 1e8;

/// A group code with its value, and the line of the value.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pair<'a> {
    pub code: i32,
    pub value: &'a str,
    pub line: u32,
}

impl Pair<'_> {
    /// Its value as a number that can be meant.
    pub fn number(&self) -> Result<f64, DrawingError> {
        let number = self.value.parse::<f64>().ok();
        let good = number.filter(|n| n.is_finite() && n.abs() <= LARGEST);
        good.ok_or_else(|| {
            let shown: String = self.value.chars().take(40).collect();
            at_pair(
                self,
                format!(
                    "{shown:?} is no number that can be meant (group {})",
                    self.code
                ),
                "export the drawing again; a place or size is a number of at most 100 000 000",
            )
        })
    }
}

/// One entity: its kind, the line where it begins, its pairs, and for a polyline those of each vertex.
#[derive(Debug)]
pub(super) struct Entity<'a> {
    pub kind: &'a str,
    pub line: u32,
    pub pairs: Vec<Pair<'a>>,
    pub vertices: Vec<Vec<Pair<'a>>>,
}

impl<'a> Entity<'a> {
    /// The first number of a group code; `None` where it is left out.
    pub fn number(&self, code: i32) -> Result<Option<f64>, DrawingError> {
        let pair = self.pairs.iter().find(|pair| pair.code == code);
        pair.map(Pair::number).transpose()
    }

    /// The same where it cannot be done without.
    pub fn needed(&self, code: i32) -> Result<f64, DrawingError> {
        self.number(code)?.ok_or_else(|| {
            super::at(
                self,
                format!("{} has no group {code}", self.kind),
                "export the drawing again: it is cut short",
            )
        })
    }

    /// All numbers of a group code.
    pub fn numbers(&self, code: i32) -> Result<Vec<f64>, DrawingError> {
        let pairs = self.pairs.iter().filter(|pair| pair.code == code);
        pairs.map(Pair::number).collect()
    }

    pub fn layer(&self) -> Option<&'a str> {
        let pair = self.pairs.iter().find(|pair| pair.code == 8);
        pair.map(|pair| pair.value)
    }
}

/// Bytes without the mark that some programs set before UTF-8.
pub(super) fn unmarked(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes)
}

/// The pairs of a text.
pub(super) fn pairs(bytes: &[u8]) -> Result<Vec<Pair<'_>>, DrawingError> {
    let bytes = unmarked(bytes);
    let whole = |line: u32, what: &str, hint: &'static str| DrawingError::Dxf {
        line,
        what: what.to_owned(),
        hint,
    };
    if bytes.starts_with(BINARY) || bytes.contains(&0) {
        let hint = "save it as a DXF in text form (ASCII), of any release from 12 to 2018";
        return Err(whole(1, "this is a binary DXF", hint));
    }
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        // older releases write notes in the code page of their country; what stands before is looked at, nothing is guessed
        Err(error) => {
            let line = 1 + bytes[..error.valid_up_to()]
                .iter()
                .filter(|b| **b == b'\n')
                .count();
            let hint = "save it as a DXF of release 2007 or later, whose text is UTF-8, or take the letters out";
            return Err(whole(line as u32, "a letter is not UTF-8", hint));
        }
    };
    let mut lines = text.lines().zip(1_u32..);
    let mut found = Vec::new();
    while let Some((code, at)) = lines.next() {
        if code.trim().is_empty() {
            continue;
        }
        let hint = "export the drawing again: lines come in pairs, a code and its value";
        let code = code.trim().parse::<i32>().map_err(|_| {
            let shown: String = code.chars().take(40).collect();
            whole(at, &format!("{shown:?} is no group code"), hint)
        })?;
        let Some((value, line)) = lines.next() else {
            return Err(whole(at, "the text ends after a group code", hint));
        };
        found.push(Pair {
            code,
            value: value.trim(),
            line,
        });
        limited("pairs", found.len() as u64, PAIRS_AT_MOST)?;
    }
    Ok(found)
}

/// A number of the header.
pub(super) fn header_number(all: &[Pair<'_>], name: &str) -> Option<f64> {
    let at = all.iter().position(|p| p.code == 9 && p.value == name)?;
    all.get(at + 1)?.value.parse().ok()
}

/// Names of layers that are off (a negative colour) or frozen.
pub(super) fn hidden_layers<'a>(all: &[Pair<'a>]) -> HashSet<&'a str> {
    let mut hidden = HashSet::new();
    for (start, pair) in all.iter().enumerate() {
        if pair.code != 0 || pair.value != "LAYER" {
            continue;
        }
        let own: Vec<&Pair<'a>> = all[start + 1..]
            .iter()
            .take_while(|p| p.code != 0)
            .collect();
        let of = |code: i32| own.iter().find(|p| p.code == code);
        let number = |code: i32| {
            of(code)
                .and_then(|p| p.value.parse::<i64>().ok())
                .unwrap_or(0)
        };
        if let Some(name) = of(2).filter(|_| number(62) < 0 || number(70) & 1 == 1) {
            hidden.insert(name.value);
        }
    }
    hidden
}

/// The entities of the section ENTITIES.
pub(super) fn entities<'a>(all: &[Pair<'a>]) -> Result<Vec<Entity<'a>>, DrawingError> {
    let section = |p: &[Pair<'_>]| {
        p[0].code == 0 && p[0].value == "SECTION" && p[1].code == 2 && p[1].value == "ENTITIES"
    };
    let Some(start) = all.windows(2).position(section) else {
        return Err(DrawingError::Dxf {
            line: all.last().map_or(1, |p| p.line),
            what: "there is no section ENTITIES".to_owned(),
            hint: "export the drawing again: it is cut short",
        });
    };
    let mut list: Vec<Entity<'a>> = Vec::new();
    let mut ended = false;
    let mut vertex = false;
    for pair in &all[start + 2..] {
        if pair.code != 0 {
            let Some(entity) = list.last_mut() else {
                continue;
            };
            match entity.vertices.last_mut().filter(|_| vertex) {
                Some(pairs) => pairs.push(*pair),
                None => entity.pairs.push(*pair),
            }
            continue;
        }
        match pair.value {
            "ENDSEC" => {
                ended = true;
                break;
            }
            "VERTEX" => {
                vertex = true;
                match list.last_mut().filter(|e| e.kind == "POLYLINE") {
                    Some(entity) => entity.vertices.push(Vec::new()),
                    None => {
                        let hint = "export the drawing again: it is cut short";
                        return Err(at_pair(pair, "a VERTEX without its POLYLINE", hint));
                    }
                }
            }
            "SEQEND" => vertex = true,
            kind => {
                vertex = false;
                list.push(Entity {
                    kind,
                    line: pair.line,
                    pairs: Vec::new(),
                    vertices: Vec::new(),
                });
            }
        }
    }
    if ended {
        return Ok(list);
    }
    Err(DrawingError::Dxf {
        line: all.last().map_or(1, |p| p.line),
        what: "the section ENTITIES has no end".to_owned(),
        hint: "export the drawing again: it is cut short",
    })
}
