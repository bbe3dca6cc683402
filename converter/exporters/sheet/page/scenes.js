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
      lighting: { ambient: 0.55, diffuse: 0.75, specular: 0.15, roughness: 0.7, fresnel: 0.05 },
      lightposition: { x: 2000, y: -4000, z: 8000 },
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

// labels: [[point, text]]
function textTrace(labels, color, size) {
  return {
    type: "scatter3d", mode: "text", x: labels.map((one) => one[0][0]), y: labels.map((one) => one[0][1]),
    z: labels.map((one) => one[0][2]), text: labels.map((one) => one[1]), hoverinfo: "skip",
    textfont: { color, size, family: "system-ui, sans-serif", weight: 700 },
  };
}

// All runs, in two meshes (fine ones, and ones with errors); `of` tells whose each corner is.
function jobScene(runs) {
  const c = colors();
  const fine = newMesh(), bad = newMesh(), rings = newLines(), points = [];
  const sides = runs.length > 60 ? 6 : 8, degrees = runs.length > 60 ? 22.5 : 15;
  runs.forEach((run, index) => {
    const ring = ringOf(run.outline, sides);
    const mesh = run.bad.length ? bad : fine;
    for (const part of partsOf(run.tube, degrees)) {
      addSkin(mesh, part.at, ring, index);
      for (const one of part.at) points.push(one.c);
      if (run.bad.includes(part.bend)) stripes(part, run.outline, rings);
    }
  });
  const box = boxOf(points);
  const traces = [];
  if (fine.x.length) traces.push(meshTrace(fine, c.metal, { hoverinfo: "none", of: fine.of }));
  if (bad.x.length) traces.push(meshTrace(bad, c.bad, { hoverinfo: "none", of: bad.of }), lineTrace(rings, c.ink, 3));
  return { traces, box, of: [fine.of, bad.of].filter((one) => one.length) };
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
  const off = Math.max(thick * 1.3, span * 0.045);
  for (const b of run.bends)
    labels.push([V.add(b.slice(1, 4), V.mul(b.slice(4, 7), off)), b[0] + (run.bad.includes(b[0]) ? " ✖ tight" : "")]);
  const ends = endsOf(run.tube), arrow = newMesh();
  if (ends) {
    const letters = ["A", "B"];
    ends.forEach((end, i) => labels.push([V.add(end.c, V.mul(end.out, off)), letters[i]]));
    // along the tube from the end fed first: beside it, as long as the first straight allows
    const from = run.first === "A" ? ends[0] : ends[1], way = V.mul(from.out, -1);
    const side = V.mul(V.square(way), thick * 1.4 + span * 0.01);
    const long = Math.max(span * 0.16, thick * 2.5), r = Math.max(span * 0.006, thick * 0.12);
    const tail = V.add(from.c, side), neck = V.add(tail, V.mul(way, long * 0.6)), tip = V.add(tail, V.mul(way, long));
    addCone(arrow, tail, neck, r, r, 12);
    addCone(arrow, neck, tip, r * 3.2, 0, 16);
    labels.push([V.add(V.add(tail, V.mul(way, long * 0.3)), V.mul(side, 1.1)), "feed"]);
    points.push(tip, V.add(tip, side));
  }
  for (const label of labels) points.push(label[0]);
  const traces = [
    meshTrace(straight, c.metal), meshTrace(bent, c.bent), meshTrace(bad, c.bad), meshTrace(arrow, c.accent),
    lineTrace(seams, c.ink, 2), lineTrace(rings, c.ink, 4), textTrace(labels, c.ink, 17),
  ].filter((trace) => trace.x.length);
  return { traces, box: boxOf(points) };
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
      labels.push([V.add(middle.c, V.mul(away, thick * 1.8)), String(number)]);
    }
  }
  // one box for all steps, so that the picture does not jump; it holds the floor
  const points = [];
  for (const one of run.steps) for (const pose of [one.fed, one.bent]) for (const part of partsOf(pose, 30)) for (const at of part.at) points.push(at.c);
  if (room.floor !== null) points.push([0, 0, room.floor]);
  const box = boxOf(points), span = Math.max(...V.sub(box.high, box.low));
  const off = Math.max(thick * 1.4, span * 0.035);

  const ghost = newLines();
  if (k) addLine(ghost, partsOf(step.fed, 7.5).flatMap((part) => part.at.map((one) => one.c)));
  const mark = newLines();
  addLine(mark, circle(step.mark, [1, 0, 0], thick * 0.62));
  addLine(mark, circle(V.add(step.mark, [thick * 0.12, 0, 0]), [1, 0, 0], thick * 0.62));

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
  labels.push([V.add(corners[2], V.mul(axis, 0)), "bend plane"]);

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
    labels.push([[low[0] + (high[0] - low[0]) * 0.1, low[1], z + off * 0.4], "floor"]);
  }
  if (room.ceiling !== null && room.ceiling < high[2] + span * 0.3) {
    const z = room.ceiling;
    addLine(lines, [[low[0], low[1], z], [high[0], low[1], z], [high[0], high[1], z], [low[0], high[1], z], [low[0], low[1], z]]);
    labels.push([[low[0], high[1], z], "ceiling"]);
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
    labels.push([at((low[other] + high[other]) / 2, high[2]), name]);
    points.push(at(low[other], low[2]));
  }
  for (const [a, b] of room.boxes) {
    addBlock(boxes, a, b);
    points.push(a, b);
  }

  const letters = run.first === "A" ? ["A", "B"] : ["B", "A"];
  const ends = endsOf(shown);
  ends.forEach((end, i) => labels.push([V.add(end.c, V.mul(end.out, off)), letters[i]]));
  // the free end's way, from fed to bent, about the die
  const swing = newLines();
  if (k) {
    const which = room.ahead ? 0 : 1;
    const from = endsOf(step.fed)[which].c, to = endsOf(step.bent)[which].c;
    const flat = (p) => V.sub(p, V.mul(axis, V.dot(p, axis)));
    const a = flat(from), b = flat(to);
    let r = Math.atan2(V.dot(V.cross(a, b), axis), V.dot(a, b));
    // a swing of more than half a turn goes on the way it began: toward the die
    const sense = V.dot(V.cross([1, 0, 0], toward), axis) * (room.ahead ? 1 : -1);
    if (r * sense < 0) r += 2 * Math.PI * sense;
    addLine(swing, circle(V.mul(axis, V.dot(from, axis)), axis, 0, a, r));
  }
  for (const label of labels) points.push(label[0]);
  points.push([low[0], low[1], low[2]], [high[0], high[1], high[2]]);
  const traces = [
    meshTrace(floor, c.ground, { opacity: 0.25 }), meshTrace(plane, c.accent, { opacity: 0.1 }),
    meshTrace(boxes, c.ground, { opacity: 0.8 }),
    meshTrace(die, c.die), meshTrace(metal, c.metal), meshTrace(bent, c.bent), meshTrace(bad, c.bad),
    lineTrace(lines, c.ground, 1.5), lineTrace(frame, c.accent, 2, "dot"), lineTrace(rim, c.ink, 2),
    lineTrace(ghost, c.ghost, 4, "dash"), lineTrace(swing, c.accent, 3, "dot"),
    lineTrace(rings, c.ink, 4), lineTrace(mark, c.ink, 6), textTrace(labels, c.ink, 16),
  ].filter((trace) => trace.x.length);
  return { traces, box: boxOf(points) };
}

