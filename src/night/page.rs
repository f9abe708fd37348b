//! A night as one page to keep, and a card of the telescope to print and take along. Plain HTML with its pictures in it; nothing is fetched.

use super::event::{Event, Focusing, Happening};
use super::look::Night;
use super::story::standing;
use crate::instrument::{AssemblyKind, Instrument};
use crate::mechanics::{plane_of, turned};
use crate::units::{ARCMIN, DEG, MM, NM, UM};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use std::fmt::Write;

const STYLE: &str = "body{font:16px/1.5 sans-serif;max-width:46em;margin:2em auto;padding:0 1em;color:#222;background:#fff}\
table{border-collapse:collapse}td,th{padding:.2em .8em .2em 0;text-align:left;vertical-align:top}\
img{max-width:100%}figure{margin:1em 0}.two{display:flex;gap:1em;flex-wrap:wrap}\
.two figure{flex:1 1 18em}svg{max-width:100%;height:auto}@media print{body{margin:0}}";

/// The page of a night: first and last star, coma against rounds, what was learned, and everything that happened. `pictures` are the first
/// and the last star as PNG files.
pub fn page(night: &Night, pictures: &[Option<Vec<u8>>; 2]) -> String {
    let mut html = head("A night at the telescope");
    let begun = night.head().started;
    let mut add = |line: String| html.push_str(&line);
    add(format!(
        "<p>Begun {begun}; turns told: {}.</p>\n",
        night.story().round()
    ));
    let shown = ["First star", "Last star"].iter().zip(pictures);
    add("<div class=\"two\">".into());
    for (what, picture) in shown {
        if let Some(bytes) = picture {
            add(format!(
                "<figure><img alt=\"{what}\" src=\"data:image/png;base64,{}\"><figcaption>{what}</figcaption></figure>",
                base64(bytes)
            ));
        }
    }
    add("</div>\n".into());
    add(path(night));
    add(learned(night));
    add(happened(night));
    add("</body></html>\n".into());
    html
}

/// The card of the telescope: its screws as seen from the front, and what an eighth of a turn does.
pub fn card(night: &Night) -> String {
    let instrument = night.instrument();
    let mut html = head("Card of the telescope");
    let telescope = &instrument.telescope;
    let _ = writeln!(
        html,
        "<p>Aperture {:.0} mm, focal length {:.0} mm, f/{:.2}; pixels of {:.2} um.</p>",
        telescope.aperture_m / MM,
        telescope.focal_length_m / MM,
        telescope.focal_ratio(),
        instrument.camera.pixel_m / UM
    );
    html += &screws(night);
    html += "<h2>Cautions</h2><ul>\
<li>Never point the telescope near the Sun; cap it by day, even parked.</li>\
<li>Loosen a screw's own partner, at the same place, before you tighten it; force none, never loosen all pairs at once, take none right out.</li>\
<li>Never more than a quarter turn with a star in view.</li>\
<li>Nobody's hands, head or ladder at the tube while the mount moves; count wrench, mask and cap before slewing.</li>\
<li>The maker's instructions and a qualified technician come first.</li></ul></body></html>\n";
    html
}

fn head(title: &str) -> String {
    format!(
        "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><title>{title}</title><style>{STYLE}</style></head><body><h1>{title}</h1>\n"
    )
}

