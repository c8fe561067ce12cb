/* A panel in a page: a sentence, pictures that can be taken hold of, what they show in words, and the controls that
   change them. Frames, what there is to see at some values, come from a source: here from a kernel. The names are those
   of rigkit/panels.py. */

const FORM = 2; // of what is said between kernel and page
const KEPT = 600; // frames
const AHEAD = 12; // steps of a control that are asked for before they are wanted
const FLIGHTS = 2; // questions on their way at once
const RATE = 24; // frames a second
const REST = 700; // ms without a change until the words are said: nobody can listen to every step of a drag
const SAID = 4000; // ms: said is said, and the words stand in the readout
const SETTLE = 60; // ms until the kernel is told of values whose frame was here already
const LATE = 2500; // ms without an answer until the panel says so
const REACH = 30; // px from a grip's middle that still take it
const CATCH = 5; // px within which a dragged grip holds at a catch of its control
const SMALL = 0.6; // of the size it is drawn at: below, a picture's words cannot be read
const FLAT = 1e-9; // px a unit: a control that does not move a grip in this view

const BUSY = 'The kernel has not answered yet. It may be busy, and the picture follows; if it was restarted, run this cell again.';
const OLDER = 'This panel was made by another version of the kit: run its cell again.';

// --- small tools: those of common.js, and

const clean = value => Math.round(value * 1e9) / 1e9;
const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);
const isWhole = ({low, high, step}) => [low, high, step].every(Number.isInteger);

/** The step of a slider nearest to a value. */
function snap({low, high, step}, value) {
  return clean(clamp(low + Math.round((value - low) / step) * step, low, high));
}

/** A value as it is said: with its unit. */
function told({unit = ''}, value) {
  return `${value}${unit && (unit.startsWith('°') ? '' : ' ')}${unit}`.replace('-', '−');
}

// --- a source of frames: the kernel

/** Asks a kernel for frames, keeps those that came, and looks ahead. */
class Kernel {
  /** `came(frame, mine)` is called with each frame that was wanted, `trouble(sentence)` when there is any, '' when none. */
  constructor(model, came, trouble) {
    Object.assign(this, {model, came, trouble});
    this.page = Math.random().toString(36).slice(2);
    this.count = 0;
    this.frames = new Map();
    this.flights = new Map();
    this.wanted = null;
    this.plan = [];
    this.onFrame = () => this.receive(model.get('frame'), false);
    this.onMessage = message => message && this.receive(message.frame, true);
    model.on('change:frame', this.onFrame);
    model.on('msg:custom', this.onMessage);
    this.keep(model.get('frame'));
  }

  close() {
    this.model.off('change:frame', this.onFrame);
    this.model.off('msg:custom', this.onMessage);
    clearTimeout(this.late);
    clearTimeout(this.settling);
  }

  /** The frame at these values if it is here. */
  frame(values) {
    return this.frames.get(JSON.stringify(values)) ?? null;
  }

  /** Ask for the frame at these values, the only one wanted from now on. */
  ask(values) {
    clearTimeout(this.settling);
    this.untold = null;
    this.wanted = values;
    this.send();
  }

  /** Tell the kernel of values whose frame was here, once they rest. */
  settle(values) {
    this.wanted = null;
    this.untold = values;
    clearTimeout(this.settling);
    this.settling = setTimeout(() => this.ask(values), SETTLE);
  }

  /** Tell the kernel at once what it was to hear later: whoever leaves may go on to another panel. */
  hurry() {
    const values = this.wanted ?? this.untold;
    clearTimeout(this.settling);
    this.wanted = this.untold = null;
    if (!values) return;
    const key = JSON.stringify(values);
    if (![...this.flights.values()].some(flight => flight.key === key && !flight.ahead)) this.question(values, false);
  }

  /** Ask for these too, in their order, when nothing is wanted. */
  ahead(list) {
    this.plan = list.filter(values => !this.frame(values));
    this.send();
  }

  /** Tell the kernel an answer to what the panel asks, or a wish; it is none the poorer where nobody listens. */
  tell(answer) {
    try {
      this.model.send(answer);
    } catch { /* a page without a kernel */ }
  }

  send() {
    while (this.flights.size < FLIGHTS) {
      const ahead = !this.wanted || this.flying(this.wanted);
      const values = ahead ? this.next() : this.wanted;
      if (!values) return;
      if (!ahead) this.wanted = null;
      this.question(values, ahead);
    }
  }

  flying(values) {
    return [...this.flights.values()].some(flight => flight.key === JSON.stringify(values));
  }

