//! A mask from an SVG text in millimetres.
//!
//! The drawing shows the mask as seen from the sky side. What is filled is the plate (or the openings, if the scenario says
//! so), with its own stroke, if it has one; lines without a fill are taken for notes and ignored, and so is what has no opacity. Nothing outside the text is read: no pictures, no fonts, no
//! links. Edges that are drawn on the plate's own edge or hole are taken to lie on it. What cannot be meant exactly is refused: sizes without units, letters that are not paths, clips, masks, filters.
//! Texts that would expand to absurd sizes are refused before they are expanded.

use crate::geometry::outline::{Fill, GRID_M, Outline, convex_parts};
use crate::instrument::Drawing;
use crate::units::MM;
use std::collections::HashMap;
use usvg::roxmltree::{Document, Node};
use usvg::tiny_skia_path::{PathSegment, Point, Transform};

/// Longest text.
pub const BYTES_AT_MOST: usize = 16 << 20;
/// Most elements, after every reuse is written out.
const ELEMENTS_AT_MOST: u64 = 50_000;
/// Most numbers in the paths, after every reuse is written out.
const NUMBERS_AT_MOST: u64 = 1_500_000;
/// Most corners of the flattened outlines.
const CORNERS_AT_MOST: usize = 300_000;
/// Deepest nesting.
const DEPTH_AT_MOST: usize = 60;
/// Largest distance between a curve and its chords.
const SAG_MM: f64 = 0.002;
/// Millimetres in the reader's unit (96 to the inch).
const MM_PER_UNIT: f64 = 25.4 / 96.0;

/// Why a drawing cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DrawingError {
    /// Not SVG at all.
    #[error("this is not SVG: {0}")]
    NotSvg(String),
    /// Width or height without a unit of length.
    #[error("the drawing's {side} is {found}, but must be a length with a unit, such as 200mm")]
    NoUnits {
        /// `width` or `height`.
        side: &'static str,
        /// What stands there.
        found: String,
    },
    /// Something whose shape cannot be taken over exactly.
    #[error("line {line}: <{element}> cannot be part of a mask")]
    Element {
        /// Line.
        line: u32,
        /// The element.
        element: String,
    },
    /// Too much of something.
    #[error("the drawing has {found} {what}, the limit is {limit}")]
    TooMuch {
        /// What there is too much of.
        what: &'static str,
        /// How many; at least this many.
        found: u64,
        /// The limit.
        limit: u64,
    },
    /// A reuse that contains itself.
    #[error("line {line}: <use> leads back to itself")]
    Circular {
        /// Line.
        line: u32,
    },
    /// Nothing is filled.
    #[error("nothing in the drawing is filled")]
    NothingFilled,
    /// No light would pass.
    #[error("the drawing leaves no opening between the plate's edge and its hole")]
    NoOpening,
}

impl DrawingError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            DrawingError::NotSvg(_) => {
                "mask.drawing names an SVG file; export the drawing as plain SVG"
            }
            DrawingError::NoUnits { .. } => {
                "write width=\"200mm\" height=\"200mm\" viewBox=\"0 0 200 200\" in the <svg> element"
            }
            DrawingError::Element { .. } => {
                "turn letters and effects into plain paths, or take them out"
            }
            DrawingError::TooMuch { .. } => {
                "simplify the drawing: a mask needs a few thousand points"
            }
            DrawingError::Circular { .. } => "take the circular <use> out",
            DrawingError::NothingFilled => {
                "fill the plate; lines alone do not say which side is solid"
            }
            DrawingError::NoOpening => {
                "compare mask.outer_diameter_mm, mask.inner_diameter_mm, mask.drawing_centre_mm and mask.drawing_fills with the drawing"
            }
        }
    }
}

/// Reads the openings of a drawing, in mask axes (seen from the sensor); `mirrored` where the view from the sky side is.
///
/// # Errors
/// See [`DrawingError`].
pub fn read(
    text: &[u8],
    drawing: &Drawing,
    diameters_m: [f64; 2],
    mirrored: bool,
) -> Result<Drawing, DrawingError> {
    let filled = filled_area(text, drawing.centre_m, diameters_m, mirrored)?;
    if filled.is_empty() {
        return Err(DrawingError::NothingFilled);
    }
    let [inner_m, outer_m] = diameters_m.map(|d| 0.5 * d);
    let plate = Outline::ring(inner_m, outer_m);
    let open = if drawing.shows_plate {
        plate.minus(&filled)
    } else {
        plate.common(&filled)
    };
    if open.is_empty() {
        return Err(DrawingError::NoOpening);
    }
    Ok(Drawing {
        openings_m: convex_parts(&open),
        ..drawing.clone()
    })
}

