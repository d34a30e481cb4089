// How smoothly bars are dragged in the elevation's editor: frames a second of headless Chromium.
//
//   cargo build --release && node benches/elevation.mjs target/release/tapewright [bars]
//
// Starts a service of its own in a temporary folder, makes a set of many bars, drags one bar and
// then all of them, and reads the times of animation frames while the mouse moves. Needs
// chromedriver and node 20 or later.
import { spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

const [program, count = '300'] = process.argv.slice(2);
const folder = mkdtempSync(join(tmpdir(), 'elevation-'));
const PORT = 8990 + Math.floor(Math.random() * 900), HOME = `http://127.0.0.1:${PORT}`;

// Waits until a process says something on one of its outputs.
const until = (child, pattern) => new Promise((done, fail) => {
  const hear = (chunk) => { const found = pattern.exec(String(chunk)); if (found) done(found); };
  child.stdout.on('data', hear);
  child.stderr.on('data', hear);
  child.on('exit', () => fail(new Error(`${child.spawnfile} ended`)));
});
const json = async (method, url, body, headers = {}) => {
  const answer = await fetch(url, { method, headers: { 'content-type': 'application/json', ...headers }, body: body && JSON.stringify(body) });
  return { status: answer.status, value: await answer.json().catch(() => null) };
};

const service = spawn(program, ['serve', '--data', folder, '--listen', `127.0.0.1:${PORT}`]);
const driver = spawn('chromedriver', ['--port=0']);
try {
  const [, port] = await until(driver, /started successfully on port (\d+)/);
  for (let tries = 0; tries < 100; tries += 1) {
    if (await fetch(HOME).then(() => true, () => false)) break;
    await new Promise((done) => setTimeout(done, 100));
  }
  const set = await json('POST', `${HOME}/api/v1/designs`, { name: 'Many bars', dates: { build_on: '2030-04-01', get_in: '2030-04-03', strike_on: '2030-04-20' } });
  const id = set.value.id;
  const bar = { label: 'Bar 1', length_um: 1_000_000, channels: ['white'], diffused: true, angle_mdeg: 60_000 };
  const added = (await json('POST', `${HOME}/api/v1/designs/${id}/bars`, { bar, count: Number(count) })).value;
  const places = added.added.map((it, n) => ({ bar: it, x_um: (n % 30) * 400_000, y_um: Math.floor(n / 30) * 700_000, angle_mdeg: 60_000, length_um: 1_000_000 }));
  await json('POST', `${HOME}/api/v1/designs/${id}/bars/arrange`, { steps: [{ do: 'place', bars: places }] }, { 'if-match': `"design-${id}-${added.version}"` });

  const base = `http://127.0.0.1:${port}/session`;
  const args = ['--headless=new', '--no-sandbox', '--disable-gpu', '--disable-dev-shm-usage', '--window-size=1280,1000'];
  const session = (await json('POST', base, { capabilities: { alwaysMatch: { 'goog:chromeOptions': { args } } } })).value.value.sessionId;
  const ask = async (path, body) => (await json('POST', `${base}/${session}/${path}`, body)).value.value;
  const run = (script, ...more) => ask('execute/sync', { script, args: more });
  const tool = (cmd, params) => ask('goog/cdp/execute', { cmd, params });
  await ask('url', { url: `${HOME}/designs/${id}/bars` });
  for (let tries = 0; tries < 200 && !(await run('return document.querySelectorAll("svg.editing .bar").length')); tries += 1) await new Promise((done) => setTimeout(done, 100));
  const bytes = await run('return performance.getEntriesByType("resource").filter(it => /elevation/.test(it.name)).map(it => it.name.split("/").pop() + " " + it.decodedBodySize).join(", ")');
  console.log(`scripts: ${bytes}`);
  for (const [name, all] of [['one bar', false], [`all ${count} bars`, true]]) {
    const [x, y] = await run(`const svg = document.querySelector('svg.editing'); svg.scrollIntoView({ block: 'center' });
      const bar = svg.querySelector('.bar'); ${all ? 'document.querySelector("[data-act=all]").click();' : ''}
      const r = bar.querySelector('rect').getBoundingClientRect();
      window.times = []; window.timing = true;
      requestAnimationFrame(function tick(at) { times.push(at); if (window.timing) requestAnimationFrame(tick); });
      return [r.x + r.width / 2, r.y + r.height / 2];`);
    const mouse = (type, dx, dy, buttons) => tool('Input.dispatchMouseEvent', { type, x: x + dx, y: y + dy, button: 'left', buttons, clickCount: 1 });
    await mouse('mousePressed', 0, 0, 1);
    for (let n = 1; n <= 240; n += 1) await mouse('mouseMoved', 120 * Math.sin(n / 20), -60 * Math.sin(n / 15), 1);
    const gaps = await run('window.timing = false; return times.slice(5).map((it, n, all) => n ? it - all[n - 1] : 0).slice(1)');
    await mouse('mouseReleased', 0, 0, 0);
    gaps.sort((a, b) => a - b);
    const mean = gaps.reduce((sum, gap) => sum + gap, 0) / gaps.length, late = gaps[Math.floor(gaps.length * 0.95)];
    console.log(`${name}: ${gaps.length} frames, mean ${(1000 / mean).toFixed(1)} frames/s, 95th percentile of the gap ${late.toFixed(1)} ms, longest ${gaps.at(-1).toFixed(1)} ms`);
    await new Promise((done) => setTimeout(done, 3000));
  }
  await fetch(`${base}/${session}`, { method: 'DELETE' });
} finally {
  service.kill();
  driver.kill();
  rmSync(folder, { recursive: true, force: true });
}
