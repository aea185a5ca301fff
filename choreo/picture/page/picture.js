// The moving picture: any frame of the film, at any width, drawn from tracks alone.
//
// A part without a plate is drawn face by face and wall by wall, far to near, onto a sheet of its own, and cut to the
// union of all of them, which is its exact outline. What stands before it is cut out of the sheet, and the sheets are
// laid one over the other in the order of the layers. A sheet that something is cut out of is also laid, whole, beneath
// what cuts it: so the backdrop cannot shine through where two cut edges meet.

const EDGE_LINE = "rgba(0,0,0,0.11)";
const LEVEL = 1e-9;

function toCode(light) {
  const value = light <= 0.0031308 ? light * 12.92 : 1.055 * Math.pow(light, 1 / 2.4) - 0.055;
  return Math.round(255 * Math.min(Math.max(value, 0), 1));
}

function paintOf(light, share) {
  return `rgb(${toCode(light[0] * share)},${toCode(light[1] * share)},${toCode(light[2] * share)})`;
}

// Row of a list in which what never changes is written once.
function rowOf(values, frame, width) {
  const from = values.length > width ? frame * width : 0;
  return values.slice(from, from + width);
}

// ---- solids -------------------------------------------------------------------------------------------------------

function prepareBand(band) {
  const ends = [];
  for (const ring of band.rings) {
    for (let i = 0; i < ring.length; i += 2) {
      const j = (i + 2) % ring.length;
      ends.push([ring[i], ring[i + 1], ring[j], ring[j + 1]]);
    }
  }
  const walls = ends
    .map(([ax, ay, bx, by]) => {
      const length = Math.hypot(bx - ax, by - ay);
      return { ax, ay, bx, by, nx: (by - ay) / length, ny: (ax - bx) / length };
    })
    .filter((wall) => Number.isFinite(wall.nx));
  return { ...band, walls, bare: band.bare.map((rings) => rings || band.rings) };
}

// How a part is seen: camera, place and turn in one, in the coordinates of the assembled part.
function viewOf(camera, origin, shift, degrees, share) {
  const m = camera.matrix;
  const angle = (degrees * Math.PI) / 180;
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  // x -> R (x - o) + o + shift
  const move = [
    origin[0] - c * origin[0] + s * origin[1] + shift[0],
    origin[1] - s * origin[0] - c * origin[1] + shift[1],
    shift[2],
  ];
  const back = (v) => [c * v[0] + s * v[1], -s * v[0] + c * v[1], v[2]];
  const matrix = new Float64Array(12);
  for (let row = 0; row < 3; row += 1) {
    const [a, b, d, t] = m.slice(4 * row, 4 * row + 4);
    const by = row < 2 ? share : 1;
    matrix[4 * row] = by * (a * c + b * s);
    matrix[4 * row + 1] = by * (b * c - a * s);
    matrix[4 * row + 2] = by * d;
    matrix[4 * row + 3] = by * (t + a * move[0] + b * move[1] + d * move[2]);
  }
  return {
    matrix,
    eye: camera.eye && back(camera.eye.map((value, axis) => value - move[axis])),
    forward: back(camera.forward),
    light: back(camera.light),
    dark: camera.dark,
  };
}

function seenAt(view, x, y, z) {
  const m = view.matrix;
  const w = m[8] * x + m[9] * y + m[10] * z + m[11];
  return [(m[0] * x + m[1] * y + m[2] * z + m[3]) / w, (m[4] * x + m[5] * y + m[6] * z + m[7]) / w];
}

function toneOf(view, nx, ny, nz) {
  const lit = Math.max(0, nx * view.light[0] + ny * view.light[1] + nz * view.light[2]);
  return view.dark + (1 - view.dark) * lit;
}

