// Gestures of the elevation's editor: done, undone, saved. Each is one request; what waits is kept on
// this device, is sent in order, and counts once by its key.
'use strict';
globalThis.elevationSave = (E, { byId, say, read, store, idOf, bars, frames, hungOn, whole, apply }) => {
  const { design } = E, LAST = `tapewright.version.${design}`, SLOT = `tapewright.elevation.${design}.`, PLACE = SLOT + tab();
  function tab() {
    try { return sessionStorage.tapewrightTab ??= E.hex(); } catch { return 'tab'; }
  }
  // Gestures, undo, redo ---
  const placeOf = (it) => ('a' in it ? { bar: it.key, x_um: it.x, y_um: it.y, angle_mdeg: it.a, length_um: it.l } : { frame: it.key, x_um: it.x, y_um: it.y });
  function gesture(text, ...steps) {
    const [some, on] = whole(steps[0]);
    const g = { key: E.hex(), text, steps, news: [], newFrames: [], before: [some.map(placeOf), on.map(placeOf)], hung: on.map((f) => [f.key, hungOn([f.key])]), order: [...bars.keys()] };
    E.past.push(g);
    E.future = [];
    carry(g);
    const made = [...g.newFrames, ...g.news.filter((key) => !g.newFrames.includes(bars.get(key)?.on))];
    if (made.length) { E.choose(made); E.focus(made.at(-1)); }
    return g;
  }
  function carry(g, text = g.text) {
    g.steps.forEach((step) => apply(step, g));
    E.waiting.push(g);
    E.refused = '';
    keepWaiting();
    E.draw();
    say(text + '.');
    flush();
  }
  function inverse(g) {
    const made = { news: [], newFrames: [] }, [step] = g.steps;
    if (step.do === 'remove') {
      if (!g.removed) return null;
      const own = (kind, it) => step[kind].find((key) => g.idsThen[key] === it.id);
      made.news = g.removed.map((it) => own('bars', it));
      made.newFrames = g.removedFrames.map((it) => own('frames', it));
      const hung = (it) => (g.hung.find(([key]) => key === own('frames', it))?.[1] ?? []).filter((key) => !step.bars.includes(key));
      return { ...made, steps: [{ do: 'restore', bars: g.removed, at: g.removed.map((it) => g.order.indexOf(own('bars', it))), frames: g.removedFrames.map((frame) => ({ frame, bars: hung(frame) })) }] };
    }
    if (g.news.length + g.newFrames.length) return { ...made, steps: [{ do: 'remove', bars: [...g.news], frames: [...g.newFrames] }] };
    return { ...made, steps: [{ do: 'place', bars: g.before[0], frames: g.before[1] }] };
  }
  async function undo() {
    E.endKeys();
    const g = E.past.pop();
    if (!g) return say('Nothing to undo.');
    if (E.waiting.includes(g) && !g.tried) {
      // It never left: what came after it was undone before it.
      E.waiting = E.waiting.filter((it) => it !== g);
      E.build();
      keepWaiting();
      E.draw();
    } else {
      await E.running;
      const back = inverse(g);
      if (!back) { E.past.push(g); return say('This is still on its way. Undo it once it is saved.'); }
      carry({ ...back, key: E.hex(), text: `Undone: ${g.text}` });
    }
    E.future.push(g);
    // What was taken out is back, and is what one goes on with.
    const [step] = g.steps, back = step.do === 'remove' ? [...step.frames, ...step.bars].filter((key) => bars.has(key) || frames.has(key)) : [];
    if (back.length) { E.choose(back); E.focus(back.at(-1)); }
    say(`Undone: ${g.text}.`);
  }
  function redo() {
    E.endKeys();
    const g = E.future.pop();
    if (!g) return say('Nothing to redo.');
    const again = { ...g, key: E.hex(), tried: false, news: [...g.news], newFrames: [...g.newFrames], removed: null };
    E.past.push(again);
    carry(again, `Done again: ${g.text}`);
  }

  // Saving ---
  function wire(step) {
    const out = { ...step }, list = (keys) => keys.map(idOf);
    if (step.do === 'place') {
      out.bars = step.bars.map((p) => ({ ...p, bar: idOf(p.bar) }));
      out.frames = step.frames.map((p) => ({ ...p, frame: idOf(p.frame) }));
    } else if (step.do === 'restore') {
      const back = step.frames.map(({ frame }) => frame.id);
      out.bars = step.bars.map((bar) => ({ ...bar, frame: bar.frame && (back.includes(bar.frame) ? bar.frame : idOf('f' + bar.frame)) }));
      out.frames = step.frames.map((it) => ({ frame: it.frame, bars: list(it.bars) }));
    } else {
      if (step.bars) out.bars = list(step.bars);
      if (step.frames) out.frames = list(step.frames);
      if (step.like) out.like = idOf(step.like);
    }
    return out;
  }
  function keepWaiting() {
    const slim = ({ key, text, steps, news, newFrames, tried }) => ({ key, text, steps, news, newFrames, tried });
    if (E.waiting.length) E.kept = store.set(PLACE, { version: E.version, ids: E.ids, counter: E.counter, waiting: E.waiting.map(slim), known: { bars: E.known.bars, frames: E.known.frames } });
    else {
      store.drop(PLACE);
      try { sessionStorage[LAST] = E.version; } catch { /* no storage */ }
    }
    E.tell();
  }
  // Whatever waits for this set, left by a page that was closed or reloaded.
  function adopt() {
    let names = [];
    try { names = Object.keys(localStorage).filter((name) => name.startsWith(SLOT)); } catch { /* no storage */ }
    const name = names.includes(PLACE) ? PLACE : names[0], old = name && store.get(name);
    if (!old?.waiting?.length) {
      // This page was asked for while the one before it was still saving.
      try { E.version = Math.max(E.version, Number(sessionStorage[LAST] ?? 0)); } catch { /* no storage */ }
      if (E.version > E.known.version) later(0, refresh);
      return false;
    }
    for (const name of ['ids', 'counter', 'waiting', 'version']) E[name] = old[name];
    if (name !== PLACE) { store.drop(name); }
    keepWaiting();
    const same = E.version === E.known.version;
    if (same) E.build();
    else E.known.old = old.known;
    return !same;
  }
  let timer = 0, early = 0;
  const later = (wait, work) => { clearTimeout(timer); timer = setTimeout(work, wait); };
  function flush() {
    if (E.busy || E.conflict || !E.waiting.length) return E.running;
    E.busy = true;
    E.running = send().finally(() => {
      E.busy = false;
      E.tell();
      if (E.conflict) return;
      if (E.waiting.length) later(5000, flush);
      else later(150, refresh);
    });
    return E.running;
  }
  async function send() {
    for (let g; (g = E.waiting[0]);) {
      g.tried = true;
      keepWaiting();
      let answer, body;
      try {
        const who = String.fromCharCode(...new TextEncoder().encode(E.known.who));
        const headers = { 'Content-Type': 'application/json', Accept: 'application/json', 'Idempotency-Key': g.key, 'If-Match': `"design-${design}-${E.version}"`, 'Tapewright-Who': who };
        answer = await fetch(`/api/v1/designs/${design}/bars/arrange`, { method: 'POST', headers, body: JSON.stringify({ steps: g.steps.map(wire) }) });
        body = await answer.json();
      } catch { return; }
      if (answer.status >= 500) return;
      if (answer.status === 412) { await clash(); return; }
      E.waiting.shift();
      if (answer.ok) {
        E.version = body.version;
        g.idsThen = Object.fromEntries([...(g.steps[0].bars ?? []), ...(g.steps[0].frames ?? [])].filter((key) => typeof key === 'string').map((key) => [key, idOf(key)]));
        g.news.forEach((key, n) => { E.ids[key] = body.added[n]; });
        g.newFrames.forEach((key, n) => { E.ids[key] = body.added_frames[n]; });
        [g.removed, g.removedFrames] = [body.removed, body.removed_frames];
        E.settled.push(g);
        if (body.differences.length) say(`Plan and holds followed: ${body.differences.join(' ')}`);
      } else {
        E.past = E.past.filter((it) => it !== g);
        E.refused = `Not saved: ${g.text}. ${[...(body.errors ?? []).map((it) => it.detail), body.errors ? '' : body.detail].join(' ')}`;
        E.build();
        E.draw();
        say(E.refused);
      }
      document.querySelectorAll('input[name=version]').forEach((field) => { field.value = E.version; });
      keepWaiting();
    }
  }

  // Everything of the page that rests on the set comes from one answer, of one version.
  async function fetchPage() {
    const answer = await fetch(location.pathname, { headers: { Accept: 'text/html' } });
    if (!answer.ok) throw new Error(answer.status);
    return new DOMParser().parseFromString(await answer.text(), 'text/html');
  }
  async function refresh() {
    if (E.waiting.length || E.conflict) return;
    if (E.handsOn()) return later(300, refresh);
    let page, fresh;
    try { page = await fetchPage(); fresh = read(page); } catch { E.tell('No connection: the figures are worked out when it is back.'); return later(5000, refresh); }
    if (E.waiting.length || E.busy) return;
    // Older than what was answered here: asked for too early, unless the book itself is another.
    if (E.handsOn() || (fresh.version < E.version && (early += 1) < 10)) return later(300, refresh);
    early = 0;
    if (fresh.version > E.version) { [E.past, E.future] = [[], []]; say('Somebody else changed this set meanwhile. It is shown as it is now.'); }
    accept(page, fresh);
  }
  function accept(page, fresh) {
    [E.known, E.version, E.settled] = [fresh, fresh.version, []];
    const focus = document.activeElement?.id;
    for (const id of ['set-head', 'answer', 'bar-list', 'off-marks', 'frame-list', 'bar-twin']) { const old = byId(id), part = page.getElementById(id); if (old && part && (id !== 'set-head' || old.textContent !== part.textContent)) old.replaceWith(document.importNode(part, true)); }
    if (focus && document.activeElement?.id !== focus) byId(focus)?.focus({ preventScroll: true });
    // The form of the next bars counts on from the last one, in what nobody typed.
    for (const field of document.querySelectorAll('#add input:not([type=hidden], [type=checkbox])')) {
      const now = page.getElementById(field.id);
      if (now && field.value === field.defaultValue) field.value = field.defaultValue = now.defaultValue;
    }
    document.querySelectorAll('input[name=version]').forEach((field) => { field.value = E.version; });
    E.build();
    E.draw();
    keepWaiting();
  }

  // Somebody else stored meanwhile: what changed, and what becomes of what waits.
  async function clash() {
    E.conflict = {};
    try { const page = await fetchPage(); E.conflict = { page, fresh: read(page) }; } catch { E.conflict = null; return; }
    const was = E.known.old ?? E.known, lines = [];
    const differ = (kind, old, now) => {
      for (const it of now) {
        const before = old.find(([id]) => id === it[0]);
        if (!before) lines.push(`${kind} ${it[1]} is new`);
        else if (String(before.slice(1, 6)) !== String(it.slice(1, 6))) lines.push(`${kind} ${it[1]} was changed`);
      }
      for (const it of old) if (!now.some(([id]) => id === it[0])) lines.push(`${kind} ${it[1]} was taken out`);
    };
    // What was answered already is ours.
    if (!E.settled.length) { differ('Bar', was.bars, E.conflict.fresh.bars); differ('Frame', was.frames, E.conflict.fresh.frames); }
    byId('clash-lines').replaceChildren(...(lines.length ? lines.slice(0, 8) : ['Other things of the set were changed']).map((text) => Object.assign(document.createElement('li'), { textContent: text })));
    byId('clash-mine').replaceChildren(...E.waiting.map(({ text }) => Object.assign(document.createElement('li'), { textContent: text })));
    byId('clash').hidden = false;
    byId('clash').focus();
  }
  function settle(mine) {
    const { page, fresh } = E.conflict;
    E.conflict = null;
    byId('clash').hidden = true;
    [E.past, E.future] = [[], []];
    if (mine) E.waiting.forEach((g) => { g.tried = false; });
    else E.waiting = [];
    accept(page, fresh);
    say(mine ? 'Your changes are put on top.' : 'Your changes were dropped.');
    flush();
  }
  window.addEventListener('online', () => flush());
  return { gesture, undo, redo, keepWaiting, adopt, flush, settle };
};
