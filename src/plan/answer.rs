//! A value with what is known about it: proven, within a stated bound, or why neither.
//!
//! A search that stops early may well hold the best answer; nobody can tell unless it says
//! so. Every planner answer that claims to be least carries a [`Proof`], and the claim
//! *proven* is made only from a bound that meets the value or from a search that ended.

use std::fmt;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What is known about how good a value is. `T` is the unit of the value's objective.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Proof<T> {
    /// No answer can be better.
    Proven,
    /// No answer can be better than `bound`; whether one reaches it is not known.
    Within {
        /// The lower bound, in the objective's own unit.
        bound: T,
    },
    /// Neither proven nor bounded.
    Open {
        /// Why there is no proof.
        why: Why,
    },
}

/// Why an answer has no proof.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// The search used up its step budget.
    StepBudget,
    /// A more important objective is not proven, so this one was not asked alone.
    EarlierOpen,
    /// Nobody asked.
    NotAsked,
    /// What is held stays where it is, though another way may leave better rests.
    Held,
}

impl fmt::Display for Why {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::StepBudget => "the search was stopped before it had tried everything",
            Self::NotAsked => "it was not looked for",
            Self::Held => "what the set holds stays where it is",
            Self::EarlierOpen => "something that matters more is not proven yet",
        })
    }
}

impl<T: Ord> Proof<T> {
    /// The proof that a least-is-best `value` has from a lower `bound` on it.
    ///
    /// A bound above the value would be a mistake in the bound; it counts as proven in
    /// release builds and is caught in debug builds.
    pub fn from_bound(value: &T, bound: T) -> Self {
        debug_assert!(bound <= *value, "a lower bound lies above a value found");
        if bound >= *value {
            Self::Proven
        } else {
            Self::Within { bound }
        }
    }
}

impl<T> Proof<T> {
    /// The same with its bound in another unit; the change keeps order.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Proof<U> {
        match self {
            Self::Proven => Proof::Proven,
            Self::Within { bound } => Proof::Within {
                bound: change(bound),
            },
            Self::Open { why } => Proof::Open { why },
        }
    }

    /// Whether no answer can be better.
    pub fn is_proven(&self) -> bool {
        matches!(self, Self::Proven)
    }
}

/// A value and the proof of its objective.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Bounded<T, O = T> {
    /// The answer found.
    pub value: T,
    /// What is known about its objective, in the objective's unit.
    pub proof: Proof<O>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bound_that_meets_the_value_proves_it_and_a_lower_one_only_limits_it() {
        assert_eq!(Proof::from_bound(&47, 47), Proof::Proven);
        assert_eq!(Proof::from_bound(&47, 46), Proof::Within { bound: 46 });
        assert!(!Proof::from_bound(&47, 46).is_proven());
        assert!(
            !Proof::<u32>::Open {
                why: Why::StepBudget
            }
            .is_proven()
        );
    }
}
