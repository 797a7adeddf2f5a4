"use strict";
(() => {
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const clamp = (v, low, high) => Math.min(Math.max(v, low), high);
  const json = (element) => JSON.parse(element.querySelector("script[type='application/json']").textContent);

  // Fills: a colour and a pattern for each verdict, so that they differ without colour as well.
  const patterns = {
    A: () => {},
    B: (c) => { for (let k = -8; k < 16; k += 4) line(c, k, 8, k + 8, 0, 1); },
    N: (c) => { for (const [x, y] of [[1, 1], [5, 5]]) c.fillRect(x, y, 2, 2); },
    K: () => {},
    U: (c) => { for (let k = 0; k < 8; k += 4) { line(c, k, 0, k, 8, .6); line(c, 0, k, 8, k, .6); } },
    G: (c) => { c.fillRect(0, 0, 4, 4); c.fillRect(4, 4, 4, 4); },
    L: (c) => { c.fillRect(0, 1, 8, 1.5); c.fillRect(0, 5, 8, 1.5); },
    F: (c) => { c.fillRect(1, 0, 1.5, 8); c.fillRect(5, 0, 1.5, 8); },
    M: (c) => { line(c, 0, 0, 8, 8, 1.5); line(c, 0, 8, 8, 0, 1.5); },
  };
  const line = (c, x0, y0, x1, y1, width) => {
    c.lineWidth = width; c.beginPath(); c.moveTo(x0, y0); c.lineTo(x1, y1); c.stroke();
  };
  const fills = () => Object.fromEntries(Object.keys(patterns).map((letter) => {
    const tile = document.createElement("canvas");
    tile.width = tile.height = 8;
    const c = tile.getContext("2d");
    c.fillStyle = css(`--v-${letter.toLowerCase()}`);
    c.fillRect(0, 0, 8, 8);
    c.fillStyle = c.strokeStyle = "KGLFM".includes(letter) ? css("--on") : css("--soft");
    patterns[letter](c);
    return [letter, c.createPattern(tile, "repeat")];
  }));
  const drawSwatches = () => {
    const fill = fills();
    for (const s of document.querySelectorAll("canvas.swatch")) {
      const c = s.getContext("2d");
      c.fillStyle = fill[s.dataset.verdict];
      c.fillRect(0, 0, s.width, s.height);
    }
  };

  // The timeline: rows of runs of verdicts, shown from frame `from` to frame `to`.
  class Timeline {
    constructor(root) {
      this.data = json(root);
      this.rows = this.data.rows.map(([id, text]) => {
        const starts = [], letters = [];
        let at = 0;
        for (const [, letter, length] of text.matchAll(/([A-Z])([0-9a-z]+)/g)) {
          starts.push(at); letters.push(letter); at += parseInt(length, 36);
        }
        starts.push(at);
        return { id, starts, letters };
      });
      this.names = Object.fromEntries(this.data.names);
      this.box = root.querySelector(".strips");
      this.canvas = root.querySelector("canvas");
      this.out = root.querySelector("output");
      this.from = 0; this.to = this.data.frames; this.row = 0; this.cursor = 0; this.event = -1;
      for (const b of root.querySelectorAll("button")) b.onclick = () => this.act(b.dataset.do);
      this.box.onkeydown = (e) => this.key(e);
      this.box.addEventListener("wheel", (e) => {
        // Only once it was chosen: a page that is scrolled past must not catch the wheel.
        if (e.ctrlKey || e.metaKey || document.activeElement !== this.box) return;
        e.preventDefault();
        this.zoom(e.deltaY > 0 ? 1.3 : 1 / 1.3, this.frameAt(e));
      }, { passive: false });
      let drag = null;
      this.box.onpointerdown = (e) => { drag = { x: e.clientX, from: this.from }; this.point(e); };
      this.box.onpointermove = (e) => {
        if (drag && e.buttons) this.move(drag.from - (e.clientX - drag.x) * this.span() / this.width() - this.from);
        else this.point(e);
      };
      this.box.onpointerup = () => { drag = null; };
      this.draw();
      this.say();
    }
    span() { return this.to - this.from; }
    width() { return Math.max(this.canvas.clientWidth - this.label, 1); }
    frameAt(e) {
      const x = e.clientX - this.canvas.getBoundingClientRect().left - this.label;
      return clamp(Math.floor(this.from + x * this.span() / this.width()), 0, Math.max(this.data.frames - 1, 0));
    }
    point(e) {
      const y = e.clientY - this.canvas.getBoundingClientRect().top;
      this.row = clamp(Math.floor((y - this.top) / this.height), 0, this.rows.length - 1);
      this.cursor = this.frameAt(e);
      this.draw(); this.say();
    }
    zoom(by, about) {
      const span = clamp(this.span() * by, Math.min(8, this.data.frames), this.data.frames);
      const share = (about - this.from) / this.span();
      this.from = clamp(about - share * span, 0, this.data.frames - span);
      this.to = this.from + span;
      this.draw();
    }
    move(by) {
      const span = this.span();
      this.from = clamp(this.from + by, 0, this.data.frames - span);
      this.to = this.from + span;
      this.draw();
    }
    go(step) {
      const events = this.data.events;
      if (!events.length) return;
      this.event = clamp(this.event + step, 0, events.length - 1);
      const [first, last, , , rows] = events[this.event];
      const span = clamp((last - first + 1) * 4, 40, this.data.frames);
      this.from = clamp((first + last) / 2 - span / 2, 0, this.data.frames - span);
      this.to = this.from + span;
      this.cursor = first; this.row = rows.length === this.rows.length - 1 ? 0 : rows[0] ?? 0;
      this.draw(); this.say();
    }
    act(what) {
      const middle = (this.from + this.to) / 2;
      ({
        whole: () => { this.from = 0; this.to = this.data.frames; this.draw(); },
        in: () => this.zoom(0.5, middle), out: () => this.zoom(2, middle),
        left: () => this.move(-this.span() / 4), right: () => this.move(this.span() / 4),
        previous: () => this.go(-1), next: () => this.go(1),
      })[what]();
    }
    key(e) {
      if (e.ctrlKey || e.metaKey || e.altKey) return;
      const step = (by) => () => {
        this.cursor = clamp(this.cursor + by, 0, this.data.frames - 1);
        if (this.cursor < this.from || this.cursor >= this.to) this.move(this.cursor - (this.from + this.to) / 2);
      };
      const row = (by) => () => { this.row = clamp(this.row + by, 0, this.rows.length - 1); };
      const by = Math.max(1, Math.round(this.span() / 200));
      const action = {
        "+": () => this.zoom(0.5, this.cursor), "=": () => this.zoom(0.5, this.cursor),
        "-": () => this.zoom(2, this.cursor), "0": () => this.act("whole"),
        n: () => this.go(1), p: () => this.go(-1),
        ArrowLeft: step(-by), ArrowRight: step(by), ArrowUp: row(-1), ArrowDown: row(1),
        Enter: () => { const m = this.mark(); if (m) location.hash = m[3]; },
      }[e.key];
      if (!action) return;
      e.preventDefault();
      action(); this.draw(); this.say();
    }
    mark() {
      return this.data.events.find(([first, last, , , rows]) =>
        this.cursor >= first && this.cursor <= last && (this.row === 0 || rows.includes(this.row)));
    }
    // The run of a row that holds a frame, by bisection.
    run(row, frame) {
      let low = 0, high = row.letters.length - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (row.starts[middle] <= frame) low = middle; else high = middle - 1;
      }
      return low;
    }
    time(frame) {
      const t = this.data.times;
      if (!t.length) return 0;
      let k = t.findIndex(([f]) => f >= frame);
      if (k < 0) k = t.length - 1;
      if (k === 0) return t[0][1];
      const [[f0, t0], [f1, t1]] = [t[k - 1], t[k]];
      return t0 + (t1 - t0) * (frame - f0) / (f1 - f0);
    }
    say() {
      const row = this.rows[this.row];
      if (!row || !row.letters.length) return;
      const k = this.run(row, this.cursor), s = (f) => this.time(f).toFixed(3);
      const mark = this.mark();
      this.out.textContent = `${row.id}, frame ${this.cursor} (${s(this.cursor)} s): ${this.names[row.letters[k]]}, ` +
        `from frame ${row.starts[k]} (${s(row.starts[k])} s) for ${row.starts[k + 1] - row.starts[k]} frames` +
        (mark ? `; event ${mark[2]}` : "");
    }
    draw() {
      this.label = 128; this.top = 34; this.height = 19;
      const ratio = Math.max(devicePixelRatio || 1, 2), width = this.box.clientWidth || 900;
      const height = this.top + this.rows.length * this.height + 4;
      this.canvas.width = width * ratio; this.canvas.height = height * ratio;
      this.canvas.style.height = `${height}px`;
      const c = this.canvas.getContext("2d");
      c.scale(ratio, ratio);
      c.font = "12px system-ui, sans-serif";
      c.textBaseline = "middle";
      const fill = fills(), ink = css("--ink"), faint = css("--line"), wide = width - this.label;
      const x = (frame) => this.label + (frame - this.from) * wide / this.span();
      this.rows.forEach((row, r) => {
        const y = this.top + r * this.height;
        c.fillStyle = ink;
        c.font = `${r === this.row ? "bold " : ""}12px system-ui, sans-serif`;
        c.fillText(row.id, 4, y + this.height / 2, this.label - 10);
        const last = row.letters.length && this.run(row, this.to);
        // What is narrower than a pixel is told by the gravest verdict in it.
        let column = -1, gravest = "";
        for (let k = this.run(row, this.from); row.letters.length && k <= last; k++) {
          const letter = row.letters[k];
          const x0 = Math.max(x(row.starts[k]), this.label), x1 = Math.min(x(row.starts[k + 1]), width);
          const at = Math.floor(x0);
          if (x1 - x0 < 1 && at === column && "AUBNKGLFM".indexOf(letter) <= "AUBNKGLFM".indexOf(gravest)) continue;
          c.fillStyle = fill[letter];
          c.fillRect(x0, y + 1, Math.max(x1 - x0, 1), this.height - 3);
          if (x1 - x0 < 1) { column = at; gravest = letter; } else { column = Math.floor(x1); gravest = letter; }
          if (x1 - x0 > 16) {
            c.fillStyle = css("--paper"); c.fillRect(x0 + 2, y + 3, 11, this.height - 7);
            c.fillStyle = ink; c.font = "bold 11px system-ui, sans-serif";
            c.fillText(letter, x0 + 4, y + this.height / 2);
          }
        }
      });
      this.axis(c, x, width, height, ink, faint);
      c.fillStyle = ink;
      let free = 0;
      c.font = "bold 11px system-ui, sans-serif";
      for (const [first, last, label] of this.data.events) {
        if (last < this.from || first > this.to) continue;
        const at = Math.max(x(first), this.label);
        c.fillRect(at, this.top - 5, Math.max(x(last + 1) - at, 2), 3);
        if (at >= free) { c.fillText(label, at, this.top - 12); free = at + c.measureText(label).width + 4; }
      }
      c.strokeStyle = ink; c.setLineDash([3, 2]);
      const at = x(this.cursor);
      if (at >= this.label && at <= width) line(c, at, this.top - 2, at, height, 1);
      c.setLineDash([]);
      c.strokeRect(this.label + .5, this.top + this.row * this.height + .5, wide - 1, this.height - 2);
    }
    axis(c, x, width, height, ink, faint) {
      const t0 = this.time(this.from), t1 = this.time(this.to);
      const rough = (t1 - t0) / 8 || 1;
      const step = [.02, .05, .1, .2, .5, 1, 2, 5, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200].find((s) => s >= rough) || 14400;
      c.font = "11px system-ui, sans-serif";
      for (let t = Math.ceil(t0 / step) * step; t <= t1; t += step) {
        const at = x(this.from + (t - t0) / (t1 - t0) * this.span());
        c.strokeStyle = faint; line(c, at, 16, at, height, 1);
        c.fillStyle = ink;
        const h = Math.floor(t / 3600), m = Math.floor(t % 3600 / 60);
        const text = t1 - t0 > 240 ? `${h}:${String(m).padStart(2, "0")}:${String(Math.round(t % 60)).padStart(2, "0")}` : `${+t.toFixed(2)} s`;
        const w = c.measureText(text).width;
        c.fillText(text, clamp(at - w / 2, this.label, width - w), 8);
      }
    }
  }

  // Stored frames of an event.
  const load = (uri) => new Promise((done, fail) => {
    const picture = new Image();
    picture.onload = () => {
      const c = document.createElement("canvas");
      c.width = picture.naturalWidth; c.height = picture.naturalHeight;
      const context = c.getContext("2d", { willReadFrequently: true });
      context.drawImage(picture, 0, 0);
      done({ canvas: c, levels: context.getImageData(0, 0, c.width, c.height).data });
    };
    picture.onerror = fail;
    picture.src = uri;
  });
  const differ = (a, b) => {
    const c = document.createElement("canvas");
    c.width = a.canvas.width; c.height = a.canvas.height;
    const context = c.getContext("2d");
    const out = context.createImageData(c.width, c.height);
    const sizes = new Uint8Array(c.width * c.height);
    for (let k = 0; k < sizes.length; k++) {
      const p = 4 * k;
      const d = Math.max(Math.abs(a.levels[p] - b.levels[p]), Math.abs(a.levels[p + 1] - b.levels[p + 1]),
        Math.abs(a.levels[p + 2] - b.levels[p + 2]));
      sizes[k] = d;
      out.data[p] = out.data[p + 1] = out.data[p + 2] = Math.min(2 * d, 255);
      out.data[p + 3] = 255;
    }
    context.putImageData(out, 0, 0);
    return { canvas: c, sizes };
  };
  class Pictures {
    constructor(root) {
      this.root = root;
      this.cache = new Map();
      const details = root.querySelector("details");
      details.addEventListener("toggle", () => { if (details.open) this.open(); });
    }
    // Megabytes of pictures: read when they are first looked at, so that the page opens at once.
    get data() { return this.read ??= json(this.root); }
    get best() { return Math.max(this.data.stills.findIndex((s) => s.is_best), 0); }
    frame(n) {
      if (!this.cache.has(n)) {
        const s = this.data.stills[n];
        // The best frame stands on the page already.
        const uri = (kind) => s[kind] ?? this.root.querySelector(`img[data-kind=${kind}]`).src;
        this.cache.set(n, Promise.all([load(uri("captured")), load(uri("reference"))])
          .then(([captured, reference]) => ({ captured, reference, difference: differ(captured, reference) })));
      }
      return this.cache.get(n);
    }
    open() {
      if (this.stage) return;
      const q = (s) => this.root.querySelector(s);
      this.stage = q(".view canvas"); this.loupe = q(".loupe"); this.out = q(".stepper output"); this.select = q("select");
      this.n = this.best; this.kind = "captured";
      const [ax, ay] = this.data.area, [fx, fy, fw, fh] = this.data.focus;
      this.x = fx - ax + (fw >> 1); this.y = fy - ay + (fh >> 1);
      this.select.value = this.data.area[2] > 400 ? "1" : "2";
      this.select.onchange = () => this.draw();
      for (const radio of this.root.querySelectorAll("input[type=radio]")) {
        radio.onchange = () => {
          if (radio.name.startsWith("frame-")) this.n = +radio.value; else this.kind = radio.value;
          this.draw();
        };
      }
      this.stage.onpointermove = (e) => {
        const z = +this.select.value;
        const box = this.stage.getBoundingClientRect();
        this.to(Math.floor((e.clientX - box.left) / z), Math.floor((e.clientY - box.top) / z));
      };
      this.stage.onkeydown = (e) => {
        if (e.ctrlKey || e.metaKey || e.altKey) return;
        const by = e.shiftKey ? 10 : 1;
        const action = {
          ArrowLeft: () => this.to(this.x - by, this.y), ArrowRight: () => this.to(this.x + by, this.y),
          ArrowUp: () => this.to(this.x, this.y - by), ArrowDown: () => this.to(this.x, this.y + by),
          ",": () => this.step(-1), ".": () => this.step(1),
          c: () => this.show("captured"), r: () => this.show("reference"), d: () => this.show("difference"),
        }[e.key];
        if (!action) return;
        e.preventDefault();
        action();
      };
      this.draw();
    }
    step(by) {
      this.n = clamp(this.n + by, 0, this.data.stills.length - 1);
      this.check("frame-", this.n); this.draw();
    }
    show(kind) { this.kind = kind; this.check("kind-", kind); this.draw(); }
    check(name, value) {
      for (const radio of this.root.querySelectorAll(`input[name^='${name}']`)) radio.checked = radio.value === String(value);
    }
    async draw() {
      const n = this.n, shown = await this.frame(n);
      if (n !== this.n) return;
      this.shown = shown;
      const from = shown[this.kind].canvas, z = +this.select.value;
      this.stage.width = from.width; this.stage.height = from.height;
      this.stage.style.width = `${from.width * z}px`;
      this.stage.style.height = `${from.height * z}px`;
      this.stage.getContext("2d").drawImage(from, 0, 0);
      this.to(this.x, this.y);
    }
    to(x, y) {
      if (!this.shown) return;
      const { captured, reference, difference } = this.shown;
      const { width, height } = captured.canvas;
      this.x = clamp(x, 0, width - 1); this.y = clamp(y, 0, height - 1);
      const k = this.y * width + this.x;
      const rgb = (p) => Array.from(p.levels.slice(4 * k, 4 * k + 3)).join(" ");
      const still = this.data.stills[this.n];
      this.out.textContent = `frame ${still.frame} (${still.time_s.toFixed(3)} s), x ${this.x + this.data.area[0]}, y ${this.y + this.data.area[1]}: ` +
        `captured ${rgb(captured)}, reference ${rgb(reference)}, largest difference ${difference.sizes[k]}`;
      const c = this.loupe.getContext("2d"), half = 5, size = 16;
      c.imageSmoothingEnabled = false;
      c.fillStyle = "#808080"; c.fillRect(0, 0, 176, 176);
      c.drawImage(this.shown[this.kind].canvas, this.x - half, this.y - half, 11, 11, 0, 0, 176, 176);
      c.strokeStyle = "#ffffff"; c.lineWidth = 3; c.strokeRect(half * size, half * size, size, size);
      c.strokeStyle = "#000000"; c.lineWidth = 1; c.strokeRect(half * size, half * size, size, size);
    }
  }

  drawSwatches();
  const timelines = Array.from(document.querySelectorAll(".timeline"), (root) => new Timeline(root));
  for (const root of document.querySelectorAll(".pictures")) new Pictures(root);
  // A box that is wider than the page says so, and can be moved by keyboard.
  const boxes = document.querySelectorAll(".wide");
  const wide = new ResizeObserver((seen) => { for (const s of seen) tell(s.target); });
  const tell = (box) => {
    const room = box.scrollWidth - box.clientWidth;
    box.toggleAttribute("data-more", room > 2 && box.scrollLeft < room - 2);
    for (const [name, value] of [["tabindex", "0"], ["role", "group"], ["aria-label", "Wider than the page: scrolls sideways"]])
      if (room > 2) box.setAttribute(name, value); else box.removeAttribute(name);
  };
  for (const box of boxes) { wide.observe(box); box.addEventListener("scroll", () => tell(box), { passive: true }); }
  const redraw = () => { drawSwatches(); for (const t of timelines) t.draw(); };
  addEventListener("resize", redraw);
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  // Printed light and as a whole, whatever is on the screen.
  addEventListener("beforeprint", () => {
    document.documentElement.dataset.print = "";
    for (const t of timelines) { t.kept = [t.from, t.to]; [t.from, t.to] = [0, t.data.frames]; }
    redraw();
  });
  addEventListener("afterprint", () => {
    delete document.documentElement.dataset.print;
    for (const t of timelines) if (t.kept) [t.from, t.to] = t.kept;
    redraw();
  });
  document.documentElement.dataset.ready = "";
})();
