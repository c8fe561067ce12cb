// WCAG 1.4.10, 1.4.12: words cut off, over the edge, or on one another; tables may scroll.
root => {
  const found = [];
  const edge = root.getBoundingClientRect();
  const blocks = [];
  for (const e of root.querySelectorAll('*')) {
    if (e.closest('svg, .wide') || !e.checkVisibility()) continue;
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || e.matches('.rig-spoken')) continue;
    const clips = getComputedStyle(e).overflowX !== 'visible' && e.clientWidth > 1;
    if (clips && e.scrollWidth > e.clientWidth + 1)
      found.push(`cut off: ${e.textContent.trim()}`);
    const b = e.getBoundingClientRect();
    if (b.width && (b.left < edge.left - 1 || b.right > edge.right + 1))
      found.push(`over the edge: ${e.textContent}`);
    if (b.width) blocks.push([e, b]);
  }
  const inline = e => getComputedStyle(e).display === 'inline';
  const overlap = (b, c) => Math.min(b.right, c.right) - Math.max(b.left, c.left) > 2
    && Math.min(b.bottom, c.bottom) - Math.max(b.top, c.top) > 4;
  const start = e => e.textContent.trim().slice(0, 40);
  for (const [e, b] of blocks)
    for (const [o, c] of blocks) {
      const apart = e !== o && !e.contains(o) && !o.contains(e) && !inline(e) && !inline(o);
      if (apart && overlap(b, c)) found.push(`on one another: ${start(e)} / ${start(o)}`);
    }
  for (const e of root.querySelectorAll('svg'))
    if (e.getBoundingClientRect().right > edge.right + 1)
      found.push(`picture over the edge: ${e.querySelector('title')?.textContent}`);
  return found;
}
