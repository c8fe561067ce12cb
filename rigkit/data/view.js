/* A skinned rig in a page, to turn and to play. What there is to draw comes as arrays, from rigkit/view.py, whose names
   these are: `matrices` of three rows move the skin from where it was bound, `points` are the joints' places. The flat
   picture in the page stays until the first one of ours is drawn, and wherever none can be. */

const FORM = 1; // of what is said to a page
const ARROW = 5; // degrees that an arrow key turns it, 15 with Shift
const DRAG = 0.5; // degrees a px
const ZOOM = [0.5, 8];
const REST = 150; // ms without a move, then it is drawn once more, finely
const KINDS = {f4: Float32Array, u1: Uint8Array, u2: Uint16Array, u4: Uint32Array, i4: Int32Array};
const SIDES = {L: 'left', R: 'right'};
const KEYS = 'The rig: arrow keys turn and tilt it, space plays, Home goes back to the start.';
const OURS = /^( |Arrow(Left|Right|Up|Down)|Home|End|PageUp|PageDown|Enter)$/;

// --- small tools

const dot = (a, b) => a.reduce((sum, x, i) => sum + x * b[i], 0);
const cross = ([a, b, c], [x, y, z]) => [b * z - c * y, c * x - a * z, a * y - b * x];
const minus = (a, b) => a.map((x, i) => x - b[i]);
const unit = a => a.map(x => x / (Math.hypot(...a) || 1));
const three = (array, i) => [array[3 * i], array[3 * i + 1], array[3 * i + 2]];

// --- what there is to draw

const inflated = packed => new Response(new Blob([packed]).stream().pipeThrough(new DecompressionStream('deflate')));

/** A scene from its head and its packed arrays. */
export async function readScene(head, packed) {
  const bytes = await inflated(packed).arrayBuffer();
  const arrays = {};
  for (const {name, kind, shape, start} of head.arrays)
    arrays[name] = new KINDS[kind](bytes, start, shape.reduce((a, b) => a * b, 1));
  return {...head, ...arrays};
}

/** The matrices that move the skin, and the joints' places, at a moment of a clip. */
export function momentOf(scene, clip, moment) {
  const [matrices, points] = [scene[`matrices.${clip}`], scene[`points.${clip}`]];
  const [many, few] = [matrices.length, points.length].map(length => length / scene.clips[clip].count);
  return {
    matrices: matrices.subarray(many * moment, many * (moment + 1)),
    points: points.subarray(few * moment, few * (moment + 1)),
  };
}

// --- skinning, on the processor: for the few vertices that are marked; the shader below does the same for all

const every = scene => Uint32Array.from({length: scene.positions.length / 3}, (_, i) => i);

/** Vertices moved by linear blend skinning, (v, 3): all of them, or those that are chosen. */
export function linearBlend(scene, matrices, chosen = every(scene)) {
  const moved = new Float64Array(3 * chosen.length);
  chosen.forEach((vertex, i) => {
    const [x, y, z] = three(scene.positions, vertex);
    for (let k = 4 * vertex; k < 4 * vertex + 4; k++)
      for (let row = 0; row < 3; row++) {
        const at = 12 * scene.joints[k] + 4 * row;
        const there = matrices[at] * x + matrices[at + 1] * y + matrices[at + 2] * z + matrices[at + 3];
        moved[3 * i + row] += scene.weights[k] * there;
      }
  });
  return moved;
}

/** Vertices moved by dual-quaternion skinning (Kavan et al. 2007), as `linearBlend`. */
export function dualQuaternionBlend(scene, matrices, chosen = every(scene)) {
  const motions = dualQuaternions(matrices);
  const moved = new Float64Array(3 * chosen.length);
  chosen.forEach((vertex, i) => {
    const motion = blendMotions(scene, motions, vertex);
    moved.set(moveRigidly(motion, three(scene.positions, vertex)), 3 * i);
  });
  return moved;
}

function blendMotions({joints, weights}, motions, vertex) {
  const blend = Array(8).fill(0);
  const turnOf = k => motions.subarray(8 * joints[k], 8 * joints[k] + 4);
  const strongest = turnOf(4 * vertex);
  for (let k = 4 * vertex; k < 4 * vertex + 4; k++) {
    const weight = dot([...turnOf(k)], strongest) < 0 ? -weights[k] : weights[k];
    for (let part = 0; part < 8; part++) blend[part] += weight * motions[8 * joints[k] + part];
  }
  return blend;
}

function moveRigidly(motion, point) {
  const length = Math.hypot(...motion.slice(0, 4)) || 1;
  const [x, y, z, w, sx, sy, sz, sw] = motion.map(part => part / length);
  const [turn, shift] = [[x, y, z], [sx, sy, sz]];
  const swept = cross(turn, cross(turn, point).map((part, i) => part + w * point[i] + shift[i]));
  return point.map((part, i) => part + 2 * (swept[i] + w * shift[i] - sw * turn[i]));
}

