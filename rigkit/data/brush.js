/* A brush on the skin about a knee: the leg at rest, to be brushed, beside the same leg bent, and what the kernel measures.
   It paints and bends here, the kernel measures and keeps. common.js and painting.js stand before this in one module. */

const FORM = 1; // of what is said between kernel and page
const LATE = 2500; // ms without an answer until the brush says so
const SPACING = 0.25; // brush sizes between the dabs of a stroke
const STEP = [0.005, 0.02]; // metres that an arrow key moves the brush; with Shift
const REST = 700; // ms without a key until the place under the brush is said
const WINDOWS = { // what the two pictures show, in knee radii from the knee: left, right, down, up
  outside: [[-1.8, 1.8, -2.6, 2.6], [-1.9, 3.3, -2.2, 2.6]],
  inside: [[-1.8, 1.8, -2.6, 2.6], [-3.3, 1.9, -2.2, 2.6]],
  front: [[-1.8, 1.8, -2.6, 2.6], [-2.6, 2.6, -2.2, 2.6]],
};
const SHADE = 0.35; // by which skin that looks away from the viewer is darker
const LINES = [0.1, 0.5, 0.9]; // shares along which a line is drawn
const PALE = 0.3; // of the lines of the mesh
const SLABS = 12; // of the bent skin, by depth
const KEYS = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowDown: [0, -1], ArrowUp: [0, 1]};
const LEAVE = /^(Tab|Escape|F\d+)$/; // keys that are the page's
const TOOLS = {thigh: 'give to the thigh', shank: 'give to the shank', smooth: 'smooth'};
const REACHES = {'this side': 'only the side you see', through: 'through the leg'};
const VIEWS = {outside: 'outside', inside: 'inside', front: 'front'};

const BUSY = 'The kernel has not answered yet. It may be busy, and the numbers follow; if it was restarted, run this cell again.';
const OLDER = 'This brush was made by another version of the kit: run its cell again.';

// --- the kernel: it measures, keeps, and goes back

/** Asks a kernel, one question at a time. Of those that only measure, the last one counts. */
class Kernel {
  constructor(model, came, trouble) {
    Object.assign(this, {model, came, trouble, queue: [], flight: null, count: 0});
    this.page = Math.random().toString(36).slice(2);
    this.onFrame = () => this.receive(model.get('frame'));
    this.onMessage = message => this.receive(message?.frame);
    model.on('change:frame', this.onFrame);
    model.on('msg:custom', this.onMessage);
  }

  close() {
    this.model.off('change:frame', this.onFrame);
    this.model.off('msg:custom', this.onMessage);
    clearTimeout(this.late);
  }

  /** Ask; `shares` gives them when the question leaves. */
  ask(kind, shares) {
    if (this.queue.at(-1)?.kind === 'measure') this.queue.pop();
    this.queue.push({kind, shares});
    this.next();
  }

  /** True while it may yet go back: until then nothing is to be painted over. */
  goesBack() {
    return [this.flight, ...this.queue].some(question => question?.kind === 'undo' || question?.kind === 'redo');
  }

  next() {
    if (this.flight || !this.queue.length) return;
    const {kind, shares} = this.flight = this.queue.shift();
    this.flight.n = ++this.count;
    this.late = setTimeout(() => this.trouble(BUSY), LATE);
    try {
      const buffers = shares ? [Float32Array.from(shares()).buffer] : [];
      this.model.send({kind, n: this.count, page: this.page}, undefined, buffers);
    } catch { // nobody is there to answer
      clearTimeout(this.late);
      this.flight = null;
      this.queue = [];
      this.trouble(BUSY);
    }
  }

  receive(frame) {
    if (!frame) return;
    const mine = frame.page === this.page;
    if (mine && frame.n === this.flight?.n) {
      clearTimeout(this.late);
      this.flight = null;
      this.trouble('');
    }
    if (frame.fault) mine && this.trouble(frame.fault);
    else if (mine || frame.shares) this.came(frame, mine);
    this.next();
  }
}

// --- the skin and its shares, for all views of it in this page

const bytes = view => view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength);
const floats = view => new Float32Array(bytes(view));
const ints = view => new Uint32Array(bytes(view));

