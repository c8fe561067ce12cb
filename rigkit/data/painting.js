/* What a brush does to the skin about a knee, and how the skin then bends. The names are those of rigkit/bench/painting.py,
   and so are the answers: a test holds the two together. */

function falloff(distance) {
  const r = Math.min(distance, 1);
  return 1 - r * r * (3 - 2 * r);
}

/** A view's three axes: to its right, up, and toward the viewer. */
function axesOf(toward) {
  return [[toward[2], 0, -toward[0]], [0, 1, 0], toward];
}

/** A vector's part along an axis, of those that stand one after the other in an array. */
const along = (axis, vectors, i) => axis[0] * vectors[3 * i] + axis[1] * vectors[3 * i + 1] + axis[2] * vectors[3 * i + 2];
const dot = (axis, vector) => along(axis, vector, 0);

/** By how much a brush takes hold of each vertex. */
function touched(limb, toward, at, size, strength, through) {
  const [right, up] = axesOf(toward);
  const middle = [dot(right, limb.knee) + at[0], dot(up, limb.knee) + at[1]];
  return Float64Array.from(limb.pair, (pair, i) => {
    const far = Math.hypot(along(right, limb.points, i) - middle[0], along(up, limb.points, i) - middle[1]);
    if (!(pair > 0) || far >= size) return 0;
    const faces = through ? 1 : 1 - falloff(Math.max(along(toward, limb.normals, i), 0) / limb.facing);
    return strength * falloff(far / size) * faces;
  });
}

/** Shares after a dab of the brush. */
function dab(limb, shares, amounts, tool) {
  const goal = {thigh: () => 0, shank: () => 1, smooth: i => neighboursMean(limb, shares, i)}[tool];
  return shares.map((share, i) => (amounts[i] ? share + amounts[i] * (goal(i) - share) : share));
}

function neighboursMean({indptr, indices}, shares, i) {
  const [first, end] = [indptr[i], indptr[i + 1]];
  let sum = 0;
  for (let k = first; k < end; k++) sum += shares[indices[k]];
  return end > first ? sum / (end - first) : shares[i];
}

/** Shares smoothed all around the knee. */
function smoothAround(limb, shares) {
  for (let pass = 0; pass < limb.passes; pass++) shares = dab(limb, shares, limb.smoothing, 'smooth');
  return shares;
}

/** Where a linear blend brings each vertex: thigh and shank by their shares, and what other joints add. */
function blend({points, pair, rest, thigh, shank}, shares) {
  const posed = new Float32Array(points.length);
  shares.forEach((share, i) => {
    const [ofThigh, ofShank] = [pair[i] * (1 - share), pair[i] * share];
    for (let axis = 0; axis < 3; axis++)
      posed[3 * i + axis] = ofThigh * moved(thigh[axis], points, i) + ofShank * moved(shank[axis], points, i) + rest[3 * i + axis];
  });
  return posed;
}

/** A row of a joint's matrix times a point. */
const moved = (row, points, i) => along(row, points, i) + row[3];