/** The unit dual quaternion of each matrix: its turn q, whatever its scale, then ½ t q. */
export function dualQuaternions(matrices) {
  const motions = new Float32Array(matrices.length / 12 * 8);
  for (let i = 0; 12 * i < matrices.length; i++) {
    const matrix = matrices.subarray(12 * i, 12 * i + 12);
    const [x, y, z, w] = quaternion(matrix);
    const shift = [3, 7, 11].map(place => matrix[place]);
    const swept = cross(shift, [x, y, z]).map((part, k) => (part + w * shift[k]) / 2);
    motions.set([x, y, z, w, ...swept, -dot(shift, [x, y, z]) / 2], 8 * i);
  }
  return motions;
}

/** The quaternion (x, y, z, w) of a matrix's turn, from the largest of its four parts. */
function quaternion(matrix) {
  const [x, y, z] = [0, 1, 2].map(column => unit([matrix[column], matrix[4 + column], matrix[8 + column]]));
  const rows = [
    [1 + x[0] - y[1] - z[2], x[1] + y[0], z[0] + x[2], y[2] - z[1]],
    [x[1] + y[0], 1 - x[0] + y[1] - z[2], y[2] + z[1], z[0] - x[2]],
    [z[0] + x[2], y[2] + z[1], 1 - x[0] - y[1] + z[2], x[1] - y[0]],
    [y[2] - z[1], z[0] - x[2], x[1] - y[0], 1 + x[0] + y[1] + z[2]],
  ];
  const sizes = rows.map((row, i) => row[i]);
  return unit(rows[sizes.indexOf(Math.max(...sizes))]);
}

/** The direction that each vertex faces as bound, (v, 3): the mean of its triangles, larger ones counting more. */
export function normals({positions, triangles}) {
  const out = new Float32Array(positions.length);
  for (let at = 0; at < triangles.length; at += 3) {
    const corners = [0, 1, 2].map(i => triangles[at + i]);
    const [a, b, c] = corners.map(i => three(positions, i));
    const square = cross(minus(b, a), minus(c, a));
    for (const corner of corners) square.forEach((part, i) => (out[3 * corner + i] += part));
  }
  return out;
}

// --- the viewer, who has walked by `turn` toward the rig's left and looks down by `tilt`, degrees; nothing far gets smaller

/** The directions right, up and toward the viewer. */
export function axes(turn, tilt) {
  const [a, e] = [turn, tilt].map(deg => (deg * Math.PI) / 180);
  return [
    [Math.cos(a), 0, -Math.sin(a)],
    [-Math.sin(e) * Math.sin(a), Math.cos(e), -Math.sin(e) * Math.cos(a)],
    [Math.cos(e) * Math.sin(a), Math.sin(e), Math.cos(e) * Math.cos(a)],
  ];
}

/** From the world to the picture, −1 to 1: columns of a 4 × 4 matrix. `middle` is in its middle, `half` to either side. */
export function camera(turn, tilt, middle, [wide, tall]) {
  const deep = 20 * Math.max(wide, tall);
  const rows = axes(turn, tilt).map((axis, i) => axis.map(part => part / [wide, tall, -deep][i]));
  const columns = [0, 1, 2].map(i => [...rows.map(row => row[i]), 0]);
  return Float32Array.from([...columns.flat(), ...rows.map(row => -dot(row, middle)), 1]);
}

/** Where a point is seen in a picture of some width and height, px. */
export function place(see, [x, y, z], width, height) {
  const part = i => see[i] * x + see[4 + i] * y + see[8 + i] * z + see[12 + i];
  return [(width * (1 + part(0))) / 2, (height * (1 - part(1))) / 2];
}

// --- what is seen, in words

/** The bend of each knee, degrees. */
export function kneeBends({legs}, points) {
  const bends = {};
  for (const [side, {knee}] of Object.entries(legs)) {
    const [a, b, c] = knee.map(i => three(points, i));
    const [upper, lower] = [minus(b, a), minus(c, b)];
    if (Math.min(Math.hypot(...upper), Math.hypot(...lower)) <= 1e-9) continue;
    bends[side] = (Math.atan2(Math.hypot(...cross(upper, lower)), dot(upper, lower)) * 180) / Math.PI;
  }
  return bends;
}

function describe(scene, {turn, tilt, clip, moment}) {
  const [toward, above] = [turn < 0 ? 'right' : 'left', `${Math.abs(tilt)}° from above`];
  const named = {0: 'from the front', 90: 'from its left', '-90': 'from its right', 180: 'from behind'};
  const where = named[turn === -180 ? 180 : turn] ?? `${Math.abs(turn)}° from the front toward its ${toward}`;
  const {name, count} = scene.clips[clip];
  const when = count > 1 ? `“${name}” at ${secondsOf(scene, clip, moment).toFixed(2)} s` : name;
  const bends = Object.entries(kneeBends(scene, momentOf(scene, clip, moment).points));
  const words = bends.map(([side, deg]) => `${Math.round(deg)}° ${SIDES[side]}`);
  const knees = words.length ? ` ${words.length > 1 ? 'Knees' : 'Knee'} bent ${words.join(', ')}.` : '';
  return `Seen ${where}, ${tilt ? above : 'level'}. ${when}.${knees}`;
}

