//! Sessions that are open, each behind a lock of its own, and where they are kept while they are not.
//!
//! Only so many are held; the one not used for longest gives way. What is kept is a session's text, never a picture.

use super::telescopes::Telescope;
use crate::practice::{self, Eye, Level, Question, Session, SetupError};
use crate::rng::{LARGEST_SEED, Seed};
use lru::LruCache;
use rand::TryRng;
use rand::rngs::SysRng;
use std::num::NonZeroUsize;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Keeps sessions as texts over a restart; handed in by the shell, which alone opens files. Names are 16 hex digits.
pub trait Keeper: Send + Sync {
    /// Keeps a text under a name; in words why not.
    ///
    /// # Errors
    /// What the system says.
    fn keep(&self, name: &str, text: &str) -> Result<(), String>;

    /// The text of a name.
    fn fetch(&self, name: &str) -> Option<String>;
}

/// Sessions held at most.
const ROOMS_AT_MOST: NonZeroUsize = NonZeroUsize::new(64).unwrap();
/// Questions held at most.
const QUESTIONS_AT_MOST: NonZeroUsize = NonZeroUsize::new(64).unwrap();

/// A session and its eye.
pub struct Room {
    /// The session.
    pub session: Session,
    /// Its pictures.
    pub eye: Eye,
    /// The text of its telescope.
    text: String,
}

/// All open sessions.
pub struct Rooms {
    rooms: Mutex<LruCache<String, Arc<Mutex<Room>>>>,
    questions: Mutex<LruCache<String, Arc<Question>>>,
    keeper: Option<Box<dyn Keeper>>,
}

/// Why there is no room.
#[derive(Debug)]
pub enum NoRoom {
    /// The level cannot be practised.
    Setup(SetupError),
    /// The system gives no random numbers.
    NoChance,
    /// Beyond 2^53 − 1.
    SeedTooLarge,
    /// The session cannot be kept.
    NotKept(String),
}

impl Rooms {
    /// No sessions yet.
    pub fn new(keeper: Option<Box<dyn Keeper>>) -> Self {
        Rooms {
            rooms: Mutex::new(LruCache::new(ROOMS_AT_MOST)),
            questions: Mutex::new(LruCache::new(QUESTIONS_AT_MOST)),
            keeper,
        }
    }

    /// Starts a session; without a seed, one by chance.
    pub fn start(
        &self,
        telescope: &Telescope,
        level: Level,
        seed: Option<u64>,
    ) -> Result<(String, Arc<Mutex<Room>>), NoRoom> {
        let seed = self.seed(seed)?;
        let (instrument, state) = (&telescope.scenario.instrument, &telescope.scenario.state);
        let session = Session::new(instrument, state, level, seed).map_err(NoRoom::Setup)?;
        let name = random_hex(1).ok_or(NoRoom::NoChance)?;
        let room = Room::new(session, telescope.text.clone());
        self.keep(&name, &room)?;
        let room = Arc::new(Mutex::new(room));
        locked(&self.rooms).put(name.clone(), room.clone());
        Ok((name, room))
    }

    /// The session of a name: one that is held, or one that was kept.
    pub fn find(&self, name: &str) -> Option<Arc<Mutex<Room>>> {
        if !is_name(name) {
            return None;
        }
        if let Some(room) = locked(&self.rooms).get(name) {
            return Some(room.clone());
        }
        let text = self.keeper.as_ref()?.fetch(name)?;
        let (session, text) = practice::read(&text).ok()?;
        let room = Arc::new(Mutex::new(Room::new(session, text)));
        // somebody else may have been quicker: the first one stays
        let mut rooms = locked(&self.rooms);
        Some(rooms.get_or_insert(name.to_owned(), || room).clone())
    }

    /// Keeps a session as it is now.
    pub fn keep(&self, name: &str, room: &Room) -> Result<(), NoRoom> {
        let Some(keeper) = &self.keeper else {
            return Ok(());
        };
        let text = practice::write(&room.session, &room.text)
            .map_err(|e| NoRoom::NotKept(e.to_string()))?;
        keeper.keep(name, &text).map_err(NoRoom::NotKept)
    }

    /// Draws a question.
    pub fn ask(
        &self,
        telescope: &Telescope,
        seed: Option<u64>,
    ) -> Result<(String, Arc<Question>), NoRoom> {
        let seed = self.seed(seed)?;
        let (instrument, state) = (&telescope.scenario.instrument, &telescope.scenario.state);
        let question = Arc::new(Question::draw(instrument, state, seed).map_err(NoRoom::Setup)?);
        let name = random_hex(1).ok_or(NoRoom::NoChance)?;
        locked(&self.questions).put(name.clone(), question.clone());
        Ok((name, question))
    }

    /// The question of a name.
    pub fn question(&self, name: &str) -> Option<Arc<Question>> {
        locked(&self.questions).get(name).cloned()
    }

    fn seed(&self, given: Option<u64>) -> Result<Seed, NoRoom> {
        match given {
            Some(seed) if seed > LARGEST_SEED => Err(NoRoom::SeedTooLarge),
            Some(seed) => Ok(Seed(seed)),
            None => {
                let drawn = SysRng.try_next_u64().map_err(|_| NoRoom::NoChance)?;
                Ok(Seed(drawn & LARGEST_SEED))
            }
        }
    }
}

impl Room {
    fn new(session: Session, text: String) -> Room {
        let eye = Eye::new(session.instrument());
        Room { session, eye, text }
    }
}

/// What a lock guards, also after a thread panicked while it held it: the session is then shown as that thread left it.
pub fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Random hex digits from the system, 16 for each of `words`.
pub fn random_hex(words: usize) -> Option<String> {
    let mut text = String::new();
    for _ in 0..words {
        text += &format!("{:016x}", SysRng.try_next_u64().ok()?);
    }
    Some(text)
}

fn is_name(name: &str) -> bool {
    name.len() == 16
        && name
            .bytes()
            .all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_hex_and_nothing_else() {
        assert!(is_name("0123456789abcdef"));
        for bad in [
            "0123456789abcdeF",
            "../../etc/passwd",
            "",
            "0123456789abcde",
            "0123456789abcdeg",
        ] {
            assert!(!is_name(bad), "{bad}");
        }
        let (one, two) = (random_hex(2).unwrap(), random_hex(2).unwrap());
        assert!(one.len() == 32 && one != two);
    }
}
