// The look-up of a report: choose two colours and a firing count, read what to expect.
// All words come from the data of the page; nothing is fetched and nothing is kept.
'use strict';
(() => {
  const place = document.getElementById('look-up');
  const source = document.getElementById('look-up-data');
  if (!place || !source) return;
  const told = JSON.parse(source.textContent);
  const form = place.querySelector('form');
  const out = place.querySelector('.expected');
  const many = told.colours.length;
  const SVG = 'http://www.w3.org/2000/svg';

  const made = (tag, inside, kind) => {
    const node = document.createElement(tag);
    if (kind) node.className = kind;
    for (const part of [].concat(inside ?? [])) node.append(part);
    return node;
  };
  const drawn = (tag, attributes, inside = []) => {
    const node = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    node.append(...inside);
    return node;
  };

  const chosen = () => ({
    overlay: Number(form.overlay.value),
    base: Number(form.base.value),
    count: Number(form.elements.count.value),
    recipe: [...form.querySelectorAll('[data-factor]')]
      .reduce((at, factor) => at * factor.options.length + factor.selectedIndex, 0),
  });

  // A row is [fine, soft, broken, look, sentence]; chances index told.percent.
  const row = ({overlay, base, count, recipe}) => {
    const at = (base * many + overlay) * told.counts.length + count;
    return told.tables[recipe][at];
  };

  const sign = (look, size) => drawn('svg', {viewBox: '0 0 1 1', width: size, height: size, 'aria-hidden': 'true', class: 'sign'},
    [drawn('path', {d: look.path, fill: look.colour, 'fill-rule': 'evenodd'})]);

  const bar = found => {
    const total = found[0] + found[1] + found[2] || 1;
    let x = 0;
    const fields = told.endings.flatMap((ending, k) => {
      const width = 320 * found[k] / total;
      const field = [drawn('rect', {x, y: 0, width, height: 26, fill: ending.colour})];
      if (width > 40) {
        field.push(drawn('path', {d: ending.path, fill: ending.ink, 'fill-rule': 'evenodd',
          transform: `translate(${x + width / 2 - 17} 8)scale(10)`}));
        const digits = drawn('text', {x: x + width / 2 - 3, y: 18, fill: ending.ink, 'font-size': 13, 'font-weight': 700});
        digits.textContent = String(Math.min(99, found[k]));
        field.push(digits);
      }
      x += width;
      return field;
    });
    const said = told.endings.map((ending, k) => `${ending.label} ${told.percent[found[k]]}`);
    return [
      drawn('svg', {viewBox: '0 0 320 26', role: 'img', 'aria-label': said.join(', '), class: 'bar'}, fields),
      made('ul', told.endings.map((ending, k) => made('li', [sign(ending, 12), ` ${said[k]}`])), 'key'),
    ];
  };

  // Photographs stand with the tiles, once; here they are shown again.
  const photographs = pair => (told.photographs[pair] ?? []).map(name => {
    const shown = document.getElementById(name).cloneNode(true);
    shown.removeAttribute('id');
    return shown;
  });

  const picture = found => {
    const ending = told.looks[found[3]].ending;
    const likeliest = ending ?? [0, 1, 2].reduce((best, k) => (found[k] > found[best] ? k : best), 0);
    const template = document.getElementById(`ending-${likeliest}`);
    const drawing = template.content.cloneNode(true);
    return made('figure', [drawing, made('figcaption', told.words.drawing)], 'ending');
  };

  const show = () => {
    const at = chosen();
    out.replaceChildren();
    mark(at);
    const name = `${told.colours[at.overlay]} over ${told.colours[at.base]}`;
    if (at.base === at.overlay) {
      out.append(made('p', told.words.itself));
      return;
    }
    const found = row(at);
    if (!found) {
      out.append(made('h3', [name]), made('p', told.words.untold));
      return;
    }
    const look = told.looks[found[3]];
    const pair = at.base * many + at.overlay;
    const photos = photographs(pair);
    const back = row({...at, base: at.overlay, overlay: at.base});
    const turned = `${told.colours[at.base]} over ${told.colours[at.overlay]}`;
    out.append(
      made('h3', [name]),
      made('p', [sign(look, 18), ` ${look.heading}`, made('span', `, ${told.after[at.count]}.`)], 'verdict'),
      ...bar(found),
      made('p', told.sentences[found[4]]),
      ...(photos.length ? [made('div', photos, 'strip')] : [picture(found)]),
      made('p', [made('strong', `${told.words.best} `), told.sentences[told.best[at.recipe][pair]]]),
      made('p', [made('strong', `${told.words.fired} `), told.fired[pair] ?? told.words.unfired]),
      ...(back ? [made('p', [made('strong', `${told.words.turned} `), `${turned}: ${told.looks[back[3]].label}, ${told.after[at.count]}.`])] : []),
    );
  };

  // The chart and the look-up follow each other.
  const charts = told.charts
    .map(chart => ({...chart, svg: document.querySelector(`#figure-${chart.name} svg`)}))
    .filter(chart => chart.svg);
  const mark = ({base, overlay}) => {
    for (const chart of charts) {
      chart.frame?.remove();
      const x = chart.across[overlay], y = chart.down[base];
      if (x === undefined || y === undefined) continue;
      chart.frame = drawn('rect', {x: x - 1, y: y - 1, width: chart.cell + 2, height: chart.cell + 2, class: 'chosen'});
      chart.svg.append(chart.frame);
    }
  };
  const choose = (base, overlay) => {
    form.base.value = base;
    form.overlay.value = overlay;
    show();
  };
  const within = (places, cell, value) =>
    Object.keys(places).find(name => value >= places[name] && value < places[name] + cell);
  for (const chart of charts) {
    chart.svg.addEventListener('click', event => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(chart.svg.getScreenCTM().inverse());
      const base = within(chart.down, chart.cell, point.y), overlay = within(chart.across, chart.cell, point.x);
      if (base === undefined || overlay === undefined || base === overlay) return;
      if (chart.count !== undefined) form.elements.count.value = String(chart.count);
      choose(base, overlay);
      place.scrollIntoView({block: 'nearest'});
    });
    const scroll = chart.svg.closest('.scroll');
    const names = chart.svg.querySelector('.names');
    scroll?.addEventListener('scroll', () => {
      const scale = chart.svg.viewBox.baseVal.width / chart.svg.clientWidth;
      names.setAttribute('transform', `translate(${scroll.scrollLeft * scale} 0)`);
    });
    scroll?.addEventListener('keydown', event => {
      const step = {ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1]}[event.key];
      if (!step) return;
      event.preventDefault();
      const ordered = places => Object.keys(places).sort((one, other) => places[one] - places[other]);
      const moved = (places, now, by) => {
        const names = ordered(places);
        return names[Math.min(names.length - 1, Math.max(0, names.indexOf(now) + by))];
      };
      choose(moved(chart.down, form.base.value, step[0]), moved(chart.across, form.overlay.value, step[1]));
    });
  }

  form.addEventListener('change', show);
  form.addEventListener('submit', event => event.preventDefault());
  form.querySelector('[name=turn]').addEventListener('click', () => choose(form.overlay.value, form.base.value));
  form.querySelectorAll('[data-factor]').forEach((factor, n) => { factor.selectedIndex = told.usual[n]; });
  place.hidden = false;
  choose(told.first[0], told.first[1]);
})();