  /** The next of the plan that is neither here nor on its way. */
  next() {
    while (this.plan.length) {
      const values = this.plan.shift();
      if (!this.frame(values) && !this.flying(values)) return values;
    }
    return null;
  }

  question(values, ahead) {
    const n = ++this.count;
    this.flights.set(n, {key: JSON.stringify(values), ahead});
    clearTimeout(this.late);
    this.late = setTimeout(() => this.trouble(BUSY), LATE);
    try {
      this.model.send({n, page: this.page, values, ahead});
    } catch {
      this.flights.clear(); // nobody is there to answer
      clearTimeout(this.late);
      this.trouble(BUSY);
    }
  }

  receive(frame, ahead) {
    if (!frame?.values) return;
    const mine = frame.page === this.page;
    const flight = mine && this.flights.get(frame.n);
    if (flight) this.answered(frame.n);
    if (frame.fault) return flight?.ahead ? this.send() : mine && this.trouble(frame.fault);
    if (mine || !ahead) this.keep(frame);
    const wanted = mine && this.wanted && same(this.wanted, frame.values);
    if (wanted) this.settle(frame.values);
    if (!ahead || wanted) this.came(frame, mine);
    this.send();
  }

  answered(n) {
    this.flights.delete(n);
    clearTimeout(this.late);
    this.trouble('');
    if (this.flights.size) this.late = setTimeout(() => this.trouble(BUSY), LATE);
  }

  keep(frame) {
    if (!frame?.values) return;
    const key = JSON.stringify(frame.values);
    this.frames.delete(key); // the newest stand last, the oldest are forgotten
    this.frames.set(key, frame);
    if (this.frames.size > KEPT) this.frames.delete(this.frames.keys().next().value);
  }
}

// --- a panel: its values and the frame that is shown, for all views of it in this page

class Panel {
  constructor(model) {
    this.head = model.get('head');
    this.controls = Object.fromEntries(this.head.controls.map(control => [control.key, control]));
    this.shown = model.get('frame');
    this.values = {...this.shown.values};
    this.views = new Set();
    this.past = [];
    this.overtaken = 0; // answers to questions up to this one come too late to be shown
    this.playing = null;
    this.slow = false;
    this.ask = this.head.ask;
    this.open = this.ask?.kind !== 'guess' || this.ask.said !== null;
    Object.assign(this, {answer: null, verdict: '', told: false});
    if (this.ask?.kind === 'guess' && this.open) this.remember(this.ask.said);
    this.source = new Kernel(model, (frame, mine) => this.came(frame, mine), text => this.tell(text));
  }

  close() {
    this.stop();
    this.source.close();
  }

  each(call) {
    this.views.forEach(call);
  }

  tell(sentence) {
    this.each(view => view.tell(sentence));
  }

  // What it asks.

  /** Take an answer; null to see without one. */
  reply(answer) {
    this.answer = answer;
    if (this.ask.kind === 'check') {
      const {right, words} = checked(this.ask, answer);
      this.verdict = words;
      this.source.tell({kind: 'check', name: this.ask.name, said: answer, right});
    } else {
      this.open = true;
      this.verdict = answer === null ? '' : `${said(this.ask, answer)} ${this.ask.then}`;
      this.compare(this.shown);
    }
    this.each(view => view.refresh());
  }

  /** A guess of another day opens the pictures too. */
  remember(answer) {
    Object.assign(this, {answer, told: true, verdict: `${said(this.ask, answer)} ${this.ask.then}`});
    this.compare(this.shown);
  }

  /** Set the guess beside what a frame tells, if it tells anything. */
  compare({found}) {
    if (!this.open || !found || this.answer === null) return;
    if (this.ask.hands) return (this.verdict = shownHands(this.answer, found));
    const {right, words} = judged(this.ask, this.answer, found);
    this.verdict = words;
    if (!this.told) this.source.tell({kind: 'guess', name: this.ask.name, said: this.answer, right});
    this.told = true;
  }

  /** Remember where it stands, to come back by `undo`. */
  mark() {
    this.letGo();
    if (!this.past.length || !same(this.past.at(-1), this.values)) this.past.push({...this.values});
    if (this.past.length > 100) this.past.shift();
  }

  /** Back to before the last move, or `again` ahead; by the kernel where it keeps more than this panel's own moves. */
  undo(again) {
    this.letGo();
    if (this.head.history) {
      return this.source.tell({kind: 'history', way: again ? 'redo' : 'undo', values: this.values});
    }
    while (this.past.length) {
      const before = this.past.pop();
      if (!same(before, this.values)) return this.move(before);
    }
  }

