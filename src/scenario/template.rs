//! Commented scenarios to fill in: one invented telescope of each kind, every number explained, guesses marked.

use crate::instrument::LayoutName;
use std::fmt;

/// Kind of telescope that a new scenario starts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TemplateKind {
    /// One mirror and a camera unit at its focus, fast.
    PrimeFocus,
    /// Two mirrors that fold the light, slow.
    TwoMirror,
    /// A paraboloid and a flat.
    Newtonian,
    /// A lens.
    Refractor,
    /// One mirror, and a unit of lenses and camera at its focus, traced from its surfaces.
    PrimeFocusCorrector,
    /// A corrector plate and two mirrors, traced from their surfaces.
    CorrectorPlate,
    /// A meniscus and two mirrors, traced from their surfaces.
    Meniscus,
    /// Two lenses with a common face, traced from their surfaces.
    Doublet,
}

impl TemplateKind {
    /// Every kind.
    pub const ALL: [TemplateKind; 8] = [
        TemplateKind::PrimeFocus,
        TemplateKind::TwoMirror,
        TemplateKind::Newtonian,
        TemplateKind::Refractor,
        TemplateKind::PrimeFocusCorrector,
        TemplateKind::CorrectorPlate,
        TemplateKind::Meniscus,
        TemplateKind::Doublet,
    ];

    /// The word for it on the command line.
    pub fn word(self) -> &'static str {
        match self {
            TemplateKind::PrimeFocus => "prime-focus",
            TemplateKind::TwoMirror => "two-mirror",
            TemplateKind::Newtonian => "newtonian",
            TemplateKind::Refractor => "refractor",
            TemplateKind::PrimeFocusCorrector => "prime-focus-corrector",
            TemplateKind::CorrectorPlate => "corrector-plate",
            TemplateKind::Meniscus => "meniscus",
            TemplateKind::Doublet => "doublet",
        }
    }
}

impl fmt::Display for TemplateKind {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(self.word())
    }
}

/// A commented scenario that reads without an error.
///
/// The title is written as it is; one that [`read`](super::read) refuses (empty, over 200 characters, with control
/// characters) makes a scenario that it refuses.
pub fn template(kind: TemplateKind, title: &str) -> String {
    let title = toml::Value::from(title);
    let telescope = match kind {
        TemplateKind::PrimeFocus => include_str!("templates/prime-focus.toml"),
        TemplateKind::TwoMirror => include_str!("templates/two-mirror.toml"),
        TemplateKind::Newtonian => include_str!("templates/newtonian.toml"),
        TemplateKind::Refractor => include_str!("templates/refractor.toml"),
        TemplateKind::PrimeFocusCorrector => include_str!("templates/prime-focus-corrector.toml"),
        TemplateKind::CorrectorPlate => include_str!("templates/corrector-plate.toml"),
        TemplateKind::Meniscus => include_str!("templates/meniscus.toml"),
        TemplateKind::Doublet => include_str!("templates/doublet.toml"),
    };
    let head = format!(
        "{HEAD}format = 1\ntitle = {title}\nseed = 1                             # {SEED}\n"
    );
    let layouts: Vec<&str> = LayoutName::all().map(LayoutName::word).collect();
    let telescope = telescope.replace(LAYOUTS, &layouts.join(", "));
    head + &telescope + include_str!("templates/camera-and-sky.toml")
}

/// Where the templates name every layout of a mask.
const LAYOUTS: &str = "@LAYOUTS@";

const HEAD: &str = "\
# A telescope, how far it is out of line, and the camera that looks through it. The telescope below is invented.
# Azimuths and (x, y) are as seen from the sensor towards the pupil: x right, y up, counter-clockwise from the right.
# `skewstar check` says what follows from these numbers, `skewstar render` makes the star frame.

