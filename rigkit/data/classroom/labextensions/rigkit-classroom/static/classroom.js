/* What a classroom's screen needs beside a stock JupyterLab: a panel alone, the side closed, and the page where one was
   after "Run All Cells". Of a panel it knows only that it is in a cell's output. Small enough to need no build. */
(() => {
  const PANEL = '.rig-panel';
  const OUTPUT = '.jp-OutputArea-output';
  const RUNS = ['notebook:run-all-cells', 'notebook:restart-run-all', 'runmenu:run-all', 'runmenu:restart-and-run-all'];
  const SHOW = 'Show this panel alone';
  const LEAVE = 'Back to the page (Esc)';
  const SETTLED = 2000; // ms without a shift after the last cell: outputs get their heights late

  // --- a panel alone: its output in the browser's top layer, where nothing around it clips or covers it

  let alone = null; // {output, panel, button}
  const isAlone = () => alone?.output.isConnected && alone.output.matches(':popover-open');

  function fit() {
    if (!isAlone()) return;
    const {output, panel, button} = alone;
    panel.style.zoom = 1;
    const {width, height} = panel.getBoundingClientRect();
    const room = output.clientHeight - button.offsetHeight - 48;
    panel.style.zoom = Math.max(1, Math.min((output.clientWidth - 48) / width, room / height));
  }

  function show(output, panel, button) {
    alone = {output, panel, button};
    output.classList.add('rig-alone');
    output.popover = 'manual';
    output.showPopover();
    button.textContent = LEAVE;
    fit();
  }

  function leave() {
    const {output, panel, button} = alone;
    alone = null;
    output.removeAttribute('popover');
    output.classList.remove('rig-alone');
    panel.style.zoom = '';
    button.textContent = SHOW;
    button.focus({preventScroll: true});
    button.scrollIntoView({block: 'nearest'});
  }

  function offer() {
    for (const panel of document.querySelectorAll(PANEL)) {
      const output = panel.closest(OUTPUT);
      if (!output || output.querySelector('.rig-alone-button')) continue;
      const button = document.createElement('button');
      button.type = 'button';
      button.className = 'rig-alone-button';
      button.textContent = SHOW;
      button.addEventListener('click', () => (isAlone() ? leave() : show(output, panel, button)));
      output.prepend(button);
    }
  }

  function escape(event) {
    if (event.key !== 'Escape' || !isAlone()) return;
    event.preventDefault();
    event.stopPropagation(); // it is not for the notebook behind
    leave();
  }

  function keep(event) { // the keyboard stays with what is seen
    if (isAlone() && !alone.output.contains(event.target)) alone.button.focus();
  }

  // --- the page where one was, while cells run and until their outputs are there

  function stay(notebook) {
    const page = notebook.node.querySelector('.jp-WindowedPanel-outer') ?? notebook.node;
    const top = () => page.getBoundingClientRect().top;
    const cells = [...page.querySelectorAll('.jp-Cell')];
    const first = cells.find(cell => cell.getBoundingClientRect().bottom > top() + 1);
    const at = page.scrollTop;
    const where = first && first.getBoundingClientRect().top - top();
    const active = notebook.activeCellIndex;
    let held = true;
    let over = false;
    let shifted = 0;
    const free = () => (held = false);
    const moves = ['wheel', 'pointerdown', 'keydown', 'touchmove']; // who moves on is not called back
    const hold = now => {
      if (!held || !page.isConnected || (over && now - shifted > SETTLED)) return;
      const shift = first?.isConnected ? first.getBoundingClientRect().top - top() - where
        : at - page.scrollTop; // the page is built around what is in sight
      if (Math.abs(shift) > 1 || !over) shifted = now;
      if (shift) page.scrollTop += shift;
      requestAnimationFrame(hold);
    };
    setTimeout(() => { // what chose the command is over
      moves.forEach(name => page.addEventListener(name, free, {once: true, capture: true, passive: true}));
      notebook.activeCellIndex = active;
      notebook.deselectAll();
      requestAnimationFrame(hold);
    });
    return () => (over = true);
  }

  function standStill(app) {
    const {commands, shell} = app;
    const execute = commands.execute;
    let running = false;
    commands.execute = function (id, ...more) {
      const notebook = shell.currentWidget?.content;
      if (running || !RUNS.includes(id) || notebook?.activeCellIndex === undefined) return execute.call(this, id, ...more);
      running = true; // the menu's command calls the notebook's
      const end = stay(notebook);
      const done = execute.call(this, id, ...more);
      const over = () => (running = false, end());
      done.then(over, over);
      return done;
    };
  }

  function activate(app) {
    standStill(app);
    app.restored.then(() => app.shell.collapseLeft());
    document.addEventListener('keydown', escape, true);
    document.addEventListener('focusin', keep);
    window.addEventListener('resize', fit);
    let rest;
    new MutationObserver(() => {
      clearTimeout(rest);
      rest = setTimeout(offer, 100);
    }).observe(document.body, {childList: true, subtree: true});
  }

  const plugin = {id: 'rigkit-classroom:plugin', autoStart: true, activate};
  window._JUPYTERLAB = window._JUPYTERLAB ?? {};
  window._JUPYTERLAB['rigkit-classroom'] = {init: () => {}, get: async () => () => plugin};
})();
