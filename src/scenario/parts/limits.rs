//! The rules of the file with a few limits set wider, for values that the reader of a file works out itself.
//!
//! Nobody types these: a response and the field's growth may have been traced from surfaces, modes are the sum of three
//! tables, a filter's table holds the points of two. They are only kept from being no numbers or beyond all use.

use std::sync::OnceLock;

use super::camera::FILTERS;
use crate::scenario::rules::{Range, Rule, ValueShape, rules};

/// How many times as large as a typed value one that was worked out may be.
const WIDER: f64 = 1e4;
/// Keys whose numbers may have been traced from surfaces, or are sums.
const WORKED_OUT: [&str; 6] = [
    "assembly.response",
    "telescope.field.coma_nm_per_mm",
    "telescope.field.secondary_coma_nm_per_mm",
    "telescope.field.astigmatism_nm_per_mm2",
    "telescope.field.curvature_um_per_mm2",
    "state.modes_nm",
];

/// The rules of a scenario for values that were made in code.
pub(super) fn wider() -> &'static Rule {
    static RULES: OnceLock<Rule> = OnceLock::new();
    RULES.get_or_init(|| {
        let mut wider = rules().clone();
        for path in WORKED_OUT {
            at(&mut wider, path, &|rule| widen(rule));
        }
        for filter in FILTERS {
            let path = format!("camera.passbands.{filter}.passband_table");
            at(&mut wider, &path, &|rule| {
                if let ValueShape::List { most, .. } = &mut rule.shape {
                    *most = usize::MAX;
                }
            });
        }
        wider
    })
}

/// Changes the rule at a path; nothing where there is none.
fn at(rule: &mut Rule, path: &str, change: &dyn Fn(&mut Rule)) {
    let (name, rest) = path.split_once('.').unwrap_or((path, ""));
    if let ValueShape::Table(fields) = &mut rule.shape {
        for field in fields.iter_mut().filter(|field| field.name == name) {
            if rest.is_empty() {
                change(&mut field.rule);
            } else {
                at(&mut field.rule, rest, change);
            }
        }
    }
}

fn widen(rule: &mut Rule) {
    match &mut rule.shape {
        ValueShape::Number(Range { least, most, .. }) => {
            *least *= WIDER;
            *most *= WIDER;
        }
        ValueShape::Table(fields) => fields.iter_mut().for_each(|field| widen(&mut field.rule)),
        ValueShape::Map { value, .. } => widen(value),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn allowed(rules: &Rule, path: &str) -> String {
        let mut rule = rules.clone();
        for name in path.split('.') {
            rule = match &rule.shape {
                ValueShape::Map { value, .. } => (**value).clone(),
                _ => rule.field(name).expect(path).rule.clone(),
            };
        }
        rule.allowed()
    }

    /// Every path is one of the file; nothing else is touched.
    #[test]
    fn only_what_is_worked_out_is_wider() {
        for path in [
            "assembly.response.focus_um_per_mm",
            "telescope.field.coma_nm_per_mm",
            "telescope.field.secondary_coma_nm_per_mm",
            "telescope.field.astigmatism_nm_per_mm2",
            "telescope.field.curvature_um_per_mm2",
            "state.modes_nm.7",
            "camera.passbands.red.passband_table",
            "camera.passbands.green.passband_table",
            "camera.passbands.blue.passband_table",
        ] {
            assert_ne!(allowed(wider(), path), allowed(rules(), path), "{path}");
        }
        for path in [
            "telescope.aperture_mm",
            "telescope.field.axis_mm",
            "telescope.design_nm.7",
            "camera.passband_table",
            "assembly.pitch_mm_per_turn",
        ] {
            assert_eq!(allowed(wider(), path), allowed(rules(), path), "{path}");
        }
        assert_eq!(
            allowed(wider(), "assembly.response.focus_um_per_mm"),
            "a number from -10000000000 to 10000000000"
        );
    }
}
