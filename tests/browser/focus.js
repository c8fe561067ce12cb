// The element that has the keyboard, in which panel (-1 for none), and its outline.
() => {
  const e = document.activeElement;
  const style = getComputedStyle(e);
  const b = e.getBoundingClientRect();
  const top = document.elementFromPoint(b.x + b.width / 2, b.y + b.height / 2);
  const behind = [];
  for (let g = e.parentElement; g; g = g.parentElement)
    behind.push(getComputedStyle(g).backgroundColor);
  return {
    panel: [...document.querySelectorAll('.rig-panel')].indexOf(e.closest('.rig-panel')),
    name: e.ariaLabel || e.labels?.[0]?.textContent || e.textContent,
    kind: e.role || e.type || e.tagName.toLowerCase(),
    style: style.outlineStyle,
    ink: style.outlineColor,
    width: parseFloat(style.outlineWidth),
    behind,
    seen: !!top && (e.contains(top) || top.contains(e)),
  };
}
