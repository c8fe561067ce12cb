/* What a panel asks: a guess before its pictures move or show, or a quick check after a section. The names are those of
   rigkit/asking.py. This stands before panel.js in one module and uses its small tools. */

const HERE = 8; // px an arrow key moves a pointed place; with Shift five times as far

/** A question in a page: its answers to press, to type or to point at, and what is said to them. */
class Asked {
  /** `panel.ask` is what the kernel tells of it; `panel.reply(answer)` takes an answer, null for none. */
  constructor(view) {
    const {panel} = view;
    Object.assign(this, {view, panel, ask: panel.head.ask, hands: []});
    this.reply = element('div', {class: 'rig-reply', role: 'status'});
    this.node = element('div', {class: 'rig-ask', role: 'group', 'aria-label': this.isGuess() ? 'Guess first' : 'Quick check'});
    const question = element('div', {class: 'rig-question'});
    question.innerHTML = `<strong>${this.isGuess() ? 'Guess first.' : 'Quick check.'}</strong> ${this.ask.question}`;
    this.node.append(question, this.answers());
    if (this.ask.place) this.point = new Point(view, this.ask.place.view);
  }

  isGuess() {
    return this.ask.kind === 'guess';
  }

  answers() {
    const row = element('div', {class: 'rig-answers'});
    if (this.ask.number) row.append(...this.typed());
    else if (this.ask.place) row.append(button('It is here', () => this.panel.reply(this.point.at)));
    else if (this.ask.hands && this.isGuess()) row.append(...this.show());
    else row.append(...this.options());
    if (this.isGuess()) row.append(button('Show me without guessing', () => this.panel.reply(null), {class: 'rig-quiet'}));
    return row;
  }

  options() {
    this.buttons = this.ask.options.map(option => button(option, () => this.panel.reply(option), {'aria-pressed': 'false'}));
    return this.buttons;
  }

  typed() {
    const {unit, low, high} = this.ask.number;
    const box = element('input', {type: 'number', step: 'any', min: low, max: high, 'aria-label': `Your answer (${unit})`});
    const give = () => box.value !== '' && Number.isFinite(Number(box.value)) && this.panel.reply(Number(box.value));
    box.keys = event => event.key === 'Enter' && give();
    return [element('label', {}, box, ` ${unit}`), button(this.isGuess() ? 'This is my guess' : 'Answer', give)];
  }

  /** A show of hands: a count beside each option, pressed or typed. */
  show() {
    const rows = this.ask.options.map(option => {
      const box = element('input', {type: 'number', min: 0, step: 1, value: 0, 'aria-label': `Hands for ${option}`});
      this.hands.push(box);
      return element('span', {class: 'rig-hands'}, button(option, () => (box.value = Number(box.value) + 1)), box);
    });
    return [...rows, button('Show', () => this.panel.reply(this.counted()))];
  }

  /** Hands by option. */
  counted() {
    return Object.fromEntries(this.ask.options.map((option, i) => [option, Math.max(0, Math.round(Number(this.hands[i].value)) || 0)]));
  }

  refresh() {
    const {answer, verdict} = this.panel;
    this.point?.stand();
    this.buttons?.forEach(made => made.setAttribute('aria-pressed', String(made.textContent === answer)));
    if (this.said === verdict) return;
    this.said = verdict;
    this.reply.innerHTML = verdict;
  }
}

/** A place that is pointed at in one of the pictures: dragged, pressed, or moved by the arrow keys. */
class Point {
  constructor(view, where) {
    Object.assign(this, {view, where});
    this.node = element('div', {
      class: 'rig-grip rig-point', role: 'slider', tabindex: '0', 'aria-label': 'Your guess', 'aria-valuemin': 0,
      'aria-valuemax': 100,
    });
    this.node.keys = event => this.key(event);
    const {w, h} = view.panel.shown.views[where];
    this.at = [w / 2, h / 2];
  }

  /** Into its picture, which takes presses until the guess is made. */
  stand() {
    const {node} = this.view.places[this.where];
    if (this.node.parentNode === node) return this.draw();
    node.append(this.node);
    node.addEventListener('pointerdown', event => this.take(event));
    node.addEventListener('pointermove', event => this.held && this.follow(event));
    for (const ended of ['pointerup', 'pointercancel']) node.addEventListener(ended, () => (this.held = false));
    this.draw();
  }

  take(event) {
    if (this.view.panel.open || event.button) return;
    event.preventDefault();
    this.held = true;
    this.view.places[this.where].node.setPointerCapture(event.pointerId);
    this.node.focus({preventScroll: true});
    this.follow(event);
  }

  follow(event) {
    const box = this.view.places[this.where].picture.firstElementChild.getBoundingClientRect();
    const {w, h} = this.view.panel.shown.views[this.where];
    this.go((event.clientX - box.left) * w / box.width, (event.clientY - box.top) * h / box.height);
  }

  key(event) {
    const way = WAYS[event.key];
    if (!way || this.view.panel.open) return;
    event.preventDefault();
    const far = HERE * (event.shiftKey ? 5 : 1);
    this.go(this.at[0] + way[0] * far, this.at[1] + way[1] * far);
  }

  go(x, y) {
    const {w, h} = this.view.panel.shown.views[this.where];
    this.at = [clamp(x, 0, w), clamp(y, 0, h)];
    this.draw();
  }

  draw() {
    const {w, h} = this.view.panel.shown.views[this.where];
    const [right, down] = [100 * this.at[0] / w, 100 * this.at[1] / h];
    Object.assign(this.node.style, {left: `${right}%`, top: `${down}%`});
    this.node.setAttribute('aria-valuenow', Math.round(right));
    this.node.setAttribute('aria-valuetext', `${Math.round(right)} % from the left, ${Math.round(down)} % from the top`);
  }
}

// --- what is said to an answer

const bold = text => `<b>${text}</b>`;

/** A guess beside what was measured, and whether it was right. */
function judged(ask, answer, found) {
  if (ask.place) {
    const off = Math.hypot(answer[0] - found.right[0], answer[1] - found.right[1]) / found.cm;
    return {right: off <= ask.near, words: `Your place is ${bold(`${off.toFixed(1)} cm`)} off. ${found.words}`};
  }
  const right = ask.number ? Math.abs(answer - found.right) <= ask.near : found.right.includes(answer);
  return {right, words: `${said(ask, answer)} ${found.words}`};
}

/** The hands of a class as bars, beside what was measured. */
function shownHands(hands, found) {
  const most = Math.max(1, ...Object.values(hands));
  const bars = Object.entries(hands).map(([option, count]) => {
    const right = found.right.includes(option);
    return `<span class="rig-bar-name">${right ? bold(option) : option}</span>`
      + `<span class="rig-bar${right ? ' rig-bar-right' : ''}" style="width:${(12 * count / most).toFixed(2)}em"></span>`
      + `<span>${count}${right ? ' (measured)' : ''}</span>`;
  });
  return `<div class="rig-bars">${bars.join('')}</div>${found.words}`;
}

/** What one guessed, as a sentence. */
function said(ask, answer) {
  if (ask.hands || ask.place) return '';
  return `You said ${bold(ask.number ? told(ask.number, answer) : answer)}.`;
}

/** What a check says to an answer. */
function checked(ask, answer) {
  const reply = ask.number ? ask.replies.find(({low, high}) => low <= answer && answer <= high)
    : ask.replies.find(({option}) => option === answer);
  const {right, words} = reply ?? {right: false, words: ask.hint};
  return {right, words: `${bold(right ? 'Right.' : 'Not so.')} ${words}`};
}
