//! The section [vary] of a recipe: one line a key, each with exactly one law.

use super::distribution::{Distribution, Varied, number};
use super::recipe::SETTLED;
use super::section::Section;
use crate::scenario::ScenarioError;
use crate::scenario::document::{Document, Node, Value};
use crate::scenario::error::Problem;
use crate::scenario::numbers_of;

/// Names of the laws.
const LAWS: [&str; 10] = [
    "uniform",
    "log_uniform",
    "normal",
    "log_normal",
    "weibull",
    "uniform_sine",
    "star_counts",
    "table",
    "choice",
    "turns",
];
/// What else may stand beside a law, and beside which.
const EXTRAS: [(&str, &[&str]); 4] = [
    ("within", &["normal", "log_normal", "turns"]),
    ("weights", &["choice"]),
    ("slope_per_magnitude", &["star_counts"]),
    ("column", &["table"]),
];

/// Everything that may stand in a law.
pub(super) fn beside() -> Vec<&'static str> {
    let extras = EXTRAS.iter().map(|(name, _)| *name);
    LAWS.into_iter().chain(extras).chain(["known"]).collect()
}
/// Largest number that a law may hold.
const LARGEST: f64 = 1e9;
/// A normal law must keep at least a little of itself within its limits.
const REACH_SIGMAS: f64 = 3.0;

/// Reads the section; a recipe that draws nothing has none.
pub(super) fn read_vary(
    document: &Document,
    top: &Section<'_>,
) -> Result<Vec<Varied>, ScenarioError> {
    let Some(section) = top.table("vary")? else {
        return Ok(Vec::new());
    };
    let (beside, mut varied) = (beside(), Vec::new());
    for (key, node) in section.entries() {
        let path = key.clone();
        let law = match Section::of(document, node, &section.path(key)) {
            Ok(law) => law,
            Err(_) => return Err(section.wrong_type(node, &section.path(key), EXAMPLE)),
        };
        if !law
            .entries()
            .any(|(name, _)| beside.contains(&name.as_str()))
        {
            section.key_path(key, node)?;
        }
        law.known(&beside)?;
        if SETTLED.contains(&path.as_str()) {
            let problem = Problem::NoMeaning {
                key: section.path(key),
                condition: "since it is the same for all items of a set".into(),
            };
            return Err(document.error(node.origin, problem, "give it under [set], or at the top"));
        }
        varied.push(Varied {
            distribution: read_law(document, &law, node, &path)?,
            components: numbers_of(&path),
            known: law.flag("known", false)?,
            key: path,
        });
    }
    Ok(varied)
}

const EXAMPLE: &str = "a table with one law, such as { uniform = [300.0, 700.0] }";

fn read_law(
    document: &Document,
    law: &Section<'_>,
    node: &Node,
    key: &str,
) -> Result<Distribution, ScenarioError> {
    let named: Vec<&str> = LAWS
        .into_iter()
        .filter(|name| law.optional(name).is_some())
        .collect();
    let [name] = named.as_slice() else {
        let reason = format!(
            "{} has {} laws, but must have exactly one of {}",
            law.path("").trim_end_matches(".\"\""),
            named.len(),
            LAWS.join(", ")
        );
        return Err(document.error(node.origin, Problem::BadArgument { reason }, HINT));
    };
    for (extra, with) in EXTRAS {
        if let Some((node, path)) = law.optional(extra).filter(|_| !with.contains(name)) {
            let problem = Problem::NoMeaning {
                key: path,
                condition: format!("beside {name}"),
            };
            return Err(document.error(node.origin, problem, HINT));
        }
    }
    match *name {
        "uniform" => {
            let [low, high] = ascending(law, "uniform", -LARGEST)?;
            Ok(Distribution::Uniform { low, high })
        }
        "log_uniform" => {
            let [low, high] = ascending(law, "log_uniform", f64::MIN_POSITIVE)?;
            Ok(Distribution::LogUniform { low, high })
        }
        "normal" => normal(law),
        "log_normal" => log_normal(law),
        "weibull" => {
            let [scale, shape] = pair(law, "weibull", f64::MIN_POSITIVE)?;
            Ok(Distribution::Weibull { scale, shape })
        }
        "uniform_sine" => {
            let [low_deg, high_deg] = ascending(law, "uniform_sine", -90.0)?;
            if high_deg > 90.0 {
                let (node, path) = law.required("uniform_sine", HINT)?;
                return Err(law.wrong_type(node, &path, "two angles from -90 to 90 degrees"));
            }
            Ok(Distribution::UniformSine { low_deg, high_deg })
        }
        "star_counts" => {
            let [bright, faint] = ascending(law, "star_counts", -30.0)?;
            Ok(Distribution::StarCounts {
                bright,
                faint,
                slope_per_magnitude: law.number("slope_per_magnitude", Some(0.35), 0.0, 2.0)?,
            })
        }
        "table" => {
            let file = law.text("table", None)?;
            let column = law.text("column", Some(key))?;
            Ok(Distribution::Table { file, column })
        }
        "choice" => choice(law),
        _ => turns(document, law, key),
    }
}

const HINT: &str =
    "a line is \"state.sensor_offset_um\" = { normal = [400.0, 50.0], within = [250.0, 550.0] }";

