// The list of parts: sorted, searched, and gone through from part to part.
"use strict";

const list = {
  rows: [], // {row, key, dies, long, worst, words}
  order: [], // keys of the parts as they stand

  start() {
    this.body = document.querySelector(".list tbody");
    this.heads = [...this.body.querySelectorAll("tr.group")];
    this.drawn = [...this.body.children];
    this.rows = this.drawn.filter((row) => row.dataset.key).map((row) => {
      const cells = [...row.children].map((cell) => cell.textContent);
      return {
        row, key: row.dataset.key, dies: JSON.parse(row.dataset.dies), long: Number(row.dataset.long),
        worst: Number(row.dataset.worst), words: [...cells, ...JSON.parse(document.getElementById(row.dataset.key).dataset.names)].join(" ").toLowerCase(),
      };
    });
    this.sort = document.getElementById("sort");
    this.search = document.getElementById("search");
    this.sort.addEventListener("change", () => this.show());
    this.search.addEventListener("input", () => this.show());
    this.search.addEventListener("keydown", (event) => {
      if (event.key === "Enter" && this.order.length) location.hash = this.order[0];
    });
    for (const [id, way] of [["before", -1], ["after", 1]]) document.getElementById(id).addEventListener("click", () => this.go(way));
    document.addEventListener("scroll", () => this.soon(), { passive: true });
    this.show();
  },

  // [head, rows] in the order asked for
  groups() {
    const by = this.sort.value;
    if (by === "long") return [["", [...this.rows].sort((a, b) => b.long - a.long)]];
    if (by === "worst") return [["", [...this.rows].sort((a, b) => a.worst - b.worst)]];
    const found = new Map(), put = (name, one) => found.set(name, (found.get(name) || []).concat([one]));
    // a part that is bent on several dies stands under each of them
    for (const one of this.rows) {
      if (by === "section") put(one.row.children[3].textContent, one);
      else if (one.dies.length) one.dies.forEach(([name]) => put("Die " + name, one));
      else put("No die", one);
    }
    return [...found].sort((a, b) => (a[0] === "No die") - (b[0] === "No die") || a[0].localeCompare(b[0], "en", { numeric: true }));
  },

  show() {
    const wanted = this.search.value.trim().toLowerCase(), fits = (one) => !wanted || one.words.includes(wanted);
    let rows = [];
    if (this.sort.value === "drawn") {
      rows = this.drawn;
      for (const one of this.rows) one.row.hidden = !fits(one);
      for (const head of this.heads) head.hidden = Boolean(wanted);
    } else {
      const used = new Set();
      for (const [name, all] of this.groups()) {
        const own = all.filter(fits);
        if (!own.length) continue;
        if (name) rows.push(this.head(name, own));
        for (const one of own) {
          rows.push(this.rowOn(name, one, used.has(one.key)));
          used.add(one.key);
        }
      }
    }
    this.body.replaceChildren(...rows);
    this.order = [...new Set(rows.filter((row) => row.dataset.key && !row.hidden).map((row) => row.dataset.key))];
    const said = document.getElementById("listed");
    said.textContent = wanted ? this.order.length + " of " + this.rows.length + " parts" : "";
    this.soon();
  },

  // A part's row; on one of several dies with the bends that are made there.
  rowOn(name, one, again) {
    const several = this.sort.value === "die" && one.dies.length > 1, row = again || several ? one.row.cloneNode(true) : one.row;
    row.hidden = false;
    if (!several) return row;
    const [, bends] = one.dies.find(([die]) => "Die " + die === name), said = document.createElement("span");
    said.className = "small";
    said.textContent = " on this die: " + (bends.length === 1 ? "bend " : "bends ") + bends.join(", ");
    row.children[4].append(said);
    return row;
  },

  head(name, own) {
    const row = document.createElement("tr"), cell = document.createElement("th");
    const bends = name.startsWith("Die ") ? own.reduce((sum, one) => sum + Number(one.row.children[2].lastChild.textContent) * one.dies.find(([die]) => "Die " + die === name)[1].length, 0) : 0;
    row.className = "group";
    cell.scope = "rowgroup";
    cell.colSpan = 10;
    cell.textContent = name + ": " + own.length + (own.length === 1 ? " part" : " parts") + (bends ? ", " + bends + (bends === 1 ? " bend" : " bends") + " in all" : "");
    row.append(cell);
    return row;
  },

  // the part that is being read: the last one whose head has come up to the bar
  here() {
    const bar = document.querySelector(".bar").getBoundingClientRect().bottom;
    let found = "";
    for (const section of document.querySelectorAll("section.part")) {
      if (section.getBoundingClientRect().top > bar + 55) break;
      found = section.id;
    }
    return found;
  },

  go(way) {
    const at = this.order.indexOf(this.here()), next = at < 0 ? (way > 0 ? 0 : -1) : at + way;
    if (next < 0 || next >= this.order.length) return;
    const section = document.getElementById(this.order[next]);
    section.scrollIntoView({ behavior: "instant" });
    history.replaceState(null, "", "#" + section.id);
    news(section.querySelector("h2").textContent);
    this.tell();
  },

  tell() {
    const key = this.here(), at = this.order.indexOf(key);
    const place = document.getElementById("here");
    place.textContent = at < 0 ? "Parts" : at + 1 + " of " + this.order.length;
    place.setAttribute("aria-label", at < 0 ? "List of parts" : "Part " + (at + 1) + " of " + this.order.length + ": to the list");
    document.getElementById("before").setAttribute("aria-disabled", String(at <= 0));
    document.getElementById("after").setAttribute("aria-disabled", String(at === this.order.length - 1 || !this.order.length));
  },

  soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.tell(), 100);
  },
};

// One part on paper, the others left out.
function startAlone() {
  for (const button of document.querySelectorAll("[data-alone]"))
    button.addEventListener("click", () => {
      const section = document.getElementById(button.dataset.alone);
      root.classList.add("alone");
      section.classList.add("printed");
      addEventListener("afterprint", () => {
        root.classList.remove("alone");
        section.classList.remove("printed");
      }, { once: true });
      print();
    });
}
