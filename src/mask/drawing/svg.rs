//! What an SVG text fills.
//!
//! Areas are painted one over the other, as a viewer paints them. Where all fills are dark, or all light, whatever is painted is filled; where both
//! occur the scenario has to say which is the plate. Clip paths cut what they belong to. Elements that show nothing are told with their line.

mod expansion;
mod lines;

use super::{CORNERS_AT_MOST, DrawingError, beyond_edges, curve, limited, union};
use crate::geometry::outline::{Fill, Outline};
use crate::instrument::{Drawing, DrawingFills, LeftOut};
use crate::units::MM;
use expansion::Expansion;
use lines::Lines;
use usvg::roxmltree::{Document, Node};
use usvg::tiny_skia_path::{PathSegment, Point, Transform};

/// Largest distance between a curve and its chords.
const SAG_MM: f64 = 0.002;
/// Millimetres in the reader's unit (96 to the inch).
const MM_PER_UNIT: f64 = 25.4 / 96.0;

/// What is painted, in order: whether it is dark, its line, and its area.
struct Painted {
    dark: bool,
    line: u32,
    area: Outline,
}

/// What is filled, in mask axes, and what was left out.
pub(super) fn filled(
    text: &[u8],
    drawing: &Drawing,
    diameters_m: [f64; 2],
    mirrored: bool,
) -> Result<(Outline, Vec<LeftOut>), DrawingError> {
    let not_svg = |why: String| DrawingError::NotSvg(why);
    let text = std::str::from_utf8(text).map_err(|e| not_svg(e.to_string()))?;
    let document = Document::parse(text).map_err(|e| not_svg(e.to_string()))?;
    let root = document.root_element();
    if root.tag_name().name() != "svg" {
        return Err(not_svg(format!("its root is <{}>", root.tag_name().name())));
    }
    if drawing.unit_m.is_none() {
        check_units(root)?;
    }
    Expansion::check(&document)?;
    let lines = Lines::of(text, &document);
    let options = usvg::Options {
        resources_dir: None,
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(&lines.text, &options).map_err(|e| not_svg(e.to_string()))?;
    let unit_mm = drawing.unit_m.map_or(MM_PER_UNIT, |unit_m| unit_m / MM);
    let size = tree.size();
    let middle = [f64::from(size.width()), f64::from(size.height())].map(|s| 0.5 * s * unit_mm);
    let centre_mm = drawing.centre_m.map_or(middle, |c| c.map(|v| v / MM));
    let mut reading = Reading {
        lines,
        corners: 0,
        painted: Vec::new(),
        left_out: Vec::new(),
        plain: Box::new(move |p: Point| {
            let x = f64::from(p.x) * unit_mm - centre_mm[0];
            let y = centre_mm[1] - f64::from(p.y) * unit_mm;
            [if mirrored { -x } else { x } * MM, y * MM]
        }),
        diameters_m,
    };
    reading.group(tree.root(), None)?;
    let left_out = reading.left_out();
    Ok((combined(reading.painted, drawing.fills)?, left_out))
}

/// The painted areas as one, by what the scenario says of dark and light.
fn combined(painted: Vec<Painted>, fills: DrawingFills) -> Result<Outline, DrawingError> {
    let plate_is_dark = match fills {
        DrawingFills::Dark => true,
        DrawingFills::Light => false,
        DrawingFills::Plate | DrawingFills::Openings => {
            let other = painted.iter().find(|p| p.dark != painted[0].dark);
            return match other {
                Some(other) => Err(DrawingError::DarkAndLight { line: other.line }),
                None => Ok(union(painted.into_iter().map(|p| p.area).collect())),
            };
        }
    };
    let mut plate = Outline::default();
    let mut rest = painted.into_iter().peekable();
    while let Some(first) = rest.next() {
        let dark = first.dark;
        let mut run = vec![first.area];
        while let Some(next) = rest.next_if(|p| p.dark == dark) {
            run.push(next.area);
        }
        let run = union(run);
        plate = if dark == plate_is_dark {
            plate.plus(&run)
        } else {
            plate.minus(&run)
        };
    }
    Ok(plate)
}

/// Where a point of the page lies.
type Placing = Box<dyn Fn(Point) -> [f64; 2]>;

/// What has been read so far.
struct Reading {
    lines: Lines,
    corners: usize,
    painted: Vec<Painted>,
    left_out: Vec<LeftOut>,
    plain: Placing,
    diameters_m: [f64; 2],
}

impl Reading {
    fn group(&mut self, group: &usvg::Group, clip: Option<&Outline>) -> Result<(), DrawingError> {
        if group.opacity().get() <= 0.0 {
            self.skip_group(group, "it has no opacity");
            return Ok(());
        }
        let own = match group.clip_path() {
            Some(path) => {
                let area = self.clip_area(path, group.abs_transform())?;
                Some(clip.map_or_else(|| area.clone(), |outer| outer.common(&area)))
            }
            None => None,
        };
        let clip = own.as_ref().or(clip);
        for node in group.children() {
            match node {
                usvg::Node::Group(inner) => self.group(inner, clip)?,
                usvg::Node::Path(path) => self.path(path, clip)?,
                usvg::Node::Image(_) | usvg::Node::Text(_) => {}
            }
        }
        Ok(())
    }

    fn path(&mut self, path: &usvg::Path, clip: Option<&Outline>) -> Result<(), DrawingError> {
        self.lines.seen(path.id());
        let fill = path.fill().filter(|fill| fill.opacity().get() > 0.0);
        let Some(fill) = fill.filter(|_| path.is_visible()) else {
            let why = if path.is_visible() {
                "it has no fill, a line alone does not say which side is solid"
            } else {
                "it is not visible"
            };
            self.skip_path(path, why);
            return Ok(());
        };
        let rule = match fill.rule() {
            usvg::FillRule::EvenOdd => Fill::EvenOdd,
            usvg::FillRule::NonZero => Fill::NonZero,
        };
        let area = self.area(path.data(), path.abs_transform(), rule)?;
        self.paint(area, is_dark(fill.paint()), path.id(), clip);
        if let Some((border, paint)) = stroked(path) {
            let area = self.area(&border, path.abs_transform(), Fill::NonZero)?;
            self.paint(area, is_dark(&paint), path.id(), clip);
        }
        Ok(())
    }

    fn paint(&mut self, area: Outline, dark: bool, id: &str, clip: Option<&Outline>) {
        let area = clip.map_or_else(|| area.clone(), |clip| area.common(clip));
        if !area.is_empty() {
            let line = self.lines.line(id);
            self.painted.push(Painted { dark, line, area });
        }
    }

    fn area(
        &mut self,
        data: &usvg::tiny_skia_path::Path,
        to_page: Transform,
        rule: Fill,
    ) -> Result<Outline, DrawingError> {
        let diameters_m = self.diameters_m;
        let place = |p: Point| beyond_edges((self.plain)(p), diameters_m);
        let contours = flattened(data, to_page, &place);
        self.corners += contours.iter().map(Vec::len).sum::<usize>();
        limited("corners", self.corners as u64, CORNERS_AT_MOST as u64)?;
        Ok(Outline::filled(&contours, rule))
    }

    /// What a clip path lets through; `to_page` is that of what it clips.
    fn clip_area(
        &mut self,
        clip: &usvg::ClipPath,
        to_page: Transform,
    ) -> Result<Outline, DrawingError> {
        let own = to_page.pre_concat(clip.transform());
        let mut areas = Vec::new();
        self.clip_group(clip.root(), own, &mut areas)?;
        let area = union(areas);
        match clip.clip_path() {
            Some(further) => Ok(area.common(&self.clip_area(further, to_page)?)),
            None => Ok(area),
        }
    }

    fn clip_group(
        &mut self,
        group: &usvg::Group,
        to_page: Transform,
        areas: &mut Vec<Outline>,
    ) -> Result<(), DrawingError> {
        for node in group.children() {
            match node {
                usvg::Node::Group(inner) => {
                    let mut own = Vec::new();
                    self.clip_group(inner, to_page, &mut own)?;
                    let area = union(own);
                    areas.push(match inner.clip_path() {
                        Some(further) => {
                            let by = to_page.pre_concat(inner.abs_transform());
                            area.common(&self.clip_area(further, by)?)
                        }
                        None => area,
                    });
                }
                usvg::Node::Path(path) => {
                    self.lines.seen(path.id());
                    let rule = match path.fill().map(usvg::Fill::rule) {
                        Some(usvg::FillRule::EvenOdd) => Fill::EvenOdd,
                        _ => Fill::NonZero,
                    };
                    let by = to_page.pre_concat(path.abs_transform());
                    areas.push(self.area(path.data(), by, rule)?);
                }
                usvg::Node::Image(_) | usvg::Node::Text(_) => {}
            }
        }
        Ok(())
    }

    fn skip_group(&mut self, group: &usvg::Group, why: &str) {
        for node in group.children() {
            match node {
                usvg::Node::Group(inner) => self.skip_group(inner, why),
                usvg::Node::Path(path) => {
                    self.lines.seen(path.id());
                    self.skip_path(path, why);
                }
                usvg::Node::Image(_) | usvg::Node::Text(_) => {}
            }
        }
    }

    fn skip_path(&mut self, path: &usvg::Path, why: &str) {
        let ways_m = flattened(path.data(), path.abs_transform(), &|p| (self.plain)(p));
        self.left_out.push(LeftOut {
            line: self.lines.line(path.id()),
            what: self.lines.element(path.id()),
            why: why.to_owned(),
            ways_m,
        });
    }

    /// What shows nothing, the elements that never became a path among them, in the order of lines.
    fn left_out(&mut self) -> Vec<LeftOut> {
        let mut list = std::mem::take(&mut self.left_out);
        list.extend(self.lines.unseen());
        list.sort_by_key(|left| left.line);
        list
    }
}

/// Whether a paint is dark: less than half of white's brightness (weights of sRGB's primaries). A gradient is taken for dark.
fn is_dark(paint: &usvg::Paint) -> bool {
    match paint {
        usvg::Paint::Color(c) => {
            let light = 0.2126 * f64::from(c.red)
                + 0.7152 * f64::from(c.green)
                + 0.0722 * f64::from(c.blue);
            light < 127.5
        }
        _ => true,
    }
}

/// The border that a filled path's stroke adds, and its paint; `None` without a stroke that can be seen.
fn stroked(path: &usvg::Path) -> Option<(usvg::tiny_skia_path::Path, usvg::Paint)> {
    let stroke = path.stroke().filter(|s| s.opacity().get() > 0.0)?;
    // sag of the curves that stand for round joins: well below that of a chord
    let border = path.data().stroke(&stroke.to_tiny_skia(), 20.0)?;
    Some((border, stroke.paint().clone()))
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
    contours.retain(|c| c.len() > 1);
    contours
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
