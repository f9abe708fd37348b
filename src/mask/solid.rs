//! A mask as a closed solid of triangles as it lies on the printer's bed, sky side down on z = 0, and the check that it is closed.
//!
//! The plate's contours are shared, corner for corner, by its two faces; letters and ring lie strictly inside the plate, so
//! that their contours are only added. Walls stand on the edges that the faces leave unmatched. [`Solid::check`] trusts none
//! of this: it counts every directed edge.

use super::plate::Plate;
use crate::geometry::outline::{Corner, GRID_M, Outline};
use i_triangle::int::unchecked::IntUncheckedTriangulatable;
use std::collections::{BTreeMap, HashMap, HashSet};

/// A corner of a solid, in units of 0.1 µm.
pub type Vertex = [i32; 3];

/// A closed surface of triangles, each counter-clockwise seen from outside.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Solid {
    /// The corners, each once.
    pub vertices: Vec<Vertex>,
    /// Triangles, by the numbers of their corners.
    pub triangles: Vec<[u32; 3]>,
}

/// Why a plate makes no solid that can be printed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SolidError {
    /// The ring would stand over openings or beyond the plate.
    #[error("the grip ring stands over slots or beyond the plate")]
    RingOverSlots,
    /// Faces do not share their edges.
    #[error("the solid is not closed: {0} edges do not meet their partners")]
    Open(usize),
    /// A triangle without area.
    #[error("the solid has {0} triangles without area")]
    Flat(usize),
    /// Nothing to print.
    #[error("nothing of the plate is left")]
    Empty,
}

impl SolidError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            SolidError::RingOverSlots => {
                "make mask.outer_rim_mm wider, or choose mask.grip so that its ring lies under the rim"
            }
            SolidError::Empty => "make the slots narrower: mask.open_fraction",
            _ => {
                "change mask.slot_pitch_mm or mask.rib_mm a little (in a drawing: move its edges a little), and please report the scenario"
            }
        }
    }
}

impl Solid {
    /// The solid of a plate, its sky side on z = 0 with the letters sunk into it, and ring and feet standing up from its back.
    ///
    /// Looking down on the bed one sees the back: +x is right as on the sky side, +y is turned over.
    ///
    /// # Errors
    /// See [`SolidError`]; what is returned has passed [`Solid::check`].
    pub fn new(plate: &Plate) -> Result<Self, SolidError> {
        if plate.plate.is_empty() {
            return Err(SolidError::Empty);
        }
        if plate.ring_over_slots_m2 > 0.0 {
            return Err(SolidError::RingOverSlots);
        }
        let units = |m: f64| (m / GRID_M).round() as i32;
        let [thick, deep, high] = plate.heights_m.map(units);
        let mut builder = Builder::default();
        let top = builder.face(&plate.plate.pierced(&plate.letters), thick, true);
        let floor = builder.face(&plate.letters, thick - deep, true);
        let standing = Outline {
            shapes: [plate.ring.shapes.as_slice(), &plate.feet.shapes].concat(),
        };
        let back = builder.face(&plate.plate.pierced(&standing), 0, false);
        let mut stands: HashSet<SolidEdge> = HashSet::new();
        for (outline, height) in [(&plate.ring, high), (&plate.feet, units(plate.feet_m))] {
            let foot = builder.face(outline, -height, false);
            builder.walls(&foot, -height, 0, true);
            stands.extend(foot);
        }
        builder.walls(&floor, thick - deep, thick, false);
        let sides: HashSet<SolidEdge> = without(&top, &floor);
        let missing = without(&back, &stands).symmetric_difference(&sides).count();
        if missing > 0 {
            return Err(SolidError::Open(missing));
        }
        builder.walls(&sides, 0, thick, true);
        let solid = builder.finish(thick);
        solid.check()?;
        Ok(solid)
    }

    /// Whether every directed edge occurs once and its opposite once, and no triangle is flat.
    ///
    /// # Errors
    /// [`SolidError::Open`] or [`SolidError::Flat`] with the number of offenders.
    pub fn check(&self) -> Result<(), SolidError> {
        let mut edges: HashMap<[u32; 2], u32> = HashMap::new();
        for [a, b, c] in &self.triangles {
            for edge in [[*a, *b], [*b, *c], [*c, *a]] {
                *edges.entry(edge).or_insert(0) += 1;
            }
        }
        let single = |e: &[u32; 2]| edges.get(e) == Some(&1);
        let wrong = edges
            .keys()
            .filter(|e| !single(e) || !single(&[e[1], e[0]]))
            .count();
        if wrong > 0 {
            return Err(SolidError::Open(wrong));
        }
        let flat = self.triangles.iter().filter(|t| self.is_flat(t)).count();
        if flat > 0 {
            return Err(SolidError::Flat(flat));
        }
        Ok(())
    }