/// Coma against rounds, with its uncertainty and the stop level.
fn path(night: &Night) -> String {
    let seen = night.story().path(night.instrument());
    let Some(last) = seen.last() else {
        return String::new();
    };
    let stop_nm = last.stop_nm;
    let tops = seen.iter().map(|p| p.coma_nm + p.sigma_nm);
    let most = tops.fold(1.5 * stop_nm, f64::max);
    let x = |k: usize| 60.0 + 460.0 * k as f64 / (seen.len().max(2) - 1) as f64;
    let y = |nm: f64| 220.0 - 190.0 * nm / most;
    let mut svg = String::from(
        "<h2>Coma against rounds</h2><svg viewBox=\"0 0 560 260\" role=\"img\" aria-label=\"coma against rounds\">",
    );
    let _ = write!(
        svg,
        "<line x1=\"60\" x2=\"520\" y1=\"{0:.1}\" y2=\"{0:.1}\" stroke=\"#888\" stroke-dasharray=\"4 4\"/><text x=\"64\" y=\"{1:.1}\" font-size=\"12\">good enough: {stop_nm:.0} nm</text>",
        y(stop_nm),
        y(stop_nm) - 4.0
    );
    let line: Vec<String> = seen
        .iter()
        .enumerate()
        .map(|(k, p)| format!("{:.1},{:.1}", x(k), y(p.coma_nm)))
        .collect();
    let _ = write!(
        svg,
        "<polyline fill=\"none\" stroke=\"#a40\" stroke-width=\"2\" points=\"{}\"/>",
        line.join(" ")
    );
    for (k, point) in seen.iter().enumerate() {
        let (nm, sigma) = (point.coma_nm, point.sigma_nm);
        let _ = write!(
            svg,
            "<line x1=\"{0:.1}\" x2=\"{0:.1}\" y1=\"{1:.1}\" y2=\"{2:.1}\" stroke=\"#a40\"/><circle cx=\"{0:.1}\" cy=\"{3:.1}\" r=\"3\" fill=\"#a40\"/><text x=\"{0:.1}\" y=\"245\" font-size=\"12\" text-anchor=\"middle\">{k}</text><text x=\"{0:.1}\" y=\"{4:.1}\" font-size=\"12\" text-anchor=\"middle\">{nm:.0}</text>",
            x(k),
            y(nm - sigma),
            y(nm + sigma),
            y(nm),
            y(nm + sigma) - 5.0
        );
    }
    svg += "</svg><p>nm RMS of coma that the screws can take away, its uncertainty as a bar.</p>\n";
    svg
}

/// What is known of camera and screws.
fn learned(night: &Night) -> String {
    let knows = night.knows();
    let mut html = format!(
        "<h2>What is known</h2><p>The camera's columns lie at {:.0} degrees, {}mirrored ({}); what the screws do is {}.</p>\n",
        knows.rotation_deg,
        if knows.mirrored { "" } else { "not " },
        knows.orientation,
        knows.response.unwrap_or("not known")
    );
    html += &screws(night);
    html
}

/// A drawing of the screws from the front, and a table.
fn screws(night: &Night) -> String {
    let instrument = night.instrument();
    let Some(assembly) = &instrument.assembly else {
        return "<p>The instrument file describes no screws.</p>\n".into();
    };
    let knows = night.knows();
    let mut html = String::from("<h2>The screws, seen from the front</h2>");
    html += &drawing(instrument);
    let clockwise = assembly.clockwise.sign();
    html += "<table><tr><th>screw</th><th>1/8 turn clockwise</th><th>dark centre moves</th></tr>";
    for (number, screw) in assembly.screws.iter().enumerate() {
        let plane = plane_of(assembly, &turned(assembly, number, clockwise / 8.0));
        let tilt = plane.tilt_rad[0].hypot(plane.tilt_rad[1]);
        let coma = assembly
            .response
            .as_ref()
            .map_or("not known".into(), |response| {
                format!(
                    "{:.0} nm of coma as typed",
                    (response.coma_m_per_rad * tilt).abs() / NM
                )
            });
        let arrow = knows
            .screws
            .get(&screw.name)
            .map_or("not seen yet".into(), |arrow| {
                let [x, y] = arrow.px_per_eighth;
                format!(
                    "{:.1} ± {:.1} px towards {} o'clock of the picture",
                    x.hypot(y),
                    arrow.sigma_px,
                    crate::frame::hour(libm::atan2(y, x) / DEG)
                )
            });
        let _ = write!(
            html,
            "<tr><td>{}</td><td>{} it by {:.0} um, {:.2} arcmin, {coma}</td><td>{arrow}</td></tr>",
            escaped(&screw.name),
            if clockwise > 0.0 {
                "lengthens"
            } else {
                "shortens"
            },
            assembly.pitch_m_per_turn / 8.0 / UM,
            tilt / ARCMIN
        );
    }
    html += "</table>\n";
    if assembly.kind == AssemblyKind::Pivot {
        html += "<p>On a pivot all screws are turned together.</p>\n";
    }
    html
}