class Painting {
  constructor(model) {
    const sent = model.get('sent_limb');
    this.head = model.get('head');
    this.frame = model.get('frame');
    this.limb = {...this.head.limb};
    for (const name of ['points', 'normals', 'pair', 'rest', 'smoothing']) this.limb[name] = floats(sent[name]);
    for (const name of ['triangles', 'indptr', 'indices']) this.limb[name] = ints(sent[name]);
    this.views = new Set();
    this.take(this.frame);
    this.kernel = new Kernel(model, (frame, mine) => this.came(frame, mine), text => this.each(view => view.tell(text)));
  }

  close() {
    this.kernel.close();
    cancelAnimationFrame(this.soon);
  }

  each(call) {
    this.views.forEach(call);
  }

  take(frame) {
    this.shares = Float64Array.from(floats(frame.shares));
    this.posed = blend(this.limb, this.shares);
  }

  came(frame, mine) {
    if (frame.shares && (!mine || frame.moved)) {
      this.take(frame);
      this.each(view => view.draw());
    }
    this.frame = {...this.frame, ...frame};
    this.each(view => view.report());
  }

  /** Change the shares; once a frame of the screen they are shown and measured. */
  change(shares) {
    this.shares = shares;
    this.soon ??= requestAnimationFrame(() => {
      this.soon = null;
      this.posed = blend(this.limb, this.shares);
      this.each(view => view.draw());
      if (this.fresh) this.kernel.ask('measure', () => this.shares);
    });
    this.fresh = true;
  }

  /** Keep what is painted: one step of the history. */
  keep() {
    this.fresh = false;
    const kept = this.shares;
    this.kernel.ask('keep', () => kept);
  }

  back(kind) {
    if (!this.kernel.goesBack() && this.frame[kind]) this.kernel.ask(kind);
  }
}

// --- a picture of the skin

const INKS = {thigh: '--forward', shank: '--inverse', rest: '--soft', ink: '--ink', paper: '--paper'}; // of rigkit/stage
const SHADOW = [0, 0, 0];
const scratch = document.createElement('canvas').getContext('2d');

/** The inks of a theme, each as three numbers. */
function inksOf(place) {
  const style = getComputedStyle(place);
  return Object.fromEntries(Object.entries(INKS).map(([use, name]) => {
    scratch.fillStyle = style.getPropertyValue(name).trim(); // a name too, such as white, comes back in digits
    return [use, [1, 3, 5].map(i => parseInt(scratch.fillStyle.slice(i, i + 2), 16))];
  }));
}

/** The darker of two colours: on the inks of thigh and shank a line can be seen in it, in either theme. */
const darker = (...inks) => inks.sort((one, other) => sum(one) - sum(other))[0];
const sum = channels => channels.reduce((total, channel) => total + channel, 0);
const mixed = (one, other, share) => one.map((channel, i) => channel + (other[i] - channel) * share);
const css = (channels, cover = 1) => `rgb(${channels.map(Math.round).join(' ')} / ${cover})`;

/** A canvas that shows a limb from a side: at rest or bent. */
class Picture {
  constructor(painting, which) {
    Object.assign(this, {painting, which, wide: 0});
    this.canvas = element('canvas', {});
    this.node = element('div', {class: `rig-brush-picture rig-brush-${which}`}, this.canvas);
  }

  window() {
    return WINDOWS[this.view][this.which === 'rest' ? 0 : 1];
  }

  /** Pixels of the screen to a metre. */
  scale() {
    const [left, right] = this.window();
    return this.wide / ((right - left) * this.painting.limb.radius);
  }

  /** Where in the picture a place is, px; given by metres to the right and up from the knee. */
  pixel([x, y]) {
    const [left, , , top] = this.window();
    const {radius} = this.painting.limb;
    return [(x - left * radius) * this.scale(), (top * radius - y) * this.scale()];
  }

  /** The place at a point of the picture: the inverse of `pixel`. */
  place([right, down]) {
    const [left, , , top] = this.window();
    const {radius} = this.painting.limb;
    return [right / this.scale() + left * radius, top * radius - down / this.scale()];
  }

