// The class of all that moves or glides in a panel that nobody has touched.
root => [...root.querySelectorAll('*')].flatMap(e => {
  const moves = e.getAnimations({subtree: false}).length
    || ['', '::before', '::after'].some(part => {
      const style = getComputedStyle(e, part);
      return parseFloat(style.transitionDuration) > 0 || style.animationName !== 'none';
    });
  return moves ? [e.className] : [];
})