function secondsOf(scene, clip, moment) {
  const {seconds, count} = scene.clips[clip];
  return count > 1 ? (seconds * moment) / (count - 1) : 0;
}

// --- the skin and the floor, by WebGL 2

// Each pose is made once, vertex by vertex, into a buffer in the graphics' own memory (transform feedback); seen from
// elsewhere it is the same. A row of the texture is a joint: three rows of its matrix, its dual quaternion. So there may be
// any number of joints.
const POSE = `#version 300 es
in vec3 position, normal; in vec4 joint, weight;
uniform bool dual; uniform highp sampler2D motions;
out vec3 moved, facing;
vec4 part(int i, int k) { return texelFetch(motions, ivec2(i, int(joint[k])), 0); }
void linear() {
  mat3x4 rows = mat3x4(0.);
  for (int k = 0; k < 4; k++) {
    if (weight[k] == 0.) continue; // most vertices go with one joint
    for (int i = 0; i < 3; i++) rows[i] += weight[k] * part(i, k);
  }
  moved = vec4(position, 1.) * rows; facing = vec4(normal, 0.) * rows;
}
void rigid() {
  vec4 turn = vec4(0.), shift = vec4(0.);
  for (int k = 0; k < 4; k++) {
    float share = dot(part(3, k), part(3, 0)) < 0. ? -weight[k] : weight[k];
    turn += share * part(3, k); shift += share * part(4, k);
  }
  float size = max(length(turn), 1e-9);
  turn /= size; shift /= size;
  vec3 swept = cross(turn.xyz, cross(turn.xyz, position) + turn.w * position + shift.xyz);
  moved = position + 2. * (swept + turn.w * shift.xyz - shift.w * turn.xyz);
  facing = normal + 2. * cross(turn.xyz, cross(turn.xyz, normal) + turn.w * normal);
}
void main() { if (dual) rigid(); else linear(); }`;
const NOTHING = `#version 300 es
void main() {}`;
const SEE = `#version 300 es
in vec3 position, normal; uniform mat4 see; uniform vec3 at; uniform float size; out vec3 facing;
void main() { facing = normal; gl_Position = see * vec4(at + size * position, 1.); }`;
const SHADE = `#version 300 es
precision highp float;
in vec3 facing; uniform vec3 ink, light; out vec4 seen;
void main() {
  float bright = dot(facing, facing) > 0. ? .72 + .28 * dot(normalize(facing), light) : 1.;
  seen = vec4(ink * bright, 1.);
}`;
const FLOOR = new Float32Array([-1, 0, -1, 1, 0, -1, 1, 0, 1, -1, 0, -1, 1, 0, 1, -1, 0, 1]);
const INPUTS = ['position', 'normal', 'joint', 'weight'];
const ACROSS = 5; // texels of a joint
const FLOATS = Float32Array.BYTES_PER_ELEMENT;

/** The context of a canvas, null where there is none: edges are smoothed at rest, since doing so always is slow in software. */
const contextOf = canvas => canvas.getContext('webgl2', {antialias: false});

class Painter {
  constructor(canvas, scene) {
    this.canvas = canvas;
    this.gl = contextOf(canvas);
    this.build(scene);
  }

