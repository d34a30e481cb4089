// Says quietly when somebody else changed what this page shows: the page is never changed under one's
// hands. Without scripting nothing is said, and forms still refuse to overwrite what they did not show.
'use strict';
(() => {
  const line = document.getElementById('changed'), at = line?.dataset.events;
  if (!at || !window.EventSource) return;
  let source = null, asking = false, own = 0;

  // One's own presses put only parts of their answer into the page.
  document.addEventListener('own', () => { own = Date.now(); });

  // What a page says, without what differs each time it is made, and without what is drawn or told by
  // scripts: a drawing stands in its page as text too.
  const said = (root) => {
    const main = root.getElementById('main').cloneNode(true);
    main.querySelectorAll('#flash, .queued, .lost, .kept, script, select, input[name=press], #editor, #elevation .draw-box').forEach((it) => it.remove());
    return main.textContent.replace(/\s+/g, ' ');
  };

  async function look(who) {
    if (asking) return;
    // One's own changes of the drawing are still on their way into the page.
    if (document.querySelector('#answer.stale, [aria-busy=true]')) { setTimeout(() => look(who), 500); return; }
    asking = true;
    const before = own;
    try {
      const answer = await fetch(location.href, { headers: { Accept: 'text/html' } });
      if (!answer.ok || new URL(answer.url).pathname !== location.pathname) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), 'text/html');
      if (own !== before || document.querySelector('#answer.stale, [aria-busy=true]')) { setTimeout(() => look(who), 500); return; }
      if (!fresh.getElementById('main') || said(fresh) === said(document)) { line.hidden = true; return; }
      const time = new Date().toLocaleTimeString('en-GB', { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' });
      const show = Object.assign(document.createElement('button'), { type: 'button', className: 'link', textContent: 'Show' });
      show.addEventListener('click', () => location.reload());
      // What changed just after one's own press may well have followed from it.
      const what = Date.now() - own < 4000 ? 'More of this page has changed, by your press or another’s' : `Changed by ${who || 'somebody'}`;
      line.replaceChildren(`${what} at ${time}; nothing that you typed is lost before you press. `, show);
      line.hidden = false;
    } catch { /* no connection: there is nothing to say */ } finally { asking = false; }
  }

  // A browser has few connections to one service: only the page in view keeps one.
  function listen() {
    if (document.hidden) { source?.close(); source = null; return; }
    if (source) return;
    source = new EventSource(at);
    source.addEventListener('changed', (event) => { setTimeout(() => look(JSON.parse(event.data)), 400); });
  }
  document.addEventListener('visibilitychange', listen);
  window.addEventListener('pagehide', () => { source?.close(); source = null; });
  listen();
})();
