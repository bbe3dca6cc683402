// What plotly.js draws: the whole job, one finished tube, labels. Names never go in here:
// plotly reads some marks in text as HTML, so its labels are only letters and words of our own.
"use strict";

function colors() {
  const style = getComputedStyle(document.documentElement);
  const value = (name) => style.getPropertyValue("--" + name).trim();
  return Object.fromEntries(
    ["ink", "paper", "metal", "bent", "bad", "accent", "die", "ground", "ghost", "rim", "bore", "others"].map((name) => [name, value(name)])
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

function bendLabel(page, number) {
  if (!page.bad.includes(number)) return [String(number), "number"];
  return [number + (page.tight.includes(number) ? " ✖ too tight" : " ✖ error"), "wrong"];
}

const MOST_NUMBERS = 40;

// The middle of the longest straight, else where the tube starts.
function longest(tube) {
  let point = tube.at.slice(0, 3), best = point, most = -1;
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

// All tubes of a drawing, in two meshes (fine ones, and ones with errors); `of` tells which of `tubes` each corner is.
// With the key of a part its tubes are lit among the others.
function jobScene(pages, lit) {
  const c = colors();
  const fine = newMesh(), bad = newMesh(), rings = newLines(), points = [], labels = [], tubes = [];
  const count = pages.reduce((sum, page) => sum + 1 + page.others.length, 0);
  const sides = count > 60 ? 6 : 8, degrees = count > 60 ? 22.5 : 15;
  for (const page of pages) {
    const ring = ringOf(page.outline, sides);
    const mesh = (lit ? page.key === lit : page.bad.length) ? bad : fine;
    const most = wayOf(page.tube).middles.length + 1;
    [{ tube: page.tube, turned: false }, ...page.others].forEach(({ tube, turned }, piece) => {
      tubes.push({ key: page.key, piece });
      for (const part of partsOf(tube, degrees)) {
        addSkin(mesh, part.at, ring, tubes.length - 1);
        for (const one of part.at) points.push(one.c);
        if (!lit && part.bend && page.bad.includes(turned ? most - part.bend : part.bend)) stripes(part, page.outline, rings);
      }
      // numbers as in the list of parts, where there is room for them
      if (lit) {
        if (page.key === lit) labels.push([longest(tube), String(page.number), "number"]);
      } else if (count <= MOST_NUMBERS) labels.push([longest(tube), String(page.number), page.bad.length ? "wrong" : "number"]);
    });
  }
  points.push(...skinOf(fine), ...skinOf(bad));
  const traces = [];
  if (fine.x.length) traces.push(meshTrace(fine, lit ? c.others : c.metal, { hoverinfo: "none", of: fine.of }));
  if (bad.x.length) traces.push(meshTrace(bad, lit ? c.accent : c.bad, { hoverinfo: "none", of: bad.of }), lineTrace(rings, c.ink, 3));
  return { traces, points, labels, tubes, of: [fine.of, bad.of].filter((one) => one.length) };
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
function tubeScene(page) {
  const c = colors();
  const straight = newMesh(), bent = newMesh(), bad = newMesh(), rim = newMesh(), bore = newMesh(), rings = newLines(), seams = newLines();
  const round = page.outline.length === 1, ring = ringOf(page.outline, round ? 48 : 16), points = [], labels = [];
  const thick = Math.max(page.outline[0], page.outline[1] || 0);
  const parts = partsOf(page.tube, 7.5), open = endsOf(page.tube).length && V.size(V.sub(parts[0].at[0].c, parts.at(-1).at.at(-1).c)) > 1e-3;
  for (const part of parts) {
    const wrong = page.bad.includes(part.bend), ends = [part === parts[0] && open, part === parts.at(-1) && open];
    if (round && !part.bend && (ends[0] || ends[1]))
      addCutStraight({ skin: straight, rim, bore }, part.at, page.outline[0], page.bore, ends.map((end, i) => (end ? page.cuts[i] || EVEN : null)));
    else addSkin(part.bend ? (wrong ? bad : bent) : straight, part.at, ring, 0, ends);
    for (const one of part.at) points.push(one.c);
    if (wrong) stripes(part, page.outline, rings);
    else if (part.bend)
      for (const one of [part.at[0], part.at[part.at.length - 1]])
        stripes({ at: [one] }, page.outline, seams);
  }
  const box = boxOf(points), span = Math.max(...V.sub(box.high, box.low), thick);
  const off = Math.max(thick * 1.3, span * 0.06);
  const middles = wayOf(page.tube).middles;
  middles.forEach(({ at, out }, i) => labels.push([V.add(at, V.mul(out, off)), ...bendLabel(page, i + 1)]));
  const ends = endsOf(page.tube), arrow = newMesh();
  if (ends) {
    const letters = ["A", "B"];
    ends.forEach((end, i) => labels.push([V.add(end.c, V.mul(end.out, off)), letters[i], "end"]));
  }
  if (ends && middles.length) {
    // the way the stick travels in the bender, the end that goes first ahead: beside the tube, up to that end
    const from = page.first === "A" ? ends[0] : ends[1], way = from.out;
    // beside it as first seen, on the side that is away from the rest of the tube
    const seen = V.cross(way, V.unit(page.eye)), beside = V.size(seen) < 0.1 ? V.square(way) : V.unit(seen);
    const middle = V.mul(V.add(box.low, box.high), 0.5), other = page.first === "A" ? ends[1] : ends[0];
    const back = V.add(V.unit(V.sub(from.c, middle)), V.mul(V.unit(V.sub(from.c, other.c)), 2));
    const side = V.mul(beside, (V.dot(back, beside) < 0 ? -1 : 1) * (thick * 1.2 + span * 0.03));
    const long = Math.max(span * 0.16, thick * 2.5), r = Math.max(span * 0.006, thick * 0.12);
    const tip = V.add(from.c, side), tail = V.sub(tip, V.mul(way, long)), neck = V.add(tail, V.mul(way, long * 0.6));
    addCone(arrow, tail, neck, r, r, 12);
    addCone(arrow, neck, tip, r * 3.2, 0, 16);
    labels.push([V.add(tail, V.mul(way, long * 0.5)), "stick travels", "word", V.unit(side)]);
    points.push(tail, V.add(tail, side));
  }
  for (const label of labels) points.push(label[0]);
  for (const mesh of [straight, bent, bad, rim, arrow]) points.push(...skinOf(mesh));
  const traces = [
    meshTrace(straight, c.metal), meshTrace(bent, c.bent), meshTrace(bad, c.bad), meshTrace(arrow, c.accent),
    meshTrace(rim, c.rim, { flatshading: true }), meshTrace(bore, c.bore),
    lineTrace(seams, c.ink, 2), lineTrace(rings, c.ink, 4),
  ].filter((trace) => trace.x.length);
  return { traces, points, labels, eye: page.eye };
}