    /// Volume in cubic metres, from the surface.
    pub fn volume_m3(&self) -> f64 {
        let six: f64 = self
            .triangles
            .iter()
            .map(|t| {
                let [a, b, c] = t.map(|v| self.vertices[v as usize].map(f64::from));
                a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0])
                    + a[2] * (b[0] * c[1] - b[1] * c[0])
            })
            .sum();
        six / 6.0 * GRID_M.powi(3)
    }

    fn is_flat(&self, triangle: &[u32; 3]) -> bool {
        let [a, b, c] = triangle.map(|v| self.vertices[v as usize].map(i128::from));
        let (u, v) = (
            [0, 1, 2].map(|i| b[i] - a[i]),
            [0, 1, 2].map(|i| c[i] - a[i]),
        );
        (0..3).all(|i| u[i] * v[(i + 1) % 3] == u[(i + 1) % 3] * v[i])
    }
}

type SolidEdge = [(i32, i32); 2];

/// Edges of a pierced face that do not belong to what pierces it.
fn without(edges: &HashSet<SolidEdge>, other: &HashSet<SolidEdge>) -> HashSet<SolidEdge> {
    edges
        .iter()
        .filter(|[a, b]| !other.contains(&[*b, *a]))
        .copied()
        .collect()
}

#[derive(Default)]
struct Builder {
    numbers: BTreeMap<Vertex, u32>,
    vertices: Vec<Vertex>,
    triangles: Vec<[u32; 3]>,
}

impl Builder {
    fn vertex(&mut self, vertex: Vertex) -> u32 {
        let next = self.vertices.len() as u32;
        let number = *self.numbers.entry(vertex).or_insert(next);
        if number == next {
            self.vertices.push(vertex);
        }
        number
    }

    /// A level face; returns its border, the area on the left. Letters and the ring return theirs as part of the
    /// surrounding face's border would run, so that [`without`] can take them off.
    fn face(&mut self, outline: &Outline, z: i32, up: bool) -> HashSet<SolidEdge> {
        let mut edges: HashSet<SolidEdge> = HashSet::new();
        for shape in &outline.shapes {
            let raw = shape.uncheck_triangulate();
            let mesh = raw.to_triangulation::<u32>();
            let points: Vec<&Corner> = mesh.points.iter().collect();
            for t in mesh.indices.chunks_exact(3) {
                let [a, b, c] = [0, 1, 2].map(|i| points[t[i] as usize]);
                for (from, to) in [(a, b), (b, c), (c, a)] {
                    let edge = [(from.x, from.y), (to.x, to.y)];
                    if !edges.remove(&[edge[1], edge[0]]) {
                        edges.insert(edge);
                    }
                }
                let [a, b, c] = [a, b, c].map(|p| self.vertex([p.x, p.y, z]));
                self.triangles.push(if up { [a, b, c] } else { [a, c, b] });
            }
        }
        edges
    }

    /// Walls on a border, from a lower to an upper height; `outward` when the material is on the left of the border.
    fn walls(&mut self, border: &HashSet<SolidEdge>, low: i32, high: i32, outward: bool) {
        let mut edges: Vec<&SolidEdge> = border.iter().collect();
        edges.sort_unstable();
        for [from, to] in edges {
            let (from, to) = if outward { (from, to) } else { (to, from) };
            let [a, b, c, d] = [(from, low), (to, low), (to, high), (from, high)]
                .map(|(p, z)| self.vertex([p.0, p.1, z]));
            self.triangles.push([a, b, c]);
            self.triangles.push([a, c, d]);
        }
    }

    /// What was built with its sky side up at this height, turned over about x.
    fn finish(self, sky: i32) -> Solid {
        Solid {
            vertices: self
                .vertices
                .iter()
                .map(|[x, y, z]| [*x, -y, sky - z])
                .collect(),
            triangles: self.triangles,
        }
    }
}
