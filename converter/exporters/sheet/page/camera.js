// Where a scene is seen from, how large, and which of its labels make room for others.
"use strict";

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
  // the axes hold every corner of what is drawn: what is beyond them is cut off
  const drawn = boxOf(scene.points.concat(scene.bounds || []));
  for (const trace of scene.traces)
    ["x", "y", "z"].forEach((name, i) => {
      for (const v of trace[name]) {
        if (v === null) continue;
        if (v < drawn.low[i]) drawn.low[i] = v;
        if (v > drawn.high[i]) drawn.high[i] = v;
      }
    });
  const { low, high } = drawn, size = V.sub(high, low), most = Math.max(...size, 1e-6);
  const middle = V.mul(V.add(low, high), 0.5), axes = {}, aspect = {};
  // a finished tube is first seen from the same corner as in its drawing
  const toward = V.unit((eye === "corner" && scene.eye) || EYES[eye] || eye), level = V.cross([0, 0, 1], toward);
  const right = V.size(level) < 1e-3 ? [1, 0, 0] : V.unit(level), up = V.cross(toward, right);
  const flat = (p) => [V.dot(V.sub(p, middle), right), V.dot(V.sub(p, middle), up)];
  // units of aspect per pixel and per mm
  const unit = 2 / height, around = 16;
  let x, y, k;
  const reach = (a, b, half) => {
    x = [Math.min(x[0], a - half), Math.max(x[1], a + half)];
    y = [Math.min(y[0], b), Math.max(y[1], b)];
  };
  // once by what is drawn; then words, which stay as large however small the rest comes out, get their room
  for (const words of [[], scene.labels.filter(([, text]) => text.length > 2 && !text.startsWith("to "))]) {
    x = [Infinity, -Infinity];
    y = [Infinity, -Infinity];
    for (const p of scene.points) reach(...flat(p), 0);
    for (const [p, text] of words) reach(...flat(p), Math.min((4.5 * text.length * unit) / k, (x[1] - x[0]) / 4));
    const least = Math.max(x[1] - x[0], y[1] - y[0], 1e-6) * 0.1;
    k = unit * Math.min((width - 40 - around) / Math.max(x[1] - x[0], least), (height - 36 - around) / Math.max(y[1] - y[0], least));
  }
  k *= zoom;
  ["x", "y", "z"].forEach((name, i) => {
    const half = Math.max(size[i], most * 0.02) / 2 + most * 0.02;
    axes[name + "axis"] = { visible: false, showspikes: false, autorange: false, range: [middle[i] - half, middle[i] + half] };
    aspect[name] = 2 * half * k;
  });
  const center = V.mul(V.add(V.mul(right, (x[0] + x[1]) / 2), V.mul(up, (y[0] + y[1]) / 2)), k);
  const place = V.add(center, V.mul(toward, Math.max(10, 10 * zoom, 2 * most * k)));
  const named = (p) => ({ x: p[0], y: p[1], z: p[2] });
  const seen = (p) => V.mul(V.sub([...flat(p), 0], [(x[0] + x[1]) / 2, (y[0] + y[1]) / 2, 0]), k / unit);
  // 'to B' only where B is out of the picture
  const shows = (letter) => scene.labels.some(([p, text]) => text === letter && Math.abs(seen(p)[0]) < width / 2 - 12 && Math.abs(seen(p)[1]) < height / 2 - 12);
  const labels = scene.labels.filter(([, text]) => !text.startsWith("to ") || !shows(text.slice(3)));
  // a word beside something stands clear of it, whichever way that lies in the picture
  const aside = labels.map(([, text, , out]) => {
    if (!out) return [0, 0];
    const d = [V.dot(out, right), V.dot(out, up)], size = Math.hypot(...d) || 1;
    return [(d[0] / size) * (4.2 * text.length + 10), (d[1] / size) * 16];
  });
  const annotations = annotationsOf(labels), moves = apart(labels, labels.map(([p], i) => seen(p).map((v, k) => v + (aside[i][k] || 0))));
  annotations.forEach((one, i) => Object.assign(one, { xshift: aside[i][0] + moves[i][0], yshift: aside[i][1] + moves[i][1] }));
  return {
    margin: { l: 0, r: 0, t: 0, b: 0 }, showlegend: false, paper_bgcolor: "rgba(0,0,0,0)", autosize: true,
    hovermode: "closest",
    scene: Object.assign(axes, {
      annotations, aspectmode: "manual", aspectratio: aspect, bgcolor: "rgba(0,0,0,0)", dragmode: "turntable",
      camera: { eye: named(place), center: named(center), up: { x: 0, y: 0, z: 1 }, projection: { type: "orthographic" } },
    }),
  };
}
