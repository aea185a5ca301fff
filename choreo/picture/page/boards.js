// The storyboard's panels where the film shows photographs: the frame itself, drawn like the moving picture, is laid
// between a panel's paper and its names. Without this script, and where there is no photograph, solids stand there.

const FINE = 2; // device px to a px of the page, at most: print and the eye need no more

class Boards {
  constructor() {
    this.turn = 0;
  }

  // One panel after the other, so that nothing has to wait; what was begun for an earlier film is given up.
  async lay(moving, figures) {
    this.turn += 1;
    const { turn } = this;
    const picture = onPaper(moving);
    const canvas = document.createElement("canvas");
    for (const figure of figures) {
      const frame = Number(figure.dataset.frame);
      if (!showsPhotographs(picture.shotAt(frame), frame)) continue;
      await new Promise((go) => setTimeout(go));
      if (turn !== this.turn) return;
      layFrame(picture, canvas, frame, figure.querySelector("svg"));
    }
  }
}

// The same film without its backdrop, on sheets of its own.
function onPaper(moving) {
  const film = { ...moving.film, backdrop: "transparent" };
  const sheets = moving.sheets.map(() => new Sheet());
  const own = { ...moving, film, sheets, heroSheet: new Sheet(), cutSheet: new Sheet() };
  return Object.assign(Object.create(MovingPicture.prototype), own);
}

function showsPhotographs(shot, frame) {
  if (!shot) return false;
  const at = frame - shot.start;
  const shown = (track) => track.plate !== null && rowOf(track.opacity, at, 1)[0] > 0;
  const taken = ([, first, shares]) => at >= first && at < first + shares.length;
  return shot.parts.some(shown) || (shot.taken || []).some(taken) || Boolean(shot.hero && shot.hero[at] > 0);
}

function layFrame(picture, canvas, frame, svg) {
  const [wide, high] = picture.film.size;
  const units = svg.viewBox.baseVal.width - 2; // the drawing has a unit of room around it
  canvas.width = Math.min(wide, Math.round(units * Math.min(FINE, window.devicePixelRatio + 0.5)));
  canvas.height = Math.round((canvas.width * high) / wide);
  picture.draw(canvas, frame);
  const image = document.createElementNS("http://www.w3.org/2000/svg", "image");
  image.setAttribute("href", canvas.toDataURL("image/png"));
  image.setAttribute("width", String(units));
  image.setAttribute("height", String((units * high) / wide));
  image.setAttribute("class", "parts");
  svg.querySelector(".parts").replaceWith(image);
}

// On a phone a panel with names is wider than the screen, if that is asked for.
document.addEventListener("click", (event) => {
  const button = event.target instanceof Element && event.target.closest("button.larger");
  if (!button) return;
  const large = button.closest("figure").classList.toggle("large");
  button.setAttribute("aria-pressed", String(large));
  letPan();
});

// What is wider than its place is moved sideways: with keys as well.
function letPan() {
  for (const drawn of document.querySelectorAll(".drawn")) {
    if (drawn.scrollWidth > drawn.clientWidth + 1) drawn.tabIndex = 0;
    else drawn.removeAttribute("tabindex");
  }
}
