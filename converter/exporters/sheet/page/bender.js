// What plotly.js draws of the stick in the bender, one bend at a time.
"use strict";

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
function benderScene(page, room, k, frame) {
  const c = colors();
  const step = page.steps[Math.max(0, k - 1)];
  const shown = k ? step.bent : step.fed;
  const thick = Math.max(page.outline[0], page.outline[1] || 0), axis = room.axis, toward = room.toward;
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
  const ring = ringOf(page.outline, 16), labels = [];
  // the mark first: other labels make room for it
  labels.push([step.mark, "mark " + step.bend, "arrow"]);
  for (const part of partsOf(shown, 7.5)) {
    const number = part.bend ? step.made[part.bend - 1] : 0, wrong = page.bad.includes(number);
    addSkin(number ? (wrong ? bad : bent) : metal, part.at, ring, 0);
    for (const one of part.at) bounds.push(one.c);
    if (wrong) stripes(part, page.outline, rings);
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

  // clamp, pressure die and stop as the shop has them; clamp and die swing with the end that swings
  const jaws = newMesh(), stopLine = newLines(), own = bench.machineOf(page.key, step.bend);
  if (own) {
    const turned = k ? own.stop : 0, outside = step.clr + thick / 2, deep = Math.max(step.groove, thick) * 0.55, sense = room.ahead ? 1 : -1;
    const swing = (p, degrees) => V.turn(p, axis, (sense * degrees * Math.PI) / 180);
    const jaw = (long, degrees) => {
      const corners = [0, 1, 2, 3, 4, 5, 6, 7].map((n) => swing(V.add(inPlane(n & 1 ? long : 0, -outside - ((n >> 1) & 1 ? thick * 0.75 : 0)), V.mul(axis, n >> 2 ? deep : -deep)), degrees));
      for (const face of [[0, 1, 3, 2], [4, 5, 7, 6], [0, 1, 5, 4], [2, 3, 7, 6], [0, 2, 6, 4], [1, 3, 7, 5]]) addQuad(jaws, face.map((i) => corners[i]));
    };
    if (own.clamp) jaw(own.clamp, room.ahead ? turned : 0);
    if (own.tail) jaw(-own.tail, room.ahead ? 0 : turned);
    const stopped = (mm) => swing(V.mul(toward, -mm), own.stop);
    addLine(stopLine, [stopped(inside * 0.5), stopped(outside + thick * 1.5)]);
    if (frame === "die") labels.push([stopped(outside + thick * 1.9), "stop", "word"]);
    bounds.push(...skinOf(jaws));
  }

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
    if (frame === "all") points.push(at(high[other], low[2]), at(low[other], high[2]), at(high[other], high[2]));
  }
  for (const [a, b] of room.boxes) {
    addBlock(boxes, a, b);
    bounds.push(a, b);
  }

  // letters at the ends, or where the stick leaves the picture
  const letters = page.first === "A" ? ["A", "B"] : ["B", "A"], seen = pointsOf(shown, cut);
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
  for (const trace of [lines, edge, swing, plumb, rim, stopLine])
    trace.x.forEach((x, i) => { if (x !== null) bounds.push([x, trace.y[i], trace.z[i]]); });
  for (const one of cornersOf(bounds.concat(points))) bounds.push(V.add(one, V.mul(V.unit(one), thick * 2)));
  const traces = [
    meshTrace(floor, c.ground, { opacity: 0.25 }), meshTrace(plane, c.accent, { opacity: 0.1 }),
    meshTrace(boxes, c.ground, { opacity: 0.8 }),
    meshTrace(die, c.die), meshTrace(jaws, c.die, { opacity: 0.55 }), meshTrace(metal, c.metal), meshTrace(bent, c.bent), meshTrace(bad, c.bad),
    meshTrace(head, c.accent),
    lineTrace(lines, c.ground, 1.5), lineTrace(edge, c.accent, 2, "dot"), lineTrace(rim, c.ink, 2), lineTrace(stopLine, c.accent, 6),
    lineTrace(plumb, c.ground, 2, "dash"), lineTrace(ghost, c.ghost, 4, "dash"), lineTrace(swing, c.accent, 4, "dot"),
    lineTrace(rings, c.ink, 4), lineTrace(mark, c.ink, 6),
  ].filter((trace) => trace.x.length);
  return { traces, points, bounds, labels };
}
