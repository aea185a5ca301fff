// Time: which frame is shown, what plays, what repeats. Nothing plays until somebody asks for it.

const BREATH = 0.5; // seconds on the last frame before a stretch begins again: short stretches must not flicker
const SETTLED = 350; // ms without a change until a frame is said aloud

class Clock {
  constructor(film) {
    const [numerator, denominator] = film.rate;
    this.film = film;
    this.fps = numerator / denominator;
    this.count = Math.ceil(numerator / denominator);
    const dropping = denominator === 1001 && (numerator === 30000 || numerator === 60000);
    this.dropped = dropping ? numerator / 15000 : 0;
    this.digits = Math.max(2, String(this.count - 1).length);
  }

  // Timecode after SMPTE ST 12-1; at 30000/1001 and 60000/1001 numbers are dropped.
  code(frame) {
    const long = 60 * this.count;
    const short = long - this.dropped;
    const ten = long + 9 * short;
    const rest = frame % ten;
    const minute = rest < long ? 0 : 1 + Math.floor((rest - long) / short);
    const number = rest < long ? rest : ((rest - long) % short) + this.dropped;
    const minutes = 10 * Math.floor(frame / ten) + minute;
    const two = (value) => String(value).padStart(2, "0");
    const frames = String(number % this.count).padStart(this.digits, "0");
    const mark = this.dropped ? ";" : ":";
    const hours = Math.floor(minutes / 60) % 24;
    return `${two(hours)}:${two(minutes % 60)}:${two(Math.floor(number / this.count))}${mark}${frames}`;
  }
}

class Player {
  constructor(film, picture, page) {
    this.film = film;
    this.picture = picture;
    this.page = page;
    this.clock = new Clock(film);
    this.frame = 0;
    this.playing = false;
    this.said = 0;
    this.listen();
    this.resize();
    this.draw();
    new ResizeObserver(() => this.resize()).observe(page.canvas.parentElement);
  }

  listen() {
    const { page } = this;
    page.play.addEventListener("click", () => (this.playing ? this.stop() : this.play()));
    page.back.addEventListener("click", () => this.step(-1));
    page.on.addEventListener("click", () => this.step(1));
    page.slider.addEventListener("input", () => {
      this.stop();
      this.show(Number(page.slider.value), true);
    });
    page.canvas.addEventListener("click", () => page.play.click()); // as hands expect; the button is for everybody
    page.speed.addEventListener("change", () => this.restart());
    page.repeat.addEventListener("change", () => this.restart());
    page.keep.addEventListener("click", () => this.keep());
  }

  // The stretch that plays: first frame, last frame, whether it begins again.
  stretch() {
    const { value } = this.page.repeat;
    if (value === "none") return [0, this.film.frames - 1, false];
    if (value === "film") return [0, this.film.frames - 1, true];
    const section = this.film.sections[Number(value)]; // none: the film has just become shorter
    return section ? [section[1], section[2], true] : [0, this.film.frames - 1, true];
  }

  sectionAt(frame) {
    return this.film.sections.find(([, first, last]) => frame >= first && frame <= last);
  }

  play() {
    const [first, last] = this.stretch();
    if (this.frame < first || this.frame >= last) this.show(first, false);
    this.playing = true;
    this.page.play.textContent = "Pause";
    this.restart();
    this.tick();
  }

  stop() {
    if (!this.playing) return;
    this.playing = false;
    cancelAnimationFrame(this.waiting);
    this.page.play.textContent = "Play";
    this.show(this.frame, true);
  }

  restart() {
    const [first, last] = this.stretch();
    if (this.playing && (this.frame < first || this.frame > last)) this.show(first, false);
    this.since = performance.now();
    this.from = this.frame;
  }

  tick() {
    this.waiting = requestAnimationFrame((now) => {
      if (!this.playing) return;
      const rate = this.clock.fps * Number(this.page.speed.value);
      const [first, last, again] = this.stretch();
      const gone = Math.max(0, ((now - this.since) / 1000) * rate);
      const target = this.from + Math.floor(gone);
      if (target > last && !again) {
        this.show(last, false);
        this.stop();
        return;
      }
      if (target > last && gone >= last + 1 - this.from + BREATH * this.clock.fps) {
        this.since = now;
        this.from = first;
        this.show(first, false);
      } else {
        this.show(Math.min(target, last), false);
      }
      this.tick();
    });
  }

  step(by) {
    this.stop();
    this.show(Math.min(Math.max(this.frame + by, 0), this.film.frames - 1), true);
  }

  // Show a section from its first frame on, again and again.
  playSection(number) {
    this.stop();
    this.page.repeat.value = String(number);
    this.show(this.film.sections[number][1], false);
    this.page.canvas.scrollIntoView({ block: "nearest" });
    this.page.play.focus({ preventScroll: true }); // so that the next key can pause it
    this.play();
  }

  show(frame, aloud) {
    const changed = frame !== this.frame;
    this.frame = frame;
    if (changed || aloud) this.draw();
    if (aloud) this.say();
  }

  words() {
    const section = this.sectionAt(this.frame);
    return `Frame ${this.frame}, ${this.clock.code(this.frame)}${section ? `, ${section[0]}` : ""}`;
  }

  draw() {
    const { page, frame } = this;
    this.picture.draw(page.canvas, frame);
    page.canvas.dataset.frame = String(frame);
    page.slider.value = String(frame);
    page.slider.setAttribute("aria-valuetext", this.words());
    page.number.textContent = String(frame);
    page.code.textContent = this.clock.code(frame);
    const section = this.sectionAt(frame);
    page.where.textContent = section ? section[0] : "";
    for (const line of page.nows) {
      const at = String(frame - Number(line.dataset.start) + 0.5);
      line.setAttribute("x1", at);
      line.setAttribute("x2", at);
    }
  }

  // Said once things have settled, and never while the film runs.
  say() {
    clearTimeout(this.said);
    this.said = setTimeout(() => {
      if (!this.playing) this.page.heard.textContent = this.words();
    }, SETTLED);
  }

  resize() {
    const { canvas } = this.page;
    const [width, height] = this.film.size;
    canvas.parentElement.style.setProperty("--shape", String(width / height));
    const wanted = Math.round(canvas.clientWidth * (window.devicePixelRatio || 1));
    const wide = Math.max(1, Math.min(width, wanted));
    const high = Math.max(1, Math.round((wide * height) / width));
    if (canvas.width !== wide || canvas.height !== high) {
      canvas.width = wide;
      canvas.height = high;
      this.draw();
    }
  }

  // The frame that is shown, at full size, as a picture file.
  keep() {
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = this.film.size;
    const { sheets, heroSheet } = this.picture;
    this.picture.sheets = sheets.map(() => new Sheet());
    this.picture.heroSheet = new Sheet();
    this.picture.draw(canvas, this.frame);
    this.picture.sheets = sheets;
    this.picture.heroSheet = heroSheet;
    canvas.toBlob((blob) => offer(blob, `${this.page.fileName}-${String(this.frame).padStart(4, "0")}.png`), "image/png");
  }
}

// Offer a file for saving; nothing is sent anywhere.
function offer(blob, name) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
}
