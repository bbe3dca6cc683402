// The end of a tube as it is cut: in 3D with its zero line, what the saw is set to, and the small wrap.
"use strict";

const cuts = {
  draw(figure, end, letter) {
    const size = sketch.board(figure, "End " + letter + " as it is cut, with its zero line, how the saw is set, and the cut unrolled"), { board, w, h } = size;
    const saws = [end.saw ? this.saw : end.tilt ? this.slant : null, end.saw && end.saw[3] > 0.005 ? this.offset : null].filter(Boolean);
    // a square cut needs no wrap
    const flat = Math.max(...end.cut) - Math.min(...end.cut) < 0.1, panels = [this.end, ...saws, ...(flat ? [] : [this.wrap])], wide = w / panels.length;
    panels.forEach((panel, i) => {
      const group = sketch.make("g", { transform: "translate(" + Math.round(i * wide) + " 0)" });
      board.append(group);
      panel.call(this, group, end, { w: wide, h, type: size.type }, letter);
    });
  },

  radius: (radii, i) => radii[i % radii.length],

  shade(color, k) {
    const parts = color.match(/[\da-f]{2}/gi);
    return parts ? "rgb(" + parts.map((one) => Math.round(Math.min(255, parseInt(one, 16) * k))).join(",") + ")" : color;
  },

  // Axis, zero line and the way on around; the end points to the right and a little toward the eye.
  end(board, end, size, letter) {
    const n = end.cut.length, c = colors(), thick = 2 * Math.max(...end.r), back = -Math.max(...end.cut) - thick * 1.3;
    const at = (i, along, radii) => {
      const a = (i * 2 * Math.PI) / n, r = this.radius(radii, i % n);
      return [along, r * Math.cos(a), r * Math.sin(a)];
    };
    const toward = V.unit([0.62, 0.62, 0.48]), across = V.unit(V.cross([0, 1, 0], toward)), up = V.cross(toward, across), light = V.unit([0.35, 0.9, 0.1]);
    // the way on around lies so that the end points to the right
    const right = across[0] < 0 ? V.mul(across, -1) : across, high = across[0] < 0 ? V.cross(toward, right) : up;
    const ring = end.cut.map((_, i) => i), points = ring.flatMap((i) => [at(i, -end.cut[i], end.r), at(i, back, end.r)]);
    const view = sketch.view(right, high, points, { w: size.w, h: size.h - 26 }, 16), faces = [];
    const face = (corners, color, normal) => faces.push({ near: corners.reduce((sum, p) => sum + view.near(p), 0) / corners.length, corners: corners.map(view.at), fill: this.shade(color, 0.62 + 0.5 * Math.max(0, V.dot(normal, light))) });
    for (const i of ring) {
      const j = i + 1, a = ((i + 0.5) * 2 * Math.PI) / n, out = [0, Math.cos(a), Math.sin(a)];
      face([at(i, back, end.r), at(j, back, end.r), at(j, -end.cut[j % n], end.r), at(i, -end.cut[i], end.r)], c.metal, out);
      if (!end.bore) continue;
      face([at(i, back, end.rb), at(j, back, end.rb), at(j, -end.bore[j % n], end.rb), at(i, -end.bore[i], end.rb)], this.shade(c.metal, 0.6), V.mul(out, -1));
      face([at(i, -end.cut[i], end.r), at(j, -end.cut[j % n], end.r), at(j, -end.bore[j % n], end.rb), at(i, -end.bore[i], end.rb)], c.bent, out);
    }
    if (!end.bore) faces.push({ near: Infinity, corners: ring.map((i) => view.at(at(i, -end.cut[i], end.r))), fill: this.shade(c.bent, 0.9) });
    faces.sort((p, q) => p.near - q.near);
    for (const one of faces) board.append(sketch.make("path", { d: sketch.path(one.corners, true), style: "fill:" + one.fill + ";stroke:" + one.fill, "stroke-width": 0.7 }));
    sketch.line(board, [view.at(at(0, back, end.r)), view.at(at(0, -end.cut[0], end.r))], "zero");
    const [x, y] = view.at(at(0, back, end.r));
    sketch.word(board, "zero line", [Math.max(x, 44), y - 8], size, "accent");
    sketch.word(board, "end " + letter, [size.w / 2, size.h - 6], size);
  },

  // The saw beside the tube: leant over from square, its axis, how deep it goes.
  saw(board, end, size) {
    const [wide, depth, tilt, , center] = end.saw, r = Math.max(...end.r), a = (tilt * Math.PI) / 180;
    // up the saw's axis, away from the tube; x out of the tube's end
    const axis = [Math.sin(a), Math.cos(a)], across = [Math.cos(a), -Math.sin(a)], lip = r / Math.cos(a), half = wide / 2;
    const on = (along, beside) => [-center + axis[0] * along + across[0] * beside, axis[1] * along + across[1] * beside];
    const top = lip + half * Math.tan(a) + r * 1.5, low = -lip - half * Math.tan(a);
    const corners = [on(top, -half), on(top, half), on(low, half), on(low, -half)], long = Math.max(r * 3, half * 2.2);
    const all = [...corners, [-center - long, r], [-center - long, -r], [0, top + r * 0.4]];
    const view = sketch.view([1, 0, 0], [0, 1, 0], all.map(([x, y]) => [x, y, 0]), { w: size.w, h: size.h - 26 }, 16), at = ([x, y]) => view.at([x, y, 0]);
    sketch.area(board, [[-center - long, r], [0, r], [0, -r], [-center - long, -r]].map(at), "metal");
    sketch.area(board, corners.map(at), "saw");
    sketch.line(board, [on(top + r * 0.4, 0), on(low, 0)].map(at), "axis");
    if (tilt > 0.3) {
      sketch.line(board, [[-center, 0], [-center, top + r * 0.4]].map(at), "square");
      const arc = Array.from({ length: 17 }, (_, i) => at([-center + top * 0.92 * Math.sin((a * i) / 16), top * 0.92 * Math.cos((a * i) / 16)]));
      sketch.arrow(board, arc, "swing");
    }
    // from where it first bites, along its own axis
    const bite = on(Math.max(lip - half * Math.tan(a), -lip), 0), from = on(depth / 2, half * 1.18), to = on(-depth / 2, half * 1.18);
    if (bite) sketch.arrow(board, [from, to].map(at), "swing");
    sketch.word(board, tilt > 0.3 ? "tilt and depth" : "square on, depth", [size.w / 2, size.h - 6], size);
  },

  // The tube seen from its end: how far the saw's axis passes beside its own.
  offset(board, end, size) {
    const [wide, , , offset] = end.saw, r = Math.max(...end.r), half = wide / 2, top = r * 1.8;
    const all = [[offset - half, top, 0], [offset + half, -top, 0], [-r, 0, 0], [r, 0, 0]];
    const view = sketch.view([1, 0, 0], [0, 1, 0], all, { w: size.w, h: size.h - 26 }, 20), at = ([x, y]) => view.at([x, y, 0]);
    sketch.area(board, Array.from({ length: 48 }, (_, i) => at([r * Math.cos((i * Math.PI) / 24), r * Math.sin((i * Math.PI) / 24)])), "metal");
    sketch.area(board, [[offset - half, top], [offset + half, top], [offset + half, -top], [offset - half, -top]].map(at), "saw");
    sketch.line(board, [at([offset, top]), at([offset, -top])], "axis");
    sketch.line(board, [at([0, r * 1.3]), at([0, -r * 1.3])], "square");
    sketch.word(board, "offset", [size.w / 2, size.h - 6], size);
  },

  // A cut of the saw: how far from square, and where its long point is.
  slant(board, end, size) {
    const r = Math.max(...end.r), a = (end.tilt * Math.PI) / 180, lean = r * Math.tan(a), long = r * 3 + lean;
    const all = [[-long, r], [-long, -r * 1.5], [lean, r * 1.7]];
    const view = sketch.view([1, 0, 0], [0, 1, 0], all.map(([x, y]) => [x, y, 0]), { w: size.w, h: size.h - 26 }, 18), at = ([x, y]) => view.at([x, y, 0]);
    sketch.area(board, [[-long, r], [lean, r], [-lean, -r], [-long, -r]].map(at), "metal");
    sketch.line(board, [[0, r * 1.6], [0, -r * 1.5]].map(at), "square");
    sketch.line(board, [[1.6 * lean, 1.6 * r], [-1.4 * lean, -1.4 * r]].map(at), "stop");
    const arc = Array.from({ length: 17 }, (_, i) => at([1.35 * r * Math.sin((a * i) / 16), 1.35 * r * Math.cos((a * i) / 16)]));
    sketch.arrow(board, arc, "swing");
    sketch.word(board, "long point", [at([-long, r])[0], at([-long, r])[1] - 8], size, "", "start");
    sketch.word(board, "from square", [size.w / 2, size.h - 6], size);
  },

  // The cut unrolled, printed side out, the end up.
  wrap(board, end, size) {
    const n = end.cut.length, around = (i) => (i * 2 * Math.PI * (end.r.reduce((sum, one) => sum + one, 0) / end.r.length)) / n;
    const deep = Math.max(...end.cut) + around(n) * 0.22, points = [...end.cut, end.cut[0]].map((cut, i) => [around(i), -cut, 0]);
    const view = sketch.view([1, 0, 0], [0, 1, 0], [...points, [0, -deep, 0]], { w: size.w, h: size.h - 26 }, 18), at = view.at;
    sketch.area(board, [...points.map(at), at([around(n), -deep, 0]), at([0, -deep, 0])], "paper");
    sketch.line(board, points.map(at), "mark");
    for (const x of [0, around(n)]) sketch.line(board, [at([x, -end.cut[0], 0]), at([x, -deep, 0])], "zero");
    const [x, y] = at([0, -deep, 0]);
    sketch.word(board, "zero line", [x, Math.min(y + 18, size.h - 26)], size, "accent", "start");
    sketch.word(board, "wrap", [size.w / 2, size.h - 6], size);
  },
};
