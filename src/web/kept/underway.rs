//! What many ask for at once is made once.
//!
//! Who asks first makes it. Who asks for the same meanwhile waits for that, provided that nothing was
//! committed between its beginning and their asking: so nobody is shown less than was acknowledged
//! before they asked. Everybody who asks later than that shares the next one, which begins when this
//! one is done. Whoever makes something and goes away leaves it to one of those who wait.

use std::{
    collections::HashMap,
    hash::Hash,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use tokio::sync::{self, OwnedMutexGuard, watch};

use super::Moment;

/// What is being made now, by what it is.
#[derive(Debug)]
pub(super) struct Underway<K, T>(Arc<Mutex<HashMap<K, Line<T>>>>);

/// What is being made of one thing: one that has begun, and at most one that waits for its turn.
#[derive(Debug)]
struct Line<T> {
    turn: Arc<sync::Mutex<()>>,
    makings: Vec<Making<T>>,
    next: u64,
}

#[derive(Debug)]
struct Making<T> {
    number: u64,
    /// When its reading began, once it has.
    begun: Option<Moment>,
    made: watch::Receiver<Option<T>>,
}

/// What somebody who asks is to do.
#[derive(Debug)]
pub(super) enum Part<K: Eq + Hash, T> {
    /// To make it, for all who come to wait.
    Makes(Maker<K, T>),
    /// To wait for what another makes.
    Waits(Waiting<T>),
}

/// For what another makes.
#[derive(Debug)]
pub(super) struct Waiting<T>(watch::Receiver<Option<T>>);

impl<T: Clone> Waiting<T> {
    /// What was made; `None` where its maker has gone.
    pub(super) async fn made(mut self) -> Option<T> {
        let made = self.0.wait_for(Option::is_some).await.ok()?;
        made.clone()
    }
}

/// Somebody who makes something. Dropped before it is made, it leaves that to who waits.
#[derive(Debug)]
pub(super) struct Maker<K: Eq + Hash, T> {
    all: Arc<Mutex<HashMap<K, Line<T>>>>,
    of: K,
    number: u64,
    turn: Arc<sync::Mutex<()>>,
    tell: watch::Sender<Option<T>>,
}

impl<K, T> Default for Underway<K, T> {
    fn default() -> Self {
        Self(Arc::default())
    }
}

impl<K: Clone + Eq + Hash, T> Underway<K, T> {
    /// Takes part in the making of something that is asked for at a moment.
    pub(super) fn take_part(&self, of: &K, asked: &Moment) -> Part<K, T> {
        let mut all = lock(&self.0);
        let line = all.entry(of.clone()).or_insert_with(|| Line {
            turn: Arc::default(),
            makings: Vec::new(),
            next: 0,
        });
        // What has not begun yet will show everything that is there by then.
        let serves = |begun: &Moment| begun.serves(asked);
        let found = (line.makings.iter()).find(|it| it.begun.as_ref().is_none_or(serves));
        if let Some(making) = found {
            return Part::Waits(Waiting(making.made.clone()));
        }
        let (tell, made) = watch::channel(None);
        let number = line.next;
        line.next += 1;
        line.makings.push(Making {
            number,
            begun: None,
            made,
        });
        Part::Makes(Maker {
            all: self.0.clone(),
            of: of.clone(),
            number,
            turn: line.turn.clone(),
            tell,
        })
    }
}

impl<K: Eq + Hash, T> Maker<K, T> {
    /// What is to be made.
    pub(super) fn of(&self) -> &K {
        &self.of
    }

    /// The turn to make it, if it can be had without waiting.
    pub(super) fn turn_now(&self) -> Option<OwnedMutexGuard<()>> {
        self.turn.clone().try_lock_owned().ok()
    }

    /// The turn to make it: kept until it is made.
    pub(super) async fn turn(&self) -> OwnedMutexGuard<()> {
        self.turn.clone().lock_owned().await
    }

    /// Its reading begins after this moment.
    pub(super) fn begin(&self, at: Moment) {
        let mut all = lock(&self.all);
        let makings = all.get_mut(&self.of).map(|line| &mut line.makings);
        for making in makings.into_iter().flatten() {
            if making.number == self.number {
                making.begun = Some(at);
                return;
            }
        }
    }

    /// It is made.
    pub(super) fn end(self, made: T) {
        self.tell.send_replace(Some(made));
    }
}

impl<K: Eq + Hash, T> Drop for Maker<K, T> {
    fn drop(&mut self) {
        let mut all = lock(&self.all);
        if let Some(line) = all.get_mut(&self.of) {
            line.makings.retain(|making| making.number != self.number);
            if line.makings.is_empty() {
                all.remove(&self.of);
            }
        }
    }
}

fn lock<T>(all: &Mutex<T>) -> MutexGuard<'_, T> {
    all.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::Db;

    async fn moments(number: usize) -> Vec<Moment> {
        let folder = tempfile::tempdir().unwrap();
        let db = Db::open(folder.path()).await.unwrap();
        let mut all = Vec::new();
        for _ in 0..number {
            db.write().await.unwrap().commit().await.unwrap();
            all.push(Moment {
                mark: db.changed(None).await.unwrap().unwrap().mark,
                today: jiff::civil::date(2026, 3, 5),
                behind: None,
            });
        }
        all
    }

    fn maker<T>(part: Part<&'static str, T>) -> Maker<&'static str, T> {
        match part {
            Part::Makes(maker) => maker,
            Part::Waits(_) => panic!("somebody makes it already"),
        }
    }

    fn waiting<T>(part: Part<&'static str, T>) -> Waiting<T> {
        match part {
            Part::Waits(waiting) => waiting,
            Part::Makes(_) => panic!("nobody makes it"),
        }
    }

    #[tokio::test]
    async fn one_making_serves_all_who_asked_no_later_than_it_began() {
        let [first, second, third] = moments(3).await.try_into().unwrap();
        let all = Underway::default();
        let one = maker(all.take_part(&"page", &second));
        // It has not begun: whatever was committed until then will be in it.
        let mut served = vec![waiting(all.take_part(&"page", &third))];
        let turn = one.turn_now().unwrap();
        one.begin(third.clone());
        for asked in [&first, &second, &third] {
            served.push(waiting(all.take_part(&"page", asked)));
        }
        let other = maker(all.take_part(&"another page", &first));
        assert!(
            other.turn_now().is_some(),
            "pages are made beside each other"
        );
        one.end(1);
        drop(turn);
        for waiting in served {
            assert_eq!(waiting.made().await, Some(1));
        }
        other.end(2);
        assert!(lock(&all.0).is_empty());
    }

    #[tokio::test]
    async fn who_asks_after_a_commit_shares_the_next_one_which_waits_for_its_turn() {
        let [first, second] = moments(2).await.try_into().unwrap();
        let all = Underway::default();
        let one = maker(all.take_part(&"page", &first));
        let turn = one.turn_now().unwrap();
        one.begin(first.clone());
        let next = maker(all.take_part(&"page", &second));
        assert!(next.turn_now().is_none());
        let with_it = waiting(all.take_part(&"page", &second));
        let with_the_first = waiting(all.take_part(&"page", &first));
        one.end(1);
        drop(turn);
        assert_eq!(with_the_first.made().await, Some(1));
        drop(next.turn().await);
        next.begin(second.clone());
        next.end(2);
        assert_eq!(with_it.made().await, Some(2));
        assert!(lock(&all.0).is_empty());
    }

    #[tokio::test]
    async fn what_its_maker_leaves_another_makes() {
        let [asked] = moments(1).await.try_into().unwrap();
        let all = Underway::<_, u8>::default();
        let one = maker(all.take_part(&"page", &asked));
        let turn = one.turn_now().unwrap();
        one.begin(asked.clone());
        let left = waiting(all.take_part(&"page", &asked));
        drop((one, turn));
        assert_eq!(left.made().await, None);
        let other = maker(all.take_part(&"page", &asked));
        assert!(other.turn_now().is_some());
        drop(other);
        assert!(lock(&all.0).is_empty());
    }
}