  /** Everything that lies in the graphics' own memory; anew when that was lost. */
  build(scene) {
    const {gl} = this;
    this.poser = this.program(POSE, NOTHING, ['moved', 'facing'], ['dual']);
    this.seer = this.program(SEE, SHADE, [], ['see', 'at', 'size', 'ink', 'light']);
    this.count = scene.positions.length / 3;
    this.bound = this.inputs([[scene.positions, 3], [normals(scene), 3], [scene.joints, 4], [scene.weights, 4]]);
    this.posed = this.buffer(gl.ARRAY_BUFFER, new Float32Array(6 * this.count), gl.DYNAMIC_COPY);
    this.feedback = gl.createTransformFeedback();
    this.skin = gl.createVertexArray();
    gl.bindVertexArray(this.skin);
    this.input(0, this.posed, 3, gl.FLOAT, 6 * FLOATS, 0);
    this.input(1, this.posed, 3, gl.FLOAT, 6 * FLOATS, 3 * FLOATS);
    this.buffer(gl.ELEMENT_ARRAY_BUFFER, Uint32Array.from(scene.triangles));
    this.corners = scene.triangles.length;
    this.floor = this.inputs([[FLOOR, 3]]);
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    for (const filter of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(gl.TEXTURE_2D, filter, gl.NEAREST);
    gl.enable(gl.DEPTH_TEST);
    this.pose = null; // what was made last
  }

  /** Two shaders as one program, its uniforms beside it. */
  program(vertex, fragment, kept, uniforms) {
    const {gl} = this;
    const made = gl.createProgram();
    for (const [type, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(type);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(made, shader);
    }
    INPUTS.forEach((name, i) => gl.bindAttribLocation(made, i, name));
    if (kept.length) gl.transformFeedbackVaryings(made, kept, gl.INTERLEAVED_ATTRIBS);
    gl.linkProgram(made);
    return {made, ...Object.fromEntries(uniforms.map(name => [name, gl.getUniformLocation(made, name)]))};
  }

  buffer(target, data, usage = this.gl.STATIC_DRAW) {
    const made = this.gl.createBuffer();
    this.gl.bindBuffer(target, made);
    this.gl.bufferData(target, data, usage);
    return made;
  }

  input(place, buffer, size, type, stride = 0, offset = 0) {
    const {gl} = this;
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
    gl.enableVertexAttribArray(place);
    gl.vertexAttribPointer(place, size, type, false, stride, offset);
  }

  inputs(arrays) {
    const {gl} = this;
    const made = gl.createVertexArray();
    gl.bindVertexArray(made);
    arrays.forEach(([data, size], place) => {
      const type = {1: gl.UNSIGNED_BYTE, 2: gl.UNSIGNED_SHORT, 4: gl.FLOAT}[data.BYTES_PER_ELEMENT];
      this.input(place, this.buffer(gl.ARRAY_BUFFER, data), size, type);
    });
    return made;
  }

  /** Draw a pose, which is known by its name. */
  draw({pose, matrices, dual, see, light, middle, size, inks}) {
    const {gl, seer} = this;
    if (pose !== this.pose && this.count) this.move(matrices, dual);
    this.pose = pose;
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.useProgram(seer.made);
    gl.uniformMatrix4fv(seer.see, false, see);
    gl.uniform3fv(seer.light, light);
    this.place(this.skin, [0, 0, 0], 1, inks.skin);
    gl.drawElements(gl.TRIANGLES, this.corners, gl.UNSIGNED_INT, 0);
    this.place(this.floor, [middle[0], 0, middle[2]], size, inks.floor);
    gl.vertexAttrib3f(1, 0, 0, 0); // it faces nowhere: no shade
    gl.drawArrays(gl.TRIANGLES, 0, 6);
  }

  place(shape, at, size, ink) {
    const {gl, seer} = this;
    gl.bindVertexArray(shape);
    gl.uniform3fv(seer.at, at);
    gl.uniform1f(seer.size, size);
    gl.uniform3fv(seer.ink, ink);
  }

  /** Move every vertex, into the buffer that is drawn. */
  move(matrices, dual) {
    const {gl} = this;
    this.send(matrices, dual);
    gl.useProgram(this.poser.made);
    gl.uniform1i(this.poser.dual, dual);
    gl.bindVertexArray(this.bound);
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, this.feedback);
    gl.bindBufferBase(gl.TRANSFORM_FEEDBACK_BUFFER, 0, this.posed);
    gl.enable(gl.RASTERIZER_DISCARD);
    gl.beginTransformFeedback(gl.POINTS);
    gl.drawArrays(gl.POINTS, 0, this.count);
    gl.endTransformFeedback();
    gl.disable(gl.RASTERIZER_DISCARD);
    gl.bindBufferBase(gl.TRANSFORM_FEEDBACK_BUFFER, 0, null);
    gl.bindTransformFeedback(gl.TRANSFORM_FEEDBACK, null);
  }

  send(matrices, dual) {
    const {gl} = this;
    const count = matrices.length / 12;
    const motions = new Float32Array(4 * ACROSS * count);
    const turns = dual ? dualQuaternions(matrices) : null;
    for (let i = 0; i < count; i++) {
      motions.set(matrices.subarray(12 * i, 12 * i + 12), 4 * ACROSS * i);
      if (dual) motions.set(turns.subarray(8 * i, 8 * i + 8), 4 * ACROSS * i + 12);
    }
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA32F, ACROSS, count, 0, gl.RGBA, gl.FLOAT, motions);
  }

  /** Give the graphics' memory back: a browser has room for few of these. */
  dispose() {
    this.gl.getExtension('WEBGL_lose_context')?.loseContext();
  }
}

// --- joints and bones over it, always seen: tapering bones, hollow rings, left solid, right dashed

const WIDE = 7; // px, half of a leg's first bone
const INKS = ['soft', 'soft-text', 'floor', 'paper', 'forward', 'forward-text', 'miss'];
const PALE = 0.5; // the skin, so that what is drawn on it is seen
const MANY = 60; // joints: more than that have no dots

function drawBone(pen, start, end, wide) {
  const [x, y] = minus(end, start);
  const across = [-y, x].map(part => part / (Math.hypot(x, y) || 1));
  const corner = ([a, b], half) => [a + half * across[0], b + half * across[1]];
  pen.beginPath();
  for (const half of [wide, -wide]) pen.lineTo(...corner(start, half));
  for (const half of [-0.6 * wide, 0.6 * wide]) pen.lineTo(...corner(end, half));
  pen.closePath();
  pen.globalAlpha = 0.45;
  pen.fill();
  pen.globalAlpha = 1;
  outline(pen);
}

