/* A convenience, nothing needs it: the links that name a key follow it (← → + - End), and a chart
   tells the values of its table where it is touched, pointed at or gone along by arrow keys. */
'use strict';
document.addEventListener('keydown', (event) => {
    const at = event.target;
    if (event.ctrlKey || event.altKey || event.metaKey || event.shiftKey && event.key !== '+') return;
    if (at.closest && at.closest('input, select, textarea, summary, .wide')) return;
    for (const link of document.querySelectorAll('a[data-key]')) {
        if (link.dataset.key === event.key) {
            event.preventDefault();
            link.click();
            return;
        }
    }
});

function readable(figure) {
    const box = figure.querySelector('.drawn'), svg = box.querySelector('svg');
    const cursor = svg.querySelector('.cursor'), reading = figure.querySelector('.reading');
    const names = [...figure.querySelectorAll('.values-table thead th')].map((cell) => cell.textContent);
    const rows = [...figure.querySelectorAll('.values-table tbody tr')];
    const left = Number(cursor.dataset.left), width = Number(cursor.dataset.width);
    let at = rows.length;
    const tell = (row) => {
        at = Math.min(Math.max(row, 0), rows.length - 1);
        const x = left + (at + 0.5) / rows.length * width;
        cursor.setAttribute('x1', x);
        cursor.setAttribute('x2', x);
        const cells = [...rows[at].cells].map((cell) => cell.textContent);
        reading.textContent = cells[0] + ': ' +
            cells.slice(1).map((text, i) => names[i + 1] + ' ' + text).join('; ');
    };
    const point = (event) => {
        const place = svg.getBoundingClientRect();
        const x = (event.clientX - place.left) / place.width * svg.viewBox.baseVal.width;
        if (x >= left && x <= left + width) tell(Math.floor((x - left) / width * rows.length));
    };
    reading.textContent = reading.dataset.how;
    svg.addEventListener('pointermove', point);
    svg.addEventListener('pointerdown', point);
    box.addEventListener('keydown', (event) => {
        const step = {ArrowLeft: -1, ArrowRight: 1}[event.key];
        if (!step || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey) return;
        event.preventDefault();
        tell(at + step);
        cursor.scrollIntoView({block: 'nearest', inline: 'nearest'});
    });
}
document.querySelectorAll('figure.chart').forEach(readable);
