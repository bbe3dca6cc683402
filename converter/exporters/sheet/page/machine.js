// The bender as it stands: die, clamp, pressure die, mark line and stop from the shop file, and the stick in it,
// seen along the die's axis. The tube is turned, swings to its stop and springs back.
"use strict";

const machine = {
  // Milliseconds of each move, and how far one that is under way has come.
  times: { rest: 500, turn: 1100, swing: 1700, back: 600, hold: 900 },
  eased: (s) => s * s * (3 - 2 * s),

  // The stick ahead of the die and the stock behind it, cut where the bend starts.
  halves(step) {
    const parts = partsOf(step.fed, 6).map((part) => ({ bend: part.bend, at: part.at }));
    const t = (part) => part.at[0].t, last = (part) => part.at[part.at.length - 1];
    const k = parts.findIndex((part) => !part.bend && V.dot(V.sub(step.touch, part.at[0].c), t(part)) >= -0.01 && V.dot(V.sub(step.touch, last(part).c), t(part)) <= 0.01 && V.size(V.cross(V.sub(step.touch, part.at[0].c), t(part))) < 0.1);
    const held = parts[k], here = { ...held.at[0], c: step.touch };
    return {
      ahead: [...parts.slice(0, k), { bend: 0, at: [held.at[0], here] }],
      stock: [{ bend: 0, at: [here, last(held)] }, ...parts.slice(k + 1)],
    };
  },

  moved: (parts, place, turn) => parts.map((part) => ({ bend: part.bend, at: part.at.map((one) => ({ c: place(one.c), t: turn(one.t), u: turn(one.u) })) })),

  // The stick with so much of its turn still to come, bent so far about the die, degrees.
  pose(step, room, still, bent) {
    const { ahead, stock } = this.halves(step), w = [-1, 0, 0];
    if (still) {
      const r = (-still * Math.PI) / 180, turn = (v) => V.turn(v, w, r);
      const place = (p) => V.add(step.touch, turn(V.sub(p, step.touch)));
      return [...this.moved(ahead, place, turn), ...this.moved(stock, place, turn)];
    }
    if (!bent) return [...ahead, ...stock];
    const r = (bent * Math.PI) / 180, sense = room.ahead ? 1 : -1, drawn = [step.clr * r, 0, 0];
    const swing = (v, by) => V.turn(v, room.axis, by);
    const count = Math.max(2, Math.ceil(bent / 6)), u = stock[0].at[0].u;
    const arc = Array.from({ length: count + 1 }, (_, i) => {
      const by = sense * r * (room.ahead ? 1 - i / count : i / count);
      return { c: swing(step.touch, by), t: swing([-1, 0, 0], by), u: swing(u, by) };
    });
    // the stock comes up to the die as the bend takes it
    const fed = this.moved(stock, (p) => V.add(p, drawn), (v) => v);
    fed[0].at[0] = { ...fed[0].at[0], c: step.touch };
    const turned = (parts) => this.moved(parts, (p) => swing(p, sense * r), (v) => swing(v, sense * r));
    return room.ahead ? [...turned(ahead), { bend: 1, at: arc }, ...fed] : [...ahead, { bend: 1, at: arc }, ...turned(fed)];
  },

  // How the picture is framed: what is near the die, and what swings there.
  framed(step, room, own, thick, size) {
    const near = Math.max(step.clr * 1.3 + thick * 2, own.clamp + thick * 2, own.tail + thick * 2), points = [];
    for (const by of [0, own.stop / 2, own.stop])
      for (const part of this.pose(step, room, 0, by))
        for (const one of part.at.length > 2 ? part.at.map((o) => o.c) : sketch.cut(part.at[0].c, part.at[1].c, thick)) if (Math.abs(one[0]) < near && V.dot(one, room.toward) < step.clr * 0.4) points.push(one);
    const down = V.mul(room.toward, -(step.clr + thick * 2.9));
    for (const x of [-Math.max(own.tail || thick * 1.6, thick) - thick * 2.6, Math.max(own.clamp, thick * 3)]) points.push(V.add([x, 0, 0], down));
    points.push(V.mul(room.toward, step.clr * 0.3));
    const up = Math.abs(room.axis[2]) > 0.5 ? [0, 1, 0] : [0, 0, 1];
    return sketch.view([1, 0, 0], up, points, size, 22);
  },

  draw(figure, page, room, number, own, moment) {
    const step = page.steps.find((one) => one.bend === number), thick = Math.max(page.outline[0], page.outline[1] || 0);
    const size = sketch.board(figure, "The bender seen along the die's axis: the stick fed and turned, the stop at " + own.stop.toFixed(2) + " degrees"), { board } = size;
    const view = this.framed(step, room, own, thick, size), sense = room.ahead ? 1 : -1;
    const { still, bent, final } = moment, radial = (degrees, mm) => V.mul(V.turn(V.mul(room.toward, -1), room.axis, (sense * degrees * Math.PI) / 180), mm);
    const at = (x, y, degrees) => view.at(V.turn(V.add([x, 0, 0], V.mul(room.toward, y)), room.axis, (sense * degrees * Math.PI) / 180));
    const inside = Math.max(step.clr - thick / 2, step.clr * 0.25), outer = step.clr + thick / 2, jaw = thick * 0.75;
    const ring = (mm, from, to) => Array.from({ length: 49 }, (_, i) => view.at(radial(from + ((to - from) * i) / 48, mm)));
    const block = (x0, x1, y0, y1, degrees) => [[x0, y0], [x1, y0], [x1, y1], [x0, y1]].map(([x, y]) => at(x, y, degrees));
    // what swings with the stick, and what stays
    const clamp = room.ahead ? bent : 0, press = room.ahead ? 0 : bent;
    const holds = own.clamp || thick * 1.6, presses = own.tail || thick * 1.6;

    const words = [], taken = [];
    const say = (text, [x, y], look, anchor) => words.push([text, [x, y], look, anchor]);

    // where it comes out
    if (moment.ghost) {
      const parts = this.parts(partsOf(step.bent, 6), "ghost", thick);
      const group = sketch.make("g", { class: "faint" });
      sketch.tubes(group, parts, view);
      board.append(group);
    }
    sketch.area(board, ring(inside, 0, 360), "die");
    sketch.area(board, block(0, holds, -inside, -inside + Math.min(thick, inside * 0.9), clamp), "die");
    const pin = view.at([0, 0, 0]);
    board.append(sketch.make("circle", { cx: pin[0], cy: pin[1], r: 5, class: "pin" }));
    sketch.area(board, block(-presses, 0, -outer, -outer - jaw, press), "jaw" + (own.tail ? "" : " unknown"));
    const parts = final ? partsOf(step.bent, 6) : this.pose(step, room, still, bent);
    sketch.tubes(board, this.parts(parts, "", thick), view);
    sketch.area(board, block(0, holds, -outer, -outer - jaw, clamp), "jaw" + (own.clamp ? "" : " unknown"));

    if (Math.abs(own.turn) > 0.01 && !bent) this.turned(board, step, view, own.turn, still, thick, [presses, holds], (text, where) => say(text, where, "strong", "middle"));

    // the mark line of the die, and the stop
    const mark = step.mark[0], low = -outer - jaw * 1.5;
    sketch.line(board, [at(mark, low, clamp), at(mark, -inside + thick * 0.35, clamp)], "mark");
    const reach = outer + jaw * 1.9, stopped = ring(reach, 0, own.stop);
    sketch.arrow(board, stopped, "swing");
    sketch.line(board, [view.at(radial(own.stop, inside * 0.55)), view.at(radial(own.stop, reach + thick * 0.7))], "stop");
    const place = view.at(radial(own.stop, reach + thick * 0.7)), aside = view.at(radial(own.stop, reach + thick));
    const left = aside[0] < place[0] - 2;
    say("stop " + own.stop.toFixed(2) + "°", [aside[0] + (left ? -6 : 6), aside[1] + 6], "strong", left ? "end" : "start");
    const below = at(mark, low, 0), down = view.at(V.mul(room.toward, -1))[1] > view.at([0, 0, 0])[1] ? 1 : -1;
    if (!bent) say("mark " + number, [below[0], below[1] + (down > 0 ? 20 : -8)], "strong", "middle");
    const pressed = at(-presses / 2, -outer - jaw, press);
    if (Math.abs(at(-presses, 0, 0)[0] - at(0, 0, 0)[0]) > 60) say("pressure die", [Math.min(pressed[0], below[0] - 92), pressed[1] + (down > 0 ? 20 : -8)], "", "middle");
    const clamped = at(holds / 2, -outer - jaw, clamp);
    if (!bent) say(own.over ? "clamp turned over" : "clamp", [Math.max(clamped[0], below[0] + 70), clamped[1] + (down > 0 ? 20 : -8)], "", "middle");
    // the ends, where they can be seen
    const letters = page.first === "A" ? ["A", "B"] : ["B", "A"], first = parts[0].at[0], last = parts.at(-1).at.at(-1);
    [first, last].forEach((one, i) => {
      const away = V.mul(one.t, i ? 1 : -1), [x, y] = view.at(V.add(one.c, V.mul(away, 22 / view.k)));
      if (x > 14 && x < size.w - 14 && y > 14 && y < size.h - 14) {
        sketch.tag(board, letters[i], [x, y], "end");
        taken.push({ left: x - 14, right: x + 14, top: y - 14, bottom: y + 14 });
      }
      else {
        const edge = view.at(V.add(i ? [-1e5, 0, 0] : V.turn([1e5, 0, 0], room.axis, 0), step.touch));
        const side = room.ahead ? i : 1 - i;
        const [tx, ty] = [i ? 18 : size.w - 18, Math.min(size.h - 18, Math.max(18, edge[1] - (down * thick * view.k) / 2 - down * 20))];
        if (side) {
          sketch.tag(board, letters[i], [tx, ty], "end");
          taken.push({ left: tx - 14, right: tx + 14, top: ty - 14, bottom: ty + 14 });
        }
      }
    });
    sketch.words(board, words, size, taken);
  },

  // The line drawn along the stick: where it lay, where it comes to lie, and the way there around the tube.
  turned(board, step, view, turn, still, thick, [presses, holds], say) {
    const r = thick / 2, on = (x, degrees) => V.add(V.add(step.touch, [x, 0, 0]), V.mul(V.turn(view.toward, [-1, 0, 0], (degrees * Math.PI) / 180), r));
    const hidden = (degrees) => Math.cos((degrees * Math.PI) / 180) < -0.02, done = turn - still;
    const lay = (degrees, look) => sketch.line(board, [view.at(on(-presses - thick * 2.6, degrees)), view.at(on(holds + thick, degrees))], look + (hidden(degrees) ? " behind" : ""));
    lay(0, "drawn was");
    lay(done, "drawn");
    // which way the hand turns the side of the tube that is seen
    const x = -presses - thick * 1.2, [px, py] = view.at(V.add(step.touch, [x, 0, 0])), [, moved] = view.at(on(x, Math.sign(turn) * 60)), way = moved > py ? 1 : -1, tall = r * view.k + 12;
    sketch.arrow(board, Array.from({ length: 25 }, (_, i) => {
      const a = ((i / 24) * 150 - 75) * (Math.PI / 180);
      return [px + 20 * Math.cos(a), py + way * tall * Math.sin(a)];
    }), "around");
    say("turn " + Math.abs(turn).toFixed(2) + "°", [px, py - tall - 12]);
  },

  parts: (parts, look, thick) => parts.map((part, i) => ({ at: part.at, wide: thick, look: look || (part.bend ? "bent" : "metal"), ends: [!i, i + 1 === parts.length] })),

  // From where it is seen, which way it swings, and what the shop file does not say.
  words(machine, own) {
    const lacks = [own.clamp ? "" : "clamp", own.tail ? "" : "pressure die"].filter(Boolean);
    const seen = machine.plane === "horizontal" ? "from above" : "from the right", way = machine.to === "up" || machine.to === "down" ? machine.to : "to the " + machine.to;
    return "Seen " + seen + ", looking the way the stick is fed: " + (machine.ahead ? "the end ahead of the die swings " : "the stock behind the die swings ") + way + "." + (lacks.length ? " The shop file does not say how long the " + lacks.join(" and the ") + (lacks.length > 1 ? " are." : " is.") : "");
  },

  // Draws a step and, unless moves are not wanted, plays it once; gives back what stops it and what plays it again.
  play(figure, page, room, number, own) {
    const quiet = matchMedia("(prefers-reduced-motion: reduce)");
    const rest = () => this.draw(figure, page, room, number, own, { still: 0, bent: 0, ghost: true });
    let frame = 0;
    const run = () => {
      cancelAnimationFrame(frame);
      if (quiet.matches) return rest();
      const t = this.times, turn = Math.abs(own.turn) > 0.01 ? t.turn : 0;
      const ends = [t.rest, turn, t.swing, t.back, t.hold].reduce((all, one) => [...all, (all.at(-1) || 0) + one], []);
      let began = 0;
      const tick = (now) => {
        began = began || now;
        const ms = now - began, part = (i) => this.eased(Math.min(1, Math.max(0, (ms - ends[i - 1]) / (ends[i] - ends[i - 1] || 1))));
        figure.dataset.moving = "yes";
        if (ms < ends[1]) this.draw(figure, page, room, number, own, { still: turn ? own.turn * (1 - part(1)) : 0, bent: 0 });
        else if (ms < ends[2]) this.draw(figure, page, room, number, own, { still: 0, bent: own.stop * part(2) });
        else if (ms < ends[4]) this.draw(figure, page, room, number, own, { still: 0, bent: own.stop, final: ms > ends[3] });
        else {
          delete figure.dataset.moving;
          return rest();
        }
        frame = requestAnimationFrame(tick);
      };
      frame = requestAnimationFrame(tick);
    };
    return { run, rest, stop: () => { cancelAnimationFrame(frame); delete figure.dataset.moving; } };
  },
};