// Bands from far to near with the side that each shows: 1 its upper face, -1 its lower one, 0 none.
function farToNear(bands, view) {
  if (!view.eye) {
    const side = -Math.sign(view.forward[2]);
    const all = bands.map((band) => [band, side]);
    return side >= 0 ? all : all.reverse();
  }
  const height = view.eye[2];
  const sides = bands.map((band) => [band, (height > band.z[1]) - (height < band.z[0])]);
  return [
    ...sides.filter(([, side]) => side > 0),
    ...sides.filter(([, side]) => side < 0).reverse(),
    ...sides.filter(([, side]) => side === 0),
  ];
}

// Walls of a band that look at the camera, those that others hide first.
function seenWalls(band, view) {
  const { eye, forward } = view;
  const seen = band.walls.filter((wall) => {
    if (!eye) return -(wall.nx * forward[0] + wall.ny * forward[1]) > LEVEL;
    const x = eye[0] - wall.ax;
    const y = eye[1] - wall.ay;
    return wall.nx * x + wall.ny * y > LEVEL * Math.hypot(x, y);
  });
  if (band.convex || seen.length < 2) return seen;
  return byDepth(seen, eye ? fieldAround(seen, eye) : fieldAlong(seen, forward));
}

// Which stretch of a level field of view each wall takes, and how deep it lies at a place of it.
function fieldAlong(walls, forward) {
  const length = Math.hypot(forward[0], forward[1]);
  const [px, py] = length > 0 ? [forward[0] / length, forward[1] / length] : [1, 0];
  return walls.map((wall) => {
    const u = wall.by * px - wall.bx * py;
    const v = wall.ay * px - wall.ax * py;
    const near = wall.ax * px + wall.ay * py;
    const rise = u === v ? 0 : (wall.bx * px + wall.by * py - near) / (u - v);
    return { low: Math.min(u, v), high: Math.max(u, v), depth: (at) => near + rise * (at - v) };
  });
}

// The same around the eye: places are angles, cut opposite to where most walls are.
function fieldAround(walls, eye) {
  let mx = 0;
  let my = 0;
  for (const wall of walls) {
    mx += wall.ax + wall.bx - 2 * eye[0];
    my += wall.ay + wall.by - 2 * eye[1];
  }
  const length = Math.hypot(mx, my);
  const [cx, cy] = length > 0 ? [mx / length, my / length] : [1, 0];
  const turned = (x, y) => [x * cx + y * cy, y * cx - x * cy];
  return walls.map((wall) => {
    const one = turned(wall.ax - eye[0], wall.ay - eye[1]);
    const two = turned(wall.bx - eye[0], wall.by - eye[1]);
    const normal = turned(wall.nx, wall.ny);
    const a = Math.atan2(one[1], one[0]);
    const b = Math.atan2(two[1], two[0]);
    const offset = one[0] * normal[0] + one[1] * normal[1];
    const depth = (at) => offset / (normal[0] * Math.cos(at) + normal[1] * Math.sin(at));
    return { low: Math.min(a, b), high: Math.max(a, b), depth };
  });
}

function byDepth(walls, field) {
  const order = field.map((_, number) => number).sort((i, j) => field[i].low - field[j].low);
  const sliver = 1e-12 * Math.max(...field.map((one) => one.high), 1e-9);
  const pairs = [];
  order.forEach((i, place) => {
    for (let next = place + 1; next < order.length; next += 1) {
      const j = order[next];
      const low = field[j].low;
      const high = Math.min(field[i].high, field[j].high);
      if (low >= field[i].high) break;
      if (high - low > sliver) {
        const middle = (low + high) / 2;
        pairs.push(field[i].depth(middle) > field[j].depth(middle) ? [i, j] : [j, i]);
      }
    }
  });
  const level = new Int32Array(walls.length);
  for (let round = 0, changed = true; changed && round < walls.length; round += 1) {
    changed = false;
    for (const [far, near] of pairs) {
      if (level[near] <= level[far]) {
        level[near] = level[far] + 1;
        changed = true;
      }
    }
  }
  return walls.map((wall, number) => [level[number], wall]).sort((a, b) => a[0] - b[0]).map(([, wall]) => wall);
}

