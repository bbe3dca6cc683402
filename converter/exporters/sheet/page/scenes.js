// What plotly.js draws: the whole job, one finished tube, the stick in the bender. Names never go in here:
// plotly reads some marks in text as HTML, so its labels are only letters and words of our own.
"use strict";

function colors() {
  const style = getComputedStyle(document.documentElement);
  const value = (name) => style.getPropertyValue("--" + name).trim();
  return Object.fromEntries(
    ["ink", "paper", "metal", "bent", "bad", "accent", "die", "ground", "ghost"].map((name) => [name, value(name)])
  );
}

function meshTrace(mesh, color, more) {
  return Object.assign(
    {
      type: "mesh3d", x: mesh.x, y: mesh.y, z: mesh.z, i: mesh.i, j: mesh.j, k: mesh.k, color,
      flatshading: false, hoverinfo: "skip", showscale: false,
      lighting: { ambient: 0.62, diffuse: 0.62, specular: 0.08, roughness: 0.7, fresnel: 0.01 },
      // counted from the eye: from the right, a little from above and from in front
      lightposition: { x: 1e5, y: 6e4, z: -2e4 },
    },
    more
  );
}

function lineTrace(lines, color, width, dash) {
  return {
    type: "scatter3d", mode: "lines", x: lines.x, y: lines.y, z: lines.z, hoverinfo: "skip",
    line: { color, width, dash: dash || "solid" }, connectgaps: false,
  };
}

// Where the mark's label stands beside it, in pixels.
const MARK_AT = [-46, 52];

// Labels stand in front of everything: [point, text, look]; an 'arrow' points from beside it.
function annotationsOf(labels) {
  const c = colors();
  const looks = {
    end: { font: { color: c.paper, size: 18 }, bgcolor: c.accent, bordercolor: c.accent },
    number: { font: { color: c.ink, size: 16 }, bgcolor: c.paper, bordercolor: c.ink },
    wrong: { font: { color: c.paper, size: 16 }, bgcolor: c.bad, bordercolor: c.bad },
    plane: { font: { color: c.ink, size: 14 }, bgcolor: "rgba(0,0,0,0)", bordercolor: "rgba(0,0,0,0)", plain: true },
    word: { font: { color: c.ink, size: 15 }, bgcolor: "rgba(0,0,0,0)", bordercolor: "rgba(0,0,0,0)", plain: true },
  };
  return labels.map(([p, text, look]) => {
    if (look === "arrow")
      return {
        x: p[0], y: p[1], z: p[2], text, showarrow: true, ax: MARK_AT[0], ay: MARK_AT[1], arrowhead: 2, arrowwidth: 2, arrowsize: 1,
        arrowcolor: c.ink, bgcolor: c.paper, bordercolor: c.ink, borderwidth: 1, borderpad: 2, captureevents: false,
        font: { color: c.ink, size: 14, family: "system-ui, sans-serif" },
      };
    const one = looks[look];
    return {
      x: p[0], y: p[1], z: p[2], text, showarrow: false, bgcolor: one.bgcolor, bordercolor: one.bordercolor,
      borderpad: one.plain ? 0 : 3, borderwidth: 1.5, captureevents: false,
      xanchor: look === "plane" ? "left" : "center", yanchor: look === "plane" ? "bottom" : "middle",
      font: { ...one.font, family: "system-ui, sans-serif", weight: one.plain ? 400 : 700 },
    };
  });
}

function bendLabel(run, number) {
  if (!run.bad.includes(number)) return [String(number), "number"];
  return [number + (run.tight.includes(number) ? " ✖ too tight" : " ✖ error"), "wrong"];
}

const MOST_NUMBERS = 40;

// The middle of the longest straight, else where the tube starts.
function longest(tube) {
  let point = tube.p, best = tube.p, most = -1;
  for (const part of partsOf(tube, 45)) {
    const a = part.at[0].c, b = part.at[part.at.length - 1].c, size = V.size(V.sub(b, a));
    if (!part.bend && size > most) {
      most = size;
      best = V.mul(V.add(a, b), 0.5);
    }
    point = b;
  }
  return most < 0 ? point : best;
}

