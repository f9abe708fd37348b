//! A folder that a set grows in, shard by shard, over many runs.
//!
//! Nothing in it is ever overwritten: a file that is there with the same bytes is taken as done, one with other bytes is an
//! error. Files are written whole under a hidden name that depends on their own alone, then named; so a run that was killed
//! leaves at most one such file, and the next run takes its place.

use super::error::CliError;
use super::output::OutputError;
use crate::files::FileError;
use std::fs;
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// The folder.
pub struct SetFolder {
    path: PathBuf,
}

impl SetFolder {
    /// Makes the folder where there is none, and tries whether a file can be written into it.
    ///
    /// # Errors
    /// Something else has its name, or the system refuses.
    pub fn open(path: &Path) -> Result<SetFolder, CliError> {
        if path.exists() && !path.is_dir() {
            return Err(OutputError::NotAFolder {
                path: path.to_owned(),
            }
            .into());
        }
        let tried = fs::create_dir_all(path).and_then(|()| tempfile::tempfile_in(path).map(drop));
        tried.map_err(|source| OutputError::Folder {
            path: path.to_owned(),
            source,
        })?;
        Ok(SetFolder {
            path: path.to_owned(),
        })
    }

    /// A folder that is only read.
    pub fn existing(path: &Path) -> SetFolder {
        SetFolder {
            path: path.to_owned(),
        }
    }

    /// Where a file lies.
    pub fn place_of(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }

    /// The bytes of a file; `None` where there is none.
    ///
    /// # Errors
    /// The system refuses.
    pub fn read(&self, name: &str) -> Result<Option<Vec<u8>>, CliError> {
        let path = self.place_of(name);
        match fs::read(&path) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(source) => Err(FileError::unreadable(path, source).into()),
        }
    }

    /// Names of all files and folders in it, sorted.
    ///
    /// # Errors
    /// The system refuses.
    pub fn names(&self) -> Result<Vec<String>, CliError> {
        let list = || -> io::Result<Vec<String>> {
            fs::read_dir(&self.path)?
                .map(|entry| Ok(entry?.file_name().to_string_lossy().into_owned()))
                .collect()
        };
        let mut names = list().map_err(|source| FileError::unreadable(&self.path, source))?;
        names.sort();
        Ok(names)
    }

    /// Puts a file there whole, unless it is there already with the same bytes.
    ///
    /// # Errors
    /// It is there with other bytes, or the system refuses.
    pub fn place(&self, name: &str, bytes: &[u8]) -> Result<(), CliError> {
        self.place_with_mode(name, bytes, 0o666)
    }

    /// The same for a file that only its owner may read.
    ///
    /// # Errors
    /// As [`SetFolder::place`].
    pub fn place_private(&self, name: &str, bytes: &[u8]) -> Result<(), CliError> {
        self.place_with_mode(name, bytes, 0o600)
    }

    fn place_with_mode(&self, name: &str, bytes: &[u8], mode: u32) -> Result<(), CliError> {
        if self.holds(name, bytes)? {
            return Ok(());
        }
        let path = self.place_of(name);
        let write = || -> io::Result<()> {
            let hidden = self.path.join(format!(".{name}.partial"));
            fs::remove_file(&hidden).or_else(|error| match error.kind() {
                ErrorKind::NotFound => Ok(()),
                _ => Err(error),
            })?;
            let mut builder = tempfile::Builder::new();
            let (prefix, suffix) = (format!(".{name}"), ".partial");
            builder.prefix(&prefix).suffix(suffix).rand_bytes(0);
            #[cfg(unix)]
            builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(mode));
            #[cfg(not(unix))]
            let _ = mode;
            let mut file = builder.tempfile_in(&self.path)?;
            file.write_all(bytes)?;
            file.as_file().sync_data()?;
            file.persist_noclobber(&path)
                .map_err(|refused| refused.error)?;
            Ok(())
        };
        match write() {
            // another run that makes the same range was faster
            Err(error)
                if error.kind() == ErrorKind::AlreadyExists && self.holds(name, bytes)? =>
            {
                Ok(())
            }
            Err(source) => Err(OutputError::Write { path, source }.into()),
            Ok(()) => Ok(()),
        }
    }

    /// Whether a file is there with these bytes; other bytes are an error.
    fn holds(&self, name: &str, bytes: &[u8]) -> Result<bool, CliError> {
        let path = self.place_of(name);
        if path.is_dir() {
            return Err(OutputError::IsAFolder { path }.into());
        }
        match self.read(name)? {
            None => Ok(false),
            Some(found) if found == bytes => Ok(true),
            Some(_) => Err(CliError::SetFile {
                path,
                reason: "is there already and is not what this recipe gives",
            }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_written_once_and_never_overwritten() {
        let root = tempfile::tempdir().unwrap();
        let folder = SetFolder::open(&root.path().join("a/b")).unwrap();
        folder.place("x", b"one").unwrap();
        folder.place("x", b"one").unwrap();
        let error = folder.place("x", b"two").unwrap_err();
        assert!(error.to_string().ends_with("is not what this recipe gives"));
        assert_eq!(folder.read("x").unwrap().unwrap(), b"one");
        assert_eq!(folder.names().unwrap(), ["x"]);
    }

    #[test]
    fn what_a_killed_run_left_is_replaced() {
        let root = tempfile::tempdir().unwrap();
        fs::write(root.path().join(".x.partial"), b"on").unwrap();
        let folder = SetFolder::open(root.path()).unwrap();
        folder.place("x", b"one").unwrap();
        assert_eq!(folder.names().unwrap(), ["x"]);
    }
}
