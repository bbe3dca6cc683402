// The check card: what each bend measures, typed at the bench and kept; the stop that puts it right, and the
// entry for the test bends. The sentences and the slope come from the program; here only the line is evaluated.
"use strict";

const check = {
  words: {},
  kept: {},

  start(words) {
    this.words = words;
    try {
      const kept = JSON.parse(store.get(store.mark + "/measured") || "{}");
      this.kept = kept && typeof kept === "object" ? kept : {};
    } catch (broken) {
      this.kept = {};
    }
  },

  fill: (text, values) => text.replace(/\{(\w*)\}/g, (_, name) => values[name]),

  // Degrees as people type them; null for nothing, NaN for no angle.
  number(typed) {
    const text = typed.trim().replace(",", ".").replace(/°$/, "");
    if (!text) return null;
    const value = /^\d*\.?\d+$|^\d+\.$/.test(text) ? Number(text) : NaN;
    return value > 0 && value <= 359 ? value : NaN;
  },

  // A stop as the machine is set to it.
  onScale(stop, most) {
    const step = this.words.step;
    if (!step) return stop;
    const value = Math.max(step, Math.floor(stop / step + 0.5) * step);
    return most !== null && value > most + 1e-9 && most + 1e-9 >= stop && value > step ? value - step : value;
  },

  // What to do after a bend was stopped and measured: {text}, with {mm, inch} where a length is told, {stop} to set next.
  next(row, stop, measured) {
    const w = this.words, off = row.target - measured, two = (v) => v.toFixed(2);
    if (measured > stop) return { text: this.fill(w.again, { stop: String(stop), measured: String(measured) }), wrong: true };
    if (Math.abs(off) <= w.close) return { text: this.fill(w.there, { measured: two(measured) }) };
    if (off < 0) {
      const moves = 200 * Math.sin((-off * Math.PI) / 360);
      const leg = (unit, far) => this.fill(w.over, { over: two(-off), leg: w.leg[unit].replace("{}", far) });
      return { text: leg("mm", two(moves)), inch: leg("in", (moves / 10).toFixed(3)), wrong: true };
    }
    const b = row.slope === null ? stop / measured : row.slope, a = row.slope === null ? 0 : stop - b * measured;
    const set = a + b * row.target, given = this.onScale(set, row.most);
    if (given <= stop) return { text: this.fill(w.below, { left: two(off), stop: two(stop) }) };
    if (row.most !== null && given > row.most + 1e-9) return { text: this.fill(w.past, { stop: two(given), most: String(row.most) }), wrong: true };
    return { text: this.fill(w.on, { left: two(off), stop: two(given), how: w.by[row.slope === null ? 0 : 1] }), stop: given };
  },

  // The card of one piece of a part.
  card(key, piece, card) {
    const box = document.createElement("div");
    box.className = "check";
    for (const row of card.rows) box.append(this.row(key + "/" + (piece + 1) + "/bend-" + row.bend, row));
    const out = document.createElement("details");
    out.className = "record";
    out.append(document.createElement("summary"));
    const sheet = document.createElement("textarea"), copy = document.createElement("button"), save = document.createElement("a");
    sheet.readOnly = true;
    sheet.setAttribute("aria-label", "Measured bends as CSV, and the command that records them");
    Object.assign(copy, { type: "button", textContent: "Copy" });
    copy.addEventListener("click", () => {
      sheet.select();
      const copied = () => (copy.textContent = "Copied");
      if (navigator.clipboard) navigator.clipboard.writeText(sheet.value).then(copied, () => document.execCommand("copy") && copied());
      else if (document.execCommand("copy")) copied();
    });
    Object.assign(save, { className: "button", textContent: "Save the CSV", download: key + "-measured.csv" });
    const tell = () => {
      const { csv, commands, count } = this.entry(key, card);
      sheet.value = csv + (commands.length ? "\n" + commands.join("\n") + "\n" : "\n" + (this.words.demo ? this.words.demoNote : "") + "\n");
      out.querySelector("summary").textContent = "Entry for the test bends: " + (count === 1 ? "1 bend" : count + " bends");
      out.hidden = !count;
      save.href = "data:text/csv;charset=utf-8," + encodeURIComponent(csv.replace(/\n/g, "\r\n"));
      copy.textContent = "Copy";
    };
    const buttons = document.createElement("p");
    buttons.append(copy, save);
    out.append(sheet, buttons);
    box.append(out);
    box.addEventListener("input", tell);
    tell();
    return box;
  },

  row(name, row) {
    const line = document.createElement("div"), said = document.createElement("p"), kept = this.kept[name] || {};
    line.className = "checked";
    const title = Object.assign(document.createElement("p"), { className: "wanted" });
    title.append(Object.assign(document.createElement("b"), { textContent: "Bend " + row.bend }), " wanted " + row.target.toFixed(2) + "°");
    said.className = "told";
    const field = (word, value, hint) => {
      const label = document.createElement("label"), input = document.createElement("input");
      Object.assign(input, { type: "text", inputMode: "decimal", autocomplete: "off", value, placeholder: hint });
      label.append(Object.assign(document.createElement("span"), { textContent: word }), input);
      return { label, input };
    };
    const set = row.stop.toFixed(2), stop = field("Stop set", kept.stop || set, set), measured = field("Measured", kept.angle || "", "");
    const look = () => {
      const s = this.number(stop.input.value || set), m = this.number(measured.input.value);
      const wrong = (input, bad) => input.setAttribute("aria-invalid", String(bad));
      wrong(stop.input, Number.isNaN(s));
      wrong(measured.input, Number.isNaN(m));
      said.replaceChildren();
      line.classList.remove("off");
      if (m === null) return;
      const told = Number.isNaN(m) || Number.isNaN(s) ? { text: this.words.typed, wrong: true } : this.next(row, s, m);
      line.classList.toggle("off", Boolean(told.wrong));
      if (!told.inch) said.textContent = told.text;
      else for (const [unit, text] of [["mm", told.text], ["in", told.inch]]) said.append(Object.assign(document.createElement("span"), { className: "u-" + unit, textContent: text }));
    };
    line.addEventListener("input", () => {
      const angle = measured.input.value.trim(), typed = stop.input.value.trim();
      if (!angle && (!typed || typed === set)) delete this.kept[name];
      else this.kept[name] = { stop: typed || set, angle };
      store.set(store.mark + "/measured", JSON.stringify(this.kept));
      look();
    });
    line.append(title, stop.label, measured.label, said);
    look();
    return line;
  },

  // All that was measured of a part, every piece: as CSV, and the command that records it, one for each die.
  entry(key, card) {
    const lines = [], commands = new Map();
    card.cells[1].forEach((cell, piece) => {
      for (const row of card.rows) {
        const kept = this.kept[key + "/" + (piece + 1) + "/bend-" + row.bend];
        if (!kept) continue;
        const stop = this.number(kept.stop), angle = this.number(kept.angle);
        if (!(angle > 0) || !(stop > 0) || angle > stop) continue;
        lines.push([card.cells[0], cell, row.cells, stop, angle].join(","));
        if (row.command) commands.set(row.command, (commands.get(row.command) || "") + " --record " + stop + ":" + angle);
      }
    });
    return { csv: [this.words.heads, ...lines].join("\n") + "\n", count: lines.length, commands: [...commands].map(([command, records]) => command + records) };
  },
};