/** A line with paper around it: it is seen on any skin. */
function outline(pen) {
  const {lineWidth, strokeStyle} = pen;
  const dashes = pen.getLineDash();
  pen.setLineDash([]);
  Object.assign(pen, {lineWidth: lineWidth + 2.5, strokeStyle: pen.paper});
  pen.stroke();
  pen.setLineDash(dashes);
  Object.assign(pen, {lineWidth, strokeStyle});
  pen.stroke();
}

function drawRing(pen, at, radius, inside) {
  pen.beginPath();
  pen.arc(...at, radius, 0, 2 * Math.PI);
  if (inside) pen.fill();
  outline(pen);
}

function drawLeg(pen, spots, {chain, foot}, side, inks) {
  Object.assign(pen, {strokeStyle: inks.forward, fillStyle: inks.forward, lineWidth: 2});
  pen.setLineDash(side === 'R' ? [6, 4] : []);
  pen.beginPath();
  foot.forEach(i => pen.lineTo(...spots[i]));
  outline(pen);
  chain.slice(1).forEach((joint, i) => drawBone(pen, spots[chain[i]], spots[joint], WIDE * 0.8 ** i));
  pen.setLineDash([]);
  pen.fillStyle = inks.paper;
  chain.slice(1).forEach(joint => drawRing(pen, spots[joint], 4, true));
  drawRing(pen, spots[chain[0]], 9, true);
  Object.assign(pen, {fillStyle: inks['forward-text'], font: '700 12px system-ui'});
  Object.assign(pen, {textAlign: 'center', textBaseline: 'middle'});
  pen.fillText(side, ...spots[chain[0]]);
}

/** What is no leg: thin lines, and dots where they are few. */
function drawOthers(pen, spots, {parents, legs}, inks) {
  const own = new Set(Object.values(legs).flatMap(({chain, foot}) => [...chain.slice(1), ...foot]));
  Object.assign(pen, {strokeStyle: inks['soft-text'], fillStyle: inks['soft-text'], lineWidth: 1.25});
  spots.forEach((spot, i) => {
    if (own.has(i)) return;
    pen.beginPath();
    if (parents[i] >= 0) pen.moveTo(...spots[parents[i]]);
    pen.lineTo(...spot);
    outline(pen);
    if (spots.length <= MANY) drawRing(pen, spot, 2, true);
  });
}

function drawMarks(pen, joints, vertices, inks) {
  Object.assign(pen, {strokeStyle: inks.miss, fillStyle: inks.miss, lineWidth: 3});
  joints.forEach(spot => drawRing(pen, spot, 13, false));
  vertices.forEach(spot => (drawRing(pen, spot, 1.5, true)));
}

// --- a rig in the page

/** The ink of the page by its name, as #rrggbb. */
function inkOf(style, pen, name) {
  pen.fillStyle = style.getPropertyValue(`--${name}`).trim();
  return pen.fillStyle;
}

const numbers = ink => [1, 3, 5].map(at => parseInt(ink.slice(at, at + 2), 16) / 255);
/** An ink over paper, as three numbers for WebGL: the skin is paler than what is drawn on it. */
const mixed = (ink, paper = ink) => numbers(ink).map((part, i) => PALE * part + (1 - PALE) * numbers(paper)[i]);

/** A slider with its name, alone in its row: `moved` while it moves, `rested` when it is let go. */
function slider(name, {low, high, step = 1, value, told}, moved, rested) {
  const input = element('input', {type: 'range', min: low, max: high, step, value});
  input.addEventListener('input', () => moved(Number(input.value)));
  input.addEventListener('change', rested);
  input.setAttribute('aria-valuetext', told());
  input.told = told;
  element('label', {class: 'rig-control-row'}, element('span', {class: 'rig-name'}, name), input);
  return input;
}

/** The flat picture, turned from stop to stop where nothing draws the rig; it stays as it was until it is. */
function turnFlat(root, scene, pictures) {
  const [stage, readout] = [root.querySelector('.rig-scene-stage'), root.querySelector('[role=status]')];
  const {stops, tilt} = scene;
  let {turn} = scene;
  const words = () => describe(scene, {turn, tilt, clip: 0, moment: 0});
  const [low, high, step, told] = [stops[0], stops.at(-1), stops[1] - stops[0], () => `${turn}°`];
  const show = stop => {
    turn = stop;
    stage.innerHTML = pictures[stops.indexOf(stop)];
    stage.querySelector('desc').textContent = words();
    input.setAttribute('aria-valuetext', told());
  };
  const input = slider('Turn', {low, high, step, value: turn, told}, show, () => (readout.textContent = words()));
  readout.after(element('div', {class: 'rig-controls rig-turns'}, input.parentNode));
}

