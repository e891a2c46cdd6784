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
// Without these the still drawings stay; the page is complete without a script.
if (!('DecompressionStream' in window) || !('IntersectionObserver' in window)) return;
const LIGHT = JSON.parse(document.getElementById('hues').textContent);
const HOURS = LIGHT.hours;
const DAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];
const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
const wide = () => window.innerWidth >= 700;
const dark = matchMedia('(prefers-color-scheme: dark)');

async function opened(id) {
  const packed = Uint8Array.from(atob(document.getElementById(id).textContent.trim()), c => c.charCodeAt(0));
  const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream('gzip'));
  return new Response(stream).text();
}
let library, figures;
const getLibrary = () => library ??= opened('lib').then(source => {
  const script = document.createElement('script');
  script.textContent = source;   // its hash stands in the page's policy
  document.head.append(script);
});
const getFigures = () => figures ??= opened('figures').then(JSON.parse);

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
// Lowest and highest of the stretch around t, where the line joins only those.
function around(trace, t, decimals) {
  const i = before(trace.x, t), near = [i - 1, i, i + 1, i + 2].map(k => trace.y[k]).filter(isFinite);
  const low = fixed(Math.min(...near), decimals), high = fixed(Math.max(...near), decimals);
  return low === high ? low : low + ' to ' + high;
}
function stateAt(trace, t) {
  if (trace.meta.unknown.some(s => s[0] <= t && t < s[1])) return 'not recorded';
  const i = before(trace.exact || trace.x, t);
  return (trace.meta.words || ['on', 'off'])[i % 4 === 2 ? 0 : 1];
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
      const v = valueAt(trace, t), sample = document.createElement('i');
      sample.style.borderTop = '2px ' + (trace.line.dash === 'solid' ? 'solid ' : 'dashed ') + trace.line.color;
      span.append(sample);
      words = !isFinite(v) ? 'not recorded' : (m.envelope ? around(trace, t, m.decimals) : fixed(v, m.decimals)) + ' ' + m.unit;
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

async function draw(figure) {
  if (figure.dataset.state) return;
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
    live.hidden = false;
    await window.Plotly.newPlot(live, made.data, made.layout, all.config);
    figure.querySelector('.poster').hidden = true;
    figure.querySelector('.poster').style.display = 'none';
    open.hidden = true;
    const slide = tools.querySelector('.slide'), input = slide.querySelector('input');
    const output = slide.querySelector('output'), box = tools.querySelector('.values');
    const whole = tools.querySelector('.whole');
    slide.hidden = box.hidden = false;
    const shown = () => live.layout.xaxis.range.map(v => typeof v === 'number' ? v : Date.parse(v.replace(' ', 'T') + 'Z'));
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
    const events = made.data.filter(t => t.meta && t.meta.event);
    const fit = () => {
      if (!events.length) return;
      const [a, b] = shown();
      for (const t of events) widened(t, 3 * (b - a) / (live.clientWidth - made.layout.margin.l));
      made.layout.datarevision = (made.layout.datarevision || 0) + 1;
      window.Plotly.react(live, made.data, made.layout, all.config);
    };
    fit();
    live.on('plotly_relayout', () => {
      whole.hidden = String(shown()) === String(range);
      fit();
    });
    whole.addEventListener('click', () => window.Plotly.relayout(live, {'xaxis.range': range.slice()}));
    const first = made.layout.meta.first ?? (range[0] + range[1]) / 2;
    input.value = 1000 * (first - range[0]) / (range[1] - range[0]);
    read(first);
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

const near = new IntersectionObserver(entries => {
  for (const e of entries) if (e.isIntersecting && wide()) { near.unobserve(e.target); draw(e.target); }
}, {rootMargin: '300px 0px'});
for (const figure of document.querySelectorAll('figure[data-live]')) {
  figure.querySelector('.tools').hidden = false;
  figure.querySelector('.open').addEventListener('click', () => draw(figure));
  near.observe(figure);
}
dark.addEventListener('change', () => {
  for (const figure of document.querySelectorAll('figure[data-state=drawn]')) {
    window.Plotly.purge(figure.querySelector('.live'));
    delete figure.dataset.state;
    draw(figure);
  }
});
})();
