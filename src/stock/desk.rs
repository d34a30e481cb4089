//! Where plans and sums are worked out: away from what serves requests, a few at once, and nothing
//! that nobody waits for any more.

use std::{
    num::NonZeroUsize,
    sync::{
        Arc, LazyLock,
        atomic::{AtomicBool, AtomicUsize, Ordering},
    },
    time::Duration,
};

use tokio::sync::{Semaphore, SemaphorePermit};

/// The most that work at once, however many processors there are.
const MOST_AT_ONCE: usize = 4;
/// How many may wait for their turn; who comes after them is asked to come again.
const MOST_WAITING: usize = 64;

// One processor is left to what serves pages, where there are several.
static DESK: LazyLock<Desk> = LazyLock::new(|| {
    let processors = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
    Desk::new(
        processors.saturating_sub(1).clamp(1, MOST_AT_ONCE),
        MOST_WAITING,
    )
});

/// What plans are made from is read by one at a time: it keeps a connection busy for long, and pages
/// wait for those.
static READING: Desk = Desk::new(1, MOST_WAITING);

/// Too many wait already.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("Too much is being worked out at once. Nothing was changed; try again in a moment.")]
pub struct Crowded;

/// Whether anybody still waits for what is being worked out: asked by long work between its steps.
#[derive(Debug, Clone)]
pub struct Wanted(Arc<AtomicBool>);

impl Wanted {
    /// Somebody waits.
    pub fn still(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// How long it has taken, for work that knows a time limit: what nobody waits for has had its time.
    pub fn so_far(&self, elapsed: Duration) -> Duration {
        if self.still() { elapsed } else { Duration::MAX }
    }
}

/// Calls the work off when the future that waits for it is dropped.
struct CallOff(Wanted);

impl Drop for CallOff {
    fn drop(&mut self) {
        self.0.0.store(false, Ordering::Relaxed);
    }
}

/// One more in the line, for as long as it lives.
struct InLine<'a>(&'a AtomicUsize);

impl Drop for InLine<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

#[derive(Debug)]
struct Desk {
    room: Semaphore,
    waiting: AtomicUsize,
    most_waiting: usize,
}

impl Desk {
    const fn new(at_once: usize, most_waiting: usize) -> Self {
        Self {
            room: Semaphore::const_new(at_once),
            waiting: AtomicUsize::new(0),
            most_waiting,
        }
    }

    /// A place, once there is one.
    async fn place(&self) -> Result<SemaphorePermit<'_>, Crowded> {
        let before = self.waiting.fetch_add(1, Ordering::Relaxed);
        let _line = InLine(&self.waiting);
        if before >= self.most_waiting {
            return Err(Crowded);
        }
        // Nobody closes the semaphore.
        self.room.acquire().await.map_err(|_| Crowded)
    }

    async fn work<T: Send + 'static>(
        &'static self,
        job: impl FnOnce(&Wanted) -> T + Send + 'static,
    ) -> Result<T, Crowded> {
        let permit = self.place().await?;
        let wanted = Wanted(Arc::new(AtomicBool::new(true)));
        let call_off = CallOff(wanted.clone());
        let done = at_once(move || {
            // The place at the desk is free when the work ends, not when nobody waits for it.
            let _permit = permit;
            job(&wanted)
        })
        .await;
        drop(call_off);
        Ok(done)
    }
}

/// Works out in turn. A future that is dropped while it waits never begins; one that is dropped
/// later tells its work so, by [`Wanted`].
pub async fn work<T: Send + 'static>(
    job: impl FnOnce(&Wanted) -> T + Send + 'static,
) -> Result<T, Crowded> {
    DESK.work(job).await
}

/// One's turn to read what a plan is made from, for as long as it is kept.
pub async fn turn_to_read() -> Result<SemaphorePermit<'static>, Crowded> {
    READING.place().await
}

/// Works out without waiting for a turn: for who holds what others wait for.
pub async fn at_once<T: Send + 'static>(job: impl FnOnce() -> T + Send + 'static) -> T {
    match tokio::task::spawn_blocking(job).await {
        Ok(done) => done,
        Err(error) => std::panic::resume_unwind(error.into_panic()),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::{Mutex, mpsc};

    use super::*;

    /// A desk of the test's own, that lives as long as the process.
    fn desk(at_once: usize, most_waiting: usize) -> &'static Desk {
        Box::leak(Box::new(Desk::new(at_once, most_waiting)))
    }

    async fn until(so: impl Fn() -> bool) {
        for _ in 0..2000 {
            if so() {
                return;
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        panic!("it did not come to be so");
    }

    #[tokio::test]
    async fn no_more_work_at_once_than_there_is_room_and_no_more_wait_than_may() {
        let desk = desk(2, 3);
        let (open, gate) = mpsc::channel::<()>();
        let gate = Arc::new(Mutex::new(gate));
        let at_work = Arc::new(AtomicUsize::new(0));
        let most = Arc::new(AtomicUsize::new(0));
        let job = || {
            let (gate, at_work, most) = (gate.clone(), at_work.clone(), most.clone());
            tokio::spawn(desk.work(move |_| {
                most.fetch_max(at_work.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
                gate.lock().unwrap().recv().unwrap();
                at_work.fetch_sub(1, Ordering::SeqCst);
            }))
        };
        let mut jobs = vec![job(), job()];
        until(|| at_work.load(Ordering::SeqCst) == 2).await;
        jobs.extend([job(), job(), job()]);
        until(|| desk.waiting.load(Ordering::SeqCst) == 3).await;
        assert_eq!(desk.work(|_| ()).await, Err(Crowded));
        for _ in 0..5 {
            open.send(()).unwrap();
        }
        for job in jobs {
            assert_eq!(job.await.unwrap(), Ok(()));
        }
        assert_eq!(most.load(Ordering::SeqCst), 2);
        assert_eq!(desk.waiting.load(Ordering::SeqCst), 0);
    }

    #[tokio::test]
    async fn what_nobody_waits_for_is_called_off_or_never_begun() {
        let desk = desk(1, 8);
        let begun = Arc::new(AtomicUsize::new(0));
        let ended = Arc::new(AtomicUsize::new(0));
        let job = || {
            let (begun, ended) = (begun.clone(), ended.clone());
            tokio::spawn(desk.work(move |wanted| {
                begun.fetch_add(1, Ordering::SeqCst);
                while wanted.still() {
                    std::thread::sleep(Duration::from_millis(1));
                }
                ended.fetch_add(1, Ordering::SeqCst);
            }))
        };
        let first = job();
        until(|| begun.load(Ordering::SeqCst) == 1).await;
        let second = job();
        until(|| desk.waiting.load(Ordering::SeqCst) == 1).await;
        second.abort();
        until(|| desk.waiting.load(Ordering::SeqCst) == 0).await;
        first.abort();
        until(|| ended.load(Ordering::SeqCst) == 1).await;
        assert_eq!(desk.work(|_| 7).await, Ok(7));
        assert_eq!(begun.load(Ordering::SeqCst), 1);
    }
}
