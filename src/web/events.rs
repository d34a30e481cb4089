//! Tells open pages that something was committed, and by whom (server-sent events, HTML Living
//! Standard, section 9.2). A page then looks whether what it shows is still so.

use std::{convert::Infallible, time::Duration};

use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};

use super::{cx::Cx, error::Trouble};
use crate::{app::App, db, db::Mark};

/// How often it is looked.
const TURN: Duration = Duration::from_secs(1);
/// How long a silent connection stands before something is sent, so that it is not taken for dead.
const ALIVE: Duration = Duration::from_secs(25);

/// One open page.
struct Listener {
    app: App,
    seen: Mark,
}

impl Listener {
    /// Waits for the next commit; `None` where the service stops or can't read any more.
    async fn next(&mut self) -> Option<Event> {
        let mut stopping = self.app.stopping();
        loop {
            tokio::select! {
                _ = stopping.wait_for(|stop| *stop) => return None,
                () = tokio::time::sleep(TURN) => {}
            }
            let mark = self.app.now().await.ok()?.mark;
            if mark != self.seen {
                self.seen = mark;
                let mut tx = self.app.db().read().await.ok()?;
                let who = db::change_log::last_writer(&mut tx).await.ok()?;
                return Event::default().event("changed").json_data(who).ok();
            }
        }
    }
}

/// GET: an event for each commit from now on, with the name of who wrote.
pub async fn get(cx: Cx) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Trouble> {
    let listener = Listener {
        seen: cx.app.now().await?.mark,
        app: cx.app,
    };
    let events = stream::unfold(listener, |mut listener| async {
        let event = listener.next().await?;
        Some((Ok(event), listener))
    });
    Ok(Sse::new(events).keep_alive(KeepAlive::new().interval(ALIVE)))
}