  draw(view, inks) {
    this.view = view;
    const {canvas, painting} = this;
    const [left, right, down, up] = this.window();
    this.node.style.setProperty('--rig-wide', right - left);
    this.node.style.setProperty('--rig-high', up - down);
    this.wide = canvas.clientWidth; // asked once a picture: it makes the browser lay the page out
    if (!this.wide) return;
    const dense = window.devicePixelRatio || 1;
    canvas.width = Math.round(this.wide * dense);
    canvas.height = Math.round(canvas.clientHeight * dense);
    const pen = canvas.getContext('2d');
    pen.scale(dense, dense);
    pen.lineJoin = 'round';
    const points = this.which === 'rest' ? painting.limb.points : painting.posed;
    this.skin(pen, points, inks);
    this.knee(pen, inks);
  }

  /** All triangles that face the viewer, the farthest first. */
  skin(pen, points, inks) {
    const {limb} = this.painting;
    const [right, up, toward] = axesOf(limb.views[this.view]);
    const count = points.length / 3;
    const flat = Array.from({length: count}, (_, i) =>
      this.pixel([along(right, points, i) - dot(right, limb.knee), along(up, points, i) - dot(up, limb.knee)]));
    const depth = Float32Array.from({length: count}, (_, i) => along(toward, points, i));
    const seen = [];
    for (let t = 0; t < limb.triangles.length; t += 3) {
      const corners = limb.triangles.subarray(t, t + 3);
      const [a, b, c] = [flat[corners[0]], flat[corners[1]], flat[corners[2]]];
      const area = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1]);
      if (area < 0) seen.push({corners, far: depth[corners[0]] + depth[corners[1]] + depth[corners[2]]});
    }
    seen.sort((one, other) => one.far - other.far);
    const many = this.which === 'rest' ? 1 : SLABS; // at rest none covers another
    for (let slab = 0; slab < many; slab++)
      this.slab(pen, seen.slice(slab * seen.length / many, (slab + 1) * seen.length / many), flat, points, toward, inks);
  }

  /** Triangles of about one depth, then the lines on them: what is nearer covers both. */
  slab(pen, seen, flat, points, toward, inks) {
    const {limb: {pair}, shares} = this.painting;
    const mean = (list, [a, b, c]) => (list[a] + list[b] + list[c]) / 3;
    const mesh = new Path2D();
    for (const {corners} of seen) {
      const own = mixed(inks.rest, mixed(inks.thigh, inks.shank, mean(shares, corners)), mean(pair, corners));
      const triangle = new Path2D();
      corners.forEach(i => triangle.lineTo(...flat[i]));
      triangle.closePath();
      pen.fillStyle = css(mixed(own, SHADOW, SHADE * (1 - facing(points, corners, toward))));
      pen.fill(triangle);
      mesh.addPath(triangle);
    }
    pen.strokeStyle = css(SHADOW, PALE);
    pen.lineWidth = 0.75;
    pen.stroke(mesh); // it covers the seams too
    for (const share of LINES) this.line(pen, seen, flat, share, inks);
  }

  /** A line along which the shank has one share. */
  line(pen, seen, flat, share, inks) {
    const {shares} = this.painting;
    pen.beginPath();
    for (const {corners} of seen) {
      const ends = [];
      corners.forEach((i, k) => {
        const j = corners[(k + 1) % 3];
        const [from, to] = [shares[i] - share, shares[j] - share];
        if ((from < 0) !== (to < 0)) ends.push(mixed(flat[i], flat[j], from / (from - to)));
      });
      ends.forEach((end, k) => (k ? pen.lineTo(...end) : pen.moveTo(...end)));
    }
    pen.strokeStyle = css(darker(inks.ink, inks.paper));
    pen.lineWidth = share === 0.5 ? 2.5 : 1;
    pen.stroke();
  }

  /** The knee's centre: a hollow ring. */
  knee(pen, inks) {
    pen.beginPath();
    pen.arc(...this.pixel([0, 0]), 6, 0, 2 * Math.PI);
    pen.fillStyle = css(inks.paper);
    pen.strokeStyle = css(inks.ink);
    pen.lineWidth = 3;
    pen.fill();
    pen.stroke();
  }
}

/** The cosine between a triangle's normal and the way toward the viewer. */
function facing(points, [a, b, c], toward) {
  const from = [0, 1, 2].map(axis => points[3 * b + axis] - points[3 * a + axis]);
  const to = [0, 1, 2].map(axis => points[3 * c + axis] - points[3 * a + axis]);
  const across = [from[1] * to[2] - from[2] * to[1], from[2] * to[0] - from[0] * to[2], from[0] * to[1] - from[1] * to[0]];
  return Math.max(0, dot(toward, across) / (Math.hypot(...across) || 1));
}

