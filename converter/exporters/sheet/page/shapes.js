// Bend tables into straights and arcs, and these into triangles and lines. Vectors are [x, y, z], mm; a tube is as
// scenes.py writes it.
"use strict";

const V = {
  add: (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]],
  sub: (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]],
  mul: (a, k) => [a[0] * k, a[1] * k, a[2] * k],
  dot: (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2],
  cross: (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]],
  size: (a) => Math.hypot(a[0], a[1], a[2]),
  unit: (a) => V.mul(a, 1 / (V.size(a) || 1)),
  // a turned about the unit vector w by r radians (Rodrigues)
  turn: (a, w, r) =>
    V.add(V.add(V.mul(a, Math.cos(r)), V.mul(V.cross(w, a), Math.sin(r))), V.mul(w, V.dot(w, a) * (1 - Math.cos(r)))),
  // any unit vector square to t
  square: (t) => V.unit(V.cross(t, Math.abs(t[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0])),
};

// Along a bend table: straights as [x, y, z], arcs as [center, axis, degrees]; and for every bend the middle of its arc, or
// its corner, with the way out of the bend there.
function wayOf(tube) {
  if (tube.way) return tube.way;
  let point = tube.at.slice(0, 3), t = tube.at.slice(3, 6), n = tube.at.slice(6, 9);
  const segments = [], middles = [], straight = (long) => {
    point = V.add(point, V.mul(t, long));
    if (long > 1e-9) segments.push(point);
  };
  for (let i = 0; i < tube.rows.length; i += 4) {
    const [feed, rotation, angle, radius] = tube.rows.slice(i, i + 4);
    straight(feed);
    n = V.turn(n, t, (rotation * Math.PI) / 180);
    const turned = V.turn(t, n, (angle * Math.PI) / 180);
    if (radius) {
      const center = V.add(point, V.mul(V.cross(n, t), radius)), arm = V.sub(point, center);
      const half = V.turn(arm, n, (angle * Math.PI) / 360);
      segments.push([...center, ...n, angle]);
      middles.push({ at: V.add(center, half), out: V.unit(half) });
      point = V.add(center, V.turn(arm, n, (angle * Math.PI) / 180));
    } else {
      const away = V.sub(t, turned);
      middles.push({ at: point, out: V.size(away) < 1e-9 ? V.square(t) : V.unit(away) });
    }
    t = turned;
  }
  straight(tube.tail);
  tube.way = { segments, middles };
  return tube.way;
}

// Parts of a tube: [{bend, at: [{c, t, u}]}], bend counting arcs from 1 (0: a straight).
function partsOf(tube, degreesPerStep) {
  const parts = [];
  let point = tube.at.slice(0, 3), u = tube.up || tube.at.slice(6, 9), bends = 0;
  for (const s of wayOf(tube).segments) {
    if (s.length === 3) {
      const t = V.unit(V.sub(s, point));
      // after a sharp corner the outline leans over with the tube
      u = V.sub(u, V.mul(t, V.dot(u, t)));
      u = V.size(u) < 1e-3 ? V.square(t) : V.unit(u);
      parts.push({ bend: 0, at: [{ c: point, t, u }, { c: s, t, u }] });
      point = s;
    } else {
      const center = s.slice(0, 3), w = s.slice(3, 6), arm = V.sub(point, center);
      const steps = Math.max(2, Math.ceil(s[6] / degreesPerStep)), at = [];
      for (let k = 0; k <= steps; k++) {
        const r = ((s[6] * k) / steps) * (Math.PI / 180);
        const here = V.turn(arm, w, r);
        at.push({ c: V.add(center, here), t: V.unit(V.cross(w, here)), u: V.turn(u, w, r) });
      }
      parts.push({ bend: ++bends, at });
      point = at[steps].c;
      u = at[steps].u;
    }
  }
  return parts;
}

