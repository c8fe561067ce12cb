// Every outline drawn in our pictures; a chart's grid is seen through, and is decoration.
root => [...root.querySelectorAll('svg.rig :is(path, circle)')]
  .filter(e => !e.closest('defs, clipPath'))
  .map(e => [e.getAttribute('class') ?? e.getAttribute('style'), getComputedStyle(e), e])
  .filter(([, s]) => s.stroke !== 'none' && +s.strokeOpacity === 1 && +s.opacity === 1)
  .map(([name, s, e]) => {
    const behind = [];
    for (let g = e.closest('svg.rig').parentElement; g; g = g.parentElement)
      behind.push(getComputedStyle(g).backgroundColor);
    return [name, s.stroke, behind];
  })