// Rings on the screen, the outside of the first one running with positive area.
function facePath(rings, z, view) {
  const points = rings.map((ring) => {
    const out = [];
    for (let i = 0; i < ring.length; i += 2) out.push(seenAt(view, ring[i], ring[i + 1], z));
    return out;
  });
  const flip = points.length > 0 && areaOf(points[0]) < 0;
  return flip ? points.map((ring) => ring.reverse()) : points;
}

function areaOf(points) {
  let sum = 0;
  for (let i = 0, j = points.length - 1; i < points.length; j = i, i += 1) {
    sum += points[j][0] * points[i][1] - points[i][0] * points[j][1];
  }
  return sum;
}

function addRing(path, points) {
  path.moveTo(points[0][0], points[0][1]);
  for (let i = 1; i < points.length; i += 1) path.lineTo(points[i][0], points[i][1]);
  path.closePath();
}

// All that is painted of a part, far to near, and its outline; px from the corner of its sheet.
function facetsOf(part, view) {
  const facets = [];
  const outline = new Path2D();
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  const reach = (points) => {
    for (const [x, y] of points) {
      box[0] = Math.min(box[0], x);
      box[1] = Math.min(box[1], y);
      box[2] = Math.max(box[2], x);
      box[3] = Math.max(box[3], y);
    }
  };
  for (const [band, side] of farToNear(part.bands, view)) {
    for (const wall of seenWalls(band, view)) {
      const points = [
        seenAt(view, wall.ax, wall.ay, band.z[0]),
        seenAt(view, wall.bx, wall.by, band.z[0]),
        seenAt(view, wall.bx, wall.by, band.z[1]),
        seenAt(view, wall.ax, wall.ay, band.z[1]),
      ];
      if (areaOf(points) < 0) points.reverse();
      reach(points);
      addRing(outline, points);
      facets.push({ rings: [points], tone: toneOf(view, wall.nx, wall.ny, 0), wall: true });
    }
    if (side === 0) continue;
    const z = band.z[side > 0 ? 1 : 0];
    const whole = facePath(band.rings, z, view);
    for (const ring of whole) {
      reach(ring);
      addRing(outline, ring);
    }
    const bare = band.bare[side > 0 ? 1 : 0];
    const rings = bare === band.rings ? whole : facePath(bare, z, view);
    if (rings.length) facets.push({ rings, tone: toneOf(view, 0, 0, side), wall: false });
  }
  return { facets, outline, box };
}

// The outline is filled first, so that it alone decides how much of a pixel is covered; facets only colour it.
function paintSolid(sheet, part, seen) {
  const { context } = sheet;
  context.lineJoin = "bevel";
  const middle = seen.facets.reduce((sum, facet) => sum + facet.tone, 0) / seen.facets.length;
  context.fillStyle = paintOf(part.light, middle);
  context.fill(seen.outline, "nonzero");
  context.globalCompositeOperation = "source-atop";
  for (const facet of seen.facets) {
    const path = new Path2D();
    for (const ring of facet.rings) addRing(path, ring);
    const paint = paintOf(part.light, facet.tone);
    context.fillStyle = paint;
    context.strokeStyle = paint;
    context.fill(path, "evenodd");
    // It goes on a little under its neighbours, or the ground coat would show in their joint.
    context.lineWidth = 1;
    context.stroke(path);
    if (facet.wall) continue;
    // A soft line along the inside of its edge.
    context.save();
    context.clip(path, "evenodd");
    context.strokeStyle = EDGE_LINE;
    context.lineWidth = 2;
    context.stroke(path);
    context.restore();
  }
  context.globalCompositeOperation = "source-over";
}

// ---- sheets -------------------------------------------------------------------------------------------------------