// Corners of the outline as [along u, along t x u]; grown by a little where asked.
function ringOf(outline, sides, grown) {
  const more = grown || 0;
  if (outline.length === 1) {
    const r = outline[0] / 2 + more;
    return Array.from({ length: sides }, (_, i) => {
      const a = (2 * Math.PI * i) / sides;
      return [r * Math.cos(a), r * Math.sin(a)];
    });
  }
  // u is the normal of the first bend's plane: the first size lies along it
  const a = outline[0] / 2 + more, b = outline[1] / 2 + more, c = Math.max(outline[2], 0.05 * Math.min(a, b));
  // a corner is cut off, unless it is so wide that one sees it is round
  const parts = 2 * c > Math.min(a, b) ? 4 : 1, points = [];
  for (const [k, [x, y]] of [[a - c, b - c], [c - a, b - c], [c - a, c - b], [a - c, c - b]].entries()) {
    for (let i = 0; i <= parts; i++) {
      const t = ((k + i / parts) * Math.PI) / 2;
      points.push([x + c * Math.cos(t), y + c * Math.sin(t)]);
    }
  }
  return points;
}

function newMesh() {
  return { x: [], y: [], z: [], i: [], j: [], k: [], of: [] };
}

function addPoint(mesh, p, of) {
  mesh.x.push(p[0]);
  mesh.y.push(p[1]);
  mesh.z.push(p[2]);
  mesh.of.push(of);
  return mesh.x.length - 1;
}

// Every corner of a mesh.
function skinOf(mesh) {
  return mesh.x.map((x, i) => [x, mesh.y[i], mesh.z[i]]);
}

function addFace(mesh, a, b, c) {
  mesh.i.push(a);
  mesh.j.push(b);
  mesh.k.push(c);
}

// The skin along stations, closed at the ends that `lids` names (both unless told); `of` says whose it is.
function addSkin(mesh, at, ring, of, lids) {
  const n = ring.length;
  let before = 0;
  at.forEach((one, row) => {
    const v = V.cross(one.t, one.u);
    const first = mesh.x.length;
    for (const [a, b] of ring) addPoint(mesh, V.add(one.c, V.add(V.mul(one.u, a), V.mul(v, b))), of);
    if (row) {
      for (let i = 0; i < n; i++) {
        const j = (i + 1) % n;
        addFace(mesh, before + i, before + j, first + j);
        addFace(mesh, before + i, first + j, first + i);
      }
    }
    before = first;
  });
  // lids have corners of their own, so that the light does not round their edges off
  for (const one of [at[0], at[at.length - 1]].filter((_, end) => !lids || lids[end])) {
    const v = V.cross(one.t, one.u), first = mesh.x.length;
    for (const [a, b] of ring) addPoint(mesh, V.add(one.c, V.add(V.mul(one.u, a), V.mul(v, b))), of);
    for (let i = 1; i < n - 1; i++) addFace(mesh, first, first + i, first + i + 1);
  }
}

// A strip between two closed rows of as many points.
function addBand(mesh, first, second) {
  const n = first.length, a = mesh.x.length;
  for (const p of first.concat(second)) addPoint(mesh, p, 0);
  for (let i = 0; i < n; i++) {
    const j = (i + 1) % n;
    addFace(mesh, a + i, a + j, a + n + j);
    addFace(mesh, a + i, a + n + j, a + n + i);
  }
}