/// Two numbers of a law, within limits.
fn pair(law: &Section<'_>, name: &str, least: f64) -> Result<[f64; 2], ScenarioError> {
    let (node, path) = law.required(name, HINT)?;
    let allowed = format!(
        "a list of 2 numbers, each from {} to {}",
        crate::scenario::error::number(least),
        crate::scenario::error::number(LARGEST)
    );
    let Value::List(items) = &node.value else {
        return Err(law.wrong_type(node, &path, &allowed));
    };
    let numbers: Vec<f64> = items
        .iter()
        .filter_map(|item| item.value.number())
        .collect();
    match (numbers.as_slice(), items.len()) {
        ([a, b], 2) if [a, b].iter().all(|v| (least..=LARGEST).contains(*v)) => Ok([*a, *b]),
        _ => Err(law.wrong_type(node, &path, &allowed)),
    }
}

fn ascending(law: &Section<'_>, name: &str, least: f64) -> Result<[f64; 2], ScenarioError> {
    let [low, high] = pair(law, name, least)?;
    if low < high {
        return Ok([low, high]);
    }
    let (node, path) = law.required(name, HINT)?;
    let problem = Problem::OutOfRange {
        key: path,
        value: format!("[{}, {}]", number(low), number(high)),
        allowed: "two numbers, the smaller one first".into(),
    };
    Err(law.document.error(node.origin, problem, HINT))
}

fn normal(law: &Section<'_>) -> Result<Distribution, ScenarioError> {
    let [mean, sigma] = pair(law, "normal", -LARGEST)?;
    let (node, path) = law.required("normal", HINT)?;
    let refuse = |allowed: &str| {
        let problem = Problem::OutOfRange {
            key: path.clone(),
            value: format!("[{}, {}]", number(mean), number(sigma)),
            allowed: allowed.to_owned(),
        };
        Err(law.document.error(node.origin, problem, HINT))
    };
    if sigma < 0.0 {
        return refuse("[mean, standard deviation], the second not below 0");
    }
    let within = law
        .optional("within")
        .map(|_| ascending(law, "within", -LARGEST))
        .transpose()?;
    if let Some([low, high]) = within {
        let reach = REACH_SIGMAS * sigma;
        if mean + reach < low || mean - reach > high {
            return refuse(
                "a law that reaches its limits in `within` with three standard deviations",
            );
        }
    }
    Ok(Distribution::Normal {
        mean,
        sigma,
        within,
    })
}

/// `log_normal = [median, standard deviation of the natural logarithm]`.
fn log_normal(law: &Section<'_>) -> Result<Distribution, ScenarioError> {
    let [median, sigma_ln] = pair(law, "log_normal", 0.0)?;
    let within = law
        .optional("within")
        .map(|_| ascending(law, "within", f64::MIN_POSITIVE))
        .transpose()?;
    let reach = (REACH_SIGMAS * sigma_ln).exp();
    let reaches = within.is_none_or(|[low, high]| median * reach >= low && median <= high * reach);
    if median > 0.0 && sigma_ln <= 5.0 && reaches {
        return Ok(Distribution::LogNormal {
            median,
            sigma_ln,
            within,
        });
    }
    let (node, path) = law.required("log_normal", HINT)?;
    let allowed = "[median above 0, standard deviation of the natural logarithm from 0 to 5], reaching its limits in `within` with three of these";
    Err(law.wrong_type(node, &path, allowed))
}

fn choice(law: &Section<'_>) -> Result<Distribution, ScenarioError> {
    let (node, path) = law.required("choice", HINT)?;
    let Value::List(items) = &node.value else {
        return Err(law.wrong_type(node, &path, "a list of values"));
    };
    if items.is_empty() {
        return Err(law.wrong_type(node, &path, "a list of at least one value"));
    }
    let values: Vec<String> = items.iter().map(|i| i.value.plain().to_string()).collect();
    let weights = match law.optional("weights") {
        None => vec![1.0; values.len()],
        Some((node, path)) => weights(law, node, &path, values.len())?,
    };
    Ok(Distribution::Choice { values, weights })
}

fn weights(
    law: &Section<'_>,
    node: &Node,
    path: &str,
    count: usize,
) -> Result<Vec<f64>, ScenarioError> {
    let allowed = format!("a list of {count} numbers from 0 to 1e9, not all 0");
    let Value::List(items) = &node.value else {
        return Err(law.wrong_type(node, path, &allowed));
    };
    let weights: Vec<f64> = items
        .iter()
        .filter_map(|item| item.value.number())
        .filter(|weight| (0.0..=LARGEST).contains(weight))
        .collect();
    if items.len() == count && weights.len() == count && weights.iter().sum::<f64>() > 0.0 {
        Ok(weights)
    } else {
        Err(law.wrong_type(node, path, &allowed))
    }
}

/// `turns = { sigma_turns = 0.1, correlation = -0.3 }`, for the key state.turns only.
fn turns(document: &Document, law: &Section<'_>, key: &str) -> Result<Distribution, ScenarioError> {
    let (node, path) = law.required("turns", HINT)?;
    if key != "state.turns" {
        let problem = Problem::NoMeaning {
            key: path,
            condition: "for any key but state.turns".into(),
        };
        return Err(document.error(node.origin, problem, TURNS_HINT));
    }
    let inner = Section::of(document, node, &path)?;
    inner.known(&["sigma_turns", "correlation"])?;
    let within_turns = law
        .optional("within")
        .map(|_| law.number("within", None, 0.0, LARGEST))
        .transpose()?;
    Ok(Distribution::Turns {
        sigma_turns: inner.number("sigma_turns", None, 0.0, LARGEST)?,
        correlation: inner.number("correlation", Some(0.0), -1.0, 1.0)?,
        within_turns,
    })
}

const TURNS_HINT: &str =
    "write \"state.turns\" = { turns = { sigma_turns = 0.1, correlation = -0.3 }, within = 0.3 }";