// A canvas that grows as it must; it is kept, since making one is dear.
class Sheet {
  constructor() {
    this.canvas = document.createElement("canvas");
    this.canvas.width = 1;
    this.canvas.height = 1;
    this.context = this.canvas.getContext("2d");
    this.key = "";
  }

  // Clear for what lies in a box of the picture; false if none of it is inside.
  open(box, width, height) {
    this.x = Math.max(0, Math.floor(box[0]) - 2);
    this.y = Math.max(0, Math.floor(box[1]) - 2);
    this.width = Math.min(width, Math.ceil(box[2]) + 2) - this.x;
    this.height = Math.min(height, Math.ceil(box[3]) + 2) - this.y;
    return this.width > 0 && this.height > 0 && this.clear();
  }

  // Clear for what lies where another sheet does.
  openAs(other) {
    const { x, y, width, height } = other;
    Object.assign(this, { x, y, width, height });
    this.clear();
  }

  clear() {
    if (this.canvas.width < this.width || this.canvas.height < this.height) {
      this.canvas.width = Math.max(this.canvas.width, this.width);
      this.canvas.height = Math.max(this.canvas.height, this.height);
    }
    this.context.setTransform(1, 0, 0, 1, 0, 0);
    this.context.clearRect(0, 0, this.canvas.width, this.canvas.height);
    this.context.setTransform(1, 0, 0, 1, -this.x, -this.y);
    return true;
  }

  cut(rings) {
    const path = new Path2D();
    for (const ring of rings) addRing(path, ring);
    this.context.globalCompositeOperation = "destination-out";
    this.context.fill(path, "evenodd");
    this.context.globalCompositeOperation = "source-over";
  }

  layOn(target, opacity) {
    target.globalAlpha = opacity;
    target.drawImage(this.canvas, 0, 0, this.width, this.height, this.x, this.y, this.width, this.height);
    target.globalAlpha = 1;
  }
}

function regionAt(steps, share) {
  return steps.map((ring) => {
    const points = [];
    let x = 0;
    let y = 0;
    for (let i = 0; i < ring.length; i += 2) {
      x += ring[i];
      y += ring[i + 1];
      points.push([(x / 100) * share, (y / 100) * share]);
    }
    return points;
  });
}

// ---- the film -----------------------------------------------------------------------------------------------------

class MovingPicture {
  constructor(film) {
    this.film = film;
    this.parts = film.parts.map((part) => ({ ...part, bands: part.bands.map(prepareBand) }));
    this.sheets = film.parts.map(() => new Sheet());
    this.heroSheet = new Sheet();
    this.cutSheet = new Sheet();
    this.images = new Map();
  }

  // Plates are pictures inside this file; they must be decoded before the first frame.
  async ready() {
    const plates = [...this.film.plates, this.film.hero].filter(Boolean);
    const addresses = new Set(plates.flatMap((plate) => Object.values(plate.pictures).map((one) => one.address)));
    await Promise.all(
      [...addresses].map(async (address) => {
        const image = new Image();
        image.src = address;
        try {
          await image.decode();
          this.images.set(address, image);
        } catch {
          // A plate that this browser cannot decode is left out; everything else is still worth seeing.
        }
      }),
    );
  }

  shotAt(frame) {
    return this.film.shots.find((shot) => frame >= shot.start && frame < shot.start + shot.frames);
  }