// All runs, in two meshes (fine ones, and ones with errors); `of` tells whose each corner is.
function jobScene(runs) {
  const c = colors();
  const fine = newMesh(), bad = newMesh(), rings = newLines(), points = [], labels = [];
  const sides = runs.length > 60 ? 6 : 8, degrees = runs.length > 60 ? 22.5 : 15;
  runs.forEach((run, index) => {
    const ring = ringOf(run.outline, sides);
    const mesh = run.bad.length ? bad : fine;
    for (const part of partsOf(run.tube, degrees)) {
      addSkin(mesh, part.at, ring, index);
      for (const one of part.at) points.push(one.c);
      if (run.bad.includes(part.bend)) stripes(part, run.outline, rings);
    }
    // numbers as in the list of runs, where there is room for them
    if (runs.length <= MOST_NUMBERS) labels.push([longest(run.tube), String(index + 1), run.bad.length ? "wrong" : "number"]);
  });
  const traces = [];
  if (fine.x.length) traces.push(meshTrace(fine, c.metal, { hoverinfo: "none", of: fine.of }));
  if (bad.x.length) traces.push(meshTrace(bad, c.bad, { hoverinfo: "none", of: bad.of }), lineTrace(rings, c.ink, 3));
  return { traces, points, labels, of: [fine.of, bad.of].filter((one) => one.length) };
}

// Rings around a bend that must be seen without colour.
function stripes(part, outline, lines) {
  const ring = ringOf(outline, 20, 0.02 * outline[0] + 0.3);
  part.at.forEach((one, i) => {
    if (i % 2) return;
    const v = V.cross(one.t, one.u);
    const loop = ring.map(([a, b]) => V.add(one.c, V.add(V.mul(one.u, a), V.mul(v, b))));
    addLine(lines, loop.concat([loop[0]]));
  });
}

function endsOf(tube) {
  const parts = partsOf(tube, 30);
  if (!parts.length) return null;
  const first = parts[0].at[0], last = parts[parts.length - 1].at;
  const end = last[last.length - 1];
  return [
    { c: first.c, out: V.mul(first.t, -1) },
    { c: end.c, out: end.t },
  ];
}

// One finished tube where it was drawn.
function tubeScene(run) {
  const c = colors();
  const straight = newMesh(), bent = newMesh(), bad = newMesh(), rings = newLines(), seams = newLines();
  const ring = ringOf(run.outline, 16), points = [], labels = [];
  const thick = Math.max(run.outline[0], run.outline[1] || 0);
  for (const part of partsOf(run.tube, 7.5)) {
    const wrong = run.bad.includes(part.bend);
    addSkin(part.bend ? (wrong ? bad : bent) : straight, part.at, ring, 0);
    for (const one of part.at) points.push(one.c);
    if (wrong) stripes(part, run.outline, rings);
    else if (part.bend)
      for (const one of [part.at[0], part.at[part.at.length - 1]])
        stripes({ at: [one] }, run.outline, seams);
  }
  const box = boxOf(points), span = Math.max(...V.sub(box.high, box.low), thick);
  const off = Math.max(thick * 1.3, span * 0.06);
  for (const b of run.bends)
    labels.push([V.add(b.slice(1, 4), V.mul(b.slice(4, 7), off)), ...bendLabel(run, b[0])]);
  const ends = endsOf(run.tube), arrow = newMesh();
  if (ends) {
    const letters = ["A", "B"];
    ends.forEach((end, i) => labels.push([V.add(end.c, V.mul(end.out, off)), letters[i], "end"]));
    // along the tube from the end fed first: beside it, as long as the first straight allows
    const from = run.first === "A" ? ends[0] : ends[1], way = V.mul(from.out, -1);
    // beside it as first seen, on the side that is away from the rest of the tube
    const seen = V.cross(way, V.unit(EYES.corner)), beside = V.size(seen) < 0.1 ? V.square(way) : V.unit(seen);
    const middle = V.mul(V.add(box.low, box.high), 0.5), other = run.first === "A" ? ends[1] : ends[0];
    const back = V.add(V.unit(V.sub(from.c, middle)), V.mul(V.unit(V.sub(from.c, other.c)), 2));
    const side = V.mul(beside, (V.dot(back, beside) < 0 ? -1 : 1) * (thick * 1.2 + span * 0.03));
    const long = Math.max(span * 0.16, thick * 2.5), r = Math.max(span * 0.006, thick * 0.12);
    const tail = V.add(from.c, side), neck = V.add(tail, V.mul(way, long * 0.6)), tip = V.add(tail, V.mul(way, long));
    addCone(arrow, tail, neck, r, r, 12);
    addCone(arrow, neck, tip, r * 3.2, 0, 16);
    labels.push([V.add(V.add(tail, V.mul(way, long * 0.5)), V.mul(V.unit(side), span * 0.08)), "feed", "word"]);
    points.push(tip, V.add(tip, side));
  }
  for (const label of labels) points.push(label[0]);
  const traces = [
    meshTrace(straight, c.metal), meshTrace(bent, c.bent), meshTrace(bad, c.bad), meshTrace(arrow, c.accent),
    lineTrace(seams, c.ink, 2), lineTrace(rings, c.ink, 4),
  ].filter((trace) => trace.x.length);
  return { traces, points, labels };
}