class Figure {
  constructor(root, canvas, scene) {
    Object.assign(this, {root, canvas, scene, clip: 0, moment: 0, zoom: 1, dual: false});
    Object.assign(this, {joints: true, playing: false, marked: null, pointers: new Map()});
    Object.assign(this, {turn: scene.turn, tilt: scene.tilt});
    this.slow = matchMedia('(prefers-reduced-motion: reduce)').matches;
    this.stage = root.querySelector('.rig-scene-stage');
    this.readout = root.querySelector('[role=status]');
    this.still = this.stage.querySelector('svg');
    this.over = element('canvas', {'aria-hidden': 'true'});
    this.painter = new Painter(this.canvas, scene);
    this.pen = this.over.getContext('2d');
    this.stage.append(this.canvas, this.over);
    this.build();
    this.listen();
    this.draw(); // first: the flat picture goes when there is another
    this.live(true);
  }

  /** Let the script's picture stand in place of the flat one, or no longer. */
  live(drawn) {
    this.root.classList.toggle('rig-drawn', drawn);
    for (const [name, value] of Object.entries({tabindex: '0', role: 'group', 'aria-label': KEYS}))
      if (drawn) this.stage.setAttribute(name, value);
      else this.stage.removeAttribute(name);
  }

  close() {
    this.stop();
    cancelAnimationFrame(this.asked);
    clearTimeout(this.resting);
    this.watch.disconnect();
    this.ending.abort();
    this.live(false);
    this.painter.dispose();
  }

  // Its controls.

  build() {
    const most = this.scene.clips[this.clip].count - 1;
    const seconds = () => `${secondsOf(this.scene, this.clip, this.moment).toFixed(2)} s`;
    this.sliders = {
      turn: this.slider('Turn', 'turn', -180, 180, () => `${this.turn}°`),
      tilt: this.slider('Tilt', 'tilt', 0, 90, () => `${this.tilt}°`),
      moment: this.slider('Moment', 'moment', 0, most, seconds),
    };
    this.player = this.button('Play', () => (this.playing ? this.stop() : this.play()));
    this.half = this.button('Half speed', () => ((this.slow = !this.slow), this.refresh()));
    const buttons = element('div', {class: 'rig-buttons'});
    if (this.moves()) buttons.append(this.player, this.half);
    if (this.scene.clips.length > 1) {
      this.choice = this.select('Motion', this.scene.clips.map(({name}) => name), i => this.show(i));
      buttons.append(this.choice.parentNode);
    }
    const blends = ['linear blend', 'dual quaternion'];
    buttons.append(this.select('Skinning', blends, i => ((this.dual = i === 1), this.ask())).parentNode);
    const box = element('input', {type: 'checkbox', checked: ''});
    box.addEventListener('change', () => ((this.joints = box.checked), this.ask()));
    buttons.append(element('label', {}, box, 'joints'));
    const rows = Object.values(this.sliders).map(({parentNode}) => parentNode);
    this.readout.after(element('div', {class: 'rig-controls'}, ...rows), buttons);
    this.refresh();
  }

  slider(name, key, low, high, told) {
    const moved = value => {
      if (key === 'moment') this.stop();
      this[key] = value;
      this.ask();
    };
    return slider(name, {low, high, value: this[key], told}, moved, () => this.say());
  }

  button(name, pressed) {
    const made = element('button', {type: 'button', 'aria-pressed': 'false'}, name);
    made.addEventListener('click', pressed);
    return made;
  }

  select(name, options, chosen) {
    const made = element('select', {}, ...options.map(option => element('option', {}, option)));
    made.addEventListener('change', () => (chosen(made.selectedIndex), this.say()));
    element('label', {}, name, made);
    return made;
  }

  refresh() {
    for (const [key, input] of Object.entries(this.sliders)) {
      input.value = this[key];
      input.setAttribute('aria-valuetext', input.told());
    }
    this.sliders.moment.parentNode.hidden = this.scene.clips[this.clip].count < 2;
    this.player.setAttribute('aria-pressed', String(this.playing));
    this.half.setAttribute('aria-pressed', String(this.slow));
  }

  // What it shows.

  /** Show a clip, from a moment on. */
  show(clip, moment = 0) {
    this.stop();
    Object.assign(this, {clip, moment});
    if (this.choice) this.choice.selectedIndex = clip;
    this.sliders.moment.max = this.scene.clips[clip].count - 1;
    this.ask();
  }

  /** Mark joints and vertices, and show the moment that they are about, if there is one. */
  mark(marked) {
    this.marked = marked;
    if (marked.clip != null) this.show(marked.clip, marked.moment ?? 0);
    this.ask();
  }

  say() {
    const {title, joints = []} = this.marked ?? {};
    const marked = title || joints.map(i => this.scene.names[i]).join(', ');
    if (!this.playing) this.readout.textContent = (marked && `Marked: ${marked}. `) + describe(this.scene, this);
  }

  /** Draw soon, once for all that changed. */
  ask() {
    this.refresh();
    if (!this.playing) this.asked ||= requestAnimationFrame(() => this.draw());
  }