// --- the hand: pointer and keys on the picture at rest

class Hand {
  constructor(view) {
    this.view = view;
    this.at = [0, 0];
    this.held = false;
    this.ring = element('div', {class: 'rig-brush-ring', 'aria-hidden': 'true'});
    const {node, canvas} = view.rest;
    node.append(this.ring);
    this.target = canvas;
    canvas.tabIndex = 0;
    canvas.setAttribute('role', 'application');
    canvas.setAttribute('aria-roledescription', 'brush');
    canvas.addEventListener('pointerdown', event => this.down(event));
    canvas.addEventListener('pointermove', event => this.move(event));
    for (const end of ['pointerup', 'pointercancel', 'lostpointercapture']) canvas.addEventListener(end, () => this.letGo());
    canvas.keys = event => this.key(event);
  }

  where(event) {
    const {left, top} = this.target.getBoundingClientRect();
    return this.view.rest.place([event.clientX - left, event.clientY - top]);
  }

  down(event) {
    if (!event.isPrimary || event.button !== 0 || this.held) return;
    event.preventDefault();
    this.target.focus({preventScroll: true});
    this.go(this.where(event));
    if (!this.view.dab(this.at)) return;
    this.target.setPointerCapture(event.pointerId);
    this.held = true;
    this.last = this.at;
    this.refresh();
  }

  move(event) {
    if (!event.isPrimary) return;
    this.go(this.where(event));
    if (!this.held) return;
    const step = SPACING * this.view.size();
    for (let far = apart(this.last, this.at); far >= step; far = apart(this.last, this.at)) {
      this.last = mixed(this.last, this.at, step / far);
      this.view.dab(this.last);
    }
  }

  letGo() {
    if (!this.held) return;
    this.held = false;
    this.refresh();
    this.view.painting.keep();
  }

  key(event) {
    const way = KEYS[event.key];
    if (way) {
      const [left, right, down, up] = this.view.rest.window().map(radii => radii * this.view.painting.limb.radius);
      const step = STEP[Number(event.shiftKey)];
      this.go([clamp(this.at[0] + way[0] * step, left, right), clamp(this.at[1] + way[1] * step, down, up)]);
    } else if (event.key === 'Enter' || event.key === ' ') {
      if (!this.held && this.view.dab(this.at)) this.view.painting.keep();
    } else return;
    event.preventDefault();
    this.view.sayPlace();
  }

  go(at) {
    this.at = at;
    this.refresh();
  }

  refresh() {
    const [right, down] = this.view.rest.pixel(this.at);
    const wide = 2 * this.view.size() * this.view.rest.scale();
    Object.assign(this.ring.style, {left: `${right}px`, top: `${down}px`, width: `${wide}px`, height: `${wide}px`});
    this.ring.classList.toggle('rig-held', this.held);
    this.view.place();
  }
}

const apart = (one, other) => Math.hypot(one[0] - other[0], one[1] - other[1]);

// --- what is seen and touched

class View {
  constructor(painting, place) {
    this.painting = painting;
    this.chosen = {tool: 'shank', view: 'outside', reach: 'this side'};
    this.build();
    this.hand = new Hand(this);
    this.onKey = event => this.key(event);
    window.addEventListener('keydown', this.onKey, true); // before the page's own, which listen further in
    this.sizes = new ResizeObserver(() => this.draw());
    this.sizes.observe(this.rest.canvas);
    this.theme = new MutationObserver(() => this.draw());
    this.theme.observe(document.body, {attributes: true});
    this.darkness = window.matchMedia('(prefers-color-scheme: dark)');
    this.onDark = () => this.draw();
    this.darkness.addEventListener('change', this.onDark);
    place.append(this.root);
    painting.views.add(this);
    this.draw();
    this.report();
  }

  close() {
    window.removeEventListener('keydown', this.onKey, true);
    this.darkness.removeEventListener('change', this.onDark);
    this.sizes.disconnect();
    this.theme.disconnect();
    clearTimeout(this.resting);
    this.painting.views.delete(this);
  }

