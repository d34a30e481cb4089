// The elevation as an editor. Without scripting the same is done by the forms beside it.
//
// What is on the server (`known`) and what was done since (`settled`: answered, `waiting`: not yet)
// make the model that is drawn. Bars and frames have keys of their own here, since what was added
// without a connection has no id yet.
'use strict';
(() => {
  const byId = (id) => document.getElementById(id);
  const root = byId('elevation'), box = root?.querySelector('.draw-box');
  if (!root || !box || !byId('editor')) return;
  const say = (text) => { byId('announce').textContent = text; };
  const hex = () => Array.from(crypto.getRandomValues(new Uint8Array(16)), (b) => b.toString(16).padStart(2, '0')).join('');
  const read = (page) => JSON.parse(page.getElementById('elevation-data').textContent);
  const store = {
    get(key) { try { return JSON.parse(localStorage.getItem(key)); } catch { return null; } },
    set(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); return true; } catch { return false; } },
    drop(key) { try { localStorage.removeItem(key); } catch { /* nothing to drop */ } },
  };

  // State ---
  const first = read(document);
  const E = { design: first.design, known: first, version: first.version, ids: {}, counter: 0, settled: [], waiting: [], past: [], future: [],
    kept: true, busy: false, conflict: null, refused: '', running: Promise.resolve(), hex, build, draw, tell, choose, endKeys, focus, handsOn: () => Boolean(drag || keyed) };
  const { design } = E, bars = new Map(), frames = new Map();
  let chosen = new Set(), view, grid = store.get('tapewright.grid') ?? first.grid[1][0], zoom = 1, several = false, drag = null, keyed = null;

  const idOf = (key) => E.ids[key] ?? (/^[bf]\d/.test(key) ? Number(key.slice(1)) : null);
  const newKey = (kind) => `n${kind}${++E.counter}`;
  const keyOf = (kind, id) => {
    if (!id) return null;
    const other = Object.keys(E.ids).find((key) => E.ids[key] === id && (key[0] === kind || key.startsWith('n' + kind)));
    if (other) return other;
    const own = kind + id;
    // An id that another bar had before it was taken out and came back under a new one.
    if (E.ids[own] == null) return own;
    const key = newKey(kind);
    E.ids[key] = id;
    return key;
  };
  // The keys of what a gesture adds are the same each time that it is carried out.
  const fresh = (list, kind) => { list.used += 1; return (list[list.used - 1] ??= newKey(kind)); };
  const { make, show, length, inside, wrap, sinCos, along, keep, edges, joined, hungOn, whole, apply } = elevationShape(bars, frames, { idOf, keyOf, fresh, unit: first.unit });
  const { gesture, undo, redo, keepWaiting, adopt, flush, settle } = elevationSave(E, { byId, say, read, store, idOf, bars, frames, hungOn, whole, apply });
  const many = (count, one, more = one + 's') => `${count} ${count === 1 ? one : more}`;
  function build() {
    frames.clear();
    bars.clear();
    for (const [id, label, x, y, w, h] of E.known.frames) { const key = keyOf('f', id); frames.set(key, { key, label, x, y, w, h }); }
    for (const [id, label, x, y, l, a, look, on] of E.known.bars) { const key = keyOf('b', id); bars.set(key, { key, label, x, y, l, a, look, on: keyOf('f', on) }); }
    for (const g of [...E.settled, ...E.waiting]) for (const step of g.steps) apply(step, g);
  }

  // What is said about saving ---
  function tell(text) {
    const state = byId('edit-state'), answer = byId('answer');
    const wait = E.waiting.length && !(E.busy && navigator.onLine && E.waiting.length === 1);
    const count = E.waiting.length === 1 ? 'One change waits' : `${E.waiting.length} changes wait`;
    const words = wait ? `${count} for the connection, kept ${E.kept ? 'on this device' : 'in this page only'}.` : '';
    byId('edit-saving').textContent = E.waiting.length && !wait ? 'Saving…' : '';
    const all = [words, E.refused].filter(Boolean).join(' ');
    if (state.textContent !== all) state.textContent = all;
    state.className = all ? `note${E.refused ? ' stop' : ''}` : '';
    const open = E.waiting.length > 0 || E.version > E.known.version;
    answer.classList.toggle('stale', open);
    answer.setAttribute('aria-busy', String(open && !wait && !E.conflict && !text));
    byId('answer-said').textContent = !open ? '' : text ?? (wait ? 'Worked out when the changes are saved.' : 'Working out…');
    const able = (name, on) => document.querySelectorAll(`[data-act="${name}"]`).forEach((button) => { button.setAttribute('aria-disabled', String(!on)); });
    able('undo', E.past.length);
    able('redo', E.future.length);
    NEEDS.forEach((name) => able(name, chosen.size));
  }

  // Drawing ---
  const svg = make('svg', { role: 'group', 'aria-label': 'The set from the front. Bars and frames can be moved.', class: 'editing' });
  // On a phone the whole set is drawn as wide as the screen; it is looked at closer by the buttons.
  const HIGH = 520, MARGIN = 44;
  let room = 0;
  function fit() {
    room = box.clientWidth || 968;
    const WIDE = Math.min(880, Math.max(room - 2 * MARGIN, 180));
    const all = [...bars.values(), ...frames.values()];
    if (E.known.picture) all.push(E.known.picture);
    const e = all.length ? joined(all) : { left: 0, right: 1e6, low: 0, high: 1e6 };
    const low = Math.min(0, e.low), wide = Math.max(e.right - e.left, 2e5), tall = Math.max(e.high - low, 2e5);
    const scale = Math.min(WIDE / wide, HIGH / tall), width = Math.max(wide * scale + 2 * MARGIN, Math.min(room, 420)), height = tall * scale + 2 * MARGIN + 24;
    view = { scale, width, height, left: e.left - (width - wide * scale) / 2 / scale, high: low + tall + MARGIN / scale };
    svg.setAttribute('viewBox', `0 0 ${width.toFixed(1)} ${height.toFixed(1)}`);
    size();
  }
  function size() {
    svg.setAttribute('width', (view.width * zoom).toFixed(0));
    svg.setAttribute('height', (view.height * zoom).toFixed(0));
    stage.classList.toggle('zoomed', zoom > 1);
  }
  const px = (x) => (x - view.left) * view.scale, py = (y) => (view.high - y) * view.scale;
  const at = (it) => `translate(${px(it.x).toFixed(2)} ${py(it.y).toFixed(2)})`;
  const nodes = new Map();
  const words = { reused: 'reused', build: 'to build', built: 'built', short: 'short', wait: 'not planned yet' };
  const nameOf = (it) => ('a' in it
    ? `Bar ${it.label}, ${show(it.l)}, ${show(it.x)} along, ${show(it.y)} up, turned ${it.a / 1000}°, ${words[it.look]}`
    : `Frame ${it.label}, ${show(it.w)} by ${show(it.h)}, ${show(it.x)} along, ${show(it.y)} up, ${many(hungOn([it.key]).length, 'bar')}`);
  const over = make('g', { 'aria-hidden': 'true' }), layer = make('g', {}), back = make('g', { 'aria-hidden': 'true' });
  const ghost = make('svg', { class: 'editing ghost', 'aria-hidden': 'true' }), stage = document.createElement('div');
  svg.append(back, layer, over);
  stage.className = 'stage';
  stage.append(svg, ghost);
  function ground() {
    const steps = [];
    if (grid && grid * view.scale >= 7) {
      const [w, h] = [view.width, view.height];
      for (let x = Math.ceil(view.left / grid) * grid; px(x) < w; x += grid) steps.push(`M${px(x).toFixed(1)} 0V${h.toFixed(0)}`);
      for (let y = Math.floor(view.high / grid) * grid; py(y) < h; y -= grid) steps.push(`M0 ${py(y).toFixed(1)}H${w.toFixed(0)}`);
    }
    const floor = py(0);
    back.replaceChildren(...picture(), make('path', { class: 'grid', d: steps.join('') }), make('path', { class: 'svg-muted', d: `M0 ${floor}H${view.width}` }), make('text', { class: 'svg-small svg-halo', x: 6, y: floor + 14 }, 'floor'));
  }
  function picture() {
    const p = E.known.picture;
    return p ? [make('image', { href: p.href, x: px(p.x), y: py(p.y + p.h), width: p.w * view.scale, height: p.h * view.scale, class: p.class, opacity: p.opacity, preserveAspectRatio: 'none' })] : [];
  }
  function redraw(it) {
    const node = nodes.get(it.key);
    node.setAttribute('transform', at(it));
    node.replaceChildren(...inside(it, view.scale));
    node.setAttribute('aria-label', nameOf(it));
  }
  function draw() {
    const focus = document.activeElement?.closest?.('[data-key]')?.dataset.key;
    fit();
    ground();
    const order = [...frames.values(), ...bars.values()];
    chosen = new Set([...chosen].filter((key) => bars.has(key) || frames.has(key)));
    for (const [key, node] of nodes) if (!bars.has(key) && !frames.has(key)) { node.remove(); nodes.delete(key); }
    for (const it of order) {
      if (!nodes.has(it.key)) nodes.set(it.key, make('g', { class: 'a' in it ? 'bar' : 'frame', role: 'button', tabindex: 0, 'data-key': it.key }));
      redraw(it);
    }
    // Only what is out of its place is moved: moving takes the focus away.
    order.forEach((it, n) => { const node = nodes.get(it.key); if (layer.children[n] !== node) layer.insertBefore(node, layer.children[n] ?? null); });
    if (focus && document.activeElement?.closest?.('[data-key]')?.dataset.key !== focus) (nodes.get(focus) ?? nodes.get(order[0]?.key))?.focus({ preventScroll: true });
    marks();
    tell();
  }
  function marks() {
    for (const [key, node] of nodes) node.setAttribute('aria-pressed', String(chosen.has(key)));
    for (const kind of ['bars', 'frames']) document.querySelectorAll(`input[type=checkbox][name=${kind}]`).forEach((field) => { field.checked = chosen.has(keyOf(kind[0], Number(field.value))); });
    handles();
    const [one] = chosen, open = byId('edit-open'), id = one && idOf(one);
    open.hidden = chosen.size !== 1 || !id;
    if (!open.hidden) { const it = bars.get(one) ?? frames.get(one); open.textContent = `Open ${it.label}`; open.href = `/designs/${design}/${bars.has(one) ? 'bars' : 'frames'}/${id}`; }
    byId('edit-count').textContent = chosen.size ? `${chosen.size} selected` : 'Nothing selected';
  }
  // The turning handle stands further out where it would cover the number of another bar.
  function stem(bar) {
    const [s, c] = sinCos(bar.a), [mx, my] = along(bar, 0.5);
    const others = [...bars.values()].filter((it) => it !== bar).map((it) => [...along(it, 0.5), String(it.label).length * 3.6 + 20]);
    const free = (up) => {
      const [cx, cy] = [px(mx) - s * up, py(my) - c * up];
      return cy > 10 && others.every(([x, y, near]) => Math.hypot(px(x) - cx, py(y) - cy) > near);
    };
    return [34, 58, 82, 106].find(free) ?? 34;
  }
  function handles() {
    const bar = chosen.size === 1 && bars.get([...chosen][0]);
    if (!bar) return over.replaceChildren();
    const spot = (name, [x, y], up) => {
      const [s, c] = sinCos(bar.a), [cx, cy] = [px(x) - s * up, py(y) - c * up];
      return [make('circle', { class: `handle ${name}`, 'data-handle': name, cx, cy, r: 8 }), make('circle', { class: 'grip', 'data-handle': name, cx, cy, r: 18 })];
    };
    over.replaceChildren(...spot('start', along(bar, 0), 0), ...spot('end', along(bar, 1), 0), ...spot('turn', along(bar, 0.5), stem(bar)));
  }
  function choose(keys, add) {
    const next = new Set(add ? chosen : []);
    for (const key of keys) if (add && next.has(key) && keys.length === 1) next.delete(key); else next.add(key);
    chosen = next;
    marks();
    tell();
  }

  function focus(key) { if (svg.contains(document.activeElement)) nodes.get(key)?.focus({ preventScroll: true }); }

  // Doing ---
  const parts = () => ({ bars: [...chosen].filter((key) => bars.has(key)), frames: [...chosen].filter((key) => frames.has(key)) });
  const named = () => { const { bars: b, frames: f } = parts(); return [b.length === 1 ? `bar ${bars.get(b[0]).label}` : b.length && many(b.length, 'bar'), f.length === 1 ? `frame ${frames.get(f[0]).label}` : f.length && many(f.length, 'frame')].filter(Boolean).join(' and '); };
  const step = () => grid || (E.known.unit.metric ? 10000 : 12700);
  const snap = (um, free) => (grid && !free ? Math.round(um / grid) * grid : Math.round(um));
  // What cannot be read is said beside its field, as in a refused form; the first such field is gone to.
  function typed(id, read, why) {
    const field = byId(id), value = read(field.value), said = byId(`${id}-error`);
    const bad = value == null;
    field.setAttribute('aria-invalid', String(bad));
    field.closest('.field').classList.toggle('bad', bad);
    said.textContent = bad ? why : '';
    said.hidden = !bad;
    return value;
  }
  // What can't be done yet says so where the selection stands, not only aloud.
  const NEEDS = ['copy', 'turn-left', 'turn-right', 'remove', 'mirror-across', 'mirror-up', 'align', 'array'];
  function refuse(text) {
    byId('edit-count').textContent = text;
    say(text);
  }
  function act(name) {
    endKeys();
    if (name === 'undo') return undo();
    if (name === 'redo') return redo();
    if (name === 'larger' || name === 'smaller') { zoom = Math.min(4, Math.max(1, zoom * (name === 'larger' ? 1.5 : 1 / 1.5))); return size(); }
    if (name === 'several') { several = !several; svg.classList.toggle('several', several); return document.querySelector('[data-act=several]').setAttribute('aria-pressed', String(several)); }
    if (name === 'points') { points = []; svg.scrollIntoView({ block: 'center' }); return say('Press the first point in the drawing.'); }
    if (name === 'all') return choose([...bars.keys()]);
    if (name === 'add') {
      const like = bars.get([...chosen].findLast((key) => bars.has(key))) ?? [...bars.values()].at(-1);
      return like && gesture(`Added a bar like ${like.label}`, { do: 'add', like: like.key, x_um: like.x + Math.max(step(), 100000), y_um: like.y });
    }
    if (!chosen.size) return refuse('Nothing selected. Select a bar or a frame first: press it in the drawing, or tick it in the table.');
    const p = parts(), only = { bars: [...new Set([...p.bars, ...hungOn(p.frames)])] }, what = named();
    const turn = (by) => gesture(`Turned ${what} by ${by / 1000}°`, { do: 'turn', ...only, turn_mdeg: by, about: 'middle' });
    if (['turn-left', 'turn-right'].includes(name) && !only.bars.length) return refuse('Only bars are turned.');
    const least = byId('edit-align').value.startsWith('spread') ? 3 : 2;
    switch (name) {
      case 'copy': gesture(`Duplicated ${what}`, { do: 'copy', ...p, copies: 1, dx_um: Math.max(step(), 100000), dy_um: 0 }); break;
      case 'array': {
        const count = (text) => { const n = Number(text); return text.trim() && Number.isInteger(n) && n >= 1 && n <= 1000 ? n : null; };
        const how = `Type a length, such as ${byId('array-dx').defaultValue} ${E.known.unit.name}, 0.5 m or 1' 6"; with − to the left or down.`;
        const steps = (text) => (text.trim() ? length(text) : 0);
        const copies = typed('array-copies', count, 'Type a whole number from 1 to 1000.'), dx = typed('array-dx', steps, how), dy = typed('array-dy', steps, how);
        if (copies == null || dx == null || dy == null) { document.querySelector('#editor [aria-invalid=true]').focus(); return say('Not copied: see the message beside the field.'); }
        gesture(`Made ${many(copies, 'copy', 'copies')} of ${what}`, { do: 'copy', ...p, copies, dx_um: dx, dy_um: dy });
        break;
      }
      case 'remove': gesture(`Took out ${what}`, { do: 'remove', ...p }); break;
      case 'turn-left': turn(15000); break;
      case 'turn-right': turn(-15000); break;
      case 'mirror-across': case 'mirror-up': gesture(`Mirrored ${what}`, { do: 'mirror', ...p, mirror: name.slice(7) }); break;
      case 'align':
        if (p.bars.filter((key) => !p.frames.includes(bars.get(key).on)).length + p.frames.length < least) return refuse(`Select at least ${least} bars or frames.`);
        gesture(`Aligned ${what}`, { do: 'align', ...p, to: byId('edit-align').value });
    }
  }

  // Keys: a run of the same key is one gesture ---
  function press(kind, add) {
    if (keyed?.kind !== kind) { endKeys(); keyed = { kind, was: new Map([...bars.values(), ...frames.values()].map((it) => [it.key, { ...it }])), x: 0, y: 0 }; }
    clearTimeout(keyed.timer);
    const [dx, dy] = add, k = keyed;
    for (const it of [...bars.values(), ...frames.values()]) Object.assign(it, k.was.get(it.key));
    const p = parts(), only = { bars: [...new Set([...p.bars, ...hungOn(p.frames)])] };
    const shortest = Math.min(...only.bars.map((key) => bars.get(key).l));
    if (kind === 'length' && shortest + k.x + dx <= 0) return say('A bar cannot be shorter than that.');
    [k.x, k.y] = [k.x + dx, k.y + dy];
    k.step = kind === 'move' ? { do: 'move', ...p, dx_um: k.x, dy_um: k.y } : kind === 'turn' ? { do: 'turn', ...only, turn_mdeg: ((k.x % 360000) + 360000) % 360000, about: 'middle' } : { do: 'lengthen', ...only, by_um: k.x, keep: 'start' };
    apply(k.step, { news: [], newFrames: [] });
    whole(p).flat().forEach(redraw);
    handles();
    k.timer = setTimeout(endKeys, 500);
  }
  function endKeys() {
    if (!keyed) return;
    const { kind, was, step: done, x, y, timer: clock } = keyed;
    clearTimeout(clock);
    keyed = null;
    for (const it of [...bars.values(), ...frames.values()]) Object.assign(it, was.get(it.key));
    if (!done || !(x || y)) return draw();
    const text = { move: `Moved ${named()} by ${show(x)} along, ${show(y)} up`, turn: `Turned ${named()} by ${x / 1000}°`, length: `Made ${named()} ${show(Math.abs(x))} ${x < 0 ? 'shorter' : 'longer'}` }[kind];
    gesture(text, done);
  }
  svg.addEventListener('keydown', (event) => {
    const key = event.target.closest('[data-key]')?.dataset.key, mod = event.ctrlKey || event.metaKey || event.altKey;
    if (!key) return;
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    const name = event.key.toLowerCase();
    if (way) {
      if (!chosen.has(key)) { endKeys(); choose([key]); }
      const fine = event.shiftKey;
      if (!mod) press('move', way.map((it) => it * (fine ? Math.max(1000, Math.round(step() / 10)) : step())));
      else if (way[0]) press('turn', [-way[0] * (fine ? 1000 : 15000), 0]);
      else press('length', [way[1] * (fine ? Math.max(1000, Math.round(step() / 10)) : step()), 0]);
    } else if (name === 'z' && mod) event.shiftKey ? act('redo') : act('undo');
    else if (name === 'y' && mod) act('redo');
    else if (name === 'd' && mod) { if (!chosen.has(key)) choose([key]); act('copy'); }
    else if (name === 'a' && mod) act('all');
    else if (name === ' ' || name === 'enter') { endKeys(); choose([key], true); say(`${nameOf(bars.get(key) ?? frames.get(key))}: ${chosen.has(key) ? 'selected' : 'not selected'}`); }
    else if (name === 'delete' || name === 'backspace') { if (!chosen.has(key)) choose([key]); act('remove'); }
    else if (name === 'm' && !mod) { if (!chosen.has(key)) choose([key]); act(event.shiftKey ? 'mirror-up' : 'mirror-across'); }
    else if (name === 'n' && !mod) { if (!chosen.has(key)) choose([key]); act('add'); }
    else if (name === 'escape') { if (drag) cancel(); else { endKeys(); choose([]); } }
    else return;
    event.preventDefault();
  });

  // Pointer ---
  const spot = (event) => [view.left + (event.clientX - drag.rect.left) / drag.k / view.scale, view.high - (event.clientY - drag.rect.top) / drag.k / view.scale];
  // Two clicks on the picture fill the form by which it is scaled.
  let points = null;
  function point(event) {
    const rect = svg.getBoundingClientRect(), k = rect.width / view.width, p = E.known.picture, names = points.length ? ['bx', 'by'] : ['ax', 'ay'];
    const [cx, cy] = [(event.clientX - rect.left) / k, (event.clientY - rect.top) / k];
    const um = [view.left + cx / view.scale - p.x, p.y + p.h - (view.high - cy / view.scale)];
    names.forEach((name, n) => { byId(`backdrop-${name}`).value = Math.max(0, (um[n] / p.w) * p.px[0]).toFixed(1); });
    points.push(make('path', { class: 'point', d: `M${cx - 9} ${cy}h18M${cx} ${cy - 9}v18` }));
    over.append(points.at(-1));
    if (points.length < 2) return say('Now the second point.');
    points = null;
    byId('backdrop-apart').focus();
    say('Type the true distance of the two points.');
  }
  svg.addEventListener('pointerdown', (event) => {
    if (event.button || drag) return;
    if (points) { event.preventDefault(); return point(event); }
    const handle = event.target.closest('[data-handle]')?.dataset.handle, key = event.target.closest('[data-key]')?.dataset.key;
    if (!handle && !key && event.pointerType !== 'mouse' && !several) return;
    endKeys();
    const rect = svg.getBoundingClientRect();
    drag = { rect, k: rect.width / view.width, id: event.pointerId, handle, key, free: event.altKey };
    drag.from = spot(event);
    const adds = event.shiftKey || event.ctrlKey || event.metaKey || (several && event.pointerType !== 'mouse');
    if (key) {
      if (adds) choose([key], true);
      else if (!chosen.has(key)) choose([key]);
      drag.items = whole(parts()).flat();
      drag.lead = bars.get(key) ?? frames.get(key);
      nodes.get(key).focus({ preventScroll: true });
    } else if (!handle) {
      drag.adds = adds;
      drag.frame = make('rect', { class: 'marquee' });
      over.append(drag.frame);
    }
    svg.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  svg.addEventListener('pointermove', (event) => {
    if (!drag || event.pointerId !== drag.id) return;
    drag.last = event;
    drag.frameAsked ??= requestAnimationFrame(follow);
  });
  // One step of a drag: only transforms change, nothing is measured.
  function follow() {
    if (!drag?.last) return;
    drag.frameAsked = null;
    const to = spot(drag.last), free = drag.last.altKey, [dx, dy] = [to[0] - drag.from[0], to[1] - drag.from[1]];
    if (!drag.moved && Math.hypot(dx, dy) * view.scale * drag.k < 4) return;
    drag.moved = true;
    if (drag.items) {
      const { lead } = drag, x = snap(lead.x + dx, free) - lead.x, y = snap(lead.y + dy, free) - lead.y;
      if (x === drag.x && y === drag.y) return;
      [drag.x, drag.y] = [x, y];
      if (!drag.lifted) lift();
      ghost.style.transform = `translate(${x * view.scale * drag.k}px, ${-y * view.scale * drag.k}px)`;
    } else if (drag.handle) {
      const bar = bars.get([...chosen][0]), [s, c] = sinCos(bar.a), [mx, my] = along(bar, 0.5), copy = { ...bar };
      if (drag.handle === 'turn') {
        const a = wrap(Math.round(Math.atan2(to[1] - my, to[0] - mx) * (180000 / Math.PI)) - 90000), unit = free ? 1000 : 15000;
        drag.turn = wrap(Math.round(a / unit) * unit - bar.a);
        keep(copy, 0.5, wrap(wrap(bar.a) + drag.turn), bar.l);
      } else {
        const [ox, oy] = along(bar, drag.handle === 'end' ? 0 : 1), sign = drag.handle === 'end' ? 1 : -1;
        drag.length = Math.max(grid && !free ? grid : 1000, snap(sign * ((to[0] - ox) * c + (to[1] - oy) * s), free));
        keep(copy, drag.handle === 'end' ? 0 : 1, bar.a, drag.length);
      }
      redraw(copy);
    } else {
      const [x, y, X, Y] = [Math.min(to[0], drag.from[0]), Math.max(to[1], drag.from[1]), Math.max(to[0], drag.from[0]), Math.min(to[1], drag.from[1])];
      drag.area = { left: x, right: X, low: Y, high: y };
      for (const [name, value] of Object.entries({ x: px(x), y: py(y), width: (X - x) * view.scale, height: (y - Y) * view.scale })) drag.frame.setAttribute(name, value);
    }
  }
  // What is moved is painted once, on a layer of its own.
  function lift() {
    drag.lifted = drag.items.map((it) => nodes.get(it.key));
    ghost.setAttribute('viewBox', svg.getAttribute('viewBox'));
    ghost.replaceChildren(...drag.lifted.map((node) => { const copy = node.cloneNode(true); copy.removeAttribute('tabindex'); return copy; }));
    drag.lifted.forEach((node) => node.classList.add('away'));
    over.replaceChildren();
  }
  function drop() {
    const done = drag;
    drag = null;
    if (done.frameAsked) cancelAnimationFrame(done.frameAsked);
    done.lifted?.forEach((node) => node.classList.remove('away'));
    ghost.replaceChildren();
    ghost.style.transform = '';
    done.frame?.remove();
    return done;
  }
  function cancel() {
    drop();
    draw();
  }
  svg.addEventListener('pointerup', (event) => {
    if (!drag || event.pointerId !== drag.id) return;
    if (drag.last) { drag.last = event; follow(); }
    const done = drop();
    if (done.items && (done.x || done.y)) gesture(`Moved ${named()} by ${show(done.x)} along, ${show(done.y)} up`, { do: 'move', ...parts(), dx_um: done.x, dy_um: done.y });
    else if (done.turn) gesture(`Turned ${named()} by ${done.turn / 1000}°`, { do: 'turn', bars: parts().bars, turn_mdeg: done.turn, about: 'middle' });
    else if (done.length) gesture(`Made ${named()} ${show(done.length)}`, { do: 'resize', bars: parts().bars, length_um: done.length, keep: done.handle === 'end' ? 'start' : 'end' });
    else if (done.area) {
      const within = (it) => { const e = edges(it), a = done.area; return e.left >= a.left && e.right <= a.right && e.low >= a.low && e.high <= a.high; };
      choose([...bars.values()].filter(within).map((bar) => bar.key).filter((key) => !done.adds || !chosen.has(key)), done.adds);
      say(`${chosen.size} selected.`);
    } else if (!done.items && !done.handle) choose([]);
    else if (done.moved || done.lifted) draw();
  });
  // A finger on a bar moves it; anywhere else it scrolls the page.
  svg.addEventListener('touchstart', (event) => { if (several || points || event.target.closest('[data-key], [data-handle]')) event.preventDefault(); }, { passive: false });
  svg.addEventListener('pointercancel', (event) => { if (drag && event.pointerId === drag.id) cancel(); });
  svg.addEventListener('dblclick', (event) => {
    if (event.target.closest('[data-key], [data-handle]')) return;
    const rect = svg.getBoundingClientRect(), k = rect.width / view.width, like = bars.get([...chosen][0]) ?? [...bars.values()].at(-1);
    if (!like) return;
    gesture(`Added a bar like ${like.label}`, { do: 'add', like: like.key, x_um: snap(view.left + (event.clientX - rect.left) / k / view.scale), y_um: snap(view.high - (event.clientY - rect.top) / k / view.scale) });
  });

  // The rest of the page ---
  document.addEventListener('click', (event) => {
    const name = event.target.closest?.('[data-act]')?.dataset.act;
    if (name === 'mine' || name === 'theirs') settle(name === 'mine');
    else if (name) act(name);
  });
  document.addEventListener('change', ({ target }) => {
    if (target.id === 'edit-grid') { grid = Number(target.value); store.set('tapewright.grid', grid); ground(); }
    if (target.type === 'checkbox' && ['bars', 'frames'].includes(target.name)) {
      const key = keyOf(target.name[0], Number(target.value));
      if (nodes.has(key) && chosen.has(key) !== target.checked) choose([key], true);
    }
  });
  window.addEventListener('pagehide', endKeys);
  window.addEventListener('resize', () => { if (!drag && !keyed && box.clientWidth !== room) draw(); });

  if (!E.known.grid.some(([um]) => um === grid)) [[grid]] = [E.known.grid[1]];
  byId('edit-grid').value = String(grid);
  byId('editor').hidden = false;
  document.querySelectorAll('[data-act=points]').forEach((button) => { button.hidden = false; });
  build();
  const behind = adopt();
  document.querySelectorAll('input[type=checkbox][name=bars]:checked, input[type=checkbox][name=frames]:checked').forEach((field) => chosen.add(keyOf(field.name[0], Number(field.value))));
  if (behind) { const held = E.waiting; E.waiting = []; build(); E.waiting = held; }
  box.removeAttribute('tabindex');
  box.replaceChildren(stage);
  draw();
  flush();
})();