  draw(finely = false) {
    this.asked = 0;
    clearTimeout(this.resting);
    if (!finely && !this.playing) this.resting = setTimeout(() => this.draw(true), REST);
    const {scene, over, pen} = this;
    const {matrices, points} = momentOf(scene, this.clip, this.moment);
    this.fit(finely);
    const middle = this.middle(points);
    const half = scene.half.map(size => size / this.zoom);
    const see = camera(this.turn, this.tilt, middle, half);
    const inks = this.inks();
    const painted = {skin: mixed(inks.soft, inks.paper), floor: mixed(inks.floor)};
    const size = 0.85 * scene.half[0];
    const pose = `${this.clip} ${this.moment} ${this.dual}`;
    this.painter.draw({pose, matrices, dual: this.dual, see, light: this.light(), middle, size, inks: painted});
    pen.setTransform(over.width / this.width, 0, 0, over.height / this.height, 0, 0);
    pen.clearRect(0, 0, this.width, this.height);
    pen.paper = inks.paper;
    const spot = point => place(see, point, this.width, this.height);
    this.drawOver(Array.from({length: points.length / 3}, (_, i) => spot(three(points, i))), matrices, spot, inks);
  }

  /** The inks of the page's theme, as the flat picture has them. */
  inks() {
    const style = getComputedStyle(this.still);
    return Object.fromEntries(INKS.map(name => [name, inkOf(style, this.pen, name)]));
  }

  /** The direction toward the light, over the viewer's left shoulder. */
  light() {
    const [right, up, near] = axes(this.turn, this.tilt);
    return unit(near.map((part, i) => part + 0.5 * up[i] - 0.5 * right[i]));
  }

  drawOver(spots, matrices, spot, inks) {
    const {scene, pen, marked} = this;
    if (this.joints) {
      drawOthers(pen, spots, scene, inks);
      for (const [side, leg] of Object.entries(scene.legs)) drawLeg(pen, spots, leg, side, inks);
    }
    if (!marked) return;
    const moved = (this.dual ? dualQuaternionBlend : linearBlend)(scene, matrices, Uint32Array.from(marked.vertices));
    const found = marked.vertices.map((_, i) => spot(three(moved, i)));
    drawMarks(pen, marked.joints.map(i => spots[i]), found, inks);
  }

  /** As many px as the screen has; the skin finely drawn has at least two for each of the page's, which smooths its edges. */
  fit(finely) {
    [this.width, this.height] = [this.stage.clientWidth || 1, this.stage.clientHeight || 1];
    const px = devicePixelRatio;
    for (const [canvas, scale] of [[this.canvas, finely && px < 2 ? 2 * px : px], [this.over, px]]) {
      const [wide, high] = [this.width, this.height].map(size => Math.max(1, Math.round(size * scale)));
      if (canvas.width !== wide || canvas.height !== high) Object.assign(canvas, {width: wide, height: high});
    }
  }

  /** The point in the picture's middle goes along with the root of the legs. */
  middle(points) {
    const {middle, follow} = this.scene;
    if (follow < 0) return middle;
    return [points[3 * follow], middle[1], points[3 * follow + 2]];
  }

  // Playing.

  moves() {
    return this.scene.clips.some(({count}) => count > 1);
  }

  play() {
    if (this.scene.clips[this.clip].count < 2) this.show(this.scene.clips.findIndex(({count}) => count > 1));
    this.playing = true;
    [this.last, this.seconds] = [null, secondsOf(this.scene, this.clip, this.moment)];
    this.refresh();
    this.asked = requestAnimationFrame(now => this.tick(now));
  }

  tick(now) {
    const {seconds, count} = this.scene.clips[this.clip];
    this.seconds = (this.seconds + ((now - (this.last ?? now)) / 1000) * (this.slow ? 0.5 : 1)) % seconds;
    this.last = now;
    this.moment = Math.floor((this.seconds / seconds) * (count - 1));
    this.refresh();
    this.draw();
    this.asked = requestAnimationFrame(later => this.tick(later));
  }

  stop() {
    if (!this.playing) return;
    cancelAnimationFrame(this.asked);
    Object.assign(this, {playing: false, asked: 0});
    this.ask();
    this.say();
  }

  // Hands.

  listen() {
    this.ending = new AbortController();
    const {signal} = this.ending;
    const on = (target, names, call, options = {}) =>
      names.split(' ').forEach(name => target.addEventListener(name, call, {signal, ...options}));
    on(window, 'keydown', event => this.key(event), {capture: true}); // before the page's own, which listen further in
    on(this.stage, 'keyup', () => this.say());
    on(this.stage, 'pointerdown', event => this.take(event));
    on(this.stage, 'pointermove', event => this.drag(event));
    on(this.stage, 'pointerup pointercancel', event => (this.pointers.delete(event.pointerId), this.say()));
    on(this.stage, 'wheel', event => this.roll(event), {passive: false});
    on(this.canvas, 'webglcontextlost', event => (event.preventDefault(), this.stop(), this.live(false)));
    on(this.canvas, 'webglcontextrestored', () => (this.painter.build(this.scene), this.draw(), this.live(true)));
    on(matchMedia('(prefers-color-scheme: dark)'), 'change', () => this.ask());
    this.watch = new ResizeObserver(() => this.ask());
    this.watch.observe(this.stage);
  }

