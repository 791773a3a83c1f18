'use strict';
// The list of pairs: filter by colour, sort.
(() => {
  const tools = document.querySelector('.pair-tools');
  if (!tools) return;
  const groups = [...document.querySelectorAll('details.pairs')];
  const surest = new Map(groups.map(group => [group, [...group.querySelectorAll('tbody tr')]]));
  const opened = new Set();
  tools.hidden = false;
  tools.addEventListener('change', () => {
    const colour = tools.querySelector('[name=colour]').value;
    const order = tools.querySelector('[name=order]').value;
    for (const group of groups) {
      const rows = [...surest.get(group)];
      for (const row of rows) row.hidden = colour !== '' && row.dataset.b !== colour && row.dataset.o !== colour;
      group.hidden = rows.every(row => row.hidden);
      if (colour !== '' && !group.open) { group.open = true; opened.add(group); }
      if (colour === '' && opened.delete(group)) group.open = false;
      if (order) rows.sort((one, other) => one.dataset[order] - other.dataset[order]);
      group.querySelector('tbody').append(...rows);
    }
  });
  tools.addEventListener('submit', event => event.preventDefault());
})();

// The gallery: show only the cards and links that a word is found in.
(() => {
  const finder = document.querySelector('.finder');
  if (!finder) return;
  const found = [...document.querySelectorAll('[data-words]')];
  finder.hidden = false;
  const plain = text => text.normalize('NFD').toLowerCase();
  finder.addEventListener('input', () => {
    const sought = plain(finder.querySelector('input').value.trim());
    for (const item of found) item.hidden = !plain(item.dataset.words).includes(sought);
  });
  finder.addEventListener('submit', event => event.preventDefault());
})();