  /** Grips that nobody holds any more stay where they are. */
  letGo() {
    this.each(view => view.handles.forEach(handle => handle.letGo()));
  }

  /** Go to values and show their frame: at once if it is here, else when it comes. */
  move(to) {
    this.stop();
    this.go(to);
  }

  go(to) {
    this.values = {...this.values, ...this.chosen(to), ...to};
    const frame = this.source.frame(this.values);
    if (frame) {
      this.overtaken = this.source.count;
      this.show(frame);
      this.source.settle(this.values);
    } else this.source.ask(this.values);
    this.each(view => view.refresh());
  }

  /** What a hand on a control chooses besides, by the first grip that it moves. */
  chosen(to) {
    const moved = Object.keys(to).find(key => to[key] !== this.values[key]);
    return this.head.grips.find(({moves}) => moves.includes(moved))?.chooses ?? {};
  }

  /** False for a slider that moves only grips by which something else is chosen than is now. */
  shows(key) {
    const grips = this.head.grips.filter(({moves}) => moves.includes(key));
    return !grips.length || grips.some(({chooses}) => this.has(chooses));
  }

  has(values = {}) {
    return Object.entries(values).every(([key, value]) => this.values[key] === value);
  }

  came(frame, mine) {
    if (!mine) { // moved by the kernel's own code, or in another page
      this.stop();
      this.letGo();
      this.values = {...frame.values};
    } else if (frame.n <= this.overtaken && !same(frame.values, this.values)) return;
    this.show(frame);
    this.each(view => view.refresh());
  }

  show(frame) {
    this.shown = frame.views ? frame : {...this.shown, words: frame.words, found: null};
    if (this.ask?.kind === 'guess') this.compare(this.shown);
    this.each(view => view.show(this.shown));
  }

  /** Look ahead along one control, first in the direction of travel. */
  look(key, way = 0) {
    const control = this.controls[key];
    if (!control || control.options) return;
    const list = [];
    for (let i = 1; i <= AHEAD; i++) {
      for (const sign of way < 0 ? [-1, 1] : [1, -1]) {
        const value = snap(control, this.values[key] + sign * i * control.step);
        const off = way && sign !== Math.sign(way) && i > 2;
        if (!off && value !== this.values[key]) list.push({...this.values, ...this.chosen({[key]: value}), [key]: value});
      }
    }
    this.source.ahead(list);
  }

  /** One step, or several, of a control by the keyboard. */
  step(key, steps) {
    const control = this.controls[key];
    this.slide(key, snap(control, this.values[key] + steps * control.step));
  }

  /** Move one slider, and look ahead of it. */
  slide(key, value) {
    const way = value - this.values[key];
    if (!way) return;
    this.move({[key]: value});
    this.look(key, way);
  }

  // Playing goes by the clock: what is late is skipped.

  play() {
    const {low, step} = this.controls[this.head.play];
    this.mark();
    this.playing = {
      began: performance.now(), done: 0, first: Math.round((this.values[this.head.play] - low) / step),
    };
    this.each(view => view.refresh());
    this.tick();
  }

  stop() {
    if (!this.playing) return;
    cancelAnimationFrame(this.playing.request);
    this.playing = null;
    this.each(view => (view.refresh(), view.rest()));
  }

  speed(slow) {
    const playing = Boolean(this.playing);
    this.stop();
    this.slow = slow;
    if (playing) this.play();
    else this.each(view => view.refresh());
  }

  tick() {
    if (![...this.views].some(view => view.root.isConnected) || document.hidden) return this.stop();
    const {key, low, high, step} = this.controls[this.head.play];
    const count = Math.floor((high - low) / step + 1e-9) + 1;
    const due = Math.floor((performance.now() - this.playing.began) * (this.slow ? RATE / 2 : RATE) / 1000);
    const at = i => ({...this.values, [key]: clean(low + ((this.playing.first + i) % count) * step)});
    if (due > this.playing.done) {
      this.playing.done = due;
      this.go(at(due));
      this.source.ahead(Array.from({length: Math.min(RATE, count)}, (_, i) => at(due + 1 + i)));
    }
    this.playing.request = requestAnimationFrame(() => this.tick());
  }
}

// --- grips: from a place in a picture to the values of the controls that move it

/** Where a grip is in a view for the values wanted now, which may be ahead of the picture. */
function place(panel, held) {
  let {x, y} = held;
  const {moves} = panel.head.grips[held.grip];
  moves.forEach((key, i) => {
    const off = panel.values[key] - panel.shown.values[key];
    x += held.J[i][0] * off;
    y += held.J[i][1] * off;
  });
  return {x, y};
}

