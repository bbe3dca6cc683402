// Drawings of the bench view: flat pictures in pixels, made of SVG, that a tablet draws while they move.
"use strict";

const sketch = {
  make(name, given, text) {
    const one = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(given || {})) one.setAttribute(key, typeof value === "number" ? Math.round(value * 10) / 10 : value);
    if (text !== undefined) one.textContent = text;
    return one;
  },

  // An empty picture as large as its figure.
  board(figure, words) {
    const plot = figure.querySelector(".plot"), { width, height } = plot.getBoundingClientRect();
    const w = Math.max(40, Math.round(width)), h = Math.max(40, Math.round(height));
    // a small picture has smaller words, so that they leave it some room
    const type = Math.min(1, Math.max(0.74, Math.min(w / 420, h / 230)));
    const board = this.make("svg", { class: "sketch", viewBox: "0 0 " + w + " " + h, role: "img", "aria-label": words, style: "--type: " + type.toFixed(2) });
    plot.replaceChildren(board);
    return { board, w, h, type };
  },

  path: (points, closed) => "M" + points.map(([x, y]) => x.toFixed(1) + " " + y.toFixed(1)).join("L") + (closed ? "Z" : ""),

  line(board, points, look) {
    if (points.length < 2) return;
    // what lies across metal is seen in either light
    if (/^(mark|drawn$|stop)/.test(look)) board.append(this.make("path", { d: this.path(points), class: "halo" }));
    board.append(this.make("path", { d: this.path(points), class: look }));
  },

  area(board, points, look) {
    board.append(this.make("path", { d: this.path(points, true), class: look }));
  },

  // Words with the ground around them, kept within the picture.
  word(board, text, [x, y], { w, h, type }, look, at) {
    const strong = look === "strong", size = (strong ? 19 : 17) * type, wide = text.length * size * (strong ? 0.62 : 0.56), anchor = at || "middle";
    const left = anchor === "middle" ? wide / 2 : anchor === "end" ? wide : 0;
    const px = Math.min(Math.max(x, left + 4), w - 4 - (wide - left)), py = Math.min(Math.max(y, size), h - 6);
    board.append(this.make("text", { x: px, y: py, "text-anchor": anchor, class: look || "" }, text));
    return { left: px - left, right: px - left + wide, top: py - size, bottom: py + 4 };
  },

  // The same for several, the first the most needed: one that finds no room is left out.
  words(board, all, size, taken) {
    const boxes = [...(taken || [])];
    for (const [text, [x, y], look, anchor] of all) {
      const ways = [[0, 0], [0, 21], [0, -21], [0, 42], [40, 0], [-40, 0], [40, 21], [-40, 21], [70, 0], [-70, 0], [80, 21], [-80, 21]];
      const free = (box) => boxes.every((one) => box.left > one.right + 4 || box.right < one.left - 4 || box.top > one.bottom || box.bottom < one.top);
      for (const [dx, dy] of ways) {
        const box = this.word(board, text, [x + dx, y + dy], size, look, anchor);
        if (free(box)) {
          boxes.push(box);
          break;
        }
        board.lastChild.remove();
      }
    }
  },

  // A letter or a number in a box or a ring.
  tag(board, text, [x, y], look) {
    const half = look === "end" ? 14 : 12;
    board.append(
      look === "end"
        ? this.make("rect", { x: x - half, y: y - half, width: 2 * half, height: 2 * half, rx: 3, class: "tag end" })
        : this.make("circle", { cx: x, cy: y, r: half, class: "tag" })
    );
    board.append(this.make("text", { x, y: y + 6, "text-anchor": "middle", class: "tagged " + look }, text));
  },

  arrow(board, points, look) {
    const [x, y] = points.at(-1), from = points.findLast(([a, b]) => Math.hypot(a - x, b - y) > 12) || points[0];
    const far = Math.hypot(x - from[0], y - from[1]) || 1, c = (x - from[0]) / far, s = (y - from[1]) / far, size = 15;
    this.line(board, points.filter(([a, b]) => Math.hypot(a - x, b - y) > size * 0.6), look);
    this.area(board, [[x, y], [x - size * c - size * 0.45 * s, y - size * s + size * 0.45 * c], [x - size * c + size * 0.45 * s, y - size * s - size * 0.45 * c]], "tip");
  },

  // How a view sees points: flat ones in pixels, and how near each is to the eye.
  view(right, up, points, { w, h }, pad) {
    const toward = V.cross(right, up), flat = (p) => [V.dot(p, right), -V.dot(p, up)];
    const all = points.map(flat), low = [0, 1].map((i) => Math.min(...all.map((p) => p[i]))), high = [0, 1].map((i) => Math.max(...all.map((p) => p[i])));
    const k = Math.min((w - 2 * pad) / Math.max(high[0] - low[0], 1e-6), (h - 2 * pad) / Math.max(high[1] - low[1], 1e-6));
    const at = [w / 2 - (k * (low[0] + high[0])) / 2, h / 2 - (k * (low[1] + high[1])) / 2];
    return { k, toward, right, up, near: (p) => V.dot(p, toward), at: (p) => { const [x, y] = flat(p); return [k * x + at[0], k * y + at[1]]; } };
  },

  // Tubes as lines as wide as they are, the far ones first: [{at: [{c, t, u}], look, wide, ends: [first, last]}].
  tubes(board, parts, view) {
    const strips = [];
    for (const { at, look, wide, ends } of parts) {
      const thick = Math.max(wide * view.k, 2);
      // a long straight in pieces, so that each lies before or behind what it crosses
      const points = at.length > 2 ? at.map((one) => one.c) : this.cut(at[0].c, at[1].c, wide * 3);
      for (let i = 0; i + 1 < points.length; i++) {
        const last = i + 2 === points.length;
        strips.push({ near: view.near(V.mul(V.add(points[i], points[i + 1]), 0.5)), a: view.at(points[i]), b: view.at(points[i + 1]), thick, look, open: [!i && ends && ends[0], last && ends && ends[1]] });
      }
      for (const i of [0, 1]) {
        if (!ends || !ends[i]) continue;
        const one = at[i ? at.length - 1 : 0], v = V.cross(one.t, one.u), out = V.dot(one.t, view.toward) * (i ? 1 : -1);
        const ring = Array.from({ length: 24 }, (_, n) => V.add(one.c, V.add(V.mul(one.u, (wide / 2) * Math.cos((n * Math.PI) / 12)), V.mul(v, (wide / 2) * Math.sin((n * Math.PI) / 12)))));
        strips.push({ near: view.near(one.c) + (out > 0 ? 1e-3 : -wide), ring: ring.map(view.at), look });
      }
    }
    strips.sort((p, q) => p.near - q.near);
    // all edges of a depth before its skins, so that no seam shows where two meet
    for (const one of strips) {
      if (one.ring) {
        this.area(board, one.ring, "mouth " + one.look);
        continue;
      }
      const far = Math.hypot(one.b[0] - one.a[0], one.b[1] - one.a[1]);
      if (far < 0.05) continue;
      const c = (one.b[0] - one.a[0]) / far, s = (one.b[1] - one.a[1]) / far, over = 0.7;
      const stretched = (m, n) => [[one.a[0] - c * m, one.a[1] - s * m], [one.b[0] + c * n, one.b[1] + s * n]];
      for (const [look, more, m, n] of [["edge", 2.4, 0, 0], ["skin", 0, one.open[0] ? 0 : over, one.open[1] ? 0 : over]])
        board.append(this.make("path", { d: this.path(stretched(m, n)), class: look + one.look, "stroke-width": one.thick + more }));
    }
  },

  cut(a, b, most) {
    const count = Math.min(80, Math.max(1, Math.ceil(V.size(V.sub(b, a)) / Math.max(most, 1))));
    return Array.from({ length: count + 1 }, (_, i) => V.add(a, V.mul(V.sub(b, a), i / count)));
  },

  // The stick as cut, with its marks, end A at the left.
  stick(figure, [long, first, marks, extra]) {
    const size = this.board(figure, "The stick with its marks, to scale along its length, end A at the left"), { board, w, h } = size;
    const side = 44, tall = Math.min(46, h * 0.26), y = h * 0.55, at = (mm) => side + ((w - 2 * side) * (first === "A" ? mm : long - mm)) / long;
    board.append(this.make("rect", { x: side, y: y - tall / 2, width: w - 2 * side, height: tall, class: "metal" }));
    extra.forEach((mm, i) => {
      if (mm <= 0) return;
      const x = i ? w - side - ((w - 2 * side) * mm) / long : side + ((w - 2 * side) * mm) / long;
      this.line(board, [[x, y - tall / 2 - 8], [x, y + tall / 2 + 8]], "axis");
    });
    let last = -Infinity;
    const order = marks.map(([bend, mm]) => [at(mm), bend]).sort((a, b) => a[0] - b[0]);
    for (const [x, bend] of order) {
      // numbers side by side where marks are close
      const place = Math.max(x, last + 27);
      last = place;
      this.line(board, [[place, y - tall / 2 - 18], [x, y - tall / 2 - 6], [x, y + tall / 2 + 6]], "mark");
      this.tag(board, String(bend), [place, y - tall / 2 - 30], "number");
    }
    this.tag(board, "A", [side - 24, y], "end");
    this.tag(board, "B", [w - side + 24, y], "end");
    this.word(board, "measure from here", [first === "A" ? side : w - side, y + tall / 2 + 28], size, "", first === "A" ? "start" : "end");
  },

  // The frame with one tube lit; what is not in place yet is only a line.
  frame(figure, pages, order, now, names) {
    const size = this.board(figure, "The frame, " + names[now] + " lit"), { board } = size;
    const right = V.unit([1, 0.72, 0]), toward = V.unit([0.62, -0.86, 0.55]), across = V.unit(V.sub(right, V.mul(toward, V.dot(right, toward)))), up = V.cross(toward, across);
    const tubes = order.map(([key, piece]) => {
      const page = pages.get(key), one = piece ? page.others[piece - 1] : { tube: page.tube, turned: false };
      return { page, tube: one.tube, turned: one.turned, parts: partsOf(one.tube, 9) };
    });
    const points = tubes.flatMap(({ parts }) => parts.flatMap((part) => part.at.map((one) => one.c)));
    const view = this.view(across, up, points, size, 34);
    tubes.slice(now + 1).forEach(({ parts }) => this.line(board, parts.flatMap((part) => part.at.map((one) => view.at(one.c))), "later"));
    const shown = tubes.slice(0, now + 1).flatMap(({ page, parts }, i) => parts.map((part, k) => ({ at: part.at, wide: Math.max(page.outline[0], 7 / view.k), look: i === now ? "lit" : "metal", ends: [!k, k + 1 === parts.length] })));
    this.tubes(board, shown, view);
    const lit = tubes[now], ends = endsOf(lit.tube);
    (lit.turned ? ["B", "A"] : ["A", "B"]).forEach((letter, i) => {
      const [x, y] = view.at(ends[i].c), [ox, oy] = view.at(V.add(ends[i].c, V.mul(ends[i].out, 1 / view.k))), far = Math.hypot(ox - x, oy - y);
      // an end that is hidden by its mate is told beside the tube
      const [c, s] = far > 0.2 ? [(ox - x) / far, (oy - y) / far] : [0, -1];
      this.tag(board, letter, [Math.min(size.w - 16, Math.max(16, x - c * 24 - s * 24)), Math.min(size.h - 16, Math.max(16, y - s * 24 + c * 24))], "end");
    });
  },
};
