// Everything put together once the page is there.

function dataOf(id) {
  return JSON.parse(document.getElementById(id).textContent);
}

async function start() {
  const byId = (id) => document.getElementById(id);
  const review = dataOf("review-data");
  const page = {
    canvas: byId("picture"),
    play: byId("play"),
    back: byId("back"),
    on: byId("on"),
    slider: byId("frame"),
    speed: byId("speed"),
    repeat: byId("repeat"),
    keep: byId("keep"),
    number: byId("number"),
    code: byId("code"),
    where: byId("where"),
    heard: byId("heard"),
    nows: [...document.querySelectorAll("line.now")],
    name: byId("name"),
    save: byId("save"),
    open: byId("open"),
    status: byId("status"),
    count: byId("count"),
    fileName: review.file,
  };
  const film = dataOf("film-data");
  const picture = new MovingPicture(film);
  await picture.ready();
  const player = new Player(film, picture, page);
  new Marks(review, page);
  for (const button of document.querySelectorAll("button[data-plays]")) {
    button.addEventListener("click", () => player.playSection(Number(button.dataset.plays)));
  }
  for (const button of document.querySelectorAll("button[data-goes]")) {
    button.addEventListener("click", () => {
      player.stop();
      player.show(Number(button.dataset.goes), true);
      page.canvas.scrollIntoView({ block: "nearest" });
    });
  }
  letPan();
  window.addEventListener("resize", letPan);
  document.documentElement.dataset.ready = "yes";
  await new Boards().lay(picture, document.querySelectorAll("figure[data-frame]"));
  document.documentElement.dataset.boards = "yes";
}

start();