// Where the eye stands, in units of the picture; up is z.
const EYES = {
  corner: { x: 1.2, y: -1.5, z: 0.95 },
  side: { x: 0, y: -2, z: 0.0001 },
  right: { x: 0.35, y: -1.9, z: 0.55 },
  behind: { x: -1.9, y: -0.5, z: 0.6 },
  above: { x: 0, y: -0.02, z: 2 },
};

function layoutOf(box, eye, zoom) {
  const size = V.sub(box.high, box.low), most = Math.max(...size, 1e-6);
  const axes = {}, aspect = {};
  ["x", "y", "z"].forEach((name, i) => {
    const pad = Math.max(size[i] * 0.02, most * 0.01);
    axes[name + "axis"] = {
      visible: false, showspikes: false, autorange: false, range: [box.low[i] - pad, box.high[i] + pad],
    };
    aspect[name] = ((size[i] + 2 * pad) / most) * zoom;
  });
  return {
    margin: { l: 0, r: 0, t: 0, b: 0 }, showlegend: false, paper_bgcolor: "rgba(0,0,0,0)", autosize: true,
    hovermode: "closest", uirevision: "stay",
    scene: Object.assign(axes, {
      aspectmode: "manual", aspectratio: aspect, bgcolor: "rgba(0,0,0,0)", dragmode: "orbit",
      camera: { eye, up: { x: 0, y: 0, z: 1 }, projection: { type: "orthographic" } },
    }),
  };
}