/** The values that bring a grip nearest to a place. Where a control would leave its range it stays at the end, and the
    others are asked anew what is left to do. */
function solve(panel, held, to) {
  const at = place(panel, held);
  const off = [to.x - at.x, to.y - at.y];
  const found = {};
  let free = panel.head.grips[held.grip].moves
    .map((key, i) => ({...panel.controls[key], value: panel.values[key], way: held.J[i]}))
    .filter(({way}) => Math.hypot(...way) >= FLAT);
  for (let count = -1; count !== free.length;) {
    count = free.length;
    leastSteps(free, off).forEach((step, i) => (found[free[i].key] = free[i].value + step));
    const beyond = free.filter(({key, low, high}) => found[key] < low || found[key] > high);
    for (const {key, low, high, value, way: [x, y]} of beyond) {
      found[key] = clamp(found[key], low, high);
      off[0] -= x * (found[key] - value);
      off[1] -= y * (found[key] - value);
    }
    free = free.filter(one => !beyond.includes(one));
  }
  panel.head.grips[held.grip].moves.forEach((key, i) => {
    if (key in found) found[key] = caught(panel.controls[key], found[key], held.J[i]);
  });
  return found;
}

/** A value, or a control's catch that is within a few px of it. */
function caught({catches = []}, value, way) {
  const off = each => Math.abs(each - value) * Math.hypot(...way);
  const [nearest] = [...catches].sort((one, other) => off(one) - off(other));
  return off(nearest) <= CATCH ? nearest : value;
}

/** The steps of controls that bring a grip by so many px: damped least squares, in controls scaled by their ranges. */
function leastSteps(controls, off) {
  const J = controls.map(({low, high, way: [x, y]}) => [x * (high - low), y * (high - low)]);
  const sum = call => J.reduce((total, column) => total + call(column), 0);
  const damping = 1e-4 * Math.max(1e-9, ...J.map(([x, y]) => x * x + y * y));
  const [a, b, c] = [damping + sum(([x]) => x * x), sum(([x, y]) => x * y), damping + sum(([, y]) => y * y)];
  const u = [(c * off[0] - b * off[1]) / (a * c - b * b), (a * off[1] - b * off[0]) / (a * c - b * b)];
  return controls.map(({low, high}, i) => (J[i][0] * u[0] + J[i][1] * u[1]) * (high - low));
}

/** The control that moves a grip most nearly along a key's direction, and which way; null if none can. */
function along(panel, held, [right, down]) {
  let best = null;
  panel.head.grips[held.grip].moves.forEach((key, i) => {
    const [x, y] = held.J[i];
    const length = Math.hypot(x, y);
    if (length < FLAT) return;
    const share = (x * right + y * down) / length;
    const control = panel.controls[key];
    if (panel.values[key] === (share > 0 ? control.high : control.low)) return; // it stands at that end
    if (Math.abs(share) > Math.max(0.3, Math.abs(best?.share ?? 0) + 1e-6)) best = {key, share};
  });
  return best && {key: best.key, sign: Math.sign(best.share)};
}

const WAYS = {ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]};

/** The handle of one grip in one view. */
class Handle {
  constructor(view, held) {
    Object.assign(this, {view, panel: view.panel, grip: held.grip, where: held.view});
    this.head = this.panel.head.grips[this.grip];
    this.node = element('div', {
      class: 'rig-grip', tabindex: '0', role: 'slider', 'aria-roledescription': 'grip',
      'aria-label': this.name(), title: `${this.head.name}: drag it, or use the arrow keys`,
    });
    this.node.addEventListener('pointerdown', event => this.view.nearest(this, event).take(event));
    this.node.addEventListener('pointermove', event => this.follow(event));
    for (const end of ['pointerup', 'pointercancel', 'lostpointercapture'])
      this.node.addEventListener(end, () => this.drop());
    this.node.addEventListener('focus', () => this.panel.has(this.head.chooses) || this.panel.move(this.head.chooses));
    this.node.keys = event => this.key(event);
  }

  /** Its name, and where it can be taken in several pictures, which of them this is. */
  name() {
    const {grips, views} = this.panel.shown;
    const seen = grips.filter(held => held.grip === this.grip).map(held => views[held.view].from);
    const {from} = views[this.where];
    const which = new Set(seen).size === seen.length ? from : `picture ${this.where + 1}`;
    return seen.length > 1 && which ? `${this.head.name}, ${which}` : this.head.name;
  }

