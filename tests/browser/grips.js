// What a panel shows now: its words, its sliders' values, which grip has the keyboard, where grips are on the screen.
root => {
  const grips = [...root.querySelectorAll('.rig-grip')].filter(e => !e.hidden);
  return {
    words: root.querySelector('.rig-readout').textContent,
    values: [...root.querySelectorAll('input[type=number]')].map(e => Number(e.value)),
    active: grips.indexOf(document.activeElement),
    grips: grips.map(e => {
      const {left, top, width, height} = e.getBoundingClientRect();
      const picture = e.parentElement.getBoundingClientRect();
      return {
        name: e.ariaLabel,
        said: e.getAttribute('aria-valuetext'),
        middle: [left + width / 2, top + height / 2],
        corner: [picture.left, picture.top],
        px: picture.width,
      };
    }),
  };
}
