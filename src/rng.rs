//! A seed and its named, independent streams of random numbers.
//!
//! Every purpose has its own key and every row (or item) its own stream of the same generator, so that results depend
//! neither on the number of threads nor on what else was drawn.

use rand::rngs::ChaCha8Rng;
use rand::{Rng, SeedableRng};
use sha2::{Digest, Sha256};

/// The largest seed, 2^53 − 1.
pub const LARGEST_SEED: u64 = (1 << 53) - 1;

/// A seed, 0 … [`LARGEST_SEED`]: a number that JSON and every scripting language keep exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Seed(pub u64);

/// What a stream of random numbers is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// Arrival of photons and dark electrons.
    Shot,
    /// Read noise.
    Read,
    /// The pixels' own sensitivity.
    PixelResponse,
    /// Places and magnitudes of the stars of a field.
    FieldStars,
    /// The atmosphere over the aperture; the item is the layer.
    Screen,
    /// What a drill hides.
    Drill,
    /// How steady a hand is.
    Hand,
    /// In what a unit differs from what its owner believes.
    Quirks,
    /// How the star's light scintillates.
    Scintillation,
    /// What a question of a lesson shows.
    Lesson,
}

impl Purpose {
    fn name(self) -> &'static [u8] {
        match self {
            Purpose::Shot => b"shot",
            Purpose::Read => b"read",
            Purpose::PixelResponse => b"pixel-response",
            Purpose::FieldStars => b"field-stars",
            Purpose::Screen => b"screen",
            Purpose::Drill => b"drill",
            Purpose::Hand => b"hand",
            Purpose::Quirks => b"quirks",
            Purpose::Scintillation => b"scintillation",
            Purpose::Lesson => b"lesson",
        }
    }
}

impl Seed {
    /// The stream of a purpose and an item (a row of a frame).
    pub fn stream(self, purpose: Purpose, item: u64) -> ChaCha8Rng {
        let mut key = [0u8; 32];
        key[..8].copy_from_slice(&self.0.to_le_bytes());
        let name = purpose.name();
        key[8..8 + name.len()].copy_from_slice(name);
        let mut stream = ChaCha8Rng::from_seed(key);
        stream.set_stream(item);
        stream
    }
}

/// Where chance comes from: a seed, or a key of 256 bits, of which nobody can try all.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Chance {
    /// A seed.
    Seed(Seed),
    /// A key.
    Key([u8; 32]),
}

impl Chance {
    /// The stream of a purpose and an item, as [`Seed::stream`].
    pub fn stream(self, purpose: Purpose, item: u64) -> ChaCha8Rng {
        match self {
            Chance::Seed(seed) => seed.stream(purpose, item),
            Chance::Key(key) => {
                let mut hash = Sha256::new();
                hash.update(b"skewstar-chance/1\0");
                hash.update(key);
                hash.update(purpose.name());
                let mut stream = ChaCha8Rng::from_seed(hash.finalize().into());
                stream.set_stream(item);
                stream
            }
        }
    }
}

impl std::fmt::Debug for Chance {
    /// A key does not show itself in messages.
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Chance::Seed(seed) => seed.fmt(out),
            Chance::Key(_) => out.write_str("Key(…)"),
        }
    }
}

/// The chance of one frame: that of its noise, and that of its camera, which may be the same in many frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FrameChance {
    /// Photons, readout and scintillation.
    pub noise: Chance,
    /// What is peculiar to each pixel of the camera.
    pub camera: Chance,
}

impl From<Seed> for FrameChance {
    /// Everything from one seed: a camera of its own for every frame.
    fn from(seed: Seed) -> FrameChance {
        let chance = Chance::Seed(seed);
        FrameChance {
            noise: chance,
            camera: chance,
        }
    }
}

/// The seed of a whole set of items; a sealed set has 128 secret bits beside it, without which nothing can be drawn again.
///
/// It does not show itself in messages: the secret is nobody's business.
#[derive(Clone, PartialEq, Eq)]
pub struct SetSeed {
    /// The published seed.
    pub seed: Seed,
    /// The secret of a sealed set.
    pub secret: Option<[u8; 16]>,
}

impl SetSeed {
    /// A key for one purpose and one item, from all of the seed and the secret.
    pub fn key(&self, name: &str, item: u64) -> [u8; 32] {
        let mut key = [0; 32];
        self.stream(name, item).fill_bytes(&mut key);
        key
    }

    /// The stream of a name (what is drawn) and an item. Other names and other items do not change it.
    pub fn stream(&self, name: &str, item: u64) -> ChaCha8Rng {
        let mut hash = Sha256::new();
        hash.update(b"skewstar-set/1\0");
        hash.update(self.seed.0.to_le_bytes());
        match &self.secret {
            Some(secret) => {
                hash.update([1]);
                hash.update(secret);
            }
            None => hash.update([0]),
        }
        hash.update(name.as_bytes());
        let mut stream = ChaCha8Rng::from_seed(hash.finalize().into());
        stream.set_stream(item);
        stream
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::RngExt;

    #[test]
    fn a_key_draws_its_own_streams_and_does_not_show_itself() {
        let first = |chance: Chance, purpose, item| chance.stream(purpose, item).random::<u64>();
        let (key, other) = (Chance::Key([7; 32]), Chance::Key([8; 32]));
        let base = first(key, Purpose::Shot, 0);
        assert_eq!(base, first(key, Purpose::Shot, 0));
        for (chance, purpose, item) in [
            (other, Purpose::Shot, 0),
            (key, Purpose::Read, 0),
            (key, Purpose::Shot, 1),
        ] {
            assert_ne!(base, first(chance, purpose, item));
        }
        let seed = Chance::Seed(Seed(7));
        assert_eq!(
            first(seed, Purpose::Read, 3),
            Seed(7).stream(Purpose::Read, 3).random::<u64>()
        );
        assert_eq!(format!("{key:?}"), "Key(…)");
    }

    #[test]
    fn streams_differ_by_seed_purpose_and_item_and_repeat() {
        let first = |seed: u64, purpose, item| Seed(seed).stream(purpose, item).random::<u64>();
        let base = first(7, Purpose::Shot, 0);
        assert_eq!(base, first(7, Purpose::Shot, 0));
        for other in [
            first(8, Purpose::Shot, 0),
            first(7, Purpose::Read, 0),
            first(7, Purpose::Shot, 1),
        ] {
            assert_ne!(base, other);
        }
    }

    #[test]
    fn streams_of_a_set_differ_by_seed_secret_name_and_item_and_repeat() {
        let first = |seed: u64, secret: Option<u8>, name: &str, item: u64| {
            let secret = secret.map(|byte| [byte; 16]);
            let set = SetSeed {
                seed: Seed(seed),
                secret,
            };
            set.stream(name, item).random::<u64>()
        };
        let base = first(7, None, "noise", 3);
        assert_eq!(base, first(7, None, "noise", 3));
        for other in [
            first(8, None, "noise", 3),
            first(7, Some(0), "noise", 3),
            first(7, Some(1), "noise", 3),
            first(7, None, "noisy", 3),
            first(7, None, "noise", 4),
        ] {
            assert_ne!(base, other);
        }
    }

    /// Pins the generator: a change of library that alters the draws must be noticed and announced.
    #[test]
    fn the_generator_is_the_one_we_published() {
        let mut stream = Seed(20417).stream(Purpose::Shot, 3);
        let drawn: Vec<u32> = (0..3).map(|_| stream.random()).collect();
        assert_eq!(drawn, PUBLISHED);
    }

    const PUBLISHED: [u32; 3] = [939_240_173, 752_507_821, 4_104_865_200];
}
