// Curves are read by mouse, finger or arrow keys: a line at the nearest frame, and its value in words below.
(() => {
  'use strict';
  for (const list of document.querySelectorAll('script[data-moments]')) {
    const { fine, top, floor, moments } = JSON.parse(list.textContent);
    for (const figure of document.querySelectorAll(`figure[data-of="${list.dataset.moments}"]`)) {
      const sheet = figure.querySelector('.scroll'), svg = figure.querySelector('svg'), said = figure.querySelector('output');
      const values = figure.dataset.values.split('|');
      const wide = Number(svg.getAttribute('viewBox').split(' ')[2]) / fine;
      const line = document.createElementNS(svg.namespaceURI, 'line');
      line.setAttribute('class', 'reading');
      line.setAttribute('y1', top * fine);
      line.setAttribute('y2', floor * fine);
      let at = -1;
      const read = (next) => {
        at = Math.max(0, Math.min(values.length - 1, next));
        const [x, moment] = moments[at], over = values[at].startsWith('!');
        for (const end of ['x1', 'x2']) line.setAttribute(end, x * fine);
        if (!line.parentNode) svg.append(line);
        said.textContent = `${moment}: ${values[at].replace('!', '')}${over ? ', over the limit' : ''}`;
      };
      sheet.addEventListener('pointermove', (event) => {
        const box = svg.getBoundingClientRect(), x = (event.clientX - box.left) / box.width * wide;
        let nearest = 0;
        moments.forEach(([place], which) => { if (Math.abs(place - x) < Math.abs(moments[nearest][0] - x)) nearest = which; });
        read(nearest);
      });
      sheet.addEventListener('keydown', (event) => {
        const by = { ArrowLeft: -1, ArrowRight: 1, PageUp: -10, PageDown: 10, Home: -1e9, End: 1e9 }[event.key];
        if (!by) return;
        event.preventDefault();
        read(at + by);
        const box = svg.getBoundingClientRect(), x = moments[at][0] / wide * box.width;
        if (x < sheet.scrollLeft + 40 || x > sheet.scrollLeft + sheet.clientWidth - 40) sheet.scrollLeft = x - sheet.clientWidth / 2;
      });
    }
  }
})();