  build() {
    const {head} = this.painting;
    this.root = element('div', {class: 'rig-panel rig-brush', role: 'group', 'aria-label': head.title});
    this.inked = element('span', {class: 'rig rig-brush-inks', 'aria-hidden': 'true'});
    this.words = element('div', {class: 'rig-readout'});
    this.trouble = element('div', {class: 'rig-trouble', role: 'status'});
    this.live = element('div', {class: 'rig-spoken', role: 'status'});
    this.rest = new Picture(this.painting, 'rest');
    this.bent = new Picture(this.painting, 'bent');
    this.bent.canvas.setAttribute('role', 'img');
    const title = element('div', {class: 'rig-panel-title', role: 'heading', 'aria-level': '3'}, head.title);
    const beside = element('div', {class: 'rig-brush-beside'}, this.brush(), this.buttons(), this.table());
    this.root.append(this.inked, title, this.words, element('div', {class: 'rig-brush-desk'}, this.pictures(), beside), this.live);
  }

  pictures() {
    this.here = element('div', {class: 'rig-brush-here'});
    const figure = ({node}, caption) => element('figure', {}, element('figcaption', {}, caption), node);
    const both = element('div', {class: 'rig-brush-pictures'}, figure(this.rest, 'Brush here'), figure(this.bent, 'Bent by 90°'));
    const scale = element('div', {class: 'rig-brush-scale'}, element('span', {}, 'all thigh'), element('span', {class: 'rig-brush-ramp'}), element('span', {}, 'all shank'));
    const lines = element('div', {}, 'Lines: the shank has 10, 50 (thick), 90 %. Bent by a linear blend. The right leg follows the left, mirrored.');
    return element('div', {}, both, this.trouble, this.here, scale, this.choice('view', 'Seen from', VIEWS), lines);
  }

  brush() {
    const {sizes} = this.painting.head;
    const set = element('fieldset', {class: 'rig-brush-set'}, element('legend', {}, 'Brush'));
    this.ranges = {};
    set.append(this.choice('tool', 'It will', TOOLS), this.range('size', 'Size', 'cm', sizes),
      this.range('strength', 'Strength', '%', {low: 5, high: 100, step: 5, start: 50}), this.choice('reach', 'It reaches', REACHES));
    return set;
  }

  choice(key, label, options) {
    const group = `${key}-${Math.random().toString(36).slice(2)}`;
    const row = element('div', {class: 'rig-options', role: 'radiogroup', 'aria-label': label});
    for (const [value, name] of Object.entries(options)) {
      const box = element('input', {type: 'radio', name: group, value});
      box.checked = this.chosen[key] === value;
      box.addEventListener('change', () => {
        this.chosen[key] = value;
        this.draw();
        this.report();
      });
      row.append(element('label', {}, box, name));
    }
    return element('div', {class: 'rig-control-row'}, element('span', {class: 'rig-name', 'aria-hidden': 'true'}, label), row);
  }

  range(key, label, unit, {low, high, step, start}) {
    const slider = element('input', {type: 'range', min: low, max: high, step, value: start, 'aria-label': `${label} (${unit})`});
    const said = element('output', {});
    const say = () => (said.textContent = `${slider.value} ${unit}`);
    slider.addEventListener('input', () => (say(), this.hand.refresh()));
    say();
    this.ranges[key] = slider;
    return element('label', {class: 'rig-control-row'}, element('span', {class: 'rig-name'}, label), slider, said);
  }

  buttons() {
    this.back = {undo: button('Undo', () => this.painting.back('undo')), redo: button('Redo', () => this.painting.back('redo'))};
    const all = button('Smooth all around the knee', () => this.smooth());
    const back = this.painting.head.back ? [element('span', {class: 'rig-brush-back'}, this.back.undo, this.back.redo)] : [];
    return element('div', {class: 'rig-buttons'}, all, ...back);
  }

  table() {
    this.rows = element('tbody', {});
    return element('table', {class: 'rig-brush-numbers'}, element('caption', {}, 'Measured on this leg'), this.rows);
  }

  // What the brush does.

  size() {
    return this.ranges.size.value / 100;
  }

