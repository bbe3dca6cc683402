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

// Labels stand in front of everything: [point, text, look]; an 'arrow' points from beside it.
function annotationsOf(labels) {
  const c = colors();
  const looks = {
    end: { font: { color: c.paper, size: 18 }, bgcolor: c.accent, bordercolor: c.accent },
    number: { font: { color: c.ink, size: 16 }, bgcolor: c.paper, bordercolor: c.ink },
    wrong: { font: { color: c.paper, size: 16 }, bgcolor: c.bad, bordercolor: c.bad },
    word: { font: { color: c.ink, size: 15 }, bgcolor: "rgba(0,0,0,0)", bordercolor: "rgba(0,0,0,0)" },
  };
  return labels.map(([p, text, look]) => {
    if (look === "arrow")
      return {
        x: p[0], y: p[1], z: p[2], text, showarrow: true, ax: -46, ay: 52, arrowhead: 2, arrowwidth: 2, arrowsize: 1,
        arrowcolor: c.ink, bgcolor: c.paper, bordercolor: c.ink, borderwidth: 1, borderpad: 2, captureevents: false,
        font: { color: c.ink, size: 14, family: "system-ui, sans-serif" },
      };
    const one = looks[look];
    return {
      x: p[0], y: p[1], z: p[2], text, showarrow: false, bgcolor: one.bgcolor, bordercolor: one.bordercolor,
      borderpad: look === "word" ? 0 : 3, borderwidth: 1.5, captureevents: false,
      font: { ...one.font, family: "system-ui, sans-serif", weight: look === "word" ? 400 : 700 },
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

// The way of the end that swings, from fed to bent, about the die.
function swingOf(step, room) {
  const which = room.ahead ? 0 : 1, axis = room.axis;
  const from = endsOf(step.fed)[which].c, to = endsOf(step.bent)[which].c;
  const flat = (p) => V.sub(p, V.mul(axis, V.dot(p, axis)));
  const a = flat(from), b = flat(to);
  let r = Math.atan2(V.dot(V.cross(a, b), axis), V.dot(a, b));
  // a swing of more than half a turn goes on the way it began: toward the die
  const sense = V.dot(V.cross([1, 0, 0], room.toward), axis) * (room.ahead ? 1 : -1);
  if (r * sense < 0) r += 2 * Math.PI * sense;
  return circle(V.mul(axis, V.dot(from, axis)), axis, 0, a, r);
}

// The stick in the bender: step 0 before the first bend, step k after the k-th.
function benderScene(run, room, k) {
  const c = colors();
  const step = run.steps[Math.max(0, k - 1)];
  const shown = k ? step.bent : step.fed;
  const thick = Math.max(run.outline[0], run.outline[1] || 0);
  const metal = newMesh(), bent = newMesh(), bad = newMesh(), rings = newLines();
  const ring = ringOf(run.outline, 14), labels = [];
  for (const part of partsOf(shown, 7.5)) {
    const number = part.bend ? step.made[part.bend - 1] : 0, wrong = run.bad.includes(number);
    addSkin(number ? (wrong ? bad : bent) : metal, part.at, ring, 0);
    if (wrong) stripes(part, run.outline, rings);
    if (number) {
      const middle = part.at[Math.floor(part.at.length / 2)], a = part.at[0].c, b = part.at[part.at.length - 1].c;
      const away = V.unit(V.sub(middle.c, V.mul(V.add(a, b), 0.5)));
      labels.push([V.add(middle.c, V.mul(away, thick * 2.2)), number + (wrong ? " ✖" : ""), wrong ? "wrong" : "number"]);
    }
  }
  // one box for all steps, so that the picture does not jump; it holds the floor
  const points = [];
  for (const one of run.steps) for (const pose of [one.fed, one.bent]) for (const part of partsOf(pose, 30)) for (const at of part.at) points.push(at.c);
  for (const one of run.steps) points.push(...swingOf(one, room));
  if (room.floor !== null) points.push([0, 0, room.floor]);
  const box = boxOf(points), span = Math.max(...V.sub(box.high, box.low));
  const off = Math.max(thick * 1.4, span * 0.045);

  const ghost = newLines();
  if (k) addLine(ghost, partsOf(step.fed, 7.5).flatMap((part) => part.at.map((one) => one.c)));
  const mark = newLines();
  addLine(mark, circle(step.mark, [1, 0, 0], thick * 0.62));
  addLine(mark, circle(V.add(step.mark, [thick * 0.12, 0, 0]), [1, 0, 0], thick * 0.62));

  labels.push([step.mark, "mark " + step.bend, "arrow"]);

  const die = newMesh(), rim = newLines(), axis = room.axis;
  const half = V.mul(axis, Math.max(step.groove, thick) * 0.6), inside = Math.max(step.clr - thick / 2, step.clr * 0.3);
  addCone(die, V.sub([0, 0, 0], half), half, inside, inside, 40);
  for (const at of [half, V.mul(half, -1)]) addLine(rim, circle(at, axis, inside));

  // the bend plane, as wide as the leg that swings reaches, but not wider than the picture
  const plane = newMesh(), frame = newLines(), toward = room.toward;
  const reach = Math.min(span * 0.6, Math.max(step.clr * 2.5, span * 0.3));
  const corners = [[-1, -0.35], [1, -0.35], [1, 1], [-1, 1]].map(([a, b]) => V.add(V.mul([1, 0, 0], a * reach), V.mul(toward, b * reach)));
  addQuad(plane, corners);
  addLine(frame, corners.concat([corners[0]]));
  labels.push([V.add(corners[2], V.mul(axis, 0)), "bend plane", "word"]);

  const floor = newMesh(), lines = newLines(), boxes = newMesh();
  const [low, high] = [box.low.map((v) => v - span * 0.04), box.high.map((v) => v + span * 0.04)];
  if (high[1] - low[1] < span * 0.3) {
    low[1] -= span * 0.15;
    high[1] += span * 0.15;
  }
  if (room.floor !== null) {
    const z = room.floor;
    addQuad(floor, [[low[0], low[1], z], [high[0], low[1], z], [high[0], high[1], z], [low[0], high[1], z]]);
    for (let i = 0; i <= 6; i++) {
      const x = low[0] + ((high[0] - low[0]) * i) / 6;
      addLine(lines, [[x, low[1], z], [x, high[1], z]]);
    }
    for (let i = 0; i <= 3; i++) {
      const y = low[1] + ((high[1] - low[1]) * i) / 3;
      addLine(lines, [[low[0], y, z], [high[0], y, z]]);
    }
    labels.push([[low[0] + (high[0] - low[0]) * 0.1, low[1], z + off * 0.4], "floor", "word"]);
  }
  if (room.ceiling !== null && room.ceiling < high[2] + span * 0.3) {
    const z = room.ceiling;
    addLine(lines, [[low[0], low[1], z], [high[0], low[1], z], [high[0], high[1], z], [low[0], high[1], z], [low[0], low[1], z]]);
    labels.push([[low[0], high[1], z], "ceiling", "word"]);
    points.push([low[0], low[1], z]);
  }
  for (const [along, place, name] of room.walls) {
    if (place < low[along] - span * 0.3 || place > high[along] + span * 0.3) continue;
    const other = 1 - along;
    const at = (o, z) => {
      const p = [0, 0, z];
      p[along] = place;
      p[other] = o;
      return p;
    };
    addLine(lines, [at(low[other], low[2]), at(high[other], low[2]), at(high[other], high[2]), at(low[other], high[2]), at(low[other], low[2])]);
    labels.push([at((low[other] + high[other]) / 2, high[2]), name, "word"]);
    points.push(at(low[other], low[2]));
  }
  for (const [a, b] of room.boxes) {
    addBlock(boxes, a, b);
    points.push(a, b);
  }

  const letters = run.first === "A" ? ["A", "B"] : ["B", "A"];
  const ends = endsOf(shown);
  ends.forEach((end, i) => labels.push([V.add(end.c, V.mul(end.out, off)), letters[i], "end"]));
  const swing = newLines();
  if (k) addLine(swing, swingOf(step, room));
  for (const label of labels) points.push(label[0]);
  points.push([low[0], low[1], low[2]], [high[0], high[1], high[2]]);
  const traces = [
    meshTrace(floor, c.ground, { opacity: 0.25 }), meshTrace(plane, c.accent, { opacity: 0.1 }),
    meshTrace(boxes, c.ground, { opacity: 0.8 }),
    meshTrace(die, c.die), meshTrace(metal, c.metal), meshTrace(bent, c.bent), meshTrace(bad, c.bad),
    lineTrace(lines, c.ground, 1.5), lineTrace(frame, c.accent, 2, "dot"), lineTrace(rim, c.ink, 2),
    lineTrace(ghost, c.ghost, 4, "dash"), lineTrace(swing, c.accent, 3, "dot"),
    lineTrace(rings, c.ink, 4), lineTrace(mark, c.ink, 6),
  ].filter((trace) => trace.x.length);
  return { traces, points, labels };
}

// Which way the eye looks from; up is z.
const EYES = {
  corner: [1.2, -1.5, 0.95],
  side: [0, -1, 0.0001],
  right: [0.2, -1.9, 0.5],
  behind: [-1.9, -0.45, 0.6],
  above: [0, -0.3, 2],
};

// Camera and proportions that let a scene fill its stage. plotly's orthographic view shows 2 units of its
// aspect ratio from top to bottom, whatever the distance of the eye; that only has to clear the scene.
function layoutOf(scene, eye, zoom, wide) {
  const { low, high } = boxOf(scene.points), size = V.sub(high, low), most = Math.max(...size, 1e-6);
  const middle = V.mul(V.add(low, high), 0.5), axes = {}, aspect = {};
  const toward = V.unit(EYES[eye]), right = V.unit(V.cross([0, 0, 1], toward)), up = V.cross(toward, right);
  let x = [Infinity, -Infinity], y = [Infinity, -Infinity];
  for (const p of scene.points) {
    const at = V.sub(p, middle), a = V.dot(at, right), b = V.dot(at, up);
    x = [Math.min(x[0], a), Math.max(x[1], a)];
    y = [Math.min(y[0], b), Math.max(y[1], b)];
  }
  // units of aspect per mm
  const k = zoom * Math.min((2 * wide * 0.86) / Math.max(x[1] - x[0], most * 0.1), (2 * 0.82) / Math.max(y[1] - y[0], most * 0.1));
  ["x", "y", "z"].forEach((name, i) => {
    const half = Math.max(size[i], most * 0.02) / 2 + most * 0.02;
    axes[name + "axis"] = { visible: false, showspikes: false, autorange: false, range: [middle[i] - half, middle[i] + half] };
    aspect[name] = 2 * half * k;
  });
  const center = V.mul(V.add(V.mul(right, (x[0] + x[1]) / 2), V.mul(up, (y[0] + y[1]) / 2)), k);
  const place = V.add(center, V.mul(toward, 10 * Math.max(1, zoom)));
  const named = (p) => ({ x: p[0], y: p[1], z: p[2] });
  return {
    margin: { l: 0, r: 0, t: 0, b: 0 }, showlegend: false, paper_bgcolor: "rgba(0,0,0,0)", autosize: true,
    hovermode: "closest",
    scene: Object.assign(axes, {
      annotations: annotationsOf(scene.labels), aspectmode: "manual", aspectratio: aspect, bgcolor: "rgba(0,0,0,0)", dragmode: "orbit",
      camera: { eye: named(place), center: named(center), up: { x: 0, y: 0, z: 1 }, projection: { type: "orthographic" } },
    }),
  };
}
