(() => {
// Every row is in the page; what is not asked for is hidden, nothing is built anew.
const AT_ONCE = 25;
const record = JSON.parse(document.getElementById('record').textContent), lists = record.lists;
const [ID, KIND, REGION, AGREEMENT, INSTALLER, WAY, GROUP, CODES, BECAME, VISIT, HARM, FIRST, PARTS] = Array(13).keys();
const form = document.getElementById('picking'), find = document.getElementById('find'), order = document.getElementById('sort');
const shown = document.getElementById('shown'), all = document.getElementById('all');
const picks = [...form.querySelectorAll('[data-by]')];
const collator = new Intl.Collator(undefined, {numeric: true});
const nameOf = row => (row.cells[0].tagName === 'TH' ? row.cells[0] : row.cells[1]).firstChild.textContent;
// The tables of sites, and other long ones that only fold.
const tables = [...document.querySelectorAll('table.cut')].map(table => {
  const body = table.tBodies[0], section = table.closest('section');
  const rows = [...body.rows].map((row, n) => ({row, n, data: record.rows[row.dataset.s], s: +row.dataset.s, name: nameOf(row)}));
  const more = document.createElement('p'), words = document.createElement('span'), open = document.createElement('button');
  more.className = 'more';
  open.type = 'button';
  more.append(words, open);
  table.after(more);
  const made = {table, body, section, rows, more, words, open, isList: 'list' in table.dataset, whole: false, heading: section.querySelector('h2')};
  made.title = made.heading && made.heading.textContent;
  open.addEventListener('click', () => {
    made.whole = !made.whole;
    fold(made);
    if (!made.whole) table.scrollIntoView();
  });
  table.classList.remove('cut');
  return made;
});
const sites = tables.filter(t => t.isList), nSites = record.rows.length;
let only = null;

function fold(t) {
  let n = 0;
  for (const r of t.rows) {
    const wanted = r.wanted !== false;
    if (wanted) n++;
    const hide = !wanted || (!t.whole && n > AT_ONCE);
    if (r.row.hidden !== hide) r.row.hidden = hide;
  }
  t.n = n;
  t.more.hidden = n <= AT_ONCE;
  t.words.textContent = t.whole ? '' : `${AT_ONCE} of ${n.toLocaleString('en')} shown.`;
  t.open.textContent = t.whole ? `Show ${AT_ONCE}` : `Show all ${n.toLocaleString('en')}`;
  t.open.setAttribute('aria-expanded', t.whole);
  t.open.setAttribute('aria-label', `${t.open.textContent}: ${t.table.getAttribute('aria-label')}`);
}
const wordsOf = r => r.words ??= [r.row.textContent, r.data[ID], lists.region[r.data[REGION]], lists.agreement[r.data[AGREEMENT]],
  lists.installer[r.data[INSTALLER]], ...r.data[CODES].map(c => lists.code[c])].join(' ').toLowerCase().replace(/\s+/g, ' ');
const PLACE = {kind: KIND, region: REGION, agreement: AGREEMENT, installer: INSTALLER, way: WAY, code: CODES, became: BECAME};
function wants(r, asked, said) {
  if (only && !only.has(r.s)) return false;
  for (const [by, value] of asked) {
    if (by === 'booked') { if (!r.data[VISIT] !== (value === 1)) return false; continue; }
    const has = r.data[PLACE[by]];
    if (Array.isArray(has) ? !has.includes(value) : has !== value) return false;
  }
  return said.every(word => wordsOf(r).includes(word));
}
function pick() {
  const asked = picks.filter(p => p.value !== '').map(p => [p.dataset.by, +p.value]);
  const said = find.value.toLowerCase().replace(/\s+/g, ' ').trim().split(' ').filter(Boolean);
  const active = only !== null || asked.length > 0 || said.length > 0;
  let n = 0;
  for (const t of sites) {
    for (const r of t.rows) r.wanted = wants(r, asked, said);
    fold(t);
    n += t.n;
    t.section.hidden = active && t.n === 0;
    t.heading.textContent = active ? t.title.replace(/\(([\d,]+)\)$/, `(${t.n.toLocaleString('en')} of $1)`) : t.title;
  }
  const by = picks.filter(p => p.value !== '').map(p => p.selectedOptions[0].textContent.replace(/ \([\d,]+\)$/, ''));
  if (only) by.unshift(form.dataset.only);
  if (said.length) by.push('\u201c' + find.value.trim() + '\u201d');
  shown.textContent = active ? `${n.toLocaleString('en')} of ${nSites.toLocaleString('en')} sites: ${by.join(', ')}` : '';
  all.hidden = !active;
}
const KEYS = {
  rank: (a, b) => a.n - b.n,
  harm: (a, b) => a.n - b.n,
  name: (a, b) => collator.compare(a.name, b.name) || a.n - b.n,
  visit: (a, b) => (a.data[VISIT] || '9').localeCompare(b.data[VISIT] || '9') || a.n - b.n,
  way: (a, b) => a.data[WAY] - b.data[WAY] || a.n - b.n,
  region: (a, b) => a.data[REGION] - b.data[REGION] || a.n - b.n,
};
function arrange() {
  for (const t of sites) {
    t.rows.sort(KEYS[order.value]);
    t.body.append(...t.rows.map(r => r.row));
    for (const head of t.table.querySelectorAll('[data-sort]')) {
      if (head.dataset.sort === order.value) head.setAttribute('aria-sort', 'ascending'); else head.removeAttribute('aria-sort');
    }
    fold(t);
  }
}
for (const head of document.querySelectorAll('th[data-sort]')) {
  const by = head.dataset.sort === 'harm' ? 'rank' : head.dataset.sort, button = document.createElement('button');
  button.type = 'button';
  button.append(...head.childNodes);
  button.addEventListener('click', () => { order.value = by; arrange(); });
  head.append(button);
}
for (const button of document.querySelectorAll('button.only')) {
  button.hidden = false;
  button.addEventListener('click', () => {
    only = new Set(button.dataset.only.split(' ').map(Number));
    form.dataset.only = button.dataset.words;
    pick();
    form.scrollIntoView();
    all.focus({preventScroll: true});
  });
}
// What the dispatcher takes away: the sites that are picked, in the order at hand, whole.
const HEAD = ['list', 'place', 'site', 'name', 'call first', 'severity', 'finding', 'also', 'why', 'harm ahead', 'low', 'high',
  'takes', 'next visit', 'equipment', 'region', 'agreement', 'installer', 'parts'];
function taken() {
  const out = [HEAD];
  for (const t of sites) for (const {row, data, wanted, name} of t.rows) {
    if (wanted === false) continue;
    const text = css => row.querySelector(css)?.textContent.trim().replace(/\s+/g, ' ') ?? '', codes = data[CODES].map(c => lists.code[c]);
    const [harm, low, high] = data[HARM] || ['', '', ''];
    out.push([lists.group[data[GROUP]], text('.pl'), data[ID], name, data[FIRST] ? 'yes' : '', text('.y>[class^=k-]'), codes[0] ?? '',
      codes.slice(1).join(', '), text('.s') || text('.y'), harm, low, high, lists.way[data[WAY]] ?? '', data[VISIT] || text('.v').replace('no visit booked', ''),
      lists.kind[data[KIND]], lists.region[data[REGION]], lists.agreement[data[AGREEMENT]], lists.installer[data[INSTALLER]],
      data[PARTS].map(p => lists.part[p]).join(', ')].map(String));
  }
  return out;
}
document.getElementById('csv').addEventListener('click', () => saved(taken(), 'sites ' + record.day));
document.getElementById('copy').addEventListener('click', async event => {
  const button = event.target;
  button.textContent = await copied(taken(), sites[0]?.table ?? form);
  setTimeout(() => { button.textContent = 'Copy list'; }, 2000);
});
form.addEventListener('submit', event => event.preventDefault());
find.addEventListener('input', pick);
for (const p of picks) p.addEventListener('change', pick);
order.addEventListener('change', arrange);
all.addEventListener('click', () => { only = null; find.value = ''; for (const p of picks) p.value = ''; pick(); find.focus(); });
for (const t of tables) fold(t);
form.hidden = false;
pick();
arrange();
})();