// How much of the stick is worth looking at: long straights that hold nothing are cut off, on the side that
// goes first where no bend has been made yet, and on the stock. {a, b}: so much from either end, mm.
function cutOf(step, thick) {
  const parts = partsOf(step.fed, 30), first = parts[0], last = parts[parts.length - 1];
  const long = (part) => V.size(V.sub(part.at[part.at.length - 1].c, part.at[0].c));
  const holds = (part) => !part.bend && V.dot(V.sub(step.touch, part.at[0].c), part.at[0].t) >= -0.01 && V.dot(V.sub(step.touch, part.at[part.at.length - 1].c), part.at[0].t) <= 0.01;
  const least = Math.max(step.clr * 5, thick * 9);
  let ahead = 0;
  for (const part of parts) {
    if (holds(part)) break;
    for (const one of part.at) ahead = Math.max(ahead, V.size(V.sub(one.c, step.touch)));
  }
  const keep = Math.max(least, ahead * 0.45);
  const over = (size) => (size > keep * 1.25 ? size - keep : 0);
  return {
    a: holds(first) ? over(V.size(V.sub(step.touch, first.at[0].c))) : 0,
    b: last.bend ? 0 : over(holds(last) ? V.size(V.sub(last.at[1].c, step.touch)) : long(last)),
  };
}

// Points of a pose without what is cut off; the first and the last are its ends then.
function pointsOf(pose, cut) {
  const parts = partsOf(pose, 10), found = parts.flatMap((part) => part.at.map((one) => one.c));
  const first = parts[0].at, last = parts[parts.length - 1].at;
  found[0] = V.add(first[0].c, V.mul(first[0].t, cut.a));
  found[found.length - 1] = V.sub(last[last.length - 1].c, V.mul(last[last.length - 1].t, cut.b));
  return found;
}

// The way of the end that swings, from fed to bent, about the die.
function swingOf(step, room, cut) {
  const end = (pose) => pointsOf(pose, cut).at(room.ahead ? 0 : -1);
  const from = end(step.fed), to = end(step.bent), axis = room.axis;
  const flat = (p) => V.sub(p, V.mul(axis, V.dot(p, axis)));
  const a = flat(from), b = flat(to);
  let r = Math.atan2(V.dot(V.cross(a, b), axis), V.dot(a, b));
  // a swing of more than half a turn goes on the way it began: toward the die
  const sense = V.dot(V.cross([1, 0, 0], room.toward), axis) * (room.ahead ? 1 : -1);
  if (r * sense < 0) r += 2 * Math.PI * sense;
  return circle(V.mul(axis, V.dot(from, axis)), axis, 0, a, r);
}

// A box around points, as its eight corners.
function cornersOf(points) {
  const box = boxOf(points), p = [box.low, box.high];
  return [0, 1, 2, 3, 4, 5, 6, 7].map((n) => [p[n & 1][0], p[(n >> 1) & 1][1], p[n >> 2][2]]);
}