  /** What the frame says of it; undefined where it is not to be seen. */
  held() {
    return this.panel.shown.grips.find(held => held.grip === this.grip && held.view === this.where);
  }

  /** The controls that move it in this view. */
  moves(held) {
    return this.head.moves.filter((_, i) => Math.hypot(...held.J[i]) >= FLAT).map(key => this.panel.controls[key]);
  }

  refresh() {
    const held = this.held();
    this.node.hidden = !held;
    if (!held) return;
    const {x, y} = place(this.panel, held);
    const {w, h} = this.panel.shown.views[this.where];
    this.node.style.left = `${100 * x / w}%`;
    this.node.style.top = `${100 * y / h}%`;
    const moves = this.moves(held);
    const first = moves[0] ?? this.panel.controls[this.head.moves[0]];
    const said = {
      'aria-valuemin': first.low, 'aria-valuemax': first.high, 'aria-valuenow': this.panel.values[first.key],
      'aria-valuetext': moves.map(one => `${one.label} ${told(one, this.panel.values[one.key])}`).join(', '),
    };
    for (const [name, value] of Object.entries(said)) this.node.setAttribute(name, value);
  }

  /** Where a pointer is, in the view's own px. */
  pointer(event) {
    const box = this.node.parentElement.getBoundingClientRect();
    const {w, h} = this.panel.shown.views[this.where];
    return {x: (event.clientX - box.left) * w / box.width, y: (event.clientY - box.top) * h / box.height};
  }

  take(event) {
    if (event.button || !this.held()) return;
    event.preventDefault();
    this.panel.stop();
    this.panel.mark();
    this.node.setPointerCapture(event.pointerId);
    this.node.focus({preventScroll: true});
    this.node.classList.add('rig-held');
    this.view.root.classList.add('rig-touched');
    const [at, pointer] = [place(this.panel, this.held()), this.pointer(event)];
    this.off = {x: at.x - pointer.x, y: at.y - pointer.y};
    this.to = at;
    this.share = 1; // of a step that is made
    this.best = {...this.panel.values};
  }

  follow(event) {
    if (!this.off) return;
    const {x, y} = this.pointer(event);
    this.to = {x: x + this.off.x, y: y + this.off.y};
    this.far = Infinity;
    this.share = Math.min(1, 2 * this.share);
    this.pull();
  }

  /** Bring it nearest to where the pointer wants it, or wanted it when it let go. */
  pull() {
    const {controls, values, shown} = this.panel;
    const held = this.held();
    if (!this.to || !this.nears(held) || !held) return;
    const wish = Object.entries(solve(this.panel, held, this.to));
    const to = wish.map(([key, value]) => [key, snap(controls[key], values[key] + this.share * (value - values[key]))]);
    if (to.some(([key, value]) => value !== values[key])) this.panel.move(Object.fromEntries(to));
    else if (same(values, shown.values)) this.letGo();
  }

  /** False if the last step brought it no nearer: it goes back and tries half of it, or it would swing to and fro. */
  nears(held) {
    const {panel} = this;
    if (!same(panel.values, panel.shown.values)) return true; // until its frame is here, its place is a guess
    const {x, y} = held ?? {x: Infinity, y: Infinity}; // it may have left the picture
    const far = Math.hypot(this.to.x - x, this.to.y - y);
    if (far < this.far) {
      if (this.far < Infinity) this.share = Math.min(1, 2 * this.share);
      Object.assign(this, {far, best: {...panel.values}});
      return true;
    }
    if (same(panel.values, this.best)) return true;
    this.share /= 2;
    panel.move(this.best); // when its frame is shown, it is pulled from there
    return false;
  }

  letGo() {
    if (!this.off) this.to = null;
  }

  drop() {
    this.off = null;
    this.pull();
    this.node.classList.remove('rig-held');
  }

  key(event) {
    const [way, held] = [WAYS[event.key], this.held()];
    if (!way || !held) return;
    event.preventDefault();
    const found = along(this.panel, held, way);
    if (!found) return;
    if (!event.repeat) this.panel.mark();
    this.view.root.classList.add('rig-touched');
    this.panel.step(found.key, found.sign * (event.shiftKey ? 10 : 1));
  }
}

// --- controls: a row each