  draw(canvas, frame) {
    const { width, height } = canvas;
    const context = canvas.getContext("2d");
    const shot = this.shotAt(frame);
    const at = frame - shot.start;
    const scene = { shot, at, share: width / this.film.size[0], width, height };
    scene.camera = shot.cameras[shot.camera[at]];
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.globalCompositeOperation = "source-over";
    context.fillStyle = this.film.backdrop;
    context.fillRect(0, 0, width, height);
    const order = shot.orders.find(([first, last]) => at >= first && at <= last)[2];
    const held = shot.holdouts.filter(([, first, last]) => at >= first && at <= last);
    const tracks = new Map(shot.parts.map((track) => [track.part, track]));
    const rank = new Map(order.map((part, place) => [part, place]));
    const beneath = order.map(() => []);
    for (const part of new Set(held.map(([whose]) => whose))) {
      const behind = held.filter(([whose]) => whose === part).flatMap((holdout) => holdout[3]);
      const lowest = Math.min(...behind.map((other) => rank.get(other)));
      if (lowest < rank.get(part)) beneath[lowest].push(part);
    }
    order.forEach((part, place) => {
      for (const other of beneath[place]) this.layPart(context, scene, tracks.get(other), null);
      const own = held.filter(([whose]) => whose === part);
      this.layPart(context, scene, tracks.get(part), own);
    });
    if (this.film.hero && shot.hero && shot.hero[at] > 0) this.layHero(context, scene, shot.hero[at]);
  }

  layPart(context, scene, track, held) {
    const { at } = scene;
    const [opacity] = rowOf(track.opacity, at, 1);
    if (opacity <= 0 || (held === null && opacity < 1)) return;
    const sheet = this.sheets[track.part];
    const shown = track.plate !== null ? this.openPlate(sheet, scene, track) : this.openSolid(sheet, scene, track);
    if (!shown) return;
    if (held && held.length) {
      for (const holdout of held) sheet.cut(regionAt(holdout[4], scene.share));
      sheet.key = "";
    }
    if (held) this.takeOver(sheet, scene, track.part);
    sheet.layOn(context, opacity);
  }

  // The still atop of a part that is home while others fly: but for what others hide of it when all is assembled.
  takeOver(sheet, scene, part) {
    const { shot, at } = scene;
    const taken = (shot.taken || []).find(
      ([whose, first, shares]) => whose === part && at >= first && at < first + shares.length,
    );
    if (!taken || !this.openHero(scene)) return;
    const share = taken[2][at - taken[1]];
    const path = new Path2D();
    path.rect(sheet.x, sheet.y, sheet.width, sheet.height);
    for (const ring of regionAt(taken[3], scene.share)) addRing(path, ring);
    sheet.key = "";
    const cut = share < 1 ? this.cutSheet : sheet;
    if (share < 1) cut.openAs(sheet);
    const { context } = cut;
    context.save();
    context.clip(path, "evenodd");
    if (share >= 1) context.globalCompositeOperation = "source-atop";
    this.heroSheet.layOn(context, 1);
    context.restore();
    if (share < 1) mixLight(sheet.context, cut, share, 0, 0);
  }

  openSolid(sheet, scene, track) {
    const { shot, at, share, width, height } = scene;
    const shift = rowOf(track.position, at, 3);
    const [turn] = rowOf(track.turn, at, 1);
    const key = [shot.start, shot.camera[at], width, turn, ...shift].join(" ");
    if (sheet.key === key) return sheet.width > 0 && sheet.height > 0;
    const part = this.parts[track.part];
    const seen = facetsOf(part, viewOf(scene.camera, part.origin, shift, turn, share));
    sheet.key = key;
    sheet.width = 0;
    if (!seen.facets.length || !sheet.open(seen.box, width, height)) return false;
    paintSolid(sheet, part, seen);
    return true;
  }

  openPlate(sheet, scene, track) {
    const { at, share } = scene;
    const plate = this.film.plates[track.plate];
    const [number] = rowOf(track.picture, at, 1);
    const [x, y] = rowOf(track.screen, at, 2);
    const [scale] = rowOf(track.scale, at, 1);
    const [dx, dy, growth, more] = rowOf(track.register, at, 4);
    const [turn] = rowOf(track.turn, at, 1);
    // Seen from the front, a turn about +z against the clock is one against the clock; a sequence shows its own turn.
    const own = plate.sequence ? 0 : turn * (scene.camera.forward[2] <= 0 ? -1 : 1);
    const place = { x: (x + dx) * share, y: (y + dy) * share, scale: scale * growth * share, turn: own + more };
    return this.layPlate(sheet, scene, plate, number, place);
  }

