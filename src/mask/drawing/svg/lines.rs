//! Which line of the text an element stands in.
//!
//! The reader of SVG keeps the identifiers of elements, not their places: every element that draws something gets one that tells its line, where
//! it has none of its own.

use crate::instrument::LeftOut;
use std::collections::{BTreeMap, HashMap};
use usvg::roxmltree::{Document, Node};

/// What draws.
const DRAWS: [&str; 8] = [
    "path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "use",
];
const OURS: &str = "skewstar-line-";

/// The text with identifiers, and the lines and names of the elements that have them.
pub(super) struct Lines {
    pub text: String,
    elements: HashMap<String, (u32, usize, String)>,
    unseen: BTreeMap<(u32, usize), String>,
}

impl Lines {
    pub fn of(text: &str, document: &Document<'_>) -> Lines {
        let mut elements = HashMap::new();
        let mut unseen = BTreeMap::new();
        let mut out = String::with_capacity(text.len());
        let mut copied = 0;
        let drawing = document
            .descendants()
            .filter(|n| n.is_element() && DRAWS.contains(&n.tag_name().name()));
        for (number, node) in drawing.enumerate() {
            let start = node.range().start;
            let line = document.text_pos_at(start).row;
            let name = node.tag_name().name().to_owned();
            let id = match node.attribute("id") {
                Some(id) => id.to_owned(),
                None => {
                    let id = format!("{OURS}{line}-{number}");
                    let ends = |c: char| c.is_whitespace() || c == '/' || c == '>';
                    let after = text[start + 1..]
                        .find(ends)
                        .map_or(start + 1, |n| start + 1 + n);
                    out.push_str(&text[copied..after]);
                    out.push_str(&format!(" id=\"{id}\""));
                    copied = after;
                    id
                }
            };
            if !apart(node) {
                unseen.insert((line, number), name.clone());
            }
            elements.insert(id, (line, number, name));
        }
        out.push_str(&text[copied..]);
        Lines {
            text: out,
            elements,
            unseen,
        }
    }

    /// Notes that an element became a path.
    pub fn seen(&mut self, id: &str) {
        if let Some((line, number, _)) = self.elements.get(id) {
            self.unseen.remove(&(*line, *number));
        }
    }

    /// Its line; 1 where it is not known.
    pub fn line(&self, id: &str) -> u32 {
        self.elements.get(id).map_or(1, |(line, ..)| *line)
    }

    /// Its name, as it is typed.
    pub fn element(&self, id: &str) -> String {
        let name = self.elements.get(id).map_or("path", |(.., name)| name);
        format!("<{name}>")
    }

    /// Elements outside of definitions of which no path came.
    pub fn unseen(&self) -> Vec<LeftOut> {
        let left = self.unseen.iter().map(|((line, _), name)| LeftOut {
            line: *line,
            what: format!("<{name}>"),
            why: "it shows nothing: not displayed, or without fill and stroke".to_owned(),
            ways_m: Vec::new(),
        });
        left.collect()
    }
}

/// Whether an element is a definition that others use, or one that uses them: those become paths under other names.
fn apart(node: Node<'_, '_>) -> bool {
    let defines = ["defs", "symbol", "clipPath"];
    node.tag_name().name() == "use"
        || node
            .ancestors()
            .any(|a| defines.contains(&a.tag_name().name()))
}
