//! How turns are made: against the screws of an assembly.

use super::Assembly;
use crate::state::ScrewTurns;
use thiserror::Error;

/// Why turns do not fit an assembly.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TurnsError {
    /// Too many or too few.
    #[error("{turns} turns are given for {screws} screws")]
    Count {
        /// How many were given.
        turns: usize,
        /// How many screws there are.
        screws: usize,
    },
    /// No such screw.
    #[error("the assembly has no screw {screw:?}; its screws are {}", known.join(", "))]
    UnknownScrew {
        /// What was asked for.
        screw: String,
        /// What there is.
        known: Vec<String>,
    },
}

impl TurnsError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            TurnsError::Count { .. } => "give one for each screw, 0 for one that is not turned",
            TurnsError::UnknownScrew { .. } => "name the screw as in assembly.screws",
        }
    }
}

/// ```
/// use skewstar::instrument::Assembly;
/// use skewstar::mechanics::plane_of;
/// use skewstar::state::ScrewTurns;
/// use skewstar::units::{DEG, MM};
///
/// let screws = [("A", 90.0 * DEG), ("B", 210.0 * DEG), ("C", 330.0 * DEG)];
/// let assembly = Assembly::new(50.0 * MM, 0.5 * MM, screws);
/// let turns = ScrewTurns::named(&assembly, [("B", -0.1)])?;
/// assert_eq!(*turns, [0.0, -0.1, 0.0]);
/// assert_eq!(turns, ScrewTurns::of(&assembly, [0.0, -0.1, 0.0])?);
/// assert!(plane_of(&assembly, &turns).piston_m < 0.0);
///
/// let five = ScrewTurns::of(&assembly, [0.0, -0.1, 0.0, 0.2, 0.0]).unwrap_err();
/// assert_eq!(five.to_string(), "5 turns are given for 3 screws");
/// # Ok::<(), skewstar::instrument::TurnsError>(())
/// ```
///
/// Bare numbers are no turns, so a list that nobody counted cannot reach the mechanics:
///
/// ```compile_fail,E0308
/// # use skewstar::instrument::Assembly;
/// # use skewstar::mechanics::plane_of;
/// # let assembly = Assembly::new(0.05, 0.5e-3, [("A", 1.6), ("B", 3.7), ("C", 5.8)]);
/// let plane = plane_of(&assembly, &vec![0.0, -0.1, 0.0, 0.2, 0.0]);
/// ```
impl ScrewTurns {
    /// No turn of any screw.
    pub fn zero(assembly: &Assembly) -> ScrewTurns {
        ScrewTurns::counted(vec![0.0; assembly.screws.len()])
    }

    /// Turns in the order of the screws.
    ///
    /// # Errors
    /// [`TurnsError::Count`] for more or fewer than there are screws.
    pub fn of(
        assembly: &Assembly,
        turns: impl IntoIterator<Item = f64>,
    ) -> Result<ScrewTurns, TurnsError> {
        let turns: Vec<f64> = turns.into_iter().collect();
        let screws = assembly.screws.len();
        if turns.len() != screws {
            let turns = turns.len();
            return Err(TurnsError::Count { turns, screws });
        }
        Ok(ScrewTurns::counted(turns))
    }

    /// Turns of screws by name; the others are not turned.
    ///
    /// # Errors
    /// [`TurnsError::UnknownScrew`] for a name that no screw has.
    pub fn named<'a>(
        assembly: &Assembly,
        turns: impl IntoIterator<Item = (&'a str, f64)>,
    ) -> Result<ScrewTurns, TurnsError> {
        let mut all = ScrewTurns::zero(assembly);
        for (name, turned) in turns {
            all[assembly.screw(name)?] = turned;
        }
        Ok(all)
    }
}

impl Assembly {
    /// Number of a screw in the list.
    ///
    /// # Errors
    /// [`TurnsError::UnknownScrew`] for a name that no screw has.
    pub fn screw(&self, name: &str) -> Result<usize, TurnsError> {
        let place = self.screws.iter().position(|screw| screw.name == name);
        place.ok_or_else(|| TurnsError::UnknownScrew {
            screw: name.to_owned(),
            known: self.screws.iter().map(|screw| screw.name.clone()).collect(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::fast_unit;

    #[test]
    fn turns_that_do_not_fit_are_refused_in_words() {
        let assembly = fast_unit().assembly.unwrap();
        for turns in [vec![], vec![0.1; 2], vec![0.1; 5]] {
            let error = ScrewTurns::of(&assembly, turns.clone()).unwrap_err();
            let words = format!("{} turns are given for 3 screws", turns.len());
            assert_eq!(error.to_string(), words);
        }
        let stranger = ScrewTurns::named(&assembly, [("A", 0.1), ("top", 0.2)]).unwrap_err();
        assert_eq!(
            stranger.to_string(),
            "the assembly has no screw \"top\"; its screws are A, B, C"
        );
        assert_eq!(stranger.hint(), "name the screw as in assembly.screws");
        assert_eq!(*ScrewTurns::zero(&assembly), [0.0; 3]);
    }
}
