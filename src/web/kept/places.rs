//! How many pages are made at a time: no more than there are processors to make them.
//!
//! More would not be done sooner. And what has begun to be made cannot be shared with who asks after the
//! next commit, but what waits here has not begun: everybody who asks for it meanwhile shares it. So the
//! more ask, the more share.

use std::{num::NonZeroUsize, pin::pin, sync::Arc, time::Duration};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// After this a page counts as one that waits, for a plan as a rule, and no longer as one that is being
/// worked at: it leaves its place to the next.
const SHORT: Duration = Duration::from_millis(50);

/// The places.
#[derive(Debug, Clone)]
pub(super) struct Places(Arc<Semaphore>);

/// One of them.
#[derive(Debug)]
pub(super) struct Place(Option<OwnedSemaphorePermit>);

impl Places {
    /// As many as there are processors.
    pub(super) fn new() -> Self {
        let processors = std::thread::available_parallelism().map_or(1, NonZeroUsize::get);
        Self(Arc::new(Semaphore::new(processors)))
    }

    /// A place, if it can be had without waiting.
    pub(super) fn take_now(&self) -> Option<Place> {
        let place = self.0.clone().try_acquire_owned().ok()?;
        Some(Place(Some(place)))
    }

    /// A place, in the order in which they are asked for.
    pub(super) async fn take(&self) -> Place {
        // It is never closed.
        Place(self.0.clone().acquire_owned().await.ok())
    }
}

impl Place {
    /// Does the work of the place, and leaves it at the end, or before where the work takes long.
    pub(super) async fn work<T>(self, work: impl Future<Output = T>) -> T {
        let mut work = pin!(work);
        let Self(place) = self;
        if let Ok(done) = tokio::time::timeout(SHORT, &mut work).await {
            return done;
        }
        drop(place);
        work.await
    }
}