class SliderRow {
  constructor(panel, control) {
    Object.assign(this, {panel, control});
    const {label, unit, low, high, step} = control;
    const name = unit ? `${label} (${unit})` : label;
    const limits = {min: low, max: high, step, 'aria-label': name};
    this.range = element('input', {type: 'range', ...limits});
    this.typed = element('input', {type: 'number', inputmode: isWhole(control) && low >= 0 ? 'numeric' : 'text', ...limits});
    this.range.addEventListener('pointerdown', () => (panel.mark(), panel.look(control.key)));
    this.range.addEventListener('input', () => panel.slide(control.key, snap(control, Number(this.range.value))));
    this.range.addEventListener('focus', () => panel.playing || panel.look(control.key));
    this.range.keys = event => this.key(event);
    this.typed.addEventListener('change', () => this.type());
    this.node = element('div', {class: 'rig-control-row'}, element('span', {class: 'rig-name', 'aria-hidden': 'true'}, name),
      this.range, this.typed);
  }

  /** By hand: some pages take the arrow keys' own effect away. */
  key(event) {
    const {key, low, high} = this.control;
    const by = {ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10}[event.key];
    const to = {Home: low, End: high}[event.key];
    if (by === undefined && to === undefined) return;
    event.preventDefault();
    if (!event.repeat) this.panel.mark();
    if (by) this.panel.step(key, event.shiftKey ? 10 * by : by);
    else this.panel.slide(key, to);
  }

  type() {
    const value = Number(this.typed.value);
    if (this.typed.value !== '' && Number.isFinite(value)) {
      this.panel.mark();
      this.panel.move({[this.control.key]: snap(this.control, value)});
    }
    this.refresh(true); // a number out of range is brought back
  }

  refresh(always = false) {
    const value = this.panel.values[this.control.key];
    this.range.value = value;
    this.range.setAttribute('aria-valuetext', told(this.control, value));
    if (always || this.panel.playing || document.activeElement !== this.typed) this.typed.value = value;
  }
}

class ChoiceRow {
  constructor(panel, control) {
    Object.assign(this, {panel, control});
    const group = `rig-choice-${Math.random().toString(36).slice(2)}`; // each panel in a page has its own copy of this script
    this.inputs = control.options.map(() => element('input', {type: 'radio', name: group}));
    this.inputs.forEach((input, i) => {
      input.addEventListener('change', () => this.pick(i));
      input.keys = event => this.key(event, i);
    });
    const options = this.inputs.map((input, i) => element('label', {}, input, String(control.options[i])));
    this.node = element('div', {class: 'rig-control-row'},
      element('span', {class: 'rig-name', 'aria-hidden': 'true'}, control.label),
      element('div', {class: 'rig-options', role: 'radiogroup', 'aria-label': control.label}, ...options));
  }

  pick(i) {
    this.panel.mark();
    this.panel.move({[this.control.key]: this.control.options[i]});
  }

  key(event, i) {
    const by = {ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1}[event.key];
    if (!by) return;
    event.preventDefault();
    const next = (i + by + this.inputs.length) % this.inputs.length;
    this.pick(next);
    this.inputs[next].focus();
  }

  refresh() {
    this.inputs.forEach((input, i) => (input.checked = this.control.options[i] === this.panel.values[this.control.key]));
  }
}

// --- one view of a panel in the page

const OURS = /^(.|Arrow(Left|Right|Up|Down)|Home|End|PageUp|PageDown|Enter|Escape)$/; // letters are the notebook's commands

class View {
  constructor(panel, place) {
    this.panel = panel;
    this.handles = [];
    this.places = [];
    this.build();
    this.onKey = event => this.key(event);
    this.onResize = () => this.fit();
    this.onFocus = event => this.isAlone() && !this.root.contains(event.target) && this.alone.focus();
    window.addEventListener('keydown', this.onKey, true); // before the page's own, which listen further in
    window.addEventListener('resize', this.onResize);
    this.root.addEventListener('focusout', event => this.root.contains(event.relatedTarget) || this.panel.source.hurry());
    document.addEventListener('focusin', this.onFocus);
    place.append(this.root);
    panel.views.add(this);
    this.show(panel.shown);
    this.refresh();
    this.spoken = this.readout.textContent;
  }

  close() {
    window.removeEventListener('keydown', this.onKey, true);
    window.removeEventListener('resize', this.onResize);
    document.removeEventListener('focusin', this.onFocus);
    clearTimeout(this.resting);
    this.panel.views.delete(this);
  }