/// The circle of the screws with their letters.
fn drawing(instrument: &Instrument) -> String {
    let mut svg = String::from(
        "<svg viewBox=\"-110 -110 220 220\" width=\"260\" role=\"img\" aria-label=\"the screws from the front\"><circle r=\"80\" fill=\"none\" stroke=\"#444\"/><circle r=\"30\" fill=\"#ddd\" stroke=\"#444\"/>",
    );
    for screw in instrument.assembly.iter().flat_map(|a| &a.screws) {
        let front = instrument.telescope.front_rad(screw.azimuth_rad);
        let [x, y] = [80.0 * libm::cos(front), -80.0 * libm::sin(front)];
        let _ = write!(
            svg,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"14\" fill=\"#fff\" stroke=\"#444\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"18\">{}</text>",
            y + 6.0,
            escaped(&screw.name)
        );
    }
    svg += "</svg>\n";
    svg
}

/// Everything that stands, line by line.
fn happened(night: &Night) -> String {
    let mut html = String::from("<h2>What happened</h2><table>");
    for event in standing(night.events()) {
        let _ = writeln!(
            html,
            "<tr><td>{}</td><td>{}</td></tr>",
            event.at,
            escaped(&sentence(event))
        );
    }
    html += "</table>\n";
    html
}

pub(super) fn sentence(event: &Event) -> String {
    match &event.what {
        Happening::Frame(frame) => {
            let coma = frame
                .star
                .map_or("no star to be trusted".to_owned(), |star| {
                    format!(
                        "coma {:.0} ± {:.1} nm",
                        star.coma_nm[0].hypot(star.coma_nm[1]),
                        star.sigma_nm
                    )
                });
            format!("{}: {coma}, {}", frame.file.file, frame.verdict)
        }
        Happening::Skipped { file, reason } => format!("{}: skipped: {reason}", file.file),
        Happening::Card { screw } => format!("card at {screw}"),
        Happening::CardSeen {
            file,
            screw,
            direction_deg,
        } => format!(
            "{}: the card at {screw}, at {direction_deg:.0} degrees",
            file.file
        ),
        Happening::Turned {
            screw,
            clockwise_turns,
        } => format!(
            "{screw} turned by {:.0} degrees {}",
            clockwise_turns.abs() * 360.0,
            crate::instrument::way(*clockwise_turns)
        ),
        Happening::Focused { by } => match by {
            Focusing::Um(um) => format!("focus moved by {um:+.0} um"),
            Focusing::Steps(steps) => format!("focus moved by {steps:+.0} steps"),
            Focusing::In => "focus moved inwards".into(),
            Focusing::Out => "focus moved outwards".into(),
        },
        Happening::Side { side } => format!("frames are {} focus", side.name()),
        Happening::Recentred => "star brought back to the middle".into(),
        Happening::Locked { screw } => match screw {
            Some(screw) => format!("{screw} tightened"),
            None => "screws tightened".into(),
        },
        Happening::Mask { on: true } => "mask put on".into(),
        Happening::Mask { on: false } => "mask taken off".into(),
        Happening::Cannot { screw } => format!("{screw} cannot be turned"),
        Happening::Skip => "step left out".into(),
        Happening::Undo => "taken back".into(),
    }
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => out += "&amp;",
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '"' => out += "&quot;",
            other => out.push(other),
        }
    }
    out
}

fn base64(bytes: &[u8]) -> String {
    STANDARD.encode(bytes)
}
