//! A folder that a set grows in, shard by shard, over many runs.
//!
//! Any number of programs may write into it at once, the same range or others, on one machine or several that share the folder.
//! Nothing in it is ever overwritten: a file that is there with the same bytes is taken as done, one with other bytes is an
//! error. A file is written whole under a hidden name of its writer's own, locked as long as it is written, then named; a
//! hidden file that nobody locks was left by a program that was killed, and is swept away by the next one.

use super::error::CliError;
use super::output::OutputError;
use crate::files::FileError;
use std::fs::{self, TryLockError};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Ending of hidden files that are being written.
const PARTIAL: &str = ".partial";
/// So often a file is written anew when other programs get in the way.
const ATTEMPTS: usize = 20;

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
        for _ in 0..ATTEMPTS {
            match self.write(name, bytes, mode) {
                Ok(()) => return Ok(()),
                // another run that makes the same range was faster
                Err(error) if error.kind() == ErrorKind::AlreadyExists => {
                    if self.holds(name, bytes)? {
                        return Ok(());
                    }
                }
                // another run swept the hidden file away before it was locked
                Err(error) if error.kind() == ErrorKind::NotFound && self.path.is_dir() => {}
                Err(source) => return Err(OutputError::Write { path, source }.into()),
            }
        }
        let source = io::Error::other("other programs keep removing what is being written");
        Err(OutputError::Write { path, source }.into())
    }

    fn write(&self, name: &str, bytes: &[u8], mode: u32) -> io::Result<()> {
        let mut builder = tempfile::Builder::new();
        let prefix = format!(".{name}.{}-", std::process::id());
        builder.prefix(&prefix).suffix(PARTIAL).rand_bytes(8);
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(mode));
        #[cfg(not(unix))]
        let _ = mode;
        let mut file = builder.tempfile_in(&self.path)?;
        // where a file system has no locks, nothing is swept away either
        if let Err(TryLockError::WouldBlock) = file.as_file().try_lock() {
            return Err(ErrorKind::NotFound.into());
        }
        file.write_all(bytes)?;
        file.as_file().sync_data()?;
        file.persist_noclobber(self.place_of(name))
            .map_err(|refused| refused.error)?;
        Ok(())
    }

    /// Removes hidden files of a set that nobody is writing any more; `stem` is what its names begin with.
    ///
    /// # Errors
    /// The folder cannot be read.
    pub fn sweep(&self, stem: &str) -> Result<(), CliError> {
        let hidden = format!(".{stem}.");
        for name in self.names()? {
            if !name.starts_with(&hidden) || !name.ends_with(PARTIAL) {
                continue;
            }
            let path = self.place_of(&name);
            let Ok(file) = fs::File::open(&path) else {
                continue;
            };
            if file.try_lock().is_ok() {
                // whoever was faster removed it
                let _ = fs::remove_file(&path);
            }
        }
        Ok(())
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
    fn what_a_killed_run_left_is_swept_away_and_what_is_being_written_is_not() {
        let root = tempfile::tempdir().unwrap();
        for name in [
            ".set.a.npz.12-abcdefgh.partial",
            ".set.b.npz.partial",
            ".other.partial",
        ] {
            fs::write(root.path().join(name), b"on").unwrap();
        }
        let being_written = fs::File::open(root.path().join(".set.b.npz.partial")).unwrap();
        being_written.try_lock().unwrap();
        let folder = SetFolder::open(root.path()).unwrap();
        folder.sweep("set").unwrap();
        assert_eq!(
            folder.names().unwrap(),
            [".other.partial", ".set.b.npz.partial"]
        );
        drop(being_written);
        folder.sweep("set").unwrap();
        assert_eq!(folder.names().unwrap(), [".other.partial"]);
    }

    #[test]
    fn many_writers_of_one_file_leave_it_whole() {
        let root = tempfile::tempdir().unwrap();
        let bytes: Vec<u8> = (0..200_000_u32).map(|i| i as u8).collect();
        std::thread::scope(|scope| {
            for _ in 0..8 {
                scope.spawn(|| {
                    let folder = SetFolder::open(root.path()).unwrap();
                    folder.sweep("x").unwrap();
                    folder.place("x.npz", &bytes).unwrap();
                });
            }
        });
        let folder = SetFolder::existing(root.path());
        assert_eq!(folder.names().unwrap(), ["x.npz"]);
        assert_eq!(folder.read("x.npz").unwrap().unwrap(), bytes);
    }
}
