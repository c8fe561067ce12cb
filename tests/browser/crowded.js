// WCAG 2.5.8: targets smaller than 24 px with another one in the circle around their middle.
root => {
  const what = 'a[href], button, summary, input[type=number], [role=slider], label:has(input)';
  const inText = e => e.matches('a') && e.closest('p, li, nav');  // links in a line of text
  const all = [...root.querySelectorAll(what)]
    .filter(e => e.checkVisibility() && !inText(e))
    .map(e => [
      e.textContent.trim().slice(0, 40) || e.className || e.tagName,
      e.getBoundingClientRect(),
    ]);
  const small = b => b.width < 24 || b.height < 24;
  const middle = b => [b.x + b.width / 2, b.y + b.height / 2];
  const gap = ([x, y], b) => Math.hypot(
    Math.max(b.left - x, x - b.right, 0), Math.max(b.top - y, y - b.bottom, 0));
  const apart = ([x, y], [u, v]) => Math.hypot(x - u, y - v);
  const near = (b, o) => gap(middle(b), o) < 12
    || small(o) && apart(middle(b), middle(o)) < 24;
  return all
    .filter(([, b]) => small(b))
    .filter(([, b]) => all.some(([, o]) => o !== b && near(b, o)))
    .map(([name]) => name);
}
