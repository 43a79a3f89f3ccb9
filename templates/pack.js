'use strict';
(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const $ = id => document.getElementById(id);
  const steps = data.steps;
  if (!steps.length) return;
  for (const step of steps) Object.assign(step, data.meters[step.meter]);
  const boxes = [...document.querySelectorAll('.step')].map((node, at) => ({
    node, at, step: steps[at], input: node.querySelector('.entry input'), output: node.querySelector('.verdict'),
  }));
  for (const { at, input, output } of boxes) {
    output.id = `o-${at + 1}`;
    input.setAttribute('aria-describedby', output.id);
  }
  const byId = new Map(boxes.map(box => [box.step.id, box]));
  const phaseOf = box => data.phases[box.step.phase];

  // What people write, understood as the program does.
  const OHM = { ohm: 1, ohms: 1, '\u03a9': 1, '\u2126': 1, mohm: 1e-3, 'm\u03a9': 1e-3, uohm: 1e-6, '\u00b5ohm': 1e-6,
    kohm: 1e3, 'k\u03a9': 1e3, Mohm: 1e6, 'M\u03a9': 1e6, Gohm: 1e9, 'G\u03a9': 1e9 };
  const VOLT = { V: 1, mV: 1e-3, uV: 1e-6, '\u00b5V': 1e-6, kV: 1e3 };
  const NUMBER = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$/;
  const number = text => NUMBER.test(text) && Number.isFinite(Number(text)) ? Number(text) : null;
  const plain = text => /^[0-9.+-]*$/.test(text.trim()) ? number(text.trim()) : null;
  function quantity(text, units) {
    let end = 0;
    while (end < text.length && (/[0-9.+-]/.test(text[end])
      || (end > 0 && /[eE]/.test(text[end]) && /[0-9+-]/.test(text[end + 1] ?? '')))) end++;
    const value = number(text.slice(0, end));
    const unit = text.slice(end).trim();
    if (value === null || !Object.hasOwn(units, unit)) return null;
    const base = value * units[unit];
    return value !== 0 && !(Math.abs(base) >= 1e-15 && Math.abs(base) <= 1e15) ? null : base;
  }
  function resistance(text) {
    const ohms = quantity(text, OHM);
    if (ohms !== null) return ohms < 0 ? null : ohms;
    const factor = { k: 1e3, K: 1e3, M: 1e6, m: 1e-3 }[text.at(-1)] ?? 1;
    const digits = plain(text.replace(/[kKMm]+$/, ''));
    return digits === null || digits < 0 ? null : digits * factor;
  }
  const OPEN = new Set(['ol', '0l', 'o.l', 'o.l.', '0.l', 'open', 'inf', '\u221e', 'over', 'overload']);
  const TONE = new Set(['tone', 'beep', 'beeps', 'buzz']);
  // { value }, { open }, { tone }, or { help }: what to write instead.
  function read(ohms, text) {
    text = text.trim();
    if (text === '0' || text === '1')
      return { help: ohms ? 'a bare 0 or 1 can mean several things: write "0.0 ohm", "1.0 ohm" or "open"'
        : 'a bare 0 or 1 can mean several things: write "0.0 V" or "1.0 V"' };
    if (!ohms) {
      const volts = quantity(text, VOLT) ?? plain(text);
      return volts === null ? { help: 'write it as "25.1 V" or "350 mV"' } : { value: volts };
    }
    const lower = text.toLowerCase();
    if (OPEN.has(lower)) return { open: true };
    if (TONE.has(lower)) return { tone: true };
    if (text.startsWith('>')) {
      const bound = resistance(text.slice(1).trim());
      return bound !== null && bound >= data.open_from ? { open: true }
        : { help: 'write the value itself, or "open" when the meter shows over the range' };
    }
    const value = resistance(text);
    return value === null ? { help: 'write it as "0.4 ohm", "12 kohm", "open" or "tone"' } : { value };
  }

  const low = step => step.low ?? -Infinity;
  const high = step => step.high ?? Infinity;
  function admits(step, shown) {
    if (shown.open) return step.high === undefined;
    if (shown.tone) return step.tone_only ? step.high !== undefined || low(step) <= 0 : low(step) <= step.beeps;
    return shown.value >= low(step) && shown.value <= high(step);
  }
  function shows(step, shown) {
    if (admits(step, shown)) return 'good';
    if (shown.value === undefined) return 'open';
    if (!step.ohms && low(step) > 0 && shown.value > low(step)) return 'good';
    if (step.ohms && shown.value >= data.open_from) return 'open';
    return shown.value < low(step) ? 'lower' : 'higher';
  }

  // What was typed stays in the browser, for this definition and this plan alone.
  const key = `ringout:${data.hash}:${data.plan}`;
  let kept = { by: '', readings: {}, carried: [], ticks: [] };
  let keeps = true;
  const say = text => { $('says').textContent = text; };
  function recall() {
    try {
      const found = JSON.parse(localStorage.getItem(key) ?? 'null');
      if (!found || typeof found !== 'object') return;
      if (typeof found.by === 'string') kept.by = found.by;
      for (const [id, one] of Object.entries(found.readings ?? {}))
        if (byId.has(id) && typeof one?.value === 'string')
          kept.readings[id] = { value: one.value, at: String(one.at ?? ''), raw: typeof one.raw === 'string' ? one.raw : '' };
      if (Array.isArray(found.carried)) kept.carried = found.carried.filter(text => typeof text === 'string');
      if (Array.isArray(found.ticks)) kept.ticks = found.ticks.filter(text => typeof text === 'string');
    } catch { keeps = false; }
  }
  function keep() {
    try { localStorage.setItem(key, JSON.stringify(kept)); } catch { keeps = false; }
    if (!keeps) say('This browser does not keep readings: download the record before you close the page.');
  }

  const reading = box => kept.readings[box.step.id];
  const verdict = box => {
    const text = reading(box)?.value.trim();
    return text ? read(box.step.ohms, text) : null;
  };
  function judge(box) {
    const shown = verdict(box);
    if (!shown) { delete box.node.dataset.verdict; box.output.textContent = ''; box.input.removeAttribute('aria-invalid'); return; }
    const good = !shown.help && admits(box.step, shown);
    box.node.dataset.verdict = shown.help ? 'odd' : good ? 'good' : 'bad';
    box.output.textContent = shown.help ? `? not understood: ${shown.help}` : good ? '\u2713 good' : '\u2717 BAD: outside the limits';
    if (shown.help) box.input.setAttribute('aria-invalid', 'true'); else box.input.removeAttribute('aria-invalid');
  }
  function total() {
    const states = boxes.map(box => box.node.dataset.verdict);
    const count = word => states.filter(state => state === word).length;
    const [good, bad, odd] = ['good', 'bad', 'odd'].map(count);
    $('bar').value = good + bad;
    $('told').textContent = `${good + bad} of ${boxes.length} read` + (bad ? `, ${bad} bad` : '')
      + (odd ? `, ${odd} not understood` : '');
  }

  // A complaint's plan folds to the branch that the readings take.
  const whole = $('whole');
  function fold() {
    if (!data.complaint) return;
    const way = new Set();
    let end = null;
    let box = boxes[0];
    while (box && !way.has(box.step.id)) {
      way.add(box.step.id);
      const shown = verdict(box);
      const taken = shown && !shown.help ? shows(box.step, shown) : null;
      box.taken = taken;
      const out = box.step.out?.find(([word]) => word === taken);
      end = out?.[2] ?? null;
      box = out?.[1] ? byId.get(out[1]) : null;
    }
    const all = whole.checked;
    for (const one of boxes) {
      const on = way.has(one.step.id);
      one.node.classList.toggle('off', !all && !on);
      for (const line of one.node.querySelectorAll('.outcomes li')) {
        const taken = on && one.taken === line.dataset.shows;
        line.classList.toggle('taken', taken);
        line.classList.toggle('off', !all && on && Boolean(one.taken) && hasOutcome(one) && !taken);
      }
    }
    for (const phase of document.querySelectorAll('.phase')) {
      const own = [...phase.querySelectorAll('.step')];
      phase.classList.toggle('off', own.length > 0 && own.every(node => node.classList.contains('off')));
    }
    for (const row of document.querySelectorAll('.tree li')) {
      const from = byId.get(row.dataset.from);
      if (!from) continue;
      const on = way.has(from.step.id);
      const taken = on && from.taken === row.dataset.shows;
      row.classList.toggle('taken', taken);
      row.classList.toggle('off', !all && (!on || (Boolean(from.taken) && hasOutcome(from) && !taken)));
    }
    $('unreached').classList.toggle('off', all || end !== null);
    document.querySelectorAll('.end').forEach((node, at) => {
      node.classList.toggle('reached', end === at + 1);
      node.classList.toggle('off', !all && end !== at + 1);
    });
  }
  const hasOutcome = box => box.step.out?.some(([word]) => word === box.taken);

  // What was ticked as done, by its place and its words: a tick never moves to another line.
  const ticks = [...document.querySelectorAll('li input[type=checkbox]')]
    .map((node, at) => ({ node, key: `${at} ${node.parentNode.textContent.trim()}` }));
  for (const { node } of ticks) node.addEventListener('change', () => {
    kept.ticks = ticks.filter(tick => tick.node.checked).map(tick => tick.key);
    keep();
  });

  function now() { return new Date().toISOString().replace(/\.\d+Z$/, 'Z'); }
  function take(box) {
    const text = box.input.value;
    const raw = reading(box)?.raw;
    // A record only grows: what was loaded stays in it, and the new reading follows.
    if (raw && !kept.carried.includes(raw)) {
      kept.carried.push(raw);
      say(`The reading of ${box.step.id} that was loaded stays in the record; the new one follows it.`);
    }
    if (text.trim()) kept.readings[box.step.id] = { value: text, at: now(), raw: '' };
    else delete kept.readings[box.step.id];
    judge(box); total(); fold(); keep();
  }
  function show() {
    for (const box of boxes) { box.input.value = reading(box)?.value ?? ''; judge(box); }
    $('by').value = kept.by;
    for (const tick of ticks) tick.node.checked = kept.ticks.includes(tick.key);
    total(); fold();
  }
  for (const box of boxes) {
    const typed = { autocomplete: 'off', autocapitalize: 'off', spellcheck: 'false', enterkeyhint: 'next' };
    for (const [name, value] of Object.entries(typed)) box.input.setAttribute(name, value);
    box.node.tabIndex = -1;
    box.input.addEventListener('input', () => take(box));
    box.input.addEventListener('keydown', event => {
      if (event.key !== 'Enter') return;
      const next = boxes.slice(box.at + 1).find(other => !other.node.classList.contains('off')
        && !other.node.closest('.phase').classList.contains('off'));
      next?.input.focus();
    });
  }
  $('by').addEventListener('input', () => { kept.by = $('by').value; keep(); });
  whole?.addEventListener('change', fold);

  // The record, format 1.
  const quoted = text => JSON.stringify(text.replace(/[\ud800-\udfff]/gu, '\ufffd')).replace(/\x7f/g, '\\u007f');
  const list = names => `[${names.map(quoted).join(', ')}]`;
  function entry(box) {
    const { step } = box;
    const one = reading(box);
    if (one.raw) return one.raw;
    const setup = phaseOf(box);
    const set = Object.entries(setup.set).map(([name, at]) => `${quoted(name)} = ${quoted(at)}`);
    const lines = ['[[reading]]'];
    if (one.at) lines.push(`at = ${one.at}`);
    lines.push(`step = ${quoted(step.id)}`, `kind = ${quoted(step.kind)}`, `red = ${quoted(step.red)}`,
      `black = ${quoted(step.black)}`, `power = ${quoted(setup.power)}`, `unplugged = ${list(setup.unplugged)}`);
    if (set.length) lines.push(`set = { ${set.join(', ')} }`);
    lines.push(`conditions = ${list(setup.conditions)}`);
    if (setup.strapped.length) lines.push(`strapped = [${setup.strapped.map(list).join(', ')}]`);
    lines.push(`meter = ${quoted(step.meter)}`);
    if (kept.by.trim()) lines.push(`by = ${quoted(kept.by.trim())}`);
    lines.push(`value = ${quoted(one.value.trim())}`);
    return lines.join('\n') + '\n';
  }
  function record() {
    const head = `format = 1\nharness = { id = ${quoted(data.id)}, revision = ${quoted(data.revision)}, hash = ${quoted(data.hash)} }\n`;
    const good = boxes.filter(box => { const shown = verdict(box); return shown && !shown.help; });
    const when = box => reading(box).at;
    good.sort((a, b) => when(a) < when(b) ? -1 : when(a) > when(b) ? 1 : a.at - b.at);
    return [head, ...kept.carried, ...good.map(entry)].join('\n');
  }
  $('save').addEventListener('click', () => {
    const odd = boxes.filter(box => verdict(box)?.help).length;
    const url = URL.createObjectURL(new Blob([record()], { type: 'application/toml' }));
    const link = document.createElement('a');
    link.href = url;
    link.download = `${data.id}-${data.revision}`.replace(/[^A-Za-z0-9._-]+/g, '_').slice(0, 60) + '-readings.toml';
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
    say(odd ? `${odd} readings that are not understood are not in the record.` : 'The record was handed to the browser to save.');
  });
  $('clear').addEventListener('click', () => {
    if (!confirm('Clear all readings and ticks of this plan from this browser?')) return;
    kept = { by: kept.by, readings: {}, carried: [], ticks: [] };
    keep(); show(); say('Cleared.');
  });

  // Enough of TOML to read a record: strings, lists, inline tables, and what stands bare.
  function parse(text) {
    let at = 0;
    const fail = what => { throw new Error(`line ${text.slice(0, at).split('\n').length}: ${what}`); };
    const skip = lines => { for (;;) {
      if (text[at] === '#') while (at < text.length && text[at] !== '\n') at++;
      else if (text[at] === ' ' || text[at] === '\t' || text[at] === '\r' || (lines && text[at] === '\n')) at++;
      else return;
    } };
    const ESCAPES = { b: '\b', t: '\t', n: '\n', f: '\f', r: '\r', e: '\x1b', '"': '"', '\\': '\\' };
    function string() {
      const quote = text[at];
      const long = text.startsWith(quote.repeat(3), at);
      const close = long ? quote.repeat(3) : quote;
      at += close.length;
      if (long && text[at] === '\r') at++;
      if (long && text[at] === '\n') at++;
      let out = '';
      for (;;) {
        if (at >= text.length || (!long && text[at] === '\n')) fail('a text that does not end');
        if (text.startsWith(close, at)) {
          at += close.length;
          while (long && text[at] === quote) { out += quote; at++; }
          return out;
        }
        if (quote === '"' && text[at] === '\\') {
          const c = text[at + 1];
          const digits = { x: 2, u: 4, U: 8 }[c];
          if (digits) {
            const code = parseInt(text.slice(at + 2, at + 2 + digits), 16);
            if (!(code <= 0x10ffff)) fail('an escape that is none');
            out += String.fromCodePoint(code); at += 2 + digits;
          } else if (Object.hasOwn(ESCAPES, c)) { out += ESCAPES[c]; at += 2; }
          else if (long && /\s/.test(c)) { at++; while (/\s/.test(text[at] ?? '')) at++; }
          else fail('an escape that is none');
        } else out += text[at++];
      }
    }
    const word = () => { const from = at; while (/[A-Za-z0-9_-]/.test(text[at] ?? '')) at++; return text.slice(from, at); };
    const name = () => { const got = text[at] === '"' || text[at] === "'" ? string() : word(); if (!got) fail('a key is missing'); return got; };
    function value(depth) {
      if (depth > 9) fail('nested too deep');
      if (text[at] === '"' || text[at] === "'") return string();
      if (text[at] === '[') {
        const items = [];
        for (at++, skip(true); text[at] !== ']'; skip(true)) {
          items.push(value(depth + 1)); skip(true);
          if (text[at] === ',') at++; else if (text[at] !== ']') fail('a list that does not end');
        }
        at++;
        return items;
      }
      if (text[at] === '{') {
        const items = new Map();
        for (at++, skip(true); text[at] !== '}'; skip(true)) {
          pair(items, depth + 1); skip(true);
          if (text[at] === ',') at++; else if (text[at] !== '}') fail('a table that does not end');
        }
        at++;
        return items;
      }
      const from = at;
      while (at < text.length && !/[,\]}#\n]/.test(text[at])) at++;
      const bare = text.slice(from, at).trim();
      if (!bare) fail('a value is missing');
      return { bare };
    }
    function pair(table, depth) {
      const key = name(); skip(false);
      if (text[at] !== '=') fail(`"=" is missing after ${key}`);
      at++; skip(false);
      table.set(key, value(depth));
    }
    const root = new Map();
    const readings = [];
    let table = root;
    for (skip(true); at < text.length; skip(true)) {
      if (text[at] === '[') {
        const header = /^\[\[\s*reading\s*\]\]/.exec(text.slice(at, at + 40));
        if (!header) fail('only [[reading]] stands in a record');
        table = new Map();
        readings.push({ table, from: at });
        at += header[0].length;
      } else pair(table, 0);
      skip(false);
      if (at < text.length && text[at] !== '\n') fail('more than one thing on a line');
    }
    readings.forEach((one, nth) => { one.raw = text.slice(one.from, readings[nth + 1]?.from ?? text.length).trimEnd() + '\n'; });
    return { root, readings };
  }
  const texts = value => Array.isArray(value) ? value.filter(one => typeof one === 'string') : [];
  const sorted = names => [...new Set(names)].sort();
  // What makes two readings the same measurement.
  const same = (kind, red, black, power, unplugged, set, conditions, strapped) => JSON.stringify([kind, red, black, power,
    sorted(unplugged.map(one => data.plugs[one] ?? one)),
    set.filter(([name, at]) => data.rest[name] !== at).sort((a, b) => a[0] < b[0] ? -1 : 1),
    sorted(conditions), strapped.map(strap => sorted(strap)).sort()]);
  const wanted = new Map();
  for (const box of boxes) {
    const { power, unplugged, set, conditions, strapped } = phaseOf(box);
    const { kind, red, black } = box.step;
    const one = same(kind, red, black, power, unplugged, Object.entries(set), conditions, strapped);
    wanted.set(one, [...(wanted.get(one) ?? []), box]);
  }
  function load(text) {
    const { root, readings } = parse(text);
    if (root.get('format')?.bare !== '1') throw new Error('it does not begin with format = 1');
    const of = root.get('harness');
    if (of instanceof Map && of.get('id') !== data.id) throw new Error(`it is of ${of.get('id')}, this pack is of ${data.id}`);
    if (of instanceof Map && of.get('hash') !== data.hash)
      throw new Error(`it was begun on revision ${of.get('revision') ?? 'unknown'} with another text of the definition; make the pack of that one`);
    const found = {};
    const carried = [...kept.carried];
    const carry = raw => { if (raw && !carried.includes(raw)) carried.push(raw); };
    let [taken, other] = [0, 0];
    for (const { table, raw } of readings) {
      const get = key => table.get(key);
      const set = get('set') instanceof Map ? [...get('set')] : [];
      const strapped = Array.isArray(get('strapped')) ? get('strapped').map(texts) : [];
      const one = same(get('kind'), get('red'), get('black'), get('power'), texts(get('unplugged')), set,
        texts(get('conditions')), strapped);
      const fits = wanted.get(one) ?? [];
      const box = fits.find(box => box.step.id === get('step')) ?? fits[0];
      const value = get('value');
      if (!box || typeof value !== 'string') { carry(raw); other++; continue; }
      // A later reading of the same step is the one that is shown; the earlier stays in the record.
      if (found[box.step.id]) carry(found[box.step.id].raw); else taken++;
      found[box.step.id] = { value, at: get('at')?.bare ?? '', raw };
    }
    for (const [id, one] of Object.entries(found)) {
      const old = kept.readings[id];
      if (old && old.value.trim() !== one.value.trim() && !read(byId.get(id).step.ohms, old.value).help) carry(entry(byId.get(id)));
      kept.readings[id] = one;
    }
    kept.carried = carried;
    keep(); show();
    say(`${taken} readings were taken in.` + (other ? ` ${other} are of no step of this plan; they stay in the record.` : ''));
  }
  $('open').addEventListener('change', async () => {
    const [file] = $('open').files;
    if (!file) return;
    try {
      if (file.size > 8e6) throw new Error('it is larger than any record');
      load(await file.text());
    } catch (error) { say(`Nothing was taken in from ${file.name.slice(0, 80)}: ${error.message}.`); }
    $('open').value = '';
  });

  // The whole face with both pins marked, drawn when it is asked for.
  const SVG = 'http://www.w3.org/2000/svg';
  function make(name, attributes) {
    const node = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    return node;
  }
  function closer(box) {
    const marks = ['r', 'b'].filter(letter => box.step[letter]).map(letter => [letter, ...box.step[letter]]);
    const faces = [...new Set(marks.map(([, face]) => face))].filter(face => data.faces[face]);
    if (!faces.length) return;
    const details = document.createElement('details');
    details.className = 'look screen';
    const summary = document.createElement('summary');
    summary.textContent = 'Look closer: the whole face';
    details.append(summary);
    details.addEventListener('toggle', () => {
      if (!details.open || details.querySelector('svg')) return;
      for (const id of faces) {
        const face = data.faces[id];
        const [width, height] = face.size;
        const svg = make('svg', { class: 'ringout-drawing', viewBox: `0 0 ${width} ${height}`, width, height, role: 'img', 'aria-label': face.title });
        svg.append(make('use', { href: `#face-${id}` }));
        for (const [letter, of, contact] of marks) {
          const place = of === id ? face.contacts[contact] : null;
          if (place) svg.append(make('use', { href: `#mark-${letter}-${place[2] > 8 ? 10 : 6}`, x: place[0] - 24, y: place[1] - 24 }));
        }
        details.append(svg);
      }
    });
    box.node.append(details);
  }
  boxes.forEach(closer);

  recall();
  show();
  if (ticks.some(tick => tick.node.checked))
    say('What was ticked before is ticked still: make sure that the machine still stands so before you go on.');
  if (!keeps) keep();
})();