  /** A dab; false where it must not be, since the kernel is about to go back. */
  dab(at) {
    const {painting, chosen: {tool, view, reach}} = this;
    if (painting.kernel.goesBack()) return false;
    const strength = this.ranges.strength.value / 100;
    const amounts = touched(painting.limb, painting.limb.views[view], at, this.size(), strength, reach === 'through');
    painting.change(dab(painting.limb, painting.shares, amounts, tool));
    return true;
  }

  smooth() {
    const {painting} = this;
    if (painting.kernel.goesBack() || this.hand.held) return;
    painting.change(smoothAround(painting.limb, painting.shares));
    painting.keep();
  }

  // What is shown and said.

  draw() {
    const inks = inksOf(this.inked);
    for (const picture of [this.rest, this.bent]) picture.draw(this.chosen.view, inks);
    this.root.style.setProperty('--rig-thigh', css(inks.thigh));
    this.root.style.setProperty('--rig-shank', css(inks.shank));
    this.hand?.refresh();
  }

  report() {
    const {words, numbers, undo, redo} = this.painting.frame;
    this.words.innerHTML = words;
    this.bent.canvas.setAttribute('aria-label', `The left leg bent by 90°, seen from ${this.chosen.view}. ${this.words.textContent}`);
    this.rows.replaceChildren(...numbers.map(({name, said, limit, right}) => element('tr', {}, element('th', {scope: 'row'}, name),
      element('td', {}, element('div', {class: 'rig-brush-number'}, said), `${right ? '✓' : '✗'} ${limit}`))));
    this.back.undo.disabled = !undo;
    this.back.redo.disabled = !redo;
  }

  /** What lies under the brush, in words. */
  place() {
    const {painting: {limb, shares}, hand: {at}} = this;
    const i = nearest(limb, limb.views[this.chosen.view], at);
    const cm = (Math.abs(at[1]) * 100).toFixed(1);
    const height = cm === '0.0' ? 'as high as the knee' : `${cm} cm ${at[1] < 0 ? 'below' : 'above'} the knee`;
    this.here.textContent = i < 0 ? `Under the brush: no skin, ${height}.` : `Under the brush: the shank has ${Math.round(100 * shares[i])} %, ${height}.`;
    this.rest.canvas.setAttribute('aria-label', `The left leg at rest, seen from ${this.chosen.view}. Arrows move the brush, Enter dabs. ${this.here.textContent}`);
  }

  /** Say it, once no key was pressed for a while. */
  sayPlace() {
    clearTimeout(this.resting);
    this.resting = setTimeout(() => (this.live.textContent = this.here.textContent), REST);
  }

  tell(sentence) {
    this.trouble.textContent = sentence;
  }

  // The keyboard.

  /** Keys are for the brush, not for the notebook around: only Tab, Escape and what runs a cell go on. */
  key(event) {
    if (!this.root.contains(event.target) || event.altKey || LEAVE.test(event.key)) return;
    const command = event.ctrlKey || event.metaKey;
    if (command ? event.key.toLowerCase() !== 'z' : event.key === 'Enter' && event.shiftKey) return;
    event.stopPropagation();
    if (!command) return event.target.keys?.(event);
    event.preventDefault();
    if (!this.hand.held) this.painting.back(event.shiftKey ? 'redo' : 'undo');
  }
}

/** The vertex nearest to a place among those that face the viewer; −1 where no skin is near. */
function nearest(limb, toward, at) {
  const [right, up] = axesOf(toward);
  let [best, least] = [-1, 0.3 * limb.radius];
  for (let i = 0; i < limb.pair.length; i++) {
    if (along(toward, limb.normals, i) <= 0) continue;
    const far = Math.hypot(along(right, limb.points, i) - dot(right, limb.knee) - at[0], along(up, limb.points, i) - dot(up, limb.knee) - at[1]);
    if (far < least) [best, least] = [i, far];
  }
  return best;
}

// --- where a notebook comes in

const paintings = new WeakMap();

function render({model, el}) {
  if (model.get('head').form !== FORM) {
    el.append(element('div', {class: 'rig-trouble', role: 'status'}, OLDER));
    return undefined;
  }
  if (!paintings.has(model)) paintings.set(model, new Painting(model));
  const painting = paintings.get(model);
  const view = new View(painting, el);
  return () => {
    view.close();
    if (painting.views.size) return;
    painting.close();
    paintings.delete(model);
  };
}

export default {initialize, render};