fn filled_area(
    text: &[u8],
    centre_m: Option<[f64; 2]>,
    diameters_m: [f64; 2],
    mirrored: bool,
) -> Result<Outline, DrawingError> {
    limited("bytes", text.len() as u64, BYTES_AT_MOST as u64)?;
    let not_svg = |why: String| DrawingError::NotSvg(why);
    let text = std::str::from_utf8(text).map_err(|e| not_svg(e.to_string()))?;
    let document = Document::parse(text).map_err(|e| not_svg(e.to_string()))?;
    let root = document.root_element();
    if root.tag_name().name() != "svg" {
        return Err(not_svg(format!("its root is <{}>", root.tag_name().name())));
    }
    check_units(root)?;
    Expansion::check(&document)?;
    let options = usvg::Options {
        resources_dir: None,
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_xmltree(&document, &options).map_err(|e| not_svg(e.to_string()))?;
    let size = tree.size();
    let middle = [f64::from(size.width()), f64::from(size.height())].map(|s| 0.5 * s * MM_PER_UNIT);
    let centre_mm = centre_m.map_or(middle, |c| c.map(|v| v / MM));
    let place = |p: Point| {
        let x = f64::from(p.x) * MM_PER_UNIT - centre_mm[0];
        let y = centre_mm[1] - f64::from(p.y) * MM_PER_UNIT;
        beyond_edges([if mirrored { -x } else { x } * MM, y * MM], diameters_m)
    };
    let mut shapes = Vec::new();
    let mut corners = 0;
    collect(tree.root(), &mut |path| {
        let contours = flattened(path.data(), path.abs_transform(), &place);
        corners += contours.iter().map(Vec::len).sum::<usize>();
        limited("corners", corners as u64, CORNERS_AT_MOST as u64)?;
        let rule = match path.fill().map(usvg::Fill::rule) {
            Some(usvg::FillRule::EvenOdd) => Fill::EvenOdd,
            _ => Fill::NonZero,
        };
        shapes.push(Outline::filled(&contours, rule));
        if let Some(border) = stroked(path) {
            let contours = flattened(&border, path.abs_transform(), &place);
            corners += contours.iter().map(Vec::len).sum::<usize>();
            limited("corners", corners as u64, CORNERS_AT_MOST as u64)?;
            shapes.push(Outline::filled(&contours, Fill::NonZero));
        }
        Ok(())
    })?;
    Ok(union(shapes))
}

/// Edges of a drawing that are nearer than this to the plate's own are meant to lie on them: a quarter circle of one Bezier curve bulges by 0.027 % of its
/// radius, 25 um at 92 mm.
const SNAP_M: f64 = 40e-6;

/// A place, or one just beyond the plate's edge or inside its hole where it lies on them: what is drawn on the plate's own edge then neither
/// leaves a sliver nor falls short of it.
fn beyond_edges(place_m: [f64; 2], [inner_m, outer_m]: [f64; 2]) -> [f64; 2] {
    let radius_m = place_m[0].hypot(place_m[1]);
    let on = |diameter_m: f64| diameter_m > 0.0 && (radius_m - 0.5 * diameter_m).abs() < SNAP_M;
    let to_m = if on(outer_m) {
        0.5 * outer_m + 2.0 * SNAP_M
    } else if on(inner_m) {
        0.5 * inner_m - 2.0 * SNAP_M
    } else {
        return place_m;
    };
    place_m.map(|v| v * to_m / radius_m)
}

/// The border that a filled path's stroke adds; `None` without a stroke that can be seen.
fn stroked(path: &usvg::Path) -> Option<usvg::tiny_skia_path::Path> {
    let stroke = path.stroke().filter(|s| s.opacity().get() > 0.0)?;
    // sag of the curves that stand for round joins: well below that of a chord
    path.data().stroke(&stroke.to_tiny_skia(), 20.0)
}

/// Union in pairs, so that many shapes take no quadratic time.
fn union(mut shapes: Vec<Outline>) -> Outline {
    while shapes.len() > 1 {
        shapes = shapes
            .chunks(2)
            .map(|pair| pair.iter().skip(1).fold(pair[0].clone(), |a, b| a.plus(b)))
            .collect();
    }
    shapes.pop().unwrap_or_default()
}

fn collect(
    group: &usvg::Group,
    take: &mut impl FnMut(&usvg::Path) -> Result<(), DrawingError>,
) -> Result<(), DrawingError> {
    for node in group.children() {
        match node {
            usvg::Node::Group(inner) if inner.opacity().get() > 0.0 => collect(inner, take)?,
            usvg::Node::Path(path) if path.is_visible() && shows(path) => take(path)?,
            _ => {}
        }
    }
    Ok(())
}

/// Whether a path is filled with something that can be seen.
fn shows(path: &usvg::Path) -> bool {
    path.fill().is_some_and(|fill| fill.opacity().get() > 0.0)
}

fn flattened(
    data: &usvg::tiny_skia_path::Path,
    to_page: Transform,
    place: &impl Fn(Point) -> [f64; 2],
) -> Vec<Vec<[f64; 2]>> {
    let mapped = |mut p: Point| {
        to_page.map_point(&mut p);
        place(p)
    };
    let mut contours: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut at = [0.0; 2];
    for segment in data.segments() {
        let (control, end): (Vec<[f64; 2]>, [f64; 2]) = match segment {
            PathSegment::MoveTo(p) => {
                at = mapped(p);
                contours.push(vec![at]);
                continue;
            }
            PathSegment::Close => continue,
            PathSegment::LineTo(p) => (Vec::new(), mapped(p)),
            PathSegment::QuadTo(a, p) => (vec![mapped(a)], mapped(p)),
            PathSegment::CubicTo(a, b, p) => (vec![mapped(a), mapped(b)], mapped(p)),
        };
        if contours.is_empty() {
            contours.push(vec![at]);
        }
        if let Some(contour) = contours.last_mut() {
            curve(at, &control, end, SAG_MM * MM, contour);
        }
        at = end;
    }
    contours.retain(|c| c.len() > 2);
    contours
}

/// Adds a Bézier curve of any degree up to three as chords, the first point left out.
pub(super) fn curve(
    from: [f64; 2],
    control: &[[f64; 2]],
    to: [f64; 2],
    sag_m: f64,
    contour: &mut Vec<[f64; 2]>,
) {
    let mut points = vec![from];
    points.extend(control);
    points.push(to);
    let bend = points
        .windows(3)
        .map(|w| (w[0][0] - 2.0 * w[1][0] + w[2][0]).hypot(w[0][1] - 2.0 * w[1][1] + w[2][1]))
        .fold(0.0, f64::max);
    let degree = (points.len() - 1) as f64;
    // the sag of a chord over 1/n of the curve is at most degree (degree − 1) bend / (8 n²)
    let count = (degree * (degree - 1.0) * bend / (8.0 * sag_m.max(GRID_M)))
        .sqrt()
        .ceil();
    let count = count.clamp(1.0, 2000.0) as usize;
    for k in 1..=count {
        let t = k as f64 / count as f64;
        let mut level = points.clone();
        while level.len() > 1 {
            level = level
                .windows(2)
                .map(|w| [0, 1].map(|i| w[0][i] + t * (w[1][i] - w[0][i])))
                .collect();
        }
        contour.push(level[0]);
    }
}

fn check_units(root: Node<'_, '_>) -> Result<(), DrawingError> {
    for side in ["width", "height"] {
        let found = root.attribute(side).map(str::trim);
        let has_unit = found.is_some_and(|text| {
            ["mm", "cm", "in"].iter().any(|unit| {
                text.strip_suffix(unit)
                    .and_then(|n| n.trim().parse::<f64>().ok())
                    .is_some_and(|n| n.is_finite() && n > 0.0)
            })
        });
        if !has_unit {
            let found = found.map_or("missing".to_owned(), |text| {
                format!("{:?}", text.chars().take(40).collect::<String>())
            });
            return Err(DrawingError::NoUnits { side, found });
        }
    }
    Ok(())
}

fn limited(what: &'static str, found: u64, limit: u64) -> Result<(), DrawingError> {
    if found > limit {
        return Err(DrawingError::TooMuch { what, found, limit });
    }
    Ok(())
}

/// How many elements and path numbers a text has once every `<use>` is written out: counted, not expanded.
struct Expansion<'a, 'input> {
    by_id: HashMap<&'a str, Node<'a, 'input>>,
    known: HashMap<usvg::roxmltree::NodeId, [u64; 2]>,
    open: Vec<usvg::roxmltree::NodeId>,
}

const REFUSED: [&str; 12] = [
    "text",
    "image",
    "clipPath",
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
    fn check(document: &'a Document<'input>) -> Result<(), DrawingError> {
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
