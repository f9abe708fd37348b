//! How large an SVG becomes once every reuse is written out: counted, not expanded, and refused where it is absurd or cannot be meant.

use super::super::{DrawingError, limited};
use std::collections::HashMap;
use usvg::roxmltree::{Document, Node};

/// Most elements, after every reuse is written out.
const ELEMENTS_AT_MOST: u64 = 50_000;
/// Most numbers in the paths, after every reuse is written out.
const NUMBERS_AT_MOST: u64 = 1_500_000;
/// Deepest nesting.
const DEPTH_AT_MOST: usize = 60;

/// How many elements and path numbers a text has once every `<use>` is written out: counted, not expanded.
pub(super) struct Expansion<'a, 'input> {
    by_id: HashMap<&'a str, Node<'a, 'input>>,
    known: HashMap<usvg::roxmltree::NodeId, [u64; 2]>,
    open: Vec<usvg::roxmltree::NodeId>,
}

const REFUSED: [&str; 11] = [
    "text",
    "image",
    "mask",
    "filter",
    "pattern",
    "foreignObject",
    "marker",
    "switch",
    "script",
    "animate",
    "animateTransform",
];

impl<'a, 'input> Expansion<'a, 'input> {
    pub fn check(document: &'a Document<'input>) -> Result<(), DrawingError> {
        let elements = || document.descendants().filter(|n| n.is_element());
        if let Some(node) = elements().find(|n| REFUSED.contains(&n.tag_name().name())) {
            return Err(DrawingError::Element {
                line: document.text_pos_at(node.range().start).row,
                element: node.tag_name().name().to_owned(),
            });
        }
        let mut counts = Expansion {
            by_id: elements()
                .filter_map(|n| Some((n.attribute("id")?, n)))
                .collect(),
            known: HashMap::new(),
            open: Vec::new(),
        };
        let [count, numbers] = counts.of(document.root_element(), 0)?;
        limited("elements (reuse written out)", count, ELEMENTS_AT_MOST)?;
        limited(
            "numbers in its paths (reuse written out)",
            numbers,
            NUMBERS_AT_MOST,
        )
    }

    fn of(&mut self, node: Node<'a, 'input>, depth: usize) -> Result<[u64; 2], DrawingError> {
        limited("levels of nesting", depth as u64, DEPTH_AT_MOST as u64)?;
        if let Some(known) = self.known.get(&node.id()) {
            return Ok(*known);
        }
        if self.open.contains(&node.id()) {
            let line = node.document().text_pos_at(node.range().start).row;
            return Err(DrawingError::Circular { line });
        }
        self.open.push(node.id());
        let mut sum = [1, numbers_in(node)];
        let href = node
            .attributes()
            .find(|a| a.name() == "href")
            .map(|a| a.value());
        let reused = href
            .filter(|_| node.tag_name().name() == "use")
            .and_then(|href| self.by_id.get(href.strip_prefix('#')?).copied());
        let children = node.children().filter(|n| n.is_element());
        for next in children.chain(reused) {
            let own = self.of(next, depth + 1)?;
            sum = [0, 1].map(|i| sum[i].saturating_add(own[i]));
        }
        self.open.pop();
        self.known.insert(node.id(), sum);
        Ok(sum)
    }
}

fn numbers_in(node: Node<'_, '_>) -> u64 {
    let text = node.attribute("d").or_else(|| node.attribute("points"));
    let digit = |c: u8| c.is_ascii_digit() || c == b'.';
    text.map_or(0, |t| {
        let bytes = t.as_bytes();
        (0..bytes.len())
            .filter(|&i| digit(bytes[i]) && (i == 0 || !digit(bytes[i - 1])))
            .count() as u64
    })
}
