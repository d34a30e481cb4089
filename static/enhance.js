// Makes pages quicker; every page and form works without it.
//
//   <form data-live data-part="id">    a GET form (search, filter): sent while one types; the element
//                                      with that id is replaced, the address follows
//   <form data-live data-whole …>      its empty fields are asked too, since they are answers by
//                                      themselves; other forms leave them out of the address
//   <form data-part="id" method=post>  posted by fetch; the part (ids with spaces between: several)
//                                      is replaced from the answer, a page or only the part
//   <form data-queue="what" id>        kept when the connection is lost, sent again in order; its
//                                      hidden `press` key makes it count once; "what" names it
//   <form data-auto …>                 sends itself a moment after the last change (stepper)
//   <form data-draft="key">            what is typed survives a reload, until it was accepted; what
//                                      was not touched is the server's
//   <form data-zone>                   its field `zone` begins with the time zone of the device
//   <details id>                       stays open or shut when its part is replaced; opens on a mistake
// A part is a section, a list or an item, not a table's row, which can't be read by itself.
'use strict';
(() => {
  const byId = (id) => document.getElementById(id);
  const make = (name, more) => Object.assign(document.createElement(name), more);
  const QUEUE = 'tapewright.queue', DRAFT = 'tapewright.draft.';
  const timers = new WeakMap(), asking = new WeakMap();

  // Storage can be full or forbidden; then the page simply works without it.
  const store = {
    get(key, none) { try { return JSON.parse(localStorage.getItem(key)) ?? none; } catch { return none; } },
    set(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); return true; } catch { return false; } },
    drop(key) { try { localStorage.removeItem(key); } catch { /* nothing to drop */ } },
    keys() { try { return Object.keys(localStorage); } catch { return []; } },
  };

  // crypto.randomUUID needs a secure context, which plain http in the hall is not.
  const freshKey = () => Array.from(crypto.getRandomValues(new Uint8Array(16)),
    (byte) => byte.toString(16).padStart(2, '0')).join('');

  const say = (text) => { const live = byId('announce'); if (live) live.textContent = text; };

  const later = (owner, wait, work) => { clearTimeout(timers.get(owner)); timers.set(owner, setTimeout(work, wait)); };

  const attr = (form, button, own, whole) => button?.getAttribute(own) ?? form.getAttribute(whole);
  const address = (form, button) => new URL(attr(form, button, 'formaction', 'action') || location.href, location.href);
  const body = (form, button) => new URLSearchParams(
    [...new FormData(form, button)].filter(([, value]) => typeof value === 'string'));

  // Replacing parts -------------------------------------------------------------------------
  // What a replacement must not disturb: focus, selection, open details, scrolled boxes.
  function remember(old) {
    const active = document.activeElement;
    const path = (element) => {
      if (element.id) return ['#' + CSS.escape(element.id), 0];
      const form = element.closest('form[id]');
      const kind = (form ? `#${CSS.escape(form.id)} ` : '') + element.localName + (element.name ? `[name="${CSS.escape(element.name)}"]` : '');
      return [kind, [...document.querySelectorAll(kind)].indexOf(element)];
    };
    const held = active && active !== document.body && old.contains(active) ? path(active) : null;
    const range = held && 'selectionStart' in active ? [active.selectionStart, active.selectionEnd] : null;
    const open = new Map([...old.querySelectorAll('details[id]')].map((d) => [d.id, d.open]));
    const boxes = [...old.querySelectorAll('.table-box, .draw-box')].map((box) => box.scrollLeft);
    const { scrollX, scrollY } = window;
    return (fresh) => {
      for (const [id, state] of open) { const d = byId(id); if (d?.localName === 'details') d.open = state || (d.open && !!d.querySelector('[aria-invalid="true"], .note.stop[tabindex]')); }
      fresh.querySelectorAll('.table-box, .draw-box').forEach((box, i) => { box.scrollLeft = boxes[i] ?? 0; });
      const target = held && document.querySelectorAll(held[0])[held[1]];
      if (target) {
        target.focus({ preventScroll: true });
        if (range?.[0] != null) try { target.setSelectionRange(...range); } catch { /* not a text field */ }
      } else if (held) {
        fresh.tabIndex = -1;
        fresh.focus({ preventScroll: true });
      }
      window.scrollTo(scrollX, scrollY);
    };
  }

  // Puts the named parts of an answer in place; false when the answer has none of them. An item of a
  // list that an answer has no more is gone.
  function replace(ids, page) {
    let found = false;
    const gone = [];
    for (const id of ids) {
      const old = byId(id), part = page.getElementById(id);
      if (old && !part && old.localName === 'li') gone.push(old);
      if (!old || !part) continue;
      const restore = remember(old), fresh = document.importNode(part, true);
      old.replaceWith(fresh);
      restore(fresh);
      found ||= id !== 'flash';
    }
    if (found) {
      gone.forEach((item) => item.remove());
      document.dispatchEvent(new Event('own'));
    }
    return found;
  }

  // An answer for another address takes the whole body; events are caught on the document, so they
  // stay alive. Loading it again would use up its flash message.
  function turn(page, url) {
    document.title = page.title;
    document.body.replaceWith(document.importNode(page.body, true));
    history.pushState({ turned: true }, '', url);
    window.scrollTo(0, 0);
    byId('main')?.focus({ preventScroll: true });
    begin();
  }
  window.addEventListener('popstate', () => location.reload());

  function take(form, answer, page) {
    const ids = [...(form.dataset.part ?? '').split(/\s+/).filter(Boolean), 'flash'];
    const same = !answer.redirected || new URL(answer.url).pathname === location.pathname;
    if (!same || !replace(ids, page)) {
      if (page.getElementById('main')) turn(page, same ? location.href : answer.url);
      else location.assign(same ? location.href : answer.url);
      return;
    }
    const wrong = answer.ok ? null : ids.map((id) => byId(id)?.querySelector('[aria-invalid="true"], .note.stop[tabindex]')).find(Boolean);
    wrong?.focus();
    const bar = byId('flash'), flash = bar?.querySelector('p')?.textContent;
    if (flash) bringNear(bar);
    say(wrong ? 'Not saved: see the message beside the field.' : flash || (answer.ok ? 'Done.' : 'That was refused.'));
  }

  // The message stands at the page's top, which may be far from what was pressed: it comes along a
  // while, and out of the way of what is pressed next as soon as the page is moved or it is closed.
  function bringNear(bar) {
    const away = () => {
      bar.classList.remove('near');
      close.remove();
      for (const moved of ['wheel', 'touchmove']) document.removeEventListener(moved, away);
    };
    const close = make('button', { type: 'button', className: 'btn quiet', textContent: 'Close', onclick: away });
    bar.firstElementChild.append(close);
    bar.classList.add('near');
    for (const moved of ['wheel', 'touchmove']) document.addEventListener(moved, away, { passive: true });
    setTimeout(away, 12000);
  }

  const parse = async (answer) => new DOMParser().parseFromString(await answer.text(), 'text/html');
  // A sign-in page came back instead: the change has not been taken.
  const unheard = (answer, page) => answer.status === 503 || answer.status === 401 || (answer.ok && 'keepDrafts' in page.body.dataset);

  // Asking (GET) and posting ----------------------------------------------------------------
  async function ask(form, pressed = false) {
    asking.get(form)?.abort();
    const stop = new AbortController();
    asking.set(form, stop);
    const url = address(form);
    url.search = new URLSearchParams([...body(form)].filter(([, value]) => value !== '' || 'whole' in form.dataset)).toString();
    const { part } = form.dataset;
    // What takes a while says that it is being worked out.
    const busy = (on) => { for (const id of part.split(/\s+/)) byId(id)?.setAttribute('aria-busy', String(on)); if (on) say('Working it out…'); };
    const slow = setTimeout(busy, 400, true);
    try {
      const answer = await fetch(url, { headers: { Accept: 'text/html', 'X-Part': part }, signal: stop.signal });
      const page = await parse(answer);
      if (stop.signal.aborted) return;
      // What is refused while one types may be half typed; what was pressed is answered in full.
      if (!answer.ok && pressed) { location.assign(url); return; }
      if (!answer.ok || !replace(part.split(/\s+/), page)) return;
      history.replaceState(history.state, '', url);
      say(byId(part.split(/\s+/)[0])?.dataset.said ?? 'The list was renewed.');
    } catch (lost) {
      if (lost.name !== 'AbortError') say('No connection: the list is as it was.');
    } finally {
      clearTimeout(slow);
      if (asking.get(form) === stop) busy(false);
    }
  }

  const send = (url, text, part) => fetch(url, {
    method: 'POST', body: text, credentials: 'same-origin',
    headers: { Accept: 'text/html', 'Content-Type': 'application/x-www-form-urlencoded', 'X-Part': part ?? '' },
  });

  async function post(form, button) {
    const data = body(form, button), url = address(form, button), typed = data.toString();
    form.setAttribute('aria-busy', 'true');
    // A queued form's key leaves with its content, so that the next press is one of its own.
    const queued = 'queue' in form.dataset && form.elements.press;
    if (queued) form.elements.press.value = freshKey();
    if (queued && store.get(QUEUE, []).length) { form.removeAttribute('aria-busy'); return keep(form, url, data, button); }
    try {
      const answer = await send(url, typed, form.dataset.part);
      const page = await parse(answer);
      if (queued && unheard(answer, page)) return keep(form, url, data, button);
      if (answer.status >= 500) return lostNote(form, page.querySelector('.lead, h1')?.textContent);
      if (answer.ok && !unheard(answer, page)) dropDraft(form);
      const now = body(form, button);
      now.set('press', data.get('press') ?? '');
      // Something more was typed meanwhile: leave it, it will be sent by itself.
      if ('auto' in form.dataset && form.isConnected && answer.ok && now.toString() !== typed) return;
      take(form, answer, page);
      // A key is for one answered press; a form that was not replaced needs another.
      if (!queued && form.isConnected && form.elements.press?.value === data.get('press')) form.elements.press.value = freshKey();
    } catch {
      if (queued) keep(form, url, data, button);
      else lostNote(form);
    } finally {
      form.removeAttribute('aria-busy');
    }
  }

  function lostNote(form, why = 'No connection.') {
    const text = `${why} What you typed is still here. Press again in a while; it counts once.`;
    form.querySelector(':scope > .lost')?.remove();
    form.append(make('p', { className: 'error lost', textContent: text }));
    say(text);
  }

  // The queue -------------------------------------------------------------------------------
  function keep(form, url, data, button) {
    const entry = { pressed: button?.firstChild?.textContent.trim(), url: url.href, text: data.toString(), key: data.get('press'), form: form.id, page: location.pathname, part: form.dataset.part, what: form.dataset.queue };
    if (!store.set(QUEUE, [...store.get(QUEUE, []), entry])) return lostNote(form);
    dropDraft(form);
    show();
    later(document, 5000, flush);
  }

  // What waits is shown on every page, and beside its own form.
  function show(refused) {
    const queue = store.get(QUEUE, []), strip = byId('waiting');
    document.querySelectorAll('.mark.waiting.queued').forEach((mark) => mark.remove());
    document.querySelectorAll('form.waits').forEach((form) => form.classList.remove('waits'));
    for (const { form, page, pressed } of queue) {
      const own = form && page === location.pathname && byId(form);
      if (!own || own.querySelector('.queued')) continue;
      own.append(make('span', { className: 'mark waiting queued', textContent: pressed ? `waiting: ${pressed}` : 'waiting' }));
      own.classList.add('waits');
    }
    if (!strip) return;
    const count = queue.length === 1 ? 'One change is' : `${queue.length} changes are`;
    // A drawing tells by itself what of it waits; other pages tell of it.
    const drawn = !byId('editor') && store.keys().some((key) => key.startsWith('tapewright.elevation.'));
    const text = [queue.length && `${count} waiting for the connection, kept on this device.`, drawn && 'Changes of a drawing are waiting: open the bars of its set to send them.', refused].filter(Boolean).join(' ');
    if (strip.textContent !== text) strip.textContent = text;
    strip.hidden = !text;
  }

  let flushing = false;
  async function flush() {
    if (flushing) return;
    flushing = true;
    let refused = '';
    try {
      for (let entry; (entry = store.get(QUEUE, [])[0]);) {
        const answer = await send(entry.url, entry.text, entry.part);
        const page = await parse(answer);
        // Not the server's last word: busy, failing, or signed out. It stays first in the line.
        if (answer.status >= 500 || unheard(answer, page)) break;
        store.set(QUEUE, store.get(QUEUE, []).filter(({ key, text }) => key !== entry.key || text !== entry.text));
        const form = entry.page === location.pathname && byId(entry.form);
        if (answer.ok && form) replace([...(entry.part ?? '').split(/\s+/), 'flash'], page);
        if (!answer.ok) refused += `Refused: ${entry.what || entry.page}. ${page.querySelector('.error, .note.stop, h1')?.textContent.trim() ?? ''} Open its page to do it again. `;
      }
    } catch { /* still no connection */ }
    flushing = false;
    show(refused);
    if (store.get(QUEUE, []).length) later(document, 10000, flush);
  }
  window.addEventListener('online', flush);
  window.addEventListener('storage', ({ key }) => { if (key === QUEUE) show(); });

  // Drafts ----------------------------------------------------------------------------------
  const draftName = (form) => DRAFT + (form.dataset.draft || form.id || '') + '@' + address(form).pathname;
  const dropDraft = (form) => { if ('draft' in form.dataset) { clearTimeout(timers.get(form.elements)); store.drop(draftName(form)); } };
  const fields = (form) => [...form.elements].filter((field) => field.name && field.name !== 'press'
    && !['password', 'file', 'hidden', 'submit', 'button'].includes(field.type));

  const slotOf = (field) => (['checkbox', 'radio'].includes(field.type) ? 'checked' : 'value');
  function touched(field) {
    if (slotOf(field) === 'checked') return field.checked !== field.defaultChecked;
    if (field.options) return field.selectedIndex !== Math.max(0, [...field.options].findIndex((option) => option.defaultSelected));
    return field.value !== field.defaultValue;
  }
  // What nobody touched may have moved on when the page comes again: it is not kept.
  function keepDraft(form, sent) {
    clearTimeout(timers.get(form.elements));
    const old = store.get(draftName(form))?.values ?? [];
    // A refused form comes back with what was typed as its own: that was kept before, and stays so.
    const mine = (field, [name, value] = []) => touched(field) || (name === field.name && value === field[slotOf(field)]);
    const values = fields(form).map((field, i) => (mine(field, old[i]) ? [field.name, field[slotOf(field)]] : [field.name]));
    if (!sent && values.every(([, value]) => value === undefined)) return store.drop(draftName(form));
    store.set(draftName(form), { values, sent: sent && (form.elements.press?.value ?? 'none') });
  }

  function restoreDrafts() {
    const forms = [...document.querySelectorAll('form[data-draft]')];
    // A draft that was sent is over once a page came back that isn't the same form with the same key.
    if (!('keepDrafts' in document.body.dataset)) {
      const here = new Map(forms.map((form) => [draftName(form), form.elements.press?.value]));
      for (const key of store.keys().filter((name) => name.startsWith(DRAFT))) {
        const { sent } = store.get(key, {});
        if (sent && here.get(key) !== sent) store.drop(key);
      }
    }
    for (const form of forms) {
      const draft = store.get(draftName(form));
      if (!draft || form.querySelector('[aria-invalid]')) continue;
      let changed = false;
      fields(form).forEach((field, i) => {
        const [name, value] = draft.values[i] ?? [];
        if (name !== field.name || value === undefined) return;
        changed ||= field[slotOf(field)] !== value;
        field[slotOf(field)] = value;
      });
      if (!changed) continue;
      const note = make('p', { className: 'note kept', textContent: 'What you typed before was kept. ' });
      const away = make('button', { type: 'button', className: 'link', textContent: 'Start afresh' });
      away.addEventListener('click', () => { store.drop(draftName(form)); form.reset(); note.remove(); });
      note.append(away);
      form.prepend(note);
    }
  }

  // A book that nobody has begun is taken to stand where the device is; what was typed stays.
  function ownZone() {
    const field = document.querySelector('form[data-zone]')?.elements.zone;
    if (!field || touched(field)) return;
    const here = Intl.DateTimeFormat().resolvedOptions().timeZone;
    if (here && here !== 'Etc/Unknown') field.defaultValue = field.value = here;
  }

  // Events, all on the document -------------------------------------------------------------
  document.addEventListener('input', ({ target }) => {
    const form = target.form;
    if (!form) return;
    if ('live' in form.dataset) later(form, 180, () => ask(form));
    else if ('auto' in form.dataset) later(form, 900, () => form.isConnected && form.requestSubmit());
    if ('draft' in form.dataset) later(form.elements, 400, () => keepDraft(form, false));
  });

  document.addEventListener('click', (event) => {
    const button = event.target.closest?.('button[data-step]');
    const field = button?.closest('.stepper')?.querySelector('input');
    if (!field) return;
    event.preventDefault();
    field.value = String(Math.max(0, (parseInt(field.value, 10) || 0) + Number(button.dataset.step)));
    field.dispatchEvent(new Event('input', { bubbles: true }));
    say(field.value);
  });

  document.addEventListener('submit', (event) => {
    const form = event.target, button = event.submitter;
    if (event.defaultPrevented || form.enctype === 'multipart/form-data') return;
    clearTimeout(timers.get(form));
    if ('live' in form.dataset) { event.preventDefault(); ask(form, true); return; }
    const posts = attr(form, button, 'formmethod', 'method')?.toLowerCase() === 'post';
    if (posts && ('part' in form.dataset || 'queue' in form.dataset)) {
      event.preventDefault();
      if (form.getAttribute('aria-busy') !== 'true') post(form, button);
      else if ('auto' in form.dataset) later(form, 300, () => form.isConnected && form.requestSubmit());
    } else if ('draft' in form.dataset) keepDraft(form, true);
  });

  // A link to a folded part opens it; of a refused form the first wrong field is gone to.
  function unfold() {
    const box = byId(decodeURIComponent(location.hash.slice(1)))?.closest('details');
    if (box) { box.open = true; box.querySelector('input:not([type="hidden"]), select, textarea')?.focus(); }
  }
  window.addEventListener('hashchange', unfold);
  document.addEventListener('click', ({ target }) => {
    if (target.closest?.('a[href^="#"]')?.hash === location.hash) unfold();
  });

  function begin() { restoreDrafts(); ownZone(); show(); document.querySelector('main [aria-invalid="true"]')?.focus(); if (location.hash) unfold(); if (store.get(QUEUE, []).length) flush(); }
  begin();
})();
