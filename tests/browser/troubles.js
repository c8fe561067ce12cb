// Errors in outputs, cells left unrun, and pictures or words that are cut off.
() => {
  const found = [];
  const kind = 'data-mime-type="application/vnd.jupyter.';
  for (const e of document.querySelectorAll(`[${kind}stderr"], [${kind}error"]`))
    found.push('output: ' + e.textContent.trim());
  for (const e of document.querySelectorAll('.jp-OutputArea-output'))
    if (/Error displaying widget|model not found|Javascript Error/i.test(e.textContent))
      found.push('widget: ' + e.textContent.trim());
  for (const cell of document.querySelectorAll('.jp-CodeCell')) {
    const prompt = cell.querySelector('.jp-InputPrompt:not(.jp-Placeholder-prompt)');
    if (!/\d/.test(prompt?.textContent ?? '1'))
      found.push('not run: ' + cell.querySelector('.cm-content')?.textContent);
  }
  const name = e => e.querySelector('title')?.textContent
    || e.textContent.trim().slice(0, 60) || e.className;
  for (const area of document.querySelectorAll('.jp-OutputArea-output, .jp-OutputArea-child'))
    if (area.scrollWidth > area.clientWidth + 1)
      found.push(`scrolls sideways by ${area.scrollWidth - area.clientWidth} px: ${name(area)}`);
  for (const svg of document.querySelectorAll('.jp-OutputArea svg[role=img]')) {
    const box = svg.getBoundingClientRect();
    if (!box.width) continue;
    for (const text of svg.querySelectorAll('text')) {
      const b = text.getBoundingClientRect();
      const halo = 2.5;  // letters have a rim in the paper's colour, which may be cut
      const inside = b.left >= box.left - halo && b.right <= box.right + halo
        && b.top >= box.top - halo && b.bottom <= box.bottom + halo;
      if (b.width && !inside)
        found.push(`text outside its picture: "${text.textContent}" in ${name(svg)}`);
    }
    for (let e = svg.parentElement; e && !e.classList.contains('jp-Cell'); e = e.parentElement) {
      const b = e.getBoundingClientRect();
      const over = Math.round(Math.max(box.right - b.right, b.left - box.left));
      if (getComputedStyle(e).overflowX !== 'visible' && over > 1)
        found.push(`picture cut off by ${over} px: ${name(svg)}`);
    }
  }
  return found;
}
