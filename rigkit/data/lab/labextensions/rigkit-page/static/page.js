/* What a learner's page needs beside a stock JupyterLab: it stays where one was after "Run All Cells", the first
   lesson's first picture is alive before anybody has learned to run a cell, and links lead to headings of pages not open
   yet; in a classroom the side is closed. Small
   enough to need no build. */
(() => {
  const RUNS = ['notebook:run-all-cells', 'notebook:restart-run-all', 'runmenu:run-all', 'runmenu:restart-and-run-all'];
  const SETTLED = 6000; // ms without a shift after the last cell: outputs get their heights late

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
      moves.forEach(name => document.addEventListener(name, free, {once: true, capture: true, passive: true}));
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

  // --- the first lesson's cells with a tag of their own, run once the page has opened

  const FIRST = 'lessons/00-start-here.ipynb';
  const AT_ONCE = 'at-once';

  async function runAtOnce(app, page) {
    await page.context.ready;
    await page.sessionContext.ready;
    const notebook = page.content;
    for (const [i, cell] of notebook.widgets.entries()) {
      if (!cell.model.getMetadata('tags')?.includes(AT_ONCE)) continue;
      notebook.activeCellIndex = i;
      await app.commands.execute('notebook:run-cell');
    }
    notebook.activeCellIndex = 0;
  }

  function liven(app) {
    const look = () => {
      const page = app.shell.currentWidget;
      if (page?.context?.path !== FIRST || !page.sessionContext) return;
      app.shell.currentChanged.disconnect(look); // once: what a learner changed there is theirs to run
      runAtOnce(app, page);
    };
    app.shell.currentChanged.connect(look);
    look();
  }

  // --- a link to a heading of a notebook that is not open yet: JupyterLab looks for it before the headings are there

  const LOOK = 200; // ms
  const GIVE_UP = 15000; // ms

  function follow(app) {
    document.addEventListener('click', event => {
      const {pathname = '', hash = ''} = event.target.closest?.('a') ?? {};
      if (!pathname.endsWith('.ipynb') || !hash) return;
      const path = decodeURIComponent(pathname).replace(/^.*?\/files\//, '');
      seek(app, path, decodeURIComponent(hash.slice(1)), performance.now());
    }, true);
  }

  function seek(app, path, name, began) {
    const page = app.shell.currentWidget;
    const headings = page?.context?.path === path ? [...page.node.querySelectorAll('h1, h2, h3, h4')] : [];
    const heading = headings.find(each => (each.dataset.jupyterId || each.id) === name);
    if (heading) setTimeout(() => heading.scrollIntoView({block: 'start'}), LOOK); // pictures above have their heights
    else if (performance.now() - began < GIVE_UP) setTimeout(seek, LOOK, app, path, name, began);
  }

  function teaching() {
    return Boolean(JSON.parse(document.getElementById('jupyter-config-data')?.textContent ?? '{}').rigkitTeaching);
  }

  function activate(app) {
    standStill(app);
    follow(app);
    app.restored.then(() => {
      liven(app);
      if (teaching()) app.shell.collapseLeft();
    });
  }

  const plugin = {id: 'rigkit-page:plugin', autoStart: true, activate};
  window._JUPYTERLAB = window._JUPYTERLAB ?? {};
  window._JUPYTERLAB['rigkit-page'] = {init: () => {}, get: async () => () => plugin};
})();
