/* A convenience, nothing needs it: the links that name a key follow it (← → + - End). */
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
