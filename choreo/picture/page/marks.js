// Marks and notes: one a section, saved as a small file that goes back to the studio, and read from one again.

const MOST_NOTE = 4000;

class Marks {
  constructor(review, page) {
    this.review = review;
    this.page = page;
    this.saved = true;
    this.sections = [...document.querySelectorAll("[data-section]")].map((element) => ({
      about: review.sections[Number(element.dataset.section)],
      radios: [...element.querySelectorAll("input[type=radio]")],
      note: element.querySelector("textarea"),
      printed: element.querySelector(".printed-note"),
    }));
    for (const section of this.sections) {
      for (const radio of section.radios) radio.addEventListener("change", () => this.changed());
      section.note.addEventListener("input", () => {
        section.printed.textContent = section.note.value;
        this.changed();
      });
    }
    page.name.addEventListener("input", () => this.changed());
    page.save.addEventListener("click", () => this.save());
    page.open.addEventListener("change", () => this.read());
    window.addEventListener("beforeunload", (event) => {
      if (!this.saved) event.preventDefault();
    });
    this.count();
  }

  changed() {
    this.saved = false;
    this.page.status.textContent = "";
    this.count();
  }

  count() {
    const chosen = this.sections.map((section) => verdictOf(section));
    const approved = chosen.filter((one) => one === "approved").length;
    const refused = chosen.filter((one) => one === "not-yet").length;
    const open = chosen.length - approved - refused;
    const said = [`${approved} approved`, `${refused} not yet`, `${open} without a mark`];
    this.page.count.textContent = said.join(", ");
  }

  save() {
    const name = this.page.name.value.trim();
    if (!name) {
      this.page.status.textContent = "Please write your name first, so that the studio knows whose marks these are.";
      this.page.name.focus();
      return;
    }
    const content = {
      format: "choreo/director",
      version: 1,
      project: this.review.project,
      source: this.review.source,
      name,
      saved: new Date().toISOString(),
      sections: this.sections.map((section) => ({
        ...section.about,
        verdict: verdictOf(section),
        note: section.note.value.trim(),
      })),
    };
    const file = `${this.page.fileName}-director.json`;
    offer(new Blob([`${JSON.stringify(content, null, 2)}\n`], { type: "application/json" }), file);
    this.saved = true;
    this.page.status.textContent = `Saved as ${file}. Please send that file back to the studio.`;
  }

  async read() {
    const [file] = this.page.open.files;
    if (!file) return;
    let content;
    try {
      content = JSON.parse(await file.text());
    } catch {
      content = null;
    }
    this.page.open.value = "";
    if (!content || content.format !== "choreo/director" || !Array.isArray(content.sections)) {
      this.page.status.textContent = "That is not a file of marks from such a page. Nothing has been changed.";
      return;
    }
    this.page.status.textContent = this.take(content);
    this.count();
  }

  // Marks of sections that have changed since are not taken over; their notes are.
  take(content) {
    if (typeof content.name === "string") this.page.name.value = content.name.slice(0, 200);
    let taken = 0;
    let changed = 0;
    for (const section of this.sections) {
      const old = content.sections.find((one) => one && one.name === section.about.name);
      if (!old) continue;
      const same = old.content === section.about.content;
      taken += 1;
      changed += same ? 0 : 1;
      section.note.value = typeof old.note === "string" ? old.note.slice(0, MOST_NOTE) : "";
      section.printed.textContent = section.note.value;
      const verdict = same ? old.verdict : "none";
      for (const radio of section.radios) radio.checked = radio.value === verdict;
      if (!section.radios.some((radio) => radio.checked)) section.radios[0].checked = true;
    }
    this.saved = true;
    const marks = `Marks of ${taken} of ${this.sections.length} sections were read.`;
    return changed ? `${marks} ${changed} looked different when they were marked: look again, please.` : marks;
  }
}

function verdictOf(section) {
  const radio = section.radios.find((one) => one.checked);
  return radio ? radio.value : "none";
}