// The stick in the bender: step 0 before the first bend, step k after the k-th. What the picture is to hold:
// 'bend' (what moves in this bend), 'die' (the mark and the die), 'all' (the whole stick and the room).
function benderScene(run, room, k, frame) {
  const c = colors();
  const step = run.steps[Math.max(0, k - 1)];
  const shown = k ? step.bent : step.fed;
  const thick = Math.max(run.outline[0], run.outline[1] || 0), axis = room.axis, toward = room.toward;
  const cut = frame === "all" ? { a: 0, b: 0 } : cutOf(step, thick), ends = endsOf(shown);

  // the die and what lies next to it, then what moves
  const near = [];
  const inPlane = (x, y) => V.add([x, 0, 0], V.mul(toward, y));
  const close = step.clr * 1.25 + thick * 2.5;
  for (const x of [-close, close]) for (const y of [-close, close]) near.push(inPlane(x, y));
  const swung = swingOf(step, room, cut);
  const moving = [...near, ...pointsOf(step.fed, cut), ...pointsOf(step.bent, cut), ...swung];
  // an end that comes to lie among the rest is seen after all
  const about = boxOf(moving), beside = Math.max(...V.sub(about.high, about.low)) * 0.15;
  const within = (p) => p.every((v, i) => v > about.low[i] - beside && v < about.high[i] + beside);
  const gone = [cut.a, cut.b].map((less, i) => less > 0 && !within(ends[i].c));
  const points = frame === "die" ? near.slice() : moving.slice();
  const box = boxOf(points), span = Math.max(...V.sub(box.high, box.low)), pad = span * 0.05;
  const off = Math.max(thick * 1.1, span * 0.045);

  const metal = newMesh(), bent = newMesh(), bad = newMesh(), rings = newLines(), bounds = [];
  const ring = ringOf(run.outline, 16), labels = [];
  // the mark first: other labels make room for it
  labels.push([step.mark, "mark " + step.bend, "arrow"]);
  for (const part of partsOf(shown, 7.5)) {
    const number = part.bend ? step.made[part.bend - 1] : 0, wrong = run.bad.includes(number);
    addSkin(number ? (wrong ? bad : bent) : metal, part.at, ring, 0);
    for (const one of part.at) bounds.push(one.c);
    if (wrong) stripes(part, run.outline, rings);
    if (number) {
      const middle = part.at[Math.floor(part.at.length / 2)], a = part.at[0].c, b = part.at[part.at.length - 1].c;
      const away = V.unit(V.sub(middle.c, V.mul(V.add(a, b), 0.5)));
      labels.push([V.add(middle.c, V.mul(away, thick * 0.5 + off)), number + (wrong ? " ✖" : ""), wrong ? "wrong" : "number"]);
    }
  }

  const ghost = newLines();
  if (k) addLine(ghost, partsOf(step.fed, 7.5).flatMap((part) => part.at.map((one) => one.c)));
  for (const part of partsOf(step.fed, 30)) for (const one of part.at) bounds.push(one.c);
  const mark = newLines();
  for (const d of [0, 0.06, 0.12]) addLine(mark, circle(V.add(step.mark, [thick * d, 0, 0]), [1, 0, 0], thick * 0.56));

  const die = newMesh(), rim = newLines();
  const half = V.mul(axis, Math.max(step.groove, thick) * 0.6), inside = Math.max(step.clr - thick / 2, step.clr * 0.3);
  addCone(die, V.sub([0, 0, 0], half), half, inside, inside, 40);
  for (const at of [half, V.mul(half, -1)]) addLine(rim, circle(at, axis, inside));

  // the bend plane, as large as the picture
  const plane = newMesh(), edge = newLines();
  const across = points.map((p) => V.dot(p, toward)), along = points.map((p) => p[0]);
  const [x0, x1, y0, y1] = [Math.min(...along) - pad, Math.max(...along) + pad, Math.min(...across) - pad, Math.max(...across) + pad];
  const corners = [inPlane(x0, y0), inPlane(x1, y0), inPlane(x1, y1), inPlane(x0, y1)];
  addQuad(plane, corners);
  addLine(edge, corners.concat([corners[0]]));
  labels.push([corners[3], "bend plane", "plane"]);
  points.push(...corners);

  const floor = newMesh(), lines = newLines(), plumb = newLines(), boxes = newMesh();
  if (frame === "all") for (const [a, b] of room.boxes) points.push(a, b);
  const low = boxOf(points).low.map((v) => v - pad), high = boxOf(points).high.map((v) => v + pad);
  // depth for the floor where the stick lies in one plane
  for (const i of [0, 1]) {
    const lacks = span * 0.36 - (high[i] - low[i]);
    if (lacks > 0) {
      low[i] -= lacks / 2;
      high[i] += lacks / 2;
    }
  }
  if (room.floor !== null) {
    const z = room.floor;
    if (frame === "all" || (frame === "bend" && z > low[2] - span * 0.4)) {
      low[2] = Math.min(low[2], z);
      addQuad(floor, [[low[0], low[1], z], [high[0], low[1], z], [high[0], high[1], z], [low[0], high[1], z]]);
      for (let i = 0; i <= 6; i++) {
        const x = low[0] + ((high[0] - low[0]) * i) / 6;
        addLine(lines, [[x, low[1], z], [x, high[1], z]]);
      }
      for (let i = 0; i <= 3; i++) {
        const y = low[1] + ((high[1] - low[1]) * i) / 3;
        addLine(lines, [[low[0], y, z], [high[0], y, z]]);
      }
      labels.push([[low[0] + (high[0] - low[0]) * 0.1, low[1], z], "floor", "word"]);
      points.push([low[0], low[1], z], [high[0], low[1], z], [high[0], high[1], z], [low[0], high[1], z]);
    } else {
      // too far down to show: which way it lies
      const level = Math.abs(axis[2]) > 0.5, foot = level ? [low[0] + off, low[1] + off, low[2]] : [0, 0, low[2]];
      if (!level) addLine(plumb, [[0, 0, -step.clr], foot]);
      labels.push([foot, "floor ▼", "word"]);
      points.push(foot);
    }
  }
  if (room.ceiling !== null && room.ceiling < high[2] + span * 0.3) {
    const z = room.ceiling;
    addLine(lines, [[low[0], low[1], z], [high[0], low[1], z], [high[0], high[1], z], [low[0], high[1], z], [low[0], low[1], z]]);
    labels.push([[low[0], high[1], z], "ceiling", "word"]);
    points.push([low[0], low[1], z]);
  }
  for (const [which, place, name] of room.walls) {
    const reach = frame === "all" ? span * 0.3 : span * 0.05;
    if (place < low[which] - reach || place > high[which] + reach) continue;
    const other = 1 - which;
    const at = (o, z) => {
      const p = [0, 0, z];
      p[which] = place;
      p[other] = o;
      return p;
    };
    addLine(lines, [at(low[other], low[2]), at(high[other], low[2]), at(high[other], high[2]), at(low[other], high[2]), at(low[other], low[2])]);
    labels.push([at((low[other] + high[other]) / 2, high[2]), name, "word"]);
    points.push(at(low[other], low[2]));
  }
  for (const [a, b] of room.boxes) {
    addBlock(boxes, a, b);
    bounds.push(a, b);
  }

  // letters at the ends, or where the stick leaves the picture
  const letters = run.first === "A" ? ["A", "B"] : ["B", "A"], seen = pointsOf(shown, cut);
  gone.forEach((less, i) => {
    labels.push([V.add(ends[i].c, V.mul(ends[i].out, off)), letters[i], "end"]);
    if (!less && frame !== "die") points.push(labels[labels.length - 1][0]);
    else if (frame === "bend") labels.push([seen.at(-i), "to " + letters[i], "end"]);
  });
  const swing = newLines(), head = newMesh();
  if (k) {
    addLine(swing, swung);
    const tip = swung.at(-1), before = swung.at(-2), size = Math.min(V.size(V.sub(tip, swung[0])), span) * 0.5;
    const way = V.unit(V.sub(tip, before)), big = Math.min(size, Math.max(span * 0.06, thick));
    addCone(head, V.sub(tip, V.mul(way, big)), tip, big * 0.3, 0, 16);
  }
  for (const trace of [lines, edge, swing, plumb, rim])
    trace.x.forEach((x, i) => { if (x !== null) bounds.push([x, trace.y[i], trace.z[i]]); });
  for (const one of cornersOf(bounds.concat(points))) bounds.push(V.add(one, V.mul(V.unit(one), thick * 2)));
  const traces = [
    meshTrace(floor, c.ground, { opacity: 0.25 }), meshTrace(plane, c.accent, { opacity: 0.1 }),
    meshTrace(boxes, c.ground, { opacity: 0.8 }),
    meshTrace(die, c.die), meshTrace(metal, c.metal), meshTrace(bent, c.bent), meshTrace(bad, c.bad),
    meshTrace(head, c.accent),
    lineTrace(lines, c.ground, 1.5), lineTrace(edge, c.accent, 2, "dot"), lineTrace(rim, c.ink, 2),
    lineTrace(plumb, c.ground, 2, "dash"), lineTrace(ghost, c.ghost, 4, "dash"), lineTrace(swing, c.accent, 4, "dot"),
    lineTrace(rings, c.ink, 4), lineTrace(mark, c.ink, 6),
  ].filter((trace) => trace.x.length);
  return { traces, points, bounds, labels };
}

