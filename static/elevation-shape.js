// The geometry of the elevation's editor: a preview of what src/model/arrange does on the server.
'use strict';
globalThis.elevationShape = (bars, frames, { idOf, keyOf, fresh, unit }) => {
  const round = (value) => Math.sign(value) * Math.round(Math.abs(value));
  const wrap = (a) => { const t = ((a % 360000) + 360000) % 360000; return t > 180000 ? t - 360000 : t; };
  function sinCos(a) {
    const quarter = { 0: [0, 1], 90000: [1, 0], 180000: [0, -1], '-90000': [-1, 0] }[wrap(a)];
    return quarter ?? [Math.sin((a / 1000) * (Math.PI / 180)), Math.cos((a / 1000) * (Math.PI / 180))];
  }
  const along = (bar, part) => { const [s, c] = sinCos(bar.a); return [bar.x + c * bar.l * part, bar.y + s * bar.l * part]; };
  function keep(bar, part, a, l) {
    const [x, y] = along(bar, part), [s, c] = sinCos(a);
    Object.assign(bar, { x: round(x - c * l * part), y: round(y - s * l * part), a, l });
  }
  const edges = (it) => {
    const [x, y] = 'a' in it ? along(it, 1).map(round) : [it.x + it.w, it.y + it.h];
    return { left: Math.min(it.x, x), right: Math.max(it.x, x), low: Math.min(it.y, y), high: Math.max(it.y, y) };
  };
  const joined = (list) => list.map(edges).reduce((a, b) => ({ left: Math.min(a.left, b.left), right: Math.max(a.right, b.right), low: Math.min(a.low, b.low), high: Math.max(a.high, b.high) }));
  const beginsLeft = (a) => wrap(a) > -90000 && wrap(a) <= 90000;
  function mirror(it, way, twice) {
    const flip = ([x, y]) => (way === 'across' ? [round(twice - x), round(y)] : [round(x), round(twice - y)]);
    if (!('a' in it)) { [it.x, it.y] = flip(way === 'across' ? [it.x + it.w, it.y] : [it.x, it.y + it.h]); return; }
    const a = wrap((way === 'across' ? 180000 : 0) - wrap(it.a)), turned = beginsLeft(it.a) && !beginsLeft(a);
    [it.x, it.y] = flip(turned ? along(it, 1) : [it.x, it.y]);
    it.a = turned ? wrap(a - 180000) : a;
  }
  function label(like, among) {
    const taken = new Set([...among.values()].map((it) => it.label)), [, stem, digits] = /^(.*?)(\d*)$/.exec(like);
    for (let n = Number(digits || 1) + 1; ; n += 1) { const text = (digits ? stem : stem + ' ') + n; if (!taken.has(text)) return text; }
  }
  const sorted = (keys) => [...frames.values()].filter((f) => keys.includes(f.key)).sort((a, b) => a.x - b.x || (idOf(a.key) ?? Infinity) - (idOf(b.key) ?? Infinity));
  const hungOn = (keys) => [...bars.values()].filter((bar) => keys.includes(bar.on)).map((bar) => bar.key);
  // The bars and frames that a step is about, those on its frames too.
  const whole = (step) => {
    const on = step.frames ?? [], named = new Set([...(step.bars ?? []), ...hungOn(on)]);
    return [[...bars.values()].filter((bar) => named.has(bar.key)), sorted(on)];
  };

  function apply(step, g) {
    const copy = ([some, on]) => {
      const names = new Map(), made = [];
      for (const f of on) { const it = { ...f, key: fresh(g.newFrames, 'f'), label: label(f.label, frames) }; names.set(f.key, it.key); frames.set(it.key, it); made.push(it); }
      for (const b of some) { const it = { ...b, key: fresh(g.news, 'b'), label: label(b.label, bars), on: names.get(b.on) ?? b.on, look: 'wait' }; bars.set(it.key, it); made.push(it); }
      return made;
    };
    g.news.used = g.newFrames.used = 0;
    const move = (it, dx, dy) => { it.x += dx; it.y += dy; };
    if (step.do === 'place') {
      for (const p of step.bars) { const bar = bars.get(p.bar); if (bar) Object.assign(bar, { x: p.x_um, y: p.y_um, a: p.angle_mdeg, l: p.length_um }); }
      for (const p of step.frames) { const f = frames.get(p.frame); if (f) Object.assign(f, { x: p.x_um, y: p.y_um }); }
      return;
    }
    if (step.do === 'restore') {
      for (const { frame: f, bars: on } of step.frames) { const key = fresh(g.newFrames, 'f'); frames.set(key, { key, label: f.label, x: f.x_um, y: f.y_um, w: f.width_um, h: f.height_um }); on.forEach((bar) => { if (bars.has(bar)) bars.get(bar).on = key; }); }
      for (const b of step.bars) { const key = fresh(g.news, 'b'); bars.set(key, { key, label: b.label, x: b.x_um, y: b.y_um, l: b.length_um, a: b.angle_mdeg, look: 'wait', on: keyOf('f', b.frame) }); }
      return;
    }
    if (step.do === 'add') { for (const it of copy([[bars.get(step.like)].filter(Boolean), []])) Object.assign(it, { x: step.x_um, y: step.y_um }); return; }
    const about = whole(step), [some, on] = about, all = [...some, ...on];
    if (!all.length) return;
    switch (step.do) {
      case 'move': all.forEach((it) => move(it, step.dx_um, step.dy_um)); break;
      case 'turn': some.forEach((bar) => keep(bar, 0.5, wrap(wrap(bar.a) + step.turn_mdeg), bar.l)); break;
      case 'resize': some.forEach((bar) => keep(bar, step.keep === 'end' ? 1 : 0, bar.a, step.length_um)); break;
      case 'lengthen': some.forEach((bar) => keep(bar, 0, bar.a, bar.l + step.by_um)); break;
      case 'copy': for (let n = 1; n <= step.copies; n += 1) copy(about).forEach((it) => move(it, step.dx_um * n, step.dy_um * n)); break;
      case 'mirror': { const e = joined(all), twice = step.mirror === 'across' ? e.left + e.right : e.low + e.high; all.forEach((it) => mirror(it, step.mirror, twice)); break; }
      case 'align': align(step, some, on); break;
      case 'remove':
        step.bars.forEach((key) => bars.delete(key));
        for (const key of step.frames) { hungOn([key]).forEach((bar) => { bars.get(bar).on = null; }); frames.delete(key); }
    }
  }
  function align({ to }, some, on) {
    const blocks = [...on.map((f) => [f, ...some.filter((bar) => bar.on === f.key)]), ...some.filter((bar) => !on.some((f) => f.key === bar.on)).map((bar) => [bar])].map((list) => ({ list, e: edges(list[0]) }));
    if (blocks.length < 2) return;
    const e = joined(blocks.map(({ list }) => list[0])), x = (it) => it.left + it.right, y = (it) => it.low + it.high;
    const even = (middle, axis) => {
      blocks.sort((a, b) => middle(a.e) - middle(b.e));
      const first = middle(blocks[0].e), last = middle(blocks.at(-1).e), gaps = blocks.length - 1;
      blocks.forEach((it, n) => { it[axis] = round(((last - first) * n - (middle(it.e) - first) * gaps) / (2 * gaps)); });
    };
    if (to === 'spread_across') even(x, 'dx');
    else if (to === 'spread_up') even(y, 'dy');
    for (const it of blocks) {
      if (to === 'left') it.dx = e.left - it.e.left;
      if (to === 'right') it.dx = e.right - it.e.right;
      if (to === 'top') it.dy = e.high - it.e.high;
      if (to === 'bottom') it.dy = e.low - it.e.low;
      if (to === 'centre_across') it.dx = round((x(e) - x(it.e)) / 2);
      if (to === 'centre_up') it.dy = round((y(e) - y(it.e)) / 2);
      for (const one of it.list) { one.x += it.dx ?? 0; one.y += it.dy ?? 0; }
    }
  }
  // Drawing ---
  const THICK = 20;
  const NS = 'http://www.w3.org/2000/svg';
  const make = (name, attrs, ...inside) => {
    const node = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attrs)) if (value != null) node.setAttribute(key, value);
    node.append(...inside);
    return node;
  };
  function show(um) {
    const tidy = (value) => String(Number(value.toFixed(4)));
    const { name } = unit;
    if (unit.metric) return `${tidy(um / unit.um)} ${name}`;
    // Sixteenths of an inch, as the pages say them.
    const all = Math.round(Math.abs(um) / 1587.5), feet = name === 'ft' ? Math.floor(all / 192) : 0, rest = all - feet * 192;
    const whole = Math.floor(rest / 16);
    let part = rest % 16, of = 16;
    while (part && part % 2 === 0) [part, of] = [part / 2, of / 2];
    const inches = part ? `${whole || feet ? `${whole}\u00a0` : ''}${part}/${of}` : String(whole);
    const words = name === 'in' ? `${inches} in` : !feet ? `${inches}"` : rest ? `${feet}'\u00a0${inches}"` : `${feet}'`;
    return um < 0 && all ? `-${words}` : words;
  }

  // A length as it is typed everywhere, in whole micrometres; null where it must be typed otherwise.
  const MARKS = { mm: 1e3, cm: 1e4, m: 1e6, in: 25400, inch: 25400, inches: 25400, '"': 25400, ft: 304800, foot: 304800, feet: 304800, "'": 304800 };
  const NUMBER = String.raw`(\d+[.,]\d+|[.,]\d+|(?:\d+ )?\d+/[1-9]\d*|\d+)`;
  const ONE = new RegExp(`^${NUMBER} ?([a-z"']*)\\.?$`), FEET = new RegExp(`^(\\d+) ?(?:ft\\.?|foot|feet|')[ -]?${NUMBER} ?(?:"|in\\.?|inch|inches)?$`);
  function length(text) {
    const plain = text.trim().toLowerCase().replace(/\s+/g, ' ').replace(/[′’‘]/g, "'").replace(/[″”“]|''/g, '"').replace(/^[−–]/, '-');
    const sign = plain.startsWith('-') ? -1 : 1, rest = plain.replace(/^- ?/, '');
    const number = (word) => (/^[1-9]\d{0,2},\d{3}$/.test(word) ? NaN : word.split(' ').reduce((sum, it) => { const [over, under] = it.split('/'); return sum + Number(over.replace(',', '.')) / Number(under ?? 1); }, 0));
    const feet = FEET.exec(rest), one = !feet && ONE.exec(rest);
    const um = feet ? feet[1] * MARKS.ft + number(feet[2]) * MARKS.in : one ? number(one[1]) * (one[2] ? MARKS[one[2]] : unit.um) : NaN;
    return Math.abs(um) <= 1e9 && !(feet && number(feet[2]) >= 12) ? round(sign * um) : null;
  }

  function inside(it, scale) {
    const sel = (x, y, w, h) => make('rect', { class: 'sel', x, y, width: w, height: h });
    if (!('a' in it)) {
      const [w, h] = [it.w * scale, it.h * scale];
      return [make('rect', { class: 'svg-muted', y: -h, width: w, height: h }), make('path', { class: 'hit', d: `M0 0V${-h}H${w}V0Z` }),
        make('rect', { class: 'svg-chip hold', x: -2, y: -h - 25, width: it.label.length * 7.2 + 16, height: 24 }), make('text', { class: 'svg-small', x: 4, y: -h - 8 }, it.label), sel(-4, -h - 4, w + 8, h + 8)];
    }
    const long = Math.max(it.l * scale, 4), wide = it.label.length * 7.2 + 8, turned = make('g', { transform: `rotate(${-it.a / 1000})` });
    turned.append(make('line', { class: 'hit', x1: 0, x2: long }), make('rect', { class: `svg-${it.look === 'wait' ? 'built' : it.look}`, y: -THICK / 2, width: long, height: THICK }));
    if (wide + 4 <= long) {
      const over = Math.abs(wrap(it.a)) > 90100 || wrap(it.a) < -89900;
      turned.append(make('g', { transform: `translate(${long / 2} 0)${over ? ' rotate(180)' : ''}` }, make('rect', { class: 'svg-chip', x: -wide / 2, y: -8, width: wide, height: 16 }), make('text', { class: 'svg-small svg-on', y: 4, 'text-anchor': 'middle' }, it.label)));
    }
    turned.append(sel(-4, -THICK / 2 - 4, long + 8, THICK + 8));
    return [turned];
  }
  return { make, show, length, inside, wrap, sinCos, along, keep, edges, joined, hungOn, whole, apply };
};