  layPlate(sheet, scene, plate, number, place) {
    sheet.key = "";
    const picture = plate.pictures[String(number)];
    const image = picture && this.images.get(picture.address);
    if (!image) return false;
    const angle = ((plate.turn + place.turn) * Math.PI) / 180;
    const [across, down] = picture.scale.map((one) => place.scale / one);
    const cos = Math.cos(angle);
    const sin = Math.sin(angle);
    const to = (px, py) => {
      const u = (px - picture.pivot[0]) * across;
      const v = (py - picture.pivot[1]) * down;
      return [place.x + u * cos - v * sin, place.y + u * sin + v * cos];
    };
    const w = image.naturalWidth;
    const h = image.naturalHeight;
    const corners = [to(0, 0), to(w, 0), to(0, h), to(w, h)];
    const xs = corners.map(([px]) => px);
    const ys = corners.map(([, py]) => py);
    const box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
    if (!sheet.open(box, scene.width, scene.height)) return false;
    const { context } = sheet;
    context.imageSmoothingEnabled = true;
    context.imageSmoothingQuality = "high";
    const [left, top] = to(0, 0);
    context.setTransform(cos * across, sin * across, -sin * down, cos * down, left - sheet.x, top - sheet.y);
    context.drawImage(image, 0, 0);
    context.setTransform(1, 0, 0, 1, -sheet.x, -sheet.y);
    return true;
  }

  // The still over the whole stack; while it comes in, light is mixed, not codes.
  layHero(context, scene, share) {
    if (!this.openHero(scene)) return;
    if (share >= 1) this.heroSheet.layOn(context, 1);
    else mixLight(context, this.heroSheet, share);
  }

  openHero(scene) {
    const { hero } = this.film;
    const m = scene.camera.matrix;
    const view = { matrix: m };
    const [x, y] = seenAt(view, 0, 0, 0);
    const w = m[11];
    const a = m.slice(0, 3);
    const b = m.slice(4, 7);
    const cross = [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
    const forward = scene.camera.forward;
    const area = Math.abs(cross[0] * forward[0] + cross[1] * forward[1] + cross[2] * forward[2]);
    const place = { x: x * scene.share, y: y * scene.share, scale: (Math.sqrt(area) / w) * scene.share, turn: 0 };
    const key = `still ${place.x} ${place.y} ${place.scale} ${scene.width}`;
    if (this.heroSheet.key === key) return true;
    if (!this.layPlate(this.heroSheet, scene, hero, 0, place)) return false;
    this.heroSheet.key = key;
    return true;
  }
}

const LIGHT_OF = Float32Array.from({ length: 256 }, (_, code) => {
  const value = code / 255;
  return value <= 0.04045 ? value / 12.92 : Math.pow((value + 0.055) / 1.055, 2.4);
});
const CODE_OF = Uint8ClampedArray.from({ length: 8193 }, (_, step) => toCode(step / 8192));

function mixLight(context, sheet, share, x = sheet.x, y = sheet.y) {
  const under = context.getImageData(x, y, sheet.width, sheet.height);
  const still = sheet.context.getImageData(0, 0, sheet.width, sheet.height).data;
  const data = under.data;
  for (let i = 0; i < data.length; i += 4) {
    const alpha = (still[i + 3] / 255) * share;
    if (alpha === 0) continue;
    for (let c = i; c < i + 3; c += 1) {
      const light = LIGHT_OF[still[c]] * alpha + LIGHT_OF[data[c]] * (1 - alpha);
      data[c] = CODE_OF[Math.round(light * 8192)];
    }
  }
  context.putImageData(under, x, y);
}
