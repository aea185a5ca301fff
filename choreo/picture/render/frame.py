"""The renderer: any frame of a shot as one picture, its visible mattes, or its layers."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from choreo.geometry.solids.solid import Solid
from choreo.geometry.solids.turned import turned
from choreo.model.assembly import Assembly
from choreo.model.plan import Floats
from choreo.model.tracks import ShotTracks
from choreo.picture.render.abreast import in_step
from choreo.picture.render.blur import exposure
from choreo.picture.render.canvas import Canvas, Item
from choreo.picture.render.colour import OnColour, Picture, Singles, to_8_bit, to_16_bit
from choreo.picture.render.coverage import Window, window_around
from choreo.picture.render.exposure import Shown, exposed
from choreo.picture.render.facets import Facets, facets_of
from choreo.picture.render.form import Form
from choreo.picture.render.mean import Mean
from choreo.picture.render.moment import Moment, moment_at, moments_at
from choreo.picture.render.outlines import Outlines, view_key
from choreo.picture.render.plates import PlateImage, plate_tile
from choreo.picture.render.shade import BEYOND, Shade, carried_on, lenders
from choreo.picture.render.shares import Known, Layer, layers_of
from choreo.picture.render.solids import shading, solid_tile
from choreo.picture.render.stack import in_order
from choreo.picture.render.standing import Standing, ways_of
from choreo.picture.render.taken import Home, takings
from choreo.picture.render.taken import Known as KnownTaking
from choreo.picture.render.tile import Tile
from choreo.picture.render.veil import Veil

SIZES = {"full": 1.0, "half": 0.5, "quarter": 0.25}
DEPTHS = (8, 16, 32)
"""Bits of a channel; 32 is float: linear light, premultiplied."""
_KEPT_HOMES = 2


@dataclass(frozen=True, eq=False)
class Renderer:
    """Pictures of a film; what does not change from one frame to the next is kept.

    The same frame gives the same bytes, whichever frames were asked for before.
    """

    assembly: Assembly
    solids: Mapping[str, Solid]
    resolution: tuple[int, int]
    """Of the tracks, px."""
    plates: Mapping[str, PlateImage] = field(default_factory=dict)
    """Parts without one are drawn as shaded solids."""
    hero: PlateImage | None = None
    """Its pivot lies at the origin of product space."""
    size: str = "full"
    shutter: float = 180.0
    """Degrees of the frame during which the shutter is open, centred on the frame; 0 freezes motion."""
    sequences: Mapping[str, Mapping[int, PlateImage]] = field(default_factory=dict)
    """Plates with a picture of their own for some plate frames: of a part, by plate frame."""
    _tiles: dict[str, tuple[bytes, Tile | None]] = field(default_factory=dict)
    _stood: dict[str, tuple[Standing, Standing | None, Tile | None]] = field(default_factory=dict)
    _known: dict[str, Known] = field(default_factory=dict)
    _forms: dict[str, Form] = field(default_factory=dict)
    _shades: dict[str, tuple[bytes, Shade | None]] = field(default_factory=dict)
    _homes: dict[tuple[ShotTracks, int], Home] = field(default_factory=dict)
    _taken: dict[str, KnownTaking] = field(default_factory=dict)

    @cached_property
    def window(self) -> Window:
        """The whole picture."""
        share = SIZES[self.size]
        return Window(0, 0, *(max(1, round(px * share)) for px in self.resolution))

    @cached_property
    def _canvas(self) -> Canvas:
        return Canvas(self.window)

    @cached_property
    def _outlines(self) -> Outlines:
        return Outlines(self.solids, self.origins)

    @cached_property
    def origins(self) -> dict[str, Floats]:
        """Where each part's origin lies when assembled, mm."""
        return {part.id: np.array(part.offset) for part in self.assembly.parts}

    def frame(self, shot: ShotTracks, frame: int, bits: int = 8) -> NDArray[np.generic]:
        """Return a frame, (height, width, 4).

        Parameters
        ----------
        shot : ShotTracks
        frame : int
            Of the shot.
        bits : int
            8 or 16: sRGB codes with straight alpha; 32: float, linear light, premultiplied.

        """
        canvas = self._drawn(shot, frame)
        if bits == 32:
            return canvas.picture.copy()
        return canvas.codes(to_8_bit if bits == 8 else to_16_bit)

    def on_colour(self, shot: ShotTracks, frame: int, colour: str) -> NDArray[np.generic]:
        """Return a frame over ``#rrggbb``, (height, width, 3) sRGB codes of 8 bits."""
        return self._drawn(shot, frame).codes(OnColour(colour))

    def picture(self, shot: ShotTracks, frame: int) -> Picture:
        """Return a frame in linear light, premultiplied, on nothing."""
        return self._drawn(shot, frame).picture.copy()

    def _drawn(self, shot: ShotTracks, frame: int) -> Canvas:
        """The canvas with a frame on it; the next frame is drawn on the same one."""
        moments = self._moments(shot, frame)
        # Homes first: making one draws another instant, and what is kept of the last one is of use to the next.
        ends = sorted({end for moment in moments for end in moment.ends.values()}) if self.hero is not None else ()
        homes = [self._home(shot, end).key for end in ends]
        key = b"".join([*(self._moment_key(moment) for moment in moments), *homes])
        canvas = self._canvas
        if canvas.key != key:
            self._outlines.expect(shot, frame, SIZES[self.size], moments)
            if len(moments) == 1:
                canvas.show(self._items(shot, moments[0]))
            else:
                canvas.clear()
                self._expose(canvas, shot, moments)
            canvas.key = key
        return canvas

    def _expose(self, canvas: Canvas, shot: ShotTracks, moments: list[Moment]) -> None:
        """Draw the mean of some instants."""
        mean = Mean(canvas, self.window, len(moments))
        for moment in moments:
            layers, veil = self._veiled(shot, moment)
            plain = layers if veil is None else veil.layers(layers)
            for layer in plain or ():
                mean.add(layer)
            for item in veil.items(layers) if veil is not None and plain is None else ():
                canvas.add(item.window, item.light(item.window) / np.float32(len(moments)))
        mean.finish()

    def shown(self, shot: ShotTracks, frame: int) -> list[Shown]:
        """Return what each part that is there adds to a frame, motion blur included, and the hero last."""
        moments = self._moments(shot, frame)
        self._outlines.expect(shot, frame, SIZES[self.size], moments)
        return exposed((self._veiled(shot, moment) for moment in moments), len(moments), self.window)

    def coverage(self, shot: ShotTracks, frame: int, part: str) -> Singles:
        """Return how much of each pixel (height, width) shows a part: its visible matte, motion blur included."""
        out = np.zeros((self.window.height, self.window.width), dtype=np.float32)
        for one in self.shown(shot, frame):
            if one.part == part:
                out[one.window.slices] = one.light[..., 3]
        return out

    def stack(self, shot: ShotTracks, frame: int, order: Sequence[str]) -> list[Tile]:
        """Return pre-masked layers, back to front in any order, whose plain *over* is the frame."""
        return in_order(self.shown(shot, frame), order, self.window)

    def _moments(self, shot: ShotTracks, frame: int) -> list[Moment]:
        """The instants that a frame is the mean of."""
        size, span = SIZES[self.size], self.shutter / 360
        if span <= 0:
            return [self.moment(shot, float(frame))]
        ways = ways_of(shot, frame, span, self.origins, size, self._reach)
        middle = self.moment(shot, float(frame))
        self._outlines.expect(shot, frame, size, [middle])
        taken = exposure(frame, span, in_step(ways, lambda part: self._outline(part, middle), self.window))
        moments = moments_at(shot, taken.times, self.origins, size, taken.own)
        bare = {part.id for part in self.assembly.parts} - self.plates.keys() - self.sequences.keys()
        return lenders(moments, {part: self.solids[part] for part in moments[0].order if part in bare})

    def moment(self, shot: ShotTracks, time: float) -> Moment:
        """Return where everything stands at a time of the shot, in px of this size."""
        return moment_at(shot, time, self.origins, SIZES[self.size])

    def layers(self, moment: Moment) -> list[Layer]:
        """Return the layers of an instant, front to back."""
        tiles = {part: self._tile(part, moment) for part in moment.order}
        shown = {part: tile for part, tile in tiles.items() if tile is not None}
        blank = self._canvas.blank

        def outline(part: str) -> BaseGeometry:
            return self._outline(part, moment)

        known = layers_of(shown, moment.order, moment.holds, outline, self.window, blank, self._known, self._forms)
        self._known.clear()
        self._known.update(known)
        return [each.layer for each in known.values()]

    def _items(self, shot: ShotTracks, moment: Moment) -> list[Item]:
        """All layers, front to back, and the hero over them."""
        layers, veil = self._veiled(shot, moment)
        if veil is None:
            return [Item(layer.tile.window, (layer,), layer.light, layer.add_to) for layer in layers]
        return veil.items(layers)

    def _veiled(self, shot: ShotTracks, moment: Moment) -> tuple[list[Layer], Veil | None]:
        """The layers of an instant, and the hero where it shows."""
        layers = self.layers(moment)
        hero = self._hero_tile(moment) if self.hero is not None and (moment.hero > 0 or moment.atop) else None
        if hero is None:
            return layers, None
        homes = {part: self._home(shot, frame) for part, frame in moment.ends.items()}
        return layers, Veil(hero, np.float32(moment.hero), takings(layers, homes, moment.atop, hero, self._taken))

    def _home(self, shot: ShotTracks, frame: int) -> Home:
        """Who shows where on an end of a shot, at which all is assembled."""
        if (shot, frame) not in self._homes:
            moment = self.moment(shot, frame)
            while len(self._homes) >= _KEPT_HOMES:
                self._homes.pop(next(iter(self._homes)))
            layers = {layer.part: layer for layer in self.layers(moment)}
            self._homes[shot, frame] = Home(layers, self._moment_key(moment))
        return self._homes[shot, frame]

    def _hero_tile(self, moment: Moment) -> Tile | None:
        hero = self.hero
        assert hero is not None
        origin = np.zeros(3)
        x, y = moment.camera.project(origin)[0]
        scale = float(moment.camera.scale_at(origin))
        key = np.array([x, y, scale]).tobytes()
        return self._kept("\n", key, lambda: plate_tile(hero, (float(x), float(y)), scale, self.window))

    def _tile(self, part: str, moment: Moment) -> Tile | None:
        at, lit = moment.parts[part], None if moment.lit is None else moment.lit.parts[part]
        known = self._stood.get(part)
        if known is None or known[0] is not at or known[1] is not lit:
            known = self._stood[part] = at, lit, self._made_tile(part, moment)
        return known[2]

    def _made_tile(self, part: str, moment: Moment) -> Tile | None:
        at = moment.parts[part]
        plate = self._plate(part, at.plate_frame)
        if plate is not None:
            number = self._photograph(part, at.plate_frame)
            key = np.array([*at.screen, at.scale, at.opacity, number, at.turn, *at.register]).tobytes()
            x, y, growth, more = at.register
            pivot, scale = (at.screen[0] + x, at.screen[1] + y), at.scale * growth
            window, turn = self.window, self._plate_turn(part, moment) + more
            return self._kept(part, key, lambda: plate_tile(plate, pivot, scale, window, at.opacity, turn))
        key, shade = _solid_key(part, moment), None
        if moment.lit is not None and moment.lit.parts[part].turn == at.turn and _solid_key(part, moment.lit) != key:
            shade = self._shade(part, moment.lit)
            key += _solid_key(part, moment.lit)
        key += np.array([at.opacity]).tobytes()
        return self._kept(part, key, lambda: self._solid_tile(part, moment, shade))

    def _shade(self, part: str, moment: Moment) -> Shade | None:
        """The shading of a solid at an instant, a little beyond its outline and the frame."""
        key, at, frame = _solid_key(part, moment), moment.parts[part], self.window
        if self._shades.get(part, (b"",))[0] != key:
            around = Window(-BEYOND, -BEYOND, frame.width + 2 * BEYOND, frame.height + 2 * BEYOND)
            outline = self._outline(part, moment)
            window = None if outline.is_empty else window_around(outline.bounds, around, margin=3)
            made = None
            if window is not None:
                light = shading(self._facets_at(part, at.turn), at.camera, at.shift, window)
                made = Shade(window, carried_on(light), at.screen, at.scale)
            self._shades[part] = key, made
        return self._shades[part][1]

    def _facets_at(self, part: str, turn: float) -> Facets:
        return self._facets[part] if turn == 0 else facets_of(turned(self.solids[part], self.origins[part], turn))

    def _solid_tile(self, part: str, moment: Moment, shade: Shade | None) -> Tile | None:
        at, colour = moment.parts[part], self.assembly.part(part).colour
        outline = self._outline(part, moment)
        lent = None if shade is None else lambda window: shade.laid(at.screen, at.scale, window)
        facets = self._facets_at(part, at.turn)
        tile = solid_tile(facets, outline, colour, at.camera, at.shift, self.window, lent)
        if tile is None or at.opacity <= 0:
            return None
        return tile if at.opacity >= 1 else Tile(tile.window, tile.picture * np.float32(at.opacity))

    def _plate_turn(self, part: str, moment: Moment) -> float:
        """How far a plate is turned clockwise on the screen; a sequence shows the turn of its part itself."""
        if part in self.sequences:
            return 0.0
        at = moment.parts[part]
        # Seen from the front, +z toward the camera, a counter-clockwise turn is one against the clock.
        return at.turn * (-1.0 if at.camera.forward[2] <= 0 else 1.0)

    def _kept(self, name: str, key: bytes, make: Callable[[], Tile | None]) -> Tile | None:
        """The last tile of that name if it is the same one, else a new one."""
        known = self._tiles.get(name)
        if known is None or known[0] != key:
            known = self._tiles[name] = key, make()
        return known[1]

    def _plate(self, part: str, frame: float | None) -> PlateImage | None:
        number = self._photograph(part, frame)
        return self.plates.get(part) if number < 0 else self.sequences[part].get(number, self.plates.get(part))

    def _photograph(self, part: str, frame: float | None) -> int:
        """The number of the photograph nearest to a plate frame, halves up; -1 for a plate with one picture."""
        return -1 if frame is None or part not in self.sequences else math.floor(frame + 0.5)

    @cached_property
    def _reach(self) -> dict[str, float]:
        """How far each part reaches from its own z axis, mm."""
        return {part: _farthest(solid, self.origins[part]) for part, solid in self.solids.items()}

    @cached_property
    def _facets(self) -> dict[str, Facets]:
        return {part.id: facets_of(self.solids[part.id]) for part in self.assembly.parts}

    def _moment_key(self, moment: Moment) -> bytes:
        """What a picture hangs on."""
        rows = [
            (*at.shift, at.opacity, -1.0 if at.plate_frame is None else at.plate_frame, at.turn, *at.register)
            for at in moment.parts.values()
        ]
        holds = [(part, hold.region.wkb, hold.behind) for part, each in moment.holds.items() for hold in each]
        said = repr((moment.order, holds, moment.hero, moment.atop)).encode()
        cameras = dict.fromkeys(
            [moment.camera.matrix.tobytes(), *(at.camera.matrix.tobytes() for at in moment.parts.values())]
        )
        return b"".join(cameras) + np.array(rows).tobytes() + said

    def _outline(self, part: str, moment: Moment) -> BaseGeometry:
        return self._outlines.at(part, moment.parts[part])


def _farthest(solid: Solid, origin: Floats) -> float:
    corners = shapely.get_coordinates([band.section for band in solid.bands])
    return float(np.linalg.norm(corners - origin[:2], axis=1).max(initial=0.0))


def _solid_key(part: str, moment: Moment) -> bytes:
    """What a solid's shading and outline hang on."""
    at = moment.parts[part]
    return view_key(at.camera, at.shift) + np.array([at.turn]).tobytes()