// Which way the eye looks from; up is z.
const EYES = {
  corner: [1.2, -1.5, 0.95],
  side: [0, -1, 0.0001],
  right: [0.6, -1.9, 0.6],
  behind: [-1.9, -0.45, 0.6],
  above: [0, -0.3, 2],
};

// Labels that would stand on one another, moved apart: [right, up] in pixels for each. `px` is where each is,
// from the middle of the picture.
function apart(labels, px) {
  const placed = [];
  return labels.map(([, text, look], i) => {
    const arrow = look === "arrow", wide = (look === "end" ? 13 : 10) * text.length + 12, tall = 28;
    const x = px[i][0] + (arrow ? MARK_AT[0] : look === "plane" ? wide / 2 : 0), y = px[i][1] - (arrow ? MARK_AT[1] : 0);
    const free = (dx, dy) => placed.every((one) => Math.abs(one.x - x - dx) >= (one.wide + wide) / 2 || Math.abs(one.y - y - dy) >= tall);
    // away from the middle first
    const ways = [[0, 0]], u = y < 0 ? -1 : 1, r = x < 0 ? -1 : 1;
    for (const d of [10, 18, 26, 36, 48]) ways.push([0, d * u], [d * r, 0], [d * r, d * u], [-d * r, 0], [-d * r, d * u], [0, -d * u]);
    const [dx, dy] = (!arrow && ways.find((way) => free(...way))) || [0, 0];
    placed.push({ x: x + dx, y: y + dy, wide });
    return [dx, dy];
  });
}

