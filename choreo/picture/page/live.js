// The page of a project that is being edited: it is told what has changed, and shows it without being loaded again.

const STATES = {
  moving: "New paths and times",
  drawn: "New picture",
  whole: "Up to date",
  failed: "Not as it stands",
  gone: "No longer watched",
};

function controls() {
  const byId = (id) => document.getElementById(id);
  const page = { fileName: "frame", heard: byId("heard"), canvas: byId("picture"), slider: byId("frame"), nows: [] };
  for (const name of ["play", "back", "on", "speed", "repeat", "keep", "number", "code", "where"]) page[name] = byId(name);
  return page;
}

class Live {
  constructor() {
    this.page = controls();
    this.film = null;
    this.player = null;
    this.boards = new Boards();
    this.queue = Promise.resolve();
    const source = new EventSource("/changes");
    // One after the other: a later change must not overtake one that waits for its plates.
    source.onmessage = (event) => {
      this.queue = this.queue.then(() => this.take(JSON.parse(event.data)));
    };
    source.onerror = () => this.say("gone", "choreo watch has ended, or is starting again.");
  }

  async take(message) {
    if (!message.state) return; // nothing is known yet
    const film = this.filmAfter(message);
    if (film) await this.show(film, Boolean(message.head));
    for (const [id, markup] of Object.entries(message.pieces || {})) this.replace(id, markup);
    if (message.pieces && this.player) {
      letPan();
      this.boards.lay(this.player.picture, document.querySelectorAll("figure[data-frame]"));
    }
    this.list(message.findings);
    this.say(message.state, message.said);
    document.documentElement.dataset.round = String(message.round);
  }

  // The film with what the message changes of it; null where it has none of it.
  filmAfter(message) {
    if (!message.head && !message.order) return null;
    const known = new Map(this.film ? this.film.shots.map((shot) => [shot.name, shot]) : []);
    const head = { ...(message.head || this.film), ...message.length };
    if (!head.size) return null;
    const shots = (message.order || [...known.keys()]).map((name) => message.shots[name] || known.get(name));
    return shots.every(Boolean) ? { ...head, shots } : null;
  }

  async show(film, anew) {
    this.film = film;
    const { page } = this;
    if (anew || !this.player) {
      const picture = new MovingPicture(film);
      await picture.ready();
      if (!this.player) {
        this.player = new Player(film, picture, page);
      }
      this.player.picture = picture;
    } else {
      this.player.picture.film = film;
      for (const sheet of this.player.picture.sheets) sheet.key = "";
    }
    page.slider.max = String(film.frames - 1);
    this.player.film = film;
    this.player.clock = new Clock(film);
    if (this.player.frame >= film.frames) this.player.frame = film.frames - 1;
    this.player.resize();
    this.player.draw();
  }

  // Markup comes from choreo on this machine, its words escaped; it is parsed, never run.
  replace(id, markup) {
    const place = document.getElementById(id);
    if (id === "repeat") {
      const { value } = place;
      place.innerHTML = markup;
      if ([...place.options].some((option) => option.value === value)) place.value = value;
      return;
    }
    place.innerHTML = markup;
    for (const button of place.querySelectorAll("button[data-goes]")) {
      button.addEventListener("click", () => {
        this.player.stop();
        this.player.show(Number(button.dataset.goes), true);
        this.page.canvas.scrollIntoView({ block: "nearest" });
      });
    }
    this.page.nows = [...document.querySelectorAll("line.now")];
    this.player.draw();
  }

  list(findings) {
    const rows = findings.map((finding) => {
      const row = document.createElement("li");
      const line = (name, text) => {
        if (!text) return;
        const paragraph = document.createElement("p");
        paragraph.className = name;
        paragraph.textContent = text;
        row.append(paragraph);
      };
      const where = [finding.file, finding.line && `line ${finding.line}`, finding.place].filter(Boolean);
      line("place", where.join(", "));
      line("what", finding.what);
      line("why", finding.why);
      line("remedy", finding.remedy);
      return row;
    });
    document.getElementById("findings").replaceChildren(...rows);
  }

  say(state, words) {
    document.documentElement.dataset.state = state;
    document.getElementById("state").textContent = STATES[state];
    document.getElementById("said").textContent = words;
  }
}

new Live();