  key(event) {
    if (!this.root.contains(event.target) || event.altKey || event.ctrlKey || event.metaKey || !OURS.test(event.key)) return;
    event.stopPropagation(); // it is not for the notebook around
    const step = event.shiftKey ? 3 * ARROW : ARROW;
    const moves = {ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step]};
    if (event.target !== this.stage || !(event.key in moves || event.key === ' ' || event.key === 'Home')) return;
    event.preventDefault();
    if (event.key in moves) this.orbit(...moves[event.key]);
    else if (event.key === 'Home') this.home();
    else if (!event.repeat && this.moves()) this.player.click();
  }

  home() {
    Object.assign(this, {turn: this.scene.turn, tilt: this.scene.tilt, zoom: 1, marked: null});
    this.show(0);
  }

  orbit(right, up) {
    const turn = Math.round(this.turn + right);
    this.turn = turn > 180 ? turn - 360 : turn < -180 ? turn + 360 : turn;
    this.tilt = clamp(Math.round(this.tilt + up), 0, 90);
    this.ask();
  }

  take(event) {
    if (event.button) return;
    this.stage.focus({preventScroll: true});
    this.stage.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, event);
  }

  /** One pointer turns it as if it were held; two enlarge it. */
  drag(event) {
    const before = this.pointers.get(event.pointerId);
    if (!before) return;
    const other = [...this.pointers].find(([id]) => id !== event.pointerId)?.[1];
    const apart = one => Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY) || 1;
    if (other) this.enlarge(apart(event) / apart(before));
    if (other) return this.pointers.set(event.pointerId, event);
    const [x, y] = [event.clientX - before.clientX, event.clientY - before.clientY].map(px => Math.trunc(px * DRAG));
    const [clientX, clientY] = [before.clientX + x / DRAG, before.clientY + y / DRAG]; // the rest adds up
    this.pointers.set(event.pointerId, {clientX, clientY});
    this.orbit(-x, y);
  }

  /** The page scrolls, unless the rig has the keyboard. */
  roll(event) {
    if (document.activeElement !== this.stage) return;
    event.preventDefault();
    this.enlarge(Math.exp(-event.deltaY / 600));
  }

  enlarge(times) {
    this.zoom = clamp(this.zoom * times, ...ZOOM);
    this.ask();
  }
}

// --- where a page or a notebook comes in

const bytesOf = text => Uint8Array.from(atob(text), letter => letter.charCodeAt(0));

/** Draw a rig in its place; null where nothing can: the flat picture stays, and can be turned by `turns()`. */
export async function start(root, head, packed, turns) {
  const canvas = element('canvas', {'aria-hidden': 'true'});
  if (typeof DecompressionStream !== 'function' || head.form !== FORM) return null;
  const scene = await readScene(head, packed);
  if (contextOf(canvas)) return new Figure(root, canvas, scene);
  if (head.stops.length) turnFlat(root, scene, await inflated(turns()).json());
  return null;
}

/** Draw a rig whose arrays stand in the page, and let the findings beside it be marked on it. */
async function startInPage(root) {
  const textOf = name => root.querySelector(`.rig-scene-${name}`).textContent;
  const turns = () => bytesOf(textOf('turns'));
  const figure = await start(root, JSON.parse(textOf('head')), bytesOf(textOf('packed')), turns);
  root.figure = figure; // for who wants to turn it by a script
  if (!figure) return;
  for (const place of document.querySelectorAll('[data-rule]')) addMark(figure, place);
}

function addMark(figure, place) {
  const marked = figure.scene.marks[place.dataset.rule];
  if (!marked) return;
  const made = element('button', {type: 'button', class: 'rig-mark'}, 'Mark it on the rig');
  made.addEventListener('click', () => {
    figure.mark(marked);
    figure.say();
    figure.root.scrollIntoView({block: 'center'});
    figure.stage.focus({preventScroll: true});
  });
  place.append(made);
}

function render({model, el}) {
  el.innerHTML = model.get('still');
  const sent = name => {
    const {buffer, byteOffset, byteLength} = model.get(name);
    return new Uint8Array(buffer, byteOffset, byteLength);
  };
  let [figure, closed] = [null, false];
  const mark = () => {
    if (!figure || !model.get('marked').joints) return;
    figure.mark(model.get('marked'));
    figure.say();
  };
  model.on('change:marked', mark);
  start(el.firstElementChild, model.get('head'), sent('packed'), () => sent('turns')).then(made => {
    figure = made;
    if (closed) figure?.close();
    else mark();
  });
  return () => {
    closed = true;
    model.off('change:marked', mark);
    figure?.close();
  };
}

document.querySelectorAll('.rig-scene-head').forEach(head => startInPage(head.parentNode));

export default {initialize, render};
