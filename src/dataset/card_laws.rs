//! The part of a data card that says what differs from item to item: cases, laws, correlations, and what is known of the star's place.

use super::distribution::{Distribution, Varied, number};
use super::joined::{PLACE, SetCase, StarPlace, key_of};
use super::set::Set;
use std::fmt::Write as _;

/// The cases of a mixture.
pub(super) fn cases(out: &mut String, set: &Set) {
    if set.cases.iter().all(|case| case.name.is_none()) {
        return;
    }
    let known = if set.recipe.case_known {
        "is handed out with the frames"
    } else {
        "stands in the truth only"
    };
    let _ = writeln!(
        out,
        "## Cases\n\nAn item's case is drawn by these shares, and {known}.\n\n| case | share | what it changes |\n|---|---|---|"
    );
    for (case, own) in set.cases.iter().zip(&set.recipe.cases) {
        let changes = own.set.join("`, `");
        let changes = if changes.is_empty() {
            String::new()
        } else {
            format!("`{changes}`")
        };
        let _ = writeln!(
            out,
            "| {} | {:.2} % | {changes} |",
            own.name,
            100.0 * case.share
        );
    }
    out.push('\n');
}

/// The laws: one table, or one for each case.
pub(super) fn law_tables(out: &mut String, set: &Set) {
    out.push_str("## What differs from item to item\n");
    for case in &set.cases {
        if let Some(name) = &case.name {
            let _ = write!(out, "\n### {name}\n");
        }
        laws(out, case);
    }
    if !set.recipe.correlations.pairs.is_empty() {
        out.push_str("\nThese go together (correlation of their normal scores):\n\n");
        for (a, b, r) in &set.recipe.correlations.pairs {
            let _ = writeln!(out, "- `{a}` and `{b}`: {}", number(*r));
        }
    }
}

fn laws(out: &mut String, case: &SetCase) {
    out.push_str("\n| key | law | handed out |\n|---|---|---|\n");
    for varied in &case.vary {
        let known = if varied.known { "yes" } else { "no" };
        let each = match varied.components {
            1 => "",
            _ => ", each component",
        };
        let by_default = match case.place {
            StarPlace::DrawnByDefault if varied.key == PLACE => " (by default)",
            _ => "",
        };
        let law = law(varied);
        let _ = writeln!(
            out,
            "| `{}` | {law}{each}{by_default} | {known} |",
            varied.key
        );
    }
    if case.vary.is_empty() {
        out.push_str("| nothing but the noise | | |\n");
    }
    let drawn = |key: &str| case.vary.iter().any(|varied| varied.key == key);
    let same: Vec<&str> = case
        .set
        .iter()
        .map(String::as_str)
        .filter(|argument| !drawn(key_of(argument)))
        .collect();
    if !same.is_empty() {
        let _ = writeln!(
            out,
            "\nThe same for all, other than in the scenario: `{}`.",
            same.join("`, `")
        );
    }
}

/// What is known of where the stars stand, and which bound holds.
pub(super) fn place(out: &mut String, set: &Set) {
    out.push_str("\n## Where the star stands\n\n");
    let mut told: Vec<StarPlace> = Vec::new();
    for case in &set.cases {
        if told.contains(&case.place) {
            continue;
        }
        told.push(case.place);
        let alike = set.cases.iter().filter(|other| other.place == case.place);
        let names: Vec<&str> = alike.filter_map(|case| case.name.as_deref()).collect();
        let of = if names.len() < 2 && set.cases.len() == 1 || names.len() == set.cases.len() {
            String::new()
        } else {
            format!("{}: ", names.join(", "))
        };
        let _ = writeln!(out, "- {of}{}", words(case.place));
    }
}

fn words(place: StarPlace) -> &'static str {
    match place {
        StarPlace::DrawnByDefault => {
            "It is drawn off the middle, since neither recipe nor scenario says where it stands, and not handed out: coma cannot be read off \
             where the light lies. `sigma_photon_nm` is the bound."
        }
        StarPlace::Drawn => "It is drawn and not handed out. `sigma_photon_nm` is the bound.",
        StarPlace::HandedOut => {
            "It is drawn and handed out, so that coma can be read off where the light lies. `sigma_photon_place_known_nm` is the bound, \
             not `sigma_photon_nm`."
        }
        StarPlace::TheSame => {
            "It stands at the same place in every frame: a program that has learned from frames of the set knows it, and can read coma off \
             where the light lies. `sigma_photon_place_known_nm` is the bound, not `sigma_photon_nm`."
        }
    }
}

fn law(varied: &Varied) -> String {
    let limits = |[low, high]: [f64; 2]| format!("{} to {}", number(low), number(high));
    match &varied.distribution {
        Distribution::Uniform { low, high } => format!("uniform, {}", limits([*low, *high])),
        Distribution::LogUniform { low, high } => {
            format!("uniform in the logarithm, {}", limits([*low, *high]))
        }
        Distribution::Normal {
            mean,
            sigma,
            within,
        } => {
            let cut = within.map_or(String::new(), |w| format!(", within {}", limits(w)));
            format!("normal, mean {}, σ {}{cut}", number(*mean), number(*sigma))
        }
        Distribution::LogNormal {
            median,
            sigma_ln,
            within,
        } => {
            let cut = within.map_or(String::new(), |w| format!(", within {}", limits(w)));
            format!(
                "log-normal, median {}, σ {} of the natural logarithm{cut}",
                number(*median),
                number(*sigma_ln)
            )
        }
        Distribution::Weibull { scale, shape } => {
            format!(
                "Weibull, scale {}, shape {}",
                number(*scale),
                number(*shape)
            )
        }
        Distribution::UniformSine { low_deg, high_deg } => {
            format!("its sine is uniform, {}", limits([*low_deg, *high_deg]))
        }
        Distribution::StarCounts {
            bright,
            faint,
            slope_per_magnitude,
        } => format!(
            "as the counts of stars, {}, whose number grows as 10^({}·m)",
            limits([*bright, *faint]),
            number(*slope_per_magnitude)
        ),
        Distribution::Table { file, column } => {
            format!("the column `{column}` of `{file}`, every row as likely")
        }
        Distribution::Choice { values, weights } => {
            let total: f64 = weights.iter().sum();
            let shares = values
                .iter()
                .zip(weights)
                .map(|(value, weight)| format!("{value} ({:.0} %)", 100.0 * weight / total));
            format!("one of {}", shares.collect::<Vec<_>>().join(", "))
        }
        Distribution::Turns {
            sigma_turns,
            correlation,
            within_turns,
        } => {
            let cut =
                within_turns.map_or(String::new(), |w| format!(", each within ±{}", number(w)));
            format!(
                "normal turns, σ {}, correlation {}{cut}",
                number(*sigma_turns),
                number(*correlation)
            )
        }
    }
}
