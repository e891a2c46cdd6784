(() => {
'use strict';
// On a phone the milder findings are one line each until they are asked for; paper has them whole.
const folds = [...document.querySelectorAll('details.rest')];
const fold = () => { if (window.innerWidth < 700) for (const d of folds) d.open = false; };
const target = () => {
  const at = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  for (const d of at ? at.querySelectorAll('details.rest') : []) d.open = true;
};
fold();
target();
window.addEventListener('hashchange', target);
const printed = [...document.querySelectorAll('details.rest, details.prints')];
let wereOpen = [];
window.addEventListener('beforeprint', () => { wereOpen = printed.map(d => d.open); for (const d of printed) d.open = true; });
window.addEventListener('afterprint', () => printed.forEach((d, i) => { d.open = wereOpen[i]; }));
// Every table can be taken away: as text with tabs, or as a file.
const tables = [...document.querySelectorAll('.scroll>table')];
const rowsOf = table => [...table.rows].map(row => [...row.cells].map(cell => cell.innerText.trim().replace(/\s+/g, ' ')));
function button(words, what, act) {
  const made = document.createElement('button');
  made.type = 'button';
  made.textContent = words;
  made.setAttribute('aria-label', words + ': ' + what);
  made.addEventListener('click', () => act(made)?.catch(() => { made.textContent = 'Not in this browser'; made.disabled = true; }));
  return made;
}
// Of a long table the page lists the first rows; the others travel beside it as gzip in base 85.
const SIGNS = '0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz!#$%.()*+-;,=/?@^_`{|}~';
const leftOf = async table => table.left ??= table.nextElementSibling ? JSON.parse(await unpacked(table.nextElementSibling)) : [];
const goesOn = table => table && 'rest' in table.parentElement.dataset;
async function wholeOf(table) {
  const i = tables.indexOf(table), parts = goesOn(table) ? [tables[i - 1], table] : goesOn(tables[i + 1]) ? [table, tables[i + 1]] : [table];
  const rows = rowsOf(parts[0]).slice(0, 1);
  for (const part of parts) rows.push(...rowsOf(part).slice(1), ...await leftOf(part));
  return rows;
}
async function more(table, made) {
  const left = await leftOf(table), body = table.tBodies[0];
  for (const row of left.splice(0, MORE)) {
    const line = body.insertRow();
    row.forEach((words, n) => {
      const cell = n ? line.insertCell() : line.appendChild(document.createElement('th'));
      cell.textContent = words;
    });
    led(line.cells[0]);
  }
  if (left.length) made.textContent = moreWords(left.length); else made.remove();
}
const MORE = 200;
const moreWords = n => 'Show ' + (n > MORE ? MORE + ' more of ' : 'the other ') + n.toLocaleString('en-US');
let led = () => {};   // what makes the time in a cell lead to the whole log, once there is one
for (const table of tables) {
  const name = table.getAttribute('aria-label') || 'table', bar = document.createElement('p');
  bar.className = 'take noprint';
  bar.append(
    button('Copy', name, async b => { b.textContent = await copied(await wholeOf(table), table); setTimeout(() => { b.textContent = 'Copy'; }, 2000); }),
    button('CSV', name, async () => saved(await wholeOf(table), name)),
  );
  if (table.nextElementSibling) {
    const n = table.parentElement.dataset.left;
    bar.prepend(button(moreWords(+n), name, made => more(table, made)));
  }
  table.parentElement.after(bar);
}
// Without these the still drawings stay; the page is complete without a script.
if (!('DecompressionStream' in window) || !('IntersectionObserver' in window)) return;
const LIGHT = JSON.parse(document.getElementById('hues').textContent);
const HOURS = LIGHT.hours;
const DAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];
const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
const wide = () => window.innerWidth >= 700;
const dark = matchMedia('(prefers-color-scheme: dark)');

// Base 85: five signs are four bytes, the last group is filled up with the highest sign.
function bytes(text) {
  const worth = new Uint8Array(128), full = Math.ceil(text.length / 5), out = new DataView(new ArrayBuffer(full * 4));
  for (let i = 0; i < 85; i++) worth[SIGNS.charCodeAt(i)] = i;
  for (let g = 0; g < full; g++) {
    let value = 0;
    for (let i = 5 * g; i < 5 * g + 5; i++) value = value * 85 + (i < text.length ? worth[text.charCodeAt(i)] : 84);
    out.setUint32(4 * g, value);
  }
  return new Uint8Array(out.buffer, 0, full * 4 - (5 * full - text.length));
}
async function unpacked(script) {
  const stream = new Blob([bytes(script.textContent.trim())]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).text();
}
const opened = id => unpacked(document.getElementById(id));
let library, figures;
const getLibrary = () => library ??= opened('lib').then(source => {
  const script = document.createElement('script');
  script.textContent = source;   // its hash stands in the page's policy
  document.head.append(script);
});
const getFigures = () => figures ??= opened('figures').then(text => {
  const all = JSON.parse(text);
  for (const k in all.shared) all.shared[k] = {x: numbers(all.shared[k].x._), y: numbers(all.shared[k].y._)};
  shared = all.shared;
  return all;
});
let shared;

function numbers(packed) {
  const steps = packed[0], out = new Float64Array(packed.length - 1);
  for (let i = 1, total = 0; i < packed.length; i++) {
    if (packed[i] === null) { out[i - 1] = NaN; continue; }
    total += packed[i];
    out[i - 1] = total / steps;
  }
  return out;
}
function restored(value, key) {
  if (Array.isArray(value)) return value.map(v => restored(v, key));
  if (value && typeof value === 'object') {
    if (value._) return numbers(value._);
    if (value.$) {   // a stretch of a channel that several figures draw
      const [channel, first, end, shift] = value.$, part = shared[channel][key].subarray(first, end);
      return key === 'x' && shift ? part.map(v => v + shift) : part;
    }
    const out = {};
    for (const k in value) out[k] = restored(value[k], k);
    return out;
  }
  if (typeof value === 'string' && dark.matches && /color|text/.test(key)) {
    return value.replace(/#[0-9A-F]{6}/g, c => LIGHT.dark[c] || c);
  }
  return value;
}

function clock(ms, seconds) {
  const d = new Date(ms), h = d.getUTCHours(), two = n => String(n).padStart(2, '0');
  const tail = ':' + two(d.getUTCMinutes()) + (seconds ? ':' + two(d.getUTCSeconds()) : '');
  const day = DAYS[d.getUTCDay()] + ' ' + MONTHS[d.getUTCMonth()] + ' ' + d.getUTCDate() + ', ';
  return day + (HOURS === 24 ? two(h) + tail : (h % 12 || 12) + tail + (h < 12 ? ' am' : ' pm'));
}
// Index of the last x that is not after t, or -1.
function before(x, t) {
  let low = 0, high = x.length;
  while (low < high) { const mid = (low + high) >> 1; if (x[mid] <= t) low = mid + 1; else high = mid; }
  return low - 1;
}
function valueAt(trace, t) {
  const i = before(trace.x, t);
  if (i < 0 || i >= trace.x.length) return NaN;
  const a = trace.y[i];
  if (i === trace.x.length - 1 || trace.x[i] === t) return a;
  const b = trace.y[i + 1];
  return a + (b - a) * (t - trace.x[i]) / (trace.x[i + 1] - trace.x[i]);
}
const fixed = (v, decimals) => v.toFixed(decimals).replace(/^-(?=[0.]*$)/, '').replace('-', '\u2212');
function stateAt(trace, t) {
  if (trace.meta.unknown.some(s => s[0] <= t && t < s[1])) return 'not recorded';
  const i = before(trace.exact || trace.x, t);
  return (trace.meta.words || ['on', 'off'])[i % 4 === 2 ? 0 : 1];
}

// Of a line denser than the drawing: lowest and highest of every column, in their order, so that no
// peak is lost; where it is looked at closely, every reading. One point more on either side.
let COLUMNS = 1200;
function thinned(trace, a, b) {
  const {x, y} = trace.full, from = Math.max(before(x, a), 0), to = Math.min(before(x, b) + 2, x.length);
  if (to - from <= 3 * COLUMNS) { trace.x = x.subarray(from, to); trace.y = y.subarray(from, to); return; }
  const outX = [], outY = [], wide = (b - a) / COLUMNS;
  let column = null, low = -1, high = -1;
  const flush = () => {
    if (low < 0) return;
    for (const i of low === high ? [low] : [Math.min(low, high), Math.max(low, high)]) { outX.push(x[i]); outY.push(y[i]); }
    low = high = -1;
  };
  for (let i = from; i < to; i++) {
    const at = Math.floor((x[i] - a) / wide);
    if (at !== column) { flush(); column = at; }
    if (Number.isNaN(y[i])) { flush(); outX.push(x[i]); outY.push(NaN); continue; }
    if (low < 0) { low = high = i; continue; }
    if (y[i] < y[low]) low = i;
    if (y[i] > y[high]) high = i;
  }
  flush();
  trace.x = Float64Array.from(outX);
  trace.y = Float64Array.from(outY);
}

// Of a row with more runs than the drawing has columns the height is the share of each column's time
// that it was on; where it is looked at closely, every run with its own edges.
function levelled(trace, a, b) {
  const x = trace.exact, y = trace.exactY, base = y[0], roof = y[2];
  // run i is at 4 i + 1 to 4 i + 4
  const first = Math.max(0, Math.floor((before(x, a) - 1) / 4)), last = Math.min((x.length - 2) / 4, Math.ceil(before(x, b) / 4));
  if (last - first <= COLUMNS) {
    const points = last > first ? [4 * first + 1, 4 * last + 1] : [0, 0];
    trace.x = Float64Array.of(a, ...x.subarray(...points), b);
    trace.y = Float64Array.of(base, ...y.subarray(...points), base);
    return;
  }
  const wide = (b - a) / COLUMNS, on = new Float64Array(COLUMNS + 1);
  for (let i = first; i < last; i++) {
    let from = Math.max(x[4 * i + 1], a);
    const to = Math.min(x[4 * i + 3], b);
    for (let n = Math.floor((from - a) / wide); from < to; n++) {
      const next = Math.min(to, a + (n + 1) * wide);
      on[n] += next - from;
      from = next > from ? next : to;
    }
  }
  const outX = [a], outY = [base];
  for (let n = 0; n < COLUMNS; n++) {
    const level = base + (roof - base) * Math.min(on[n] / wide, 1);
    outX.push(a + n * wide, a + (n + 1) * wide);
    outY.push(level, level);
  }
  trace.x = Float64Array.of(...outX, b);
  trace.y = Float64Array.of(...outY, base);
}

// Rare events keep a width that can be seen, taken anew at every zoom: a fixed one would lie.
function widened(trace, least) {
  const exact = trace.exact ??= trace.x, out = Float64Array.from(exact);
  for (let i = 1; i + 3 < exact.length; i += 4) out[i + 2] = out[i + 3] = Math.max(exact[i + 2], exact[i] + least);
  trace.x = out;
}

function values(box, data, t) {
  const parts = [];
  for (const trace of data) {
    const m = trace.meta;
    if (!m || (m.kind !== 'line' && m.kind !== 'track')) continue;
    const span = document.createElement('span'), b = document.createElement('b');
    let words;
    if (m.kind === 'line') {
      const v = valueAt(trace.full || trace, t), sample = document.createElement('i');
      sample.style.borderTop = '2px ' + (trace.line.dash === 'solid' ? 'solid ' : 'dashed ') + trace.line.color;
      span.append(sample);
      words = !isFinite(v) ? 'not recorded' : fixed(v, m.decimals) + ' ' + m.unit;
    } else {
      words = stateAt(trace, t);
      if (words === 'off' || words === 'closed') span.className = 'off';
    }
    b.textContent = words;
    span.append(m.name + ' ', b);
    parts.push(span);
  }
  box.replaceChildren(...parts);
}

// A figure's numbers as a table: what is read at round times of the stretch shown, in at most
// MOST_LINES rows; CSV has every reading and every change of state of that stretch.
const MOST_LINES = 60, MOST_SAVED = 300000;
const STEPS_S = [1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 604800, 1209600];
const told = made => made.data.filter(t => t.meta && (t.meta.kind === 'line' || t.meta.kind === 'track'));
const heads = traces => ['Local time', ...traces.map(t => t.meta.kind === 'line' ? t.meta.name + ', ' + t.meta.unit : t.meta.name)];
function atTimes(traces, [a, b]) {
  const step = 1000 * (STEPS_S.find(s => (b - a) / s / 1000 <= MOST_LINES) || STEPS_S.at(-1)), rows = [];
  for (let t = Math.ceil(a / step) * step; t <= b; t += step) {
    rows.push([clock(t, step < 60000), ...traces.map(trace => {
      if (trace.meta.kind === 'track') return stateAt(trace, t);
      const v = valueAt(trace.full || trace, t);
      return isFinite(v) ? fixed(v, trace.meta.decimals) : 'not recorded';
    })]);
  }
  return rows;
}
function everyReading(traces, [a, b]) {
  const lines = traces.map(t => t.meta.kind === 'line' ? t.full || t : {x: t.exact || t.x});
  const times = new Set(lines.flatMap(l => [...l.x.subarray(Math.max(before(l.x, a), 0), before(l.x, b) + 1)]));
  if (times.size > MOST_SAVED) return null;
  const at = lines.map(l => Math.max(before(l.x, a - 1), 0));
  return [...times].filter(t => t >= a && t <= b).sort((p, q) => p - q).map(t => [
    new Date(t).toISOString().slice(0, 19).replace('T', ' '),
    ...traces.map((trace, n) => {
      if (trace.meta.kind === 'track') return stateAt(trace, t);
      const {x, y} = lines[n];
      while (x[at[n]] < t) at[n]++;
      return x[at[n]] === t && isFinite(y[at[n]]) ? y[at[n]].toFixed(trace.meta.decimals) : '';
    }),
  ]);
}
async function numbersOf(figure) {
  const made = figure.made ??= restored((await getFigures())[figure.dataset.live], '');
  return [told(made), figure.shown ? figure.shown() : made.layout.xaxis.range];
}
function addNumbers(figure) {
  const what = figure.querySelector('figcaption b').textContent, box = document.createElement('div');
  const fill = async () => {
    const [traces, span] = await numbersOf(figure), names = heads(traces), table = document.createElement('table');
    table.className = 'many';
    const row = (part, cells, tag) => {
      const line = part.insertRow();
      cells.forEach((words, n) => {
        const cell = line.appendChild(document.createElement(n && !tag ? 'td' : 'th'));
        cell.textContent = words;
        if (tag) cell.scope = 'col'; else if (n) cell.style.setProperty('--l', JSON.stringify(names[n]));
      });
    };
    row(table.createTHead(), names, true);
    const body = table.createTBody();
    for (const cells of atTimes(traces, span)) row(body, cells);
    const part = document.createElement('div');
    part.className = 'scroll';
    part.tabIndex = 0;
    part.setAttribute('role', 'group');
    part.setAttribute('aria-label', 'Numbers of ' + what);
    part.append(table);
    box.replaceChildren(part);
  };
  const bar = document.createElement('p'), show = button('As a table', what, async () => {
    const open = show.getAttribute('aria-expanded') === 'false';
    if (open) await fill(); else box.replaceChildren();
    show.setAttribute('aria-expanded', open);
  });
  show.setAttribute('aria-expanded', false);
  bar.className = 'take noprint';
  bar.append(show, button('CSV', what, async made => {
    const [traces, span] = await numbersOf(figure), rows = everyReading(traces, span);
    if (rows) saved([heads(traces), ...rows], what);
    made.textContent = rows ? 'CSV' : 'CSV of a shorter stretch only: zoom in first';
  }));
  box.className = 'noprint';
  figure.querySelector('.tools').after(bar, box);
  figure.refill = () => box.firstChild && fill();
}

const draw = figure => figure.drawing ??= drawn(figure);
async function drawn(figure) {
  figure.dataset.state = 'loading';
  const live = figure.querySelector('.live'), tools = figure.querySelector('.tools');
  const open = tools.querySelector('.open');
  open.textContent = 'Opening\u2026';
  try {
    const [all] = await Promise.all([getFigures(), getLibrary()]);
    const made = restored(all[figure.dataset.live], '');
    const small = !wide();
    if (small) {
      made.layout.margin.l = 96;
      made.layout.dragmode = 'pan';
      made.layout.font.size = 10;
      made.layout.xaxis.nticks = 4;
      made.layout.xaxis.tickangle = 0;
      for (const k in made.layout) {
        if (!k.startsWith('yaxis') || !made.layout[k].ticktext) continue;
        made.layout[k].ticktext = made.layout.meta.short;
        made.layout[k].tickfont.size = 9;
      }
      for (const a of made.layout.annotations) if (a.yref === 'paper') a.text = a.text.split('   ')[0];
    }
    const range = made.layout.xaxis.range.slice();
    const dense = made.data.filter(t => t.meta && t.meta.kind === 'line' && t.x.length > 3 * COLUMNS);
    const busy = made.data.filter(t => t.meta && t.meta.kind === 'track' && !t.meta.event && t.x.length > 4 * COLUMNS);
    for (const t of busy) { t.exact = t.x; t.exactY = t.y; }
    for (const t of dense) t.full = {x: t.x, y: t.y};
    const events = made.data.filter(t => t.meta && t.meta.event);
    live.hidden = false;
    live.style.height = made.layout.height + 'px';   // at a new width the chart is drawn as high as its box
    const narrowed = (a, b) => {
      COLUMNS = Math.round(live.clientWidth - made.layout.margin.l - made.layout.margin.r);
      for (const t of busy) levelled(t, a, b);
      for (const t of dense) thinned(t, a, b);
      for (const t of events) widened(t, 3 * (b - a) / (live.clientWidth - made.layout.margin.l));
    };
    narrowed(...range);
    await window.Plotly.newPlot(live, made.data, made.layout, all.config);
    figure.querySelector('.poster').hidden = true;
    figure.querySelector('.poster').style.display = 'none';
    open.hidden = true;
    const slide = tools.querySelector('.slide'), input = slide.querySelector('input');
    const output = slide.querySelector('output'), box = tools.querySelector('.values');
    const whole = tools.querySelector('.whole');
    slide.hidden = box.hidden = false;
    figure.made = made;
    const shown = figure.shown = () => live.layout.xaxis.range.map(v => typeof v === 'number' ? v : Date.parse(v.replace(' ', 'T') + 'Z'));
    const read = t => {
      const words = clock(t, true);
      output.textContent = words;
      input.setAttribute('aria-valuetext', words);
      values(box, made.data, t);
    };
    input.addEventListener('input', () => {
      const [a, b] = shown();
      read(a + (b - a) * input.value / 1000);
    });
    live.on('plotly_hover', e => {
      const t = e.xvals ? e.xvals[0] : e.points[0].x;
      const at = typeof t === 'number' ? t : Date.parse(String(t).replace(' ', 'T') + 'Z');
      const [a, b] = shown();
      input.value = 1000 * (at - a) / (b - a);
      read(at);
    });
    const fit = () => {
      if (!events.length && !dense.length && !busy.length) return;
      narrowed(...shown());
      made.layout.datarevision = (made.layout.datarevision || 0) + 1;
      window.Plotly.react(live, made.data, made.layout, all.config);
    };
    live.on('plotly_relayout', () => {
      whole.hidden = String(shown()) === String(range);
      figure.refill();
      fit();
    });
    whole.addEventListener('click', () => window.Plotly.relayout(live, {'xaxis.range': range.slice()}));
    const first = made.layout.meta.first ?? (range[0] + range[1]) / 2;
    input.value = 1000 * (first - range[0]) / (range[1] - range[0]);
    read(first);
    const shapes = made.layout.shapes || [];
    figure.look = async t => {
      const half = Math.min(LOOK_MS, (range[1] - range[0]) / 2);
      // the minute that was asked for, marked until another one is
      const line = {color: made.layout.font.color, width: 1.5, dash: 'dot'};
      made.layout.shapes = [...shapes, {type: 'line', xref: 'x', x0: t, x1: t, yref: 'paper', y0: 0, y1: 1, line}];
      await window.Plotly.relayout(live, {'xaxis.range': [t - half, t + half]});
      input.value = 500;
      read(t);
      input.focus({preventScroll: true});
    };
    figure.dataset.state = 'drawn';
  } catch (error) {
    live.hidden = true;
    open.hidden = false;
    open.textContent = 'The zoomable chart could not be opened';
    open.disabled = true;
    figure.dataset.state = 'failed';
    console.error(error);
  }
}

// A time at the head of a row leads to that minute of the whole log. Times are the wall clock's, as
// is the axis; they are written without a year, so it is the one in which they lie in the log.
const LOOK_MS = 45 * 60000;
const MOMENT = /^(?:Sun|Mon|Tue|Wed|Thu|Fri|Sat) ([A-Z][a-z]{2}) (\d+),? (\d+):(\d\d)(?::(\d\d))?(?:\s(am|pm))?$/;
function instant(found, [first, last]) {
  const [, month, day, hour, minute, second, half] = found;
  const hours = half ? hour % 12 + (half === 'pm' ? 12 : 0) : +hour;
  for (let year = new Date(first).getUTCFullYear(); year <= new Date(last).getUTCFullYear(); year++) {
    const t = Date.UTC(year, MONTHS.indexOf(month), day, hours, minute, second || 0);
    if (t >= first - 60000 && t <= last + 60000) return t;
  }
  return null;
}
const log = document.getElementById('fig-whole-log');
if (log && log.dataset.live) {
  led = cell => {
    const words = cell.textContent.replace(/\u00a0/g, ' '), found = words.match(MOMENT);
    if (!found) return;
    const go = button(cell.textContent, 'show in the whole log', async () => {
      const all = await getFigures(), t = instant(found, all[log.dataset.live].layout.xaxis.range);
      if (t === null) return;
      await draw(log);
      log.scrollIntoView({block: 'start'});
      if (log.look) await log.look(t);
    });
    go.className = 'go';
    cell.replaceChildren(go);
  };
  document.querySelectorAll('.scroll tbody th').forEach(led);
}

// One at a time, the one looked at first; what was only passed on the way is left as it is, so that
// nothing above the reader grows while the page still moves.
const waiting = new Set();
let drawing = false;
async function drawWaiting() {
  if (drawing) return;
  drawing = true;
  while (waiting.size) {
    const off = f => { const r = f.getBoundingClientRect(); return Math.abs(r.top + r.bottom - innerHeight); };
    const next = [...waiting].reduce((a, b) => off(b) < off(a) ? b : a);
    waiting.delete(next);
    near.unobserve(next);
    await draw(next);
    await new Promise(done => setTimeout(done));   // what has gone by meanwhile is told first
  }
  drawing = false;
}
const near = new IntersectionObserver(entries => {
  for (const e of entries) waiting[e.isIntersecting && wide() ? 'add' : 'delete'](e.target);
  drawWaiting();
}, {rootMargin: '300px 0px'});
for (const figure of document.querySelectorAll('figure[data-live]')) {
  figure.querySelector('.tools').hidden = false;
  figure.querySelector('.open').addEventListener('click', () => draw(figure));
  addNumbers(figure);
  near.observe(figure);
}
dark.addEventListener('change', () => {
  for (const figure of document.querySelectorAll('figure[data-state=drawn]')) {
    window.Plotly.purge(figure.querySelector('.live'));
    delete figure.dataset.state;
    figure.drawing = null;
    draw(figure);
  }
});
})();
