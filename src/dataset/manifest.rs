//! What a set is cited by: one small file over all of it, written once it is whole.

use super::set::Set;
use super::verify::VerifyReport;
use crate::scenario::hex;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// `STEM.manifest.json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    format: String,
    title: String,
    /// Version of the set, in its author's counting.
    version: String,
    licence: String,
    /// The program and its version.
    program: String,
    /// Processor and system of the program that checked it; others may make other bytes, unless the set is portable.
    target: String,
    /// [`Set::sha256`].
    set_sha256: String,
    first: u64,
    last: u64,
    items: u64,
    shards: u64,
    /// Bytes of the shards' files.
    bytes: u64,
    /// SHA-256 over all frames and rows in order of the items, however they were cut.
    content_sha256: String,
    /// For a sealed set: the published checksum of its secret.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    secret_sha256: Option<String>,
    /// Files that belong to all shards.
    shared: Vec<SharedFile>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SharedFile {
    name: String,
    sha256: String,
}

impl Manifest {
    /// Of a set that was found whole; `None` where it is not. `target` is who checked it: processor and system.
    pub fn of(
        set: &Set,
        report: &VerifyReport,
        first: u64,
        shared: &[(String, Vec<u8>)],
        secret_sha256: Option<String>,
        target: &str,
    ) -> Option<Manifest> {
        let content_sha256 = report.content_sha256.clone()?;
        Some(Manifest {
            format: "skewstar-manifest/1".into(),
            title: set.recipe.title.clone(),
            version: set.recipe.version.clone(),
            licence: set.recipe.licence.clone(),
            program: concat!("skewstar ", env!("CARGO_PKG_VERSION")).into(),
            target: target.to_owned(),
            set_sha256: set.sha256.clone(),
            first,
            last: first + report.items_wanted - 1,
            items: report.items_wanted,
            shards: report.shards,
            bytes: report.bytes,
            content_sha256,
            secret_sha256,
            shared: shared
                .iter()
                .map(|(name, bytes)| SharedFile {
                    name: name.clone(),
                    sha256: hex(&Sha256::digest(bytes)),
                })
                .collect(),
        })
    }

    /// What is wrong with the bytes of a manifest of the same set. The target may differ: it is that of who wrote it.
    pub fn fault(&self, bytes: &[u8]) -> Option<String> {
        let found: Manifest = match serde_json::from_slice(bytes) {
            Ok(found) => found,
            Err(error) => return Some(format!("cannot be read: {error}")),
        };
        let [found, own] = [&found, self].map(|manifest| {
            let plain = Manifest {
                target: String::new(),
                // a sealed set's seal is a shared file only for whoever has the secret
                shared: manifest
                    .shared
                    .iter()
                    .filter(|file| !file.name.ends_with(".seal.json"))
                    .cloned()
                    .collect(),
                ..manifest.clone()
            };
            serde_json::to_value(plain).unwrap_or_default()
        });
        let keys = own.as_object().into_iter().flatten();
        let wrong = keys.filter(|(key, value)| found.get(key.as_str()) != Some(*value));
        let names: Vec<&str> = wrong.map(|(key, _)| key.as_str()).collect();
        if names.is_empty() && found == own {
            None
        } else {
            Some(format!("does not fit the set: {}", names.join(", ")))
        }
    }
}
