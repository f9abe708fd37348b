//! `serve`: the page, its sessions kept in a folder; with `--night` a night at the telescope.

use super::args::ServeArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::output::{OutputPlan, OutputSet};
use super::practice::telescope;
use super::{qr, serve_night};
use crate::night::Desk;
use crate::practice::BYTES_AT_MOST;
use crate::scenario;
use crate::web::{Config, Keeper, Server, measured};
use serde_json::json;
use std::fs;
use std::io::Read;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::SystemTime;

/// Serves until it is interrupted.
pub fn run(args: &ServeArgs, console: &Console) -> Result<(), CliError> {
    let night = serve_night::prepare(args, console)?;
    let (scenario, scenario_text) = match &night {
        None => telescope(args.scenario.as_ref())?,
        Some(night) => {
            let read = scenario::read(&night.instrument, "the night's instrument", &[])?;
            (read, night.instrument.clone())
        }
    };
    let interrupt = Interrupt::install()?;
    let server = Server::open(Config {
        scenario,
        scenario_text,
        port: args.port,
        lan: args.lan,
        keeper: Some(Box::new(SessionFolder {
            path: args.keep.clone(),
        })),
        measurer: Some(Arc::new(measured)),
        night: night
            .as_ref()
            .map(|night| night.desk.clone() as Arc<dyn Desk>),
    })?;
    let address = server.address();
    console.answer(format!("Open {address} in a browser. Ctrl-C ends it."))?;
    if args.lan {
        console.answer(qr::of(&address))?;
    }
    console.answer_json(&json!({
        "format": "skewstar-serve/1",
        "address": address,
        "token": server.token(),
        "session": night.as_ref().map(|night| &night.session),
    }))?;
    console.note(format!("sessions are kept in {}", args.keep.display()));
    if let Some((night, token)) = night.as_ref().zip(server.token()) {
        let bare = address.split('#').next().unwrap_or_default();
        console.note(format!(
            "a script posts a frame so: curl --data-binary @FRAME -H 'Authorization: Bearer {token}' {bare}night/frame"
        ));
        serve_night::follow(&night.desk, *console);
    }
    if args.lan {
        console.warning(
            "everybody in your network who has this address can practise and tell; it is not encrypted",
        );
    }
    let ended = interrupt.or_done(move || server.run());
    ended.map_err(|_| CliError::PageEnded)
}

/// Sessions kept at most; the oldest give way.
const KEPT_AT_MOST: usize = 1000;

/// A folder of sessions, one file each.
struct SessionFolder {
    path: PathBuf,
}

impl SessionFolder {
    fn name(name: &str) -> String {
        format!("{name}.session.toml")
    }

    /// Removes the oldest when there are too many.
    fn prune(&self) {
        let Ok(entries) = fs::read_dir(&self.path) else {
            return;
        };
        let mut kept: Vec<(SystemTime, PathBuf)> = entries
            .flatten()
            .filter(|entry| {
                entry
                    .file_name()
                    .to_string_lossy()
                    .ends_with(".session.toml")
            })
            .filter_map(|entry| Some((entry.metadata().ok()?.modified().ok()?, entry.path())))
            .collect();
        if kept.len() <= KEPT_AT_MOST {
            return;
        }
        kept.sort();
        let surplus = kept.len() - KEPT_AT_MOST;
        for (_, path) in kept.into_iter().take(surplus) {
            // one that is gone already is as good as removed
            fs::remove_file(path).unwrap_or_default();
        }
    }
}

impl Keeper for SessionFolder {
    fn keep(&self, name: &str, text: &str) -> Result<(), String> {
        let file = SessionFolder::name(name);
        let is_new = !self.path.join(&file).exists();
        let plan = OutputPlan {
            folder: &self.path,
            files: std::slice::from_ref(&file),
            truth: None,
            force: true,
        };
        let written = OutputSet::plan(&plan).and_then(|mut set| {
            set.put(&file, text.as_bytes())?;
            set.finish(&Interrupt::new())
        });
        if is_new {
            self.prune();
        }
        written.map(|_| ()).map_err(|error| error.to_string())
    }

    fn fetch(&self, name: &str) -> Option<String> {
        let file = fs::File::open(self.path.join(SessionFolder::name(name))).ok()?;
        let mut text = String::new();
        file.take(BYTES_AT_MOST as u64)
            .read_to_string(&mut text)
            .ok()?;
        Some(text)
    }
}