  build() {
    const {head} = this.panel;
    this.root = element('div', {class: 'rig-panel', role: 'group', 'aria-label': head.title});
    this.root.style.setProperty('--rig-size', `${head.size}px`);
    this.pictures = element('div', {class: 'rig-views', role: 'group'});
    this.readout = element('div', {class: 'rig-readout'});
    this.trouble = element('div', {class: 'rig-trouble', role: 'status'});
    this.live = element('div', {class: 'rig-spoken', role: 'status'});
    this.rows = head.controls.map(one => (one.options ? new ChoiceRow(this.panel, one) : new SliderRow(this.panel, one)));
    const title = element('div', {class: 'rig-panel-title', role: 'heading', 'aria-level': '3'}, head.title);
    this.alone = button('Show alone', () => this.toggle(), {class: 'rig-alone-button', title: 'This panel alone on the screen (F)'});
    this.deck = element('div', {class: 'rig-deck'}, element('div', {class: 'rig-controls'}, ...this.rows.map(row => row.node)));
    if (head.controls.length) this.deck.append(this.buttons());
    this.root.append(element('div', {class: 'rig-panel-top'}, title, this.alone), this.pictures, this.readout, this.trouble,
      this.deck, this.live);
    if (head.ask) this.buildAsked();
  }

  /** A question stands where the controls will be, or before pictures that have none. */
  buildAsked() {
    this.asked = new Asked(this);
    this.root.classList.add(`rig-asks-${this.panel.ask.kind}`);
    this.root.classList.toggle('rig-hides', !this.panel.open && !this.rows.length && !this.panel.ask.place);
    (this.hides() ? this.pictures : this.deck).append(this.asked.node);
    if (this.panel.ask.kind === 'check') this.asked.node.append(this.asked.reply);
    else this.deck.before(this.asked.reply);
  }

  hides() {
    return this.root.classList.contains('rig-hides');
  }

  buttons() {
    const {panel} = this;
    const row = element('div', {class: 'rig-buttons'});
    if (panel.head.play) {
      const playing = panel.controls[panel.head.play].label;
      this.player = button('Play', () => (panel.playing ? panel.stop() : panel.play()), {title: `Play or pause: ${playing}`});
      this.slow = button('Half speed', () => panel.speed(!panel.slow), {'aria-pressed': 'false'});
      row.append(this.player, this.slow);
    }
    for (const {name, values} of panel.head.moments)
      row.append(button(name, () => (panel.mark(), panel.move(values))));
    return row;
  }

  // What it shows.

  show(frame) {
    if (this.places.length !== frame.views.length) this.rebuild(frame);
    frame.views.forEach((view, i) => {
      const {picture} = this.places[i];
      if (picture.shown !== view.svg) picture.innerHTML = picture.shown = view.svg;
    });
    this.pictures.setAttribute('aria-label', frame.label);
    this.readout.innerHTML = frame.words;
    this.grips(frame);
    this.asked?.refresh();
    this.rest();
  }

  rebuild(frame) {
    this.handles = [];
    this.places = frame.views.map(({w}) => {
      const picture = element('div', {class: 'rig-picture'});
      const node = element('div', {class: 'rig-view'}, picture);
      node.style.setProperty('--rig-width', `${w}px`);
      return {node, picture};
    });
    this.pictures.replaceChildren(...this.places.map(({node}) => node), ...(this.hides() ? [this.asked.node] : []));
    this.fit();
  }

  /** A handle for every grip that is seen for the first time; those there are stay, and keep the keyboard. */
  grips(frame) {
    for (const held of frame.grips) {
      if (this.handles.some(handle => handle.grip === held.grip && handle.where === held.view)) continue;
      const handle = new Handle(this, held);
      this.places[held.view].node.append(handle.node);
      this.handles.push(handle);
    }
    this.handles.forEach(handle => (handle.pull(), handle.refresh()));
  }

  /** The handle whose middle is nearest to a pointer: close joints have rings that overlap. */
  nearest(touched, event) {
    const far = ({node}) => {
      const {left, top, width, height} = node.getBoundingClientRect();
      return Math.hypot(event.clientX - left - width / 2, event.clientY - top - height / 2);
    };
    return this.handles.filter(({node}) => !node.hidden)
      .reduce((best, handle) => (far(handle) < Math.min(far(best), REACH) ? handle : best), touched);
  }

  refresh() {
    for (const part of [...this.rows, ...this.handles]) part.refresh();
    for (const {node, control} of this.rows) node.hidden = !this.panel.shows(control.key);
    this.wait();
    if (!this.player) return;
    this.player.textContent = this.panel.playing ? 'Pause' : 'Play';
    this.slow.setAttribute('aria-pressed', String(this.panel.slow));
  }

