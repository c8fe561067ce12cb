// The class of all that moves or glides in a panel whose slider's bar was just pressed.
root => {
  const slider = root.querySelector('.noUi-target');
  slider.classList.add('noUi-state-tap');
  const moves = e => e.getAnimations().length
    || parseFloat(getComputedStyle(e).transitionDuration) > 0
    || getComputedStyle(e).animationName !== 'none';
  const found = [...root.querySelectorAll('*')].filter(moves);
  slider.classList.remove('noUi-state-tap');
  return found.map(e => e.className);
}
