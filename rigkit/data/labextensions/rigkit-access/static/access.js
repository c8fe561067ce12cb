/* What panels need beside a stock JupyterLab, whose sliders have no name for a screen reader, which takes the arrow keys
   from radio buttons, and where a readout that is replaced with its picture is not announced: a live region must be
   there before its words change. WCAG 2.2: 2.1.1, 4.1.2, 4.1.3. A JupyterLab extension in the form in which they are
   loaded, small enough to need no build. */
(() => {
  const REST = 700; // ms without a change: nobody can listen to every step of a drag, or to a walk that plays
  const KEPT = 4000; // ms: said is said, and the words stand in the readout

  let choices = 0;
  const called = part => part.querySelector('.widget-label')?.textContent ?? '';

  function name(panel) {
    for (const slider of panel.querySelectorAll('.widget-slider'))
      slider.querySelector('[role=slider]')?.setAttribute('aria-label', called(slider));
    for (const choice of panel.querySelectorAll('.widget-radio')) {
      const box = choice.querySelector('.widget-radio-box');
      if (!box || box.hasAttribute('role')) continue;
      box.setAttribute('role', 'radiogroup');
      box.setAttribute('aria-label', called(choice));
      choices += 1; // buttons of one name are a group, in which the browser moves by arrow keys
      box.querySelectorAll('input').forEach(input => input.setAttribute('name', `rig-choice-${choices}`));
      box.addEventListener('keydown', event => event.key.startsWith('Arrow') && event.stopPropagation());
    }
  }

  function say(panel) {
    const words = panel.querySelector('.rig-readout')?.textContent ?? '';
    let region = panel.querySelector('.rig-spoken');
    if (!region) { // what a panel shows at first is there to be read, not news
      region = document.createElement('div');
      region.className = 'rig-spoken';
      region.setAttribute('role', 'status');
      region.dataset.last = words;
      panel.append(region);
    }
    if (region.dataset.last !== words) {
      region.dataset.last = words;
      region.textContent = words;
      setTimeout(() => region.replaceChildren(), KEPT);
    }
  }

  function activate() {
    let rest;
    const see = () => document.querySelectorAll('.rig-panel').forEach(panel => (name(panel), say(panel)));
    new MutationObserver(() => {
      clearTimeout(rest);
      rest = setTimeout(see, REST);
    }).observe(document.body, {childList: true, subtree: true});
  }

  const plugin = {id: 'rigkit-access:plugin', autoStart: true, activate};
  window._JUPYTERLAB = window._JUPYTERLAB ?? {};
  window._JUPYTERLAB['rigkit-access'] = {init: () => {}, get: async () => () => plugin};
})();