  /** Nothing moves until what is asked first is answered. */
  wait() {
    if (!this.asked) return;
    const waits = !this.panel.open;
    const opens = this.root.classList.contains('rig-waits') && !waits;
    this.root.classList.toggle('rig-waits', waits);
    for (const part of this.deck.children) part.inert = waits && part !== this.asked.node;
    this.asked.refresh();
    if (!opens || !this.asked.node.contains(document.activeElement)) return;
    const next = this.handles.find(handle => !handle.node.hidden)?.node ?? this.deck.querySelector('input, button') ?? this.alone;
    next.focus({preventScroll: true}); // the button that was pressed is gone
  }

  tell(sentence) {
    this.trouble.textContent = sentence;
  }

  /** Say the words once nothing has changed for a while. */
  rest() {
    clearTimeout(this.resting);
    this.resting = setTimeout(() => {
      const words = this.readout.textContent;
      if (words === this.spoken || this.panel.playing) return;
      this.spoken = words;
      this.live.textContent = words;
      setTimeout(() => this.live.replaceChildren(), SAID);
    }, REST);
  }

  // The keyboard.

  key(event) {
    if (!this.root.contains(event.target) && !this.isAlone()) return;
    if (event.altKey || (event.key === 'Enter' && event.shiftKey)) return;
    if (event.ctrlKey || event.metaKey) return this.undo(event);
    if (!OURS.test(event.key)) return;
    event.stopPropagation(); // it is not for the notebook around
    if (event.key === 'Escape' && this.isAlone()) this.toggle();
    else if (/^f$/i.test(event.key) && !this.typing()) this.toggle();
    else event.target.keys?.(event);
  }

  /** The box that is typed in, if there is one. */
  typing() {
    const {activeElement} = document;
    return activeElement?.type === 'number' && this.root.contains(activeElement) ? activeElement : null;
  }

  undo(event) {
    const again = event.shiftKey;
    if (event.key.toLowerCase() !== 'z' || (again && !this.panel.head.history) || this.typing()) return;
    event.preventDefault();
    event.stopPropagation();
    this.panel.undo(again);
  }

  // Alone on the screen: in the browser's top layer, where nothing around clips or covers it.

  isAlone() {
    return this.root.matches(':popover-open');
  }

  toggle() {
    if (this.isAlone()) {
      this.root.hidePopover();
      this.root.removeAttribute('popover');
    } else {
      this.root.popover = 'manual';
      this.root.showPopover();
    }
    this.alone.textContent = this.isAlone() ? 'Back to the page' : 'Show alone';
    this.alone.focus({preventScroll: true});
    this.fit();
    if (!this.isAlone()) this.root.scrollIntoView({block: 'nearest'});
  }

  /** Alone, its pictures are as large as the room allows, beside or above each other; where their words would be too
      small to read, one at a time, the next a swipe to the side. */
  fit() {
    const {views} = this.panel.shown;
    const alone = this.isAlone() && views.every(({w}) => w);
    this.root.classList.remove('rig-swiped');
    if (!alone) return this.places.forEach(({node}) => (node.style.width = ''));
    this.places.forEach(({node}) => (node.style.width = '0'));
    const {clientWidth: width, clientHeight: height} = this.pictures;
    const [gap, all] = [16 * (views.length - 1), call => views.map(call)];
    const sum = list => list.reduce((total, one) => total + one, 0);
    const [widest, highest] = [Math.max(...all(({w}) => w)), Math.max(...all(({h}) => h))];
    const beside = Math.min((width - gap) / sum(all(({w}) => w)), height / highest);
    const above = Math.min(width / widest, (height - gap) / sum(all(({h}) => h)));
    const swiped = views.length > 1 && Math.max(beside, above) < SMALL;
    this.root.classList.toggle('rig-swiped', swiped);
    const scale = Math.max(beside, above, swiped ? Math.min(0.92 * width / widest, height / highest) : 0.3);
    this.places.forEach(({node}, i) => (node.style.width = `${Math.floor(scale * views[i].w)}px`));
  }
}

// --- where a notebook comes in

const panels = new WeakMap();

function render({model, el}) {
  if (model.get('head').form !== FORM) // first: what follows may not be able to read it
    el.append(element('div', {class: 'rig-trouble', role: 'status'}, OLDER));
  if (!panels.has(model)) panels.set(model, new Panel(model));
  const panel = panels.get(model);
  const view = new View(panel, el);
  return () => {
    view.close();
    if (panel.views.size) return;
    panel.close();
    panels.delete(model);
  };
}

export default {initialize, render};