// Camera and proportions that let a scene fill its stage of `size` pixels. plotly's orthographic view shows 2
// units of its aspect ratio from top to bottom, whatever the distance of the eye; that only has to clear the
// scene. `points` are to be seen, `bounds` holds all that is drawn.
function layoutOf(scene, eye, zoom, [width, height]) {
  const { low, high } = boxOf((scene.bounds || []).concat(scene.points)), size = V.sub(high, low), most = Math.max(...size, 1e-6);
  const middle = V.mul(V.add(low, high), 0.5), axes = {}, aspect = {};
  const toward = V.unit(EYES[eye] || eye), right = V.unit(V.cross([0, 0, 1], toward)), up = V.cross(toward, right);
  const flat = (p) => [V.dot(V.sub(p, middle), right), V.dot(V.sub(p, middle), up)];
  let x = [Infinity, -Infinity], y = [Infinity, -Infinity];
  for (const p of scene.points) {
    const [a, b] = flat(p);
    x = [Math.min(x[0], a), Math.max(x[1], a)];
    y = [Math.min(y[0], b), Math.max(y[1], b)];
  }
  // units of aspect per mm; labels take some pixels on every side
  const least = Math.max(x[1] - x[0], y[1] - y[0], 1e-6) * 0.1, unit = 2 / height;
  const k = zoom * unit * Math.min((width - 56) / Math.max(x[1] - x[0], least), (height - 52) / Math.max(y[1] - y[0], least));
  ["x", "y", "z"].forEach((name, i) => {
    const half = Math.max(size[i], most * 0.02) / 2 + most * 0.02;
    axes[name + "axis"] = { visible: false, showspikes: false, autorange: false, range: [middle[i] - half, middle[i] + half] };
    aspect[name] = 2 * half * k;
  });
  const center = V.mul(V.add(V.mul(right, (x[0] + x[1]) / 2), V.mul(up, (y[0] + y[1]) / 2)), k);
  const place = V.add(center, V.mul(toward, Math.max(10, 10 * zoom, 2 * most * k)));
  const named = (p) => ({ x: p[0], y: p[1], z: p[2] });
  const px = scene.labels.map(([p]) => V.mul(V.sub([...flat(p), 0], [(x[0] + x[1]) / 2, (y[0] + y[1]) / 2, 0]), k / unit));
  const annotations = annotationsOf(scene.labels), moves = apart(scene.labels, px);
  annotations.forEach((one, i) => Object.assign(one, { xshift: moves[i][0], yshift: moves[i][1] }));
  return {
    margin: { l: 0, r: 0, t: 0, b: 0 }, showlegend: false, paper_bgcolor: "rgba(0,0,0,0)", autosize: true,
    hovermode: "closest",
    scene: Object.assign(axes, {
      annotations, aspectmode: "manual", aspectratio: aspect, bgcolor: "rgba(0,0,0,0)", dragmode: "turntable",
      camera: { eye: named(place), center: named(center), up: { x: 0, y: 0, z: 1 }, projection: { type: "orthographic" } },
    }),
  };
}
