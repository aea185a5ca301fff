"""A small project on disk whose files tests edit: a tray with a cell and a lid, invented."""

import json

HEAD = 'format = "choreo/choreography"\nversion = 1\nframe_rate = "24"\nresolution = [640, 360]\n'
BURST = (
    '[[shot]]\nname = "burst"\nview = { projection = "perspective", azimuth = 35, elevation = 20 }\n'
    '[[shot.phase]]\nkind = "explode"\nframes = 30\nstagger = 2\nmove = 10\n'
    '[[shot.phase]]\nkind = "hold"\nframes = 4\n'
)
BACK = (
    '[[shot]]\nname = "back"\nview = { projection = "orthographic" }\n'
    '[[shot.phase]]\nkind = "assemble"\nframes = 30\nstagger = 3\nmove = 10\n'
)
TOML = HEAD + BURST + BACK


def rectangle(w, h):
    return [[-w, -h], [w, -h], [w, h], [-w, h]]


def part(name, z, outline, holes=(), lift=0, label=None):
    slab = {"outline": outline, "holes": list(holes), "z": z}
    return {"id": name, "label": label or name.title(), "offset": [0, 0, lift], "slabs": [slab]}


def parts():
    tray = part("tray", [0, 4], rectangle(30, 20))
    tray["slabs"].append({"outline": rectangle(30, 20), "holes": [rectangle(20, 10)], "z": [4, 14]})
    return [tray, part("cell", [0, 8], rectangle(18, 9), lift=4), part("lid", [0, 3], rectangle(30, 20), lift=14)]


def write(folder, toml=TOML, made=None):
    folder.mkdir(parents=True, exist_ok=True)
    whole = {"format": "choreo/assembly", "version": 1, "name": "Tray (invented)", "parts": made or parts()}
    (folder / "assembly.json").write_text(json.dumps(whole))
    (folder / "choreography.toml").write_text(toml)
    return folder