";
const SEED: &str = "the same seed gives the same noise";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::FocusLaw;
    use crate::scenario::{Scenario, read};

    fn scenario(kind: TemplateKind) -> Scenario {
        read(&template(kind, "A first look"), kind.word(), &[])
            .unwrap_or_else(|error| panic!("{error}"))
    }

    #[test]
    fn every_template_reads_as_it_is() {
        for kind in TemplateKind::ALL {
            let scenario = scenario(kind);
            assert_eq!(scenario.title, "A first look");
            assert_eq!(scenario.seed, Some(1));
            assert!(
                scenario.instrument.camera.electronics.is_some()
                    && scenario.state.exposure.is_some()
            );
        }
    }

    /// The lines from one to the next empty line without their comment signs.
    fn uncommented(text: &str, from: &str) -> String {
        let start = text
            .find(from)
            .unwrap_or_else(|| panic!("{from} in comments"));
        let end = start + text[start..].find("\n\n").expect("an empty line after it");
        let lines = text[start..end].replace("\n# ", "\n").replacen("# ", "", 1);
        format!("{}{lines}{}", &text[..start], &text[end..])
    }

    #[test]
    fn the_mask_of_every_template_can_be_printed() {
        for kind in TemplateKind::ALL {
            let bare = uncommented(&template(kind, "With a mask"), "# [mask]");
            let more = ["# [mask.grip]", "# [mask.cable_slit]"];
            let more = more.into_iter().find(|from| bare.contains(from));
            for text in [uncommented(&bare, more.expect("more of the mask")), bare] {
                let scenario =
                    read(&text, kind.word(), &[]).unwrap_or_else(|error| panic!("{error}"));
                assert!(scenario.state.mask_on);
                let findings = crate::preview::check::findings(&scenario.instrument);
                for finding in findings.expect("a mask") {
                    assert!(!finding.serious, "{}: {finding:?}", kind.word());
                }
            }
        }
    }

    #[test]
    fn the_kinds_differ_where_they_should() {
        let telescope = |kind| scenario(kind).instrument.telescope;
        let reflections = TemplateKind::ALL.map(|kind| telescope(kind).reflections);
        assert_eq!(reflections, [1, 2, 2, 0, 1, 2, 2, 0]);
        assert!((telescope(TemplateKind::PrimeFocus).focal_ratio() - 2.4).abs() < 1e-12);
        assert!((telescope(TemplateKind::TwoMirror).focal_ratio() - 10.0).abs() < 1e-12);
        let newtonian = telescope(TemplateKind::Newtonian);
        assert!((newtonian.focal_ratio() - 4.0).abs() < 1e-12);
        assert_eq!(newtonian.focus_law, FocusLaw::Paraboloid);
        assert_eq!(newtonian.vanes.len(), 4);
        assert!(telescope(TemplateKind::Refractor).obstruction.is_none());
    }

    #[test]
    fn the_paraboloids_coma_is_that_of_third_order_theory() {
        // Sagittal coma of a paraboloid is field angle / (16 N²), a textbook result: W131 = h / (32 N³), RMS / √72.
        let newtonian = scenario(TemplateKind::Newtonian).instrument;
        let ratio = newtonian.telescope.focal_ratio();
        let expected = -1.0 / (32.0 * ratio.powi(3) * 72.0_f64.sqrt());
        let found = newtonian.telescope.field.coma_per_m;
        assert!((found / expected - 1.0).abs() < 2e-3, "{found} {expected}");
        let response = newtonian
            .assembly
            .and_then(|assembly| assembly.response)
            .expect("a response");
        let tilted = found * newtonian.telescope.focal_length_m;
        assert!(
            (response.coma_m_per_rad / tilted - 1.0).abs() < 2e-3,
            "{} {tilted}",
            response.coma_m_per_rad
        );
        let shift = response.image_shift_m_per_rad / (-2.0 * newtonian.telescope.focal_length_m);
        assert!((shift - 1.0).abs() < 2e-3, "{shift}");
    }

    #[test]
    fn a_title_with_quotes_stays_a_title() {
        let title = "He said \"B\" \\ twice";
        let text = template(TemplateKind::Refractor, title);
        assert_eq!(
            read(&text, "t.toml", &[]).map(|scenario| scenario.title),
            Ok(title.to_owned())
        );
    }
}