// A straight of round tube whose ends may be cut to fit: skin, the rim of each open end, and its bore. `cuts` are those
// of its two ends ({up, across, outer, inner}, `EVEN` for a square one, null where it goes on).
const EVEN = { outer: [0], inner: [0] };
function addCutStraight(meshes, [a, b], diameter, bore, cuts) {
  const known = cuts.find((cut) => cut && cut.up), u = known ? known.up : a.u, v = known ? known.across : V.cross(a.t, a.u);
  const n = 48, long = V.size(V.sub(b.c, a.c));
  // a row of points around the axis, each so far along it from a
  const row = (radius, along) =>
    Array.from({ length: n }, (_, i) => {
      const w = (2 * Math.PI * i) / n, side = V.add(V.mul(u, radius * Math.cos(w)), V.mul(v, radius * Math.sin(w)));
      return V.add(V.add(a.c, V.mul(a.t, along(i))), side);
    });
  const back = (cut, name) => (i) => (cut ? cut[name][i % cut[name].length] : 0);
  const rim = (end, radius, name) => row(radius, (i) => (end ? long - back(cuts[1], name)(i) : back(cuts[0], name)(i)));
  addBand(meshes.skin, rim(0, diameter / 2, "outer"), rim(1, diameter / 2, "outer"));
  cuts.forEach((cut, end) => {
    if (!cut) return;
    const inside = rim(end, bore / 2, "inner"), deep = Math.min(long * 0.98, Math.max(...cut.inner, ...cut.outer) + diameter * 1.5);
    addBand(meshes.rim, rim(end, diameter / 2, "outer"), inside);
    if (!bore) return;
    addBand(meshes.bore, inside, row(bore / 2, () => (end ? long - deep : deep)));
    addBand(meshes.bore, row(bore / 2, () => (end ? long - deep : deep)), row(0, () => (end ? long - deep : deep)));
  });
}

// A cone or, with equal radii, a cylinder from a to b.
function addCone(mesh, a, b, ra, rb, sides) {
  const t = V.unit(V.sub(b, a)), u = V.square(t), v = V.cross(t, u);
  const rings = [[a, ra], [b, rb]].map(([c, r]) =>
    Array.from({ length: sides }, (_, i) => {
      const w = (2 * Math.PI * i) / sides;
      return addPoint(mesh, V.add(c, V.add(V.mul(u, r * Math.cos(w)), V.mul(v, r * Math.sin(w)))), 0);
    })
  );
  const caps = [addPoint(mesh, a, 0), addPoint(mesh, b, 0)];
  for (let i = 0; i < sides; i++) {
    const j = (i + 1) % sides;
    addFace(mesh, rings[0][i], rings[0][j], rings[1][j]);
    addFace(mesh, rings[0][i], rings[1][j], rings[1][i]);
    addFace(mesh, caps[0], rings[0][i], rings[0][j]);
    addFace(mesh, caps[1], rings[1][i], rings[1][j]);
  }
}

function addQuad(mesh, corners) {
  const [a, b, c, d] = corners.map((p) => addPoint(mesh, p, 0));
  addFace(mesh, a, b, c);
  addFace(mesh, a, c, d);
}

function addBlock(mesh, low, high) {
  const p = [low, high];
  const at = (i, j, k) => [p[i][0], p[j][1], p[k][2]];
  for (const f of [0, 1]) {
    addQuad(mesh, [at(f, 0, 0), at(f, 1, 0), at(f, 1, 1), at(f, 0, 1)]);
    addQuad(mesh, [at(0, f, 0), at(1, f, 0), at(1, f, 1), at(0, f, 1)]);
    addQuad(mesh, [at(0, 0, f), at(1, 0, f), at(1, 1, f), at(0, 1, f)]);
  }
}

// Lines: several in one trace, with a gap between.
function newLines() {
  return { x: [], y: [], z: [] };
}

function addLine(lines, points) {
  if (lines.x.length) for (const axis of ["x", "y", "z"]) lines[axis].push(null);
  for (const p of points) {
    lines.x.push(p[0]);
    lines.y.push(p[1]);
    lines.z.push(p[2]);
  }
}

function circle(center, axis, radius, from, radians) {
  const u = from || V.mul(V.square(axis), radius), whole = radians === undefined ? 2 * Math.PI : radians;
  const steps = Math.max(2, Math.ceil((Math.abs(whole) * 36) / (2 * Math.PI)));
  return Array.from({ length: steps + 1 }, (_, i) => V.add(center, V.turn(u, axis, (whole * i) / steps)));
}

// The box around points: {low, high}.
function boxOf(points) {
  const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
  for (const p of points)
    for (let i = 0; i < 3; i++) {
      if (p[i] < low[i]) low[i] = p[i];
      if (p[i] > high[i]) high[i] = p[i];
    }
  return { low, high };
}
