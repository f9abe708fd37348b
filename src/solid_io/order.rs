//! The words of an order for a printing or cutting shop: what it is, its dimensions, material, tolerance, and which way up.

use crate::instrument::{MaskDesign, Seat};
use crate::mask::plate::Plate;
use crate::units::MM;

/// What is ordered.
#[derive(Debug, Clone)]
pub struct Order<'a> {
    /// The scenario's title.
    pub title: &'a str,
    /// The mask.
    pub design: &'a MaskDesign,
    /// The plate as it is drawn.
    pub plate: &'a Plate,
    /// How it is made.
    pub made: Made,
    /// The files that go with the order.
    pub files: &'a [String],
    /// Narrowest opening and narrowest bar, as far as they are looked for.
    pub narrowest_m: [f64; 2],
}

/// How a mask is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Made {
    /// By a 3D printer.
    Printed,
    /// By a laser cutter whose beam burns away so much.
    Cut {
        /// Width of what the beam burns away.
        kerf_m: f64,
    },
}

/// The order as text; lines are broken at 100 letters where a word ends.
pub fn write(order: &Order<'_>) -> String {
    let Order {
        title,
        design,
        plate,
        made,
        files,
        narrowest_m,
    } = order;
    let mm = |metres: f64| format!("{:.2} mm", metres / MM);
    let openings: usize = plate
        .plate
        .shapes
        .iter()
        .map(|s| s.len().saturating_sub(1))
        .sum();
    let mut lines = vec![
        format!("Order: {title}"),
        "One slotted mask for the front of a telescope. All dimensions in millimetres.".to_owned(),
        String::new(),
        format!("Largest extent     {}", mm(2.0 * plate.reach_m)),
        format!("Plate, diameter    {}", mm(2.0 * plate.outer_radius_m)),
        match design.inner_diameter_m > 0.0 {
            true => format!("Hole in the middle {}", mm(design.inner_diameter_m)),
            false => "Hole in the middle none".to_owned(),
        },
        format!("Thickness          {}", mm(design.thickness_m)),
        format!("Openings           {openings}; every one goes through"),
        format!(
            "Narrowest          opening {}, bar {}",
            mm(narrowest_m[0]),
            mm(narrowest_m[1])
        ),
    ];
    let (material, tolerance) = match made {
        Made::Printed => {
            lines.extend(ring(design));
            (
                "Opaque, matt black plastic that keeps its shape to 60 degrees Celsius (PETG or better).",
                "Bars and openings +/- 0.15 mm, diameters +/- 0.3 mm, flat to 0.5 mm. No support, no raft.",
            )
        }
        Made::Cut { kerf_m } => {
            lines.push(format!(
                "Kerf               {}, already allowed for: the lines are where the beam's middle goes",
                mm(*kerf_m)
            ));
            (
                "Opaque, matt black sheet of the thickness above (acrylic, cast, or fibre board; no PVC).",
                "Bars and openings +/- 0.10 mm, diameters +/- 0.2 mm. Layers: CUT_OPENINGS first, CUT_EDGE last, ENGRAVING not through.",
            )
        }
    };
    lines.extend([
        format!("Material           {material}"),
        format!("Tolerance          {tolerance}"),
        "Edges              free of threads and burrs: no opening may be closed, even in part"
            .to_owned(),
        format!("Which way up       {}", which_way(plate)),
        format!("Files              {}", files.join(", ")),
        String::new(),
        "Do not scale the files to fit; they are in millimetres at true size. Do not mirror them."
            .to_owned(),
        String::new(),
    ]);
    let wrapped = lines.iter().map(|line| wrapped(line));
    wrapped.collect::<Vec<_>>().join("\n")
}

/// The longest line, and where its rest begins below it.
const LINE: usize = 100;
const INDENT: usize = 19;

/// A line, with what is too long for it in lines below.
fn wrapped(line: &str) -> String {
    let mut text = String::new();
    let mut length = 0;
    for word in line.split_inclusive(' ') {
        let letters = word.trim_end().chars().count();
        if length + letters > LINE && length > INDENT {
            text.truncate(text.trim_end().len());
            text += "\n";
            text += &" ".repeat(INDENT);
            length = INDENT;
        }
        text += word;
        length += word.chars().count();
    }
    text
}

fn which_way(plate: &Plate) -> String {
    if plate.words.is_empty() {
        "the drawings show the sky side; mark it by hand, and where the top is".to_owned()
    } else {
        format!(
            "the drawings show the sky side; on it, {} deep: {}",
            if plate.heights_m[1] > 0.0 {
                format!("{:.2} mm", plate.heights_m[1] / MM)
            } else {
                "not".to_owned()
            },
            plate.words.join(", ")
        )
    }
}

fn ring(design: &MaskDesign) -> Vec<String> {
    let Some(grip) = &design.grip else {
        return Vec::new();
    };
    let seat = match grip.seat {
        Seat::OverTube => "goes over a tube of".to_owned(),
        Seat::IntoTube => "goes into a bore of".to_owned(),
        Seat::DewShield { shield_wall_m } => format!(
            "two walls; between them goes a shield {:.2} mm thick of",
            shield_wall_m / MM
        ),
    };
    vec![format!(
        "Ring               on the back, {:.2} mm high, walls {:.2} mm; {seat} {:.2} mm, {:.2} mm free all round",
        grip.height_m / MM,
        grip.wall_m / MM,
        grip.tube_diameter_m / MM,
        grip.clearance_m / MM
    )]
}
